//! Tables of sentences, and what rounding may never do.

use core::time::Duration;

use proptest::prelude::*;

use super::{numbers::time_of_day, *};
use crate::{
    engine::{Engine, Refusal, Setup},
    forecast::{Forecast, Outlook},
    reading::{Gap, SourceIx},
    snapshot::{About, Alarm, Basis, FinishView, Snapshot, Verdict},
    time::{Mono, Stamp, Trust, Wall},
    units::{Celsius, Joules, Seconds, Share, Volts, Watts},
};

/// 2024-06-15 was a Saturday (calendar); 13:05:00 UTC.
const SATURDAY: i64 = 1_718_456_700_000;

fn stamp(trust: Trust) -> Stamp {
    Stamp {
        mono: Mono::at_s(5000.0),
        wall: Wall::from_unix_ms(SATURDAY),
        trust,
        utc_offset_s: 7200,
    }
}

fn plain(text: &str) -> String {
    text.replace('\u{a0}', " ")
}

fn minutes(min: f64) -> Seconds {
    Seconds::of(min * 60.0)
}

fn snapshot() -> Snapshot {
    let at = stamp(Trust::Synchronised);
    let mut engine = Engine::new(Setup::default(), at);
    Snapshot::clone(&engine.tick(at))
}

fn lasting(low: f64, middle: f64, high: f64) -> Snapshot {
    let mut shot = snapshot();
    shot.outlook = Outlook::Lasts(Forecast {
        remaining: [minutes(low), minutes(middle), minutes(high)],
        basis: Basis::Measured,
        made_at: shot.at.mono,
    });
    shot
}

#[test]
fn a_remaining_time_has_no_false_digits() {
    // Minutes left, width of the range in minutes, what is said.
    let table = [
        (0.0, 0.0, "under 1 min"),
        (0.4, 0.0, "under 1 min"),
        (0.6, 2.0, "1 min"),
        (8.4, 6.0, "8 min"),
        (19.4, 8.0, "19 min"),
        (19.6, 8.0, "20 min"),
        (22.4, 8.0, "20 min"),
        (22.6, 8.0, "25 min"),
        (50.0, 20.0, "50 min"),
        (52.0, 60.0, "50 min"),
        (57.4, 10.0, "55 min"),
        (59.6, 10.0, "1 h"),
        (63.0, 10.0, "1 h 05"),
        (118.0, 30.0, "2 h"),
        (400.0, 100.0, "6 h 40"),
        (404.9, 100.0, "6 h 40"),
        (405.0, 100.0, "6 h 50"),
        (400.0, 240.0, "6 h 30"),
        (719.0, 10.0, "12 h"),
        (1850.0, 400.0, "31 h"),
        (2000.0, 100.0, "33 h 30"),
        (4310.0, 100.0, "3 days"),
        (6000.0, 100.0, "4 days 4 h"),
        (1e9, 1e9, "more than 30 days"),
    ];
    for (min, width, want) in table {
        assert_eq!(plain(&left(minutes(min), minutes(width))), want, "{min} min, width {width}");
    }
}

#[test]
fn ranges() {
    let table = [
        ([350.0, 400.0, 450.0], "between 5 h 50 and 7 h 30"),
        ([0.5, 3.0, 8.0], "up to 8 min"),
        ([0.0, 0.0, 0.0], "under 1 min"),
        ([61.0, 62.0, 63.0], "between 1 h and 1 h 05"),
        ([60.0, 61.0, 62.0], "about 1 h"),
        ([11.0, 14.0, 17.0], "between 11 min and 17 min"),
    ];
    for (remaining, want) in table {
        assert_eq!(plain(&range(remaining.map(minutes))), want, "{remaining:?}");
    }
}

#[test]
fn spans_that_are_known() {
    let table = [
        (0.0, "0 s"),
        (12.4, "12 s"),
        (59.4, "59 s"),
        (59.6, "1 min"),
        (90.0, "2 min"),
        (3576.0, "1 h"),
        (8040.0, "2 h 14"),
        (360_000.0, "4 days 4 h"),
        (-5.0, "0 s"),
    ];
    for (seconds, want) in table {
        assert_eq!(plain(&span(Seconds::of(seconds))), want, "{seconds} s");
    }
}

#[test]
fn nothing_breaks_across_lines_inside_a_number() {
    for text in [
        left(minutes(400.0), minutes(100.0)),
        span(Seconds::of(8040.0)),
        power(Watts::of(4.1)),
        energy(Joules::from_wh(12.4)),
        volts(Volts::of(5.08)),
        celsius(Celsius::of(48.2)),
        percent(Share::nearest(0.231)),
    ] {
        assert!(!text.contains(' ') && text.contains('\u{a0}'), "'{text}' can break");
    }
}

#[test]
fn quantities() {
    let watts = [
        (0.0, "0 W"),
        (0.004, "0 W"),
        (0.448, "0.45 W"),
        (0.996, "1.0 W"),
        (4.07, "4.1 W"),
        (19.94, "19.9 W"),
        (19.96, "20 W"),
        (26.4, "26 W"),
        (-2.5, "\u{2212}2.5 W"),
    ];
    for (value, want) in watts {
        assert_eq!(plain(&power(Watts::of(value))), want, "{value} W");
    }
    let wh = [
        (0.0, "0 Wh"),
        (0.0004, "0 Wh"),
        (0.42, "0.42 Wh"),
        (0.997, "1.0 Wh"),
        (12.44, "12.4 Wh"),
        (99.94, "99.9 Wh"),
        (99.96, "100 Wh"),
        (124.4, "124 Wh"),
    ];
    for (value, want) in wh {
        assert_eq!(plain(&energy(Joules::from_wh(value))), want, "{value} Wh");
    }
    let degrees = [(48.4, "48 °C"), (-0.4, "0 °C"), (-7.6, "\u{2212}8 °C")];
    for (value, want) in degrees {
        assert_eq!(plain(&celsius(Celsius::of(value))), want, "{value} °C");
    }
}

#[test]
fn chances_as_people_say_them() {
    let table = [
        (0.0, "next to none"),
        (0.06, "about 1 in 20"),
        (0.34, "about 1 in 3"),
        (0.52, "about 1 in 2"),
        (0.66, "about 2 in 3"),
        (0.74, "about 3 in 4"),
        (0.91, "about 9 in 10"),
        (0.98, "nearly certain"),
        (1.0, "nearly certain"),
    ];
    for (part, want) in table {
        assert_eq!(plain(&chance(Share::nearest(part))), want, "{part}");
    }
}

#[test]
fn times_of_day_only_where_the_clock_is_believed() {
    let at = stamp(Trust::Phone);
    // 15:05 local time on a Saturday.
    let table = [
        (0.0, Some("15:05")),
        (29.0, Some("15:05")),
        (31.0, Some("15:06")),
        (195.0 * 60.0, Some("18:20")),
        (9.0 * 3600.0, Some("00:05 tomorrow")),
        (-16.0 * 3600.0, Some("23:05 yesterday")),
        (50.0 * 3600.0, Some("17:05 on Monday")),
        (8.0 * 86_400.0, None),
    ];
    for (ahead_s, want) in table {
        let then = Mono::at_s(1e6 + ahead_s);
        let at = Stamp { mono: Mono::at_s(1e6), ..at };
        assert_eq!(clock_time(then, at).as_deref(), want, "{ahead_s} s ahead");
        assert_eq!(clock_time(then, Stamp { trust: Trust::Unset, ..at }), None);
    }
    let later = Mono::at_s(5000.0 + 7320.0);
    assert_eq!(plain(&moment(later, stamp(Trust::Unset))), "in 2 h 02");
    assert_eq!(plain(&moment(Mono::at_s(4000.0), stamp(Trust::Unset))), "17 min ago");
    assert!(clock(stamp(Trust::Unset)).contains("Nobody has set the clock"));
    assert_eq!(clock(stamp(Trust::Phone)), "Clock 15:05, set by a phone.");
}

#[test]
fn the_answer_for_every_outlook() {
    let lasts = answer(&lasting(350.0, 400.0, 450.0));
    assert_eq!((plain(&lasts.big).as_str(), lasts.after.as_str()), ("6 h 40", "left"));
    assert_eq!(plain(&lasts.lines.join("|")), "between 5 h 50 and 7 h 30|ends about 21:50");
    let mut unset = lasting(350.0, 400.0, 450.0);
    unset.at.trust = Trust::Unset;
    assert_eq!(answer(&unset).lines.len(), 1, "no time of day without a clock");

    let mut shot = snapshot();
    let last = Forecast {
        remaining: [minutes(60.0), minutes(80.0), minutes(100.0)],
        basis: Basis::Measured,
        made_at: Mono::at_s(4000.0),
    };
    let outlooks = [
        (Outlook::TooSoon { wants: Duration::from_secs(110) }, "Too soon to say.", "about 2 min"),
        (Outlook::NoBank, "Which bank", "Choose it; "),
        (Outlook::NotDraining, "Nothing is taken", "mains"),
        (Outlook::Blind { since: Mono::at_s(4100.0), last: None }, "No readings", "for 15 min"),
        (
            Outlook::Blind { since: Mono::at_s(4100.0), last: Some(last) },
            "No readings",
            "1 h 20, between 1 h and 1 h 40",
        ),
    ];
    for (outlook, big, line) in outlooks {
        shot.outlook = outlook;
        let said = answer(&shot);
        assert!(said.big.contains(big), "{said:?}");
        assert!(plain(&said.lines.join(" ")).contains(line), "{said:?}");
        assert!(status(&shot).contains(big));
    }
}

#[test]
fn the_verdict_is_a_sentence() {
    let table = [
        (Verdict::Enough, 0.95, 80.0, "Enough for 17:05, with about 1 h 20 to spare."),
        (Verdict::Tight, 0.66, 20.0, "Tight for 17:05: the chance of lasting is about 2 in 3."),
        (
            Verdict::Short,
            0.2,
            -42.0,
            "Short for 17:05 by about 40 min; the chance of lasting is about 1 in 5.",
        ),
        (Verdict::Short, 0.49, 1.0, "Short for 17:05: the chance of lasting is about 1 in 2."),
    ];
    for (verdict_, chance_, spare, want) in table {
        let mut shot = lasting(110.0, 130.0, 150.0);
        shot.finish = Some(FinishView {
            at: Mono::at_s(5000.0 + 7200.0),
            chance: Some(Share::nearest(chance_)),
            verdict: Some(verdict_),
            spare: Some(minutes(spare)),
        });
        assert_eq!(plain(&verdict(&shot).unwrap()), want);
        shot.at.trust = Trust::Unset;
        assert!(plain(&verdict(&shot).unwrap()).contains("for the finish in 2 h"));
    }
    let mut shot = snapshot();
    assert_eq!(verdict(&shot), None);
    let none = FinishView { at: Mono::at_s(9000.0), chance: None, verdict: None, spare: None };
    shot.finish = Some(none);
    assert!(verdict(&shot).unwrap().starts_with("Too soon to say whether"));
    shot.finish = Some(FinishView { at: Mono::at_s(100.0), ..none });
    assert!(verdict(&shot).unwrap().starts_with("The finish was"));
}

#[test]
fn draw_and_supply() {
    let mut shot = snapshot();
    shot.draw.now = Some(Watts::of(4.07));
    shot.draw.basis = Basis::Measured;
    assert_eq!(plain(&draw(&shot)), "Drawing 4.1 W now.");
    shot.activities = vec![crate::snapshot::ActivityView {
        name: "Contacts".into(),
        current: true,
        usual: Some(Watts::of(3.22)),
        remaining: None,
    }];
    assert_eq!(plain(&draw(&shot)), "Drawing 4.1 W now; 3.2 W is usual for contacts.");
    shot.draw.now = Some(Watts::of(-5.0));
    assert_eq!(plain(&draw(&shot)), "5.0 W go into the bank.");
    shot.draw.now = None;
    shot.supply.power = Err(Gap::NoAnswer);
    assert!(draw(&shot).contains("does not answer"));

    shot.supply.volts = Ok(Volts::of(5.08));
    let states = [
        (Ok(false), 0, "Supply 5.08 V, steady."),
        (Ok(true), 1, "Supply 5.08 V, too low for the board right now."),
        (Ok(false), 3, "Supply 5.08 V; it was too low 3 times in this outing."),
        (Err(Gap::NotMeasurable), 0, "Supply 5.08 V; this board cannot tell whether it sags."),
    ];
    for (low, times, want) in states {
        shot.board.undervoltage = low;
        shot.undervoltage_times = times;
        assert_eq!(plain(&supply(&shot)), want);
    }
}

#[test]
fn every_alarm_gap_and_refusal_says_what_to_do() {
    let mut shot = lasting(25.0, 40.0, 60.0);
    let source = SourceIx(7);
    let gaps = [
        Gap::Absent,
        Gap::NotMeasurable,
        Gap::SwitchedOff,
        Gap::NotReady,
        Gap::NoAnswer,
        Gap::Gone,
        Gap::Denied,
        Gap::Garbled,
        Gap::Implausible,
        Gap::OverRange,
        Gap::Resetting,
        Gap::Late,
    ];
    let mut abouts: Vec<About> = gaps.map(|gap| About::SensorSilent { source, gap }).into();
    abouts.extend([120, 60, 30, 10].map(|limit_min| About::RunningOut { limit_min }));
    abouts.extend([0, 1, 3, 12, 22].map(|times| About::Undervoltage { times }));
    abouts.extend([About::Hot, About::ShuntDoubt { source }]);
    abouts.extend([90, 50].map(|below_percent| About::FinishAtRisk { below_percent }));
    abouts.extend([
        About::BrownOutNear,
        About::DrawHigh { activity: "Receive".into(), usual: Watts::of(3.1) },
        About::AutoOff,
        About::RecordNotWritten,
        About::ClockNotTrusted,
    ]);
    for low in [true, false] {
        shot.board.undervoltage = Ok(low);
        for about in &abouts {
            let said = alarm(
                &Alarm { about: about.clone(), since: Mono::BOOT, asleep_until: None },
                &shot,
            );
            for part in [&said.text, &said.meaning, &said.advice] {
                assert!(part.ends_with('.') && part.len() > 10, "{about:?}: '{part}'");
                assert!(part.starts_with(|c: char| c.is_uppercase()), "{about:?}: '{part}'");
            }
        }
    }
    let text = |limit_min| {
        let about = About::RunningOut { limit_min };
        plain(&alarm(&Alarm { about, since: Mono::BOOT, asleep_until: None }, &shot).text)
    };
    assert_eq!(text(30), "Less than 30 min may be left: between 25 min and 1 h.");
    assert_eq!(text(120), "Less than 2 h may be left: between 25 min and 1 h.");
    for refused in [
        Refusal::NoSuchActivity,
        Refusal::NoRules,
        Refusal::AlarmGone,
        Refusal::FinishOutOfRange,
        Refusal::BankImplausible("The capacity must be more.".into()),
        Refusal::NameTooLong,
    ] {
        assert!(refusal(&refused).ends_with('.'));
    }
}

proptest! {
    #[test]
    fn a_longer_time_is_never_printed_as_a_shorter_one(
        a in 0.0..60_000.0_f64, more in 0.0..2000.0_f64, width in 0.0..5000.0_f64,
    ) {
        let (low, high) = (minutes_of(a, width), minutes_of(a + more, width));
        prop_assert!(low <= high, "{a} gives {low}, {} gives {high}", a + more);
    }

    #[test]
    fn a_range_is_never_printed_the_wrong_way_round(
        low in 0.0..50_000.0_f64, to_middle in 0.0..3000.0_f64, to_high in 0.0..3000.0_f64,
    ) {
        let remaining = [low, low + to_middle, low + to_middle + to_high].map(minutes);
        let text = plain(&range(remaining));
        if let Some((from, to)) =
            text.strip_prefix("between ").and_then(|rest| rest.split_once(" and "))
        {
            prop_assert!(read_min(from) < read_min(to), "{text}");
            let width = remaining[2] - remaining[0];
            let middle = read_min(&plain(&left(remaining[1], width)));
            prop_assert!(read_min(from) <= middle && middle <= read_min(to), "{text}, {middle}");
        }
    }

    #[test]
    fn any_moment_and_any_clock_can_be_said(
        then in 0.0..1e12_f64, now in 0.0..1e12_f64, wall in any::<i64>(), offset in any::<i32>(),
        step in any::<i64>(),
    ) {
        let at = Stamp {
            mono: Mono::at_s(now),
            wall: Wall::from_unix_ms(wall),
            trust: Trust::Phone,
            utc_offset_s: offset,
        };
        prop_assert!(!moment(Mono::at_s(then), at).is_empty());
        let _ = time_of_day(Mono::at_s(then), at, step);
        prop_assert!(!clock(at).is_empty());
    }
}

fn minutes_of(min: f64, width: f64) -> u32 {
    read_min(&plain(&left(minutes(min), minutes(width))))
}

/// Reads a printed time back, in minutes.
fn read_min(text: &str) -> u32 {
    let words: Vec<&str> = text.split(' ').collect();
    let number = |word: &str| word.parse::<u32>().unwrap();
    match words.as_slice() {
        ["under", "1", "min"] => 0,
        ["more", "than", "30", "days"] => 43_201,
        [min, "min"] => number(min),
        [h, "h"] => number(h) * 60,
        [h, "h", min] => number(h) * 60 + number(min),
        [days, "days"] => number(days) * 1440,
        [days, "days", h, "h"] => number(days) * 1440 + number(h) * 60,
        other => panic!("cannot read {other:?}"),
    }
}
