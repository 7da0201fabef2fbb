//! What commands print: tables, and what the pages say with buttons instead.

#![expect(missing_docs, reason = "each text says what it is for")]

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::fmt::Display;

/// An outing that is open in a record that nobody writes.
pub const WAS_OPEN: &str = "It was still open when outlast last ran.";

/// Counts as a run-down: its number, and whether the bank cut out.
#[must_use]
pub fn counted(rundown: i64, whole: bool) -> String {
    let what = if whole { "a whole run-down" } else { "a run-down cut short" };
    format!("Counted as {what} (number {rundown}).")
}

/// So many stretches of the contact log, corrected at once.
#[must_use]
pub fn by_contacts(stretches: usize) -> String {
    match stretches {
        1 => "From the contact log: one stretch".to_string(),
        many => format!("From the contact log: {many} stretches"),
    }
}

/// Columns as wide as their widest entry, two spaces between, under a head.
#[must_use]
pub fn table<'a, const N: usize>(
    first: &'a str,
    head: &[&'a str; N],
    rows: impl Iterator<Item = (&'a str, &'a [String; N])>,
) -> String {
    let head: [String; N] = head.map(ToString::to_string);
    let lines: Vec<(&str, [String; N])> = core::iter::once((first, head))
        .chain(rows.map(|(name, cells)| (name, cells.clone())))
        .collect();
    let long = |text: &str| text.chars().count();
    let names = lines.iter().map(|(name, _)| long(name)).max().unwrap_or(0);
    let widths: [usize; N] = core::array::from_fn(|ix| {
        lines.iter().map(|(_, cells)| long(&cells[ix])).max().unwrap_or(0)
    });
    let mut said = String::new();
    for (name, cells) in &lines {
        let mut line = format!("  {name:<names$}");
        for (cell, width) in cells.iter().zip(widths) {
            line.push_str(&format!("  {cell:>width$}"));
        }
        said.push_str(line.trim_end());
        said.push('\n');
    }
    said
}

pub const NOTHING_ASKED: &str = "There is no open question.\n";

pub fn connected_now(bank: &dyn Display) -> String {
    format!(
        "{bank} now counts as connected and full, and the outing so far has ended. If that is \
        wrong, undo it within ten minutes: outlast answer bank-changed undo\n"
    )
}
pub const TEST_BEGUN: &str = "The run-down test has begun. Leave the board running until the bank cuts out; the next start \
    closes the test and counts it.\nStay near the bank while it runs, keep it away from anything \
    that burns, and stop if it gets hot.\n";

pub fn no_such_bank(typed: &dyn Display) -> String {
    format!("There is no bank '{typed}' in the record. `outlast bank list` shows those there are.")
}

pub fn list_too_large(file: &dyn Display) -> String {
    format!(
        "{file} is larger than 2 MiB. Leave out some of the times: one in ten minutes is \
        enough."
    )
}
pub const NO_BANK: &str =
    "The record has no bank yet. Add one: outlast bank add NAME --label-mah MAH\n";
pub const HOLDS_COLUMN: &str = "expected to hold";

pub fn label(
    capacity: &dyn Display,
    volts: &dyn Display,
    cells: &dyn Display,
    series: &dyn Display,
) -> String {
    format!("Label: {capacity} at {volts}, {cells} cells, {series} in series")
}

pub fn holds(believed: &dyn Display) -> String {
    format!("Expected to hold: {believed}")
}
pub const NO_RUNDOWN: &str = "No run-down yet.";
pub const LOAD_UNKNOWN: &str = "What processor load draws, and so what outlast itself draws, is not known: that takes a \
    sensor and at least ten minutes of a changing load.";
pub const NO_SOURCE: &str = "\nNo source was found.";
pub const MISSING_HERE: &str = "\nMissing here, and what to do:";
pub const RUNS_HERE: &str = "outlast is running on this board; `outlast now` asks it.";
pub const RUNS_NOT: &str = "outlast is not running on this board; `outlast run` starts it.";

pub fn check_cost(ms: f64, kib: &dyn Display) -> String {
    format!("This check took {ms:.0} ms of processor time and {kib} KiB of memory.")
}
pub const YES_NOW: &str = "yes, at this moment";

pub fn rails(power: &dyn Display) -> String {
    format!("  the board's own rails draw at least {power}")
}
pub const UNSYNCHRONISED: &str = "not synchronised, so times of day may be wrong";
pub const NO_CLOCK_CHIP: &str = "no clock chip";
pub const COUNTS_AS_BANK: &str = "counts as what the bank delivers";
pub const COUNTS_IN_PART: &str = "sees a part of it; shown, not counted";
pub const COUNTS_NOT: &str = "not a sensor of the bank";

pub fn channels_failed(failed: &dyn Display, lines: &dyn Display) -> String {
    format!(
        "{failed} of {lines} channels would not have warned you. Correct what is listed \
        above, or remove the channel from the settings."
    )
}
pub const TEST_OF_WARNINGS: &str = "This is a test of the warnings.";

pub fn could_not_start(why: &dyn Display) -> String {
    format!("outlast could not start a thread: {why}.")
}
pub const LEFT_ON: &str = "The settings leave the board on.";
pub const UNIT_ENABLED: &str = "Its unit is enabled. Nothing was switched off for this test.";
pub const UNIT_DISABLED: &str = "Its unit is not enabled, so the board stays on until the bank cuts out. To change that: \
    systemctl enable --now outlast-poweroff.path";
pub const JOURNAL_LINE: &str = "A line was written to it, as to this terminal.";
pub const PAGE_WARNS: &str = "It shows alarms by itself. A phone sounds and vibrates once its page was tapped, and not \
    while its screen is off.";
pub const LED_BLINKED: &str = "It blinked for three seconds and is back as it was.";

pub fn no_thread(why: &dyn Display) -> String {
    format!("outlast could not start a thread: {why}.")
}

pub fn no_record_either(say: &dyn Display) -> String {
    format!("{say} There is no record to open either; --state says where one is.")
}
pub const NOT_IN_RECORD: &str = "There is no such thing in the record.";

pub fn not_understood(why: &dyn Display) -> String {
    format!("The answer cannot be understood ({why}). Are both the same version?")
}

pub fn cannot_ask(why: &dyn Display) -> String {
    format!("This cannot be asked: {why}.")
}

pub fn not_to_its_end(why: &dyn Display) -> String {
    format!("The record could not be read to its end: {why}.")
}
pub const CHANGE_FAILED: &str = "The change failed.";

pub fn file_exists(file: &dyn Display) -> String {
    format!("{file} already exists; nothing was overwritten.")
}

pub fn unwritable(file: &dyn Display, why: &dyn Display) -> String {
    format!("{file} cannot be written: {why}.")
}

pub fn unreadable(file: &dyn Display, why: &dyn Display) -> String {
    format!("{file} cannot be read: {why}.")
}

pub fn pin(code: &dyn Display, minutes: f64) -> String {
    format!(
        "{code}\nEnter this code on the phone's Station page. It is good for one phone and \
        {minutes:.0} min.\n"
    )
}

pub fn other_version(why: &dyn Display) -> String {
    format!(
        "The running outlast gives an answer that this one does not understand ({why}). Are \
        both the same version?"
    )
}

pub fn no_answer(socket: &dyn Display, reason: &dyn Display) -> String {
    format!("The outlast at {socket} does not answer: {reason}.")
}

pub fn not_allowed(place: &dyn Display) -> String {
    format!(
        "outlast is running, but this user is not allowed to talk to it ({place}). Use sudo, \
        or join the group: sudo usermod -aG outlast $USER, then log in again."
    )
}
pub const NOT_RUNNING: &str = "outlast is not running here. Start it with `outlast run`, or as a service: sudo systemctl \
    start outlast";
pub const NO_EARLIER_OUTING: &str = "There is no earlier outing.";

pub fn not_a_correction(correction: &dyn Display) -> String {
    format!(
        "'{correction}' is not the number of a correction. `outlast outing show` lists them; \
        `contacts` undoes all that came from the contact log."
    )
}
pub const NO_OUTING: &str = "There is no outing yet.";

pub fn not_an_outing(typed: &dyn Display) -> String {
    format!(
        "'{typed}' is not an outing. `outlast outing list` shows their numbers; `last` is the \
        newest."
    )
}
pub const UNNAMED_OUTING: &str = "An outing without a name";
pub const NO_OUTINGS: &str = "There is no outing yet.\n";

pub fn more_outings(next: &dyn Display) -> String {
    format!("More: outlast outing list --before {next}\n")
}
pub const WAS_OPEN_SHORT: &str = "was open when outlast last ran";
pub const RAN_EMPTY: &str = "bank ran empty";

pub fn lost_power(what: &dyn Display) -> String {
    format!("power lost ({what} an empty bank)")
}

pub fn not_printed(why: &dyn Display) -> String {
    format!("The forecasts cannot be printed: {why}.")
}
pub const AFTER_FILE: &str =
    "A file's name may be followed by :died or :stopped, :from=0.7 or :unknown, and :ambient=6.";

pub fn bad_start(text: &dyn Display, word: &dyn Display) -> String {
    format!(
        "{text}: `:{word}` is not understood: want a share more than 0 and at most 1, such as \
        :from=0.7."
    )
}

pub fn bad_ambient(text: &dyn Display, word: &dyn Display) -> String {
    format!("{text}: `:{word}` is not understood: want -40 to 60 °C, such as :ambient=6.")
}

pub fn bank_file_unreadable(path: &dyn Display, why: &dyn Display) -> String {
    format!(
        "The bank's file {path} cannot be read: {why}. Without the bank's label there is no \
        forecast. Check the path and its permissions."
    )
}

pub fn bank_file_refused(path: &dyn Display, all: &dyn Display) -> String {
    format!("The bank's file {path} is refused:{all}")
}

pub fn bank_file_without_bank(path: &dyn Display) -> String {
    format!(
        "The bank's file {path} names no bank. It wants a table that begins with [bank], as \
        in the settings, with cells, series, label_mah, label_v and measured_at."
    )
}

pub fn recording_unreadable(name: &dyn Display, why: &dyn Display) -> String {
    format!("The recording {name} cannot be read: {why}.")
}

pub fn column_twice(name: &dyn Display) -> String {
    format!("line 1: the column {name} appears twice.")
}
pub const NO_TIME_COLUMN: &str = "line 1: there is no column t_s. The first line names the columns: \
    t_s,cpu_util,cpu_temp_c,bus_v,current_a.";
pub const NO_DRAW_COLUMN: &str =
    "line 1: neither cpu_util nor bus_v with current_a is there, so nothing tells what was drawn.";

pub fn no_time(line: &dyn Display) -> String {
    format!("line {line}: t_s is empty. Every line needs its time.")
}
pub const NO_RUNTIME_FOLDER: &str = "There is no runtime folder to make the request in.";
pub const NEARLY_EMPTY: &str = "The bank is nearly empty.";

pub fn no_request(folder: &dyn Display, why: &dyn Display) -> String {
    format!("The request to switch off cannot be made in {folder}: {why}.")
}
pub const PLAYS: &str = "This is a made-up outing; no sensor is read.";
pub const OPEN_PAGE: &str = "Open the page on a phone in the same network, or here:";
pub const ALL_MAY_CHANGE: &str = "Anyone who opens it can make changes; nothing real is behind it.";

pub fn code(code: &dyn Display, minutes: &dyn Display) -> String {
    format!(
        "To let a phone make changes, enter this code on it: {code} (valid for {minutes} min; \
        for a new one: outlast pin)"
    )
}
pub const NO_SETTINGS: &str = "Settings: none, and none are needed";

pub fn kept_in(folder: &dyn Display) -> String {
    format!("Your choices and the record are kept in {folder}")
}
pub const NOTHING_KEPT: &str = "Nothing is kept";

pub fn lost_at_restart(why: &dyn Display) -> String {
    format!("{why}; your choices are lost at a restart")
}

pub fn sensor_silent(title: &dyn Display) -> String {
    format!("Sensor: {title} (silent now)")
}

pub fn sensor_left_alone(title: &dyn Display) -> String {
    format!("Sensor: {title} (left alone)")
}
pub const NO_SENSOR: &str =
    "No sensor sees the bank, so its draw is estimated from the board's load";
pub const SEE_CHECK: &str = "Everything that was found, and what is missing: outlast check";

pub fn port_taken(port: &dyn Display, unwrap_or: &dyn Display) -> String {
    format!(
        "Port {port} is in use, most likely by an outlast that is already running. See it \
        with `outlast now`, or take another port: --listen {unwrap_or}"
    )
}

pub fn port_denied(port: &dyn Display, new: &dyn Display) -> String {
    format!(
        "This user is not allowed to use port {port}; ports from 1024 on are free to use: \
        --listen {new}"
    )
}

pub fn no_such_address(ip: &dyn Display) -> String {
    format!("This board does not have the address {ip}. 0.0.0.0 serves every network it is in.")
}

pub fn not_served(listen: &dyn Display, why: &dyn Display) -> String {
    format!("The page cannot be served at {listen}: {why}.")
}

pub fn runs_already(socket: &dyn Display) -> String {
    format!(
        "outlast is already running here: it answers at {socket}. See it with `outlast now`; \
        a second one needs its own --state and --listen."
    )
}
pub const DEMONSTRATION: &str = "Demonstration: everything below is made up.";
pub const CHOOSE_BANK: &str = "On the page it is one tap; the settings may name it under [bank].";

pub fn question(text: &dyn Display, why: &dyn Display, name: &dyn Display) -> String {
    format!("? {text} {why} Answer with: outlast answer {name}")
}

pub fn no_signals(why: &dyn Display) -> String {
    format!("outlast cannot receive signals: {why}.")
}

pub fn no_more_threads(why: &dyn Display) -> String {
    format!("outlast could not start another thread: {why}.")
}

pub fn no_socket(why: &dyn Display) -> String {
    format!("The socket for `outlast now` cannot be served: {why}.")
}

pub const UNKNOWN_BOARD: &str = "not a known one";

pub fn chip_of_board(named: &dyn Display, chip: &dyn Display) -> String {
    format!("  {named}; the board has {chip}")
}

pub fn fields_missing(line: &dyn Display, fields: &dyn Display, least: &dyn Display) -> String {
    format!(
        "line {line}: {fields} fields, but the header names at least {least}. Was the file \
        cut off?"
    )
}

pub fn time_goes_back(line: &dyn Display, from_s: &dyn Display, to_s: &dyn Display) -> String {
    format!(
        "line {line}: t_s goes back from {from_s} to {to_s}. Lines must be in the order of time."
    )
}

pub fn bad_value(
    line: &dyn Display,
    column: &dyn Display,
    shown: &dyn Display,
    what: &dyn Display,
    low: &dyn Display,
    high: &dyn Display,
) -> String {
    format!(
        "line {line}: {column} is `{shown}`: want {what}, {low} to {high}, or nothing where \
        it was not read."
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_stand_under_one_another() {
        let row = ["12.4".to_string(), "3 h".to_string()];
        let said = table("Doing", &["Wh", "time"], core::iter::once(("Receive", &row)));
        assert_eq!(said, "  Doing      Wh  time\n  Receive  12.4   3 h\n");
    }
}
