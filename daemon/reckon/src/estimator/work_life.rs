//! The parts of a draw that nobody measures, and the life equation that calibrates them.
//!
//! `watts = board + processor share × full work + somebody there + radio receiving
//!        + share sent × what sending adds`
//!
//! A whole run-down says `ln(usable energy) = ln(Σ watts of each part × its hours) + ε`. The scale
//! of energy and the scale of watts cannot be told apart and need not be: what is learned is their
//! quotient, part by part, because outings mix the parts differently. Solved for the most likely
//! logarithms by Gauss–Newton steps, with the Gaussian around them as what is still unknown.

use libm::{exp, log, log1p, sqrt};

use super::{
    LoadPrior,
    draw_prior::{FULL_TO_IDLE, SOME_BOARD_W, STEP_DOWN},
    maths::{above, correct},
};
use crate::{
    bank::{BankSpec, Start},
    record::RunDown,
};

/// Parts of the draw: board, processor, person, receiving, sending.
pub(super) const PARTS: usize = 5;
const PERSON: usize = 2;
const RECEIVING: usize = 3;
const SENDING: usize = 4;
const N: usize = PARTS + 1;
const ROUNDS: usize = 4;

/// What hangs on a board beside its printed idle figure, W (assumption: a USB device or two).
const EXTRAS_W: f64 = 0.2;
/// What a person's display and programs add, W (assumption: a small display).
const PERSON_W: f64 = 1.0;
/// Deviations (ln) of the five parts about what is printed or assumed (fit).
pub(super) const DOUBTS: [f64; PARTS] = [0.18, 0.4, 0.9, 0.08, 0.3];
/// Deviation (ln) of a run-down about the equation, and what doubts about the hours of a part add,
/// as a share of that part: a person there; sending; the radio in hours without a timed mode (it
/// may be off) (fit).
const REPEATS: f64 = 0.045;
const PERSON_HOURS: f64 = 0.3;
const SENDING_HOURS: f64 = 0.12;
const RADIO_OFF: f64 = 0.2;
/// Sending that leaves no mark (voice), in hours where somebody is there without a timed mode: how
/// likely it is on a bank that nothing is known of and for how many hours that counts, the share of
/// those hours that is sent, and the deviation of what it takes, as a share of it (fit; the share
/// is common practice for a contact now and then).
const UNMARKED: Chance = Chance { sent_h: 0.6, hours: 2.0 };
const UNMARKED_SENT: f64 = 0.2;
const UNMARKED_SD: f64 = 0.4;

/// How likely it is that in hours without a mark something was sent, learned by the hour.
#[derive(Clone, Copy, Debug)]
struct Chance {
    sent_h: f64,
    hours: f64,
}

impl Chance {
    fn learn(&mut self, sent: f64, hours: f64) {
        self.sent_h += sent * hours;
        self.hours += hours;
    }

    const fn share(&self) -> f64 {
        self.sent_h / self.hours
    }
}

/// A second case of an outing: its chance, how far it moves ln(usable Wh) as modelled, and the
/// deviation that it adds.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Case {
    pub(super) chance: f64,
    pub(super) shift: f64,
    pub(super) sd: f64,
}

/// What an outing did: hours (or hours × share) of each part; hours without a timed mode; hours in
/// which somebody may have sent without leaving a mark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Work {
    pub(super) parts: [f64; PARTS],
    pub(super) quiet: f64,
    pub(super) unmarked: f64,
}

impl Work {
    /// Before anything is known: two hours of what people do.
    pub(super) const USUAL: Self =
        Self { parts: [2.0, 0.26, 0.6, 2.0, 0.12], quiet: 1.0, unmarked: 0.5 };
    pub(super) const NONE: Self = Self { parts: [0.0; PARTS], quiet: 0.0, unmarked: 0.0 };

    /// As a run-down keeps it: parts, processor use at rest, then the two other sums.
    pub(super) fn from_run_down(run: &RunDown) -> Option<Self> {
        let parts = run.detail.work.first_chunk::<PARTS>()?;
        let sum = |k: usize| run.detail.work.get(k).copied().unwrap_or(0.0);
        (parts[0] > 0.0).then(|| Self { parts: *parts, quiet: sum(6), unmarked: sum(7) })
    }

    pub(super) fn add(&mut self, other: &Self, scale: f64) {
        for (a, b) in self.parts.iter_mut().zip(&other.parts) {
            *a += scale * b;
        }
        self.quiet += scale * other.quiet;
        self.unmarked += scale * other.unmarked;
    }

    /// Its hours.
    pub(super) const fn hours(&self) -> f64 {
        self.parts[0]
    }
}

/// The most likely energy and watts, with what is unknown of them.
#[derive(Clone, Debug)]
pub(super) struct WorkLife {
    /// ln usable Wh, then ln of the watts of each part.
    at: [f64; N],
    cov: [[f64; N]; N],
    watts: [f64; PARTS],
    radio: bool,
    unmarked: Chance,
}

impl WorkLife {
    /// `energy`: mean and deviation of ln(usable Wh) for the present outing; `drift`: by how much
    /// an earlier outing's energy differed from that, as its age and temperature say.
    pub(super) fn new(
        bank: &BankSpec,
        load: &LoadPrior,
        energy: (f64, f64),
        drift: impl Fn(&RunDown, f64) -> f64,
        runs: &[RunDown],
    ) -> Self {
        let (watts, told) = printed(bank, load);
        let radio = load.radio_receive_w.is_some() || load.radio_transmit_w.is_some();
        let mut first = [energy.0; N];
        let mut doubt = [energy.1; N];
        for j in 0..PARTS {
            first[j + 1] = log(watts[j].max(1e-3));
            doubt[j + 1] = DOUBTS[j] * if j == 0 { told } else { 1.0 };
        }
        let mut life = Self { at: first, cov: [[0.0; N]; N], watts, radio, unmarked: UNMARKED };
        // Every run-down is a straight line around the latest belief; a few rounds settle it.
        let mut around = first;
        for _ in 0..ROUNDS {
            life.at = first;
            life.cov = [[0.0; N]; N];
            life.unmarked = UNMARKED;
            for (k, d) in doubt.iter().enumerate() {
                life.cov[k][k] = d * d;
            }
            for (k, run) in runs.iter().enumerate() {
                if let Some(work) = Work::from_run_down(run) {
                    life.learn(run, &work, &around, drift(run, k as f64));
                }
            }
            around = life.at;
        }
        life.watts =
            core::array::from_fn(|j| if life.counts(j) { exp(life.at[j + 1]) } else { 0.0 });
        life
    }

    /// Watts of each part as believed.
    pub(super) const fn watts(&self) -> &[f64; PARTS] {
        &self.watts
    }

    /// Mean draw of such an outing, W.
    pub(super) fn mean_w(&self, work: &Work) -> f64 {
        let wh: f64 = self.watts.iter().zip(&work.parts).map(|(w, h)| w * h).sum();
        wh / work.hours().max(1e-6)
    }

    /// Mean and variance of ln(usable Wh), in units of the believed watts, for an outing of such
    /// work: energy and watts are uncertain together, and what matters is their quotient.
    pub(super) fn expect(&self, work: &Work) -> (f64, f64) {
        let line = self.line(&self.at, work);
        let c = self.times(&line.slope);
        (self.at[0], dot(&c, &line.slope) + line.noise)
    }

    /// The case that something was sent in the hours without a mark: the bank's energy then covers
    /// more than the watts that are modelled.
    pub(super) fn unmarked(&self, work: &Work) -> Case {
        let lacks = self.lacks(&self.at, work);
        if lacks <= 0.0 {
            return Case::default();
        }
        Case { chance: self.unmarked.share(), shift: -lacks, sd: UNMARKED_SD * lacks }
    }

    /// ln of all energy over the modelled one, if something was sent in the hours without a mark.
    fn lacks(&self, at: &[f64; N], work: &Work) -> f64 {
        if !self.radio {
            return 0.0;
        }
        let sent_wh = UNMARKED_SENT * exp(at[SENDING + 1]) * work.unmarked.max(0.0);
        log1p(sent_wh / self.each_wh(at, work).iter().sum::<f64>().max(1e-9))
    }

    /// Energy of each part, Wh.
    fn each_wh(&self, at: &[f64; N], work: &Work) -> [f64; PARTS] {
        core::array::from_fn(|j| {
            if self.counts(j) { exp(at[j + 1]) * work.parts[j].max(0.0) } else { 0.0 }
        })
    }

    const fn counts(&self, part: usize) -> bool {
        part < RECEIVING || self.radio
    }

    /// The life equation as a straight line around `at`.
    fn line(&self, at: &[f64; N], work: &Work) -> Line {
        let wh = self.each_wh(at, work);
        let total = wh.iter().sum::<f64>().max(1e-9);
        let mut slope = [1.0; N];
        for j in 0..PARTS {
            slope[j + 1] = -wh[j] / total;
        }
        let idle = (work.quiet / work.hours().max(1e-6)).clamp(0.0, 1.0);
        let noise = square(REPEATS)
            + square(PERSON_HOURS * slope[PERSON + 1])
            + square(SENDING_HOURS * slope[SENDING + 1])
            + square(RADIO_OFF * idle * slope[RECEIVING + 1]);
        Line { value: at[0] - log(total), slope, noise }
    }

    fn learn(&mut self, run: &RunDown, work: &Work, around: &[f64; N], drift: f64) {
        let line = self.line(around, work);
        let part = match run.start() {
            Start::Full | Start::Unknown => 0.0,
            part => part.middle().map_or(0.0, |share| log(share.part().max(0.05))),
        };
        // What the belief says of ln E − ln Σ; a whole run-down says that it was 0.
        let ahead: f64 = (0..N).map(|k| line.slope[k] * (self.at[k] - around[k])).sum();
        let value = line.value + drift + part + ahead;
        let c = self.times(&line.slope);
        let v = dot(&c, &line.slope).max(1e-9);
        let (new, new_v) = if run.whole && run.start() != Start::Unknown {
            let guessed = if part < 0.0 { 0.01 } else { 0.0 };
            let lacks = self.lacks(around, work);
            let chance = if lacks > 0.0 { self.unmarked.share() } else { 0.0 };
            let sent_noise = line.noise + square(UNMARKED_SD * lacks);
            let plain = whole((value, v), 0.0, line.noise, guessed);
            let sent = whole((value, v), lacks, sent_noise, guessed);
            let (p, mean, var) = plain.or(&sent, chance);
            if lacks > 0.0 {
                self.unmarked.learn(p, work.unmarked);
            }
            (mean, var)
        } else {
            above(value, v, 0.0, sqrt(line.noise))
        };
        let (gain, shrink) = ((new - value) / v, (v - new_v) / (v * v));
        for i in 0..N {
            self.at[i] += c[i] * gain;
            for j in 0..N {
                self.cov[i][j] -= c[i] * c[j] * shrink;
            }
        }
    }

    fn times(&self, g: &[f64; N]) -> [f64; N] {
        core::array::from_fn(|i| dot(&self.cov[i], g))
    }
}

/// ln E − ln Σ around a point: its value, its slope along each unknown, the variance of ε.
struct Line {
    value: f64,
    slope: [f64; N],
    noise: f64,
}

/// A belief after a whole run-down, with the likelihood of that.
struct After {
    like: f64,
    mean: f64,
    var: f64,
}

/// Takes that ln E − ln Σ was `read`; `guessed` is the variance of a start that a person told. A
/// run-down far off counts as a noisier one (Student, four degrees of freedom).
fn whole((mean, var): (f64, f64), read: f64, noise: f64, guessed: f64) -> After {
    let off = read - mean;
    let odd = ((4.0 + off * off / (var + noise)) / 5.0).max(1.0);
    let one = correct(var, 1.0, noise * odd + guessed);
    let spread = var + noise + guessed;
    let far = 1.0 + off * off / (4.0 * spread);
    let like = 1.0 / (sqrt(spread) * far * far * sqrt(far));
    After { like, mean: mean + one.gain * off, var: one.var }
}

impl After {
    /// The chance of the other case after the reading, where it was `chance` before it, and mean
    /// and variance of the two together.
    fn or(&self, other: &Self, chance: f64) -> (f64, f64, f64) {
        let (a, b) = ((1.0 - chance) * self.like, chance * other.like);
        let p = if a + b > 0.0 { b / (a + b) } else { chance };
        let apart = other.mean - self.mean;
        let mean = self.mean + p * apart;
        (p, mean, (1.0 - p) * self.var + p * other.var + p * (1.0 - p) * apart * apart)
    }
}

/// Watts of the parts as printed or assumed, and a factor on the board's doubt where nothing is
/// printed.
pub(super) fn printed(bank: &BankSpec, load: &LoadPrior) -> ([f64; PARTS], f64) {
    let through = if bank.series <= 1 { 1.0 } else { STEP_DOWN };
    let idle = load.idle_w.unwrap_or(SOME_BOARD_W);
    let work = (load.full_w.unwrap_or(idle * FULL_TO_IDLE) - idle).max(0.1);
    let receive = load.radio_receive_w.unwrap_or(0.0);
    let sending = (load.radio_transmit_w.unwrap_or(receive) - receive).max(0.0);
    let board = idle + EXTRAS_W + load.accessories_w.max(0.0);
    let told = if load.idle_w.is_some() { 1.0 } else { 3.0 };
    ([board / through, work / through, PERSON_W / through, receive, sending], told)
}

fn dot(a: &[f64; N], b: &[f64; N]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

const fn square(x: f64) -> f64 {
    x * x
}

#[cfg(test)]
mod tests {
    use alloc::vec::Vec;

    use super::*;
    use crate::{
        bank::{Cells, MeasuredAt},
        record::Detail,
        units::{AmpHours, Volts},
    };

    fn life(runs: &[RunDown]) -> WorkLife {
        let bank = BankSpec {
            name: "Long six".into(),
            cells: Cells::LiFePo4,
            series: 4,
            label: AmpHours::of(6.0),
            label_volts: Volts::of(12.8),
            measured_at: MeasuredAt::Nowhere,
            ambient: None,
            cutoff: None,
        };
        let load = LoadPrior {
            idle_w: Some(3.0),
            full_w: Some(6.0),
            accessories_w: 0.0,
            radio_receive_w: Some(4.0),
            radio_transmit_w: Some(15.0),
        };
        WorkLife::new(&bank, &load, (log(66.0), 0.08), |_, _| 0.0, runs)
    }

    /// A run-down of so many hours, of which so many with somebody there and no mark of sending.
    fn run(hours: f64, unmarked: f64) -> RunDown {
        RunDown {
            whole: true,
            start_share: Some(1.0),
            lasted_s: hours * 3600.0,
            delivered_wh: Some(66.0),
            detail: Detail {
                work: alloc::vec![hours, 0.1 * hours, unmarked, hours, 0.0, 0.03, hours, unmarked],
                ..Detail::default()
            },
            ..RunDown::default()
        }
    }

    /// By hand: 3.2 W / 0.89 of board, 3 W / 0.89 of work a tenth of the time, 4 W of receiving are
    /// 7.93 W, and 66 Wh last 8.32 h. With somebody there all the time (1.12 W) it is 7.29 h, and with
    /// a fifth of that sent (11 W more) 5.87 h.
    #[test]
    fn sending_without_a_mark_is_learned_of_a_bank() {
        let quiet = [run(8.32, 0.0), run(8.32, 0.0), run(8.32, 0.0)];
        let first = life(&[]).unmarked(&Work::USUAL).chance;
        let of = |hours: f64| {
            let runs: Vec<RunDown> =
                quiet.iter().cloned().chain((0..3).map(|_| run(hours, hours))).collect();
            life(&runs).unmarked(&Work::USUAL).chance
        };
        let (sends, listens) = (of(5.87), of(7.29));
        // A thirstier display would explain short lives as well, so the chance rises less than it falls.
        assert!(sends > 1.2 * first && listens < 0.7 * first, "{listens} {first} {sends}");
        // What is lacking then: 66 Wh against 5.87 h × (7.93 + 1.12) W = 53.1 Wh.
        let work = Work::from_run_down(&run(5.87, 5.87)).expect("hours");
        let lacks = -life(&[]).unmarked(&work).shift;
        assert!((lacks - log(66.0 / 53.1)).abs() < 0.01, "{lacks}");
    }
}
