//! How full a bank was when it was connected.

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

/// A quarter's half: so far the middle of what one lamp tells lies from either end.
const HALF_LAMP: f64 = 0.125;

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
}
