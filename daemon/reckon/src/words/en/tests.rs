//! Tables of sentences, and what rounding may never do.

mod safe;

use core::time::Duration;

use proptest::prelude::*;

use super::{numbers::time_of_day, *};
use crate::{
    bank::{BankFault, BankSpec, Cells, MeasuredAt},
    belief::{Answer as Reply, Away, Question, QuestionView, Standing, Story},
    engine::{Engine, Refusal, Setup},
    forecast::{Forecast, Outlook},
    name::NameFault,
    reading::{Gap, SourceIx},
    snapshot::{About, Alarm, BankChanged, Basis, FinishView, Possibility, Snapshot, Verdict},
    time::{Mono, Stamp, Trust, Wall},
    units::{AmpHours, Amps, Celsius, Joules, Seconds, Share, Volts, Watts},
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
    let mut snapshot = snapshot();
    snapshot.outlook = Outlook::Lasts(Forecast {
        remaining: [minutes(low), minutes(middle), minutes(high)],
        basis: Basis::Measured,
        made_at: snapshot.at.mono,
    });
    snapshot
}

#[test]
fn a_remaining_time_has_no_false_digits() {
    // Minutes left, width of the range in minutes, what is said.
    let table = [
        (0.0, 0.0, "1 min"),
        (0.4, 0.0, "1 min"),
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
        ([0.0, 0.0, 0.0], "up to 1 min"),
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
    assert!(clock(stamp(Trust::Unset)).contains("The clock has not been set"));
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

    let mut snapshot = snapshot();
    let last = Forecast {
        remaining: [minutes(60.0), minutes(80.0), minutes(100.0)],
        basis: Basis::Measured,
        made_at: Mono::at_s(4000.0),
    };
    let outlooks = [
        (Outlook::TooSoon { wants: Duration::from_secs(110) }, "Too soon to say.", "about 2 min"),
        (Outlook::NoBank, "Which bank", "Choose it. "),
        (Outlook::NotDraining, "Nothing is drawn", "mains"),
        (Outlook::Blind { since: Mono::at_s(4100.0), last: None }, "No readings", "for 15 min"),
        (
            Outlook::Blind { since: Mono::at_s(4100.0), last: Some(last) },
            "No readings",
            "1 h 20, between 1 h and 1 h 40",
        ),
    ];
    for (outlook, big, line) in outlooks {
        snapshot.outlook = outlook;
        let said = answer(&snapshot);
        assert!(said.big.contains(big), "{said:?}");
        assert!(plain(&said.lines.join(" ")).contains(line), "{said:?}");
        assert!(status(&snapshot).contains(big));
    }
}

#[test]
fn draw_and_supply() {
    let mut snapshot = snapshot();
    snapshot.draw.now = Some(Watts::of(4.07));
    snapshot.draw.basis = Basis::Measured;
    assert_eq!(plain(&draw(&snapshot)), "Drawing 4.1 W now.");
    snapshot.activities = vec![crate::snapshot::ActivityView {
        name: "Contacts".into(),
        current: true,
        usual: Some(Watts::of(3.22)),
        remaining: None,
    }];
    assert_eq!(plain(&draw(&snapshot)), "Drawing 4.1 W now; 3.2 W is usual for contacts.");
    snapshot.draw.now = Some(Watts::of(-5.0));
    assert_eq!(plain(&draw(&snapshot)), "5.0 W is flowing into the bank.");
    snapshot.draw.now = None;
    snapshot.supply.power = Err(Gap::NoAnswer);
    assert!(draw(&snapshot).contains("does not answer"));

    snapshot.supply.volts = Ok(Volts::of(5.08));
    let states = [
        (Ok(false), 0, "Supply 5.08 V, steady."),
        (Ok(true), 1, "Supply 5.08 V, too low for the board right now."),
        (Ok(false), 3, "Supply 5.08 V; it was too low 3 times in this outing."),
        (Err(Gap::NotMeasurable), 0, "Supply 5.08 V; this board cannot tell whether it dips."),
    ];
    for (low, times, want) in states {
        snapshot.board.undervoltage = low;
        snapshot.undervoltage_times = times;
        assert_eq!(plain(&supply(&snapshot)), want);
    }
}

#[test]
fn every_alarm_gap_and_refusal_says_what_to_do() {
    let mut snapshot = lasting(25.0, 40.0, 60.0);
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
    abouts.push(About::OverRange { source, end: Amps::of(0.82) });
    abouts.extend([90, 50].map(|below_percent| About::FinishAtRisk { below_percent }));
    abouts.extend([
        About::BrownOutNear,
        About::DrawHigh { activity: "Receive".into(), usual: Watts::of(3.1) },
        About::AutoOff,
        About::RecordNotWritten,
        About::ChoicesNotKept,
        About::ClockNotTrusted,
    ]);
    for low in [true, false] {
        snapshot.board.undervoltage = Ok(low);
        for about in &abouts {
            let said = alarm(
                &Alarm { about: about.clone(), since: Mono::BOOT, asleep_until: None },
                &snapshot,
            );
            for part in [&said.text, &said.meaning, &said.advice] {
                assert!(part.ends_with('.') && part.len() > 10, "{about:?}: '{part}'");
                assert!(part.starts_with(|c: char| c.is_uppercase()), "{about:?}: '{part}'");
            }
        }
    }
    let text = |limit_min| {
        let about = About::RunningOut { limit_min };
        plain(&alarm(&Alarm { about, since: Mono::BOOT, asleep_until: None }, &snapshot).text)
    };
    assert_eq!(text(30), "Less than 30 min may be left: between 25 min and 1 h.");
    assert_eq!(text(120), "Less than 2 h may be left: between 25 min and 1 h.");
    for refused in [
        Refusal::NoSuchActivity,
        Refusal::NoRules,
        Refusal::AlarmGone,
        Refusal::FinishOutOfRange,
        Refusal::BankImplausible([BankFault::LabelMah].into()),
        Refusal::BadName(NameFault::NotPlain),
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
        ["more", "than", "30", "days"] => 43_201,
        [min, "min"] => number(min),
        [h, "h"] => number(h) * 60,
        [h, "h", min] => number(h) * 60 + number(min),
        [days, "days"] => number(days) * 1440,
        [days, "days", h, "h"] => number(days) * 1440 + number(h) * 60,
        other => panic!("cannot read {other:?}"),
    }
}

// ---- what only the operator knows ---------------------------------------------------------------

fn blue_ten() -> BankSpec {
    BankSpec {
        name: "Blue ten".into(),
        cells: Cells::LiIon,
        series: 1,
        label: AmpHours::of(10.0),
        label_volts: Volts::of(3.7),
        measured_at: MeasuredAt::Output,
        ambient: None,
        cutoff: None,
    }
}

fn long_six() -> BankSpec {
    BankSpec {
        name: "Long six".into(),
        cells: Cells::LiFePo4,
        series: 4,
        label: AmpHours::of(6.0),
        label_volts: Volts::of(12.8),
        measured_at: MeasuredAt::Cells,
        ambient: None,
        cutoff: None,
    }
}

/// On this bank, after an outing that took 50.7 Wh.
fn on(bank: BankSpec) -> Snapshot {
    let mut snapshot = snapshot();
    snapshot.bank.spec = Some(alloc::sync::Arc::new(bank));
    snapshot.bank.since = Some(crate::snapshot::Since {
        outing: None,
        delivered: Joules::from_wh(50.7),
        off: None,
        restarted: false,
        older: 0,
    });
    snapshot
}

fn view(question: Question, answer: Option<Reply>, standing: Standing) -> QuestionView {
    let all = [
        Reply::GoesOn,
        Reply::Charged,
        Reply::Another,
        Reply::Same,
        Reply::Level(Share::WHOLE),
        Reply::Level(Share::nearest(0.375)),
        Reply::Level(Share::nearest(0.7)),
        Reply::RanEmpty,
        Reply::PlugPulled,
        Reply::Undo,
    ];
    let answers = all.into_iter().filter(|answer| question.takes(*answer)).collect();
    QuestionView { question, answers, answer, standing }
}

fn open(question: Question, snapshot: &Snapshot) -> Asked {
    asked(&view(question, None, Standing::Open), snapshot)
}

#[test]
fn why_it_is_asked_whether_the_bank_was_charged() {
    let mut snapshot = on(long_six());
    let why = |snapshot: &Snapshot| plain(&open(Question::SinceLast, snapshot).why);
    let rest = "Before that, Long six had delivered 50.7 Wh.";
    assert_eq!(why(&snapshot), format!("It is not known how long the board was off. {rest}"));
    let told = |snapshot: &mut Snapshot, off: Option<f64>, restarted: bool| {
        let since = snapshot.bank.since.as_mut().expect("it follows another outing");
        (since.off, since.restarted) = (off.map(minutes), restarted);
    };
    told(&mut snapshot, None, true);
    assert_eq!(why(&snapshot), format!("The board was restarted. {rest}"));
    told(&mut snapshot, Some(540.0), false);
    assert_eq!(why(&snapshot), format!("The board was off for 9 h. {rest}"));
    told(&mut snapshot, Some(7.0), true);
    assert_eq!(why(&snapshot), format!("The board was off for 7 min. {rest}"));
    assert_eq!(open(Question::SinceLast, &snapshot).text, "Same bank, not charged since?");
    assert_eq!(open(Question::SinceLast, &snapshot).holds, None);
}

#[test]
fn why_it_is_asked_whether_it_is_another_bank() {
    let mut snapshot = on(blue_ten());
    let why = |snapshot: &Snapshot| plain(&open(Question::Swapped, snapshot).why);
    let from = Mono::at_s(4360.0);
    snapshot.bank.away = Some(Away { from, to: Mono::at_s(4400.0), stepped: false });
    // 13:05:00 UTC at an offset of two hours, ten minutes ago.
    assert_eq!(
        why(&snapshot),
        "The supply was gone for 40 s while the board ran on. It came back at 14:55."
    );
    snapshot.at.trust = Trust::Unset;
    assert!(why(&snapshot).ends_with("It came back 10 min ago."), "{}", why(&snapshot));
    snapshot.bank.away = Some(Away { from, to: Mono::at_s(4980.0), stepped: true });
    assert_eq!(why(&snapshot), "The voltage jumped less than a minute ago and has stayed there.");
}

#[test]
fn answers_and_what_they_leave() {
    let mut snapshot = on(long_six());
    let one = |story, weight, min: [f64; 3]| Possibility {
        story,
        weight: Share::nearest(weight),
        remaining: min.map(minutes),
    };
    snapshot.possibilities = alloc::vec![
        one(Story::GoesOn, 0.4, [120.0, 240.0, 355.0]),
        one(Story::Charged, 0.5, [880.0, 1000.0, 1115.0]),
        one(Story::AnyLevel, 0.1, [130.0, 500.0, 950.0]),
    ];
    let said = |question, snapshot: &Snapshot| {
        let answers = open(question, snapshot).answers.into_iter();
        answers
            .map(|(_, label, leaves)| (plain(&label), leaves.map(|it| plain(&it))))
            .collect::<Vec<_>>()
    };
    let pair = |label: &str, leaves: &str| {
        (String::from(label), Some(String::from(leaves)).filter(|it| !it.is_empty()))
    };
    assert_eq!(
        said(Question::SinceLast, &snapshot),
        [
            pair("Yes, not charged", "4 h left"),
            pair("No, charged full", "16 h 30 left"),
            pair("Part-charged or another bank", "8 h left"),
        ]
    );
    snapshot.possibilities = alloc::vec![
        one(Story::Told, 0.6, [350.0, 400.0, 450.0]),
        one(Story::Swapped, 0.4, [84.0, 306.0, 534.0]),
    ];
    assert_eq!(
        said(Question::Swapped, &snapshot),
        [pair("Another bank", "5 h left"), pair("Still Long six", "6 h 40 left")]
    );
    // A pack has no lamps; a USB bank shows four, each a quarter (common practice, no source).
    assert_eq!(
        said(Question::HowFull, &snapshot),
        [pair("Full", ""), pair("25 to 50 %", ""), pair("About 70 %", "")]
    );
    assert_eq!(
        said(Question::HowFull, &on(blue_ten())),
        [pair("Full", ""), pair("2 of 4 lamps", "25 to 50 %"), pair("About 70 %", "")]
    );
    assert_eq!(
        said(Question::HowEnded, &snapshot),
        [pair("The bank ran empty", ""), pair("The plug was pulled", "")]
    );
}

#[test]
fn the_levels_that_can_be_said_part_the_whole_charge() {
    for bank in [Some(blue_ten()), Some(long_six()), None] {
        let parts: Vec<f64> = levels(bank.as_ref())
            .iter()
            .map(|(answer, ..)| match answer {
                Reply::Level(share) => share.part(),
                other => panic!("{other:?} is no level"),
            })
            .collect();
        assert_eq!(parts, [1.0, 0.875, 0.625, 0.375, 0.125]);
    }
    let (_, label, means) = levels(Some(&long_six())).remove(4);
    assert_eq!((plain(&label), means), (String::from("Under 25 %"), None));
}

#[test]
fn a_changed_bank_says_till_when_it_can_be_taken_back() {
    let mut snapshot = on(long_six());
    let changed = |before| {
        Some(BankChanged {
            at: Mono::at_s(4880.0),
            until: Mono::at_s(5480.0),
            before: Some(alloc::sync::Arc::new(before)),
        })
    };
    snapshot.bank.changed = changed(blue_ten());
    let said = |snapshot: &Snapshot| {
        let asked = open(Question::BankChanged, snapshot);
        (plain(&asked.why), asked.answers[0].1.clone())
    };
    assert_eq!(
        said(&snapshot),
        (
            String::from("Long six has been in use since 15:03. You can undo this until 15:13."),
            String::from("Back to Blue ten"),
        )
    );
    snapshot.bank.changed = changed(long_six());
    assert_eq!(
        said(&snapshot),
        (
            String::from("Long six counts as charged since 15:03. You can undo this until 15:13."),
            String::from("It was not charged: go back"),
        )
    );
    snapshot.at.trust = Trust::Unset;
    let (why, _) = said(&snapshot);
    assert_eq!(why, "Long six counts as charged for 2 min. You can undo this for 8 min more.");
}

#[test]
fn what_holds_says_by_whose_word() {
    let mut snapshot = on(blue_ten());
    let since = snapshot.bank.since.as_mut().expect("it follows another outing");
    since.off = Some(minutes(4380.0));
    snapshot.bank.away =
        Some(Away { from: Mono::at_s(4360.0), to: Mono::at_s(4400.0), stepped: false });
    let part = |part| Reply::Level(Share::nearest(part));
    for (question, answer, want) in [
        (
            Question::SinceLast,
            Reply::GoesOn,
            "Blue ten was not charged, so the last outing goes on.",
        ),
        (Question::SinceLast, Reply::Charged, "Blue ten was charged full before this outing."),
        (
            Question::SinceLast,
            Reply::Another,
            "The bank was part-charged or changed before this outing.",
        ),
        (Question::Swapped, Reply::Another, "Another bank took over at 14:55."),
        (Question::Swapped, Reply::Same, "Blue ten has been connected all along."),
        (Question::HowFull, part(1.0), "Blue ten began full."),
        (Question::HowFull, part(0.375), "Blue ten began at 2 of 4 lamps."),
        (Question::HowFull, part(0.7), "Blue ten began at about 70 % of its charge."),
        (Question::HowEnded, Reply::RanEmpty, "The last outing ended because the bank ran empty."),
        (
            Question::HowEnded,
            Reply::PlugPulled,
            "The last outing ended because the plug was pulled.",
        ),
    ] {
        let holds = |standing| {
            plain(
                &asked(&view(question, Some(answer), standing), &snapshot)
                    .holds
                    .unwrap_or_default(),
            )
        };
        assert_eq!(holds(Standing::Said), format!("{want} You said so."));
        let by = match question {
            Question::SinceLast => {
                "The board was off for 3 days 1 h, and nobody has said otherwise."
            }
            _ => "Nobody has said otherwise.",
        };
        assert_eq!(holds(Standing::Inferred), format!("{want} {by}"));
    }
    let pack = on(long_six());
    let level = view(Question::HowFull, Some(part(0.125)), Standing::Said);
    let holds = asked(&level, &pack).holds.unwrap_or_default();
    assert_eq!(plain(&holds), "Long six began at under 25 % of its charge. You said so.");
}

#[test]
fn of_several_possibilities_the_cautious_one_stands_large() {
    let mut snapshot = lasting(120.0, 510.0, 1115.0);
    let one = |story, min: [f64; 3]| Possibility {
        story,
        weight: Share::nearest(0.5),
        remaining: min.map(minutes),
    };
    for (story, supposes) in [
        (Story::GoesOn, "left, if not charged since"),
        (Story::AnyLevel, "left, if only part-charged"),
        (Story::Swapped, "left, if it is another bank"),
        (Story::Told, "left, if it is the same bank"),
    ] {
        snapshot.possibilities = alloc::vec![
            one(Story::Charged, [880.0, 1000.0, 1115.0]),
            one(story, [120.0, 240.0, 355.0]),
        ];
        let said = answer(&snapshot);
        assert_eq!((plain(&said.big).as_str(), said.after.as_str()), ("4 h", supposes));
        assert_eq!(plain(&said.lines[0]), "between 2 h and 6 h", "the range is of the same case");
        assert_eq!((said.lines.len(), plain(&said.range).as_str()), (1, "2 h to 6 h"));
        let safe = safe(&snapshot).unwrap();
        assert_eq!(safe.until, "Safe until 17:00", "15:05 and two hours, rounded down");
        assert!(safe.finish.unwrap().starts_with("If "), "{story:?}");
    }
}
