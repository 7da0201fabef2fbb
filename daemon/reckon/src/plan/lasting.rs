//! How long the supplies last: the chance of having ended by any moment, summed over how much the banks hold,
//! how much is drawn and how the sun shines. Nothing is drawn by lot: the sums run over fixed points, so that
//! the same plan gives the same digits.

use alloc::vec::Vec;

use libm::{exp, log};

use super::course::Course;
use crate::forecast::Spread;

/// Points and weights of the normal law by which what is drawn varies (Gauss–Hermite of the probabilists'
/// kind, nine points; Abramowitz & Stegun, table 25.10, scaled).
const NORMAL: [(f64, f64); 9] = [
    (-4.512_745_863_399_783, 2.234_584_400_774_66e-5),
    (-3.205_429_002_856_470, 2.789_141_321_231_77e-3),
    (-2.076_847_978_677_830, 4.991_640_676_521_79e-2),
    (-1.023_255_663_789_133, 2.440_975_028_949_39e-1),
    (0.0, 4.063_492_063_492_06e-1),
    (1.023_255_663_789_133, 2.440_975_028_949_39e-1),
    (2.076_847_978_677_830, 4.991_640_676_521_79e-2),
    (3.205_429_002_856_470, 2.789_141_321_231_77e-3),
    (4.512_745_863_399_783, 2.234_584_400_774_66e-5),
];
/// Steps in time.
const STEPS: usize = 240;
/// Beyond this a plan is not followed, h: two months.
pub(super) const LONGEST_H: f64 = 1500.0;

/// How much energy there is, as a law: rising ln Wh with the share that has less.
#[derive(Clone, Debug)]
pub(super) struct Energies {
    points: Vec<(f64, f64)>,
}

impl Energies {
    /// From weighted possibilities, Wh.
    pub(super) fn new(mut possible: Vec<(f64, f64)>) -> Self {
        possible.retain(|p| p.0 > 0.0 && p.1 > 0.0);
        possible.sort_by(|a, b| a.0.total_cmp(&b.0));
        let total: f64 = possible.iter().map(|p| p.1).sum();
        let mut before = 0.0;
        let points = possible.iter().map(|&(wh, weight)| {
            let share = (before + 0.5 * weight) / total;
            before += weight;
            (log(wh), share)
        });
        Self { points: points.collect() }
    }

    /// The chance that there are fewer watt-hours.
    pub(super) fn less_than(&self, wh: f64) -> f64 {
        let (Some(first), Some(last)) = (self.points.first(), self.points.last()) else { return 1.0 };
        if wh <= 0.0 {
            return 0.0;
        }
        let x = log(wh);
        if x <= first.0 {
            // A soft end, so that the chance falls to nothing within half of the lowest point.
            return first.1 * (1.0 - (first.0 - x) / core::f64::consts::LN_2).max(0.0);
        }
        if x >= last.0 {
            return last.1 + (1.0 - last.1) * ((x - last.0) / core::f64::consts::LN_2).min(1.0);
        }
        let above = self.points.partition_point(|p| p.0 <= x).min(self.points.len() - 1);
        let (a, b) = (self.points[above - 1], self.points[above]);
        a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0).max(1e-12)
    }

    /// The watt-hours that this share has less than.
    pub(super) fn quantile(&self, share: f64) -> f64 {
        let above = self.points.partition_point(|p| p.1 < share);
        let at = |k: usize| self.points.get(k).copied();
        match (above.checked_sub(1).and_then(at), at(above)) {
            (Some(a), Some(b)) => exp(a.0 + (b.0 - a.0) * (share - a.1) / (b.1 - a.1).max(1e-12)),
            (Some(one), None) | (None, Some(one)) => exp(one.0),
            (None, None) => 0.0,
        }
    }
}

/// One supply: what it holds and what is drawn from it.
#[derive(Clone, Debug)]
pub(super) struct Supply {
    pub(super) energies: Energies,
    pub(super) course: Course,
}

impl Supply {
    /// Hours by which it has ended in nearly every case.
    fn horizon_h(&self) -> f64 {
        let most = self.energies.quantile(0.999) * 1.1;
        let mut h = 1.0;
        while h < LONGEST_H {
            let taken = self.course.taken(h);
            if taken.wh * exp(-2.3 * taken.log_sd) > most {
                break;
            }
            h *= 1.25;
        }
        h
    }

    /// The chance that it has ended by then, for a draw that lies `z` deviations off.
    fn ended(&self, hours: f64, z: f64) -> f64 {
        self.energies.less_than(drawn_wh(&self.course, hours, z))
    }
}

fn drawn_wh(course: &Course, hours: f64, z: f64) -> f64 {
    let taken = course.taken(hours);
    taken.wh * exp(taken.log_sd * (z - 0.5 * taken.log_sd))
}

/// When the first of the supplies ends. What the operator does moves them together.
pub(super) fn lasts(supplies: &[Supply]) -> Spread {
    let horizon = supplies.iter().map(Supply::horizon_h).fold(LONGEST_H, f64::min);
    let points = times(supplies, horizon).into_iter().map(|h| (3600.0 * h, ended_by(supplies, h)));
    Spread::from_points(points)
}

/// The chance that one of them has ended by then.
pub(super) fn ended_by(supplies: &[Supply], hours: f64) -> f64 {
    let alive = |z: f64| supplies.iter().map(|s| 1.0 - s.ended(hours, z)).product::<f64>();
    NORMAL.iter().map(|&(z, weight)| weight * (1.0 - alive(z))).sum()
}

/// Even steps, and every moment at which a draw changes.
fn times(supplies: &[Supply], horizon: f64) -> Vec<f64> {
    let even = (1..=STEPS).map(|k| horizon * k as f64 / STEPS as f64);
    let changes = supplies.iter().flat_map(|s| s.course.changes_at()).filter(|h| *h < horizon);
    let mut all: Vec<f64> = even.chain(changes).collect();
    all.sort_by(f64::total_cmp);
    all
}
