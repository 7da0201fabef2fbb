//! Choices that survive a restart.

use rusqlite::Connection;

type Done<T> = rusqlite::Result<T>;

pub(crate) fn put(connection: &Connection, key: &str, value: &str) -> Done<()> {
    if value.is_empty() {
        connection.execute("DELETE FROM choice WHERE key = ?1", [key])?;
    } else {
        connection.execute("INSERT OR REPLACE INTO choice VALUES (?1, ?2)", [key, value])?;
    }
    Ok(())
}

/// The choice that holds the outing of which a person has said how full its bank was, or that it was
/// charged before.
pub(crate) const SETTLED: &str = "charged_before";

/// All of them, by name.
pub(crate) fn all(connection: &Connection) -> Done<Vec<(String, String)>> {
    connection
        .prepare_cached("SELECT key, value FROM choice ORDER BY key")?
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
        .collect()
}
