//! Close-ups: second by second around what happened, where ten-second rows are too coarse.
//!
//! One may come in parts, so that the seconds before are on the card should the bank not live
//! through those after; a part without a reason goes on from the one before it. The reader puts
//! parts that follow one another without a hole together.

use std::fmt::Write as _;

use rusqlite::{Connection, params};

use reckon::record::{CloseUp, Second};

use crate::tables::spans::{pieces, version};

type Done<T> = rusqlite::Result<T>;

pub(crate) fn put(connection: &Connection, boot: i64, row: &CloseUp) -> Done<()> {
    if !row.from_s.is_finite() {
        return Ok(());
    }
    let mut data = String::from("{\"v\":[");
    list(&mut data, row.seconds.iter().map(|second| second.volts));
    data.push_str("],\"w\":[");
    list(&mut data, row.seconds.iter().map(|second| second.watts));
    data.push_str("]}");
    let n = u32::try_from(row.seconds.len()).unwrap_or(u32::MAX);
    connection
        .prepare_cached(
            "INSERT INTO close_up (boot, from_s, n, why, data) VALUES (?1, ?2, ?3, ?4, ?5)",
        )?
        .execute(params![boot, row.from_s, n, row.why, data])
        .map(|_| ())
}

#[expect(clippy::cast_possible_truncation, reason = "a float cast saturates, which is meant")]
fn list(out: &mut String, values: impl Iterator<Item = Option<f64>>) {
    for (k, value) in values.enumerate() {
        let comma = if k > 0 { "," } else { "" };
        match value {
            Some(value) => {
                let _ = write!(out, "{comma}{}", (value * 1000.0).round() as i64);
            }
            None => {
                let _ = write!(out, "{comma}null");
            }
        }
    }
}

/// The close-ups that overlap an outing, oldest first.
pub(crate) fn of_outing(connection: &Connection, outing: i64) -> Done<Vec<CloseUp>> {
    let mut all: Vec<CloseUp> = Vec::new();
    if version(connection)? < 2 {
        return Ok(all);
    }
    let mut ask = connection.prepare_cached(
        "SELECT id, from_s, why, data FROM close_up
         WHERE boot = ?1 AND from_s < ?3 AND from_s + n > ?2 ORDER BY id",
    )?;
    let mut met = (0, 0);
    for piece in pieces(connection, outing)? {
        let shift = piece.at_s - piece.from_s;
        let mut found = ask.query(params![piece.boot, piece.from_s, piece.heard_to_s])?;
        while let Some(row) = found.next()? {
            let (id, data): (i64, String) = (row.get(0)?, row.get(3)?);
            let same_boot = met.0 == piece.boot;
            // One that reaches over another outing of the boot is met twice.
            if same_boot && id <= met.1 {
                continue;
            }
            met = (piece.boot, id);
            let next = CloseUp {
                from_s: row.get::<_, f64>(1)? + shift,
                why: row.get(2)?,
                seconds: seconds_of(&data),
            };
            match all.last_mut() {
                Some(last) if same_boot && goes_on(last, &next) => join(last, next),
                _ => all.push(next),
            }
        }
    }
    Ok(all)
}

/// Whether the next second after `last` is the first of `next`.
fn goes_on(last: &CloseUp, next: &CloseUp) -> bool {
    let end_s = last.from_s + f64::from(u32::try_from(last.seconds.len()).unwrap_or(u32::MAX));
    (next.from_s - end_s).abs() < 0.5
}

fn join(last: &mut CloseUp, next: CloseUp) {
    if !next.why.is_empty() {
        let joint = if last.why.is_empty() { "" } else { "; " };
        last.why = format!("{}{joint}{}", last.why, next.why);
    }
    last.seconds.extend(next.seconds);
}

/// What cannot be read is left out.
fn seconds_of(data: &str) -> Vec<Second> {
    let data: serde_json::Value = serde_json::from_str(data).unwrap_or_default();
    let list = |key: &str| {
        let values = data.get(key).and_then(serde_json::Value::as_array);
        values.into_iter().flatten().map(|value| value.as_f64().map(|milli| milli / 1000.0))
    };
    list("v").zip(list("w")).map(|(volts, watts)| Second { volts, watts }).collect()
}
