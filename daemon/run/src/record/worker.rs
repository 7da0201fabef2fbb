//! The record worker: one thread that does what takes the card's time, one task after the other, so
//! that a slow card delays no reading: it writes what was chosen, changes the record when a person
//! asks, records run-downs and does the learning again.

use std::{
    path::PathBuf,
    sync::{Arc, mpsc::Receiver},
};

use history::{Change, Reader, Trouble, Writer};
use reckon::{
    belief::last_end::HowEnded,
    engine::Refusal,
    estimator::LoadPrior,
    record::{Ending, RecordCommand, RecordedBank},
    snapshot::Snapshot,
    units::Watts,
    words,
};
use tokio::sync::{oneshot, watch};
use web::{Kept, Request};

use crate::record::{
    changes::{Changes, said},
    choices_file::{self, ChoicesFile},
    contact_log::ContactLog,
    report::Drawn,
    run_downs,
    side_notes::ending_before,
    update::{Outlet, RecordEvent, RecordUpdate, Task},
};

/// Does the tasks.
pub(crate) struct RecordWorker {
    /// Where the choices are kept.
    pub(crate) folder: PathBuf,
    /// The record, if one is kept.
    pub(crate) writer: Option<Arc<Writer>>,
    /// Hears what there is to say.
    pub(crate) outlet: Outlet,
    /// Contact logs.
    pub(crate) log: ContactLog,
    /// What is printed, or set, about the things that draw.
    pub(crate) load: LoadPrior,
    /// What draws at present.
    pub(crate) now: watch::Receiver<Arc<Snapshot>>,
}

impl RecordWorker {
    /// Does one task after the other until nobody gives any more.
    pub(crate) fn work(mut self, tasks: Receiver<Task>) {
        let mut said_well = false;
        let mut drew = Drawn::default();
        for task in tasks {
            match task {
                Task::WriteChoices { choices, answer } => {
                    self.write_choices(&choices, answer, &mut said_well);
                }
                Task::Command(Request { command, answer }) => {
                    let load = self.load_as_drawn();
                    let done = self.carry_out(&command, &load);
                    if corrects_activities(&command) {
                        drew = Drawn::default();
                    }
                    // Whoever asked may have gone meanwhile.
                    let _ = answer.send(done.map(|update| {
                        self.publish(update, &load, &mut drew);
                        Kept::OnCard
                    }));
                }
                Task::Settle(answer) => {
                    let _ = answer.send(Ok(self.kept(true)));
                }
                Task::UpdateLearning => {
                    self.publish(RecordUpdate::default(), &self.load, &mut drew);
                }
                Task::ReadContactLog => self.read_contact_log(),
            }
        }
    }

    /// Of a board that is not known, what it draws on this outing is the best word.
    fn load_as_drawn(&self) -> LoadPrior {
        let drawn = self.now.borrow().draw.outing.map(Watts::si);
        LoadPrior { idle_w: self.load.idle_w.or(drawn), ..self.load }
    }

    fn write_choices(
        &self,
        choices: &ChoicesFile,
        answer: Option<oneshot::Sender<Result<Kept, Refusal>>>,
        said_well: &mut bool,
    ) {
        let outcome = choices_file::save(&self.folder, choices)
            .map_err(|why| words::journal::choices_not_kept(&self.folder.display(), &why));
        let well = outcome.is_ok();
        if !well || !*said_well {
            // A full queue or an event loop that has ended: the next task says it again.
            *said_well = (self.outlet)(RecordEvent::ChoicesWritten(outcome)) && well;
        }
        if let Some(answer) = answer {
            // Carried out in any case; whoever asked may have gone meanwhile.
            let _ = answer.send(Ok(self.kept(well)));
        }
    }

    /// Where all that was asked for till now is; `well`: the choices, if they had to be written, are on
    /// the card.
    fn kept(&self, well: bool) -> Kept {
        let settled = self.writer.as_ref().is_none_or(|writer| writer.is_settled());
        if well && settled { Kept::OnCard } else { Kept::InMemory }
    }

    /// Records what is due, reads what the record teaches, and tells the event loop.
    fn publish(&self, mut update: RecordUpdate, load: &LoadPrior, drew: &mut Drawn) {
        let Some(writer) = &self.writer else { return };
        let reader = self.reader();
        if let Err(trouble) = update_learning(writer, &reader, load, &mut update) {
            tracing::warn!("{trouble}");
        }
        match drew.usual(&reader) {
            Ok(usual) => update.usual = usual,
            Err(trouble) => tracing::warn!("{trouble}"),
        }
        // An event loop that has ended learns nothing any more.
        (self.outlet)(RecordEvent::Update(Box::new(update)));
    }

    /// The rows go with the next batch, so that a log that grows all day costs the card no commits
    /// of its own; what a power cut takes of them is read again at the next start.
    fn read_contact_log(&mut self) {
        let Some(writer) = &self.writer else { return };
        let looked = self.log.look();
        if !looked.rows.is_empty() {
            writer.give(Change::Contacts(looked.rows));
        }
        let Some((say, trouble)) = looked.news else { return };
        if trouble {
            tracing::warn!("{say}");
        }
        // An event loop that is too busy hears of it with the next change.
        (self.outlet)(RecordEvent::ContactLog(say));
    }

    fn reader(&self) -> Reader {
        Reader::new(&self.folder)
    }

    /// Carries out what a person asks for.
    fn carry_out(&self, command: &RecordCommand, load: &LoadPrior) -> Result<RecordUpdate, String> {
        let Some(writer) = &self.writer else {
            return Err(words::refusal::NO_RECORD_TO_CHANGE.to_owned());
        };
        let (reader, keep_calls) = (&self.reader(), self.log.keep_calls);
        let mut update = RecordUpdate::default();
        let changes = Changes { reader, keep_calls, running: true };
        let entries = changes.entries(command, load, &mut update)?;
        writer.change(entries).map_err(|why| said(&why))?;
        Ok(update)
    }
}

/// Whether it changes what was done when on an outing.
const fn corrects_activities(command: &RecordCommand) -> bool {
    matches!(
        command,
        RecordCommand::Doing { .. }
            | RecordCommand::DoingByContacts { .. }
            | RecordCommand::DoingBack { .. }
    )
}

fn update_learning(
    writer: &Writer,
    reader: &Reader,
    load: &LoadPrior,
    update: &mut RecordUpdate,
) -> Result<(), Trouble> {
    // What is on its way to the card goes there first: the end of an outing may be among it.
    writer.change(Vec::new())?;
    let due = run_downs::uncredited(reader, load)?;
    if !due.is_empty() {
        writer.change(due)?;
    }
    update.learned_by_bank = run_downs::learned_by_bank(reader)?;
    let (gone, there): (Vec<RecordedBank>, Vec<RecordedBank>) =
        reader.banks()?.into_iter().partition(|bank| bank.forgotten);
    update.offered = there.into_iter().map(|bank| bank.spec).collect();
    update.forgotten = gone.into_iter().map(|bank| bank.spec.name).collect();
    update.last_ended = last_ended(reader)?;
    Ok(())
}

/// How the outing before ended, where its power went away; what a run-down test showed is not asked.
fn last_ended(reader: &Reader) -> Result<Option<HowEnded>, Trouble> {
    let newest = reader.outings(None, 2)?.items;
    let last = newest.into_iter().find(|outing| outing.ending != Ending::Open);
    Ok(last.and_then(|last| HowEnded::of_outing(&last, ending_before(reader, last.id))))
}
