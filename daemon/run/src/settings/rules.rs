//! When an activity chooses itself: the tables `[[activity_rule]]`.

use reckon::{
    engine::{ActivityRule, DayTime, ProgramBusy},
    words,
};

use super::sheet::{Limits, Table};

const TIME_WANT: &str = words::settings::TIME_OF_DAY;

/// One rule; `None` if it was complained about.
pub(super) fn read(mut t: Table<'_>, activities: &[String]) -> Option<ActivityRule> {
    let activity = t.text("activity", words::settings::RULE_ACTIVITY);
    match &activity {
        Some(name) if !activities.contains(name) => {
            let known = activities.join(", ");
            t.complain("activity", words::settings::no_such_activity(&known));
        }
        None if !t.has("activity") => {
            t.complain("activity", words::settings::RULE_ACTIVITY_MISSING.to_owned());
        }
        _ => {}
    }
    let word = t.text("program", words::settings::PROGRAM);
    let cores = Limits::from(0.0, 64.0, "cores");
    let busy = t.number("busy_above", cores, words::settings::BUSY_ABOVE);
    let (from, to) = (t.parsed("from", TIME_WANT, minutes), t.parsed("to", TIME_WANT, minutes));
    if t.has("busy_above") && !t.has("program") {
        t.complain("busy_above", words::settings::PROGRAM_MISSING.to_owned());
    }
    match (t.has("from"), t.has("to")) {
        (true, false) => t.complain("from", words::settings::FROM_AND_TO.to_owned()),
        (false, true) => t.complain("to", words::settings::FROM_AND_TO.to_owned()),
        (false, false) if !t.has("program") => {
            t.complain("program", words::settings::RULE_EMPTY.to_owned());
        }
        _ => {}
    }
    if from.is_some() && from == to {
        t.complain("to", words::settings::SAME_TIME.to_owned());
    }
    t.done();
    let cores_busy = busy.unwrap_or(USUAL_BUSY);
    Some(ActivityRule {
        activity: activity?,
        program: word.map(|word| ProgramBusy { word, cores_busy }),
        time: from.zip(to).map(|(from_min, to_min)| DayTime { from_min, to_min }),
    })
}

/// A program that only waits is not what somebody is doing.
const USUAL_BUSY: f64 = 0.02;

/// Minutes after midnight.
fn minutes(text: &str) -> Option<u16> {
    let (hour, minute) = text.trim().split_once(':')?;
    let two = |text: &str| text.len() == 2 && text.bytes().all(|byte| byte.is_ascii_digit());
    let (hour, minute): (u16, u16) =
        (hour.parse().ok().filter(|_| two(hour))?, minute.parse().ok().filter(|_| two(minute))?);
    (hour < 24 && minute < 60).then_some(hour * 60 + minute)
}
