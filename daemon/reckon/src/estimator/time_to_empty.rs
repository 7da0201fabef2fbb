//! Remaining time from what is left and what will be drawn.
//!
//! The bank has ended after h hours if the mean draw over them, times h, is more than what is left:
//! for each weighted energy and each part of the draw's mixture one value of the normal law.

use alloc::vec::Vec;

use libm::{exp, log, sqrt};

use super::{draw::Part, maths::phi};
use crate::forecast::Spread;

/// Bins that many energies are gathered into.
const BINS: usize = 40;
/// Points of the distribution.
const TIMES: usize = 30;
/// The distribution is drawn between these shares of outcomes.
const FEW: f64 = 0.01;
const NEARLY_ALL: f64 = 0.995;

/// The distribution of the time that `left` (Wh, weight) lasts, when the mean draw over the next
/// `h` hours is as `future(h)` says: ln of it as a mixture of weight, mean and deviation.
pub(super) fn lasts<F: AsRef<[Part]>>(left: &[(f64, f64)], future: impl Fn(f64) -> F) -> Spread {
    let mut bins = gather(left);
    let total: f64 = bins.iter().map(|b| b.1).sum();
    if total.is_nan() || total <= 0.0 {
        return Spread::default();
    }
    let top = bins.iter().map(|b| b.0).fold(0.0, f64::max);
    for b in &mut bins {
        *b = (log(b.0.max(1e-6)), b.1 / total);
    }
    let ended = |h: f64| {
        let log_h = log(h);
        let mut p = 0.0;
        for &(w, m, s) in future(h).as_ref() {
            if w <= 1e-4 {
                continue;
            }
            let inv = 1.0 / s.max(1e-4);
            let z = (m + log_h) * inv;
            p += w * bins.iter().map(|&(l, wt)| wt * phi(z - l * inv)).sum::<f64>();
        }
        p
    };
    let mut high = top / exp(future(1.0).as_ref().first().map_or(0.0, |part| part.1)).max(1e-3);
    for _ in 0..30 {
        if ended(high) > NEARLY_ALL {
            break;
        }
        high *= 1.35;
    }
    let mut low = high;
    for _ in 0..40 {
        low *= 0.7;
        if ended(low) < FEW {
            break;
        }
    }
    let ratio = exp(log(high / low) / (TIMES - 1) as f64);
    let mut h = low;
    let mut points: Vec<(f64, f64)> = Vec::with_capacity(TIMES);
    for _ in 0..TIMES {
        points.push((3600.0 * h, ended(h)));
        h *= ratio;
    }
    Spread::from_points(points)
}

/// Gathers weighted energies into few bins, so that the cost does not grow with the grid: narrow
/// bins near empty, where relative precision matters.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a place in the bins, between 0 and their number"
)]
fn gather(left: &[(f64, f64)]) -> Vec<(f64, f64)> {
    if left.len() <= BINS + 8 {
        return left.to_vec();
    }
    let top = left.iter().map(|p| p.0).fold(0.0, f64::max) * 1.000_001;
    let mut bins = [(0.0, 0.0); BINS];
    for &(e, w) in left {
        let k = (sqrt(e / top) * BINS as f64) as usize;
        let bin = &mut bins[k.min(BINS - 1)];
        bin.0 += w * e;
        bin.1 += w;
    }
    bins.iter().filter(|b| b.1 > 0.0).map(|b| (b.0 / b.1, b.1)).collect()
}
