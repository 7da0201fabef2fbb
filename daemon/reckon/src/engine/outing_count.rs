//! What an outing has counted: kept twice while another bank may have come in the middle of it.

use super::{draw_history::DrawHistoryMaker, meter::Meter};
use crate::{
    belief::Carried,
    estimator::Observation,
    time::Mono,
    units::{Joules, Seconds, Watts},
};

/// Energy and drawing of a stretch that counts as an outing.
#[derive(Clone, Debug)]
pub(super) struct OutingCount {
    pub(super) began: Mono,
    pub(super) meter: Meter,
    pub(super) draw_history: DrawHistoryMaker,
}

impl OutingCount {
    pub(super) fn new(began: Mono) -> Self {
        Self { began, meter: Meter::default(), draw_history: DrawHistoryMaker::new(began) }
    }

    /// What the outing had used before all that is counted here.
    pub(super) fn before(&mut self, carried: &Carried) {
        if carried.span.si() >= 1.0 {
            self.meter.before(carried, &carried.to_steps());
        }
    }

    /// A stretch with this mean draw, measured or modelled.
    pub(super) fn add(&mut self, dt: Seconds, watts: Watts, seen: &Observation) {
        self.meter.add(dt, watts, seen);
        self.draw_history.add(dt.si(), Some(watts));
    }

    /// A stretch in which the sensor was at the end of its range: at least this mean draw.
    pub(super) fn add_at_least(&mut self, dt: Seconds, watts: Watts, seen: &Observation) {
        self.add(dt, watts, seen);
        self.meter.over_range = self.meter.over_range + watts.max(Watts::ZERO) * dt;
    }

    /// A stretch that nobody saw: bridged with the draw before it, else with this.
    pub(super) fn bridge(&mut self, dt: Seconds, else_watts: Watts, seen: &Observation) {
        self.meter.bridge(dt, else_watts, seen);
        self.draw_history.add(dt.si(), None);
    }

    /// A stretch in which nothing worth mentioning was taken from the bank: its time does not count.
    pub(super) fn rest(&mut self, dt: Seconds, watts: Watts) {
        self.meter.watch(dt, watts);
        self.meter.delivered = self.meter.delivered + Joules::of(watts.si().max(0.0) * dt.si());
        self.draw_history.add(dt.si(), Some(Watts::ZERO));
    }
}
