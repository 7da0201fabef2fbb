//! Straight lines between the points of a table.

use libm::{exp, log};

/// The value at `x`, by straight lines between points in rising order; beyond the ends that of the end.
/// `None` for a table without points.
pub(super) fn between(points: &[(f64, f64)], x: f64) -> Option<f64> {
    let (first, last) = (points.first()?, points.last()?);
    let pair = points.windows(2).find(|pair| pair[0].0 <= x && x < pair[1].0);
    Some(match pair {
        Some(&[a, b]) => a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0),
        _ if x < first.0 => first.1,
        _ => last.1,
    })
}

/// The same by powers of `x`: lines between the logarithms, for points and `x` above 0.
pub(super) fn between_powers<const N: usize>(points: &[(f64, f64); N], x: f64) -> f64 {
    let logs = points.map(|(x, y)| (log(x), log(y)));
    between(&logs, log(x)).map_or(1.0, exp)
}
