//! Dates for the outside: RFC 3339 out, the fixed date of RFC 9110 in.

use jiff::{Timestamp, fmt::rfc2822};
use reckon::time::Wall;

/// `2024-06-15T12:00:00Z` (RFC 3339).
pub(crate) fn rfc3339(wall: Wall) -> String {
    second(wall).to_string()
}

/// `2024-06-15 12:00 UTC`, for a sentence.
#[cfg(feature = "tls")]
pub(crate) fn minute(wall: Wall) -> String {
    second(wall).strftime("%Y-%m-%d %H:%M UTC").to_string()
}

/// The second before; a time that no calendar holds counts as 1970.
fn second(wall: Wall) -> Timestamp {
    Timestamp::from_second(wall.unix_ms().div_euclid(1000)).unwrap_or_default()
}

/// `Sun, 06 Nov 1994 08:49:37 GMT` (RFC 9110, 5.6.7, the form that senders must use: a date of
/// RFC 5322), as seconds since 1970. The two old forms are not read; `None` for them and for
/// anything else.
pub(crate) fn http_date(text: &str) -> Option<i64> {
    let date = rfc2822::DateTimeParser::new().parse_timestamp(text.trim()).ok()?;
    Some(date.as_second())
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
        assert_eq!(rfc3339(Wall::from_unix_ms(i64::MAX)), "1970-01-01T00:00:00Z");
    }
}
