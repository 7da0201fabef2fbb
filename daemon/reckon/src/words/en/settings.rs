//! What the settings want, and what is wrong with them.

#![expect(missing_docs, reason = "each text says what it is for")]

use alloc::{format, string::String};
use core::fmt::Display;

use super::refusal::name_fault;
use crate::name::NameFault;

pub fn unreadable(path: &dyn Display, why: &dyn Display) -> String {
    format!(
        "The settings file {path} cannot be read: {why}.\nNothing was started, because a forecast \
         without your settings would be confidently wrong. Check the path and its permissions, or \
         start without --settings."
    )
}
pub const NOT_STARTED: &str = "Nothing was started. The settings file that comes with outlast explains every key with its \
    range.";
pub const STATION: &str = "It is what the page calls this station.";
pub const ACTIVITIES: &str = "These become the buttons of the page.";
pub const CONNECTIONS: &str = "Each phone needs about two.";
pub const HOSTS: &str = "The board's own names pass by themselves.";
pub const SET_CLOCK: &str = "It lets a tap on a paired phone set the clock of this board.";
pub const LISTEN: &str = "an address and a port in quotes, such as \"0.0.0.0:8073\". Address 0.0.0.0 serves every \
    network of the board, 127.0.0.1 only itself.";
pub const BOARD: &str = "the board's short name, such as \"4B\", \"Zero 2 W\" or \"3B+\". It is printed on the board; \
    leave the key out to have it found.";
pub const START: &str = "\"full\", \"unknown\" or a share such as \"70 %\". It is how full the bank is when outlast \
    starts with it.";
pub const IDLE_W: &str = "The board with nothing to do.";
pub const FULL_W: &str = "The board with every core busy.";

pub fn busy_draws_more(idle: &dyn Display) -> String {
    format!("a busy board draws no less than an idle one ({idle} W).")
}
pub const IDLE_AND_FULL: &str = "idle_w and full_w are only used together.";
pub const RADIO: &str = "The radio's data sheet prints it.";
pub const RADIO_V: &str = "Data sheets assume 13.8 V.";
pub const EVERY_S: &str = "A power cut loses at most this much of the record.";
pub const NEAR_MIN: &str = "It is the cautious remaining time.";
pub const FINE_DAYS: &str = "After that five-minute rows remain.";
pub const MOST_MIB: &str = "Near it the page warns; outings are never removed.";
pub const WATCH: &str = "a whole path in quotes, from the root, such as \"/srv/log/contacts.adi\".";
pub const KEEP_CALLS: &str = "The other stations' calls are other people's data.";
pub const ACCESSORY_NAME: &str = "It is what the page calls it.";
pub const ACCESSORY_W: &str = "What it draws from the bank.";
pub const ACCESSORY_MISSING: &str = "it is missing; without it the accessory counts for nothing.";
pub const SENSOR: &str = "`outlast check` prints the identity of every sensor.";
pub const SENSOR_MISSING: &str =
    "it is missing: which sensor is meant? `outlast check` prints the identity of every sensor.";
pub const SENSOR_NAME: &str = "It is what the page calls the sensor.";
pub const ROLE: &str = "\"bank\" counts towards what the bank delivers.";
pub const SHUNT_OHM: &str = "It is printed on the resistor: R100 is 0.1, R010 is 0.01.";
pub const SCALE: &str = "Every current is multiplied by it.";
pub const SCALE_ZERO: &str = "0 would make every current zero. A negative number turns the sign.";
pub const CHIP: &str = "Only for a chip read directly, where no driver is bound.";
pub const TIME_OF_DAY: &str = "a time of day in quotes, such as \"08:00\". It is local time.";
pub const RULE_ACTIVITY: &str = "It is one of the names in `activities`.";

pub fn no_such_activity(known: &dyn Display) -> String {
    format!("there is no such activity. There are: {known}.")
}
pub const RULE_ACTIVITY_MISSING: &str = "it is missing: which activity is chosen?";
pub const PROGRAM: &str = "A word in the name of a program, as `outlast check` has it.";
pub const BUSY_ABOVE: &str = "1 is one core busy all the time.";
pub const PROGRAM_MISSING: &str = "which program? It is only used with `program`.";
pub const FROM_AND_TO: &str = "from and to are only used together.";
pub const RULE_EMPTY: &str = "it is missing, and so are from and to: when is the activity chosen?";
pub const SAME_TIME: &str = "it is the same as from, which leaves no time at all.";

pub fn not_toml(message: &dyn Display) -> String {
    format!("this is not TOML: {message}.")
}

pub fn want_whole(low: &dyn Display, high: &dyn Display, hint: &dyn Display) -> String {
    format!("want a whole number from {low} to {high}. {hint}")
}

pub fn want_bool(hint: &dyn Display) -> String {
    format!("want true or false. {hint}")
}

pub fn want_whole_list(
    most: &dyn Display,
    low: &dyn Display,
    high: &dyn Display,
    hint: &dyn Display,
) -> String {
    format!("want a list of at most {most} whole numbers, each {low} to {high}. {hint}")
}

pub fn want_text(hint: &dyn Display) -> String {
    format!("want a text in quotes. {hint}")
}

pub fn bad_name(fault: NameFault, hint: &dyn Display) -> String {
    format!("{} {hint}", name_fault("This name", fault))
}

pub fn want_texts(most: &dyn Display, hint: &dyn Display) -> String {
    format!(
        "want a list of at most {most} different texts, each one plain \
         line of 1 to 64 characters. {hint}"
    )
}

pub fn want_table(key: &dyn Display) -> String {
    format!("want a table that begins with [{key}].")
}

pub fn want_tables(most: &dyn Display, key: &dyn Display) -> String {
    format!("want at most {most} tables, each begun with [[{key}]].")
}

pub fn did_you_mean(near: &dyn Display) -> String {
    format!("no such key. Did you mean `{near}`?")
}

pub fn no_such_key(known: &dyn Display) -> String {
    format!("no such key. Keys that can be used here: {known}.")
}
pub const LIMITS: &str = "The cautious remaining time is compared with these.";
pub const AUTO_OFF: &str = "0 switches this alarm off.";
pub const TIMED: &str = "They mark modes whose periods need a clock.";
pub const LED: &str = "the name of an on-board LED, such as \"ACT\". `outlast check` prints them.";
pub const BELOW_MIN: &str = "0 leaves the board on.";
pub const COUNTDOWN: &str = "A paired phone can stop it for this long.";
pub const WITHOUT_SENSOR: &str = "true also where no sensor measures the draw.";
pub const URL: &str = "an address in quotes, such as \"http://192.0.2.7:8080/warn\".";
pub const BODY: &str = "a text in quotes, at most 4000 characters.";
pub const JSON: &str = "false where the body is plain text.";
pub const HEADERS: &str = "Each looks like \"Name: value\".";
pub const LIMIT_S: &str = "How long it may take to answer.";
pub const CA_FILE: &str = "the whole path of a file of certificates (PEM).";
pub const WANT_HEADERS: &str = "want texts that look like \"Name: value\".";
pub const URL_MISSING: &str = "it is missing: where is the warning to go?";

pub fn file_unreadable(why: &dyn Display) -> String {
    format!("it cannot be read: {why}.")
}
pub const PROGRAM_PATH: &str = "the whole path of a program, from the root.";
pub const ARGUMENTS: &str = "They are passed on as they are.";
pub const COMMAND_LIMIT: &str = "Then it is stopped.";
pub const COMMAND_MISSING: &str = "it is missing: what is to be run?";

pub fn want_more_than(
    low: &dyn Display,
    high: &dyn Display,
    space: &dyn Display,
    unit: &dyn Display,
) -> String {
    format!("want more than {low} and at most {high}{space}{unit}")
}
