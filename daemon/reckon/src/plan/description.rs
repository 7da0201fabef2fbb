//! A plan as somebody describes it, in the tables and keys of a plan file, JSON or a form, and what becomes of it.
//! One table of keys holds what each may be, for every door.

use alloc::{borrow::ToOwned, string::String, vec::Vec};

use super::{
    assumption::Assumption,
    given::{FAULTS, Given, Known, Place, PlanFault},
    keys,
    reading::Reading,
    spec::Plan,
};

/// A plan as described, key by key.
#[derive(Clone, Debug, Default)]
pub struct Description {
    tables: Vec<(String, usize)>,
    given: Vec<(Place, Given)>,
    faults: Vec<PlanFault>,
}

impl Description {
    /// Begins a table. False: it is none of a plan's, or one too many, and nothing of it is wanted.
    pub fn begin(&mut self, table: &str, nth: usize) -> bool {
        let refused = keys::refuses_table(table, nth);
        let begun = refused.is_none();
        match refused {
            None => self.tables.push((table.to_owned(), nth)),
            Some(want) => {
                let place = Place { table: table.to_owned(), nth, key: String::new() };
                self.refuse(place, want);
            }
        }
        begun
    }

    fn refuse(&mut self, place: Place, want: String) {
        if self.faults.len() < FAULTS {
            self.faults.push(PlanFault { place, want });
        }
    }

    /// Whether it names a bank, of which only the record knows.
    #[must_use]
    pub fn names_bank(&self) -> bool {
        self.has("bank", "known")
    }

    /// Whether it names a bank or an activity.
    #[must_use]
    pub fn needs_record(&self) -> bool {
        self.names_bank() || self.has("stretch", "activity")
    }

    fn has(&self, table: &str, key: &str) -> bool {
        self.given.iter().any(|(at, _)| at.table == table && at.key == key)
    }

    /// Takes what stands at a place; what cannot be right is said in the end, with everything else.
    pub fn take(&mut self, place: Place, given: Given) {
        match keys::refuses(&place, &given) {
            Some(want) => self.refuse(place, want),
            None => self.given.push((place, given)),
        }
    }

    /// The plan, with everything that was assumed.
    ///
    /// # Errors
    /// Everything that cannot be right.
    pub fn complete(self, known: &Known) -> Result<(Plan, Vec<Assumption>), Vec<PlanFault>> {
        let mut reading = Reading::new(self.tables, self.given, self.faults, known);
        let plan = reading.plan();
        let (faults, assumed) = reading.done();
        if faults.is_empty() { Ok((plan, assumed)) } else { Err(faults) }
    }
}
