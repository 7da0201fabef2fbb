//! The energy tally: what was taken, by activity, by hour, by outing, by bank.
//!
//! A *tally* holds energy, time, mean, peak and a sketch of how the draw was spread; tallies merge,
//! so an outing is the sum of its hours and a bank the sum of its outings. Beside them stand the
//! share of the draw that goes with the processor's load, and what an accessory takes.

mod quantile_sketch;
mod regression;

use alloc::{
    string::{String, ToString},
    vec::Vec,
};

pub use quantile_sketch::{QuantileSketch, RELATIVE_ERROR};
pub(crate) use regression::PART_SENT;
pub use regression::{
    BeforeAfter, LoadFit, Regression, RegressionLine, WithinMinuteFit, footprint,
};

use crate::units::{Joules, Seconds, Watts};

/// Everything about a stretch of drawing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct EnergyTally {
    energy_j: Sum,
    lasted_s: Sum,
    peak_w: f64,
    sketch: QuantileSketch,
}

impl EnergyTally {
    /// Adds a stretch at one draw. Nothing that is not finite, and no time below zero, gets in.
    pub fn add(&mut self, lasted: Seconds, draw: Watts) {
        let (dt, watts) = (lasted.si(), draw.si());
        if dt <= 0.0 {
            return;
        }
        self.energy_j.add(watts * dt);
        self.lasted_s.add(dt);
        self.peak_w = self.peak_w.max(watts);
        self.sketch.add(watts, dt);
    }

    /// Raises the peak to a single look that stands out of the stretches.
    pub const fn raise_peak(&mut self, draw: Watts) {
        self.peak_w = self.peak_w.max(draw.si());
    }

    /// Adds another tally, as if its stretches had been added here.
    pub fn merge(&mut self, other: &Self) {
        self.energy_j.add(other.energy_j.value());
        self.lasted_s.add(other.lasted_s.value());
        self.peak_w = self.peak_w.max(other.peak_w);
        self.sketch.merge(&other.sketch);
    }

    /// What was taken.
    #[must_use]
    pub fn energy(&self) -> Joules {
        Joules::of(self.energy_j.value())
    }

    /// Over how long.
    #[must_use]
    pub fn lasted(&self) -> Seconds {
        Seconds::of(self.lasted_s.value())
    }

    /// Mean draw by time; `None` for an empty tally.
    #[must_use]
    pub fn mean(&self) -> Option<Watts> {
        let lasted = self.lasted_s.value();
        if lasted > 0.0 { Watts::new(self.energy_j.value() / lasted) } else { None }
    }

    /// The draw that was not exceeded for 95 % of the time, within [`RELATIVE_ERROR`].
    #[must_use]
    pub fn p95(&self) -> Option<Watts> {
        self.sketch.quantile(0.95).map(|watts| watts.min(self.peak_w)).and_then(Watts::new)
    }

    /// The largest single stretch or look; never below zero.
    #[must_use]
    pub fn peak(&self) -> Watts {
        Watts::of(self.peak_w)
    }

    /// How the draw was spread.
    #[must_use]
    pub const fn sketch(&self) -> &QuantileSketch {
        &self.sketch
    }
}

/// A sum that does not lose small terms in a large total (Neumaier, ZAMM 54, 1974).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Sum {
    total: f64,
    lost: f64,
}

impl Sum {
    fn add(&mut self, term: f64) {
        let next = self.total + term;
        if !next.is_finite() {
            return;
        }
        self.lost += if self.total.abs() >= term.abs() {
            (self.total - next) + term
        } else {
            (term - next) + self.total
        };
        self.total = next;
    }

    const fn value(self) -> f64 {
        self.total + self.lost
    }
}

/// Energy between readings: by the trapezoid rule between two of them, and not at all over a gap
/// longer than the caller allows (a gap is no measurement).
#[derive(Clone, Copy, Debug)]
pub struct Between {
    last: Option<(f64, f64)>,
    longest_s: f64,
}

impl Between {
    /// Bridges gaps up to this long.
    #[must_use]
    pub const fn new(longest: Seconds) -> Self {
        Self { last: None, longest_s: longest.si() }
    }

    /// The stretch since the last reading: how long it was and its mean draw. `None` for the first
    /// reading, after a longer gap, and for time running backwards.
    pub fn step(&mut self, at: Seconds, draw: Watts) -> Option<(Seconds, Watts)> {
        let (now_s, now_w) = (at.si(), draw.si());
        let (then_s, then_w) = self.last.replace((now_s, now_w))?;
        let dt = now_s - then_s;
        let fits = dt > 0.0 && dt <= self.longest_s;
        fits.then(|| (Seconds::of(dt), Watts::of(f64::midpoint(then_w, now_w))))
    }
}

/// No more names than this are kept apart.
const MOST_NAMES: usize = 64;

/// The longest outing that is kept by the hour: four weeks.
const MOST_HOURS: usize = 672;

/// The tallies of one outing.
#[derive(Clone, Debug, Default)]
pub struct OutingTally {
    whole: EnergyTally,
    activities: Vec<(String, EnergyTally)>,
    hours: Vec<EnergyTally>,
    untagged: EnergyTally,
}

impl OutingTally {
    /// Empty.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Enters a stretch that began so long into the outing, with what the operator was doing.
    pub fn enter(&mut self, into: Seconds, lasted: Seconds, draw: Watts, doing: Option<&str>) {
        self.enter_peak(into, lasted, draw, draw, doing);
    }

    /// The same where the largest look of the stretch is known too.
    pub fn enter_peak(
        &mut self,
        into: Seconds,
        lasted: Seconds,
        draw: Watts,
        peak: Watts,
        doing: Option<&str>,
    ) {
        let put = |tally: &mut EnergyTally| {
            tally.add(lasted, draw);
            tally.raise_peak(peak);
        };
        put(&mut self.whole);
        if let Some(tally) = self.hour(into) {
            put(tally);
        }
        put(self.activity(doing));
    }

    /// Moves nothing but names: what was entered as `from` counts as `to` from now on.
    pub fn rename(&mut self, from: &str, to: &str) {
        let Some(at) = self.activities.iter().position(|(name, _)| name == from) else { return };
        if from == to {
            return;
        }
        let (_, tally) = self.activities.swap_remove(at);
        self.activity(Some(to)).merge(&tally);
    }

    /// Adds another outing's tallies, by activity. Hours of different outings are not added up.
    pub fn merge(&mut self, other: &Self) {
        self.whole.merge(&other.whole);
        self.untagged.merge(&other.untagged);
        for (name, tally) in other.activities() {
            self.activity(Some(name)).merge(tally);
        }
    }

    /// All of it.
    #[must_use]
    pub const fn whole(&self) -> &EnergyTally {
        &self.whole
    }

    /// By activity, in the order of first mention.
    pub fn activities(&self) -> impl Iterator<Item = (&str, &EnergyTally)> {
        self.activities.iter().map(|(name, tally)| (name.as_str(), tally))
    }

    /// What nobody said an activity for.
    #[must_use]
    pub const fn untagged(&self) -> &EnergyTally {
        &self.untagged
    }

    /// By hour since the bank was connected; hours without a reading are empty tallies.
    #[must_use]
    pub fn hours(&self) -> &[EnergyTally] {
        &self.hours
    }

    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "held to the range first"
    )]
    fn hour(&mut self, into: Seconds) -> Option<&mut EnergyTally> {
        let hour = (into.si() / 3600.0).clamp(0.0, 1e6) as usize;
        if hour >= MOST_HOURS {
            return None;
        }
        if self.hours.len() <= hour {
            self.hours.resize(hour + 1, EnergyTally::default());
        }
        self.hours.get_mut(hour)
    }

    fn activity(&mut self, doing: Option<&str>) -> &mut EnergyTally {
        let Some(doing) = doing else { return &mut self.untagged };
        let at = self.activities.iter().position(|(name, _)| name == doing);
        let at = match at {
            Some(at) => at,
            None if self.activities.len() < MOST_NAMES => {
                self.activities.push((doing.to_string(), EnergyTally::default()));
                self.activities.len() - 1
            }
            None => return &mut self.untagged,
        };
        match self.activities.get_mut(at) {
            Some((_, tally)) => tally,
            None => &mut self.untagged,
        }
    }
}

#[cfg(test)]
mod tests;
