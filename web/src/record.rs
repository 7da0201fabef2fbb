//! What pages need of the past and of the record: the port [`RecordReader`], filled in by whoever has the
//! store. Structs of plain values, units last in their names.

use std::sync::{Arc, atomic::AtomicBool};

use reckon::{
    plan::Known,
    record::{
        BankWhole, BankYear, Outing, OutingContacts, OutingWhole, Page, Series, SeriesAsk, TestLoad,
    },
    report::{BankTally, OutingReport},
    time::{Mono, Stamp},
};

/// A file in pieces; it ends with the first that cannot be read.
pub type Pieces = Box<dyn Iterator<Item = Result<Vec<u8>, NoRecord>> + Send>;

/// What pages need of the past. Its calls may block; they are made on the blocking pool only, a few
/// at once.
pub trait RecordReader: Send + Sync {
    /// May not block: it is asked outside of that pool. A number that moves whenever the record may have changed: what was read under one holds while
    /// that stands. `None`: nobody can say, and nothing is kept.
    fn state(&self) -> Option<u64> {
        None
    }
    /// A reader for one request: it opens the record once, and all it reads is of one moment. It may
    /// give up as soon as `gone` is set: then nobody wants to know any more. `None`: this one does that
    /// already.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn at_one_moment(
        &self,
        gone: &Arc<AtomicBool>,
    ) -> Result<Option<Box<dyn RecordReader>>, NoRecord> {
        let _ = gone;
        Ok(None)
    }
    /// Outings, newest first, at most `most` of them, older than the id `before`.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn outings(&self, before: Option<i64>, most: usize) -> Result<Page<Outing>, NoRecord>;
    /// All that the record has of one outing; `None`: there is none of that id.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn outing(&self, id: i64) -> Result<Option<OutingWhole>, NoRecord>;
    /// One outing taken apart; `None`: there is none of that id.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn report(&self, id: i64) -> Result<Option<OutingReport>, NoRecord>;
    /// A series of an outing, thinned to the asked number of points with every peak kept; `None`:
    /// there is no such outing.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn series(&self, ask: &SeriesAsk) -> Result<Option<Series>, NoRecord>;
    /// All banks with their run-downs, forgotten ones too, in the order they were told of.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn banks(&self) -> Result<Vec<BankShown>, NoRecord>;
    /// What a bank gave by activity, over its newest outings; `None`: there is no such bank.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn book(&self, bank: i64) -> Result<Option<BankTally>, NoRecord>;
    /// What a plan may take from the record and the settings: the banks that are offered with what they
    /// taught, what activities drew on each, what is printed of board and radio.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn known(&self) -> Result<Known, NoRecord>;
    /// An outing as CSV (RFC 4180, with a header line).
    ///
    /// # Errors
    /// When the record cannot be read.
    fn csv(&self, outing: i64) -> Result<Option<Pieces>, NoRecord>;
    /// An outing as JSON.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn json(&self, outing: i64) -> Result<Option<Pieces>, NoRecord>;
    /// The contacts that fall into an outing; `None`: there is no such outing.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn contacts(&self, outing: i64) -> Result<Option<OutingContacts>, NoRecord>;
    /// The seconds around what happened in an outing, as CSV.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn close_ups(&self, outing: i64) -> Result<Option<Pieces>, NoRecord>;
    /// A whole copy of the store, for people's own tools. Asked for over the socket only.
    ///
    /// # Errors
    /// When the record cannot be read or there is no room for the copy.
    fn copy(&self) -> Result<Pieces, NoRecord>;
}

/// The record cannot be read just now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoRecord {
    /// A sentence for a person: what failed and what to do.
    pub say: String,
}

/// Tells the moment; handed in, since nothing here may ask the system for it.
pub trait Clock: Send + Sync {
    /// This very moment (not the newest snapshot's).
    fn stamp(&self) -> Stamp;
}

/// A bank as its page shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct BankShown {
    /// The bank with its run-downs.
    pub whole: BankWhole,
    /// Usable energy as believed from what was learned, Wh: 10 %, 50 %, 90 %, where that is known.
    pub usable_wh: Option<[f64; 3]>,
    /// What it gave over a year, and whether it ages.
    pub year: BankYear,
    /// Its outings of that year, newest first.
    pub outings: Vec<Outing>,
}

/// How the record and its clock are doing; the newest is what pages show.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct RecordStatus {
    /// The end of the last row on the card.
    pub last: Option<Mono>,
    /// Why nothing can be put on the card at present.
    pub stopped: Option<String>,
    /// Entries that wait in memory.
    pub waiting: usize,
    /// Entries that were lost.
    pub missed: u64,
    /// Bytes in use in the file.
    pub used_bytes: u64,
    /// The size limit is near or reached: a sentence.
    pub warning: Option<String>,
    /// Files that had to be set aside since the start.
    pub set_aside: Vec<FileSetAside>,
    /// What the phone's clock says of the board's, if a phone told it in this boot.
    pub phone: Option<ClockCompared>,
    /// Whether this unit may set the system clock.
    pub may_set_clock: bool,
    /// The run-down test that is on.
    pub test: Option<RunningTest>,
    /// What there is to say of the watched contact log, if one is watched.
    pub contact_log: Option<String>,
}

/// A file that was set aside.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileSetAside {
    /// Its name and place.
    pub path: String,
    /// Why, as a sentence.
    pub why: String,
}

/// The board's clock against the phone's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClockCompared {
    /// When it was compared.
    pub at: Mono,
    /// The board's system clock minus the phone's, ms.
    pub board_ahead_ms: i64,
    /// Error bound, ms.
    pub within_ms: u32,
}

/// A run-down test that is on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunningTest {
    /// The bank's name.
    pub bank: String,
    /// Since when.
    pub began: Mono,
    /// The load it makes.
    pub load: TestLoad,
}
