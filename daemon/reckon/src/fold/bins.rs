//! Means by phase, and the arithmetic of phases and counts.

use alloc::vec::Vec;

/// One filled bin of a mean curve.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bin {
    pub(super) phase_s: f64,
    pub(super) mean: f64,
    pub(super) n: f64,
    pub(super) scatter: f64,
}

/// Means over bins of a width from `from` to `to`, at the mean phase of what fell in.
pub(super) fn binned(
    points: impl Iterator<Item = (f64, f64)>,
    width: f64,
    from: f64,
    to: f64,
) -> Vec<Bin> {
    let n = whole((to - from) / width).clamp(1, 512);
    let empty = Bin { phase_s: 0.0, mean: 0.0, n: 0.0, scatter: 0.0 };
    let mut bins = alloc::vec![empty; n];
    for (phase, value) in points {
        if phase < from || phase >= to {
            continue;
        }
        if let Some(bin) = bins.get_mut(whole(libm::floor((phase - from) / width)).min(n - 1)) {
            bin.n += 1.0;
            let off = value - bin.mean;
            bin.mean += off / bin.n;
            bin.scatter += off * (value - bin.mean);
            bin.phase_s += (phase - bin.phase_s) / bin.n;
        }
    }
    bins.retain(|bin| bin.n > 0.0);
    bins
}

/// Remainder in `0..by`.
pub(super) fn wrap(value: f64, by: f64) -> f64 {
    let rest = value - libm::floor(value / by) * by;
    if rest >= by { 0.0 } else { rest }
}

#[expect(clippy::cast_precision_loss, reason = "counts of readings are far below 2^52")]
pub(super) const fn count(n: usize) -> f64 {
    n as f64
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a float cast saturates, which is meant"
)]
pub(super) fn whole(number: f64) -> usize {
    libm::round(number) as usize
}
