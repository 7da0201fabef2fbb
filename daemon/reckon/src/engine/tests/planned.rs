//! An outing that was started with a plan.

use core::time::Duration;

use super::*;
use crate::{
    engine::{Choices, Command, Resume},
    record::{OutingPlan, PlannedStretch},
};

/// So many hours at so many watts, one after the other; planned to a tenth.
fn plan(stretches: &[(f64, f64)]) -> OutingPlan {
    let stretch = |&(hours, draw_w): &(f64, f64)| PlannedStretch {
        name: String::new(),
        lasts_s: hours * 3600.0,
        draw_w,
        draw_log_sd: 0.1,
    };
    OutingPlan {
        bank: String::from("Blue ten"),
        finish_s: stretches.iter().map(|one| one.0 * 3600.0).sum(),
        stretches: stretches.iter().map(stretch).collect(),
        ..OutingPlan::default()
    }
}

fn started(stretches: &[(f64, f64)]) -> Field {
    let mut field = Field::blue_ten();
    field.seconds(2, |_| measured(5.0, 0.4));
    field.ask(&Command::StartPlan { plan: plan(stretches), start: None }).unwrap();
    field
}

/// So many hours at so many watts.
fn draws(field: &mut Field, hours: f64, watts: f64) -> Arc<Snapshot> {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "some hours")]
    let seconds = (hours * 3600.0) as u32;
    field.seconds(seconds, |_| measured(5.0, watts / 5.0))
}

fn middle_h(snapshot: &Snapshot) -> f64 {
    lasts(snapshot).remaining[1].si() / 3600.0
}

#[test]
fn its_end_is_the_finish_and_a_finish_by_hand_leaves_the_draws() {
    let mut field = started(&[(2.0, 2.0), (6.0, 5.0)]);
    let snapshot = field.second(measured(5.0, 0.4));
    let finish = snapshot.finish.unwrap();
    assert!((finish.at.as_s() - (field.now_s - 1.0 + 8.0 * 3600.0)).abs() < 1e-6);
    let planned = middle_h(&draws(&mut field, 0.5, 2.0));
    field.ask(&Command::Finish { after: None }).unwrap();
    let snapshot = field.second(measured(5.0, 0.4));
    assert!(snapshot.finish.is_none() && snapshot.plan.is_some());
    assert!((middle_h(&snapshot) - planned).abs() < 0.1, "{planned} h and {}", middle_h(&snapshot));
}

#[test]
fn a_planned_bank_that_is_another_known_one_is_put_to_use() {
    let long_six = BankSpec { name: String::from("Long six"), ..BankSpec::common()[0].clone() };
    let mut field = Field::new(Setup {
        bank: Some(blue_ten()),
        bank_choices: vec![blue_ten(), long_six],
        ..setup()
    });
    draws(&mut field, 0.1, 2.0);
    for (name, connected) in [("Nobody's", "Blue ten"), ("Long six", "Long six")] {
        let plan = OutingPlan { bank: String::from(name), ..plan(&[(4.0, 2.0)]) };
        field.ask(&Command::StartPlan { plan, start: None }).unwrap();
        let snapshot = field.second(measured(5.0, 0.4));
        assert_eq!(snapshot.bank.spec.as_ref().unwrap().name, connected);
        assert!(snapshot.plan.is_some() && snapshot.finish.is_some());
    }
    // The next outing has none.
    field.ask(&Command::UseBank { bank: blue_ten(), start: None }).unwrap();
    assert!(field.second(measured(5.0, 0.4)).plan.is_none());
}

/// A station that is idle for two hours, then sends for six: what remains is known by arithmetic
/// from what the bank gives at last.
#[test]
fn what_is_planned_is_expected_before_it_is_drawn() {
    let day = [(2.0, 1.5), (6.0, 5.0)];
    let ends = |field: &mut Field| -> Vec<f64> {
        let began_s = field.now_s;
        let ends_h = |field: &mut Field| {
            let left_h = middle_h(&draws(field, 0.25, day[0].1));
            (field.now_s - began_s) / 3600.0 + left_h
        };
        (0..8).map(|_| ends_h(field)).collect()
    };
    let mut without = Field::blue_ten();
    without.seconds(2, |_| measured(5.0, 0.3));
    let mut with = started(&day);
    let (by_itself, with_plan) = (ends(&mut without), ends(&mut with));
    let last = with.last.unwrap();
    // 2 h at 1.5 W, and the rest of what it holds at 5 W.
    let truth_h = 2.0 + (last.bank.usable.unwrap()[1].wh() - 3.0) / 5.0;
    let off = |said: &[f64]| said.iter().map(|h| (h - truth_h).abs()).sum::<f64>() / 8.0;
    let (before, after) = (off(&by_itself), off(&with_plan));
    assert!(before > 5.0 && after < 0.2, "{after:.2} h, without {before:.2} h: {with_plan:?}");
    let [low, _, high] = lasts(&last).remaining.map(|it| 2.0 + it.si() / 3600.0);
    assert!(low < truth_h && truth_h < high, "{low} {truth_h} {high}");
}

/// Planned at 1.5 W throughout, and 4 W are drawn: within an hour and a half the plan counts for nothing.
#[test]
fn a_plan_that_nobody_follows_is_soon_dropped() {
    for (planned, drawn) in [(1.5, 4.0), (6.0, 2.0)] {
        let mut without = Field::blue_ten();
        without.seconds(2, |_| measured(5.0, 0.4));
        let mut with = started(&[(1.0, 2.0), (20.0, planned)]);
        let by_itself = middle_h(&draws(&mut without, 2.5, drawn));
        let with_plan = middle_h(&draws(&mut with, 2.5, drawn));
        let off = (with_plan / by_itself - 1.0).abs();
        assert!(off < 0.07, "planned {planned}, drawn {drawn}: {with_plan} h, {by_itself} h");
    }
}

#[test]
fn it_goes_on_after_a_restart_and_over_a_night_where_the_calendar_is_believed() {
    let day = [(2.0, 1.5), (6.0, 5.0)];
    let mut field = started(&day);
    let before = draws(&mut field, 1.0, 1.5);
    let kept = field.engine.choices();
    let again = |same_boot: bool, now_s: f64, wall: Wall| {
        let choices: Choices = kept.clone();
        let setup = Setup {
            bank: Some(blue_ten()),
            resume: Some(Resume { choices, same_boot }),
            ..setup()
        };
        let engine = Engine::new(setup, stamp_at(now_s, wall));
        Field { engine, now_s, wall, last: None }
    };
    let mut restarted = again(true, field.now_s + 5.0, field.wall.plus_s(5.0));
    let after = draws(&mut restarted, 0.1, 1.5);
    assert_eq!(after.plan, before.plan);
    let fell_h = middle_h(&before) - middle_h(&after);
    assert!((0.0..0.4).contains(&fell_h), "{fell_h} h in six minutes");

    // Half an hour later, in another boot.
    let mut booted = again(false, 30.0, field.wall.plus_s(1800.0));
    let there = booted.second(measured(5.0, 0.3));
    assert!(there.plan.is_none(), "it is the record's with the outing in which it was started");
    let choice = booted.engine.choices().plan.unwrap();
    assert!(
        (choice.plan.began_s - (30.0 - 1800.0 - 3600.0)).abs() < 10.0,
        "{}",
        choice.plan.began_s
    );
    // The next day it is over.
    let mut late = again(false, 30.0, field.wall.plus_s(30.0 * 3600.0));
    late.second(measured(5.0, 0.3));
    assert!(late.engine.choices().plan.is_none());
}

#[test]
fn a_finish_too_far_away_changes_nothing() {
    let mut field = started(&[(2.0, 2.0)]);
    for finish_s in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e9] {
        let plan = OutingPlan { finish_s, ..plan(&[(1.0, 1.0)]) };
        let refused = field.ask(&Command::StartPlan { plan, start: None });
        assert_eq!(refused, Err(crate::engine::Refusal::FinishOutOfRange), "{finish_s}");
    }
    let finish = field.second(measured(5.0, 0.4)).finish.unwrap();
    assert!(finish.at.since(Mono::at_s(field.now_s)) < Duration::from_hours(2));
}
