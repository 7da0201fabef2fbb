//! The stretches of boots that an outing is made of, laid on its own axis.

use std::collections::HashMap;

use reckon::{record::SwitchedOn, time::Wall};
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
    /// What happened before this is the outing's too: no two pieces share any of it, and none is left
    /// out between them.
    pub(crate) heard_to_s: f64,
    /// Axis time of the piece after it.
    next_at_s: f64,
}

impl Piece {
    /// A boot from its first moment on.
    pub(crate) const fn whole(boot: i64, to_s: f64, at_s: f64) -> Self {
        let (from_s, next_at_s) = (0.0, f64::INFINITY);
        Self { boot, from_s, to_s, at_s, heard_to_s: to_s, next_at_s }
    }

    /// Axis time of what happened at a second of the boot: after the last row, but before the next
    /// piece.
    pub(crate) fn axis_s(&self, at_s: f64) -> f64 {
        (at_s - self.from_s + self.at_s).min(self.next_at_s)
    }
}

/// Of a boot, what an outing has without a break.
struct Stretch {
    boot: i64,
    from_s: f64,
    to_s: Option<f64>,
    /// When the next outing of the boot begins.
    next_s: Option<f64>,
    off_before_s: f64,
}

/// What happened so long after the last row of a boot is the outing's, s: events may be newer.
pub(crate) const LATE_S: f64 = 120.0;

/// The pieces of an outing on its own axis. Time switched off counts where it is known; where it
/// is not, the boots follow one another without a hole.
pub(crate) fn pieces(connection: &Connection, outing: i64) -> Done<Vec<Piece>> {
    let mut at_s = 0.0;
    let mut pieces: Vec<Piece> = Vec::new();
    for stretch in stretches(connection, outing)? {
        let Stretch { boot, from_s, to_s, next_s, off_before_s } = stretch;
        let to_s = match to_s {
            Some(to_s) => to_s,
            None => last_sign(connection, boot)?.map_or(from_s, |(sign, _)| sign),
        }
        .max(from_s);
        at_s += off_before_s;
        if let Some(last) = pieces.last_mut() {
            last.next_at_s = at_s;
        }
        let next_at_s = f64::INFINITY;
        let heard_to_s = next_s.unwrap_or(to_s + LATE_S);
        pieces.push(Piece { boot, from_s, to_s, at_s, heard_to_s, next_at_s });
        at_s += to_s - from_s;
    }
    Ok(pieces)
}

/// When the board was on within an outing, on its own axis.
pub(crate) fn switched_on(connection: &Connection, outing: i64) -> Done<Vec<SwitchedOn>> {
    let on = |piece: Piece| SwitchedOn {
        from_s: piece.at_s,
        to_s: piece.at_s + piece.to_s - piece.from_s,
        boots: piece.from_s <= 0.0,
    };
    Ok(pieces(connection, outing)?.into_iter().map(on).collect())
}

/// The outing's spans, in order. Those of one boot that follow one another are one stretch: the board
/// was on in between. Of two outings in a boot the earlier keeps what both claim, and what nobody
/// claims is the earlier's to hear of.
fn stretches(connection: &Connection, outing: i64) -> Done<Vec<Stretch>> {
    let mut ask = connection.prepare_cached(
        "SELECT outing, boot, from_s, to_s, off_before_s FROM span
         WHERE boot IN (SELECT boot FROM span WHERE outing = ?1) ORDER BY id",
    )?;
    let mut found = ask.query([outing])?;
    let mut all: Vec<Stretch> = Vec::new();
    // Of each boot: till when it is taken, and whether by the stretch of this number.
    let mut taken: HashMap<i64, (f64, Option<usize>)> = HashMap::new();
    while let Some(row) = found.next()? {
        let (of, boot): (i64, i64) = (row.get(0)?, row.get(1)?);
        let before = taken.get(&boot).copied();
        let from_s = row.get::<_, f64>(2)?.max(before.map_or(f64::NEG_INFINITY, |it| it.0));
        let to_s = row.get::<_, Option<f64>>(3)?.map(|to_s| to_s.max(from_s));
        let open = before.and_then(|(_, open)| open);
        let mut mine = None;
        if of != outing {
            if let Some(last) = open.and_then(|ix| all.get_mut(ix)) {
                last.to_s = Some(last.to_s.map_or(from_s, |to_s| to_s.min(from_s)));
                last.next_s = Some(from_s);
            }
        } else if let Some(last) = open.and_then(|ix| all.get_mut(ix)) {
            (last.to_s, mine) = (to_s, open);
        } else {
            let off_before_s = row.get::<_, Option<f64>>(4)?.unwrap_or(0.0).max(0.0);
            mine = Some(all.len());
            all.push(Stretch { boot, from_s, to_s, next_s: None, off_before_s });
        }
        taken.insert(boot, (to_s.unwrap_or(from_s), mine));
    }
    Ok(all)
}

/// The record's version. A file of an earlier one is read as it is: only a writer brings it up to
/// date.
pub(crate) fn version(connection: &Connection) -> Done<i64> {
    connection.query_row("PRAGMA user_version", [], |row| row.get(0))
}

/// When the board was off within an outing, as far as that is known: from, to, on its own axis.
pub(crate) fn off(on: &[SwitchedOn]) -> Vec<(f64, f64)> {
    let holes = on.windows(2).filter_map(|two| match two {
        [one, next] => Some((one.to_s, next.from_s)),
        _ => None,
    });
    holes.filter(|(from_s, to_s)| to_s > from_s).collect()
}

/// A moment of a boot whose wall time may be known, ms since 1970 UTC at its first moment.
#[expect(clippy::cast_possible_truncation, reason = "a float cast saturates, which is meant")]
pub(crate) fn wall(boot_ms: Option<i64>, at_s: Option<f64>) -> Option<Wall> {
    Some(Wall::from_unix_ms(boot_ms?.saturating_add((at_s? * 1000.0).round() as i64)))
}
