//! Scenes for golden pages, tests and the example that shows them: our own invented station.

use std::{sync::Arc, time::Duration};

use reckon::{
    bank::{BankSpec, Cells, MeasuredAt},
    belief::{Answer, Away, Question, QuestionView, Standing, Story, last_end::HowEnded},
    draw::BoardKind,
    energy_tally::RegressionLine,
    engine::Start,
    fold::{Beat, Reads, fold},
    forecast::{Forecast, Outlook},
    power_off::PowerOff,
    reading::{
        BoardFacts, BoardReading, Flags, Flow, Gap, GaugeReading, Program, Role, Shunt, SourceIx,
        SourceReport, SourceState, Strain, SupplyReading, Via,
    },
    snapshot::{
        About, ActivityView, Alarm, BankChanged, BankView, Basis, DemoShown, Draw, DrawHistory,
        EndedAlarm, FinishAdvice, FinishView, Folded, Footprint, LogState, Possibility, Since,
        Snapshot, Supply, Switched, Verdict,
    },
    time::{Mono, Stamp, Trust, Wall},
    units::{AmpHours, Amps, Celsius, Hertz, Joules, Ohms, Seconds, Share, Volts, Watts},
};

/// The names of all scenes.
pub(crate) const ALL: [&str; 17] = [
    "fine",
    "alarm",
    "gauge",
    "no_bank",
    "too_soon",
    "expected",
    "unsure",
    "blind",
    "not_draining",
    "no_sensor",
    "no_clock",
    "demo",
    "asked",
    "swapped",
    "held",
    "bank_changed",
    "how_full",
];

/// Boot time of every scene.
const NOW_S: f64 = 11_400.0;
/// When the outing began, boot time.
const BEGAN_S: f64 = 600.0;

pub(crate) fn blue_ten() -> BankSpec {
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

pub(crate) fn long_six() -> BankSpec {
    BankSpec {
        name: "Long six".to_owned(),
        cells: Cells::LiFePo4,
        series: 4,
        label: AmpHours::of(6.0),
        label_volts: Volts::of(12.8),
        measured_at: MeasuredAt::Cells,
        ambient: Some(Celsius::of(12.0)),
        cutoff: Some(Volts::of(10.0)),
    }
}

fn hours(h: f64) -> Seconds {
    Seconds::of(h * 3600.0)
}

fn activity(name: &str, current: bool, watts: f64, h: [f64; 3]) -> ActivityView {
    ActivityView {
        name: name.to_owned(),
        current,
        usual: Some(Watts::of(watts)),
        remaining: Some(h.map(hours)),
    }
}

fn trail() -> DrawHistory {
    let steps = 180;
    let mean = |k: u32| -> Option<f32> {
        let k = f64::from(k);
        let calm = 2.9 + 0.08 * (k / 5.0).sin();
        let busy = if (55.0..130.0).contains(&k) { 0.9 + 0.25 * (k * 1.9).sin() } else { 0.0 };
        #[expect(clippy::cast_possible_truncation, reason = "a figure of an invented scene")]
        Some((calm + busy) as f32)
    };
    let peak = |k: u32| {
        let sent = (55..130).contains(&k) && k.is_multiple_of(3);
        mean(k).map(|watts| if sent { watts + 1.6 } else { watts + 0.1 })
    };
    let gap = |k: &u32| !(150..153).contains(k);
    DrawHistory {
        began: Mono::at_s(BEGAN_S),
        step_s: 60,
        mean_w: (0..steps).map(|k| Some(k).filter(gap).and_then(mean)).collect(),
        peak_w: (0..steps).map(|k| Some(k).filter(gap).and_then(peak)).collect(),
        ticks: vec![Mono::at_s(BEGAN_S + 150.0 * 60.0)],
    }
}

fn sources() -> Vec<SourceReport> {
    let source = |id: &str, title: &str, via, role, notes: &[&str]| SourceReport {
        id: id.to_owned(),
        title: title.to_owned(),
        via,
        role,
        state: SourceState::Live,
        shunt: None,
        notes: notes.iter().map(|note| (*note).to_owned()).collect(),
    };
    let mut made = vec![
        source(
            "hwmon:ina226@1-0040",
            "INA226 power monitor at 0x40 on bus 1",
            Via::Hwmon,
            Role::Bank,
            &["Read through the kernel's driver."],
        ),
        source(
            "flags:rpi",
            "Undervoltage and throttling flags",
            Via::BoardFlags,
            Role::NotCounted,
            &[],
        ),
        source("thermal:cpu", "Processor temperature", Via::Thermal, Role::NotCounted, &[]),
    ];
    made[0].shunt =
        Some(Shunt { assumed: Some(Ohms::of(0.01)), told: Some(Ohms::of(0.1)), scale: 0.1 });
    made
}

fn facts() -> BoardFacts {
    BoardFacts {
        model: Some("Raspberry Pi 4 Model B Rev 1.4".to_owned()),
        kind: Some(BoardKind::FourB),
        cores: Some(4),
        memory_mib: Some(3792),
        input_limit: None,
        usb_held_low: None,
        has_rtc: false,
        leds: vec!["ACT".to_owned(), "PWR".to_owned()],
        kernel: Some("6.12.25".to_owned()),
        boot_id: None,
        notes: vec!["No fuel gauge was found.".to_owned()],
    }
}

fn fine() -> Snapshot {
    let forecast = Forecast {
        remaining: [5.83, 6.67, 7.5].map(hours),
        basis: Basis::Measured,
        made_at: Mono::at_s(NOW_S),
    };
    let (volts, amps) = (Volts::of(5.08), Amps::of(0.807));
    let finish_s = NOW_S + 5.333 * 3600.0;
    Snapshot {
        at: Stamp {
            mono: Mono::at_s(NOW_S),
            // 2026-05-09 09:40:00 UTC.
            wall: Wall::from_unix_ms(1_778_319_600_000),
            trust: Trust::Synchronised,
            utc_offset_s: 7200,
        },
        station: "Heron".to_owned(),
        outing: Some("Ridge above the reservoir".to_owned()),
        outing_began: Mono::at_s(BEGAN_S),
        supply: Supply {
            volts: Ok(volts),
            current: Ok(amps),
            power: Ok(volts * amps),
            source: Some(SourceIx(0)),
            at_least: None,
        },
        draw: Draw {
            now: Some(Watts::of(4.1)),
            lately: Some(Watts::of(3.2)),
            outing: Some(Watts::of(3.15)),
            basis: Basis::Measured,
        },
        bank: BankView {
            spec: Some(Arc::new(blue_ten())),
            delivered: Joules::from_wh(9.4),
            bridged: Joules::from_wh(0.1),
            over_range: Joules::ZERO,
            counted: Seconds::of(NOW_S - BEGAN_S),
            usable: Some([27.5, 30.2, 32.8].map(Joules::from_wh)),
            learned_from: 2,
            start: Start::Full,
            changed: None,
            away: None,
            since: None,
            last_ended: None,
        },
        bank_choices: Arc::from(vec![blue_ten(), long_six()]),
        outlook: Outlook::Lasts(forecast),
        possibilities: Vec::new(),
        questions: Vec::new(),
        goes_on: None,
        plan: None,
        finish: Some(FinishView {
            at: Mono::at_s(finish_s),
            chance: Share::new(0.96),
            verdict: Some(Verdict::Enough),
            spare: Some(hours(1.333)),
        }),
        activities: vec![
            activity("Receive", false, 2.3, [8.1, 9.2, 10.3]),
            activity("Contacts", true, 3.6, [5.1, 5.8, 6.6]),
            activity("Logging", false, 2.5, [7.7, 8.7, 9.7]),
            activity("Idle", false, 1.9, [9.8, 11.0, 12.3]),
        ],
        activity_auto: Some(false),
        advice: None,
        alarms: Vec::new(),
        ended_alarms: Vec::new(),
        power_off: PowerOff::Watching { limit: Duration::from_secs(300) },
        board: BoardReading {
            cpu_busy: Ok(Share::nearest(0.23)),
            cpu_clock: Ok(Hertz::of(1.5e9)),
            temp: Ok(Celsius::of(51.2)),
            undervoltage: Ok(false),
            flags: Ok(Flags::default()),
            input_volts: Err(Gap::NotMeasurable),
            rails_at_least: Err(Gap::Absent),
        },
        undervoltage_times: 0,
        flags_seen: Strain::default(),
        facts: Arc::new(facts()),
        supplies: vec![SupplyReading {
            source: SourceIx(0),
            volts: Ok(volts),
            amps: Ok(amps),
            watts: Ok(volts * amps),
            counted: None,
            looks: 1,
            at_least: None,
        }],
        gauges: Vec::new(),
        programs: Arc::from(vec![Program { name: "decoder".to_owned(), cores_busy: 0.6 }]),
        sources: Arc::from(sources()),
        draw_history: Arc::new(trail()),
        fold: Some(Arc::new(folded())),
        load: Some(RegressionLine {
            intercept: 2.42,
            slope: 3.0,
            slope_se: 0.06,
            intercept_se: 0.02,
            explained: Share::nearest(0.94),
            pairs: 170.0,
        }),
        own_draw: Some((Watts::of(0.0015), Watts::of(0.000_03))),
        switched: Some(Arc::new(Switched {
            mark: "fan on".to_owned(),
            at: Mono::at_s(NOW_S - 300.0),
            difference: Watts::of(0.62),
            error: Watts::of(0.025),
        })),
        unkept: None,
        log: LogState::Kept { last: Mono::at_s(NOW_S - 12.0) },
        missed_sweeps: 0,
        footprint: Footprint {
            cpu_share: Some(0.002),
            resident_kib: Some(5300),
            wakeups_per_s: Some(1.1),
        },
        demo: None,
    }
}

/// Forty minutes of a timed mode of 15 s: 12.64 s of carrier in every other slot of some contacts,
/// decoding at the end of each received one.
fn folded() -> Folded {
    let from_s = NOW_S - 2400.0;
    let beats = (0..2400_u32).map(|k| {
        let (phase, slot) = (f64::from(k % 15), k / 15);
        let sent = slot % 2 == 0 && slot / 12 % 2 == 0;
        let on = (13.3_f64.min(phase + 1.0) - 0.66_f64.max(phase)).clamp(0.0, 1.0);
        let decodes = if !sent && k % 15 >= 13 { 1.7 } else { 0.0 };
        let ripple = 0.03 * (f64::from(k) * 1.7).sin();
        let watts = 2.9 + ripple + if sent { 3.4 * on } else { decodes };
        Beat { at_s: from_s + f64::from(k) + 1.0, watts }
    });
    let fold = fold(beats, Reads::SecondMeans).expect("a period stands out");
    Folded {
        from: Mono::at_s(from_s + 1.0),
        to: Mono::at_s(NOW_S),
        doing: Some("Contacts".to_owned()),
        fold,
    }
}

fn alarm() -> Snapshot {
    let mut made = fine();
    made.alarms = vec![
        Alarm {
            about: About::Undervoltage { times: 3 },
            since: Mono::at_s(NOW_S - 240.125),
            asleep_until: None,
        },
        Alarm {
            about: About::RunningOut { limit_min: 120 },
            since: Mono::at_s(NOW_S - 60.0),
            asleep_until: Some(Mono::at_s(NOW_S + 1800.0)),
        },
    ];
    made.ended_alarms = vec![EndedAlarm {
        about: About::Hot,
        ended: Mono::at_s(NOW_S - 1500.0),
        lasted: Duration::from_secs(420),
    }];
    made.advice = Some(FinishAdvice {
        activity: Some("Receive".to_owned()),
        draw: Some(Watts::of(3.2)),
        at_most: Some(Watts::of(2.6)),
        safe_until: Mono::at_s(NOW_S + 5.0 * 3600.0),
    });
    made.power_off =
        PowerOff::Counting { since: Mono::at_s(NOW_S - 30.0), until: Mono::at_s(NOW_S + 90.0) };
    made.undervoltage_times = 3;
    made.flags_seen = Strain { undervoltage: true, ..Strain::default() };
    made.finish = Some(FinishView {
        at: Mono::at_s(NOW_S + 6.333 * 3600.0),
        chance: Share::new(0.66),
        verdict: Some(Verdict::Tight),
        spare: Some(hours(0.333)),
    });
    made
}

fn no_bank() -> Snapshot {
    let mut made = fine();
    made.bank.spec = None;
    made.bank.usable = None;
    made.bank.learned_from = 0;
    made.outing = None;
    made.outlook = Outlook::NoBank;
    made.finish = None;
    made.activity_auto = None;
    for activity in &mut made.activities {
        activity.remaining = None;
        activity.current = false;
    }
    made
}

/// The first seconds: a range from label and board alone.
fn expected() -> Snapshot {
    let mut made = too_soon();
    made.outlook = Outlook::Lasts(Forecast {
        remaining: [6.1, 8.9, 14.2].map(hours),
        basis: Basis::Expected,
        made_at: Mono::at_s(NOW_S),
    });
    made.bank.learned_from = 0;
    made
}

/// It may end now or in hours, and nobody has seen this bank run down.
fn unsure() -> Snapshot {
    let mut made = fine();
    made.outlook = Outlook::Lasts(Forecast {
        remaining: [0.05, 0.9, 2.4].map(hours),
        basis: Basis::Measured,
        made_at: Mono::at_s(NOW_S),
    });
    made.finish = None;
    made.bank.learned_from = 0;
    made.power_off = PowerOff::Unsure { since: Mono::at_s(NOW_S - 600.0) };
    made
}

fn too_soon() -> Snapshot {
    let mut made = fine();
    made.outlook = Outlook::TooSoon { wants: std::time::Duration::from_secs(230) };
    made.outing_began = Mono::at_s(NOW_S - 65.0);
    made.bank.counted = Seconds::of(65.0);
    made.draw_history = Arc::new(DrawHistory {
        began: Mono::at_s(NOW_S - 65.0),
        step_s: 60,
        mean_w: vec![Some(3.1), Some(3.2)],
        peak_w: vec![Some(3.3), Some(4.9)],
        ticks: Vec::new(),
    });
    made.bank.delivered = Joules::from_wh(0.06);
    (made.fold, made.load, made.own_draw, made.switched) = (None, None, None, None);
    for activity in &mut made.activities {
        activity.remaining = None;
    }
    if let Some(finish) = &mut made.finish {
        (finish.chance, finish.verdict, finish.spare) = (None, None, None);
    }
    made
}

fn blind() -> Snapshot {
    let mut made = fine();
    let since = Mono::at_s(NOW_S - 240.0);
    let Outlook::Lasts(last) = made.outlook else { unreachable!("the fine scene lasts") };
    made.outlook = Outlook::Blind { since, last: Some(Forecast { made_at: since, ..last }) };
    made.supply = Supply {
        volts: Err(Gap::NoAnswer),
        current: Err(Gap::NoAnswer),
        power: Err(Gap::NoAnswer),
        source: Some(SourceIx(0)),
        at_least: None,
    };
    made.draw.now = None;
    if let Some(finish) = &mut made.finish {
        (finish.chance, finish.verdict, finish.spare) = (None, None, None);
    }
    let mut sources = sources();
    sources[0].state = SourceState::Silent { since, gap: Gap::NoAnswer };
    made.sources = Arc::from(sources);
    made.supplies[0].volts = Err(Gap::NoAnswer);
    made.supplies[0].amps = Err(Gap::NoAnswer);
    made.supplies[0].watts = Err(Gap::NoAnswer);
    made.alarms = vec![Alarm {
        about: About::SensorSilent { source: SourceIx(0), gap: Gap::NoAnswer },
        since,
        asleep_until: None,
    }];
    made
}

fn not_draining() -> Snapshot {
    let mut made = fine();
    made.outlook = Outlook::NotDraining;
    made.supply.current = Ok(Amps::of(-0.4));
    made.supply.power = Ok(Watts::of(-2.03));
    made.draw.now = Some(Watts::of(-2.03));
    made.finish = None;
    for activity in &mut made.activities {
        activity.remaining = None;
    }
    made
}

fn no_sensor() -> Snapshot {
    let mut made = fine();
    made.supply = Supply {
        volts: Err(Gap::Absent),
        current: Err(Gap::Absent),
        power: Err(Gap::Absent),
        source: None,
        at_least: None,
    };
    made.supplies = Vec::new();
    (made.fold, made.load, made.own_draw, made.switched) = (None, None, None, None);
    made.draw.basis = Basis::Modelled;
    made.outlook = Outlook::Lasts(Forecast {
        remaining: [4.2, 6.9, 11.4].map(hours),
        basis: Basis::Modelled,
        made_at: Mono::at_s(NOW_S),
    });
    made.finish = Some(FinishView {
        at: Mono::at_s(NOW_S + 4.0 * 3600.0),
        chance: Share::new(0.92),
        verdict: Some(Verdict::Enough),
        spare: Some(hours(2.9)),
    });
    made.sources = Arc::from(sources().split_off(1));
    made.bank.learned_from = 0;
    made.bank.spec = Some(Arc::new(BankSpec { measured_at: MeasuredAt::Nowhere, ..blue_ten() }));
    made
}

fn gauge() -> Snapshot {
    let mut made = no_sensor();
    let mut sources = made.sources.to_vec();
    sources.push(SourceReport {
        id: "power_supply:bq27411-0".to_owned(),
        title: "Fuel gauge bq27411-0".to_owned(),
        via: Via::PowerSupply,
        role: Role::Bank,
        state: SourceState::Live,
        shunt: None,
        notes: Vec::new(),
    });
    // The scene without a sensor has two sources besides.
    let source = SourceIx(2);
    made.sources = Arc::from(sources);
    made.gauges = vec![GaugeReading {
        source,
        volts: Ok(Volts::of(3.82)),
        amps: Ok(Amps::of(0.61)),
        level: Ok(Share::nearest(0.58)),
        energy_left: Ok(Joules::from_wh(10.4)),
        flow: Flow::Draining,
        temp: Err(Gap::NotReady),
    }];
    made.draw.basis = Basis::Gauge;
    let Outlook::Lasts(forecast) = &mut made.outlook else { unreachable!("that scene lasts") };
    forecast.basis = Basis::Gauge;
    made
}

fn no_clock() -> Snapshot {
    let mut made = fine();
    made.at.trust = Trust::Unset;
    made.at.wall = Wall::from_unix_ms(3_000_000);
    made
}

fn question(
    question: Question,
    answers: &[Answer],
    answer: Option<Answer>,
    standing: Standing,
) -> QuestionView {
    QuestionView { question, answers: answers.to_vec(), answer, standing }
}

/// What may be answered on the time since the last outing.
pub(crate) const SINCE: [Answer; 3] = [Answer::GoesOn, Answer::Charged, Answer::Another];

fn possible(story: Story, weight: f64, h: [f64; 3]) -> Possibility {
    Possibility { story, weight: Share::nearest(weight), remaining: h.map(hours) }
}

/// The next morning: what a pack of 66.6 Wh had given in the cold was 50.7 Wh. At 4 W the 15.9 Wh
/// that are left last 4 h, and a full one 16 h 40.
fn asked() -> Snapshot {
    let mut made = fine();
    // 08:05 local time, five minutes after power-on.
    let now = Mono::at_s(300.0);
    made.at.mono = now;
    made.at.wall = Wall::from_unix_ms(1_778_306_700_000);
    made.outing_began = Mono::at_s(0.0);
    made.bank.counted = Seconds::of(300.0);
    made.outing = None;
    made.bank.spec = Some(Arc::new(long_six()));
    made.bank.delivered = Joules::from_wh(0.33);
    made.bank.bridged = Joules::ZERO;
    made.bank.usable = Some([58.7, 66.6, 74.4].map(Joules::from_wh));
    let since = Since {
        outing: Some(30),
        delivered: Joules::from_wh(50.7),
        off: Some(hours(9.333)),
        restarted: false,
        older: 0,
    };
    made.bank.since = Some(since);
    made.bank.last_ended = Some(HowEnded { outing: 30, died: 0.12, said: None });
    let forecast =
        Forecast { remaining: [2.0, 8.5, 18.6].map(hours), basis: Basis::Measured, made_at: now };
    made.outlook = Outlook::Lasts(forecast);
    made.possibilities = vec![
        possible(Story::GoesOn, 0.39, [2.0, 4.0, 5.9]),
        possible(Story::Charged, 0.49, [14.7, 16.667, 18.6]),
        possible(Story::AnyLevel, 0.12, [2.2, 8.3, 15.8]),
    ];
    made.questions = vec![
        question(Question::SinceLast, &SINCE, None, Standing::Open),
        question(Question::HowEnded, &[Answer::PlugPulled, Answer::RanEmpty], None, Standing::Open),
    ];
    made.finish = None;
    made.draw_history = Arc::new(DrawHistory {
        began: Mono::at_s(0.0),
        step_s: 60,
        mean_w: vec![Some(3.9), Some(4.1), Some(4.0), Some(4.0), Some(4.0)],
        peak_w: vec![Some(4.4), Some(4.3), Some(4.2), Some(4.1), Some(4.2)],
        ticks: Vec::new(),
    });
    (made.fold, made.load, made.own_draw, made.switched) = (None, None, None, None);
    made.activities = vec![
        activity("Receive", true, 4.0, [2.0, 8.5, 18.6]),
        activity("Contacts", false, 5.2, [1.6, 6.5, 14.3]),
        activity("Logging", false, 4.1, [1.9, 8.3, 18.1]),
        activity("Idle", false, 3.0, [2.7, 11.3, 24.8]),
    ];
    made
}

/// The supply was away for 40 s, ten minutes ago, and the board ran on.
fn swapped() -> Snapshot {
    let mut made = fine();
    made.bank.away = Some(Away {
        from: Mono::at_s(NOW_S - 640.0),
        to: Mono::at_s(NOW_S - 600.0),
        stepped: false,
    });
    made.possibilities = vec![
        possible(Story::Told, 0.5, [5.83, 6.67, 7.5]),
        possible(Story::Swapped, 0.5, [1.4, 5.1, 8.9]),
    ];
    if let Outlook::Lasts(forecast) = &mut made.outlook {
        forecast.remaining = [1.4, 6.0, 8.9].map(hours);
    }
    made.questions =
        vec![question(Question::Swapped, &[Answer::Same, Answer::Another], None, Standing::Open)];
    made.finish = made.finish.map(|finish| FinishView {
        chance: Share::new(0.45),
        verdict: Some(Verdict::Short),
        spare: Some(hours(-0.2)),
        ..finish
    });
    made
}

/// Answers that stand: one that was said, one that was taken for given, one from a short absence.
fn held() -> Snapshot {
    let mut made = fine();
    made.bank.since = Some(Since {
        outing: Some(30),
        delivered: Joules::from_wh(6.1),
        off: Some(Seconds::of(40.0)),
        restarted: false,
        older: 0,
    });
    made.bank.last_ended = Some(HowEnded { outing: 30, died: 0.12, said: Some(false) });
    made.bank.away = Some(Away {
        from: Mono::at_s(NOW_S - 1212.0),
        to: Mono::at_s(NOW_S - 1200.0),
        stepped: false,
    });
    made.questions = vec![
        question(
            Question::Swapped,
            &[Answer::Same, Answer::Another],
            Some(Answer::Same),
            Standing::Said,
        ),
        question(Question::SinceLast, &SINCE, Some(Answer::GoesOn), Standing::Inferred),
        question(
            Question::HowEnded,
            &[Answer::PlugPulled, Answer::RanEmpty],
            Some(Answer::PlugPulled),
            Standing::Said,
        ),
    ];
    made
}

/// Another bank was put to use two minutes ago.
fn bank_changed() -> Snapshot {
    let mut made = too_soon();
    made.bank.spec = Some(Arc::new(long_six()));
    made.bank.usable = Some([58.7, 66.6, 74.4].map(Joules::from_wh));
    made.bank.changed = Some(BankChanged {
        at: Mono::at_s(NOW_S - 120.0),
        until: Mono::at_s(NOW_S + 480.0),
        before: Some(Arc::new(blue_ten())),
    });
    made.questions =
        vec![question(Question::BankChanged, &[Answer::Undo], None, Standing::Inferred)];
    made
}

/// The lamps of a bank, fullest first.
pub(crate) fn lamps() -> Vec<Answer> {
    [1.0, 0.875, 0.625, 0.375, 0.125].map(|part| Answer::Level(Share::nearest(part))).into()
}

/// Charged in part, or another bank, as somebody has said: how full is not known.
fn how_full() -> Snapshot {
    let mut made = held();
    made.outlook = Outlook::Lasts(Forecast {
        remaining: [0.8, 3.9, 7.2].map(hours),
        basis: Basis::Measured,
        made_at: Mono::at_s(NOW_S),
    });
    made.bank.away = None;
    made.bank.start = Start::Unknown;
    made.questions = vec![
        question(Question::SinceLast, &SINCE, Some(Answer::Another), Standing::Said),
        question(Question::HowFull, &lamps(), None, Standing::Open),
    ];
    made.finish = made.finish.map(|finish| FinishView {
        chance: Share::new(0.3),
        verdict: Some(Verdict::Short),
        spare: Some(hours(-1.4)),
        ..finish
    });
    made
}

/// A scene by its name.
pub(crate) fn scene(name: &str) -> Option<Snapshot> {
    Some(match name {
        "asked" => asked(),
        "swapped" => swapped(),
        "held" => held(),
        "bank_changed" => bank_changed(),
        "how_full" => how_full(),
        "fine" => fine(),
        "alarm" => alarm(),
        "gauge" => gauge(),
        "no_bank" => no_bank(),
        "too_soon" => too_soon(),
        "expected" => expected(),
        "unsure" => unsure(),
        "blind" => blind(),
        "not_draining" => not_draining(),
        "no_sensor" => no_sensor(),
        "no_clock" => no_clock(),
        "demo" => Snapshot {
            demo: Some(DemoShown::default()),
            outing: Some("Old quarry, in the cold".to_owned()),
            activity_auto: Some(true),
            ..fine()
        },
        _ => return None,
    })
}
