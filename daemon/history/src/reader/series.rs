//! Rows of a stretch of time, thinned to what a chart can show, peaks kept.
//!
//! Three lengths of row are in the store. A series takes the longest that is not longer than its
//! own step, and falls back to shorter ones where the longer are not there yet (the running hour).

use rusqlite::{Connection, OptionalExtension};

use reckon::record::{Channel, Row, Series, Stats};

use crate::{
    rows::{FINE_S, FIVE_S, HOUR_S},
    tables::tiers::{fine_rows, last_sign},
};

/// A piece of a boot and where it lies on the series' axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Piece {
    pub(crate) boot: i64,
    pub(crate) from_s: f64,
    pub(crate) to_s: f64,
    /// Axis time of `from_s`.
    pub(crate) at_s: f64,
}

/// The steps offered, s: people can read these off an axis.
const STEPS_S: [f64; 19] = [
    10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 10_800.0, 14_400.0,
    21_600.0, 28_800.0, 43_200.0, 86_400.0, 172_800.0, 604_800.0,
];

/// The series of these pieces between two moments of the axis.
pub(crate) fn series(
    connection: &Connection,
    pieces: &[Piece],
    (from_s, to_s): (f64, f64),
    channels: &[Channel],
    points: usize,
) -> rusqlite::Result<Series> {
    let points = points.clamp(2, 4000);
    let span_s = (to_s - from_s).max(FINE_S);
    #[expect(clippy::cast_precision_loss, reason = "at most 4000")]
    let wanted_s = span_s / points as f64;
    let step_s = STEPS_S.into_iter().find(|step| *step >= wanted_s - 1e-9).unwrap_or(wanted_s);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most 4001")]
    let count = (span_s / step_s - 1e-9).ceil().clamp(1.0, 4001.0) as usize;
    let mut sums: Vec<Vec<Option<(f64, Stats)>>> = vec![vec![None; count]; channels.len()];
    for piece in pieces {
        let shift = piece.at_s - piece.from_s - from_s;
        let (begin, end) = (piece.from_s.max(-shift), piece.to_s.min(to_s - from_s - shift));
        if end <= begin {
            continue;
        }
        visit_rows(
            connection,
            piece.boot,
            (begin, end),
            step_s,
            channels,
            &mut |row_from, row_span, k, fold| {
                add(&mut sums[k], row_from.max(begin) + shift, row_span, step_s, fold);
            },
        )?;
    }
    #[expect(clippy::cast_precision_loss, reason = "at most 4001")]
    let t_s = (0..count).map(|k| from_s + k as f64 * step_s).collect();
    let channels = channels
        .iter()
        .zip(sums)
        .map(|(channel, sums)| {
            (*channel, sums.into_iter().map(|sum| sum.map(|(_, f)| f)).collect())
        })
        .collect();
    Ok(Series { step_s, t_s, channels })
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "checked against the length"
)]
fn add(sums: &mut [Option<(f64, Stats)>], at_s: f64, span_s: f64, step_s: f64, fold: Stats) {
    let place = (at_s / step_s + 1e-9).floor().max(0.0) as usize;
    let Some(sum) = sums.get_mut(place) else { return };
    *sum = Some(match *sum {
        Some((weight, before)) => (weight + span_s, before.join(weight, fold, span_s)),
        None => (span_s, fold),
    });
}

/// What a walk through the rows of a boot needs to know.
struct Walk<'c> {
    connection: &'c Connection,
    boot: i64,
    channels: &'c [Channel],
    /// Earlier boots have been folded to their end; in the newest the last folded row may lack
    /// its end.
    newest: bool,
    sign_s: f64,
}

/// Takes a value: beginning and length of its row, index of its channel, the fold.
type Each<'e> = &'e mut dyn FnMut(f64, f64, usize, Stats);

/// Walks through every value of a boot between two moments, in order, in rows no longer than
/// `step_s` where there are such. Long rows are taken where they lie whole between the moments,
/// shorter ones at the edges, so that nothing comes in from outside.
fn visit_rows(
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
    let walk = Walk { connection, boot, channels, newest: newest == Some(boot), sign_s };
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
            .map(|channel| format!("{0}_mean, {0}_min, {0}_max", channel.name()))
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
) -> rusqlite::Result<Vec<Row>> {
    let mut rows: Vec<Row> = Vec::new();
    visit_rows(
        connection,
        boot,
        (from_s, to_s),
        longest_s,
        &Channel::ALL,
        &mut |at, span, k, fold| match rows.last_mut() {
            Some(row) if (row.from_s - at).abs() < 1e-6 => row.stats[k] = Some(fold),
            Some(_) | None => {
                let mut stats = [None; Channel::ALL.len()];
                stats[k] = Some(fold);
                rows.push(Row { from_s: at, span_s: span, stats });
            }
        },
    )?;
    Ok(rows)
}
