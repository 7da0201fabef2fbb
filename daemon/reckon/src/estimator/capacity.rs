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

use super::maths::{above, correct, phi};
use crate::{
    bank::{BankSpec, Cells, Start},
    record::RunDown,
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
/// Share of banks, middle, deviation.
const UNKNOWN_USB: (f64, f64, f64) = (0.2, 0.1, 0.15);
const UNKNOWN_PACK: (f64, f64, f64) = (0.1, -0.2, 0.15);
/// A person's word on a part-charged start is good to a tenth (ln).
const GUESSED_LEVEL: f64 = 0.1;

/// Gaussian knowledge of the coefficients.
#[derive(Clone, Copy, Debug)]
struct Line {
    mean: [f64; N],
    cov: [[f64; N]; N],
}

/// What is known of a bank.
#[derive(Clone, Debug)]
pub(super) struct Capacity {
    line: Line,
    /// Before the first whole run-down: another line for a bank whose label is simply wrong, and
    /// how likely that is.
    wrong: Option<(f64, Line)>,
    log_label_wh: f64,
    rated_w: f64,
    repeat: f64,
    /// How likely a wrong label is before anything was seen of the bank.
    usual_wrong: f64,
}

/// One part of the law of what an outing finds, about the line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Part {
    /// Its share.
    pub(super) weight: f64,
    /// Its middle.
    pub(super) off: f64,
    /// Its variance, beside that of the line.
    pub(super) var: f64,
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
        let line = Line { mean: [log(kind.theta.0), kind.beta.0, kind.gamma.0, kind.delta.0], cov };
        let (share, off, sd) = if converter { UNKNOWN_USB } else { UNKNOWN_PACK };
        let mut wrong = line;
        wrong.mean[0] += off;
        wrong.cov[0][0] += sd * sd;
        Self {
            line,
            wrong: Some((share, wrong)),
            log_label_wh: log(label_wh),
            rated_w: label_wh / kind.rated_h,
            repeat: kind.repeat,
            usual_wrong: share,
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
        self.on(&self.line, x)
    }

    fn on(&self, line: &Line, x: &Terms) -> (f64, f64) {
        (self.log_label_wh + dot(&line.mean, x), line.var(x))
    }

    /// By how much ln(usable Wh) lies higher under `one` than under `other`, and the variance of that.
    pub(super) fn between(&self, one: &Terms, other: &Terms) -> (f64, f64) {
        let apart: Terms = core::array::from_fn(|k| one[k] - other[k]);
        (dot(&self.line.mean, &apart), dot(&self.line.times(&apart), &apart))
    }

    /// What an outing like `x` finds about the line: ε as a mixture, and before the first whole
    /// run-down a bank whose label is wrong.
    pub(super) fn parts(&self, x: &Terms) -> [Part; 3] {
        let odd = match &self.wrong {
            None => Part { weight: ODD.0, off: 0.0, var: square(self.repeat * ODD.1) },
            Some((weight, wrong)) => Part {
                weight: *weight,
                off: dot(&wrong.mean, x) - dot(&self.line.mean, x),
                var: (wrong.var(x) - self.line.var(x)).max(0.0),
            },
        };
        // A run-down in five begins short, as long as it is an ordinary one.
        let usual = if self.wrong.is_some() { self.usual_wrong } else { ODD.0 };
        let short = SHORT.0 * (1.0 - odd.weight) / (1.0 - usual);
        [
            Part { weight: 1.0 - short - odd.weight, off: 0.0, var: square(self.repeat) },
            Part { weight: short, off: -SHORT.1, var: square(self.repeat * 1.3) },
            odd,
        ]
    }

    /// Second moment of that about the line.
    pub(super) fn repeat_var(&self, x: &Terms) -> f64 {
        self.parts(x).iter().map(|p| p.weight * (p.var + p.off * p.off)).sum()
    }

    /// How far an ordinary outing lies from its bank's line (variance).
    fn ordinary_var(&self) -> f64 {
        let repeat = square(self.repeat);
        (1.0 - SHORT.0) * repeat + SHORT.0 * (square(SHORT.1) + 1.69 * repeat)
    }

    /// A whole run-down is known, though its energy was not measured.
    pub(super) const fn set_known(&mut self) {
        self.wrong = None;
    }

    /// How far the expected mean draw may move ln(usable), for laying out a grid.
    pub(super) fn draw_reach(&self) -> f64 {
        (self.line.mean[1].abs() + sqrt(self.line.cov[1][1])) * 0.7
    }

    /// Learns from one run-down that took the bank to `depth` (1: as deep as usual). `blur` is the
    /// deviation of ln energy where the energy itself is not well known.
    pub(super) fn learn(&mut self, run: &RunDown, outings: f64, blur: f64, depth: f64) {
        let x = self.terms(run.mean_w(), run.ambient_c, outings);
        let (part, guessed) = match run.start() {
            Start::Full | Start::Unknown => (1.0, 0.0),
            part => (part.middle().map_or(1.0, |share| share.part().max(0.05)), GUESSED_LEVEL),
        };
        let y = log(run.energy_wh() / part / depth);
        let blur2 = blur * blur + guessed * guessed;
        if run.whole && run.start() != Start::Unknown {
            self.whole(&x, y, blur2);
        } else {
            // Delivered alive, as far as it was measured like this.
            let alive = if blur > 0.0 { f64::NEG_INFINITY } else { log(run.energy_wh()) };
            self.at_least(&x, y, blur2, alive);
        }
    }

    /// After a whole run-down of ln energy `y`: each part of the mixture updates by itself, then
    /// they are drawn together. A wrong label is about the bank, which stays as it is.
    fn whole(&mut self, x: &Terms, y: f64, blur2: f64) {
        let (m, v) = self.expect(x);
        let (mut w, mut first, mut second) = (1e-30, 1e-30 * m, 1e-30 * (v + m * m));
        let of_bank = self.wrong.is_some();
        for (k, p) in self.parts(x).into_iter().enumerate() {
            let (m0, v0, off, noise) = if of_bank && k == 2 {
                (m + p.off, v + p.var, 0.0, square(self.repeat))
            } else {
                (m, v, p.off, p.var)
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
        self.line.become_at(x, mean - m, (second / w - mean * mean).clamp(v * 1e-4, v));
        self.wrong = None;
    }

    /// After one cut short at ln energy `y`: what lies below is cut away from each line, softly,
    /// and each line weighs as much as it made it likely to come so far. A wrong label is about the
    /// bank, so the cut is as sharp there as outings repeat. No line is left below `alive`.
    fn at_least(&mut self, x: &Terms, y: f64, blur2: f64, alive: f64) {
        let blur = sqrt(self.repeat_var(x) + blur2);
        let repeats = sqrt(self.ordinary_var() + blur2);
        let label = self.log_label_wh;
        let cut = |line: &mut Line, blur: f64| {
            let (m, v) = (label + dot(&line.mean, x), line.var(x));
            let (new_m, new_v) = above(m, v, y, blur);
            line.become_at(x, new_m.max(alive) - m, new_v);
            phi((m - y) / sqrt(v + blur * blur)).max(1e-12)
        };
        let right = cut(&mut self.line, blur);
        if let Some((share, wrong)) = &mut self.wrong {
            let (right, other) = ((1.0 - *share) * right, *share * cut(wrong, repeats));
            *share = other / (right + other);
        }
    }
}

impl Line {
    /// Variance at `x`.
    fn var(&self, x: &Terms) -> f64 {
        dot(&self.times(x), x).max(1e-9)
    }

    fn times(&self, x: &Terms) -> [f64; N] {
        core::array::from_fn(|i| dot(&self.cov[i], x))
    }

    /// What was learned of the line at `x`, carried over to its coefficients: its mean moves by
    /// `step` there, and `var` is left.
    fn become_at(&mut self, x: &Terms, step: f64, var: f64) {
        let (c, v) = (self.times(x), self.var(x));
        let shrink = (v - var) / (v * v);
        for i in 0..N {
            self.mean[i] += c[i] * step / v;
            for j in 0..N {
                self.cov[i][j] -= c[i] * c[j] * shrink;
            }
        }
    }
}

fn dot(a: &[f64; N], b: &[f64; N]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

const fn square(x: f64) -> f64 {
    x * x
}
