//! Names outside, what is usual, and where each figure turns from right to wrong.

use alloc::{string::String, vec::Vec};

use super::*;
use crate::units::{AmpHours, Celsius, Share, Volts};

#[test]
fn names_are_what_settings_forms_and_old_records_have() {
    let cells =
        [(Cells::LiIon, "li-ion"), (Cells::LiFePo4, "lifepo4"), (Cells::LeadAcid, "lead-acid")];
    for (cells, name) in cells {
        assert_eq!((cells.name(), Cells::named(name)), (name, Some(cells)));
    }
    let places = [
        (MeasuredAt::Output, "output"),
        (MeasuredAt::Cells, "cells"),
        (MeasuredAt::Nowhere, "nowhere"),
    ];
    for (place, name) in places {
        assert_eq!((place.name(), MeasuredAt::named(name)), (name, Some(place)));
    }
    for (start, name) in [
        (Start::Full, "full"),
        (Start::Part(Share::nearest(0.3)), "part"),
        (Start::Between(Share::nearest(0.25), Share::nearest(0.5)), "part"),
        (Start::Unknown, "unknown"),
    ] {
        assert_eq!(start.name(), name);
    }
}

/// 'Blue ten', or 'Long six' of four cells in series.
fn bank(cells: Cells, series: u8, label_v: f64, measured_at: MeasuredAt) -> BankSpec {
    BankSpec {
        name: "Long six".into(),
        cells,
        series,
        label: AmpHours::of(6.0),
        label_volts: Volts::of(label_v),
        measured_at,
        ambient: None,
        cutoff: None,
    }
}

fn pack() -> BankSpec {
    bank(Cells::LiFePo4, 4, 12.8, MeasuredAt::Cells)
}

#[test]
fn each_figure_may_be_at_its_limit_and_not_beyond() {
    let ok = |bank: BankSpec| assert_eq!(bank.faults(), [], "{bank:?}");
    let wrong = |bank: BankSpec, key: &str| {
        let keys: Vec<&str> = bank.faults().iter().map(BankFault::key).collect();
        assert_eq!(keys, [key], "{bank:?}");
    };
    let ah = |ah| BankSpec { label: AmpHours::of(ah), ..pack() };
    ok(ah(0.1));
    ok(ah(2000.0));
    wrong(ah(0.0999), "label_mah");
    wrong(ah(2000.1), "label_mah");
    let ambient = |c| BankSpec { ambient: Some(Celsius::of(c)), ..pack() };
    ok(ambient(-40.0));
    ok(ambient(60.0));
    // What labels print for a cell, with room for rounding, times the cells in series.
    for (cells, low, high) in
        [(Cells::LiIon, 3.3, 4.4), (Cells::LiFePo4, 2.95, 3.7), (Cells::LeadAcid, 1.9, 2.4)]
    {
        for series in [1, 4, 12] {
            let of = |v: f64| bank(cells, series, v * f64::from(series), MeasuredAt::Cells);
            ok(of(low));
            ok(of(high));
            wrong(of(low - 0.01), "label_v");
            wrong(of(high + 0.01), "label_v");
        }
    }
    ok(bank(Cells::LiIon, 1, 3.7, MeasuredAt::Output));
    ok(bank(Cells::LeadAcid, 16, 32.0, MeasuredAt::Cells));
    // A pack is cut off between half of its lowest label voltage (4 × 2.95 V / 2) and the label's; a
    // converter's output anywhere from 1 to 60 V.
    let cut = |v, measured_at| BankSpec { cutoff: Some(Volts::of(v)), measured_at, ..pack() };
    for (measured_at, low, high) in [
        (MeasuredAt::Cells, 5.9, 12.8),
        (MeasuredAt::Output, 1.0, 60.0),
        (MeasuredAt::Nowhere, 1.0, 60.0),
    ] {
        ok(cut(low, measured_at));
        ok(cut(high, measured_at));
        wrong(cut(low - 0.01, measured_at), "cutoff_v");
        wrong(cut(high + 0.01, measured_at), "cutoff_v");
    }
    let misfit = bank(Cells::LeadAcid, 6, 24.0, MeasuredAt::Cells).faults();
    let [BankFault::Misfit { cells, series, makes_v, label_v }] = misfit[..] else {
        panic!("{misfit:?}");
    };
    assert_eq!((cells, series, label_v), (Cells::LeadAcid, 6, 24.0));
    assert!((makes_v.0 - 11.4).abs() < 1e-9 && (makes_v.1 - 14.4).abs() < 1e-9, "{makes_v:?}");
}

#[test]
fn what_cannot_be_read_is_told_from_what_cannot_be_right() {
    let described = |label_mah| BankDescription { label_mah, ..BankDescription::default() };
    assert!(BankFault::Cells.is_unreadable() && BankFault::MeasuredAt.is_unreadable());
    assert!(described(None).complete().unwrap_err()[0].is_unreadable());
    assert!(!described(Some(1.0)).complete().unwrap_err()[0].is_unreadable());
    assert!(!BankFault::Ambient.is_unreadable());
    let keys: Vec<&str> = [BankFault::Cells, BankFault::MeasuredAt, BankFault::NoLabel]
        .iter()
        .map(BankFault::key)
        .collect();
    assert_eq!(keys, ["cells", "measured_at", "label_mah"]);
    assert_eq!((BankFault::LabelV.key(), BankFault::Ambient.key()), ("label_v", "ambient_c"));
    for key in BankDescription::KEYS {
        let all = BankDescription {
            name: Some(String::new()),
            cells: Some("?".into()),
            series: Some(0.5),
            label_mah: Some(0.0),
            label_v: Some(0.0),
            measured_at: Some("?".into()),
            ambient_c: Some(99.0),
            cutoff_v: None,
        };
        let told: Vec<&str> = all.complete().unwrap_err().iter().map(BankFault::key).collect();
        assert_eq!(told.contains(&key), key != "cutoff_v", "{key}: {told:?}");
    }
}

#[test]
fn a_level_stands_for_what_a_lamp_tells_or_for_itself() {
    // Four lamps, a quarter each (common practice, no source).
    let between = |low, high| Start::Between(Share::nearest(low), Share::nearest(high));
    let part = |level| Start::Part(Share::nearest(level));
    for (level, want, middle) in [
        (1.0, Start::Full, 1.0),
        (0.999, part(0.999), 0.999),
        (0.875, between(0.75, 1.0), 0.875),
        (0.625, between(0.5, 0.75), 0.625),
        (0.375, between(0.25, 0.5), 0.375),
        (0.125, between(0.0, 0.25), 0.125),
        (0.5, part(0.5), 0.5),
        (0.25, part(0.25), 0.25),
        (0.63, part(0.63), 0.63),
    ] {
        let start = Start::of_level(Share::nearest(level));
        assert_eq!(start, want, "{level}");
        let got = start.middle().unwrap().part();
        assert!((got - middle).abs() < 1e-12, "{level}: {got}");
    }
    assert_eq!(Start::Unknown.middle(), None);
    assert_eq!(LAMPS.map(|lamp| Start::of_level(Share::nearest(lamp)) != part(lamp)), [true; 4]);
    for (name, level, want) in [
        ("full", Some(0.3), Some(Start::Full)),
        ("unknown", None, Some(Start::Unknown)),
        ("part", Some(0.5), Some(part(0.5))),
        ("part", Some(1.5), None),
        ("empty", Some(0.5), None),
    ] {
        assert_eq!(Start::named(name, level), want, "{name}");
    }
    assert_eq!(Start::worded("0.02"), Some(part(0.02)));
    assert_eq!(Start::worded("0.019"), None);
}

#[test]
fn where_a_sensor_sits_and_what_a_label_means_where_nobody_says() {
    for (series, place) in [(1, MeasuredAt::Output), (2, MeasuredAt::Cells), (4, MeasuredAt::Cells)]
    {
        assert_eq!(MeasuredAt::usual(series), place);
    }
    let usual = Cells::ALL.map(|cells| (cells.usual_series(), cells.usual_cell_v()));
    assert_eq!(usual, [(1, 3.7), (4, 3.2), (6, 2.0)]);
    // Capacity times voltage: 6 Ah at 12.8 V are 76.8 Wh.
    assert!((pack().label_energy().wh() - 76.8).abs() < 1e-9);
    let common: Vec<(String, u8)> =
        BankSpec::common().into_iter().map(|bank| (bank.name, bank.series)).collect();
    let want = [
        ("USB bank, 10000 mAh", 1),
        ("USB bank, 20000 mAh", 1),
        ("LiFePO4 pack, 12.8 V 6 Ah", 4),
        ("Lead-acid, 12 V 7 Ah", 6),
    ];
    assert!(common.iter().map(|(name, series)| (name.as_str(), *series)).eq(want), "{common:?}");
}
