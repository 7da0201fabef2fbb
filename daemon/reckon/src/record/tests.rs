//! What is stored keeps its name, and what is read comes out as it went in.

use alloc::{string::String, sync::Arc, vec};

use super::*;
use crate::{
    engine::{Engine, Setup},
    reading::{
        AtLeast, BoardReading, Flow, Gap, GaugeReading, Role, SourceIx, SourceReport, SourceState,
        SupplyReading, Sweep, Via,
    },
    snapshot::{Basis, Snapshot},
    time::{Mono, Stamp, Trust, Wall},
    units::{Amps, Celsius, Joules, Share, Volts, Watts},
};

#[test]
fn names_in_old_records_are_read_as_what_they_were() {
    // A record written years ago has these words in it (the comments of its own schema list them).
    use EventKind as Kind;
    let kinds = [
        (Kind::Undervoltage, "undervoltage", true),
        (Kind::Strain, "strain", false),
        (Kind::MissedSweeps, "missed_sweeps", false),
        (Kind::Mark, "mark", true),
        (Kind::Activity, "activity", false),
        (Kind::AlarmRaised, "alarm_raised", true),
        (Kind::AlarmCleared, "alarm_cleared", false),
        (Kind::ClockStep, "clock_step", false),
        (Kind::Other, "other", false),
    ];
    for (kind, name, urgent) in kinds {
        assert_eq!((kind.name(), kind.urgent()), (name, urgent));
        assert_eq!(Kind::from_name(name), kind);
    }
    assert_eq!(Kind::from_name("of a later version"), Kind::Other);
    let endings = [
        (Ending::Open, "open"),
        (Ending::SwitchedOff, "switched_off"),
        (Ending::Died, "died"),
        (Ending::PowerLost { died: 0.3 }, "power_lost"),
        (Ending::Swapped, "swapped"),
    ];
    for (ending, name) in endings {
        assert_eq!(ending.name(), name);
        assert_eq!(Ending::from_columns(name, Some(0.3)), ending);
    }
    // A chance that nobody wrote down is even.
    assert_eq!(Ending::from_columns("power_lost", None), Ending::PowerLost { died: 0.5 });
    for (origin, name) in [(Origin::Operator, "operator"), (Origin::Contacts, "contacts")] {
        assert_eq!((origin.name(), Origin::from_name(name)), (name, origin));
    }
    assert_eq!(ClockFrom::Phone.name(), "phone");
    assert_eq!(ClockFrom::Synchronised.name(), "synchronised");
    let columns = [
        "volts_v",
        "current_a",
        "power_w",
        "modelled_w",
        "counted_wh",
        "cpu_busy",
        "cpu_temp_c",
        "level",
        "over_range_w",
    ];
    assert_eq!(Channel::ALL.map(Channel::name), columns);
    assert_eq!(Channel::ALL.map(Channel::ix), [0, 1, 2, 3, 4, 5, 6, 7, 8]);
}

#[test]
fn rows_of_different_length_weigh_by_it() {
    let (short, long) =
        (Stats { mean: 2.0, min: 1.0, max: 3.0 }, Stats { mean: 5.0, min: 4.0, max: 9.0 });
    // A third and two thirds: (2 · 10 + 5 · 20) / 30 = 4.
    let joined = short.join(10.0, long, 20.0);
    assert_eq!(joined, Stats { mean: 4.0, min: 1.0, max: 9.0 });
    assert_eq!(Stats::one(7.0), Stats { mean: 7.0, min: 7.0, max: 7.0 });
    assert_eq!(short.join(0.0, long, 0.0).mean, 2.0, "with no weight at all the first stands");
    let mut stats = [None; Channel::ALL.len()];
    stats[Channel::Modelled.ix()] = Some(short);
    let mut row = Row { from_s: 20.0, span_s: 10.0, stats };
    assert_eq!((row.to_s(), row.draw_w()), (30.0, Some(short)));
    row.stats[Channel::Watts.ix()] = Some(long);
    assert_eq!(row.draw_w(), Some(long), "what was measured goes before the model");
    assert_eq!(row.get(Channel::Volts), None);
}

#[test]
fn a_wall_time_is_attached_to_the_boots_first_moment() {
    let stamp = |trust| Stamp {
        mono: Mono::at_s(90.5),
        wall: Wall::from_unix_ms(1_718_452_800_000),
        trust,
        utc_offset_s: 7200,
    };
    for (trust, from) in
        [(Trust::Phone, ClockFrom::Phone), (Trust::Synchronised, ClockFrom::Synchronised)]
    {
        let fix = ClockFix::from_stamp(&stamp(trust), 250).unwrap();
        assert_eq!((fix.from, fix.within_ms, fix.wall_ms), (from, 250, 1_718_452_800_000));
        assert_eq!(fix.wall_at_boot_ms(), 1_718_452_800_000 - 90_500);
    }
    assert_eq!(ClockFix::from_stamp(&stamp(Trust::Unset), 250), None, "nobody believes it");
    assert!(ClockFrom::Synchronised > ClockFrom::Phone, "the stronger word wins");
}

/// One second on a bank, seen by a sensor that counts energy as well, beside a gauge.
fn seen(power: Result<f64, Gap>) -> Arc<Snapshot> {
    let reading = SupplyReading {
        source: SourceIx(1),
        volts: Ok(Volts::of(5.1)),
        amps: Ok(Amps::of(0.7)),
        watts: power.map(Watts::of),
        counted: Some(Ok(Joules::from_wh(1.25))),
        looks: 1,
        at_least: None,
    };
    let other =
        SupplyReading { source: SourceIx(0), counted: Some(Ok(Joules::from_wh(99.0))), ..reading };
    let gauge = GaugeReading {
        source: SourceIx(2),
        volts: Ok(Volts::of(3.8)),
        amps: Err(Gap::Absent),
        level: Ok(Share::nearest(0.6)),
        energy_left: Err(Gap::Absent),
        flow: Flow::Draining,
        temp: Err(Gap::Absent),
    };
    let report = |role| SourceReport {
        id: String::from("hwmon:ina226@1-0040"),
        title: String::from("INA226 power monitor at 0x40 on bus 1"),
        via: Via::Hwmon,
        role,
        state: SourceState::Live,
        shunt: None,
        notes: vec![],
    };
    let at = Stamp {
        mono: Mono::at_s(11.0),
        wall: Wall::from_unix_ms(0),
        trust: Trust::Unset,
        utc_offset_s: 0,
    };
    let sweep = Sweep {
        at: at.mono,
        supplies: vec![other, reading],
        gauges: vec![gauge],
        board: BoardReading {
            cpu_busy: Ok(Share::nearest(0.25)),
            temp: Ok(Celsius::of(48.5)),
            ..BoardReading::UNKNOWN
        },
        clock_synchronised: Ok(false),
        programs: Arc::from([]),
        sources: Arc::from([Role::NotCounted, Role::Bank, Role::NotCounted].map(report)),
    };
    let before = Stamp { mono: Mono::at_s(10.0), ..at };
    Engine::new(Setup::default(), before).observe(&sweep, at)
}

#[test]
fn a_second_is_kept_as_it_was_seen() {
    let sample = Sample::from_snapshot(&seen(Ok(3.5)));
    assert_eq!(sample.at, Mono::at_s(11.0));
    let want = [
        Some(5.1),
        Some(0.7),
        Some(3.5),
        None,
        Some(1.25),
        Some(0.25),
        Some(48.5),
        Some(0.6),
        None,
    ];
    assert_eq!(sample.values, want);
    // Beyond the sensor's range: its end, and that it is one.
    let mut over = Snapshot::clone(&seen(Err(Gap::OverRange)));
    let (amps, watts) = (Amps::of(0.8192), Watts::of(4.1));
    over.supply.at_least = Some(AtLeast { amps, watts, end: amps });
    (over.supply.current, over.supply.power) = (Err(Gap::OverRange), Err(Gap::OverRange));
    let values = Sample::from_snapshot(&over).values;
    assert_eq!((values[1], values[2], values[8]), (Some(0.8192), Some(4.1), Some(4.1)));
    // Nobody measures: the model's word, in a column of its own.
    let mut modelled = Snapshot::clone(&seen(Ok(3.5)));
    modelled.supply.power = Err(Gap::Absent);
    modelled.supply.source = None;
    for (basis, kept) in [
        (Basis::Modelled, Some(3.5)),
        (Basis::Gauge, Some(3.5)),
        (Basis::Measured, None),
        (Basis::Expected, None),
    ] {
        modelled.draw.basis = basis;
        let values = Sample::from_snapshot(&modelled).values;
        assert_eq!(values[Channel::Watts.ix()], None);
        assert_eq!(values[Channel::Modelled.ix()], kept, "{basis:?}");
        assert_eq!(values[Channel::Counted.ix()], None);
    }
}

#[test]
fn an_outing_finds_its_run_down_and_a_series_its_channel() {
    let run_down = |id, outing| RecordedRunDown {
        id,
        bank: 1,
        outing,
        began: None,
        outing_wh: None,
        struck: false,
        data: RunDown::default(),
    };
    let spec = crate::bank::BankSpec::common()[0].clone();
    let bank = RecordedBank { id: 1, spec, forgotten: false };
    let run_downs = vec![run_down(1, None), run_down(2, Some(6)), run_down(3, Some(7))];
    let outing = Outing {
        id: 7,
        bank: Some("Blue ten".into()),
        ending: Ending::Died,
        lasted_s: 3600.0,
        ..Outing::default()
    };
    let mut whole = OutingWhole {
        outing,
        on: vec![],
        rows: vec![],
        events: vec![],
        gaps: vec![],
        off_s: vec![],
        forecasts: vec![],
        contacts: OutingContacts::default(),
        corrections: vec![],
        folds: vec![],
        loads: vec![],
        plan: None,
        bank: Some(BankWhole { bank, run_downs }),
    };
    assert_eq!(whole.run_down().map(|one| one.id), Some(3));
    whole.outing.id = 8;
    assert_eq!(whole.run_down(), None);
    let (volts, watts) = (vec![Some(Stats::one(5.0)), None], vec![None, Some(Stats::one(3.0))]);
    let channels = vec![(Channel::Volts, volts.clone()), (Channel::Watts, watts.clone())];
    let series = Series { step_s: 10.0, t_s: vec![0.0, 10.0], channels };
    assert_eq!(
        (series.channel(Channel::Volts), series.channel(Channel::Watts)),
        (&volts[..], &watts[..])
    );
    assert!(series.channel(Channel::Temp).is_empty());
}
