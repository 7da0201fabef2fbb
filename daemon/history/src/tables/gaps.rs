//! Sources, and when they did not answer.

use reckon::record::{SourceChange, SourceGap};
use rusqlite::{Connection, params};

use super::spans::pieces;

type Done<T> = rusqlite::Result<T>;

pub(crate) fn put(connection: &Connection, boot: i64, change: &SourceChange) -> Done<()> {
    connection.execute(
        "INSERT INTO source (ident, title) VALUES (?1, ?2)
         ON CONFLICT (ident) DO UPDATE SET title = excluded.title
         WHERE title <> excluded.title",
        [&change.id, &change.title],
    )?;
    let source: i64 =
        connection
            .query_row("SELECT id FROM source WHERE ident = ?1", [&change.id], |row| row.get(0))?;
    let at_s = change.at.as_s();
    connection.execute(
        "UPDATE gap SET to_s = ?3 WHERE source = ?1 AND boot = ?2 AND to_s IS NULL",
        params![source, boot, at_s],
    )?;
    if let Some(why) = &change.gap {
        connection.execute(
            "INSERT INTO gap (source, boot, from_s, why) VALUES (?1, ?2, ?3, ?4)",
            params![source, boot, at_s, why],
        )?;
    }
    Ok(())
}

pub(crate) fn of_outing(connection: &Connection, outing: i64) -> rusqlite::Result<Vec<SourceGap>> {
    let mut all = Vec::new();
    for piece in pieces(connection, outing)? {
        let mut ask = connection.prepare_cached(
            "SELECT s.ident, s.title, g.from_s, g.to_s, g.why FROM gap AS g
             JOIN source AS s ON s.id = g.source
             WHERE g.boot = ?1 AND g.from_s < ?3
                 AND (g.to_s IS NULL OR g.to_s > ?2 OR g.from_s >= ?2)
             ORDER BY g.from_s",
        )?;
        let shift = piece.at_s - piece.from_s;
        let heard = params![piece.boot, piece.from_s, piece.heard_to_s];
        let found = ask.query_map(heard, |row| {
            Ok(SourceGap {
                id: row.get(0)?,
                title: row.get(1)?,
                from_s: row.get::<_, f64>(2)?.max(piece.from_s) + shift,
                to_s: row.get::<_, Option<f64>>(3)?.map(|to_s| to_s.min(piece.heard_to_s) + shift),
                why: row.get(4)?,
            })
        })?;
        for gap in found {
            all.push(gap?);
        }
    }
    Ok(all)
}
