//! What the voltage of visible cells tells: resistance, rest voltage, and where on its curve the
//! bank stands.
//!
//! Rest voltage = terminal voltage + resistance × current, over the quieter half of five minutes.
//! Its distance from the curve is judged for every node of the grid. All readings of an outing
//! share an unknown offset (temperature, another charge, the sensor), which is taken out exactly;
//! without it a long row of readings would look like certainty. The noise itself is only roughly
//! known, hence Student's law.

use alloc::vec::Vec;

use libm::{exp, log};

use super::{curve::Curve, energy_left::Node};
use crate::{bank::BankSpec, record::RunDown};

/// Readings are gathered into ticks of this length, so that one-second and ten-second steps see
/// the same.
const TICK_S: f64 = 10.0;
/// Memory of the resistance and of the peak current, s.
const MEMORY_S: f64 = 7200.0;
/// Ticks that are kept for a rest voltage, and the least that give one.
const TICKS: usize = 40;
const FEW_TICKS: usize = 8;
/// A step of the current that tells of the resistance, A.
const STEP_A: f64 = 0.05;
/// Weight of the resistance that is expected, A² of steps; and what is expected without any
/// knowledge, ohms (a short lead and a fuse; common practice, no source).
const PRIOR_A2: f64 = 0.25;
const PRIOR_OHMS: f64 = 0.05;
/// Bins of the peak current, 20 mA to 20 A in even ratios (ln range).
const PEAK_BINS: usize = 40;
const PEAK_LOW_A: f64 = 0.02;
const PEAK_RANGE: f64 = 6.9;
/// Share of the time above the current that is called the peak (fit).
const PEAK_SHARE: f32 = 0.07;
/// How much of a difference in sag an end of the curve moves by (fit).
const SAG_TELLS: f64 = 0.8;
/// How much of an outing's offset is in the place where the sag meets the cut-off (fit).
const SAG_BLUR: f64 = 0.3;
/// How far a bank that holds less than usual is taken to have begun short of full, rather than to
/// have shrunk (fit).
const BEGAN_SHORT: f64 = 0.4;
/// Degrees of freedom of the noise.
const FREEDOM: f64 = 8.0;
/// Points of a kept curve, and their least distance as a share of the energy.
const KEPT: usize = 64;
const KEPT_APART: f64 = 0.008;

/// Sums for one node: precision, residual and square, ln of the variance, number of readings; the
/// newest residual (smoothed) and its variance.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    a: f64,
    b: f64,
    c: f64,
    logs: f64,
    n: f64,
    last: f64,
    last_var: f64,
}

/// Voltage of one outing.
#[derive(Clone, Debug)]
pub(super) struct Volts {
    curve: Curve,
    usual_wh: f64,
    /// Open tick: seconds, volt-seconds, ampere-seconds.
    tick: [f64; 3],
    before: Option<(f64, f64)>,
    sum_vi: f64,
    sum_ii: f64,
    prior_ohms: f64,
    peaks: [f32; PEAK_BINS],
    /// Current and voltage of the ticks since the last rest voltage, and their length, s.
    ticks: Vec<(f64, f64)>,
    ticks_s: f64,
    sums: Vec<Sums>,
    last_wh: f64,
    kept: Vec<[f64; 2]>,
}

impl Volts {
    pub(super) fn new<'a>(
        bank: &BankSpec,
        runs: impl DoubleEndedIterator<Item = &'a RunDown> + Clone,
    ) -> Self {
        let ohms = runs.clone().filter_map(|r| r.detail.source_ohms).next_back();
        Self {
            curve: Curve::best_known(bank, runs),
            usual_wh: 0.0,
            tick: [0.0; 3],
            before: None,
            sum_vi: 0.0,
            sum_ii: 0.0,
            prior_ohms: ohms.unwrap_or(PRIOR_OHMS),
            peaks: [0.0; PEAK_BINS],
            ticks: Vec::with_capacity(TICKS),
            ticks_s: 0.0,
            sums: Vec::new(),
            last_wh: 0.0,
            kept: Vec::new(),
        }
    }

    /// Takes up a grid of so many nodes; `usual_wh` is what the bank usually holds.
    pub(super) fn lay_out(&mut self, nodes: usize, usual_wh: f64) {
        self.sums = alloc::vec![Sums::default(); nodes];
        self.usual_wh = usual_wh;
    }

    /// Resistance of bank and lead as the sensor sees it, ohms.
    pub(super) fn ohms(&self) -> f64 {
        let sum = self.sum_vi + PRIOR_A2 * self.prior_ohms;
        (sum / (self.sum_ii + PRIOR_A2)).clamp(0.0, 1.0)
    }

    /// The same, if steps of the current have told of it.
    pub(super) fn seen_ohms(&self) -> Option<f64> {
        (self.sum_ii > PRIOR_A2).then(|| self.ohms())
    }

    /// Current that is exceeded a fifteenth of the time, over the last hours, A.
    pub(super) fn peak_a(&self) -> f64 {
        let mut left = PEAK_SHARE * self.peaks.iter().sum::<f32>();
        for k in (0..PEAK_BINS).rev() {
            left -= self.peaks[k];
            if left <= 0.0 {
                return bin_amps(k);
            }
        }
        bin_amps(0)
    }

    /// Gathers readings.
    pub(super) fn observe(&mut self, dt: f64, volts: f64, amps: f64) {
        self.tick[0] += dt;
        self.tick[1] += volts * dt;
        self.tick[2] += amps * dt;
        if self.tick[0] >= TICK_S - 0.01 {
            self.close_tick();
        }
    }

    /// Nothing was read: the next step of the current is not one.
    pub(super) const fn gap(&mut self) {
        self.before = None;
        self.tick = [0.0; 3];
    }

    #[expect(clippy::cast_possible_truncation, reason = "single precision is meant")]
    fn close_tick(&mut self) {
        let [s, vs, is] = core::mem::take(&mut self.tick);
        let (v, i) = (vs / s, is / s);
        if let Some((v0, i0)) = self.before.replace((v, i)) {
            let (dv, di) = (v - v0, i - i0);
            if di.abs() > STEP_A {
                let keep = 1.0 - (s / MEMORY_S).min(0.5);
                self.sum_vi = self.sum_vi * keep - dv * di;
                self.sum_ii = self.sum_ii * keep + di * di;
            }
        }
        self.peaks[amps_bin(i)] += s as f32;
        self.ticks_s += s;
        if self.ticks.len() < TICKS {
            self.ticks.push((i, v));
        }
    }

    /// Closes five minutes: one rest voltage, by which every node is judged.
    pub(super) fn close_bucket(&mut self, used_wh: f64, nodes: &[Node]) {
        let Some(rest) = self.rest(FEW_TICKS) else {
            return;
        };
        self.keep(used_wh, rest);
        let grown = used_wh - core::mem::replace(&mut self.last_wh, used_wh);
        let end = self.end_depth();
        for (node, sums) in nodes.iter().zip(&mut self.sums) {
            if node.wh * 1.05 < used_wh {
                continue;
            }
            let e = exp(node.log_e);
            // A known bank that holds less than usual has probably begun short of full: its curve
            // is anchored at the end. One that holds more is larger.
            let short = if self.curve.own { (self.usual_wh - e).max(0.0) } else { 0.0 };
            let depth = (1.0 - (node.wh - used_wh) / (e + BEGAN_SHORT * short)) * end;
            let (want, slope) = self.curve.at(depth);
            let loose = slope * self.curve.loose;
            let var = self.curve.noise * self.curve.noise + loose * loose;
            sums.add(rest - want, var, (grown / (e * self.curve.apart)).min(1.0));
        }
    }

    /// Rest voltage of the quieter half of the ticks since the last time, V.
    #[expect(clippy::cast_possible_truncation, reason = "single precision is meant")]
    fn rest(&mut self, few: usize) -> Option<f64> {
        let fade = 1.0 - (core::mem::take(&mut self.ticks_s) / MEMORY_S).min(0.5) as f32;
        for p in &mut self.peaks {
            *p *= fade;
        }
        let ohms = self.ohms();
        let enough = self.ticks.len() >= few;
        self.ticks.sort_by(|a, b| a.0.total_cmp(&b.0));
        let half = self.ticks.len().div_ceil(2);
        self.ticks.truncate(half);
        for t in &mut self.ticks {
            t.1 += ohms * t.0;
        }
        self.ticks.sort_by(|a, b| a.1.total_cmp(&b.1));
        let rest = self.ticks.get(half / 2).map(|t| t.1);
        self.ticks.clear();
        rest.filter(|_| enough)
    }

    fn keep(&mut self, used_wh: f64, rest: f64) {
        if self.kept.len() >= KEPT {
            // Every other point goes; the newest stays.
            let n = self.kept.len();
            let mut k = 0;
            self.kept.retain(|_| {
                k += 1;
                k % 2 == n % 2
            });
        }
        let n = self.kept.len();
        let crowded = n >= 4 && self.kept[n - 1][0] - self.kept[n - 2][0] < KEPT_APART * used_wh;
        match self.kept.last_mut() {
            Some(p) if crowded => *p = [used_wh, rest],
            _ => self.kept.push([used_wh, rest]),
        }
    }

    /// Depth at which this outing will be cut off: a higher peak current meets the cut-off sooner.
    pub(super) fn end_depth(&self) -> f64 {
        let tells = if self.curve.own { SAG_TELLS } else { 1.0 };
        // Before the first current is known it is expected to be as it was.
        let seen = self.peaks.iter().any(|p| *p > 0.0);
        let more = if seen { self.ohms() * self.peak_a() - self.curve.sag_v } else { 0.0 };
        let depth = self.curve.end_of(self.curve.end_v + tells * more);
        if self.curve.own { 1.0 + (depth - 1.0) * self.curve.believed(SAG_BLUR) } else { depth }
    }

    /// The same, if the curve is the bank's own; else 1.
    pub(super) fn own_end_depth(&self) -> f64 {
        if self.curve.own { self.end_depth() } else { 1.0 }
    }

    /// Depth to which an earlier run-down took the bank, in terms of its own curve; else 1.
    pub(super) fn own_end_depth_of(&self, run: &RunDown) -> f64 {
        match run.detail.rest_curve.last() {
            Some(p) if self.curve.own && run.whole => self.curve.run_end_of(p[1]),
            _ => 1.0,
        }
    }

    /// ln of the likelihood of all rest voltages if the bank were as node `k` says.
    pub(super) fn log_likelihood(&self, k: usize) -> f64 {
        self.sums[k].log_likelihood(self.curve.offset)
    }

    /// The rest voltages that were seen, for later outings; the last ticks too, since the end is
    /// steep and says where a bank is cut off.
    pub(super) fn into_curve(mut self, used_wh: f64) -> Vec<[f64; 2]> {
        let last = self.kept.last().map_or(0.0, |p| p[0]);
        if let Some(rest) = self.rest(2).filter(|_| used_wh > last) {
            self.kept.push([used_wh, rest]);
        }
        self.kept
    }
}

impl Sums {
    fn add(&mut self, residual: f64, var: f64, w: f64) {
        self.a += w / var;
        self.b += w * residual / var;
        self.c += w * residual * residual / var;
        self.logs += w * log(var);
        self.n += w;
        // The newest reading, smoothed over the last few.
        let share = if self.last_var > 0.0 { 0.5 } else { 1.0 };
        self.last += share * (residual - self.last);
        self.last_var = var;
    }

    /// The newest reading counts once more in full: near the end the curve is steep and little
    /// energy is left in which readings could add up.
    fn log_likelihood(&self, offset: f64) -> f64 {
        if self.last_var <= 0.0 {
            return 0.0;
        }
        let a = self.a + 1.0 / self.last_var;
        let b = self.b + self.last / self.last_var;
        let c = self.c + self.last * self.last / self.last_var;
        let logs = self.logs + log(self.last_var);
        let tau2 = offset * offset;
        // Residuals with one normal offset in common, the offset integrated out.
        let chi2 = (c - b * b / (a + 1.0 / tau2)).max(0.0);
        -0.5 * (FREEDOM + self.n + 1.0) * log(1.0 + chi2 / FREEDOM)
            - 0.5 * logs
            - 0.5 * log(1.0 + tau2 * a)
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "never negative, and held below the number of bins"
)]
fn amps_bin(i: f64) -> usize {
    let place = log(i.max(PEAK_LOW_A) / PEAK_LOW_A) / PEAK_RANGE * PEAK_BINS as f64;
    (place as usize).min(PEAK_BINS - 1)
}

fn bin_amps(k: usize) -> f64 {
    PEAK_LOW_A * exp(PEAK_RANGE * (k as f64 + 0.5) / PEAK_BINS as f64)
}
