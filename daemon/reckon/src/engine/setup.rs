//! What the engine is told at the start, what a person may ask of it, and why it may refuse.

use alloc::{string::String, sync::Arc, vec::Vec};
use core::time::Duration;

use super::{choices::Resume, rules::ActivityRule};
use crate::{
    alarm::AlarmWants,
    bank::{BankFault, BankSpec, Start},
    belief::{Answer, Question},
    estimator::Learned,
    name::NameFault,
    power_off::{PowerOffAsk, PowerOffWants},
    reading::BoardFacts,
    record::OutingPlan,
    snapshot::DemoShown,
    time::Mono,
    units::Watts,
};

/// Something that draws besides the board, as the settings tell.
#[derive(Clone, Debug, PartialEq)]
pub struct Accessory {
    /// Its name.
    pub name: String,
    /// What it draws from the bank.
    pub draw: Watts,
}

/// A radio on the same bank, as its data sheet prints it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Radio {
    /// Receiving.
    pub receive: Watts,
    /// Transmitting, key down.
    pub transmit: Watts,
}

/// What the engine is told at the start.
#[derive(Clone, Debug, Default)]
pub struct Setup {
    /// The station's name.
    pub station: String,
    /// The bank that a start finds connected, as long as nobody chose another.
    pub bank: Option<BankSpec>,
    /// How full it is then.
    pub start: Start,
    /// Banks offered for one tap.
    pub bank_choices: Vec<BankSpec>,
    /// Names of the activities.
    pub activities: Vec<String>,
    /// When they choose themselves; of several rules that hold the first counts.
    pub activity_rules: Vec<ActivityRule>,
    /// Board facts from the probes.
    pub facts: Arc<BoardFacts>,
    /// Idle and full-load draw of the board, where the settings overrule the table.
    pub board_draw: Option<(Watts, Watts)>,
    /// What else hangs on the bank.
    pub accessories: Vec<Accessory>,
    /// A radio on the bank.
    pub radio: Option<Radio>,
    /// What is shown where all of it is made up, for a demonstration.
    pub demo: Option<DemoShown>,
    /// What earlier run-downs of [`Setup::bank`] taught; nothing by default.
    pub learned: Learned,
    /// What the owner wants of the alarms.
    pub alarms: AlarmWants,
    /// What the owner wants of the clean power-off.
    pub power_off: PowerOffWants,
    /// What was chosen before a restart, if anything was kept.
    pub resume: Option<Resume>,
}

/// What a person asks for.
#[derive(Clone, Debug, PartialEq)]
pub enum Command {
    /// This bank is connected now; a new outing begins, and can be taken back for ten minutes. The
    /// bank that is connected already changes nothing, unless its level is told: it was charged.
    UseBank {
        /// Which.
        bank: BankSpec,
        /// How full; `None`: nobody says, so it is taken to be full.
        start: Option<Start>,
    },
    /// An answer to what was asked; `None` takes it back.
    Answer {
        /// Which question.
        question: Question,
        /// What is answered.
        answer: Option<Answer>,
    },
    /// Last until so long from now; `None` clears the finish.
    Finish {
        /// How long from now.
        after: Option<Duration>,
    },
    /// The outing starts with this plan: its end is the finish, and what its stretches draw is expected.
    StartPlan {
        /// The plan. Another bank that is offered is put to use as by [`Command::UseBank`].
        plan: OutingPlan,
        /// How full that one is; `None`: nobody says.
        start: Option<Start>,
    },
    /// This is what I am doing from now on; `None` stops tagging.
    Activity {
        /// One of the names.
        name: Option<String>,
    },
    /// From now on the rules say what I am doing, until somebody taps again.
    ActivityAuto,
    /// Let this alarm sleep.
    Sleep {
        /// Its place in the snapshot's list, and since when it stands (so that a list that has
        /// changed in between is noticed).
        alarm: usize,
        /// Since when it stands.
        since: Mono,
        /// For how long.
        span: Duration,
    },
    /// Stop or shorten the countdown to switching off.
    PowerOff(PowerOffAsk),
    /// Name this outing.
    NameOuting {
        /// The name; empty takes it away.
        name: String,
    },
}

/// Why an ask was not carried out; said to the person by [`crate::words::refusal`].
#[derive(Clone, Debug, PartialEq)]
pub enum Refusal {
    /// No activity of that name.
    NoSuchActivity,
    /// There are no rules by which an activity could choose itself.
    NoRules,
    /// The alarm has gone meanwhile.
    AlarmGone,
    /// There is no countdown to stop or shorten.
    NoCountdown,
    /// The finish is too far away or already past.
    FinishOutOfRange,
    /// The bank cannot be as described.
    BankImplausible(Vec<BankFault>),
    /// It cannot be a name.
    BadName(NameFault),
    /// That is no answer to this question.
    NoSuchAnswer,
    /// That is not asked now.
    NotAsked,
}
