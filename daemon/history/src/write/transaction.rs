//! Puts entries into the store: one transaction a batch. Owned by the writer's thread.

use std::path::Path;

use rusqlite::{Connection, OptionalExtension, params};

use reckon::record::{ClockFrom, Row};

use crate::{
    rows::{HOUR_S, window},
    schema,
    tables::tiers::{fold_hours, fold_leftovers, last_sign, thin},
    write::{
        apply::{Place, Work},
        change::{Change, Who},
    },
};

type Done<T> = rusqlite::Result<T>;

/// The writing end of the store.
pub(crate) struct Keeper {
    connection: Connection,
    boot: i64,
    run: i64,
    at: Place,
    /// Fine rows older than this are thinned, hours of record.
    fine_hours: u32,
}

impl Keeper {
    /// Begins a run: this boot and this start are put on the card, and rows that the last run left
    /// unfolded are folded.
    pub(crate) fn begin(mut connection: Connection, who: &Who, fine_hours: u32) -> Done<Self> {
        let (boot, run, at) = begin_run(&mut connection, who)?;
        Ok(Self { connection, boot, run, at, fine_hours })
    }

    /// Carries the log over into the file, so that the file alone is complete. A failure costs
    /// nothing: the log stays.
    pub(crate) fn carry_over(&self) {
        let _ = self.connection.query_row("PRAGMA wal_checkpoint(FULL)", [], |_| Ok(()));
    }

    /// Writes all there is to another file; whether that went well.
    pub(crate) fn copy_to(&self, file: &Path) -> bool {
        schema::copy_whole(&self.connection, file).is_ok()
    }

    /// After the file had to be opened again: goes on with the outing that is open in it.
    pub(crate) fn take_up_open_outing(&mut self) -> Done<()> {
        self.at.outing = self
            .connection
            .query_row(
                "SELECT outing FROM span WHERE boot = ?1 AND to_s IS NULL ORDER BY id DESC LIMIT 1",
                [self.boot],
                |row| row.get(0),
            )
            .optional()?;
        Ok(())
    }

    /// Keeps a batch: all of it or nothing. `due_s` is when the next batch is due.
    pub(crate) fn keep(&mut self, batch: &[Change], due_s: f64) -> Done<()> {
        let transaction = rusqlite::Transaction::new_unchecked(
            &self.connection,
            rusqlite::TransactionBehavior::Immediate,
        )?;
        let mut work = Work { on: &transaction, boot: self.boot, run: self.run, at: self.at };
        let rows: Vec<Row> = batch
            .iter()
            .filter_map(|entry| if let Change::Row(row) = entry { Some(*row) } else { None })
            .collect();
        work.rows(&rows, due_s)?;
        for entry in batch {
            work.entry(entry)?;
        }
        let hour = window(work.at.rows_to_s, HOUR_S);
        if hour > work.at.hour {
            fold_hours(&transaction, self.boot, work.at.hour, hour)?;
            work.at.hour = hour;
            thin(&transaction, self.fine_hours)?;
        }
        let at = work.at;
        transaction.commit()?;
        self.at = at;
        Ok(())
    }

    /// Thins further than the age asks for, to stay below the size limit.
    pub(crate) fn thin_to(&mut self, fine_hours: u32) -> Done<()> {
        self.fine_hours = fine_hours;
        thin(&self.connection, fine_hours)
    }

    pub(crate) const fn fine_hours(&self) -> u32 {
        self.fine_hours
    }

    /// Bytes in use in the file.
    pub(crate) fn bytes(&self) -> Done<u64> {
        let number = |sql: &str| {
            self.connection
                .query_row(sql, [], |row| row.get::<_, i64>(0))
                .map(|n| u64::try_from(n).unwrap_or(0))
        };
        let used = number("PRAGMA page_count")?.saturating_sub(number("PRAGMA freelist_count")?);
        Ok(used * number("PRAGMA page_size")?)
    }
}

fn begin_run(connection: &mut Connection, who: &Who) -> Done<(i64, i64, Place)> {
    let transaction = connection.transaction()?;
    transaction.execute("INSERT OR IGNORE INTO boot (uuid) VALUES (?1)", [&who.boot_uuid])?;
    let boot: i64 =
        transaction
            .query_row("SELECT id FROM boot WHERE uuid = ?1", [&who.boot_uuid], |row| row.get(0))?;
    transaction.execute(
        "INSERT INTO run (boot, began_s, version) VALUES (?1, ?2, ?3)",
        params![boot, who.began_s, who.version],
    )?;
    let run = transaction.last_insert_rowid();
    // Gaps that were open when the last run ended are as long as it was.
    transaction
        .execute("UPDATE gap SET to_s = from_s WHERE to_s IS NULL AND boot <> ?1", [boot])?;
    fold_leftovers(&transaction, boot)?;
    let rows_to_s = last_sign(&transaction, boot)?.map_or(0.0, |(sign, _)| sign);
    let clock = transaction
        .query_row(
            "SELECT wall_at_boot_ms, wall_within_ms, wall_from FROM boot
             WHERE id = ?1 AND wall_at_boot_ms IS NOT NULL",
            [boot],
            |row| {
                let from: String = row.get(2)?;
                let from = if from == "phone" { ClockFrom::Phone } else { ClockFrom::Synchronised };
                Ok((row.get(0)?, row.get(1)?, from))
            },
        )
        .optional()?;
    let at = Place { outing: None, rows_to_s, hour: window(rows_to_s, HOUR_S), clock };
    transaction.commit()?;
    Ok((boot, run, at))
}

#[cfg(test)]
mod tests {
    use super::*;
    use reckon::record::Channel;

    #[test]
    fn a_batch_that_fails_leaves_no_trace_and_can_be_kept_again() {
        let folder = std::env::temp_dir().join(format!("outlast-keep-{}", std::process::id()));
        let (connection, _) = crate::schema::open(&folder).unwrap();
        let who = Who { boot_uuid: "boot-a".into(), began_s: 0.0, version: "test".into() };
        let mut keeper = Keeper::begin(connection, &who, 24).unwrap();
        let row = |from_s| Row { from_s, span_s: 10.0, stats: [None; Channel::ALL.len()] };
        let begins = Change::OutingBegins { bank: None, name: None, start_share: None, at_s: 0.0 };
        // No such outing can go on: the store refuses it, last of the batch.
        let bad = Change::OutingGoesOn { outing: 99, at_s: 0.0, off_before_s: None };
        let good = vec![Change::Row(row(0.0)), begins];
        let failing = good.iter().cloned().chain([bad]).collect::<Vec<_>>();
        keeper.keep(&failing, 60.0).unwrap_err();
        assert_eq!((keeper.at.outing, keeper.at.rows_to_s), (None, 0.0));
        let count = |keeper: &Keeper, table: &str| -> i64 {
            let sql = format!("SELECT count(*) FROM {table}");
            keeper.connection.query_row(&sql, [], |row| row.get(0)).unwrap()
        };
        assert_eq!((count(&keeper, "fine"), count(&keeper, "outing")), (0, 0));
        // The same without it: the row is no repetition, and the outing is the first.
        keeper.keep(&good, 60.0).unwrap();
        assert_eq!((count(&keeper, "fine"), count(&keeper, "outing")), (1, 1));
        assert_eq!((keeper.at.outing, keeper.at.rows_to_s), (Some(1), 10.0));
        drop(keeper);
        std::fs::remove_dir_all(folder).unwrap();
    }
}
