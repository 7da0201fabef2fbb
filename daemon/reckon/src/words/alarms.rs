//! Alarms, missing numbers and refusals: what is the matter, what it means, what to do.

use alloc::{format, string::String};

use super::numbers::{TIE, celsius, range, span};
use crate::{
    engine::{Change, Edge, Refusal},
    forecast::Outlook,
    reading::{Gap, SourceIx},
    snapshot::{About, Alarm, Snapshot},
    units::Seconds,
};

/// An alarm in three sentences.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// What is the matter.
    pub text: String,
    /// What it means for the outing: what still works and what does not.
    pub meaning: String,
    /// What to do.
    pub advice: String,
}

fn said(text: String, meaning: impl Into<String>, advice: impl Into<String>) -> Said {
    Said { text, meaning: meaning.into(), advice: advice.into() }
}

/// An alarm in words.
#[must_use]
pub fn alarm(alarm: &Alarm, snapshot: &Snapshot) -> Said {
    about(&alarm.about, snapshot)
}

fn about(about: &About, snapshot: &Snapshot) -> Said {
    match *about {
        About::RunningOut { limit_min } => running_out(limit_min, snapshot),
        About::Undervoltage { times } => undervoltage(times, snapshot),
        About::Hot => hot(snapshot),
        About::SensorSilent { source, gap: why } => sensor_silent(source, why, snapshot),
        About::ShuntDoubt { source } => said(
            format!("The current from {} looks wrong.", title(source, snapshot)),
            "It is several times more, or far less, than this board can draw, and the hours left \
             are wrong by as much.",
            "Compare the shunt resistor on the sensor (R100 is 0.1 \u{3a9}, R010 is 0.01 \u{3a9}) \
             with the value on the Station page, and correct it in the settings.",
        ),
    }
}

fn running_out(limit_min: u32, snapshot: &Snapshot) -> Said {
    let limit = span(Seconds::of(f64::from(limit_min) * 60.0));
    let text = match &snapshot.outlook {
        Outlook::Lasts(forecast) => {
            format!("Less than {limit} may be left: {}.", range(forecast.remaining))
        }
        _ => format!("Less than {limit} may be left."),
    };
    if limit_min <= 10 {
        return said(
            text,
            "The bank may cut out without warning, and what is not saved then is lost.",
            "Finish the contact, save the log and switch the board off now, or connect another \
             bank.",
        );
    }
    said(
        text,
        "Everything works until the bank cuts out; one time in ten it does so even sooner.",
        "Plan the end of the outing, or draw less: transmit less, dim the display, stop what is \
         not needed.",
    )
}

fn undervoltage(times: u32, snapshot: &Snapshot) -> Said {
    let low_now = snapshot.board.undervoltage == Ok(true)
        || snapshot.board.flags.is_ok_and(|flags| flags.now.undervoltage);
    let text = match (low_now, times) {
        (true, 0 | 1) => String::from("The board's supply is too low right now."),
        (true, _) => {
            format!("The board's supply is too low, for the {} time in ten minutes.", nth(times))
        }
        (false, 0 | 1) => String::from("The board's supply was too low a moment ago."),
        (false, _) => format!("The board's supply was too low {times} times in ten minutes."),
    };
    said(
        text,
        "The board slows itself down, and with a little less it stops in the middle of what it is \
         writing.",
        "Use a shorter or thicker cable, unplug what draws from the board's USB sockets, or try \
         another output of the bank.",
    )
}

fn nth(times: u32) -> String {
    let ending = match (times % 100, times % 10) {
        (11..=13, _) => "th",
        (_, 1) => "st",
        (_, 2) => "nd",
        (_, 3) => "rd",
        _ => "th",
    };
    format!("{times}{ending}")
}

fn hot(snapshot: &Snapshot) -> Said {
    let text = match snapshot.board.temp {
        Ok(temp) => format!("The board is too hot: {}.", celsius(temp)),
        Err(_) => String::from("The board is too hot."),
    };
    said(
        text,
        "It slows itself down; decoding may come late.",
        "Give it shade and moving air, and open its case. Keep the bank out of the sun as well: \
         one that is too hot to touch must be disconnected.",
    )
}

fn sensor_silent(source: SourceIx, why: Gap, snapshot: &Snapshot) -> Said {
    said(
        format!("The draw is not being read: {} {}.", title(source, snapshot), gap(why)),
        "The forecast goes on with the draw of before, and its range grows wider.",
        gap_remedy(why),
    )
}

fn title(source: SourceIx, snapshot: &Snapshot) -> &str {
    snapshot.sources.get(usize::from(source.0)).map_or("the sensor", |report| report.title.as_str())
}

/// A change of an alarm as one line for the journal.
#[must_use]
pub fn edge(edge: &Edge, snapshot: &Snapshot) -> String {
    match edge.change {
        Change::Raised | Change::Changed => {
            let Said { text, advice, .. } = about(&edge.about, snapshot);
            format!("{text} {advice}")
        }
        Change::Cleared { lasted } => {
            let lasted = span(Seconds::of(lasted.as_secs_f64()));
            format!("{} It lasted {lasted}.", over(&edge.about, snapshot))
        }
    }
}

fn over(about: &About, snapshot: &Snapshot) -> String {
    match *about {
        About::RunningOut { limit_min } => {
            let limit = span(Seconds::of(f64::from(limit_min) * 60.0));
            format!("More than {limit} are left again.")
        }
        About::Undervoltage { .. } => String::from("The board's supply is high enough again."),
        About::Hot => String::from("The board has cooled down."),
        About::SensorSilent { source, .. } => {
            format!("The draw is being read again by {}.", title(source, snapshot))
        }
        About::ShuntDoubt { source } => {
            format!("The current from {} looks right again.", title(source, snapshot))
        }
    }
}

/// Why a number is missing; fits behind the name of what should give it ('the sensor …').
#[must_use]
pub const fn gap(gap: Gap) -> &'static str {
    match gap {
        Gap::Absent => "is not there",
        Gap::NotMeasurable => "cannot be measured on this board",
        Gap::SwitchedOff => "is switched off",
        Gap::NotReady => "has not given a first value yet",
        Gap::NoAnswer => "does not answer",
        Gap::Gone => "was there and has gone",
        Gap::Denied => "may not be read by this user",
        Gap::Garbled => "answers with something that cannot be understood",
        Gap::Implausible => "gives a number that cannot be",
        Gap::OverRange => "is at the end of its range",
        Gap::Resetting => "has lost its settings and is being set up again",
        Gap::Late => "has not answered in time",
    }
}

/// What to do about a missing number.
#[must_use]
pub const fn gap_remedy(gap: Gap) -> &'static str {
    match gap {
        Gap::Absent | Gap::NotMeasurable => {
            "Nothing is wrong; a current sensor at the bank would measure it."
        }
        Gap::SwitchedOff => "Switch the channel on in its driver if it should be read.",
        Gap::NotReady | Gap::Resetting => "Wait a few seconds.",
        Gap::NoAnswer => "Check the sensor's plug and its four wires.",
        Gap::Gone => "Check the sensor's plug; it is taken up again by itself when it is back.",
        Gap::Denied => "Add the user that outlast runs as to the group that owns the bus, i2c.",
        Gap::Garbled | Gap::Implausible => {
            "Check the wires for a loose contact; keep them away from the antenna lead."
        }
        Gap::OverRange => "More flows than this sensor can measure; use a smaller shunt.",
        Gap::Late => "If this stays, a sensor blocks the bus: unplug them one by one.",
    }
}

/// Why an ask was not carried out.
#[must_use]
pub fn refusal(refusal: &Refusal) -> String {
    match refusal {
        Refusal::NoSuchActivity => String::from(
            "There is no activity of that name any more. Load the page again and tap one that is \
             there.",
        ),
        Refusal::AlarmGone => {
            String::from("That alarm is over, or another one has taken its place. Look again.")
        }
        Refusal::FinishOutOfRange => {
            format!("The finish must lie ahead, and within 14{TIE}days.")
        }
        Refusal::BankImplausible(why) => why.clone(),
        Refusal::NameTooLong => {
            String::from("The name is too long: it may have 64 characters at most.")
        }
    }
}
