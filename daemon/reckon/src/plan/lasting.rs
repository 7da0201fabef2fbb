//! How long the supplies last: the chance of having ended by any moment, summed over how much the banks hold, how
//! much is drawn and how the sun shines. Nothing is drawn by lot: the sums run over fixed points, so that the
//! same plan gives the same digits.
//!
//! With *D* the watt-hours that are missing from a full bank (drawn less charged, never below nothing: a full
//! bank takes no more), a bank that began full has ended once *D* has reached what it holds. One that began at
//! a part has also ended once what was drawn less what was charged has reached what it began with.

use alloc::vec::Vec;

use libm::exp;

use super::{course::Course, energies::Energies};
use crate::forecast::Spread;

/// Points and weights of the normal law by which what is drawn varies (Gauss and Hermite's for nine points, in
/// the probabilists' form; Abramowitz & Stegun, table 25.10).
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
/// Shares of the range of clouds that are looked at, with weights: even, by the midpoints of three thirds.
const CLOUDS: [(f64, f64); 3] = [(1.0 / 6.0, 1.0 / 3.0), (0.5, 1.0 / 3.0), (5.0 / 6.0, 1.0 / 3.0)];
const NO_SUN: [(f64, f64); 1] = [(0.0, 1.0)];
/// Steps in time.
const STEPS: usize = 240;
/// Beyond this a plan is not followed, h: two months.
pub(super) const LONGEST_H: f64 = 1500.0;

/// Watts into a bank at an hour since the start, for a share of the range of clouds.
pub(super) type Charge<'a> = &'a dyn Fn(f64, f64) -> f64;

/// One supply: what it holds, what is drawn from it, what the sun gives it.
pub(super) struct Supply<'a> {
    /// At the start.
    pub(super) energies: Energies,
    /// When full.
    pub(super) full: Energies,
    pub(super) course: Course,
    pub(super) charge: Option<Charge<'a>>,
}

/// One way in which the outing may go.
struct Path {
    weight: f64,
    /// Missing from full, and drawn less charged, Wh: now, and the most until then.
    missing: f64,
    net: f64,
    most_missing: f64,
    most_net: f64,
}

/// What is missing at each moment, for each way.
pub(super) struct Paths {
    pub(super) hours: Vec<f64>,
    /// For each supply and moment, for each way: weight, missing, most missing, most drawn net, Wh.
    each: Vec<Vec<Vec<Way>>>,
}

/// A way at a moment.
#[derive(Clone, Copy)]
struct Way {
    weight: f64,
    net: f64,
    missing: f64,
    most_missing: f64,
    most_net: f64,
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
        if self.charge.is_some() { (3.0 * h).max(72.0).min(LONGEST_H) } else { h }
    }

    fn ways(&self, hours: &[f64]) -> Vec<Vec<Way>> {
        let clouds: &[(f64, f64)] = if self.charge.is_some() { &CLOUDS } else { &NO_SUN };
        let mut ways: Vec<(f64, f64, Path)> = Vec::new();
        for &(z, a) in &NORMAL {
            for &(cloud, b) in clouds {
                let path = Path {
                    weight: a * b,
                    missing: 0.0,
                    net: 0.0,
                    most_missing: 0.0,
                    most_net: 0.0,
                };
                ways.push((z, cloud, path));
            }
        }
        let mut before_h = 0.0;
        let mut before: Vec<f64> = ways.iter().map(|_| 0.0).collect();
        hours
            .iter()
            .map(|&h| {
                let taken = self.course.taken(h);
                let middle = 0.5 * (before_h + h);
                for ((z, cloud, path), before) in ways.iter_mut().zip(&mut before) {
                    let drawn = taken.wh * exp(taken.log_sd * (*z - 0.5 * taken.log_sd));
                    let charged = self.charge.map_or(0.0, |w| w(middle, *cloud)) * (h - before_h);
                    let step = drawn - *before - charged;
                    *before = drawn;
                    path.net += step;
                    path.missing = (path.missing + step).max(0.0);
                    path.most_missing = path.most_missing.max(path.missing);
                    path.most_net = path.most_net.max(path.net);
                }
                before_h = h;
                ways.iter().map(|(_, _, path)| path.now()).collect()
            })
            .collect()
    }

    /// The chance that it has ended, each bank holding `scale` times as much.
    fn ended(&self, way: &Way, scale: f64) -> f64 {
        let by_start = self.energies.less_than(way.most_net / scale);
        by_start.max(self.full.less_than(way.most_missing / scale))
    }
}

impl Path {
    const fn now(&self) -> Way {
        Way {
            weight: self.weight,
            net: self.net,
            missing: self.missing,
            most_missing: self.most_missing,
            most_net: self.most_net,
        }
    }
}

impl Paths {
    /// Up to where all has ended, and in any case to `least_h`, in even steps and at every moment at which a
    /// draw changes.
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
    pub(super) fn ended(&self, supplies: &[Supply<'_>], k: usize, scale: f64) -> f64 {
        // Ways of several supplies go together by what is drawn; a sun over one of them is spread evenly.
        let most = self.each.iter().map(|all| all[k].len()).max().unwrap_or(0);
        (0..most)
            .map(|n| {
                let mut alive = 1.0;
                let mut weight = 0.0;
                for (supply, (all, first)) in supplies
                    .iter()
                    .zip(self.each.iter().zip([true].into_iter().chain(core::iter::repeat(false))))
                {
                    let ways = &all[k];
                    let way = &ways[n * ways.len() / most];
                    if ways.len() == most {
                        weight = way.weight;
                    }
                    alive *= 1.0 - supply.ended(way, if first { scale } else { 1.0 });
                }
                weight * (1.0 - alive)
            })
            .sum()
    }

    /// The k-th moment's place, nearest at or after an hour.
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
