//! What is believed of a bank and of the parts of its draw before an outing whose doings are known in advance.

use alloc::vec::Vec;

use super::{
    LoadPrior,
    draw_prior::STEP_DOWN,
    learned::Learned,
    maths::correct,
    outing::Outing,
    work_life::{DOUBTS, PARTS, Work, printed},
};
use crate::{
    bank::{BankSpec, MeasuredAt, Start},
    record::DrawLevels,
};

/// How far an outing's parts lie from those of the bank's other outings, as a share: somebody plugs something
/// in, the radio is turned down (fit).
const BETWEEN_BASE: f64 = 0.06;
const BETWEEN_WORK: f64 = 0.15;
const BETWEEN_SENDING: f64 = 0.08;

/// Parts of a draw, as shares of the time or of all cores.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct PartShares {
    /// The board is on.
    pub on: f64,
    /// All cores busy.
    pub busy: f64,
    /// Somebody is at it: display and programs.
    pub present: f64,
    /// The radio receives.
    pub receiving: f64,
    /// The key is down.
    pub sending: f64,
}

impl PartShares {
    const fn parts(&self) -> [f64; PARTS] {
        [self.on, self.busy, self.present, self.receiving, self.sending]
    }

    const fn of_parts(parts: [f64; PARTS]) -> Self {
        let [on, busy, present, receiving, sending] = parts;
        Self { on, busy, present, receiving, sending }
    }

    /// Adds another `hours` times.
    pub fn add(&mut self, other: &Self, hours: f64) {
        let mut sum = self.parts();
        for (sum, more) in sum.iter_mut().zip(other.parts()) {
            *sum += hours * more;
        }
        *self = Self::of_parts(sum);
    }
}

/// Watts of each part as believed, jointly Gaussian.
#[derive(Clone, Debug)]
pub struct PartWatts {
    mean: [f64; PARTS],
    cov: [[f64; PARTS]; PARTS],
    /// How much of a board's watts reaches it from the bank, 0 to 1.
    pub through: f64,
    /// Whether earlier outings had a say.
    pub learned: bool,
}

impl PartWatts {
    /// Mean draw of such shares, W.
    #[must_use]
    pub fn mean_w(&self, shares: &PartShares) -> f64 {
        dot(&self.mean, &shares.parts())
    }

    /// Variance of that, W².
    #[must_use]
    pub fn var_w2(&self, shares: &PartShares) -> f64 {
        let g = shares.parts();
        dot(&self.times(&g), &g).max(0.0)
    }

    fn times(&self, g: &[f64; PARTS]) -> [f64; PARTS] {
        core::array::from_fn(|k| dot(&self.cov[k], g))
    }

    /// From what is printed; each part with its own doubt.
    fn printed(bank: &BankSpec, load: &LoadPrior) -> Self {
        let (mut mean, told) = printed(bank, load);
        let through = if bank.series <= 1 { 1.0 } else { STEP_DOWN };
        if load.radio_receive_w.is_none() && load.radio_transmit_w.is_none() {
            (mean[3], mean[4]) = (0.0, 0.0);
        }
        let mut cov = [[0.0; PARTS]; PARTS];
        for (k, row) in cov.iter_mut().enumerate() {
            let sd = mean[k] * DOUBTS[k] * if k == 0 { told } else { 1.0 };
            row[k] = sd * sd;
        }
        Self { mean, cov, through, learned: false }
    }

    /// Takes that these shares drew `watts`, give or take `sd_w` (a linear reading, Kalman 1960).
    fn read(&mut self, shares: &PartShares, watts: f64, sd_w: f64) {
        let g = shares.parts();
        let c = self.times(&g);
        let v = dot(&c, &g);
        let seen = correct(v.max(1e-12), 1.0, sd_w * sd_w);
        let off = watts - dot(&self.mean, &g);
        for k in 0..PARTS {
            self.mean[k] = (self.mean[k] + c[k] / v.max(1e-12) * seen.gain * off).max(0.0);
            for j in 0..PARTS {
                self.cov[k][j] -= c[k] * c[j] / v.max(1e-12) * seen.gain;
            }
        }
    }

    fn learn(&mut self, seen: &DrawLevels) {
        let base = PartShares { on: 1.0, busy: seen.busy, present: PRESENT, receiving: 1.0, sending: 0.0 };
        self.read(&base, seen.base_w, BETWEEN_BASE * seen.base_w);
        if let Some(work_w) = seen.work_w.filter(|w| *w > 0.0) {
            let sd = libm::hypot(BETWEEN_WORK * work_w, seen.work_se_w);
            self.read(&PartShares { busy: 1.0, ..PartShares::default() }, work_w, sd);
        }
        if let Some(sending_w) = seen.sending_w {
            let part = PartShares { sending: 1.0, ..PartShares::default() };
            self.read(&part, sending_w, BETWEEN_SENDING * sending_w);
        }
        self.learned = true;
    }
}

/// Somebody is there for this share of an outing that nobody told more of (fit).
const PRESENT: f64 = 0.3;

/// What is believed before an outing of such doings.
#[derive(Clone, Debug)]
pub struct Planned {
    /// Usable energy at the start, Wh, with weights.
    pub left: Vec<(f64, f64)>,
    /// Watts of the parts.
    pub watts: PartWatts,
}

impl Planned {
    /// Of a bank, for an outing of `mix` (hours of each part), which draws about `mean_w` from it.
    #[must_use]
    pub fn new(
        bank: &BankSpec,
        load: &LoadPrior,
        learned: &Learned,
        start: Start,
        mix: &PartShares,
    ) -> Self {
        let load = load.sound();
        if bank.measured_at == MeasuredAt::Nowhere {
            return Self::modelled(bank, &load, learned, start, mix);
        }
        let mut watts = PartWatts::printed(bank, &load);
        for run in learned.rundowns_data() {
            if let Some(levels) = &run.detail.draw_levels {
                watts.learn(levels);
            }
        }
        let mean_w = watts.mean_w(mix) / mix.on.max(1e-6);
        let outing = Outing::measured(bank, &load, learned, start).expecting(mean_w);
        Self { left: outing.left(), watts }
    }

    /// Without a sensor only the quotient of energy and watts is known, so what is unknown of the watts stands
    /// in the energy.
    fn modelled(
        bank: &BankSpec,
        load: &LoadPrior,
        learned: &Learned,
        start: Start,
        mix: &PartShares,
    ) -> Self {
        let work = Work { parts: mix.parts(), quiet: 0.0, unmarked: 0.0 };
        let (outing, mean) = Outing::planned(bank, load, learned, start, &work);
        let mut watts = PartWatts::printed(bank, load);
        watts.mean = mean;
        watts.cov = [[0.0; PARTS]; PARTS];
        watts.learned = learned.rundowns_data().iter().any(|run| Work::from_run_down(run).is_some());
        Self { left: outing.left(), watts }
    }
}

fn dot(a: &[f64; PARTS], b: &[f64; PARTS]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}
