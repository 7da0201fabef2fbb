//! Where each rule turns: on one side of its limit nothing, on the other the alarm.

use super::*;

/// What stands after so many seconds of the same.
fn standing_after(alarms: &mut Alarms, from_s: u32, count: u32, seen: &AlarmInputs) -> Vec<About> {
    play(alarms, from_s, count, |_| seen.clone());
    alarms.standing().into_iter().map(|alarm| alarm.about).collect()
}

fn fresh() -> Alarms {
    Alarms::new(AlarmWants { limits_min: [60, 30].to_vec(), ..AlarmWants::default() })
}

/// Raised by `bad`, not by `good`; then kept by `stays` for an hour and taken back by `over`.
fn turns(
    about: &About,
    good: &AlarmInputs,
    bad: &AlarmInputs,
    stays: &AlarmInputs,
    over: &AlarmInputs,
) {
    assert!(standing_after(&mut fresh(), 0, 600, good).is_empty(), "{about:?} too soon: {good:?}");
    let mut alarms = fresh();
    assert_eq!(standing_after(&mut alarms, 0, 100, bad), core::slice::from_ref(about), "{bad:?}");
    assert_eq!(
        standing_after(&mut alarms, 100, 3600, stays),
        core::slice::from_ref(about),
        "{stays:?}"
    );
    assert!(standing_after(&mut alarms, 3700, 400, over).is_empty(), "{about:?}: {over:?}");
}

#[test]
fn each_rule_turns_at_its_limit_and_back_beyond_its_gap() {
    let quiet = AlarmInputs::default;
    let hot = |celsius: f64| AlarmInputs { temp_c: Some(celsius), ..quiet() };
    let amps = |amps: f64| AlarmInputs { output: Some(Amps::of(amps)), ..quiet() };
    let deep = |minutes: f64| AlarmInputs { deep_s: Some(minutes * 60.0), ..minutes_left(500.0) };
    let low = |low_now, low_lately| AlarmInputs { low_now, low_lately, ..quiet() };
    let risk = |below_percent| About::FinishAtRisk { below_percent };
    let sixty = About::RunningOut { limit_min: 60 };
    // Throttled from 80 °C (Raspberry Pi documentation, frequency management).
    turns(&About::Hot, &hot(79.9), &hot(80.0), &hot(75.0), &hot(74.9));
    // Nine tenths of the load at which the board's detector trips, and eight; both are exact at 10 W.
    turns(&About::BrownOutNear, &load(8.99), &load(9.0), &load(8.0), &load(7.99));
    // 45 mA and 15 more (see `AlarmWants`); nothing at all is below it, too. It takes 1.4 times as much
    // to take it back.
    turns(&About::AutoOff, &output(60.0), &output(59.9), &amps(0.06 * 1.4), &amps(0.0841));
    turns(&About::AutoOff, &output(-0.1), &output(0.0), &output(-500.0), &output(200.0));
    // The cautious end, or twice the deep tail.
    turns(
        &sixty,
        &minutes_left(60.0),
        &minutes_left(59.9),
        &minutes_left(80.0),
        &minutes_left(80.1),
    );
    turns(&sixty, &deep(30.0), &deep(29.9), &deep(40.0), &deep(40.1));
    // 90 and 50 %; three tenths of what is above the limit more to take it back.
    turns(&risk(90), &chance(0.9), &chance(0.899), &chance(0.929), &chance(0.931));
    turns(&risk(50), &chance(0.931), &chance(0.499), &chance(0.649), &chance(0.931));
    // Once is an accident, twice in ten minutes is not; while it lasts it is told at once.
    turns(
        &About::Undervoltage { times: 2 },
        &low(false, 1),
        &low(false, 2),
        &low(false, 2),
        &quiet(),
    );
    turns(&About::Undervoltage { times: 0 }, &quiet(), &low(true, 0), &low(true, 0), &quiet());
    // A board whose limit is not known has none.
    let limitless = AlarmInputs { load: Some((Watts::of(9.0), Watts::ZERO)), ..quiet() };
    assert!(standing_after(&mut fresh(), 0, 600, &limitless).is_empty());
}

#[test]
fn nothing_known_leaves_an_alarm_as_it_is() {
    let mut alarms = fresh();
    let bad = AlarmInputs { cautious_s: Some(600.0), ..chance(0.2) };
    let unknown = AlarmInputs { finish: FinishChance::Unknown, ..AlarmInputs::default() };
    let both = standing_after(&mut alarms, 0, 100, &bad);
    assert_eq!(both.len(), 2);
    assert!(alarms.is_running_out() && alarms.is_finish_at_risk());
    assert_eq!(standing_after(&mut alarms, 100, 7200, &unknown), both);
    let good = AlarmInputs { cautious_s: Some(90_000.0), ..chance(0.99) };
    assert!(standing_after(&mut alarms, 7300, 400, &good).is_empty());
    assert!(!alarms.is_running_out() && !alarms.is_finish_at_risk());
    assert!(standing_after(&mut alarms, 7700, 400, &unknown).is_empty());
}

#[test]
fn a_tighter_limit_must_hold_as_well_and_wakes_the_alarm() {
    let mut alarms = fresh();
    play(&mut alarms, 0, 20, |_| minutes_left(50.0));
    assert!(alarms.sleep(0, Mono::at_s(10.0), Duration::from_secs(3600), Mono::at_s(20.0)));
    // Nine seconds below half an hour are a dip, however often.
    let dips = play(&mut alarms, 20, 605, |k| minutes_left(if k % 11 < 10 { 29.0 } else { 31.0 }));
    assert!(dips.is_empty(), "{dips:?}");
    assert!(alarms.standing()[0].asleep_until.is_some());
    let edges = play(&mut alarms, 625, 11, |_| minutes_left(29.0));
    assert_eq!(edges.len(), 1, "{edges:?}");
    assert_eq!((edges[0].change, edges[0].at), (AlarmChange::Changed, Mono::at_s(635.0)));
    assert_eq!(alarms.standing()[0].asleep_until, None);
    // Taken back above 42.5 min, where the wider limit stands again.
    let edges = play(&mut alarms, 636, 300, |_| minutes_left(42.6));
    assert_eq!(
        abouts(&edges),
        [
            (&About::RunningOut { limit_min: 30 }, false),
            (&About::RunningOut { limit_min: 60 }, true)
        ]
    );
}

#[test]
fn a_bank_that_is_changed_takes_its_own_alarms_along_and_leaves_the_boards() {
    let all = AlarmInputs {
        cautious_s: Some(600.0),
        finish: FinishChance::Of(Share::nearest(0.2)),
        low_now: true,
        low_lately: 3,
        heat_flag: true,
        silent: Some((SourceIx(0), Gap::NoAnswer)),
        doubt: Some(SourceIx(0)),
        load: Some((Watts::of(9.5), Watts::of(10.0))),
        output: Some(Amps::of(0.03)),
        unwritten: true,
        untimed: true,
        ..AlarmInputs::default()
    };
    let mut alarms = fresh();
    for _ in 0..1000 {
        alarms.drew(1.0, Watts::of(3.0), Some("receive"));
    }
    for _ in 0..600 {
        alarms.drew(1.0, Watts::of(9.0), Some("receive"));
    }
    let stood = standing_after(&mut alarms, 0, 200, &all);
    let high = |about: &About| matches!(about, About::DrawHigh { .. });
    assert_eq!(stood.len(), 11, "{stood:?}");
    assert!(stood.iter().any(high));
    alarms.new_bank(Mono::at_s(200.0));
    let stands: Vec<About> = alarms.standing().into_iter().map(|alarm| alarm.about).collect();
    assert_eq!(
        stands,
        [
            About::Undervoltage { times: 3 },
            About::RecordNotWritten,
            About::SensorSilent { source: SourceIx(0), gap: Gap::NoAnswer },
            About::Hot,
            About::ClockNotTrusted,
        ]
    );
    assert_eq!(alarms.drain().len(), 6);
    assert_eq!(alarms.ended(Mono::at_s(201.0)).len(), 6);
    // What was left on hung on the old bank.
    assert!(!standing_after(&mut alarms, 201, 100, &AlarmInputs::default()).iter().any(high));
}

#[test]
fn the_most_urgent_stands_first() {
    let out = |limit_min| About::RunningOut { limit_min };
    let risk = |below_percent| About::FinishAtRisk { below_percent };
    let in_order = [
        out(10),
        About::AutoOff,
        About::Undervoltage { times: 2 },
        About::BrownOutNear,
        out(30),
        About::RecordNotWritten,
        About::ChoicesNotKept,
        About::SensorSilent { source: SourceIx(0), gap: Gap::Gone },
        risk(50),
        About::Hot,
        About::ClockNotTrusted,
        out(60),
        About::OverRange { source: SourceIx(0), end: Amps::of(0.82) },
        About::DrawHigh { activity: "receive".into(), usual: Watts::of(3.0) },
        risk(90),
        About::ShuntDoubt { source: SourceIx(0) },
    ];
    // Their names outside, which never change.
    let names = [
        "running_out",
        "auto_off",
        "undervoltage",
        "brown_out_near",
        "running_out",
        "record_not_written",
        "choices_not_kept",
        "sensor_silent",
        "finish_at_risk",
        "hot",
        "clock_not_trusted",
        "running_out",
        "over_range",
        "draw_high",
        "finish_at_risk",
        "shunt_doubt",
    ];
    assert!(in_order.iter().map(About::name).eq(names));
    for pair in in_order.windows(2) {
        assert!(urgency(&pair[0]) < urgency(&pair[1]), "{pair:?}");
    }
    assert_eq!(urgency(&out(11)), urgency(&out(30)), "up to half an hour is one class");
    assert_eq!(urgency(&out(31)), urgency(&out(120)));
    assert_eq!(urgency(&out(5)), urgency(&out(10)));
    assert_eq!(urgency(&risk(51)), urgency(&risk(90)));
}

#[test]
fn a_word_lets_one_alarm_sleep_for_half_a_day_at_most() {
    let mut alarms = fresh();
    let bad = AlarmInputs { unwritten: true, untimed: true, ..AlarmInputs::default() };
    play(&mut alarms, 0, 100, |_| bad.clone());
    let since = alarms.standing()[0].since;
    let at = Mono::at_s(100.0);
    let day = Duration::from_secs(86_400);
    assert!(!alarms.sleep(2, since, day, at), "there are two");
    assert!(!alarms.sleep(0, Mono::at_s(3.0), day, at), "another one stands there by now");
    assert!(alarms.standing().iter().all(|alarm| alarm.asleep_until.is_none()));
    assert!(alarms.sleep(0, since, day, at));
    let sleeps: Vec<_> = alarms.standing().iter().map(|alarm| alarm.asleep_until).collect();
    let until = Mono::at_s(100.0 + 12.0 * 3600.0);
    assert_eq!(sleeps, [Some(until), None]);
    alarms.wake(None, Mono::at_s(until.as_s() - 1.0));
    assert_eq!(alarms.standing()[0].asleep_until, Some(until));
    alarms.wake(None, until);
    assert_eq!(alarms.standing()[0].asleep_until, None);
}

#[test]
fn an_alarm_that_changes_its_number_is_told_once() {
    let mut alarms = fresh();
    let low = |times| AlarmInputs { low_lately: times, ..AlarmInputs::default() };
    assert_eq!(play(&mut alarms, 0, 10, |_| low(2)).len(), 1);
    assert!(play(&mut alarms, 10, 10, |_| low(5)).is_empty());
    assert_eq!(alarms.standing()[0].about, About::Undervoltage { times: 5 });
}

#[test]
fn the_last_hours_alarms_stay_to_be_seen_and_memory_is_bounded() {
    let mut alarms = fresh();
    // Not written for 10 s, written for 10 s, over and over; nobody asks.
    let seen = |k: u32| AlarmInputs { unwritten: k % 20 < 10, ..AlarmInputs::default() };
    for k in 0..20_u32 * 300 {
        alarms.observe(&seen(k), Mono::at_s(f64::from(k)));
    }
    let ended = alarms.ended(Mono::at_s(6000.0));
    let when: Vec<f64> = ended.iter().map(|one| one.ended.as_s()).collect();
    let newest_first: Vec<f64> = (0..8).map(|k| 5995.0 - 20.0 * f64::from(k)).collect();
    assert_eq!(when, newest_first);
    assert!(ended.iter().all(|one| one.lasted == Duration::from_secs(10)), "{ended:?}");
    assert_eq!(alarms.ended(Mono::at_s(5995.0 + 3599.0)).len(), 1);
    assert!(alarms.ended(Mono::at_s(5995.0 + 3600.0)).is_empty());
    let edges = alarms.drain();
    assert_eq!(edges.len(), 256);
    assert_eq!(edges[255].at, Mono::at_s(5995.0), "the oldest are let go");
}

/// Minutes of 'receive', by turns at the two draws.
fn usual(minutes: u32, watts: [f64; 2]) -> DrawHighWatch {
    let mut watch = DrawHighWatch::default();
    for k in 0..minutes {
        minute(&mut watch, watts[usize::from(k % 2 == 1)]);
    }
    watch
}

/// A minute in sweeps of three quarters of a second.
fn minute(watch: &mut DrawHighWatch, watts: f64) {
    for _ in 0..80 {
        watch.add(0.75, Watts::of(watts), Some("receive"));
    }
}

fn stands_after(mut watch: DrawHighWatch, minutes: u32, watts: f64) -> bool {
    for _ in 0..minutes {
        minute(&mut watch, watts);
    }
    watch.standing().is_some()
}

#[test]
fn unusual_is_a_third_more_half_a_watt_more_and_four_deviations_more() {
    // Each where it is the largest: a third of 9 W; half a watt on 0.9 W; and of thirty minutes by
    // turns at 2.5 and 3.5 W the deviation is √(30/29)/2 W, so that the limit is 5.034 W.
    for (watts, just_below, just_above) in
        [([9.0, 9.0], 11.99, 12.01), ([0.9, 0.9], 1.39, 1.41), ([2.5, 3.5], 5.03, 5.04)]
    {
        assert!(!stands_after(usual(30, watts), 1, just_above), "not after a minute");
        let mut watch = usual(30, watts);
        minute(&mut watch, just_below);
        assert!(!stands_after(watch, 9, just_above), "a minute below does not count: {watts:?}");
        assert!(!stands_after(usual(30, watts), 9, just_above));
        assert!(stands_after(usual(30, watts), 10, just_above), "{watts:?}");
    }
    // A third more to the last bit is not above it, nor is it below while there is a doubt.
    assert!(!stands_after(usual(30, [9.0, 9.0]), 10, 12.0));
    let mut watch = usual(30, [9.0, 9.0]);
    minute(&mut watch, 12.5);
    assert!(stands_after(watch, 9, 12.0));
    assert!(!stands_after(usual(14, [3.0, 3.0]), 10, 6.0), "fourteen minutes tell too little");
    assert!(stands_after(usual(15, [3.0, 3.0]), 10, 6.0));
}

#[test]
fn it_is_taken_back_when_most_of_the_surplus_is_gone_for_three_minutes() {
    let mut watch = usual(30, [9.0, 9.0]);
    // Nine minutes, one below the limit (12 W), nine again: nothing in a row.
    for watts in [[12.5; 9].as_slice(), &[11.9], &[12.5; 9]].concat() {
        minute(&mut watch, watts);
        assert_eq!(watch.standing(), None);
    }
    let mut watch = usual(30, [9.0, 9.0]);
    for _ in 0..10 {
        minute(&mut watch, 12.5);
    }
    // Six tenths of the way to the limit are 10.8 W.
    for watts in [10.81, 10.81, 10.81, 10.81, 10.79, 10.79, 10.81, 10.79, 10.79] {
        minute(&mut watch, watts);
        assert!(watch.standing().is_some(), "{watts}");
    }
    minute(&mut watch, 10.79);
    assert_eq!(watch.standing(), None);
}

#[test]
fn each_activity_has_its_own_usual_draw_and_its_own_minutes() {
    let mut watch = usual(30, [3.0, 3.0]);
    for _ in 0..1800 {
        watch.add(1.0, Watts::of(9.0), Some("contacts"));
    }
    // Half a minute of contacts does not run over into receiving, nor does what nobody tagged.
    for _ in 0..30 {
        watch.add(1.0, Watts::of(90.0), Some("contacts"));
    }
    for _ in 0..3600 {
        watch.add(1.0, Watts::of(90.0), None);
    }
    for _ in 0..10 {
        assert_eq!(watch.standing(), None);
        minute(&mut watch, 4.01);
    }
    let about = About::DrawHigh { activity: "receive".into(), usual: Watts::of(3.0) };
    assert_eq!(watch.standing(), Some(about));
}
