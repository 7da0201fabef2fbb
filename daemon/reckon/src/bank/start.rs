//! How full a bank was when it was connected.

use core::ops::RangeInclusive;

use crate::units::Share;

/// How full a bank was when it was connected.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub enum Start {
    /// Charged until its charger stopped.
    #[default]
    Full,
    /// Charged to about this share.
    Part(Share),
    /// Somewhere between these two: what a bank's own lamps tell, a quarter a lamp.
    Between(Share, Share),
    /// Nobody knows.
    Unknown,
}

/// Half a quarter: the distance from the middle of what one lamp tells to either end.
const HALF_LAMP: f64 = 0.125;

/// The middles of what the four lamps of a bank tell apart, fullest first (common practice, no
/// source: each lamp stands for a quarter, and the top one stays lit till a quarter is gone).
pub const LAMPS: [f64; 4] = [0.875, 0.625, 0.375, 0.125];

/// Levels that a person gives as a plain number.
pub const LEVELS: RangeInclusive<f64> = 0.02..=1.0;

impl Start {
    /// A level as a person gives it, 0 to 1. The middle of a quarter is what the four lamps of a bank
    /// tell, so it stands for that whole quarter; full is full; any other is good to about a tenth.
    #[must_use]
    pub fn of_level(level: Share) -> Self {
        let lamps = level.part() / (2.0 * HALF_LAMP) - 0.5;
        if level.part() >= 1.0 {
            Self::Full
        } else if (lamps - libm::round(lamps)).abs() < 1e-6 {
            let end = |off: f64| Share::nearest(level.part() + off);
            Self::Between(end(-HALF_LAMP), end(HALF_LAMP))
        } else {
            Self::Part(level)
        }
    }

    /// The share that it began with, about; `None` where nobody knows.
    #[must_use]
    pub fn middle(self) -> Option<Share> {
        match self {
            Self::Full => Some(Share::WHOLE),
            Self::Part(share) => Some(share),
            Self::Between(low, high) => Some(Share::nearest(0.5 * (low.part() + high.part()))),
            Self::Unknown => None,
        }
    }

    /// Its name outside; beside `part` stands the level, which [`Start::middle`] gives.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Full => "full",
            Self::Part(_) | Self::Between(..) => "part",
            Self::Unknown => "unknown",
        }
    }

    /// From its name and the level beside it, 0 to 1; `None` if that is no start.
    #[must_use]
    pub fn named(name: &str, level: Option<f64>) -> Option<Self> {
        match (name, level) {
            ("full", _) => Some(Self::Full),
            ("unknown", _) => Some(Self::Unknown),
            ("part", Some(level)) => Share::new(level).map(Self::of_level),
            _ => None,
        }
    }

    /// From one word: `full`, `unknown`, a share such as `70 %`, or one of [`LEVELS`] such as `0.7`.
    #[must_use]
    pub fn worded(text: &str) -> Option<Self> {
        let text = text.trim();
        let level = match text.strip_suffix('%') {
            Some(percent) => percent.trim().parse::<f64>().ok().map(|percent| percent / 100.0),
            None => text.parse().ok().filter(|level| LEVELS.contains(level)),
        };
        Self::named(if level.is_some() { "part" } else { text }, level)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_word_or_a_name_and_a_level() {
        let half = Start::Part(Share::nearest(0.5));
        let lamp = Start::Between(Share::nearest(0.5), Share::nearest(0.75));
        for (text, want) in [
            ("full", Start::Full),
            ("100 %", Start::Full),
            ("1", Start::Full),
            ("unknown", Start::Unknown),
            ("50 %", half),
            (" 50% ", half),
            ("0.5", half),
            ("62.5 %", lamp),
        ] {
            assert_eq!(Start::worded(text), Some(want), "{text}");
            let level = want.middle().map(Share::part);
            assert_eq!(Start::named(want.name(), level), Some(want), "{text}");
        }
        for text in ["", "part", "%", "full %", "-1 %", "101 %", "0.01", "1.01", "nan", "inf %"] {
            assert_eq!(Start::worded(text), None, "{text}");
        }
        assert_eq!(Start::named("part", None), None);
    }
}
