//! The few functions of statistics that the forecast needs, cheap enough for a small board.

use libm::exp;

/// Steps a unit in the table of the normal law.
const PER_UNIT: usize = 64;
/// The table reaches this far to either side.
const REACH: usize = 6;
const CELLS: usize = 2 * REACH * PER_UNIT;

/// exp for small arguments, usable while compiling.
const fn small_exp(x: f64) -> f64 {
    let (mut sum, mut term, mut k) = (1.0, 1.0, 1);
    while k < 20 {
        term *= x / k as f64;
        sum += term;
        k += 1;
    }
    sum
}

/// Distribution function of the normal law at even steps, by Simpson's rule over its density.
const fn normal_table() -> [f32; CELLS + 1] {
    let mut table = [0.0; CELLS + 1];
    let h = 1.0 / PER_UNIT as f64;
    // Density at -REACH, then from step to step by its own ratio exp(-x h - h²/2).
    let mut density = 0.398_942_280_401_432_7;
    let mut k = 0;
    while k < REACH * PER_UNIT {
        density *= small_exp(-(k as f64 * h) * h - h * h / 2.0);
        k += 1;
    }
    let mut sum = 0.0;
    k = 0;
    while k < CELLS {
        #[expect(clippy::cast_possible_truncation, reason = "single precision is meant")]
        {
            table[k] = sum as f32;
        }
        let x = k as f64 * h - REACH as f64;
        let half = density * small_exp(-x * h / 2.0 - h * h / 8.0);
        let next = density * small_exp(-x * h - h * h / 2.0);
        sum += h * (density + 4.0 * half + next) / 6.0;
        density = next;
        k += 1;
    }
    table[CELLS] = 1.0;
    table
}

static NORMAL: [f32; CELLS + 1] = normal_table();

/// Distribution function of the normal law; error below 1e-5.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the place in the table was clamped to its range"
)]
pub(super) fn phi(x: f64) -> f64 {
    let place = (x + REACH as f64) * PER_UNIT as f64;
    if place.is_nan() || place <= 0.0 {
        return 0.0;
    }
    if place >= CELLS as f64 {
        return 1.0;
    }
    let k = place as usize;
    let part = place - k as f64;
    let (a, b) = (f64::from(NORMAL[k]), f64::from(NORMAL[k + 1]));
    a + part * (b - a)
}

/// Share of a fading quantity's present value that its mean over a span of `x` time constants
/// still has: (1 − e⁻ˣ)/x.
pub(super) fn mean_fade(x: f64) -> f64 {
    if x < 1e-6 { 1.0 - 0.5 * x } else { (1.0 - exp(-x)) / x }
}

/// What a span of `x` time constants does to an Ornstein–Uhlenbeck process that starts from a known
/// value. The last two are shares of its stationary variance.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wandering {
    /// Share of the present value that the mean over the span still has: (1 − e⁻ˣ)/x.
    pub(super) fade: f64,
    /// Variance of that mean: (2x − 3 + 4e⁻ˣ − e⁻²ˣ)/x².
    pub(super) spread: f64,
    /// Mean variance about it within the span: 1 − (1 − e⁻²ˣ)/2x less the spread.
    pub(super) within: f64,
}

impl Wandering {
    pub(super) fn over(x: f64) -> Self {
        if x < 1e-3 {
            return Self { fade: 1.0 - 0.5 * x, spread: 2.0 * x / 3.0, within: x / 3.0 };
        }
        let e = exp(-x);
        let spread = ((2.0 * x - 3.0 + 4.0 * e - e * e) / (x * x)).max(0.0);
        let within = (1.0 - (1.0 - e * e) / (2.0 * x) - spread).max(0.0);
        Self { fade: (1.0 - e) / x, spread, within }
    }
}

/// How far a reading moves a belief, and what is left of the belief's variance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Correction {
    /// Shift of the mean per unit of surprise.
    pub(super) gain: f64,
    /// Variance afterwards.
    pub(super) var: f64,
}

/// One Kalman correction of a scalar of variance `var` by a reading that is `slope` times it, with
/// noise of variance `noise` (Kalman 1960).
pub(super) fn correct(var: f64, slope: f64, noise: f64) -> Correction {
    let gain = var * slope / (slope * slope * var + noise);
    Correction { gain, var: (1.0 - gain * slope) * var }
}

/// Mean and variance of a normal variable known to exceed a limit that is itself blurred:
/// the factor is Φ((x − limit)/blur). Exact moments (the 'soft cut' of a probit likelihood).
pub(super) fn above(mean: f64, var: f64, limit: f64, blur: f64) -> (f64, f64) {
    let s = libm::sqrt(var + blur * blur);
    let z = (mean - limit) / s;
    let ratio = if z < -5.0 {
        -z + 1.0 / -z
    } else {
        0.398_942_280_401_432_7 * exp(-0.5 * z * z) / phi(z).max(1e-7)
    };
    let gain = var / s;
    (mean + gain * ratio, (var - gain * gain * ratio * (z + ratio)).max(var * 1e-3))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published values of the normal law (Abramowitz & Stegun, table 26.1).
    #[test]
    fn normal_law() {
        for (x, want) in [
            (0.0, 0.5),
            (1.0, 0.841_344_746),
            (-1.96, 0.024_997_895),
            (2.0, 0.977_249_868),
            (-3.0, 0.001_349_898),
            (1.28, 0.899_727_432),
        ] {
            assert!((phi(x) - want).abs() < 1e-5, "{x}: {} {want}", phi(x));
        }
    }
}
