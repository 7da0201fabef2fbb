//! Banks that can be chosen with one tap, and the check of what an owner says of a bank.

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

use crate::{
    bank::{BankSpec, Cells, MeasuredAt},
    units::{AmpHours, Volts},
};

impl BankSpec {
    /// Four banks of the common kinds, for somebody who has none set up.
    #[must_use]
    pub fn common() -> Vec<Self> {
        let usb = |name: &str, ah: f64| Self {
            name: name.to_string(),
            cells: Cells::LiIon,
            series: 1,
            label: AmpHours::of(ah),
            label_volts: Volts::of(3.7),
            measured_at: MeasuredAt::Output,
            ambient: None,
            cutoff: None,
        };
        let pack = |name: &str, cells: Cells, series: u8, ah: f64, volts: f64| Self {
            name: name.to_string(),
            cells,
            series,
            label: AmpHours::of(ah),
            label_volts: Volts::of(volts),
            measured_at: MeasuredAt::Cells,
            ambient: None,
            cutoff: None,
        };
        [
            usb("USB bank, 10000 mAh", 10.0),
            usb("USB bank, 20000 mAh", 20.0),
            pack("LiFePO4 pack, 12.8 V 6 Ah", Cells::LiFePo4, 4, 6.0, 12.8),
            pack("Lead-acid, 12 V 7 Ah", Cells::LeadAcid, 6, 7.0, 12.0),
        ]
        .into()
    }

    /// A sentence for the first figure that cannot be right; `None` for a bank that can be.
    ///
    /// Ranges: 100 to 2 000 000 mAh, 1 to 60 V on the label, 1 to 16 cells in series, a label
    /// voltage that suits cells and series, a cut-off below it and above a dead cell.
    #[must_use]
    pub fn implausible(&self) -> Option<String> {
        let mah = self.label.si() * 1000.0;
        let volts = self.label_volts.si();
        if !(100.0..=2_000_000.0).contains(&mah) {
            return Some(String::from(
                "The capacity must be 100 to 2 000 000 mAh. It is printed on the bank's label.",
            ));
        }
        if !(1.0..=60.0).contains(&volts) {
            return Some(String::from(
                "The voltage that the label's capacity is meant at must be 1 to 60 V.",
            ));
        }
        if !(1..=16).contains(&self.series) {
            return Some(String::from("Cells in series must be 1 to 16; a USB bank has 1."));
        }
        if self.name.chars().count() > 64 {
            return Some(String::from("The bank's name must be 64 characters or fewer."));
        }
        self.voltage_misfit().or_else(|| self.cutoff_misfit())
    }

    fn voltage_misfit(&self) -> Option<String> {
        let (low, high) = nominal_per_cell(self.cells);
        let series = f64::from(self.series);
        let volts = self.label_volts.si();
        if (low * series..=high * series).contains(&volts) {
            return None;
        }
        Some(format!(
            "{} cells in series of {} make {:.1} to {:.1} V, not {volts:.1} V. A USB bank's label \
             means its cells: one in series, 3.6 or 3.7 V.",
            self.series,
            chemistry(self.cells),
            low * series,
            high * series,
        ))
    }

    fn cutoff_misfit(&self) -> Option<String> {
        let cutoff = self.cutoff?.si();
        // Behind a converter the cut-off is that of its output.
        let (low, high) = if self.measured_at == MeasuredAt::Cells {
            let series = f64::from(self.series);
            (nominal_per_cell(self.cells).0 * 0.5 * series, self.label_volts.si())
        } else {
            (1.0, 60.0)
        };
        if (low..=high).contains(&cutoff) {
            return None;
        }
        Some(format!(
            "The cut-off must be {low:.1} to {high:.1} V for this bank; leave it out if it is not \
             known."
        ))
    }
}

/// Voltages that labels print for one cell: 3.6 to 3.85 V for Li-ion, 3.2 V for LiFePO4, 2.0 V for
/// lead-acid (makers' sheets), with room for rounding.
const fn nominal_per_cell(cells: Cells) -> (f64, f64) {
    match cells {
        Cells::LiIon => (3.3, 4.4),
        Cells::LiFePo4 => (2.95, 3.7),
        Cells::LeadAcid => (1.9, 2.4),
    }
}

const fn chemistry(cells: Cells) -> &'static str {
    match cells {
        Cells::LiIon => "lithium-ion",
        Cells::LiFePo4 => "LiFePO4",
        Cells::LeadAcid => "lead-acid",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_common_banks_are_plausible() {
        for bank in BankSpec::common() {
            assert_eq!(bank.implausible(), None, "{}", bank.name);
        }
        // A label of 10 000 mAh at 3.7 V is 37 Wh, and 12.8 V 6 Ah is 76.8 Wh (capacity times
        // voltage, as printed on labels).
        let wh: Vec<f64> = BankSpec::common().iter().map(|b| b.label_energy().wh()).collect();
        for (got, want) in wh.iter().zip([37.0, 74.0, 76.8, 84.0]) {
            assert!((got - want).abs() < 1e-9, "{got} Wh, want {want} Wh");
        }
    }

    #[test]
    fn every_figure_is_checked() {
        let good = BankSpec::common()[0].clone();
        let pack = BankSpec::common()[2].clone();
        let bad = [
            (BankSpec { label: AmpHours::of(0.099), ..good.clone() }, "capacity"),
            (BankSpec { label: AmpHours::of(2001.0), ..good.clone() }, "capacity"),
            (BankSpec { label: AmpHours::of(-5.0), ..good.clone() }, "capacity"),
            (BankSpec { label_volts: Volts::of(0.0), ..good.clone() }, "voltage"),
            (BankSpec { label_volts: Volts::of(61.0), ..good.clone() }, "voltage"),
            (BankSpec { label_volts: Volts::of(5.0), ..good.clone() }, "not 5.0 V"),
            (BankSpec { series: 0, ..good.clone() }, "series"),
            (BankSpec { series: 17, ..good.clone() }, "series"),
            (BankSpec { series: 3, ..pack.clone() }, "not 12.8 V"),
            (BankSpec { cutoff: Some(Volts::of(13.5)), ..pack.clone() }, "cut-off"),
            (BankSpec { cutoff: Some(Volts::of(1.0)), ..pack.clone() }, "cut-off"),
            (BankSpec { name: "x".repeat(65), ..good.clone() }, "name"),
        ];
        for (bank, word) in bad {
            let why = bank.implausible().unwrap_or_default();
            assert!(why.contains(word), "{bank:?} gave '{why}', want a word on {word}");
        }
        for (cutoff, bank) in [(10.0, pack.clone()), (8.0, pack), (4.5, good)] {
            let bank = BankSpec { cutoff: Some(Volts::of(cutoff)), ..bank };
            assert_eq!(bank.implausible(), None, "cut-off {cutoff} V");
        }
    }
}
