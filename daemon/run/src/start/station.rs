//! What there is to start, gathered from the command line, the settings and the folders; and its threads.

use std::{
    io,
    path::{Path, PathBuf},
    sync::{
        Arc,
        mpsc::{self, Receiver, SyncSender},
    },
    thread::JoinHandle,
};

use alert::{Dispatcher, Led};
use probe::{Rescue, Sweeper, Want};
use reckon::{
    engine::{Engine, Resume, Setup, Start},
    power_off::PowerOffWants,
    reading::BoardFacts,
    snapshot::Snapshot,
    words,
};
use tokio::sync::{mpsc as tokio_mpsc, watch};
use web::{Pairing, RecordStatus};

use super::running::{Parts, Started};
use crate::{
    commands::cli::Run,
    event_loop::{
        alerts::{Alerts, lamp_thread},
        demo::{self, day::Script, steering::Steering},
        event::{Event, outlet},
        sampler::Sampler,
        state::{EventLoop, RecordSession},
    },
    host::{banner, clock::Clock, folders::Folders, phone_clock, phones_file, threads},
    record::{
        choices_file::{self, ChoicesFile},
        contact_log::ContactLog,
        last_end,
        open::{self, Opened},
        recorder::Recorder,
        store_reader::StoreReader,
        update::Task,
        worker::RecordWorker,
    },
    settings::{ContactsWant, Settings, Warnings},
};

/// Everything that is needed to start the threads.
pub(super) struct Station {
    clock: Clock,
    feed: Feed,
    setup: Setup,
    folder: Option<PathBuf>,
    pairing: Arc<Pairing>,
    trouble: Option<String>,
    hosts: Vec<String>,
    record: Option<Opened>,
    may_set_clock: bool,
    demo: Option<Arc<Steering>>,
    contacts: ContactsWant,
    warnings: Warnings,
    runtime: Option<PathBuf>,
    leds: PathBuf,
}

/// Where the sweeps come from.
enum Feed {
    Board(Box<Sweeper>),
    Demo(Script),
}

pub(super) fn station(
    run: &Run,
    settings: Settings,
    folders: &Folders,
    script: Option<Script>,
    events: &SyncSender<Event>,
) -> Station {
    let demo = script.as_ref().map(|script| Arc::clone(&script.steering));
    let (clock, feed, facts) = source(run, &settings, script);
    let found = folders.state.as_deref().map(choices_file::load);
    let (pairing, unpaired) = phones_file::pairing(folders.state.as_deref());
    let mut trouble = folders.trouble.clone();
    for more in found.iter().filter_map(|f| f.trouble.clone()).chain(unpaired) {
        tracing::warn!("{more}");
        trouble.get_or_insert(more);
    }
    let mut setup = if demo.is_some() { demo::setup(facts) } else { setup(run, &settings, facts) };
    let boot = setup.facts.boot_id.clone();
    let opened = folders.state.as_deref().map(|folder| {
        open::open(folder, &settings.record, boot.as_deref(), &clock, outlet(events))
    });
    let record = opened.and_then(|opened| {
        opened.inspect_err(|why| tracing::warn!("{}", words::journal::not_recorded(&why))).ok()
    });
    // Whatever was used before stands in a record that cannot be read: then nobody may take the bank
    // for full.
    let unread = record.as_ref().is_some_and(|opened| opened.unread);
    setup.start = if unread { Start::Unknown } else { setup.start };
    if let Some(kept) = found.map(|f| f.kept) {
        let same_boot = kept.same_boot(boot.as_deref());
        if same_boot && kept.clock_was_synchronised {
            clock.was_synchronised();
        }
        setup.resume = Some(resumed(&kept, same_boot, record.as_ref()));
    }
    if let Some(wall) = record.as_ref().and_then(Opened::wall_at_boot) {
        clock.phone_says(wall);
    }
    Station {
        clock,
        feed,
        setup,
        folder: folders.state.clone(),
        pairing: Arc::new(pairing),
        trouble,
        hosts: banner::own_names(settings.hosts),
        record,
        may_set_clock: demo.is_none() && settings.set_clock_from_phone && phone_clock::may_set(),
        contacts: settings.contacts,
        warnings: settings.warnings,
        // What a demonstration asks for goes where nobody looks.
        runtime: if demo.is_some() { folders.state.clone() } else { folders.runtime.clone() },
        demo,
        leds: root(run).join("sys/class/leds"),
    }
}

/// What was chosen and counted before, as far as the record takes it.
fn resumed(kept: &ChoicesFile, same_boot: bool, record: Option<&Opened>) -> Resume {
    let mut resume = Resume { choices: kept.choices(), same_boot };
    if let Some(opened) = record {
        opened.catch_up(&mut resume);
    }
    resume
}

/// Clock, readings and facts: the machine's own, or those of the demonstration.
fn source(run: &Run, settings: &Settings, script: Option<Script>) -> (Clock, Feed, BoardFacts) {
    if let Some(script) = script {
        return (Clock::by_hand(script.hand.clone()), Feed::Demo(script), demo::facts());
    }
    let clock = Clock::system();
    let now = {
        let clock = clock.clone();
        Arc::new(move || clock.mono())
    };
    let want = Want { sysroot: run.sysroot.clone(), sensors: settings.sensors.clone() };
    let sweeper = Sweeper::new(want, now);
    let facts = sweeper.facts();
    (clock, Feed::Board(Box::new(sweeper)), facts)
}

fn root(run: &Run) -> &Path {
    run.sysroot.as_deref().unwrap_or(Path::new("/"))
}

fn setup(run: &Run, settings: &Settings, mut facts: BoardFacts) -> Setup {
    facts.kind = settings.board.or(facts.kind);
    Setup {
        station: settings.station.clone(),
        bank: settings.bank.clone(),
        start: settings.start,
        bank_choices: settings.bank.iter().chain(&settings.spare_banks).cloned().collect(),
        activities: settings.activities.clone(),
        activity_rules: settings.activity_rules.clone(),
        facts: Arc::new(facts),
        board_draw: settings.board_draw,
        accessories: settings.accessories.clone(),
        radio: settings.radio,
        alarms: settings.warnings.alarms.clone(),
        power_off: PowerOffWants {
            unit: alert::unit_is_enabled(root(run)),
            ..settings.warnings.power_off
        },
        ..Setup::default()
    }
}

impl Station {
    pub(super) fn start(
        mut self,
        events: SyncSender<Event>,
        event_list: Receiver<Event>,
    ) -> io::Result<(Parts, Started)> {
        let at = self.clock.stamp();
        let boot_id = self.setup.facts.boot_id.clone();
        let mut engine = Engine::new(self.setup.clone(), at);
        let opened = self.record.take();
        let writer = opened.as_ref().map(|opened| Arc::clone(&opened.writer));
        let moves = writer.as_ref().map(|writer| writer.moves());
        let record = opened.map(|opened| self.record(opened, &mut engine));
        let (show, now) = watch::channel(engine.tick(at));
        let past = StoreReader::new(self.folder.as_deref());
        let past = past.moving_with(moves).drawing(engine.load_prior());
        let worker = self.worker(&events, writer.clone(), &engine, now.clone())?;
        let (tasks, worker_thread) = worker.unzip();
        let (asks, asked) = tokio_mpsc::channel(16);
        let (record_asks, record_asked) = tokio_mpsc::channel(16);
        let first = RecordStatus { may_set_clock: self.may_set_clock, ..RecordStatus::default() };
        let (record_status, keeping_shown) = watch::channel(Arc::new(first));
        let (alerts, lamp) = self.alerts(&events)?;
        let sampler =
            Sampler { clock: self.clock.clone(), events: events.clone(), missed: Arc::default() };
        let event_loop = EventLoop {
            tasks: tasks.clone(),
            watches_log: self.contacts.watch.is_some(),
            alerts: Some(alerts),
            free: self.feed.freeing(&sampler),
            boot_id,
            trouble: self.trouble.clone(),
            record,
            record_status,
            ..EventLoop::new(engine, self.clock.clone(), event_list, show)
        };
        let event_loop = threads::critical("event loop", move || event_loop.run())?;
        self.feed.flow(sampler, now.clone())?;
        let parts = Parts {
            clock: self.clock,
            now,
            asks,
            asked: Some(asked),
            record_asks,
            record_asked: Some(record_asked),
            record_status: keeping_shown,
            past: Arc::new(past),
            pairing: self.pairing,
            trouble: self.trouble,
            hosts: self.hosts,
            demo: self.demo.map(|steering| -> Arc<dyn web::Demonstration> { steering }),
        };
        Ok((parts, Started { events, tasks, event_loop, others: [worker_thread, lamp], writer }))
    }

    /// The event loop's part of the record.
    fn record(&self, opened: Opened, engine: &mut Engine) -> RecordSession {
        engine.note_learned(opened.learned_by_bank);
        let resume = self.setup.resume.as_ref();
        let (load, bank) = opened.test.unzip();
        RecordSession {
            recorder: Recorder::new(opened.writer),
            reader: opened.reader,
            last_end: last_end::Start {
                before: opened.before,
                boot: opened.boot,
                at: opened.at,
                resumed: resume.is_some_and(|resume| resume.same_boot),
                test: bank,
            },
            test: load,
            may_set_clock: self.may_set_clock,
            opened: opened.at,
            heard: None,
            load: None,
            own_banks: self.setup.bank_choices.clone(),
        }
    }

    /// The ways out. A demonstration warns on its page only.
    fn alerts(
        &mut self,
        events: &SyncSender<Event>,
    ) -> io::Result<(Alerts, Option<JoinHandle<()>>)> {
        let demo = self.demo.is_some();
        let wanted = if demo { Warnings::default() } else { std::mem::take(&mut self.warnings) };
        let state = self.folder.as_deref().filter(|_| !demo);
        if let Some(folder) = &self.runtime
            && let Err(why) = alert::take_request_back(folder)
        {
            tracing::warn!("{}", words::journal::old_request(&why));
        }
        let now: alert::Now = {
            let clock = self.clock.clone();
            Arc::new(move || clock.stamp())
        };
        let (dispatcher, workers) = Dispatcher::new(wanted.webhooks, wanted.commands, state, &now);
        for worker in workers {
            tokio::spawn(worker);
        }
        let led = wanted.led.map(|name| Led::new(&self.leds.join(name), state));
        let (lamp, thread) = led.map(lamp_thread).transpose()?.unzip();
        let runtime = tokio::runtime::Handle::current();
        let folders = (self.runtime.clone(), self.folder.clone());
        Ok((Alerts::new(dispatcher, lamp, runtime, events.clone(), folders), thread))
    }

    /// Nothing, where nothing can be kept.
    fn worker(
        &self,
        events: &SyncSender<Event>,
        writer: Option<Arc<history::Writer>>,
        engine: &Engine,
        now: watch::Receiver<Arc<Snapshot>>,
    ) -> io::Result<Option<Worker>> {
        let Some(folder) = self.folder.clone() else { return Ok(None) };
        let (tasks, task_list) = mpsc::channel();
        let worker = RecordWorker {
            folder,
            writer,
            outlet: outlet(events),
            log: ContactLog::new(&self.contacts),
            load: engine.load_prior(),
            now,
        };
        let thread = threads::critical("record worker", move || worker.work(task_list))?;
        Ok(Some((tasks, thread)))
    }
}

/// Where tasks for the card go, and the thread that does them.
type Worker = (mpsc::Sender<Task>, JoinHandle<()>);

impl Feed {
    /// What the event loop calls when no sweep came: a sampler that goes on without the sensor that
    /// hangs. Tells whether there was one.
    fn freeing(&self, sampler: &Sampler) -> Box<dyn FnMut() -> bool + Send> {
        let Self::Board(sweeper) = self else { return Box::new(|| false) };
        let (rescue, sampler): (Rescue, Sampler) = (sweeper.rescue(), sampler.clone());
        Box::new(move || {
            let Some(sweeper) = rescue.overdue() else { return false };
            let sampler = sampler.clone();
            threads::critical("sampler", move || sampler.run(sweeper)).is_ok()
        })
    }

    fn flow(self, sampler: Sampler, now: watch::Receiver<Arc<Snapshot>>) -> io::Result<()> {
        let body: Box<dyn FnOnce() + Send> = match self {
            Self::Board(sweeper) => Box::new(move || sampler.run(*sweeper)),
            Self::Demo(script) => Box::new(move || script.play(sampler, now)),
        };
        threads::critical("sampler", body).map(drop)
    }
}
