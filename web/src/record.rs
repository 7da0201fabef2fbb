//! What pages need of the past and of the record: the port [`Past`], filled in by whoever has the
//! store, and the asks that change what is kept. Structs of plain values, units last in their names.

use std::io::Read;

use reckon::{
    adif::Contact,
    bank::BankSpec,
    energy_tally::OutingTally,
    record::{Channel, Ending},
    report::Report,
    snapshot::Basis,
    time::{Mono, Stamp, Wall},
};

/// What pages need of the past. Its calls may block; they are made on the blocking pool only, a few
/// at once.
pub trait Past: Send + Sync {
    /// Outings, newest first, at most `most` of them, older than the id `before`.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn outings(&self, before: Option<i64>, most: usize) -> Result<OutingsPage, PastGone>;
    /// One outing with all that happened in it; `None`: there is none of that id.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn outing(&self, id: i64) -> Result<Option<OutingTold>, PastGone>;
    /// One outing taken apart; `None`: there is none of that id.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn report(&self, id: i64) -> Result<Option<ReportTold>, PastGone>;
    /// A series of an outing, thinned to the asked number of points with every peak kept; `None`:
    /// there is no such outing.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn series(&self, ask: &SeriesAsk) -> Result<Option<SeriesTold>, PastGone>;
    /// All banks, forgotten ones too, in the order they were told of.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn banks(&self) -> Result<Vec<BankTold>, PastGone>;
    /// What a bank gave by activity, over its newest outings; `None`: there is no such bank.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn book(&self, bank: i64) -> Result<Option<BookTold>, PastGone>;
    /// The run-downs of a bank, oldest first, struck ones too.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn rundowns(&self, bank: i64) -> Result<Vec<RundownTold>, PastGone>;
    /// An outing as CSV (RFC 4180, with a header line).
    ///
    /// # Errors
    /// When the record cannot be read.
    fn csv(&self, outing: i64) -> Result<Option<String>, PastGone>;
    /// An outing as JSON.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn json(&self, outing: i64) -> Result<Option<String>, PastGone>;
    /// How many contacts fall into an outing; `None`: there is no such outing.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn contacts(&self, outing: i64) -> Result<Option<ContactsTold>, PastGone>;
    /// The seconds around what happened in an outing, as CSV.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn close_ups(&self, outing: i64) -> Result<Option<String>, PastGone>;
    /// A whole copy of the store, for people's own tools. Asked for over the socket only.
    ///
    /// # Errors
    /// When the record cannot be read or there is no room for the copy.
    fn copy(&self) -> Result<Box<dyn Read + Send>, PastGone>;
}

/// The past cannot be told just now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PastGone {
    /// A sentence for a person: what failed and what to do.
    pub say: String,
}

/// Tells the moment; handed in, since nothing here may ask the system for it.
pub trait Clock: Send + Sync {
    /// This very moment (not the newest snapshot's).
    fn stamp(&self) -> Stamp;
}

/// A page of outings.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct OutingsPage {
    /// The outings, newest first.
    pub outings: Vec<OutingLine>,
    /// Hand this in as `before` for the next page; `None`: that was all.
    pub next: Option<i64>,
}

/// An outing in a list.
#[derive(Clone, Debug, PartialEq)]
pub struct OutingLine {
    /// Its id; later ones have larger ids.
    pub id: i64,
    /// Its name.
    pub name: Option<String>,
    /// The name of the bank it began with.
    pub bank: Option<String>,
    /// How full the bank was, 0 to 1.
    pub start_share: Option<f64>,
    /// When it began, if the wall time is known.
    pub began: Option<Wall>,
    /// The last moment known to be part of it; `None` while open too.
    pub ended: Option<Wall>,
    /// Time switched on, s, all its boots together.
    pub lasted_s: f64,
    /// Width of the interval that the end is known to, s.
    pub ended_within_s: Option<f64>,
    /// How it ended.
    pub ending: Ending,
    /// Energy delivered, Wh.
    pub energy_wh: Option<f64>,
    /// Of that, bridged over gaps, Wh.
    pub bridged_wh: Option<f64>,
    /// Mean power, W.
    pub mean_power_w: Option<f64>,
    /// Peak power, W.
    pub peak_power_w: Option<f64>,
}

/// An outing with all that happened in it. Times are seconds since it began.
#[derive(Clone, Debug, PartialEq)]
pub struct OutingTold {
    /// The outing.
    pub line: OutingLine,
    /// What happened, oldest first.
    pub events: Vec<EventTold>,
    /// When a source did not answer.
    pub gaps: Vec<GapTold>,
    /// The forecasts made on the way, oldest first.
    pub forecasts: Vec<ForecastTold>,
    /// The run-down that it was credited as, if it was.
    pub rundown: Option<RundownTold>,
}

/// One outing taken apart. Times are seconds since it began.
#[derive(Clone, Debug)]
pub struct ReportTold {
    /// The outing with all that happened in it.
    pub whole: OutingTold,
    /// What was taken when, and how good the forecasts were.
    pub report: Report,
    /// So much of the outing has no known wall time, s: no contact can be laid beside that.
    pub undated_s: Option<f64>,
    /// What its run-down taught, where it was credited and counts.
    pub learned: Option<LearnedTold>,
    /// What was put right afterwards, in order of entry: of two that overlap the later holds.
    pub corrections: Vec<CorrectionTold>,
}

/// What a bank gave.
#[derive(Clone, Debug)]
pub struct BookTold {
    /// The bank's name.
    pub bank: String,
    /// So many of its outings are in the book, the newest.
    pub outings: usize,
    /// Of so many.
    pub of: usize,
    /// The longest row, s: five minutes where fine rows were thinned.
    pub coarsest_s: f64,
    /// By activity.
    pub book: OutingTally,
}

/// Usable energy of a full bank as believed, Wh: 10 %, 50 %, 90 %.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LearnedTold {
    /// From all that was learned before.
    pub before_wh: [f64; 3],
    /// With this run-down.
    pub after_wh: [f64; 3],
}

/// What the operator was doing in a stretch, put right afterwards.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectionTold {
    /// Its id.
    pub id: i64,
    /// From, s.
    pub from_s: f64,
    /// To, s.
    pub to_s: f64,
    /// The activity; `None`: none.
    pub activity: Option<String>,
    /// It came from the times of a contact log, else from the operator.
    pub by_contacts: bool,
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq)]
pub struct EventTold {
    /// When, s.
    pub at_s: f64,
    /// What sort of thing, as the record names it (`undervoltage`, `mark`, `activity`, ...).
    pub kind: String,
    /// In words.
    pub text: String,
}

/// What contacts an outing has.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct ContactsTold {
    /// How many.
    pub count: usize,
    /// So much of the outing has no known wall time, s: no contact can be laid beside it.
    pub undated_s: Option<f64>,
}

/// A source did not answer.
#[derive(Clone, Debug, PartialEq)]
pub struct GapTold {
    /// From, s.
    pub from_s: f64,
    /// To, s, if it came back.
    pub to_s: Option<f64>,
    /// The source, for a person.
    pub source: String,
    /// Why.
    pub why: String,
}

/// A forecast as it was made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForecastTold {
    /// When, s.
    pub at_s: f64,
    /// Remaining time at 10 %, 50 %, 90 %, s.
    pub remaining_s: [f64; 3],
    /// What it stood on.
    pub basis: Basis,
}

/// Asks for a series.
#[derive(Clone, Debug, PartialEq)]
pub struct SeriesAsk {
    /// Of which outing.
    pub outing: i64,
    /// Which channels.
    pub channels: Vec<Channel>,
    /// From, seconds since it began.
    pub from_s: f64,
    /// To; infinity for its end.
    pub to_s: f64,
    /// Upper limit of points, 2 to 4000.
    pub points: usize,
}

/// A series in even steps.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct SeriesTold {
    /// Length of a step, s.
    pub step_s: f64,
    /// Beginning of each step, seconds since the outing began.
    pub t_s: Vec<f64>,
    /// One for each asked channel.
    pub channels: Vec<ChannelTold>,
}

/// A channel's values, each list as long as `t_s`; `None` is a gap.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelTold {
    /// Which.
    pub channel: Channel,
    /// Mean of each step.
    pub mean: Vec<Option<f64>>,
    /// Smallest value.
    pub min: Vec<Option<f64>>,
    /// Largest value.
    pub max: Vec<Option<f64>>,
}

/// A bank that was told of.
#[derive(Clone, Debug, PartialEq)]
pub struct BankTold {
    /// Its id.
    pub id: i64,
    /// What its owner told.
    pub spec: BankSpec,
    /// Not offered any more; its outings and run-downs stay.
    pub forgotten: bool,
    /// Usable energy as believed from what was learned, Wh: 10 %, 50 %, 90 %, where that is known.
    pub usable_wh: Option<[f64; 3]>,
}

/// A run-down credited to a bank.
#[derive(Clone, Debug, PartialEq)]
pub struct RundownTold {
    /// Its id.
    pub id: i64,
    /// Its bank's id.
    pub bank: i64,
    /// The outing it was; `None` for an imported one.
    pub outing: Option<i64>,
    /// A name, such as the imported list's.
    pub name: Option<String>,
    /// When it began, if the wall time is known.
    pub began: Option<Wall>,
    /// Whether it went on until the bank cut out; else we only learn 'at least'.
    pub whole: bool,
    /// Taken back by the operator: nothing learns from it.
    pub struck: bool,
    /// Full at its start is 1; `None` is unknown.
    pub start_share: Option<f64>,
    /// From connected to the end, s.
    pub lasted_s: f64,
    /// By how much the true duration may be longer, s.
    pub within_s: f64,
    /// By how much it may be shorter, s.
    pub before_s: f64,
    /// Energy delivered, Wh; `None` where nothing measured or modelled it.
    pub delivered_wh: Option<f64>,
    /// Of that, bridged over gaps, Wh.
    pub bridged_wh: Option<f64>,
    /// Mean power, W.
    pub mean_power_w: Option<f64>,
    /// Whether the draw was measured (else modelled).
    pub measured: bool,
    /// Temperature around it, °C.
    pub ambient_c: Option<f64>,
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
