//! What somebody gives of a plan, where it stands, what is wrong with it, and what is known beside it.

use alloc::{string::String, vec::Vec};

use super::spec::{Plan, PlanBank};
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
    /// What each activity drew on each bank's newest outings, by the bank's name.
    pub usual: Vec<(String, UsualDraws)>,
    /// What is printed of this station's board and radio.
    pub load: LoadPrior,
}

impl Known {
    /// Banks of the record that a plan could take instead or besides: full ones, the largest few.
    #[must_use]
    pub fn others(&self, plan: &Plan) -> Vec<PlanBank> {
        let has = |spec: &BankSpec| plan.banks.iter().any(|bank| bank.spec.name == spec.name);
        let mut all: Vec<_> = self.banks.iter().filter(|(spec, _)| !has(spec)).collect();
        let wh = |spec: &BankSpec| spec.label_energy().wh();
        all.sort_by(|(a, _), (b, _)| wh(b).total_cmp(&wh(a)));
        let other = |(spec, learned): &(BankSpec, Learned)| PlanBank {
            spec: spec.clone(),
            learned: learned.clone(),
            ..PlanBank::default()
        };
        all.into_iter().take(OTHERS).map(other).collect()
    }
}

/// So many other banks are tried: each costs two more plans.
const OTHERS: usize = 4;
/// So many faults are told; whoever mends those hears of the rest.
pub(super) const FAULTS: usize = 50;
