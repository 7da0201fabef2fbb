//! The estimator as its users meet it.

mod promises;
mod published;

use super::*;
use crate::{
    bank::Cells,
    record::Detail,
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
    learned.credit(&play(&learned, 10.0).close(true));
    let after = quantiles(&play(&learned, 1.0).remaining().unwrap());
    assert!(after[2] - after[0] < fresh[2] - fresh[0], "{fresh:?} {after:?}");
    let mut short = Learned::default();
    short.credit(&play(&short, 10.5).close(false));
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

#[derive(Clone, Copy, Debug, PartialEq)]
enum Ending {
    Died,
    Stopped,
}
use Ending::{Died, Stopped};

fn run_down(wh: f64, ending: Ending) -> RunDown {
    RunDown {
        whole: ending == Died,
        start_share: Some(1.0),
        lasted_s: wh / 2.5 * 3600.0,
        delivered_wh: Some(wh),
        measured: true,
        ..RunDown::default()
    }
}

/// Usable energy as believed after such outings, Wh.
fn believed(runs: &[(f64, Ending)]) -> [f64; 3] {
    let bank = blue_ten(MeasuredAt::Output);
    let runs = runs.iter().map(|&(wh, ending)| run_down(wh, ending));
    let learned = Learned::from_rundowns(&bank, runs);
    let mut est = Estimator::new(&bank, &LoadPrior::default(), &learned, Start::Full);
    for _ in 0..400 {
        est.step(&Observation { dt_s: 1.0, watts: Some(2.5), ..Observation::default() });
    }
    est.usable_wh().unwrap()
}

/// A bank labelled 37 Wh that was still alive after 31.5: its label was right after all, so it holds
/// that and may hold all of it.
#[test]
fn a_bank_better_than_its_kind_is_believed_so_at_once() {
    let [low, middle, high] = believed(&[(31.5, Stopped)]);
    assert!((28.0..31.5).contains(&low), "{low}");
    assert!(middle > 31.5 && (36.0..40.0).contains(&high), "{middle} {high}");
    // A second one says hardly more, and does not drive it up.
    let again = believed(&[(31.5, Stopped); 2]);
    assert!(again[0] >= low && again[2] < high + 1.0, "{again:?}");
}

#[test]
fn a_stop_that_tells_nothing_changes_nothing() {
    let (none, early) = (believed(&[]), believed(&[(8.0, Stopped)]));
    for (a, b) in none.iter().zip(early) {
        // Ageing, and what is usual of the draw, move it by half a hundredth.
        assert!((b / a - 0.997).abs() < 0.006, "{none:?} {early:?}");
    }
}

#[test]
fn never_less_is_believed_than_was_delivered_alive() {
    for alive in [24.5, 28.0, 31.5, 36.0, 44.0] {
        for before in [vec![], vec![(22.0, Died)], vec![(24.0, Died), (23.5, Died)]] {
            let mut runs = before;
            runs.push((alive, Stopped));
            let [low, middle, _] = believed(&runs);
            // The next outing ages it a little, and differs.
            assert!(middle > 0.985 * alive, "{runs:?}: {middle}");
            assert!(low > 0.90 * alive, "{runs:?}: {low}");
        }
    }
}

#[test]
fn a_stop_after_a_death_pulls_nothing_down() {
    // It died once, and went on beyond that another time.
    let died = believed(&[(24.0, Died)]);
    let beyond = believed(&[(24.0, Died), (26.0, Stopped)]);
    assert!(beyond[1] > 25.6 && beyond[0] > died[1], "{died:?} {beyond:?}");
    // A stop at less says nothing: only age moves it.
    let less = believed(&[(30.0, Died), (20.0, Stopped)]);
    let died = believed(&[(30.0, Died)]);
    for (a, b) in died.iter().zip(less) {
        assert!((b / a - 0.994).abs() < 0.004, "{died:?} {less:?}");
    }
}

/// Lamps say a quarter: the range is wider than after a word within a tenth, and narrower than
/// after none.
#[test]
fn lamps_tell_a_quarter() {
    let width = |start| {
        let bank = blue_ten(MeasuredAt::Output);
        let mut est = Estimator::new(&bank, &LoadPrior::default(), &Learned::default(), start);
        for _ in 0..120 {
            est.step(&Observation { dt_s: 1.0, watts: Some(2.5), ..Observation::default() });
        }
        let [low, middle, high] = quantiles(&est.remaining().unwrap());
        ((high - low) / middle, middle)
    };
    let lamps = |k: f64| Start::Between(Share::nearest((k - 1.0) / 4.0), Share::nearest(k / 4.0));
    let (unknown, _) = width(Start::Unknown);
    let (three, middle) = width(lamps(3.0));
    let (four, more) = width(lamps(4.0));
    assert!(four < three && three < unknown, "{four} {three} {unknown}");
    assert!(middle < more, "{middle} {more}");
    assert_eq!(lamps(3.0).middle(), Some(Share::nearest(0.625)));
    // Turned round it is the same.
    let turned = Start::Between(Share::nearest(0.75), Share::nearest(0.5));
    assert!((width(turned).0 - three).abs() < 1e-9);
}

/// Fed otherwise for three quarters of an hour: neither drained nor usual.
#[test]
fn readings_near_nothing_are_no_draw() {
    let bank = blue_ten(MeasuredAt::Output);
    let play = |fed_s: u32| {
        let mut est =
            Estimator::new(&bank, &LoadPrior::default(), &Learned::default(), Start::Full);
        let step = |est: &mut Estimator, seconds: u32, watts: f64| {
            for _ in 0..seconds / 10 {
                est.step(&Observation { dt_s: 10.0, watts: Some(watts), ..Observation::default() });
            }
        };
        step(&mut est, 7200, 2.5);
        step(&mut est, fed_s, 0.02);
        step(&mut est, 1800, 2.5);
        (quantiles(&est.remaining().unwrap()), est.close(true))
    };
    let ((without, plain), (with, fed)) = (play(0), play(2700));
    assert_eq!(without, with);
    assert_eq!(plain, fed, "what is learned of it, too: the hours that it was drained");
    assert!((fed.mean_w() - 2.5).abs() < 1e-9);
    // A sensor that reads nothing from the first second on is a sensor all the same.
    let mut est = Estimator::new(&bank, &LoadPrior::default(), &Learned::default(), Start::Full);
    let idle =
        Observation { dt_s: 10.0, watts: Some(0.0), cpu_busy: Some(0.2), ..Default::default() };
    for _ in 0..60 {
        est.step(&idle);
    }
    assert!(est.is_measured() && est.delivered_wh() == 0.0 && est.wants_s() > 0.0);
}
