//! What waits in memory to be put on the card: bounded, however long the card refuses.

use reckon::record::LoggedContact;

use crate::write::change::Change;

/// Rows that wait while the card cannot be written to: six hours of them.
const MOST_ROWS_HELD: usize = 2160;
/// Other entries that wait.
const MOST_OTHERS_HELD: usize = 4096;

/// Entries that wait, and what a new file must be told again if this one has to be set aside.
#[derive(Debug, Default)]
pub(super) struct Waiting {
    /// Oldest first.
    held: Vec<Change>,
    rows: usize,
    lost: u64,
    banks: Vec<Change>,
    outing: Option<Change>,
}

/// How far it had come.
pub(super) struct Place {
    held: usize,
    banks: usize,
    outing: Option<Change>,
}

impl Waiting {
    pub(super) fn all(&self) -> &[Change] {
        &self.held
    }

    pub(super) const fn has_rows(&self) -> bool {
        self.rows > 0
    }

    /// Something among them should not wait for the rows.
    pub(super) fn is_urgent(&self) -> bool {
        self.held.iter().any(Change::urgent)
    }

    /// Entries that there was no room for.
    pub(super) const fn lost(&self) -> u64 {
        self.lost
    }

    /// What a file that is new knows nothing of: the banks and the outing that goes on.
    pub(super) fn for_a_new_file(&self) -> Vec<Change> {
        self.banks.iter().chain(&self.outing).cloned().collect()
    }

    pub(super) fn add(&mut self, entry: Change) {
        match &entry {
            Change::Row(_) => self.rows += 1,
            Change::Bank(_) => self.banks.push(entry.clone()),
            Change::OutingBegins { .. } => self.outing = Some(entry.clone()),
            Change::OutingGoesOn { at_s, .. } => {
                // A new file would not know the earlier outing: there it begins here.
                self.outing = Some(Change::OutingBegins {
                    bank: None,
                    name: None,
                    start_share: None,
                    at_s: *at_s,
                });
            }
            Change::OutingEnds { outing: None, .. } => self.outing = None,
            _ => {}
        }
        self.held.push(entry);
        self.make_room();
    }

    /// They are on the card.
    pub(super) fn clear(&mut self) {
        self.held.clear();
        self.rows = 0;
    }

    pub(super) fn place(&self) -> Place {
        Place { held: self.held.len(), banks: self.banks.len(), outing: self.outing.clone() }
    }

    /// Lets go of what has been added since.
    pub(super) fn back_to(&mut self, place: Place) {
        self.held.truncate(place.held);
        self.banks.truncate(place.banks);
        self.outing = place.outing;
    }

    /// A watched contact log comes again whenever it has grown: of those that wait, what the newer
    /// one holds too is let go.
    pub(super) fn drop_covered(&mut self, newer: &Change) {
        let Change::Contacts(newer) = newer else { return };
        let first = |rows: &[LoggedContact]| rows.iter().map(|row| row.began_ms).min();
        self.held.retain(|entry| match entry {
            Change::Contacts(rows) => rows.len() > newer.len() || first(rows) < first(newer),
            _ => true,
        });
    }

    /// The oldest rows go first, then the oldest of what is not an outing or a bank.
    fn make_room(&mut self) {
        if self.rows > MOST_ROWS_HELD {
            self.drop_first(|entry| matches!(entry, Change::Row(_)));
            self.rows -= 1;
        }
        if self.held.len() - self.rows > MOST_OTHERS_HELD {
            self.drop_first(|entry| {
                matches!(
                    entry,
                    Change::Event(_)
                        | Change::Source(_)
                        | Change::Forecast(_)
                        | Change::Clock(_)
                        | Change::Fold(_)
                        | Change::LoadLine(_)
                        | Change::CloseUp(_)
                )
            });
        }
    }

    fn drop_first(&mut self, which: impl Fn(&Change) -> bool) {
        if let Some(place) = self.held.iter().position(which) {
            self.held.remove(place);
            self.lost += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_that_grows_while_the_card_is_full_takes_no_more_memory_each_time() {
        let mut waiting = Waiting::default();
        let log = |from: i64, to: i64| {
            let row = |began_ms| LoggedContact { began_ms, ..LoggedContact::default() };
            Change::Contacts((from..to).map(row).collect())
        };
        // All of the log first, then its last day again and again.
        for entry in std::iter::once(log(0, 100)).chain((101..200).map(|to| log(90, to))) {
            waiting.drop_covered(&entry);
            waiting.add(entry);
        }
        assert_eq!(waiting.all(), [log(0, 100), log(90, 199)]);
        let whole = log(0, 300);
        waiting.drop_covered(&whole);
        waiting.add(whole.clone());
        assert_eq!(waiting.all(), [whole]);
    }
}
