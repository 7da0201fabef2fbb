//! Reads the record, on connections of its own; nothing it does can hold the writer up.

use std::path::{Path, PathBuf};

use reckon::{
    belief::last_end::{BeforeStart, EarlierPart, Loss, OpenOuting, StopHow},
    record::{
        CloseUp, Correction, Ending, Event, EventKind, ForecastMade, Outing, OutingContacts, Page,
        PeriodFold, RecordedBank, RecordedRunDown, Row, Series, SeriesAsk, SourceGap, Stretch,
    },
    snapshot::Basis,
    time::{Mono, Wall},
};

use crate::{
    reader::series::{Piece, rows_between, series},
    schema,
    tables::{
        banks::{BANK_COLUMNS, RUNDOWN_COLUMNS, bank_of, rundown_of},
        close_ups, contacts, corrections, period_folds,
        tiers::last_sign,
    },
    trouble::Trouble,
    write::apply::sums,
};

use rusqlite::{Connection, ErrorCode, OpenFlags, OptionalExtension, params};

/// The choice that holds the outing of which a person has said how full its bank was, or that it was
/// charged before.
pub const SETTLED: &str = "charged_before";

/// Reads the record.
#[derive(Clone, Debug)]
pub struct Reader {
    path: PathBuf,
}

pub(crate) mod series;

const OUTING_COLUMNS: &str = "o.id, b.name, o.name, o.start_share, o.began_s, bb.wall_at_boot_ms, \
     o.ended_s, eb.wall_at_boot_ms, o.ended_by_s, o.ending, o.died_chance, o.lasted_s, \
     o.energy_wh, o.bridged_wh, o.mean_power_w, o.peak_power_w";
const OUTING_TABLES: &str = "outing AS o LEFT JOIN bank AS b ON b.id = o.bank \
     LEFT JOIN boot AS bb ON bb.id = o.began_boot LEFT JOIN boot AS eb ON eb.id = o.ended_boot";

impl Reader {
    /// Of the store in this folder.
    #[must_use]
    pub fn new(folder: &Path) -> Self {
        Self { path: folder.join(schema::FILE) }
    }

    /// Opens the file for reading. A file on a card that has gone read-only, without its log,
    /// is read as it stands.
    pub(crate) fn connect(&self) -> Result<Connection, Trouble> {
        if !self.path.exists() {
            return Err(Trouble::new(
                "there is no record yet",
                "Nothing of earlier outings can be shown.",
                "It begins when outlast has run for a minute with a card it can write to.",
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
        let connection = self.connect()?;
        outings(&connection, before, most.clamp(1, 500)).map_err(Trouble::reading)
    }

    /// One outing.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn outing(&self, id: i64) -> Result<Option<Outing>, Trouble> {
        let connection = self.connect()?;
        outing(&connection, id).map_err(Trouble::reading)
    }

    /// A series, thinned to the asked number of points with every peak kept.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn series(&self, ask: &SeriesAsk) -> Result<Series, Trouble> {
        let connection = self.connect()?;
        series_of(&connection, ask).map_err(Trouble::reading)
    }

    /// The rows of an outing at full length, ten seconds where they are still kept, with times in
    /// seconds since it began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn rows(&self, outing: i64) -> Result<Vec<Row>, Trouble> {
        let connection = self.connect()?;
        rows_of(&connection, outing).map_err(Trouble::reading)
    }

    /// What happened in an outing, seconds since it began, oldest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn events(&self, outing: i64) -> Result<Vec<Event>, Trouble> {
        let connection = self.connect()?;
        events(&connection, outing).map_err(Trouble::reading)
    }

    /// The forecasts that were made in an outing, times in seconds since it began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn forecasts(&self, outing: i64) -> Result<Vec<ForecastMade>, Trouble> {
        let connection = self.connect()?;
        forecasts(&connection, outing).map_err(Trouble::reading)
    }

    /// When the board was switched off within an outing, as far as that is known: from, to, seconds
    /// since it began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn off(&self, outing: i64) -> Result<Vec<(f64, f64)>, Trouble> {
        let connection = self.connect()?;
        let pieces = pieces(&connection, outing).map_err(Trouble::reading)?;
        let holes = pieces.windows(2).filter_map(|two| match two {
            [one, next] => Some((one.at_s + one.to_s - one.from_s, next.at_s)),
            _ => None,
        });
        Ok(holes.filter(|(from_s, to_s)| to_s > from_s).collect())
    }

    /// When which source did not answer in an outing.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn gaps(&self, outing: i64) -> Result<Vec<SourceGap>, Trouble> {
        let connection = self.connect()?;
        gaps(&connection, outing).map_err(Trouble::reading)
    }

    /// The contacts that fall into an outing, and how much of it no contact can be laid beside.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn contacts(&self, outing: i64) -> Result<OutingContacts, Trouble> {
        let connection = self.connect()?;
        contacts::of(&connection, outing).map_err(Trouble::reading)
    }

    /// What the operator was doing as it was put right afterwards, in order of entry: of two that
    /// overlap the later holds. Times in seconds since the outing began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn corrections(&self, outing: i64) -> Result<Vec<Correction>, Trouble> {
        let connection = self.connect()?;
        corrections::of(&connection, outing).map_err(Trouble::reading)
    }

    /// The folds of an outing, oldest first, times in seconds since it began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn folds(&self, outing: i64) -> Result<Vec<PeriodFold>, Trouble> {
        let connection = self.connect()?;
        period_folds::of(&connection, outing).map_err(Trouble::reading)
    }

    /// The close-ups that overlap an outing, oldest first, times in seconds since it began.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn close_ups(&self, outing: i64) -> Result<Vec<CloseUp>, Trouble> {
        let connection = self.connect()?;
        close_ups::of(&connection, outing).map_err(Trouble::reading)
    }

    /// All banks, in the order they were told of.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn banks(&self) -> Result<Vec<RecordedBank>, Trouble> {
        let connection = self.connect()?;
        let read = || -> rusqlite::Result<Vec<RecordedBank>> {
            let mut ask = connection
                .prepare_cached(&format!("SELECT {BANK_COLUMNS} FROM bank ORDER BY id"))?;
            let banks = ask.query_map([], bank_of)?.collect::<rusqlite::Result<Vec<_>>>()?;
            Ok(banks.into_iter().flatten().collect())
        };
        read().map_err(Trouble::reading)
    }

    /// The run-downs of a bank, oldest first, struck ones too.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn rundowns(&self, bank: i64) -> Result<Vec<RecordedRunDown>, Trouble> {
        let connection = self.connect()?;
        let read = || -> rusqlite::Result<Vec<RecordedRunDown>> {
            let sql = format!("SELECT {RUNDOWN_COLUMNS} FROM rundown WHERE bank = ?1 ORDER BY id");
            connection.prepare_cached(&sql)?.query_map([bank], rundown_of)?.collect()
        };
        read().map_err(Trouble::reading)
    }

    /// The choices that survive a restart.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn choices(&self) -> Result<Vec<(String, String)>, Trouble> {
        let connection = self.connect()?;
        let read = || -> rusqlite::Result<Vec<(String, String)>> {
            connection
                .prepare_cached("SELECT key, value FROM choice ORDER BY key")?
                .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect()
        };
        read().map_err(Trouble::reading)
    }

    /// Writes a whole copy that any SQLite tool can open.
    ///
    /// # Errors
    /// When the store cannot be read or the copy not be written; an existing file is refused.
    pub fn copy_whole(&self, to: &Path) -> Result<(), Trouble> {
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
        self.connect()?
            .query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))
            .map_err(Trouble::reading)
    }
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

/// What the record says about the end before this start; `None` in a new record.
pub(crate) fn before(connection: &Connection) -> rusqlite::Result<Option<BeforeStart>> {
    let last = connection
        .query_row(
            "SELECT r.boot, b.uuid, r.ended_s, r.how, b.wall_at_boot_ms, r.began_s
             FROM run AS r JOIN boot AS b ON b.id = r.boot ORDER BY r.id DESC LIMIT 1",
            [],
            |row| {
                Ok((
                    row.get::<_, i64>(0)?,
                    row.get::<_, String>(1)?,
                    row.get::<_, Option<f64>>(2)?,
                    row.get::<_, Option<String>>(3)?,
                    row.get::<_, Option<i64>>(4)?,
                    row.get::<_, f64>(5)?,
                ))
            },
        )
        .optional()?;
    let Some((boot, boot_uuid, ended_s, how, wall_at_boot_ms, began_s)) = last else {
        return Ok(None);
    };
    // A run that left no row still showed that it began.
    let (sign, due_s) = last_sign(connection, boot)?.unwrap_or((began_s, 60.0));
    let forecast = connection
        .query_row(
            "SELECT at_s, p10_s, p50_s, p90_s FROM forecast WHERE boot = ?1 ORDER BY id DESC LIMIT 1",
            [boot],
            |row| Ok((row.get(0)?, [row.get(1)?, row.get(2)?, row.get(3)?])),
        )
        .optional()?;
    let outing = open_outing(connection)?;
    let unsettled = outing.as_ref().map_or(Ok(Vec::new()), |open| unsettled(connection, open))?;
    let losses = outing.as_ref().map_or(Ok(Vec::new()), |open| losses(connection, open))?;
    Ok(Some(BeforeStart {
        boot_uuid,
        last_sign_s: sign.max(began_s),
        due_s,
        stopped: ended_s.zip(how.as_deref().and_then(StopHow::from_name)),
        forecast,
        wall_at_boot_ms,
        outing,
        earlier_parts: unsettled,
        losses,
    }))
}

/// So many outings may be the rest of one another: a plug that slips all day.
const LONGEST_CHAIN: usize = 24;
/// So many outings are looked back through.
const LOOK_BACK: u32 = 12;

/// Outings right before the open one that it may be the rest of: on its bank, ended alive as far as
/// can be told, and each begun from a level that is not known but for the first.
fn unsettled(connection: &Connection, open: &OpenOuting) -> rusqlite::Result<Vec<EarlierPart>> {
    let mut chain = Vec::new();
    let mut last = open.clone();
    while last.start_share.is_none()
        && chain.len() < LONGEST_CHAIN
        && !settled(connection, last.id)?
    {
        let Some(earlier) = one_before(connection, &last)? else { break };
        last = earlier.outing.clone();
        chain.push(earlier);
    }
    Ok(chain)
}

/// Whether a person has said how full the bank was, or that it was not known.
fn settled(connection: &Connection, outing: i64) -> rusqlite::Result<bool> {
    connection.query_row(
        "SELECT EXISTS (SELECT 1 FROM choice WHERE key = ?1 AND value = ?2)",
        params![SETTLED, outing.to_string()],
        |row| row.get(0),
    )
}

fn one_before(connection: &Connection, of: &OpenOuting) -> rusqlite::Result<Option<EarlierPart>> {
    let mut page = outings(connection, Some(of.id), 1)?;
    let Some(found) = page.items.pop() else { return Ok(None) };
    let alive = match found.ending {
        Ending::SwitchedOff => Some(0.0),
        Ending::PowerLost { died } => Some(died),
        Ending::Open | Ending::Died | Ending::Swapped => None,
    };
    let same_bank = found.bank.is_some() && found.bank == of.bank;
    let Some(died) = alive.filter(|_| same_bank) else { return Ok(None) };
    let outing = OpenOuting {
        id: found.id,
        bank: found.bank,
        name: found.name,
        start_share: found.start_share,
        lasted_s: found.lasted_s,
        energy_wh: found.energy_wh.unwrap_or(0.0),
        bridged_wh: found.bridged_wh.unwrap_or(0.0),
        steps: Vec::new(),
    };
    Ok(Some(EarlierPart { outing, died }))
}

/// Earlier outings of the bank whose power went away.
fn losses(connection: &Connection, open: &OpenOuting) -> rusqlite::Result<Vec<Loss>> {
    let mut ask = connection.prepare_cached(
        "SELECT o.id, o.energy_wh, o.ending, o.died_chance, o.start_share FROM outing AS o
         JOIN bank AS b ON b.id = o.bank
         WHERE b.name = ?1 AND o.id < ?2 AND o.ending IN ('died', 'power_lost')
             AND o.energy_wh > 0 AND (o.start_share IS NULL OR o.start_share >= 1)
         ORDER BY o.id DESC LIMIT ?3",
    )?;
    ask.query_map(params![open.bank, open.id, LOOK_BACK], |row| {
        let (name, chance): (String, Option<f64>) = (row.get(2)?, row.get(3)?);
        let died = if name == "died" { 1.0 } else { chance.unwrap_or(0.5) };
        Ok(Loss {
            outing: row.get(0)?,
            energy_wh: row.get(1)?,
            died,
            // A person's word is put down as all or nothing.
            known: name == "died" || died <= 0.0,
            from_full: row.get::<_, Option<f64>>(4)?.is_some(),
        })
    })?
    .collect()
}

fn open_outing(connection: &Connection) -> rusqlite::Result<Option<OpenOuting>> {
    let found = connection
        .query_row(
            "SELECT o.id, b.name, o.name, o.start_share FROM outing AS o
             LEFT JOIN bank AS b ON b.id = coalesce((SELECT bank FROM span WHERE outing = o.id
                 ORDER BY id DESC LIMIT 1), o.bank)
             WHERE o.ending = 'open' ORDER BY o.id DESC LIMIT 1",
            [],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
        )
        .optional()?;
    let Some((id, bank, name, start_share)) = found else { return Ok(None) };
    let sums = sums(connection, id)?;
    Ok(Some(OpenOuting {
        id,
        bank,
        name,
        start_share,
        lasted_s: sums.lasted_s,
        energy_wh: sums.energy_wh.unwrap_or(0.0),
        bridged_wh: sums.bridged_wh.unwrap_or(0.0),
        steps: Vec::new(),
    }))
}

fn outings(
    connection: &Connection,
    before: Option<i64>,
    most: usize,
) -> rusqlite::Result<Page<Outing>> {
    let sql = format!(
        "SELECT {OUTING_COLUMNS} FROM {OUTING_TABLES} WHERE o.id < ?1 ORDER BY o.id DESC LIMIT ?2"
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
    let sql = format!("SELECT {OUTING_COLUMNS} FROM {OUTING_TABLES} WHERE o.id = ?1");
    let found = connection.query_row(&sql, [id], outing_of).optional()?;
    let Some(mut outing) = found else { return Ok(None) };
    complete(connection, &mut outing)?;
    Ok(Some(outing))
}

#[expect(clippy::cast_possible_truncation, reason = "a float cast saturates, which is meant")]
fn outing_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Outing> {
    let wall = |boot_ms: Option<i64>, at_s: Option<f64>| {
        Some(Wall::from_unix_ms(boot_ms?.saturating_add((at_s? * 1000.0).round() as i64)))
    };
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
    outing.energy_wh = sums.energy_wh;
    outing.bridged_wh = sums.bridged_wh;
    outing.mean_power_w = sums.mean_w();
    outing.peak_power_w = sums.peak_w;
    Ok(())
}

/// The pieces of an outing on its own axis. Time switched off counts where it is known; where it
/// is not, the boots follow one another without a hole.
pub(crate) fn pieces(connection: &Connection, outing: i64) -> rusqlite::Result<Vec<Piece>> {
    let mut ask = connection.prepare_cached(
        "SELECT boot, from_s, to_s, off_before_s FROM span WHERE outing = ?1 ORDER BY id",
    )?;
    let spans: Vec<(i64, f64, Option<f64>, Option<f64>)> = ask
        .query_map([outing], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))?
        .collect::<rusqlite::Result<_>>()?;
    let mut at_s = 0.0;
    let mut pieces = Vec::with_capacity(spans.len());
    for (boot, from_s, to_s, off_before_s) in spans {
        at_s += off_before_s.unwrap_or(0.0).max(0.0);
        let to_s = match to_s {
            Some(to_s) => to_s,
            None => last_sign(connection, boot)?.map_or(from_s, |(sign, _)| sign),
        }
        .max(from_s);
        pieces.push(Piece { boot, from_s, to_s, at_s });
        at_s += to_s - from_s;
    }
    Ok(pieces)
}

/// The end of a piece for what is kept beside rows, which may be newer than the last row.
pub(crate) fn heard_till(connection: &Connection, piece: &Piece) -> rusqlite::Result<f64> {
    let last = last_sign(connection, piece.boot)?.is_none_or(|(sign, _)| piece.to_s >= sign);
    Ok(if last { piece.to_s + 120.0 } else { piece.to_s })
}

/// The record's version. A file of an earlier one is read as it is: only a writer brings it up to
/// date.
pub(crate) fn version(connection: &Connection) -> rusqlite::Result<i64> {
    connection.query_row("PRAGMA user_version", [], |row| row.get(0))
}

fn series_of(connection: &Connection, ask: &SeriesAsk) -> rusqlite::Result<Series> {
    let (pieces, from_s, to_s) = match ask.of {
        Stretch::Outing { id, from_s, to_s } => {
            let pieces = pieces(connection, id)?;
            let end = pieces.last().map_or(0.0, |piece| piece.at_s + piece.to_s - piece.from_s);
            (pieces, from_s.max(0.0), to_s.min(end))
        }
        Stretch::Wall { from_ms, to_ms } => {
            let pieces = wall_pieces(connection, from_ms, to_ms)?;
            (pieces, 0.0, seconds(to_ms.saturating_sub(from_ms)))
        }
    };
    if to_s <= from_s {
        return Ok(Series::default());
    }
    series(connection, &pieces, (from_s, to_s), &ask.channels, ask.points)
}

#[expect(clippy::cast_precision_loss, reason = "milliseconds since 1970 are exact in a double")]
fn seconds(ms: i64) -> f64 {
    ms as f64 / 1000.0
}

/// Every boot with a known wall time, on an axis that begins at `from_ms`.
fn wall_pieces(connection: &Connection, from_ms: i64, to_ms: i64) -> rusqlite::Result<Vec<Piece>> {
    let mut ask = connection
        .prepare_cached("SELECT id, wall_at_boot_ms FROM boot WHERE wall_at_boot_ms < ?1")?;
    let boots: Vec<(i64, i64)> = ask
        .query_map([to_ms], |row| Ok((row.get(0)?, row.get(1)?)))?
        .collect::<rusqlite::Result<_>>()?;
    let mut pieces = Vec::with_capacity(boots.len());
    for (boot, wall_ms) in boots {
        let Some((sign, _)) = last_sign(connection, boot)?.or(last_folded(connection, boot)?)
        else {
            continue;
        };
        let at_s = seconds(wall_ms.saturating_sub(from_ms));
        if at_s + sign <= 0.0 {
            continue;
        }
        pieces.push(Piece { boot, from_s: 0.0, to_s: sign, at_s });
    }
    pieces.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    Ok(pieces)
}

fn last_folded(connection: &Connection, boot: i64) -> rusqlite::Result<Option<(f64, f64)>> {
    connection
        .prepare_cached(
            "SELECT from_s + 300.0 FROM five WHERE boot = ?1 ORDER BY from_s DESC LIMIT 1",
        )?
        .query_row([boot], |row| Ok((row.get(0)?, 0.0)))
        .optional()
}

pub(crate) fn rows_of(connection: &Connection, outing: i64) -> rusqlite::Result<Vec<Row>> {
    let mut all = Vec::new();
    for piece in pieces(connection, outing)? {
        let shift = piece.at_s - piece.from_s;
        let rows = rows_between(connection, piece.boot, piece.from_s, piece.to_s, 10.0)?;
        all.extend(rows.into_iter().map(|row| Row { from_s: row.from_s + shift, ..row }));
    }
    Ok(all)
}

fn events(connection: &Connection, outing: i64) -> rusqlite::Result<Vec<Event>> {
    let mut all = Vec::new();
    for piece in pieces(connection, outing)? {
        let mut ask = connection.prepare_cached(
            "SELECT at_s, kind, text FROM event WHERE boot = ?1 AND at_s BETWEEN ?2 AND ?3
             ORDER BY at_s, id",
        )?;
        let end = heard_till(connection, &piece)?;
        let mut found = ask.query(params![piece.boot, piece.from_s, end])?;
        while let Some(row) = found.next()? {
            let (at_s, kind): (f64, String) = (row.get(0)?, row.get(1)?);
            all.push(Event {
                at: Mono::at_s(at_s - piece.from_s + piece.at_s),
                kind: EventKind::from_name(&kind),
                text: row.get(2)?,
            });
        }
    }
    Ok(all)
}

fn forecasts(connection: &Connection, outing: i64) -> rusqlite::Result<Vec<ForecastMade>> {
    let mut all = Vec::new();
    for piece in pieces(connection, outing)? {
        let mut ask = connection.prepare_cached(
            "SELECT at_s, p10_s, p50_s, p90_s, basis, delivered_wh, bridged_wh, usable_p10_wh,
                 usable_p50_wh, usable_p90_wh
             FROM forecast WHERE boot = ?1 AND at_s BETWEEN ?2 AND ?3 ORDER BY at_s",
        )?;
        let mut found = ask.query(params![piece.boot, piece.from_s, piece.to_s])?;
        while let Some(row) = found.next()? {
            let (at_s, basis): (f64, String) = (row.get(0)?, row.get(4)?);
            let usable: [Option<f64>; 3] = [row.get(7)?, row.get(8)?, row.get(9)?];
            all.push(ForecastMade {
                at: Mono::at_s(at_s - piece.from_s + piece.at_s),
                remaining_s: [row.get(1)?, row.get(2)?, row.get(3)?],
                basis: match basis.as_str() {
                    "measured" => Basis::Measured,
                    "gauge" => Basis::Gauge,
                    "expected" => Basis::Expected,
                    _ => Basis::Modelled,
                },
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

fn gaps(connection: &Connection, outing: i64) -> rusqlite::Result<Vec<SourceGap>> {
    let mut all = Vec::new();
    for piece in pieces(connection, outing)? {
        let mut ask = connection.prepare_cached(
            "SELECT s.ident, s.title, g.from_s, g.to_s, g.why FROM gap AS g
             JOIN source AS s ON s.id = g.source
             WHERE g.boot = ?1 AND g.from_s <= ?3 AND (g.to_s IS NULL OR g.to_s >= ?2)
             ORDER BY g.from_s",
        )?;
        let shift = piece.at_s - piece.from_s;
        let found = ask.query_map(params![piece.boot, piece.from_s, piece.to_s], |row| {
            Ok(SourceGap {
                id: row.get(0)?,
                title: row.get(1)?,
                from_s: row.get::<_, f64>(2)?.max(piece.from_s) + shift,
                to_s: row.get::<_, Option<f64>>(3)?.map(|to_s| to_s + shift),
                why: row.get(4)?,
            })
        })?;
        for gap in found {
            all.push(gap?);
        }
    }
    Ok(all)
}
