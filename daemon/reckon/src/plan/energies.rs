//! How much energy there is, as a law.

use alloc::vec::Vec;

use libm::{exp, log};

/// Possibilities that a sum of two laws is gathered into.
const FEW: usize = 48;

/// Rising ln Wh with the share that has less.
#[derive(Clone, Debug)]
pub(super) struct Energies {
    points: Vec<(f64, f64)>,
}

impl Energies {
    /// From weighted possibilities, Wh.
    pub(super) fn new(mut possible: Vec<(f64, f64)>) -> Self {
        possible.retain(|p| p.0 > 0.0 && p.1 > 0.0);
        possible.sort_by(|a, b| a.0.total_cmp(&b.0));
        let total: f64 = possible.iter().map(|p| p.1).sum();
        let mut before = 0.0;
        let points = possible.iter().map(|&(wh, weight)| {
            let share = (before + 0.5 * weight) / total;
            before += weight;
            (log(wh), share)
        });
        Self { points: points.collect() }
    }

    /// That of two banks together, each of its own.
    pub(super) fn and(&self, other: &Self) -> Self {
        let each = |of: &Self, n: usize| of.quantile((n as f64 + 0.5) / FEW as f64);
        let mut sums = Vec::with_capacity(FEW * FEW);
        for a in 0..FEW {
            let first = each(self, a);
            sums.extend((0..FEW).map(|b| first + each(other, b)));
        }
        sums.sort_by(f64::total_cmp);
        let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
        Self::new(sums.chunks(FEW).map(|part| (mean(part), 1.0)).collect())
    }

    /// Every energy times as much.
    pub(super) fn times(mut self, factor: f64) -> Self {
        let add = log(factor.max(1e-9));
        for point in &mut self.points {
            point.0 += add;
        }
        self
    }

    /// Known less well, by so much of a deviation of ln Wh: to either side by three points of the normal law
    /// (Gauss and Hermite).
    pub(super) fn blurred(self, log_sd: f64) -> Self {
        if log_sd <= 0.0 {
            return self;
        }
        let far = exp(libm::sqrt(3.0) * log_sd);
        let mut possible = Vec::with_capacity(3 * FEW);
        for n in 0..FEW {
            let wh = self.quantile((n as f64 + 0.5) / FEW as f64);
            possible.extend([(wh / far, 1.0 / 6.0), (wh, 2.0 / 3.0), (wh * far, 1.0 / 6.0)]);
        }
        Self::new(possible)
    }

    /// The chance that there are fewer watt-hours.
    pub(super) fn less_than(&self, wh: f64) -> f64 {
        let (Some(first), Some(last)) = (self.points.first(), self.points.last()) else {
            return 1.0;
        };
        if wh <= 0.0 {
            return 0.0;
        }
        let x = log(wh);
        // Soft ends, so that the chance goes to nothing, or to one, within a factor of two.
        if x <= first.0 {
            return first.1 * (1.0 - (first.0 - x) / core::f64::consts::LN_2).max(0.0);
        }
        if x >= last.0 {
            return last.1 + (1.0 - last.1) * ((x - last.0) / core::f64::consts::LN_2).min(1.0);
        }
        let above = self.points.partition_point(|p| p.0 <= x).min(self.points.len() - 1);
        let (a, b) = (self.points[above - 1], self.points[above]);
        a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0).max(1e-12)
    }

    /// The watt-hours that this share has less than.
    pub(super) fn quantile(&self, share: f64) -> f64 {
        let above = self.points.partition_point(|p| p.1 < share);
        let at = |k: usize| self.points.get(k).copied();
        match (above.checked_sub(1).and_then(at), at(above)) {
            (Some(a), Some(b)) => exp(a.0 + (b.0 - a.0) * (share - a.1) / (b.1 - a.1).max(1e-12)),
            (Some(one), None) | (None, Some(one)) => exp(one.0),
            (None, None) => 0.0,
        }
    }

    /// 10 %, 50 %, 90 %, Wh.
    pub(super) fn range(&self) -> [f64; 3] {
        [0.1, 0.5, 0.9].map(|share| self.quantile(share))
    }
}
