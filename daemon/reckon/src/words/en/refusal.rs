//! Why something was not done, and what to do.

use alloc::{format, string::String};
use core::time::Duration;

use super::numbers::{TIE, span};
use crate::{engine::Refusal, units::Seconds};

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
        Refusal::BankImplausible(why) => why.clone(),
        Refusal::NameTooLong => {
            String::from("The name is too long: it may have 64 characters at most.")
        }
        Refusal::NoSuchAnswer => {
            String::from("That is not an answer to this question. Nothing was changed.")
        }
        Refusal::NotAsked => String::from(
            "That question is no longer open. Reload the page to see what is asked now. Nothing \
             was changed.",
        ),
    }
}

/// How long to wait before the next pairing code.
#[must_use]
pub fn wait(time: Duration) -> String {
    let seconds = Seconds::of(time.as_secs_f64() + 1.0);
    format!("Too many wrong codes, here or on another phone. Try again in {}.", span(seconds))
}
