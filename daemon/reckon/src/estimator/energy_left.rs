//! What the bank can still give: a grid over its usable energy (and over how full it began, where
//! that is not known), cut by being still alive and weighed by the cells' voltage.

use alloc::vec::Vec;

use libm::{exp, log};

use crate::bank::Start;

/// Points over the energy when the start is known.
const FINE: usize = 48;
/// Points over the energy and over the start level when it is not.
const COARSE: usize = 14;
const LEVELS: usize = 24;
/// Lowest start level that is thought possible.
const LOWEST: f64 = 0.2;
/// Start levels of banks that nobody charged on purpose before leaving: Beta(4.5, 2) over
/// [`LOWEST`] to 1, mean three quarters (an assumption: banks are topped up, not run flat).
const BETA: (f64, f64) = (4.5, 2.0);
/// A person's guess of the level: its deviation.
const GUESS_SD: f64 = 0.1;
/// What is usual of start levels counts half beside lamps: a bank that shows two of four was not
/// topped up.
const USUAL_BESIDE_LAMPS: f64 = 0.5;
/// How softly lamps end: deviation beyond either end of what they say (fit: their steps are those of
/// a voltage under load, not of energy; common practice, no source).
const EDGE_SD: f64 = 0.06;
/// Least that anything seen is thought possible.
const NEVER: f64 = 1e-12;
/// Weights below exp of this against the best are left out.
const NEGLIGIBLE: f64 = -14.0;

/// One possibility.
#[derive(Clone, Copy, Debug)]
pub(super) struct Node {
    /// ln of the usable energy of the full bank, Wh.
    pub(super) log_e: f64,
    /// Energy it began this outing with, Wh.
    pub(super) wh: f64,
    /// ln of the weight that the start level had beforehand.
    pub(super) log_level: f64,
}

/// All possibilities.
#[derive(Clone, Debug)]
pub(super) struct Grid {
    nodes: Vec<Node>,
    /// Width of a node, as a share of its energy.
    width: f64,
}

impl Grid {
    /// `half`: how far ln(usable energy) may lie from `centre`.
    pub(super) fn new(centre: f64, half: f64, start: Start) -> Self {
        let levels = levels(start);
        let n = if levels.len() > 1 { COARSE } else { FINE };
        let step = 2.0 * half / n as f64;
        let mut nodes = Vec::with_capacity(n * levels.len());
        for k in 0..n {
            let log_e = centre - half + step * (k as f64 + 0.5);
            let e = exp(log_e);
            for &(level, log_level) in &levels {
                nodes.push(Node { log_e, wh: e * level, log_level });
            }
        }
        let width = if levels.len() > 1 { step.max((1.0 - LOWEST) / LEVELS as f64) } else { step };
        Self { nodes, width }
    }

    pub(super) fn nodes(&self) -> &[Node] {
        &self.nodes
    }

    /// ln of the share of the belief that is still alive after `used_wh`, each node counted by how
    /// likely it makes what was seen besides.
    pub(super) fn log_evidence(
        &self,
        used_wh: f64,
        log_belief: impl Fn(&Node) -> f64,
        log_likelihood: impl Fn(usize) -> f64,
    ) -> f64 {
        let beliefs: Vec<f64> = self.nodes.iter().map(&log_belief).collect();
        let best = beliefs.iter().fold(f64::NEG_INFINITY, |a, b| a.max(*b));
        let (mut all, mut seen) = (0.0, 0.0);
        for (k, (node, belief)) in self.nodes.iter().zip(&beliefs).enumerate() {
            let weight = exp(belief - best);
            all += weight;
            let half = 0.5 * self.width * node.wh;
            let alive = ((node.wh + half - used_wh) / (2.0 * half)).clamp(0.0, 1.0);
            if alive > 0.0 && weight > 0.0 {
                seen += weight * alive * exp(log_likelihood(k));
            }
        }
        log((seen / all).max(NEVER))
    }

    /// Energy that is left, with weights. `log_weight` is the belief in a node apart from survival;
    /// a node whose energy is partly used up keeps the part that is not.
    pub(super) fn left(
        &self,
        used_wh: f64,
        log_weight: impl Fn(usize, &Node) -> f64,
        out: &mut Vec<(f64, f64)>,
    ) {
        out.clear();
        let mut best = f64::NEG_INFINITY;
        // Both passes in one list: first ln weights, then weights.
        for (k, node) in self.nodes.iter().enumerate() {
            let top = node.wh * (1.0 + 0.5 * self.width);
            let lw = if top > used_wh { log_weight(k, node) } else { f64::NEG_INFINITY };
            best = best.max(lw);
            out.push((node.wh, lw));
        }
        if best == f64::NEG_INFINITY {
            out.clear();
            out.extend(beyond(used_wh));
            return;
        }
        out.retain(|p| p.1 > best + NEGLIGIBLE);
        for p in out.iter_mut() {
            let half = 0.5 * self.width * p.0;
            let (low, high) = ((p.0 - half).max(used_wh), p.0 + half);
            let alive = (high - low) / (2.0 * half);
            *p = (0.5 * (low + high) - used_wh, exp(p.1 - best) * alive);
        }
    }
}

/// It has outlived everything that was thought possible: a small rest of unknown size, with the
/// one scale that is left, a fiftieth of what it gave.
fn beyond(used_wh: f64) -> impl Iterator<Item = (f64, f64)> {
    let scale = 0.02 * used_wh.max(1e-6);
    (0..12).map(move |k| (-scale * log(1.0 - (k as f64 + 0.5) / 12.0), 1.0))
}

/// Start levels with ln weights.
fn levels(start: Start) -> Vec<(f64, f64)> {
    let even = (0..LEVELS).map(|k| (k as f64 + 0.5) / LEVELS as f64);
    match start {
        Start::Full => alloc::vec![(1.0, 0.0)],
        Start::Part(share) => {
            let s = share.part().clamp(0.05, 1.0);
            even.map(|u| s + 3.0 * GUESS_SD * (2.0 * u - 1.0))
                .filter(|l| *l > 0.02 && *l <= 1.0)
                .map(|l| (l, -0.5 * ((l - s) / GUESS_SD) * ((l - s) / GUESS_SD)))
                .collect()
        }
        Start::Between(low, high) => {
            let (low, high) = (low.part().min(high.part()), high.part().max(low.part()));
            let from = low - 3.0 * EDGE_SD;
            let span = high - low + 6.0 * EDGE_SD;
            even.map(|u| from + span * u)
                .filter(|l| *l > 0.02 && *l <= 1.0)
                .map(|l| {
                    let beyond = (low - l).max(l - high).max(0.0) / EDGE_SD;
                    let usual = ((l - LOWEST) / (1.0 - LOWEST)).clamp(0.02, 0.98);
                    (l, USUAL_BESIDE_LAMPS * log_beta(usual) - 0.5 * beyond * beyond)
                })
                .collect()
        }
        Start::Unknown => even.map(|u| (LOWEST + (1.0 - LOWEST) * u, log_beta(u))).collect(),
    }
}

/// ln of the density of start levels, at a place between the lowest (0) and full (1).
fn log_beta(u: f64) -> f64 {
    (BETA.0 - 1.0) * log(u) + (BETA.1 - 1.0) * log(1.0 - u)
}
