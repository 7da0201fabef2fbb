//! Banks that can be chosen with one tap.

use super::{cells::Cells, description::BankDescription, spec::BankSpec};

/// Four banks of the common kinds: name, cells, mAh.
const COMMON: [(&str, Cells, f64); 4] = [
    ("USB bank, 10000 mAh", Cells::LiIon, 10_000.0),
    ("USB bank, 20000 mAh", Cells::LiIon, 20_000.0),
    ("LiFePO4 pack, 12.8 V 6 Ah", Cells::LiFePo4, 6_000.0),
    ("Lead-acid, 12 V 7 Ah", Cells::LeadAcid, 7_000.0),
];

impl BankSpec {
    /// Four banks of the common kinds, for somebody who has none set up: each as usual for its cells.
    #[must_use]
    pub fn common() -> alloc::vec::Vec<Self> {
        let bank = |(name, cells, label_mah): (&str, Cells, f64)| BankDescription {
            name: Some(name.into()),
            cells: Some(cells.name().into()),
            label_mah: Some(label_mah),
            ..BankDescription::default()
        };
        COMMON.into_iter().filter_map(|of| bank(of).complete().ok()).collect()
    }
}

#[cfg(test)]
mod tests {
    use alloc::vec::Vec;

    use super::*;

    #[test]
    fn the_common_banks_are_what_their_labels_say() {
        // A label of 10 000 mAh at 3.7 V is 37 Wh, and 12.8 V 6 Ah is 76.8 Wh (capacity times
        // voltage, as printed on labels).
        let wh: Vec<f64> = BankSpec::common().iter().map(|b| b.label_energy().wh()).collect();
        assert_eq!(wh.len(), COMMON.len());
        for (got, want) in wh.iter().zip([37.0, 74.0, 76.8, 84.0]) {
            assert!((got - want).abs() < 1e-9, "{got} Wh, want {want} Wh");
        }
    }
}
