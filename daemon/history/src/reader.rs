//! Reads the record, on connections of its own; nothing it does can hold the writer up.

use std::{
    path::{Path, PathBuf},
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
    vec::IntoIter,
};

use reckon::{
    record::{
        BankWhole, Channel, CloseUp, Correction, Event, ForecastMade, Outing, OutingContacts,
        OutingWhole, Page, PeriodFold, RecordedBank, RecordedRunDown, Row, Series, SeriesAsk,
        SourceGap, SwitchedOn,
    },
    words,
};
use rusqlite::{Connection, ErrorCode, OpenFlags};

use crate::{
    schema,
    tables::{
        banks, choices, close_ups, contacts, corrections, events, forecasts, gaps, load_lines,
        outing_plans, outings, period_folds, run_downs, spans,
        walk::{self, Hour},
    },
    trouble::Trouble,
};

pub(crate) mod last_end;
mod series;

type Done<T> = rusqlite::Result<T>;

/// Reads the record.
#[derive(Clone, Debug)]
pub struct Reader {
    path: PathBuf,
    /// The one connection of [`Reader::at_one_moment`].
    held: Option<Arc<Mutex<Connection>>>,
    /// Nobody wants to know any more.
    gone: Arc<AtomicBool>,
}

/// How often a reading asks whether it is still wanted, steps of SQLite's virtual machine: about a
/// tenth of a millisecond of a small board.
const ASK_EVERY: i32 = 1000;

impl Reader {
    /// Of the store in this folder.
    #[must_use]
    pub fn new(folder: &Path) -> Self {
        Self { path: folder.join(schema::FILE), held: None, gone: Arc::default() }
    }

    /// The same, whose readings end in trouble as soon as this is set.
    #[must_use]
    pub fn until(&self, gone: Arc<AtomicBool>) -> Self {
        Self { path: self.path.clone(), held: None, gone }
    }

    /// A reader that opens the store once, here, and reads all it is asked in one transaction: of one
    /// moment, whatever is written meanwhile. Let go of it soon: while it lives the log only grows.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn at_one_moment(&self) -> Result<Self, Trouble> {
        if self.held.is_some() {
            return Ok(self.clone());
        }
        let connection = self.connect()?;
        // The first reading after BEGIN is the moment.
        connection.execute_batch("BEGIN; SELECT count(*) FROM boot;").map_err(Trouble::reading)?;
        let held = Some(Arc::new(Mutex::new(connection)));
        Ok(Self { path: self.path.clone(), held, gone: Arc::clone(&self.gone) })
    }

    fn read<T>(&self, read: impl FnOnce(&Connection) -> Done<T>) -> Result<T, Trouble> {
        if self.gone.load(Ordering::Relaxed) {
            let code = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_INTERRUPT);
            return Err(Trouble::reading(rusqlite::Error::SqliteFailure(code, None)));
        }
        match &self.held {
            Some(held) => read(&held.lock().unwrap_or_else(PoisonError::into_inner)),
            None => read(&self.connect()?),
        }
        .map_err(Trouble::reading)
    }

    /// A connection whose readings are broken off when nobody wants them any more.
    fn connect(&self) -> Result<Connection, Trouble> {
        let mut connection = self.open()?;
        let gone = Arc::clone(&self.gone);
        let ask = move || gone.load(Ordering::Relaxed);
        connection.progress_handler(ASK_EVERY, Some(ask)).map_err(Trouble::reading)?;
        Ok(connection)
    }

    /// Opens the file for reading. A file on a card that has gone read-only, without its log,
    /// is read as it stands.
    fn open(&self) -> Result<Connection, Trouble> {
        if !self.path.exists() {
            return Err(Trouble::new(
                words::record::NONE_YET,
                words::record::NOTHING_EARLIER,
                words::record::WHEN_IT_BEGINS,
            ));
        }
        let first = match open_with(&self.path, OpenFlags::SQLITE_OPEN_READ_WRITE) {
            Ok(connection) => return Ok(connection),
            Err(cause) => cause,
        };
        // A file that can only be read: through the writer's index of the log, if a writer still
        // holds it, else as it stands without its log.
        if let Ok(connection) = open_with(&self.path, OpenFlags::SQLITE_OPEN_READ_ONLY) {
            return Ok(connection);
        }
        if !matches!(first.sqlite_error_code(), Some(ErrorCode::CannotOpen | ErrorCode::ReadOnly)) {
            return Err(Trouble::reading(first));
        }
        let name = self.path.to_string_lossy();
        let name = name.replace('%', "%25").replace('?', "%3f").replace('#', "%23");
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY
            | OpenFlags::SQLITE_OPEN_URI
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        Connection::open_with_flags(format!("file:{name}?immutable=1"), flags)
            .and_then(answering)
            .map_err(|_| Trouble::reading(first))
    }

    /// Outings, newest first, at most `most` of them, older than the id `before`.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn outings(&self, before: Option<i64>, most: usize) -> Result<Page<Outing>, Trouble> {
        self.read(|on| outings::outings(on, before, most.clamp(1, 500)))
    }

    /// One outing.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn outing(&self, id: i64) -> Result<Option<Outing>, Trouble> {
        self.read(|on| outings::outing(on, id))
    }

    /// All that the record has of one outing, read in one transaction; `None`: there is none of that
    /// id.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn outing_whole(&self, id: i64) -> Result<Option<OutingWhole>, Trouble> {
        self.at_one_moment()?.read(|on| outing_whole(on, id, &Channel::ALL))
    }

    /// The same, with nothing but the draw in its rows: enough for what was taken by whom, and read in
    /// a third of the time.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn outing_drawn(&self, id: i64) -> Result<Option<OutingWhole>, Trouble> {
        self.at_one_moment()?.read(|on| outing_whole(on, id, &Channel::DRAW))
    }

    /// All banks with their run-downs, in the order they were told of.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn banks_whole(&self) -> Result<Vec<BankWhole>, Trouble> {
        self.at_one_moment()?
            .read(|on| banks::all(on)?.into_iter().map(|bank| bank_whole(on, bank)).collect())
    }

    /// A series, thinned to the asked number of points with every peak kept.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn series(&self, ask: &SeriesAsk) -> Result<Series, Trouble> {
        self.read(|on| series::series_of(on, ask))
    }

    /// The rows of an outing at full length, ten seconds where they are still kept, with times in
    /// seconds since it began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn rows(&self, outing: i64) -> Result<Vec<Row>, Trouble> {
        self.read(|on| walk::of_outing(on, outing))
    }

    /// The same, an hour at a time, as far as these channels have any: so long an outing can be, and so
    /// little of it is in memory.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn rows_by_hour(&self, outing: i64, channels: &[Channel]) -> Result<RowsByHour, Trouble> {
        let left = self.read(|on| walk::hours(on, outing))?.into_iter();
        Ok(RowsByHour { reader: self.clone(), left, channels: channels.to_vec() })
    }

    /// When the board was on within an outing, seconds since it began, oldest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn switched_on(&self, outing: i64) -> Result<Vec<SwitchedOn>, Trouble> {
        self.read(|on| spans::switched_on(on, outing))
    }

    /// What happened in an outing, seconds since it began, oldest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn events(&self, outing: i64) -> Result<Vec<Event>, Trouble> {
        self.read(|on| events::of_outing(on, outing))
    }

    /// The forecasts that were made in an outing, times in seconds since it began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn forecasts(&self, outing: i64) -> Result<Vec<ForecastMade>, Trouble> {
        self.read(|on| forecasts::of_outing(on, outing))
    }

    /// When the board was switched off within an outing, as far as that is known: from, to, seconds
    /// since it began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn off(&self, outing: i64) -> Result<Vec<(f64, f64)>, Trouble> {
        self.read(|on| Ok(spans::off(&spans::switched_on(on, outing)?)))
    }

    /// When which source did not answer in an outing.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn gaps(&self, outing: i64) -> Result<Vec<SourceGap>, Trouble> {
        self.read(|on| gaps::of_outing(on, outing))
    }

    /// The contacts that fall into an outing, and how much of it no contact can be laid beside.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn contacts(&self, outing: i64) -> Result<OutingContacts, Trouble> {
        self.read(|on| contacts::of_outing(on, outing))
    }

    /// What the operator was doing as it was put right afterwards, in order of entry: of two that
    /// overlap the later holds. Times in seconds since the outing began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn corrections(&self, outing: i64) -> Result<Vec<Correction>, Trouble> {
        self.read(|on| corrections::of_outing(on, outing))
    }

    /// The folds of an outing, oldest first, times in seconds since it began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn folds(&self, outing: i64) -> Result<Vec<PeriodFold>, Trouble> {
        self.read(|on| period_folds::of_outing(on, outing))
    }

    /// The close-ups that overlap an outing, oldest first, times in seconds since it began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn close_ups(&self, outing: i64) -> Result<Vec<CloseUp>, Trouble> {
        self.read(|on| close_ups::of_outing(on, outing))
    }

    /// All banks, in the order they were told of.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn banks(&self) -> Result<Vec<RecordedBank>, Trouble> {
        self.read(banks::all)
    }

    /// The run-downs of a bank, oldest first, struck ones too.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn rundowns(&self, bank: i64) -> Result<Vec<RecordedRunDown>, Trouble> {
        self.read(|on| run_downs::of_bank(on, bank))
    }

    /// The choices that survive a restart.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn choices(&self) -> Result<Vec<(String, String)>, Trouble> {
        self.read(choices::all)
    }

    /// Writes a whole copy that any SQLite tool can open.
    ///
    /// # Errors
    /// When the store cannot be read or the copy not be written; an existing file is refused.
    pub fn copy_whole(&self, to: &Path) -> Result<(), Trouble> {
        // A connection of its own: within a transaction no copy can be made.
        let connection = self.connect()?;
        // Writes into the copy alone, but counts as writing.
        connection.execute_batch("PRAGMA query_only = OFF").map_err(Trouble::reading)?;
        schema::copy_whole(&connection, to)
    }

    /// SQLite's own check of the whole file: 'ok', or its first complaint.
    ///
    /// # Errors
    /// When the store cannot be read at all.
    pub fn check(&self) -> Result<String, Trouble> {
        self.read(|on| on.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0)))
    }
}

/// See [`Reader::rows_by_hour`].
#[derive(Debug)]
pub struct RowsByHour {
    reader: Reader,
    left: IntoIter<Hour>,
    channels: Vec<Channel>,
}

impl Iterator for RowsByHour {
    type Item = Result<Vec<Row>, Trouble>;

    fn next(&mut self) -> Option<Self::Item> {
        let hour = self.left.next()?;
        Some(self.reader.read(|on| walk::of_hour(on, &hour, &self.channels)))
    }
}

fn outing_whole(on: &Connection, id: i64, channels: &[Channel]) -> Done<Option<OutingWhole>> {
    let Some(outing) = outings::outing(on, id)? else { return Ok(None) };
    let banks = banks::all(on)?;
    let bank = banks.into_iter().find(|bank| Some(&bank.spec.name) == outing.bank.as_ref());
    let switched_on = spans::switched_on(on, id)?;
    Ok(Some(OutingWhole {
        rows: walk::within_outing(on, id, outing.ended_within_s.unwrap_or(0.0), channels)?,
        events: events::of_outing(on, id)?,
        gaps: gaps::of_outing(on, id)?,
        off_s: spans::off(&switched_on),
        on: switched_on,
        forecasts: forecasts::of_outing(on, id)?,
        contacts: contacts::of_outing(on, id)?,
        corrections: corrections::of_outing(on, id)?,
        folds: period_folds::of_outing(on, id)?,
        loads: load_lines::of_outing(on, id)?,
        plan: outing_plans::of_outing(on, id)?,
        bank: bank.map(|bank| bank_whole(on, bank)).transpose()?,
        outing,
    }))
}

fn bank_whole(on: &Connection, bank: RecordedBank) -> Done<BankWhole> {
    Ok(BankWhole { run_downs: run_downs::of_bank(on, bank.id)?, bank })
}

/// A connection that reads only, whatever the file was opened with.
fn open_with(path: &Path, flags: OpenFlags) -> rusqlite::Result<Connection> {
    let connection = answering(schema::connect(path, flags)?)?;
    connection.execute_batch("PRAGMA query_only = ON")?;
    Ok(connection)
}

/// The connection, if the file answers.
fn answering(connection: Connection) -> rusqlite::Result<Connection> {
    connection.query_row("SELECT count(*) FROM boot", [], |row| row.get::<_, i64>(0))?;
    Ok(connection)
}
