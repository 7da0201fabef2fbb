//! What the record worker is given to do, and what it tells.

use std::sync::mpsc::Sender;

use history::RecordState;
use reckon::{
    bank::BankSpec,
    belief::{Answer, SinceLast, last_end::HowEnded},
    engine::{Refusal, UsualDraws},
    estimator::Learned,
    record::{RecordCommand, TestLoad},
    words,
};
use tokio::sync::oneshot;
use web::{Kept, Request};

use crate::record::choices_file::ChoicesFile;

/// What there is to do.
pub(crate) enum Task {
    /// Writes what was chosen, then answers whoever waits for it.
    WriteChoices {
        /// What.
        choices: Box<ChoicesFile>,
        /// Who waits.
        answer: Option<oneshot::Sender<Result<Kept, Refusal>>>,
    },
    /// Tells whether what was given to the record is on the card.
    Settle(oneshot::Sender<Result<Kept, String>>),
    /// Changes the record, then answers.
    Command(Request<RecordCommand>),
    /// Records run-downs that are due and tells what the record teaches.
    UpdateLearning,
    /// Looks whether the watched contact log has changed.
    ReadContactLog,
}

impl Task {
    /// Gives a command to the record worker; without one it is refused.
    pub(crate) fn hand_over(tasks: Option<&Sender<Self>>, request: Request<RecordCommand>) {
        match tasks {
            // A record worker that has gone has ended the process.
            Some(tasks) => drop(tasks.send(Self::Command(request))),
            // Whoever asked may have gone meanwhile.
            None => drop(request.answer.send(Err(words::refusal::NO_RECORD.to_owned()))),
        }
    }
}

/// What the record has to say.
pub(crate) enum RecordEvent {
    /// What was chosen was written, or could not be.
    ChoicesWritten(Result<(), String>),
    /// How the record is doing has changed.
    State(Box<RecordState>),
    /// What was found in the record.
    Update(Box<RecordUpdate>),
    /// What there is to say of the watched contact log.
    ContactLog(String),
}

/// Takes what the record has to say; `false` where it was lost.
pub(crate) type Outlet = Box<dyn Fn(RecordEvent) -> bool + Send>;

/// What was found in the record.
#[derive(Debug, Default)]
pub(crate) struct RecordUpdate {
    /// What the record teaches of each bank, by its name.
    pub(crate) learned_by_bank: Vec<(String, Learned)>,
    /// What activities drew on earlier outings, by the bank's name.
    pub(crate) usual: Vec<(String, UsualDraws)>,
    /// Banks of the record that are offered.
    pub(crate) offered: Vec<BankSpec>,
    /// Names of banks that are not to be offered.
    pub(crate) forgotten: Vec<String>,
    /// How the outing before ended, where its power went away.
    pub(crate) last_ended: Option<HowEnded>,
    /// The operator says whether the open outing is the rest of this one.
    pub(crate) since: Option<(SinceLast, Answer)>,
    /// A bank was told of anew: its name till then, and what it is now.
    pub(crate) told: Option<(String, BankSpec)>,
    /// The open outing was given a name.
    pub(crate) named: Option<String>,
    /// A run-down test begins on this bank.
    pub(crate) test: Option<(BankSpec, TestLoad)>,
}
