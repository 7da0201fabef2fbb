//! The plan that an outing was started with, as it stood then.

use alloc::{string::String, vec::Vec};

/// A stretch as it was planned.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct PlannedStretch {
    /// Its activity; empty where only shares were told.
    pub name: String,
    /// How long, s.
    pub lasts_s: f64,
    /// Mean draw from the bank, W.
    pub draw_w: f64,
    /// How well that was known: deviation of its logarithm.
    pub draw_log_sd: f64,
}

/// The plan that an outing was started with.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct OutingPlan {
    /// When the outing was started with it, s: since boot when it is handed over to be kept (less than 0: in an
    /// earlier one), since the outing began when it is read.
    pub began_s: f64,
    /// The bank that was planned with (the first, where there were several).
    pub bank: String,
    /// Until when it was to last, s since the start.
    pub finish_s: f64,
    /// Beyond that in reserve, s.
    pub reserve_s: f64,
    /// When it would end, s: 10 %, 50 %, 90 %.
    pub lasts_s: [f64; 3],
    /// Usable at the start, Wh: 10 %, 50 %, 90 %.
    pub energy_wh: [f64; 3],
    /// Temperature that was planned with, °C.
    pub ambient_c: Option<f64>,
    /// Stretches in order.
    pub stretches: Vec<PlannedStretch>,
}
