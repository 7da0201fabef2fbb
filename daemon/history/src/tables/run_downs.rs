//! Run-downs: what later forecasts learn from. Lists and figures that only the estimator knows the
//! use of stand in one column, as JSON, so that new ones need no new column.

use reckon::record::{Detail, DrawLevels, RecordedRunDown, RunDown};
use rusqlite::{Connection, params};
use serde_json::{Map, Value, json};

use super::{banks::id_of, spans::wall};

type Done<T> = rusqlite::Result<T>;

pub(crate) fn put(
    connection: &Connection,
    bank: &str,
    outing: Option<i64>,
    data: &RunDown,
) -> Done<()> {
    let Some(bank) = id_of(connection, bank)? else { return Ok(()) };
    let (origin, basis) = (
        if outing.is_some() { "seen" } else { "imported" },
        if data.measured { "measured" } else { "modelled" },
    );
    connection
        .execute(
            "INSERT INTO rundown (bank, outing, origin, name, whole, lasted_s, within_s,
                 before_s, delivered_wh, bridged_wh, mean_power_w, ambient_c, basis,
                 start_share, detail)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)",
            params![
                bank,
                outing,
                origin,
                data.name,
                data.whole,
                data.lasted_s,
                data.within_s,
                data.before_s,
                data.delivered_wh,
                data.bridged_wh,
                data.mean_power_w,
                data.ambient_c,
                basis,
                data.start_share,
                detail_text(&data.detail)
            ],
        )
        .map(|_| ())
}

fn detail_text(detail: &Detail) -> String {
    json!({
        "rest_curve": detail.rest_curve,
        "source_ohms": detail.source_ohms,
        "peak_a": detail.peak_a,
        "half_hours_w": detail.half_hours_w,
        "work": detail.work,
        "burst": detail.burst,
        "draw_levels": detail.draw_levels.map(|seen| json!({
            "rest_w": seen.rest_w,
            "step": seen.step,
            "present": seen.present,
            "work_w": seen.work_w,
            "sending_w": seen.sending_w,
        })),
        "over_range_wh": detail.over_range_wh,
    })
    .to_string()
}

/// What can be understood of it; the rest is left empty, as in a record of an older version.
fn detail_from(text: &str) -> Detail {
    let all: Map<String, Value> = serde_json::from_str(text).unwrap_or_default();
    let number = |key: &str| all.get(key).and_then(Value::as_f64);
    let list = |key: &str| -> Vec<f64> {
        let list = all.get(key).and_then(Value::as_array);
        list.into_iter().flatten().filter_map(Value::as_f64).collect()
    };
    let curve = all.get("rest_curve").and_then(Value::as_array);
    Detail {
        rest_curve: curve.into_iter().flatten().filter_map(pair).collect(),
        source_ohms: number("source_ohms"),
        peak_a: number("peak_a"),
        half_hours_w: list("half_hours_w"),
        work: list("work"),
        burst: all.get("burst").and_then(pair),
        draw_levels: all.get("draw_levels").and_then(levels_from),
        over_range_wh: number("over_range_wh"),
    }
}

fn pair(value: &Value) -> Option<[f64; 2]> {
    let two = value.as_array()?;
    Some([two.first()?.as_f64()?, two.get(1)?.as_f64()?])
}

fn levels_from(value: &Value) -> Option<DrawLevels> {
    let number = |key: &str| value.get(key).and_then(Value::as_f64);
    Some(DrawLevels {
        rest_w: number("rest_w")?,
        step: value.get("step").and_then(pair),
        present: number("present")?,
        work_w: value.get("work_w").and_then(pair),
        sending_w: number("sending_w"),
    })
}

/// A run-down from a row, columns in the order of [`RUNDOWN_COLUMNS`].
fn rundown_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<RecordedRunDown> {
    let basis: String = row.get(13)?;
    let detail: Option<String> = row.get(15)?;
    Ok(RecordedRunDown {
        id: row.get(0)?,
        bank: row.get(1)?,
        outing: row.get(2)?,
        began: wall(row.get(16)?, row.get(17)?),
        outing_wh: row.get(18)?,
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

const RUNDOWN_COLUMNS: &str = "r.id, r.bank, r.outing, r.name, r.whole, r.struck, r.lasted_s, \
     r.within_s, r.before_s, r.delivered_wh, r.bridged_wh, r.mean_power_w, r.ambient_c, r.basis, \
     r.start_share, r.detail";

/// The run-downs of a bank, oldest first, struck ones too.
pub(crate) fn of_bank(connection: &Connection, bank: i64) -> Done<Vec<RecordedRunDown>> {
    let sql = format!(
        "SELECT {RUNDOWN_COLUMNS}, b.wall_at_boot_ms, o.began_s, o.energy_wh FROM rundown AS r
         LEFT JOIN outing AS o ON o.id = r.outing LEFT JOIN boot AS b ON b.id = o.began_boot
         WHERE r.bank = ?1 ORDER BY r.id"
    );
    connection.prepare_cached(&sql)?.query_map([bank], rundown_of)?.collect()
}

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
            draw_levels: Some(DrawLevels {
                rest_w: 2.4,
                step: Some([0.9, 0.3]),
                present: 0.25,
                work_w: Some([3.1, 0.05]),
                sending_w: None,
            }),
            over_range_wh: Some(1.5),
        };
        assert_eq!(detail_from(&detail_text(&detail)), detail);
        assert_eq!(detail_from("{\"rest_curve\":[[1]],\"peak_a\":\"x\""), Detail::default());
    }
}
