//! Alarms, missing numbers and refusals: what is the matter, what it means, what to do.

use super::{
    numbers::{TIE, ago, amps, celsius, chance, power, range, span},
    safe::headline,
};
use crate::{
    engine::{AlarmChange, Edge},
    forecast::Outlook,
    reading::{Gap, SourceIx},
    snapshot::{About, Alarm, EndedAlarm, LogState, Snapshot, Verdict},
    units::{Amps, Ohms, Seconds, Watts},
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

pub(super) fn said(
    text: impl Into<String>,
    meaning: impl Into<String>,
    advice: impl Into<String>,
) -> Said {
    Said { text: text.into(), meaning: meaning.into(), advice: advice.into() }
}

/// An alarm in words.
pub fn alarm(alarm: &Alarm, snapshot: &Snapshot) -> Said {
    about(&alarm.about, snapshot)
}

fn about(about: &About, snapshot: &Snapshot) -> Said {
    match *about {
        About::RunningOut { limit_min } => running_out(limit_min, snapshot),
        About::Undervoltage { times } => undervoltage(times, snapshot),
        About::Hot => hot(snapshot),
        About::SensorSilent { source, gap: why } => said(
            format!("The draw is not being read: {} {}.", title(source, snapshot), gap(why)),
            "The forecast goes on with the earlier draw, and its range widens.",
            gap_remedy(why),
        ),
        About::ShuntDoubt { source } => said(
            format!("The current from {} looks wrong.", title(source, snapshot)),
            "It is several times more, or far less, than this board can draw. The time left is \
             wrong by the same factor.",
            "Compare the shunt resistor on the sensor (R100 is 0.1 \u{3a9}, R010 is 0.01 \u{3a9}) \
             with the value on the Station page, and correct it in the settings.",
        ),
        About::OverRange { source, end } => over_range(source, end, snapshot),
        About::FinishAtRisk { below_percent } => finish_at_risk(below_percent, snapshot),
        About::BrownOutNear => said(
            "The load is close to what this supply and cable can carry.",
            "With a little more load the voltage falls below the board's limit: the board slows \
             down, or stops in the middle of a write.",
            "Use a shorter or thicker cable, or unplug something from the board's USB ports.",
        ),
        About::DrawHigh { ref activity, usual } => draw_high(activity, usual, snapshot),
        About::AutoOff => auto_off(snapshot),
        About::RecordNotWritten => record_not_written(snapshot),
        About::ChoicesNotKept => said(
            "Your choices are in memory only: the card cannot be written to.",
            "If the power goes now, the next start will not know the bank and the finish.",
            "Free some space on the card, or make its state folder writable. It is tried again \
             every minute.",
        ),
        About::ClockNotTrusted => said(
            "The clock has not been set, and a timed mode is in use.",
            "Your periods start at the wrong moment, so nobody can decode you, and every log entry \
             has the wrong time. The time left is still right.",
            "Set the board's clock: from a network, a satellite receiver or a phone.",
        ),
    }
}

fn hot(snapshot: &Snapshot) -> Said {
    said(
        match snapshot.board.temp {
            Ok(temp) => format!("The board is too hot: {}.", celsius(temp)),
            Err(_) => "The board is too hot.".into(),
        },
        "It slows down, and decoding may be late.",
        "Give it shade and moving air, and open its case. Keep the bank out of the sun too, \
         and disconnect it if it is too hot to touch.",
    )
}

fn auto_off(snapshot: &Snapshot) -> Said {
    let low = snapshot.supply.current.map(|amps| amps.si() * 1000.0);
    let low = low.map_or_else(|_| String::new(), |ma| format!(" ({ma:.0}{TIE}mA)"));
    said(
        format!("The draw is so low{low} that the bank may switch itself off."),
        "Many USB banks switch off after half a minute below about 50\u{a0}mA. The board \
         then stops without warning.",
        "Switch on something that draws a little more, press the bank's button, or use an \
         output that stays on.",
    )
}

fn record_not_written(snapshot: &Snapshot) -> Said {
    let why = match &snapshot.log {
        LogState::Stopped { why } => format!(" {}.", why.trim_end_matches('.')),
        _ => String::new(),
    };
    said(
        format!("The record is not being written.{why}"),
        "Readings, forecast and alarms go on, but what happens now will be missing from \
         the report, and nothing is learned from this run-down.",
        "Free some space on the card, or replace it after the outing.",
    )
}

fn over_range(source: SourceIx, end: Amps, snapshot: &Snapshot) -> Said {
    let report = snapshot.sources.get(usize::from(source.0));
    let ohms = report.and_then(|it| it.shunt).and_then(|shunt| shunt.told.or(shunt.assumed));
    said(
        format!(
            "The current is more than {} can measure: its range ends at {}.",
            title(source, snapshot),
            amps(end)
        ),
        "Energy and draw are at least what is shown. The time left allows for more and has a wider \
         range; nothing is learned from these minutes.",
        smaller_shunt(ohms, end),
    )
}

/// Shunts that can be bought (common practice, no source), Ω.
const SHUNTS: [f64; 10] = [0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001, 0.0005, 0.0002, 0.0001];

/// What to solder. The drop at the end of the range stays what it is, so the reach grows as the shunt
/// shrinks: by four at least, which a transmitter beside a board needs.
fn smaller_shunt(ohms: Option<Ohms>, end: Amps) -> String {
    let now = ohms.map(Ohms::si);
    let smaller = now.and_then(|now| SHUNTS.into_iter().find(|ohms| *ohms <= now / 4.0));
    let Some((now, smaller)) = now.zip(smaller) else {
        return "Use a sensor, or a smaller shunt, that measures more.".into();
    };
    let reach = end.si() * now / smaller;
    format!(
        "With a shunt of {} instead of {} it reaches {}. Disconnect the bank first, and use a \
         resistor that stands at least {}; then put its value into the settings.",
        shunt_ohms(smaller),
        shunt_ohms(now),
        amps(Amps::of(reach)),
        // Half of a resistor's rating is what one should load it with (common practice, no source).
        power(Watts::of(2.0 * reach * reach * smaller))
    )
}

fn shunt_ohms(ohms: f64) -> String {
    let text = format!("{ohms:.4}");
    format!("{}{TIE}\u{3a9}", text.trim_end_matches('0'))
}

fn finish_at_risk(below_percent: u32, snapshot: &Snapshot) -> Said {
    let reaches = snapshot.finish.and_then(|finish| finish.chance);
    // The alarm clears a little later than the chance rises.
    let short = reaches.is_some_and(|reaches| reaches.part() < 0.5);
    let text = match (reaches.map(chance), below_percent) {
        (Some(odds), 0..=50) if short => {
            format!("The bank will probably not last until the finish: the chance is {odds}.")
        }
        (Some(odds), 0..=50) => format!(
            "The bank seemed too small for the finish; the chance of reaching it is now {odds}."
        ),
        (Some(odds), _) if reaches.is_some_and(|reaches| reaches.part() >= 0.9) => {
            format!("The finish was no longer safe; the chance of reaching it is now {odds}.")
        }
        (Some(odds), _) => {
            format!("The finish is no longer safe: the chance of reaching it is {odds}.")
        }
        (None, _) => "The finish is no longer safe.".into(),
    };
    let advice =
        help(snapshot).unwrap_or("Draw less, connect a second bank, or finish sooner.".into());
    said(text, "Everything works until the bank cuts out, which may be before the finish.", advice)
}

/// What would help when the finish is tight or short, as sentences; `None` where none is needed.
pub fn help(snapshot: &Snapshot) -> Option<String> {
    let help = snapshot.advice.as_ref()?;
    let activity = help.activity.as_ref().map_or_else(String::new, |activity| {
        format!("Doing only '{activity}' from now on would reach it. ")
    });
    let draw = match (help.at_most, help.draw) {
        (Some(most), Some(draw)) if draw > most => {
            let (cut, most) = (draw - most, power(most));
            let part = 100.0 * cut.si() / draw.si();
            format!("The draw must fall by {} ({part:.0}{TIE}%) to {most}.", power(cut))
        }
        (Some(most), _) => format!("The draw must stay below {} on average.", power(most)),
        (None, _) => "Saving power alone is not enough: it takes another bank.".into(),
    };
    let safe = headline(snapshot).unwrap_or_default();
    let is = if safe.starts_with("safe") { "is " } else { "" };
    Some(format!("{activity}{draw} At the present draw it {is}{safe}."))
}

fn draw_high(activity: &str, usual: Watts, snapshot: &Snapshot) -> Said {
    let usual = power(usual);
    let above = match snapshot.draw.lately.map(power) {
        Some(lately) => format!("what '{activity}' usually takes: {lately} instead of {usual}"),
        None => format!("the {usual} that '{activity}' usually takes"),
    };
    said(
        format!("For ten minutes the draw has been far above {above}."),
        "The bank is emptying faster than you may expect. The time left already allows for it.",
        "Check whether something was left on: the transmitter, a display, a lamp. If you are doing \
         something else now, tap it.",
    )
}

fn running_out(limit_min: u32, snapshot: &Snapshot) -> Said {
    let limit = minutes(limit_min);
    let text = match &snapshot.outlook {
        // Raised by the deep tail: the range itself lies above.
        Outlook::Lasts(forecast) if forecast.cautious().si() > f64::from(limit_min) * 60.0 => {
            let range = range(forecast.remaining);
            format!(
                "There is a small chance that less than {limit} is left. More likely is {range}."
            )
        }
        Outlook::Lasts(forecast) => {
            format!("Less than {limit} may be left: {}.", range(forecast.remaining))
        }
        _ => format!("Less than {limit} may be left."),
    };
    if limit_min <= 10 {
        let advice = "Finish the contact, save the log and switch the board off now, or connect \
                      another bank.";
        return said(text, CUTS_OUT, advice);
    }
    said(
        text,
        "Everything works until the bank cuts out. One time in ten that is even sooner.",
        "Plan the end of the outing, or draw less: transmit less, dim the display, stop what you \
         do not need.",
    )
}

/// What it means that a bank is nearly empty and the board stays on.
pub(super) const CUTS_OUT: &str =
    "The bank may cut out without warning, and anything not saved is lost.";

fn minutes(minutes: u32) -> String {
    span(Seconds::of(f64::from(minutes) * 60.0))
}

fn undervoltage(times: u32, snapshot: &Snapshot) -> Said {
    let low_now = snapshot.board.undervoltage == Ok(true)
        || snapshot.board.flags.is_ok_and(|flags| flags.now.undervoltage);
    let when = match (low_now, times) {
        (true, 0 | 1) => "is too low right now".into(),
        (true, _) => format!("is too low, for the {} time in ten minutes", nth(times)),
        (false, 0 | 1) => "was too low a moment ago".into(),
        (false, _) => format!("was too low {times} times in ten minutes"),
    };
    said(
        format!("The board's supply {when}."),
        "The board slows down, and if the voltage falls a little further it stops in the middle of \
         a write.",
        "Use a shorter or thicker cable, unplug USB devices from the board, or try another output \
         of the bank.",
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

fn title(source: SourceIx, snapshot: &Snapshot) -> &str {
    snapshot.sources.get(usize::from(source.0)).map_or("the sensor", |report| report.title.as_str())
}

/// A change of an alarm as one line for the journal.
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
            let limit = Seconds::of(f64::from(limit_min) * 60.0);
            let less = snapshot.cautious_case().is_some_and(|[low, ..]| low < limit);
            match snapshot.finish.and_then(|finish| finish.verdict) {
                Some(Verdict::Enough) if less => "The finish comes before the bank's end.".into(),
                _ => format!("More than {} is left again.", minutes(limit_min)),
            }
        }
        About::Undervoltage { .. } => "The board's supply is high enough again.".into(),
        About::Hot => "The board has cooled down.".into(),
        About::SensorSilent { source, .. } => {
            format!("The draw is being read again by {}.", title(source, snapshot))
        }
        About::ShuntDoubt { source } => {
            format!("The current from {} looks right again.", title(source, snapshot))
        }
        About::OverRange { source, .. } => {
            format!("{} has measured the whole current for a long time.", title(source, snapshot))
        }
        About::FinishAtRisk { .. } if snapshot.finish.is_none() => {
            "The finish is no longer set.".into()
        }
        About::FinishAtRisk { below_percent } => {
            format!("The chance of reaching the finish is above {below_percent}{TIE}% again.")
        }
        About::BrownOutNear => "The load is well below the supply's limit again.".into(),
        About::DrawHigh { ref activity, .. } => {
            format!("'{activity}' draws its usual power again.")
        }
        About::AutoOff => "The draw is high enough again to keep the bank switched on.".into(),
        About::RecordNotWritten => "The record is being written again.".into(),
        About::ChoicesNotKept => "Your choices are on the card again.".into(),
        About::ClockNotTrusted => "The clock is no longer a problem for a timed mode.".into(),
    }
}

/// An alarm that is over, in one line for somebody who did not look meanwhile.
pub fn over_line(one: &EndedAlarm, snapshot: &Snapshot) -> String {
    format!(
        "{} It lasted {}, until {}.",
        over(&one.about, snapshot),
        span(Seconds::of(one.lasted.as_secs_f64())),
        ago(one.ended, snapshot.at.mono)
    )
}

/// Why a number is missing; fits behind the name of what should give it ('the sensor …').
pub const fn gap(gap: Gap) -> &'static str {
    match gap {
        Gap::Absent => "is not there",
        Gap::NotMeasurable => "cannot be measured on this board",
        Gap::SwitchedOff => "is switched off",
        Gap::NotReady => "has not given a value yet",
        Gap::NoAnswer => "does not answer",
        Gap::Gone => "has disappeared",
        Gap::Denied => "cannot be read by this user",
        Gap::Garbled => "gives an answer that cannot be understood",
        Gap::Implausible => "gives an impossible number",
        Gap::OverRange => "is at the end of its range",
        Gap::Resetting => "has lost its settings and is being set up again",
        Gap::Late => "has not answered in time",
    }
}

/// What to do about a missing number.
pub const fn gap_remedy(gap: Gap) -> &'static str {
    match gap {
        Gap::Absent | Gap::NotMeasurable => {
            "Nothing is wrong; a current sensor at the bank would measure it."
        }
        Gap::SwitchedOff => "To have it read, switch the channel on in its driver.",
        Gap::NotReady | Gap::Resetting => "Wait a few seconds.",
        Gap::NoAnswer => "Check the sensor's plug and its four wires.",
        Gap::Gone => "Check the sensor's plug. It is used again as soon as it is back.",
        Gap::Denied => "Add the user that runs outlast to the group of the bus, i2c.",
        Gap::Garbled | Gap::Implausible => {
            "Check the wires for a loose contact; keep them away from the antenna lead."
        }
        Gap::OverRange => "The current is more than this sensor can measure. Use a smaller shunt.",
        Gap::Late => "If this goes on, a sensor is blocking the bus: unplug them one by one.",
    }
}
