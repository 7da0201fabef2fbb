//! What may be kept: the closed list of entries, and the endings that a record knows.

use reckon::{
    bank::BankSpec,
    belief::last_end::StopHow,
    record::{
        ClockFix, CloseUp, End, Event, ForecastMade, LoadLine, LoggedContact, Origin, OutingPlan,
        PeriodFold, Row, RunDown, SourceChange,
    },
};

/// Something to be kept. What concerns 'the outing' concerns the one that is open.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// A ten-second row.
    Row(Row),
    /// Something happened.
    Event(Event),
    /// A source fell silent or came back.
    Source(SourceChange),
    /// A forecast was made.
    Forecast(ForecastMade),
    /// The wall clock could be believed.
    Clock(ClockFix),
    /// A choice that must survive a restart; an empty value takes it away.
    Choice {
        /// Its name.
        key: String,
        /// What was chosen.
        value: String,
    },
    /// An outing begins (and the open one, if any, should have been ended before).
    OutingBegins {
        /// The bank's name, which must be known or is put in with [`Change::Bank`] before.
        bank: Option<String>,
        /// Its name.
        name: Option<String>,
        /// How full the bank is, 0 to 1; `None`: unknown.
        start_share: Option<f64>,
        /// Since when, seconds since boot.
        at_s: f64,
    },
    /// An earlier outing goes on in this boot.
    OutingGoesOn {
        /// Which.
        outing: i64,
        /// Since when, seconds since boot.
        at_s: f64,
        /// How long the power was off before, s, if known.
        off_before_s: Option<f64>,
    },
    /// The open outing is, the operator says, still the earlier one: its stretches are moved there
    /// and it is no outing of its own any more. What the earlier one was credited with is taken back,
    /// unless it was struck out: the whole is credited when it ends.
    OutingJoins {
        /// Which it belongs to; `None`: the one right before it.
        earlier: Option<i64>,
        /// How long the power was off in between, s, if known.
        off_before_s: Option<f64>,
    },
    /// What this boot added to the open outing is, after all, an outing of its own, which is open
    /// from now on; the rest ended before.
    OutingParts {
        /// How full the bank was when the new one began, 0 to 1; `None`: unknown.
        start_share: Option<f64>,
        /// How the rest ended, in the boot before.
        end: End,
    },
    /// How full the bank was when an outing began is known better.
    OutingStart {
        /// Which.
        outing: i64,
        /// 0 to 1; `None`: unknown.
        start_share: Option<f64>,
    },
    /// A person has said how full the bank was when the open outing began, so that the next start need
    /// not ask; or has taken that back.
    OutingSettled {
        /// Whether it is said.
        settled: bool,
    },
    /// The chance that a bank had run empty when its power went away is known better, or an answer
    /// to that is taken back.
    EndingChance {
        /// Which outing.
        outing: i64,
        /// 0 to 1.
        died: f64,
    },
    /// The open outing's bank is told of, or told of anew: it has fed the board all along.
    OutingBank {
        /// The bank's name.
        bank: String,
        /// How full it was when the outing began, 0 to 1; `None`: unknown.
        start_share: Option<f64>,
    },
    /// The outing is given a name (empty takes it away).
    OutingNamed(String),
    /// Any outing is given a name (empty takes it away).
    OutingRenamed {
        /// Which.
        outing: i64,
        /// Its name.
        name: String,
    },
    /// An outing ends; `None` is the open one.
    OutingEnds {
        /// Which.
        outing: Option<i64>,
        /// How and when.
        end: End,
    },
    /// A bank is told of, or told of anew.
    Bank(BankSpec),
    /// A bank is given another name.
    BankRenamed {
        /// The old name.
        from: String,
        /// The new one.
        to: String,
    },
    /// A bank is not offered any more (or again).
    BankForgotten {
        /// Its name.
        name: String,
        /// Whether it is forgotten.
        forgotten: bool,
    },
    /// A run-down is credited to a bank.
    RunDown {
        /// The bank's name.
        bank: String,
        /// The outing it was; `None` for an imported one.
        outing: Option<i64>,
        /// What was seen.
        data: RunDown,
    },
    /// A run-down is struck out, or credited again.
    Struck {
        /// Which.
        rundown: i64,
        /// Whether it is struck out.
        struck: bool,
    },
    /// The operator says how an outing ended whose power was lost.
    Answered {
        /// Which outing.
        outing: i64,
        /// The bank died (else its plug was pulled).
        died: bool,
    },
    /// A contact log was read: all of its good contacts, in one entry (see [`crate::contacts`]).
    /// Reading the same or a longer one again adds only what is new.
    Contacts(Vec<LoggedContact>),
    /// The contacts that fall into an outing are taken back.
    ContactsForgotten {
        /// Which outing.
        outing: i64,
    },
    /// What the operator was doing in a stretch of an outing, put right afterwards.
    Correction {
        /// Which outing.
        outing: i64,
        /// From, seconds since the outing began, as pages have it.
        from_s: f64,
        /// To. An empty stretch, or one wholly outside the outing, leaves no trace.
        to_s: f64,
        /// The activity's name; `None`: none.
        activity: Option<String>,
        /// Who says so.
        origin: Origin,
    },
    /// A correction is taken back ([`crate::tables::corrections::Correction::id`]).
    CorrectionForgotten {
        /// Which.
        id: i64,
    },
    /// A stretch of the draw was folded over the period of a timed mode.
    Fold(PeriodFold),
    /// The open outing is started with a plan.
    OutingPlan(OutingPlan),
    /// What the processor's load takes, as the fit stands: in the place of what stood before.
    LoadLine(LoadLine),
    /// Seconds around what happened.
    CloseUp(CloseUp),
    /// The daemon ends cleanly.
    Stops {
        /// When, seconds since boot.
        at_s: f64,
        /// How.
        how: StopHow,
    },
}

impl Change {
    /// Whether it must reach the card at once.
    #[must_use]
    pub const fn urgent(&self) -> bool {
        match self {
            Self::Row(_)
            | Self::Source(_)
            | Self::Forecast(_)
            | Self::Clock(_)
            | Self::Contacts(_)
            | Self::Fold(_)
            | Self::LoadLine(_)
            | Self::CloseUp(_) => false,
            Self::Event(event) => event.kind.urgent(),
            Self::Choice { .. }
            | Self::OutingBegins { .. }
            | Self::OutingGoesOn { .. }
            | Self::OutingJoins { .. }
            | Self::OutingParts { .. }
            | Self::OutingStart { .. }
            | Self::OutingSettled { .. }
            | Self::EndingChance { .. }
            | Self::OutingBank { .. }
            | Self::OutingNamed(_)
            | Self::OutingPlan(_)
            | Self::OutingRenamed { .. }
            | Self::OutingEnds { .. }
            | Self::Bank(_)
            | Self::BankRenamed { .. }
            | Self::BankForgotten { .. }
            | Self::RunDown { .. }
            | Self::Struck { .. }
            | Self::Answered { .. }
            | Self::ContactsForgotten { .. }
            | Self::Correction { .. }
            | Self::CorrectionForgotten { .. }
            | Self::Stops { .. } => true,
        }
    }
}

/// Which boot and version writes.
#[derive(Clone, Debug, PartialEq)]
pub struct Who {
    /// The kernel's identity of this boot.
    pub boot_uuid: String,
    /// When the daemon started, seconds since boot.
    pub began_s: f64,
    /// The daemon's version.
    pub version: String,
}
