//! Forecasts as they were made.

use reckon::{record::ForecastMade, snapshot::Basis, time::Mono};
use rusqlite::{Connection, params};

use super::spans::pieces;

type Done<T> = rusqlite::Result<T>;

pub(crate) fn put(connection: &Connection, boot: i64, row: &ForecastMade) -> Done<()> {
    let [p10, p50, p90] = row.remaining_s;
    let usable = row.usable_wh.map_or([None; 3], |three| three.map(Some));
    connection
        .prepare_cached(
            "INSERT INTO forecast (boot, at_s, p10_s, p50_s, p90_s, basis, delivered_wh,
                 bridged_wh, usable_p10_wh, usable_p50_wh, usable_p90_wh)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        )?
        .execute(params![
            boot,
            row.at.as_s(),
            p10.round(),
            p50.round(),
            p90.round(),
            row.basis.name(),
            row.delivered_wh,
            row.bridged_wh,
            usable[0],
            usable[1],
            usable[2]
        ])
        .map(|_| ())
}

pub(crate) fn of_outing(
    connection: &Connection,
    outing: i64,
) -> rusqlite::Result<Vec<ForecastMade>> {
    let mut all = Vec::new();
    for piece in pieces(connection, outing)? {
        let mut ask = connection.prepare_cached(
            "SELECT at_s, p10_s, p50_s, p90_s, basis, delivered_wh, bridged_wh, usable_p10_wh,
                 usable_p50_wh, usable_p90_wh
             FROM forecast WHERE boot = ?1 AND at_s >= ?2 AND at_s < ?3 ORDER BY at_s",
        )?;
        let mut found = ask.query(params![piece.boot, piece.from_s, piece.heard_to_s])?;
        while let Some(row) = found.next()? {
            let (at_s, basis): (f64, String) = (row.get(0)?, row.get(4)?);
            let usable: [Option<f64>; 3] = [row.get(7)?, row.get(8)?, row.get(9)?];
            all.push(ForecastMade {
                at: Mono::at_s(piece.axis_s(at_s)),
                remaining_s: [row.get(1)?, row.get(2)?, row.get(3)?],
                basis: Basis::named(&basis),
                delivered_wh: row.get(5)?,
                bridged_wh: row.get(6)?,
                usable_wh: match usable {
                    [Some(low), Some(middle), Some(high)] => Some([low, middle, high]),
                    _ => None,
                },
            });
        }
    }
    Ok(all)
}
