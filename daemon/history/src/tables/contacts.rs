//! The contact log, as far as it is kept: times, bands, modes.
//!
//! A contact carries wall time, the record boot time. The two meet only where a boot's wall time
//! is known, and only when somebody reads: a clock that is put right later puts contacts right too.

use std::collections::HashMap;

use rusqlite::{Connection, OptionalExtension, params};

use reckon::record::{LoggedContact, OutingContacts, PlacedContact};

use crate::tables::spans::{LATE_S, Piece, pieces, version};

type Done<T> = rusqlite::Result<T>;

/// How long before an outing's beginning a contact is still looked for, s: many logs are in whole minutes,
/// cut off, not rounded (ADIF 3.1.6, data type Time: HHMM or HHMMSS).
const EARLY_S: f64 = 60.0;
/// Upper limit of kept contacts of one log that cannot be matched to a boot yet; the newest stay.
const MOST: usize = 10_000;

/// Keeps what is new in a log, which must come whole: of contacts that look alike (same time, band
/// and mode) it goes by their number. So two logs that each hold another contact of the same time,
/// band and mode give one; two programs that write the same contact do too. An end or a call that was not there before is added.
pub(crate) fn put(connection: &Connection, rows: &[LoggedContact]) -> Done<()> {
    // Before the first boot of known date there is no outing that a contact could belong to: a log
    // of many years is not copied here.
    let first: Option<i64> =
        connection.query_row("SELECT min(wall_at_boot_ms) FROM boot", [], |row| row.get(0))?;
    let first = first.map_or(i64::MIN, |first| first.saturating_sub(86_400_000));
    let mut rows: Vec<&LoggedContact> = rows.iter().filter(|row| row.began_ms >= first).collect();
    rows.sort_by_key(|row| row.began_ms);
    let rows = rows.split_off(rows.len().saturating_sub(MOST));
    // By band and mode: the minute last met, and how often.
    let mut alike = HashMap::new();
    let mut put = connection.prepare_cached(
        "INSERT INTO contact (began_ms, ended_ms, band, mode, nth, with_call)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)
         ON CONFLICT (began_ms, ifnull(band, ''), ifnull(mode, ''), nth) DO UPDATE
         SET ended_ms = coalesce(excluded.ended_ms, ended_ms),
             with_call = coalesce(excluded.with_call, with_call)
         WHERE ended_ms IS NOT coalesce(excluded.ended_ms, ended_ms)
            OR with_call IS NOT coalesce(excluded.with_call, with_call)",
    )?;
    for row in rows {
        let seen = alike.entry((&row.band, &row.mode)).or_insert((row.began_ms, 0_u32));
        if seen.0 != row.began_ms {
            *seen = (row.began_ms, 0);
        }
        put.execute(params![
            row.began_ms,
            row.ended_ms,
            row.band,
            row.mode,
            seen.1,
            row.with_call
        ])?;
        seen.1 += 1;
    }
    Ok(())
}

/// Takes the contacts away that fall into an outing.
pub(crate) fn forget(connection: &Connection, outing: i64) -> Done<()> {
    for window in windows(connection, &pieces(connection, outing)?)? {
        connection.execute(
            "DELETE FROM contact WHERE began_ms >= ?1 AND began_ms < ?2",
            [window.from_ms, window.to_ms],
        )?;
    }
    Ok(())
}

/// The contacts that fall into an outing.
pub(crate) fn of_outing(connection: &Connection, outing: i64) -> Done<OutingContacts> {
    let pieces = pieces(connection, outing)?;
    let all_s: f64 = pieces.iter().map(|piece| piece.to_s - piece.from_s).sum();
    let windows = windows(connection, &pieces)?;
    let dated_s: f64 = windows.iter().map(|w| w.piece.to_s - w.piece.from_s).sum();
    let mut all = OutingContacts {
        undated_s: (windows.len() < pieces.len()).then(|| (all_s - dated_s).max(0.0)),
        within_s: windows.iter().map(|w| w.within_ms / 1000.0).fold(0.0, f64::max),
        ..OutingContacts::default()
    };
    if version(connection)? < 2 {
        return Ok(all);
    }
    let mut ask = connection.prepare_cached(
        "SELECT began_ms, ended_ms, band, mode, with_call FROM contact
         WHERE began_ms >= ?1 AND began_ms < ?2 ORDER BY began_ms, id",
    )?;
    for window in windows {
        let mut found = ask.query([window.from_ms, window.to_ms])?;
        while let Some(row) = found.next()? {
            let contact = LoggedContact {
                began_ms: row.get(0)?,
                ended_ms: row.get(1)?,
                band: row.get(2)?,
                mode: row.get(3)?,
                with_call: row.get(4)?,
            };
            let t_s = window.piece.at_s + seconds(contact.began_ms.saturating_sub(window.begin_ms));
            all.contacts.push(PlacedContact { t_s, contact });
        }
    }
    Ok(all)
}

/// A piece of an outing in wall time.
struct Window {
    piece: Piece,
    /// Its first moment.
    begin_ms: i64,
    within_ms: f64,
    /// Where contacts are looked for.
    from_ms: i64,
    to_ms: i64,
}

/// The pieces whose wall time is known, each with the margin in which contacts are looked for: a
/// minute before (see [`EARLY_S`]), but not into what was another stretch, and as much on either
/// side as the wall time may be off. A contact begins before the bank ends, so there is no more
/// than that after the end.
fn windows(connection: &Connection, pieces: &[Piece]) -> Done<Vec<Window>> {
    let mut boot = connection.prepare_cached(
        "SELECT wall_at_boot_ms, coalesce(wall_within_ms, 0) FROM boot
         WHERE id = ?1 AND wall_at_boot_ms IS NOT NULL",
    )?;
    let mut before = connection.prepare_cached(
        "SELECT max(b.wall_at_boot_ms + cast(round(s.to_s * 1000) AS INTEGER)) FROM span AS s
         JOIN boot AS b ON b.id = s.boot
         WHERE b.wall_at_boot_ms + cast(round(s.to_s * 1000) AS INTEGER) <= ?1",
    )?;
    let mut all = Vec::with_capacity(pieces.len());
    for piece in pieces {
        let known: Option<(i64, f64)> =
            boot.query_row([piece.boot], |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
        let Some((boot_ms, within_ms)) = known else { continue };
        let begin_ms = boot_ms.saturating_add(millis(piece.from_s));
        let end_ms = boot_ms.saturating_add(millis(piece.heard_to_s.min(piece.to_s + LATE_S)));
        let earlier: Option<i64> = before.query_row([begin_ms], |row| row.get(0))?;
        let within = millis(within_ms / 1000.0);
        all.push(Window {
            piece: *piece,
            begin_ms,
            within_ms,
            from_ms: begin_ms
                .saturating_sub(millis(EARLY_S) + within)
                .max(earlier.unwrap_or(i64::MIN)),
            to_ms: end_ms.saturating_add(within),
        });
    }
    // Where two meet, a contact belongs to the later, whose margin reaches back.
    for k in 1..all.len() {
        let (begin_ms, from_ms) = (all[k].begin_ms, all[k].from_ms);
        let earlier = &mut all[k - 1];
        if earlier.begin_ms < begin_ms {
            earlier.to_ms = earlier.to_ms.min(from_ms);
        }
    }
    Ok(all)
}

#[expect(clippy::cast_possible_truncation, reason = "a float cast saturates, which is meant")]
fn millis(time_s: f64) -> i64 {
    (time_s * 1000.0).round() as i64
}

#[expect(clippy::cast_precision_loss, reason = "milliseconds of an outing are exact in a double")]
fn seconds(ms: i64) -> f64 {
    ms as f64 / 1000.0
}
