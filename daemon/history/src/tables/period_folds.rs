//! Folds: the draw averaged over the period of a timed mode, one for each stretch folded.

use std::fmt::Write as _;

use rusqlite::{Connection, Row, params};

use reckon::record::{PeriodFold, PeriodFoldPart};

use crate::tables::spans::{pieces, version};

type Done<T> = rusqlite::Result<T>;

/// No more points of a curve are kept.
const MOST_POINTS: usize = 120;

pub(crate) fn put(connection: &Connection, boot: i64, row: &PeriodFold) -> Done<()> {
    // A number that is none would be taken for NULL and refused, with all of its batch.
    let parts = [row.transmit, row.decode].into_iter().flatten();
    let of_parts = parts.flat_map(|part| [part.energy_j, part.watts, part.begins_s, part.lasts_s]);
    let times = [row.from_s, row.to_s, row.seconds, row.period_s, row.slot_s];
    let others = [row.chance, row.energy_j, row.receive_j];
    if !times.into_iter().chain(others).chain(of_parts).all(f64::is_finite) {
        return Ok(());
    }
    let mut put = connection.prepare_cached(
        "INSERT INTO fold (boot, from_s, to_s, seconds, period_s, slot_s, mode, chance, sent,
             slots, energy_j, receive_j, transmit_j, transmit_w, transmit_begins_s,
             transmit_lasts_s, transmit_bridged, decode_j, decode_w, decode_begins_s,
             decode_lasts_s, decode_bridged, curve)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18,
             ?19, ?20, ?21, ?22, ?23)",
    )?;
    let (sent, decoded) = (row.transmit, row.decode);
    put.execute(params![
        boot,
        row.from_s,
        row.to_s,
        row.seconds,
        row.period_s,
        row.slot_s,
        row.mode,
        row.chance,
        row.sent,
        row.slots,
        row.energy_j,
        row.receive_j,
        sent.map(|part| part.energy_j),
        sent.map(|part| part.watts),
        sent.map(|part| part.begins_s),
        sent.map(|part| part.lasts_s),
        sent.map(|part| part.bridged),
        decoded.map(|part| part.energy_j),
        decoded.map(|part| part.watts),
        decoded.map(|part| part.begins_s),
        decoded.map(|part| part.lasts_s),
        decoded.map(|part| part.bridged),
        curve_text(&row.curve)
    ])
    .map(|_| ())
}

/// The folds of an outing, oldest first.
pub(crate) fn of_outing(connection: &Connection, outing: i64) -> Done<Vec<PeriodFold>> {
    let mut all = Vec::new();
    if version(connection)? < 2 {
        return Ok(all);
    }
    let mut ask = connection.prepare_cached(
        "SELECT from_s, to_s, seconds, period_s, slot_s, mode, chance, sent, slots, energy_j,
             receive_j, transmit_j, transmit_w, transmit_begins_s, transmit_lasts_s,
             transmit_bridged, decode_j, decode_w, decode_begins_s, decode_lasts_s,
             decode_bridged, curve
         FROM fold WHERE boot = ?1 AND (from_s + to_s) / 2 >= ?2 AND (from_s + to_s) / 2 < ?3
         ORDER BY from_s, id",
    )?;
    for piece in pieces(connection, outing)? {
        let shift = piece.at_s - piece.from_s;
        let heard = params![piece.boot, piece.from_s, piece.heard_to_s];
        let found = ask.query_map(heard, |row| {
            let curve: String = row.get(21)?;
            Ok(PeriodFold {
                from_s: row.get::<_, f64>(0)? + shift,
                to_s: row.get::<_, f64>(1)? + shift,
                seconds: row.get(2)?,
                period_s: row.get(3)?,
                slot_s: row.get(4)?,
                mode: row.get(5)?,
                chance: row.get(6)?,
                sent: row.get(7)?,
                slots: row.get(8)?,
                energy_j: row.get(9)?,
                receive_j: row.get(10)?,
                transmit: part_of(row, 11)?,
                decode: part_of(row, 16)?,
                curve: curve_of(&curve),
            })
        })?;
        for fold in found {
            all.push(fold?);
        }
    }
    Ok(all)
}

fn part_of(row: &Row<'_>, at: usize) -> Done<Option<PeriodFoldPart>> {
    let Some(energy_j) = row.get(at)? else { return Ok(None) };
    Ok(Some(PeriodFoldPart {
        energy_j,
        watts: row.get(at + 1)?,
        begins_s: row.get(at + 2)?,
        lasts_s: row.get(at + 3)?,
        bridged: row.get(at + 4)?,
    }))
}

#[expect(clippy::cast_possible_truncation, reason = "a float cast saturates, which is meant")]
fn curve_text(curve: &[(f64, f64)]) -> String {
    let mut text = String::from("[");
    for (phase_s, watts) in curve.iter().take(MOST_POINTS) {
        let comma = if text.len() > 1 { "," } else { "" };
        let (phase, milliwatts) =
            ((phase_s * 100.0).round() as i64, (watts * 1000.0).round() as i64);
        let _ = write!(text, "{comma}{phase},{milliwatts}");
    }
    text.push(']');
    text
}

/// What cannot be read is left out: a curve is only drawn.
fn curve_of(text: &str) -> Vec<(f64, f64)> {
    let numbers: Vec<i32> = serde_json::from_str(text).unwrap_or_default();
    numbers
        .chunks_exact(2)
        .map(|pair| (f64::from(pair[0]) / 100.0, f64::from(pair[1]) / 1000.0))
        .collect()
}
