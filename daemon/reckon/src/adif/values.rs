//! The standard's data types, as far as they are needed: Date, Time, Number.

use jiff::civil::Date;

use crate::time::Wall;

/// A Date, eight digits `YYYYMMDD` from 1930 on, as days since 1970-01-01.
pub(super) fn day(text: &str) -> Option<i64> {
    const EPOCH: Date = jiff::civil::date(1970, 1, 1);
    let [year, month, day] = digits(text, [4, 2, 2])?;
    let (month, day) = (i8::try_from(month).ok()?, i8::try_from(day).ok()?);
    let date = Date::new(i16::try_from(year).ok()?, month, day).ok()?;
    (year >= 1930).then(|| i64::from((date - EPOCH).get_days()))
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
