//! Alarms, missing numbers and refusals: what is the matter, what it means, what to do.

use super::numbers::{TIE, ago, celsius, chance, clock_time, power, range, span};
use crate::{
    engine::{AlarmChange, Edge},
    forecast::Outlook,
    reading::{Gap, SourceIx},
    snapshot::{About, Alarm, EndedAlarm, LogState, Snapshot},
    units::{Seconds, Watts},
};
use alloc::{format, string::String};

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
        About::FinishAtRisk { below_percent } => finish_at_risk(below_percent, snapshot),
        About::BrownOutNear => said(
            String::from("The load is close to what this supply and cable can carry."),
            "A little more, and the board's voltage falls below its limit: it slows down, or stops \
             in the middle of what it is writing.",
            "Use a shorter or thicker cable, or take something off the board's USB sockets.",
        ),
        About::DrawHigh { ref activity, usual } => draw_high(activity, usual, snapshot),
        About::AutoOff => said(
            match snapshot.supply.current {
                Ok(amps) => format!(
                    "So little is drawn, {:.0}{TIE}mA, that the bank may switch itself off.",
                    amps.si() * 1000.0
                ),
                Err(_) => String::from("So little is drawn that the bank may switch itself off."),
            },
            "Many USB banks cut their output after half a minute below about 50\u{a0}mA, and the \
             board stops without warning.",
            "Switch something on that draws a little more, press the bank's button, or use an \
             output that stays on.",
        ),
        About::RecordNotWritten => said(
            match &snapshot.log {
                LogState::Stopped { why } => {
                    format!("The record is not being written. {}.", why.trim_end_matches('.'))
                }
                _ => String::from("The record is not being written."),
            },
            "Readings, forecast and alarms go on, but what happens now will not be in the report, \
             and nothing is learned from this run-down.",
            "Make room on the card, or put in another one after the outing.",
        ),
        About::ClockNotTrusted => said(
            String::from("The clock has not been set, and a timed mode is on."),
            "Periods begin at the wrong moment, so nobody decodes you, and every log entry bears a \
             wrong time. The hours left are right all the same.",
            "Give the board the time: from a network, a satellite receiver or a phone.",
        ),
    }
}

fn finish_at_risk(below_percent: u32, snapshot: &Snapshot) -> Said {
    let reaches = snapshot.finish.and_then(|finish| finish.chance);
    // The alarm clears a little later than the chance rises.
    let short = reaches.is_some_and(|reaches| reaches.part() < 0.5);
    let odds = reaches.map(chance);
    let text = match (odds, below_percent) {
        (Some(odds), 0..=50) if short => format!(
            "The finish is out of reach, more likely than not: the chance of reaching it is {odds}."
        ),
        (Some(odds), 0..=50) => {
            format!("The finish was out of reach; the chance of reaching it is {odds} by now.")
        }
        (Some(odds), _) => {
            format!("The finish is no longer safe: the chance of reaching it is {odds}.")
        }
        (None, _) => String::from("The finish is no longer safe."),
    };
    let advice = help(snapshot)
        .unwrap_or_else(|| String::from("Draw less, take a second bank along, or finish sooner."));
    said(text, "Everything works until the bank cuts out, which may be before the finish.", advice)
}

/// What would help when the finish is tight or short, as sentences; `None` where none is needed.
#[must_use]
pub fn help(snapshot: &Snapshot) -> Option<String> {
    let help = snapshot.advice.as_ref()?;
    let mut said = String::new();
    if let Some(activity) = &help.activity {
        said.push_str(&format!("With nothing but '{activity}' from now on it would be reached. "));
    }
    match (help.at_most, help.draw) {
        (Some(most), Some(draw)) if draw > most => {
            let cut = draw - most;
            let part = 100.0 * cut.si() / draw.si();
            said.push_str(&format!(
                "The draw must fall by {} ({part:.0}{TIE}%) to {}. ",
                power(cut),
                power(most)
            ));
        }
        (Some(most), _) => {
            said.push_str(&format!("The draw must stay below {} on average. ", power(most)));
        }
        (None, _) => said.push_str("No saving alone would reach it: another bank would. "),
    }
    said.push_str(&match clock_time(help.safe_until, snapshot.at) {
        Some(time) => format!("As it is, {time} is safe."),
        None => format!(
            "As it is, another {} are safe.",
            span(help.safe_until.seconds_since(snapshot.at.mono))
        ),
    });
    Some(said)
}

fn draw_high(activity: &str, usual: Watts, snapshot: &Snapshot) -> Said {
    let text = match snapshot.draw.lately {
        Some(lately) => format!(
            "For ten minutes far more has been drawn than '{activity}' usually takes: {} instead \
             of {}.",
            power(lately),
            power(usual)
        ),
        None => format!(
            "For ten minutes far more has been drawn than the {} that '{activity}' usually takes.",
            power(usual)
        ),
    };
    said(
        text,
        "The bank empties faster than you may expect; the hours left count this in.",
        "See whether something was left on: the transmitter, a display, a lamp. If you are doing \
         something else now, tap what it is.",
    )
}

fn running_out(limit_min: u32, snapshot: &Snapshot) -> Said {
    let limit = span(Seconds::of(f64::from(limit_min) * 60.0));
    let text = match &snapshot.outlook {
        // Raised by the deep tail: the range itself lies above.
        Outlook::Lasts(forecast) if forecast.cautious().si() > f64::from(limit_min) * 60.0 => {
            let range = range(forecast.remaining);
            format!("Less than {limit} may be left, by a small chance. Likely is {range}.")
        }
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
        AlarmChange::Raised | AlarmChange::Changed => {
            let Said { text, advice, .. } = about(&edge.about, snapshot);
            format!("{text} {advice}")
        }
        AlarmChange::Cleared { lasted } => {
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
        About::FinishAtRisk { below_percent } => {
            if snapshot.finish.is_some() {
                format!("The chance of reaching the finish is above {below_percent}{TIE}% again.")
            } else {
                String::from("No finish is set any more.")
            }
        }
        About::BrownOutNear => String::from("The load is well below the supply's limit again."),
        About::DrawHigh { ref activity, .. } => {
            format!("'{activity}' draws what it usually does again.")
        }
        About::AutoOff => String::from("Enough is drawn again to keep the bank switched on."),
        About::RecordNotWritten => String::from("The record is being written again."),
        About::ClockNotTrusted => String::from("The clock no longer endangers a timed mode."),
    }
}

/// An alarm that is over, in one line for somebody who did not look meanwhile.
#[must_use]
pub fn over_line(one: &EndedAlarm, snapshot: &Snapshot) -> String {
    format!(
        "{} It lasted {}, until {}.",
        over(&one.about, snapshot),
        span(Seconds::of(one.lasted.as_secs_f64())),
        ago(one.ended, snapshot.at.mono)
    )
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
