//! What a person asks of the record and its clock.

use alloc::{string::String, vec::Vec};

use crate::{adif::Contact, bank::BankSpec, time::Mono};

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
