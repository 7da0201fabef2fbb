//! The estimator as its users meet it.

mod promises;
mod published;

use super::*;
use crate::{
    bank::Cells,
    units::{AmpHours, Share, Volts},
};

fn blue_ten(measured_at: MeasuredAt) -> BankSpec {
    BankSpec {
        name: "Blue ten".into(),
        cells: Cells::LiIon,
        series: 1,
        label: AmpHours::of(10.0),
        label_volts: Volts::of(3.7),
        measured_at,
        ambient: None,
        cutoff: None,
    }
}

fn quantiles(spread: &Spread) -> [f64; 3] {
    [0.1, 0.5, 0.9].map(|q| spread.quantile(Share::nearest(q)).unwrap().si() / 3600.0)
}

/// Common practice, no source: a 10 000 mAh bank carries a small idle board (about 1.4 W) for
/// 19 to 20 h and a bigger one with a fan (about 2.3 W) for 10 to 12 h.
#[test]
fn what_a_ten_thousand_bank_carries_is_inside_the_range_before_any_rundown() {
    let none = Learned::default();
    for (watts, trade_h) in [(1.4, [19.0, 20.0]), (2.3, [10.0, 12.0])] {
        let bank = blue_ten(MeasuredAt::Output);
        let mut est = Estimator::new(&bank, &LoadPrior::default(), &none, Start::Full);
        for _ in 0..900 {
            est.step(&Observation { dt_s: 1.0, watts: Some(watts), ..Observation::default() });
        }
        let [low, _, high] = quantiles(&est.remaining().unwrap());
        for h in trade_h {
            assert!(low < h && h < high, "{watts} W: {h} h not in {low:.1} to {high:.1}");
        }
    }
}

#[test]
fn before_the_first_reading_the_label_speaks() {
    let mut est = Estimator::new(
        &blue_ten(MeasuredAt::Output),
        &LoadPrior::default(),
        &Learned::default(),
        Start::Full,
    );
    // 22 to 33 Wh (label less converter and age) at 1.5 to 6 W, which some board or other draws.
    let [low, _, high] = quantiles(&est.remaining().unwrap());
    assert!(low < 33.0 / 6.0 && high > 22.0 / 1.5, "{low} {high}");
    assert!(est.wants_s() > 0.0);
    est.step(&Observation { dt_s: 10.0, watts: Some(2.0), ..Observation::default() });
    assert!(est.wants_s() > 0.0, "ten seconds are too few");
    for _ in 0..30 {
        est.step(&Observation { dt_s: 10.0, watts: Some(2.0), ..Observation::default() });
    }
    assert_eq!(est.wants_s(), 0.0);
    assert!(est.remaining().is_some());
}

#[test]
fn garbage_in_a_step_changes_nothing_and_never_panics() {
    let bank = blue_ten(MeasuredAt::Output);
    let mut est = Estimator::new(&bank, &LoadPrior::default(), &Learned::default(), Start::Unknown);
    for bad in [f64::NAN, f64::INFINITY, -1.0, 0.0, f64::MAX] {
        est.step(&Observation {
            dt_s: bad.min(1e4),
            watts: Some(bad),
            cpu_busy: Some(bad),
            ..Observation::default()
        });
        assert!(est.delivered_wh().is_finite());
    }
    let _ = est.remaining();
    assert_eq!(est.remaining_at(f64::NAN, 0.1), None);
    assert_eq!(est.remaining_at(0.0, 0.1), None);
}

#[test]
fn a_rundown_narrows_the_range_and_a_cut_short_one_lifts_it() {
    let bank = blue_ten(MeasuredAt::Output);
    let play = |learned: &Learned, hours: f64| {
        let mut est = Estimator::new(&bank, &LoadPrior::default(), learned, Start::Full);
        let mut t = 0.0;
        while t < hours * 3600.0 {
            est.step(&Observation { dt_s: 10.0, watts: Some(2.5), ..Observation::default() });
            t += 10.0;
        }
        est
    };
    let mut learned = Learned::default();
    let fresh = quantiles(&play(&learned, 1.0).remaining().unwrap());
    learned.credit(&play(&learned, 10.0).close(Ending::Died));
    let after = quantiles(&play(&learned, 1.0).remaining().unwrap());
    assert!(after[2] - after[0] < fresh[2] - fresh[0], "{fresh:?} {after:?}");
    let mut short = Learned::default();
    short.credit(&play(&short, 10.5).close(Ending::Stopped));
    let lifted = quantiles(&play(&short, 1.0).remaining().unwrap());
    assert!(lifted[0] > fresh[0], "{fresh:?} {lifted:?}");
    let again = Learned::from_rundowns(&bank, learned.rundowns_data().to_vec());
    assert_eq!(again, learned);
}

#[test]
fn the_bank_may_outlive_everything_thought_possible() {
    let bank = blue_ten(MeasuredAt::Output);
    let mut est = Estimator::new(&bank, &LoadPrior::default(), &Learned::default(), Start::Full);
    for _ in 0..40_000 {
        est.step(&Observation { dt_s: 10.0, watts: Some(2.5), ..Observation::default() });
    }
    let [low, middle, high] = quantiles(&est.remaining().unwrap());
    assert!(low >= 0.0 && low <= middle && middle <= high && high > 0.0);
}
