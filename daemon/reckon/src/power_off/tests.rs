//! The machine second by second.

use super::*;

const LOW: PowerOffInputs = PowerOffInputs {
    cautious_s: Some(200.0),
    hopeful_s: Some(1800.0),
    run_s: 36_000.0,
    draining: true,
    measured: true,
    testing: false,
};
const PLENTY: PowerOffInputs =
    PowerOffInputs { cautious_s: Some(9000.0), hopeful_s: Some(12_000.0), ..LOW };
/// Ten hours into an outing, and two hours may be left: a fifth of the run.
const UNKNOWN: PowerOffInputs = PowerOffInputs { hopeful_s: Some(7200.0), ..LOW };

struct Lab {
    watch: Watch,
    now_s: u32,
    told: Vec<(u32, Order)>,
}

impl Lab {
    fn new() -> Self {
        let wants = PowerOffWants { unit: true, ..PowerOffWants::default() };
        Self { watch: Watch::new(wants), now_s: 1000, told: Vec::new() }
    }

    fn now(&self) -> Mono {
        Mono::at_s(f64::from(self.now_s))
    }

    fn play(&mut self, count: u32, seen: PowerOffInputs) -> &mut Self {
        for _ in 0..count {
            self.now_s += 1;
            let now = self.now();
            self.watch.observe(&seen, now);
            let at = self.now_s;
            self.told.extend(self.watch.orders().into_iter().map(|order| (at, order)));
        }
        self
    }

    fn count(&self, wanted: impl Fn(&Order) -> bool) -> usize {
        self.told.iter().filter(|(_, order)| wanted(order)).count()
    }
}

const fn is_announce(order: &Order) -> bool {
    matches!(order, Order::Announce { .. })
}

#[test]
fn the_whole_way_down_is_gone_once_and_in_order() {
    let mut lab = Lab::new();
    lab.play(600, PLENTY);
    assert!(lab.told.is_empty());
    lab.play(21, LOW);
    assert_eq!(lab.count(is_announce), 1);
    let PowerOff::Counting { since, until } = lab.watch.view() else { panic!() };
    assert_eq!(until.since(since), Duration::from_secs(120));
    lab.play(119, LOW);
    assert_eq!(lab.told.len(), 1, "two minutes are two minutes: {:?}", lab.told);
    lab.play(2, LOW);
    assert_eq!(lab.told[1].1, Order::Save);
    lab.play(10, LOW);
    lab.watch.saved(lab.now());
    lab.watch.saved(lab.now());
    lab.play(1, LOW);
    assert_eq!(lab.told[2].1, Order::SwitchOff);
    lab.watch.switched_off(Ok(()), lab.now());
    lab.play(100, LOW);
    assert_eq!(lab.told.len(), 3, "not twice: {:?}", lab.told);
    assert!(matches!(lab.watch.view(), PowerOff::Asked { .. }));
    // The board still runs after three minutes: said, and not tried over and over.
    lab.play(2000, LOW);
    assert_eq!(lab.told.len(), 3);
    assert!(matches!(lab.watch.view(), PowerOff::Failed { .. }));
}

#[test]
fn it_does_not_begin_where_it_must_not() {
    let cases = [
        ("on mains", PowerOffInputs { draining: false, ..LOW }),
        ("nobody measures", PowerOffInputs { measured: false, ..LOW }),
        ("a run-down test", PowerOffInputs { testing: true, ..LOW }),
        ("no forecast", PowerOffInputs { cautious_s: None, ..LOW }),
        ("at the limit", PowerOffInputs { cautious_s: Some(300.0), ..LOW }),
    ];
    for (what, seen) in cases {
        let mut lab = Lab::new();
        lab.play(3600, seen);
        assert!(lab.told.is_empty(), "{what}: {:?}", lab.told);
    }
    let without = [
        (PowerOffWants { unit: false, ..PowerOffWants::default() }, PowerOff::NoUnit),
        (PowerOffWants { unit: true, limit: None, ..PowerOffWants::default() }, PowerOff::Unwanted),
    ];
    for (wants, view) in without {
        let mut lab = Lab { watch: Watch::new(wants), ..Lab::new() };
        lab.play(3600, LOW);
        assert!(lab.told.is_empty());
        assert_eq!(lab.watch.view(), view);
    }
    // Where the owner wants it without a sensor as well.
    let wants = PowerOffWants { unit: true, unmeasured: true, ..PowerOffWants::default() };
    let mut lab = Lab { watch: Watch::new(wants), ..Lab::new() };
    lab.play(30, PowerOffInputs { measured: false, ..LOW });
    assert_eq!(lab.count(is_announce), 1);
}

#[test]
fn a_forecast_that_dips_for_a_moment_starts_nothing() {
    let mut lab = Lab::new();
    for _ in 0..200 {
        lab.play(15, LOW).play(5, PLENTY);
    }
    assert!(lab.told.is_empty(), "{:?}", lab.told);
}

#[test]
fn power_that_comes_back_calls_it_off() {
    let back = PowerOffInputs { draining: false, ..LOW };
    let cases = [
        (back, CalledOff::PowerIsBack),
        (PLENTY, CalledOff::MoreIsLeft),
        (PowerOffInputs { testing: true, ..LOW }, CalledOff::Test),
    ];
    for (seen, why) in cases {
        let mut lab = Lab::new();
        lab.play(60, LOW).play(30, seen);
        assert_eq!(lab.told.last().map(|(_, order)| *order), Some(Order::CallOff(why)));
        lab.play(600, seen);
        assert_eq!(lab.told.len(), 2, "{why:?}: {:?}", lab.told);
    }
    // Also while programs save, and it may begin anew afterwards.
    let mut lab = Lab::new();
    lab.play(145, LOW);
    assert!(matches!(lab.watch.view(), PowerOff::Saving { .. }));
    lab.play(5, back);
    assert_eq!(lab.told.last().unwrap().1, Order::CallOff(CalledOff::PowerIsBack));
    lab.watch.saved(lab.now());
    lab.play(60, LOW);
    assert_eq!(lab.count(|o| *o == Order::SwitchOff), 0);
    assert_eq!(lab.count(is_announce), 2);
    // Another bank.
    let mut lab = Lab::new();
    lab.play(60, LOW);
    lab.watch.new_bank();
    assert_eq!(lab.watch.orders(), [Order::CallOff(CalledOff::OtherBank)]);
}

#[test]
fn a_person_stops_it_for_good_or_shortens_it() {
    let mut lab = Lab::new();
    assert!(!lab.watch.ask(PowerOffAsk::Stop, lab.now()), "nothing to stop");
    assert!(!lab.watch.ask(PowerOffAsk::Now, lab.now()), "a phone alone cannot switch it off");
    lab.play(60, LOW);
    assert!(lab.watch.ask(PowerOffAsk::Stop, lab.now()));
    lab.play(3600, LOW);
    assert_eq!(lab.count(is_announce), 1, "{:?}", lab.told);
    assert!(matches!(lab.watch.view(), PowerOff::Stopped { .. }));
    // After a charge it watches again.
    lab.play(60, PowerOffInputs { draining: false, ..LOW }).play(30, LOW);
    assert_eq!(lab.count(is_announce), 2);
    // 'Now' leaves ten seconds to take it back, even from 'keep running'.
    assert!(lab.watch.ask(PowerOffAsk::Now, lab.now()));
    let until = lab.now().plus(Duration::from_secs(10));
    assert!(matches!(lab.watch.view(), PowerOff::Counting { until: then, .. } if then == until));
    lab.play(5, LOW);
    assert!(lab.watch.ask(PowerOffAsk::Now, lab.now()), "twice is once");
    assert!(matches!(lab.watch.view(), PowerOff::Counting { until: then, .. } if then == until));
    assert!(lab.watch.ask(PowerOffAsk::Stop, lab.now()));
    lab.play(60, LOW);
    assert_eq!(lab.count(|order| *order == Order::Save), 0, "{:?}", lab.told);
    assert!(lab.watch.ask(PowerOffAsk::Now, lab.now()), "and the other way round");
    assert_eq!(lab.watch.orders().len(), 1);
    lab.play(11, LOW);
    assert_eq!(lab.count(|order| *order == Order::Save), 1, "{:?}", lab.told);
    assert!(lab.watch.ask(PowerOffAsk::Stop, lab.now()), "while programs save");
    lab.watch.ask(PowerOffAsk::Now, lab.now());
    lab.play(11, LOW);
    lab.watch.saved(lab.now());
    for ask in [PowerOffAsk::Now, PowerOffAsk::Stop] {
        assert!(!lab.watch.ask(ask, lab.now()), "it is on its way");
    }
}

#[test]
fn nobody_can_hold_it_up_and_a_failure_is_said() {
    let mut lab = Lab::new();
    // Nobody answers that they have saved.
    lab.play(21 + 121 + 61, LOW);
    assert_eq!(lab.told.last().unwrap().1, Order::SwitchOff);
    lab.watch.switched_off(Err(String::from("No room.")), lab.now());
    lab.play(3600, LOW);
    assert_eq!(lab.told.len(), 3);
    assert_eq!(lab.watch.view(), PowerOff::Failed { why: String::from("No room.") });
    // A close that hangs is a failure as well.
    let mut lab = Lab::new();
    lab.play(21 + 121 + 61 + 61, LOW);
    assert!(matches!(lab.watch.view(), PowerOff::Failed { .. }), "{:?}", lab.watch.view());
}

#[test]
fn a_bank_that_is_not_known_is_left_to_a_person() {
    let mut lab = Lab::new();
    lab.play(3600, UNKNOWN);
    assert!(lab.told.is_empty(), "{:?}", lab.told);
    assert!(matches!(lab.watch.view(), PowerOff::Unsure { .. }));
    assert!(lab.watch.ask(PowerOffAsk::Stop, lab.now()), "whoever is asked may say no");
    assert!(matches!(lab.watch.view(), PowerOff::Stopped { .. }));
    let mut lab = Lab::new();
    lab.play(60, UNKNOWN);
    assert!(lab.watch.ask(PowerOffAsk::Now, lab.now()));
    lab.play(11, UNKNOWN);
    assert_eq!(lab.count(is_announce), 1);
    assert_eq!(lab.told.last().unwrap().1, Order::Save);
    // The hopeful end comes near: it counts after all.
    let mut lab = Lab::new();
    lab.play(600, UNKNOWN).play(30, LOW);
    assert_eq!(lab.count(is_announce), 1);
    // The range of a known bank grows with the run: 1 h 20 after ten hours is near.
    let mut lab = Lab::new();
    lab.play(30, PowerOffInputs { hopeful_s: Some(4800.0), ..LOW });
    assert_eq!(lab.count(is_announce), 1);
    // Power that comes back, and another bank.
    let mut lab = Lab::new();
    lab.play(60, UNKNOWN).play(30, PowerOffInputs { draining: false, ..UNKNOWN });
    assert!(matches!(lab.watch.view(), PowerOff::Watching { .. }));
    lab.play(60, UNKNOWN);
    lab.watch.new_bank();
    assert!(matches!(lab.watch.view(), PowerOff::Watching { .. }));
}

#[test]
fn a_sensor_that_dies_in_the_countdown_calls_nothing_off() {
    // Silent, and what is bridged meanwhile says that hours are left.
    let dead = PowerOffInputs { measured: false, ..PLENTY };
    let mut lab = Lab::new();
    lab.play(60, LOW).play(200, dead);
    assert_eq!(lab.count(|order| matches!(order, Order::CallOff(_))), 0, "{:?}", lab.told);
    assert_eq!(lab.count(|order| *order == Order::SwitchOff), 1, "{:?}", lab.told);
    // It does not begin in the silence, known bank or not.
    for seen in [LOW, UNKNOWN] {
        let mut lab = Lab::new();
        lab.play(5, seen).play(3600, PowerOffInputs { measured: false, ..seen });
        assert!(lab.told.is_empty(), "{:?}", lab.told);
    }
}

#[test]
fn known_is_an_end_within_an_hour_or_a_seventh_of_the_run() {
    // Twelve times the limit of 5 min on a short run, .15 of ten hours on a long one; a second less
    // counts down, the very second does not.
    for (run_s, hopeful_s, known) in [
        (600.0, 3599.0, true),
        (600.0, 3600.0, false),
        (36_000.0, 5399.0, true),
        (36_000.0, 5400.0, false),
    ] {
        let mut lab = Lab::new();
        lab.play(60, PowerOffInputs { run_s, hopeful_s: Some(hopeful_s), ..LOW });
        assert_eq!(lab.count(is_announce) == 1, known, "{hopeful_s} s after {run_s} s");
        assert_eq!(lab.watch.is_under_way(), known);
    }
    let mut lab = Lab::new();
    lab.play(60, PowerOffInputs { hopeful_s: None, ..LOW });
    assert!(lab.told.is_empty(), "nobody says when");
}

#[test]
fn it_is_called_off_above_one_and_a_half_limits_and_two_minutes() {
    // 1.5 × 300 s + 120 s.
    for (left_s, over) in [(570.0, false), (571.0, true)] {
        let mut lab = Lab::new();
        lab.play(60, LOW).play(30, PowerOffInputs { cautious_s: Some(left_s), ..LOW });
        let called_off = lab.count(|order| matches!(order, Order::CallOff(_)));
        assert_eq!(called_off == 1, over, "{left_s} s");
    }
}

#[test]
fn it_is_under_way_until_the_request_is_made() {
    let mut lab = Lab::new();
    assert!(!lab.watch.is_under_way());
    for (count, view) in [(22, "counting"), (121, "saving"), (61, "closing")] {
        lab.play(count, LOW);
        assert!(lab.watch.is_under_way(), "{view}: {:?}", lab.watch.view());
    }
    lab.watch.switched_off(Ok(()), lab.now());
    assert!(!lab.watch.is_under_way());
}

#[test]
fn a_test_ends_the_doubt_at_once_and_without_a_unit_nothing_is_announced() {
    let mut lab = Lab::new();
    lab.play(60, UNKNOWN);
    assert!(matches!(lab.watch.view(), PowerOff::Unsure { .. }));
    lab.play(1, PowerOffInputs { testing: true, ..UNKNOWN });
    assert!(matches!(lab.watch.view(), PowerOff::Watching { .. }));
    let mut lab = Lab { watch: Watch::new(PowerOffWants::default()), ..Lab::new() };
    lab.play(60, LOW);
    assert_eq!((lab.told.len(), lab.watch.view()), (0, PowerOff::NoUnit));
}
