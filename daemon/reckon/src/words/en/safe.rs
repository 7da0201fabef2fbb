//! Until when it is safe: the cautious end, rounded down, and how far that is from the finish.
//!
//! One logic for the headline, the finish, the activities and the advice: the end is printed to the
//! forecast's own step and never later than the cautious end; differences are those of what is printed.

use alloc::{format, string::String};

use super::{
    calendar::capital,
    numbers::{
        calendar_min, clock_step_min, clock_time, minute_of_day, minutes_said, moment, safe_min,
        span, whole_min,
    },
    question::supposing,
};
use crate::{
    forecast::Outlook,
    snapshot::{Basis, FinishView, Snapshot, Verdict},
    time::{Mono, Stamp},
    units::Seconds,
};

sentences! {
    /// In place of an end that is here.
    ANY_MINUTE = "May end any minute";
    JUST_ENOUGH = "Just enough for your finish.";
    NOT_SURE = "Not sure of your finish yet.";
}

/// The answer to 'is it enough', in two short lines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Safe {
    /// `Safe until 17:10`; without a full stop.
    pub until: String,
    /// `40 min past your finish.`; `None` where there is nothing to hold it against.
    pub finish: Option<String>,
}

impl Safe {
    /// The same of a forecast that is old.
    pub fn was(&self) -> String {
        match self.until.strip_prefix("Safe ") {
            Some(end) => format!("It was safe {end}"),
            None => self.until.clone(),
        }
    }
}

/// Until when it is safe, and what that means for the finish; `None` where nothing can be said.
pub fn safe(snapshot: &Snapshot) -> Option<Safe> {
    if let Outlook::Blind { last: Some(last), .. } = &snapshot.outlook {
        let [low, _, high] = last.remaining;
        let until = Mono::at_s(last.made_at.as_s() + low.si());
        let step = clock_step_min(low, high - low);
        let minute = calendar_min(until, snapshot.at, step, Seconds::ZERO);
        let until = minute.and_then(|minute| minute_of_day(minute, snapshot.at, "on %a"))?;
        let age = span(snapshot.at.mono.seconds_since(last.made_at));
        return Some(Safe {
            until: format!("Was safe until {until}"),
            finish: Some(format!("By a forecast {age} old.")),
        });
    }
    let end = safe_end(snapshot);
    let until = headline(snapshot).map(|it| capital(&it));
    let finish = match snapshot.finish {
        Some(finish) => against(finish, end, snapshot),
        None => supposed(snapshot),
    };
    match until {
        Some(until) => Some(Safe { until, finish }),
        None => finish.map(|finish| Safe { until: finish, finish: None }),
    }
}

/// The same as a sentence or two.
pub fn verdict(snapshot: &Snapshot) -> Option<String> {
    let Safe { until, finish } = safe(snapshot)?;
    let stop = if until.ends_with('.') { "" } else { "." };
    Some(match finish {
        Some(finish) if finish.starts_with(|it: char| it.is_ascii_digit()) => {
            format!("{until}, {finish}")
        }
        Some(finish) => format!("{until}{stop} {finish}"),
        None => format!("{until}{stop}"),
    })
}

/// The headline within a sentence: `safe until 17:10`.
pub(super) fn headline(snapshot: &Snapshot) -> Option<String> {
    safe_end(snapshot).map(|end| until(end, snapshot.at))
}

/// The end's time of day as the headline prints it; `None` while no clock is believed or it is here.
pub(super) fn end_time(snapshot: &Snapshot) -> Option<String> {
    let end = safe_end(snapshot).filter(|end| end.minute > end.now)?;
    minute_of_day(end.minute, snapshot.at, "on %a")
}

/// `safe until 17:55`, or `safe for 5 h` while no clock is believed; of a remaining time.
pub(super) fn safe_until([low, _, high]: [Seconds; 3], at: Stamp) -> String {
    until(end_of(low, high - low, at), at)
}

/// A moment as it is printed.
#[derive(Clone, Copy)]
struct End {
    /// Minutes of the calendar of the place; from now, while no clock is believed.
    minute: i64,
    /// The same of this moment.
    now: i64,
    /// Rounded down to the minute only.
    exact: i64,
    /// What it was rounded down to, min.
    step: i64,
    /// It is as far away as this, min, for where the calendar says nothing.
    left: u64,
}

fn end_of(low: Seconds, width: Seconds, at: Stamp) -> End {
    let left = safe_min(low, width);
    let until = Mono::at_s(at.mono.as_s() + low.si().clamp(0.0, 1e9));
    let step = clock_step_min(low, width);
    let minute = |then, step| calendar_min(then, at, step, Seconds::ZERO);
    match (minute(until, step), minute(until, 1), minute(at.mono, 1)) {
        (Some(minute), Some(exact), Some(now)) => End { minute, now, exact, step, left },
        _ => {
            let minute = i64::try_from(left).unwrap_or(i64::MAX);
            End { minute, now: 0, exact: whole_min(low), step: 1, left }
        }
    }
}

fn until(end: End, at: Stamp) -> String {
    if end.minute <= end.now {
        return ANY_MINUTE.to_lowercase();
    }
    match minute_of_day(end.minute, at, "on %a") {
        Some(time) => format!("safe until {time}"),
        None => format!("safe for {}", minutes_said(end.left.clamp(1, 30 * 1440))),
    }
}

/// The end that the headline prints. While the finish is at risk it lies before the finish, and
/// while it is safe not before it: the warning has a margin that the bare figure lacks.
fn safe_end(snapshot: &Snapshot) -> Option<End> {
    let [low, _, high] = snapshot.cautious_case()?;
    let end = end_of(low, high - low, snapshot.at);
    let Some(finish) = snapshot.finish.filter(|finish| finish.at > snapshot.at.mono) else {
        return Some(end);
    };
    let at = finish_minute(finish.at, snapshot.at);
    let minute = match finish.verdict {
        Some(Verdict::Tight | Verdict::Short) if end.minute >= at && is_read(snapshot) => {
            let before = (at - 1).div_euclid(end.step).saturating_mul(end.step);
            if before > end.now { before } else { at - 1 }
        }
        Some(Verdict::Enough) if end.minute < at && reaches(finish) => {
            at.min(end.exact).max(end.minute)
        }
        _ => return Some(end),
    };
    let left = u64::try_from(minute - end.now).unwrap_or(0);
    Some(End { minute, left, ..end })
}

/// Whether the chance is that of a finish which is safe.
fn reaches(finish: FinishView) -> bool {
    finish.chance.is_some_and(|chance| chance.part() >= 0.9)
}

/// Whether readings stand behind the forecast: alarms go by no other.
fn is_read(snapshot: &Snapshot) -> bool {
    matches!(&snapshot.outlook, Outlook::Lasts(forecast) if forecast.basis != Basis::Expected)
}

/// The finish in printed minutes, as [`clock_time`] has it; counted from now while no clock is
/// believed.
fn finish_minute(finish: Mono, at: Stamp) -> i64 {
    let half = Seconds::of(30.0);
    calendar_min(finish, at, 1, half)
        .unwrap_or_else(|| whole_min(finish.seconds_since(at.mono) + half))
}

fn against(finish: FinishView, end: Option<End>, snapshot: &Snapshot) -> Option<String> {
    let at = snapshot.at;
    if finish.at <= at.mono {
        return Some(format!("Your finish was {}.", moment(finish.at, at)));
    }
    let (Some(end), Some(verdict)) = (end, finish.verdict) else {
        let when = clock_time(finish.at, at).unwrap_or_else(|| "your finish".into());
        return matches!(snapshot.outlook, Outlook::TooSoon { .. })
            .then(|| format!("Too soon to say for {when}."));
    };
    let past = end.minute - finish_minute(finish.at, at);
    let far = minutes_said(past.unsigned_abs().min(30 * 1440));
    Some(match verdict {
        Verdict::Enough if past > 0 => format!("{far} past your finish."),
        Verdict::Enough if reaches(finish) => JUST_ENOUGH.into(),
        Verdict::Tight | Verdict::Short if past < 0 && is_read(snapshot) => {
            format!("{far} short of your finish.")
        }
        Verdict::Enough | Verdict::Tight | Verdict::Short => NOT_SURE.into(),
    })
}

/// What the figure supposes, while it is not known which bank there is.
fn supposed(snapshot: &Snapshot) -> Option<String> {
    Some(format!("{}.", capital(supposing(snapshot.cautious_story()?)?)))
}
