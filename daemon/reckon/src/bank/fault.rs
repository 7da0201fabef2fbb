//! What a bank's figures may be, and which of them cannot be right.

use alloc::vec::Vec;
use core::ops::RangeInclusive;

use super::{
    cells::{Cells, MeasuredAt},
    spec::BankSpec,
};
use crate::{
    name::{self, NameFault},
    units::{Celsius, Volts},
};

/// Capacity on the label, mAh.
pub const LABEL_MAH: RangeInclusive<f64> = 100.0..=2_000_000.0;
/// Voltage of the label and of the cut-off, V.
pub const PACK_V: RangeInclusive<f64> = 1.0..=60.0;
/// Cells in series.
pub const SERIES: RangeInclusive<u8> = 1..=16;
/// Temperature around the bank, °C.
pub const AMBIENT_C: RangeInclusive<f64> = -40.0..=60.0;

/// What is wrong with a bank; [`crate::words::bank_fault`] puts it into words.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BankFault {
    /// Its name.
    Name(NameFault),
    /// There are no such cells.
    Cells,
    /// There is no such place for a sensor.
    MeasuredAt,
    /// Nobody says what the label prints.
    NoLabel,
    /// Not within [`LABEL_MAH`].
    LabelMah,
    /// Not within [`PACK_V`].
    LabelV,
    /// Not a whole number within [`SERIES`].
    Series,
    /// Not within [`AMBIENT_C`].
    Ambient,
    /// So many cells in series do not make what the label prints.
    Misfit {
        /// What they are made of.
        cells: Cells,
        /// How many.
        series: u8,
        /// What they make, V.
        makes_v: (f64, f64),
        /// What the label prints, V.
        label_v: f64,
    },
    /// The cut-off cannot be this bank's.
    Cutoff {
        /// Where it may be, V.
        within_v: (f64, f64),
    },
}

impl BankFault {
    /// The key that is at fault, as settings, forms and JSON have it.
    #[must_use]
    pub const fn key(&self) -> &'static str {
        match self {
            Self::Name(_) => "name",
            Self::Cells => "cells",
            Self::MeasuredAt => "measured_at",
            Self::NoLabel | Self::LabelMah => "label_mah",
            Self::LabelV | Self::Misfit { .. } => "label_v",
            Self::Series => "series",
            Self::Ambient => "ambient_c",
            Self::Cutoff { .. } => "cutoff_v",
        }
    }

    /// Whether the text itself cannot be understood, rather than that the figure cannot be right.
    #[must_use]
    pub const fn is_unreadable(&self) -> bool {
        matches!(self, Self::Name(_) | Self::Cells | Self::MeasuredAt | Self::NoLabel)
    }
}

impl BankSpec {
    /// Everything about this bank that cannot be right; nothing for a bank that can be. Whether the
    /// figures go together is asked only where each by itself can be right.
    #[must_use]
    pub fn faults(&self) -> Vec<BankFault> {
        let single = self.single_faults();
        if single.is_empty() { self.combined_fault().into_iter().collect() } else { single }
    }

    pub(super) fn single_faults(&self) -> Vec<BankFault> {
        let ambient_c = self.ambient.map(Celsius::si);
        let out = [
            (BankFault::LabelMah, !LABEL_MAH.contains(&(self.label.si() * 1000.0))),
            (BankFault::LabelV, !PACK_V.contains(&self.label_volts.si())),
            (BankFault::Series, !SERIES.contains(&self.series)),
            (BankFault::Ambient, ambient_c.is_some_and(|c| !AMBIENT_C.contains(&c))),
        ];
        let out = out.into_iter().filter_map(|(fault, is_out)| is_out.then_some(fault));
        name::checked(&self.name).err().map(BankFault::Name).into_iter().chain(out).collect()
    }

    pub(super) fn combined_fault(&self) -> Option<BankFault> {
        self.misfit().or_else(|| self.cutoff_fault())
    }

    fn misfit(&self) -> Option<BankFault> {
        let makes_v = self.times_series(self.cells.label_cell_v());
        let label_v = self.label_volts.si();
        (!within(label_v, makes_v)).then_some(BankFault::Misfit {
            cells: self.cells,
            series: self.series,
            makes_v,
            label_v,
        })
    }

    /// A load is cut off above a dead cell and below what the label prints; behind a converter the
    /// cut-off is that of its output.
    fn cutoff_fault(&self) -> Option<BankFault> {
        let cutoff_v = self.cutoff.map(Volts::si)?;
        let within_v = if self.measured_at == MeasuredAt::Cells {
            let (low, _) = self.times_series(self.cells.label_cell_v());
            (0.5 * low, self.label_volts.si())
        } else {
            (*PACK_V.start(), *PACK_V.end())
        };
        (!within(cutoff_v, within_v)).then_some(BankFault::Cutoff { within_v })
    }

    fn times_series(&self, (low, high): (f64, f64)) -> (f64, f64) {
        let series = f64::from(self.series);
        (low * series, high * series)
    }
}

fn within(x: f64, (low, high): (f64, f64)) -> bool {
    (low..=high).contains(&x)
}

#[cfg(test)]
mod tests {
    use alloc::string::String;

    use super::*;
    use crate::units::AmpHours;

    #[test]
    fn every_figure_is_checked() {
        let good = BankSpec::common()[0].clone();
        let pack = BankSpec::common()[2].clone();
        let bad = [
            (BankSpec { label: AmpHours::of(0.099), ..good.clone() }, "label_mah"),
            (BankSpec { label: AmpHours::of(2001.0), ..good.clone() }, "label_mah"),
            (BankSpec { label: AmpHours::of(-5.0), ..good.clone() }, "label_mah"),
            (BankSpec { label_volts: Volts::of(0.0), ..good.clone() }, "label_v"),
            (BankSpec { label_volts: Volts::of(61.0), ..good.clone() }, "label_v"),
            (BankSpec { label_volts: Volts::of(5.0), ..good.clone() }, "label_v"),
            (BankSpec { series: 0, ..good.clone() }, "series"),
            (BankSpec { series: 17, ..good.clone() }, "series"),
            (BankSpec { series: 3, ..pack.clone() }, "label_v"),
            (BankSpec { cutoff: Some(Volts::of(13.5)), ..pack.clone() }, "cutoff_v"),
            (BankSpec { cutoff: Some(Volts::of(1.0)), ..pack.clone() }, "cutoff_v"),
            (BankSpec { cutoff: Some(Volts::of(0.9)), ..good.clone() }, "cutoff_v"),
            (BankSpec { ambient: Some(Celsius::of(-41.0)), ..good.clone() }, "ambient_c"),
            (BankSpec { ambient: Some(Celsius::of(61.0)), ..good.clone() }, "ambient_c"),
            (BankSpec { name: "x".repeat(65), ..good.clone() }, "name"),
            (BankSpec { name: String::new(), ..good.clone() }, "name"),
            (BankSpec { name: "Blue\u{202e}ten".into(), ..good.clone() }, "name"),
        ];
        for (bank, key) in bad {
            let keys: Vec<&str> = bank.faults().iter().map(BankFault::key).collect();
            assert_eq!(keys, [key], "{bank:?}");
        }
        for (cutoff, bank) in [(10.0, pack.clone()), (8.0, pack), (4.5, good)] {
            let bank = BankSpec { cutoff: Some(Volts::of(cutoff)), ..bank };
            assert_eq!(bank.faults(), [], "cut-off {cutoff} V");
        }
    }

    #[test]
    fn the_limits_themselves_are_allowed() {
        let usb = BankSpec::common()[0].clone();
        let pack = BankSpec::common()[2].clone();
        let of =
            |cells, label_v| BankSpec { cells, label_volts: Volts::of(label_v), ..usb.clone() };
        let mut all: Vec<BankSpec> = [
            (Cells::LiIon, [3.3, 4.4]),
            (Cells::LiFePo4, [2.95, 3.7]),
            (Cells::LeadAcid, [1.9, 2.4]),
        ]
        .into_iter()
        .flat_map(|(cells, volts)| volts.map(|label_v| of(cells, label_v)))
        .collect();
        all.extend([0.1, 2000.0].map(|ah| BankSpec { label: AmpHours::of(ah), ..usb.clone() }));
        all.extend(
            [-40.0, 60.0].map(|c| BankSpec { ambient: Some(Celsius::of(c)), ..usb.clone() }),
        );
        all.extend([1.0, 60.0].map(|v| BankSpec { cutoff: Some(Volts::of(v)), ..usb.clone() }));
        all.extend([5.9, 12.8].map(|v| BankSpec { cutoff: Some(Volts::of(v)), ..pack.clone() }));
        all.push(BankSpec { series: 16, label_volts: Volts::of(60.0), ..usb.clone() });
        all.push(BankSpec { name: "x".repeat(64), ..usb });
        for bank in all {
            assert_eq!(bank.faults(), [], "{bank:?}");
        }
    }

    #[test]
    fn a_little_beyond_a_cells_volts_does_not_fit() {
        let usb = BankSpec::common()[0].clone();
        for (cells, volts) in [
            (Cells::LiIon, [3.29, 4.41]),
            (Cells::LiFePo4, [2.94, 3.71]),
            (Cells::LeadAcid, [1.89, 2.41]),
        ] {
            for label_v in volts {
                let bank = BankSpec { cells, label_volts: Volts::of(label_v), ..usb.clone() };
                assert!(matches!(bank.faults()[..], [BankFault::Misfit { series: 1, .. }]));
            }
        }
    }
}
