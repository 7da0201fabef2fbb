//! What happened on the way.

use reckon::{
    record::{Event, EventKind},
    time::Mono,
};
use rusqlite::{Connection, params};

use super::spans::pieces;

type Done<T> = rusqlite::Result<T>;

pub(crate) fn put(connection: &Connection, boot: i64, event: &Event) -> Done<()> {
    connection
        .prepare_cached("INSERT INTO event (boot, at_s, kind, text) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![boot, event.at.as_s(), event.kind.name(), event.text])
        .map(|_| ())
}

pub(crate) fn of_outing(connection: &Connection, outing: i64) -> rusqlite::Result<Vec<Event>> {
    let mut all = Vec::new();
    for piece in pieces(connection, outing)? {
        let mut ask = connection.prepare_cached(
            "SELECT at_s, kind, text FROM event WHERE boot = ?1 AND at_s >= ?2 AND at_s < ?3
             ORDER BY at_s, id",
        )?;
        let mut found = ask.query(params![piece.boot, piece.from_s, piece.heard_to_s])?;
        while let Some(row) = found.next()? {
            let (at_s, kind): (f64, String) = (row.get(0)?, row.get(1)?);
            all.push(Event {
                at: Mono::at_s(piece.axis_s(at_s)),
                kind: EventKind::from_name(&kind),
                text: row.get(2)?,
            });
        }
    }
    Ok(all)
}
