//! What is believed of a bank and of the parts of its draw before an outing whose doings are known in advance.

use alloc::vec::Vec;

use libm::hypot;

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

/// The doubts of the life equation are those of outings that nobody planned; beside a plan this share of them is
/// left (fit).
const PRINTED_DOUBT: f64 = 0.8;
/// How far an outing's parts lie from those of the bank's other outings, as a share: somebody plugs something
/// in, the radio is turned down (fit).
const BETWEEN_BASE: f64 = 0.06;
const BETWEEN_WORK: f64 = 0.10;
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
    /// The same with another converter between bank and board, which leaves `through` of the watts. What was
    /// learned was learned with the converter that is there.
    #[must_use]
    pub fn with_converter(mut self, through: f64) -> Self {
        if self.learned {
            return self;
        }
        let factor = self.through / through.clamp(0.05, 1.0);
        for k in 0..3 {
            self.mean[k] *= factor;
            for j in 0..PARTS {
                self.cov[k][j] *= factor;
                self.cov[j][k] *= factor;
            }
        }
        self.through = through;
        self
    }

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
            let sd = PRINTED_DOUBT * mean[k] * DOUBTS[k] * if k == 0 { told } else { 1.0 };
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

    /// Takes in what earlier outings showed: first those in which a step of the draw told its parts apart.
    fn learn(&mut self, all: &[&DrawLevels]) {
        let mut told = false;
        for seen in all {
            let Some([step_w, _]) = seen.step else { continue };
            if self.is_radio(step_w) {
                self.read(&OFF, seen.rest_w, BETWEEN_BASE * seen.rest_w);
                self.read(&RADIO, step_w, STEP_DIFFERS * step_w);
            } else {
                told = true;
                self.read(&REST, seen.rest_w, BETWEEN_BASE * seen.rest_w);
                self.read(&PERSON, step_w, STEP_DIFFERS * step_w);
            }
        }
        for seen in all {
            if seen.step.is_none() {
                self.learn_even(seen, told);
            }
            if let Some([work_w, se_w]) = seen.work_w {
                let part = PartShares { busy: 1.0, ..PartShares::default() };
                self.read(&part, work_w, hypot(BETWEEN_WORK * work_w, 3.0 * se_w));
            }
            if let Some(sending_w) = seen.sending_w {
                let part = PartShares { sending: 1.0, ..PartShares::default() };
                self.read(&part, sending_w, BETWEEN_SENDING * sending_w);
            }
            self.learned = true;
        }
    }

    /// Whether a step of the draw is a radio that was switched off for a while, rather than a display.
    fn is_radio(&self, step_w: f64) -> bool {
        let (radio_w, person_w) = (self.mean_w(&RADIO), self.mean_w(&PERSON));
        radio_w > 0.0 && (step_w - radio_w).abs() < (step_w - person_w).abs()
    }

    /// One whose draw at rest was even: somebody was there all the time, or never, or draws nothing.
    fn learn_even(&mut self, seen: &DrawLevels, told: bool) {
        if (CAME_AND_WENT..=1.0 - CAME_AND_WENT).contains(&seen.present) {
            self.read(&PERSON, 0.0, NO_STEP_W);
        }
        let person_w = self.mean_w(&PERSON);
        let present = if told {
            let above = seen.rest_w - self.mean_w(&REST);
            if above > 0.5 * person_w { 1.0 } else { 0.0 }
        } else if seen.present < NOBODY {
            0.0
        } else {
            SOMETIMES
        };
        let unsure_w = if told { 0.0 } else { present * person_w };
        let shares = PartShares { present, ..REST };
        self.read(&shares, seen.rest_w, hypot(BETWEEN_BASE * seen.rest_w, unsure_w));
    }
}

/// The board at rest with a radio that receives.
const REST: PartShares =
    PartShares { on: 1.0, busy: 0.0, present: 0.0, receiving: 1.0, sending: 0.0 };
const OFF: PartShares = PartShares { receiving: 0.0, ..REST };
const RADIO: PartShares = PartShares { on: 0.0, ..REST };
const PERSON: PartShares =
    PartShares { on: 0.0, busy: 0.0, present: 1.0, receiving: 0.0, sending: 0.0 };
/// Nobody was there where the processor's mean chance of that is below this (fit).
const NOBODY: f64 = 0.1;
/// Somebody is there for this share of an outing in which no step of the draw told (fit).
const SOMETIMES: f64 = 0.3;
/// How far a display's step differs from outing to outing, as a share.
const STEP_DIFFERS: f64 = 0.15;
/// Where somebody came and went by what the processor shows (its mean chance lies this far from both ends)
/// and the draw has no step, what that takes is nothing, give or take so many watts (fit).
const CAME_AND_WENT: f64 = 0.25;
const NO_STEP_W: f64 = 0.5;

/// What will be done.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Doings {
    /// Hours of each part, where the parts are told.
    pub shares: PartShares,
    /// Hours of each part where only what it will draw is known, about.
    pub supposed: PartShares,
    /// What that draws, Wh.
    pub known_wh: f64,
    /// Hours that are drawn from the bank.
    pub hours: f64,
}

impl Doings {
    fn all(&self) -> PartShares {
        let mut all = self.shares;
        all.add(&self.supposed, 1.0);
        all
    }
}

/// What is believed before an outing of such doings.
#[derive(Clone, Debug)]
pub struct Planned {
    /// Usable energy at the start, Wh, with weights.
    pub left: Vec<(f64, f64)>,
    /// Watts of the parts.
    pub watts: PartWatts,
}

impl Planned {
    /// Of a bank, for an outing of such doings.
    #[must_use]
    pub fn new(
        bank: &BankSpec,
        load: &LoadPrior,
        learned: &Learned,
        start: Start,
        doings: &Doings,
    ) -> Self {
        let load = load.sound();
        if bank.measured_at == MeasuredAt::Nowhere {
            return Self::modelled(bank, &load, learned, start, &doings.all());
        }
        let mut watts = PartWatts::printed(bank, &load);
        let runs = learned.rundowns_data();
        watts.learn(
            &runs.iter().filter_map(|run| run.detail.draw_levels.as_ref()).collect::<Vec<_>>(),
        );
        let mean_w = (watts.mean_w(&doings.shares) + doings.known_wh) / doings.hours.max(1e-6);
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
        watts.learned =
            learned.rundowns_data().iter().any(|run| Work::from_run_down(run).is_some());
        Self { left: outing.left(), watts }
    }
}

fn dot(a: &[f64; PARTS], b: &[f64; PARTS]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::RunDown;

    fn bank() -> BankSpec {
        BankSpec::common().remove(0)
    }

    fn load() -> LoadPrior {
        // Raspberry Pi documentation: 3B idle 0.30 A, stress 0.85 A, at 5.1 V.
        LoadPrior { idle_w: Some(1.53), full_w: Some(4.335), ..LoadPrior::default() }
    }

    fn learned(all: &[DrawLevels]) -> Learned {
        let mut learned = Learned::default();
        for levels in all {
            let mut run = RunDown {
                whole: true,
                start_share: Some(1.0),
                lasted_s: 36_000.0,
                delivered_wh: Some(26.0),
                measured: true,
                ..RunDown::default()
            };
            run.detail.draw_levels = Some(*levels);
            learned.credit(&run);
        }
        learned
    }

    fn watts(all: &[DrawLevels]) -> PartWatts {
        let shares = PartShares { on: 8.0, busy: 1.0, ..PartShares::default() };
        let doings = Doings { shares, hours: 8.0, ..Doings::default() };
        Planned::new(&bank(), &load(), &learned(all), Start::Full, &doings).watts
    }

    #[test]
    fn what_was_drawn_in_one_mixture_says_what_another_draws() {
        // A display of 0.9 W for a third of the time, on a board that takes 2.1 W at rest and 2.4 W more at work.
        let seen = DrawLevels {
            rest_w: 2.1,
            step: Some([0.9, 0.33]),
            present: 0.3,
            work_w: Some([2.4, 0.05]),
            sending_w: None,
        };
        let known = watts(&[seen, seen, seen]);
        let shares = |busy, present| PartShares { on: 1.0, busy, present, ..PartShares::default() };
        for (busy, present) in [(0.0, 0.0), (0.2, 0.0), (0.2, 1.0)] {
            let want = 2.1 + 2.4 * busy + 0.9 * present;
            let got = known.mean_w(&shares(busy, present));
            assert!((got - want).abs() < 0.05 * want, "{busy} {present}: {got} {want}");
            let printed = watts(&[]);
            assert!(
                known.var_w2(&shares(busy, present)) < 0.3 * printed.var_w2(&shares(busy, present))
            );
        }
    }

    #[test]
    fn a_radio_that_was_off_for_a_while_is_no_display() {
        let pack = BankSpec::common().into_iter().find(|bank| bank.series > 1).unwrap();
        let load = LoadPrior { radio_receive_w: Some(5.0), radio_transmit_w: Some(20.0), ..load() };
        let seen = DrawLevels { rest_w: 2.4, step: Some([5.4, 0.6]), ..DrawLevels::default() };
        let shares = PartShares { on: 8.0, receiving: 8.0, ..PartShares::default() };
        let doings = Doings { shares, hours: 8.0, ..Doings::default() };
        let known = Planned::new(&pack, &load, &learned(&[seen, seen]), Start::Full, &doings).watts;
        let with = known.mean_w(&PartShares { on: 1.0, receiving: 1.0, ..PartShares::default() });
        let without = known.mean_w(&PartShares { on: 1.0, ..PartShares::default() });
        assert!((with - 7.8).abs() < 0.5 && (without - 2.4).abs() < 0.2, "{with} {without}");
    }
}
