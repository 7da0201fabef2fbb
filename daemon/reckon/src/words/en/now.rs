//! The Now page, the drawing under it, and the one line for a service manager.

use super::{
    alarm::{gap, gap_remedy},
    calendar::capital,
    numbers::{
        TIE, celsius, clock_step_min, clock_time, energy, left, left_brief, moment, or_more,
        percent, power, range, range_brief, span, time_of_day, volts,
    },
    question::supposing,
    safe::{safe_until, verdict},
};
use crate::{
    forecast::{Forecast, Outlook},
    reading::Gap,
    snapshot::{ActivityView, Basis, LogState, Snapshot},
    time::{Mono, Stamp, Trust},
    units::{Seconds, Watts},
};
use alloc::{format, string::String, vec::Vec};

/// The answer to 'how long': something short to print large, and the sentences under it.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Answer {
    /// The large words.
    pub big: String,
    /// What follows them (`left`), if they are a duration.
    pub after: String,
    /// The range behind a duration, short: `5 h 30 to 7 h 10`.
    pub range: String,
    /// Sentences under it, without their full stops where they are fragments.
    pub lines: Vec<String>,
}

/// The forecast, or why there is none.
pub fn answer(snapshot: &Snapshot) -> Answer {
    let plain = |big: &str, line: String| Answer {
        big: big.into(),
        lines: Vec::from([line]),
        ..Answer::default()
    };
    match &snapshot.outlook {
        Outlook::Lasts(forecast) => lasts(forecast, snapshot),
        Outlook::TooSoon { wants } => {
            let wait = span(Seconds::of(wants.as_secs_f64()));
            plain("Too soon to say.", format!("A first forecast comes in about {wait}."))
        }
        Outlook::NoBank => plain("Which bank feeds this board?", CHOOSE_BANK.into()),
        Outlook::NotDraining => plain("Nothing is drawn from the bank.", ON_MAINS.into()),
        Outlook::Blind { since, last } => {
            let silent = span(snapshot.at.mono.seconds_since(*since));
            let mut answer = plain("No readings.", format!("No reading for {silent}."));
            answer.lines.extend(last.as_ref().map(|last| {
                let [low, middle, high] = last.remaining;
                let ago = span(snapshot.at.mono.seconds_since(last.made_at));
                let (left, range) = (left(middle, high - low), range(last.remaining));
                format!("The last forecast, {ago} ago, was {left}, {range}.")
            }));
            answer.lines.push("Check the sensor's plug, or restart outlast.".into());
            answer
        }
    }
}

sentences! {
    CHOOSE_BANK = "Choose it. What it has delivered so far is already counted.";
    ON_MAINS = "It is being charged, or the board runs on mains power. The forecast starts when \
        the board runs on the bank alone.";
    /// What a forecast is that no reading stands behind yet.
    EXPECTED = "No reading yet: this estimate comes from the label, the board and earlier outings.";
    /// Beside an activity that a rule chose.
    BY_RULE = "by a rule";
}

/// Until it is known which bank there is, the cautious case counts, and the number says what it
/// supposes.
fn lasts(forecast: &Forecast, snapshot: &Snapshot) -> Answer {
    let remaining = snapshot.cautious_case().unwrap_or(forecast.remaining);
    let [low, middle, high] = remaining;
    let supposing = snapshot.cautious_story().and_then(supposing);
    let mut lines = Vec::from([range(remaining)]);
    lines.extend(ends(forecast, snapshot.at).filter(|_| supposing.is_none()));
    lines.extend((forecast.basis == Basis::Expected).then(|| EXPECTED.into()));
    Answer {
        big: left_brief(middle, high - low),
        after: supposing.map_or_else(|| "left".into(), |it| format!("left, {it}")),
        range: range_brief(remaining),
        lines,
    }
}

/// `ends about 18:20`; nothing while the clock is not to be believed.
fn ends(forecast: &Forecast, at: Stamp) -> Option<String> {
    let [low, middle, high] = forecast.remaining;
    // Held to what a calendar can say anything of; the time of day is left out far before that.
    let end = Mono::at_s(forecast.made_at.as_s() + middle.si().clamp(0.0, 1e9));
    let time = time_of_day(end, at, clock_step_min(middle, high - low))?;
    Some(format!("ends about {time}"))
}

/// What the forecast stands on.
pub fn basis(snapshot: &Snapshot) -> String {
    match snapshot.draw.basis {
        Basis::Measured => match source_title(snapshot) {
            Some(title) => format!("The draw is measured by {title}."),
            None => "The draw is measured.".into(),
        },
        Basis::Gauge => "The battery's own fuel gauge says what is left.".into(),
        Basis::Expected => EXPECTED.into(),
        Basis::Modelled => {
            let board = match (&snapshot.facts.model, snapshot.facts.kind) {
                (Some(model), Some(_)) => format!("the published figures for {model}"),
                _ => "figures for boards in general (this one is not in the table)".into(),
            };
            format!(
                "No sensor measures the draw. It is estimated from {board} and from its load, so \
                 the range is wide."
            )
        }
    }
}

fn source_title(snapshot: &Snapshot) -> Option<&str> {
    let place = usize::from(snapshot.supply.source?.0);
    snapshot.sources.get(place).map(|report| report.title.as_str())
}

/// The draw now and what is usual.
pub fn draw(snapshot: &Snapshot) -> String {
    let Some(now) = snapshot.draw.now else {
        return match (snapshot.draw.lately.map(power), snapshot.supply.power) {
            (Some(lately), Err(why)) => {
                let why = gap(why);
                format!("The draw cannot be read: the sensor {why}. It was {lately} before.")
            }
            (None, Err(why)) => format!("The draw cannot be read: the sensor {}.", gap(why)),
            (_, Ok(now)) => format!("Drawing {} now.", power(now)),
        };
    };
    if now.si() < -0.05 {
        return format!("{} is flowing into the bank.", power(-now));
    }
    let power = power(now);
    let now = match snapshot.draw.basis {
        _ if snapshot.supply.at_least.is_some() => format!("Drawing at least {power} now"),
        Basis::Modelled => format!("Drawing about {power} (estimated)"),
        Basis::Measured | Basis::Gauge | Basis::Expected => format!("Drawing {power} now"),
    };
    let usual = usual(snapshot).map_or_else(String::new, |usual| format!("; {usual}"));
    format!("{now}{usual}.")
}

fn usual(snapshot: &Snapshot) -> Option<String> {
    let current = snapshot.activities.iter().find(|one| one.current);
    if let Some((name, watts)) = current.and_then(|one| Some((&one.name, one.usual?))) {
        return Some(format!("{} is usual for {}", power(watts), name.to_lowercase()));
    }
    let began = snapshot.at.mono.seconds_since(snapshot.outing_began);
    let outing: Watts = snapshot.draw.outing.filter(|_| began.si() >= 300.0)?;
    Some(format!("{} on average in this outing", power(outing)))
}

/// An activity and what it would leave.
pub fn activity(one: &ActivityView) -> String {
    let time = one.remaining.map(|[low, middle, high]| left(middle, high - low));
    let name = &one.name;
    match (time, one.usual.map(power)) {
        (Some(time), Some(watts)) => format!("{name}: {time} at {watts}"),
        (Some(only), None) | (None, Some(only)) => format!("{name}: {only}"),
        (None, None) => name.clone(),
    }
}

/// The supply.
pub fn supply(snapshot: &Snapshot) -> String {
    let reads = match snapshot.supply.volts {
        Ok(level) => format!("Supply {}", volts(level)),
        Err(_) => "Supply voltage not measured".into(),
    };
    let state = match (snapshot.board.undervoltage, snapshot.undervoltage_times) {
        (Ok(true), _) => ", too low for the board right now".into(),
        (_, 1) => "; it was too low once in this outing".into(),
        (_, times @ 2..) => format!("; it was too low {times} times in this outing"),
        (Ok(false), 0) => ", steady".into(),
        (Err(_), 0) => "; this board cannot tell whether it dips".into(),
    };
    format!("{reads}{state}.")
}

/// The board.
pub fn board(snapshot: &Snapshot) -> String {
    let board = &snapshot.board;
    let temp = match board.temp {
        Ok(temp) => format!("Board {}", celsius(temp)),
        Err(Gap::Absent | Gap::NotMeasurable) => "Board temperature not measured".into(),
        Err(why) => format!("The board's thermometer {}", gap(why)),
    };
    let busy = board.cpu_busy.map(|busy| format!(", processor {} busy", percent(busy)));
    let flags = board.flags.unwrap_or_default().now;
    let slowed = match (flags.throttled || flags.soft_hot, flags.capped) {
        (true, _) => "; it is slowing itself down",
        (_, true) => "; its clock is capped",
        _ => "",
    };
    format!("{temp}{}{slowed}.", busy.unwrap_or_default())
}

/// The bank: what it has delivered, and of what.
pub fn bank(snapshot: &Snapshot) -> String {
    let view = &snapshot.bank;
    let began = span(view.counted);
    let at_least = view.delivered_at_least();
    let delivered = format!("{}{}", or_more(at_least), energy(view.delivered));
    let mut notes = String::new();
    if view.bridged.si() > 0.02 * view.delivered.si() && view.bridged.si() > 36.0 {
        let bridged = energy(view.bridged);
        notes = format!(" {bridged} of it is an estimate, for times without a reading.");
    }
    if at_least {
        notes.push_str(" At times the current was more than the sensor can measure.");
    }
    let Some(spec) = &view.spec else {
        return capital(&format!("{delivered} drawn in {began}.{notes}"));
    };
    let usable = view.usable.map_or_else(String::new, |[low, _, high]| {
        format!(" of the {} to {} it can give", energy(low), energy(high))
    });
    format!("{} has delivered {delivered}{usable}, in {began}.{notes}", spec.name)
}

/// The clock.
pub fn clock(at: Stamp) -> String {
    let time = clock_time(at.mono, at).unwrap_or_default();
    match at.trust {
        Trust::Synchronised => format!("Clock {time}, set by the network or a receiver."),
        Trust::Phone => format!("Clock {time}, set by a phone."),
        Trust::Unset => {
            "The clock has not been set since the board was switched on. No time of day is shown, \
             and log entries would have the wrong time."
                .into()
        }
    }
}

/// The record.
pub fn log(snapshot: &Snapshot) -> String {
    match &snapshot.log {
        LogState::Off => "No record is kept.".into(),
        LogState::Kept { last } => {
            format!("Record: last written {} ago.", span(snapshot.at.mono.seconds_since(*last)))
        }
        LogState::Stopped { why } => format!("The record has stopped: {why}"),
    }
}

/// How things stand, in one line for a service manager.
pub fn status(snapshot: &Snapshot) -> String {
    let Answer { big, after, lines, .. } = answer(snapshot);
    let lines = lines.join(", ");
    let said = if after.is_empty() { big } else { format!("{big} {after}, {lines}.") };
    let measured = snapshot.draw.basis == Basis::Measured;
    let remedy = match snapshot.supply.power {
        Err(why) if measured => format!(" {}", gap_remedy(why)),
        _ => String::new(),
    };
    format!("{said} {}{remedy}", draw(snapshot))
}

/// The page's title: the answer, then the station.
pub fn title(snapshot: &Snapshot) -> String {
    format!("{} · {}", big(snapshot), snapshot.station)
}

/// The answer and the verdict in one breath, for a screen reader to say when they change.
pub fn spoken(snapshot: &Snapshot) -> String {
    let big = big(snapshot);
    let stop = if big.ends_with(['.', '?']) { "" } else { "." };
    let verdict = verdict(snapshot).map_or_else(String::new, |said| format!(" {said}"));
    format!("{big}{stop}{verdict}")
}

/// The large words with what follows them.
fn big(snapshot: &Snapshot) -> String {
    let Answer { big, after, .. } = answer(snapshot);
    if after.is_empty() { big } else { format!("{big} {after}") }
}

/// The day line, for those who do not see it.
pub fn day_line(snapshot: &Snapshot) -> String {
    let at = snapshot.at;
    let events = match snapshot.draw_history.ticks.len() {
        0 => String::new(),
        1 => ", with one event".into(),
        many => format!(", with {many} events"),
    };
    let finish = snapshot
        .finish
        .map_or_else(String::new, |finish| format!("; the finish, {}", moment(finish.at, at)));
    let mut said = format!("The draw since {}{events}{finish}", moment(snapshot.outing_began, at));
    if let Some(remaining) = snapshot.cautious_case() {
        let [low, middle, high] = remaining;
        let about = left(middle, high - low);
        said.push_str(&format!("; the end, in about {about}, {}", range(remaining)));
    }
    said + "."
}

/// A mark on the day line: `09`, or `09:30`, or `2 h` of the outing while no clock is believed.
pub fn hour_mark(then: Mono, snapshot: &Snapshot, with_minutes: bool) -> String {
    match clock_time(then, snapshot.at) {
        Some(time) if with_minutes => time.chars().take(5).collect(),
        Some(time) => time.chars().take(2).collect(),
        None => span(then.seconds_since(snapshot.outing_began)),
    }
}

/// Until when one activity alone would be safe, for its button: `safe until 17:55`.
pub fn activity_left(one: &ActivityView, at: Stamp) -> String {
    match (one.remaining, one.usual) {
        (Some(remaining), _) => safe_until(remaining, at),
        (None, Some(usual)) => format!("draws {}", power(usual)),
        (None, None) => "not known yet".into(),
    }
}

/// A button that moves the finish: `−30 min`.
pub fn shift(minutes: i32) -> String {
    let sign = if minutes < 0 { '\u{2212}' } else { '+' };
    format!("{sign}{}{TIE}min", minutes.unsigned_abs())
}
