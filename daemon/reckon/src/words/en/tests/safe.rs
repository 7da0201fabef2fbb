//! What is said to be safe: never later than the cautious end, sums that a reader makes, and lines
//! that fit.

use super::*;
use crate::{
    alarm::Grade,
    power_off::PowerOff,
    snapshot::{ActivityView, LogState},
};

/// Characters that fit on a phone 390 px wide: at 27 px and at 19 px, and in the strip's 18 px bold
/// (measured with DejaVu Sans, the widest of the usual faces).
const UNTIL: usize = 25;
const FINISH: usize = 34;
const STRIP: usize = 34;

/// 15:05 on a Saturday; the finish so many minutes ahead.
fn against(low: f64, high: f64, finish: f64, chance: f64, verdict: Verdict) -> Snapshot {
    let mut snapshot = lasting(low, f64::midpoint(low, high), high);
    snapshot.finish = Some(FinishView {
        at: Mono::at_s(5000.0 + finish * 60.0),
        chance: Some(Share::nearest(chance)),
        verdict: Some(verdict),
        spare: None,
    });
    snapshot
}

fn lines(snapshot: &Snapshot) -> (String, String) {
    let said = safe(snapshot).unwrap();
    (plain(&said.until), plain(&said.finish.unwrap_or_default()))
}

#[test]
fn safe_by_the_cautious_end_and_how_far_that_is_from_the_finish() {
    use Verdict::{Enough, Short, Tight};
    // Cautious and hopeful end, finish, min; chance and verdict; both lines. It is 15:05.
    let table = [
        (330.0, 430.0, 285.0, 0.97, Enough, "Safe until 20:30", "40 min past your finish."),
        (334.9, 430.0, 285.0, 0.97, Enough, "Safe until 20:30", "40 min past your finish."),
        (330.0, 430.0, 360.0, 0.66, Tight, "Safe until 20:30", "35 min short of your finish."),
        (330.0, 430.0, 480.0, 0.02, Short, "Safe until 20:30", "2 h 35 short of your finish."),
        // Rounded down it would lie before a finish that is safe: then up to the finish is safe.
        (330.0, 430.0, 328.0, 0.91, Enough, "Safe until 20:33", "Just enough for your finish."),
        // The warning stands for its margin.
        (330.0, 430.0, 320.0, 0.92, Tight, "Safe until 20:20", "5 min short of your finish."),
        // A warning is about to be raised.
        (330.0, 430.0, 340.0, 0.89, Enough, "Safe until 20:30", "Not sure of your finish yet."),
        (
            1000.0,
            1100.0,
            900.0,
            1.0,
            Enough,
            "Safe until 07:40 tomorrow",
            "1 h 35 past your finish.",
        ),
        (
            4000.0,
            5000.0,
            900.0,
            1.0,
            Enough,
            "Safe until 09:40 on Tue",
            "51 h 35 past your finish.",
        ),
        // What is shown counts down from a little below the cautious end.
        (330.0, 430.0, 330.9, 0.9, Enough, "Safe until 20:35", "Just enough for your finish."),
        (0.4, 3.0, 900.0, 0.0, Short, "May end any minute", "15 h short of your finish."),
    ];
    for (low, high, finish, chance, verdict_, until, line) in table {
        let snapshot = against(low, high, finish, chance, verdict_);
        assert_eq!(lines(&snapshot), (until.into(), line.into()), "{low} {finish} {verdict_:?}");
    }
    let snapshot = against(330.0, 430.0, 360.0, 0.66, Tight);
    let said = plain(&verdict(&snapshot).unwrap());
    assert_eq!(said, "Safe until 20:30, 35 min short of your finish.");
}

#[test]
fn without_a_clock_it_is_safe_for_so_long() {
    let unset = |mut snapshot: Snapshot| {
        snapshot.at.trust = Trust::Unset;
        lines(&snapshot)
    };
    let pair = |a: &str, b: &str| (String::from(a), String::from(b));
    assert_eq!(
        unset(against(334.0, 430.0, 365.0, 0.66, Verdict::Tight)),
        pair("Safe for 5 h 30", "35 min short of your finish.")
    );
    assert_eq!(
        unset(against(334.0, 430.0, 285.0, 0.99, Verdict::Enough)),
        pair("Safe for 5 h 30", "45 min past your finish.")
    );
    assert_eq!(unset(lasting(0.5, 2.0, 4.0)), pair("May end any minute", ""));
    assert_eq!(unset(lasting(90_000.0, 1e5, 2e5)), pair("Safe for 30 days", ""));
    assert_eq!(lines(&lasting(90_000.0, 1e5, 2e5)).0, "Safe for 30 days", "beyond the week");
}

#[test]
fn a_line_for_every_other_state() {
    let mut snapshot = snapshot();
    assert_eq!(safe(&snapshot), None);
    let finish = FinishView { at: Mono::at_s(9000.0), chance: None, verdict: None, spare: None };
    snapshot.finish = Some(finish);
    snapshot.outlook = Outlook::NotDraining;
    assert_eq!(safe(&snapshot), None);
    snapshot.outlook = Outlook::TooSoon { wants: Duration::from_secs(60) };
    assert_eq!(lines(&snapshot), ("Too soon to say for 16:12.".into(), String::new()));
    snapshot.finish = Some(FinishView { at: Mono::at_s(100.0), ..finish });
    assert_eq!(lines(&snapshot).0, "Your finish was 13:43.");
    let last = Forecast {
        remaining: [minutes(60.0), minutes(80.0), minutes(100.0)],
        basis: Basis::Measured,
        made_at: Mono::at_s(4000.0),
    };
    snapshot.outlook = Outlook::Blind { since: Mono::at_s(4100.0), last: Some(last) };
    assert_eq!(
        lines(&snapshot),
        ("Was safe until 15:45".into(), "By a forecast 17 min old.".into())
    );
    // What is only expected raises no warning, so it does not say 'short' either.
    let mut expected = against(100.0, 200.0, 300.0, 0.1, Verdict::Short);
    if let Outlook::Lasts(forecast) = &mut expected.outlook {
        forecast.basis = Basis::Expected;
    }
    assert_eq!(lines(&expected).1, "Not sure of your finish yet.");
}

#[test]
fn a_tile_says_the_cautious_end_as_the_headline_does() {
    let one = |remaining: Option<[f64; 3]>| ActivityView {
        name: "Receive".into(),
        current: false,
        usual: Some(Watts::of(2.8)),
        remaining: remaining.map(|it| it.map(minutes)),
    };
    let (set, unset) = (stamp(Trust::Synchronised), stamp(Trust::Unset));
    let said = |of, at| plain(&activity_left(&one(of), at));
    assert_eq!(said(Some([334.0, 380.0, 430.0]), set), "safe until 20:30");
    assert_eq!(said(Some([334.0, 380.0, 430.0]), unset), "safe for 5 h 30");
    assert_eq!(said(Some([0.2, 3.0, 8.0]), set), "may end any minute");
    assert_eq!(said(None, set), "draws 2.8 W");
}

#[test]
fn ranges_that_can_be_printed_large() {
    let table = [
        ([330.0, 380.0, 430.0], "5 h 30 to 7 h 10"),
        ([4.0, 9.0, 15.0], "4 to 15 min"),
        ([0.5, 3.0, 8.0], "up to 8 min"),
        ([60.0, 61.0, 62.0], "about 1 h"),
        ([4500.0, 5000.0, 6100.0], "3 d 3 h to 4 d 6 h"),
        ([18_000.0, 40_000.0, 90_000.0], "12 d or more"),
        ([50_000.0, 60_000.0, 90_000.0], "30 d or more"),
    ];
    for (remaining, want) in table {
        assert_eq!(plain(&range_brief(remaining.map(minutes))), want, "{remaining:?}");
    }
}

proptest! {
    #[test]
    fn never_later_than_the_cautious_end_and_it_fits(
        low in 0.0..60_000.0_f64, to_high in 0.0..6000.0_f64, finish in 0.1..20_000.0_f64,
        chance in 0.0..1.0_f64, set in any::<bool>(), verdict_ in 0..3_usize,
    ) {
        let verdict_ = [Verdict::Enough, Verdict::Tight, Verdict::Short][verdict_];
        let mut snapshot = against(low, low + to_high, finish, chance, verdict_);
        if !set {
            snapshot.at.trust = Trust::Unset;
        }
        let (until, line) = lines(&snapshot);
        prop_assert!(until.chars().count() <= UNTIL, "{until}");
        prop_assert!(line.chars().count() <= FINISH, "{line}");
        if let Some(duration) = until.strip_prefix("Safe for ") {
            prop_assert!(f64::from(read_min(duration)) <= low, "{until} of {low}");
        }
        if let Some((hour, minute)) = until.strip_prefix("Safe until ").and_then(|it| it.get(..5)?.split_once(':')) {
            // Minutes after 15:05, the days by how far the cautious end is.
            let of_day = hour.parse::<f64>().unwrap() * 60.0 + minute.parse::<f64>().unwrap() - 905.0;
            let below = low - of_day;
            prop_assert!(below >= 0.0 && below.rem_euclid(1440.0) <= low, "{until} of {low}");
        }
        let remaining = [low, low + to_high / 2.0, low + to_high].map(minutes);
        let brief = range_brief(remaining);
        prop_assert!(brief.chars().count() <= 20, "{brief}");
        let big = left_brief(remaining[1], remaining[2] - remaining[0]);
        prop_assert!(big.chars().count() <= 9, "{big}");
    }
}

fn standing(about: About) -> Alarm {
    Alarm { about, since: Mono::BOOT, asleep_until: None }
}

#[test]
fn strips_are_short_and_say_what_is_the_matter() {
    let mut snapshot = against(330.0, 430.0, 360.0, 0.66, Verdict::Tight);
    snapshot.board.temp = Ok(Celsius::of(82.0));
    snapshot.board.undervoltage = Ok(true);
    snapshot.draw.lately = Some(Watts::of(4.12));
    let said = |about: About, snapshot: &Snapshot| plain(&strip(&standing(about), snapshot));
    let at_risk = |below_percent| About::FinishAtRisk { below_percent };
    let source = SourceIx(0);
    for (about, want) in [
        (at_risk(90), "Tight for 21:05: about 2 in 3"),
        (at_risk(50), "Short for 21:05: about 1 in 2"),
        (About::Undervoltage { times: 3 }, "Supply too low, 3 times"),
        (About::SensorSilent { source, gap: Gap::Gone }, "Sensor silent: draw not read"),
        (About::RunningOut { limit_min: 120 }, "Small chance: under 2 h left"),
        (About::RunningOut { limit_min: 10 }, "May end soon: save your log now"),
        (About::Hot, "Board too hot: 82 °C"),
        (
            About::DrawHigh { activity: "Receive".into(), usual: Watts::of(2.8) },
            "Draw far above usual: 4.1 W",
        ),
    ] {
        assert_eq!(said(about, &snapshot), want);
    }
    let near = lasting(8.0, 12.0, 20.0);
    let out = |limit_min| said(About::RunningOut { limit_min }, &near);
    assert_eq!(
        [10, 30].map(out),
        ["Last minutes: save your log now", "Less than 30 min may be left"]
    );
    // However far the finish is, and whatever the chance.
    for chance in [0.0, 0.05, 0.34, 0.66, 0.89, 0.99] {
        for finish in [60.0, 1000.0, 3000.0, 20_000.0] {
            for trust in [Trust::Phone, Trust::Unset] {
                let mut snapshot = against(330.0, 430.0, finish, chance, Verdict::Tight);
                snapshot.at.trust = trust;
                for below in [90, 50] {
                    let text = said(at_risk(below), &snapshot);
                    assert!(text.chars().count() <= STRIP, "{text}");
                }
            }
        }
    }
    for about in [
        About::ShuntDoubt { source },
        About::OverRange { source, end: Amps::of(0.82) },
        About::BrownOutNear,
        About::AutoOff,
        About::RecordNotWritten,
        About::ChoicesNotKept,
        About::ClockNotTrusted,
        About::Undervoltage { times: 12 },
    ] {
        let text = said(about, &snapshot);
        assert!((10..=STRIP).contains(&text.chars().count()), "{text}");
    }
    snapshot.power_off = PowerOff::Counting { since: Mono::BOOT, until: Mono::at_s(6000.0) };
    assert_eq!(power_off_strip(&snapshot), Some("Last minutes: save your log now"));
}

#[test]
fn the_last_minutes_are_graver_than_two_hours() {
    let grade = |limit_min| About::RunningOut { limit_min }.grade();
    assert_eq!(
        [120, 60, 30, 10].map(grade),
        [Grade::Early, Grade::Early, Grade::Urgent, Grade::Grave]
    );
}

#[test]
fn what_is_not_well_leaves_the_line() {
    let mut snapshot = snapshot();
    snapshot.bank.spec = Some(alloc::sync::Arc::new(blue_ten()));
    snapshot.bank.delivered = Joules::from_wh(7.7);
    snapshot.bank.usable = Some([25.8, 28.0, 30.2].map(Joules::from_wh));
    snapshot.supply.volts = Ok(Volts::of(4.88));
    snapshot.supply.power = Ok(Watts::of(3.2));
    snapshot.undervoltage_times = 1;
    snapshot.log = LogState::Kept { last: Mono::at_s(4996.0) };
    let all = well(&snapshot);
    assert_eq!(all.line, "All well: bank, supply, clock, record");
    let states: Vec<String> = all.parts.iter().map(|part| plain(&part.state)).collect();
    assert_eq!(
        states,
        [
            "Blue ten: 7.7 Wh given of 28.0",
            "4.88 V, 3.2 W; low once",
            "set by a network or receiver",
            "written within the last minute",
        ]
    );
    snapshot.log = LogState::Off;
    assert_eq!(well(&snapshot).line, "All well: bank, supply, clock", "nobody looks at a record");
    snapshot.at.trust = Trust::Unset;
    snapshot.log = LogState::Stopped { why: "The card is full.".into() };
    let some = well(&snapshot);
    assert_eq!(some.line, "Well: bank, supply");
    let strips: Vec<_> = some.parts.iter().filter_map(|part| part.strip).collect();
    assert_eq!(strips, ["Clock not set", "Record stopped"]);
    snapshot.alarms.push(standing(About::SensorSilent { source: SourceIx(0), gap: Gap::Gone }));
    assert_eq!(well(&snapshot).line, "Well: bank");
}
