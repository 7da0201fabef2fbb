//! Two clocks that cannot be mixed.
//!
//! [`Mono`] is the time since the board was switched on, sleep included; every duration comes from
//! it. [`Wall`] is what a calendar says; a board without a clock battery may not know it, and it
//! may jump by years, so it is only ever attached, never subtracted.

use alloc::{format, string::String};
use core::{
    ops::{Range, RangeInclusive},
    time::Duration,
};

use jiff::{SignedDuration, civil::DateTime};

use crate::units::Seconds;

/// Time since boot, sleep included (the kernel's boot-time clock).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Mono(Duration);

impl Mono {
    /// The moment of switching on.
    pub const BOOT: Self = Self(Duration::ZERO);

    /// So long after boot.
    #[must_use]
    pub const fn since_boot(span: Duration) -> Self {
        Self(span)
    }

    /// So many seconds after boot; a negative or broken number becomes boot itself.
    #[must_use]
    pub fn at_s(seconds: f64) -> Self {
        Self(Duration::try_from_secs_f64(seconds).unwrap_or(Duration::ZERO))
    }

    /// The span since boot.
    #[must_use]
    pub const fn span(self) -> Duration {
        self.0
    }

    /// Seconds since boot.
    #[must_use]
    pub const fn as_s(self) -> f64 {
        self.0.as_secs_f64()
    }

    /// How long after `earlier`; zero if it was not earlier.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Duration {
        self.0.saturating_sub(earlier.0)
    }

    /// How many seconds after `earlier`; zero if it was not earlier.
    #[must_use]
    pub const fn seconds_since(self, earlier: Self) -> Seconds {
        Seconds::of(self.since(earlier).as_secs_f64())
    }

    /// This much later.
    #[must_use]
    pub const fn plus(self, span: Duration) -> Self {
        Self(self.0.saturating_add(span))
    }
}

/// Calendar time: milliseconds since 1970-01-01 00:00:00 UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Wall(i64);

impl Wall {
    /// From milliseconds since 1970, UTC.
    #[must_use]
    pub const fn from_unix_ms(ms: i64) -> Self {
        Self(ms)
    }

    /// Milliseconds since 1970, UTC.
    #[must_use]
    pub const fn unix_ms(self) -> i64 {
        self.0
    }

    /// The wall time of boot, when this is the wall time of `at`.
    #[must_use]
    pub fn of_boot(self, at: Mono) -> Self {
        let since_boot_ms = i64::try_from(at.span().as_millis()).unwrap_or(i64::MAX);
        Self(self.0.saturating_sub(since_boot_ms))
    }

    /// So many seconds later (or earlier, if negative).
    #[must_use]
    #[expect(clippy::cast_possible_truncation, reason = "a float cast saturates, which is meant")]
    pub const fn plus_s(self, seconds: f64) -> Self {
        Self(self.0.saturating_add((seconds * 1000.0) as i64))
    }

    /// What the calendar and the clock of a place show, to the second, so many seconds east of UTC.
    /// `None` for years that four digits cannot hold.
    #[must_use]
    pub fn local(self, utc_offset_s: i32) -> Option<DateTime> {
        const EPOCH: DateTime = jiff::civil::date(1970, 1, 1).at(0, 0, 0, 0);
        let local_s = self.0.div_euclid(1000).checked_add(i64::from(utc_offset_s))?;
        let local = EPOCH.checked_add(SignedDuration::from_secs(local_s)).ok()?;
        (local.year() >= 0).then_some(local)
    }

    /// As RFC 3339 section 5.6 writes it, to the second, in local time. Years that four digits cannot
    /// hold have no such form.
    #[must_use]
    pub fn rfc3339(self, utc_offset_s: i32) -> Option<String> {
        let offset_min = utc_offset_s.div_euclid(60);
        let local = self.local(offset_min.saturating_mul(60))?;
        if offset_min == 0 {
            return Some(format!("{local}Z"));
        }
        let sign = if offset_min < 0 { '-' } else { '+' };
        let (hours, minutes) = (offset_min.abs() / 60, offset_min.abs() % 60);
        Some(format!("{local}{sign}{hours:02}:{minutes:02}"))
    }
}

/// What a phone's clock may show, ms since 1970: times before outlast was written, and those of
/// another century, are no phone's (2020 to 2100).
pub const PHONE_MS: Range<i64> = 1_577_836_800_000..4_102_444_800_000;
/// Half the round trip of a comparison with a phone's clock, s: a slower one tells nothing that a
/// person could use.
pub const PHONE_WITHIN_S: RangeInclusive<f64> = 0.0..=30.0;
/// Age of such a comparison, s: an older one tells nothing of now.
pub const PHONE_AGO_S: RangeInclusive<f64> = 0.0..=120.0;

/// How far the wall clock may be believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trust {
    /// The kernel's clock is synchronised, or was in this boot.
    Synchronised,
    /// A phone gave the time.
    Phone,
    /// Nobody has set the clock in this boot.
    Unset,
}

/// A moment: boot time always, wall time as the system gives it, and how far that is believed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stamp {
    /// Time since boot.
    pub mono: Mono,
    /// What the system's wall clock says, right or wrong.
    pub wall: Wall,
    /// Whether to believe it.
    pub trust: Trust,
    /// Local time minus UTC, seconds, for saying times of day.
    pub utc_offset_s: i32,
}

impl Stamp {
    /// The wall time, if it may be believed.
    #[must_use]
    pub const fn believed(self) -> Option<Wall> {
        match self.trust {
            Trust::Synchronised | Trust::Phone => Some(self.wall),
            Trust::Unset => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn boot_time_never_runs_below_zero() {
        let early = Mono::at_s(10.0);
        let late = Mono::at_s(12.5);
        assert_eq!(late.since(early), Duration::from_millis(2500));
        assert_eq!(early.since(late), Duration::ZERO);
        assert_eq!(Mono::at_s(f64::NAN), Mono::BOOT);
        assert_eq!(Mono::at_s(-4.0), Mono::BOOT);
    }

    #[test]
    fn boot_lies_before_by_what_has_passed() {
        assert_eq!(Wall::from_unix_ms(10_250).of_boot(Mono::at_s(4.25)).unix_ms(), 6000);
    }

    #[test]
    fn the_examples_of_the_standard() {
        // RFC 3339 section 5.8; the counts of seconds by GNU date from the same texts. Fractions
        // are cut, since we write whole seconds; its two leap-second examples have no such count.
        for (unix_ms, offset_s, want) in [
            (482_196_050_520, 0, "1985-04-12T23:20:50Z"),
            (851_042_397_000, -8 * 3600, "1996-12-19T16:39:57-08:00"),
            (-1_041_337_172_130, 20 * 60, "1937-01-01T12:00:27+00:20"),
        ] {
            assert_eq!(Wall::from_unix_ms(unix_ms).rfc3339(offset_s).as_deref(), Some(want));
        }
    }

    #[test]
    fn leap_days_and_the_ends_of_the_calendar() {
        // RFC 3339 appendix C: 2000 and 2400 are leap years, 1900 and 2100 are not.
        for (unix_s, want) in [
            (951_782_400, Some("2000-02-29T00:00:00Z")),
            (4_107_542_400, Some("2100-03-01T00:00:00Z")),
            (4_107_542_399, Some("2100-02-28T23:59:59Z")),
            (253_402_300_799, Some("9999-12-31T23:59:59Z")),
            (253_402_300_800, None),
            (-62_167_219_200, Some("0000-01-01T00:00:00Z")),
            (-62_167_219_201, None),
        ] {
            let wall = Wall::from_unix_ms(unix_s * 1000);
            assert_eq!(wall.rfc3339(0).as_deref(), want, "{unix_s}");
        }
        assert_eq!(Wall::from_unix_ms(i64::MAX).rfc3339(0), None);
        assert_eq!(Wall::from_unix_ms(i64::MIN).rfc3339(i32::MIN), None);
    }
}
