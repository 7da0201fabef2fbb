//! What must hold whatever is read: order, survival, steps of any length, still figures.

use proptest::prelude::*;

use super::*;

fn long_six() -> BankSpec {
    BankSpec {
        name: "Long six".into(),
        cells: Cells::LiFePo4,
        series: 4,
        label: AmpHours::of(6.0),
        label_volts: Volts::of(12.8),
        measured_at: MeasuredAt::Cells,
        ambient: None,
        cutoff: Some(Volts::of(10.0)),
    }
}

fn load() -> LoadPrior {
    LoadPrior {
        idle_w: Some(3.0),
        full_w: Some(6.0),
        accessories_w: 0.0,
        radio_receive_w: Some(4.0),
        radio_transmit_w: Some(15.0),
    }
}

fn start() -> impl Strategy<Value = Start> {
    prop_oneof![
        Just(Start::Full),
        Just(Start::Unknown),
        (0.05..1.0_f64).prop_map(|s| Start::Part(Share::nearest(s))),
        (0.0..1.0_f64, 0.0..1.0_f64)
            .prop_map(|(a, b)| Start::Between(Share::nearest(a), Share::nearest(b)))
    ]
}

fn seen() -> impl Strategy<Value = Observation> {
    let maybe = |range: core::ops::Range<f64>| proptest::option::weighted(0.9, range);
    (0.1..400.0_f64, maybe(9.0..14.0), maybe(-0.5..3.0), maybe(0.0..1.0)).prop_map(
        |(dt_s, volts, amps, cpu_busy)| Observation {
            dt_s,
            volts,
            amps,
            cpu_busy,
            ..Observation::default()
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn quantiles_are_in_order_and_finite(
        start in start(),
        place in prop_oneof![Just(MeasuredAt::Cells), Just(MeasuredAt::Output), Just(MeasuredAt::Nowhere)],
        seen in proptest::collection::vec(seen(), 1..300),
        died in any::<bool>(),
    ) {
        let bank = BankSpec { measured_at: place, ..long_six() };
        let mut learned = Learned::default();
        for _ in 0..2 {
            let mut est = Estimator::new(&bank, &load(), &learned, start);
            for s in &seen {
                est.step(s);
                let before = est.delivered_wh();
                prop_assert!(before.is_finite() && before >= 0.0);
            }
            let [low, middle, high] = quantiles(&est.remaining().unwrap());
            prop_assert!(0.0 <= low && low <= middle && middle <= high && high.is_finite());
            let [low, middle, high] = est.usable_wh().unwrap();
            prop_assert!(low <= middle && middle <= high && high.is_finite());
            prop_assert!(low >= est.delivered_wh() * 0.999, "alive after {}", est.delivered_wh());
            learned.credit(&est.close(died));
        }
    }
}

/// Energy that is left does not grow by outliving: with a steady draw the middle of what is left
/// only falls, as long as the bank is no better than most. (One that comes near what nine of ten such
/// banks hold is probably as good as new, and what is left of it may be thought larger again.)
#[test]
fn outliving_never_adds_energy() {
    for start in [Start::Full, Start::Unknown] {
        let bank = blue_ten(MeasuredAt::Output);
        let mut est = Estimator::new(&bank, &LoadPrior::default(), &Learned::default(), start);
        let mut seen: Vec<f64> = Vec::new();
        let steady = Observation { dt_s: 10.0, watts: Some(2.5), ..Observation::default() };
        est.step(&steady);
        let most = est.usable_wh().unwrap()[2];
        while est.delivered_wh() + 3.75 < most {
            for _ in 0..180 {
                est.step(&steady);
            }
            seen.push(est.usable_wh().unwrap()[1] - est.delivered_wh());
        }
        for two in seen.windows(2) {
            assert!(two[1] <= two[0] * 1.001, "{start:?}: {seen:?}");
        }
    }
}

/// Steps of one second and of ten say the same, with a sensor and without.
#[test]
fn coarse_and_fine_steps_agree() {
    for place in [MeasuredAt::Cells, MeasuredAt::Nowhere] {
        let bank = BankSpec { measured_at: place, ..long_six() };
        let play = |dt: u32| {
            let mut est = Estimator::new(&bank, &load(), &Learned::default(), Start::Full);
            for t in (0..4 * 3600).step_by(dt as usize) {
                // Contacts every ten minutes out of twenty; the voltage sags with the current.
                let mean =
                    |f: &dyn Fn(u32) -> f64| (0..dt).map(|k| f(t + k)).sum::<f64>() / f64::from(dt);
                let sending = |t: u32| t % 1200 < 600 && t % 30 < 13;
                let amps = mean(&|t| if sending(t) { 1.5 } else { 0.6 });
                // Decoding takes three seconds after a slot that was heard.
                let busy = mean(&|t| match (t % 30, t % 1200 < 600) {
                    (13..=15, false) | (0 | 28 | 29, _) => 0.8,
                    _ => 0.15,
                });
                est.step(&Observation {
                    dt_s: f64::from(dt),
                    volts: Some(13.2 - 0.1 * amps),
                    amps: Some(amps),
                    cpu_busy: Some(busy),
                    ..Observation::default()
                });
            }
            (quantiles(&est.remaining().unwrap()), est.delivered_wh())
        };
        let ((fine, fine_wh), (coarse, coarse_wh)) = (play(1), play(10));
        // Without a sensor the finer steps may know more of the radio.
        let within = if place == MeasuredAt::Cells { 0.005 } else { 0.10 };
        assert!((fine_wh / coarse_wh - 1.0).abs() < within, "{place:?} {fine_wh} {coarse_wh}");
        for (a, b) in fine.iter().zip(coarse) {
            assert!((a / b - 1.0).abs() < 3.0 * within, "{place:?} {fine:?} {coarse:?}");
        }
    }
}

/// What is asked of the estimator at a draw is the same bank's energy over that draw.
#[test]
fn an_activity_that_draws_half_lasts_twice() {
    let bank = blue_ten(MeasuredAt::Output);
    let mut est = Estimator::new(&bank, &LoadPrior::default(), &Learned::default(), Start::Full);
    for _ in 0..360 {
        est.step(&Observation { dt_s: 10.0, watts: Some(2.5), ..Observation::default() });
    }
    let at = |w: f64| quantiles(&est.remaining_at(w, 0.1).unwrap());
    for (one, two) in at(3.0).iter().zip(at(1.5)) {
        assert!((two / one - 2.0).abs() < 0.01, "{one} {two}");
    }
}

/// A sensor that was told of and never speaks leaves the model to speak; once it speaks, it counts.
#[test]
fn a_dumb_sensor_is_stood_in_for() {
    let mut est = Estimator::new(&long_six(), &load(), &Learned::default(), Start::Full);
    let busy = Observation { dt_s: 10.0, cpu_busy: Some(0.2), ..Observation::default() };
    for _ in 0..60 {
        est.step(&busy);
    }
    assert!(!est.is_measured() && est.remaining().is_some());
    for _ in 0..60 {
        est.step(&Observation { volts: Some(13.2), amps: Some(0.6), ..busy });
    }
    assert!(est.is_measured() && est.remaining().is_some());
}

/// Striking a run-down out and learning from the rest is as if it had never been.
#[test]
fn a_rundown_can_be_struck_out() {
    let run = |wh: f64| RunDown {
        whole: true,
        start_share: Some(1.0),
        lasted_s: 36_000.0,
        delivered_wh: Some(wh),
        measured: true,
        ..RunDown::default()
    };
    let bank = blue_ten(MeasuredAt::Output);
    let mut learned = Learned::default();
    for wh in [25.0, 12.0, 24.5] {
        learned.credit(&run(wh));
    }
    let kept: Vec<RunDown> =
        learned.rundowns_data().iter().filter(|r| r.energy_wh() > 20.0).cloned().collect();
    let again = Learned::from_rundowns(&bank, kept);
    let mut fresh = Learned::default();
    fresh.credit(&run(25.0));
    fresh.credit(&run(24.5));
    assert_eq!(again, fresh);
    for bad in [RunDown::default(), run(f64::NAN), RunDown { lasted_s: 0.0, ..run(20.0) }] {
        learned.credit(&bad);
    }
    assert_eq!(learned.rundowns(), 3, "broken ones are passed over");
}

/// A LiFePO4 bank whose rest voltage is flat to the end, where its own electronics cut it off: the
/// voltage then says nothing of how deep that was, and 50 mV less on one outing says nothing either.
/// What it delivered is what it is believed to hold.
#[test]
fn a_flat_end_tells_no_depth() {
    for less in [0.0, 0.05] {
        let curve = |last: f64| -> Vec<[f64; 2]> {
            (0..=40)
                .map(|k| f64::from(k) / 40.0)
                .map(|d| [38.4 * d, 13.3 - 0.1 * d - last * d])
                .collect()
        };
        let run = |last: f64| RunDown {
            whole: true,
            start_share: Some(1.0),
            lasted_s: 36_000.0,
            delivered_wh: Some(38.4),
            measured: true,
            detail: Detail {
                rest_curve: curve(last),
                source_ohms: Some(0.1),
                peak_a: Some(1.5),
                ..Detail::default()
            },
            ..RunDown::default()
        };
        let bank = BankSpec { label: AmpHours::of(3.3), ..long_six() };
        let learned = Learned::from_rundowns(&bank, [run(less), run(0.0)]);
        let est = {
            let mut est = Estimator::new(&bank, &load(), &learned, Start::Full);
            est.step(&Observation { dt_s: 1.0, watts: Some(3.84), ..Observation::default() });
            est
        };
        let [low, middle, high] = est.usable_wh().unwrap();
        assert!((35.5..39.5).contains(&middle), "{less} V less: {low} {middle} {high}");
        assert!(low > 34.0 && high < 42.0, "{less} V less: {low} {middle} {high}");
    }
}
