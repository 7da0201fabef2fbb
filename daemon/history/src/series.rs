//! Rows of a stretch of time, thinned to what a chart can show, peaks kept.
//!
//! Three lengths of row are in the store. A series takes the longest that is not longer than its
//! own step, and falls back to shorter ones where the longer are not there yet (the running hour).

use rusqlite::{Connection, OptionalExtension};

use crate::{
    fold::{FINE_S, FIVE_S, HOUR_S},
    keep::{fine_rows, last_sign},
    row::{Channel, Fold, Row},
};

/// Asks for a series.
#[derive(Clone, Debug, PartialEq)]
pub struct SeriesAsk {
    /// Of what.
    pub of: Stretch,
    /// Which channels.
    pub channels: Vec<Channel>,
    /// At most so many points (2 to 4000).
    pub points: usize,
}

/// A stretch of the record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stretch {
    /// An outing; its first second is 0.
    Outing {
        /// Which.
        id: i64,
        /// From, seconds since it began.
        from_s: f64,
        /// To; infinity for its end.
        to_s: f64,
    },
    /// Everything between two wall times, ms since 1970 UTC; the first is 0. Boots whose wall time
    /// is not known are left out.
    Wall {
        /// From.
        from_ms: i64,
        /// To.
        to_ms: i64,
    },
}

/// A series in even steps; `None` is a gap.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Series {
    /// Length of a step, s.
    pub step_s: f64,
    /// Beginning of each step, s.
    pub t_s: Vec<f64>,
    /// For each asked channel, as long as `t_s`.
    pub channels: Vec<(Channel, Vec<Option<Fold>>)>,
}

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
    let mut sums: Vec<Vec<Option<(f64, Fold)>>> = vec![vec![None; count]; channels.len()];
    for piece in pieces {
        let shift = piece.at_s - piece.from_s - from_s;
        let (begin, end) = (piece.from_s.max(-shift), piece.to_s.min(to_s - from_s - shift));
        if end <= begin {
            continue;
        }
        visit_rows(
            connection,
            piece.boot,
            begin,
            end,
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
fn add(sums: &mut [Option<(f64, Fold)>], at_s: f64, span_s: f64, step_s: f64, fold: Fold) {
    let place = (at_s / step_s + 1e-9).floor().max(0.0) as usize;
    let Some(sum) = sums.get_mut(place) else { return };
    *sum = Some(match *sum {
        Some((weight, before)) => (weight + span_s, before.join(weight, fold, span_s)),
        None => (span_s, fold),
    });
}

/// Calls `each(from, span, index of channel, fold)` for every value of a boot between two moments,
/// in rows no longer than `step_s`.
fn visit_rows(
    connection: &Connection,
    boot: i64,
    from_s: f64,
    to_s: f64,
    step_s: f64,
    channels: &[Channel],
    each: &mut dyn FnMut(f64, f64, usize, Fold),
) -> rusqlite::Result<()> {
    let mut done_s = from_s;
    for (table, span_s) in [("hour", HOUR_S), ("five", FIVE_S)] {
        // A row that sticks out of the stretch would carry values from outside it; shorter rows
        // serve its edges.
        if span_s > step_s + 1e-6 {
            continue;
        }
        done_s = visit_folded(connection, (table, span_s), boot, (done_s, to_s), channels, each)?;
    }
    // What is older than the fine rows is only there in five-minute rows.
    if step_s < FIVE_S {
        let first = first_fine(connection, boot)?.unwrap_or(f64::INFINITY);
        // A row that reaches into the fine ones would count their time twice.
        let until = (first - FIVE_S + 1.0).min(to_s);
        if until > from_s {
            visit_folded(connection, ("five", FIVE_S), boot, (from_s, until), channels, each)?;
        }
    }
    for row in fine_rows(connection, boot, done_s, to_s, channels)? {
        for (k, channel) in channels.iter().enumerate() {
            if let Some(fold) = row.get(*channel) {
                each(row.from_s, row.span_s, k, fold);
            }
        }
    }
    Ok(())
}

fn first_fine(connection: &Connection, boot: i64) -> rusqlite::Result<Option<f64>> {
    connection
        .prepare_cached(
            "SELECT (id & 4294967295) / 10.0 FROM fine WHERE id BETWEEN ?1 AND ?2 ORDER BY id LIMIT 1",
        )?
        .query_row([boot << 32, ((boot + 1) << 32) - 1], |row| row.get(0))
        .optional()
}

/// Visits the folded rows of a table from a moment on; gives the moment till which they are
/// complete. The last one may have been folded before its time was over, so it is left to shorter
/// rows if those are still there.
fn visit_folded(
    connection: &Connection,
    (table, span_s): (&str, f64),
    boot: i64,
    (from_s, to_s): (f64, f64),
    channels: &[Channel],
    each: &mut dyn FnMut(f64, f64, usize, Fold),
) -> rusqlite::Result<f64> {
    let last: Option<f64> = connection
        .prepare_cached(&format!("SELECT max(from_s) FROM {table} WHERE boot = ?1"))?
        .query_row([boot], |row| row.get(0))?;
    let Some(last) = last else { return Ok(from_s) };
    let shorter = if table == "hour" { "five" } else { "fine" };
    let has_shorter: bool = if shorter == "five" {
        let sql = "SELECT EXISTS (SELECT 1 FROM five WHERE boot = ?1 AND from_s >= ?2)";
        connection
            .prepare_cached(sql)?
            .query_row(rusqlite::params![boot, last], |row| row.get(0))?
    } else {
        last_sign(connection, boot)?.is_some_and(|(sign, _)| sign > last)
    };
    let until = if has_shorter { last } else { last + span_s };
    let columns: Vec<String> =
        channels.iter().map(|c| format!("{0}_mean, {0}_min, {0}_max", c.name())).collect();
    let mut ask = connection.prepare_cached(&format!(
        "SELECT from_s, {} FROM {table} WHERE boot = ?1 AND from_s >= ?2 AND from_s < ?3 ORDER BY from_s",
        columns.join(", ")
    ))?;
    let mut found = ask.query(rusqlite::params![boot, from_s - span_s + 1e-6, to_s.min(until)])?;
    let mut done_s = from_s;
    while let Some(row) = found.next()? {
        let at_s: f64 = row.get(0)?;
        for k in 0..channels.len() {
            let mean: Option<f64> = row.get(1 + 3 * k)?;
            if let Some(mean) = mean {
                each(
                    at_s,
                    span_s,
                    k,
                    Fold { mean, min: row.get(2 + 3 * k)?, max: row.get(3 + 3 * k)? },
                );
            }
        }
        done_s = at_s + span_s;
    }
    Ok(done_s.max(until.min(to_s)).max(from_s))
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
        from_s,
        to_s,
        longest_s,
        &Channel::ALL,
        &mut |at, span, k, fold| match rows.last_mut() {
            Some(row) if (row.from_s - at).abs() < 1e-6 => row.folds[k] = Some(fold),
            Some(_) | None => {
                let mut folds = [None; Channel::ALL.len()];
                folds[k] = Some(fold);
                rows.push(Row { from_s: at, span_s: span, folds });
            }
        },
    )?;
    Ok(rows)
}
