//! How much a bank holds: a straight line for the logarithm of its usable energy, whose
//! coefficients are known roughly from the label and better after every run-down.
//!
//! `ln(usable / label) = θ + β·ln(mean draw / rated draw) + γ·(T − 15 °C)/10 K + δ·outings + ε`
//!
//! θ: label against truth, age, converter. β: what a heavier draw costs (Peukert 1897 for
//! lead-acid; resistance and diffusion elsewhere). γ: cold. δ: ageing from outing to outing.
//! ε: how far two run-downs differ. The coefficients are jointly Gaussian; a whole run-down is one
//! reading of the line, one cut short says 'at least'.

use libm::{exp, log, sqrt};

use super::{
    Ending, RunDown,
    maths::{above, correct},
};
use crate::{
    bank::{BankSpec, Cells},
    engine::Start,
};

const N: usize = 4;

/// What is believed of a kind of bank before its first run-down: mean and deviation of each
/// coefficient. The figures and their sources are in the crate's README, table 1.
struct Kind {
    theta: (f64, f64),
    beta: (f64, f64),
    gamma: (f64, f64),
    delta: (f64, f64),
    /// Deviation of ε between ordinary run-downs.
    repeat: f64,
    /// Hours of discharge that the label's capacity is meant for.
    rated_h: f64,
}

/// Kind of a bank; `converter`: a USB bank, whose energy is counted behind its own converter.
const fn kind(cells: Cells, converter: bool) -> Kind {
    // θ is given as the share exp θ.
    match cells {
        Cells::LiIon if converter => Kind {
            theta: (0.66, 0.08),
            beta: (-0.04, 0.03),
            gamma: (0.0, 0.01),
            delta: (-0.006, 0.004),
            repeat: 0.02,
            rated_h: 15.0,
        },
        Cells::LiIon => Kind {
            theta: (0.80, 0.07),
            beta: (-0.02, 0.05),
            gamma: (0.01, 0.015),
            delta: (-0.004, 0.004),
            repeat: 0.02,
            rated_h: 15.0,
        },
        Cells::LiFePo4 => Kind {
            theta: (0.865, 0.08),
            beta: (-0.04, 0.05),
            gamma: (0.01, 0.015),
            delta: (-0.004, 0.004),
            repeat: 0.02,
            rated_h: 15.0,
        },
        Cells::LeadAcid => Kind {
            theta: (0.68, 0.18),
            beta: (-0.22, 0.15),
            gamma: (0.08, 0.03),
            delta: (-0.004, 0.006),
            repeat: 0.06,
            rated_h: 20.0,
        },
    }
}

/// One run-down in five begins a few per cent short of full (the charger stopped early, the bank
/// stood for a while): share of such run-downs, and how much they lack.
const SHORT: (f64, f64) = (0.2, 0.03);
/// Share of run-downs that differ for no reason that is known, and how much wider they scatter.
const ODD: (f64, f64) = (0.07, 3.0);
/// Before the first whole run-down: banks whose label is simply wrong, and on the other side banks
/// as good as new with an honest label and a good converter, which the trade's figures are about.
const UNKNOWN_USB: Part = Part { weight: 0.2, off: 0.1, sd: 0.15 };
const UNKNOWN_PACK: Part = Part { weight: 0.1, off: -0.2, sd: 0.15 };
/// A person's word on a part-charged start is good to a tenth (ln).
const GUESSED_LEVEL: f64 = 0.1;

/// Gaussian knowledge of the coefficients.
#[derive(Clone, Debug)]
pub(super) struct Capacity {
    mean: [f64; N],
    cov: [[f64; N]; N],
    log_label_wh: f64,
    rated_w: f64,
    repeat: f64,
    converter: bool,
    /// Whether a whole run-down was learned.
    known: bool,
}

/// One part of the law of ε.
#[derive(Clone, Copy, Debug)]
pub(super) struct Part {
    /// Share of run-downs.
    pub(super) weight: f64,
    /// Its middle.
    pub(super) off: f64,
    /// Its deviation.
    pub(super) sd: f64,
}

/// What an outing is like, in the terms of the line.
pub(super) type Terms = [f64; N];

impl Capacity {
    pub(super) fn from_label(bank: &BankSpec, converter: bool) -> Self {
        let label_wh = bank.label_energy().wh().max(1e-3);
        let kind = kind(bank.cells, converter);
        let mut cov = [[0.0; N]; N];
        for (k, sd) in [kind.theta.1, kind.beta.1, kind.gamma.1, kind.delta.1].iter().enumerate() {
            cov[k][k] = sd * sd;
        }
        Self {
            mean: [log(kind.theta.0), kind.beta.0, kind.gamma.0, kind.delta.0],
            cov,
            log_label_wh: log(label_wh),
            rated_w: label_wh / kind.rated_h,
            repeat: kind.repeat,
            converter,
            known: false,
        }
    }

    /// Draw that the label's capacity is meant for, W.
    pub(super) const fn rated_w(&self) -> f64 {
        self.rated_w
    }

    pub(super) fn terms(&self, mean_w: f64, ambient_c: Option<f64>, outings: f64) -> Terms {
        let warmth = ambient_c.map_or(0.0, |c| ((c - 15.0) / 10.0).clamp(-4.0, 3.0));
        [1.0, log(mean_w.max(1e-3) / self.rated_w).clamp(-3.0, 3.0), warmth, outings]
    }

    /// Mean and variance of ln(usable Wh), without ε.
    pub(super) fn expect(&self, x: &Terms) -> (f64, f64) {
        let c = self.times(x);
        (self.log_label_wh + dot(&self.mean, x), dot(&c, x).max(1e-9))
    }

    /// The law of ε as a mixture.
    pub(super) fn parts(&self) -> [Part; 3] {
        let odd = match (self.known, self.converter) {
            (true, _) => Part { weight: ODD.0, off: 0.0, sd: self.repeat * ODD.1 },
            (false, true) => UNKNOWN_USB,
            (false, false) => UNKNOWN_PACK,
        };
        [
            Part { weight: 1.0 - SHORT.0 - odd.weight, off: 0.0, sd: self.repeat },
            Part { weight: SHORT.0, off: -SHORT.1, sd: self.repeat * 1.3 },
            odd,
        ]
    }

    /// Second moment of ε.
    pub(super) fn repeat_var(&self) -> f64 {
        self.parts().iter().map(|p| p.weight * (p.sd * p.sd + p.off * p.off)).sum()
    }

    /// A whole run-down is known, though its energy was not measured.
    pub(super) const fn set_known(&mut self) {
        self.known = true;
    }

    /// How far the expected mean draw may move ln(usable), for laying out a grid.
    pub(super) fn draw_reach(&self) -> f64 {
        (self.mean[1].abs() + sqrt(self.cov[1][1])) * 0.7
    }

    /// Learns from one run-down that took the bank to `depth` (1: as deep as usual). `blur` is the
    /// deviation of ln energy where the energy itself is not well known.
    pub(super) fn learn(&mut self, run: &RunDown, outings: f64, blur: f64, depth: f64) {
        let mean_w = run.energy_wh * 3600.0 / run.lasted_s.max(1.0);
        let x = self.terms(mean_w, run.ambient_c, outings);
        let (m, v) = self.expect(&x);
        let c = self.times(&x);
        let (part, guessed) = match run.start {
            Start::Full | Start::Unknown => (1.0, 0.0),
            Start::Part(share) => (share.part().max(0.05), GUESSED_LEVEL),
        };
        let y = log(run.energy_wh / part / depth);
        let blur2 = blur * blur + guessed * guessed;
        let whole = run.ending == Ending::Died && run.start != Start::Unknown;
        let (new_m, new_v) = if whole {
            self.whole(m, v, y, blur2)
        } else {
            above(m, v, y, sqrt(self.repeat_var() + blur2))
        };
        self.known |= whole;
        // What was learned of the line at x, carried over to its coefficients.
        let shrink = (v - new_v) / (v * v);
        for i in 0..N {
            self.mean[i] += c[i] * (new_m - m) / v;
            for j in 0..N {
                self.cov[i][j] -= c[i] * c[j] * shrink;
            }
        }
    }

    /// Mean and variance after a whole run-down of ln energy `y`: each part of the mixture updates
    /// by itself, then they are drawn together. Before the first run-down the last part is about the
    /// bank, which stays as it is, not about the outing.
    fn whole(&self, m: f64, v: f64, y: f64, blur2: f64) -> (f64, f64) {
        let (mut w, mut first, mut second) = (1e-30, 1e-30 * m, 1e-30 * (v + m * m));
        let parts = self.parts();
        for (k, p) in parts.iter().enumerate() {
            let of_bank = !self.known && k == parts.len() - 1;
            let (m0, v0, off, noise) = if of_bank {
                (m + p.off, v + p.sd * p.sd, 0.0, self.repeat * self.repeat)
            } else {
                (m, v, p.off, p.sd * p.sd)
            };
            let r = y - off - m0;
            let s = v0 + noise + blur2;
            let like = p.weight / sqrt(s) * exp(-0.5 * r * r / s);
            let one = correct(v0, 1.0, noise + blur2);
            let mi = m0 + one.gain * r;
            w += like;
            first += like * mi;
            second += like * (one.var + mi * mi);
        }
        let mean = first / w;
        (mean, (second / w - mean * mean).clamp(v * 1e-4, v))
    }

    fn times(&self, x: &Terms) -> [f64; N] {
        core::array::from_fn(|i| dot(&self.cov[i], x))
    }
}

fn dot(a: &[f64; N], b: &[f64; N]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}
