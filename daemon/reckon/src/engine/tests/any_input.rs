//! Whatever arrives: no panic, and the three points stay in order.

use proptest::prelude::*;

use super::*;
use crate::{
    engine::Command,
    record::{OutingPlan, PlannedStretch},
};

/// Any number, the awkward ones often.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -2.0..20.0_f64,
        1 => prop::num::f64::ANY,
        1 => prop::sample::select(vec![0.0, -0.0, 1e-300, 1e300, -1e300, 5.0, 1e6]),
    ]
}

fn got<T: Clone + core::fmt::Debug>(
    value: impl Strategy<Value = T>,
) -> impl Strategy<Value = Result<T, Gap>> {
    let gaps = prop::sample::select(vec![Gap::NoAnswer, Gap::Gone, Gap::Garbled, Gap::NotReady]);
    (value, gaps, 0..4_u8).prop_map(|(value, gap, die)| if die == 0 { Err(gap) } else { Ok(value) })
}

fn sweep() -> impl Strategy<Value = Sweep> {
    let channel = (0..4_u16, got(number()), got(number()), got(number()), 0..3_u8).prop_map(
        |(source, volts, amps, joules, counts)| {
            let (volts, amps) = (volts.map(Volts::of), amps.map(Amps::of));
            let watts = volts.and_then(|volts| amps.map(|amps| volts * amps));
            let counted = (counts == 0).then_some(joules.map(Joules::of));
            SupplyReading {
                source: SourceIx(source),
                volts,
                amps,
                watts,
                counted,
                looks: 1,
                at_least: None,
            }
        },
    );
    let flows = vec![Flow::Draining, Flow::Charging, Flow::Resting, Flow::Unknown];
    let gauge = (got(number()), got(number()), got(number()), prop::sample::select(flows))
        .prop_map(|(volts, amps, left, flow)| GaugeReading {
            source: SourceIx(3),
            volts: volts.map(Volts::of),
            amps: amps.map(Amps::of),
            level: left.map(Share::nearest),
            energy_left: left.map(|left| Joules::of(left * 3600.0)),
            flow,
            temp: Err(Gap::Absent),
        });
    let board = (got(number()), got(number()), got(any::<bool>()), got(number())).prop_map(
        |(busy, temp, low, rails)| BoardReading {
            cpu_busy: busy.map(Share::nearest),
            temp: temp.map(Celsius::of),
            undervoltage: low,
            rails_at_least: rails.map(Watts::of),
            ..BoardReading::UNKNOWN
        },
    );
    (
        prop::collection::vec(channel, 0..3),
        prop::collection::vec(gauge, 0..2),
        board,
        0..3_u8,
        number(),
    )
        .prop_map(|(supplies, gauges, board, listed, at)| Sweep {
            at: Mono::at_s(at.abs() * 100.0),
            supplies,
            gauges,
            board,
            sources: match listed {
                0 => Arc::from([]),
                1 => Arc::from([report(Role::Bank, SourceState::Live)]),
                _ => Arc::from(vec![report(Role::Bank, SourceState::Live); 4]),
            },
            ..bare()
        })
}

/// A plan of any stretches, with an end that is no reason to refuse it.
fn plan() -> impl Strategy<Value = OutingPlan> {
    let stretch = (number(), number(), number()).prop_map(|(hours, draw_w, draw_log_sd)| {
        let lasts_s = hours * 3600.0;
        PlannedStretch { name: String::new(), lasts_s, draw_w, draw_log_sd }
    });
    (prop::collection::vec(stretch, 0..6), 1.0..1e5_f64, any::<bool>()).prop_map(
        |(stretches, finish_s, same)| {
            let name = if same { "Blue ten" } else { &BankSpec::common()[1].name };
            let bank = String::from(name);
            OutingPlan { bank, finish_s, stretches, ..OutingPlan::default() }
        },
    )
}

fn ask() -> impl Strategy<Value = Command> {
    prop_oneof![
        (number(), number(), any::<u8>(), number()).prop_map(|(ah, volts, series, part)| {
            let bank = BankSpec {
                label: crate::units::AmpHours::of(ah),
                label_volts: Volts::of(volts),
                series,
                ..blue_ten()
            };
            Command::UseBank { bank, start: Some(Start::Part(Share::nearest(part))) }
        }),
        (0..4_usize).prop_map(|k| Command::UseBank {
            bank: BankSpec::common()[k].clone(),
            start: Some(Start::Unknown)
        }),
        any::<Option<u64>>()
            .prop_map(|s| Command::Finish { after: s.map(core::time::Duration::from_secs) }),
        plan().prop_map(|plan| Command::StartPlan { plan, start: None }),
        ".{0,80}".prop_map(|name| Command::NameOuting { name }),
        any::<bool>()
            .prop_map(|on| Command::Activity { name: on.then(|| String::from("Contacts")) }),
        (any::<usize>(), number(), any::<u64>()).prop_map(|(alarm, since, span)| Command::Sleep {
            alarm,
            since: Mono::at_s(since),
            span: core::time::Duration::from_secs(span),
        }),
    ]
}

#[derive(Clone, Debug)]
enum Step {
    Sweep(Sweep),
    /// The same sweep for so many even seconds.
    Even(Sweep, u16),
    Tick,
    Command(Command),
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        sweep().prop_map(Step::Sweep),
        (sweep(), 1..60_u16).prop_map(|(sweep, count)| Step::Even(sweep, count)),
        Just(Step::Tick),
        ask().prop_map(Step::Command),
    ]
}

/// What must hold of every snapshot.
fn check(snapshot: &Snapshot) {
    let forecast = match &snapshot.outlook {
        Outlook::Lasts(forecast) => Some(forecast),
        Outlook::Blind { last, .. } => last.as_ref(),
        _ => None,
    };
    if let Some(forecast) = forecast {
        assert!(in_order(forecast), "{forecast:?}");
    }
    for one in &snapshot.activities {
        if let Some([low, middle, high]) = one.remaining {
            assert!(low <= middle && middle <= high, "{one:?}");
        }
    }
    if let Some([low, middle, high]) = snapshot.bank.usable {
        assert!(low <= middle && middle <= high, "{:?}", snapshot.bank);
    }
    assert!(snapshot.bank.delivered.si() >= 0.0 && snapshot.bank.bridged.si() >= 0.0);
    assert!(snapshot.draw_history.mean_w.len() <= 240 && snapshot.draw_history.ticks.len() <= 64);
    for text in [
        crate::words::status(snapshot),
        crate::words::supply(snapshot),
        crate::words::board(snapshot),
        crate::words::bank(snapshot),
        crate::words::basis(snapshot),
        crate::words::verdict(snapshot).unwrap_or_default(),
    ] {
        assert!(!text.contains("NaN") && !text.contains("inf "), "{text}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn any_sweeps_and_asks(
        steps in prop::collection::vec((step(), 0.0..400.0_f64), 1..40),
        told in any::<bool>(),
    ) {
        let bank = told.then(blue_ten);
        let mut field = Field::new(Setup { bank, ..setup() });
        for (step, dt) in steps {
            field.now_s += if dt < 300.0 { dt / 100.0 } else { dt * dt };
            match step {
                Step::Sweep(sweep) => {
                    let at = field.stamp();
                    check(&field.engine.observe(&sweep, at));
                }
                Step::Even(sweep, count) => {
                    check(&field.seconds(u32::from(count), |_| sweep.clone()));
                }
                Step::Tick => check(&field.engine.tick(field.stamp())),
                Step::Command(ask) => {
                    let _ = field.ask(&ask);
                }
            }
        }
    }
}
