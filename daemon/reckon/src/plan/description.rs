//! A plan as somebody describes it, in the tables and keys of a plan file, JSON or a form, and what becomes of it.
//! One table of keys holds what each may be, for every door.

use alloc::{string::String, vec::Vec};

use super::{assumption::Assumption, keys, reading::Reading, spec::Plan};
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

/// A plan as described, key by key.
#[derive(Clone, Debug, Default)]
pub struct Description {
    given: Vec<(Place, Given)>,
    faults: Vec<PlanFault>,
}

impl Description {
    /// Takes what stands at a place; what cannot be right is said in the end, with everything else.
    pub fn take(&mut self, place: Place, given: Given) {
        match keys::refuses(&place, &given) {
            Some(want) => self.faults.push(PlanFault { place, want }),
            None => self.given.push((place, given)),
        }
    }

    /// The plan, with everything that was assumed.
    ///
    /// # Errors
    /// Everything that cannot be right.
    pub fn complete(self, known: &Known) -> Result<(Plan, Vec<Assumption>), Vec<PlanFault>> {
        let mut reading = Reading::new(self.given, self.faults, known);
        let plan = reading.plan();
        let (faults, assumed) = reading.done();
        if faults.is_empty() { Ok((plan, assumed)) } else { Err(faults) }
    }
}
