//! A forecast as it was made, kept to be judged later.

use crate::{forecast::Basis, time::Mono};

/// A forecast, kept to be judged later.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForecastMade {
    /// When it was made, boot time.
    pub at: Mono,
    /// Remaining time at 10 %, 50 %, 90 %, s.
    pub remaining_s: [f64; 3],
    /// What it stood on.
    pub basis: Basis,
    /// Energy delivered in the outing till then, Wh.
    pub delivered_wh: f64,
    /// Of that, bridged over gaps, Wh.
    pub bridged_wh: f64,
    /// Usable energy as believed, Wh: 10 %, 50 %, 90 %.
    pub usable_wh: Option<[f64; 3]>,
}
