//! The contact log: where it was read from, its faults, and its contacts against the energy.

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

use super::numbers::{bare, energy, power, span};
use crate::{
    adif::{Complaint, Fault, Log, MOST_BYTES, MOST_KEPT, MOST_RECORDS},
    contacts::{Group, Reckoned},
    units::{Joules, Seconds},
};

/// The button that takes so many out of the record.
pub fn take_out(count: usize) -> String {
    format!("Remove {} from the record", if count == 1 { "it" } else { "them" })
}

/// `3 contacts`.
pub fn contacts_in(count: usize) -> String {
    match count {
        0 => "no contacts".into(),
        1 => "1 contact".into(),
        many => format!("{many} contacts"),
    }
}

/// Why no contact can be laid beside a part of an outing, or all of it.
pub fn undated(part: Seconds, all: bool) -> String {
    undated_of(&if all { String::new() } else { format!("{} of ", span(part)) })
}

/// A log that holds no contact: its first complaint, and how many more there are.
pub fn nothing_read(log: &Log) -> String {
    let first = log.complaints.first().map(complaint);
    let first = first.unwrap_or_else(|| "There is no contact in this log.".into());
    match log.bad.saturating_sub(1) {
        0 => first,
        more => format!("{first} {more} more could not be read either."),
    }
}

sentences! {
    undated_of(part: &str) = "The time of day of {part}this outing is not known, so contacts \
        cannot be matched to it. If the board has been on since, a paired phone or a time service \
        can still supply it, and the contacts are then matched by themselves.";
    contacts_cost(count: u32, contacts: &str, each, own, elsewhere: &str) = "{count} {contacts}: \
        {each} each with all the listening, {own} each during the contacts alone.{elsewhere}";
    NONE_MORE = "At this rate the bank is not good for another contact.";
    some_more(low: f64, high: f64) = "At this rate the bank is good for {low:.0} to {high:.0} more \
        contacts.";
    too_many(read: &str) = "{read} Only the newest {MOST_KEPT} of them are kept: export this \
        outing alone.";
    /// Why contacts lie in no outing.
    IT_WAS = "it was at another time, or the logging program's clock was wrong.";
    THEY_WERE = "they were at other times, or the logging program's clock was wrong.";
    NOT_A_LOG = "This is not a contact log. Nothing was imported: export it as ADIF (.adi or \
        .adx).";
    unended(place: &str) = "{place}: the end mark is missing, so the log may be cut off here. This \
        contact counts all the same. If contacts are missing, export the log again and import it \
        again.";
    cut_short(place: &str) = "{place}: the file ends before its closing tag. Contacts that came \
        after this are missing. Export the log again and import it again.";
    not_counted(place: &str, what: &str) = "{place}: {what}. This contact is not counted. Correct \
        it in the logging program and import the file again.";
    /// More than is taken at once.
    log_too_large(most_bytes: usize) = "The file is larger than {} MiB. Nothing was imported: \
        export this outing alone.", most_bytes >> 20;
    /// The watched log, as it was last read.
    watched(path: &str, log: &Log) = "The contact log {path} is read whenever it changes. {}",
        log_read(log);
    /// The watched log cannot be read.
    unwatched(path: &str, why: &str) = "The contact log {path} cannot be read: {why}. New contacts \
        are not counted until it can; forecast and record go on. Check 'watch' under [contacts] in \
        the settings, and that the user running outlast can read the file.";
}

/// `31 contacts, 0.42 Wh each with all the listening, 0.11 Wh in the minutes of contact.`
pub fn contacts(all: &Reckoned) -> String {
    let (Some(each), Some(own)) = (all.energy_each(), all.own_energy_each()) else {
        return "No contact in the log falls within this outing.".into();
    };
    let elsewhere = match all.elsewhere {
        0 => String::new(),
        1 => " One more in the log falls outside it.".into(),
        more => format!(" {more} more in the log fall outside it."),
    };
    contacts_cost(
        all.contacts,
        if all.contacts == 1 { "contact" } else { "contacts" },
        &energy(each),
        &energy(own),
        &elsewhere,
    )
}

/// `In contact 8.1 W, in between 3.2 W`.
pub fn contact_draw(all: &Reckoned) -> Option<String> {
    let (within, between) = (all.draw_in_contact()?, all.draw_between()?);
    Some(format!("{} during contacts, {} in between", power(within), power(between)))
}

/// `At this rate the bank carries 40 to 60 more contacts.`
pub fn contacts_left(all: &Reckoned, left: Joules) -> Option<String> {
    let [low, _, high] = all.still_possible(left)?;
    let (low, high) = (libm::floor(low), libm::ceil(high));
    Some(if high < 1.0 { NONE_MORE.into() } else { some_more(low, high) })
}

/// `31 contacts read, 2 records left out.`
pub fn log_read(log: &Log) -> String {
    let read = contacts_read(log.contacts.len(), log.bad);
    let again = met_again(log.again).map_or_else(String::new, |again| format!(" {again}"));
    let read = read + &again;
    if log.contacts.len() <= MOST_KEPT { read } else { too_many(&read) }
}

/// Of how many contacts of a log so many lie in no outing, and how many the outings gained by it.
#[must_use]
pub fn placed(read: usize, in_no_outing: usize, new: usize) -> String {
    let news = match new {
        0 => "Nothing new.".to_string(),
        1 => "1 is new.".to_string(),
        many => format!("{many} are new."),
    };
    match in_no_outing {
        0 => news,
        1 if read == 1 => format!("This contact lies in no outing: {IT_WAS}"),
        all if all == read => format!("None of these contacts lies in an outing: {THEY_WERE}"),
        1 => format!("1 of these contacts lies in no outing: {IT_WAS} {news}"),
        many => format!("{many} of these contacts lie in no outing: {THEY_WERE} {news}"),
    }
}

/// That a log holds contacts more than once; nothing where it does not.
pub fn met_again(again: usize) -> Option<String> {
    match again {
        0 => None,
        1 => Some("1 more record is a contact met before: it counts once.".into()),
        many => Some(format!("{many} more records are contacts met before: each counts once.")),
    }
}

/// The same, of how many were read and how many left out.
pub fn contacts_read(contacts: usize, bad: usize) -> String {
    let read = if contacts == 0 { "0 contacts".into() } else { contacts_in(contacts) };
    match bad {
        0 => format!("{read} imported."),
        1 => format!("{read} imported, 1 record skipped."),
        bad => format!("{read} imported, {bad} records skipped."),
    }
}

/// `Line 12, record 3: the date '20240532' is no day. It is left out; put it right in the log
/// program and read the file again.`
pub fn complaint(complaint: &Complaint) -> String {
    let record = complaint.record.map_or_else(String::new, |it| format!(", record {it}"));
    let place = format!("Line {}{record}", complaint.line);
    let what = match &complaint.fault {
        Fault::NoTime => "the date or the start time is missing".into(),
        Fault::BadDate(text) => format!("'{text}' is not a date"),
        Fault::BadTime(text) => format!("'{text}' is not a time of day"),
        Fault::BadTag(tag) => format!("the field '{tag}' cannot be read"),
        Fault::CutOff(tag) => format!("the field '{tag}' is shorter than it says"),
        Fault::Unfinished => "the record is not complete".into(),
        Fault::Unended => return unended(&place),
        Fault::CutShort => return cut_short(&place),
        Fault::TooMany => {
            return format!("{place}: only the first {MOST_RECORDS} records were read.");
        }
        Fault::NotALog => return NOT_A_LOG.into(),
        Fault::TooLarge => return log_too_large(MOST_BYTES),
    };
    not_counted(&place, &what)
}

/// The contact log against the energy.
pub fn contact_lines(all: &Reckoned, left: Option<Joules>) -> Vec<String> {
    let mut lines = Vec::from([contacts(all)]);
    lines.extend(contact_draw(all).map(|line| format!("{line}.")));
    if let Some(rate) = all.an_hour().filter(|_| all.contacts > 0) {
        lines.push(format!("{rate:.1} contacts per hour."));
    }
    lines.extend(left.and_then(|left| contacts_left(all, left)));
    lines
}

/// The heads of the contacts' columns.
pub const CONTACT_HEAD: [&str; 5] = ["how many", "time", "Wh", "Wh each", "mean W"];

/// A band and mode.
pub fn contact_group(group: &Group) -> String {
    match (group.band, group.mode.as_deref()) {
        (Some(band), Some(mode)) => format!("{band} {mode}"),
        (Some(one), None) => format!("{one}, mode not given"),
        (None, Some(mode)) => format!("{mode}, band not given"),
        (None, None) => "band and mode not given".into(),
    }
}

/// A band and mode, a cell for each column.
pub fn contact_row(group: &Group) -> [String; 5] {
    let each = group.energy / f64::from(group.contacts.max(1));
    [
        format!("{}", group.contacts),
        span(group.lasted),
        bare(&energy(group.energy)).into(),
        bare(&energy(each)).into(),
        group.draw().map_or("–".into(), |draw| bare(&power(draw)).into()),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::adif::{Keep, read};

    #[test]
    fn a_log_without_contacts_says_why() {
        let nothing = |text: &[u8]| nothing_read(&read(text, Keep::default()));
        assert!(nothing(b"dear diary").starts_with("This is not a contact log."));
        assert_eq!(nothing(b"<EOH>"), "There is no contact in this log.");
        let two = nothing(b"<BAND:3>20m<EOR>\n<BAND:3>20m<EOR>");
        assert!(
            two.starts_with("Line 1, record 1: the date or the start time is missing"),
            "{two}"
        );
        assert!(two.ends_with(" 1 more could not be read either."), "{two}");
    }

    #[test]
    fn what_cannot_be_placed_is_said() {
        assert!(undated(Seconds::of(3600.0), true).starts_with("The time of day of this outing"));
        let part = undated(Seconds::of(3600.0), false);
        assert!(
            part.starts_with(&alloc::format!(
                "The time of day of {} of",
                span(Seconds::of(3600.0))
            ))
        );
        assert_eq!([0, 1, 31].map(contacts_in), ["no contacts", "1 contact", "31 contacts"]);
        assert!(log_too_large(4 << 20).contains("larger than 4 MiB"));
    }

    #[test]
    fn where_contacts_of_a_log_lie_is_said() {
        for (said, whole) in [
            (
                placed(3, 2, 1),
                "2 of these contacts lie in no outing: they were at other times, or the logging \
                 program's clock was wrong. 1 is new.",
            ),
            (
                placed(3, 1, 0),
                "1 of these contacts lies in no outing: it was at another time, or the logging \
                 program's clock was wrong. Nothing new.",
            ),
            (
                placed(3, 3, 0),
                "None of these contacts lies in an outing: they were at other times, or the \
                 logging program's clock was wrong.",
            ),
            (
                placed(1, 1, 0),
                "This contact lies in no outing: it was at another time, or the logging program's \
                 clock was wrong.",
            ),
            (placed(3, 0, 3), "3 are new."),
            (placed(3, 0, 0), "Nothing new."),
        ] {
            assert_eq!(said, whole);
        }
    }

    #[test]
    fn a_log_is_said_with_its_faults() {
        let log = read(
            b"<QSO_DATE:8>20240532<TIME_ON:4>1201<EOR>\n<QSO_DATE:8>20240501<TIME_ON:4>1201<EOR>",
            Keep::default(),
        );
        assert_eq!(log_read(&log), "1 contact imported, 1 record skipped.");
        assert_eq!(
            complaint(&log.complaints[0]),
            "Line 1, record 1: '20240532' is not a date. This contact is not counted. Correct it \
             in the logging program and import the file again."
        );
        assert!(
            complaint(&read(b"x", Keep::default()).complaints[0]).contains("not a contact log")
        );
        assert_eq!(
            contacts(&Reckoned::default()),
            "No contact in the log falls within this outing."
        );
    }
}
