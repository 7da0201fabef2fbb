//! A plan as somebody describes it, in the tables and keys of a plan file, JSON or a form, and what becomes of it.
//! One table of keys holds what each may be, for every door.

use alloc::vec::Vec;

use super::{
    assumption::Assumption,
    given::{Given, Known, Place, PlanFault},
    keys,
    reading::Reading,
    spec::Plan,
};

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
