//! Wall times that could be believed, each attached to a whole boot.

use crate::time::{Mono, Stamp, Trust, Wall};

/// A wall time that could be believed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClockFix {
    /// When it was learned, boot time.
    pub at: Mono,
    /// The wall time of that moment, ms since 1970 UTC.
    pub wall_ms: i64,
    /// Its error bound, ms.
    pub within_ms: u32,
    /// Who told.
    pub from: ClockFrom,
}

/// Who told the wall time. Later ones in this list win over earlier ones of the same boot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ClockFrom {
    /// A paired phone.
    Phone,
    /// The kernel's synchronised clock.
    Synchronised,
}

impl ClockFrom {
    /// As stored.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Phone => "phone",
            Self::Synchronised => "synchronised",
        }
    }
}

impl ClockFix {
    /// The clock of a stamp, if it may be believed; `within_ms` is the caller's bound.
    #[must_use]
    pub const fn from_stamp(stamp: &Stamp, within_ms: u32) -> Option<Self> {
        let from = match stamp.trust {
            Trust::Synchronised => ClockFrom::Synchronised,
            Trust::Phone => ClockFrom::Phone,
            Trust::Unset => return None,
        };
        Some(Self { at: stamp.mono, wall_ms: stamp.wall.unix_ms(), within_ms, from })
    }

    /// The wall time of this boot's first moment, ms since 1970 UTC.
    #[must_use]
    pub fn wall_at_boot_ms(&self) -> i64 {
        Wall::from_unix_ms(self.wall_ms).of_boot(self.at).unix_ms()
    }
}
