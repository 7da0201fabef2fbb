//! Lists as people have them. Dates are our own.

use super::*;

fn list(count: i64, step_s: i64, line: impl Fn(Timestamp) -> String) -> String {
    let first: Timestamp = "2024-03-09T08:00:00Z".parse().unwrap();
    (0..count)
        .map(|k| line(Timestamp::from_second(first.as_second() + k * step_s).unwrap()) + "\n")
        .collect()
}

#[test]
fn ten_minute_marks_of_a_small_bank() {
    // 19 h 40 min: what a 10 000 mAh bank gives a small idle board. Common practice, no source.
    let spaced = |t: Timestamp| t.to_string().replace('T', " ").replace('Z', "");
    let forms: [(&str, String); 5] = [
        ("RFC 3339", list(119, 600, |t| t.to_string())),
        ("with a space", list(119, 600, spaced)),
        ("seconds since 1970", list(119, 600, |t| t.as_second().to_string())),
        ("with more on the line", list(119, 600, |t| format!("{t} still alive, 5.02 V"))),
        ("RFC 3339 with an offset", list(119, 600, |t| t.to_string().replace('Z', "+00:00"))),
    ];
    for (form, text) in forms {
        let marks = read(&text).unwrap_or_else(|e| panic!("{form}: {e:?}"));
        assert_eq!((marks.count, marks.interval_s), (119, 600.0), "{form}");
        assert_eq!(marks.lasted_s, (19.0 * 60.0 + 40.0) * 60.0, "{form}");
        let rundown = marks.rundown("Blue ten");
        assert_eq!(
            (rundown.within_s, rundown.before_s),
            (600.0, 600.0),
            "{form}: plus or minus 10 min"
        );
        assert!(marks.holes.is_empty() && marks.left_out.is_empty(), "{form}");
    }
}

#[test]
fn a_bigger_one_with_a_fan() {
    // About 12 h; common practice, no source.
    let marks = read(&list(73, 600, |t| t.to_string())).unwrap();
    assert_eq!(marks.lasted_s, 12.0 * 3600.0);
}

#[test]
fn rfc_3339_examples() {
    // RFC 3339, section 5.8: the examples, with what the text says of them.
    let utc = |text: &str| moment(text).unwrap_or_else(|| panic!("{text}"));
    assert_eq!(utc("1985-04-12T23:20:50.52Z"), 482_196_050.52);
    assert_eq!(utc("1996-12-19T16:39:57-08:00"), utc("1996-12-20T00:39:57Z"));
    assert_eq!(utc("1937-01-01T12:00:27.87+00:20"), utc("1937-01-01T11:40:27.87Z"));
    // The leap second at the end of 1990 is read as the second before or after it, not refused.
    let leap = utc("1990-12-31T23:59:60Z");
    assert!((leap - utc("1991-01-01T00:00:00Z")).abs() <= 1.0, "{leap}");
    // Section 5.6: 't' and 'z' may be lower case; a space is allowed for readability.
    assert_eq!(utc("1985-04-12t23:20:50.52z"), utc("1985-04-12 23:20:50.52Z"));
}

#[test]
fn what_is_no_list_is_refused_with_a_reason() {
    for text in ["", "hello\nworld\n", "2024-03-09T08:00:00Z\n", "5.01\n5.02\n5.03\n"] {
        let Err(Unusable(why)) = read(text) else { panic!("{text:?} was taken") };
        assert!(why.contains("time stamp"), "{why}");
    }
    let back = "2024-03-09T08:00:00Z\n2014-03-09T08:10:00Z\n";
    let Err(Unusable(why)) = read(back) else { panic!() };
    assert!(why.contains("Line 2"), "{why}");
}

#[test]
fn holes_and_strays_are_told() {
    let mut lines: Vec<String> = list(20, 600, |t| t.to_string()).lines().map(Into::into).collect();
    lines.drain(5..8);
    lines.insert(2, "rebooted".into());
    let marks = read(&lines.join("\r\n")).unwrap();
    assert_eq!(marks.holes, [(2400.0, 2400.0)]);
    assert_eq!(marks.left_out, [3]);
    assert_eq!(marks.lasted_s, 19.0 * 600.0);
}

proptest::proptest! {
    #[test]
    fn any_text_is_answered(text in "(?s).{0,200}") {
        let _ = read(&text);
    }
}
