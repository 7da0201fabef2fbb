//! A plan, checked and complete: what feeds the station, what it does and for how long.

use alloc::{string::String, vec::Vec};

use super::{ageing::Left, sun::Sun, wire::Lead};
use crate::{
    bank::{BankSpec, Start},
    engine::UsualDraw,
    estimator::{Learned, LoadPrior},
};

/// What a bank feeds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Feeds {
    /// Board and radio.
    #[default]
    Both,
    /// The board alone.
    Board,
    /// The radio alone.
    Radio,
}

impl Feeds {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Both, Self::Board, Self::Radio];

    /// Its name in plans.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Both => "both",
            Self::Board => "board",
            Self::Radio => "radio",
        }
    }

    /// The one of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.name() == name)
    }
}

/// A bank of the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanBank {
    /// As told; its `ambient` is the temperature of this outing.
    pub spec: BankSpec,
    /// How full it begins.
    pub start: Start,
    /// What its run-downs taught; nothing where it is known by its label alone.
    pub learned: Learned,
    /// What it feeds.
    pub feeds: Feeds,
    /// Used at the same time as the one before it; else after that.
    pub together: bool,
    /// Share of its energy that is used before it counts as empty, 0 to 1.
    pub depth: f64,
    /// What age and use are told to have left of it; nothing where run-downs say it better.
    pub aged: Option<Left>,
    /// What it weighs, g, where it was told.
    pub mass_g: Option<f64>,
}

/// What is done in a stretch.
#[derive(Clone, Debug, PartialEq)]
pub enum Doing {
    /// An activity, and what it drew on earlier outings.
    Activity(String, UsualDraw),
    /// Shares of time and processor.
    Shares {
        /// Share of all cores, 0 to 1.
        busy: f64,
        /// Share of the time with the key down, 0 to 1.
        sent: f64,
    },
}

/// A stretch of the outing.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// How long.
    pub hours: f64,
    /// What is done.
    pub doing: Doing,
    /// What hangs on the bank besides, W.
    pub extra_w: f64,
    /// The board is switched on; else it is halted.
    pub board_on: bool,
    /// A halted board is left on the bank, so that both go on drawing a little.
    pub connected: bool,
    /// The radio is switched on.
    pub radio_on: bool,
    /// The display may be on when somebody is there.
    pub display_on: bool,
}

impl Default for PlanBank {
    /// A bank of 10 000 mAh for everything, full, known by its label.
    fn default() -> Self {
        Self {
            spec: BankSpec::common().swap_remove(0),
            start: Start::Full,
            learned: Learned::default(),
            feeds: Feeds::Both,
            together: false,
            depth: 1.0,
            aged: None,
            mass_g: None,
        }
    }
}

impl Stretch {
    /// Board and radio on, nothing besides.
    #[must_use]
    pub const fn of_shares(hours: f64, busy: f64, sent: f64) -> Self {
        let doing = Doing::Shares { busy, sent };
        Self {
            hours,
            doing,
            extra_w: 0.0,
            board_on: true,
            connected: true,
            radio_on: true,
            display_on: true,
        }
    }
}

/// A plan.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Plan {
    /// Banks in the order of use; at least one.
    pub banks: Vec<PlanBank>,
    /// What is printed of board and radio.
    pub load: LoadPrior,
    /// What the board's converter leaves of what the bank gives it, 0 to 1; `None`: as usual for the bank.
    pub through: Option<f64>,
    /// The lead from the first bank.
    pub lead: Option<Lead>,
    /// A panel on the first supply.
    pub sun: Option<Sun>,
    /// Stretches in order; at least one.
    pub stretches: Vec<Stretch>,
    /// The station's activity that draws least, and what it drew, for changes of the mix.
    pub quietest: Option<(String, UsualDraw)>,
    /// Wanted from the start, h.
    pub finish_h: f64,
    /// Wanted after that, h.
    pub reserve_h: f64,
}
