//! The event loop on a clock that the test moves.

use std::{
    path::Path,
    sync::{
        Arc,
        atomic::{AtomicU32, Ordering},
        mpsc::{self, SyncSender},
    },
    time::{Duration, Instant},
};

use reckon::{
    engine::{Command, Engine, Refusal, Setup},
    power_off::{PowerOff, PowerOffWants},
    reading::{
        BoardReading, Gap, Role, SourceIx, SourceReport, SourceState, SupplyReading, Sweep, Via,
    },
    snapshot::Snapshot,
    time::{Mono, Stamp, Wall},
    units::{Amps, Volts, Watts},
};
use tokio::sync::{oneshot, watch};
use web::Request;

use crate::{
    event_loop::{
        alerts::Alerts,
        event::{Event, outlet},
        state::{EventLoop, RecordSession},
    },
    host::clock::{Clock, HandClock},
    record::{choices_file, worker::RecordWorker},
};

/// An event loop in a thread of the test's own, on a clock that the test moves.
struct Lab {
    hand: HandClock,
    clock: Clock,
    events: SyncSender<Event>,
    now: watch::Receiver<Arc<Snapshot>>,
    freed: Arc<AtomicU32>,
    folder: tempfile::TempDir,
    event_loop: std::thread::JoinHandle<()>,
}

fn lab() -> Lab {
    let hand = HandClock::at(Mono::at_s(100.0), Wall::from_unix_ms(0));
    let clock = Clock::by_hand(hand.clone());
    let engine = Engine::new(Setup::default(), clock.stamp());
    let (show, now) = watch::channel(engine.clone().tick(clock.stamp()));
    let (events, list) = mpsc::sync_channel(8);
    let (tasks, task_list) = mpsc::channel();
    let folder = tempfile::tempdir().unwrap();
    let worker = RecordWorker {
        folder: folder.path().to_owned(),
        writer: None,
        outlet: outlet(&events),
        log: crate::record::contact_log::ContactLog::default(),
        load: engine.load_prior(),
        now: now.clone(),
    };
    std::thread::spawn(move || worker.work(task_list));
    let freed = Arc::new(AtomicU32::new(0));
    let count = Arc::clone(&freed);
    let event_loop = EventLoop {
        tasks: Some(tasks),
        free: Box::new(move || count.fetch_add(1, Ordering::Relaxed) == 0),
        boot_id: Some("boot".to_owned()),
        ..EventLoop::new(engine, clock.clone(), list, show)
    };
    let event_loop = std::thread::spawn(move || event_loop.run());
    Lab { hand, clock, events, now, freed, folder, event_loop }
}

fn swept(at: Stamp) -> Event {
    let supply = SupplyReading {
        source: SourceIx(0),
        volts: Ok(Volts::of(5.0)),
        amps: Ok(Amps::of(0.8)),
        watts: Ok(Watts::of(4.0)),
        counted: None,
        looks: 1,
        at_least: None,
    };
    let report = SourceReport {
        id: "test".into(),
        title: "Test".into(),
        via: Via::Invented,
        role: Role::Bank,
        state: SourceState::Live,
        shunt: None,
        notes: Vec::new(),
    };
    let sweep = Sweep {
        at: at.mono,
        supplies: vec![supply],
        gauges: Vec::new(),
        board: BoardReading::UNKNOWN,
        clock_synchronised: Ok(false),
        programs: Arc::from([]),
        sources: Arc::from([report]),
    };
    Event::Sweep { sweep: Box::new(sweep), at, missed: 3 }
}

fn wait_for(now: &watch::Receiver<Arc<Snapshot>>, wanted: impl Fn(&Snapshot) -> bool) {
    let began = Instant::now();
    while !wanted(&now.borrow()) {
        assert!(began.elapsed() < Duration::from_secs(20), "{:#?}", now.borrow().supply);
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn when_no_sweep_comes_it_frees_the_sampling_and_says_that_the_figures_are_old() {
    let lab = lab();
    lab.events.send(swept(lab.clock.stamp())).unwrap();
    wait_for(&lab.now, |snapshot| snapshot.supply.power.is_ok() && snapshot.missed_sweeps == 3);
    assert_eq!(lab.freed.load(Ordering::Relaxed), 0);
    // The sampler hangs: time goes on and nothing comes.
    lab.hand.forward(Duration::from_secs(30));
    wait_for(&lab.now, |snapshot| snapshot.supply.power == Err(Gap::Late));
    assert!(lab.freed.load(Ordering::Relaxed) > 0);
    // And it goes on as soon as another one takes over.
    lab.hand.forward(Duration::from_secs(1));
    lab.events.send(swept(lab.clock.stamp())).unwrap();
    wait_for(&lab.now, |snapshot| snapshot.supply.power.is_ok());
    lab.events.send(Event::Stop).unwrap();
    lab.event_loop.join().unwrap();
}

/// Everything of the clean power-off but its last step: sweeps of a bank that runs empty go in,
/// a command saves, and the request lies in the runtime folder. What would answer it, the
/// service manager, is not there: `daemon/alert/tests/channels/switch.rs` plays its part.
#[test]
fn a_bank_that_runs_empty_ends_in_saving_then_in_a_request() {
    let folder = tempfile::tempdir().unwrap();
    let saved = folder.path().join("saved");
    let (mut event_loop, hand) = loop_on_an_empty_bank(folder.path(), &saved);
    let file = folder.path().join(alert::REQUEST);
    let began = Instant::now();
    let mut seconds = 0;
    while !file.exists() {
        assert!(began.elapsed() < Duration::from_secs(30), "no request after {seconds} s");
        hand.forward(Duration::from_secs(1));
        seconds += 1;
        let snapshot = event_loop.turn(swept(event_loop.clock.stamp())).unwrap();
        let edges = event_loop.engine.edges();
        event_loop.warn(&snapshot, &edges);
        if matches!(snapshot.power_off, PowerOff::Saving { .. }) && !file.exists() {
            // The command runs in real time, the clock of the test does not.
            let event = event_loop.events.recv_timeout(Duration::from_secs(10)).unwrap();
            assert!(matches!(event, Event::Saved));
            let text = std::fs::read_to_string(&saved).unwrap();
            assert!(text.contains("saving"), "saved before the request: {text}");
            assert!(!file.exists());
            event_loop.turn(event);
        }
    }
    // However soon the forecast says so: the hold, and two minutes to stop it.
    assert!((140..2400).contains(&seconds), "{seconds} s");
    let snapshot = event_loop.engine.tick(event_loop.clock.stamp());
    assert!(matches!(snapshot.power_off, PowerOff::Asked { .. }), "{:?}", snapshot.power_off);
}

/// An event loop whose only way out is a command that writes what it is told into this file.
fn loop_on_an_empty_bank(folder: &Path, saved: &Path) -> (EventLoop, HandClock) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let handle = runtime.handle().clone();
    std::thread::spawn(move || runtime.block_on(std::future::pending::<()>()));
    let line = ["-c".to_owned(), format!("echo $OUTLAST_EVENT >> '{}'", saved.display())];
    let limit = Duration::from_secs(5);
    let hook = alert::Command::new(Path::new("/bin/sh"), &line, limit).unwrap();
    let hand = HandClock::at(Mono::at_s(100.0), Wall::from_unix_ms(0));
    let clock = Clock::by_hand(hand.clone());
    let now: alert::Now = {
        let clock = clock.clone();
        Arc::new(move || clock.stamp())
    };
    let (dispatcher, workers) = alert::Dispatcher::new(Vec::new(), vec![hook], None, &now);
    for worker in workers {
        handle.spawn(worker);
    }
    let setup = Setup {
        bank: Some(reckon::bank::BankSpec::common()[0].clone()),
        start: reckon::engine::Start::Part(reckon::units::Share::nearest(0.02)),
        power_off: PowerOffWants { unit: true, ..PowerOffWants::default() },
        ..Setup::default()
    };
    let mut engine = Engine::new(setup, clock.stamp());
    let (show, _) = watch::channel(engine.tick(clock.stamp()));
    let (events, list) = mpsc::sync_channel(64);
    let folders = (Some(folder.to_owned()), Some(folder.to_owned()));
    let event_loop = EventLoop {
        alerts: Some(Alerts::new(dispatcher, None, handle, events, folders)),
        ..EventLoop::new(engine, clock, list, show)
    };
    (event_loop, hand)
}

#[test]
fn an_answer_comes_when_the_choice_is_on_the_card() {
    let lab = lab();
    let (answer, heard) = oneshot::channel();
    let ask = Command::NameOuting { name: "Ridge above the reservoir".into() };
    lab.events.send(Event::Command(Request { command: ask, answer })).unwrap();
    assert_eq!(heard.blocking_recv(), Ok(Ok(web::Kept::OnCard)));
    let kept = choices_file::load(lab.folder.path()).kept.choices();
    assert_eq!(kept.outing.as_deref(), Some("Ridge above the reservoir"));
    assert_eq!(lab.now.borrow().outing, kept.outing);
    // A refusal changes nothing and says why.
    let (answer, heard) = oneshot::channel();
    let ask = Command::Activity { name: Some("dancing".into()) };
    lab.events.send(Event::Command(Request { command: ask, answer })).unwrap();
    assert_eq!(heard.blocking_recv(), Ok(Err(Refusal::NoSuchActivity)));
    lab.events.send(Event::Stop).unwrap();
    lab.event_loop.join().unwrap();
}

/// An event loop with a record, driven by hand.
fn recording(folder: &std::path::Path, hand: &HandClock) -> (EventLoop, Arc<history::Writer>) {
    let clock = Clock::by_hand(hand.clone());
    let (events, list) = mpsc::sync_channel(64);
    let want = crate::settings::RecordWant::default();
    let opened = crate::record::open::open(folder, &want, Some("boot"), &clock, outlet(&events))
        .expect("a record");
    let writer = Arc::clone(&opened.writer);
    let record = RecordSession {
        recorder: crate::record::recorder::Recorder::new(opened.writer),
        reader: opened.reader,
        last_end: crate::record::last_end::Start {
            before: opened.before,
            boot: opened.boot,
            at: opened.at,
            resumed: false,
            test: None,
        },
        test: None,
        may_set_clock: false,
        opened: opened.at,
        heard: None,
        load: None,
        own_banks: Vec::new(),
    };
    let mut engine = Engine::new(Setup::default(), clock.stamp());
    let (show, _) = watch::channel(engine.tick(clock.stamp()));
    let event_loop =
        EventLoop { record: Some(record), ..EventLoop::new(engine, clock, list, show) };
    (event_loop, writer)
}

#[test]
fn a_wall_clock_that_jumps_by_ten_years_changes_no_duration() {
    const TEN_YEARS_S: i64 = 315_576_000;
    let folder = tempfile::tempdir().unwrap();
    // 2026-05-16 07:30 UTC, one of our made-up mornings.
    let hand = HandClock::at(Mono::at_s(1000.0), Wall::from_unix_ms(1_778_916_600_000));
    let (mut event_loop, writer) = recording(folder.path(), &hand);
    event_loop.clock.was_synchronised();
    for second in 0..1200 {
        hand.forward(Duration::from_secs(1));
        match second {
            300 => hand.step_wall(TEN_YEARS_S),
            600 => hand.step_wall(-2 * TEN_YEARS_S),
            900 => hand.step_wall(TEN_YEARS_S),
            _ => {}
        }
        event_loop.turn(swept(event_loop.clock.stamp()));
        // As on a board, where a row is long on the card before the next ones come.
        if second % 100 == 99 {
            writer.change(Vec::new()).unwrap();
        }
    }
    if let Some(mut session) = event_loop.record.take() {
        session.recorder.end();
    }
    writer.change(Vec::new()).unwrap();
    let reader = history::Reader::new(folder.path());
    let all = reader.outings(None, 10).unwrap().items;
    assert_eq!(all.len(), 1, "{all:#?}");
    assert!((all[0].lasted_s - 1200.0).abs() < 12.0, "{all:#?}");
    // 4 W for 20 min.
    assert!((all[0].energy_wh.unwrap() - 4.0 / 3.0).abs() < 0.02, "{all:#?}");
    let rows = reader.rows(all[0].id).unwrap();
    assert!((120..=121).contains(&rows.len()), "{} rows", rows.len());
    let steps: Vec<String> = reader
        .events(all[0].id)
        .unwrap()
        .into_iter()
        .filter(|event| event.kind == reckon::record::EventKind::ClockStep)
        .map(|event| event.text)
        .collect();
    assert_eq!(steps.len(), 3, "{steps:?}");
    assert!(steps[0].contains("forward by 315576000") && steps[1].contains("back by 631152000"));
    // In the end the clock is right again, and dates the whole outing.
    let began = all[0].began.unwrap().unix_ms();
    assert!((began - 1_778_916_600_000).abs() < 2000, "{began}");
}
