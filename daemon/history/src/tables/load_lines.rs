//! What the processor's load takes, as the fit stood; one row for each stretch of a run.

use reckon::{energy_tally::RegressionLine, record::LoadLine, units::Share};
use rusqlite::{Connection, Row, params};

use crate::tables::spans::{pieces, version};

type Done<T> = rusqlite::Result<T>;

/// Takes the place of what stood of the same stretch.
pub(crate) fn put(connection: &Connection, boot: i64, row: &LoadLine) -> Done<()> {
    let line = row.line.as_ref();
    let of = |pick: fn(&RegressionLine) -> f64| line.map(pick).filter(|number| number.is_finite());
    connection
        .prepare_cached(
            "INSERT OR REPLACE INTO load_line (boot, from_s, to_s, idle_w, idle_error_w, load_w,
                 load_error_w, explained, minutes) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        )?
        .execute(params![
            boot,
            row.from_s,
            row.to_s,
            of(|line| line.intercept),
            of(|line| line.intercept_se),
            of(|line| line.slope),
            of(|line| line.slope_se),
            of(|line| line.explained.part()),
            of(|line| line.pairs),
        ])
        .map(|_| ())
}

/// Those of an outing, oldest first.
pub(crate) fn of_outing(connection: &Connection, outing: i64) -> Done<Vec<LoadLine>> {
    let mut all = Vec::new();
    if version(connection)? < 3 {
        return Ok(all);
    }
    let mut ask = connection.prepare_cached(
        "SELECT from_s, to_s, idle_w, idle_error_w, load_w, load_error_w, explained, minutes
         FROM load_line WHERE boot = ?1 AND (from_s + to_s) / 2 >= ?2 AND (from_s + to_s) / 2 < ?3
         ORDER BY from_s",
    )?;
    for piece in pieces(connection, outing)? {
        let shift = piece.at_s - piece.from_s;
        let heard = params![piece.boot, piece.from_s, piece.heard_to_s];
        let found = ask.query_map(heard, |row| {
            let (from_s, to_s): (f64, f64) = (row.get(0)?, row.get(1)?);
            Ok(LoadLine { from_s: from_s + shift, to_s: to_s + shift, line: line_of(row)? })
        })?;
        for line in found {
            all.push(line?);
        }
    }
    Ok(all)
}

fn line_of(row: &Row<'_>) -> Done<Option<RegressionLine>> {
    let mut numbers = [0.0; 6];
    for (at, number) in (2..).zip(&mut numbers) {
        let Some(kept) = row.get::<_, Option<f64>>(at)? else { return Ok(None) };
        *number = kept;
    }
    let [intercept, intercept_se, slope, slope_se, explained, pairs] = numbers;
    let explained = Share::nearest(explained);
    Ok(Some(RegressionLine { intercept, slope, slope_se, intercept_se, explained, pairs }))
}
