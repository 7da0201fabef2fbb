//! What a web server's answer means for a delivery: taken, again later, or never.

use std::time::Duration;

use reckon::{time::Wall, words};

use crate::calendar;

/// A server that asks for more patience than this is asked again all the same.
const LONGEST_WAIT: Duration = Duration::from_secs(3600);

/// What to do with the delivery.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ResponseMeaning {
    /// It was taken.
    Taken,
    /// Try again, not before so long if the server said so.
    Again {
        /// As the server asked.
        after: Option<Duration>,
    },
    /// Trying again would not help; why, for a person.
    Never {
        /// A sentence.
        why: String,
    },
}

/// Judges a final status (RFC 9110, 15). Statuses that are not known count as the first of their
/// class, as the standard says (RFC 9110, 15).
///
/// Tried again: 408 (request timeout), 429 (too many requests, RFC 6585), and the server's own
/// troubles 500, 502, 503, 504. A POST may then arrive twice, since a server may fail after it has
/// taken one (RFC 9110, 9.2.2); every delivery carries an `id` by which that can be told.
///
/// Not tried again: what says that this request is wrong (the other 4xx), that the server cannot
/// do it at all (501, 505), and redirections, which are not followed: a warning goes to the
/// address in the settings or nowhere.
#[must_use]
pub fn judge(status: u16, retry_after: Option<&str>, wall: Option<Wall>) -> ResponseMeaning {
    let never = |why: &str| ResponseMeaning::Never { why: format!("it answered {status}, {why}") };
    match status {
        200..=299 => ResponseMeaning::Taken,
        300..=399 => never(words::warning::MOVED),
        401 | 403 | 407 => never(words::warning::REFUSED),
        404 | 410 => never(words::warning::NOT_THERE),
        408 | 429 | 500 | 502 | 503 | 504 => {
            ResponseMeaning::Again { after: wait(retry_after, wall) }
        }
        501 | 505 => never(words::warning::CANNOT_TAKE),
        506..=599 => ResponseMeaning::Again { after: wait(retry_after, wall) },
        413 => never(words::warning::TOO_LONG),
        400..=499 => never(words::warning::NOT_TAKEN),
        _ => never(words::warning::NO_STATUS),
    }
}

/// `Retry-After`: seconds or a date (RFC 9110, 10.2.3). A date means something only while the
/// clock is believed.
fn wait(retry_after: Option<&str>, wall: Option<Wall>) -> Option<Duration> {
    let text = retry_after?.trim();
    let seconds = match text.parse::<u64>() {
        Ok(seconds) => seconds,
        Err(_) => {
            let ahead = calendar::http_date(text)? - wall?.unix_ms().div_euclid(1000);
            u64::try_from(ahead).unwrap_or(0)
        }
    };
    Some(Duration::from_secs(seconds.max(1)).min(LONGEST_WAIT))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn statuses_are_handled_as_the_standard_says() {
        // RFC 9110, 15: each status with what it says about trying again. 425 is RFC 8470, 429 is
        // RFC 6585, 507 is RFC 4918; unknown ones count as the first of their class.
        let again = [408, 429, 500, 502, 503, 504, 507, 599];
        let taken = [200, 201, 202, 204, 205, 226, 299];
        let never = [
            300, 301, 302, 303, 307, 308, 399, 400, 401, 402, 403, 404, 405, 406, 407, 409, 410,
            411, 412, 413, 414, 415, 416, 417, 421, 422, 426, 499, 501, 505, 100, 101, 600, 0,
        ];
        for status in again {
            assert_eq!(
                judge(status, None, None),
                ResponseMeaning::Again { after: None },
                "{status}"
            );
        }
        for status in taken {
            assert_eq!(judge(status, None, None), ResponseMeaning::Taken, "{status}");
        }
        for status in never {
            assert!(matches!(judge(status, None, None), ResponseMeaning::Never { .. }), "{status}");
        }
    }

    #[test]
    fn a_server_may_say_when_to_come_again() {
        // RFC 9110, 10.2.3: both examples.
        let at = Wall::from_unix_ms(946_684_799_000 - 90_000);
        let cases = [
            ("120", None, Some(120)),
            ("Fri, 31 Dec 1999 23:59:59 GMT", Some(at), Some(90)),
            ("Fri, 31 Dec 1999 23:59:59 GMT", None, None),
            ("Fri, 31 Dec 1999 23:59:59 GMT", Some(Wall::from_unix_ms(2_000_000_000_000)), Some(1)),
            ("0", None, Some(1)),
            ("99999999", None, Some(3600)),
            ("soon", Some(at), None),
            ("-5", None, None),
        ];
        for (text, wall, want_s) in cases {
            let after = want_s.map(Duration::from_secs);
            assert_eq!(judge(503, Some(text), wall), ResponseMeaning::Again { after }, "{text}");
        }
    }
}
