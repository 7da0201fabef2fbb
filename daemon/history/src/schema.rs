//! The store's file: how it is opened, brought up to date, copied and set aside.
//!
//! The tables are told in `schema.sql` and the steps beside it, which is also what the file itself
//! carries: whoever opens a copy finds the explanations beside the columns.

use std::{
    fs, io,
    os::unix::fs::{DirBuilderExt, MetadataExt},
    path::{Path, PathBuf},
};

use reckon::words;

use rusqlite::{Connection, ErrorCode, OpenFlags, config::DbConfig};

use crate::trouble::Trouble;

/// The file's name in the state folder.
pub const FILE: &str = "record.db";

/// Marks our files in SQLite's header (`file` and others show it): 'OLST'.
pub(crate) const APPLICATION_ID: i32 = 0x4F4C_5354;

/// From version k to version k + 1; the first makes an empty file version 1. A step is never
/// changed once it has been shipped.
pub(crate) const STEPS: &[&str] = &[
    include_str!("schema.sql"),
    include_str!("schema_2.sql"),
    include_str!("schema_3.sql"),
    include_str!("schema_4.sql"),
    include_str!("schema_5.sql"),
];

/// A page of the store, bytes. Small: a commit writes whole pages into the log, and the card whole
/// blocks of 4096 bytes, so a small page mostly costs one block (see `examples/card_cost.rs`).
const PAGE: u32 = 1024;

/// Pages the log may hold before they are carried over into the file.
const LOG_PAGES: u32 = 1000;

/// A file that was set aside, and why; said on the page.
#[derive(Clone, Debug, PartialEq)]
pub struct SetAside {
    /// Where it is now.
    pub path: PathBuf,
    /// Why, as a sentence.
    pub why: String,
}

/// Opens the store for writing; what cannot be used is set aside and a new file begun. A file
/// after an unclean end is checked whole.
pub(crate) fn open(folder: &Path) -> Result<(Connection, Vec<SetAside>), Trouble> {
    make_folder(folder).map_err(|cause| no_folder(folder, cause))?;
    let path = folder.join(FILE);
    let mut aside = Vec::new();
    // Each round either succeeds, fails for good or moves one file out of the way.
    for _ in 0..3 {
        match attempt(&path, STEPS) {
            Ok(connection) => return Ok((connection, aside)),
            Err(Refused::Trouble(trouble)) => return Err(trouble),
            Err(Refused::Unusable { label, why }) => {
                let to = set_aside(&path, label).map_err(|cause| no_folder(folder, cause))?;
                aside.push(SetAside { path: to, why });
            }
        }
    }
    Err(Trouble::new(
        words::record::NOT_BEGUN,
        words::record::NOTHING_RECORDED,
        words::record::CHECK_CARD,
    ))
}

/// Makes the folder if it is missing, for us alone.
pub(crate) fn make_folder(folder: &Path) -> io::Result<()> {
    fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)
}

/// Which file is in the record's place: its device and number.
pub(crate) fn identity(folder: &Path) -> Option<(u64, u64)> {
    fs::metadata(folder.join(FILE)).ok().map(|file| (file.dev(), file.ino()))
}

fn no_folder(folder: &Path, cause: io::Error) -> Trouble {
    Trouble::new(
        words::record::folder_not_writable(&folder.display()),
        words::record::NOTHING_RECORDED,
        words::record::CHECK_CARD_AND_OWNER,
    )
    .because(cause)
}

enum Refused {
    /// Not now, but the file may be good: a full or read-only card, or somebody holds it.
    Trouble(Trouble),
    /// Never: to be set aside.
    Unusable { label: &'static str, why: String },
}

impl From<rusqlite::Error> for Refused {
    fn from(cause: rusqlite::Error) -> Self {
        match cause.sqlite_error_code() {
            // `Unknown` is a statement that does not fit the tables, or a header that cannot be; no
            // code at all is a value that is not what its column holds.
            Some(ErrorCode::NotADatabase | ErrorCode::DatabaseCorrupt | ErrorCode::Unknown)
            | None => {
                Self::Unusable { label: "unreadable", why: words::record::damaged_by(&cause) }
            }
            _ => Self::Trouble(Trouble::writing(cause)),
        }
    }
}

fn attempt(path: &Path, steps: &[&str]) -> Result<Connection, Refused> {
    let bytes = |path: &Path| fs::metadata(path).ok().map(|file| file.len());
    // SQLite would take the file for a new one, and its log for a stranger's.
    if bytes(path) == Some(0) && bytes(&beside(path, "-wal")) > Some(0) {
        return Err(Refused::Unusable { label: "unreadable", why: words::record::CUT_OFF.into() });
    }
    let connection =
        connect(path, OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE)?;
    if connection.is_readonly("main")? {
        return Err(Refused::Trouble(Trouble::new(
            words::record::READ_ONLY,
            words::record::NOTHING_RECORDED,
            words::record::CHECK_READ_ONLY,
        )));
    }
    let newest = i64::try_from(steps.len()).unwrap_or(i64::MAX);
    let version: i64 = connection.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    let id: i32 = connection.query_row("PRAGMA application_id", [], |row| row.get(0))?;
    let tables: i64 =
        connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if tables > 0 && id != APPLICATION_ID {
        return Err(Refused::Unusable {
            label: "foreign",
            why: words::record::NOT_A_RECORD.into(),
        });
    }
    if tables > 0 && version < 1 {
        return Err(Refused::Unusable {
            label: "unreadable",
            why: words::record::NO_VERSION.into(),
        });
    }
    if version > newest {
        return Err(Refused::Unusable {
            label: "newer",
            why: words::record::newer(&version, &newest),
        });
    }
    if version > 0 {
        check_tables(&connection, steps, version)?;
        if !ended_cleanly(&connection)? {
            check(&connection)?;
        }
    }
    prepare(&connection)?;
    migrate(&connection, path, version, steps)?;
    Ok(connection)
}

/// Connects through SQLite's `unix-excl` way of locking: one process has the file, several of its
/// connections may use it, and the index of the log stays in memory.
pub(crate) fn connect(path: &Path, flags: OpenFlags) -> rusqlite::Result<Connection> {
    let flags = flags | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags_and_vfs(path, flags, "unix-excl")?;
    // The log stays in place at the end: making and growing it anew would be written each time, a
    // file on a card gone read-only can still be read through it, and a file that is to be set
    // aside is not touched by closing it.
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
    connection.busy_timeout(std::time::Duration::from_secs(2))?;
    connection.execute_batch(
        "PRAGMA cache_size = -256; PRAGMA mmap_size = 0; PRAGMA temp_store = MEMORY;
         PRAGMA trusted_schema = OFF; PRAGMA cell_size_check = ON;",
    )?;
    Ok(connection)
}

/// The pragmas that the promise stands on.
fn prepare(connection: &Connection) -> rusqlite::Result<()> {
    connection.execute_batch(&format!("PRAGMA page_size = {PAGE}; PRAGMA auto_vacuum = NONE;"))?;
    connection.query_row("PRAGMA journal_mode = WAL", [], |_| Ok(()))?;
    connection.execute_batch(&format!(
        // FULL: the log is synced at each commit; NORMAL could lose the last ones (P2).
        "PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;
         PRAGMA wal_autocheckpoint = {LOG_PAGES}; PRAGMA journal_size_limit = -1;"
    ))?;
    Ok(())
}

/// Whether the last run of the daemon on this file said that it ended.
fn ended_cleanly(connection: &Connection) -> rusqlite::Result<bool> {
    let open: i64 = connection.query_row(
        "SELECT count(*) FROM run WHERE ended_s IS NULL AND id = (SELECT max(id) FROM run)",
        [],
        |row| row.get(0),
    )?;
    Ok(open == 0)
}

/// Compares the tables with those that its version has: a byte flipped in their text would not be
/// seen by SQLite's own check, and would make every later statement fail.
fn check_tables(connection: &Connection, steps: &[&str], version: i64) -> Result<(), Refused> {
    let list = |of: &Connection| -> rusqlite::Result<Vec<(String, Option<String>)>> {
        of.prepare("SELECT name, sql FROM sqlite_schema ORDER BY name")?
            .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
            .collect()
    };
    let fresh = Connection::open_in_memory()?;
    for step in steps.iter().take(usize::try_from(version).unwrap_or(0)) {
        fresh.execute_batch(step)?;
    }
    if list(connection)? == list(&fresh)? {
        return Ok(());
    }
    Err(Refused::Unusable { label: "unreadable", why: words::record::OTHER_TABLES.into() })
}

/// Reads the whole file and complains about the first damage.
fn check(connection: &Connection) -> Result<(), Refused> {
    let verdict: String =
        connection.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
    if verdict == "ok" {
        return Ok(());
    }
    Err(Refused::Unusable { label: "unreadable", why: words::record::damaged(&verdict.trim()) })
}

/// Brings the file up to date, step by step, each in a transaction of its own, with a copy kept
/// aside before the first.
fn migrate(
    connection: &Connection,
    path: &Path,
    version: i64,
    steps: &[&str],
) -> Result<(), Refused> {
    let done = usize::try_from(version).unwrap_or(0);
    if done > 0 && done < steps.len() {
        let copy = free_name(path, &format!("before-version-{}", done + 1));
        copy_whole(connection, &copy).map_err(Refused::Trouble)?;
    }
    for (k, step) in steps.iter().enumerate().skip(done) {
        connection.execute_batch(&format!(
            "BEGIN IMMEDIATE; {step}; PRAGMA application_id = {APPLICATION_ID};
             PRAGMA user_version = {}; COMMIT;",
            k + 1
        ))?;
    }
    if done == 0 {
        grow_log(connection)?;
    }
    Ok(())
}

/// Gives the log its full length once: a log that grows costs a write of the file system's own
/// books at each commit, one that is overwritten does not.
fn grow_log(connection: &Connection) -> rusqlite::Result<()> {
    let bytes = LOG_PAGES * PAGE;
    connection.execute_batch(&format!(
        "BEGIN; CREATE TABLE filler (bytes BLOB); INSERT INTO filler VALUES (zeroblob({bytes}));
         DROP TABLE filler; COMMIT;"
    ))?;
    // The file itself is made small again; the log keeps its length.
    connection.query_row("PRAGMA wal_checkpoint(RESTART)", [], |_| Ok(()))?;
    connection.execute_batch("VACUUM")?;
    connection.query_row("PRAGMA wal_checkpoint(RESTART)", [], |_| Ok(()))
}

/// Writes a copy of the whole store that any SQLite tool can open.
pub(crate) fn copy_whole(connection: &Connection, to: &Path) -> Result<(), Trouble> {
    let failed = |cause: Box<dyn std::error::Error + Send + Sync>| {
        Trouble::new(
            words::record::no_copy(&to.display()),
            words::record::UNTOUCHED,
            words::record::CHECK_SPACE,
        )
        .because(cause)
    };
    if to.exists() {
        return Err(failed(words::record::NAME_TAKEN.into()));
    }
    let name = to.to_str().ok_or_else(|| failed(words::record::NAME_UNREADABLE.into()))?;
    connection.execute("VACUUM INTO ?1", [name]).map_err(|cause| failed(cause.into()))?;
    let file = fs::File::open(to).map_err(|cause| failed(cause.into()))?;
    file.sync_all().map_err(|cause| failed(cause.into()))?;
    sync_folder(to).map_err(|cause| failed(cause.into()))
}

/// Moves the file and its log out of the way, under a name that is not taken.
pub(crate) fn set_aside(path: &Path, label: &str) -> io::Result<PathBuf> {
    let to = free_name(path, label);
    let log = beside(path, "-wal");
    // The log first: a cut in between leaves a file without its log, which the next start sets
    // aside under the next number; the other way round a new file could meet an old log.
    if log.exists() {
        fs::rename(&log, beside(&to, "-wal"))?;
    }
    fs::rename(path, &to)?;
    sync_folder(path)?;
    Ok(to)
}

fn sync_folder(path: &Path) -> io::Result<()> {
    match path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        Some(folder) => fs::File::open(folder)?.sync_all(),
        None => fs::File::open(".")?.sync_all(),
    }
}

fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    PathBuf::from(name)
}

/// `record-LABEL-1.db`, or the first number that is free. No date: the clock may be wrong.
fn free_name(path: &Path, label: &str) -> PathBuf {
    let stem = path.file_stem().and_then(|stem| stem.to_str()).unwrap_or("record");
    let mut number: u64 = 1;
    loop {
        let candidate = path.with_file_name(format!("{stem}-{label}-{number}.db"));
        if !candidate.exists() && !beside(&candidate, "-wal").exists() {
            return candidate;
        }
        number += 1;
    }
}

#[cfg(test)]
mod tests;
