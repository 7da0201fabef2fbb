//! The clean power-off in words: what happens, what it means, what to do.

use super::{
    alarm::Said,
    numbers::{TIE, left, span},
};
use crate::{
    forecast::Outlook,
    power_off::{CalledOff, PowerOff},
    snapshot::Snapshot,
    units::Seconds,
};
use alloc::{format, string::String};

sentences! {
    /// It was asked for, and nothing came of it.
    STILL_ON = "The request to switch off was made, and the board still runs.";
    /// The record took too long.
    NOT_CLOSED = "The record could not be closed in time.";
}

/// Where the clean power-off stands, when that is worth a word on the page; `None` while there is
/// nothing to say.
#[must_use]
pub fn power_off(snapshot: &Snapshot) -> Option<Said> {
    let said = |text: String, meaning: &str, advice: &str| Said {
        text,
        meaning: String::from(meaning),
        advice: String::from(advice),
    };
    match &snapshot.power_off {
        PowerOff::Counting { until, .. } => {
            let left = until.seconds_since(snapshot.at.mono);
            // In steps of five seconds, so that the line can be read out.
            let left_s = libm::ceil(left.si() / 5.0) * 5.0;
            let left = if left_s < 300.0 {
                format!("{left_s:.0}{TIE}s")
            } else {
                span(Seconds::of(left_s))
            };
            Some(said(
                format!("The board will switch off in {left}."),
                "The bank is nearly empty. Programs save first and the record is closed, so \
                 nothing is lost.",
                "Finish the contact. Connect another bank, or say what to do.",
            ))
        }
        PowerOff::Unsure { .. } => Some(unsure(snapshot)),
        PowerOff::Saving { .. } => Some(said(
            String::from("The board is switching off: programs are saving."),
            "Connecting another bank still stops it.",
            "Wait until the lights are out before you disconnect anything.",
        )),
        PowerOff::Closing { .. } | PowerOff::Asked { .. } => Some(said(
            String::from("The board is switching off: the record is being closed."),
            "Everything is on the card.",
            "Wait until the lights are out before you disconnect anything.",
        )),
        PowerOff::Stopped { .. } => Some(said(
            String::from("The board stays on, as you asked."),
            "The bank may cut out without warning, and anything not saved is lost.",
            "Save the log now, and switch the board off by hand or connect another bank.",
        )),
        PowerOff::Failed { why } => Some(said(
            format!("The board could not be switched off. {why}"),
            "The bank may cut out without warning, and anything not saved is lost.",
            "Save the log now, and switch the board off by hand.",
        )),
        PowerOff::Unwanted | PowerOff::NoUnit | PowerOff::Watching { .. } => None,
    }
}

/// It may end now or in hours, and only a person can say what is better.
fn unsure(snapshot: &Snapshot) -> Said {
    let text = match &snapshot.outlook {
        Outlook::Lasts(forecast) => {
            let [low, _, high] = forecast.remaining;
            let more = left(high, high - low);
            format!("The bank may run out any minute, or last {more} more.")
        }
        _ => String::from("The bank may run out any minute, or last for hours."),
    };
    let seen = if snapshot.bank.learned_from == 0 {
        "outlast has not seen this bank run down"
    } else {
        "outlast does not know this bank well enough yet"
    };
    Said {
        text,
        meaning: format!(
            "The board will not switch off by itself: {seen}. If the bank cuts out, anything not \
             saved is lost."
        ),
        advice: String::from("Save the log. Switch off now, or let it run."),
    }
}

/// The same as one line for the Station page, whatever the state.
#[must_use]
pub fn power_off_line(snapshot: &Snapshot) -> String {
    if let Some(said) = power_off(snapshot) {
        return said.text;
    }
    match &snapshot.power_off {
        PowerOff::Watching { limit } => format!(
            "The board switches off cleanly when less than {} may be left.",
            span(Seconds::of(limit.as_secs_f64()))
        ),
        PowerOff::NoUnit => String::from(
            "The board does not switch off before the bank cuts out: the unit for it is not \
             enabled. To change that: systemctl enable --now outlast-poweroff.path",
        ),
        _ => String::from(
            "The board does not switch off before the bank cuts out: the settings leave it on.",
        ),
    }
}

/// Why a countdown was called off, as a line for the journal.
#[must_use]
pub fn called_off(why: CalledOff) -> String {
    let why = match why {
        CalledOff::ByPerson => "someone stopped it",
        CalledOff::PowerIsBack => "nothing is drawn from the bank any more",
        CalledOff::MoreIsLeft => "more is left than it seemed",
        CalledOff::OtherBank => "another bank is connected",
        CalledOff::Test => "a run-down test is running",
    };
    format!("The board stays on: {why}.")
}
