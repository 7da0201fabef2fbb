//! Ten outings of one bank with the clean power-off and nobody at the board, through the whole engine:
//! how much was truly left when it was switched off, how often it died instead, and what is believed
//! after each. A simulation of our own: an even board with a slow wander, a bank that repeats within
//! two hundredths. Whoever includes this may print the tables (`examples/unattended.rs`).

use std::sync::Arc;

use reckon::{
    bank::{BankSpec, Cells, MeasuredAt},
    engine::{Command, Engine, Setup, Start},
    estimator::{Estimator, Learned, LoadPrior, Observation},
    power_off::{Order, PowerOff, PowerOffAsk, PowerOffWants},
    reading::{
        BoardReading, Gap, Role, SourceIx, SourceReport, SourceState, SupplyReading, Sweep, Via,
    },
    record::RunDown,
    time::{Mono, Stamp, Trust, Wall},
    units::{AmpHours, Amps, Share, Volts, Watts},
};

/// Outings in a row.
pub(crate) const OUTINGS: usize = 10;
/// One step of the engine, s; sweeps further apart than three seconds would be gaps.
const STEP_S: f64 = 3.0;
/// Printed draw of the board, W: idle and at full work.
const BOARD_W: (f64, f64) = (1.6, 4.0);
/// How far the bank's outings differ from their mean.
const REPEATS: [f64; OUTINGS] =
    [0.0, 0.012, -0.018, 0.006, -0.008, 0.02, -0.012, 0.004, -0.02, 0.015];

/// Who is there, and what breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Case {
    /// Nobody is there.
    Nobody,
    /// Somebody taps 'switch off now' as soon as the page says that the bank may end any minute.
    TapsAtOnce,
    /// Nobody is there, and the sensor falls silent half a minute into a countdown.
    SensorDies,
}

/// How one outing went.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Went {
    /// Cut out, rather than switched off.
    pub(crate) died: bool,
    /// Hours that were truly left then.
    pub(crate) left_h: f64,
    /// Energy that was delivered, Wh.
    pub(crate) delivered_wh: f64,
    /// Usable energy as believed afterwards, Wh: 10 %, 50 %, 90 %.
    pub(crate) believed_wh: [f64; 3],
    /// Whether the sensor was silent at the end.
    pub(crate) silent: bool,
}

fn bank() -> BankSpec {
    BankSpec {
        name: "Blue ten".to_owned(),
        cells: Cells::LiIon,
        series: 1,
        label: AmpHours::of(10.0),
        label_volts: Volts::of(3.7),
        measured_at: MeasuredAt::Output,
        ambient: None,
        cutoff: None,
    }
}

/// A board at rest with a slow wander and, for ten minutes an hour, something to do, W.
fn draw_w(at_s: f64, outing: usize) -> f64 {
    let turn = at_s / 4700.0 + outing as f64;
    let busy = if (at_s + 600.0 * outing as f64) % 3600.0 < 600.0 { 0.6 } else { 0.0 };
    2.4 + 0.25 * turn.sin() + busy
}

fn stamp(at_s: f64) -> Stamp {
    let wall = Wall::from_unix_ms(1_718_452_800_000).plus_s(at_s);
    Stamp { mono: Mono::at_s(at_s), wall, trust: Trust::Synchronised, utc_offset_s: 0 }
}

fn sources() -> Arc<[SourceReport]> {
    Arc::from([SourceReport {
        id: "hwmon:ina226@1-0040".to_owned(),
        title: "INA226".to_owned(),
        via: Via::Hwmon,
        role: Role::Bank,
        state: SourceState::Live,
        shunt: None,
        notes: Vec::new(),
    }])
}

fn sweep(at_s: f64, watts: Option<f64>, sources: &Arc<[SourceReport]>) -> Sweep {
    let read = |value: Option<f64>| value.ok_or(Gap::NoAnswer);
    Sweep {
        at: Mono::at_s(at_s),
        supplies: vec![SupplyReading {
            source: SourceIx(0),
            volts: read(watts.map(|_| 5.0)).map(Volts::of),
            amps: read(watts.map(|watts| watts / 5.0)).map(Amps::of),
            watts: read(watts).map(Watts::of),
            counted: None,
            looks: 1,
            at_least: None,
        }],
        gauges: Vec::new(),
        board: BoardReading { cpu_busy: Ok(Share::nearest(0.2)), ..BoardReading::UNKNOWN },
        clock_synchronised: Ok(true),
        programs: Arc::from([]),
        sources: Arc::clone(sources),
    }
}

fn engine(learned: &Learned) -> Engine {
    let (idle, full) = BOARD_W;
    let setup = Setup {
        bank: Some(bank()),
        start: Start::Full,
        board_draw: Some((Watts::of(idle), Watts::of(full))),
        learned: learned.clone(),
        power_off: PowerOffWants { unit: true, ..PowerOffWants::default() },
        ..Setup::default()
    };
    Engine::new(setup, stamp(0.0))
}

/// As the record teaches it afterwards: an estimator of its own that knows nothing of the bank.
fn recorder() -> Estimator {
    Estimator::new(&bank(), &load(), &Learned::default(), Start::Full)
}

fn load() -> LoadPrior {
    LoadPrior { idle_w: Some(BOARD_W.0), full_w: Some(BOARD_W.1), ..LoadPrior::default() }
}

fn believed(learned: &Learned) -> [f64; 3] {
    let mut estimator = Estimator::new(&bank(), &load(), learned, Start::Full);
    estimator.step(&Observation { dt_s: 1.0, watts: Some(2.5), ..Observation::default() });
    estimator.usable_wh().expect("a bank with a label is believed to hold something")
}

/// What is believed before anything was seen, Wh; printed above the tables.
#[allow(dead_code, reason = "the tests look at what is believed afterwards")]
#[must_use]
pub(crate) fn believed_first() -> [f64; 3] {
    believed(&Learned::default())
}

/// Plays ten outings of a bank that truly holds about `true_wh`.
#[must_use]
pub(crate) fn play(true_wh: f64, case: Case) -> Vec<Went> {
    let mut runs: Vec<RunDown> = Vec::new();
    let mut all = Vec::new();
    for (outing, repeat) in REPEATS.iter().enumerate() {
        let learned = Learned::from_rundowns(&bank(), runs.iter().cloned());
        let (went, run) = play_one(outing, true_wh * (1.0 + repeat), &learned, case);
        runs.push(run);
        let learned = Learned::from_rundowns(&bank(), runs.iter().cloned());
        all.push(Went { believed_wh: believed(&learned), ..went });
    }
    all
}

fn play_one(outing: usize, holds_wh: f64, learned: &Learned, case: Case) -> (Went, RunDown) {
    let (mut engine, mut recorder, sources) = (engine(learned), recorder(), sources());
    let (mut at_s, mut used_wh, mut dies_at_s) = (0.0, 0.0, f64::INFINITY);
    let mut off = false;
    while used_wh < holds_wh && !off {
        at_s += STEP_S;
        let watts = draw_w(at_s, outing);
        used_wh += watts * STEP_S / 3600.0;
        let read = (at_s < dies_at_s).then_some(watts);
        recorder.step(&Observation { dt_s: STEP_S, watts: read, ..Observation::default() });
        let snapshot = engine.observe(&sweep(at_s, read, &sources), stamp(at_s));
        let unsure = matches!(snapshot.power_off, PowerOff::Unsure { .. });
        if unsure && case == Case::TapsAtOnce {
            engine
                .ask(&Command::PowerOff(PowerOffAsk::Now), stamp(at_s))
                .expect("one tap switches off");
        }
        for order in engine.orders() {
            match order {
                Order::Announce { .. } if case == Case::SensorDies => dies_at_s = at_s + 30.0,
                Order::Announce { .. } | Order::CallOff(_) => {}
                Order::Save => engine.note_saved(stamp(at_s)),
                Order::SwitchOff => off = true,
            }
        }
        off |= engine.orders().contains(&Order::SwitchOff);
    }
    let left_wh = (holds_wh - used_wh).max(0.0);
    let went = Went {
        died: !off,
        left_h: left_wh / 2.5,
        delivered_wh: used_wh,
        believed_wh: [0.0; 3],
        silent: at_s >= dies_at_s,
    };
    (went, recorder.close(!off))
}
