//! Why something was not done, and what to do.

use alloc::{format, string::String, vec::Vec};
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
pub fn refusal(refusal: &Refusal) -> String {
    let fixed = match refusal {
        Refusal::BankImplausible(faults) => return bank_faults(faults),
        Refusal::BadName(fault) => return name_fault("The name", *fault),
        Refusal::NoSuchActivity => NO_SUCH_ACTIVITY,
        Refusal::NoRules => NO_RULES,
        Refusal::AlarmGone => ALARM_GONE,
        Refusal::NoCountdown => "There is no countdown to stop or shorten. Reload the page.",
        Refusal::FinishOutOfRange => FINISH_OUT_OF_RANGE,
        Refusal::NoSuchAnswer => NO_SUCH_ANSWER,
        Refusal::NotAsked => ASKED_NO_MORE,
    };
    fixed.into()
}

/// Why a bank cannot be as described: one sentence or two for each fault.
pub fn bank_faults(all: &[BankFault]) -> String {
    all.iter().map(bank_fault).collect::<Vec<_>>().join(" ")
}

/// Why a bank cannot be as described.
pub fn bank_fault(fault: &BankFault) -> String {
    match *fault {
        BankFault::Name(fault) => name_fault("The bank's name", fault),
        BankFault::Cells => format!("The cells must be {}.", or(&Cells::ALL.map(Cells::name))),
        BankFault::MeasuredAt => sensor_nowhere(&or(&MeasuredAt::ALL.map(MeasuredAt::name))),
        BankFault::NoLabel => NO_LABEL.into(),
        BankFault::LabelMah => BAD_LABEL_MAH.into(),
        BankFault::LabelV => bad_label_v(PACK_V.start(), PACK_V.end()),
        BankFault::Series => bad_series(SERIES.start(), SERIES.end()),
        BankFault::Ambient => bad_ambient(AMBIENT_C.start(), AMBIENT_C.end()),
        BankFault::Misfit { cells, series, makes_v: (low, high), label_v } => {
            let cells =
                format!("{} {}", chemistry(cells), if series == 1 { "cell" } else { "cells" });
            misfit(&series, &cells, low, high, label_v)
        }
        BankFault::Cutoff { within_v: (low, high) } => bad_cutoff(low, high),
    }
}

/// Why a text cannot be a name; `what` begins the sentence, such as 'The name'.
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
pub fn wait(time: Duration) -> String {
    let seconds = Seconds::of(time.as_secs_f64() + 1.0);
    format!("Too many wrong codes from this phone. Try again in {}.", span(seconds))
}

sentences! {
    NO_SUCH_ACTIVITY = "There is no activity of that name any more. Reload the page and tap one of \
        those shown.";
    NO_RULES = "The settings have no rule that chooses an activity. Tap what you are doing.";
    ALARM_GONE = "That alarm is over, or another has taken its place. Reload the page.";
    FINISH_OUT_OF_RANGE = "The finish must be in the future, and within 14\u{a0}days.";
    NO_SUCH_ANSWER = "That is not an answer to this question. Nothing was changed.";
    ASKED_NO_MORE = "That question is no longer open. Reload the page to see what is asked now. \
        Nothing was changed.";
    sensor_nowhere(places) = "The sensor sits at {places}: behind the bank's converter, at the \
        cells, or there is none.";
    NO_LABEL = "The capacity in mAh is missing, and it is not guessed. It is printed on the bank's \
        label.";
    BAD_LABEL_MAH = "The capacity must be a number from 100 to 2\u{a0}000\u{a0}000\u{a0}mAh. It is \
        printed on the bank's label.";
    bad_label_v(low, high) = "The voltage that the label's capacity is for must be a number from \
        {low} to {high}{TIE}V.";
    bad_series(low, high) = "Cells in series must be a whole number from {low} to {high}; a USB \
        bank has 1.";
    bad_ambient(low, high) = "The temperature around the bank must be a number from {low} to \
        {high}{TIE}°C.";
    misfit(series, cells, low: f64, high: f64, label_v: f64) = "{series} {cells} in series make \
        {low:.1} to {high:.1}{TIE}V, not {label_v:.1}{TIE}V. A USB bank's label means its cells: \
        one in series, 3.6 or 3.7{TIE}V.";
    bad_cutoff(low: f64, high: f64) = "The cut-off of this bank must be a number from {low:.1} to \
        {high:.1}{TIE}V; leave it out if you do not know it.";
    /// A reason, and that nothing came of it.
    unchanged(why: &str) = "{why} Nothing was changed.";
    NO_RECORD = "No record is kept here.";
    CLOCK_LOCKED = "This outlast is not allowed to set the board's clock: `set_clock_from_phone` \
        in the settings allows it, and says what the service needs. Nothing was changed.";
    NO_PHONE_TIME = "No phone has told the time yet. Nothing was changed.";
    clock_refused(why) = "The system did not allow its clock to be set: {why}. Nothing was \
        changed.";
    NO_TEST = "No run-down test is running. Nothing was changed.";
    PHONE_CLOCK_WRONG = "The phone's own clock cannot be right, so it is not used.";
    PHONE_TOO_SLOW = "The phone answered too slowly to compare the clocks. Try again.";
    NEEDS_RUNNING = "Only the running outlast can do this. Start it with `outlast run`, or as a \
        service: sudo systemctl start outlast";
    NO_SUCH_BANK = "There is no such bank in the record; it may be listed under another name. \
        Nothing was changed.";
    bank_exists(name) = "Another bank is already called '{name}'. Nothing was changed.";
    NO_SUCH_RUNDOWN = "There is no such run-down in the record. Nothing was changed.";
    NO_SUCH_OUTING = "There is no such outing in the record. Nothing was changed.";
    NOT_ENDED = "This outing has not ended yet. Nothing was changed.";
    END_IS_KNOWN = "It is known how this outing ended: no power was lost. Nothing was changed.";
    END_NOT_SAID = "Nobody has said how this outing ended. Nothing was changed.";
    NOT_BEGUN = "The outing had not begun at that time. Nothing was changed.";
    was_over(lasted) = "The outing was over by then: it lasted {lasted}. Nothing was changed.";
    NO_CONTACTS = "No contact in a log falls within this outing. Nothing was changed.";
    NO_SUCH_CORRECTION = "There is no such correction in the record. Nothing was changed.";
    DOES_NOT_FOLLOW = "The current outing does not follow this one on the same bank: another \
        outing lies between, or another bank is connected. Nothing was changed.";
    NO_FILE = "it is not a file";
    LARGE_NOT_ADI = "it is larger than 4 MiB and not an ADI file";
    NO_COPY = "Nothing is kept here, so there is no copy.";
    copy_unreadable(to, why) = "The copy at {to} cannot be read: {why}.";
    NO_RECORD_TO_CHANGE = "No record is kept here, so there is nothing to change.";
    TOO_MANY_ASKS = "Too many requests at once. Try again in a moment.";
    STOPPING = "outlast is stopping. Nothing was changed.";
    BUSY_TITLE = "Busy";
    not_a_number(field) = "{field} must be a number. Nothing was changed.";
    BANK_OR_SPEC = "Give either `bank`, the name of one offered, or `spec`.";
    NO_BANK_NAMED = "There is no bank of that name here. Nothing was changed.";
    BAD_START = "How full is full, unknown, or a share such as 70 %. Nothing was changed.";
    NO_FINISH = "Say when you want to finish. Nothing was changed.";
    NO_TIME_OF_DAY = "The board does not know the time of day, so give a length of time instead. \
        Nothing was changed.";
    BAD_TIME_OF_DAY = "A time of day looks like 17:00. Nothing was changed.";
    NAME_OR_RULES = "Give a name or let the rules choose, not both. Nothing was changed.";
    BAD_WISH = "`wish` is stop or now. Nothing was changed.";
    BAD_SLEEP = "An alarm can be silenced for one minute to one day.";
    WRONG_CODE = "That code is wrong. `outlast pin` on the board shows the one that is good now.";
    NO_CODE = "No code is good now: none was asked for, or it is used or too old. Run `outlast \
        pin` on the board and enter what it shows.";
    NO_PHONE_TITLE = "No such phone";
    NO_PHONE = "No phone of that number is paired. Nothing was changed.";
    NOT_KEPT_TITLE = "Done, but not kept";
    BACK_TO_PHONES = "Paired phones";
    NO_SUCH_LOOK = "There is no such appearance. Nothing was changed.";
    YES_OR_NO = "Say yes or no. Nothing was changed.";
    NO_SPAN = "Give both times as hours and minutes, 1:20. Nothing was changed.";
    NO_MOMENT = "A time of day is not enough to say when in this outing. Nothing was changed.";
    END_BEFORE_BEGINNING = "The end must come after the beginning. Nothing was changed.";
    NO_ACTIVITY_FOR_CONTACTS = "Say what you were doing during the contacts. Nothing was changed.";
    NO_CORRECTION = "Say which one to undo. Nothing was changed.";
    EMPTY_LIST = "The list is empty. Nothing was changed.";
    BAD_LOAD = "`load` is as-it-is, idle, receive or steps. Nothing was changed.";
    BAD_BOOT_S = "`boot_s` must be a moment of the last two minutes.";
    BAD_WITHIN_S = "`within_s` must lie between 0 and 30.";
    BAD_PHONE_TIME = "`phone_unix_ms` must be a time between 2020 and 2100.";
    CLOCK_NOT_SETTABLE = "This board's settings do not let outlast set the system clock.";
    OTHER_NAME_TITLE = "Unknown name";
    OTHER_NAME = "This board does not answer to the name in the address. Use its number, or add \
        the name to `hosts` in the settings.";
    OTHER_SITE_TITLE = "Not from this page";
    OTHER_SITE = "This came from another site. Nothing was changed.";
    OTHER_SITE_LOOKS = "Another site's page asked for this. Only this page, a program or a link \
        may, since it costs the bank. Open the address itself.";
    PAIR_FIRST_TITLE = "Pair this phone first";
    PAIR_FIRST = "Anyone on the network can look; a phone must be paired once before it can change \
        anything. Nothing was changed.";
    PAIR_LINK = "Pair this phone";
    BACK_TO_NOW = "Back to Now";
    LIST_FOR_FIELDS = "There is a list where an object with named fields is needed. Nothing was \
        changed.";
    IN_MEMORY_TITLE = "Kept in memory only";
    IN_MEMORY = "It holds from now on, but it is kept in memory only, until the card can be written \
        to. If the power goes before that, it is lost. Free some space on the card; outlast tries \
        again every minute.";
    NO_PAGE_TITLE = "No such page";
    NO_PAGE = "There is nothing at this address.";
    WRONG_METHOD_TITLE = "Wrong method";
    WRONG_METHOD = "This address does not accept this method. The Allow header says which it does.";
    TOO_MUCH_TITLE = "Too large";
    TOO_MUCH = "More was sent than any form here needs. Nothing was changed.";
    WRONG_TYPE_TITLE = "Cannot read this type";
    WRONG_TYPE = "Send application/json here, or use the forms of the page. Nothing was changed.";
    TOO_SLOW_TITLE = "Took too long";
    TOO_SLOW = "The request did not finish in time. Check whether anything was changed, then try \
        again.";
    FAULT_TITLE = "A fault in outlast";
    PAGE_FAILED = "This page failed. Measuring and the record go on. The journal says more.";
    FAILED = "This could not be answered. Measuring and the record go on.";
    UNREADABLE_REQUEST_TITLE = "Cannot read this";
    UNREADABLE_REQUEST = "What was sent could not be understood. Nothing was changed.";
    TOO_MANY_READERS = "Too many are reading the record at once. Try again in a moment.";
    TOO_MANY_FILES = "Another file is being sent. Without pairing there is one at a time, since \
        files cost the bank. Try again in half a minute, or pair this phone.";
    UNREADABLE_TITLE = "The record cannot be read";
    NOT_IN_RECORD_TITLE = "Not in the record";
    not_in_record(what) = "There is no {what} of that number in the record.";
    NO_LOG = "Choose the log's file, or paste its text. Nothing was changed.";
    TOO_MANY_BODIES = "Other files are being sent. Try again in a moment. Nothing was changed.";
    TOO_MANY_STREAMS_TITLE = "Too many viewers";
    TOO_MANY_STREAMS = "No more live views can be opened. The page still works when it is \
        reloaded.";
    BAD_QUERY = "A part of the address after the ? cannot be read.";
    BAD_RANGE = "`from_s` must be 0 or more, and `to_s` more than it.";
    bad_channels(names) = "`channels` may hold {names}.";
    NOT_ASKED_TITLE = "Not asked";
    NOT_ASKED = "That question is no longer open. Now shows what is.";
    NO_ANSWER_TO_THIS = "That is not an answer to this question. Nothing was changed.";
    NO_SUCH_QUESTION = "There is no such question. Nothing was changed.";
    TIME_TO_LAST = "The time to last";
    UNKNOWN = "I do not know";
}

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
