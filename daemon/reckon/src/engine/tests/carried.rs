//! Outings that go on over a time switched off, and what run-downs teach while one is on.

use super::*;
use crate::{
    engine::{Carried, Command},
    estimator::Learned,
    record::RunDown,
    units::Seconds,
};

fn carried(hours: f64, wh: f64) -> Carried {
    Carried {
        outing: Some(String::from("Ridge above the reservoir")),
        start: Start::Full,
        span: Seconds::of(3600.0 * hours),
        delivered: Joules::from_wh(wh),
        bridged: Joules::ZERO,
        over_range: Joules::ZERO,
        steps: Vec::new(),
    }
}

fn whole(wh: f64) -> RunDown {
    RunDown {
        whole: true,
        start_share: Some(1.0),
        lasted_s: 3600.0 * wh / 4.0,
        delivered_wh: Some(wh),
        measured: true,
        ..RunDown::default()
    }
}

fn learned(wh: &[f64]) -> Learned {
    Learned::from_rundowns(&blue_ten(), wh.iter().map(|wh| whole(*wh)))
}

#[test]
fn what_was_used_before_the_board_was_switched_off_counts() {
    let mut fresh = Field::blue_ten();
    let mut field = Field::blue_ten();
    field.engine.carry_on(&carried(4.0, 12.0));
    // Half an hour, so that both know the draw: before that the fresh one leans on the print.
    let new = fresh.seconds(1800, |_| measured(5.0, 0.6));
    let snapshot = field.seconds(1800, |_| measured(5.0, 0.6));
    assert_eq!(snapshot.outing.as_deref(), Some("Ridge above the reservoir"));
    // 12 Wh from before and half an hour at 3 W.
    near(snapshot.bank.delivered.wh(), 13.5, 0.02, "delivered");
    // 12 Wh less at 3 W is four hours less; knowing that the bank outlived them moves it up a bit.
    let less = hours(&lasts(&new))[1] - hours(&lasts(&snapshot))[1];
    assert!((2.5..4.2).contains(&less), "{less} h less");
}

#[test]
fn what_is_taught_while_the_outing_is_on_is_used_at_once() {
    let mut field = Field::blue_ten();
    let before = hours(&lasts(&field.seconds(300, |_| measured(5.0, 0.8))));
    let of_another = vec![(String::from("Long six"), learned(&[20.0; 4]))];
    field.engine.note_learned(of_another);
    let snapshot = field.seconds(60, |_| measured(5.0, 0.8));
    assert_eq!(snapshot.bank.learned_from, 0, "another bank's run-downs are not this one's");
    field.engine.note_learned(vec![(String::from("Blue ten"), learned(&[31.0, 31.4, 30.8]))]);
    let snapshot = field.seconds(60, |_| measured(5.0, 0.8));
    assert_eq!(snapshot.bank.learned_from, 3);
    near(snapshot.bank.delivered.wh(), 420.0 * 4.0 / 3600.0, 0.03, "delivered");
    let after = hours(&lasts(&snapshot));
    // 31 Wh is more than the label led to expect, and better known than a label.
    assert!(after[1] > before[1], "{before:?} {after:?}");
    assert!(after[2] / after[0] < before[2] / before[0], "{before:?} {after:?}");
    // Struck out again: as if they had never been.
    field.engine.note_learned(Vec::new());
    assert_eq!(field.seconds(60, |_| measured(5.0, 0.8)).bank.learned_from, 0);
}

#[test]
fn what_is_known_of_a_bank_is_there_when_it_is_connected() {
    let mut field = Field::new(setup());
    field.engine.note_learned(vec![(String::from("Blue ten"), learned(&[31.0]))]);
    field.seconds(10, |_| measured(5.0, 0.8));
    field.ask(&Command::UseBank { bank: blue_ten(), start: Some(Start::Full) }).unwrap();
    assert_eq!(field.seconds(10, |_| measured(5.0, 0.8)).bank.learned_from, 1);
    assert_eq!(field.engine.start(), Start::Full);
}

#[test]
fn a_bank_told_of_anew_keeps_its_outing() {
    let mut field = Field::blue_ten();
    let before = field.seconds(300, |_| measured(5.0, 0.8));
    let renamed = BankSpec { name: String::from("Blue old"), ..blue_ten() };
    assert!(!field.engine.note_bank_told("Long six", renamed.clone()));
    assert!(field.engine.note_bank_told("Blue ten", renamed));
    let after = field.seconds(1, |_| measured(5.0, 0.8));
    assert_eq!(after.outing_began, before.outing_began);
    assert_eq!(after.bank.spec.as_ref().map(|bank| bank.name.as_str()), Some("Blue old"));
    assert!(after.bank.delivered >= before.bank.delivered);
}
