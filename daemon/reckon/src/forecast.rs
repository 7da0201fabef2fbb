//! The remaining time, as a distribution.

use core::time::Duration;

use crate::{
    time::Mono,
    units::{Seconds, Share},
};

/// What the forecast stands on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// A sensor measures the draw.
    Measured,
    /// No sensor: the draw is modelled from the board and its load.
    Modelled,
    /// A fuel gauge says what is left.
    Gauge,
    /// Before the first reading: label, board and earlier outings alone.
    Expected,
}

impl Basis {
    /// Its name in JSON and in the record.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Modelled => "modelled",
            Self::Gauge => "gauge",
            Self::Expected => "expected",
        }
    }

    /// The basis of that name; one that a newer version writes counts as modelled.
    #[must_use]
    pub fn named(name: &str) -> Self {
        let all = [Self::Measured, Self::Gauge, Self::Expected];
        all.into_iter().find(|basis| basis.name() == name).unwrap_or(Self::Modelled)
    }
}

/// The forecast, or why there is none.
#[derive(Clone, Debug, PartialEq)]
pub enum Outlook {
    /// The bank lasts so long.
    Lasts(Forecast),
    /// Too little has been seen.
    TooSoon {
        /// How much longer it takes.
        wants: Duration,
    },
    /// Nobody has told of a bank.
    NoBank,
    /// The bank is not being drained (charging, or on mains).
    NotDraining,
    /// The readings stopped; the last forecast is of then.
    Blind {
        /// Since when.
        since: Mono,
        /// The last that was made.
        last: Option<Forecast>,
    },
}

/// A forecast: three points of one distribution, and the distribution behind them.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecast {
    /// Remaining time at 10 %, 50 %, 90 %: never falling in that order.
    pub remaining: [Seconds; 3],
    /// What it stands on.
    pub basis: Basis,
    /// When it was made.
    pub made_at: Mono,
}

impl Forecast {
    /// The cautious end: the bank outlives this in nine of ten cases.
    #[must_use]
    pub const fn cautious(&self) -> Seconds {
        self.remaining[0]
    }

    /// The middle.
    #[must_use]
    pub const fn middle(&self) -> Seconds {
        self.remaining[1]
    }

    /// The hopeful end.
    #[must_use]
    pub const fn hopeful(&self) -> Seconds {
        self.remaining[2]
    }
}

/// A remaining time as a distribution: a rising list of (time, share of outcomes that end by
/// then).
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Spread {
    points: alloc::vec::Vec<(f64, f64)>,
}

impl Spread {
    /// From points of the distribution function: seconds and the share that has ended by then.
    /// Both are made non-decreasing; broken numbers are dropped.
    #[must_use]
    pub fn from_points(points: impl IntoIterator<Item = (f64, f64)>) -> Self {
        let mut kept: alloc::vec::Vec<(f64, f64)> = alloc::vec::Vec::new();
        for (t, p) in points {
            if !t.is_finite() || !p.is_finite() {
                continue;
            }
            let (t0, p0) = kept.last().copied().unwrap_or((0.0, 0.0));
            kept.push((t.max(t0), p.clamp(0.0, 1.0).max(p0)));
        }
        Self { points: kept }
    }

    /// The time by which this share of outcomes has ended; `None` for an empty distribution.
    #[must_use]
    pub fn quantile(&self, share: Share) -> Option<Seconds> {
        let want = share.part();
        let mut before = (0.0, 0.0);
        for &(t, p) in &self.points {
            if p >= want {
                let part = if p > before.1 { (want - before.1) / (p - before.1) } else { 1.0 };
                return Some(Seconds::of(before.0 + part * (t - before.0)));
            }
            before = (t, p);
        }
        self.points.last().map(|&(t, _)| Seconds::of(t))
    }

    /// The chance of still being alive after so long; `None` for an empty distribution.
    #[must_use]
    pub fn chance_beyond(&self, span: Seconds) -> Option<Share> {
        if self.points.is_empty() {
            return None;
        }
        let mut before = (0.0, 0.0);
        for &(t, p) in &self.points {
            if t >= span.si() {
                let part = if t > before.0 { (span.si() - before.0) / (t - before.0) } else { 1.0 };
                return Some(Share::nearest(1.0 - (before.1 + part * (p - before.1))));
            }
            before = (t, p);
        }
        Some(Share::nearest(1.0 - before.1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantile_and_chance_are_each_others_inverse() {
        let spread = Spread::from_points((1..=100).map(|k| {
            let t = f64::from(k) * 60.0;
            (t, (f64::from(k) / 100.0).powi(2))
        }));
        for share in [0.1, 0.5, 0.9] {
            let t = spread.quantile(Share::nearest(share)).unwrap();
            let alive = spread.chance_beyond(t).unwrap();
            assert!((alive.part() + share - 1.0).abs() < 1e-9, "{share}: {t:?} {alive:?}");
        }
    }
}
