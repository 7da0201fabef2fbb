//! Energy: against closed forms, over gaps, from the chip's own count, whatever the clock does.

use super::*;
use crate::{engine::Command, snapshot::Basis};

#[test]
fn energy_is_power_times_time() {
    // Source: SI brochure, 9th ed.: 1 Wh = 3600 J; so 4.1 W over two hours are 8.2 Wh.
    let mut field = Field::blue_ten();
    let snapshot = field.seconds(7200, |_| measured(5.0, 0.82));
    near(snapshot.bank.delivered.wh(), 8.2, 1e-6, "constant draw");
    near(snapshot.bank.bridged.wh(), 0.0, 1e-12, "nothing was bridged");
    near(watts(&snapshot), 4.1, 1e-9, "draw now");
    assert_eq!(snapshot.draw.basis, Basis::Measured);

    // A triangle from 0.2 to 1.8 A and back in 1800 s at 5 V: the mean is 1 A, so 5 W for half an
    // hour are 2.5 Wh (closed form; the rectangles of one second add up to it exactly).
    let mut field = Field::blue_ten();
    let snapshot = field.seconds(1800, |k| {
        let phase = (f64::from(k) + 0.5) / 900.0;
        measured(5.0, 0.2 + 1.6 * if phase < 1.0 { phase } else { 2.0 - phase })
    });
    near(snapshot.bank.delivered.wh(), 2.5, 1e-6, "triangle");
}

#[test]
fn several_channels_of_the_bank_add_up_and_parts_do_not() {
    let mut sweep = measured(5.0, 0.5);
    let second = SupplyReading { source: SourceIx(1), ..sweep.supplies[0] };
    let part = SupplyReading { source: SourceIx(2), ..sweep.supplies[0] };
    sweep.supplies.extend([second, part]);
    sweep.sources =
        Arc::from([Role::Bank, Role::Bank, Role::Part].map(|r| report(r, SourceState::Live)));
    let mut field = Field::blue_ten();
    let snapshot = field.seconds(60, |_| sweep.clone());
    near(watts(&snapshot), 5.0, 1e-9, "two of three channels");
    near(snapshot.supply.current.unwrap().si(), 1.0, 1e-12, "current");

    // One of the two falls silent: half the draw must not pass for the whole.
    sweep.supplies[1].watts = Err(Gap::NoAnswer);
    sweep.supplies[1].amps = Err(Gap::NoAnswer);
    sweep.supplies[1].volts = Err(Gap::NoAnswer);
    let snapshot = field.second(sweep);
    assert_eq!(snapshot.supply.power, Err(Gap::NoAnswer));
    assert_eq!(snapshot.draw.now, None);
}

#[test]
fn the_chips_own_count_is_believed_for_energy() {
    // The looks see 1 W; the chip, which adds up every conversion, has counted 3 J a second.
    let sweep = |k: u32| {
        let mut sweep = measured(5.0, 0.2);
        sweep.supplies[0].counted = Some(Ok(Joules::of(1000.0 + 3.0 * f64::from(k))));
        sweep
    };
    let mut field = Field::blue_ten();
    let snapshot = field.seconds(3601, sweep);
    // The first second has no difference yet and counts the look.
    near(snapshot.bank.delivered.si(), 3.0 * 3600.0 + 1.0, 1e-6, "counted energy");
    near(snapshot.supply.power.unwrap().si(), 1.0, 1e-12, "what is shown is the look");

    // The count starts afresh (the chip was reset): the look counts for that second.
    let before = snapshot.bank.delivered.si();
    let snapshot = field.seconds(11, sweep);
    near(snapshot.bank.delivered.si() - before, 1.0 + 30.0, 1e-6, "after a reset of the count");
}

#[test]
fn what_a_chip_counts_through_a_gap_is_not_bridged() {
    let sweep = |joules: f64| {
        let mut sweep = measured(5.0, 0.8);
        sweep.supplies[0].counted = Some(Ok(Joules::of(joules)));
        sweep
    };
    // 4 W, then 100 s in which nobody looked at 7 W.
    let mut field = Field::blue_ten();
    field.seconds(300, |k| sweep(4.0 * f64::from(k)));
    field.now_s += 99.0;
    let snapshot = field.second(sweep(4.0 * 299.0 + 700.0));
    near(snapshot.bank.delivered.si(), 1200.0 + 700.0, 1e-6, "all of it, as counted");
    near(snapshot.bank.bridged.si(), 0.0, 1e-12, "none of it is a guess");

    // When the silence was bridged second by second meanwhile, it is not counted again.
    let mut field = Field::blue_ten();
    field.seconds(300, |k| sweep(4.0 * f64::from(k)));
    field.silence(100);
    let snapshot = field.second(sweep(4.0 * 399.0));
    near(snapshot.bank.delivered.si(), 4.0 * 401.0, 15.0, "once");
}

#[test]
fn sweeps_twice_or_out_of_order_cost_nothing() {
    let mut field = Field::blue_ten();
    let snapshot = field.seconds(100, |_| measured(5.0, 1.0));
    let energy = snapshot.bank.delivered;
    for back_s in [0.0, 1.0, 50.0, 1e9] {
        let old = Sweep { at: Mono::at_s(field.now_s - back_s), ..measured(5.0, 900.0) };
        let at = field.stamp();
        field.engine.observe(&old, at);
    }
    let snapshot = field.engine.tick(field.stamp());
    assert_eq!(snapshot.bank.delivered, energy);
    assert_eq!(snapshot.missed_sweeps, 4);
    assert!(watts(&snapshot) < 5.1, "an old reading is not shown as new");
    let snapshot = field.second(measured(5.0, 1.0));
    near(snapshot.bank.delivered.si() - energy.si(), 5.0, 1e-9, "and the next second counts once");
}

#[test]
fn a_gap_is_bridged_and_said() {
    let mut field = Field::blue_ten();
    field.seconds(600, |_| measured(5.0, 0.8));
    let snapshot = field.seconds(300, |_| silent(Gap::NoAnswer));
    assert_eq!(snapshot.supply.power, Err(Gap::NoAnswer));
    assert_eq!(snapshot.draw.now, None, "nothing stale is dressed up as fresh");
    near(snapshot.bank.delivered.wh(), 4.0 * 900.0 / 3600.0, 0.005, "delivered over the gap");
    near(snapshot.bank.bridged.wh(), 4.0 * 300.0 / 3600.0, 0.005, "bridged");

    // No sweep at all for a while, then one: the same.
    let mut field = Field::blue_ten();
    field.seconds(600, |_| measured(5.0, 0.8));
    field.silence(300);
    let snapshot = field.second(measured(5.0, 0.8));
    near(snapshot.bank.delivered.wh(), 4.0 * 901.0 / 3600.0, 0.01, "delivered over the silence");
    near(snapshot.bank.bridged.wh(), 4.0 * 300.0 / 3600.0, 0.02, "bridged over the silence");
}

#[test]
fn a_sensor_that_vanishes_and_comes_back() {
    let mut field = Field::blue_ten();
    field.seconds(300, |_| measured(5.0, 0.8));
    let snapshot = field.seconds(30, |_| vanished());
    assert_eq!(snapshot.supply.power, Err(Gap::Gone));
    assert_eq!(snapshot.draw.basis, Basis::Measured, "it still stands on the sensor's readings");
    let snapshot = field.seconds(10, |_| measured(5.0, 0.8));
    near(watts(&snapshot), 4.0, 1e-9, "back");
    lasts(&snapshot);
}

#[test]
fn a_wall_clock_that_jumps_by_years_changes_nothing() {
    let run = |jump_s: f64| {
        let mut field = Field::blue_ten();
        field.ask(&Command::Finish { after: Some(core::time::Duration::from_secs(7200)) }).unwrap();
        field.seconds(900, |k| measured(5.0, 0.7 + 0.2 * f64::from(k % 2)));
        field.wall = field.wall.plus_s(jump_s);
        let snapshot = field.seconds(900, |k| measured(5.0, 0.7 + 0.2 * f64::from(k % 2)));
        (
            snapshot.outlook.clone(),
            snapshot.bank.clone(),
            snapshot.finish,
            snapshot.draw,
            snapshot.draw_history.clone(),
        )
    };
    let still = run(0.0);
    for years in [-54.0, 3.0, 500.0] {
        assert_eq!(run(years * 31_556_952.0), still, "{years} years");
    }
}

#[test]
fn the_same_seconds_give_the_same_snapshot() {
    let run = || {
        let mut field = Field::blue_ten();
        let snapshot = field.seconds(2000, |k| {
            if k % 97 == 0 {
                silent(Gap::Garbled)
            } else {
                measured(5.0, 0.5 + f64::from(k % 7) / 10.0)
            }
        });
        format!("{snapshot:?}")
    };
    assert_eq!(run(), run());
}

#[test]
fn a_bank_told_of_later_has_fed_the_board_all_along() {
    let mut untold = Field::new(setup());
    let snapshot = untold.seconds(1800, |_| measured(5.0, 0.8));
    assert_eq!(snapshot.outlook, Outlook::NoBank);
    near(snapshot.bank.delivered.wh(), 2.0, 1e-6, "the energy so far is shown");
    near(watts(&snapshot), 4.0, 1e-9, "and the draw");
    assert_eq!(snapshot.bank_choices.len(), 4, "with a bank one tap away");
    untold.ask(&Command::UseBank { bank: blue_ten(), start: Some(FULL) }).unwrap();
    let late = untold.seconds(10, |_| measured(5.0, 0.8));

    let mut told = Field::blue_ten();
    let early = told.seconds(1810, |_| measured(5.0, 0.8));
    near(late.bank.delivered.wh(), early.bank.delivered.wh(), 1e-6, "delivered");
    assert_eq!(late.outing_began, early.outing_began);
    let (late, early) = (hours(&lasts(&late)), hours(&lasts(&early)));
    for (one, other) in late.iter().zip(early) {
        near(*one, other, 0.03 * other, "the forecast as if told at once");
    }
}

#[test]
fn the_account_for_a_later_bank_stays_small_and_whole() {
    let mut field = Field::new(setup());
    field.seconds(30_000, |k| measured(5.0, if k % 20 < 10 { 0.5 } else { 1.5 }));
    let history = field.engine.on.count.meter.history();
    assert!(history.len() <= 240, "{} steps", history.len());
    let energy: f64 = history.iter().map(|one| one.dt_s * one.watts.unwrap()).sum();
    near(energy, 5.0 * 30_000.0, 1e-3, "no energy is lost by merging");
    field
        .ask(&Command::UseBank { bank: BankSpec::common()[1].clone(), start: Some(FULL) })
        .unwrap();
    let snapshot = field.engine.tick(field.stamp());
    near(snapshot.bank.delivered.si(), 150_000.0, 1e-3, "and the bank is told all of it");
}

#[test]
fn a_second_bank_begins_a_new_outing() {
    let mut field = Field::blue_ten();
    field.seconds(1200, |_| measured(5.0, 0.8));
    field.ask(&Command::UseBank { bank: blue_ten(), start: Some(FULL) }).unwrap();
    let snapshot = field.second(measured(5.0, 0.8));
    near(snapshot.bank.delivered.si(), 4.0, 1e-9, "only what came after");
    near(snapshot.outing_began.as_s(), 1210.0, 1e-9, "began with the bank");
    assert_eq!(snapshot.draw_history.mean_w.len(), 0);
}

#[test]
fn a_board_without_sensor_is_modelled() {
    let mut field = Field::new(Setup {
        bank: Some(nowhere()),
        accessories: vec![crate::engine::Accessory {
            name: String::from("Fan"),
            draw: Watts::of(0.4),
        }],
        ..setup()
    });
    let snapshot = field.seconds(600, |_| bare());
    // Source: Raspberry Pi documentation, table of workloads: 4B idle 0.60 A, stress 1.20 A at
    // 5.1 V; 20 % busy is 3.672 W, and the fan.
    near(watts(&snapshot), 3.672 + 0.4, 1e-9, "modelled draw");
    assert_eq!(snapshot.draw.basis, Basis::Modelled);
    assert_eq!(lasts(&snapshot).basis, Basis::Modelled);
    assert_eq!(snapshot.supply.power, Err(Gap::Absent));

    // A board that measures its own rails: never below their sum.
    let five = BoardFacts { kind: Some(BoardKind::Five), ..BoardFacts::default() };
    let mut field =
        Field::new(Setup { bank: Some(nowhere()), facts: Arc::new(five), ..Setup::default() });
    let snapshot = field.seconds(600, |_| {
        let mut sweep = bare();
        sweep.board.rails_at_least = Ok(Watts::of(7.239_819));
        sweep
    });
    assert!((7.239_819..10.0).contains(&watts(&snapshot)), "{:?}", snapshot.draw);
    assert!(snapshot.bank.delivered.si() >= 7.239_819 * 599.0);
    assert_eq!(lasts(&snapshot).basis, Basis::Modelled);
}

#[test]
fn a_bank_that_is_told_to_have_a_sensor_is_modelled_while_there_is_none() {
    let mut field = Field::blue_ten();
    let snapshot = field.seconds(600, |_| bare());
    assert_eq!(lasts(&snapshot).basis, Basis::Modelled);
    // A board of which nothing at all can be read, of a kind that is in no table.
    let mut field = Field::new(Setup { bank: Some(blue_ten()), ..Setup::default() });
    let snapshot = field.seconds(600, |_| Sweep { board: BoardReading::UNKNOWN, ..bare() });
    assert_eq!(lasts(&snapshot).basis, Basis::Modelled);
    assert!(watts(&snapshot) > 0.5, "{:?}", snapshot.draw);
    assert!(crate::words::basis(&snapshot).contains("boards in general"));
}

#[test]
fn a_sensor_that_turns_up_takes_over() {
    let mut field = Field::new(Setup { bank: Some(nowhere()), ..setup() });
    let modelled = field.seconds(600, |_| bare());
    assert_eq!(modelled.draw.basis, Basis::Modelled);
    let snapshot = field.seconds(600, |_| measured(5.0, 1.0));
    assert_eq!(lasts(&snapshot).basis, Basis::Measured);
    near(watts(&snapshot), 5.0, 1e-9, "what is measured counts");
    assert!(snapshot.bank.delivered.si() > 600.0 * 5.0 + 600.0 * 2.0, "{:?}", snapshot.bank);
}

#[test]
fn the_trail_is_bounded_and_keeps_its_mean_and_peak() {
    let mut field = Field::blue_ten();
    let snapshot = field.seconds(20_000, |k| measured(5.0, if k == 7000 { 3.0 } else { 0.8 }));
    let draw_history = &snapshot.draw_history;
    assert!(
        draw_history.mean_w.len() <= 240 && draw_history.mean_w.len() == draw_history.peak_w.len()
    );
    assert_eq!(draw_history.step_s, 160, "10 s doubled four times");
    let span = f64::from(draw_history.step_s) * draw_history.mean_w.len() as f64;
    assert!(span <= 20_000.0 && span > 20_000.0 - 2.0 * 160.0, "{span} s are drawn");
    let peak = draw_history.peak_w.iter().flatten().copied().fold(0.0, f32::max);
    assert!((peak - 15.0).abs() < 1e-6, "the peak survives merging: {peak}");
    let means: Vec<f64> = draw_history.mean_w.iter().map(|mean| f64::from(mean.unwrap())).collect();
    let mean = means.iter().sum::<f64>() / means.len() as f64;
    near(mean, 4.0 + 11.0 / span, 1e-3, "mean of the means");
}

#[test]
fn a_reading_tells_of_its_own_second_and_two_more_at_most() {
    // 4 W before and after, and something else in between that nobody saw. Up to three seconds apart
    // (two sweeps late, a busy board) counts as read; from four on all but the last second is bridged.
    for (apart_s, bridged_s) in [(1.0, 0.0), (3.0, 0.0), (4.0, 3.0), (20.0, 19.0)] {
        let mut field = Field::blue_ten();
        let before = field.seconds(300, |_| measured(5.0, 0.8)).bank.clone();
        field.now_s += apart_s - 1.0;
        let after = field.second(measured(5.0, 0.8)).bank.clone();
        near(after.bridged.si(), 4.0 * bridged_s, 0.01, "bridged");
        near((after.delivered - before.delivered).si(), 4.0 * apart_s, 0.01, "delivered");
    }
}
