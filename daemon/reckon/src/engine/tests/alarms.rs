//! Alarms: raised once, cleared once, never flapping.

use core::time::Duration;

use super::*;
use crate::{
    engine::{AlarmChange, Command, Edge, Refusal},
    reading::{Flags, Strain},
    snapshot::About,
    words,
};

fn raised(edges: &[Edge]) -> Vec<&About> {
    edges
        .iter()
        .filter(|edge| !matches!(edge.change, AlarmChange::Cleared { .. }))
        .map(|edge| &edge.about)
        .collect()
}

fn low(sweep: Sweep, now: bool, lately: bool) -> Sweep {
    let strain = |undervoltage| Strain { undervoltage, ..Strain::default() };
    let board = BoardReading {
        undervoltage: Ok(now),
        flags: Ok(Flags { now: strain(now), lately: strain(now || lately) }),
        ..sweep.board
    };
    Sweep { board, ..sweep }
}

#[test]
fn the_limits_of_the_remaining_time_come_one_after_another() {
    let mut field = Field::blue_ten();
    let mut seen = Vec::new();
    let mut flapped = 0;
    // 37 Wh at the cells; 8 W with bursts empty it in a few hours.
    for k in 0..5 * 3600_u32 {
        let burst = if k % 30 < 13 { 0.8 } else { 0.0 };
        let snapshot = field.second(measured(5.0, 1.25 + burst));
        for edge in field.engine.edges() {
            match (&edge.about, edge.change) {
                (About::RunningOut { limit_min }, AlarmChange::Raised | AlarmChange::Changed) => {
                    seen.push(*limit_min);
                    let cautious = lasts(&snapshot).cautious().si() / 60.0;
                    // Or the deep tail is below half of it; nearer than where it is taken back.
                    let limit = f64::from(*limit_min);
                    assert!(cautious < 1.25 * limit + 5.0, "{limit_min} at {cautious} min");
                }
                (About::RunningOut { .. }, AlarmChange::Cleared { .. }) => flapped += 1,
                other => panic!("{other:?}"),
            }
            assert!(words::edge(&edge, &snapshot).ends_with('.'));
        }
    }
    assert!(flapped <= 1, "{flapped} taken back");
    assert_eq!(seen, [120, 60, 30, 10], "each limit once, in order");
}

#[test]
fn undervoltage_is_counted_once_an_event() {
    let mut field = Field::blue_ten();
    let good = || measured(5.0, 0.8);
    field.seconds(60, |_| low(good(), false, false));
    // The alarm file falls back after 2 s, the sticky flag tells of the same dip until 4 s later.
    let dip = |field: &mut Field| {
        field.seconds(2, |_| low(good(), true, true));
        field.seconds(3, |_| low(good(), false, true));
        field.seconds(20, |_| low(good(), false, false))
    };
    let snapshot = dip(&mut field);
    assert_eq!(snapshot.undervoltage_times, 1);
    assert!(snapshot.flags_seen.undervoltage && !snapshot.flags_seen.throttled);
    assert_eq!(snapshot.draw_history.ticks.len(), 1);
    let snapshot = dip(&mut field);
    assert_eq!(snapshot.undervoltage_times, 2);
    assert_eq!(snapshot.alarms[0].about, About::Undervoltage { times: 2 });
    // A flag alone counts as well (boards whose driver has no alarm file).
    let snapshot = {
        let only_flag = || {
            let sweep = low(good(), false, true);
            Sweep {
                board: BoardReading { undervoltage: Err(Gap::NotMeasurable), ..sweep.board },
                ..sweep
            }
        };
        field.seconds(4, |_| only_flag());
        field.seconds(700, |_| low(good(), false, false))
    };
    assert_eq!(snapshot.undervoltage_times, 3);
    assert!(snapshot.alarms.is_empty(), "over after ten quiet minutes: {:?}", snapshot.alarms);
    let edges = field.engine.edges();
    assert_eq!(raised(&edges).len(), 1, "told once: {edges:?}");
    let AlarmChange::Cleared { lasted } = edges[1].change else { panic!("{edges:?}") };
    assert!((600..760).contains(&lasted.as_secs()), "{lasted:?}");
}

#[test]
fn a_silent_sensor_is_told_and_taken_back() {
    let mut field = Field::blue_ten();
    field.seconds(120, |_| measured(5.0, 0.8));
    assert!(field.seconds(5, |_| silent(Gap::NoAnswer)).alarms.is_empty(), "a hiccup is not");
    field.seconds(30, |_| measured(5.0, 0.8));
    let snapshot = field.seconds(20, |_| silent(Gap::NoAnswer));
    let about = About::SensorSilent { source: SourceIx(0), gap: Gap::NoAnswer };
    assert_eq!(snapshot.alarms[0].about, about);
    let said = words::alarm(&snapshot.alarms[0], &snapshot);
    assert!(said.text.contains("INA226 power monitor"), "{}", said.text);
    field.seconds(60, |_| measured(5.0, 0.8));
    let edges = field.engine.edges();
    assert_eq!(raised(&edges), [&about]);
    assert_eq!(edges.len(), 2);
    // A sampler that hangs is told in the same way.
    let snapshot = field.silence(20);
    let late = About::SensorSilent { source: SourceIx(0), gap: Gap::Late };
    assert_eq!(snapshot.alarms[0].about, late);
}

#[test]
fn a_sensor_that_stutters_does_not_flap() {
    let mut field = Field::blue_ten();
    field.seconds(120, |_| measured(5.0, 0.8));
    field.seconds(1200, |k| if k % 4 == 0 { measured(5.0, 0.8) } else { silent(Gap::NoAnswer) });
    let edges = field.engine.edges();
    assert!(edges.len() <= 1, "{edges:?}");
}

#[test]
fn heat_has_a_gap_between_raised_and_cleared() {
    let mut field = Field::blue_ten();
    let at = |celsius: f64| {
        let sweep = measured(5.0, 0.8);
        Sweep { board: BoardReading { temp: Ok(Celsius::of(celsius)), ..sweep.board }, ..sweep }
    };
    field.seconds(600, |k| at(if k % 2 == 0 { 79.0 } else { 80.5 }));
    assert!(field.engine.edges().len() <= 1);
    let snapshot = field.seconds(60, |_| at(83.0));
    assert_eq!(snapshot.alarms[0].about, About::Hot);
    field.seconds(600, |k| at(if k % 2 == 0 { 76.0 } else { 81.0 }));
    assert_eq!(field.engine.edges().len(), 1, "raised, and nothing since");
    let snapshot = field.seconds(120, |_| at(60.0));
    assert!(snapshot.alarms.is_empty());
    // Throttled together with undervoltage is the supply's doing, not heat.
    let both = Strain { undervoltage: true, throttled: true, ..Strain::default() };
    let snapshot = field.seconds(30, |_| {
        let sweep = low(measured(5.0, 0.8), true, true);
        let flags = Ok(Flags { now: both, lately: both });
        Sweep { board: BoardReading { flags, ..sweep.board }, ..sweep }
    });
    assert!(snapshot.alarms.iter().all(|alarm| alarm.about != About::Hot), "{:?}", snapshot.alarms);
}

#[test]
fn a_shunt_that_is_ten_times_off_is_doubted() {
    // A 4B draws 0.6 to 1.2 A (vendor's table): 0.8 A is right, 8 A and 0.08 A are not.
    let table = [(0.8, false), (1.5, false), (8.0, true), (0.08, true), (0.6, false)];
    for (amps, want) in table {
        let mut field = Field::blue_ten();
        let snapshot = field.seconds(90, |_| measured(5.0, amps));
        let doubt = About::ShuntDoubt { source: SourceIx(0) };
        let found = snapshot.alarms.iter().any(|alarm| alarm.about == doubt);
        assert_eq!(found, want, "{amps} A: {:?}", snapshot.alarms);
    }
    // A radio on a 12 V pack may draw that much.
    let mut field = Field::new(Setup { bank: Some(BankSpec::common()[2].clone()), ..setup() });
    let snapshot = field.seconds(300, |_| measured(13.2, 5.0));
    assert!(snapshot.alarms.iter().all(|alarm| !matches!(alarm.about, About::ShuntDoubt { .. })));
}

#[test]
fn an_alarm_sleeps_and_wakes() {
    let mut field = Field::blue_ten();
    field.seconds(120, |_| measured(5.0, 0.8));
    let snapshot = field.seconds(60, |_| silent(Gap::NoAnswer));
    let since = snapshot.alarms[0].since;
    let span = Duration::from_secs(300);
    field.ask(&Command::Sleep { alarm: 0, since, span }).unwrap();
    let snapshot = field.second(silent(Gap::NoAnswer));
    assert!(snapshot.alarms[0].asleep_until.is_some());
    let gone = Command::Sleep { alarm: 0, since: Mono::at_s(1.0), span };
    assert_eq!(field.ask(&gone), Err(Refusal::AlarmGone));
    let gone = Command::Sleep { alarm: 9, since, span };
    assert_eq!(field.ask(&gone), Err(Refusal::AlarmGone));
    let snapshot = field.seconds(310, |_| silent(Gap::NoAnswer));
    assert_eq!(snapshot.alarms[0].asleep_until, None, "awake again");
    assert_eq!(snapshot.alarms[0].since, since, "and the same alarm");
}

#[test]
fn nobody_draining_the_edges_does_not_fill_the_memory() {
    let mut field = Field::blue_ten();
    for _ in 0..400 {
        field.seconds(12, |_| silent(Gap::NoAnswer));
        field.seconds(8, |_| measured(5.0, 0.8));
    }
    assert!(field.engine.edges().len() <= 256);
}

/// How long the one alarm of these edges stood: raised once, cleared once, nothing else.
fn stood_s(edges: &[Edge], about: &About) -> u64 {
    let [up, down] = edges else { panic!("want raised and cleared: {edges:?}") };
    assert_eq!((&up.about, up.change), (about, AlarmChange::Raised));
    assert_eq!(&down.about, about);
    let AlarmChange::Cleared { lasted } = down.change else { panic!("{down:?}") };
    lasted.as_secs()
}

#[test]
fn a_draw_so_low_that_the_bank_may_switch_off_is_told_once_and_taken_back_once() {
    // A Zero may well draw so little: typically 100 mA (vendor's table of bare boards).
    let facts = BoardFacts { kind: Some(BoardKind::Zero), ..BoardFacts::default() };
    let bank = Some(blue_ten());
    let mut field = Field::new(Setup { bank, facts: Arc::new(facts), ..setup() });
    field.seconds(300, |_| measured(5.0, 0.12));
    field.seconds(120, |k| measured(5.0, if k % 8 == 7 { 0.12 } else { 0.045 }));
    assert!(field.engine.edges().is_empty(), "a pulse every eight seconds keeps it awake");
    field.seconds(60, |_| measured(5.0, 0.045));
    // Above the limit, but not by much: nothing changes.
    field.seconds(600, |k| measured(5.0, if k % 2 == 0 { 0.07 } else { 0.055 }));
    let snapshot = field.seconds(30, |_| measured(5.0, 0.12));
    assert_eq!(snapshot.alarms[0].about, About::AutoOff);
    field.seconds(90, |_| measured(5.0, 0.12));
    // 60 s low but for the ten before it was believed, 600 between, 60 before it was taken back.
    assert_eq!(stood_s(&field.engine.edges(), &About::AutoOff), 50 + 600 + 60);
}

#[test]
fn a_draw_well_above_the_activitys_usual_one_is_told_once_and_taken_back_once() {
    let mut field = Field::blue_ten();
    field.ask(&Command::Activity { name: Some(String::from("Logging")) }).unwrap();
    let calm = |k: u32| measured(5.0, if (k / 60).is_multiple_of(2) { 0.60 } else { 0.64 });
    field.seconds(1800, calm);
    // Nine minutes of something else, twice: not yet worth a word.
    for _ in 0..2 {
        field.seconds(540, |_| measured(5.0, 1.2));
        field.seconds(600, calm);
    }
    assert!(field.engine.edges().is_empty());
    field.seconds(1200, |_| measured(5.0, 1.2));
    // Back by half of the surplus only: it stands, and does not flap.
    field.seconds(600, |k| measured(5.0, if (k / 60).is_multiple_of(2) { 0.8 } else { 1.2 }));
    let snapshot = field.last.clone().unwrap();
    let [alarm] = &snapshot.alarms[..] else { panic!("{:?}", snapshot.alarms) };
    let About::DrawHigh { activity, usual } = &alarm.about else { panic!("{alarm:?}") };
    assert_eq!(activity, "Logging");
    near(usual.si(), 3.1, 0.05, "usual");
    let about = alarm.about.clone();
    field.seconds(300, calm);
    // 20 min above but for the ten before it was said, ten between, three before it was taken
    // back; whole minutes.
    let stood = stood_s(&field.engine.edges(), &about);
    assert!((22 * 60..=25 * 60).contains(&stood), "{stood} s");
}

#[test]
fn a_clock_that_is_not_set_is_told_once_while_a_timed_mode_is_on() {
    let activities = vec![String::from("FT8"), String::from("Voice")];
    let mut field = Field::new(Setup { bank: Some(blue_ten()), activities, ..setup() });
    let unset = |field: &mut Field, count: u32| {
        for _ in 0..count {
            field.now_s += 1.0;
            let at = Stamp { trust: Trust::Unset, ..field.stamp() };
            field.engine.observe(&Sweep { at: at.mono, ..measured(5.0, 0.8) }, at);
        }
    };
    let does = |field: &mut Field, name: &str| {
        field.ask(&Command::Activity { name: Some(String::from(name)) }).unwrap();
    };
    // Somebody who looks through the list is not told.
    for _ in 0..20 {
        does(&mut field, "FT8");
        unset(&mut field, 20);
        does(&mut field, "Voice");
        unset(&mut field, 20);
    }
    assert!(field.engine.edges().is_empty());
    does(&mut field, "FT8");
    unset(&mut field, 630);
    // Another mode for a moment is no end of it.
    does(&mut field, "Voice");
    unset(&mut field, 3);
    does(&mut field, "FT8");
    unset(&mut field, 100);
    // Somebody sets the clock.
    field.seconds(60, |_| measured(5.0, 0.8));
    let stood = stood_s(&field.engine.edges(), &About::ClockNotTrusted);
    assert!((700..=710).contains(&stood), "{stood} s");
}
