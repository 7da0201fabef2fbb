//! Counts a stretch into every outing that it may belong to.

use super::{outing_count::OutingCount, state::Engine};
use crate::{
    belief::{Away, Story},
    estimator::Observation,
    time::Mono,
    units::{Seconds, Watts},
};

impl Engine {
    /// The outing's tally.
    pub(super) const fn outing_count(&self) -> &OutingCount {
        &self.on.count
    }

    /// The tally that a story goes by.
    pub(super) fn count_of(&self, story: Story) -> &OutingCount {
        let later = self.on.since_away.as_ref().filter(|_| story == Story::Swapped);
        later.unwrap_or(&self.on.count)
    }

    /// Every count that is kept: the outing's, the one since the supply was away, and for each word that
    /// may be taken back the one since it was given.
    fn each_count(&mut self, change: impl Fn(&mut OutingCount)) {
        change(&mut self.on.count);
        self.on.since_away.iter_mut().for_each(&change);
        let mut shelf = self.on.before.as_deref_mut();
        while let Some(one) = shelf {
            change(&mut one.since);
            shelf = one.on.before.as_deref_mut();
        }
    }

    /// The outing's own tallies, without those of words that may be taken back.
    pub(super) fn count_here(
        &mut self,
        dt: Seconds,
        seen: &Observation,
        watts: Option<Watts>,
        mean: Watts,
    ) {
        for count in core::iter::once(&mut self.on.count).chain(self.on.since_away.as_mut()) {
            match watts {
                Some(watts) => count.add(dt, watts, seen),
                None => count.bridge(dt, mean, seen),
            }
        }
    }

    pub(super) fn count(&mut self, dt: Seconds, watts: Watts, seen: &Observation) {
        self.each_count(|count| count.add(dt, watts, seen));
    }

    pub(super) fn count_at_least(&mut self, dt: Seconds, watts: Watts, seen: &Observation) {
        self.each_count(|count| count.add_at_least(dt, watts, seen));
    }

    pub(super) fn bridge(&mut self, dt: Seconds, else_watts: Watts, seen: &Observation) {
        self.each_count(|count| count.bridge(dt, else_watts, seen));
    }

    pub(super) fn rest(&mut self, dt: Seconds, watts: Watts) {
        self.each_count(|count| count.rest(dt, watts));
    }

    pub(super) fn blank(&mut self, dt_s: f64) {
        self.each_count(|count| count.draw_history.add(dt_s, None));
    }

    pub(super) fn tick_at(&mut self, at: Mono) {
        self.each_count(|count| count.draw_history.tick(at));
    }

    /// The supply was away and is back: from now on it is counted apart as well, until somebody
    /// says whether it is another bank.
    pub(super) fn doubt_supply(&mut self, away: Away) {
        // What speaks for the other stories up to here is common to all that follows.
        self.weigh_stories();
        let counted = self.on.belief.away();
        self.on.belief.note_away(away);
        if self.on.belief.away() != counted {
            self.on.since_away = Some(OutingCount::new(away.to));
            self.on.following.retain(|one| !one.is_of(Story::Swapped));
        }
        self.on.shown.hurry();
    }
}
