//! A bank, as its owner tells it.

use alloc::string::String;

use super::cells::{Cells, MeasuredAt};
use crate::units::{AmpHours, Celsius, Joules, Volts};

/// A bank, as told.
#[derive(Clone, Debug, PartialEq)]
pub struct BankSpec {
    /// The owner's name for it.
    pub name: String,
    /// Chemistry.
    pub cells: Cells,
    /// Cells in series (1 for a USB bank).
    pub series: u8,
    /// Capacity on the label.
    pub label: AmpHours,
    /// Voltage that the label's capacity is meant at (per pack).
    pub label_volts: Volts,
    /// Where the sensor sits.
    pub measured_at: MeasuredAt,
    /// Expected temperature around it.
    pub ambient: Option<Celsius>,
    /// Voltage at which the load is cut off, if known.
    pub cutoff: Option<Volts>,
}

impl BankSpec {
    /// Energy that the label promises, at the cells: capacity × voltage.
    #[must_use]
    pub fn label_energy(&self) -> Joules {
        Joules::from_wh(self.label.si() * self.label_volts.si())
    }
}
