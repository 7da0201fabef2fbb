//! Outings: their facts, and the sums over their rows.

use reckon::record::{Channel, Ending, Outing, OutingEnergy, Page};
use rusqlite::{Connection, OptionalExtension, params};

use super::{
    spans::{switched_on, version, wall},
    walk::{OVER_RANGE_SINCE, within_outing},
};

type Done<T> = rusqlite::Result<T>;

const OUTING_COLUMNS: &str = "o.id, b.name, o.name, o.start_share, o.began_s, bb.wall_at_boot_ms, \
     o.ended_s, eb.wall_at_boot_ms, o.ended_by_s, o.ending, o.died_chance, o.lasted_s, \
     o.energy_wh, o.bridged_wh, o.mean_power_w, o.peak_power_w";

/// The last column, which a record of an earlier version has not.
fn over_range_column(connection: &Connection) -> Done<&'static str> {
    Ok(if version(connection)? < OVER_RANGE_SINCE { "NULL" } else { "o.over_range_wh" })
}

const OUTING_TABLES: &str = "outing AS o LEFT JOIN bank AS b ON b.id = o.bank \
     LEFT JOIN boot AS bb ON bb.id = o.began_boot LEFT JOIN boot AS eb ON eb.id = o.ended_boot";

pub(crate) fn outings(
    connection: &Connection,
    before: Option<i64>,
    most: usize,
) -> rusqlite::Result<Page<Outing>> {
    let last = over_range_column(connection)?;
    let sql = format!(
        "SELECT {OUTING_COLUMNS}, {last} FROM {OUTING_TABLES} WHERE o.id < ?1
         ORDER BY o.id DESC LIMIT ?2"
    );
    let mut items: Vec<Outing> = connection
        .prepare_cached(&sql)?
        .query_map(
            params![before.unwrap_or(i64::MAX), u32::try_from(most + 1).unwrap_or(501)],
            outing_of,
        )?
        .collect::<rusqlite::Result<_>>()?;
    let more = items.len() > most;
    items.truncate(most);
    for item in &mut items {
        complete(connection, item)?;
    }
    let next = if more { items.last().map(|outing| outing.id) } else { None };
    Ok(Page { items, next })
}

pub(crate) fn outing(connection: &Connection, id: i64) -> rusqlite::Result<Option<Outing>> {
    let last = over_range_column(connection)?;
    let sql = format!("SELECT {OUTING_COLUMNS}, {last} FROM {OUTING_TABLES} WHERE o.id = ?1");
    let found = connection.query_row(&sql, [id], outing_of).optional()?;
    let Some(mut outing) = found else { return Ok(None) };
    complete(connection, &mut outing)?;
    Ok(Some(outing))
}

fn outing_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Outing> {
    let (ended_s, ended_by_s): (Option<f64>, Option<f64>) = (row.get(6)?, row.get(8)?);
    let ending: String = row.get(9)?;
    Ok(Outing {
        id: row.get(0)?,
        bank: row.get(1)?,
        name: row.get(2)?,
        start_share: row.get(3)?,
        began: wall(row.get(5)?, row.get(4)?),
        ended: wall(row.get(7)?, ended_s),
        ended_within_s: ended_s.zip(ended_by_s).map(|(from, to)| to - from),
        ending: Ending::from_columns(&ending, row.get(10)?),
        lasted_s: row.get::<_, Option<f64>>(11)?.unwrap_or(0.0),
        energy_wh: row.get(12)?,
        bridged_wh: row.get(13)?,
        over_range_wh: row.get(16)?,
        mean_power_w: row.get(14)?,
        peak_power_w: row.get(15)?,
    })
}

/// An open outing has its sums only in its rows.
fn complete(connection: &Connection, outing: &mut Outing) -> rusqlite::Result<()> {
    if outing.ending != Ending::Open {
        return Ok(());
    }
    let sums = sums(connection, outing.id)?;
    outing.lasted_s = sums.lasted_s;
    outing.energy_wh = sums.whole_wh();
    outing.bridged_wh = sums.whole_wh().map(|_| sums.bridged_wh());
    outing.over_range_wh = Some(sums.over_range_wh);
    outing.mean_power_w = sums.mean_w();
    outing.peak_power_w = sums.peak_w;
    Ok(())
}

/// An outing's sums over its rows.
pub(crate) fn sums(connection: &Connection, outing: i64) -> Done<OutingEnergy> {
    let on = switched_on(connection, outing)?;
    let rows = within_outing(connection, outing, 0.0, &Channel::DRAW)?;
    Ok(OutingEnergy::of_rows(&on, &rows))
}
