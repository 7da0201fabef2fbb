//! Contacts of a log, as far as they are kept.

use alloc::{string::String, vec::Vec};

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
