//! The event loop: one thread that owns all state and takes one event after the other. Whatever can
//! happen is in [`Event`]; what comes out is a snapshot for the pages and a task for the record worker.

pub(crate) mod alerts;
pub(crate) mod demo;
mod journal;
pub(crate) mod record_session;
pub(crate) mod sampler;

use std::{
    sync::{
        Arc,
        mpsc::{Receiver, RecvTimeoutError, Sender},
    },
    time::Duration,
};

use history::RecordState;
use reckon::{
    alarm::Edge,
    belief::{Answer, Question},
    engine::{Command, Engine, Refusal},
    reading::Sweep,
    snapshot::{Footprint, Snapshot},
    time::{Mono, Stamp},
};
use tokio::sync::{oneshot, watch};
use web::{RecordCommand, RecordStatus, Request};

use crate::{
    event_loop::{alerts::Alerts, journal::Journal},
    host::{clock::Clock, now_text::plain_spaces, systemd::Systemd},
    record::{
        choices_file::ChoicesFile,
        worker::{RecordUpdate, Task},
    },
};

/// Without a sweep for this long the silence itself is looked at.
const PATIENCE: Duration = Duration::from_millis(2500);
/// How often the state of the outing is written without being asked while no record keeps it.
const KEEP_EVERY: Duration = Duration::from_mins(10);

/// Everything that can happen.
pub(crate) enum Event {
    /// Every source was asked once.
    Sweep {
        /// What they said.
        sweep: Box<Sweep>,
        /// When.
        at: Stamp,
        /// Sweeps so far that came too late or not at all.
        missed: u64,
    },
    /// What outlast itself costs.
    Footprint(Footprint),
    /// Somebody wants something.
    Command(Request<Command, Refusal>),
    /// The record worker wrote what was chosen, or could not.
    ChoicesWritten(Result<(), String>),
    /// How the record is doing has changed.
    Record(Box<RecordState>),
    /// Somebody wants something of the record.
    RecordCommand(Request<RecordCommand>),
    /// What the record worker found in the record.
    RecordUpdate(Box<RecordUpdate>),
    /// What there is to say of the watched contact log.
    ContactLog(String),
    /// Whoever had to save before switching off has done so.
    Saved,
    /// End.
    Stop,
}

/// What the event loop is made of.
pub(crate) struct EventLoop {
    /// Works everything out.
    pub(crate) engine: Engine,
    /// The time.
    pub(crate) clock: Clock,
    /// What happens.
    pub(crate) events: Receiver<Event>,
    /// Where the pages look.
    pub(crate) show: watch::Sender<Arc<Snapshot>>,
    /// Where jobs for the card go; `None` where nothing is kept.
    pub(crate) tasks: Option<Sender<Task>>,
    /// Whether a contact log is watched.
    pub(crate) watches_log: bool,
    /// What warns besides the page.
    pub(crate) alerts: Option<Alerts>,
    /// What systemd hears.
    pub(crate) ready: Systemd,
    /// Frees the sampling from a sensor that hangs.
    pub(crate) free: Box<dyn FnMut() -> bool + Send>,
    /// This boot.
    pub(crate) boot_id: Option<String>,
    /// Why choices are not kept, for the page.
    pub(crate) trouble: Option<String>,
    /// The record; `None` where nothing is kept.
    pub(crate) record: Option<record_session::RecordSession>,
    /// Where the pages look for how the record is doing.
    pub(crate) record_status: watch::Sender<Arc<RecordStatus>>,
}

/// What the event loop remembers from turn to turn besides the engine.
pub(crate) struct LoopState {
    kept_at: Mono,
    believed: bool,
    last_sweep: Mono,
    silent: bool,
    journal: Journal,
    /// How the record was doing.
    pub(crate) record: RecordState,
}

impl EventLoop {
    /// Takes events until it is told to stop; then everything is written once more.
    pub(crate) fn run(mut self) {
        let now = self.clock.mono();
        let mut loop_state = LoopState {
            kept_at: now,
            believed: self.clock.is_believed(),
            last_sweep: now,
            silent: false,
            journal: Journal::default(),
            record: RecordState::default(),
        };
        self.note_log();
        loop {
            let snapshot = match self.events.recv_timeout(PATIENCE) {
                Ok(Event::Stop) | Err(RecvTimeoutError::Disconnected) => break,
                Ok(event) => self.turn(event, &mut loop_state),
                Err(RecvTimeoutError::Timeout) => Some(self.silence(&mut loop_state)),
            };
            if let Some(snapshot) = snapshot {
                let edges = self.engine.edges();
                loop_state.journal.look(&snapshot, &edges);
                if let Some(session) = &mut self.record {
                    session.recorder.edges(&snapshot, &edges);
                }
                self.warn(&snapshot, &edges);
                self.ready
                    .status(snapshot.at.mono, || plain_spaces(&reckon::words::status(&snapshot)));
                self.show.send_replace(snapshot);
            }
            self.ready.alive(self.clock.mono());
        }
        self.write_choices(None);
        self.end_fold();
        if let Some(mut session) = self.record.take() {
            session.recorder.end();
        }
    }

    fn turn(&mut self, event: Event, loop_state: &mut LoopState) -> Option<Arc<Snapshot>> {
        match event {
            Event::Sweep { sweep, at, missed } => Some(self.swept(&sweep, at, missed, loop_state)),
            Event::Command(Request { command: ask, answer }) => self.asked(&ask, answer),
            Event::Footprint(footprint) => {
                self.engine.note_footprint(footprint);
                // Once a minute, in a turn that comes anyway.
                if let Some(tasks) = self.tasks.as_ref().filter(|_| self.watches_log) {
                    let _ = tasks.send(Task::LookAtLog);
                }
                None
            }
            Event::ChoicesWritten(outcome) => {
                self.choices_written(outcome.err());
                None
            }
            Event::Record(state) => {
                self.record_state(*state, loop_state);
                None
            }
            Event::RecordCommand(asked) => self.record_asked(asked),
            Event::RecordUpdate(news) => Some(self.news(*news)),
            Event::ContactLog(say) => {
                self.tell(|record_status| record_status.contact_log = Some(say));
                None
            }
            Event::Saved => {
                let at = self.clock.stamp();
                self.engine.note_saved(at);
                Some(self.engine.tick(at))
            }
            Event::Stop => None,
        }
    }

    /// Tells the ways out, and carries out what the clean power-off orders.
    fn warn(&mut self, snapshot: &Snapshot, edges: &[Edge]) {
        let orders = self.engine.orders();
        let Some(alerts) = &self.alerts else { return };
        alerts.tell(snapshot, edges);
        let mut last = false;
        for order in orders {
            last |= alerts.carry_out(order, snapshot);
        }
        if last {
            // First what must survive, then the card, then the request.
            self.write_choices(None);
            self.end_fold();
            if let Some(session) = &mut self.record
                && let Err(why) = session.recorder.put_down(snapshot.at.mono)
            {
                tracing::warn!("the record could not be closed before switching off: {why}");
            }
            let outcome = self.alerts.as_ref().map_or(Ok(()), Alerts::switch_off);
            if let Err(why) = &outcome {
                tracing::error!(event = "power_off_failed", "{why}");
            }
            self.engine.note_switched_off(outcome, self.clock.stamp());
        }
    }

    fn swept(
        &mut self,
        sweep: &Sweep,
        at: Stamp,
        missed: u64,
        loop_state: &mut LoopState,
    ) -> Arc<Snapshot> {
        if loop_state.silent {
            let silent_s = at.mono.since(loop_state.last_sweep).as_secs();
            tracing::info!("the sensors are read again after {silent_s} s");
            loop_state.silent = false;
        }
        loop_state.last_sweep = at.mono;
        self.engine.note_missed(missed);
        let snapshot = self.engine.observe(sweep, at);
        let snapshot = self.account(snapshot);
        let snapshot = self.record_sweep(snapshot);
        // That the clock may be believed is worth a write: a restart must not forget it. What was
        // counted is in the record's rows; each write of its own costs the card some 50 KiB.
        let news = self.clock.is_believed() && !loop_state.believed;
        let recorded = self.record.is_some() && loop_state.record.stopped.is_none();
        if news || (!recorded && at.mono.since(loop_state.kept_at) >= KEEP_EVERY) {
            loop_state.believed = self.clock.is_believed();
            loop_state.kept_at = at.mono;
            self.write_choices(None);
        }
        snapshot
    }

    /// Nothing came: the snapshot must say so rather than look fresh.
    fn silence(&mut self, loop_state: &mut LoopState) -> Arc<Snapshot> {
        let at = self.clock.stamp();
        let freed = (self.free)();
        if !loop_state.silent {
            loop_state.silent = true;
            let silent_s = at.mono.since(loop_state.last_sweep).as_secs();
            let what_now = if freed {
                "the others are read on without it"
            } else {
                "the forecast goes on from what was known"
            };
            tracing::warn!(
                "no sensor has answered for {silent_s} s, one of them hangs; {what_now}"
            );
        }
        self.engine.tick(at)
    }

    fn asked(
        &mut self,
        ask: &Command,
        answer: oneshot::Sender<Result<(), Refusal>>,
    ) -> Option<Arc<Snapshot>> {
        let at = self.moment();
        let done = self.engine.ask(ask, at);
        if done.is_err() {
            // Whoever asked may have gone meanwhile.
            let _ = answer.send(done);
            return None;
        }
        let snapshot = self.record_changes(at);
        // An outing that began, ended or was joined to another is credited anew.
        let tested = self.record_status.borrow().test.as_ref().map(|test| test.bank.clone());
        let connected = snapshot.bank.spec.as_ref().map(|bank| bank.name.clone());
        if matches!(
            ask,
            Command::UseBank { start: Some(_), .. }
                | Command::Answer { question: Question::BankChanged, .. }
                | Command::Answer { question: Question::Swapped, answer: Some(Answer::Another) }
        ) || tested.is_some_and(|it| Some(it) != connected)
        {
            self.end_test();
        }
        if matches!(ask, Command::UseBank { .. } | Command::Answer { .. }) {
            self.update_learning();
        }
        // Whoever is answered shall see the change at once.
        self.show.send_replace(Arc::clone(&snapshot));
        self.write_choices(Some(answer));
        Some(snapshot)
    }

    /// This moment; in a demonstration, whose clock runs ahead of what is taken in, that of the
    /// last sweep.
    pub(crate) fn moment(&self) -> Stamp {
        let shown = self.show.borrow();
        if shown.demo { shown.at } else { self.clock.stamp() }
    }

    /// Hands what must survive to the record worker, who answers when it is on the card.
    pub(crate) fn write_choices(&mut self, answer: Option<oneshot::Sender<Result<(), Refusal>>>) {
        let choices = self.engine.choices();
        let kept = ChoicesFile::of(&choices, self.boot_id.as_deref(), self.clock.is_believed());
        let unkept = match &self.tasks {
            Some(tasks) => {
                let job = Task::WriteChoices { kept: Box::new(kept), answer };
                tasks.send(job).err().and_then(|job| match job.0 {
                    Task::WriteChoices { answer, .. } => answer,
                    Task::Command { .. } | Task::UpdateLearning(_) | Task::LookAtLog => None,
                })
            }
            None => answer,
        };
        if let Some(answer) = unkept {
            // Carried out, though it will not survive a restart; the page says so.
            let _ = answer.send(Ok(()));
        }
    }

    fn choices_written(&mut self, trouble: Option<String>) {
        match (&self.trouble, &trouble) {
            (None, Some(why)) => tracing::warn!("{why}"),
            (Some(_), None) => tracing::info!("what is chosen is kept again"),
            _ => {}
        }
        self.trouble = trouble;
        self.note_log();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::{
        path::Path,
        sync::{
            atomic::{AtomicU32, Ordering},
            mpsc::{self, SyncSender},
        },
        time::Instant,
    };

    use reckon::{
        engine::Setup,
        power_off::{PowerOff, PowerOffWants},
        reading::{
            BoardReading, Gap, Role, SourceIx, SourceReport, SourceState, SupplyReading, Via,
        },
        time::Wall,
        units::{Amps, Volts, Watts},
    };

    use crate::{
        host::clock::HandClock,
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
        let (tasks, jobs) = mpsc::channel();
        let folder = tempfile::tempdir().unwrap();
        let worker = RecordWorker {
            folder: folder.path().to_owned(),
            pen: None,
            events: events.clone(),
            log: crate::record::contact_log::ContactLog::default(),
        };
        std::thread::spawn(move || worker.work(jobs));
        let freed = Arc::new(AtomicU32::new(0));
        let count = Arc::clone(&freed);
        let event_loop = EventLoop {
            engine,
            clock: clock.clone(),
            events: list,
            show,
            tasks: Some(tasks),
            watches_log: false,
            alerts: None,
            ready: Systemd::from_environment(),
            free: Box::new(move || count.fetch_add(1, Ordering::Relaxed) == 0),
            boot_id: Some("boot".to_owned()),
            trouble: None,
            record: None,
            record_status: watch::channel(Arc::default()).0,
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
        let mut loop_state = LoopState {
            kept_at: Mono::BOOT,
            believed: false,
            last_sweep: Mono::BOOT,
            silent: false,
            journal: Journal::default(),
            record: RecordState::default(),
        };
        let file = folder.path().join(alert::REQUEST);
        let began = Instant::now();
        let mut seconds = 0;
        while !file.exists() {
            assert!(began.elapsed() < Duration::from_secs(30), "no request after {seconds} s");
            hand.forward(Duration::from_secs(1));
            seconds += 1;
            let snapshot =
                event_loop.turn(swept(event_loop.clock.stamp()), &mut loop_state).unwrap();
            let edges = event_loop.engine.edges();
            event_loop.warn(&snapshot, &edges);
            if matches!(snapshot.power_off, PowerOff::Saving { .. }) && !file.exists() {
                // The command runs in real time, the clock of the test does not.
                let event = event_loop.events.recv_timeout(Duration::from_secs(10)).unwrap();
                assert!(matches!(event, Event::Saved));
                let text = std::fs::read_to_string(&saved).unwrap();
                assert!(text.contains("saving"), "saved before the request: {text}");
                assert!(!file.exists());
                event_loop.turn(event, &mut loop_state);
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
            engine,
            clock,
            events: list,
            show,
            tasks: None,
            watches_log: false,
            alerts: Some(Alerts::new(dispatcher, None, handle, events, folders)),
            ready: Systemd::from_environment(),
            free: Box::new(|| false),
            boot_id: None,
            trouble: None,
            record: None,
            record_status: watch::channel(Arc::default()).0,
        };
        (event_loop, hand)
    }

    #[test]
    fn an_answer_comes_when_the_choice_is_on_the_card() {
        let lab = lab();
        let (answer, heard) = oneshot::channel();
        let ask = Command::NameOuting { name: "Ridge above the reservoir".into() };
        lab.events.send(Event::Command(Request { command: ask, answer })).unwrap();
        assert_eq!(heard.blocking_recv(), Ok(Ok(())));
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
        let opened = crate::record::open::open(folder, &want, Some("boot"), &clock, &events)
            .expect("a record");
        let writer = Arc::clone(&opened.writer);
        let record = record_session::RecordSession {
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
        let event_loop = EventLoop {
            engine,
            clock,
            events: list,
            show,
            tasks: None,
            watches_log: false,
            alerts: None,
            ready: Systemd::from_environment(),
            free: Box::new(|| false),
            boot_id: None,
            trouble: None,
            record: Some(record),
            record_status: watch::channel(Arc::default()).0,
        };
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
        let mut loop_state = LoopState {
            kept_at: Mono::BOOT,
            believed: true,
            last_sweep: Mono::BOOT,
            silent: false,
            journal: Journal::default(),
            record: RecordState::default(),
        };
        for second in 0..1200 {
            hand.forward(Duration::from_secs(1));
            match second {
                300 => hand.step_wall(TEN_YEARS_S),
                600 => hand.step_wall(-2 * TEN_YEARS_S),
                900 => hand.step_wall(TEN_YEARS_S),
                _ => {}
            }
            event_loop.turn(swept(event_loop.clock.stamp()), &mut loop_state);
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
        assert!(
            steps[0].contains("forward by 315576000") && steps[1].contains("back by 631152000")
        );
        // In the end the clock is right again, and dates the whole outing.
        let began = all[0].began.unwrap().unix_ms();
        assert!((began - 1_778_916_600_000).abs() < 2000, "{began}");
    }
}
