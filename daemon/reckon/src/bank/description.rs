//! A bank as somebody describes it, in the words and figures of settings, commands, forms and JSON,
//! and what becomes of it.

use alloc::{borrow::ToOwned, string::String, vec::Vec};

use super::{
    cells::{Cells, MeasuredAt},
    fault::{BankFault, LABEL_MAH, SERIES},
    spec::BankSpec,
};
use crate::units::{AmpHours, Celsius, Volts};

/// A bank as somebody describes it. The fields are the keys of settings, forms, JSON and bank files;
/// a door that cannot read a number hands on NaN, which is in no range.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BankDescription {
    /// What it is called; nothing: 'Bank'.
    pub name: Option<String>,
    /// One of the names of [`Cells`]; nothing: lithium-ion.
    pub cells: Option<String>,
    /// Cells in series; nothing: usual for the cells.
    pub series: Option<f64>,
    /// Capacity on the label. It is never guessed.
    pub label_mah: Option<f64>,
    /// Volts that this capacity is meant at; nothing: usual for cells and series.
    pub label_v: Option<f64>,
    /// One of the names of [`MeasuredAt`]; nothing: usual for the cells in series.
    pub measured_at: Option<String>,
    /// Usual temperature around it.
    pub ambient_c: Option<f64>,
    /// Volts at which the load is cut off.
    pub cutoff_v: Option<f64>,
}

impl BankDescription {
    /// The keys, in the order of the settings.
    pub const KEYS: [&str; 8] =
        ["name", "cells", "series", "label_mah", "label_v", "measured_at", "ambient_c", "cutoff_v"];

    /// The bank: what is left out is as usual for the cells.
    ///
    /// # Errors
    /// Everything that cannot be right.
    pub fn complete(&self) -> Result<BankSpec, Vec<BankFault>> {
        let mut faults = Vec::new();
        let mut wrong = |fault, is_wrong: bool| faults.extend(is_wrong.then_some(fault));
        let cells = self.cells.as_deref().map(Cells::named);
        let place = self.measured_at.as_deref().map(MeasuredAt::named);
        let series = self.series.map(whole);
        wrong(BankFault::Cells, cells == Some(None));
        wrong(BankFault::MeasuredAt, place == Some(None));
        wrong(BankFault::Series, series == Some(None));
        wrong(BankFault::NoLabel, self.label_mah.is_none());
        wrong(BankFault::Ambient, self.ambient_c.is_some_and(|c| !c.is_finite()));
        let cells = cells.flatten().unwrap_or_default();
        let series = series.flatten().unwrap_or(cells.usual_series());
        let usual_v = cells.usual_cell_v() * f64::from(series);
        let spec = BankSpec {
            name: self.name.as_deref().unwrap_or("Bank").trim().to_owned(),
            cells,
            series,
            label: AmpHours::of(self.label_mah.unwrap_or(*LABEL_MAH.start()) / 1000.0),
            label_volts: Volts::of(self.label_v.unwrap_or(usual_v)),
            measured_at: place.flatten().unwrap_or(MeasuredAt::usual(series)),
            ambient: self.ambient_c.map(Celsius::of),
            cutoff: self.cutoff_v.map(Volts::of),
        };
        faults.extend(spec.single_faults());
        if faults.is_empty() {
            faults.extend(spec.combined_fault());
        }
        if faults.is_empty() { Ok(spec) } else { Err(faults) }
    }
}

fn whole(number: f64) -> Option<u8> {
    SERIES.into_iter().find(|whole| f64::from(*whole) == number)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of_cells(cells: &str, label_mah: f64) -> BankDescription {
        BankDescription {
            cells: Some(cells.into()),
            label_mah: Some(label_mah),
            ..BankDescription::default()
        }
    }

    #[test]
    fn what_is_left_out_is_as_usual() {
        // 3.7 V a cell: IEC 61960-3. Four LiFePO4 cells are sold as 12.8 V, six of lead as 12 V:
        // common practice, no source.
        for (described, want) in [
            (of_cells("li-ion", 10_000.0), (1, 3.7, MeasuredAt::Output)),
            (of_cells("lifepo4", 6_000.0), (4, 12.8, MeasuredAt::Cells)),
            (of_cells("lead-acid", 7_000.0), (6, 12.0, MeasuredAt::Cells)),
            (
                BankDescription { series: Some(3.0), ..of_cells("li-ion", 3_400.0) },
                (3, 11.1, MeasuredAt::Cells),
            ),
            (
                BankDescription { series: Some(1.0), ..of_cells("lifepo4", 6_000.0) },
                (1, 3.2, MeasuredAt::Output),
            ),
        ] {
            let bank = described.complete().unwrap();
            assert_eq!((bank.series, bank.measured_at), (want.0, want.2), "{described:?}");
            assert!((bank.label_volts.si() - want.1).abs() < 1e-9, "{described:?}");
            assert_eq!((bank.name.as_str(), bank.ambient, bank.cutoff), ("Bank", None, None));
        }
        let least = BankDescription { label_mah: Some(10_000.0), ..BankDescription::default() };
        assert_eq!(least.complete(), of_cells("li-ion", 10_000.0).complete());
    }

    #[test]
    fn a_number_that_is_none_is_a_fault_of_its_key() {
        for x in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let bad = BankDescription {
                series: Some(x),
                label_mah: Some(x),
                label_v: Some(x),
                ambient_c: Some(x),
                ..BankDescription::default()
            };
            let mut keys: Vec<&str> =
                bad.complete().unwrap_err().iter().map(BankFault::key).collect();
            keys.sort_unstable();
            assert_eq!(keys, ["ambient_c", "label_mah", "label_v", "series"], "{x}");
            let cut = BankDescription { cutoff_v: Some(x), ..of_cells("lifepo4", 6_000.0) };
            assert_eq!(cut.complete().unwrap_err()[0].key(), "cutoff_v", "{x}");
        }
        let half = BankDescription { series: Some(1.5), ..of_cells("li-ion", 10_000.0) };
        assert_eq!(half.complete(), Err([BankFault::Series].into()));
    }

    #[test]
    fn all_that_is_wrong_is_said_at_once() {
        let bad = BankDescription {
            name: Some(" ".into()),
            measured_at: Some("Output".into()),
            ..of_cells("nicd", 6.0)
        };
        let keys: Vec<&str> = bad.complete().unwrap_err().iter().map(BankFault::key).collect();
        assert_eq!(keys, ["cells", "measured_at", "name", "label_mah"]);
        let none = BankDescription::default().complete();
        assert_eq!(none, Err([BankFault::NoLabel].into()));
    }
}
