//! The tiers of the store: ten-second rows as they lie in the file, folded into five-minute and
//! hour rows, and thinned.

use rusqlite::{Connection, OptionalExtension, params};

use reckon::record::{Channel, Row};

use crate::{
    rows::{FINE_S, FIVE_S, HOUR_S, coarser, window, window_start},
    tables::row_codec,
};

type Done<T> = rusqlite::Result<T>;

/// The end of the last row of a boot, and how long after it the next was due.
pub(crate) fn last_sign(connection: &Connection, boot: i64) -> Done<Option<(f64, f64)>> {
    connection
        .prepare_cached(
            "SELECT id & 4294967295, step_ds, n, due_s FROM fine
             WHERE id BETWEEN ?1 AND ?2 ORDER BY id DESC LIMIT 1",
        )?
        .query_row([boot << 32, ((boot + 1) << 32) - 1], |row| {
            let (step_ds, n) = (plausible_step(row.get(1)?), plausible_count(row.get(2)?));
            Ok(((row.get::<_, f64>(0)? + step_ds * f64::from(n)) / 10.0, row.get(3)?))
        })
        .optional()
}

/// The longest row that is ever kept, tenths of a second: a bit that flipped must not make a row of
/// years, nor a record of millions of rows.
const LONGEST_STEP_DS: f64 = FIVE_S * 10.0;

/// The earliest record that may reach to this moment of a boot: it has at most so many ten-second rows.
fn earliest_reaching(boot: i64, at: i64) -> i64 {
    let longest_ds = i64::try_from(row_codec::MOST).unwrap_or(i64::MAX).saturating_mul(100);
    at.saturating_sub(longest_ds).max(boot << 32)
}

fn plausible_step(step_ds: f64) -> f64 {
    if (1.0..=LONGEST_STEP_DS).contains(&step_ds) { step_ds } else { FINE_S * 10.0 }
}

fn plausible_count(n: i64) -> u32 {
    let most = u32::try_from(row_codec::MOST).unwrap_or(u32::MAX);
    u32::try_from(n).ok().filter(|n| (1..=most).contains(n)).unwrap_or(1)
}

/// The rows of `fine` between two moments of a boot.
pub(crate) fn fine_rows(
    connection: &Connection,
    boot: i64,
    from_s: f64,
    to_s: f64,
    channels: &[Channel],
) -> Done<Vec<Row>> {
    let first = fine_id(boot, from_s);
    let early = earliest_reaching(boot, first);
    let mut ask = connection.prepare_cached(
        "SELECT id & 4294967295, step_ds, n, data FROM fine WHERE id BETWEEN ?1 AND ?2 ORDER BY id",
    )?;
    let mut found = ask.query([early, fine_id(boot, to_s)])?;
    let mut rows = Vec::new();
    while let Some(row) = found.next()? {
        let (from_ds, step_ds): (f64, f64) = (row.get(0)?, plausible_step(row.get(1)?));
        let count = plausible_count(row.get(2)?);
        if (from_ds + step_ds * f64::from(count)) / 10.0 < from_s - 1e-6 {
            continue;
        }
        let text = row.get_ref(3)?.as_str().unwrap_or_default();
        let some =
            row_codec::unpack(text, from_ds / 10.0, step_ds / 10.0, count as usize, channels)
                .unwrap_or_default();
        rows.extend(
            some.into_iter().filter(|row| row.from_s >= from_s - 1e-6 && row.from_s < to_s - 1e-6),
        );
    }
    Ok(rows)
}

#[expect(clippy::cast_possible_truncation, reason = "clamped to 32 bits before")]
pub(crate) fn fine_id(boot: i64, at_s: f64) -> i64 {
    (boot << 32) + (at_s * 10.0).round().clamp(0.0, 4_294_967_295.0) as i64
}

/// Keeps ten-second rows, those that follow one another in one record.
pub(crate) fn put_fine(connection: &Connection, boot: i64, rows: &[Row], due_s: f64) -> Done<()> {
    let mut left = rows;
    let mut put = connection.prepare_cached(
        "INSERT INTO fine (id, step_ds, n, due_s, data) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    while !left.is_empty() {
        let (together, rest) = left.split_at(row_codec::run_length(left));
        left = rest;
        let id = fine_id(boot, together[0].from_s);
        let step_ds = (together[0].span_s * 10.0).round();
        let text = row_codec::pack(together);
        put.execute(params![
            id,
            step_ds,
            u32::try_from(together.len()).unwrap_or(0),
            due_s.round(),
            text
        ])?;
    }
    Ok(())
}

/// Folds the rows of the hours `from..to` of a boot (and of a partial hour at `to`, if asked by
/// passing one more) into `five` and `hour`. Doing it again gives the same.
pub(crate) fn fold_hours(connection: &Connection, boot: i64, from: i64, to: i64) -> Done<()> {
    let mut next = from;
    while let Some(hour) = hour_with_rows(connection, boot, next)?.filter(|hour| *hour < to) {
        next = hour + 1;
        let start = window_start(hour, HOUR_S);
        let rows = fine_rows(connection, boot, start, start + HOUR_S, &Channel::ALL)?;
        let fives = coarser(&rows, FIVE_S);
        for row in &fives {
            put_folded(connection, "five", boot, row)?;
        }
        for row in coarser(&fives, HOUR_S) {
            put_folded(connection, "hour", boot, &row)?;
        }
    }
    Ok(())
}

fn put_folded(connection: &Connection, table: &str, boot: i64, row: &Row) -> Done<()> {
    let holders = (1..=2 + 3 * Channel::ALL.len()).map(|k| format!("?{k}")).collect::<Vec<_>>();
    let sql = format!("INSERT OR REPLACE INTO {table} VALUES ({})", holders.join(", "));
    let mut put = connection.prepare_cached(&sql)?;
    put.raw_bind_parameter(1, boot)?;
    put.raw_bind_parameter(2, window(row.from_s, 1.0))?;
    let mut place = 3;
    for fold in row.stats {
        // Six digits are more than any sensor gives.
        for value in [fold.map(|f| f.mean), fold.map(|f| f.min), fold.map(|f| f.max)] {
            put.raw_bind_parameter(place, value.map(|v| (v * 1e6).round() / 1e6))?;
            place += 1;
        }
    }
    put.raw_execute().map(|_| ())
}

/// Folds what earlier runs left: every boot's hours since its last folded one.
pub(crate) fn fold_leftovers(connection: &Connection, this_boot: i64) -> Done<()> {
    let mut boots = connection.prepare_cached("SELECT id FROM boot ORDER BY id DESC LIMIT 100")?;
    let boots: Vec<i64> = boots.query_map([], |row| row.get(0))?.collect::<Done<_>>()?;
    for boot in boots {
        let folded: Option<f64> = connection.query_row(
            "SELECT max(from_s) FROM hour WHERE boot = ?1",
            [boot],
            |row| row.get(0),
        )?;
        let Some((sign, _)) = last_sign(connection, boot)? else { continue };
        let from = folded.map_or(0, |from_s| window(from_s, HOUR_S));
        let mut to = window(sign, HOUR_S);
        if boot != this_boot {
            to += 1;
        }
        fold_hours(connection, boot, from, to)?;
    }
    Ok(())
}

/// The first hour from `hour` on that a row of the boot lies in: between two there may be days.
fn hour_with_rows(connection: &Connection, boot: i64, hour: i64) -> Done<Option<i64>> {
    let first = fine_id(boot, window_start(hour, HOUR_S));
    let early = earliest_reaching(boot, first);
    connection
        .query_row(
            "SELECT (id & 4294967295) / 10.0 FROM fine WHERE id BETWEEN ?1 AND ?2
                 AND (id >= ?3 OR id + n * step_ds > ?3) ORDER BY id LIMIT 1",
            [early, ((boot + 1) << 32) - 1, first],
            |row| row.get::<_, f64>(0),
        )
        .optional()
        .map(|found| found.map(|at_s| window(at_s, HOUR_S).max(hour)))
}

/// Removes fine rows older than this many hours of record; their five-minute rows
/// stay. Counted in recorded hours, so that a station used once a month keeps its last outings in
/// full, and a wrong clock takes nothing away.
pub(crate) fn thin(connection: &Connection, fine_hours: u32) -> Done<()> {
    let limit: Option<(i64, f64)> = connection
        .query_row(
            "SELECT boot, from_s FROM hour ORDER BY boot DESC, from_s DESC LIMIT 1 OFFSET ?1",
            [fine_hours],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .optional()?;
    if let Some((boot, from_s)) = limit {
        connection.execute("DELETE FROM fine WHERE id < ?1", [fine_id(boot, from_s)])?;
    }
    Ok(())
}
