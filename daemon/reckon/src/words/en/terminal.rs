//! What commands print: tables, and what the pages say with buttons instead.

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

/// Counts as a run-down: its number, and whether the bank cut out.
pub fn counted(rundown: i64, whole: bool) -> String {
    let what = if whole { "a whole run-down" } else { "a run-down cut short" };
    format!("Counted as {what} (number {rundown}).")
}

/// So many stretches of the contact log, corrected at once.
pub fn by_contacts(stretches: usize) -> String {
    match stretches {
        1 => "From the contact log: one stretch".into(),
        many => format!("From the contact log: {many} stretches"),
    }
}

/// Columns as wide as their widest entry, two spaces between, under a head.
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

sentences! {
    /// An outing that is open in a record that nobody writes.
    WAS_OPEN = "It was still open when outlast last ran.";
    NOTHING_ASKED = "There is no open question.\n";
    NO_PHONES = "No phone is paired.\n";
    phone_paired(when) = "paired {when}";
    phone_used(when) = "used {when}";
    connected_now(bank) = "{bank} now counts as connected and full, and the outing so far has \
        ended. If that is wrong, undo it within ten minutes: outlast answer bank-changed undo\n";
    TEST_BEGUN = "The run-down test has begun. Leave the board running until the bank cuts out; \
        the next start closes the test and counts it.\nStay near the bank while it runs, keep it \
        away from anything that burns, and stop if it gets hot.\n";
    no_such_bank(typed) = "There is no bank '{typed}' in the record. `outlast bank list` shows \
        those there are.";
    list_too_large(file) = "{file} is larger than 2 MiB. Leave out some of the times: one in ten \
        minutes is enough.";
    recording_too_large(file, most) = "{file} is larger than {most} MiB. Nothing was imported. A \
        reading every ten seconds is enough.";
    bank_not_said(file) = "{file} does not say which bank it is of. Name the bank before the \
        file: outlast bank import BANK FILE";
    WORDS_AFTER_LIST = "A list of time stamps counts from full until the bank cut out. Words after \
        the file's name are for recordings, whose first line names the column t_s.";
    NO_BANK = "The record has no bank yet. Add one: outlast bank add NAME --label-mah MAH\n";
    HOLDS_COLUMN = "expected to hold";
    label(capacity, volts, cells, series) = "Label: {capacity} at {volts}, {cells} cells, {series} \
        in series";
    holds(believed) = "Expected to hold: {believed}";
    NO_RUNDOWN = "No run-down yet.";
    LOAD_UNKNOWN = "What processor load draws, and so what outlast itself draws, is not known: \
        that takes a sensor and at least ten minutes of a changing load.";
    NO_SOURCE = "\nNo source was found.";
    MISSING_HERE = "\nMissing here, and what to do:";
    RUNS_HERE = "outlast is running on this board; `outlast now` asks it.";
    RUNS_NOT = "outlast is not running on this board; `outlast run` starts it.";
    check_cost(ms: f64, kib) = "This check took {ms:.0} ms of processor time and {kib} KiB of \
        memory.";
    YES_NOW = "yes, at this moment";
    rails(power) = "  the board's own rails draw at least {power}";
    UNSYNCHRONISED = "not synchronised, so times of day may be wrong";
    NO_CLOCK_CHIP = "no clock chip";
    COUNTS_AS_BANK = "counts as what the bank delivers";
    COUNTS_IN_PART = "sees a part of it; shown, not counted";
    COUNTS_NOT = "not a sensor of the bank";
    channels_failed(failed, channels) = "{failed} of {channels} channels would not have warned \
        you. Correct what is listed above, or remove the channel from the settings.";
    TEST_OF_WARNINGS = "This is a test of the warnings.";
    LEFT_ON = "The settings leave the board on.";
    UNIT_ENABLED = "Its unit is enabled. Nothing was switched off for this test.";
    UNIT_DISABLED = "Its unit is not enabled, so the board stays on until the bank cuts out. To \
        change that: systemctl enable --now outlast-poweroff.path";
    JOURNAL_LINE = "A line was written to it, as to this terminal.";
    PAGE_WARNS = "It shows alarms by itself. A phone sounds and vibrates once its page was tapped, \
        and not while its screen is off.";
    LED_BLINKED = "It blinked for three seconds and is back as it was.";
    no_thread(why) = "outlast could not start a thread: {why}.";
    no_record_either(why) = "{why} There is no record to open either; --state says where one is.";
    NOT_IN_RECORD = "There is no such thing in the record.";
    not_understood(why) = "The answer cannot be understood ({why}). Are both the same version?";
    cannot_ask(why) = "This cannot be asked: {why}.";
    not_to_its_end(why) = "The record could not be read to its end: {why}.";
    CHANGE_FAILED = "The change failed.";
    file_exists(file) = "{file} already exists; nothing was overwritten.";
    unwritable(file, why) = "{file} cannot be written: {why}.";
    unreadable(file, why) = "{file} cannot be read: {why}.";
    pin(code, minutes: f64) = "{code}\nTap anything on the phone's page and enter this code. It is \
        good for one phone and {minutes:.0} min.\n";
    /// Above a code for a phone's camera.
    scan(address) = "Or point the phone's camera at this ({address}):";
    other_version(why) = "The running outlast gives an answer that this one does not understand \
        ({why}). Are both the same version?";
    no_answer(socket, reason) = "The outlast at {socket} does not answer: {reason}.";
    not_allowed(place) = "outlast is running, but this user is not allowed to talk to it \
        ({place}). Use sudo, or join the group: sudo usermod -aG outlast $USER, then log in again.";
    NOT_RUNNING = "outlast is not running here. Start it with `outlast run`, or as a service: sudo \
        systemctl start outlast";
    NO_EARLIER_OUTING = "There is no earlier outing.";
    not_a_correction(correction) = "'{correction}' is not the number of a correction. `outlast \
        outing show` lists them; `contacts` undoes all that came from the contact log.";
    NO_OUTING = "There is no outing yet.";
    not_an_outing(typed) = "'{typed}' is not an outing. `outlast outing list` shows their numbers; \
        `last` is the newest.";
    UNNAMED_OUTING = "An outing without a name";
    NO_OUTINGS = "There is no outing yet.\n";
    more_outings(next) = "More: outlast outing list --before {next}\n";
    OPEN_AT_LAST_RUN = "was open when outlast last ran";
    RAN_EMPTY = "bank ran empty";
    lost_power(what) = "power lost ({what} an empty bank)";
    not_printed(why) = "The forecasts cannot be printed: {why}.";
    AFTER_FILE = "A file's name may be followed by :died or :stopped, :from=0.7 or :unknown, and \
        :ambient=6.";
    bad_start(text, word) = "{text}: `:{word}` is not understood: want a share more than 0 and at \
        most 1, such as :from=0.7.";
    bad_ambient(text, word) = "{text}: `:{word}` is not understood: want -40 to 60 °C, such as \
        :ambient=6.";
    bank_file_unreadable(path, why) = "The bank's file {path} cannot be read: {why}. Without the \
        bank's label there is no forecast. Check the path and its permissions.";
    bank_file_refused(path, faults) = "The bank's file {path} is refused:{faults}";
    bank_file_without_bank(path) = "The bank's file {path} names no bank. It wants a table that \
        begins with [bank], as in the settings, with cells, series, label_mah, label_v and \
        measured_at.";
    recording_unreadable(name, why) = "The recording {name} cannot be read: {why}.";
    column_twice(name) = "line 1: the column {name} appears twice.";
    NO_TIME_COLUMN = "line 1: there is no column t_s. The first line names the columns: \
        t_s,cpu_util,cpu_temp_c,bus_v,current_a.";
    NO_DRAW_COLUMN = "line 1: neither cpu_util nor bus_v with current_a is there, so nothing tells \
        what was drawn.";
    no_time(line) = "line {line}: t_s is empty. Every line needs its time.";
    NO_RUNTIME_FOLDER = "There is no runtime folder to make the request in.";
    NEARLY_EMPTY = "The bank is nearly empty.";
    no_request(folder, why) = "The request to switch off cannot be made in {folder}: {why}.";
    PLAYS = "This is a made-up outing; no sensor is read.";
    OPEN_PAGE = "Open the page on a phone in the same network, or here:";
    ALL_MAY_CHANGE = "Anyone who opens it can make changes; nothing real is behind it.";
    code(code, minutes) = "To let a phone make changes, enter this code on it: {code} (valid for \
        {minutes} min; for a new one: outlast pin)";
    NO_SETTINGS = "Settings: none, and none are needed";
    kept_in(folder) = "Your choices and the record are kept in {folder}";
    NOTHING_KEPT = "Nothing is kept";
    lost_at_restart(why) = "{why}; your choices are lost at a restart";
    sensor_silent(title) = "Sensor: {title} (silent now)";
    sensor_left_alone(title) = "Sensor: {title} (left alone)";
    NO_SENSOR = "No sensor sees the bank, so its draw is estimated from the board's load";
    SEE_CHECK = "Everything that was found, and what is missing: outlast check";
    port_taken(port, other) = "Port {port} is in use, most likely by an outlast that is already \
        running. See it with `outlast now`, or take another port: --listen {other}";
    port_denied(port, other) = "This user is not allowed to use port {port}; ports from 1024 on \
        are free to use: --listen {other}";
    no_such_address(ip) = "This board does not have the address {ip}. 0.0.0.0 serves every network \
        it is in.";
    not_served(listen, why) = "The page cannot be served at {listen}: {why}.";
    runs_already(socket) = "outlast is already running here: it answers at {socket}. See it with \
        `outlast now`; a second one needs its own --state and --listen.";
    DEMONSTRATION = "Demonstration: everything below is made up.";
    CHOOSE_BANK = "On the page it is one tap; the settings may name it under [bank].";
    question(text, why, name) = "? {text} {why} Answer with: outlast answer {name}";
    no_signals(why) = "outlast cannot receive signals: {why}.";
    no_socket(why) = "The socket for `outlast now` cannot be served: {why}.";
    UNKNOWN_BOARD = "not a known one";
    chip_of_board(named, chip) = "  {named}; the board has {chip}";
    fields_missing(line, fields, least) = "line {line}: {fields} fields, but the header names at \
        least {least}. Was the file cut off?";
    time_goes_back(line, from_s, to_s) = "line {line}: t_s goes back from {from_s} to {to_s}. \
        Lines must be in the order of time.";
    bad_value(line, column, shown, what, low, high) = "line {line}: {column} is `{shown}`: want \
        {what}, {low} to {high}, or nothing where it was not read.";
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
