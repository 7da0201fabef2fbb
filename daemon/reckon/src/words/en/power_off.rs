//! The clean power-off in words: what happens, what it means, what to do.

use super::{
    alarm::{CUTS_OUT, Said, said},
    numbers::{TIE, left, span},
    safe,
};
use crate::{
    forecast::Outlook,
    power_off::{CalledOff, PowerOff},
    snapshot::Snapshot,
    time::Mono,
    units::Seconds,
};
use alloc::{format, string::String};

sentences! {
    /// It was asked for, and nothing came of it.
    STILL_ON = "The request to switch off was made, and the board still runs.";
    /// At the end of a power-off.
    LIGHTS_OUT = "Wait until the lights are out before you disconnect anything.";
    /// The record took too long.
    NOT_CLOSED = "The record could not be closed in time.";
}

/// Where the clean power-off stands, when that is worth a word on the page; `None` while there is
/// nothing to say.
pub fn power_off(snapshot: &Snapshot) -> Option<Said> {
    Some(match &snapshot.power_off {
        PowerOff::Counting { until, .. } => said(
            format!("The board will switch off in {}.", countdown(*until, snapshot)),
            "The bank is nearly empty. Programs save first and the record is closed, so \
                 nothing is lost.",
            "Finish the contact. Connect another bank, or say what to do.",
        ),
        PowerOff::Unsure { .. } => unsure(snapshot),
        PowerOff::Saving { .. } => said(
            "The board is switching off: programs are saving.",
            "Connecting another bank still stops it.",
            LIGHTS_OUT,
        ),
        PowerOff::Closing { .. } | PowerOff::Asked { .. } => said(
            "The board is switching off: the record is being closed.",
            "Everything is on the card.",
            LIGHTS_OUT,
        ),
        PowerOff::Stopped { .. } => said(
            "The board stays on, as you asked.",
            CUTS_OUT,
            "Save the log now, and switch the board off by hand or connect another bank.",
        ),
        PowerOff::Failed { why } => said(
            format!("The board could not be switched off. {why}"),
            CUTS_OUT,
            "Save the log now, and switch the board off by hand.",
        ),
        PowerOff::Unwanted | PowerOff::NoUnit | PowerOff::Watching { .. } => return None,
    })
}

/// The same in the few words that a block beside two buttons has room for: a heading and a sentence or
/// two.
pub fn block(snapshot: &Snapshot) -> Option<(String, String)> {
    let until =
        || safe::end_time(snapshot).map_or_else(String::new, |time| format!(" from {time} on"));
    let (title, text): (String, String) = match &snapshot.power_off {
        PowerOff::Counting { until, .. } => (
            format!("Switching off in {}", countdown(*until, snapshot)),
            "Programs save and the record is closed first: nothing is lost.".into(),
        ),
        PowerOff::Unsure { .. } => (
            "It may stop at any minute".into(),
            "The bank is not known well enough to switch off by itself. Save your log.".into(),
        ),
        PowerOff::Saving { .. } => {
            ("Switching off".into(), "Programs are saving. Disconnect nothing yet.".into())
        }
        PowerOff::Closing { .. } | PowerOff::Asked { .. } => {
            ("Switching off".into(), format!("Everything is on the card. {LIGHTS_OUT}"))
        }
        PowerOff::Stopped { .. } => (
            "It keeps running".into(),
            format!("It may cut out without warning{}. Save your log.", until()),
        ),
        PowerOff::Failed { why } => ("It could not be switched off".into(), why.clone()),
        PowerOff::Unwanted | PowerOff::NoUnit | PowerOff::Watching { .. } => return None,
    };
    Some((title, text))
}

/// What is left of a countdown, in steps of five seconds, so that it can be read out.
fn countdown(until: Mono, snapshot: &Snapshot) -> String {
    let left_s = libm::ceil(until.seconds_since(snapshot.at.mono).si() / 5.0) * 5.0;
    if left_s < 300.0 { format!("{left_s:.0}{TIE}s") } else { span(Seconds::of(left_s)) }
}

/// It may end now or in hours, and only a person can say what is better.
fn unsure(snapshot: &Snapshot) -> Said {
    let last = match &snapshot.outlook {
        Outlook::Lasts(forecast) => {
            let [low, _, high] = forecast.remaining;
            format!("{} more", left(high, high - low))
        }
        _ => "for hours".into(),
    };
    let seen = match snapshot.bank.learned_from {
        0 => "outlast has not seen this bank run down",
        _ => "outlast does not know this bank well enough yet",
    };
    let meaning = format!(
        "The board will not switch off by itself: {seen}. If the bank cuts out, anything not saved \
         is lost."
    );
    said(
        format!("The bank may run out any minute, or last {last}."),
        meaning,
        "Save the log. Switch off now, or let it run.",
    )
}

/// The same as one line for the Station page, whatever the state.
pub fn power_off_line(snapshot: &Snapshot) -> String {
    if let Some(said) = power_off(snapshot) {
        return said.text;
    }
    let not_before = "The board does not switch off before the bank cuts out";
    match &snapshot.power_off {
        PowerOff::Watching { limit } => format!(
            "The board switches off cleanly when less than {} may be left.",
            span(Seconds::of(limit.as_secs_f64()))
        ),
        PowerOff::NoUnit => format!(
            "{not_before}: the unit for it is not enabled. To change that: systemctl enable --now \
             outlast-poweroff.path"
        ),
        _ => format!("{not_before}: the settings leave it on."),
    }
}

/// Why a countdown was called off, as a line for the journal.
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
