//! Walks through the rows of a boot, in the longest rows that fit.
//!
//! Three lengths of row are in the store. A walk takes the longest that is not longer than asked
//! for, and falls back to shorter ones where the longer are not there yet (the running hour).

use reckon::record::{Channel, Row, Stats};
use rusqlite::{Connection, OptionalExtension};

use super::{
    spans::{pieces, version},
    tiers::{fine_rows, last_sign},
};
use crate::rows::{FINE_S, FIVE_S, HOUR_S};

/// What a walk through the rows of a boot needs to know.
struct Walk<'c> {
    connection: &'c Connection,
    boot: i64,
    channels: &'c [Channel],
    /// Earlier boots have been folded to their end; in the newest the last folded row may lack
    /// its end.
    newest: bool,
    sign_s: f64,
    /// The record's version.
    version: i64,
}

/// The version of the record that first had what lay beyond a sensor's range.
pub(super) const OVER_RANGE_SINCE: i64 = 4;

/// Takes a value: beginning and length of its row, index of its channel, the fold.
type Each<'e> = &'e mut dyn FnMut(f64, f64, usize, Stats);

/// Walks through every value of a boot between two moments, in order, in rows no longer than
/// `step_s` where there are such. Long rows are taken where they lie whole between the moments,
/// shorter ones at the edges, so that nothing comes in from outside.
pub(crate) fn visit_rows(
    connection: &Connection,
    boot: i64,
    (from_s, to_s): (f64, f64),
    step_s: f64,
    channels: &[Channel],
    each: Each<'_>,
) -> rusqlite::Result<()> {
    let newest: Option<i64> =
        connection.prepare_cached("SELECT max(id) FROM boot")?.query_row([], |row| row.get(0))?;
    let sign_s = last_sign(connection, boot)?.map_or(0.0, |(sign, _)| sign);
    let newest = newest == Some(boot);
    let walk = Walk { connection, boot, channels, newest, sign_s, version: version(connection)? };
    let levels = [("hour", HOUR_S), ("five", FIVE_S)];
    let fits = levels.iter().filter(|(_, span_s)| *span_s <= step_s + 1e-6).count();
    walk.descend(&levels[levels.len() - fits..], from_s, to_s, each)
}

impl Walk<'_> {
    fn descend(
        &self,
        levels: &[(&str, f64)],
        from_s: f64,
        to_s: f64,
        each: Each<'_>,
    ) -> rusqlite::Result<()> {
        if to_s <= from_s + 1e-6 {
            return Ok(());
        }
        let Some((level, shorter)) = levels.split_first() else {
            return self.finest(from_s, to_s, each);
        };
        let (table, span_s) = *level;
        let last: Option<f64> = self
            .connection
            .prepare_cached(&format!("SELECT max(from_s) FROM {table} WHERE boot = ?1"))?
            .query_row([self.boot], |row| row.get(0))?;
        let Some(last) = last else { return self.descend(shorter, from_s, to_s, each) };
        let begin = (from_s / span_s - 1e-9).ceil() * span_s;
        let whole = (to_s / span_s + 1e-9).floor() * span_s;
        let end = if self.newest {
            whole.min(last)
        } else if to_s >= self.sign_s {
            last + span_s
        } else {
            whole.min(last + span_s)
        };
        if end <= begin {
            return self.descend(shorter, from_s, to_s, each);
        }
        self.descend(shorter, from_s, begin.min(to_s), each)?;
        self.folded(table, span_s, (begin, end), each)?;
        self.descend(shorter, end, to_s, each)
    }

    /// Ten-second rows; what is older than they are is only there in five-minute rows.
    fn finest(&self, from_s: f64, to_s: f64, each: Each<'_>) -> rusqlite::Result<()> {
        let first = first_fine(self.connection, self.boot)?.unwrap_or(f64::INFINITY);
        if from_s < first {
            // A row that reaches into the fine ones would count their time twice.
            let end = (first - FIVE_S + 1.0).min(to_s);
            self.folded("five", FIVE_S, (from_s - FIVE_S + 1e-6, end), each)?;
        }
        for row in fine_rows(self.connection, self.boot, from_s, to_s, self.channels)? {
            for (k, channel) in self.channels.iter().enumerate() {
                if let Some(fold) = row.get(*channel) {
                    each(row.from_s, row.span_s, k, fold);
                }
            }
        }
        Ok(())
    }

    /// The rows of a table that begin between two moments.
    fn folded(
        &self,
        table: &str,
        span_s: f64,
        (from_s, to_s): (f64, f64),
        each: Each<'_>,
    ) -> rusqlite::Result<()> {
        let columns: Vec<String> = self
            .channels
            .iter()
            .map(|channel| match channel {
                Channel::OverRange if self.version < OVER_RANGE_SINCE => {
                    String::from("NULL, NULL, NULL")
                }
                _ => format!("{0}_mean, {0}_min, {0}_max", channel.name()),
            })
            .collect();
        let mut ask = self.connection.prepare_cached(&format!(
            "SELECT from_s, {} FROM {table}
             WHERE boot = ?1 AND from_s >= ?2 AND from_s < ?3 ORDER BY from_s",
            columns.join(", ")
        ))?;
        let mut found = ask.query(rusqlite::params![self.boot, from_s, to_s])?;
        while let Some(row) = found.next()? {
            let at_s: f64 = row.get(0)?;
            for k in 0..self.channels.len() {
                if let Some(mean) = row.get::<_, Option<f64>>(1 + 3 * k)? {
                    let (min, max) = (row.get(2 + 3 * k)?, row.get(3 + 3 * k)?);
                    each(at_s, span_s, k, Stats { mean, min, max });
                }
            }
        }
        Ok(())
    }
}

fn first_fine(connection: &Connection, boot: i64) -> rusqlite::Result<Option<f64>> {
    connection
        .prepare_cached(
            "SELECT (id & 4294967295) / 10.0 FROM fine WHERE id BETWEEN ?1 AND ?2 ORDER BY id LIMIT 1",
        )?
        .query_row([boot << 32, ((boot + 1) << 32) - 1], |row| row.get(0))
        .optional()
}

/// Whole rows of a boot between two moments, no longer than `longest_s`.
pub(crate) fn rows_between(
    connection: &Connection,
    boot: i64,
    from_s: f64,
    to_s: f64,
    longest_s: f64,
    channels: &[Channel],
) -> rusqlite::Result<Vec<Row>> {
    let mut rows: Vec<Row> = Vec::new();
    visit_rows(connection, boot, (from_s, to_s), longest_s, channels, &mut |at, span, k, fold| {
        let place = channels[k].ix();
        match rows.last_mut() {
            Some(row) if (row.from_s - at).abs() < 1e-6 => row.stats[place] = Some(fold),
            Some(_) | None => {
                let mut stats = [None; Channel::ALL.len()];
                stats[place] = Some(fold);
                rows.push(Row { from_s: at, span_s: span, stats });
            }
        }
    })?;
    Ok(rows)
}

/// The rows of an outing on its own axis.
pub(crate) fn of_outing(connection: &Connection, outing: i64) -> rusqlite::Result<Vec<Row>> {
    let mut all = Vec::new();
    for hour in hours(connection, outing)? {
        all.extend(of_hour(connection, &hour, &Channel::ALL)?);
    }
    Ok(all)
}

/// A stretch of an outing that is read at once, in its boot's time, and what makes that the outing's.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Hour {
    boot: i64,
    from_s: f64,
    to_s: f64,
    shift_s: f64,
}

/// The stretches of an outing, cut at the full hours of its boots: no row of any length lies across.
pub(crate) fn hours(connection: &Connection, outing: i64) -> rusqlite::Result<Vec<Hour>> {
    let mut all = Vec::new();
    for piece in pieces(connection, outing)? {
        let (boot, shift_s) = (piece.boot, piece.at_s - piece.from_s);
        let mut from_s = piece.from_s;
        while from_s < piece.to_s {
            let next_s = ((from_s / HOUR_S + 1e-9).floor() + 1.0) * HOUR_S;
            // What a damaged record may hold is not gone through hour by hour.
            let damaged = piece.to_s - from_s > 1e9 || next_s <= from_s;
            let to_s = if damaged { piece.to_s } else { next_s.min(piece.to_s) };
            all.push(Hour { boot, from_s, to_s, shift_s });
            from_s = to_s;
        }
    }
    Ok(all)
}

/// The rows of such a stretch on the outing's axis.
pub(crate) fn of_hour(
    connection: &Connection,
    hour: &Hour,
    channels: &[Channel],
) -> rusqlite::Result<Vec<Row>> {
    let rows = rows_between(connection, hour.boot, hour.from_s, hour.to_s, FINE_S, channels)?;
    Ok(rows.into_iter().map(|row| Row { from_s: row.from_s + hour.shift_s, ..row }).collect())
}

/// The rows of an outing on its own axis, without what sticks out of it. It may have ended so much later than is known.
pub(crate) fn within_outing(
    connection: &Connection,
    outing: i64,
    later_s: f64,
    channels: &[Channel],
) -> rusqlite::Result<Vec<Row>> {
    let mut all = Vec::new();
    let pieces = pieces(connection, outing)?;
    let last = pieces.len().saturating_sub(1);
    for (ix, piece) in pieces.into_iter().enumerate() {
        let shift = piece.at_s - piece.from_s;
        let end_s = piece.to_s + if ix == last { later_s } else { 0.0 };
        let rows =
            rows_between(connection, piece.boot, piece.from_s, piece.to_s, FINE_S, channels)?;
        all.extend(rows.into_iter().filter_map(|row| {
            let (from_s, to_s) = (row.from_s.max(piece.from_s), row.to_s().min(end_s));
            (to_s > from_s).then_some(Row { from_s: from_s + shift, span_s: to_s - from_s, ..row })
        }));
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::write::{
        change::{Change, Who},
        transaction::Keeper,
    };

    fn boot(folder: &std::path::Path, uuid: &str, to_s: u32) -> Keeper {
        let (connection, _) = crate::schema::open(folder).unwrap();
        let who = Who { boot_uuid: uuid.into(), began_s: 0.0, version: "test".into() };
        let mut keeper = Keeper::begin(connection, &who, 1000).unwrap();
        let row = |k: u32| {
            let mut stats = [None; Channel::ALL.len()];
            stats[Channel::Watts.ix()] = Some(Stats::one(f64::from(k)));
            Change::Row(Row { from_s: 10.0 * f64::from(k), span_s: 10.0, stats })
        };
        let rows: Vec<Change> = (0..to_s / 10).map(row).collect();
        keeper.keep(&rows, 60.0).unwrap();
        keeper
    }

    /// Begin and length of the rows of a walk, rows of one length that follow one another in one: from,
    /// to, length.
    fn walked(on: &Connection, boot: i64, from_to: (f64, f64), step_s: f64) -> Vec<[f64; 3]> {
        let mut all: Vec<[f64; 3]> = Vec::new();
        let mut each = |at_s: f64, span_s: f64, _: usize, _: Stats| match all.last_mut() {
            Some(last) if last[2] == span_s && (last[1] - at_s).abs() < 1e-6 => last[1] += span_s,
            _ => all.push([at_s, at_s + span_s, span_s]),
        };
        visit_rows(on, boot, from_to, step_s, &[Channel::Watts], &mut each).unwrap();
        all
    }

    #[test]
    fn a_walk_takes_the_longest_rows_that_lie_whole_between_the_moments() {
        let folder = std::env::temp_dir().join(format!("outlast-walk-{}", std::process::id()));
        drop(boot(&folder, "boot-a", 9000));
        drop(boot(&folder, "boot-b", 4000));
        let (on, _) = crate::schema::open(&folder).unwrap();
        // Two hours and a half of a boot that is over.
        let within = walked(&on, 1, (100.0, 8000.0), 3600.0);
        let want = [
            [100.0, 300.0, 10.0],
            [300.0, 3600.0, 300.0],
            [3600.0, 7200.0, 3600.0],
            [7200.0, 7800.0, 300.0],
            [7800.0, 8000.0, 10.0],
        ];
        assert_eq!(within, want);
        // To its end the last hour is taken as it is, though it was not full.
        assert_eq!(walked(&on, 1, (0.0, 9000.0), 3600.0), [[0.0, 10_800.0, 3600.0]]);
        assert_eq!(walked(&on, 1, (0.0, 9000.0), 300.0), [[0.0, 9000.0, 300.0]]);
        assert_eq!(walked(&on, 1, (0.0, 9000.0), 299.0), [[0.0, 9000.0, 10.0]]);
        assert_eq!(walked(&on, 1, (310.0, 350.0), 3600.0), [[310.0, 350.0, 10.0]]);
        assert!(walked(&on, 1, (350.0, 350.0), 10.0).is_empty());
        // In the boot that runs the last folded row of each length may lack its end.
        let want = [[0.0, 3300.0, 300.0], [3300.0, 4000.0, 10.0]];
        assert_eq!(walked(&on, 2, (0.0, 4000.0), 3600.0), want);
        std::fs::remove_dir_all(folder).unwrap();
    }
}
