//! Paired phones: the list, and what happens when it cannot be kept.

use alloc::{
    format,
    string::{String, ToString},
};
use core::{fmt::Display, net::IpAddr};

use super::{
    calendar::{Local, capital},
    numbers::ago,
};
use crate::time::Mono;

/// A code in groups of four digits.
pub fn in_groups(code: &str) -> String {
    let mut grouped = String::new();
    for (ix, digit) in code.chars().enumerate() {
        if ix > 0 && ix % 4 == 0 {
            grouped.push(' ');
        }
        grouped.push(digit);
    }
    grouped
}

/// What its owner calls it, or its number.
pub fn phone_title(number: u32, name: Option<&str>) -> String {
    name.map_or_else(|| format!("Phone {number}"), ToString::to_string)
}

/// When it was paired.
pub fn phone_paired(at: Option<Local>) -> String {
    match at {
        Some(at) => format!("Paired on {}, {}.", at.date(), at.hour_minute()),
        None => String::from("Paired while the board did not know the time."),
    }
}

/// When and from where it was last seen since the board was switched on.
pub fn phone_seen(then: Mono, now: Mono, from: Option<IpAddr>) -> String {
    let from = from.map_or_else(String::new, |from| format!(", from {from}"));
    format!("Last used {}{from}.", ago(then, now))
}

/// The same before that.
pub fn phone_used(at: Option<Local>) -> String {
    match at {
        Some(at) => format!("Last used on {}.", at.date()),
        None => String::from("Not used since outlast was started."),
    }
}

/// An activity, as its button has it.
pub fn tapped_activity(name: &dyn Display) -> String {
    capital(&name.to_string())
}

sentences! {
    /// On the page where the code is typed: what was tapped before, and comes after it.
    then(what) = "Then: {what}.";
    /// The same, while the board counts down.
    then_in_time(what) = "Then: {what}. Until the code is in, the countdown goes on.";
    /// The same for what cannot be undone.
    then_asked(what) = "Then you are asked once more: {what}?";
    /// What can be tapped, where its button's own words do not say it.
    NO_ACTIVITY = "no activity";
    YOUR_ANSWER = "your answer";
    THE_BANK = "the bank";
    connect(bank) = "connect {bank}";
    save_bank(bank) = "save {bank}";
    OFFER = "offer the bank again";
    FORGET_BANK = "forget the bank";
    THE_NAME = "the name";
    name_it(name) = "the name {name}";
    MARK = "the mark";
    mark(text) = "mark {text}";
    THE_FINISH = "the finish";
    finish_in(span) = "finish in {span}";
    finish_at(time) = "finish at {time}";
    finish_later(span) = "finish {span} later";
    finish_earlier(span) = "finish {span} earlier";
    START_OUTING = "start the outing as planned";
    START_TEST = "start the run-down test";
    STOP_TEST = "stop the run-down test";
    SET_CLOCK = "set the board's clock";
    FORGET_CONTACTS = "remove the contacts";
    HOW_ENDED = "how the outing ended";
    GOES_ON = "whether the outing went on";
    COUNT_OR_NOT = "whether the run-down counts";
    CORRECTION = "your correction";
    /// The list is not on the card, and nobody was ended.
    phones_not_kept(path, why) = "The list of paired phones cannot be kept: {path} cannot be \
        written ({why}). A phone paired since then must be paired again after a restart; the \
        others need not. Make room on the card, or replace it.";
    /// So that nobody who was ended comes back, the whole list is gone.
    phones_taken_away(path, why) = "The list of paired phones cannot be kept: {path} cannot be \
        written ({why}). It was removed, so that no pairing that was ended comes back: after a \
        restart every phone must be paired again. Make room on the card, or replace it.";
    /// Nothing can be done to the file.
    phones_stuck(path, why) = "The list of paired phones can be neither written nor removed \
        ({path}: {why}). What was ended stays ended until outlast is started again, and is good \
        again then. Replace the card, or remove the file by hand.";
}
