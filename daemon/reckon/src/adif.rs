//! The contact log, as far as a battery cares: when, on which band, in which mode.
//!
//! Reads both files of the open standard 'Amateur Data Interchange Format' (ADIF 3.1.6,
//! adif.org): ADI, tags with lengths, and ADX, its XML twin. Good records count, bad ones are
//! listed with their line and the reason. Call signs, names, places and remarks are skipped over
//! and never stored; the other station's call is kept only if asked for.
//!
//! A file is not trusted: no more than so many bytes, records and complaints are taken, lengths
//! are checked against what is there, nothing is nested, no outside entity is followed.

mod adi;
mod adx;
mod bands;
mod values;

use alloc::{string::String, vec::Vec};

pub use bands::{BANDS, Band, band_named, band_of};

use crate::time::Wall;

/// A file larger than this is refused: about a hundred thousand contacts with every field.
pub const MOST_BYTES: usize = 64 << 20;
/// Records read from one file; the rest is told as one complaint.
pub const MOST_RECORDS: usize = 200_000;
/// Of one log no more contacts are kept, the newest: more than any outing has.
pub const MOST_KEPT: usize = 10_000;
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
    /// The good records, in the order of the file.
    pub contacts: Vec<Contact>,
    /// The bad ones, at most [`MOST_COMPLAINTS`].
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

/// Reads a log of either kind; which one is seen from its beginning, not from its name.
#[must_use]
pub fn read(file: &[u8], keep: Keep) -> Log {
    let mut taker = Taker::new(keep);
    if file.len() > MOST_BYTES {
        taker.complain(1, None, Fault::TooLarge);
        return taker.log;
    }
    let text = file.strip_prefix(b"\xef\xbb\xbf").unwrap_or(file);
    if adx::looks_like(text) {
        adx::read(text, &mut taker);
    } else {
        adi::read(text, &mut taker);
    }
    taker.log
}

/// The fields of one record that matter.
#[derive(Clone, Debug, Default)]
struct Record {
    line: usize,
    date: Option<String>,
    time: Option<String>,
    date_off: Option<String>,
    time_off: Option<String>,
    band: Option<String>,
    freq: Option<String>,
    mode: Option<String>,
    submode: Option<String>,
    call: Option<String>,
    fields: usize,
    fault: Option<Fault>,
}

/// No field that is kept is longer; a longer one is not what it says.
const LONGEST: usize = 32;

impl Record {
    fn at(line: usize) -> Self {
        Self { line, ..Self::default() }
    }

    /// Keeps a field if it is one that matters. Names are case-insensitive.
    fn insert(&mut self, name: &str, value: &[u8], keep: Keep) {
        self.fields += 1;
        let place = match name.to_ascii_uppercase().as_str() {
            "QSO_DATE" => &mut self.date,
            "TIME_ON" => &mut self.time,
            "QSO_DATE_OFF" => &mut self.date_off,
            "TIME_OFF" => &mut self.time_off,
            "BAND" => &mut self.band,
            "FREQ" => &mut self.freq,
            "MODE" => &mut self.mode,
            "SUBMODE" => &mut self.submode,
            "CALL" if keep.calls => &mut self.call,
            _ => return,
        };
        let text = short(value);
        *place = if text.is_empty() { None } else { Some(text) };
    }

    fn fail(&mut self, fault: Fault) {
        self.fault.get_or_insert(fault);
    }

    fn finish(self) -> Result<Contact, Fault> {
        if let Some(fault) = self.fault {
            return Err(fault);
        }
        let (Some(date), Some(time)) = (self.date, self.time) else { return Err(Fault::NoTime) };
        let day = values::day(&date).ok_or(Fault::BadDate(date))?;
        let second = values::second_of_day(&time).ok_or(Fault::BadTime(time))?;
        let began = values::wall(day, second);
        let ended = self.time_off.and_then(|time| {
            // Without a day of its own the end is on the same day, or past midnight.
            let off = values::second_of_day(&time)?;
            let off_day = match self.date_off {
                Some(date) => values::day(&date)?,
                None if off < second => day + 1,
                None => day,
            };
            Some(values::wall(off_day, off)).filter(|ended| *ended >= began)
        });
        let named = self.band.as_deref().and_then(band_named);
        let heard = || band_of(values::number(self.freq.as_deref()?)?);
        let mode = self.submode.or(self.mode).map(|mode| mode.to_ascii_uppercase());
        Ok(Contact { began, ended, band: named.or_else(heard), mode, with: self.call })
    }
}

/// The beginning of a field as text, without blanks around it.
fn short(value: &[u8]) -> String {
    let cut = value.get(..LONGEST).unwrap_or(value);
    String::from_utf8_lossy(cut).trim().chars().filter(|c| !c.is_control()).collect()
}

/// Collects contacts and complaints within their bounds.
struct Taker {
    keep: Keep,
    log: Log,
    records: usize,
}

impl Taker {
    fn new(keep: Keep) -> Self {
        Self { keep, log: Log::default(), records: 0 }
    }

    fn complain(&mut self, line: usize, record: Option<usize>, fault: Fault) {
        self.log.bad += 1;
        if self.log.complaints.len() < MOST_COMPLAINTS {
            self.log.complaints.push(Complaint { line, record, fault });
        }
    }

    /// `false` once no more records are taken.
    fn accept(&mut self, record: Record) -> bool {
        if record.fields == 0 && record.fault.is_none() {
            return true;
        }
        let line = record.line;
        if self.records >= MOST_RECORDS {
            self.complain(line, None, Fault::TooMany);
            return false;
        }
        self.records += 1;
        match record.finish() {
            Ok(contact) => {
                self.log.without_band += usize::from(contact.band.is_none());
                self.log.contacts.push(contact);
            }
            Err(fault) => self.complain(line, Some(self.records), fault),
        }
        true
    }
}

/// Line numbers on the way through a file.
struct Lines<'a> {
    text: &'a [u8],
    seen: usize,
    line: usize,
}

impl<'a> Lines<'a> {
    const fn new(text: &'a [u8]) -> Self {
        Self { text, seen: 0, line: 1 }
    }

    /// The line of a place at or after the last one asked for.
    fn at(&mut self, place: usize) -> usize {
        let passed = self.text.get(self.seen..place).unwrap_or_default();
        self.line += passed.iter().filter(|byte| **byte == b'\n').count();
        self.seen = self.seen.max(place);
        self.line
    }
}

#[cfg(test)]
mod tests;
