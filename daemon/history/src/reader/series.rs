//! Rows of a stretch of time, thinned to what a chart can show, peaks kept.

use reckon::record::{Channel, Series, SeriesAsk, Stats, Stretch};
use rusqlite::{Connection, OptionalExtension};

use crate::{
    rows::FINE_S,
    tables::{
        spans::{Piece, pieces},
        tiers::last_sign,
        walk::visit_rows,
    },
};

/// The steps offered, s: people can read these off an axis.
const STEPS_S: [f64; 19] = [
    10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 10_800.0, 14_400.0,
    21_600.0, 28_800.0, 43_200.0, 86_400.0, 172_800.0, 604_800.0,
];

/// The series of these pieces between two moments of the axis.
fn series(
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

pub(crate) fn series_of(connection: &Connection, ask: &SeriesAsk) -> rusqlite::Result<Series> {
    let (pieces, from_s, to_s) = match ask.of {
        Stretch::Outing { id, from_s, to_s } => {
            let pieces = pieces(connection, id)?;
            let end = pieces.last().map_or(0.0, |piece| piece.at_s + piece.to_s - piece.from_s);
            (pieces, from_s.max(0.0), to_s.min(end))
        }
        Stretch::Wall { from_ms, to_ms } => {
            let pieces = wall_pieces(connection, from_ms, to_ms)?;
            (pieces, 0.0, seconds(to_ms.saturating_sub(from_ms)))
        }
    };
    if to_s <= from_s {
        return Ok(Series::default());
    }
    series(connection, &pieces, (from_s, to_s), &ask.channels, ask.points)
}

#[expect(clippy::cast_precision_loss, reason = "milliseconds since 1970 are exact in a double")]
fn seconds(ms: i64) -> f64 {
    ms as f64 / 1000.0
}

/// Every boot with a known wall time, on an axis that begins at `from_ms`.
fn wall_pieces(connection: &Connection, from_ms: i64, to_ms: i64) -> rusqlite::Result<Vec<Piece>> {
    let mut ask = connection
        .prepare_cached("SELECT id, wall_at_boot_ms FROM boot WHERE wall_at_boot_ms < ?1")?;
    let boots: Vec<(i64, i64)> = ask
        .query_map([to_ms], |row| Ok((row.get(0)?, row.get(1)?)))?
        .collect::<rusqlite::Result<_>>()?;
    let mut pieces = Vec::with_capacity(boots.len());
    for (boot, wall_ms) in boots {
        let Some((sign, _)) = last_sign(connection, boot)?.or(last_folded(connection, boot)?)
        else {
            continue;
        };
        let at_s = seconds(wall_ms.saturating_sub(from_ms));
        if at_s + sign <= 0.0 {
            continue;
        }
        pieces.push(Piece::whole(boot, sign, at_s));
    }
    pieces.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    Ok(pieces)
}

fn last_folded(connection: &Connection, boot: i64) -> rusqlite::Result<Option<(f64, f64)>> {
    connection
        .prepare_cached(
            "SELECT from_s + 300.0 FROM five WHERE boot = ?1 ORDER BY from_s DESC LIMIT 1",
        )?
        .query_row([boot], |row| Ok((row.get(0)?, 0.0)))
        .optional()
}
