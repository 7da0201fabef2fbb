//! What is printed, or set, about the things that draw.

/// What is printed, or set, about the things that draw.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct LoadPrior {
    /// The board doing nothing, W.
    pub idle_w: Option<f64>,
    /// The board at full work, W.
    pub full_w: Option<f64>,
    /// Everything else that hangs on the bank all the time, W.
    pub accessories_w: f64,
    /// The radio receiving, W; `None` without a radio on this bank.
    pub radio_receive_w: Option<f64>,
    /// The radio transmitting, key down, W.
    pub radio_transmit_w: Option<f64>,
}

impl LoadPrior {
    /// Broken and negative figures count as not told.
    pub(super) fn sound(&self) -> Self {
        let ok = |x: Option<f64>| x.filter(|w| w.is_finite() && *w > 0.0 && *w < 1e5);
        Self {
            idle_w: ok(self.idle_w),
            full_w: ok(self.full_w),
            accessories_w: ok(Some(self.accessories_w)).unwrap_or(0.0),
            radio_receive_w: ok(self.radio_receive_w),
            radio_transmit_w: ok(self.radio_transmit_w),
        }
    }
}
