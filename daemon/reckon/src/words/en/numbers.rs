//! Numbers for a person: as many digits as are worth believing, and no line break inside one.

use alloc::{format, string::String, vec::Vec};

use crate::{
    time::{Mono, Stamp, Wall},
    units::{Amps, Celsius, Joules, Seconds, Share, Volts, Watts},
};

/// Keeps a number and its unit on one line.
pub(super) const TIE: char = '\u{a0}';

/// Rounded to the nearest whole number, held to what a page can show.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held to the range first, and never NaN: quantities are finite"
)]
pub(super) fn whole(number: f64) -> u64 {
    libm::round(number.clamp(0.0, 1e12)) as u64
}

/// A forecast in minutes, rounded to a step that suits its size and how unsure it is.
///
/// The step never falls as the time grows, and it changes only at times that are whole numbers of
/// both steps, so a longer time is never printed as a shorter one.
fn rounded_min(minutes: f64, width_min: f64, down: bool) -> u64 {
    let step = step_min(minutes, width_min);
    let steps = minutes.max(0.0) / step;
    whole(if down { libm::floor(steps) } else { libm::round(steps) } * step)
}

fn step_min(minutes: f64, width_min: f64) -> f64 {
    const STEPS: [f64; 6] = [1.0, 5.0, 10.0, 15.0, 30.0, 60.0];
    const BY_SIZE: [(f64, f64); 4] = [(20.0, 1.0), (120.0, 5.0), (720.0, 10.0), (2880.0, 30.0)];
    let by_size = BY_SIZE.into_iter().find(|(below, _)| minutes < *below).map_or(60.0, |it| it.1);
    let largest = |most: f64| STEPS.into_iter().rfind(|step| *step <= most).unwrap_or(1.0);
    // An eighth of an 80 % range is a third of a standard deviation: a finer step says nothing.
    largest(width_min / 8.0).min(largest(minutes / 4.0)).max(by_size)
}

/// How many seconds a remaining time can count down before [`left`] prints something else.
pub(crate) fn stands_s(time: Seconds, width: Seconds) -> f64 {
    let minutes = time.si().max(0.0) / 60.0;
    let step = step_min(minutes, width.si() / 60.0);
    let lowest = (libm::round(minutes / step) - 0.5) * step;
    ((minutes - lowest) * 60.0).max(0.0)
}

/// Beyond 30 days a forecast means nothing any more.
const LONGEST_MIN: u64 = 43_200;

/// `50 min`, `6 h 40`, `3 days 5 h`; the last number is `1 min`.
pub(super) fn minutes_said(minutes: u64) -> String {
    let (days, hours, min) = (minutes / 1440, minutes / 60, minutes % 60);
    match (minutes, min) {
        (0, _) => format!("1{TIE}min"),
        (1..60, _) => format!("{minutes}{TIE}min"),
        (60..4320, 0) => format!("{hours}{TIE}h"),
        (60..4320, _) => format!("{hours}{TIE}h{TIE}{min:02}"),
        (4320..=LONGEST_MIN, _) if hours % 24 == 0 => format!("{days}{TIE}days"),
        (4320..=LONGEST_MIN, _) => format!("{days}{TIE}days{TIE}{}{TIE}h", hours % 24),
        _ => format!("more than 30{TIE}days"),
    }
}

/// A forecast remaining time, given the middle or an end and the width of its range.
pub fn left(time: Seconds, width: Seconds) -> String {
    minutes_said(rounded_min(time.si() / 60.0, width.si() / 60.0, false))
}

/// `between 5 h 50 and 7 h 30`; the cautious end is rounded down.
pub fn range(remaining: [Seconds; 3]) -> String {
    let [low, _, high] = remaining.map(|time| time.si() / 60.0);
    let width = high - low;
    let (low, high) = (rounded_min(low, width, true), rounded_min(high, width, false));
    let (from, to) = (minutes_said(low), minutes_said(high));
    if low == 0 {
        return format!("up to {to}");
    }
    if from == to {
        return if low > LONGEST_MIN { from } else { format!("about {from}") };
    }
    format!("between {from} and {to}")
}

/// A duration short enough to be printed large: `50 min`, `6 h 40`, `3 d 5 h`, `12 d`.
fn minutes_brief(minutes: u64) -> String {
    let days = minutes.min(LONGEST_MIN) / 1440;
    if days >= 10 {
        return format!("{days}{TIE}d");
    }
    minutes_said(minutes).replace(&format!("{TIE}days"), &format!("{TIE}d"))
}

/// [`left`], short enough to be printed large.
pub fn left_brief(time: Seconds, width: Seconds) -> String {
    minutes_brief(rounded_min(time.si() / 60.0, width.si() / 60.0, false))
}

/// [`range`] in 20 letters at most: `5 h 30 to 7 h 10`, `11 to 17 min`, `up to 8 min`.
pub fn range_brief(remaining: [Seconds; 3]) -> String {
    let [low, _, high] = remaining.map(|time| time.si() / 60.0);
    let width = high - low;
    let (low, high) = (rounded_min(low, width, true), rounded_min(high, width, false));
    let (from, to) = (minutes_brief(low), minutes_brief(high));
    match (low, high) {
        (0, _) => format!("up to {to}"),
        (_, LONGEST_MIN..) if low < LONGEST_MIN => format!("{from} or more"),
        (LONGEST_MIN.., _) => format!("{to} or more"),
        _ if from == to => format!("about {from}"),
        (1..60, 1..60) => format!("{low} to {to}"),
        _ => format!("{from} to {to}"),
    }
}

/// Whole minutes, rounded down.
pub(super) fn whole_min(time: Seconds) -> i64 {
    i64::try_from(whole(libm::floor(time.si() / 60.0))).unwrap_or(i64::MAX)
}

/// A forecast in whole minutes, rounded down to its own step: what is said to be safe.
pub(super) fn safe_min(time: Seconds, width: Seconds) -> u64 {
    rounded_min(time.si() / 60.0, width.si() / 60.0, true)
}

/// A span that is known: `12 s`, `14 min`, `2 h 14`, `3 days 5 h`.
pub fn span(time: Seconds) -> String {
    let seconds = whole(time.si());
    if seconds < 60 {
        return format!("{seconds}{TIE}s");
    }
    let minutes = whole(time.si() / 60.0);
    if minutes >= 4320 { minutes_said(minutes / 60 * 60) } else { minutes_said(minutes) }
}

sentences! {
    /// `12 s ago`.
    ago(then: Mono, now: Mono) = "{} ago", span(now.seconds_since(then));
    /// `in 2 h 14`.
    ahead(then: Mono, now: Mono) = "in {}", span(then.seconds_since(now));
    /// `23 %`.
    percent(share: Share) = "{:.0}{TIE}%", share.part() * 100.0;
}

/// The time of day of a moment, `18:20`, `06:00 tomorrow`, `06:00 on Saturday`; `None` while the
/// clock is not to be believed, or beyond a week.
pub fn clock_time(then: Mono, at: Stamp) -> Option<String> {
    time_of_day(then, at, 1)
}

/// What a clock on the wall shows: this minute, rounded down.
pub fn wall_clock(at: Stamp) -> Option<String> {
    minute_of_day(calendar_min(at.mono, at, 1, Seconds::ZERO)?, at, "on %A")
}

/// The same to so many whole minutes.
pub(super) fn time_of_day(then: Mono, at: Stamp, step_min: i64) -> Option<String> {
    let step = step_min.clamp(1, 60);
    let half_s = Seconds::of(30.0 * f64::from(i32::try_from(step).ok()?));
    minute_of_day(calendar_min(then, at, step, half_s)?, at, "on %A")
}

/// A moment in whole minutes of the calendar of the place, after `more` rounded down to so many;
/// `None` while the clock is not to be believed.
pub(super) fn calendar_min(then: Mono, at: Stamp, step_min: i64, more: Seconds) -> Option<i64> {
    let wall = at.believed()?.plus_s(then.as_s() - at.mono.as_s() + more.si());
    let local_s = wall.unix_ms().div_euclid(1000).saturating_add(i64::from(at.utc_offset_s));
    let step_min = step_min.clamp(1, 60);
    Some(local_s.div_euclid(60 * step_min).saturating_mul(step_min))
}

/// A minute of the calendar of the place as a time of day; a day of this week by this format.
pub(super) fn minute_of_day(minute: i64, at: Stamp, of_week: &str) -> Option<String> {
    let of_day = minute.rem_euclid(1440);
    let time = format!("{:02}:{:02}", of_day / 60, of_day % 60);
    let day = minute.div_euclid(1440);
    let today = calendar_min(at.mono, at, 1, Seconds::ZERO)?.div_euclid(1440);
    match day.saturating_sub(today) {
        0 => Some(time),
        1 => Some(format!("{time} tomorrow")),
        -1 => Some(format!("{time} yesterday")),
        2..=6 => {
            let date = Wall::from_unix_ms(day.saturating_mul(86_400_000)).local(0)?;
            Some(format!("{time} {}", date.strftime(of_week)))
        }
        _ => None,
    }
}

/// The time of day where the clock is believed, else how far away.
pub fn moment(then: Mono, at: Stamp) -> String {
    clock_time(then, at)
        .unwrap_or_else(|| if then >= at.mono { ahead(then, at.mono) } else { ago(then, at.mono) })
}

/// A step for times of day that is no finer than the forecast's own.
pub(super) fn clock_step_min(time: Seconds, width: Seconds) -> i64 {
    match step_min(time.si() / 60.0, width.si() / 60.0) {
        ..5.0 => 1,
        5.0..10.0 => 5,
        _ => 10,
    }
}

/// `0.45 W`, `4.1 W`, `26 W`.
pub fn power(watts: Watts) -> String {
    measured(watts.si(), "W")
}

/// `0.42 Wh`, `12.4 Wh`, `124 Wh`.
pub fn energy(joules: Joules) -> String {
    let wh = joules.wh();
    if wh.abs() < 0.0005 {
        return format!("0{TIE}Wh");
    }
    signed(wh, energy_digits(wh), "Wh")
}

/// Before a figure that is only a lower bound.
pub const fn or_more(is_at_least: bool) -> &'static str {
    if is_at_least { "at least " } else { "" }
}

/// Whether a part is more than nothing, to as many digits as the whole is said with.
pub(super) fn shows_beside(part: Joules, all: Joules) -> bool {
    let half = [0.5, 0.05, 0.005][energy_digits(all.wh())];
    part.wh().abs() >= half
}

fn energy_digits(wh: f64) -> usize {
    let size = wh.abs();
    if size < 0.995 { 2 } else { usize::from(size < 99.95) }
}

/// The parts of an energy, each to as many digits as the whole is said with and so rounded that
/// what is said adds up: the largest remainders are rounded up. In Wh, without the unit.
pub(super) fn energy_parts(all: Joules, parts: &[Joules]) -> Vec<String> {
    let digits = energy_digits(all.wh());
    let steps_a_wh = [1.0, 10.0, 100.0][digits];
    let exact: Vec<f64> = parts.iter().map(|part| part.wh() * steps_a_wh).collect();
    let mut steps: Vec<f64> = exact.iter().map(|exact| libm::floor(*exact)).collect();
    let missing = whole(libm::round(all.wh() * steps_a_wh) - steps.iter().sum::<f64>());
    let mut by_remainder: Vec<(f64, usize)> =
        exact.iter().zip(&steps).map(|(exact, floor)| exact - floor).zip(0..).collect();
    by_remainder.sort_by(|a, b| b.0.total_cmp(&a.0));
    for (_, ix) in by_remainder.into_iter().take(usize::try_from(missing).unwrap_or(0)) {
        steps[ix] += 1.0;
    }
    let bare = |steps: f64| {
        let sign = if steps < 0.0 { "\u{2212}" } else { "" };
        format!("{sign}{:.digits$}", steps.abs() / steps_a_wh)
    };
    steps.into_iter().map(bare).collect()
}

fn measured(value: f64, unit: &str) -> String {
    let size = value.abs();
    if size < 0.005 {
        return format!("0{TIE}{unit}");
    }
    let digits = if size < 0.995 { 2 } else { usize::from(size < 19.95) };
    signed(value, digits, unit)
}

fn signed(value: f64, digits: usize, unit: &str) -> String {
    let sign = if value < 0.0 { "\u{2212}" } else { "" };
    format!("{sign}{:.digits$}{TIE}{unit}", value.abs())
}

/// `5.08 V`.
pub fn volts(volts: Volts) -> String {
    signed(volts.si(), 2, "V")
}

/// `0.82 A`.
pub fn amps(amps: Amps) -> String {
    signed(amps.si(), 2, "A")
}

/// `48 °C`.
pub fn celsius(temp: Celsius) -> String {
    let whole_degrees = libm::round(temp.si());
    if whole_degrees == 0.0 {
        return format!("0{TIE}°C");
    }
    signed(whole_degrees, 0, "°C")
}

/// A number without its unit.
pub(super) fn bare(said: &str) -> &str {
    said.split(TIE).next().unwrap_or_default()
}

/// A chance as people say it: `about 2 in 3`.
pub fn chance(share: Share) -> String {
    const SAID: [(f64, &str); 11] = [
        (0.05, "1 in 20"),
        (0.10, "1 in 10"),
        (0.20, "1 in 5"),
        (1.0 / 3.0, "1 in 3"),
        (0.50, "1 in 2"),
        (0.60, "3 in 5"),
        (2.0 / 3.0, "2 in 3"),
        (0.75, "3 in 4"),
        (0.80, "4 in 5"),
        (0.90, "9 in 10"),
        (0.95, "19 in 20"),
    ];
    let part = share.part();
    if part < 0.03 {
        return "next to none".into();
    }
    if part > 0.97 {
        return "nearly certain".into();
    }
    let nearest = SAID.iter().min_by(|a, b| (a.0 - part).abs().total_cmp(&(b.0 - part).abs()));
    nearest.map_or_else(String::new, |(_, said)| format!("about {said}").replace(' ', "\u{a0}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn what_is_said_of_parts_adds_up_to_what_is_said_of_all() {
        let number = |said: &str| said.replace('\u{2212}', "-").parse::<f64>().unwrap();
        // Any parts will do: the golden ratio's multiples fill the unit evenly.
        let mut n = 0.0;
        let mut even = || {
            n += 0.618_033_988_75;
            libm::fmod(n, 1.0)
        };
        for size in [0.1, 0.9, 3.0, 30.0, 99.0, 300.0] {
            for _ in 0..50 {
                let mut parts: Vec<Joules> =
                    (0..7).map(|_| Joules::from_wh(size * even())).collect();
                // What was counted otherwise once may have been more.
                parts.push(Joules::from_wh(-0.03 * size * even()));
                let all = parts.iter().fold(Joules::ZERO, |sum, part| sum + *part);
                let said = energy_parts(all, &parts);
                let sum: f64 = said.iter().map(|said| number(said)).sum();
                let whole = energy(all).replace("\u{a0}Wh", "");
                assert!((sum - number(&whole)).abs() < 1e-9, "{said:?}, {whole}");
                for (said, part) in said.iter().zip(&parts) {
                    let step = [1.0, 0.1, 0.01][energy_digits(all.wh())];
                    assert!((number(said) - part.wh()).abs() <= step, "{said}, {part:?}");
                }
            }
        }
        // Each for itself would be 1.0, 1.0, 1.0 of 3.1.
        let third = Joules::from_wh(1.04);
        assert_eq!(energy_parts(Joules::from_wh(3.12), &[third; 3]), ["1.1", "1.0", "1.0"]);
        assert!(energy_parts(Joules::ZERO, &[]).is_empty());
    }
}
