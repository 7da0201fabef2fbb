//! Simulated seconds through the whole engine.

mod after_answers;
mod alarms;
mod any_input;
mod apart;
mod beliefs;
mod carried;
mod counting;
mod finish;
mod forecasts;
mod over_range;
mod planned;
mod trade;
mod warnings;

use alloc::{string::String, sync::Arc, vec::Vec};

use super::{Engine, Setup, Start};
use crate::{
    bank::{BankSpec, MeasuredAt},
    draw::BoardKind,
    forecast::{Forecast, Outlook},
    reading::{
        BoardFacts, BoardReading, Flow, Gap, GaugeReading, Role, SourceIx, SourceReport,
        SourceState, SupplyReading, Sweep, Via,
    },
    snapshot::Snapshot,
    time::{Mono, Stamp, Trust, Wall},
    units::{Amps, Celsius, Joules, Share, Volts, Watts},
};

/// An invented noon of a Saturday.
const NOON: Wall = Wall::from_unix_ms(1_718_452_800_000);

/// A board in a field: an engine and the second it is at.
struct Field {
    engine: Engine,
    now_s: f64,
    wall: Wall,
    last: Option<Arc<Snapshot>>,
}

impl Field {
    fn new(setup: Setup) -> Self {
        let stamp = stamp_at(10.0, NOON);
        Self { engine: Engine::new(setup, stamp), now_s: 10.0, wall: NOON, last: None }
    }

    /// 'Blue ten' on a 4B with a sensor.
    fn blue_ten() -> Self {
        Self::new(Setup { bank: Some(blue_ten()), ..setup() })
    }

    fn stamp(&self) -> Stamp {
        stamp_at(self.now_s, self.wall)
    }

    /// One second further, with this sweep.
    fn second(&mut self, sweep: Sweep) -> Arc<Snapshot> {
        self.now_s += 1.0;
        self.wall = self.wall.plus_s(1.0);
        let sweep = Sweep { at: Mono::at_s(self.now_s), ..sweep };
        let snapshot = self.engine.observe(&sweep, self.stamp());
        self.last = Some(Arc::clone(&snapshot));
        snapshot
    }

    /// So many seconds with the same sweep.
    fn seconds(&mut self, count: u32, sweep: impl Fn(u32) -> Sweep) -> Arc<Snapshot> {
        let mut snapshot = None;
        for k in 0..count {
            snapshot = Some(self.second(sweep(k)));
        }
        snapshot.unwrap()
    }

    /// So many seconds in which no sweep arrives.
    fn silence(&mut self, count: u32) -> Arc<Snapshot> {
        let mut snapshot = None;
        for _ in 0..count {
            self.now_s += 1.0;
            self.wall = self.wall.plus_s(1.0);
            snapshot = Some(self.engine.tick(self.stamp()));
        }
        snapshot.unwrap()
    }

    fn ask(&mut self, ask: &super::Command) -> Result<(), super::Refusal> {
        let at = self.stamp();
        self.engine.ask(ask, at)
    }
}

fn stamp_at(now_s: f64, wall: Wall) -> Stamp {
    Stamp { mono: Mono::at_s(now_s), wall, trust: Trust::Synchronised, utc_offset_s: 7200 }
}

fn setup() -> Setup {
    let facts = BoardFacts {
        model: Some(String::from("Raspberry Pi 4 Model B Rev 1.4")),
        kind: Some(BoardKind::FourB),
        ..BoardFacts::default()
    };
    Setup { station: String::from("Heron"), facts: Arc::new(facts), ..Setup::default() }
}

fn blue_ten() -> BankSpec {
    BankSpec { name: String::from("Blue ten"), ..BankSpec::common()[0].clone() }
}

fn board() -> BoardReading {
    BoardReading {
        cpu_busy: Ok(Share::nearest(0.2)),
        temp: Ok(Celsius::of(48.0)),
        undervoltage: Ok(false),
        flags: Ok(crate::reading::Flags::default()),
        ..BoardReading::UNKNOWN
    }
}

fn report(role: Role, state: SourceState) -> SourceReport {
    SourceReport {
        id: String::from("hwmon:ina226@1-0040"),
        title: String::from("INA226 power monitor at 0x40 on bus 1"),
        via: Via::Hwmon,
        role,
        state,
        shunt: None,
        notes: Vec::new(),
    }
}

/// A sweep of a board without any power sensor.
fn bare() -> Sweep {
    Sweep {
        at: Mono::BOOT,
        supplies: Vec::new(),
        gauges: Vec::new(),
        board: board(),
        clock_synchronised: Ok(true),
        programs: Arc::from([]),
        sources: Arc::from([]),
    }
}

/// A sweep with one sensor that sees the bank.
fn measured(volts: f64, amps: f64) -> Sweep {
    let (volts, amps) = (Volts::of(volts), Amps::of(amps));
    let reading = SupplyReading {
        source: SourceIx(0),
        volts: Ok(volts),
        amps: Ok(amps),
        watts: Ok(volts * amps),
        counted: None,
        looks: 1,
        at_least: None,
    };
    Sweep {
        supplies: vec![reading],
        sources: Arc::from([report(Role::Bank, SourceState::Live)]),
        ..bare()
    }
}

/// The same sensor, not answering.
fn silent(gap: Gap) -> Sweep {
    let reading = SupplyReading {
        source: SourceIx(0),
        volts: Err(gap),
        amps: Err(gap),
        watts: Err(gap),
        counted: None,
        looks: 0,
        at_least: None,
    };
    let state = SourceState::Silent { since: Mono::BOOT, gap };
    Sweep { supplies: vec![reading], sources: Arc::from([report(Role::Bank, state)]), ..bare() }
}

/// The same sensor, vanished: its report stays, its reading does not.
fn vanished() -> Sweep {
    Sweep { supplies: Vec::new(), ..silent(Gap::Gone) }
}

/// A fuel gauge of the bq27441 kind: 3.842 V, 1.704 Ah of 2.4 Ah left.
fn gauge(flow: Flow, amps: f64) -> Sweep {
    let reading = GaugeReading {
        source: SourceIx(0),
        volts: Ok(Volts::of(3.842)),
        amps: Ok(Amps::of(amps)),
        level: Ok(Share::nearest(0.71)),
        energy_left: Ok(Joules::from_wh(1.704 * 3.842)),
        flow,
        temp: Ok(Celsius::of(25.4)),
    };
    Sweep {
        gauges: vec![reading],
        sources: Arc::from([report(Role::NotCounted, SourceState::Live)]),
        ..bare()
    }
}

fn lasts(snapshot: &Snapshot) -> Forecast {
    match &snapshot.outlook {
        Outlook::Lasts(forecast) => forecast.clone(),
        other => panic!("want a forecast, got {other:?}"),
    }
}

fn hours(forecast: &Forecast) -> [f64; 3] {
    forecast.remaining.map(|time| time.si() / 3600.0)
}

fn near(got: f64, want: f64, within: f64, what: &str) {
    assert!((got - want).abs() <= within, "{what}: got {got}, want {want} within {within}");
}

fn in_order(forecast: &Forecast) -> bool {
    let [low, middle, high] = forecast.remaining;
    low <= middle && middle <= high && low.si() >= 0.0
}

/// A sensor that sits where its owner has not told.
fn nowhere() -> BankSpec {
    BankSpec { measured_at: MeasuredAt::Nowhere, ..blue_ten() }
}

/// A draw as one value.
fn watts(snapshot: &Snapshot) -> f64 {
    snapshot.draw.now.map_or(f64::NAN, Watts::si)
}

/// How full a fresh bank is.
const FULL: Start = Start::Full;
