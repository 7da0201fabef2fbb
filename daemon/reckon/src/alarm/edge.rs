//! A change of an alarm.

use core::time::Duration;

use super::about::About;
use crate::time::Mono;

/// What happened to an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AlarmChange {
    /// It stands from now on.
    Raised,
    /// It stood already and has become something else (another limit, another reason).
    Changed,
    /// It no longer stands.
    Cleared {
        /// How long it stood.
        lasted: Duration,
    },
}

/// A change of an alarm, told once, for the log and for those who send it on.
#[derive(Clone, Debug, PartialEq)]
pub struct Edge {
    /// When.
    pub at: Mono,
    /// What about.
    pub about: About,
    /// What happened.
    pub change: AlarmChange,
}
