//! Lines for the journal.

#![expect(missing_docs, reason = "each text says what it is for")]

use alloc::{format, string::String};
use core::fmt::Display;

pub const PROGRAMS_SAVE: &str = "the board is switching off: programs are saving";

pub fn not_synced(why: &dyn Display) -> String {
    format!("the card could not be synced before switching off: {why}")
}

pub fn answers_again(title: &dyn Display, span: &dyn Display) -> String {
    format!("{title} answers again after {span}")
}
pub const RECORD_GOES_ON: &str = "the record goes on";

pub fn entries_lost(missed: &dyn Display) -> String {
    format!("{missed} entries of the record were lost")
}

pub fn record_set_aside(why: &dyn Display, path: &dyn Display) -> String {
    format!("{why}; it was set aside as {path}")
}
pub const CLOCK_SET: &str = "the board's clock was set from the phone";

pub fn test_runs(bank: &dyn Display) -> String {
    format!("a run-down test of {bank} is running")
}

pub fn record_not_closed(why: &dyn Display) -> String {
    format!("the record could not be closed before switching off: {why}")
}

pub fn sensors_back(silent_s: &dyn Display) -> String {
    format!("the sensors are read again after {silent_s} s")
}
pub const OTHERS_GO_ON: &str = "the others are still read";
pub const FORECAST_GOES_ON: &str = "the forecast goes on from what was known";

pub fn sensors_hang(silent_s: &dyn Display, what_now: &dyn Display) -> String {
    format!("no sensor has answered for {silent_s} s, one of them hangs; {what_now}")
}
pub const CHOICES_KEPT: &str = "your choices are kept again";
pub const NO_HOME: &str = "There is no home folder to keep anything in";

pub fn no_folder(folder: &dyn Display, why: &dyn Display) -> String {
    format!("The state folder {folder} cannot be made: {why}")
}

pub fn no_connection(why: &dyn Display) -> String {
    format!("a connection could not be accepted: {why}")
}
pub const TOO_MANY_CONNECTIONS: &str = "more connections than one address may have";
pub const PAGES_CUT_OFF: &str = "some pages were still being read and were cut off";

pub fn set_aside(path: &dyn Display, aside: &dyn Display) -> String {
    format!("{path} is damaged and was set aside as {aside}")
}

pub fn stuck(path: &dyn Display) -> String {
    format!("{path} is damaged and cannot be moved out of the way")
}

pub fn keys_unreadable(path: &dyn Display, why: &dyn Display) -> String {
    format!("{path} cannot be read: {why}; phones have to pair again")
}

pub fn keys_unwritable(path: &dyn Display, why: &dyn Display) -> String {
    format!("{path} cannot be written: {why}; phones have to pair again after a restart")
}

pub fn keys_damaged(path: &dyn Display) -> String {
    format!("{path} was damaged; every phone has to pair again")
}

pub fn no_randomness(why: &dyn Display) -> String {
    format!(
        "no random numbers are available ({why}); a code that can be guessed would be worse \
        than none"
    )
}

pub fn systemd_untold(why: &dyn Display) -> String {
    format!("systemd cannot be told how things stand: {why}")
}

pub fn load_small(why: &dyn Display) -> String {
    format!("the test's load is smaller than meant: {why}")
}

pub fn load_urgent(why: &dyn Display) -> String {
    format!("the test's load cannot be given the lowest priority: {why}")
}

pub fn broke_down(name: &dyn Display, reason: &dyn Display) -> String {
    format!("the {name} failed ({reason}); outlast ends here so that it can be restarted")
}
pub const NO_REASON: &str = "no reason given";

pub fn choices_unreadable(path: &dyn Display, why: &dyn Display) -> String {
    format!("The earlier choices cannot be read ({path}: {why}); outlast starts without them")
}

pub fn choose_again(set_aside: &dyn Display) -> String {
    format!("{set_aside}; choose the bank and the finish again")
}
pub const TEST_CLOSED: &str = "the bank was run down; the test is closed and counted";

pub fn power_lost(died: f64) -> String {
    format!(
        "the power was lost without notice ({died:.0} % likely an empty bank); the page asks \
        what happened"
    )
}
pub const ENDED_WELL: &str = "the last outing ended in good order";

pub fn no_record_thread(why: &dyn Display) -> String {
    format!("outlast could not start the record's thread: {why}.")
}
pub const SUPPLY_CAME_BACK: &str =
    "the supply was gone and came back while the board ran on: perhaps another bank";
pub const ANOTHER_BANK: &str = "another bank, perhaps";

pub fn page_asks(said: &dyn Display) -> String {
    format!("{said}; the page asks")
}

pub fn sweeps_missed(more: &dyn Display) -> String {
    format!("{more} sweeps came too late or not at all")
}
pub const SWITCHED_OFF: &str = "The bank is nearly empty; the board is switched off.";
pub const CAPPED: &str = "the processor's clock is capped";
pub const THROTTLED: &str = "the processor is throttled";
pub const HOT: &str = "the board is hot";

pub fn wall_clock_set(way: &dyn Display, seconds: &dyn Display) -> String {
    format!("the wall clock was set {way} by {seconds} s")
}

pub fn choices_not_kept(folder: &dyn Display, why: &dyn Display) -> String {
    format!(
        "Your choices cannot be kept in {folder}: {why}. Readings and forecast go on, but a \
        restart will not know the bank and the finish. Free some space on the card or make the \
        folder writable"
    )
}
pub const TOLD_TO_STOP: &str = "told to stop";

pub fn no_socket(path: &dyn Display, why: &dyn Display) -> String {
    format!("`outlast now` and `outlast pin` will not work: {path} cannot be made ({why})")
}

pub fn not_recorded(why: &dyn Display) -> String {
    format!("{why} Nothing is recorded")
}

pub fn end_not_marked(trouble: &dyn Display) -> String {
    format!("{trouble} The next start will take this end for a loss of power")
}

pub fn old_request(why: &dyn Display) -> String {
    format!("an old request to switch off cannot be removed: {why}")
}
pub const WRONG_CODE: &str =
    "a wrong pairing code was typed; the next try is possible after a wait";
pub const PAIRED: &str = "a phone was paired; to make all phones pair again, remove the key file";

pub fn pairing_code(shown: &dyn Display) -> String {
    format!("to pair a phone, enter this code on its Station page: {shown}")
}
