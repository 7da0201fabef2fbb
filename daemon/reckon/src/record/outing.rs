//! An outing and its end.

use alloc::{string::String, vec::Vec};

use super::{
    bank::BankWhole,
    contact::OutingContacts,
    correction::Correction,
    energy::SwitchedOn,
    event::{Event, SourceGap},
    forecast::ForecastMade,
    load_line::LoadLine,
    outing_plan::OutingPlan,
    period_fold::PeriodFold,
    rows::Row,
    run_down::RecordedRunDown,
};
use crate::time::Wall;

/// An outing as the record has it.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Outing {
    /// Its id; later ones have larger ids.
    pub id: i64,
    /// The name of the bank it began with.
    pub bank: Option<String>,
    /// Its name.
    pub name: Option<String>,
    /// How full the bank was, 0 to 1.
    pub start_share: Option<f64>,
    /// When it began, if the wall time is known.
    pub began: Option<Wall>,
    /// The last moment known to be part of it, if the wall time is known; `None` while open too.
    pub ended: Option<Wall>,
    /// Width of the interval that the end is known to, s.
    pub ended_within_s: Option<f64>,
    /// How it ended.
    pub ending: Ending,
    /// Time switched on, s, all its boots together.
    pub lasted_s: f64,
    /// Energy delivered, Wh.
    pub energy_wh: Option<f64>,
    /// Of that, over gaps, Wh.
    pub bridged_wh: Option<f64>,
    /// Of it, counted at the end of a sensor's range, Wh: the true energy is more.
    pub over_range_wh: Option<f64>,
    /// Mean power, W.
    pub mean_power_w: Option<f64>,
    /// Peak power, W.
    pub peak_power_w: Option<f64>,
}

/// All that the record has of an outing, of one moment. Times are seconds since it began.
#[derive(Clone, Debug, PartialEq)]
pub struct OutingWhole {
    /// The outing.
    pub outing: Outing,
    /// When the board was switched on within it, oldest first.
    pub on: Vec<SwitchedOn>,
    /// Its rows, oldest first: ten seconds each, or five minutes where those were thinned; what
    /// sticks out of it is cut off.
    pub rows: Vec<Row>,
    /// What happened, oldest first.
    pub events: Vec<Event>,
    /// When a source did not answer.
    pub gaps: Vec<SourceGap>,
    /// When the board was switched off within it, as far as that is known: from, to, s.
    pub off_s: Vec<(f64, f64)>,
    /// The forecasts made on the way, oldest first.
    pub forecasts: Vec<ForecastMade>,
    /// The contacts that fall into it.
    pub contacts: OutingContacts,
    /// What was corrected afterwards, in order of entry: of two that overlap the later holds.
    pub corrections: Vec<Correction>,
    /// Its folds, oldest first.
    pub folds: Vec<PeriodFold>,
    /// What the processor's load took, a fit for each run of the daemon; empty in an old record.
    pub loads: Vec<LoadLine>,
    /// The plan that it was started with.
    pub plan: Option<OutingPlan>,
    /// The bank it began with.
    pub bank: Option<BankWhole>,
}

impl OutingWhole {
    /// The run-down that it was credited as, if it was.
    #[must_use]
    pub fn run_down(&self) -> Option<&RecordedRunDown> {
        self.bank.as_ref()?.run_downs.iter().find(|one| one.outing == Some(self.outing.id))
    }
}

/// A page of a list: the items, newest first, and where the next page begins.
#[derive(Clone, Debug, PartialEq)]
pub struct Page<T> {
    /// The items.
    pub items: Vec<T>,
    /// Hand this in for the next page; `None`: that was all.
    pub next: Option<i64>,
}

impl<T> Default for Page<T> {
    fn default() -> Self {
        Self { items: Vec::new(), next: None }
    }
}

/// How and when an outing ended.
#[derive(Clone, Debug, PartialEq)]
pub struct End {
    /// The last moment known to be part of it, seconds since the boot it ended in.
    pub from_s: f64,
    /// The first moment known not to be.
    pub to_s: f64,
    /// How.
    pub ending: Ending,
}

/// The endings that a record knows.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub enum Ending {
    /// Not ended.
    #[default]
    Open,
    /// The board was switched off.
    SwitchedOff,
    /// The bank cut out.
    Died,
    /// The power went away; the bank died with this chance, else the plug was pulled.
    PowerLost {
        /// 0 to 1.
        died: f64,
    },
    /// Another bank took over.
    Swapped,
}

impl Ending {
    /// As stored.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::SwitchedOff => "switched_off",
            Self::Died => "died",
            Self::PowerLost { .. } => "power_lost",
            Self::Swapped => "swapped",
        }
    }

    /// From the stored columns.
    #[must_use]
    pub fn from_columns(name: &str, died: Option<f64>) -> Self {
        match name {
            "switched_off" => Self::SwitchedOff,
            "died" => Self::Died,
            "power_lost" => Self::PowerLost { died: died.unwrap_or(0.5) },
            "swapped" => Self::Swapped,
            _ => Self::Open,
        }
    }
}
