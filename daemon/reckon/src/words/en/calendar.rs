//! Dates, times of day and durations of the record, as fine as they are known.

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

use jiff::ToSpan;

use super::numbers::{TIE, span};
use crate::{time::Wall, units::Seconds};

/// A date and time of the place: a wall time and the offset in force there, seconds east of UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Local {
    /// The moment.
    pub wall: Wall,
    /// Seconds east of UTC.
    pub utc_offset_s: i32,
}

impl Local {
    /// Whole seconds since 1970, local, rounded down.
    fn seconds(self) -> i64 {
        self.wall.unix_ms().div_euclid(1000).saturating_add(i64::from(self.utc_offset_s))
    }

    /// Later by so much.
    pub const fn plus_s(self, seconds: f64) -> Self {
        Self { wall: self.wall.plus_s(seconds), utc_offset_s: self.utc_offset_s }
    }

    /// `13:45:10`.
    pub fn time(self) -> String {
        let of_day = self.seconds().rem_euclid(86_400);
        format!("{:02}:{:02}:{:02}", of_day / 3600, of_day / 60 % 60, of_day % 60)
    }

    /// `13:45`, rounded down.
    pub fn hour_minute(self) -> String {
        let of_day = self.seconds().rem_euclid(86_400);
        format!("{:02}:{:02}", of_day / 3600, of_day / 60 % 60)
    }

    /// From one moment to another, both so long after this, as whoever reads their times of day works
    /// it out.
    pub(super) fn printed_between(self, from: Seconds, to: Seconds) -> Seconds {
        let minute = |at: Seconds| self.plus_s(at.si()).seconds().div_euclid(60);
        let minutes = minute(to).saturating_sub(minute(from));
        Seconds::of(60.0 * f64::from(i32::try_from(minutes).unwrap_or(i32::MAX)))
    }

    /// `Saturday`.
    pub(super) fn weekday(self) -> String {
        self.told("%A")
    }

    /// `Saturday 9 March 2024`.
    pub fn day(self) -> String {
        self.told("%A %-d\u{a0}%B %Y")
    }

    /// `9 March 2024`.
    pub fn date(self) -> String {
        self.told("%-d\u{a0}%B %Y")
    }

    /// `3 October`.
    pub fn day_month(self) -> String {
        self.told("%-d\u{a0}%B")
    }

    /// `May`, or `3 October` where `last` is within two months of it.
    pub(super) fn month_or_day(self, last: Self) -> String {
        const TWO_MONTHS_MS: i64 = 61 * 86_400_000;
        let apart_ms = last.wall.unix_ms().saturating_sub(self.wall.unix_ms());
        if apart_ms < TWO_MONTHS_MS { self.day_month() } else { self.told("%B") }
    }

    fn told(self, format: &str) -> String {
        match self.wall.local(self.utc_offset_s) {
            Some(local) => local.strftime(format).to_string(),
            None => "a day beyond the calendar".into(),
        }
    }

    pub(super) fn same_day(self, other: Self) -> bool {
        let day = |one: Self| one.seconds().div_euclid(86_400);
        day(self) == day(Self { utc_offset_s: self.utc_offset_s, ..other })
    }
}

/// A duration known to so much: `9 h 40 min 12 s` where that is under a minute, else `9 h 40`.
fn duration(seconds: f64, known_to_s: f64) -> String {
    if known_to_s >= 60.0 || !(60.0..1e7).contains(&seconds) {
        return span(Seconds::of(seconds));
    }
    let whole = libm::round(seconds);
    let (hours, rest) = (libm::floor(whole / 3600.0), libm::fmod(whole, 3600.0));
    let (min, s) = (libm::floor(rest / 60.0), libm::fmod(rest, 60.0));
    if hours > 0.0 {
        format!("{hours:.0}{TIE}h{TIE}{min:02.0}{TIE}min{TIE}{s:02.0}{TIE}s")
    } else {
        format!("{min:.0}{TIE}min{TIE}{s:02.0}{TIE}s")
    }
}

pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().into_iter().flat_map(char::to_uppercase).chain(letters).collect()
}

/// How long something lasted whose end lies within an interval: `9 h 40 min 12 s (± 5 s)`, given
/// the shortest that fits what is known, and by how much it may be longer or shorter.
pub fn lasted(shortest: Seconds, longer: Seconds, shorter: Seconds) -> String {
    let (longer, shorter) = (longer.si().max(0.0), shorter.si().max(0.0));
    let middle = shortest.si() + (longer - shorter) / 2.0;
    let half = f64::midpoint(longer, shorter);
    if half < 0.5 {
        return duration(middle, 1.0);
    }
    format!("{} (±{TIE}{})", duration(middle, half), span(Seconds::of(libm::ceil(half))))
}

/// The months that begin between two moments, each with its short name: `Oct`. A span of a few years
/// at most.
pub fn months(from: Local, to: Local) -> Vec<(Local, String)> {
    let Some(begins) = from.wall.local(from.utc_offset_s) else { return Vec::new() };
    let mut months = Vec::new();
    let mut first = begins.date().first_of_month();
    while months.len() < 48 {
        let Ok(next) = first.checked_add(1.month()) else { break };
        first = next;
        let apart = first.at(0, 0, 0, 0).duration_since(begins).as_secs();
        let at = from.plus_s(apart as f64);
        if at.wall.unix_ms() > to.wall.unix_ms() {
            break;
        }
        months.push((at, first.strftime("%b").to_string()));
    }
    months
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain(text: &str) -> String {
        text.replace(TIE, " ")
    }

    #[test]
    fn a_duration_is_as_fine_as_it_is_known() {
        let said = |a, b, c| plain(&lasted(Seconds::of(a), Seconds::of(b), Seconds::of(c)));
        assert_eq!(said(34_807.0, 10.0, 0.0), "9 h 40 min 12 s (± 5 s)");
        assert_eq!(said(34_800.0, 0.0, 0.0), "9 h 40 min 00 s");
        // 118 ten-minute marks span 19 h 30; the run lasted up to ten minutes more or less.
        assert_eq!(said(70_800.0, 600.0, 600.0), "19 h 40 (± 10 min)");
        assert_eq!(said(42.0, 10.0, 0.0), "47 s (± 5 s)");
    }

    #[test]
    fn days_are_those_of_the_calendar() {
        // RFC 3339 appendix C: 2000 is a leap year, 2100 is not. Seconds by GNU date.
        for (unix_s, want) in [
            (951_782_400, "Tuesday 29 February 2000"),
            (4_107_542_399, "Sunday 28 February 2100"),
            (4_107_542_400, "Monday 1 March 2100"),
            (253_402_300_799, "Friday 31 December 9999"),
            (253_402_300_800, "a day beyond the calendar"),
            (i64::MIN, "a day beyond the calendar"),
        ] {
            let wall = Wall::from_unix_ms(unix_s.saturating_mul(1000));
            assert_eq!(plain(&Local { wall, utc_offset_s: 0 }.day()), want);
        }
    }

    #[test]
    fn a_difference_is_that_of_the_times_that_are_printed() {
        let began = Local { wall: Wall::from_unix_ms(0), utc_offset_s: 3600 };
        let hms = |h: f64, m: f64, s: f64| Seconds::of(h * 3600.0 + m * 60.0 + s);
        for (from, to, minutes) in [
            (hms(12.0, 58.0, 50.0), hms(13.0, 0.0, 0.0), 2.0),
            (hms(12.0, 58.0, 0.0), hms(13.0, 0.0, 59.0), 2.0),
            (hms(13.0, 0.0, 5.0), hms(13.0, 0.0, 50.0), 0.0),
        ] {
            assert_eq!(began.printed_between(from, to), Seconds::of(minutes * 60.0));
        }
    }
}
