//! An outing: when it began, how it ended, what it took.
//!
//! Times of day are given to the second here, since an end is known to seconds.

use alloc::{format, string::String, vec::Vec};

use super::{
    calendar::{Local, capital},
    numbers::{TIE, chance, energy, power, span},
};
use crate::units::{Joules, Seconds, Share, Watts};

/// How an outing ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OutingEnd {
    /// It has not.
    Open,
    /// The board was switched off.
    SwitchedOff,
    /// The bank cut out.
    Died,
    /// The power went away: the bank died with this chance, else its plug was pulled.
    PowerLost(Share),
    /// The power went away because its plug was pulled.
    Unplugged,
    /// Another bank took over.
    Swapped,
}

/// When an outing began: `Saturday 9 March 2024 at 08:02`.
pub fn began(began: Option<Local>) -> String {
    match began {
        Some(began) => format!("{} at{TIE}{}", began.day(), began.hour_minute()),
        None => "On an unknown day".into(),
    }
}

/// An outing's name, or what stands for one.
pub fn outing_name(name: Option<&str>, began: Option<Local>) -> String {
    match (name, began) {
        (Some(name), _) => name.into(),
        (None, Some(began)) => format!("Outing of {}", began.date()),
        (None, None) => "Outing of an unknown day".into(),
    }
}

/// The end of an outing as a sentence; `ended` is the last moment known to be part of it.
pub fn ending(end: OutingEnd, ended: Option<Local>, within: Option<Seconds>) -> String {
    let when = ended.map_or_else(String::new, |ended| format!(" {}", between(ended, within)));
    match end {
        OutingEnd::Open => "It is still going on.".into(),
        OutingEnd::SwitchedOff => format!("The board was switched off{when}."),
        OutingEnd::Died => format!("The bank ran empty{when}."),
        OutingEnd::PowerLost(_) => {
            format!("The board lost power{when}: the bank ran empty, or its plug was pulled.")
        }
        OutingEnd::Unplugged => format!("The plug was pulled{when}."),
        OutingEnd::Swapped => format!("Another bank took over{when}."),
    }
}

/// Behind the end of an outing in which the bank ran empty too soon to learn from it.
pub const TOO_SOON_TO_LEARN: &str =
    "That was too soon to learn from: a run-down counts from ten minutes on.";

/// `between 13:45:10 and 13:45:20`, or `at 13:45:10`.
fn between(ended: Local, within: Option<Seconds>) -> String {
    let width_s = within.map_or(0.0, Seconds::si);
    if width_s < 1.0 {
        return format!("at{TIE}{}", ended.time());
    }
    let last = ended.plus_s(width_s);
    let next_day = if last.same_day(ended) { "" } else { " of the next day" };
    format!("between{TIE}{} and{TIE}{}{next_day}", ended.time(), last.time())
}

/// What lies in front of the operator when the power went away: the question, and what the
/// forecast thinks.
pub fn how_ended(died: Share) -> String {
    match died.part() {
        0.95.. => "By the forecast the bank was due to run empty, and most likely it did.".into(),
        ..=0.05 => "By the forecast much was left: most likely the plug was pulled.".into(),
        _ => format!("By the forecast, the chance that the bank ran empty is {}.", chance(died)),
    }
}

/// Energy and mean draw of an outing: `31.4 Wh, 3.2 W on average`.
pub fn took(energy_wh: Option<Joules>, mean: Option<Watts>, peak: Option<Watts>) -> String {
    let mean = mean.map(|mean| format!("{} on average", power(mean)));
    let peak = peak.map(|peak| format!("{} at most", power(peak)));
    let parts: Vec<String> = [energy_wh.map(energy), mean, peak].into_iter().flatten().collect();
    if parts.is_empty() { "The draw is not known".into() } else { parts.join(", ") }
}

/// What an outing took, where its sensor was at the end of its range at times.
#[must_use]
pub fn took_at_least(took: &str) -> String {
    format!("At least {took}: at times the current was more than the sensor can measure")
}

/// What was bridged over gaps, where that is worth a word.
pub fn bridged(all: Option<Joules>, bridged: Option<Joules>) -> Option<String> {
    let (all, bridged) = (all?, bridged?);
    let worth = bridged.wh() > 0.005 && bridged.wh() > 0.005 * all.wh();
    worth.then(|| estimated(&energy(bridged)))
}

/// A moment of an outing: the time of day where it is known, and how far into it.
pub fn moment_of(began: Option<Local>, at: Seconds) -> String {
    let into = if at.si() < 30.0 { "at the start".into() } else { format!("after {}", span(at)) };
    match began {
        Some(began) => format!("{}, {into}", began.plus_s(at.si()).time()),
        None => capital(&into),
    }
}

/// What sort of thing happened; `kind` as the record names it.
pub fn event(kind: &str, text: &str) -> String {
    let said = match kind {
        "undervoltage" => "The supply was too low",
        "strain" => "The board was under strain",
        "missed_sweeps" => "Readings were missed",
        "mark" => "Mark",
        "activity" if text.is_empty() => return "No activity from now on".into(),
        "activity" => "Activity",
        "alarm_raised" => "Alarm",
        "alarm_cleared" => "Alarm over",
        "clock_step" => "The clock was set",
        _ => "",
    };
    match (said, text.trim()) {
        (said, "") => said.into(),
        ("", text) => text.into(),
        (said, text) => format!("{said}: {text}"),
    }
}

/// The finish was set: `Finish set for 17:45`.
pub fn finish_set(began: Option<Local>, finish: Option<Seconds>) -> String {
    match (finish, began) {
        (None, _) => "No finish from now on".into(),
        (Some(at), Some(began)) => {
            format!("Finish set for {}", began.plus_s(at.si()).hour_minute())
        }
        (Some(at), None) => format!("Finish set for {} into it", span(at)),
    }
}

/// A gap: `The sensor did not answer for 40 s (why)`.
pub fn silence(source: &str, lasted: Option<Seconds>, why: &str) -> String {
    let why = why.trim().trim_end_matches('.');
    let why = if why.is_empty() { String::new() } else { format!(": {why}") };
    match lasted {
        Some(lasted) => format!("No reading from {source} for {}{why}.", span(lasted)),
        None => format!("No more readings from {source}{why}."),
    }
}

sentences! {
    estimated(energy) = "Of that, {energy} is an estimate, for times without a reading.";
    /// How long an outing that goes on has lasted: `2 h 14 so far`.
    so_far(lasted: Seconds) = "{} so far", span(lasted);
    /// The drawing of an outing's draw in words.
    draw_line(lasted: Seconds, mean: Option<Watts>, peak: Option<Watts>) = "The draw over {}. \
        {}.", span(lasted), took(None, mean, peak).trim_end_matches('.');
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Wall;

    fn local(unix_s: i64) -> Local {
        Local { wall: Wall::from_unix_ms(unix_s * 1000), utc_offset_s: 3600 }
    }

    fn plain(text: &str) -> String {
        text.replace(TIE, " ")
    }

    #[test]
    fn the_end_of_a_dead_bank_is_an_interval() {
        // 2024-03-09T12:45:10Z by GNU date is 1709988310.
        let ended = Some(local(1_709_988_310));
        let within = Some(Seconds::of(10.0));
        let said = |end| plain(&ending(end, ended, within));
        assert_eq!(said(OutingEnd::Died), "The bank ran empty between 13:45:10 and 13:45:20.");
        assert_eq!(
            said(OutingEnd::PowerLost(Share::nearest(0.9))),
            "The board lost power between 13:45:10 and 13:45:20: the bank ran empty, or its plug \
             was pulled."
        );
        assert_eq!(
            plain(&ending(OutingEnd::SwitchedOff, ended, None)),
            "The board was switched off at 13:45:10."
        );
        assert_eq!(plain(&ending(OutingEnd::Died, None, within)), "The bank ran empty.");
        let late = Some(local(1_709_988_310 + 36_880));
        assert_eq!(
            plain(&ending(OutingEnd::Died, late, Some(Seconds::of(60.0)))),
            "The bank ran empty between 23:59:50 and 00:00:50 of the next day."
        );
        assert_eq!(plain(&local(1_709_988_310).day()), "Saturday 9 March 2024");
    }
}
