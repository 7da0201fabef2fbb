//! What pages say, by way of `reckon::words`.

use std::time::Duration;

use reckon::{
    engine::Refusal,
    forecast::{Forecast, Outlook},
    reading::Gap,
    snapshot::{About, Alarm, Basis, LogState, Snapshot, Verdict},
    time::{Mono, Stamp},
    units::{Seconds, Watts},
};

/// An alarm in words.
pub(crate) struct Said {
    pub text: String,
    pub advice: String,
}

/// Keeps a duration on one line.
const NARROW: char = '\u{a0}';

pub(crate) fn span(seconds: f64) -> String {
    let minutes = (seconds.max(0.0) / 60.0).round();
    if minutes < 60.0 {
        return format!("{minutes}{NARROW}min");
    }
    let minutes = (minutes / 10.0).round() * 10.0;
    let (h, m) = ((minutes / 60.0).floor(), minutes % 60.0);
    if m < 1.0 { format!("{h}{NARROW}h") } else { format!("{h}{NARROW}h{NARROW}{m:02}") }
}

pub(crate) fn left(seconds: Seconds) -> String {
    span(seconds.si())
}

pub(crate) fn refusal(refusal: &Refusal) -> String {
    match refusal {
        Refusal::NoSuchActivity => "There is no activity of that name.".to_owned(),
        Refusal::AlarmGone => "That alarm has gone meanwhile.".to_owned(),
        Refusal::FinishOutOfRange => "That finish is past or too far away.".to_owned(),
        Refusal::BankImplausible(why) => why.clone(),
        Refusal::NameTooLong => "That name is too long: 64 characters at most.".to_owned(),
    }
}

pub(crate) fn wait(wait: Duration) -> String {
    format!("Too many wrong codes. Wait {} and try again.", span(wait.as_secs_f64() + 29.0))
}

pub(crate) fn alarm(alarm: &Alarm, _snapshot: &Snapshot) -> Said {
    let (text, advice) = match alarm.about {
        About::RunningOut { limit_min } => (
            format!("Less than {limit_min} min may be left."),
            "Draw less, or finish and switch off cleanly.".to_owned(),
        ),
        About::Undervoltage { times } => (
            format!("The supply sagged {times} times in 10 minutes."),
            "The board slows down and may stop. Try a shorter or thicker cable.".to_owned(),
        ),
        About::Hot => ("The board is hot.".to_owned(), "Give it shade and air.".to_owned()),
        About::SensorSilent { .. } => {
            ("The sensor is silent.".to_owned(), "Check its plug.".to_owned())
        }
        About::ShuntDoubt { .. } => {
            ("The current looks wrong.".to_owned(), "Check the shunt's value.".to_owned())
        }
    };
    Said { text, advice }
}

pub(crate) fn clock(at: Stamp) -> Option<String> {
    at.believed().map(|_| moment(at.mono, at))
}

fn local_s(mono: Mono, at: Stamp) -> Option<i64> {
    let wall = at.believed()?.plus_s(mono.as_s() - at.mono.as_s());
    Some(wall.unix_ms().div_euclid(1000) + i64::from(at.utc_offset_s))
}

pub(crate) fn moment(mono: Mono, at: Stamp) -> String {
    match local_s(mono, at) {
        Some(local) => {
            let minute = (local + 30).div_euclid(60).rem_euclid(1440);
            format!("{:02}:{:02}", minute / 60, minute % 60)
        }
        None => {
            let ahead = mono.as_s() - at.mono.as_s();
            if ahead >= 0.0 {
                format!("in {}", span(ahead))
            } else {
                format!("{} ago", span(-ahead))
            }
        }
    }
}

pub(crate) fn midnight(at: Stamp) -> Option<f64> {
    let local = local_s(at.mono, at)?;
    let of_day = local.rem_euclid(86_400);
    Some(at.mono.as_s() - f64::from(i32::try_from(of_day).unwrap_or(0)))
}

pub(crate) fn hour_mark(mono: Mono, snapshot: &Snapshot, minutes: bool) -> String {
    match local_s(mono, snapshot.at) {
        Some(local) => {
            let minute = (local + 30).div_euclid(60).rem_euclid(1440);
            if minutes {
                format!("{:02}:{:02}", minute / 60, minute % 60)
            } else {
                format!("{:02}", minute / 60)
            }
        }
        None => span(mono.seconds_since(snapshot.outing_began).si()),
    }
}

pub(crate) struct Answer {
    pub big: String,
    pub after: String,
    pub long: bool,
    pub lines: Vec<String>,
    pub verdict: Option<String>,
    pub basis: Option<String>,
}

fn range(of: &Forecast) -> String {
    format!("between {} and {}", left(of.cautious()), left(of.hopeful()))
}

pub(crate) fn answer(snapshot: &Snapshot) -> Answer {
    let mut answer = Answer {
        big: String::new(),
        after: String::new(),
        long: true,
        lines: Vec::new(),
        verdict: verdict(snapshot),
        basis: None,
    };
    match &snapshot.outlook {
        Outlook::Lasts(it) => {
            answer.big = left(it.middle());
            answer.after = "left".to_owned();
            answer.long = false;
            answer.lines.push(range(it));
            let at = |s: Seconds| moment(Mono::at_s(it.made_at.as_s() + s.si()), snapshot.at);
            if snapshot.at.believed().is_some() {
                let [a, b, c] = it.remaining.map(at);
                answer.lines.push(format!("ends about {b}, {a} to {c}"));
            }
            answer.basis = (it.basis == Basis::Modelled).then(|| {
                "No sensor: the draw is modelled from the board and its load, so the range is wide."
                    .to_owned()
            });
        }
        Outlook::TooSoon { wants } => {
            answer.big = "Too soon to say".to_owned();
            answer.lines.push(format!("A first forecast in about {}.", span(wants.as_secs_f64())));
        }
        Outlook::NoBank => {
            answer.big = "Which bank?".to_owned();
            answer.lines.push(
                "Tell which bank is connected, and how long it lasts will stand here.".to_owned(),
            );
        }
        Outlook::NotDraining => {
            answer.big = "Not draining".to_owned();
            answer
                .lines
                .push("The bank is being charged, or the board runs from the mains.".to_owned());
        }
        Outlook::Blind { since, last } => {
            let silent = snapshot.at.mono.seconds_since(*since).si();
            answer.big = "No readings".to_owned();
            answer.lines.push(format!("Nothing has been read for {}.", span(silent)));
            if let Some(last) = last {
                answer.lines.push(format!(
                    "Before that: {} left, {}.",
                    left(last.middle()),
                    range(last)
                ));
            }
        }
    }
    answer
}

pub(crate) fn verdict(snapshot: &Snapshot) -> Option<String> {
    let finish = snapshot.finish?;
    let when = moment(finish.at, snapshot.at);
    let spare = finish.spare.map_or(0.0, Seconds::si);
    Some(match finish.verdict? {
        Verdict::Enough => format!("Enough for {when}, with about {} to spare.", span(spare)),
        Verdict::Tight => format!(
            "Tight for {when}: a chance of about {:.0} in 10.",
            finish.chance?.part() * 10.0
        ),
        Verdict::Short => format!("Short of {when} by about {}.", span(-spare)),
    })
}

pub(crate) fn watts(watts: Watts) -> String {
    format!("{:.1}{NARROW}W", watts.si())
}

pub(crate) fn draw(snapshot: &Snapshot) -> String {
    match (snapshot.draw.now, snapshot.draw.outing) {
        (Some(now), Some(usual)) => {
            format!("Drawing {} now; {} in this outing.", watts(now), watts(usual))
        }
        (Some(now), None) => format!("Drawing {} now.", watts(now)),
        _ => "The draw is not known yet.".to_owned(),
    }
}

pub(crate) fn supply(snapshot: &Snapshot) -> String {
    match snapshot.supply.volts {
        Ok(volts) => format!("Supply {:.2}{NARROW}V.", volts.si()),
        Err(gap) => format!("Supply voltage: {}.", gap_words(gap)),
    }
}

pub(crate) fn board(snapshot: &Snapshot) -> String {
    match snapshot.board.temp {
        Ok(temp) => format!("Board {:.0}{NARROW}°C.", temp.si()),
        Err(gap) => format!("Board temperature: {}.", gap_words(gap)),
    }
}

pub(crate) fn gap_words(gap: Gap) -> &'static str {
    match gap {
        Gap::Absent => "this board has none",
        Gap::NotMeasurable => "cannot be measured here",
        Gap::SwitchedOff => "switched off in its driver",
        Gap::NotReady => "not ready yet",
        Gap::NoAnswer => "no answer",
        Gap::Gone => "gone",
        Gap::Denied => "may not be read",
        Gap::Garbled => "not understood",
        Gap::Implausible => "implausible",
        Gap::OverRange => "beyond its range",
        Gap::Resetting => "being set up again",
        Gap::Late => "too late",
    }
}

pub(crate) fn log(snapshot: &Snapshot) -> String {
    match &snapshot.log {
        LogState::Off => "No record is kept.".to_owned(),
        LogState::Kept { last } => {
            let ago = snapshot.at.mono.seconds_since(*last).si();
            format!("Log: last line written {ago:.0}{NARROW}s ago.")
        }
        LogState::Stopped { why } => format!("Log stopped: {why}"),
    }
}

pub(crate) fn clock_line(snapshot: &Snapshot) -> Option<String> {
    snapshot
        .at
        .believed()
        .is_none()
        .then(|| "The board does not know the time of day, so only spans are shown.".to_owned())
}

pub(crate) fn day_line(snapshot: &Snapshot) -> String {
    let mut said = format!("The draw since {}.", moment(snapshot.outing_began, snapshot.at));
    if let Some(finish) = snapshot.finish {
        said.push_str(&format!(" Finish {}.", moment(finish.at, snapshot.at)));
    }
    if let Outlook::Lasts(it) = &snapshot.outlook {
        let at = |s: Seconds| moment(Mono::at_s(it.made_at.as_s() + s.si()), snapshot.at);
        let [a, b, c] = it.remaining.map(at);
        said.push_str(&format!(" The end about {b}, {a} to {c}."));
    }
    said
}
