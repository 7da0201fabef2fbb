//! A made-up board and its day: receiving, contacts, at last more of them than the bank can take, and a
//! supply that sags under load. Touches no sensor. Every number is invented, and the same second
//! always brings the same numbers.

pub(crate) mod before;
pub(crate) mod day;
pub(crate) mod steering;

use std::{
    sync::{Arc, LazyLock},
    time::Duration,
};

use reckon::{
    bank::{BankSpec, Cells, MeasuredAt},
    draw::BoardKind,
    engine::{ActivityRule, Command, ProgramBusy, Setup, Start},
    power_off::PowerOffWants,
    reading::{
        BoardFacts, BoardReading, Flags, Gap, Program, Role, SourceIx, SourceReport, SourceState,
        Strain, SupplyReading, Sweep, Via,
    },
    snapshot::DemoShown,
    time::{Mono, Wall},
    units::{AmpHours, Amps, Celsius, Hertz, Share, Volts, Watts},
};

use crate::host::clock::HandClock;

/// Age of the made-up boot when the demonstration begins.
const BEGINS: Mono = Mono::since_boot(Duration::from_mins(2));
/// One of our made-up mornings: 2026-05-16 07:30:00 UTC.
const MORNING: Wall = Wall::from_unix_ms(1_778_916_600_000);
const DAY_S: f64 = 86_400.0;

/// The outing.
struct Outing {
    name: &'static str,
    bank: BankSpec,
    /// What the bank really holds, at the sensor.
    holds_wh: f64,
    /// Volts at the sensor without load.
    open_v: f64,
    /// Ohms of bank and lead.
    sag_ohm: f64,
    /// Air around the board.
    air_c: f64,
    /// How long the operator means to stay.
    stays: Duration,
}

fn bank(name: &str, cells: Cells, series: u8, ah: f64, volts: f64, at: MeasuredAt) -> BankSpec {
    BankSpec {
        name: name.to_owned(),
        cells,
        series,
        label: AmpHours::of(ah),
        label_volts: Volts::of(volts),
        measured_at: at,
        ambient: Some(Celsius::of(18.0)),
        cutoff: None,
    }
}

fn outing() -> Outing {
    Outing {
        name: "Ridge above the reservoir",
        bank: bank("Blue ten", Cells::LiIon, 1, 10.0, 3.7, MeasuredAt::Output),
        holds_wh: 26.0,
        open_v: 5.14,
        sag_ohm: 0.22,
        air_c: 18.0,
        stays: Duration::from_mins(6 * 60 + 30),
    }
}

fn other_bank() -> BankSpec {
    bank("Long six", Cells::LiFePo4, 4, 6.0, 12.8, MeasuredAt::Cells)
}

/// The clock of the board on the morning of so many days later.
pub(crate) fn clock(days: u32) -> HandClock {
    HandClock::at(BEGINS, MORNING.plus_s(f64::from(days) * DAY_S))
}

/// The made-up board.
pub(crate) fn facts() -> BoardFacts {
    BoardFacts {
        model: Some("Raspberry Pi 4 Model B Rev 1.4 (made up)".to_owned()),
        kind: Some(BoardKind::FourB),
        cores: Some(4),
        memory_mib: Some(2048),
        has_rtc: false,
        leds: vec!["ACT".to_owned(), "PWR".to_owned()],
        notes: vec!["This is a demonstration: no sensor is read.".to_owned()],
        ..BoardFacts::default()
    }
}

/// What the engine is told.
pub(crate) fn setup(facts: BoardFacts) -> Setup {
    let bank = outing().bank;
    Setup {
        station: "Heron".to_owned(),
        bank: Some(bank.clone()),
        start: Start::Full,
        bank_choices: vec![bank, other_bank()],
        activities: ["receive", "contacts", "logging", "idle"].map(str::to_owned).to_vec(),
        activity_rules: vec![rule("logging", "logbook", 0.2), rule("receive", "decoder", 0.5)],
        facts: Arc::new(facts),
        demo: Some(DemoShown::default()),
        // Its request goes where nobody looks.
        power_off: PowerOffWants { unit: true, ..PowerOffWants::default() },
        ..Setup::default()
    }
}

/// The operator taps for contacts only, and leaves the rest to the rules.
fn wish(doing: &str) -> Command {
    match doing {
        "contacts" => Command::Activity { name: Some(doing.to_owned()) },
        _ => Command::ActivityAuto,
    }
}

fn rule(activity: &str, word: &str, cores_busy: f64) -> ActivityRule {
    let program = Some(ProgramBusy { word: word.to_owned(), cores_busy });
    ActivityRule { activity: activity.to_owned(), program, time: None }
}

/// What the operator and the board are doing in one second.
struct Scene {
    doing: &'static str,
    /// Share of all cores.
    busy: f64,
    /// Watts besides the processor's work.
    base_w: f64,
}

/// Till then a worn lead lets the supply give way for some seconds of each hour, s.
const MENDED_AFTER_S: u32 = 7200;
/// From then on contacts follow each other without a pause, minutes: everybody calls.
const EVERYBODY_CALLS: u32 = 190;

/// The day: set up, listen, work contacts, write the log, listen, work all who call.
fn scene(second: u32) -> Scene {
    let minute = second / 60;
    let busy = minute >= EVERYBODY_CALLS;
    // A timed mode with slots of 15 s: the decoder works in the last two seconds of each, and a
    // transmission takes 79 symbols of 0.160 s from half a second on (QEX Jul/Aug 2020). A contact
    // takes four minutes of every other slot, then two minutes are listened to.
    let (phase_s, slot) = (f64::from(second % 15), second / 15);
    let decodes = phase_s >= 13.0;
    let sends = slot % 2 == 1 && (busy || minute % 6 < 4);
    let key_down =
        if sends { ((phase_s + 1.0).min(13.14) - phase_s.max(0.5)).max(0.0) } else { 0.0 };
    match minute {
        0..8 => Scene { doing: "idle", busy: 0.12, base_w: 2.6 },
        8..50 | 80..EVERYBODY_CALLS => {
            Scene { doing: "receive", busy: if decodes { 0.82 } else { 0.16 }, base_w: 2.3 }
        }
        50..72 | EVERYBODY_CALLS.. => Scene {
            doing: "contacts",
            busy: if decodes && !sends { 0.85 } else { 0.2 },
            base_w: if busy { 3.2 } else { 2.9 } + 3.4 * key_down.min(1.0),
        },
        _ => Scene { doing: "logging", busy: 0.24, base_w: 3.1 },
    }
}

/// What a second of it takes from the bank.
fn delivered_wh(sweep: &Sweep) -> f64 {
    let watts = sweep.supplies.first().and_then(|supply| supply.watts.ok());
    watts.map_or(0.0, Watts::si) / 3600.0
}

/// Even between -1 and 1, the same for the same second and use.
fn ripple(second: u32, which: u32) -> f64 {
    let mut x = second.wrapping_mul(2_654_435_761).wrapping_add(which.wrapping_mul(40_503));
    x ^= x >> 15;
    x = x.wrapping_mul(2_246_822_519);
    x ^= x >> 13;
    f64::from(x) / f64::from(u32::MAX) * 2.0 - 1.0
}

fn sweep(outing: &Outing, now: &Scene, second: u32, at: Mono) -> Sweep {
    let watts = now.base_w + 2.4 * now.busy + 0.06 * ripple(second, 1);
    // Watts are what the board takes; volts and amps follow from supply and lead.
    let amps = watts / outing.open_v;
    let volts = outing.open_v - amps * outing.sag_ohm + 0.004 * ripple(second, 2);
    let (volts, amps) = (Volts::of(volts), Amps::of(amps));
    let low = second < MENDED_AFTER_S && (1800..1806).contains(&(second % 3600));
    let strain = Strain { undervoltage: low, ..Strain::default() };
    Sweep {
        at,
        supplies: vec![SupplyReading {
            source: SourceIx(0),
            volts: Ok(if low { Volts::of(4.58) } else { volts }),
            amps: Ok(amps),
            watts: Ok(volts * amps),
            counted: None,
            looks: 1,
            at_least: None,
        }],
        gauges: Vec::new(),
        board: BoardReading {
            cpu_busy: Ok(Share::nearest(now.busy + 0.02 * ripple(second, 3))),
            cpu_clock: Ok(Hertz::of(if now.busy > 0.3 { 1.5e9 } else { 0.6e9 })),
            temp: Ok(Celsius::of(outing.air_c + 22.0 + 14.0 * now.busy + 0.4 * ripple(second, 4))),
            undervoltage: Ok(low),
            flags: Ok(Flags { now: strain, lately: strain }),
            input_volts: Err(Gap::Absent),
            rails_at_least: Err(Gap::Absent),
        },
        clock_synchronised: Ok(true),
        programs: programs(now),
        sources: Arc::clone(&SOURCES),
    }
}

fn programs(now: &Scene) -> Arc<[Program]> {
    let program = |name: &str, cores_busy| Program { name: name.to_owned(), cores_busy };
    Arc::from([
        // Over the last minute, as the list of a real board has it.
        program("decoder", if matches!(now.doing, "receive" | "contacts") { 0.9 } else { 0.02 }),
        program("receiver", 0.3),
        program("logbook", if now.doing == "logging" { 0.4 } else { 0.05 }),
    ])
}

static SOURCES: LazyLock<Arc<[SourceReport]>> = LazyLock::new(|| {
    let source = |id: &str, title: &str, role, note: &str| SourceReport {
        id: id.to_owned(),
        title: title.to_owned(),
        via: Via::Invented,
        role,
        state: SourceState::Live,
        shunt: None,
        notes: vec![note.to_owned()],
    };
    let made_up = "Made up for the demonstration; nothing is read.";
    Arc::from([
        source("demo:lead", "Made-up sensor in the bank's lead", Role::Bank, made_up),
        source("demo:board", "Made-up board", Role::NotCounted, made_up),
    ])
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_second_brings_the_same_numbers() {
        let outing = &outing();
        let take = |second| sweep(outing, &scene(second), second, Mono::at_s(f64::from(second)));
        for second in [0, 1799, 1803, 4000, 86_400] {
            let (one, two) = (take(second), take(second));
            assert_eq!(one.supplies, two.supplies);
            assert_eq!(one.board, two.board);
        }
        assert_eq!(take(1803).board.undervoltage, Ok(true));
    }

    #[test]
    fn its_outing_comes_apart_and_rules_choose() {
        let hand = clock(0);
        let clock = crate::host::clock::Clock::by_hand(hand.clone());
        clock.was_synchronised();
        let mut engine = reckon::engine::Engine::new(setup(facts()), clock.stamp());
        let outing = outing();
        let (mut doing, mut sent, mut load) = ("", None, None);
        let mut chosen = std::collections::BTreeSet::new();
        for second in 0..9000 {
            hand.forward(Duration::from_secs(1));
            let now = scene(second);
            if now.doing != doing {
                doing = now.doing;
                engine.ask(&wish(doing), clock.stamp()).unwrap();
            }
            let sweep = sweep(&outing, &now, second, clock.mono());
            let snapshot = engine.observe(&sweep, clock.stamp());
            let current = snapshot.activities.iter().find(|one| one.current);
            chosen.extend(current.map(|one| (one.name.clone(), snapshot.activity_auto)));
            let part = |kind| snapshot.fold.as_ref().and_then(|one| one.fold.part(kind).copied());
            sent = sent.or_else(|| part(reckon::fold::Kind::Transmit));
            load = snapshot.load;
        }
        let sent = sent.expect("transmissions are found");
        // 3.4 W and 2.4 W at the board, a little less where the sensor sits.
        assert!((2.9..3.4).contains(&sent.watts.si()), "{sent:?}");
        assert!((sent.lasts_s - 12.64).abs() < 0.3, "{sent:?}");
        let load = load.expect("what load takes is found");
        assert!((2.1..2.4).contains(&load.slope), "{load:?}");
        let told = |name: &str, by| chosen.contains(&(name.to_owned(), Some(by)));
        assert!(
            told("receive", true) && told("logging", true) && told("contacts", false),
            "{chosen:?}"
        );
    }

    #[test]
    fn banks_are_plausible_and_hold_less_than_their_labels() {
        let outing = outing();
        assert_eq!((outing.bank.faults(), other_bank().faults()), (vec![], vec![]));
        assert!(outing.holds_wh < outing.bank.label_energy().wh());
    }

    #[test]
    fn ripple_is_even_and_bounded() {
        let all: Vec<f64> = (0..10_000).map(|s| ripple(s, 1)).collect();
        let mean = all.iter().sum::<f64>() / 10_000.0;
        assert!(all.iter().all(|x| x.abs() <= 1.0) && mean.abs() < 0.03, "{mean}");
    }
}
