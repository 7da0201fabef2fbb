//! What an outing has counted: kept twice while another bank may have come in the middle of it.

use super::{Carried, Engine, meter::Meter, trail::TrailMaker};
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

    /// What the outing had used before all that is counted here.
    pub(super) fn before(&mut self, carried: &Carried) {
        if carried.span.si() >= 1.0 {
            let [delivered, bridged] =
                [carried.delivered, carried.bridged].map(|energy| energy.max(Joules::ZERO));
            self.meter.before(carried.span, delivered, bridged, &carried.told());
        }
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
    /// The outing's tally.
    pub(super) const fn tally(&self) -> &Tally {
        &self.on.tally
    }

    /// The tally that a story goes by.
    pub(super) fn tally_of(&self, story: Story) -> &Tally {
        let later = self.on.since_away.as_ref().filter(|_| story == Story::Swapped);
        later.unwrap_or(&self.on.tally)
    }

    /// Every tally that is kept: the outing's, the one since the supply was away, and for each word that
    /// may be taken back the one since it was given.
    fn each_tally(&mut self, change: impl Fn(&mut Tally)) {
        change(&mut self.on.tally);
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
        for tally in core::iter::once(&mut self.on.tally).chain(self.on.since_away.as_mut()) {
            match watts {
                Some(watts) => tally.add(dt, watts, seen),
                None => tally.bridge(dt, mean, seen),
            }
        }
    }

    pub(super) fn count(&mut self, dt: Seconds, watts: Watts, seen: &Observation) {
        self.each_tally(|tally| tally.add(dt, watts, seen));
    }

    pub(super) fn bridge(&mut self, dt: Seconds, else_watts: Watts, seen: &Observation) {
        self.each_tally(|tally| tally.bridge(dt, else_watts, seen));
    }

    pub(super) fn rest(&mut self, dt: Seconds, watts: Watts) {
        self.each_tally(|tally| tally.rest(dt, watts));
    }

    pub(super) fn blank(&mut self, dt_s: f64) {
        self.each_tally(|tally| tally.trail.add(dt_s, None));
    }

    pub(super) fn tick_at(&mut self, at: Mono) {
        self.each_tally(|tally| tally.trail.tick(at));
    }

    /// The supply was away and is back: from now on it is counted apart as well, until somebody
    /// says whether it is another bank.
    pub(super) fn doubt_supply(&mut self, away: Away) {
        // What speaks for the other stories up to here is common to all that follows.
        self.weigh_stories();
        let counted = self.on.belief.away();
        self.on.belief.note_away(away);
        if self.on.belief.away() != counted {
            self.on.since_away = Some(Tally::new(away.to));
            self.on.following.retain(|one| !one.is_of(Story::Swapped));
        }
        self.on.shown.hurry();
    }
}
