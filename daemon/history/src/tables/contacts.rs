//! The contact log, as far as it is kept: times, bands, modes.
//!
//! A contact carries wall time, the record boot time. The two meet only where a boot's wall time
//! is known, and only when somebody reads: a clock that is put right later puts contacts right too.

use std::collections::HashSet;

use rusqlite::{Connection, OptionalExtension, params};

use reckon::record::{LoggedContact, MINUTE_MS, OutingContacts, PlacedContact};

use crate::tables::spans::{LATE_S, Piece, pieces, version};

type Done<T> = rusqlite::Result<T>;

/// How long before an outing's beginning a contact is still looked for, s: many logs are in whole minutes,
/// cut off, not rounded (ADIF 3.1.6, data type Time: HHMM or HHMMSS).
const EARLY_S: f64 = 60.0;
/// Upper limit of kept contacts of one log that cannot be matched to a boot yet; the newest stay.
const MOST: usize = 10_000;
/// Upper limit of contacts of one minute: nobody makes more than one a second.
const MOST_A_MINUTE: usize = 60;

/// Keeps what is new in a log, which must come whole. A row is a contact that is kept already if band
/// and mode are the same, or not told, and the time is: of the same minute, where one of the two times
/// is in whole minutes. Each kept one answers for one row only, so that of contacts that look alike it
/// goes by their number. So two programs that write the same contact give one; two logs that each hold
/// another contact of the same time, band and mode do too, since calls are not kept to tell. A call's
/// hash would not tell either without naming the call: there are few enough calls to try them all.
/// What was not there before, such as an end, is added.
pub(crate) fn put(connection: &Connection, rows: &[LoggedContact]) -> Done<()> {
    // Before the first boot of known date there is no outing that a contact could belong to: a log
    // of many years is not copied here.
    let first: Option<i64> =
        connection.query_row("SELECT min(wall_at_boot_ms) FROM boot", [], |row| row.get(0))?;
    let first = first.map_or(i64::MIN, |first| first.saturating_sub(86_400_000));
    let mut rows: Vec<&LoggedContact> = rows.iter().filter(|row| row.began_ms >= first).collect();
    rows.sort_by_key(|row| row.began_ms);
    let mut rows = rows.split_off(rows.len().saturating_sub(MOST));
    let (mut minute, mut met) = (i64::MIN, 0);
    rows.retain(|row| {
        let same = row.began_ms.div_euclid(MINUTE_MS) == minute;
        (minute, met) = (row.began_ms.div_euclid(MINUTE_MS), if same { met + 1 } else { 1 });
        met <= MOST_A_MINUTE
    });
    let mut spoken_for = HashSet::new();
    // Those that are kept as they stand there go first: no other row may take their place.
    let mut others = Vec::new();
    for row in rows {
        match kept(connection, row, Alike::Wholly, &spoken_for)? {
            Some(id) => {
                complete(connection, id, row)?;
                spoken_for.insert(id);
            }
            None => others.push(row),
        }
    }
    for row in others {
        let id = match kept(connection, row, Alike::NearEnough, &spoken_for)? {
            Some(id) => complete(connection, id, row).map(|()| id)?,
            None => add(connection, row)?,
        };
        spoken_for.insert(id);
    }
    Ok(())
}

/// How alike a row is to a contact that is kept.
#[derive(Clone, Copy, PartialEq)]
enum Alike {
    /// Time, band and mode are the same.
    Wholly,
    /// So far as the two tell.
    NearEnough,
}

/// The contact that a row is, if it is kept and no other row is it.
fn kept(
    connection: &Connection,
    row: &LoggedContact,
    how: Alike,
    spoken_for: &HashSet<i64>,
) -> Done<Option<i64>> {
    let minute = row.minute_ms();
    let mut ask = connection.prepare_cached(
        "SELECT id, began_ms, band, mode FROM contact
         WHERE began_ms >= ?1 AND began_ms < ?2 ORDER BY began_ms, nth",
    )?;
    let mut found = ask.query([minute, minute.saturating_add(MINUTE_MS)])?;
    while let Some(there) = found.next()? {
        let id: i64 = there.get(0)?;
        let one = LoggedContact {
            began_ms: there.get(1)?,
            band: there.get(2)?,
            mode: there.get(3)?,
            ..LoggedContact::default()
        };
        let alike = match how {
            Alike::Wholly => {
                (one.began_ms, &one.band, &one.mode) == (row.began_ms, &row.band, &row.mode)
            }
            Alike::NearEnough => one.may_be(row),
        };
        if alike && !spoken_for.contains(&id) {
            return Ok(Some(id));
        }
    }
    Ok(None)
}

/// Adds what was not known of a contact that is kept.
fn complete(connection: &Connection, id: i64, row: &LoggedContact) -> Done<()> {
    let mut put = connection.prepare_cached(
        "UPDATE OR IGNORE contact
         SET ended_ms = coalesce(?2, ended_ms), band = coalesce(band, ?3),
             mode = coalesce(mode, ?4), with_call = coalesce(?5, with_call)
         WHERE id = ?1 AND (ended_ms IS NOT coalesce(?2, ended_ms) OR band IS NOT coalesce(band, ?3)
             OR mode IS NOT coalesce(mode, ?4) OR with_call IS NOT coalesce(?5, with_call))",
    )?;
    put.execute(params![id, row.ended_ms, row.band, row.mode, row.with_call])?;
    Ok(())
}

/// Adds a contact; its id.
fn add(connection: &Connection, row: &LoggedContact) -> Done<i64> {
    let mut put = connection.prepare_cached(
        "INSERT INTO contact (began_ms, ended_ms, band, mode, nth, with_call)
         SELECT ?1, ?2, ?3, ?4, coalesce(max(nth) + 1, 0), ?5 FROM contact
         WHERE began_ms = ?1 AND band IS ?3 AND mode IS ?4",
    )?;
    put.execute(params![row.began_ms, row.ended_ms, row.band, row.mode, row.with_call])?;
    Ok(connection.last_insert_rowid())
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
