//! The brain: one thread that owns all state and takes one event after the other. Whatever can
//! happen is in [`Event`]; what comes out is a snapshot for the pages and a job for the keeper.

use std::{
    path::Path,
    sync::{
        Arc,
        mpsc::{Receiver, RecvTimeoutError, Sender, SyncSender},
    },
    time::Duration,
};

use reckon::{
    alarm::Edge,
    engine::{Ask, Engine, Refusal},
    reading::Sweep,
    snapshot::{Footprint, LogState, Snapshot},
    time::{Mono, Stamp},
};
use tokio::sync::{oneshot, watch};
use web::Asked;

use crate::{
    choices::{self, Kept},
    clock::Clock,
    glance::plain_spaces,
    notice::Notice,
    ready::Ready,
    warn::Warner,
};

/// Without a sweep for this long the silence itself is looked at.
const PATIENCE: Duration = Duration::from_millis(2500);
/// How often the state of the outing is written without being asked.
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
    Costs(Footprint),
    /// Somebody wants something.
    Asked(Asked),
    /// The keeper wrote, or could not.
    Kept(Result<(), String>),
    /// Whoever had to save before switching off has done so.
    Saved,
    /// End.
    Stop,
}

/// Writes this, then answers whoever waits for it.
pub(crate) struct Job {
    kept: Kept,
    answer: Option<oneshot::Sender<Result<(), Refusal>>>,
}

/// What the brain is made of.
pub(crate) struct Brain {
    /// Works everything out.
    pub(crate) engine: Engine,
    /// The time.
    pub(crate) clock: Clock,
    /// What happens.
    pub(crate) events: Receiver<Event>,
    /// Where the pages look.
    pub(crate) show: watch::Sender<Arc<Snapshot>>,
    /// Where jobs for the card go; `None` where nothing is kept.
    pub(crate) keeper: Option<Sender<Job>>,
    /// What warns besides the page.
    pub(crate) warner: Option<Warner>,
    /// What systemd hears.
    pub(crate) ready: Ready,
    /// Frees the sampling from a sensor that hangs.
    pub(crate) free: Box<dyn FnMut() -> bool + Send>,
    /// This boot.
    pub(crate) boot_id: Option<String>,
    /// Why choices are not kept, for the page.
    pub(crate) trouble: Option<String>,
}

/// What the brain remembers from turn to turn besides the engine.
struct Memory {
    kept_at: Mono,
    believed: bool,
    last_sweep: Mono,
    silent: bool,
    notice: Notice,
}

impl Brain {
    /// Takes events until it is told to stop; then everything is written once more.
    pub(crate) fn run(mut self) {
        let now = self.clock.mono();
        let mut memory = Memory {
            kept_at: now,
            believed: self.clock.is_believed(),
            last_sweep: now,
            silent: false,
            notice: Notice::default(),
        };
        self.note_log();
        loop {
            let shot = match self.events.recv_timeout(PATIENCE) {
                Ok(Event::Stop) | Err(RecvTimeoutError::Disconnected) => break,
                Ok(event) => self.turn(event, &mut memory),
                Err(RecvTimeoutError::Timeout) => Some(self.silence(&mut memory)),
            };
            if let Some(shot) = shot {
                let edges = self.engine.edges();
                memory.notice.look(&shot, &edges);
                self.warn(&shot, &edges);
                self.ready.status(shot.at.mono, || plain_spaces(&reckon::words::status(&shot)));
                self.show.send_replace(shot);
            }
            self.ready.alive(self.clock.mono());
        }
        self.keep(None);
    }

    fn turn(&mut self, event: Event, memory: &mut Memory) -> Option<Arc<Snapshot>> {
        match event {
            Event::Sweep { sweep, at, missed } => Some(self.swept(&sweep, at, missed, memory)),
            Event::Asked(Asked { ask, answer }) => self.asked(&ask, answer),
            Event::Costs(costs) => {
                self.engine.note_footprint(costs);
                None
            }
            Event::Kept(outcome) => {
                self.kept(outcome.err());
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
    fn warn(&mut self, shot: &Snapshot, edges: &[Edge]) {
        let orders = self.engine.orders();
        let Some(warner) = &self.warner else { return };
        warner.tell(shot, edges);
        let mut last = false;
        for order in orders {
            last |= warner.carry_out(order, shot);
        }
        if last {
            // First what must survive, then the card, then the request.
            self.keep(None);
            let outcome = self.warner.as_ref().map_or(Ok(()), Warner::switch_off);
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
        memory: &mut Memory,
    ) -> Arc<Snapshot> {
        if memory.silent {
            let silent_s = at.mono.since(memory.last_sweep).as_secs();
            tracing::info!("the sensors are read again after {silent_s} s");
            memory.silent = false;
        }
        memory.last_sweep = at.mono;
        self.engine.note_missed(missed);
        let shot = self.engine.take(sweep, at);
        // That the clock may be believed is worth a write: a restart must not forget it.
        let news = self.clock.is_believed() && !memory.believed;
        if news || at.mono.since(memory.kept_at) >= KEEP_EVERY {
            memory.believed = self.clock.is_believed();
            memory.kept_at = at.mono;
            self.keep(None);
        }
        shot
    }

    /// Nothing came: the snapshot must say so rather than look fresh.
    fn silence(&mut self, memory: &mut Memory) -> Arc<Snapshot> {
        let at = self.clock.stamp();
        let freed = (self.free)();
        if !memory.silent {
            memory.silent = true;
            let silent_s = at.mono.since(memory.last_sweep).as_secs();
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
        ask: &Ask,
        answer: oneshot::Sender<Result<(), Refusal>>,
    ) -> Option<Arc<Snapshot>> {
        let at = self.clock.stamp();
        let done = self.engine.ask(ask, at);
        if done.is_err() {
            // Whoever asked may have gone meanwhile.
            let _ = answer.send(done);
            return None;
        }
        let shot = self.engine.tick(at);
        // Whoever is answered shall see the change at once.
        self.show.send_replace(Arc::clone(&shot));
        self.keep(Some(answer));
        Some(shot)
    }

    /// Hands what must survive to the keeper, who answers when it is on the card.
    fn keep(&mut self, answer: Option<oneshot::Sender<Result<(), Refusal>>>) {
        let choices = self.engine.choices();
        let kept = Kept::of(&choices, self.boot_id.as_deref(), self.clock.is_believed());
        let unkept = match &self.keeper {
            Some(keeper) => keeper.send(Job { kept, answer }).err().and_then(|job| job.0.answer),
            None => answer,
        };
        if let Some(answer) = unkept {
            // Carried out, though it will not survive a restart; the page says so.
            let _ = answer.send(Ok(()));
        }
    }

    fn kept(&mut self, trouble: Option<String>) {
        match (&self.trouble, &trouble) {
            (None, Some(why)) => tracing::warn!("{why}"),
            (Some(_), None) => tracing::info!("what is chosen is kept again"),
            _ => {}
        }
        self.trouble = trouble;
        self.note_log();
    }

    fn note_log(&mut self) {
        let log = self.trouble.clone().map_or(LogState::Off, |why| LogState::Stopped { why });
        self.engine.note_log(log);
    }
}

/// The keeper: writes one job after the other, so that a slow card delays no reading.
pub(crate) fn keeper(folder: &Path, jobs: Receiver<Job>, events: &SyncSender<Event>) {
    let mut said_well = false;
    for Job { kept, answer } in jobs {
        let outcome = choices::save(folder, &kept).map_err(|why| {
            format!(
                "What is chosen cannot be kept in {}: {why}. Readings and forecast go on, but a \
                 restart will not know the bank and the finish. Make room on the card or make \
                 the folder writable",
                folder.display()
            )
        });
        if let Some(answer) = answer {
            // Carried out in any case; whoever asked may have gone meanwhile.
            let _ = answer.send(Ok(()));
        }
        if outcome.is_err() || !said_well {
            let well = outcome.is_ok();
            // A full queue or a brain that has ended: the next job says it again.
            said_well = events.try_send(Event::Kept(outcome)).is_ok() && well;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::{
        sync::{
            atomic::{AtomicU32, Ordering},
            mpsc,
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

    use crate::clock::HandClock;

    /// A brain in a thread of the test's own, on a clock that the test moves.
    struct Lab {
        hand: HandClock,
        clock: Clock,
        events: SyncSender<Event>,
        now: watch::Receiver<Arc<Snapshot>>,
        freed: Arc<AtomicU32>,
        folder: tempfile::TempDir,
        brain: std::thread::JoinHandle<()>,
    }

    fn lab() -> Lab {
        let hand = HandClock::at(Mono::at_s(100.0), Wall::from_unix_ms(0));
        let clock = Clock::by_hand(hand.clone());
        let engine = Engine::new(Setup::default(), clock.stamp());
        let (show, now) = watch::channel(engine.clone().tick(clock.stamp()));
        let (events, list) = mpsc::sync_channel(8);
        let (keeper, jobs) = mpsc::channel();
        let folder = tempfile::tempdir().unwrap();
        let (path, to_brain) = (folder.path().to_owned(), events.clone());
        std::thread::spawn(move || super::keeper(&path, jobs, &to_brain));
        let freed = Arc::new(AtomicU32::new(0));
        let count = Arc::clone(&freed);
        let brain = Brain {
            engine,
            clock: clock.clone(),
            events: list,
            show,
            keeper: Some(keeper),
            warner: None,
            ready: Ready::from_environment(),
            free: Box::new(move || count.fetch_add(1, Ordering::Relaxed) == 0),
            boot_id: Some("boot".to_owned()),
            trouble: None,
        };
        let brain = std::thread::spawn(move || brain.run());
        Lab { hand, clock, events, now, freed, folder, brain }
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
        wait_for(&lab.now, |shot| shot.supply.power.is_ok() && shot.missed_sweeps == 3);
        assert_eq!(lab.freed.load(Ordering::Relaxed), 0);
        // The sampler hangs: time goes on and nothing comes.
        lab.hand.forward(Duration::from_secs(30));
        wait_for(&lab.now, |shot| shot.supply.power == Err(Gap::Late));
        assert!(lab.freed.load(Ordering::Relaxed) > 0);
        // And it goes on as soon as another one takes over.
        lab.hand.forward(Duration::from_secs(1));
        lab.events.send(swept(lab.clock.stamp())).unwrap();
        wait_for(&lab.now, |shot| shot.supply.power.is_ok());
        lab.events.send(Event::Stop).unwrap();
        lab.brain.join().unwrap();
    }

    /// Everything of the clean power-off but its last step: sweeps of a bank that runs empty go in,
    /// a command saves, and the request lies in the runtime folder. What would answer it, the
    /// service manager, is not there: `daemon/alert/tests/ways/switch.rs` plays its part.
    #[test]
    fn a_bank_that_runs_empty_ends_in_saving_then_in_a_request() {
        let folder = tempfile::tempdir().unwrap();
        let saved = folder.path().join("saved");
        let (mut brain, hand) = brain_on_an_empty_bank(folder.path(), &saved);
        let mut memory = Memory {
            kept_at: Mono::BOOT,
            believed: false,
            last_sweep: Mono::BOOT,
            silent: false,
            notice: Notice::default(),
        };
        let file = folder.path().join(alert::REQUEST);
        let began = Instant::now();
        let mut seconds = 0;
        while !file.exists() {
            assert!(began.elapsed() < Duration::from_secs(30), "no request after {seconds} s");
            hand.forward(Duration::from_secs(1));
            seconds += 1;
            let shot = brain.turn(swept(brain.clock.stamp()), &mut memory).unwrap();
            let edges = brain.engine.edges();
            brain.warn(&shot, &edges);
            if matches!(shot.power_off, PowerOff::Saving { .. }) && !file.exists() {
                // The command runs in real time, the clock of the test does not.
                let event = brain.events.recv_timeout(Duration::from_secs(10)).unwrap();
                assert!(matches!(event, Event::Saved));
                let text = std::fs::read_to_string(&saved).unwrap();
                assert!(text.contains("saving"), "saved before the request: {text}");
                assert!(!file.exists());
                brain.turn(event, &mut memory);
            }
        }
        // However soon the forecast says so: the hold, and two minutes to stop it.
        assert!((140..1200).contains(&seconds), "{seconds} s");
        let shot = brain.engine.tick(brain.clock.stamp());
        assert!(matches!(shot.power_off, PowerOff::Asked { .. }), "{:?}", shot.power_off);
    }

    /// A brain whose only way out is a command that writes what it is told into this file.
    fn brain_on_an_empty_bank(folder: &Path, saved: &Path) -> (Brain, HandClock) {
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
        let (courier, workers) = alert::Courier::new(Vec::new(), vec![hook], None, &now);
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
        let brain = Brain {
            engine,
            clock,
            events: list,
            show,
            keeper: None,
            warner: Some(Warner::new(courier, None, handle, events, folders)),
            ready: Ready::from_environment(),
            free: Box::new(|| false),
            boot_id: None,
            trouble: None,
        };
        (brain, hand)
    }

    #[test]
    fn an_answer_comes_when_the_choice_is_on_the_card() {
        let lab = lab();
        let (answer, heard) = oneshot::channel();
        let ask = Ask::NameOuting { name: "Ridge above the reservoir".into() };
        lab.events.send(Event::Asked(Asked { ask, answer })).unwrap();
        assert_eq!(heard.blocking_recv(), Ok(Ok(())));
        let kept = choices::load(lab.folder.path()).kept.choices();
        assert_eq!(kept.outing.as_deref(), Some("Ridge above the reservoir"));
        assert_eq!(lab.now.borrow().outing, kept.outing);
        // A refusal changes nothing and says why.
        let (answer, heard) = oneshot::channel();
        let ask = Ask::Activity { name: Some("dancing".into()) };
        lab.events.send(Event::Asked(Asked { ask, answer })).unwrap();
        assert_eq!(heard.blocking_recv(), Ok(Err(Refusal::NoSuchActivity)));
        lab.events.send(Event::Stop).unwrap();
        lab.brain.join().unwrap();
    }
}
