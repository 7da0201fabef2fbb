//! Puts entries into the store: one transaction a batch. Owned by the writer's thread.

use reckon::bank::BankSpec;
use rusqlite::{Connection, OptionalExtension, params};

use crate::{
    bank::{RunDown, cells_name, place_name},
    fold::{FIVE_S, HOUR_S, coarser, window, window_start},
    outings::StopHow,
    pack,
    row::{Channel, ClockFrom, ClockRow, Event, ForecastRow, Row, SourceChange},
};

/// Something to be kept. What concerns 'the outing' concerns the one that is open.
#[derive(Clone, Debug, PartialEq)]
pub enum Entry {
    /// A ten-second row.
    Row(Row),
    /// Something happened.
    Event(Event),
    /// A source fell silent or came back.
    Source(SourceChange),
    /// A forecast was made.
    Forecast(ForecastRow),
    /// The wall clock could be believed.
    Clock(ClockRow),
    /// A choice that must survive a restart; an empty value takes it away.
    Choice {
        /// Its name.
        key: String,
        /// What was chosen.
        value: String,
    },
    /// An outing begins (and the open one, if any, should have been ended before).
    OutingBegins {
        /// The bank's name, which must be known or is put in with [`Entry::Bank`] before.
        bank: Option<String>,
        /// Its name.
        name: Option<String>,
        /// How full the bank is, 0 to 1; `None`: unknown.
        start_share: Option<f64>,
        /// Since when, seconds since boot.
        at_s: f64,
    },
    /// An earlier outing goes on in this boot.
    OutingGoesOn {
        /// Which.
        outing: i64,
        /// Since when, seconds since boot.
        at_s: f64,
        /// How long the power was off before, s, if known.
        off_before_s: Option<f64>,
    },
    /// The outing goes on with another bank.
    OutingNextBank {
        /// The bank's name.
        bank: String,
        /// Since when, seconds since boot.
        at_s: f64,
    },
    /// The outing is given a name (empty takes it away).
    OutingNamed(String),
    /// An outing ends; `None` is the open one.
    OutingEnds {
        /// Which.
        outing: Option<i64>,
        /// How and when.
        end: End,
    },
    /// A bank is told of, or told of anew.
    Bank(BankSpec),
    /// A bank is given another name.
    BankRenamed {
        /// The old name.
        from: String,
        /// The new one.
        to: String,
    },
    /// A bank is not offered any more (or again).
    BankForgotten {
        /// Its name.
        name: String,
        /// Whether it is forgotten.
        forgotten: bool,
    },
    /// A run-down is credited to a bank.
    RunDown {
        /// The bank's name.
        bank: String,
        /// The outing it was; `None` for an imported one.
        outing: Option<i64>,
        /// What was seen.
        data: RunDown,
    },
    /// A run-down is struck out, or credited again.
    Struck {
        /// Which.
        rundown: i64,
        /// Whether it is struck out.
        struck: bool,
    },
    /// The operator says how an outing ended whose power was lost.
    Answered {
        /// Which outing.
        outing: i64,
        /// The bank died (else its plug was pulled).
        died: bool,
    },
    /// The daemon ends cleanly.
    Stops {
        /// When, seconds since boot.
        at_s: f64,
        /// How.
        how: StopHow,
    },
}

impl Entry {
    /// Whether it must reach the card at once.
    #[must_use]
    pub const fn urgent(&self) -> bool {
        match self {
            Self::Row(_) | Self::Source(_) | Self::Forecast(_) | Self::Clock(_) => false,
            Self::Event(event) => event.kind.urgent(),
            Self::Choice { .. }
            | Self::OutingBegins { .. }
            | Self::OutingGoesOn { .. }
            | Self::OutingNextBank { .. }
            | Self::OutingNamed(_)
            | Self::OutingEnds { .. }
            | Self::Bank(_)
            | Self::BankRenamed { .. }
            | Self::BankForgotten { .. }
            | Self::RunDown { .. }
            | Self::Struck { .. }
            | Self::Answered { .. }
            | Self::Stops { .. } => true,
        }
    }
}

/// How and when an outing ended.
#[derive(Clone, Debug, PartialEq)]
pub struct End {
    /// The last moment known to be part of it, seconds since the boot it ended in.
    pub from_s: f64,
    /// The first moment known not to be.
    pub to_s: f64,
    /// How.
    pub ending: Ending,
    /// Energy delivered, Wh; `None`: summed from the rows.
    pub energy_wh: Option<f64>,
    /// Of that, over gaps, Wh.
    pub bridged_wh: Option<f64>,
}

/// The endings that a record knows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ending {
    /// Not ended.
    Open,
    /// The board was switched off.
    SwitchedOff,
    /// The bank cut out.
    Died,
    /// The power went away; the bank died with this chance, else the plug was pulled.
    PowerLost {
        /// 0 to 1.
        died: f64,
    },
    /// Another bank took over.
    Swapped,
}

impl Ending {
    /// As stored.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::SwitchedOff => "switched_off",
            Self::Died => "died",
            Self::PowerLost { .. } => "power_lost",
            Self::Swapped => "swapped",
        }
    }

    /// From the stored columns.
    #[must_use]
    pub fn from_columns(name: &str, died: Option<f64>) -> Self {
        match name {
            "switched_off" => Self::SwitchedOff,
            "died" => Self::Died,
            "power_lost" => Self::PowerLost { died: died.unwrap_or(0.5) },
            "swapped" => Self::Swapped,
            _ => Self::Open,
        }
    }
}

/// Which boot and version writes.
#[derive(Clone, Debug, PartialEq)]
pub struct Who {
    /// The kernel's identity of this boot.
    pub boot_uuid: String,
    /// When the daemon started, seconds since boot.
    pub began_s: f64,
    /// The daemon's version.
    pub version: String,
}

/// What a batch changes beside the file; put back when its transaction fails.
#[derive(Clone, Copy, Debug, Default)]
struct Place {
    outing: Option<i64>,
    /// Rows of this boot are in till here.
    rows_to_s: f64,
    /// Folded till this hour of this boot.
    hour: i64,
    /// The last clock that was kept.
    clock: Option<(i64, u32, ClockFrom)>,
}

/// The writing end of the store.
pub(crate) struct Keeper {
    connection: Connection,
    boot: i64,
    run: i64,
    at: Place,
    /// Fine rows older than so many hours of record are thinned.
    fine_hours: u32,
}

type Done<T> = rusqlite::Result<T>;

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
    pub(crate) fn keep(&mut self, batch: &[Entry], due_s: f64) -> Done<()> {
        let before = self.at;
        let kept = self.try_keep(batch, due_s);
        if kept.is_err() {
            self.at = before;
        }
        kept
    }

    fn try_keep(&mut self, batch: &[Entry], due_s: f64) -> Done<()> {
        let transaction = rusqlite::Transaction::new_unchecked(
            &self.connection,
            rusqlite::TransactionBehavior::Immediate,
        )?;
        let mut work = Work { on: &transaction, boot: self.boot, run: self.run, at: self.at };
        let rows: Vec<Row> = batch
            .iter()
            .filter_map(|entry| if let Entry::Row(row) = entry { Some(*row) } else { None })
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

/// The end of the last row of a boot, and how long after it the next was due.
pub(crate) fn last_sign(connection: &Connection, boot: i64) -> Done<Option<(f64, f64)>> {
    connection
        .prepare_cached(
            "SELECT ((id & 4294967295) + n * step_ds) / 10.0, due_s FROM fine
             WHERE id BETWEEN ?1 AND ?2 ORDER BY id DESC LIMIT 1",
        )?
        .query_row([boot << 32, ((boot + 1) << 32) - 1], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()
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
    // A record may have begun up to its own length before.
    let early = first.saturating_sub(i64::try_from(pack::MOST).unwrap_or(0) * 100).max(boot << 32);
    let mut ask = connection.prepare_cached(
        "SELECT id & 4294967295, step_ds, n, data FROM fine WHERE id BETWEEN ?1 AND ?2 ORDER BY id",
    )?;
    let mut found = ask.query([early, fine_id(boot, to_s)])?;
    let mut rows = Vec::new();
    while let Some(row) = found.next()? {
        let (from_ds, step_ds): (f64, f64) = (row.get(0)?, row.get(1)?);
        let count: u32 = row.get(2)?;
        let text = row.get_ref(3)?.as_str().unwrap_or_default();
        let some = pack::unpack(text, from_ds / 10.0, step_ds / 10.0, count as usize, channels)
            .unwrap_or_default();
        rows.extend(
            some.into_iter().filter(|row| row.from_s >= from_s - 1e-6 && row.from_s < to_s - 1e-6),
        );
    }
    Ok(rows)
}

#[expect(clippy::cast_possible_truncation, reason = "clamped to 32 bits before")]
fn fine_id(boot: i64, at_s: f64) -> i64 {
    (boot << 32) + (at_s * 10.0).round().clamp(0.0, 4_294_967_295.0) as i64
}

/// Folds the rows of the hours `from..to` of a boot (and of a partial hour at `to`, if asked by
/// passing one more) into `five` and `hour`. Doing it again gives the same.
fn fold_hours(connection: &Connection, boot: i64, from: i64, to: i64) -> Done<()> {
    for hour in from..to {
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
    for fold in row.folds {
        // Six digits are more than any sensor gives.
        for value in [fold.map(|f| f.mean), fold.map(|f| f.min), fold.map(|f| f.max)] {
            put.raw_bind_parameter(place, value.map(|v| (v * 1e6).round() / 1e6))?;
            place += 1;
        }
    }
    put.raw_execute().map(|_| ())
}

/// Folds what earlier runs left: every boot's hours since its last folded one.
fn fold_leftovers(connection: &Connection, this_boot: i64) -> Done<()> {
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
        // The first hour to fold may lie after a gap of days: go by what is there.
        let first = first_row_after(connection, boot, window_start(from, HOUR_S))?;
        fold_hours(connection, boot, first.map_or(to, |at| window(at, HOUR_S)), to)?;
    }
    Ok(())
}

fn first_row_after(connection: &Connection, boot: i64, at_s: f64) -> Done<Option<f64>> {
    connection
        .query_row(
            "SELECT (id & 4294967295) / 10.0 FROM fine WHERE id BETWEEN ?1 AND ?2 LIMIT 1",
            [fine_id(boot, at_s), ((boot + 1) << 32) - 1],
            |row| row.get(0),
        )
        .optional()
}

/// Takes fine rows away that lie further back than so many hours of record; their five-minute rows
/// stay. Counted in recorded hours, so that a station used once a month keeps its last outings in
/// full, and a wrong clock takes nothing away.
fn thin(connection: &Connection, fine_hours: u32) -> Done<()> {
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

/// One transaction's work.
struct Work<'c> {
    on: &'c Connection,
    boot: i64,
    run: i64,
    at: Place,
}

impl Work<'_> {
    fn rows(&mut self, rows: &[Row], due_s: f64) -> Done<()> {
        // A row that began before the last one ended has been kept already (a restart within its
        // ten seconds).
        let mut left: Vec<Row> = Vec::with_capacity(rows.len());
        for row in rows {
            if row.from_s >= self.at.rows_to_s - 0.05 {
                self.at.rows_to_s = row.to_s();
                left.push(*row);
            }
        }
        let mut left = left.as_slice();
        let mut put = self.on.prepare_cached(
            "INSERT INTO fine (id, step_ds, n, due_s, data) VALUES (?1, ?2, ?3, ?4, ?5)",
        )?;
        while !left.is_empty() {
            let (together, rest) = left.split_at(pack::run_length(left));
            left = rest;
            let id = fine_id(self.boot, together[0].from_s);
            let step_ds = (together[0].span_s * 10.0).round();
            let text = pack::pack(together);
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

    fn entry(&mut self, entry: &Entry) -> Done<()> {
        match entry {
            Entry::Row(_) => Ok(()),
            Entry::Event(event) => self.event(event),
            Entry::Source(change) => self.source(change),
            Entry::Forecast(row) => self.forecast(row),
            Entry::Clock(row) => self.clock(row),
            Entry::Choice { key, value } => self.choice(key, value),
            Entry::OutingBegins { bank, name, start_share, at_s } => {
                self.outing_begins(bank.as_deref(), name.as_deref(), *start_share, *at_s)
            }
            Entry::OutingGoesOn { outing, at_s, off_before_s } => {
                self.outing_goes_on(*outing, *at_s, *off_before_s)
            }
            Entry::OutingNextBank { bank, at_s } => self.outing_next_bank(bank, *at_s),
            Entry::OutingNamed(name) => self.outing_named(name),
            Entry::OutingEnds { outing, end } => self.outing_ends(*outing, end),
            Entry::Bank(spec) => self.bank(spec),
            Entry::BankRenamed { from, to } => self
                .on
                .execute("UPDATE OR IGNORE bank SET name = ?2 WHERE name = ?1", [from, to])
                .map(|_| ()),
            Entry::BankForgotten { name, forgotten } => self
                .on
                .execute("UPDATE bank SET forgotten = ?2 WHERE name = ?1", params![name, forgotten])
                .map(|_| ()),
            Entry::RunDown { bank, outing, data } => self.rundown(bank, *outing, data),
            Entry::Struck { rundown, struck } => self
                .on
                .execute("UPDATE rundown SET struck = ?2 WHERE id = ?1", params![rundown, struck])
                .map(|_| ()),
            Entry::Answered { outing, died } => self.answered(*outing, *died),
            Entry::Stops { at_s, how } => self.stops(*at_s, *how),
        }
    }

    fn event(&self, event: &Event) -> Done<()> {
        self.on
            .prepare_cached("INSERT INTO event (boot, at_s, kind, text) VALUES (?1, ?2, ?3, ?4)")?
            .execute(params![self.boot, event.at.as_s(), event.kind.name(), event.text])
            .map(|_| ())
    }

    fn source(&self, change: &SourceChange) -> Done<()> {
        self.on.execute(
            "INSERT INTO source (ident, title) VALUES (?1, ?2)
             ON CONFLICT (ident) DO UPDATE SET title = excluded.title
             WHERE title <> excluded.title",
            [&change.id, &change.title],
        )?;
        let source: i64 =
            self.on.query_row("SELECT id FROM source WHERE ident = ?1", [&change.id], |row| {
                row.get(0)
            })?;
        let at_s = change.at.as_s();
        self.on.execute(
            "UPDATE gap SET to_s = ?3 WHERE source = ?1 AND boot = ?2 AND to_s IS NULL",
            params![source, self.boot, at_s],
        )?;
        if let Some(why) = &change.gap {
            self.on.execute(
                "INSERT INTO gap (source, boot, from_s, why) VALUES (?1, ?2, ?3, ?4)",
                params![source, self.boot, at_s, why],
            )?;
        }
        Ok(())
    }

    fn forecast(&self, row: &ForecastRow) -> Done<()> {
        let basis = match row.basis {
            reckon::snapshot::Basis::Measured => "measured",
            reckon::snapshot::Basis::Modelled => "modelled",
            reckon::snapshot::Basis::Gauge => "gauge",
        };
        let [p10, p50, p90] = row.remaining_s;
        let usable = row.usable_wh.map_or([None; 3], |three| three.map(Some));
        self.on
            .prepare_cached(
                "INSERT INTO forecast (boot, at_s, p10_s, p50_s, p90_s, basis, delivered_wh,
                     bridged_wh, usable_p10_wh, usable_p50_wh, usable_p90_wh)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
            )?
            .execute(params![
                self.boot,
                row.at.as_s(),
                p10.round(),
                p50.round(),
                p90.round(),
                basis,
                row.delivered_wh,
                row.bridged_wh,
                usable[0],
                usable[1],
                usable[2]
            ])
            .map(|_| ())
    }

    /// Attaches a wall time to the whole boot. A weaker teller never overrules a stronger one, and
    /// what agrees within its bound is not written again.
    fn clock(&mut self, row: &ClockRow) -> Done<()> {
        let boot_ms = row.wall_at_boot_ms();
        if let Some((kept_ms, within_ms, from)) = self.at.clock {
            let agrees = kept_ms.abs_diff(boot_ms) <= u64::from(within_ms.max(500));
            if row.from < from || (row.from == from && agrees) {
                return Ok(());
            }
        }
        self.on.execute(
            "INSERT INTO clock (boot, at_s, wall_ms, within_ms, told_by) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![self.boot, row.at.as_s(), row.wall_ms, row.within_ms, row.from.name()],
        )?;
        self.on.execute(
            "UPDATE boot SET wall_at_boot_ms = ?2, wall_within_ms = ?3, wall_from = ?4 WHERE id = ?1",
            params![self.boot, boot_ms, row.within_ms, row.from.name()],
        )?;
        self.at.clock = Some((boot_ms, row.within_ms, row.from));
        Ok(())
    }

    fn choice(&self, key: &str, value: &str) -> Done<()> {
        if value.is_empty() {
            self.on.execute("DELETE FROM choice WHERE key = ?1", [key])?;
        } else {
            self.on.execute("INSERT OR REPLACE INTO choice VALUES (?1, ?2)", [key, value])?;
        }
        Ok(())
    }

    fn bank_id(&self, name: &str) -> Done<Option<i64>> {
        self.on
            .query_row("SELECT id FROM bank WHERE name = ?1", [name], |row| row.get(0))
            .optional()
    }

    fn outing_begins(
        &mut self,
        bank: Option<&str>,
        name: Option<&str>,
        start_share: Option<f64>,
        at_s: f64,
    ) -> Done<()> {
        let bank = bank.map(|name| self.bank_id(name)).transpose()?.flatten();
        self.on.execute(
            "INSERT INTO outing (bank, name, start_share, began_boot, began_s)
             VALUES (?1, ?2, ?3, ?4, ?5)",
            params![bank, name, start_share, self.boot, at_s],
        )?;
        let outing = self.on.last_insert_rowid();
        self.open_span(outing, bank, at_s, None)?;
        self.at.outing = Some(outing);
        Ok(())
    }

    fn open_span(&self, outing: i64, bank: Option<i64>, at_s: f64, off: Option<f64>) -> Done<()> {
        self.on
            .execute(
                "INSERT INTO span (outing, boot, bank, from_s, off_before_s)
                 VALUES (?1, ?2, ?3, ?4, ?5)",
                params![outing, self.boot, bank, at_s, off],
            )
            .map(|_| ())
    }

    fn outing_goes_on(&mut self, outing: i64, at_s: f64, off: Option<f64>) -> Done<()> {
        self.close_spans(outing, None)?;
        let bank: Option<i64> = self
            .on
            .query_row(
                "SELECT bank FROM span WHERE outing = ?1 ORDER BY id DESC LIMIT 1",
                [outing],
                |row| row.get(0),
            )
            .optional()?
            .flatten();
        self.on.execute(
            "UPDATE outing SET ending = 'open', ended_boot = NULL, ended_s = NULL,
                 ended_by_s = NULL, died_chance = NULL WHERE id = ?1",
            [outing],
        )?;
        self.open_span(outing, bank, at_s, off)?;
        self.at.outing = Some(outing);
        Ok(())
    }

    fn outing_next_bank(&mut self, bank: &str, at_s: f64) -> Done<()> {
        let Some(outing) = self.at.outing else { return Ok(()) };
        let bank = self.bank_id(bank)?;
        self.close_spans(outing, Some(at_s))?;
        self.open_span(outing, bank, at_s, Some(0.0))
    }

    /// Ends the open spans: those of this boot at `at_s`, earlier ones at their boot's last sign.
    fn close_spans(&self, outing: i64, at_s: Option<f64>) -> Done<()> {
        let mut ask = self.on.prepare_cached(
            "SELECT id, boot, from_s FROM span WHERE outing = ?1 AND to_s IS NULL",
        )?;
        let open: Vec<(i64, i64, f64)> = ask
            .query_map([outing], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?
            .collect::<Done<_>>()?;
        for (id, boot, from_s) in open {
            let sign = last_sign(self.on, boot)?.map(|(sign, _)| sign);
            let to_s = match at_s {
                Some(at_s) if boot == self.boot => at_s,
                Some(_) | None => sign.unwrap_or(from_s),
            };
            self.on.execute(
                "UPDATE span SET to_s = ?2 WHERE id = ?1",
                params![id, to_s.max(from_s)],
            )?;
        }
        Ok(())
    }

    fn outing_named(&self, name: &str) -> Done<()> {
        let name = (!name.is_empty()).then_some(name);
        self.on
            .execute("UPDATE outing SET name = ?2 WHERE id = ?1", params![self.at.outing, name])
            .map(|_| ())
    }

    fn outing_ends(&mut self, outing: Option<i64>, end: &End) -> Done<()> {
        let Some(outing) = outing.or(self.at.outing) else { return Ok(()) };
        let last: Option<(i64, i64, Option<f64>)> = self
            .on
            .query_row(
                "SELECT id, boot, to_s FROM span WHERE outing = ?1 ORDER BY id DESC LIMIT 1",
                [outing],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
            )
            .optional()?;
        let Some((span, boot, _)) = last else { return Ok(()) };
        self.on.execute(
            "UPDATE span SET to_s = max(from_s, ?2) WHERE id = ?1",
            params![span, end.from_s],
        )?;
        self.close_spans(outing, Some(end.from_s))?;
        let died = match end.ending {
            Ending::PowerLost { died } => Some(died),
            Ending::Open | Ending::SwitchedOff | Ending::Died | Ending::Swapped => None,
        };
        let sums = sums(self.on, outing)?;
        let energy_wh = end.energy_wh.or(sums.energy_wh);
        let mean_w =
            energy_wh.filter(|_| sums.lasted_s > 0.0).map(|wh| wh * 3600.0 / sums.lasted_s);
        self.on.execute(
            "UPDATE outing SET ended_boot = ?2, ended_s = ?3, ended_by_s = ?4, ending = ?5,
                 died_chance = ?6, energy_wh = ?7, bridged_wh = ?8, mean_power_w = ?9,
                 peak_power_w = ?10, lasted_s = ?11 WHERE id = ?1",
            params![
                outing,
                boot,
                end.from_s,
                end.to_s.max(end.from_s),
                end.ending.name(),
                died,
                energy_wh,
                end.bridged_wh,
                mean_w,
                sums.peak_w,
                sums.lasted_s
            ],
        )?;
        if self.at.outing == Some(outing) {
            self.at.outing = None;
        }
        Ok(())
    }

    fn bank(&self, spec: &BankSpec) -> Done<()> {
        self.on
            .execute(
                "INSERT INTO bank (name, cells, series, label_ah, label_v, measured_at, ambient_c,
                     cutoff_v) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)
                 ON CONFLICT (name) DO UPDATE SET cells = excluded.cells,
                     series = excluded.series, label_ah = excluded.label_ah,
                     label_v = excluded.label_v, measured_at = excluded.measured_at,
                     ambient_c = excluded.ambient_c, cutoff_v = excluded.cutoff_v, forgotten = 0",
                params![
                    spec.name,
                    cells_name(spec.cells),
                    spec.series,
                    spec.label.si(),
                    spec.label_volts.si(),
                    place_name(spec.measured_at),
                    spec.ambient.map(reckon::units::Celsius::si),
                    spec.cutoff.map(reckon::units::Volts::si)
                ],
            )
            .map(|_| ())
    }

    fn rundown(&self, bank: &str, outing: Option<i64>, data: &RunDown) -> Done<()> {
        let Some(bank) = self.bank_id(bank)? else { return Ok(()) };
        let (origin, basis) = (
            if outing.is_some() { "seen" } else { "imported" },
            if data.measured { "measured" } else { "modelled" },
        );
        self.on
            .execute(
                "INSERT INTO rundown (bank, outing, origin, name, whole, lasted_s, within_s,
                     before_s, delivered_wh, bridged_wh, mean_power_w, ambient_c, basis,
                     start_share, detail)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)",
                params![
                    bank,
                    outing,
                    origin,
                    data.name,
                    data.whole,
                    data.lasted_s,
                    data.within_s,
                    data.before_s,
                    data.delivered_wh,
                    data.bridged_wh,
                    data.mean_power_w,
                    data.ambient_c,
                    basis,
                    data.start_share,
                    data.detail.to_text()
                ],
            )
            .map(|_| ())
    }

    fn answered(&self, outing: i64, died: bool) -> Done<()> {
        let (ending, chance) = if died { ("died", None) } else { ("power_lost", Some(0.0)) };
        self.on.execute(
            "UPDATE outing SET ending = ?2, died_chance = ?3
             WHERE id = ?1 AND ending IN ('power_lost', 'died')",
            params![outing, ending, chance],
        )?;
        self.on
            .execute("UPDATE rundown SET whole = ?2 WHERE outing = ?1", params![outing, died])
            .map(|_| ())
    }

    fn stops(&self, at_s: f64, how: StopHow) -> Done<()> {
        self.on
            .execute(
                "UPDATE run SET ended_s = ?2, how = ?3 WHERE id = ?1",
                params![self.run, at_s, how.name()],
            )
            .map(|_| ())
    }
}

/// An outing's sums over its rows.
pub(crate) struct Sums {
    pub(crate) lasted_s: f64,
    pub(crate) energy_wh: Option<f64>,
    pub(crate) peak_w: Option<f64>,
}

/// Sums the rows of an outing's spans. An open span reaches to its boot's last sign.
pub(crate) fn sums(connection: &Connection, outing: i64) -> Done<Sums> {
    let mut ask = connection
        .prepare_cached("SELECT boot, from_s, to_s FROM span WHERE outing = ?1 ORDER BY id")?;
    let spans: Vec<(i64, f64, Option<f64>)> = ask
        .query_map([outing], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?
        .collect::<Done<_>>()?;
    let mut sums = Sums { lasted_s: 0.0, energy_wh: None, peak_w: None };
    for (boot, from_s, to_s) in spans {
        let to_s = match to_s {
            Some(to_s) => to_s,
            None => last_sign(connection, boot)?.map_or(from_s, |(sign, _)| sign),
        };
        sums.lasted_s += (to_s - from_s).max(0.0);
        for row in crate::series::rows_between(connection, boot, from_s, to_s, FIVE_S)? {
            let Some(draw) = row.draw_w() else { continue };
            // The first and last row may stick out of the span.
            let part = (row.to_s().min(to_s) - row.from_s.max(from_s)).max(0.0);
            *sums.energy_wh.get_or_insert(0.0) += draw.mean * part / 3600.0;
            sums.peak_w = Some(sums.peak_w.map_or(draw.max, |peak: f64| peak.max(draw.max)));
        }
    }
    Ok(sums)
}
