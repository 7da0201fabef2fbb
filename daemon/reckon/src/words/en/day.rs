//! The drawing of an outing's day in words: the sum of each strip, the legend, and what was read at a
//! moment.

use alloc::{format, string::String, vec::Vec};

use super::{
    calendar::Local,
    fold::seconds,
    numbers::{TIE, bare, celsius, energy, percent, power, span, volts},
    outing::took,
};
use crate::{
    energy_tally::EnergyTally,
    report::{MinMeanMax, Report},
    units::{Celsius, Joules, Seconds, Share, Volts, Watts},
};

/// Of the draw: `3.1 W on average, 6.3 W at most`.
pub fn drawn(mean: Option<Watts>, peak: Option<Watts>) -> String {
    took(None, mean, peak)
}

/// Of an activity: `5 h 24, 17.3 Wh`.
pub fn done(tally: Option<&EnergyTally>, lasted: Seconds) -> String {
    match tally.filter(|tally| tally.lasted().si() > 0.0) {
        Some(tally) => in_time(&span(lasted), &energy(tally.energy())),
        None => span(lasted),
    }
}

/// Of what was estimated: `25 min, 1.2 Wh`.
pub fn was_estimated(report: &Report) -> String {
    in_time(&span(report.modelled.lasted()), &energy(report.modelled.energy()))
}

/// Of the moments at which something happened: `once`, `3 times`, `3 times, 4.66 V`.
pub fn so_often(times: usize, lowest: Option<Volts>) -> String {
    let times = if times == 1 { "once".into() } else { format!("{times}{TIE}times") };
    lowest.map_or(times.clone(), |low| in_time(&times, &volts(low)))
}

/// Of the processor: `38 to 52 °C`.
pub fn warm(seen: &MinMeanMax<Celsius>) -> String {
    format!("{} to {}", bare(&celsius(seen.low)), celsius(seen.high))
}

/// The dotted lines: `dotted: 2, 4 and 6 W; 40 and 50 °C`.
pub fn dotted(levels: &[Vec<String>]) -> String {
    let groups: Vec<String> =
        levels.iter().filter(|it| !it.is_empty()).map(|it| listed(it)).collect();
    if groups.is_empty() { String::new() } else { dotted_at(&groups.join("; ")) }
}

/// `2, 4 and 6 W`: a unit that all share is said once, and no more digits than tell them apart.
fn listed(levels: &[String]) -> String {
    let parted: Vec<(&str, &str)> =
        levels.iter().map(|it| it.split_once(TIE).unwrap_or((it, ""))).collect();
    let unit = parted.first().map_or("", |it| it.1);
    let shared = !unit.contains(TIE) && parted.iter().all(|it| it.1 == unit);
    let mut names: Vec<&str> = match shared {
        true => parted.iter().map(|it| it.0).collect(),
        false => levels.iter().map(String::as_str).collect(),
    };
    while shared && names.iter().all(|it| it.contains('.') && it.ends_with(['0', '.'])) {
        names = names.iter().map(|it| &it[..it.len() - 1]).collect();
    }
    let mut names: Vec<String> = names.into_iter().map(Into::into).collect();
    let Some(mut last) = names.pop() else { return String::new() };
    if shared {
        last = format!("{last}{TIE}{unit}");
    }
    if names.is_empty() { last } else { and(&names.join(", "), &last) }
}

/// What the marks under a drawing are.
pub const fn hours(clock: bool) -> &'static str {
    if clock { "below: time of day" } else { "below: time since it began" }
}

/// A mark under a drawing: `09`, `09:30`, or `2 h` where the time of day is not known.
pub fn mark(began: Option<Local>, at: Seconds, with_minutes: bool) -> String {
    let Some(began) = began else { return span(at) };
    let time = began.plus_s(at.si() + 0.5).hour_minute();
    if with_minutes { time } else { time.chars().take(2).collect() }
}

/// What was read at a moment.
#[derive(Clone, Copy, Debug)]
pub struct Moment<'a> {
    /// Since the outing began.
    pub at: Seconds,
    /// Mean draw.
    pub draw: Option<Watts>,
    /// Nobody measured it.
    pub estimated: bool,
    /// What was being done.
    pub doing: Option<&'a str>,
    /// The supply.
    pub supply: Option<Volts>,
    /// The processor.
    pub processor: Option<Celsius>,
}

/// Its time: `14:20`, or `5 h 20`.
pub fn moment_at(it: &Moment<'_>, began: Option<Local>) -> String {
    began.map_or_else(|| span(it.at), |began| began.plus_s(it.at.si()).hour_minute())
}

/// What was read: `3.4 W · contacts · 4.86 V · 50 °C`.
pub fn read(it: &Moment<'_>) -> String {
    let draw = match it.draw {
        Some(draw) if it.estimated => about(&power(draw)),
        Some(draw) => power(draw),
        None => NOT_READ.into(),
    };
    let parts =
        [Some(draw), it.doing.map(String::from), it.supply.map(volts), it.processor.map(celsius)];
    parts.into_iter().flatten().collect::<Vec<_>>().join(" · ")
}

/// The most that one activity took: `contacts 65 %`.
pub fn most(name: &str, part: Joules, all: Joules) -> String {
    share(&name, &percent(Share::nearest(part.si() / all.si().max(1e-9))))
}

sentences! {
    in_time(time, amount) = "{time}, {amount}";
    and(before, last) = "{before} and {last}";
    dotted_at(levels) = "dotted: {levels}";
    about(power) = "about {power}";
    share(name, percent) = "{name} {percent}";
    NOT_READ = "no reading";
    MEAN_DRAW = "mean draw";
    slot(slot_s: f64) = "one slot, {}", seconds(slot_s);
    SECONDS_OF_PERIOD = "below: seconds of one period";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dotted_lines_are_said_once_with_their_unit() {
        let said = |all: &[&str]| {
            let all = all.iter().map(|it| it.replace(' ', "\u{a0}")).collect::<Vec<_>>();
            dotted(&[all]).replace(TIE, " ")
        };
        assert_eq!(said(&["2.0 W", "4.0 W", "6.0 W"]), "dotted: 2, 4 and 6 W");
        assert_eq!(said(&["4.60 V", "4.80 V", "5.00 V"]), "dotted: 4.6, 4.8 and 5.0 V");
        assert_eq!(said(&["40 °C"]), "dotted: 40 °C");
        assert_eq!(said(&["20 °C", "40 °C"]), "dotted: 20 and 40 °C");
        assert_eq!(said(&["30 min", "1 h", "1 h 30"]), "dotted: 30 min, 1 h and 1 h 30");
        assert_eq!(said(&[]), "");
    }

    #[test]
    fn a_moment_is_read_in_one_line() {
        let it = Moment {
            at: Seconds::of(7260.0),
            draw: Some(Watts::of(3.42)),
            estimated: false,
            doing: Some("contacts"),
            supply: Some(Volts::of(4.86)),
            processor: Some(Celsius::of(50.2)),
        };
        assert_eq!(read(&it).replace(TIE, " "), "3.4 W · contacts · 4.86 V · 50 °C");
        assert_eq!(moment_at(&it, None).replace(TIE, " "), "2 h 01");
        let none = Moment { draw: None, doing: None, supply: None, processor: None, ..it };
        assert_eq!(read(&none), "no reading");
        assert!(read(&Moment { estimated: true, ..it }).starts_with("about 3.4"));
    }
}
