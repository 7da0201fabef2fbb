//! The Now page, the drawing under it, and the one line for a service manager.

use super::{
    alarm::{gap, gap_remedy},
    calendar::capital,
    numbers::{
        TIE, celsius, chance, clock_step_min, clock_time, energy, left, moment, percent, power,
        range, span, time_of_day, volts,
    },
    question::supposing,
};
use crate::{
    forecast::{Forecast, Outlook},
    reading::Gap,
    snapshot::{ActivityView, Basis, LogState, Possibility, Snapshot, Verdict},
    time::{Mono, Stamp, Trust},
    units::{Seconds, Watts},
};
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

/// The answer to 'how long': something short to print large, and the sentences under it.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Answer {
    /// The large words.
    pub big: String,
    /// What follows them (`left`), if they are a duration.
    pub after: String,
    /// Sentences under it, without their full stops where they are fragments.
    pub lines: Vec<String>,
}

/// The forecast, or why there is none.
#[must_use]
pub fn answer(snapshot: &Snapshot) -> Answer {
    let plain = |big: &str, lines: &[String]| Answer {
        big: big.to_string(),
        after: String::new(),
        lines: lines.to_vec(),
    };
    match &snapshot.outlook {
        Outlook::Lasts(forecast) => match cautious_of(snapshot) {
            Some(one) => lasts_if(one, forecast),
            None => lasts(forecast, snapshot.at),
        },
        Outlook::TooSoon { wants } => {
            let wait = span(Seconds::of(wants.as_secs_f64()));
            plain("Too soon to say.", &[format!("A first forecast comes in about {wait}.")])
        }
        Outlook::NoBank => plain(
            "Which bank feeds this board?",
            &[String::from("Choose it. What it has delivered so far is already counted.")],
        ),
        Outlook::NotDraining => plain(
            "Nothing is drawn from the bank.",
            &[String::from(
                "It is being charged, or the board runs on mains power. The forecast starts when \
                 the board runs on the bank alone.",
            )],
        ),
        Outlook::Blind { since, last } => {
            let silent = span(snapshot.at.mono.seconds_since(*since));
            let mut lines = alloc::vec![format!("No reading for {silent}.")];
            if let Some(last) = last {
                let [low, middle, high] = last.remaining;
                lines.push(format!(
                    "The last forecast, {} ago, was {}, {}.",
                    span(snapshot.at.mono.seconds_since(last.made_at)),
                    left(middle, high - low),
                    range(last.remaining),
                ));
            }
            lines.push(String::from("Check the sensor's plug, or restart outlast."));
            Answer { big: String::from("No readings."), after: String::new(), lines }
        }
    }
}

/// What a forecast is that no reading stands behind yet.
const EXPECTED: &str = "No reading yet: this estimate comes from the label, the board and earlier \
                        outings.";

fn lasts(forecast: &Forecast, at: Stamp) -> Answer {
    let [low, middle, high] = forecast.remaining;
    let mut lines = alloc::vec![range(forecast.remaining)];
    lines.extend(ends(forecast, at));
    if forecast.basis == Basis::Expected {
        lines.push(String::from(EXPECTED));
    }
    Answer { big: left(middle, high - low), after: String::from("left"), lines }
}

/// Of several possibilities, the one that leaves least.
fn cautious_of(snapshot: &Snapshot) -> Option<&Possibility> {
    snapshot.possibilities.iter().min_by(|a, b| a.remaining[1].si().total_cmp(&b.remaining[1].si()))
}

/// Until it is known which bank there is, the cautious number stands large and says what it
/// supposes; the range spans all that is possible.
fn lasts_if(one: &Possibility, forecast: &Forecast) -> Answer {
    let [low, middle, high] = one.remaining;
    let supposing = supposing(one.story).map_or_else(String::new, |it| format!(", {it}"));
    Answer {
        big: left(middle, high - low),
        after: format!("left{supposing}"),
        lines: alloc::vec![range(forecast.remaining)],
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

/// The finish against the forecast, as a sentence; `None` without a finish.
#[must_use]
pub fn verdict(snapshot: &Snapshot) -> Option<String> {
    let finish = snapshot.finish?;
    let when = match clock_time(finish.at, snapshot.at) {
        Some(time) => time,
        None if finish.at >= snapshot.at.mono => {
            format!("the finish {}", moment(finish.at, snapshot.at))
        }
        None => String::from("the finish"),
    };
    if finish.at <= snapshot.at.mono {
        return Some(format!("The finish was {}.", ago_or_time(snapshot)));
    }
    let (Some(verdict), Some(odds)) = (finish.verdict, finish.chance) else {
        return Some(format!("Too soon to say whether it is enough for {when}."));
    };
    let spare = finish.spare.map_or(0.0, Seconds::si);
    let width = match &snapshot.outlook {
        Outlook::Lasts(forecast) => forecast.hopeful() - forecast.cautious(),
        _ => Seconds::ZERO,
    };
    let about = left(Seconds::of(spare.abs()), width);
    Some(match verdict {
        Verdict::Enough => format!("Enough for {when}, with about {about} to spare."),
        Verdict::Tight => format!("Tight for {when}: the chance of lasting is {}.", chance(odds)),
        Verdict::Short if spare < 0.0 => {
            format!("Short for {when} by about {about}; the chance of lasting is {}.", chance(odds))
        }
        Verdict::Short => format!("Short for {when}: the chance of lasting is {}.", chance(odds)),
    })
}

fn ago_or_time(snapshot: &Snapshot) -> String {
    snapshot.finish.map_or_else(String::new, |finish| match clock_time(finish.at, snapshot.at) {
        Some(time) => format!("at {time}"),
        None => moment(finish.at, snapshot.at),
    })
}

/// What the forecast stands on.
#[must_use]
pub fn basis(snapshot: &Snapshot) -> String {
    match snapshot.draw.basis {
        Basis::Measured => match source_title(snapshot) {
            Some(title) => format!("The draw is measured by {title}."),
            None => String::from("The draw is measured."),
        },
        Basis::Gauge => String::from("The battery's own fuel gauge says what is left."),
        Basis::Expected => String::from(EXPECTED),
        Basis::Modelled => {
            let board = match (&snapshot.facts.model, snapshot.facts.kind) {
                (Some(model), Some(_)) => format!("the published figures for {model}"),
                _ => String::from("figures for boards in general (this one is not in the table)"),
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
#[must_use]
pub fn draw(snapshot: &Snapshot) -> String {
    let Some(now) = snapshot.draw.now else {
        return match (snapshot.draw.lately, snapshot.supply.power) {
            (Some(lately), Err(why)) => format!(
                "The draw cannot be read: the sensor {}. It was {} before.",
                gap(why),
                power(lately)
            ),
            (None, Err(why)) => format!("The draw cannot be read: the sensor {}.", gap(why)),
            (_, Ok(now)) => format!("Drawing {} now.", power(now)),
        };
    };
    if now.si() < -0.05 {
        return format!("{} is flowing into the bank.", power(-now));
    }
    let now = match snapshot.draw.basis {
        _ if snapshot.supply.at_least.is_some() => {
            format!("Drawing at least {} now", power(now))
        }
        Basis::Modelled => format!("Drawing about {} (estimated)", power(now)),
        Basis::Measured | Basis::Gauge | Basis::Expected => {
            format!("Drawing {} now", power(now))
        }
    };
    match usual(snapshot) {
        Some(usual) => format!("{now}; {usual}."),
        None => format!("{now}."),
    }
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
#[must_use]
pub fn activity(one: &ActivityView) -> String {
    let remaining = one.remaining.map(|[low, middle, high]| left(middle, high - low));
    match (remaining, one.usual) {
        (Some(time), Some(watts)) => format!("{}: {time} at {}", one.name, power(watts)),
        (Some(time), None) => format!("{}: {time}", one.name),
        (None, Some(watts)) => format!("{}: {}", one.name, power(watts)),
        (None, None) => one.name.clone(),
    }
}

/// The supply.
#[must_use]
pub fn supply(snapshot: &Snapshot) -> String {
    let reads = match snapshot.supply.volts {
        Ok(level) => format!("Supply {}", volts(level)),
        Err(_) => String::from("Supply voltage not measured"),
    };
    let times = snapshot.undervoltage_times;
    let state = match snapshot.board.undervoltage {
        Ok(true) => String::from(", too low for the board right now"),
        _ if times == 1 => String::from("; it was too low once in this outing"),
        _ if times > 1 => format!("; it was too low {times} times in this outing"),
        Ok(false) => String::from(", steady"),
        Err(_) => String::from("; this board cannot tell whether it dips"),
    };
    format!("{reads}{state}.")
}

/// The board.
#[must_use]
pub fn board(snapshot: &Snapshot) -> String {
    let board = &snapshot.board;
    let temp = match board.temp {
        Ok(temp) => format!("Board {}", celsius(temp)),
        Err(Gap::Absent | Gap::NotMeasurable) => String::from("Board temperature not measured"),
        Err(why) => format!("The board's thermometer {}", gap(why)),
    };
    let busy = match board.cpu_busy {
        Ok(busy) => format!(", processor {} busy", percent(busy)),
        Err(_) => String::new(),
    };
    let flags = board.flags.unwrap_or_default().now;
    let slowed = if flags.throttled || flags.soft_hot {
        "; it is slowing itself down"
    } else if flags.capped {
        "; its clock is capped"
    } else {
        ""
    };
    format!("{temp}{busy}{slowed}.")
}

/// Before an energy of which only a lower bound is known.
const AT_LEAST: &str = "at least ";

/// The bank: what it has delivered, and of what.
#[must_use]
pub fn bank(snapshot: &Snapshot) -> String {
    let view = &snapshot.bank;
    let began = span(view.counted);
    let at_least = if view.delivered_at_least() { AT_LEAST } else { "" };
    let delivered = format!("{at_least}{}", energy(view.delivered));
    let bridged = if view.bridged.si() > 0.02 * view.delivered.si() && view.bridged.si() > 36.0 {
        format!(" {} of it is an estimate, for times without a reading.", energy(view.bridged))
    } else {
        String::new()
    };
    let bridged = if at_least.is_empty() {
        bridged
    } else {
        format!("{bridged} At times the current was more than the sensor can measure.")
    };
    let Some(spec) = &view.spec else {
        let said = format!("{delivered} drawn in {began}.{bridged}");
        return capital(&said);
    };
    let usable = match view.usable {
        Some([low, _, high]) => {
            format!(" of the {} to {} it can give", energy(low), energy(high))
        }
        None => String::new(),
    };
    format!("{} has delivered {delivered}{usable}, in {began}.{bridged}", spec.name)
}

/// The clock.
#[must_use]
pub fn clock(at: Stamp) -> String {
    let time = clock_time(at.mono, at).unwrap_or_default();
    match at.trust {
        Trust::Synchronised => format!("Clock {time}, set by the network or a receiver."),
        Trust::Phone => format!("Clock {time}, set by a phone."),
        Trust::Unset => String::from(
            "The clock has not been set since the board was switched on. No time of day is shown, \
             and log entries would have the wrong time.",
        ),
    }
}

/// The record.
#[must_use]
pub fn log(snapshot: &Snapshot) -> String {
    match &snapshot.log {
        LogState::Off => String::from("No record is kept."),
        LogState::Kept { last } => {
            format!("Record: last written {} ago.", span(snapshot.at.mono.seconds_since(*last)))
        }
        LogState::Stopped { why } => format!("The record has stopped: {why}"),
    }
}

/// How things stand, in one line for a service manager.
#[must_use]
pub fn status(snapshot: &Snapshot) -> String {
    let answer = answer(snapshot);
    let mut line = answer.big;
    if !answer.after.is_empty() {
        line = format!("{line} {}, {}.", answer.after, answer.lines.join(", "));
    }
    line.push(' ');
    line.push_str(&draw(snapshot));
    if let Err(why) = snapshot.supply.power
        && snapshot.draw.basis == Basis::Measured
    {
        line.push(' ');
        line.push_str(gap_remedy(why));
    }
    line
}

/// The page's title: the answer, then the station.
#[must_use]
pub fn title(snapshot: &Snapshot) -> String {
    let answer = answer(snapshot);
    format!("{} · {}", followed(&answer.big, &answer.after), snapshot.station)
}

/// The answer and the verdict in one breath, for a screen reader to say when they change.
#[must_use]
pub fn spoken(snapshot: &Snapshot) -> String {
    let answer = answer(snapshot);
    let big = followed(&answer.big, &answer.after);
    let stop = if big.ends_with(['.', '?']) { "" } else { "." };
    let verdict = verdict(snapshot).map_or_else(String::new, |said| format!(" {said}"));
    format!("{big}{stop}{verdict}")
}

fn followed(big: &str, after: &str) -> String {
    if after.is_empty() { big.to_string() } else { format!("{big} {after}") }
}

/// The day line, for those who do not see it.
#[must_use]
pub fn day_line(snapshot: &Snapshot) -> String {
    let at = snapshot.at;
    let mut said = format!("The draw since {}", moment(snapshot.outing_began, at));
    match snapshot.draw_history.ticks.len() {
        0 => {}
        1 => said.push_str(", with one event"),
        many => said.push_str(&format!(", with {many} events")),
    }
    if let Some(finish) = snapshot.finish {
        said.push_str(&format!("; the finish, {}", moment(finish.at, at)));
    }
    if let Outlook::Lasts(forecast) = &snapshot.outlook {
        let [low, middle, high] = forecast.remaining;
        let about = left(middle, high - low);
        said.push_str(&format!("; the end, in about {about}, {}", range(forecast.remaining)));
    }
    said.push('.');
    said
}

/// A mark on the day line: `09`, or `09:30`, or `2 h` of the outing while no clock is believed.
#[must_use]
pub fn hour_mark(then: Mono, snapshot: &Snapshot, with_minutes: bool) -> String {
    match clock_time(then, snapshot.at) {
        Some(time) if with_minutes => time.chars().take(5).collect(),
        Some(time) => time.chars().take(2).collect(),
        None => span(then.seconds_since(snapshot.outing_began)),
    }
}

/// Beside an activity that a rule chose.
pub const BY_RULE: &str = "by a rule";

/// What one activity would leave, for its button.
#[must_use]
pub fn activity_left(one: &ActivityView) -> String {
    match (one.remaining, one.usual) {
        (Some([low, middle, high]), _) => format!("{} left", left(middle, high - low)),
        (None, Some(usual)) => format!("draws {}", power(usual)),
        (None, None) => "not known yet".to_string(),
    }
}

/// A button that moves the finish: `−30 min`.
#[must_use]
pub fn shift(minutes: i32) -> String {
    let sign = if minutes < 0 { '\u{2212}' } else { '+' };
    format!("{sign}{}{TIE}min", minutes.unsigned_abs())
}
