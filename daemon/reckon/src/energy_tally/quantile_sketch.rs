//! How a draw was spread, in bounded memory: counts of time in bins whose edges grow by a constant
//! factor, so that every quantile is known to the same relative error (the idea of Masson, Rim and
//! Lee, 'DDSketch', PVLDB 12, 2019).

use alloc::vec::Vec;

/// A quantile is within this share of a true one, for draws from 1 mW to 10 kW.
pub const RELATIVE_ERROR: f64 = 0.01;

/// Smallest draw that is told from nothing, watts.
const LEAST_W: f64 = 1e-3;
/// Edges grow by `(1 + e) / (1 - e)`.
const GROWTH: f64 = (1.0 + RELATIVE_ERROR) / (1.0 - RELATIVE_ERROR);
/// Enough bins from 1 mW to 10 kW: ln(1e7) / ln(GROWTH) = 805.9.
const MOST_BINS: usize = 807;

/// Time by draw. Grows to 6.5 kB at the very most; a draw that spans a factor of ten takes 1 kB.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct QuantileSketch {
    /// Time at nothing, or charging.
    nothing_s: f64,
    /// Number of the first bin held.
    first: usize,
    bins: Vec<f64>,
}

impl QuantileSketch {
    /// Adds time at a draw.
    pub fn add(&mut self, watts: f64, seconds: f64) {
        if !(watts.is_finite() && seconds.is_finite() && seconds > 0.0) {
            return;
        }
        if watts < LEAST_W {
            self.nothing_s += seconds;
        } else {
            self.add_to_bin(bin_of(watts), seconds);
        }
    }

    /// Adds all of another.
    pub fn merge(&mut self, other: &Self) {
        self.nothing_s += other.nothing_s;
        for (at, seconds) in other.bins.iter().enumerate().filter(|(_, seconds)| **seconds > 0.0) {
            self.add_to_bin(other.first + at, *seconds);
        }
    }

    /// The draw that was not exceeded for this share of the time.
    #[must_use]
    pub fn quantile(&self, share: f64) -> Option<f64> {
        let all = self.nothing_s + self.bins.iter().sum::<f64>();
        if all <= 0.0 || !(0.0..=1.0).contains(&share) {
            return None;
        }
        let mut left = share * all - self.nothing_s;
        if left <= 0.0 {
            return Some(0.0);
        }
        let mut last = 0;
        for (at, seconds) in self.bins.iter().enumerate() {
            if *seconds > 0.0 {
                last = at;
                left -= seconds;
                if left <= 1e-9 * all {
                    break;
                }
            }
        }
        Some(value_of(self.first + last))
    }

    /// Bins held, for judging memory.
    #[must_use]
    pub const fn bins(&self) -> usize {
        self.bins.len()
    }

    fn add_to_bin(&mut self, bin: usize, seconds: f64) {
        let bin = bin.min(MOST_BINS - 1);
        if self.bins.is_empty() {
            self.first = bin;
        }
        if bin < self.first {
            let more = self.first - bin;
            self.bins.splice(0..0, core::iter::repeat_n(0.0, more));
            self.first = bin;
        }
        let at = bin - self.first;
        if at >= self.bins.len() {
            self.bins.resize(at + 1, 0.0);
        }
        if let Some(time) = self.bins.get_mut(at) {
            *time += seconds;
        }
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held to the range of the bins first"
)]
fn bin_of(watts: f64) -> usize {
    let bin = libm::floor(libm::log(watts / LEAST_W) / libm::log(GROWTH));
    bin.clamp(0.0, 806.0) as usize
}

/// The value that is equally far, in proportion, from both edges.
#[expect(clippy::cast_precision_loss, reason = "a bin number is below a thousand")]
fn value_of(bin: usize) -> f64 {
    let low = LEAST_W * libm::exp(bin as f64 * libm::log(GROWTH));
    low * 2.0 * GROWTH / (1.0 + GROWTH)
}
