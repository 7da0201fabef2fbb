//! A straight line through readings of which each has an uncertainty of its own, not led astray by a
//! few odd ones.
//!
//! Weighted least squares with known deviations σ (any text on it): with w = u/σ², the slope is
//! Σw(x−x̄)(y−ȳ) / Σw(x−x̄)², its variance 1 / Σw(x−x̄)². u is 1, but 1.345 σ/|r| for a reading that lies
//! r from the line and farther than 1.345 σ (Huber 1964; 1.345 costs 5 % where nothing is odd: Holland
//! and Welsch 1977). Where all scatter more than they say, the variance grows by the ratio
//! Σw r² / (n − 2) (Birge 1932).

use libm::{fabs, sqrt};

/// A reading, and the deviation that is known of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Where it was taken.
    pub x: f64,
    /// What was read.
    pub y: f64,
    /// Its standard deviation, above 0.
    pub sd: f64,
}

/// The slope of the line through readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// Change of y for each x.
    pub per_x: f64,
    /// Its standard deviation.
    pub sd: f64,
}

/// Beyond so many deviations a reading counts for less.
const ODD: f64 = 1.345;
/// The weights settle in a few rounds; so many are enough for any.
const ROUNDS: usize = 60;

/// The slope through these; `None` for fewer than two, or where all were taken at the same x.
#[must_use]
pub fn slope(readings: &[Reading]) -> Option<Slope> {
    let sound = |it: &Reading| it.sd > 0.0 && [it.x, it.y, it.sd].iter().all(|it| it.is_finite());
    if readings.len() < 2 || !readings.iter().all(sound) {
        return None;
    }
    let mut line = Line::through(readings, |_| 1.0)?;
    for _ in 0..ROUNDS {
        let last = line;
        line = Line::through(readings, |it| last.counts(it))?;
        if fabs(line.per_x - last.per_x) <= 1e-12 * fabs(line.per_x) {
            break;
        }
    }
    let off = |it: &Reading| line.counts(it) * line.off(it) * line.off(it);
    let spare = readings.len() - 2;
    let scatter =
        if spare == 0 { 1.0 } else { readings.iter().map(off).sum::<f64>() / spare as f64 };
    let sd = sqrt(scatter.max(1.0) / line.reach);
    sd.is_finite().then_some(Slope { per_x: line.per_x, sd })
}

#[derive(Clone, Copy)]
struct Line {
    /// Weighted middles of the readings.
    x: f64,
    y: f64,
    per_x: f64,
    /// Σw(x−x̄)².
    reach: f64,
}

impl Line {
    fn through(readings: &[Reading], counts: impl Fn(&Reading) -> f64) -> Option<Self> {
        let weight = |it: &Reading| counts(it) / (it.sd * it.sd);
        let sum = |of: &dyn Fn(&Reading) -> f64| -> f64 {
            readings.iter().map(|it| weight(it) * of(it)).sum()
        };
        let all = sum(&|_| 1.0);
        let (x, y) = (sum(&|it| it.x) / all, sum(&|it| it.y) / all);
        let reach = sum(&|it| (it.x - x) * (it.x - x));
        let per_x = sum(&|it| (it.x - x) * (it.y - y)) / reach;
        per_x.is_finite().then_some(Self { x, y, per_x, reach })
    }

    /// How many deviations a reading lies off the line.
    fn off(&self, it: &Reading) -> f64 {
        (it.y - self.y - self.per_x * (it.x - self.x)) / it.sd
    }

    /// How much of its weight an odd reading keeps.
    fn counts(&self, it: &Reading) -> f64 {
        (ODD / fabs(self.off(it))).min(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DAYS: [f64; 6] = [0.0, 31.0, 62.0, 92.0, 122.0, 153.0];

    fn found(y: [f64; 6], sd: [f64; 6]) -> Slope {
        let reading = |k: usize| Reading { x: DAYS[k], y: y[k], sd: sd[k] };
        slope(&core::array::from_fn::<Reading, 6, _>(reading)).unwrap()
    }

    fn near(found: f64, want: f64) {
        assert!((found / want - 1.0).abs() < 1e-6, "{found}, want {want}");
    }

    /// numpy 2.4.6: `numpy.polyfit(x, y, 1, w=1/sd, cov='unscaled')`.
    #[test]
    fn the_slope_and_its_deviation_are_those_of_weighted_least_squares() {
        let got = found([29.0, 28.6, 28.9, 28.1, 27.7, 26.9], [0.9, 0.8, 1.1, 0.85, 0.8, 0.9]);
        near(got.per_x, -0.012_722_645_674_438_197);
        near(got.sd, 0.006_833_572_114_797_98);
    }

    /// scipy 1.17.1: `scipy.optimize.least_squares(…, loss='huber', f_scale=1.345)` over the residuals
    /// in deviations. One of six lies 5.5 of them off; least squares alone would say -0.0085.
    #[test]
    fn an_odd_reading_leads_nobody_astray() {
        let got = found([29.0, 28.6, 22.0, 28.1, 27.7, 26.9], [0.9, 0.8, 1.1, 0.85, 0.8, 0.9]);
        near(got.per_x, -0.011_336_243_977_837_966);
    }

    /// numpy 2.4.6: `numpy.polyfit(x, y, 1, w=1/sd, cov=True)`, which scales by χ²/(n − 2).
    #[test]
    fn readings_that_scatter_more_than_they_say_widen_the_deviation() {
        let got = found([29.0, 27.7, 29.1, 27.6, 28.2, 26.5], [0.7; 6]);
        near(got.per_x, -0.011_700_691_404_492_088);
        near(got.sd, 0.006_214_620_649_885_789);
    }

    #[test]
    fn two_readings_are_a_line_and_fewer_or_broken_ones_are_none() {
        let at = |x, y, sd| Reading { x, y, sd };
        // Two of 0.6: the difference has 0.6 √2, over 3.
        let got = slope(&[at(1.0, 28.0, 0.6), at(4.0, 25.0, 0.6)]).unwrap();
        near(got.per_x, -1.0);
        near(got.sd, 0.6 * 2.0_f64.sqrt() / 3.0);
        for none in [
            &[at(1.0, 28.0, 0.6)][..],
            &[at(1.0, 28.0, 0.6), at(1.0, 25.0, 0.6)],
            &[at(1.0, 28.0, 0.6), at(4.0, 25.0, 0.0)],
            &[at(1.0, 28.0, 0.6), at(4.0, f64::NAN, 0.6)],
        ] {
            assert_eq!(slope(none), None, "{none:?}");
        }
    }
}
