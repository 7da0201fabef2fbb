//! What a measured outing says of the parts of its draw: the board at rest with what always hangs on it, its
//! processor, and the transmitter. Plans are made of these parts, so that what was drawn in one mixture of
//! doings says what another would draw.

use alloc::vec::Vec;

use super::{LoadPrior, Observation};
use crate::{energy_tally::Regression, record::DrawLevels};

/// Readings that are kept: a day of ten-second rows. Beyond that every other one is dropped, again and again.
const MOST: usize = 8192;
/// Readings that are needed before anything is said: a quarter of an hour of ten-second rows.
const FEWEST: usize = 90;
/// The draw of a receiving station lies about here among all readings: even somebody who calls in every
/// other slot listens for more than half of the time.
const RECEIVING_AT: f64 = 0.3;
/// A reading is one of the transmitter from this part of what sending adds (as printed) on, and one without it
/// below that part.
const SENT_FROM: f64 = 0.5;
const NOT_SENT_BELOW: f64 = 0.2;
/// Among readings of the transmitter those in which it was on all the time lie about here: of a carrier of
/// 12.64 s (QEX Jul/Aug 2020) a quarter of the ten-second means are whole.
const WHOLLY_SENT_AT: f64 = 0.85;
/// So many readings of the transmitter are needed.
const FEWEST_SENT: usize = 20;
/// A transmitter is told apart from a busy board only if it adds more than this share of the printed work.
const CLEAR: f64 = 1.5;

/// Collects what is needed for [`DrawLevels`] while an outing is read.
#[derive(Clone, Debug, Default)]
pub struct LevelWatch {
    /// Busy share and watts.
    readings: Vec<(f32, f32)>,
    every: u32,
    passed: u32,
}

impl LevelWatch {
    /// Takes one reading; one without watts or without the processor's load tells nothing.
    #[expect(clippy::cast_possible_truncation, reason = "single precision is more than a sensor's")]
    pub fn observe(&mut self, seen: &Observation) {
        let product = seen.volts.zip(seen.amps).map(|(v, a)| v * a);
        let (Some(watts), Some(busy)) = (seen.watts.or(product), seen.cpu_busy) else { return };
        if !(watts.is_finite() && watts >= super::FED_OTHERWISE_W && busy.is_finite()) {
            return;
        }
        self.passed += 1;
        if self.passed <= self.every {
            return;
        }
        self.passed = 0;
        self.readings.push((busy.clamp(0.0, 1.0) as f32, watts as f32));
        if self.readings.len() >= MOST {
            let mut nth = 0_u32;
            self.readings.retain(|_| {
                nth += 1;
                nth % 2 == 1
            });
            self.every = 2 * self.every + 1;
        }
    }

    /// The levels, if enough was read.
    #[must_use]
    pub fn levels(&self, load: &LoadPrior) -> Option<DrawLevels> {
        if self.readings.len() < FEWEST {
            return None;
        }
        let mut all: Vec<f64> = self.readings.iter().map(|r| f64::from(r.1)).collect();
        all.sort_by(f64::total_cmp);
        let receiving = quantile(&all, RECEIVING_AT);
        let adds = sending_adds_w(load);
        let is_sent = |watts: f64| adds.is_some_and(|adds| watts > receiving + SENT_FROM * adds);
        let is_not = |watts: f64| adds.is_none_or(|adds| watts < receiving + NOT_SENT_BELOW * adds);
        let mut fit = Regression::default();
        for &(busy, watts) in self.readings.iter().filter(|r| is_not(f64::from(r.1))) {
            fit.add(f64::from(busy), f64::from(watts));
        }
        let (busy, base_w) = fit.means();
        let line = fit.line();
        let sent = &all[all.partition_point(|w| !is_sent(*w))..];
        let sending_w = (sent.len() >= FEWEST_SENT).then(|| quantile(sent, WHOLLY_SENT_AT) - base_w);
        Some(DrawLevels {
            busy,
            base_w,
            work_w: line.map(|line| line.slope),
            work_se_w: line.map_or(0.0, |line| line.slope_se),
            sending_w,
        })
    }
}

/// What sending adds to receiving as printed, W, if that is clearly more than a board's own work.
fn sending_adds_w(load: &LoadPrior) -> Option<f64> {
    let adds = load.radio_transmit_w? - load.radio_receive_w.unwrap_or(0.0);
    let work = load.full_w.unwrap_or(0.0) - load.idle_w.unwrap_or(0.0);
    (adds > CLEAR * work).then_some(adds)
}

fn quantile(sorted: &[f64], share: f64) -> f64 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place in the list")]
    let at = (share * (sorted.len().saturating_sub(1)) as f64) as usize;
    sorted.get(at).copied().unwrap_or(0.0)
}
