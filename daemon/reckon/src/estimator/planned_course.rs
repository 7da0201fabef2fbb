//! What a plan that the outing was started with lets expect of the draw, and how far it is followed.
//!
//! What was really drawn in a stretch against what was planned for it calibrates it, and less so the others
//! (the logarithm of the ratio, shrunk towards 1). Half hour by half hour the plan and the estimator by itself
//! foretell the draw; the odds between them follow from how well each did, by Student's law as in `draw`. Both
//! are judged with the wider of their two doubts: who knows the next half hour a little better does not know
//! the hours after it better, but who is far off is wrong.

use alloc::vec::Vec;

use libm::{exp, log, log1p, sqrt};

use super::draw::{Draw, Future, JUDGE, MEMORY, Part};
use crate::record::OutingPlan;

/// Length of the means that are judged, s.
const HALF_HOUR_S: f64 = 1800.0;
/// What a plan's past merits are worth half an hour later: as in `draw`, six means on.
const HALF_HOUR_MEMORY: f64 = MEMORY * MEMORY * MEMORY * MEMORY * MEMORY * MEMORY;
/// Chance that an outing that was started with a plan follows it (common practice, no source).
const FOLLOWED: f64 = 0.85;
/// Deviation (ln) of half an hour's mean draw from that of its stretch (as [`super::draw`]'s ordinary temper).
const WANDERS: f64 = 0.10;
/// No plan knows the draw of a stretch better, nor worse (deviation of the logarithm; common practice, no source).
const KNOWN: (f64, f64) = (0.12, 0.8);
/// Less than this is no draw that a ratio could be taken of, W.
const LEAST_W: f64 = 0.05;
/// No stretch lasts longer, s, and none draws more, W.
const LONGEST_S: f64 = 14.0 * 24.0 * 3600.0;
const MOST_W: f64 = 1e5;

/// A stretch of the plan.
#[derive(Clone, Copy, Debug)]
struct Leg {
    /// Since the plan was started, s; the last one goes on without end.
    until_s: f64,
    watts: f64,
    /// Variance of its logarithm that it has alone.
    own_var: f64,
    /// Seconds and watt-seconds really seen in it.
    seen: (f64, f64),
}

impl Leg {
    /// ln of what was really drawn over what was planned, with the variance of that; `None` while nothing was seen.
    fn ratio(&self) -> Option<(f64, f64)> {
        let (s, ws) = self.seen;
        if s <= 0.0 || self.watts < LEAST_W {
            return None;
        }
        let ratio = log((ws / s).max(1e-3) / self.watts);
        Some((ratio, WANDERS * WANDERS * (HALF_HOUR_S / s).max(0.02)))
    }
}

/// The half hour that is open, and what was foretold of it at its beginning.
#[derive(Clone, Copy, Debug)]
struct HalfHour {
    /// Seconds seen, watt-seconds, and watt-seconds as the plan foretold them.
    seen: (f64, f64, f64),
    /// What all stretches have in common, ln, and the variance of what the plan foretells.
    common: f64,
    var: f64,
    /// Of the stretch in which it began, beyond that.
    leg: usize,
    own: f64,
    /// By the estimator itself: ln W and the variance of that.
    other: (f64, f64),
}

impl HalfHour {
    /// What it adds to the odds of the plan (ln).
    fn judged(&self) -> f64 {
        let (s, ws, planned_ws) = self.seen;
        if s <= 0.0 {
            return 0.0;
        }
        let real = log((ws / s).max(LEAST_W));
        let var = self.var.max(self.other.1);
        let far = |foretold: f64| log1p((real - foretold) * (real - foretold) / (var * JUDGE));
        let better = far(self.other.0) - far(log((planned_ws / s).max(LEAST_W)));
        (s / HALF_HOUR_S).min(1.0) * 0.5 * (JUDGE + 1.0) * better
    }
}

/// The plan that an outing was started with, beside what was really drawn.
#[derive(Clone, Debug)]
pub(super) struct PlannedCourse {
    legs: Vec<Leg>,
    /// Variance (ln) that all stretches have in common.
    common_var: f64,
    /// Since it was started, s; less than 0 before.
    clock_s: f64,
    open: Option<HalfHour>,
    /// ln of how much better than the estimator it has foretold the half hours that are over.
    merit: f64,
}

impl PlannedCourse {
    /// A plan that was started `since_s` ago (less than 0: will be). `None` where it plans nothing.
    pub(super) fn new(plan: &OutingPlan, since_s: f64) -> Option<Self> {
        let mut until_s = 0.0;
        let sound = plan.stretches.iter().filter(|one| {
            one.lasts_s > 0.0
                && one.lasts_s <= LONGEST_S
                && (0.0..=MOST_W).contains(&one.draw_w)
                && one.draw_log_sd.is_finite()
        });
        let legs = sound.map(|one| {
            until_s += one.lasts_s;
            let sd = one.draw_log_sd.clamp(KNOWN.0, KNOWN.1);
            Leg { until_s, watts: one.draw_w, own_var: sd * sd, seen: (0.0, 0.0) }
        });
        let mut legs: Vec<Leg> = legs.collect();
        // What is unsure of every stretch alike is no more than what is unsure of the surest.
        let least = legs.iter().map(|leg| leg.own_var).reduce(f64::min)?;
        let common_var = 0.5 * least;
        for leg in &mut legs {
            leg.own_var -= common_var;
        }
        let clock_s = if since_s.is_finite() { since_s } else { 0.0 };
        Some(Self { legs, common_var, clock_s, open: None, merit: 0.0 })
    }

    /// It was started `since_s` ago: time in which nobody stepped has passed as well.
    pub(super) const fn set_clock(&mut self, since_s: f64) {
        if since_s.is_finite() {
            self.clock_s = since_s;
        }
    }

    /// Takes `dt` seconds at `watts` (`None` in a gap), before `draw` does.
    pub(super) fn observe(&mut self, dt: f64, watts: Option<f64>, draw: &Draw) {
        let from_s = self.clock_s;
        self.clock_s += dt;
        let Some(watts) = watts.filter(|_| self.clock_s > 0.0) else { return };
        let mut open = self.open.unwrap_or_else(|| self.half_hour(from_s, draw));
        for k in 0..self.legs.len() {
            let span = overlap_s(&self.legs, k, from_s, self.clock_s);
            let Some(leg) = self.legs.get_mut(k).filter(|_| span > 0.0) else { continue };
            let own = if k == open.leg { open.own } else { 0.0 };
            open.seen.0 += span;
            open.seen.1 += watts * span;
            open.seen.2 += leg.watts * exp(open.common + own) * span;
            leg.seen.0 += span;
            leg.seen.1 += watts * span;
        }
        self.open = Some(open);
        if open.seen.0 >= HALF_HOUR_S {
            self.merit = HALF_HOUR_MEMORY * self.merit + open.judged();
            self.open = None;
        }
    }

    fn half_hour(&self, at_s: f64, draw: &Draw) -> HalfHour {
        let leg = place(&self.legs, at_s);
        let (common, common_var) = self.common();
        let (own, own_var) = self.own(leg, common);
        let other = moments(&draw.ahead().over(HALF_HOUR_S / 3600.0));
        let var = common_var + own_var + WANDERS * WANDERS;
        HalfHour { seen: (0.0, 0.0, 0.0), common, var, leg, own, other }
    }

    /// Variance (ln) that a stretch has alone. Where it draws far otherwise than planned, that is believed of it
    /// and not averaged (Student's law as a scale mixture).
    fn own_var(&self, leg: &Leg) -> f64 {
        let off2 = leg
            .ratio()
            .map_or(0.0, |(ratio, var)| ratio * ratio / (self.common_var + leg.own_var + var));
        leg.own_var * ((JUDGE + off2) / (JUDGE + 1.0)).max(1.0)
    }

    /// ln of the ratio that all stretches have in common, and its variance.
    fn common(&self) -> (f64, f64) {
        let (mut sum, mut precision) = (0.0, 1.0 / self.common_var);
        for leg in &self.legs {
            let Some((ratio, var)) = leg.ratio() else { continue };
            let weight = 1.0 / (self.own_var(leg) + var);
            sum += weight * ratio;
            precision += weight;
        }
        (sum / precision, 1.0 / precision)
    }

    /// What a stretch has beyond that, and its variance.
    fn own(&self, leg: usize, common: f64) -> (f64, f64) {
        let Some(leg) = self.legs.get(leg) else { return (0.0, 0.0) };
        let Some((ratio, var)) = leg.ratio() else { return (0.0, leg.own_var) };
        let own_var = self.own_var(leg);
        let gain = own_var / (own_var + var);
        (gain * (ratio - common), gain * var)
    }

    /// The draw seen from now.
    pub(super) fn ahead(&self) -> PlannedAhead {
        let (common, common_var) = self.common();
        let legs = self.legs.iter().enumerate().map(|(k, leg)| {
            let (own, own_var) = self.own(k, common);
            Leg { watts: leg.watts * exp(common + own), own_var, ..*leg }
        });
        let odds = log(FOLLOWED / (1.0 - FOLLOWED))
            + self.merit
            + self.open.as_ref().map_or(0.0, HalfHour::judged);
        PlannedAhead {
            legs: legs.collect(),
            common_var,
            at_s: self.clock_s.max(0.0),
            followed: 1.0 / (1.0 + exp(-odds)),
        }
    }
}

/// The draw as planned, seen from now.
#[derive(Clone, Debug)]
pub(super) struct PlannedAhead {
    /// As calibrated.
    legs: Vec<Leg>,
    common_var: f64,
    at_s: f64,
    followed: f64,
}

impl PlannedAhead {
    /// ln of the mean draw over `h` hours from now: as the plan has it, or as the estimator by itself.
    pub(super) fn over(&self, h: f64, by_itself: Future) -> [Part; 4] {
        let to_s = self.at_s + 3600.0 * h;
        let (mut ws, mut var_ws2) = (0.0, 0.0);
        for (k, leg) in self.legs.iter().enumerate() {
            let part = leg.watts * overlap_s(&self.legs, k, self.at_s, to_s);
            ws += part;
            var_ws2 += part * part * leg.own_var;
        }
        let mean = (ws / (to_s - self.at_s).max(1e-6)).max(LEAST_W);
        let wanders = WANDERS * WANDERS * (0.5 / h.max(1e-6)).min(1.0);
        let var = self.common_var + var_ws2 / (ws * ws).max(1e-9) + wanders;
        let [a, b, c] = by_itself.map(|(w, m, s)| ((1.0 - self.followed) * w, m, s));
        [a, b, c, (self.followed, log(mean), sqrt(var))]
    }

    /// The mean draw over `h` hours as one number, W.
    pub(super) fn mean_w(&self, h: f64, by_itself: Future) -> f64 {
        self.over(h, by_itself).iter().map(|p| p.0 * exp(p.1)).sum::<f64>().max(1e-3)
    }
}

/// The stretch that a moment falls into.
fn place(legs: &[Leg], at_s: f64) -> usize {
    let after = legs.partition_point(|leg| leg.until_s <= at_s);
    after.min(legs.len().saturating_sub(1))
}

/// How long the stretch of this number lasts between two moments, s; the last one goes on.
fn overlap_s(legs: &[Leg], k: usize, from_s: f64, to_s: f64) -> f64 {
    let begins_s = k.checked_sub(1).and_then(|k| legs.get(k)).map_or(0.0, |leg| leg.until_s);
    let ends_s =
        legs.get(k).filter(|_| k + 1 < legs.len()).map_or(f64::INFINITY, |leg| leg.until_s);
    (to_s.min(ends_s) - from_s.max(begins_s)).max(0.0)
}

/// Mean and variance of a mixture.
fn moments(future: &Future) -> (f64, f64) {
    let mean: f64 = future.iter().map(|p| p.0 * p.1).sum();
    let square: f64 = future.iter().map(|p| p.0 * (p.2 * p.2 + p.1 * p.1)).sum();
    (mean, (square - mean * mean).max(1e-6))
}
