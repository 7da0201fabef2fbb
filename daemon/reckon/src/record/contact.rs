//! Contacts of a log, as far as they are kept.

use alloc::{string::String, vec::Vec};

/// A minute, in which a time without seconds may be any.
pub const MINUTE_MS: i64 = 60_000;

/// One contact of a log.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct LoggedContact {
    /// When it began, ms since 1970 UTC, as the log says.
    pub began_ms: i64,
    /// When it ended, if the log says so.
    pub ended_ms: Option<i64>,
    /// The band's name in the standard (`20m`).
    pub band: Option<String>,
    /// The mode, capitals.
    pub mode: Option<String>,
    /// The other station: only where the operator asked for it to be kept.
    pub with_call: Option<String>,
}

impl LoggedContact {
    /// Whether two may be one contact, as far as they tell: the time is the same, or of the same
    /// minute where one of the two is in whole minutes (ADIF 3.1.6, data type Time: HHMM or HHMMSS);
    /// band and mode are the same or not told.
    #[must_use]
    pub fn may_be(&self, other: &Self) -> bool {
        let minute_ms = self.minute_ms();
        let rounded = self.began_ms == minute_ms || other.began_ms == minute_ms;
        let fits = |one: &Option<String>, other: &Option<String>| {
            one.is_none() || other.is_none() || one == other
        };
        let same_time = self.began_ms == other.began_ms;
        (same_time || (rounded && minute_ms == other.minute_ms()))
            && fits(&self.band, &other.band)
            && fits(&self.mode, &other.mode)
    }

    /// The beginning of the minute in which it began, ms since 1970 UTC.
    #[must_use]
    pub const fn minute_ms(&self) -> i64 {
        self.began_ms.div_euclid(MINUTE_MS).saturating_mul(MINUTE_MS)
    }
}

/// A contact that falls into an outing.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacedContact {
    /// When it began, seconds since the outing began. Up to a minute below nought where the log is
    /// in whole minutes.
    pub t_s: f64,
    /// As the log has it.
    pub contact: LoggedContact,
}

/// The contacts of an outing.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct OutingContacts {
    /// In order of time.
    pub contacts: Vec<PlacedContact>,
    /// So much of the outing has no known wall time, s: no contact can be laid beside that part,
    /// and an empty list says nothing of it. `None`: the wall time of all of it is known.
    pub undated_s: Option<f64>,
    /// How far off the wall time may be, s, of what has one.
    pub within_s: f64,
}
