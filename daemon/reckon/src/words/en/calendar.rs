//! Dates, times of day and durations of the record, as fine as they are known.

use alloc::{format, string::String};

use super::numbers::{TIE, span, weekday};
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
    #[must_use]
    pub const fn plus_s(self, seconds: f64) -> Self {
        Self { wall: self.wall.plus_s(seconds), utc_offset_s: self.utc_offset_s }
    }

    /// `13:45:10`.
    #[must_use]
    pub fn time(self) -> String {
        let of_day = self.seconds().rem_euclid(86_400);
        format!("{:02}:{:02}:{:02}", of_day / 3600, of_day / 60 % 60, of_day % 60)
    }

    /// `13:45`, rounded down.
    #[must_use]
    pub fn hour_minute(self) -> String {
        let of_day = self.seconds().rem_euclid(86_400);
        format!("{:02}:{:02}", of_day / 3600, of_day / 60 % 60)
    }

    /// `Saturday 9 March 2024`.
    #[must_use]
    pub fn day(self) -> String {
        let days = self.seconds().div_euclid(86_400);
        match date_of(days) {
            Some(date) => format!("{} {}", weekday(days), day_of(date)),
            None => String::from("a day beyond the calendar"),
        }
    }

    /// `9 March 2024`.
    #[must_use]
    pub fn date(self) -> String {
        date_of(self.seconds().div_euclid(86_400))
            .map_or_else(|| String::from("a day beyond the calendar"), day_of)
    }

    pub(super) const fn same_day(self, other: Self) -> bool {
        let (one, two) = (self.wall.unix_ms() / 1000, other.wall.unix_ms() / 1000);
        let off = self.utc_offset_s as i64;
        one.saturating_add(off).div_euclid(86_400) == two.saturating_add(off).div_euclid(86_400)
    }
}

fn day_of((year, month, day): (i64, i64, i64)) -> String {
    const MONTHS: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let name = usize::try_from(month - 1).ok().and_then(|ix| MONTHS.get(ix)).unwrap_or(&"");
    format!("{day}{TIE}{name} {year}")
}

/// Year, month, day of a count of days since 1970-01-01, in the proleptic Gregorian calendar that
/// RFC 3339 uses, by whole 400-year cycles of 146 097 days, years beginning in March. `None` for
/// years that four digits cannot hold.
#[must_use]
pub fn date_of(days_since_1970: i64) -> Option<(i64, i64, i64)> {
    let from_year_0 = days_since_1970.checked_add(719_468)?;
    let cycle = from_year_0.div_euclid(146_097);
    let in_cycle = from_year_0.rem_euclid(146_097);
    let year_of_cycle =
        (in_cycle - in_cycle / 1_460 + in_cycle / 36_524 - in_cycle / 146_096) / 365;
    let in_year = in_cycle - (365 * year_of_cycle + year_of_cycle / 4 - year_of_cycle / 100);
    let from_march = (5 * in_year + 2) / 153;
    let day = in_year - (153 * from_march + 2) / 5 + 1;
    let month = if from_march < 10 { from_march + 3 } else { from_march - 9 };
    let year = year_of_cycle + cycle * 400 + i64::from(month <= 2);
    (0..=9999).contains(&year).then_some((year, month, day))
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
#[must_use]
pub fn lasted(shortest: Seconds, longer: Seconds, shorter: Seconds) -> String {
    let (longer, shorter) = (longer.si().max(0.0), shorter.si().max(0.0));
    let middle = shortest.si() + (longer - shorter) / 2.0;
    let half = f64::midpoint(longer, shorter);
    if half < 0.5 {
        return duration(middle, 1.0);
    }
    format!("{} (±{TIE}{})", duration(middle, half), span(Seconds::of(libm::ceil(half))))
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
    fn leap_days_and_the_ends_of_the_calendar() {
        // RFC 3339 appendix C: 2000 is a leap year, 2100 is not. Days by GNU date.
        assert_eq!(date_of(11_016), Some((2000, 2, 29)));
        assert_eq!(date_of(47_540), Some((2100, 2, 28)));
        assert_eq!(date_of(47_541), Some((2100, 3, 1)));
        assert_eq!(date_of(2_932_896), Some((9999, 12, 31)));
        assert_eq!(date_of(2_932_897), None);
        assert_eq!(date_of(i64::MAX), None);
        assert_eq!(date_of(i64::MIN), None);
    }
}
