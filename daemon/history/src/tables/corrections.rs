//! What the operator was doing, put right afterwards or taken from the contact log.

use rusqlite::{Connection, params};

use reckon::record::{Correction, Origin};

use crate::tables::spans::{pieces, version};

type Done<T> = rusqlite::Result<T>;

/// Keeps a correction, in a row for each boot that it reaches into.
pub(crate) fn put(
    connection: &Connection,
    outing: i64,
    (from_s, to_s): (f64, f64),
    activity: Option<&str>,
    origin: Origin,
) -> Done<()> {
    if !from_s.is_finite() || !to_s.is_finite() {
        return Ok(());
    }
    let open: bool = connection.query_row(
        "SELECT EXISTS (SELECT 1 FROM outing WHERE id = ?1 AND ending = 'open')",
        [outing],
        |row| row.get(0),
    )?;
    let pieces = pieces(connection, outing)?;
    let mut said: Option<i64> = None;
    for (k, piece) in pieces.iter().enumerate() {
        let shift = piece.at_s - piece.from_s;
        // What goes on is longer than its last row.
        let last = open && k + 1 == pieces.len();
        let from_s = (from_s - shift).max(piece.from_s);
        let to_s = if last { to_s - shift } else { (to_s - shift).min(piece.to_s) };
        if to_s <= from_s {
            continue;
        }
        connection.execute(
            "INSERT INTO doing (said, boot, from_s, to_s, activity, origin)
             VALUES (coalesce(?1, (SELECT coalesce(max(id), 0) + 1 FROM doing)), ?2, ?3, ?4, ?5, ?6)",
            params![said, piece.boot, from_s, to_s, activity, origin.name()],
        )?;
        said = said.or(Some(connection.last_insert_rowid()));
    }
    Ok(())
}

/// Takes one back.
pub(crate) fn forget(connection: &Connection, id: i64) -> Done<()> {
    connection.execute("DELETE FROM doing WHERE said = ?1", [id]).map(|_| ())
}

/// The corrections of an outing in order of entry.
pub(crate) fn of_outing(connection: &Connection, outing: i64) -> Done<Vec<Correction>> {
    let mut all: Vec<Correction> = Vec::new();
    if version(connection)? < 2 {
        return Ok(all);
    }
    let mut ask = connection.prepare_cached(
        "SELECT said, from_s, to_s, activity, origin FROM doing
         WHERE boot = ?1 AND from_s < ?3 AND to_s > ?2 ORDER BY id",
    )?;
    let pieces = pieces(connection, outing)?;
    for (k, piece) in pieces.iter().enumerate() {
        let shift = piece.at_s - piece.from_s;
        // A correction of the last minute may be ahead of its rows.
        let end = if k + 1 == pieces.len() { piece.heard_to_s } else { piece.to_s };
        let mut found = ask.query(params![piece.boot, piece.from_s, end])?;
        while let Some(row) = found.next()? {
            let (from_s, to_s): (f64, f64) = (row.get(1)?, row.get(2)?);
            let (from_s, to_s) = (from_s.max(piece.from_s) + shift, to_s.min(end) + shift);
            let (id, origin): (i64, String) = (row.get(0)?, row.get(4)?);
            match all.iter_mut().find(|doing| doing.id == id) {
                // The same word in the next boot.
                Some(doing) => doing.to_s = doing.to_s.max(to_s),
                None => all.push(Correction {
                    id,
                    from_s,
                    to_s,
                    activity: row.get(3)?,
                    origin: Origin::from_name(&origin),
                }),
            }
        }
    }
    all.sort_by_key(|doing| doing.id);
    Ok(all)
}
