//! Reads what was forecast in an outing, to be shown beside what came; and changes what belongs to
//! no boot while no daemon runs.

use std::path::Path;

use reckon::{snapshot::Basis, time::Mono};
use rusqlite::{Connection, params};

use crate::{
    keep::{self, Entry},
    reader::{Reader, pieces},
    row::ForecastRow,
    schema,
    trouble::Trouble,
};

impl Reader {
    /// The forecasts made in an outing, oldest first; their moments are seconds since it began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn forecasts(&self, outing: i64) -> Result<Vec<ForecastRow>, Trouble> {
        let connection = self.connect()?;
        forecasts(&connection, outing).map_err(Trouble::reading)
    }
}

/// Changes banks, run-downs, names and answers in the store of this folder, which no daemon may
/// have open. It leaves no sign of a run, so the account of the last end stays what it was.
///
/// # Errors
/// When the store cannot be opened or written to.
pub fn amend(folder: &Path, entries: &[Entry]) -> Result<(), Trouble> {
    let (mut connection, _) = schema::open(folder)?;
    keep::amend(&mut connection, entries).map_err(Trouble::writing)
}

fn forecasts(connection: &Connection, outing: i64) -> rusqlite::Result<Vec<ForecastRow>> {
    let mut all = Vec::new();
    for piece in pieces(connection, outing)? {
        let mut ask = connection.prepare(
            "SELECT at_s, p10_s, p50_s, p90_s, basis, delivered_wh, bridged_wh,
                 usable_p10_wh, usable_p50_wh, usable_p90_wh
             FROM forecast WHERE boot = ?1 AND at_s >= ?2 AND at_s <= ?3 ORDER BY id",
        )?;
        let some = ask.query_map(params![piece.boot, piece.from_s, piece.to_s], |row| {
            let at_s: f64 = row.get(0)?;
            let basis: String = row.get(4)?;
            let usable = [row.get(7)?, row.get(8)?, row.get(9)?];
            Ok(ForecastRow {
                at: Mono::at_s(at_s - piece.from_s + piece.at_s),
                remaining_s: [row.get(1)?, row.get(2)?, row.get(3)?],
                basis: match basis.as_str() {
                    "modelled" => Basis::Modelled,
                    "gauge" => Basis::Gauge,
                    _ => Basis::Measured,
                },
                delivered_wh: row.get(5)?,
                bridged_wh: row.get(6)?,
                usable_wh: if let [Some(a), Some(b), Some(c)] = usable {
                    Some([a, b, c])
                } else {
                    None
                },
            })
        })?;
        for row in some {
            all.push(row?);
        }
    }
    Ok(all)
}
