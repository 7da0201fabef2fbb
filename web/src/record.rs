//! What pages need of the past and of the record: the port [`RecordReader`], filled in by whoever has the
//! store, and the asks that change what is kept. Structs of plain values, units last in their names.

use std::io::Read;

use reckon::{
    adif::Contact,
    bank::BankSpec,
    record::{BankWhole, Outing, OutingContacts, OutingWhole, Page, Series, SeriesAsk},
    report::{BankTally, OutingReport},
    time::{Mono, Stamp},
};

/// What pages need of the past. Its calls may block; they are made on the blocking pool only, a few
/// at once.
pub trait RecordReader: Send + Sync {
    /// A reader for one request: it opens the record once, and all it reads is of one moment. `None`:
    /// this one does that already.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn at_one_moment(&self) -> Result<Option<Box<dyn RecordReader>>, NoRecord> {
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
    /// An outing as CSV (RFC 4180, with a header line).
    ///
    /// # Errors
    /// When the record cannot be read.
    fn csv(&self, outing: i64) -> Result<Option<String>, NoRecord>;
    /// An outing as JSON.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn json(&self, outing: i64) -> Result<Option<String>, NoRecord>;
    /// The contacts that fall into an outing; `None`: there is no such outing.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn contacts(&self, outing: i64) -> Result<Option<OutingContacts>, NoRecord>;
    /// The seconds around what happened in an outing, as CSV.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn close_ups(&self, outing: i64) -> Result<Option<String>, NoRecord>;
    /// A whole copy of the store, for people's own tools. Asked for over the socket only.
    ///
    /// # Errors
    /// When the record cannot be read or there is no room for the copy.
    fn copy(&self) -> Result<Box<dyn Read + Send>, NoRecord>;
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
}

/// The load that a run-down test makes by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TestLoad {
    /// None: the board does what it does anyway.
    AsItIs,
    /// As little as can be: nothing is started.
    Idle,
    /// The processor works in bursts as a receive-only timed mode does.
    Receive,
    /// Steps from idle to all cores and back.
    Steps,
}

impl TestLoad {
    /// All of them, in the order offered.
    pub const ALL: [Self; 4] = [Self::AsItIs, Self::Idle, Self::Receive, Self::Steps];

    /// Its name in forms and JSON.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::AsItIs => "as-it-is",
            Self::Idle => "idle",
            Self::Receive => "receive",
            Self::Steps => "steps",
        }
    }
}

/// What the pages ask of the record and its clock. Banks, outings and run-downs go by their ids.
#[derive(Clone, Debug, PartialEq)]
pub enum RecordCommand {
    /// A bank is told of, or (same name) told of anew.
    TellBank {
        /// What its owner says.
        spec: BankSpec,
    },
    /// A bank gets another name.
    RenameBank {
        /// Which.
        bank: i64,
        /// The new name.
        name: String,
    },
    /// A bank is not offered any more, or again.
    ForgetBank {
        /// Which.
        bank: i64,
        /// Whether it is forgotten.
        forgotten: bool,
    },
    /// A run-down is struck out, or taken back in; the learning is redone.
    Strike {
        /// Which.
        rundown: i64,
        /// Whether it is struck out.
        struck: bool,
    },
    /// The operator says how an outing ended whose power was lost.
    Answer {
        /// Which.
        outing: i64,
        /// The bank died; else its plug was pulled. `None`: nobody knows, after all.
        died: Option<bool>,
    },
    /// The operator says whether the open outing is still this earlier one: the same bank, not
    /// charged in between.
    GoesOn {
        /// The earlier one.
        earlier: i64,
        /// It is; else the bank was charged.
        goes_on: bool,
    },
    /// An outing (open or past) gets a name; empty takes it away.
    NameOuting {
        /// Which.
        outing: i64,
        /// The name.
        name: String,
    },
    /// What was done in a stretch of an outing is put right.
    Doing {
        /// Which.
        outing: i64,
        /// From, seconds since it began.
        from_s: f64,
        /// To.
        to_s: f64,
        /// The activity; `None`: none.
        activity: Option<String>,
    },
    /// The minutes of contact of the contact log count as an activity.
    DoingByContacts {
        /// In which outing.
        outing: i64,
        /// The activity.
        activity: String,
    },
    /// A correction of an outing is taken back.
    DoingBack {
        /// Which outing.
        outing: i64,
        /// Which correction; `None`: all that came from the contact log.
        id: Option<i64>,
    },
    /// A run-down test begins: the bank is full and connected now, power-off is disabled.
    StartTest {
        /// Which bank.
        bank: i64,
        /// The load made during it.
        load: TestLoad,
    },
    /// The running test is given up; what was seen counts as cut short.
    StopTest,
    /// A plain list of time stamps is credited to a bank as a run-down.
    Import {
        /// Which bank.
        bank: i64,
        /// A name for it, may be empty.
        name: String,
        /// The list, one time stamp a line.
        text: String,
    },
    /// Contacts read from a log, all of them together.
    Contacts {
        /// The good ones.
        contacts: Vec<Contact>,
    },
    /// The contacts that fall into an outing are taken back.
    ForgetContacts {
        /// Which outing.
        outing: i64,
    },
    /// The operator's mark in the record.
    Mark {
        /// In the operator's words, may be empty.
        text: String,
    },
    /// A paired phone says what time it is.
    PhoneClock {
        /// The moment it speaks of.
        at: Mono,
        /// The phone's time of that moment, ms since 1970 UTC.
        phone_ms: i64,
        /// Right within so much against the phone's clock (half the smallest round trip), ms.
        within_ms: u32,
    },
    /// Set the system clock from what the phone said last.
    SetClock,
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
    pub set_aside: Vec<AsideTold>,
    /// What the phone's clock says of the board's, if a phone told it in this boot.
    pub phone: Option<PhoneTold>,
    /// Whether this unit may set the system clock.
    pub may_set_clock: bool,
    /// The run-down test that is on.
    pub test: Option<TestTold>,
    /// What there is to say of the watched contact log, if one is watched.
    pub contact_log: Option<String>,
}

/// A file that was set aside.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AsideTold {
    /// Its name and place.
    pub path: String,
    /// Why, as a sentence.
    pub why: String,
}

/// The board's clock against the phone's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PhoneTold {
    /// When it was compared.
    pub at: Mono,
    /// The board's system clock minus the phone's, ms.
    pub board_ahead_ms: i64,
    /// Error bound, ms.
    pub within_ms: u32,
}

/// A run-down test that is on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TestTold {
    /// The bank's name.
    pub bank: String,
    /// Since when.
    pub began: Mono,
    /// The load it makes.
    pub load: TestLoad,
}
