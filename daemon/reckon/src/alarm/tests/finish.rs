//! The finish: its verdict is the alarm's, it quiets what comes after it, and a person's word on it
//! counts at once. And how long an alarm may sleep.

use super::*;

/// So many minutes left, the finish so many ahead, and the chance of reaching it.
fn going(minutes: f64, finish_min: f64, part: f64) -> AlarmInputs {
    AlarmInputs {
        finish_in_s: Some(finish_min * 60.0),
        ..AlarmInputs { finish: chance(part).finish, ..minutes_left(minutes) }
    }
}

fn stands(alarms: &Alarms) -> Vec<About> {
    alarms.standing().into_iter().map(|alarm| alarm.about).collect()
}

#[test]
fn what_ends_after_a_safe_finish_is_not_told_until_the_finish_has_passed() {
    let mut alarms = Alarms::new(AlarmWants::default());
    // An hour and a half to go, ending half an hour after the finish: 60, 30 and 10 min are passed.
    let fall = |k: u32| {
        let ahead = 90.0 - f64::from(k) / 60.0;
        going(ahead + 30.0, ahead, 0.99)
    };
    let edges = play(&mut alarms, 0, 89 * 60, fall);
    assert!(edges.is_empty(), "{edges:?}");
    assert_eq!(stands(&alarms), []);
    assert!(alarms.is_running_out(), "the power-off is watched as before");
    // The finish has passed: what is left is told within a second.
    let edges = play(&mut alarms, 89 * 60, 1, |_| minutes_left(30.9));
    assert_eq!(abouts(&edges), [(&About::RunningOut { limit_min: 60 }, true)]);
}

#[test]
fn a_finish_that_is_not_safe_quiets_nothing() {
    for (left, finish, part) in [(50.0, 55.0, 0.8), (50.0, 90.0, 0.3)] {
        let mut alarms = Alarms::new(AlarmWants::default());
        play(&mut alarms, 0, 100, |_| going(left, finish, part));
        let out = About::RunningOut { limit_min: 60 };
        assert!(stands(&alarms).contains(&out), "{left} {finish} {part}");
    }
    // The small chance of an end before the finish is told, too.
    let mut alarms = Alarms::new(AlarmWants::default());
    let deep = AlarmInputs { deep_s: Some(25.0 * 60.0), ..going(80.0, 70.0, 0.93) };
    play(&mut alarms, 0, 100, |_| deep.clone());
    assert_eq!(stands(&alarms), [About::RunningOut { limit_min: 60 }]);
}

#[test]
fn a_forecast_that_wavers_about_the_finish_tells_of_the_time_left_once() {
    let mut alarms = Alarms::new(AlarmWants::default());
    let waver = |k: u32| {
        let left = 50.0 * (1.0 + 0.05 * f64::from(k % 7) / 6.0 - 0.02);
        going(left, 50.0, if left < 50.0 { 0.895 } else { 0.92 })
    };
    let edges = play(&mut alarms, 0, 7200, waver);
    assert!(edges.len() <= 2, "{edges:?}");
}

#[test]
fn a_finish_that_a_person_moves_is_judged_at_once() {
    let mut alarms = Alarms::new(AlarmWants::default());
    play(&mut alarms, 0, 100, |_| going(300.0, 280.0, 0.95));
    assert_eq!(alarms.finish_below_percent(), None);
    for (part, below, edges) in [
        (0.7, Some(90), 1),
        (0.3, Some(50), 1),
        (0.3, Some(50), 0),
        (0.55, Some(90), 1),
        (0.91, None, 1),
    ] {
        alarms.judge_finish();
        let told = play(&mut alarms, 100, 1, |_| going(300.0, 310.0, part));
        assert_eq!((alarms.finish_below_percent(), told.len()), (below, edges), "{part}: {told:?}");
    }
    // Nothing that wavers by itself does.
    assert!(play(&mut alarms, 101, 50, |_| going(300.0, 310.0, 0.7)).is_empty());
}

#[test]
fn nothing_sleeps_past_the_cautious_end() {
    let hour = Duration::from_secs(3600);
    let asleep_for = |alarms: &Alarms, now_s: f64| {
        alarms.standing()[0].asleep_until.map(|until| until.as_s() - now_s)
    };
    let second = |alarms: &mut Alarms, seen: AlarmInputs, now_s: f64| {
        alarms.observe(&seen, Mono::at_s(now_s));
        alarms.wake(seen.cautious_s, Mono::at_s(now_s));
    };
    for seen in [
        minutes_left(25.0),
        going(25.0, 60.0, 0.2),
        AlarmInputs { heat_flag: true, ..minutes_left(25.0) },
    ] {
        let mut alarms =
            Alarms::new(AlarmWants { limits_min: Vec::from([30]), ..AlarmWants::default() });
        play(&mut alarms, 0, 100, |_| seen.clone());
        let since = alarms.standing()[0].since;
        assert!(alarms.sleep(0, since, hour, Mono::at_s(100.0)));
        second(&mut alarms, seen.clone(), 100.0);
        assert_eq!(asleep_for(&alarms, 100.0), Some(25.0 * 60.0));
        // It comes nearer while it sleeps.
        second(&mut alarms, AlarmInputs { cautious_s: Some(240.0), ..seen.clone() }, 101.0);
        assert_eq!(asleep_for(&alarms, 101.0), Some(240.0));
        // Once it has come, a tap is still worth a few minutes.
        second(&mut alarms, AlarmInputs { cautious_s: Some(0.0), ..seen.clone() }, 400.0);
        assert_eq!(asleep_for(&alarms, 400.0), None);
        assert!(alarms.sleep(0, since, hour, Mono::at_s(400.0)));
        second(&mut alarms, AlarmInputs { cautious_s: Some(0.0), ..seen.clone() }, 400.0);
        assert_eq!(asleep_for(&alarms, 400.0), Some(300.0));
        second(&mut alarms, AlarmInputs { cautious_s: Some(0.0), ..seen }, 700.0);
        assert_eq!(asleep_for(&alarms, 700.0), None, "not five minutes more each second");
    }
}

#[test]
fn a_graver_one_of_the_same_kind_wakes_it() {
    let mut alarms = Alarms::new(AlarmWants::default());
    let mut now_s = 0;
    for (seen, about) in [
        (minutes_left(59.0), About::RunningOut { limit_min: 60 }),
        (minutes_left(29.0), About::RunningOut { limit_min: 30 }),
        (minutes_left(9.0), About::RunningOut { limit_min: 10 }),
        (chance(0.8), About::FinishAtRisk { below_percent: 90 }),
        (chance(0.4), About::FinishAtRisk { below_percent: 50 }),
    ] {
        play(&mut alarms, now_s, 100, |_| seen.clone());
        now_s += 100;
        let all = alarms.standing();
        let place = all.iter().position(|alarm| alarm.about == about).unwrap();
        assert_eq!(all[place].asleep_until, None, "{about:?}");
        let now = Mono::at_s(f64::from(now_s));
        assert!(alarms.sleep(place, all[place].since, Duration::from_secs(3600), now));
    }
}
