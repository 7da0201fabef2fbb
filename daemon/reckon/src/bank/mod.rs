//! What a bank is, as its owner tells it, and what may be expected of it before the first
//! run-down.

use alloc::string::String;

mod presets;
mod start;

pub use start::Start;

use crate::units::{AmpHours, Celsius, Joules, Volts};

/// What the cells are made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cells {
    /// Lithium-ion with a cobalt, nickel or manganese cathode.
    LiIon,
    /// Lithium iron phosphate.
    LiFePo4,
    /// Sealed lead-acid.
    LeadAcid,
}

/// Where the sensor sits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MeasuredAt {
    /// Behind the bank's converter, on the regulated side: the voltage says nothing of the charge.
    Output,
    /// At the cells or the pack's terminals: the voltage tells.
    Cells,
    /// No sensor.
    Nowhere,
}

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
