//! The one line at the top of Now, in 34 letters at most: what is the matter, or that all is well.

use alloc::{format, string::String, vec::Vec};

use super::numbers::{
    bare, calendar_min, celsius, chance, energy, minute_of_day, or_more, power, span, volts,
};
use crate::{
    power_off::PowerOff,
    snapshot::{About, Alarm, LogState, Snapshot},
    time::Trust,
    units::{Seconds, Share},
};

sentences! {
    LAST_MINUTES = "Last minutes: save your log now";
    MAY_END = "May end soon: save your log now";
}

/// An alarm in one short line.
pub fn strip(alarm: &Alarm, snapshot: &Snapshot) -> String {
    match &alarm.about {
        About::RunningOut { limit_min } => running_out(*limit_min, snapshot),
        About::FinishAtRisk { below_percent } => at_risk(*below_percent, snapshot),
        About::Undervoltage { times } => too_low(*times, snapshot),
        About::Hot => match snapshot.board.temp {
            Ok(temp) => format!("Board too hot: {}", celsius(temp)),
            Err(_) => "Board too hot".into(),
        },
        About::DrawHigh { .. } => match snapshot.draw.lately {
            Some(lately) => format!("Draw far above usual: {}", power(lately)),
            None => "Draw far above usual".into(),
        },
        About::SensorSilent { .. } => "Sensor silent: draw not read".into(),
        About::ShuntDoubt { .. } => "Current looks wrong: check shunt".into(),
        About::OverRange { .. } => "More than the sensor can measure".into(),
        About::BrownOutNear => "Close to the supply's limit".into(),
        About::AutoOff => "Bank may switch itself off".into(),
        About::RecordNotWritten => "Record not written".into(),
        About::ChoicesNotKept => "Choices not saved to the card".into(),
        About::ClockNotTrusted => "Clock not set, timed mode in use".into(),
    }
}

fn running_out(limit_min: u32, snapshot: &Snapshot) -> String {
    let limit = Seconds::of(f64::from(limit_min) * 60.0);
    let low = snapshot.cautious_case().map_or(Seconds::ZERO, |[low, ..]| low);
    match (low > limit, limit_min) {
        (false, ..=10) => LAST_MINUTES.into(),
        (true, ..=10) => MAY_END.into(),
        (false, _) => format!("Less than {} may be left", span(limit)),
        // Raised by the deep tail: the range itself lies above.
        (true, _) => format!("Small chance: under {} left", span(limit)),
    }
}

/// `Tight for 17:45: about 2 in 3`.
fn at_risk(below_percent: u32, snapshot: &Snapshot) -> String {
    let (how, most) = if below_percent <= 50 { ("Short", 0.5) } else { ("Tight", 0.9) };
    let Some(finish) = snapshot.finish else { return format!("{how} for your finish") };
    let odds = finish.chance.map(|odds| chance(Share::nearest(odds.part().min(most))));
    let day = calendar_min(finish.at, snapshot.at, 1, Seconds::of(30.0))
        .and_then(|minute| minute_of_day(minute, snapshot.at, "on %a"));
    match (day, odds) {
        (Some(time), Some(odds)) if time.len() == 5 => format!("{how} for {time}: {odds}"),
        // A day takes the room of 'about'.
        (Some(time), odds) => match odds.as_ref().and_then(|it| it.strip_prefix("about\u{a0}")) {
            Some(odds) => format!("{how} for {time}: {odds}"),
            None => format!("{how} for {time}"),
        },
        (None, Some(odds)) => format!("Finish {}: {odds}", how.to_lowercase()),
        (None, None) => format!("{how} for your finish"),
    }
}

fn too_low(times: u32, snapshot: &Snapshot) -> String {
    let low_now = snapshot.board.undervoltage == Ok(true)
        || snapshot.board.flags.is_ok_and(|flags| flags.now.undervoltage);
    match (low_now, times) {
        (true, 0 | 1) => "Supply too low right now".into(),
        (true, _) => format!("Supply too low, {times} times"),
        (false, 0 | 1) => "Supply was too low just now".into(),
        (false, _) => format!("Supply was too low, {times} times"),
    }
}

/// The clean power-off in one short line, where it is worth one.
pub fn power_off_strip(snapshot: &Snapshot) -> Option<&'static str> {
    Some(match &snapshot.power_off {
        PowerOff::Counting { .. } => LAST_MINUTES,
        PowerOff::Unsure { .. } => MAY_END,
        PowerOff::Saving { .. } => "Switching off: programs save",
        PowerOff::Closing { .. } | PowerOff::Asked { .. } => "Switching off: record is closed",
        PowerOff::Stopped { .. } => "It stays on: save your log now",
        PowerOff::Failed { .. } => "Not switched off: save your log",
        PowerOff::Unwanted | PowerOff::NoUnit | PowerOff::Watching { .. } => return None,
    })
}

/// What is well, and what is not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Well {
    /// `All well: bank, supply, clock, record`.
    pub line: String,
    /// The parts, each in one line.
    pub parts: Vec<Part>,
}

/// One of the things that should be well.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Its name: `Bank`.
    pub name: &'static str,
    /// How it is, in one line.
    pub state: String,
    /// Nothing is wrong with it.
    pub well: bool,
    /// It is there and looked at; else it is not named among what is well.
    pub seen: bool,
    /// What is wrong with it, as a strip, where no alarm says so.
    pub strip: Option<&'static str>,
}

/// Bank, supply, clock and record, in one line and in one line each.
pub fn well(snapshot: &Snapshot) -> Well {
    let parts =
        Vec::from([bank_part(snapshot), supply(snapshot), clock(snapshot), record(snapshot)]);
    let good = parts.iter().filter(|part| part.well && part.seen);
    let good: Vec<String> = good.map(|part| part.name.to_lowercase()).collect();
    let begins = if parts.iter().all(|part| part.well) { "All well" } else { "Well" };
    Well { line: format!("{begins}: {}", good.join(", ")), parts }
}

fn alarmed(snapshot: &Snapshot, of: impl Fn(&About) -> bool) -> bool {
    snapshot.alarms.iter().any(|alarm| of(&alarm.about))
}

fn bank_part(snapshot: &Snapshot) -> Part {
    let (name, bank) = ("Bank", &snapshot.bank);
    let Some(spec) = &bank.spec else {
        let which = "Say which bank it is";
        return Part {
            name,
            state: "not known".into(),
            well: false,
            strip: Some(which),
            seen: true,
        };
    };
    let given = format!("{}{}", or_more(bank.delivered_at_least()), energy(bank.delivered));
    let of = bank
        .usable
        .map_or_else(String::new, |[_, middle, _]| format!(" of {}", bare(&energy(middle))));
    let ends = |it: &About| matches!(it, About::AutoOff | About::RunningOut { .. });
    let well = !alarmed(snapshot, ends);
    Part { name, state: format!("{}: {given} given{of}", spec.name), well, strip: None, seen: true }
}

fn supply(snapshot: &Snapshot) -> Part {
    let supply = &snapshot.supply;
    let read: Vec<String> = [supply.volts.ok().map(volts), supply.power.ok().map(power)]
        .into_iter()
        .flatten()
        .collect();
    let state = if read.is_empty() { String::from("not measured") } else { read.join(", ") };
    let low = match snapshot.undervoltage_times {
        0 => String::new(),
        1 => "; low once".into(),
        times => format!("; low {times} times"),
    };
    let of_supply = |it: &About| {
        matches!(
            it,
            About::Undervoltage { .. }
                | About::BrownOutNear
                | About::SensorSilent { .. }
                | About::OverRange { .. }
                | About::ShuntDoubt { .. }
        )
    };
    let well = !alarmed(snapshot, of_supply);
    let seen = !read.is_empty() || snapshot.board.undervoltage.is_ok();
    Part { name: "Supply", state: state + &low, well, strip: None, seen }
}

fn clock(snapshot: &Snapshot) -> Part {
    let (state, well) = match snapshot.at.trust {
        Trust::Synchronised => ("set by a network or receiver", true),
        Trust::Phone => ("set by a phone", true),
        Trust::Unset => ("not set: no time of day", false),
    };
    let strip = (!well).then_some("Clock not set");
    Part { name: "Clock", state: state.into(), well, strip, seen: true }
}

fn record(snapshot: &Snapshot) -> Part {
    let name = "Record";
    let kept = !alarmed(snapshot, |it| *it == About::RecordNotWritten);
    match &snapshot.log {
        LogState::Off => {
            Part { name, state: "not kept".into(), well: true, strip: None, seen: false }
        }
        LogState::Stopped { why } => Part {
            name,
            state: why.clone(),
            well: false,
            strip: Some("Record stopped"),
            seen: true,
        },
        LogState::Kept { last } => {
            let age = snapshot.at.mono.seconds_since(*last);
            let state = if age.si() < 60.0 {
                String::from("written within the last minute")
            } else {
                format!("last written {} ago", span(age))
            };
            Part { name, state, well: kept, strip: None, seen: true }
        }
    }
}
