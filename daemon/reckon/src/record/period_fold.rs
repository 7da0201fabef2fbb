//! The draw averaged over the period of a timed mode, for one stretch.

use alloc::{string::String, vec::Vec};

/// What a stretch of record folded into.
#[derive(Clone, Debug, PartialEq)]
pub struct PeriodFold {
    /// Of which stretch: from, seconds since boot (as the reader gives it: since the outing began).
    pub from_s: f64,
    /// To.
    pub to_s: f64,
    /// Seconds of record that it rests on.
    pub seconds: f64,
    /// After this the draw repeats, s.
    pub period_s: f64,
    /// In this one station sends, s.
    pub slot_s: f64,
    /// The mode, if it gave itself away.
    pub mode: Option<String>,
    /// The chance that a draw without any period looks like this.
    pub chance: f64,
    /// Slots with the key down.
    pub sent: u32,
    /// Slots in all.
    pub slots: u32,
    /// Everything taken, J.
    pub energy_j: f64,
    /// Of that by receiving, J.
    pub receive_j: f64,
    /// The key down, on top.
    pub transmit: Option<PeriodFoldPart>,
    /// Decoding, on top.
    pub decode: Option<PeriodFoldPart>,
    /// The mean draw over one period: phase (s) and watts. 120 points at most are kept, to a
    /// hundredth of a second and a milliwatt.
    pub curve: Vec<(f64, f64)>,
}

/// A part of a fold, on top of receiving.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PeriodFoldPart {
    /// What it took, J.
    pub energy_j: f64,
    /// Its draw while it lasts, W.
    pub watts: f64,
    /// Where in the slot it begins, s.
    pub begins_s: f64,
    /// How long it lasts each time, s.
    pub lasts_s: f64,
    /// Partly bridged (see `crate::fold`).
    pub bridged: bool,
}
