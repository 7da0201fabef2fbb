//! Banks and run-downs as the store keeps them; the border to [`reckon::bank`].

use reckon::{
    bank::{BankSpec, Cells, MeasuredAt},
    record::RecordedBank,
    units::{AmpHours, Celsius, Volts},
};
use rusqlite::{Connection, OptionalExtension, params};

type Done<T> = rusqlite::Result<T>;

pub(crate) fn put(connection: &Connection, spec: &BankSpec) -> Done<()> {
    connection
        .execute(
            "INSERT INTO bank (name, cells, series, label_ah, label_v, measured_at, ambient_c,
                 cutoff_v) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)
             ON CONFLICT (name) DO UPDATE SET cells = excluded.cells,
                 series = excluded.series, label_ah = excluded.label_ah,
                 label_v = excluded.label_v, measured_at = excluded.measured_at,
                 ambient_c = excluded.ambient_c, cutoff_v = excluded.cutoff_v, forgotten = 0",
            params![
                spec.name,
                spec.cells.name(),
                spec.series,
                spec.label.si(),
                spec.label_volts.si(),
                spec.measured_at.name(),
                spec.ambient.map(Celsius::si),
                spec.cutoff.map(Volts::si)
            ],
        )
        .map(|_| ())
}

pub(crate) fn id_of(connection: &Connection, name: &str) -> Done<Option<i64>> {
    connection.query_row("SELECT id FROM bank WHERE name = ?1", [name], |row| row.get(0)).optional()
}

/// A bank from a row of the table, columns in the order of [`BANK_COLUMNS`]; `None` for words of a
/// newer version.
fn bank_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Option<RecordedBank>> {
    let (cells, place): (String, String) = (row.get(2)?, row.get(6)?);
    let (Some(cells), Some(measured_at)) = (Cells::named(&cells), MeasuredAt::named(&place)) else {
        return Ok(None);
    };
    Ok(Some(RecordedBank {
        id: row.get(0)?,
        spec: BankSpec {
            name: row.get(1)?,
            cells,
            series: row.get(3)?,
            label: AmpHours::of(row.get(4)?),
            label_volts: Volts::of(row.get(5)?),
            measured_at,
            ambient: row.get::<_, Option<f64>>(7)?.and_then(Celsius::new),
            cutoff: row.get::<_, Option<f64>>(8)?.and_then(Volts::new),
        },
        forgotten: row.get(9)?,
    }))
}

const BANK_COLUMNS: &str = "id, name, cells, series, label_ah, label_v, measured_at, \
                                       ambient_c, cutoff_v, forgotten";

/// All banks, in the order they were told of.
pub(crate) fn all(connection: &Connection) -> Done<Vec<RecordedBank>> {
    let mut ask =
        connection.prepare_cached(&format!("SELECT {BANK_COLUMNS} FROM bank ORDER BY id"))?;
    let banks = ask.query_map([], bank_of)?.collect::<Done<Vec<_>>>()?;
    Ok(banks.into_iter().flatten().collect())
}
