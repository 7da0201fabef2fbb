//! The bank's usable energy as a distribution: from the label, from earlier run-downs, and from
//! being still alive.

use alloc::vec::Vec;

use super::learned::Learned;
use crate::{
    bank::{BankSpec, Cells, MeasuredAt},
    engine::Start,
    forecast::Spread,
    units::{Seconds, Share},
};

/// Points of the grid over the energy.
const POINTS: usize = 96;
/// A run-down of the same bank repeats to about this (log), before any correction.
const REPEATS: f64 = 0.04;

/// Midpoints of seven equal slices of a normal distribution (published quantiles of the normal
/// law: z at 1/14, 3/14, ... 13/14).
pub(super) const NORMAL_NODES: [(f64, f64); 7] = [
    (-1.465, 1.0 / 7.0),
    (-0.792, 1.0 / 7.0),
    (-0.366, 1.0 / 7.0),
    (0.0, 1.0 / 7.0),
    (0.366, 1.0 / 7.0),
    (0.792, 1.0 / 7.0),
    (1.465, 1.0 / 7.0),
];

/// A grid over the logarithm of the usable energy.
#[derive(Clone, Debug)]
pub(super) struct Energy {
    grid: Vec<(f64, f64)>,
}

/// Share of the label's energy that reaches the sensor, and the deviation of its logarithm.
fn label_share(bank: &BankSpec) -> (f64, f64) {
    match (bank.cells, bank.measured_at, bank.series) {
        (Cells::LiIon, MeasuredAt::Output | MeasuredAt::Nowhere, 0 | 1) => (0.67, 0.12),
        (Cells::LiIon, _, _) => (0.84, 0.10),
        (Cells::LiFePo4, _, _) => (0.86, 0.10),
        (Cells::LeadAcid, _, _) => (0.70, 0.18),
    }
}

impl Energy {
    pub(super) fn new(bank: &BankSpec, learned: &Learned, start: Start) -> Self {
        let (share, sd) = label_share(bank);
        let (mut log_mean, mut sd) = (libm::log(bank.label_energy().wh().max(1e-3) * share), sd);
        let mut precision = 1.0 / (sd * sd);
        for run in learned.whole_runs() {
            let weight = 1.0 / (REPEATS * REPEATS);
            log_mean =
                (log_mean * precision + libm::log(run.energy_wh) * weight) / (precision + weight);
            precision += weight;
        }
        sd = libm::sqrt(
            1.0 / precision + if learned.rundowns() > 0 { REPEATS * REPEATS } else { 0.0 },
        );
        let mut grid: Vec<(f64, f64)> = (0..POINTS)
            .map(|k| {
                let z = -4.0 + 8.0 * (k as f64 + 0.5) / POINTS as f64;
                (libm::exp(log_mean + z * sd), libm::exp(-0.5 * z * z))
            })
            .collect();
        grid = match start {
            Start::Full => grid,
            Start::Part(share) => {
                grid.into_iter().map(|(e, w)| (e * share.part().max(0.01), w)).collect()
            }
            Start::Unknown => (4..=20)
                .flat_map(|k| {
                    let share = k as f64 / 20.0;
                    grid.iter().step_by(4).map(move |&(e, w)| (e * share, w * share * share))
                })
                .collect(),
        };
        for run in learned.cut_short() {
            for point in &mut grid {
                if point.0 < run.energy_wh {
                    point.1 *= 0.05;
                }
            }
        }
        Self { grid }
    }

    /// The energies that are still possible after this much was delivered, with their weights.
    pub(super) fn alive(&self, delivered_wh: f64) -> impl Iterator<Item = (f64, f64)> + '_ {
        let top = self.grid.iter().map(|p| p.0).fold(0.0, f64::max);
        // Beyond everything that was thought possible: what is left is a small unknown rest.
        let beyond = delivered_wh >= top * 0.999;
        let rest = (0..POINTS).map(move |k| (delivered_wh * (1.0 + 0.0005 * k as f64), 1.0));
        let inside = self.grid.iter().copied().filter(move |p| p.0 > delivered_wh);
        let (a, b) = if beyond { (Some(rest), None) } else { (None, Some(inside)) };
        a.into_iter().flatten().chain(b.into_iter().flatten())
    }

    /// Whole usable energy at 10 %, 50 %, 90 %.
    pub(super) fn quantiles(&self, delivered_wh: f64) -> [f64; 3] {
        let spread = distribution(self.alive(delivered_wh).collect());
        [0.1, 0.5, 0.9]
            .map(|q| spread.quantile(Share::nearest(q)).map_or(delivered_wh, Seconds::si))
    }
}

/// Weighted outcomes as a distribution.
pub(super) fn distribution(mut ends: Vec<(f64, f64)>) -> Spread {
    ends.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = ends.iter().map(|e| e.1).sum();
    let mut before = 0.0;
    Spread::from_points(ends.into_iter().map(|(t, w)| {
        let middle = before + 0.5 * w;
        before += w;
        (t, if total > 0.0 { middle / total } else { 0.0 })
    }))
}
