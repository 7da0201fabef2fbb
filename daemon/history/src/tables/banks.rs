//! Banks and run-downs as the store keeps them; the border to [`reckon::bank`].

use reckon::{
    bank::{BankSpec, Cells, MeasuredAt},
    record::{Detail, RecordedBank, RecordedRunDown, RunDown},
    units::{AmpHours, Celsius, Volts},
};
use serde_json::{Map, Value, json};

pub(crate) const fn cells_name(cells: Cells) -> &'static str {
    match cells {
        Cells::LiIon => "li-ion",
        Cells::LiFePo4 => "lifepo4",
        Cells::LeadAcid => "lead-acid",
    }
}

pub(crate) fn cells_from(name: &str) -> Option<Cells> {
    [Cells::LiIon, Cells::LiFePo4, Cells::LeadAcid]
        .into_iter()
        .find(|cells| cells_name(*cells) == name)
}

pub(crate) const fn place_name(place: MeasuredAt) -> &'static str {
    match place {
        MeasuredAt::Output => "output",
        MeasuredAt::Cells => "cells",
        MeasuredAt::Nowhere => "nowhere",
    }
}

pub(crate) fn place_from(name: &str) -> Option<MeasuredAt> {
    [MeasuredAt::Output, MeasuredAt::Cells, MeasuredAt::Nowhere]
        .into_iter()
        .find(|place| place_name(*place) == name)
}

pub(crate) fn detail_text(detail: &Detail) -> String {
    json!({
        "rest_curve": detail.rest_curve,
        "source_ohms": detail.source_ohms,
        "peak_a": detail.peak_a,
        "half_hours_w": detail.half_hours_w,
        "work": detail.work,
        "burst": detail.burst,
    })
    .to_string()
}

/// What can be understood of it; the rest is left empty, as in a record of an older version.
pub(crate) fn detail_from(text: &str) -> Detail {
    let all: Map<String, Value> = serde_json::from_str(text).unwrap_or_default();
    let number = |key: &str| all.get(key).and_then(Value::as_f64);
    let list = |key: &str| -> Vec<f64> {
        let list = all.get(key).and_then(Value::as_array);
        list.into_iter().flatten().filter_map(Value::as_f64).collect()
    };
    let pair = |value: &Value| -> Option<[f64; 2]> {
        let two = value.as_array()?;
        Some([two.first()?.as_f64()?, two.get(1)?.as_f64()?])
    };
    let curve = all.get("rest_curve").and_then(Value::as_array);
    Detail {
        rest_curve: curve.into_iter().flatten().filter_map(pair).collect(),
        source_ohms: number("source_ohms"),
        peak_a: number("peak_a"),
        half_hours_w: list("half_hours_w"),
        work: list("work"),
        burst: all.get("burst").and_then(pair),
    }
}

/// A bank from a row of the table, columns in the order of [`BANK_COLUMNS`]; `None` for words of a
/// newer version.
pub(crate) fn bank_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Option<RecordedBank>> {
    let (cells, place): (String, String) = (row.get(2)?, row.get(6)?);
    let (Some(cells), Some(measured_at)) = (cells_from(&cells), place_from(&place)) else {
        return Ok(None);
    };
    Ok(Some(RecordedBank {
        id: row.get(0)?,
        spec: BankSpec {
            name: row.get(1)?,
            cells,
            series: row.get(3)?,
            label: AmpHours::of(row.get(4)?),
            label_volts: Volts::of(row.get(5)?),
            measured_at,
            ambient: row.get::<_, Option<f64>>(7)?.and_then(Celsius::new),
            cutoff: row.get::<_, Option<f64>>(8)?.and_then(Volts::new),
        },
        forgotten: row.get(9)?,
    }))
}

pub(crate) const BANK_COLUMNS: &str = "id, name, cells, series, label_ah, label_v, measured_at, \
                                       ambient_c, cutoff_v, forgotten";

/// A run-down from a row, columns in the order of [`RUNDOWN_COLUMNS`].
pub(crate) fn rundown_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<RecordedRunDown> {
    let basis: String = row.get(13)?;
    let detail: Option<String> = row.get(15)?;
    Ok(RecordedRunDown {
        id: row.get(0)?,
        bank: row.get(1)?,
        outing: row.get(2)?,
        struck: row.get(5)?,
        data: RunDown {
            name: row.get(3)?,
            whole: row.get(4)?,
            lasted_s: row.get(6)?,
            within_s: row.get(7)?,
            before_s: row.get(8)?,
            delivered_wh: row.get(9)?,
            bridged_wh: row.get(10)?,
            mean_power_w: row.get(11)?,
            ambient_c: row.get(12)?,
            measured: basis == "measured",
            start_share: row.get(14)?,
            detail: detail.map(|text| detail_from(&text)).unwrap_or_default(),
        },
    })
}

pub(crate) const RUNDOWN_COLUMNS: &str = "id, bank, outing, name, whole, struck, lasted_s, \
                                          within_s, before_s, delivered_wh, bridged_wh, \
                                          mean_power_w, ambient_c, basis, start_share, detail";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn detail_survives_and_damage_empties_it() {
        let detail = Detail {
            rest_curve: vec![[0.0, 13.3], [40.5, 12.9]],
            source_ohms: Some(0.08),
            peak_a: None,
            half_hours_w: vec![3.1, 3.3],
            work: vec![],
            burst: Some([0.4, 2.1]),
        };
        assert_eq!(detail_from(&detail_text(&detail)), detail);
        assert_eq!(detail_from("{\"rest_curve\":[[1]],\"peak_a\":\"x\""), Detail::default());
    }
}
