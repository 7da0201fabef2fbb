//! How long the supplies last: the chance of having ended by any moment, summed over how much the banks hold, how
//! much is drawn and how the sun shines. Nothing is drawn by lot: the sums run over fixed points, so that the
//! same plan gives the same digits.
//!
//! With *D* the watt-hours that are missing from a full bank (drawn less charged, never below nothing: a full
//! bank takes no more), a bank that began full has ended once *D* has reached what it holds. One that began at
//! a part has also ended once what was drawn less what was charged has reached what it began with.

use alloc::vec::Vec;

use libm::exp;

use super::{course::Course, energies::Energies, sun::Sunshine};
use crate::forecast::Spread;

/// Points and weights of the normal law by which what is drawn varies (Gauss and Hermite's for nine points, in
/// the probabilists' form; Abramowitz & Stegun, table 25.10).
const NORMAL: [(f64, f64); 9] = [
    (-4.512_745_863_399_783, 2.234_584_400_774_66e-5),
    (-3.205_429_002_856_47, 2.789_141_321_231_77e-3),
    (-2.076_847_978_677_83, 4.991_640_676_521_79e-2),
    (-1.023_255_663_789_133, 2.440_975_028_949_39e-1),
    (0.0, 4.063_492_063_492_06e-1),
    (1.023_255_663_789_133, 2.440_975_028_949_39e-1),
    (2.076_847_978_677_83, 4.991_640_676_521_79e-2),
    (3.205_429_002_856_47, 2.789_141_321_231_77e-3),
    (4.512_745_863_399_783, 2.234_584_400_774_66e-5),
];
/// Skies that are looked at, from the dullest told of (0) to the clearest (1): the middles of even parts.
pub(super) const SKIES: usize = 4;
/// Steps in time.
const STEPS: usize = 240;
/// Beyond this a plan is not followed, h: two months.
pub(super) const LONGEST_H: f64 = 1500.0;

/// What a panel gives under each of the skies.
pub(super) type Skies = [Sunshine; SKIES];

/// One supply: what it holds, what is drawn from it, what the sun gives it.
pub(super) struct Supply<'a> {
    /// At the start.
    pub(super) energies: Energies,
    /// When full.
    pub(super) full: Energies,
    pub(super) course: Course,
    pub(super) sun: Option<&'a Skies>,
}

/// What is missing at each moment, for each way.
pub(super) struct Paths {
    pub(super) hours: Vec<f64>,
    /// For each supply, for each moment.
    each: Vec<Vec<Vec<Way>>>,
}

/// One way in which the outing may go, at a moment.
#[derive(Clone, Copy, Debug)]
struct Way {
    weight: f64,
    /// Drawn less charged, Wh, and the most until then.
    net: f64,
    most_net: f64,
    /// Missing from full, Wh, and the most until then.
    missing: f64,
    most_missing: f64,
}

impl Supply<'_> {
    /// Hours by which it has ended in nearly every case, if the sun does not help.
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
        if self.sun.is_some() { (3.0 * h).clamp(72.0, LONGEST_H) } else { h }
    }

    fn ways(&self, hours: &[f64]) -> Vec<Vec<Way>> {
        let skies = self.sun.map_or(1, |skies| skies.len());
        let mut ways: Vec<(f64, usize, Way)> = NORMAL
            .iter()
            .flat_map(|&(z, weight)| {
                (0..skies).map(move |sky| (z, sky, Way::of(weight / skies as f64)))
            })
            .collect();
        let mut before = alloc::vec![(0.0, 0.0); ways.len()];
        let mut at = |h: f64| {
            let taken = self.course.taken(h);
            for ((z, sky, way), before) in ways.iter_mut().zip(&mut before) {
                let drawn = taken.wh * exp(taken.log_sd * (*z - 0.5 * taken.log_sd));
                let charged = self.sun.map_or(0.0, |skies| skies[*sky].wh(3600.0 * h));
                way.step((drawn - before.0) - (charged - before.1));
                *before = (drawn, charged);
            }
            ways.iter().map(|(_, _, way)| *way).collect()
        };
        hours.iter().map(|h| at(*h)).collect()
    }

    /// The chance that it has ended, each bank holding `scale` times as much.
    fn ended(&self, way: &Way, scale: f64) -> f64 {
        let by_start = self.energies.less_than(way.most_net / scale);
        by_start.max(self.full.less_than(way.most_missing / scale))
    }
}

impl Way {
    const fn of(weight: f64) -> Self {
        Self { weight, net: 0.0, missing: 0.0, most_missing: 0.0, most_net: 0.0 }
    }

    /// So many watt-hours more are drawn than charged. A full bank takes no more.
    const fn step(&mut self, wh: f64) {
        self.net += wh;
        self.missing = (self.missing + wh).max(0.0);
        self.most_missing = self.most_missing.max(self.missing);
        self.most_net = self.most_net.max(self.net);
    }
}

impl Paths {
    /// Up to where the first has ended, and in any case to the last mark, in even steps, at the marks, and at every
    /// moment at which a draw changes.
    pub(super) fn new(supplies: &[Supply<'_>], marks_h: &[f64]) -> Self {
        let horizon = supplies.iter().map(Supply::horizon_h).fold(LONGEST_H, f64::min);
        let last = marks_h.iter().copied().fold(horizon, f64::max).min(LONGEST_H);
        let even = (1..=STEPS).map(|k| horizon * k as f64 / STEPS as f64);
        let beyond =
            (1..=STEPS / 4).map(|k| horizon + (last - horizon) * k as f64 / (STEPS / 4) as f64);
        let changes =
            supplies.iter().flat_map(|s| s.course.changes_at()).chain(marks_h.iter().copied());
        let mut hours: Vec<f64> =
            even.chain(beyond).chain(changes.filter(|h| *h <= last)).collect();
        hours.sort_by(f64::total_cmp);
        hours.dedup();
        let each = supplies.iter().map(|supply| supply.ways(&hours)).collect();
        Self { hours, each }
    }

    /// When the first of the supplies ends. What the operator does moves them together.
    pub(super) fn lasts(&self, supplies: &[Supply<'_>]) -> Spread {
        let at = self.hours.iter().enumerate();
        Spread::from_points(at.map(|(k, h)| (3600.0 * h, self.ended(supplies, k, 1.0))))
    }

    /// The chance that one of them has ended by the k-th moment, if the first held `scale` times as much.
    /// Their ways go together: what one draws more, the others do. Only the first is in the sun, so the
    /// ways of the others count for each of its skies.
    pub(super) fn ended(&self, supplies: &[Supply<'_>], k: usize, scale: f64) -> f64 {
        let Some(first) = self.each.first() else { return 1.0 };
        let skies = first[k].len() / NORMAL.len();
        let chance = |(n, way): (usize, &Way)| {
            let others = supplies.iter().zip(&self.each).skip(1);
            let alive = others.map(|(supply, all)| 1.0 - supply.ended(&all[k][n / skies], 1.0));
            way.weight * (1.0 - (1.0 - supplies[0].ended(way, scale)) * alive.product::<f64>())
        };
        first[k].iter().enumerate().map(chance).sum()
    }

    /// Which moment lies at or next after an hour.
    pub(super) fn place(&self, hour: f64) -> usize {
        self.hours.partition_point(|h| *h < hour - 1e-9).min(self.hours.len().saturating_sub(1))
    }

    /// Energy left in all supplies at the k-th moment, Wh: 10 %, 50 %, 90 %.
    pub(super) fn left_wh(&self, supplies: &[Supply<'_>], k: usize) -> [f64; 3] {
        let mut sums = [0.0; 3];
        for (supply, all) in supplies.iter().zip(&self.each) {
            let mut left: Vec<(f64, f64)> = Vec::new();
            for way in &all[k] {
                for n in 0..PARTS {
                    let share = (n as f64 + 0.5) / PARTS as f64;
                    let began = supply.energies.quantile(share) - way.net;
                    let full = supply.full.quantile(share) - way.missing;
                    left.push((began.min(full).max(0.0), way.weight / PARTS as f64));
                }
            }
            let law = quantiles(left);
            for (sum, more) in sums.iter_mut().zip(law) {
                *sum += more;
            }
        }
        sums
    }
}

/// Parts of an energy's law that are looked at.
const PARTS: usize = 20;

fn quantiles(mut weighted: Vec<(f64, f64)>) -> [f64; 3] {
    weighted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = weighted.iter().map(|p| p.1).sum();
    [0.1, 0.5, 0.9].map(|share| {
        let mut sum = 0.0;
        let at = weighted.iter().find(|p| {
            sum += p.1;
            sum >= share * total
        });
        at.or(weighted.last()).map_or(0.0, |p| p.0)
    })
}
