//! The record as pages read it: the port that `web` declares, filled in by the store's reader.

use std::{
    fs::{self, File},
    io::{self, Read},
    path::{Path, PathBuf},
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering},
    },
};

use history::{Reader, Trouble, export};
use reckon::{
    estimator::LoadPrior,
    plan::Known,
    record::{
        BankWhole, Outing, OutingContacts, OutingWhole, Page, Series, SeriesAsk, Stretch,
        year_before,
    },
    report::{BankTally, OutingReport},
    words,
};
use web::{BankShown, NoRecord, Pieces, RecordReader};

use crate::record::{planning, report};

/// Reads the record; without a folder there is none, as in a demonstration.
pub(crate) struct StoreReader {
    record: Option<(Reader, PathBuf)>,
    /// Moves with what is written, where somebody writes.
    moves: Option<Arc<AtomicU64>>,
    /// Nobody wants to know any more.
    gone: Arc<AtomicBool>,
    /// What is printed of board and radio.
    load: LoadPrior,
}

impl StoreReader {
    /// Reads the record in this folder.
    pub(crate) fn new(folder: Option<&Path>) -> Self {
        let record = folder.map(|folder| (Reader::new(folder), folder.to_path_buf()));
        Self { record, moves: None, gone: Arc::default(), load: LoadPrior::default() }
    }

    /// The same, of a station whose board and radio draw so much.
    pub(crate) fn drawing(self, load: LoadPrior) -> Self {
        Self { load, ..self }
    }

    /// The same, with the number that moves with what is written.
    pub(crate) fn moving_with(self, moves: Option<Arc<AtomicU64>>) -> Self {
        Self { moves, ..self }
    }

    /// What is read, or nothing without a record.
    fn read<T: Default>(
        &self,
        read: impl FnOnce(&Reader) -> Result<T, Trouble>,
    ) -> Result<T, NoRecord> {
        let Some((reader, _)) = &self.record else { return Ok(T::default()) };
        read(reader).map_err(|why| self.no_record(&why))
    }

    /// What was given up is no trouble of the record.
    fn no_record(&self, trouble: &Trouble) -> NoRecord {
        if self.gone.load(Ordering::Relaxed) {
            return NoRecord { say: trouble.to_string() };
        }
        no_record(trouble)
    }
}

/// Outings that a year is taken to have at most.
const A_YEAR: usize = 400;

/// A bank with its year, of these outings of all banks.
fn bank_shown(whole: BankWhole, outings: &[Outing]) -> BankShown {
    let since = year_before(outings);
    let own = outings.iter().filter(|it| it.bank.as_ref() == Some(&whole.bank.spec.name));
    let late = |it: &&Outing| it.began.zip(since).is_none_or(|(began, since)| began >= since);
    BankShown {
        usable_wh: whole.usable_wh(),
        year: whole.year(since),
        outings: own.filter(late).cloned().collect(),
        whole,
    }
}

fn no_record(trouble: &Trouble) -> NoRecord {
    if let Some(cause) = &trouble.cause {
        tracing::warn!("{}: {cause}", trouble.what);
    }
    NoRecord { say: trouble.to_string() }
}

impl RecordReader for StoreReader {
    fn state(&self) -> Option<u64> {
        self.moves.as_ref().map(|moves| moves.load(Ordering::Acquire))
    }

    fn at_one_moment(
        &self,
        gone: &Arc<AtomicBool>,
    ) -> Result<Option<Box<dyn RecordReader>>, NoRecord> {
        let Some((reader, folder)) = &self.record else { return Ok(None) };
        let (moves, gone) = (self.moves.clone(), Arc::clone(gone));
        let held = reader.until(Arc::clone(&gone)).at_one_moment();
        let reader = held.map_err(|why| self.no_record(&why))?;
        let record = Some((reader, folder.clone()));
        Ok(Some(Box::new(Self { record, moves, gone, load: self.load })))
    }

    fn outings(&self, before: Option<i64>, most: usize) -> Result<Page<Outing>, NoRecord> {
        self.read(|reader| reader.outings(before, most))
    }

    fn outing(&self, id: i64) -> Result<Option<OutingWhole>, NoRecord> {
        self.read(|reader| reader.outing_whole(id))
    }

    fn report(&self, id: i64) -> Result<Option<OutingReport>, NoRecord> {
        self.read(|reader| report::report(reader, id))
    }

    fn series(&self, ask: &SeriesAsk) -> Result<Option<Series>, NoRecord> {
        self.read(|reader| match ask.of {
            Stretch::Outing { id, .. } if reader.outing(id)?.is_none() => Ok(None),
            _ => reader.series(ask).map(Some),
        })
    }

    fn banks(&self) -> Result<Vec<BankShown>, NoRecord> {
        self.read(|reader| {
            let outings = reader.outings(None, A_YEAR)?.items;
            let shown = |whole: BankWhole| bank_shown(whole, &outings);
            Ok(reader.banks_whole()?.into_iter().map(shown).collect())
        })
    }

    fn book(&self, bank: i64) -> Result<Option<BankTally>, NoRecord> {
        self.read(|reader| report::book(reader, bank))
    }

    fn known(&self) -> Result<Known, NoRecord> {
        Ok(Known { load: self.load, ..self.read(planning::known)? })
    }

    fn csv(&self, outing: i64) -> Result<Option<Pieces>, NoRecord> {
        self.read(|reader| export::csv(reader, outing)).map(|found| found.map(sent))
    }

    fn json(&self, outing: i64) -> Result<Option<Pieces>, NoRecord> {
        self.read(|reader| export::json(reader, outing)).map(|found| found.map(sent))
    }

    fn contacts(&self, outing: i64) -> Result<Option<OutingContacts>, NoRecord> {
        self.read(|reader| match reader.outing(outing)? {
            Some(_) => reader.contacts(outing).map(Some),
            None => Ok(None),
        })
    }

    fn close_ups(&self, outing: i64) -> Result<Option<Pieces>, NoRecord> {
        self.read(|reader| export::close_ups(reader, outing)).map(|found| found.map(sent))
    }

    fn copy(&self) -> Result<Pieces, NoRecord> {
        let Some((reader, folder)) = &self.record else {
            return Err(NoRecord { say: words::refusal::NO_COPY.to_owned() });
        };
        let to = aside(folder);
        reader.copy_whole(&to).map_err(|why| no_record(&why))?;
        // Without a name it is gone as soon as it has been read, whatever happens meanwhile.
        let opened = File::open(&to).and_then(|copy| fs::remove_file(&to).map(|()| copy));
        let unreadable = move |why: io::Error| NoRecord {
            say: words::refusal::copy_unreadable(&to.display(), &why),
        };
        Ok(pieces_of(opened.map_err(&unreadable)?, unreadable))
    }
}

/// Pieces of an export as they go out.
fn sent(pieces: export::Pieces) -> Pieces {
    Box::new(pieces.map(|piece| piece.map(String::into_bytes).map_err(|why| no_record(&why))))
}

/// Bytes of a copy that are read at once.
const PIECE_BYTES: u64 = 64 * 1024;

fn pieces_of(
    from: impl Read + Send + 'static,
    unreadable: impl Fn(io::Error) -> NoRecord + Send + 'static,
) -> Pieces {
    let mut from = Some(from);
    Box::new(std::iter::from_fn(move || {
        let mut piece = Vec::new();
        let read = from.as_mut()?.take(PIECE_BYTES).read_to_end(&mut piece);
        if read.is_err() || piece.is_empty() {
            from = None;
        }
        let piece = read.map(|_| piece).map_err(&unreadable);
        (!matches!(&piece, Ok(none) if none.is_empty())).then_some(piece)
    }))
}

/// A name for a copy that nobody has.
fn aside(folder: &Path) -> PathBuf {
    static COPIES: AtomicU32 = AtomicU32::new(0);
    let number = COPIES.fetch_add(1, Ordering::Relaxed);
    folder.join(format!(".copy-{}-{number}.db", std::process::id()))
}
