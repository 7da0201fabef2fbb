//! Dates for the outside: RFC 3339 out, the fixed date of RFC 9110 in.

use reckon::time::Wall;

const DAY_S: i64 = 86_400;
const MONTHS: [&str; 12] =
    ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// `2024-06-15T12:00:00Z` (RFC 3339).
pub(crate) fn rfc3339(wall: Wall) -> String {
    let seconds = wall.unix_ms().div_euclid(1000);
    let (year, month, day) = civil(seconds.div_euclid(DAY_S));
    let s = seconds.rem_euclid(DAY_S);
    format!("{year:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}Z", s / 3600, s / 60 % 60, s % 60)
}

/// `2024-06-15 12:00 UTC`, for a sentence.
#[cfg(feature = "tls")]
pub(crate) fn minute(wall: Wall) -> String {
    let long = rfc3339(wall);
    let (day, time) = long.split_once('T').unwrap_or((&long, ""));
    format!("{day} {} UTC", time.get(..5).unwrap_or(time))
}

/// `Sun, 06 Nov 1994 08:49:37 GMT` (RFC 9110, 5.6.7, the form that senders must use), as seconds
/// since 1970. The two old forms are not read; `None` for them and for anything else.
pub(crate) fn http_date(text: &str) -> Option<i64> {
    let (_, rest) = text.trim().split_once(", ")?;
    let mut parts = rest.split(' ');
    let day: i64 = parts.next()?.parse().ok().filter(|day| (1..=31).contains(day))?;
    let name = parts.next()?;
    let month = i64::try_from(MONTHS.iter().position(|month| *month == name)?).ok()? + 1;
    let year: i64 = parts.next()?.parse().ok().filter(|year| (1970..=9999).contains(year))?;
    let mut clock = parts.next()?.split(':').map(|part| part.parse::<i64>().ok());
    let (hour, minute, second) = (clock.next()??, clock.next()??, clock.next()??);
    let sound = parts.next() == Some("GMT")
        && (0..24).contains(&hour)
        && (0..60).contains(&minute)
        && (0..=60).contains(&second);
    sound.then(|| days(year, month, day) * DAY_S + hour * 3600 + minute * 60 + second)
}

/// Days since 1970-01-01 of a date of the Gregorian calendar; years begin in March here, so that
/// the leap day comes last.
const fn days(year: i64, month: i64, day: i64) -> i64 {
    let y = if month <= 2 { year - 1 } else { year };
    let from_march = (month + 9) % 12;
    365 * y + y.div_euclid(4) - y.div_euclid(100)
        + y.div_euclid(400)
        + (153 * from_march + 2) / 5
        + day
        - 1
        - 719_468
}

/// The date of a day since 1970-01-01.
fn civil(day: i64) -> (i64, i64, i64) {
    // The right year is within one of this.
    let about = 1970 + day.div_euclid(365);
    let mut year = about;
    while days(year, 1, 1) > day {
        year -= 1;
    }
    let month = (1..=12).rev().find(|month| days(year, *month, 1) <= day).unwrap_or(1);
    (year, month, day - days(year, month, 1) + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_are_those_of_the_standards() {
        // RFC 9110, 5.6.7: the example of the preferred form; its second since 1970 is the one
        // that `date -u -d` gives.
        assert_eq!(http_date("Sun, 06 Nov 1994 08:49:37 GMT"), Some(784_111_777));
        for old in ["Sunday, 06-Nov-94 08:49:37 GMT", "Sun Nov  6 08:49:37 1994", "", "soon, 1"] {
            assert_eq!(http_date(old), None, "{old}");
        }
        // RFC 3339, 5.8: 1985-04-12T23:20:50.52Z, 1990-12-31T23:59:60Z (the leap second is the
        // next day here); the Unix times by `date -u`.
        assert_eq!(rfc3339(Wall::from_unix_ms(482_196_050_520)), "1985-04-12T23:20:50Z");
        assert_eq!(rfc3339(Wall::from_unix_ms(951_782_400_000)), "2000-02-29T00:00:00Z");
        assert_eq!(rfc3339(Wall::from_unix_ms(0)), "1970-01-01T00:00:00Z");
        for day in (-200_000..200_000).step_by(37) {
            let (y, m, d) = civil(day);
            assert_eq!(days(y, m, d), day);
        }
    }
}
