//! The contact log in words: where it was read from, where its contacts went.

use alloc::{
    format,
    string::{String, ToString},
};

use super::{numbers::span, report::log_read};
use crate::{adif::Log, units::Seconds};

/// What a contact log is, and what is kept of it.
pub const WHAT_IS_KEPT: &str = "The log is an ADIF file, .adi or .adx, as log programs write it. \
                                Of each contact only time, band and mode are kept, unless the \
                                settings ask for more. Reading the same log again adds nothing.";
/// What lays a contact beside an outing.
pub const WHAT_PLACES_IT: &str = "A contact is laid beside an outing by its time in UTC, so the \
                                  clock of the log program must have been right.";

/// `3 contacts`.
#[must_use]
pub fn contacts_in(count: usize) -> String {
    match count {
        0 => "no contact".to_string(),
        1 => "1 contact".to_string(),
        many => format!("{many} contacts"),
    }
}

/// Why no contact can be laid beside a part of an outing, or all of it.
#[must_use]
pub fn undated(part: Seconds, all: bool) -> String {
    let of = if all { "this outing".to_string() } else { format!("{} of this outing", span(part)) };
    format!(
        "The time of day of {of} is not known, so no contact can be laid beside it. If the board \
         has been on since, a paired phone or a time service tells it late as well, and the \
         contacts then find their place by themselves."
    )
}

/// More than is taken at once.
#[must_use]
pub fn log_too_large(most_bytes: usize) -> String {
    format!(
        "The file is larger than {} MiB. Nothing was read; export this outing alone.",
        most_bytes >> 20
    )
}

/// A log that holds no contact: its first complaint, and how many more there are.
#[must_use]
pub fn nothing_read(log: &Log) -> String {
    let first = log.complaints.first().map(super::report::complaint);
    let first = first.unwrap_or_else(|| "There is no contact in this log.".to_string());
    match log.bad.saturating_sub(1) {
        0 => first,
        more => format!("{first} {more} more could not be read either."),
    }
}

/// The watched log, as it was last read.
#[must_use]
pub fn watched(path: &str, log: &Log) -> String {
    format!("The contact log {path} is read whenever it changes. {}", log_read(log))
}

/// The watched log cannot be read.
#[must_use]
pub fn unwatched(path: &str, why: &str) -> String {
    format!(
        "The contact log {path} cannot be read: {why}. New contacts are not counted till then; \
         forecast and record go on. Look at 'watch' under [contacts] in the settings, and whether \
         the user that runs outlast may read the file."
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::adif::{Keep, read};

    #[test]
    fn a_log_without_contacts_says_why() {
        let nothing = |text: &[u8]| nothing_read(&read(text, Keep::default()));
        assert!(nothing(b"dear diary").starts_with("This is no contact log."));
        assert_eq!(nothing(b"<EOH>"), "There is no contact in this log.");
        let two = nothing(b"<BAND:3>20m<EOR>\n<BAND:3>20m<EOR>");
        assert!(two.starts_with("Line 1, record 1: there is no date"), "{two}");
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
        assert_eq!([0, 1, 31].map(contacts_in), ["no contact", "1 contact", "31 contacts"]);
        assert!(log_too_large(4 << 20).contains("larger than 4 MiB"));
    }
}
