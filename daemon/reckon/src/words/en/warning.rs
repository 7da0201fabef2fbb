//! How warnings are delivered, and why one was not.

#![expect(missing_docs, reason = "each text says what it is for")]

use alloc::{format, string::String};
use core::fmt::Display;

pub fn program_without_path(program: &dyn Display) -> String {
    format!("{program} is not looked for: give its whole path, from the root.")
}

pub fn ended_with(code: &dyn Display) -> String {
    format!("it ended with {code}")
}

pub fn ended_by_signal(signal: &dyn Display) -> String {
    format!("it was ended by signal {signal}")
}
pub const ENDED_SOMEHOW: &str = "how it ended is not known";

pub fn lost(text: &dyn Display) -> String {
    format!("a warning is lost: a command or web server is too far behind. {text}")
}

pub fn not_all_saved(limit: &dyn Display) -> String {
    format!("not every command has saved within {limit} s")
}
pub const ACCEPTED: &str = "It accepted the message.";
pub const CANNOT_JUST_NOW: &str = "It answers, but cannot accept a message just now.";

pub fn ended_well(printed: &dyn Display) -> String {
    format!("it ended normally{printed}")
}

pub fn over_its_time(limit: &dyn Display) -> String {
    format!("it was stopped after {limit} s, its time limit")
}

pub fn not_started(why: &dyn Display) -> String {
    format!("it could not be started: {why}")
}

pub fn told(title: &dyn Display, outcome: &dyn Display) -> String {
    format!("told {title} of a warning, and {outcome}")
}

pub fn too_many_wait(title: &dyn Display, text: &dyn Display) -> String {
    format!("too many warnings are waiting for {title}; this one is dropped: {text}")
}

pub fn delivered(title: &dyn Display, tries: &dyn Display) -> String {
    format!("delivered to {title} after {tries} attempts")
}

pub fn not_delivered(title: &dyn Display, why: &dyn Display, wait: &dyn Display) -> String {
    format!(
        "a warning did not reach {title}: {why}. It is tried again in {wait} s, then less and \
        less often"
    )
}

pub fn given_up(title: &dyn Display, why: &dyn Display, text: &dyn Display) -> String {
    format!("a warning for {title} is dropped: {why}. It said: {text}")
}

pub fn led_unusable(what: &dyn Display, why: &dyn Display) -> String {
    format!(
        "The LED {what} cannot be used: {why}. Warnings go out in the other ways. Its files \
        must be writable for the group outlast; the udev rule that comes with outlast takes care \
        of that"
    )
}

pub fn led_left(why: &dyn Display) -> String {
    format!("the LED stays as a crash left it: {why}")
}

pub fn led_even(why: &dyn Display) -> String {
    format!("the LED blinks evenly: its delays cannot be set ({why})")
}
pub const NO_ENCRYPTION: &str = "this outlast was built without encryption";
pub const SWITCHED_OFF: &str = "The board is switched off.";
pub const SWITCHING_OFF: &str = "The board is being switched off.";
pub const SAVE_NOW: &str = "Anything not saved within the next seconds is lost.";
pub const A_TEST: &str = "This is a test message.";
pub const NOTHING_TO_DO: &str = "There is nothing to do.";

pub fn queue_set_aside(why: &dyn Display, aside: &dyn Display) -> String {
    format!(
        "warnings that waited to be sent cannot be read ({why}); the file is set aside as \
        {aside}"
    )
}

pub fn queue_unreadable(file: &dyn Display, why: &dyn Display) -> String {
    format!("warnings that waited to be sent cannot be read from {file}: {why}")
}
pub const NOT_JUST_NOW: &str = "it answered that it cannot just now";

pub fn queue_not_kept(file: &dyn Display, why: &dyn Display) -> String {
    format!(
        "warnings that wait to be sent cannot be kept in {file}: {why}. They are sent, but a \
        restart would lose those that wait"
    )
}
pub const MOVED: &str = "so the address has moved; put the new one into the settings";
pub const REFUSED: &str = "so it refused access; check the key in the settings";
pub const NOT_THERE: &str = "so there is nothing at this address; check it in the settings";
pub const CANNOT_TAKE: &str = "so it cannot take such a message at all";
pub const TOO_LONG: &str = "so the message is too long for it; shorten the body in the settings";
pub const NOT_TAKEN: &str = "so it does not accept this message; check the body in the settings";
pub const NO_STATUS: &str = "which is not an HTTP status";
pub const FIELD_ID: &str = "unique to each notification, and the same when it is sent again";
pub const FIELD_EVENT: &str =
    "raised, changed, cleared, power_off_counting, power_off_called_off, saving, test";
pub const FIELD_ABOUT: &str = "what the alarm is about, such as running_out";
pub const FIELD_STATION: &str = "the station's name";
pub const FIELD_OUTING: &str = "the outing's name, or nothing";
pub const FIELD_BANK: &str = "the bank's name, or nothing";
pub const FIELD_TEXT: &str = "what is wrong, a sentence";
pub const FIELD_MEANING: &str = "what it means, a sentence";
pub const FIELD_ADVICE: &str = "what to do, a sentence";
pub const FIELD_AT: &str = "date and time (RFC 3339), nothing while the clock cannot be trusted";
pub const FIELD_UPTIME: &str = "seconds since the board was switched on";
pub const FIELD_CAUTIOUS: &str = "seconds left, cautious";
pub const FIELD_MIDDLE: &str = "seconds left, middle";
pub const FIELD_HOPEFUL: &str = "seconds left, hopeful";
pub const FIELD_SWITCH_OFF: &str = "seconds until the board switches off";

pub fn not_json(why: &dyn Display) -> String {
    format!("filled in, it is not JSON: {why}.")
}

pub fn not_certificates(why: &dyn Display) -> String {
    format!("it is not a list of certificates: {why}.")
}

pub fn broken_certificate(why: &dyn Display) -> String {
    format!("it holds a certificate that is broken: {why}.")
}

pub fn no_agreement(cause: &dyn Display) -> String {
    format!("the encryption cannot be agreed on ({cause})")
}

pub fn not_yet_valid_unset(from: &dyn Display, time: &dyn Display) -> String {
    format!(
        "its certificate is valid from {from}, but this board's clock, which has not been \
        set, says {time}. Set the board's clock: from a network, a satellite receiver or a phone"
    )
}

pub fn not_yet_valid(from: &dyn Display, time: &dyn Display) -> String {
    format!(
        "its certificate is valid only from {from}, and it is {time}: either this board's \
        clock or the server's certificate is wrong"
    )
}

pub fn expired_unset(until: &dyn Display, time: &dyn Display) -> String {
    format!(
        "its certificate expired on {until}, and this board's clock, which has not been set, \
        says {time}. Set the clock first; if it is right, the server needs a new certificate"
    )
}

pub fn expired(until: &dyn Display, time: &dyn Display) -> String {
    format!("its certificate expired on {until}, and it is {time}: the server needs a new one")
}
pub const OTHER_NAME: &str =
    "its certificate is for another name: correct the address in the settings, or the certificate";
pub const NOT_BY_CA: &str = "its certificate is not signed by what ca_file in the settings names";
pub const UNKNOWN_AUTHORITY: &str = "its certificate is signed by an unknown authority; if the server is your own, name its root \
    certificate as ca_file in the settings";
pub const FOR_SIGNING: &str =
    "its certificate is for signing others (CA:TRUE), not for a server: make one with CA:FALSE";

pub fn no_tls(why: &dyn Display) -> String {
    format!("encryption cannot be set up: {why}")
}

pub fn bad_address(url: &dyn Display, why: &dyn Display) -> String {
    format!("{url} is not a web address: {why}.")
}

pub fn needs_encryption(url: &dyn Display) -> String {
    format!(
        "{url} needs encryption, and this outlast was built without it. To build it with: \
        cargo build --release --features tls."
    )
}

pub fn not_http(other: &dyn Display) -> String {
    format!("{other} is not http or https.")
}

pub fn bad_header(name: &dyn Display) -> String {
    format!("{name} is not a header that can be sent.")
}
pub const TOO_SLOW: &str = "it did not answer in time";
pub const UNREACHABLE: &str = "it cannot be reached";
pub const BROKE_OFF: &str = "the connection broke off";

pub fn unknown_word(word: &dyn Display, known: &dyn Display) -> String {
    format!("{{{word}}} is not known; these are: {known}.")
}

pub fn not_accepted(other: &dyn core::fmt::Debug) -> String {
    format!("its certificate is not accepted ({other:?})")
}

pub const NO_CERTIFICATE: &str =
    "there is no certificate in it; it begins with -----BEGIN CERTIFICATE-----.";
