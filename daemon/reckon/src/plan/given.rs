//! What somebody gives of a plan, where it stands, what is wrong with it, and what is known beside it.

use alloc::{string::String, vec::Vec};

use crate::{
    bank::BankSpec,
    engine::UsualDraws,
    estimator::{Learned, LoadPrior},
};

/// What stands at a key.
#[derive(Clone, Debug, PartialEq)]
pub enum Given {
    /// A number.
    Number(f64),
    /// A text.
    Text(String),
    /// Yes or no.
    Flag(bool),
    /// A list of numbers.
    Numbers(Vec<f64>),
    /// Something that no key takes.
    Else,
}

/// Where something stands: a table (`""`: the top), which of several of that name, a key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The table; empty at the top.
    pub table: String,
    /// Which of several tables of this name, from 0.
    pub nth: usize,
    /// The key.
    pub key: String,
}

/// What cannot be right, and what would be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanFault {
    /// Where.
    pub place: Place,
    /// What is wanted instead.
    pub want: String,
}

/// What is known beside the plan: from the record and the settings.
#[derive(Clone, Debug, Default)]
pub struct Known {
    /// Banks of the record with what they taught.
    pub banks: Vec<(BankSpec, Learned)>,
    /// What each activity drew here before.
    pub usual: UsualDraws,
    /// What is printed of this station's board and radio.
    pub load: LoadPrior,
}
