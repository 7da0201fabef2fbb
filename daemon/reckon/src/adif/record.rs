//! A record on its way from the file to a contact, and the bounds of what is taken.

use alloc::{string::String, vec::Vec};

use super::{
    bands::{band_named, band_of},
    log::{Complaint, Contact, Fault, Keep, Log, MOST_COMPLAINTS, MOST_RECORDS},
    same::{self, Taken},
    values,
};
use crate::name;

/// The fields of one record that matter.
#[derive(Clone, Debug, Default)]
pub(super) struct Record {
    pub(super) line: usize,
    date: Option<String>,
    time: Option<String>,
    date_off: Option<String>,
    time_off: Option<String>,
    band: Option<String>,
    freq: Option<String>,
    mode: Option<String>,
    submode: Option<String>,
    call: Option<String>,
    pub(super) fields: usize,
    pub(super) fault: Option<Fault>,
}

/// No field that is kept is longer; a longer one is not what it says.
pub(super) const LONGEST: usize = 32;

impl Record {
    pub(super) fn at(line: usize) -> Self {
        Self { line, ..Self::default() }
    }

    /// Keeps a field if it is one that matters. Names are case-insensitive.
    pub(super) fn insert(&mut self, name: &str, value: &[u8]) {
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
            "CALL" => &mut self.call,
            _ => return,
        };
        let text = short(value);
        *place = if text.is_empty() { None } else { Some(text) };
    }

    pub(super) fn fail(&mut self, fault: Fault) {
        self.fault.get_or_insert(fault);
    }

    /// Whether a contact can be made of what has been read.
    pub(super) fn has_time(&self) -> bool {
        self.fault.is_none() && self.date.is_some() && self.time.is_some()
    }

    fn finish(self) -> Result<Taken, Fault> {
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
        let modes = [self.submode, self.mode].map(|mode| Some(mode?.to_ascii_uppercase()));
        let mode = modes.iter().flatten().next().cloned();
        let contact = Contact { began, ended, band: named.or_else(heard), mode, with: self.call };
        Ok(Taken { contact, modes, place: 0 })
    }
}

/// The beginning of a field as text, without blanks around it.
pub(super) fn short(value: &[u8]) -> String {
    let cut = value.get(..LONGEST).unwrap_or(value);
    String::from_utf8_lossy(cut).trim().chars().filter(|c| name::is_plain(*c)).collect()
}

/// Collects contacts and complaints within their bounds.
pub(super) struct Taker {
    keep: Keep,
    log: Log,
    taken: Vec<Taken>,
    records: usize,
}

impl Taker {
    pub(super) fn new(keep: Keep) -> Self {
        Self { keep, log: Log::default(), taken: Vec::new(), records: 0 }
    }

    /// What was read, each contact once.
    pub(super) fn finish(self) -> Log {
        let mut log = self.log;
        let read = self.taken.len();
        log.contacts = same::once(self.taken);
        log.again = read - log.contacts.len();
        log.without_band = log.contacts.iter().filter(|contact| contact.band.is_none()).count();
        if !self.keep.calls {
            log.contacts.iter_mut().for_each(|contact| contact.with = None);
        }
        log
    }

    /// Something that keeps a record, or the file, from counting.
    pub(super) fn complain(&mut self, line: usize, record: Option<usize>, fault: Fault) {
        self.log.bad += 1;
        self.say(line, record, fault);
    }

    /// Something that costs no record.
    pub(super) fn say(&mut self, line: usize, record: Option<usize>, fault: Fault) {
        if self.log.complaints.len() < MOST_COMPLAINTS {
            self.log.complaints.push(Complaint { line, record, fault });
        }
    }

    /// `false` once no more records are taken.
    pub(super) fn accept(&mut self, record: Record) -> bool {
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
            Ok(taken) => self.taken.push(Taken { place: self.records, ..taken }),
            Err(fault) => self.complain(line, Some(self.records), fault),
        }
        true
    }
}

/// The last record of a file that ends before its end mark.
pub(super) fn accept_unended(taker: &mut Taker, mut record: Record) {
    if record.has_time() {
        let line = record.line;
        if taker.accept(record) {
            taker.say(line, Some(taker.records), Fault::Unended);
        }
    } else {
        record.fail(Fault::Unfinished);
        taker.accept(record);
    }
}

/// Line numbers on the way through a file.
pub(super) struct Lines<'a> {
    text: &'a [u8],
    seen: usize,
    line: usize,
}

impl<'a> Lines<'a> {
    pub(super) const fn new(text: &'a [u8]) -> Self {
        Self { text, seen: 0, line: 1 }
    }

    /// The line of a place at or after the last one asked for.
    pub(super) fn at(&mut self, place: usize) -> usize {
        let passed = self.text.get(self.seen..place).unwrap_or_default();
        self.line += passed.iter().filter(|byte| **byte == b'\n').count();
        self.seen = self.seen.max(place);
        self.line
    }
}
