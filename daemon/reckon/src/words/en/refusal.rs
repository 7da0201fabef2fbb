//! Why something was not done, and what to do.

#![expect(missing_docs, reason = "each text says what it is for")]

use alloc::{format, string::String, vec::Vec};
use core::fmt::Display;
use core::time::Duration;

use super::{
    bank::chemistry,
    numbers::{TIE, span},
};
use crate::{
    bank::{AMBIENT_C, BankFault, Cells, MeasuredAt, PACK_V, SERIES},
    engine::Refusal,
    name::NameFault,
    units::Seconds,
};

/// Why an ask was not carried out.
#[must_use]
pub fn refusal(refusal: &Refusal) -> String {
    match refusal {
        Refusal::NoSuchActivity => String::from(
            "There is no activity of that name any more. Reload the page and tap one of those \
             shown.",
        ),
        Refusal::NoRules => String::from(
            "The settings have no rule that chooses an activity. Tap what you are doing.",
        ),
        Refusal::AlarmGone => {
            String::from("That alarm is over, or another has taken its place. Reload the page.")
        }
        Refusal::NoCountdown => {
            String::from("There is no countdown to stop or shorten. Reload the page.")
        }
        Refusal::FinishOutOfRange => {
            format!("The finish must be in the future, and within 14{TIE}days.")
        }
        Refusal::BankImplausible(faults) => bank_faults(faults),
        Refusal::BadName(fault) => name_fault("The name", *fault),
        Refusal::NoSuchAnswer => {
            String::from("That is not an answer to this question. Nothing was changed.")
        }
        Refusal::NotAsked => String::from(
            "That question is no longer open. Reload the page to see what is asked now. Nothing \
             was changed.",
        ),
    }
}

/// A reason, and that nothing came of it.
#[must_use]
pub fn unchanged(why: &str) -> String {
    format!("{why} Nothing was changed.")
}

/// Why a bank cannot be as described: one sentence or two for each fault.
#[must_use]
pub fn bank_faults(all: &[BankFault]) -> String {
    all.iter().map(bank_fault).collect::<Vec<_>>().join(" ")
}

/// Why a bank cannot be as described.
#[must_use]
pub fn bank_fault(fault: &BankFault) -> String {
    match *fault {
        BankFault::Name(fault) => name_fault("The bank's name", fault),
        BankFault::Cells => {
            format!("The cells must be {}.", or(&Cells::ALL.map(Cells::name)))
        }
        BankFault::MeasuredAt => format!(
            "The sensor sits at {}: behind the bank's converter, at the cells, or there is none.",
            or(&MeasuredAt::ALL.map(MeasuredAt::name))
        ),
        BankFault::NoLabel => String::from(
            "The capacity in mAh is missing, and it is not guessed. It is printed on the bank's \
             label.",
        ),
        BankFault::LabelMah => format!(
            "The capacity must be a number from 100 to 2{TIE}000{TIE}000{TIE}mAh. It is printed on the bank's \
             label."
        ),
        BankFault::LabelV => format!(
            "The voltage that the label's capacity is for must be a number from {} to {}{TIE}V.",
            PACK_V.start(),
            PACK_V.end()
        ),
        BankFault::Series => format!(
            "Cells in series must be a whole number from {} to {}; a USB bank has 1.",
            SERIES.start(),
            SERIES.end()
        ),
        BankFault::Ambient => format!(
            "The temperature around the bank must be a number from {} to {}{TIE}°C.",
            AMBIENT_C.start(),
            AMBIENT_C.end()
        ),
        BankFault::Misfit { cells, series, makes_v: (low, high), label_v } => format!(
            "{series} {} {} in series make {low:.1} to {high:.1}{TIE}V, not {label_v:.1}{TIE}V. A \
             USB bank's label means its cells: one in series, 3.6 or 3.7{TIE}V.",
            chemistry(cells),
            if series == 1 { "cell" } else { "cells" },
        ),
        BankFault::Cutoff { within_v: (low, high) } => format!(
            "The cut-off of this bank must be a number from {low:.1} to {high:.1}{TIE}V; leave it out if you do \
             not know it."
        ),
    }
}

/// Why a text cannot be a name; `what` begins the sentence, such as 'The name'.
#[must_use]
pub fn name_fault(what: &str, fault: NameFault) -> String {
    match fault {
        NameFault::Missing => format!("{what} is missing."),
        NameFault::TooLong(most) => format!("{what} may have at most {most} characters."),
        NameFault::NotPlain => format!(
            "{what} must be one line of plain text, without control characters or characters that \
             change the direction of writing."
        ),
    }
}

fn or(names: &[&str]) -> String {
    match names {
        [before @ .., last] if !before.is_empty() => format!("{} or {last}", before.join(", ")),
        _ => names.concat(),
    }
}

/// How long to wait before the next pairing code.
#[must_use]
pub fn wait(time: Duration) -> String {
    let seconds = Seconds::of(time.as_secs_f64() + 1.0);
    format!("Too many wrong codes, here or on another phone. Try again in {}.", span(seconds))
}

pub const NO_RECORD: &str = "No record is kept here.";
pub const CLOCK_LOCKED: &str = "This outlast is not allowed to set the board's clock: `set_clock_from_phone` in the settings \
    allows it, and says what the service needs. Nothing was changed.";
pub const NO_PHONE_TIME: &str = "No phone has told the time yet. Nothing was changed.";

pub fn clock_refused(why: &dyn Display) -> String {
    format!("The system did not allow its clock to be set: {why}. Nothing was changed.")
}
pub const NO_TEST: &str = "No run-down test is running. Nothing was changed.";
pub const PHONE_CLOCK_WRONG: &str = "The phone's own clock cannot be right, so it is not used.";
pub const PHONE_TOO_SLOW: &str = "The phone answered too slowly to compare the clocks. Try again.";
pub const NEEDS_RUNNING: &str = "Only the running outlast can do this. Start it with `outlast run`, or as a service: sudo \
    systemctl start outlast";
pub const NO_SUCH_BANK: &str = "There is no such bank in the record; it may be listed under another name. Nothing was \
    changed.";

pub fn bank_exists(name: &dyn Display) -> String {
    format!("Another bank is already called '{name}'. Nothing was changed.")
}
pub const NO_SUCH_RUNDOWN: &str = "There is no such run-down in the record. Nothing was changed.";
pub const NO_SUCH_OUTING: &str = "There is no such outing in the record. Nothing was changed.";
pub const NOT_ENDED: &str = "This outing has not ended yet. Nothing was changed.";
pub const END_IS_KNOWN: &str =
    "It is known how this outing ended: no power was lost. Nothing was changed.";
pub const END_NOT_SAID: &str = "Nobody has said how this outing ended. Nothing was changed.";
pub const NOT_BEGUN: &str = "The outing had not begun at that time. Nothing was changed.";

pub fn was_over(lasted: &dyn Display) -> String {
    format!("The outing was over by then: it lasted {lasted}. Nothing was changed.")
}
pub const NO_CONTACTS: &str = "No contact in a log falls within this outing. Nothing was changed.";
pub const NO_SUCH_CORRECTION: &str =
    "There is no such correction in the record. Nothing was changed.";
pub const DOES_NOT_FOLLOW: &str = "The current outing does not follow this one on the same bank: another outing lies between, \
    or another bank is connected. Nothing was changed.";
pub const NO_FILE: &str = "it is not a file";
pub const LARGE_NOT_ADI: &str = "it is larger than 4 MiB and not an ADI file";
pub const NO_COPY: &str = "Nothing is kept here, so there is no copy.";

pub fn copy_unreadable(to: &dyn Display, why: &dyn Display) -> String {
    format!("The copy at {to} cannot be read: {why}.")
}
pub const NO_RECORD_TO_CHANGE: &str = "No record is kept here, so there is nothing to change.";
pub const TOO_MANY_ASKS: &str = "Too many requests at once. Try again in a moment.";
pub const STOPPING: &str = "outlast is stopping. Nothing was changed.";
pub const BUSY_TITLE: &str = "Busy";

pub fn not_a_number(field: &dyn Display) -> String {
    format!("{field} must be a number. Nothing was changed.")
}
pub const BANK_OR_SPEC: &str = "Give either `bank`, the name of one offered, or `spec`.";
pub const NO_BANK_NAMED: &str = "There is no bank of that name here. Nothing was changed.";
pub const BAD_START: &str =
    "How full is full, unknown, or a share such as 70 %. Nothing was changed.";
pub const NO_FINISH: &str = "Say when you want to finish. Nothing was changed.";
pub const NO_TIME_OF_DAY: &str = "The board does not know the time of day, so give a length of time instead. Nothing was \
    changed.";
pub const BAD_TIME_OF_DAY: &str = "A time of day looks like 17:00. Nothing was changed.";
pub const NAME_OR_RULES: &str =
    "Give a name or let the rules choose, not both. Nothing was changed.";
pub const BAD_WISH: &str = "`wish` is stop or now. Nothing was changed.";
pub const BAD_SLEEP: &str = "An alarm can be silenced for one minute to one day.";
pub const WRONG_CODE: &str =
    "That code is wrong, used or too old. `outlast pin` on the board shows the current one.";
pub const NO_SUCH_LOOK: &str = "There is no such appearance. Nothing was changed.";
pub const YES_OR_NO: &str = "Say yes or no. Nothing was changed.";
pub const NO_SPAN: &str = "Give both times as hours and minutes, 1:20. Nothing was changed.";
pub const NO_MOMENT: &str = "A time of day is not enough to say when in this outing. Nothing was \
                             changed.";
pub const END_BEFORE_BEGINNING: &str =
    "The end must come after the beginning. Nothing was changed.";
pub const NO_ACTIVITY_FOR_CONTACTS: &str =
    "Say what you were doing during the contacts. Nothing was changed.";
pub const NO_CORRECTION: &str = "Say which one to undo. Nothing was changed.";
pub const EMPTY_LIST: &str = "The list is empty. Nothing was changed.";
pub const BAD_LOAD: &str = "`load` is as-it-is, idle, receive or steps. Nothing was changed.";
pub const BAD_BOOT_S: &str = "`boot_s` must be a moment of the last two minutes.";
pub const BAD_WITHIN_S: &str = "`within_s` must lie between 0 and 30.";
pub const BAD_PHONE_TIME: &str = "`phone_unix_ms` must be a time between 2020 and 2100.";
pub const CLOCK_NOT_SETTABLE: &str =
    "This board's settings do not let outlast set the system clock.";
pub const OTHER_NAME_TITLE: &str = "Unknown name";
pub const OTHER_NAME: &str = "This board does not answer to the name in the address. Use its number, or add the name to \
    `hosts` in the settings.";
pub const OTHER_SITE_TITLE: &str = "Not from this page";
pub const OTHER_SITE: &str = "This came from another site. Nothing was changed.";
pub const PAIR_FIRST_TITLE: &str = "Pair this phone first";
pub const PAIR_FIRST: &str = "Anyone on the network can look; a phone must be paired once before it can change anything. \
    Nothing was changed.";
pub const PAIR_LINK: &str = "Pair this phone";
pub const BACK_TO_NOW: &str = "Back to Now";
pub const NO_PAGE_TITLE: &str = "No such page";
pub const NO_PAGE: &str = "There is nothing at this address.";
pub const WRONG_METHOD_TITLE: &str = "Wrong method";
pub const WRONG_METHOD: &str =
    "This address does not accept this method. The Allow header says which it does.";
pub const TOO_MUCH_TITLE: &str = "Too large";
pub const TOO_MUCH: &str = "More was sent than any form here needs. Nothing was changed.";
pub const WRONG_TYPE_TITLE: &str = "Cannot read this type";
pub const WRONG_TYPE: &str =
    "Send application/json here, or use the forms of the page. Nothing was changed.";
pub const TOO_SLOW_TITLE: &str = "Took too long";
pub const TOO_SLOW: &str =
    "The request did not finish in time. Check whether anything was changed, then try again.";
pub const FAULT_TITLE: &str = "A fault in outlast";
pub const PAGE_FAILED: &str =
    "This page failed. Measuring and the record go on. The journal says more.";
pub const FAILED: &str = "This could not be answered. Measuring and the record go on.";
pub const UNREADABLE_REQUEST_TITLE: &str = "Cannot read this";
pub const UNREADABLE_REQUEST: &str = "What was sent could not be understood. Nothing was changed.";
pub const TOO_MANY_READERS: &str =
    "Too many are reading the record at once. Try again in a moment.";
pub const UNREADABLE_TITLE: &str = "The record cannot be read";
pub const NOT_IN_RECORD_TITLE: &str = "Not in the record";

pub fn not_in_record(what: &dyn Display) -> String {
    format!("There is no {what} of that number in the record.")
}
pub const NO_LOG: &str = "Choose the log's file, or paste its text. Nothing was changed.";
pub const ONE_LOG_AT_A_TIME: &str =
    "Another log is being imported. Try again in a moment. Nothing was changed.";
pub const TOO_MANY_STREAMS_TITLE: &str = "Too many viewers";
pub const TOO_MANY_STREAMS: &str =
    "No more live views can be opened. The page still works when it is reloaded.";
pub const BAD_QUERY: &str = "A part of the address after the ? cannot be read.";
pub const BAD_RANGE: &str = "`from_s` must be 0 or more, and `to_s` more than it.";

pub fn bad_channels(names: &dyn Display) -> String {
    format!("`channels` may hold {names}.")
}
pub const NOT_ASKED: &str = "That question is no longer open. Now shows what is.";
pub const NO_ANSWER_TO_THIS: &str = "That is not an answer to this question. Nothing was changed.";
pub const NO_SUCH_QUESTION: &str = "There is no such question. Nothing was changed.";

pub const TIME_TO_LAST: &str = "The time to last";
pub const UNKNOWN: &str = "I do not know";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bank::LABEL_MAH;

    #[test]
    fn the_figure_said_is_the_limit() {
        assert_eq!(LABEL_MAH, 100.0..=2_000_000.0);
        let said = bank_fault(&BankFault::LabelMah).replace(TIE, " ");
        assert!(said.contains("from 100 to 2 000 000 mAh"), "{said}");
    }
}
