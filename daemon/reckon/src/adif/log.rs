//! What a file holds: contacts, and complaints about records.

use alloc::{string::String, vec::Vec};

use super::bands::Band;
use crate::time::Wall;

/// Records read from one file; the rest is told as one complaint.
pub const MOST_RECORDS: usize = 200_000;

/// Complaints listed; further ones are only counted.
pub const MOST_COMPLAINTS: usize = 50;

/// One contact.
#[derive(Clone, Debug, PartialEq)]
pub struct Contact {
    /// When it began, UTC.
    pub began: Wall,
    /// When it ended, if the log says so.
    pub ended: Option<Wall>,
    /// The band, if the log names one of the standard or gives a frequency in one.
    pub band: Option<&'static Band>,
    /// The mode, capitals; the submode where there is one, since it says more.
    pub mode: Option<String>,
    /// The other station, only if asked for.
    pub with: Option<String>,
}

/// Why a record does not count.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Without a date and a time of beginning a contact cannot be laid beside the draw.
    NoTime,
    /// Not eight digits that are a day from 1930 on; what stood there.
    BadDate(String),
    /// Not four or six digits that are a time of day; what stood there.
    BadTime(String),
    /// A tag that cannot be read: no length, or not a number.
    BadTag(String),
    /// A field says that it is longer than what is left of the file.
    CutOff(String),
    /// The file ends inside a record.
    Unfinished,
    /// The last record has no end mark, but what matters of it: it counts all the same.
    Unended,
    /// The file ends before its closing tag: contacts may be missing.
    CutShort,
    /// More records than are read from one file.
    TooMany,
    /// Neither of the two kinds of file.
    NotALog,
    /// Larger than is read.
    TooLarge,
}

/// A record that does not count, or only in part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Complaint {
    /// Line in the file where the record begins, from one.
    pub line: usize,
    /// Which record, from one; none for the file as a whole.
    pub record: Option<usize>,
    /// Why.
    pub fault: Fault,
}

/// What a file holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Log {
    /// The good records, in the order of the file, each contact once.
    pub contacts: Vec<Contact>,
    /// Records that are a contact met before: the same call, band and mode within a minute.
    pub again: usize,
    /// The bad ones and what else is to be said, at most [`MOST_COMPLAINTS`].
    pub complaints: Vec<Complaint>,
    /// All bad ones.
    pub bad: usize,
    /// Good records whose band is not one of the standard, or not given.
    pub without_band: usize,
}

/// What to keep besides times, bands and modes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Keep {
    /// The call of the other station: personal data.
    pub calls: bool,
}
