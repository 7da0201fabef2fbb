//! What one turn of the engine costs: an hour at one sweep a second, with a bank, a finish, an
//! activity and one sensor. Run it with `cargo run --release -p reckon --example turn_cost`.

use std::{sync::Arc, time::Duration, time::Instant};

use reckon::{
    bank::BankSpec,
    draw::BoardKind,
    engine::{Command, Engine, Setup},
    reading::{
        BoardFacts, BoardReading, Flags, Role, SourceIx, SourceReport, SourceState, SupplyReading,
        Sweep, Via,
    },
    time::{Mono, Stamp, Trust, Wall},
    units::{Amps, Celsius, Share, Volts},
};

const HOUR: u32 = 3600;

fn main() {
    let facts = BoardFacts { kind: Some(BoardKind::FourB), ..BoardFacts::default() };
    let setup = Setup {
        station: "Heron".into(),
        bank: BankSpec::common().into_iter().next(),
        facts: Arc::new(facts),
        ..Setup::default()
    };
    let mut engine = Engine::new(setup, stamp(0));
    let asks = [
        Command::Finish { after: Some(Duration::from_secs(4 * 3600)) },
        Command::Activity { name: Some("Contacts".into()) },
    ];
    for ask in &asks {
        if let Err(refused) = engine.ask(ask, stamp(0)) {
            println!("refused: {}", reckon::words::refusal(&refused));
        }
    }
    let sources: Arc<[SourceReport]> = Arc::from([sensor()]);
    let mut turns: Vec<Duration> = Vec::new();
    let mut last = engine.tick(stamp(0));
    for second in 1..=HOUR {
        let sweep = sweep(second, Arc::clone(&sources));
        let began = Instant::now();
        last = engine.observe(&sweep, stamp(second));
        turns.push(began.elapsed());
    }
    turns.sort_unstable();
    let sum: Duration = turns.iter().sum();
    let micros = |span: Duration| span.as_secs_f64() * 1e6;
    println!("{}", reckon::words::status(&last));
    println!(
        "{HOUR} turns: mean {:.1} µs, median {:.1} µs, 99 % {:.1} µs, longest {:.1} µs",
        micros(sum) / f64::from(HOUR),
        micros(turns[turns.len() / 2]),
        micros(turns[turns.len() * 99 / 100]),
        micros(turns[turns.len() - 1]),
    );
}

fn stamp(second: u32) -> Stamp {
    Stamp {
        mono: Mono::at_s(f64::from(second)),
        wall: Wall::from_unix_ms(1_718_452_800_000 + i64::from(second) * 1000),
        trust: Trust::Synchronised,
        utc_offset_s: 7200,
    }
}

fn sensor() -> SourceReport {
    SourceReport {
        id: "hwmon:ina226@1-0040".into(),
        title: "INA226 power monitor at 0x40 on bus 1".into(),
        via: Via::Hwmon,
        role: Role::Bank,
        state: SourceState::Live,
        shunt: None,
        notes: Vec::new(),
    }
}

fn sweep(second: u32, sources: Arc<[SourceReport]>) -> Sweep {
    // Every second quarter of a minute on the air, and a little noise from the second itself.
    let sending = second % 30 < 13;
    let noise = f64::from(second.wrapping_mul(2_654_435_761) >> 16) / 65_536.0 * 0.05;
    let amps = Amps::of(0.7 + noise + if sending { 0.9 } else { 0.0 });
    let volts = Volts::of(5.05);
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
        at: Mono::at_s(f64::from(second)),
        supplies: vec![reading],
        gauges: Vec::new(),
        board: BoardReading {
            cpu_busy: Ok(Share::nearest(0.2)),
            temp: Ok(Celsius::of(48.0)),
            undervoltage: Ok(false),
            flags: Ok(Flags::default()),
            ..BoardReading::UNKNOWN
        },
        clock_synchronised: Ok(true),
        programs: Arc::from([]),
        sources,
    }
}
