//! Second by second around what happened.

use alloc::{string::String, vec::Vec};

/// The seconds around what happened.
#[derive(Clone, Debug, PartialEq)]
pub struct CloseUp {
    /// When its first second began, seconds since boot (as the reader gives it: since the outing
    /// began; it may begin a little before).
    pub from_s: f64,
    /// What happened, in words.
    pub why: String,
    /// One for each second; `None`: not read. Kept to the thousandth.
    pub seconds: Vec<Second>,
}

/// What was read in one second.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Second {
    /// Supply voltage, V.
    pub volts: Option<f64>,
    /// Power out of the bank, W.
    pub watts: Option<f64>,
}
