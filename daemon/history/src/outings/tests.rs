//! The decisions, case by case.

use super::*;

fn before() -> Before {
    Before {
        boot_uuid: "first".into(),
        last_sign_s: 49_500.0,
        due_s: 10.0,
        stopped: None,
        forecast: Some((49_200.0, [200.0, 600.0, 1200.0])),
        wall_at_boot_ms: None,
        outing: Some(OpenOuting {
            id: 7,
            bank: Some("Blue ten".into()),
            name: None,
            start_share: Some(1.0),
            lasted_s: 49_500.0,
            energy_wh: 24.0,
            bridged_wh: 0.0,
        }),
    }
}

fn start(boot: &str, at_s: f64) -> ThisStart {
    ThisStart { boot_uuid: boot.into(), at_s, wall_at_boot_ms: None }
}

#[test]
fn a_bank_that_the_forecast_saw_dying_died_between_the_last_sign_and_the_next() {
    let rules = Rules::default();
    let told = account(&before(), &start("second", 12.0), &rules);
    let Ended::PowerLost { died } = told.ended else { panic!("{told:?}") };
    assert!(died > 0.8, "{died}");
    assert_eq!((told.from_s, told.to_s), (49_500.0, 49_512.0));
    assert!(told.ask && !told.goes_on);
}

#[test]
fn power_lost_with_half_a_day_left_was_a_pulled_plug() {
    let mut early = before();
    early.forecast = Some((49_200.0, [36_000.0, 43_000.0, 50_000.0]));
    let told = account(&early, &start("second", 12.0), &Rules::default());
    let Ended::PowerLost { died } = told.ended else { panic!("{told:?}") };
    assert!(died < 0.2, "{died}");
    early.forecast = None;
    let Ended::PowerLost { died } =
        account(&early, &start("second", 12.0), &Rules::default()).ended
    else {
        panic!()
    };
    assert_eq!(died, 0.5, "with nothing known of the bank it is even");
}

#[test]
fn the_longer_the_forecast_is_overrun_the_likelier_a_death() {
    let rules = Rules::default();
    let mut last = 0.0;
    for at in [0.0, 5_000.0, 9_000.0, 10_800.0, 14_400.0, 20_000.0] {
        let died = died_chance(Some((0.0, [9_000.0, 10_800.0, 12_600.0])), at, at + 60.0, &rules);
        assert!(died >= last - 1e-9 && (0.0..=1.0).contains(&died), "{at}: {died} after {last}");
        last = died;
    }
    assert!(last > 0.95);
}

#[test]
fn same_boot_means_the_daemon_alone() {
    let told = account(&before(), &start("first", 49_530.0), &Rules::default());
    assert_eq!(told.ended, Ended::DaemonCrashed);
    assert!(told.goes_on && !told.ask);
    let mut stopped = before();
    stopped.stopped = Some((49_505.0, StopHow::Stopped));
    let told = account(&stopped, &start("first", 49_530.0), &Rules::default());
    assert_eq!((told.ended, told.goes_on), (Ended::DaemonStopped, true));
}

#[test]
fn switched_off_restarted_and_back_again() {
    let rules = Rules::default();
    let mut off = before();
    off.stopped = Some((49_505.5, StopHow::SwitchingOff));
    let told = account(&off, &start("second", 9.0), &rules);
    assert_eq!((told.ended, told.from_s, told.to_s), (Ended::SwitchedOff, 49_505.5, 49_505.5));
    assert!(!told.goes_on, "off for an unknown time: a new outing until the operator joins them");

    off.stopped = Some((49_505.5, StopHow::Restarting));
    let told = account(&off, &start("second", 9.0), &rules);
    assert_eq!((told.ended, told.goes_on), (Ended::Restarted, true));

    // Both boots dated: off for five minutes goes on, for a night does not.
    off.stopped = Some((49_505.5, StopHow::SwitchingOff));
    off.wall_at_boot_ms = Some(1_000_000_000_000);
    let mut back = start("second", 9.0);
    for (off_ms, goes_on) in [(300_000_i32, true), (36_000_000, false)] {
        back.wall_at_boot_ms = Some(1_000_000_000_000 + 49_505_500 + i64::from(off_ms));
        let told = account(&off, &back, &rules);
        assert_eq!((told.off_s, told.goes_on), (Some(f64::from(off_ms) / 1000.0), goes_on));
    }
}

#[test]
fn a_clock_that_jumps_ten_years_changes_no_duration() {
    const TEN_YEARS_MS: i64 = 10 * 365 * 86_400_000;
    let mut dated = before();
    dated.wall_at_boot_ms = Some(1_700_000_000_000);
    let still = account(&dated, &start("second", 5.0), &Rules::default());
    for jump in [-TEN_YEARS_MS, TEN_YEARS_MS] {
        let mut back = start("second", 5.0);
        back.wall_at_boot_ms = Some(1_700_000_000_000 + jump);
        let told = account(&dated, &back, &Rules::default());
        assert_eq!((told.from_s, told.to_s, told.ended), (still.from_s, still.to_s, still.ended));
        if jump < 0 {
            assert_eq!(told.off_s, None, "an end after the next start cannot be believed");
        }
    }
}

#[test]
fn two_boots_with_the_same_wall_time_are_two_boots() {
    let mut dated = before();
    dated.wall_at_boot_ms = Some(1_700_000_000_000);
    let mut back = start("second", 5.0);
    back.wall_at_boot_ms = Some(1_700_000_000_000);
    let told = account(&dated, &back, &Rules::default());
    assert!(matches!(told.ended, Ended::PowerLost { .. }));
    assert_eq!(told.off_s, None);
}

#[test]
fn a_swap_shows_in_the_voltage() {
    let mut usb = SwapWatch::new(false);
    for k in 0..20 {
        assert_eq!(usb.push(f64::from(k), Some(5.05)), None);
    }
    assert_eq!(usb.push(20.0, Some(0.1)), None);
    assert_eq!(usb.push(21.0, None), None);
    let swap =
        usb.push(24.0, Some(5.1)).expect("the old bank went at 19 s, a new one came at 24 s");
    assert_eq!((swap.from_s, swap.to_s), (19.0, 24.0));
    assert_eq!(usb.push(25.0, Some(5.1)), None, "told once");

    let mut pack = SwapWatch::new(true);
    for k in 0..20 {
        // A transmission every other second: 2.3 % of sag is no swap.
        assert_eq!(pack.push(f64::from(k), Some(if k % 2 == 0 { 12.8 } else { 12.5 })), None);
    }
    assert!(pack.push(20.0, Some(13.6)).is_some(), "a fresh pack steps up");
}

#[test]
fn a_sensor_that_is_silent_swaps_nothing() {
    let mut watch = SwapWatch::new(false);
    watch.push(0.0, Some(5.0));
    for k in 1..60 {
        assert_eq!(watch.push(f64::from(k), None), None);
    }
    assert_eq!(watch.push(60.0, Some(5.0)), None);
}
