//! The plan that an outing was started with. Its stretches stand in one column, as JSON.

use reckon::record::{OutingPlan, PlannedStretch};
use rusqlite::{Connection, OptionalExtension, Row, params};
use serde_json::{Value, json};

use super::spans::{Piece, pieces, version};

type Done<T> = rusqlite::Result<T>;

/// The version of the record that has them first.
const SINCE: i64 = 5;

/// Takes the place of an earlier plan of the outing.
pub(crate) fn put(
    connection: &Connection,
    boot: i64,
    outing: Option<i64>,
    plan: &OutingPlan,
) -> Done<()> {
    let Some(outing) = outing else { return Ok(()) };
    let ([p10_s, p50_s, p90_s], [p10_wh, p50_wh, p90_wh]) = (plan.lasts_s, plan.energy_wh);
    connection
        .execute(
            "INSERT OR REPLACE INTO outing_plan (outing, boot, began_s, bank, finish_s, reserve_s,
                 lasts_p10_s, lasts_p50_s, lasts_p90_s, energy_p10_wh, energy_p50_wh,
                 energy_p90_wh, ambient_c, stretches)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
            params![
                outing,
                boot,
                plan.began_s,
                plan.bank,
                plan.finish_s,
                plan.reserve_s,
                p10_s,
                p50_s,
                p90_s,
                p10_wh,
                p50_wh,
                p90_wh,
                plan.ambient_c,
                text_of(&plan.stretches)
            ],
        )
        .map(|_| ())
}

/// One outing is another's now: so is its plan, unless that has one of its own.
pub(crate) fn join(connection: &Connection, from: i64, to: i64) -> Done<()> {
    connection
        .execute("UPDATE OR IGNORE outing_plan SET outing = ?2 WHERE outing = ?1", [from, to])?;
    connection.execute("DELETE FROM outing_plan WHERE outing = ?1", [from]).map(|_| ())
}

/// What was started in this boot is another outing's now.
pub(crate) fn part(connection: &Connection, from: i64, to: i64, boot: i64) -> Done<()> {
    connection
        .execute(
            "UPDATE outing_plan SET outing = ?2 WHERE outing = ?1 AND boot = ?3",
            params![from, to, boot],
        )
        .map(|_| ())
}

/// That of an outing.
pub(crate) fn of_outing(connection: &Connection, outing: i64) -> Done<Option<OutingPlan>> {
    if version(connection)? < SINCE {
        return Ok(None);
    }
    let found = connection
        .prepare_cached(
            "SELECT boot, began_s, bank, finish_s, reserve_s, lasts_p10_s, lasts_p50_s, lasts_p90_s,
                 energy_p10_wh, energy_p50_wh, energy_p90_wh, ambient_c, stretches
             FROM outing_plan WHERE outing = ?1",
        )?
        .query_row([outing], |row| Ok((row.get(0)?, plan_of(row)?)))
        .optional()?;
    let Some((boot, plan)) = found else { return Ok(None) };
    let pieces = pieces(connection, outing)?;
    Ok(Some(OutingPlan { began_s: axis_s(&pieces, boot, plan.began_s), ..plan }))
}

fn plan_of(row: &Row<'_>) -> Done<OutingPlan> {
    let stretches: String = row.get(12)?;
    Ok(OutingPlan {
        began_s: row.get(1)?,
        bank: row.get(2)?,
        finish_s: row.get(3)?,
        reserve_s: row.get(4)?,
        lasts_s: [row.get(5)?, row.get(6)?, row.get(7)?],
        energy_wh: [row.get(8)?, row.get(9)?, row.get(10)?],
        ambient_c: row.get(11)?,
        stretches: stretches_of(&stretches),
    })
}

/// A moment of a boot, since the outing began.
fn axis_s(pieces: &[Piece], boot: i64, at_s: f64) -> f64 {
    let piece = pieces.iter().rfind(|piece| piece.boot == boot && piece.from_s <= at_s);
    piece.map_or(0.0, |piece| piece.axis_s(at_s))
}

fn text_of(stretches: &[PlannedStretch]) -> String {
    let one = |it: &PlannedStretch| {
        json!({
            "name": it.name,
            "lasts_s": it.lasts_s,
            "draw_w": it.draw_w,
            "draw_log_sd": it.draw_log_sd,
        })
    };
    Value::from(stretches.iter().map(one).collect::<Vec<_>>()).to_string()
}

/// What can be understood of them.
fn stretches_of(text: &str) -> Vec<PlannedStretch> {
    let all: Vec<Value> = serde_json::from_str(text).unwrap_or_default();
    let one = |it: &Value| {
        let number = |key: &str| it.get(key).and_then(Value::as_f64);
        Some(PlannedStretch {
            name: it.get("name")?.as_str()?.to_owned(),
            lasts_s: number("lasts_s")?,
            draw_w: number("draw_w")?,
            draw_log_sd: number("draw_log_sd")?,
        })
    };
    all.iter().filter_map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_survive_and_damage_leaves_out_what_it_hit() {
        let one = |name: &str, lasts_s: f64| PlannedStretch {
            name: name.into(),
            lasts_s,
            draw_w: 2.75,
            draw_log_sd: 0.125,
        };
        let all = vec![one("Receive", 7200.0), one("", 0.5)];
        assert_eq!(stretches_of(&text_of(&all)), all);
        assert_eq!(
            stretches_of(&text_of(&all).replacen("\"lasts_s\":7200.0", "\"lasts_s\":null", 1)),
            all[1..]
        );
        assert!(stretches_of("[{\"name\":").is_empty());
    }
}
