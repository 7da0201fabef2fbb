//! The measured draw taken apart, live: folds, load, accessories, activities by rules.

use super::*;
use crate::{
    engine::{ActivityRule, Command, DayTime, ProgramBusy, Refusal, Resume},
    fold::{
        Kind,
        tests::{Made, Recipe, Sends},
    },
    reading::Program,
    snapshot::Footprint,
};

/// A made-up outing of published timing (QEX Jul/Aug 2020; see `fold::MODES`) read by a chip that
/// averages over the second.
fn play(made: &Made, setup: Setup) -> (Engine, Vec<Arc<Snapshot>>) {
    let mut engine = Engine::new(setup, stamp_at(990.0, NOON));
    let mut shots = Vec::new();
    for (n, beat) in made.beats.iter().enumerate() {
        let sweep = averaged(Mono::at_s(beat.at_s), beat.watts);
        let snapshot = engine.observe(&sweep, stamp_at(beat.at_s, NOON));
        if n % 60 == 0 {
            shots.push(snapshot);
        }
    }
    (engine, shots)
}

fn averaged(at: Mono, watts: f64) -> Sweep {
    let mut sweep = Sweep { at, ..measured(5.0, watts / 5.0) };
    let own = SourceReport { via: Via::I2c, ..report(Role::Bank, SourceState::Live) };
    sweep.sources = Arc::from([own]);
    sweep
}

fn with_bank() -> Setup {
    Setup { bank: Some(blue_ten()), ..setup() }
}

/// Distance of two phases.
fn apart_s(a: f64, b: f64, slot_s: f64) -> f64 {
    let off = (a - b).rem_euclid(slot_s);
    off.min(slot_s - off)
}

#[test]
fn an_outing_comes_apart_with_the_radio_on_the_sensor_and_without() {
    // The recipe's clock is off by anything, its stamps by a tenth of a second, one reading in two
    // hundred is lost.
    for (with_radio, seed) in [(true, 1), (true, 2), (false, 3), (false, 4)] {
        let recipe = Recipe::of(15.0, Sends::Contacts, with_radio);
        let made = recipe.make(seed);
        // No bank is told: near its end a fold would be closed sooner.
        let (mut engine, shots) = play(&made, setup());
        engine.close_fold();
        let folds = engine.folds();
        assert_eq!(folds.len(), 2, "an hour each");
        let whole: f64 = folds.iter().map(|one| one.fold.energy.si()).sum();
        let made_j = made.receive_j + made.transmit_j + made.decode_j;
        for (kind, want_j) in [
            (Kind::Receive, made.receive_j),
            (Kind::Transmit, made.transmit_j),
            (Kind::Decode, made.decode_j),
        ] {
            let got: f64 = folds
                .iter()
                .filter_map(|one| one.fold.part(kind))
                .map(|part| part.energy.si())
                .sum();
            let what = format!("{kind:?}, radio {with_radio}, seed {seed}");
            near(got / whole * made_j, want_j, 0.03 * want_j, &what);
        }
        for one in folds.iter().filter(|_| with_radio) {
            let sent = one.fold.part(Kind::Transmit).unwrap();
            assert!(apart_s(sent.begins_s, made.transmit_at_s, 15.0) < 0.5, "{sent:?}");
            assert!((sent.lasts_s - made.on_air_s).abs() < 0.5, "{sent:?}");
            assert_eq!(one.fold.mode.map(|mode| mode.name), Some("FT8 or JS8"));
        }
        // It is shown long before the hour is full.
        assert!(shots[9].fold.is_none() && shots[21].fold.is_some(), "seed {seed}");
    }
}

#[test]
fn a_fold_ends_with_the_activity_and_with_the_bank() {
    let made = Recipe::of(15.0, Sends::Contacts, true).make(5);
    let mut engine = Engine::new(with_bank(), stamp_at(990.0, NOON));
    let play = |engine: &mut Engine, from: usize, to: usize| {
        for beat in &made.beats[from..to] {
            let _ = engine
                .observe(&averaged(Mono::at_s(beat.at_s), beat.watts), stamp_at(beat.at_s, NOON));
        }
        stamp_at(made.beats[to - 1].at_s, NOON)
    };
    let at = play(&mut engine, 0, 1500);
    engine.ask(&Command::Activity { name: Some("Contacts".into()) }, at).unwrap();
    assert!(engine.folds().is_empty());
    let at = play(&mut engine, 1500, 3000);
    let first = engine.folds();
    assert_eq!(first.len(), 1);
    assert_eq!(first[0].doing, None);
    near(first[0].to.as_s(), made.beats[1499].at_s, 0.001, "kept to the millisecond");
    let bank = BankSpec { name: "Long six".into(), ..blue_ten() };
    engine.ask(&Command::UseBank { bank, start: Some(FULL) }, at).unwrap();
    let second = engine.folds();
    assert_eq!(second.len(), 1, "handed over with the change itself");
    assert_eq!(second[0].doing.as_deref(), Some("Contacts"));
    assert_eq!(engine.tick(at).fold, None, "the next outing has none yet");
}

#[test]
fn near_the_end_a_fold_does_not_wait_for_the_hour() {
    let made = Recipe::of(15.0, Sends::Contacts, true).make(6);
    let small = BankSpec { label: crate::units::AmpHours::of(2.0), ..blue_ten() };
    let (mut engine, _) = play(&made, Setup { bank: Some(small), ..setup() });
    let spans: Vec<f64> =
        engine.folds().iter().map(|one| one.to.seconds_since(one.from).si()).collect();
    assert!(spans.len() >= 5 && spans.iter().all(|span_s| *span_s < 1300.0), "{spans:?}");
}

#[test]
fn what_load_takes_and_outlast_itself() {
    // A 4B: 3.06 W idle, 6.12 W under stress (Raspberry Pi documentation, 5.1 V); all four cores
    // busy 3.06 W more, so that 2 ‰ of one core are 3.06 W / 4 * 0.002 = 1.53 mW.
    let facts =
        BoardFacts { kind: Some(BoardKind::FourB), cores: Some(4), ..BoardFacts::default() };
    let mut field = Field::new(Setup { facts: Arc::new(facts), ..with_bank() });
    field.engine.note_footprint(Footprint { cpu_share: Some(0.002), ..Footprint::default() });
    let at_load = |k: u32| {
        let busy = 0.1 + 0.1 * f64::from(k / 10 % 8);
        let mut sweep = measured(5.0, (3.06 + 3.06 * busy) / 5.0);
        sweep.board.cpu_busy = Ok(Share::nearest(busy));
        sweep
    };
    assert_eq!(field.seconds(300, at_load).load, None, "too soon");
    let snapshot = field.seconds(1500, at_load);
    let line = snapshot.load.unwrap();
    near(line.slope, 3.06, 0.001, "idle to all cores");
    near(line.intercept, 3.06, 0.001, "idle");
    near(snapshot.own_draw.unwrap().0.si(), 0.00153, 1e-6, "own draw");
    // A load that never changes tells nothing.
    let mut field = Field::new(with_bank());
    assert_eq!(field.seconds(1800, |_| measured(5.0, 0.8)).load, None);
}

#[test]
fn a_fan_is_weighed_by_its_mark() {
    let made = Recipe::of(15.0, Sends::Never, false).make(7);
    let mut engine = Engine::new(with_bank(), stamp_at(990.0, NOON));
    let mut snapshot = None;
    for (n, beat) in made.beats.iter().enumerate().take(1000) {
        let at = stamp_at(beat.at_s, NOON);
        let fan = if n >= 400 { 0.62 } else { 0.0 };
        snapshot = Some(engine.observe(&averaged(at.mono, beat.watts + fan), at));
        match n {
            100 => engine.note_mark("lunch", at.mono),
            399 => engine.note_mark("fan on", at.mono),
            500 => assert!(engine.switched().is_empty(), "not two minutes yet"),
            _ => {}
        }
    }
    let judged = engine.switched();
    assert_eq!(judged.len(), 1);
    let (difference, error) = (judged[0].difference.si(), judged[0].error.si());
    assert!((difference - 0.62).abs() < 3.0 * error && error < 0.1, "{difference} ± {error}");
    assert_eq!(snapshot.unwrap().switched.as_deref().map(|one| one.mark.as_str()), Some("fan on"));
    assert!(engine.switched().is_empty(), "said once");
}

/// Receive while a decoder runs, logging in the first half of the afternoon.
fn rules() -> Setup {
    let decoder = ProgramBusy { word: "decode".into(), cores_busy: 0.05 };
    // NOON is 12:00 UTC, 14:00 here.
    let afternoon = DayTime { from_min: 14 * 60 + 30, to_min: 15 * 60 };
    let rule =
        |activity: &str, program, time| ActivityRule { activity: activity.into(), program, time };
    Setup {
        activity_rules: vec![
            rule("Receive", Some(decoder), None),
            rule("Logging", None, Some(afternoon)),
        ],
        ..with_bank()
    }
}

fn running(name: &str, cores_busy: f64) -> Sweep {
    let programs = Arc::from([Program { name: name.into(), cores_busy }]);
    Sweep { programs, ..measured(5.0, 0.8) }
}

fn doing(snapshot: &Snapshot) -> Option<&str> {
    snapshot.activities.iter().find(|one| one.current).map(|one| one.name.as_str())
}

#[test]
fn rules_choose_until_somebody_taps() {
    let mut field = Field::new(rules());
    let decodes = |_| running("MyDecoder", 0.6);
    let snapshot = field.seconds(50, decodes);
    assert_eq!((doing(&snapshot), snapshot.activity_auto), (None, Some(true)), "not sure yet");
    assert_eq!(doing(&field.seconds(70, decodes)), Some("Receive"));
    // A minute without it changes nothing, two do.
    field.seconds(60, |_| running("other", 0.6));
    assert_eq!(doing(&field.seconds(120, decodes)), Some("Receive"));
    assert_eq!(doing(&field.seconds(170, |_| running("MyDecoder", 0.04))), None);
    // A tap wins over the rules.
    field.ask(&Command::Activity { name: Some("Contacts".into()) }).unwrap();
    let snapshot = field.seconds(300, decodes);
    assert_eq!((doing(&snapshot), snapshot.activity_auto), (Some("Contacts"), Some(false)));
    // Which of the two it is survives a restart.
    let choices = field.engine.choices();
    let resume = |choices| Setup { resume: Some(Resume { choices, same_boot: true }), ..rules() };
    let mut again = Field::new(resume(choices));
    again.now_s = field.now_s;
    let snapshot = again.seconds(300, decodes);
    assert_eq!((doing(&snapshot), snapshot.activity_auto), (Some("Contacts"), Some(false)));
    again.ask(&Command::ActivityAuto).unwrap();
    assert_eq!(doing(&again.seconds(130, decodes)), Some("Receive"));
    let mut third = Field::new(resume(again.engine.choices()));
    third.now_s = again.now_s;
    let snapshot = third.seconds(10, decodes);
    assert_eq!((doing(&snapshot), snapshot.activity_auto), (Some("Receive"), Some(true)));
}

#[test]
fn the_time_of_day_chooses_only_while_the_clock_is_believed() {
    let mut field = Field::new(rules());
    field.seconds(1700, |_| measured(5.0, 0.8));
    assert_eq!(doing(field.last.as_ref().unwrap()), None, "before half past two");
    let snapshot = field.seconds(300, |_| measured(5.0, 0.8));
    assert_eq!(doing(&snapshot), Some("Logging"));
    let mut unset = Engine::new(rules(), Stamp { trust: Trust::Unset, ..field.stamp() });
    for second in 0..300 {
        let at = Stamp {
            mono: Mono::at_s(field.now_s + f64::from(second)),
            trust: Trust::Unset,
            ..field.stamp()
        };
        let snapshot = unset.observe(&Sweep { at: at.mono, ..measured(5.0, 0.8) }, at);
        assert_eq!(doing(&snapshot), None);
    }
}

#[test]
fn without_rules_nothing_chooses_itself() {
    let mut field = Field::blue_ten();
    assert_eq!(field.ask(&Command::ActivityAuto), Err(Refusal::NoRules));
    let snapshot = field.seconds(200, |_| running("MyDecoder", 0.6));
    assert_eq!((doing(&snapshot), snapshot.activity_auto), (None, None));
}
