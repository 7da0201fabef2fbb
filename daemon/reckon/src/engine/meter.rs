//! Counts the energy of an outing, and keeps a short history of it for a bank that is told of
//! later.
//!
//! Each power is the mean of the second before it, so energy is counted in rectangles: power times
//! the time since the sweep before. A trapezoid would average two means and blur every step.

use alloc::vec::Vec;

use crate::{
    belief::Carried,
    estimator::Observation,
    units::{Joules, Seconds, Watts},
};

/// Steps kept for a bank that is told of later; when full, neighbours are merged.
const MOST_STEPS: usize = 240;

/// Sweeps further apart than this leave a gap: a reading tells of its own second only.
pub(super) const GAP_S: f64 = 3.0;

/// Time constant of 'now', seconds.
const NOW_S: f64 = 4.0;

/// Slots of a ten-minute mean, one a 15 s.
const SLOTS: usize = 40;
const SLOT_S: f64 = 15.0;

/// The energy of one outing.
#[derive(Clone, Debug, Default)]
pub(super) struct Meter {
    /// Everything.
    pub(super) delivered: Joules,
    /// Of it, bridged over gaps.
    pub(super) bridged: Joules,
    /// Of it, counted at the end of a sensor's range.
    pub(super) over_range: Joules,
    /// Time that it was counted over.
    pub(super) counted_s: f64,
    now: Option<f64>,
    lately: Vec<(f64, f64)>,
    history: StepHistory,
    /// Steps of the history that are of before the restart.
    before_steps: usize,
}

impl Meter {
    /// Adds a stretch with this mean draw, measured or modelled.
    pub(super) fn add(&mut self, dt: Seconds, watts: Watts, seen: &Observation) {
        self.count(dt.si(), watts.si().max(0.0));
        self.watch(dt, watts);
        self.history.add(seen);
    }

    /// Follows the draw without counting it, while nothing is taken from the bank.
    pub(super) fn watch(&mut self, dt: Seconds, watts: Watts) {
        let gain = 1.0 - libm::exp(-dt.si() / NOW_S);
        let now = self.now.unwrap_or(watts.si());
        self.now = Some(now + gain * (watts.si() - now));
    }

    /// Puts a stretch before everything else: what was counted before a restart, and the steps that an
    /// estimator is told of it.
    pub(super) fn before(&mut self, carried: &Carried, steps: &[Observation]) {
        self.delivered = self.delivered + carried.delivered.max(Joules::ZERO);
        self.bridged = self.bridged + carried.bridged.max(Joules::ZERO);
        self.over_range = self.over_range + carried.over_range.max(Joules::ZERO);
        self.counted_s += carried.span.si();
        let since = core::mem::take(&mut self.history.steps);
        self.before_steps = steps.len();
        self.history.steps = steps.iter().map(Step::from_observation).chain(since).collect();
    }

    /// Puts steps in the place of the one that [`Meter::before`] made of a mere sum; `false` if there
    /// is none such, or they tell of more time than it.
    pub(super) fn recall(&mut self, steps: &[Observation]) -> bool {
        let known_s: f64 = steps.iter().map(|step| step.dt_s).sum();
        let Some(first) = self.history.steps.first().copied().filter(|_| self.before_steps == 1)
        else {
            return false;
        };
        if known_s < 1.0 || known_s > first.dt_s + 1.0 {
            return false;
        }
        let seen = first.seen();
        let carried = Carried {
            span: Seconds::of(first.dt_s),
            delivered: Joules::of(seen.watts.unwrap_or(0.0) * first.dt_s),
            steps: steps.to_vec(),
            ..Carried::nothing()
        };
        let since = self.history.steps.split_off(1);
        self.history.steps =
            carried.to_steps().iter().map(Step::from_observation).chain(since).collect();
        self.before_steps = self.history.steps.len();
        true
    }

    /// Bridges a stretch that nobody saw with the draw of the last minutes; `else_watts` where
    /// there was none.
    pub(super) fn bridge(&mut self, dt: Seconds, else_watts: Watts, seen: &Observation) {
        let watts = self.lately().or(self.outing()).unwrap_or(else_watts).si().max(0.0);
        self.bridged = self.bridged + Joules::of(watts * dt.si());
        self.count(dt.si(), watts);
        self.now = None;
        self.history.add(seen);
    }

    fn count(&mut self, dt_s: f64, watts: f64) {
        self.delivered = self.delivered + Joules::of(watts * dt_s);
        self.counted_s += dt_s;
        match self.lately.last_mut() {
            Some((span, energy)) if *span + dt_s <= SLOT_S => {
                *span += dt_s;
                *energy += watts * dt_s;
            }
            _ => {
                if self.lately.len() >= SLOTS {
                    self.lately.remove(0);
                }
                // A stretch longer than the window itself stands for the window alone.
                let span = dt_s.min(600.0);
                self.lately.push((span, watts * span));
            }
        }
    }

    /// Over the last seconds; `None` in a gap.
    pub(super) fn now(&self) -> Option<Watts> {
        self.now.and_then(Watts::new)
    }

    /// Over the last ten minutes.
    pub(super) fn lately(&self) -> Option<Watts> {
        let (span, energy) =
            self.lately.iter().fold((0.0, 0.0), |(s, e), &(span, energy)| (s + span, e + energy));
        (span >= 1.0).then(|| Watts::of(energy / span))
    }

    /// Over the outing.
    pub(super) fn outing(&self) -> Option<Watts> {
        (self.counted_s >= 1.0).then(|| Watts::of(self.delivered.si() / self.counted_s))
    }

    /// What was seen since the outing began, in few steps.
    pub(super) fn history(&self) -> Vec<Observation> {
        self.history.steps.iter().map(Step::seen).collect()
    }
}

/// One merged step.
#[derive(Clone, Copy, Debug, Default)]
struct Step {
    dt_s: f64,
    /// Seconds and sums of watts, volts, amps, processor share and temperature, each over the
    /// seconds that it was known.
    sums: [(f64, f64); 5],
}

impl Step {
    fn from_observation(seen: &Observation) -> Self {
        let values = [seen.watts, seen.volts, seen.amps, seen.cpu_busy, seen.cpu_temp_c];
        let sum = |value: Option<f64>| value.map_or((0.0, 0.0), |v| (seen.dt_s, v * seen.dt_s));
        Self { dt_s: seen.dt_s, sums: values.map(sum) }
    }

    fn merge(&mut self, other: &Self) {
        self.dt_s += other.dt_s;
        for (mine, more) in self.sums.iter_mut().zip(other.sums) {
            *mine = (mine.0 + more.0, mine.1 + more.1);
        }
    }

    pub(super) fn seen(&self) -> Observation {
        let mean = |(span, sum): (f64, f64)| (span > 0.0).then(|| sum / span);
        let [watts, volts, amps, cpu_busy, cpu_temp_c] = self.sums.map(mean);
        // Unknown for the greater part of the step counts as unknown.
        let watts = watts.filter(|_| self.sums[0].0 * 2.0 >= self.dt_s);
        Observation { dt_s: self.dt_s, watts, volts, amps, cpu_busy, cpu_temp_c }
    }
}

/// What was seen in an outing in few steps.
#[must_use]
pub fn few_steps(seen: impl IntoIterator<Item = Observation>) -> Vec<Observation> {
    let mut history = StepHistory::default();
    for one in seen {
        history.add(&one);
    }
    history.steps.iter().map(Step::seen).collect()
}

#[derive(Clone, Debug)]
struct StepHistory {
    steps: Vec<Step>,
    step_s: f64,
}

impl Default for StepHistory {
    fn default() -> Self {
        Self { steps: Vec::new(), step_s: 60.0 }
    }
}

impl StepHistory {
    fn add(&mut self, seen: &Observation) {
        let more = Step::from_observation(seen);
        match self.steps.last_mut() {
            Some(last) if last.dt_s + more.dt_s <= self.step_s => last.merge(&more),
            _ => self.steps.push(more),
        }
        if self.steps.len() > MOST_STEPS {
            self.step_s *= 2.0;
            let merged = self.steps.chunks(2).map(|pair| {
                let mut first = pair[0];
                if let Some(second) = pair.get(1) {
                    first.merge(second);
                }
                first
            });
            self.steps = merged.collect();
        }
    }
}
