//! Calendar times as RFC 3339 writes them.

use reckon::{time::Wall, words};

/// A calendar time as RFC 3339 section 5.6 writes it, to the second, in local time. Years that four
/// digits cannot hold have no such form.
pub(crate) fn rfc3339(wall: Wall, utc_offset_s: i32) -> Option<String> {
    let offset_min = utc_offset_s.div_euclid(60);
    let local_s = wall.unix_ms().div_euclid(1000).checked_add(i64::from(offset_min) * 60)?;
    let (days, of_day) = (local_s.div_euclid(86_400), local_s.rem_euclid(86_400));
    let (year, month, day) = words::date_of(days)?;
    let (hour, minute, second) = (of_day / 3600, of_day / 60 % 60, of_day % 60);
    let zone = match offset_min {
        0 => "Z".to_owned(),
        off => {
            let sign = if off < 0 { '-' } else { '+' };
            format!("{sign}{:02}:{:02}", off.abs() / 60, off.abs() % 60)
        }
    };
    Some(format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}{zone}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_examples_of_the_standard() {
        // RFC 3339 section 5.8; the counts of seconds by GNU date from the same texts. Fractions
        // are cut, since we write whole seconds; its two leap-second examples have no such count.
        for (unix_ms, offset_s, want) in [
            (482_196_050_520, 0, "1985-04-12T23:20:50Z"),
            (851_042_397_000, -8 * 3600, "1996-12-19T16:39:57-08:00"),
            (-1_041_337_172_130, 20 * 60, "1937-01-01T12:00:27+00:20"),
        ] {
            assert_eq!(rfc3339(Wall::from_unix_ms(unix_ms), offset_s).as_deref(), Some(want));
        }
    }

    #[test]
    fn leap_days_and_the_ends_of_the_calendar() {
        // RFC 3339 appendix C: 2000 and 2400 are leap years, 1900 and 2100 are not.
        for (unix_s, want) in [
            (951_782_400, Some("2000-02-29T00:00:00Z")),
            (4_107_542_400, Some("2100-03-01T00:00:00Z")),
            (4_107_542_399, Some("2100-02-28T23:59:59Z")),
            (253_402_300_799, Some("9999-12-31T23:59:59Z")),
            (253_402_300_800, None),
            (-62_167_219_200, Some("0000-01-01T00:00:00Z")),
            (-62_167_219_201, None),
        ] {
            let wall = Wall::from_unix_ms(unix_s * 1000);
            assert_eq!(rfc3339(wall, 0).as_deref(), want, "{unix_s}");
        }
        assert_eq!(rfc3339(Wall::from_unix_ms(i64::MAX), 0), None);
        assert_eq!(rfc3339(Wall::from_unix_ms(i64::MIN), i32::MIN), None);
    }
}
