//! The stretches of boots that an outing is made of, laid on its own axis.

use reckon::time::Wall;
use rusqlite::Connection;

use super::tiers::last_sign;

type Done<T> = rusqlite::Result<T>;

/// A piece of a boot and where it lies on the series' axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Piece {
    pub(crate) boot: i64,
    pub(crate) from_s: f64,
    pub(crate) to_s: f64,
    /// Axis time of `from_s`.
    pub(crate) at_s: f64,
}

/// The pieces of an outing on its own axis. Time switched off counts where it is known; where it
/// is not, the boots follow one another without a hole.
pub(crate) fn pieces(connection: &Connection, outing: i64) -> rusqlite::Result<Vec<Piece>> {
    let mut ask = connection.prepare_cached(
        "SELECT boot, from_s, to_s, off_before_s FROM span WHERE outing = ?1 ORDER BY id",
    )?;
    let spans: Vec<(i64, f64, Option<f64>, Option<f64>)> = ask
        .query_map([outing], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))?
        .collect::<rusqlite::Result<_>>()?;
    let mut at_s = 0.0;
    let mut pieces = Vec::with_capacity(spans.len());
    for (boot, from_s, to_s, off_before_s) in spans {
        at_s += off_before_s.unwrap_or(0.0).max(0.0);
        let to_s = match to_s {
            Some(to_s) => to_s,
            None => last_sign(connection, boot)?.map_or(from_s, |(sign, _)| sign),
        }
        .max(from_s);
        pieces.push(Piece { boot, from_s, to_s, at_s });
        at_s += to_s - from_s;
    }
    Ok(pieces)
}

/// The end of a piece for what is kept beside rows, which may be newer than the last row.
pub(crate) fn heard_till(connection: &Connection, piece: &Piece) -> rusqlite::Result<f64> {
    let last = last_sign(connection, piece.boot)?.is_none_or(|(sign, _)| piece.to_s >= sign);
    Ok(if last { piece.to_s + 120.0 } else { piece.to_s })
}

/// The record's version. A file of an earlier one is read as it is: only a writer brings it up to
/// date.
pub(crate) fn version(connection: &Connection) -> rusqlite::Result<i64> {
    connection.query_row("PRAGMA user_version", [], |row| row.get(0))
}

/// When the board was off within an outing, as far as that is known: from, to, on its own axis.
pub(crate) fn off(connection: &Connection, outing: i64) -> Done<Vec<(f64, f64)>> {
    let pieces = pieces(connection, outing)?;
    let holes = pieces.windows(2).filter_map(|two| match two {
        [one, next] => Some((one.at_s + one.to_s - one.from_s, next.at_s)),
        _ => None,
    });
    Ok(holes.filter(|(from_s, to_s)| to_s > from_s).collect())
}

/// A moment of a boot whose wall time may be known, ms since 1970 UTC at its first moment.
#[expect(clippy::cast_possible_truncation, reason = "a float cast saturates, which is meant")]
pub(crate) fn wall(boot_ms: Option<i64>, at_s: Option<f64>) -> Option<Wall> {
    Some(Wall::from_unix_ms(boot_ms?.saturating_add((at_s? * 1000.0).round() as i64)))
}
