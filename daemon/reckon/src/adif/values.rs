//! The standard's data types, as far as they are needed: Date, Time, Number.

use crate::time::Wall;

/// A Date, eight digits `YYYYMMDD` from 1930 on, as days since 1970-01-01.
pub(super) fn day(text: &str) -> Option<i64> {
    let [year, month, day] = digits(text, [4, 2, 2])?;
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let longest = match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        4 | 6 | 9 | 11 => 30,
        2 if leap => 29,
        2 => 28,
        _ => return None,
    };
    if year < 1930 || day < 1 || day > longest {
        return None;
    }
    Some(days_from_civil(year, month, day))
}

/// Days since 1970-01-01 in the Gregorian calendar (Hinnant, 'chrono-Compatible Low-Level Date
/// Algorithms').
const fn days_from_civil(year: i64, month: i64, day: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let era = year.div_euclid(400);
    let of_era = year.rem_euclid(400);
    let of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468
}

/// A Time, six digits `HHMMSS` or four `HHMM`, as seconds of the day.
pub(super) fn second_of_day(text: &str) -> Option<i64> {
    let [hour, minute, second] = digits(text, [2, 2, 2]).or_else(|| {
        let [hour, minute] = digits(text, [2, 2])?;
        Some([hour, minute, 0])
    })?;
    (hour < 24 && minute < 60 && second < 60).then_some(hour * 3600 + minute * 60 + second)
}

/// Groups of so many digits, and nothing else.
fn digits<const N: usize>(text: &str, groups: [usize; N]) -> Option<[i64; N]> {
    if text.len() != groups.iter().sum::<usize>() || !text.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let mut numbers = [0; N];
    let mut rest = text;
    for (number, length) in numbers.iter_mut().zip(groups) {
        let (group, after) = rest.split_at_checked(length)?;
        *number = group.parse().ok()?;
        rest = after;
    }
    Some(numbers)
}

/// A Number: digits with at most one point and a leading minus, nothing else.
pub(super) fn number(text: &str) -> Option<f64> {
    let bare = text.strip_prefix('-').unwrap_or(text);
    let points = bare.bytes().filter(|byte| *byte == b'.').count();
    let digits = bare.bytes().filter(u8::is_ascii_digit).count();
    if points > 1 || digits == 0 || digits + points != bare.len() {
        return None;
    }
    text.parse().ok().filter(|number: &f64| number.is_finite())
}

pub(super) const fn wall(day: i64, second: i64) -> Wall {
    Wall::from_unix_ms((day * 86_400 + second) * 1000)
}
