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
            "There is no activity of that name any more. Load the page again and tap one that is \
             there.",
        ),
        Refusal::NoRules => String::from(
            "No activity can choose itself: the settings have no rule for one. Tap what you are \
             doing.",
        ),
        Refusal::AlarmGone => {
            String::from("That alarm is over, or another one has taken its place. Look again.")
        }
        Refusal::NoCountdown => {
            String::from("There is no countdown that could be stopped or shortened. Look again.")
        }
        Refusal::FinishOutOfRange => {
            format!("The finish must lie ahead, and within 14{TIE}days.")
        }
        Refusal::BankImplausible(why) => why.clone(),
        Refusal::NameTooLong => {
            String::from("The name is too long: it may have 64 characters at most.")
        }
        Refusal::NoSuchAnswer => {
            String::from("That is no answer to this question. Nothing was changed.")
        }
        Refusal::NotAsked => String::from(
            "That is not asked any more. Look again at what is asked now. Nothing was changed.",
        ),
    }
}

/// How long to wait before the next pairing code.
#[must_use]
pub fn wait(time: Duration) -> String {
    let seconds = Seconds::of(time.as_secs_f64() + 1.0);
    format!(
        "Too many wrong codes were typed, here or on another phone. Try again in {}.",
        span(seconds)
    )
}
