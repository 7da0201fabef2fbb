//! What is believed of the bank and the draw, and the remaining time that follows.
//!
//! One [`Estimator`] follows one outing of one bank. [`Estimator::step`] is cheap and is called for
//! every reading; [`Estimator::remaining`] does the work of a forecast when somebody asks. When the
//! outing is over, [`Estimator::close`] gives a [`RunDown`], from which [`Learned`] learns.

mod draw;
mod learned;
mod prior;

pub use learned::{Learned, RunDown};

use alloc::vec::Vec;

use crate::{
    bank::{BankSpec, MeasuredAt},
    engine::Start,
    forecast::Spread,
};
use draw::Draw;
use prior::Energy;

/// Seconds of draw that must have been seen before a number is given: one quarter-minute radio slot
/// sent and one heard. What is not known yet is in the width of the range.
pub const SETTLE_S: f64 = 30.0;

/// No portable station draws this much, W: such a reading is treated as missing.
const TOO_MANY_W: f64 = 1e5;

/// What was seen over the last `dt_s` seconds. Missing values are bridged, and counted as such.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Observation {
    /// Length of the step, seconds; nothing happens for zero, negative or broken numbers.
    pub dt_s: f64,
    /// Power out of the bank at the sensor, W.
    pub watts: Option<f64>,
    /// Voltage at the sensor, V.
    pub volts: Option<f64>,
    /// Current out of the bank, A.
    pub amps: Option<f64>,
    /// Share of the processor that was busy, 0 to 1.
    pub cpu_busy: Option<f64>,
    /// Processor temperature, °C.
    pub cpu_temp_c: Option<f64>,
}

/// What is printed, or set, about the things that draw.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct LoadPrior {
    /// The board doing nothing, W.
    pub idle_w: Option<f64>,
    /// The board at full work, W.
    pub full_w: Option<f64>,
    /// Everything else that hangs on the bank all the time, W.
    pub accessories_w: f64,
    /// The radio receiving, W; `None` without a radio on this bank.
    pub radio_receive_w: Option<f64>,
    /// The radio transmitting, key down, W.
    pub radio_transmit_w: Option<f64>,
}

/// How an outing ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Ending {
    /// The bank cut out: a whole run-down.
    Died,
    /// Switched off, or the bank was taken away, before that: it held at least so much.
    #[default]
    Stopped,
}

/// Follows one outing of one bank.
#[derive(Clone, Debug)]
pub struct Estimator {
    bank: BankSpec,
    energy: Energy,
    draw: Draw,
    start: Start,
    seen_s: f64,
    delivered_wh: f64,
    bridged_wh: f64,
}

impl Estimator {
    /// A fresh outing.
    #[must_use]
    pub fn new(bank: &BankSpec, load: &LoadPrior, learned: &Learned, start: Start) -> Self {
        Self {
            bank: bank.clone(),
            energy: Energy::new(bank, learned, start),
            draw: Draw::new(bank, load, learned),
            start,
            seen_s: 0.0,
            delivered_wh: 0.0,
            bridged_wh: 0.0,
        }
    }

    /// Takes in what was seen.
    pub fn step(&mut self, seen: &Observation) {
        let dt = seen.dt_s;
        if !(dt > 0.0 && dt.is_finite()) {
            return;
        }
        let watts = self.watts_of(seen);
        let (mean_w, bridged) = self.draw.take(dt, watts, seen.cpu_busy);
        let wh = mean_w * dt / 3600.0;
        self.seen_s += dt;
        self.delivered_wh += wh;
        if bridged {
            self.bridged_wh += wh;
        }
    }

    /// The remaining time; `None` while it is too soon to say.
    #[must_use]
    pub fn remaining(&self) -> Option<Spread> {
        if self.wants_s() > 0.0 {
            return None;
        }
        Some(self.spread(|hours| self.draw.mean_over(hours)))
    }

    /// How many more seconds until it can say; 0 when it can.
    #[must_use]
    pub fn wants_s(&self) -> f64 {
        (SETTLE_S - self.draw.seen_s()).max(0.0)
    }

    /// The remaining time if from now on the mean draw were `mean_w`, known to `log_sd`
    /// (standard deviation of its natural logarithm). `None` for a draw that is not positive.
    #[must_use]
    pub fn remaining_at(&self, mean_w: f64, log_sd: f64) -> Option<Spread> {
        if !(mean_w > 0.0 && mean_w.is_finite() && log_sd >= 0.0 && log_sd.is_finite()) {
            return None;
        }
        let log_w = libm::log(mean_w);
        Some(self.spread(|_| (log_w, log_sd)))
    }

    /// Usable energy of the whole bank as seen at the sensor, watt-hours: 10 %, 50 %, 90 %.
    #[must_use]
    pub fn usable_wh(&self) -> Option<[f64; 3]> {
        Some(self.energy.quantiles(self.delivered_wh))
    }

    /// Energy delivered in this outing, as measured or modelled, watt-hours.
    #[must_use]
    pub const fn delivered_wh(&self) -> f64 {
        self.delivered_wh
    }

    /// Of that, what was bridged over gaps rather than read.
    #[must_use]
    pub const fn bridged_wh(&self) -> f64 {
        self.bridged_wh
    }

    /// The draw this minute, W: measured, else modelled; `None` before the first reading.
    #[must_use]
    pub fn draw_now_w(&self) -> Option<f64> {
        self.draw.now_w()
    }

    /// Closes the outing.
    #[must_use]
    pub fn close(self, ending: Ending) -> RunDown {
        RunDown {
            ending,
            start: self.start,
            lasted_s: self.seen_s,
            energy_wh: self.delivered_wh,
            bridged_wh: self.bridged_wh,
            measured: self.draw.is_measured(),
            ambient_c: self.bank.ambient.map(crate::units::Celsius::si),
            ..RunDown::default()
        }
    }

    fn watts_of(&self, seen: &Observation) -> Option<f64> {
        if self.bank.measured_at == MeasuredAt::Nowhere {
            return None;
        }
        let product = match (seen.volts, seen.amps) {
            (Some(v), Some(a)) => Some(v * a),
            _ => None,
        };
        seen.watts.or(product).filter(|w| w.abs() < TOO_MANY_W).map(|w| w.max(0.0))
    }

    /// Mixes what is left in the bank with what may be drawn: `future(hours)` gives mean and
    /// deviation of the logarithm of the mean draw over so many hours.
    fn spread(&self, future: impl Fn(f64) -> (f64, f64)) -> Spread {
        let mut ends: Vec<(f64, f64)> = Vec::new();
        for (whole_wh, weight) in self.energy.alive(self.delivered_wh) {
            let left = (whole_wh - self.delivered_wh).max(0.0);
            let (log_w, _) = future(1.0);
            let mut hours = left / libm::exp(log_w).max(1e-3);
            for _ in 0..4 {
                hours = left / libm::exp(future(hours).0).max(1e-3);
            }
            let sd = future(hours).1;
            for (z, part) in prior::NORMAL_NODES {
                ends.push((3600.0 * hours * libm::exp(-sd * z), weight * part));
            }
        }
        prior::distribution(ends)
    }
}

#[cfg(test)]
mod tests;
