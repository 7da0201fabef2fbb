//! The record as pages read it: the port that `web` declares, filled in by the store's reader.

use std::{
    fs::{self, File},
    io::Read,
    path::{Path, PathBuf},
    sync::atomic::{AtomicU32, Ordering},
};

use history::{Reader, Trouble, export};
use reckon::{
    record::{BankWhole, Outing, OutingContacts, OutingWhole, Page, Series, SeriesAsk, Stretch},
    report::{BankTally, OutingReport},
    words,
};
use web::{BankShown, NoRecord, RecordReader};

use crate::record::report;

/// Reads the record; without a folder there is none, as in a demonstration.
pub(crate) struct StoreReader {
    record: Option<(Reader, PathBuf)>,
}

impl StoreReader {
    /// Reads the record in this folder.
    pub(crate) fn new(folder: Option<&Path>) -> Self {
        Self { record: folder.map(|folder| (Reader::new(folder), folder.to_path_buf())) }
    }

    /// What is read, or nothing without a record.
    fn read<T: Default>(
        &self,
        read: impl FnOnce(&Reader) -> Result<T, Trouble>,
    ) -> Result<T, NoRecord> {
        let Some((reader, _)) = &self.record else { return Ok(T::default()) };
        read(reader).map_err(|why| no_record(&why))
    }
}

fn no_record(trouble: &Trouble) -> NoRecord {
    if let Some(cause) = &trouble.cause {
        tracing::warn!("{}: {cause}", trouble.what);
    }
    NoRecord { say: trouble.to_string() }
}

impl RecordReader for StoreReader {
    fn at_one_moment(&self) -> Result<Option<Box<dyn RecordReader>>, NoRecord> {
        let Some((reader, folder)) = &self.record else { return Ok(None) };
        let reader = reader.at_one_moment().map_err(|why| no_record(&why))?;
        Ok(Some(Box::new(Self { record: Some((reader, folder.clone())) })))
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
        let shown = |whole: BankWhole| BankShown { usable_wh: whole.usable_wh(), whole };
        self.read(|reader| Ok(reader.banks_whole()?.into_iter().map(shown).collect()))
    }

    fn book(&self, bank: i64) -> Result<Option<BankTally>, NoRecord> {
        self.read(|reader| report::book(reader, bank))
    }

    fn csv(&self, outing: i64) -> Result<Option<String>, NoRecord> {
        self.read(|reader| export::csv(reader, outing))
    }

    fn json(&self, outing: i64) -> Result<Option<String>, NoRecord> {
        self.read(|reader| export::json(reader, outing))
    }

    fn contacts(&self, outing: i64) -> Result<Option<OutingContacts>, NoRecord> {
        self.read(|reader| match reader.outing(outing)? {
            Some(_) => reader.contacts(outing).map(Some),
            None => Ok(None),
        })
    }

    fn close_ups(&self, outing: i64) -> Result<Option<String>, NoRecord> {
        self.read(|reader| export::close_ups(reader, outing))
    }

    fn copy(&self) -> Result<Box<dyn Read + Send>, NoRecord> {
        let Some((reader, folder)) = &self.record else {
            return Err(NoRecord { say: words::refusal::NO_COPY.to_owned() });
        };
        let to = aside(folder);
        reader.copy_whole(&to).map_err(|why| no_record(&why))?;
        // Without a name it is gone as soon as it has been read, whatever happens meanwhile.
        let opened = File::open(&to).and_then(|copy| fs::remove_file(&to).map(|()| copy));
        let copy = opened.map_err(|why| NoRecord {
            say: words::refusal::copy_unreadable(&to.display(), &why),
        })?;
        Ok(Box::new(copy))
    }
}

/// A name for a copy that nobody has.
fn aside(folder: &Path) -> PathBuf {
    static COPIES: AtomicU32 = AtomicU32::new(0);
    let number = COPIES.fetch_add(1, Ordering::Relaxed);
    folder.join(format!(".copy-{}-{number}.db", std::process::id()))
}
