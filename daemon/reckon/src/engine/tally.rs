//! What an outing has counted: kept twice while another bank may have come in the middle of it.

use super::{Engine, meter::Meter, trail::TrailMaker};
use crate::{
    belief::{Away, Story},
    estimator::Observation,
    time::Mono,
    units::{Joules, Seconds, Watts},
};

/// Energy and drawing of a stretch that counts as an outing.
#[derive(Clone, Debug)]
pub(super) struct Tally {
    pub(super) began: Mono,
    pub(super) meter: Meter,
    pub(super) trail: TrailMaker,
}

impl Tally {
    pub(super) fn new(began: Mono) -> Self {
        Self { began, meter: Meter::default(), trail: TrailMaker::new(began) }
    }

    /// A stretch with this mean draw, measured or modelled.
    fn add(&mut self, dt: Seconds, watts: Watts, seen: &Observation) {
        self.meter.add(dt, watts, seen);
        self.trail.add(dt.si(), Some(watts));
    }

    /// A stretch that nobody saw: bridged with the draw before it, else with this.
    fn bridge(&mut self, dt: Seconds, else_watts: Watts, seen: &Observation) {
        self.meter.bridge(dt, else_watts, seen);
        self.trail.add(dt.si(), None);
    }

    /// A stretch in which nothing worth mentioning was taken from the bank: its time does not count.
    fn rest(&mut self, dt: Seconds, watts: Watts) {
        self.meter.watch(dt, watts);
        self.meter.delivered = self.meter.delivered + Joules::of(watts.si().max(0.0) * dt.si());
        self.trail.add(dt.si(), Some(Watts::ZERO));
    }
}

impl Engine {
    /// The outing's tally: since another bank came, if a person said that one did.
    pub(super) fn tally(&self) -> &Tally {
        self.on
            .since_away
            .as_ref()
            .filter(|_| self.on.belief.is_another())
            .unwrap_or(&self.on.tally)
    }

    /// The tally that a story goes by.
    pub(super) fn tally_of(&self, story: Story) -> &Tally {
        let later =
            story == Story::Swapped || (story == Story::Said && self.on.belief.is_another());
        self.on.since_away.as_ref().filter(|_| later).unwrap_or(&self.on.tally)
    }

    fn tallies(&mut self) -> impl Iterator<Item = &mut Tally> {
        let shelf = self.shelf.as_mut().map(|shelf| &mut shelf.since);
        core::iter::once(&mut self.on.tally).chain(self.on.since_away.as_mut()).chain(shelf)
    }

    pub(super) fn count(&mut self, dt: Seconds, watts: Watts, seen: &Observation) {
        for tally in self.tallies() {
            tally.add(dt, watts, seen);
        }
    }

    pub(super) fn bridge(&mut self, dt: Seconds, else_watts: Watts, seen: &Observation) {
        for tally in self.tallies() {
            tally.bridge(dt, else_watts, seen);
        }
    }

    pub(super) fn rest(&mut self, dt: Seconds, watts: Watts) {
        for tally in self.tallies() {
            tally.rest(dt, watts);
        }
    }

    pub(super) fn blank(&mut self, dt_s: f64) {
        for tally in self.tallies() {
            tally.trail.add(dt_s, None);
        }
    }

    pub(super) fn tick_at(&mut self, at: Mono) {
        for tally in self.tallies() {
            tally.trail.tick(at);
        }
    }

    /// The supply was away and is back: from now on it is counted apart as well, until somebody
    /// says whether it is another bank.
    pub(super) fn doubt_supply(&mut self, away: Away) {
        let counted = self.on.belief.away();
        self.on.belief.note_away(away);
        if self.on.belief.away() != counted {
            self.on.since_away = Some(Tally::new(away.to));
            self.on.following.retain(|one| !one.is_of(Story::Swapped));
        }
        self.on.shown.hurry();
    }
}
