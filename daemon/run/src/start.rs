//! The only place that starts anything: folders, threads, sockets; and the order in which they
//! stop.

use std::{
    io,
    net::SocketAddr,
    path::{Path, PathBuf},
    sync::{
        Arc,
        mpsc::{self, Receiver, SyncSender, TrySendError},
    },
    thread::JoinHandle,
    time::Duration,
};

use alert::{Dispatcher, Led};
use axum::routing::get;
use probe::{Rescue, Sweeper, Want};
use reckon::{
    engine::{Command, Engine, Refusal, Resume, Setup, Start},
    reading::BoardFacts,
    record::RecordCommand,
    snapshot::Snapshot,
    words,
};
use tokio::{
    net::{TcpListener, UnixListener},
    signal::unix::{SignalKind, signal},
    sync::{mpsc as tokio_mpsc, watch},
    time::{sleep, timeout},
};
use web::{Pairing, RecordStatus, Request, Shown};

use crate::{
    commands::{cli::Run, now::GLANCE},
    event_loop::{
        alerts::{Alerts, lamp_thread},
        demo,
        event::{Event, outlet},
        sampler::Sampler,
        state::{EventLoop, RecordSession},
    },
    host::{
        banner,
        clock::{Clock, HandClock},
        folders::{Folders, SOCKET, open_socket_to_group},
        now_text, phone_clock,
        serve::serve,
        small_files, stop_reason,
        systemd::Systemd,
        threads,
    },
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

/// Room between the threads: a minute of sweeps.
const EVENTS: usize = 64;
/// How long the welcome waits for what was found.
const FIRST_SWEEP: Duration = Duration::from_secs(3);
/// An ask waits for room in an event loop that is behind, this often and this long.
const BUSY_TRIES: u32 = 150;
const BUSY_WAIT: Duration = Duration::from_millis(20);
/// Seats for our own commands on the Unix socket.
const OWN_SEATS: usize = 16;

/// Runs until told to stop.
///
/// # Errors
/// A sentence that says why it could not start.
pub(crate) fn run(run: &Run, settings: Settings, source: Option<&Path>) -> Result<(), String> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .max_blocking_threads(2)
        .thread_stack_size(256 * 1024)
        .build()
        .map_err(|why| words::terminal::no_thread(&why))?;
    runtime.block_on(live(run, settings, source))
}

async fn live(run: &Run, settings: Settings, source: Option<&Path>) -> Result<(), String> {
    // Before anything is touched: may we have the port at all?
    let listen = run.listen.unwrap_or(settings.listen);
    let door = TcpListener::bind(listen).await.map_err(|why| banner::port_refused(listen, &why))?;
    let here = door.local_addr().unwrap_or(listen);
    let folders = folders(run);
    let own_door = own_door(folders.runtime.as_deref()).await?;
    let mut signals = Signals::new().map_err(|why| words::terminal::no_signals(&why))?;

    let (events, event_list) = mpsc::sync_channel(EVENTS);
    let station = station(run, settings, &folders, &events);
    let (mut parts, mut started) =
        station.start(events, event_list).map_err(|why| words::terminal::no_thread(&why))?;
    let (stop, stopped) = watch::channel(false);
    // A demonstration changes nothing that is real, and its clock runs too fast for a code.
    let pages = parts.pages(run.demo);
    let mut serving = vec![tokio::spawn(serve(door, pages, parts.seats, stopped.clone()))];
    if let Some((own, _)) = own_door.as_ref() {
        let own = UnixListener::from_std(own.try_clone().map_err(|why| why.to_string())?)
            .map_err(|why| words::terminal::no_socket(&why))?;
        serving.push(tokio::spawn(serve(own, parts.pages(true), OWN_SEATS, stopped)));
    }
    tokio::spawn(hand_over(parts.asked.take(), started.events.clone()));
    let (tasks, events) = (started.tasks.take(), started.events.clone());
    let to_the_record = tokio::spawn(hand_over_record(parts.record_asked.take(), tasks, events));
    let ready = Systemd::from_environment();
    ready.ready();
    // What was found is known with the first sweep.
    let mut first = parts.now.clone();
    let _ = timeout(FIRST_SWEEP, first.wait_for(|snapshot| !snapshot.sources.is_empty())).await;
    parts.say_banner(here, source, folders.state.as_deref());

    signals.wait().await;
    ready.stopping();
    tracing::info!("{}", words::journal::TOLD_TO_STOP);
    // In this order: nothing more for the record, whose worker ends when nobody can give it a task;
    // the event loop, which lets go of the snapshot and so ends the streams; the record; the pages.
    to_the_record.abort();
    // Ended by us, or it has ended already.
    let _ = to_the_record.await;
    started.stop(&parts.clock);
    // Nobody listens any more if every page has gone already.
    let _ = stop.send(true);
    for task in serving {
        // A page that broke down has been logged by its own thread.
        let _ = task.await;
    }
    if let Some((_, path)) = own_door {
        // The next start takes a stale socket away as well.
        let _ = std::fs::remove_file(path);
    }
    Ok(())
}

/// A demonstration keeps nothing, unless it is told where.
fn folders(run: &Run) -> Folders {
    if run.demo && run.state.is_none() {
        Folders::default()
    } else {
        Folders::of_daemon(run.state.as_deref())
    }
}

/// The socket for our own commands. One that still answers belongs to a running outlast.
async fn own_door(
    folder: Option<&Path>,
) -> Result<Option<(std::os::unix::net::UnixListener, PathBuf)>, String> {
    let Some(path) = folder.map(|f| f.join(SOCKET)) else { return Ok(None) };
    if tokio::net::UnixStream::connect(&path).await.is_ok() {
        return Err(banner::already_runs(&path));
    }
    let opened = || -> io::Result<std::os::unix::net::UnixListener> {
        match std::fs::remove_file(&path) {
            Err(why) if why.kind() != io::ErrorKind::NotFound => return Err(why),
            _ => {}
        }
        let door = std::os::unix::net::UnixListener::bind(&path)?;
        door.set_nonblocking(true)?;
        open_socket_to_group(&path)?;
        Ok(door)
    };
    match opened() {
        Ok(door) => Ok(Some((door, path))),
        Err(why) => {
            tracing::warn!("{}", words::journal::no_socket(&path.display(), &why));
            Ok(None)
        }
    }
}

/// Everything that is needed to start the threads.
struct Station {
    clock: Clock,
    feed: Feed,
    setup: Setup,
    folder: Option<PathBuf>,
    pairing: Arc<Pairing>,
    trouble: Option<String>,
    seats: usize,
    hosts: Vec<String>,
    record: Option<Opened>,
    may_set_clock: bool,
    contacts: ContactsWant,
    warnings: Warnings,
    runtime: Option<PathBuf>,
    leds: PathBuf,
}

/// Where the sweeps come from.
enum Feed {
    Board(Box<Sweeper>),
    Demo(HandClock, u16),
}

fn station(
    run: &Run,
    settings: Settings,
    folders: &Folders,
    events: &SyncSender<Event>,
) -> Station {
    let (clock, feed, facts) = source(run, &settings);
    let found = folders.state.as_deref().map(choices_file::load);
    let (secret, secret_kept) = small_files::secret(folders.state.as_deref());
    let mut trouble = folders.trouble.clone();
    for more in found.iter().filter_map(|f| f.trouble.clone()).chain(secret_kept.err()) {
        tracing::warn!("{more}");
        trouble.get_or_insert(more);
    }
    let mut setup = if run.demo { demo::setup(facts) } else { setup(&settings, facts) };
    let boot = setup.facts.boot_id.clone();
    let opened = folders.state.as_deref().map(|folder| {
        open::open(folder, &settings.record, boot.as_deref(), &clock, outlet(events))
    });
    let record = opened.and_then(|opened| {
        opened.inspect_err(|why| tracing::warn!("{}", words::journal::not_recorded(&why))).ok()
    });
    if !run.demo {
        let root = run.sysroot.clone().unwrap_or_else(|| PathBuf::from("/"));
        setup.power_off.unit = alert::unit_is_enabled(&root);
    }
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
        pairing: Arc::new(Pairing::new(secret, small_files::random)),
        trouble,
        seats: usize::from(settings.connections),
        hosts: banner::own_names(settings.hosts),
        record,
        may_set_clock: settings.set_clock_from_phone && phone_clock::may_set(),
        contacts: settings.contacts,
        warnings: settings.warnings,
        runtime: folders.runtime.clone(),
        leds: run.sysroot.clone().unwrap_or_else(|| PathBuf::from("/")).join("sys/class/leds"),
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
fn source(run: &Run, settings: &Settings) -> (Clock, Feed, BoardFacts) {
    if run.demo {
        let hand = demo::clock();
        return (Clock::by_hand(hand.clone()), Feed::Demo(hand, run.demo_speed), demo::facts());
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

fn setup(settings: &Settings, mut facts: BoardFacts) -> Setup {
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
        power_off: settings.warnings.power_off,
        ..Setup::default()
    }
}

/// What the pages are made from.
struct Parts {
    clock: Clock,
    now: watch::Receiver<Arc<Snapshot>>,
    asks: tokio_mpsc::Sender<Request<Command, Refusal>>,
    asked: Option<tokio_mpsc::Receiver<Request<Command, Refusal>>>,
    record_asks: tokio_mpsc::Sender<Request<RecordCommand>>,
    record_asked: Option<tokio_mpsc::Receiver<Request<RecordCommand>>>,
    record_status: watch::Receiver<Arc<RecordStatus>>,
    past: Arc<StoreReader>,
    pairing: Arc<Pairing>,
    trouble: Option<String>,
    seats: usize,
    hosts: Vec<String>,
}

impl Parts {
    /// Says where the page is and what was found.
    fn say_banner(&self, listen: SocketAddr, settings: Option<&Path>, state: Option<&Path>) {
        banner::say(&banner::Banner {
            listen,
            settings,
            state,
            snapshot: &self.now.borrow().clone(),
            pin: &self.pairing.pin(self.clock.mono()),
            trouble: self.trouble.as_deref(),
        });
    }

    fn pages(&self, own: bool) -> axum::Router {
        let shown = Shown {
            now: self.now.clone(),
            asks: self.asks.clone(),
            pairing: Arc::clone(&self.pairing),
            hosts: self.hosts.clone(),
            past: self.past.clone(),
            record: self.record_asks.clone(),
            record_status: self.record_status.clone(),
            clock: Arc::new(self.clock.clone()),
            language: &words::ENGLISH,
        };
        if !own {
            return web::pages(shown);
        }
        let now = self.now.clone();
        let glance = move || std::future::ready(now_text::text(&now.borrow()));
        web::socket(shown).route(GLANCE, get(glance))
    }
}

/// The running threads.
struct Started {
    events: SyncSender<Event>,
    tasks: Option<mpsc::Sender<Task>>,
    event_loop: JoinHandle<()>,
    /// The record worker and the lamp.
    others: [Option<JoinHandle<()>>; 2],
    writer: Option<Arc<history::Writer>>,
}

impl Started {
    /// Ends the event loop, then the record worker and the lamp (which lets the LED be as before), then the
    /// record; the sampler ends with the process.
    fn stop(self, clock: &Clock) {
        // If the event loop has gone the process has ended already.
        let _ = self.events.send(Event::Stop);
        for thread in std::iter::once(self.event_loop).chain(self.others.into_iter().flatten()) {
            // A thread that broke down has ended the process.
            let _ = thread.join();
        }
        let Some(writer) = self.writer.and_then(Arc::into_inner) else { return };
        let (at_s, how) = (clock.mono().as_s(), stop_reason::how(clock));
        if let Err(trouble) = writer.stop(at_s, how) {
            tracing::warn!("{}", words::journal::end_not_marked(&trouble));
        }
    }
}

impl Station {
    fn start(
        mut self,
        events: SyncSender<Event>,
        event_list: Receiver<Event>,
    ) -> io::Result<(Parts, Started)> {
        let at = self.clock.stamp();
        let boot_id = self.setup.facts.boot_id.clone();
        let mut engine = Engine::new(self.setup.clone(), at);
        let opened = self.record.take();
        let writer = opened.as_ref().map(|opened| Arc::clone(&opened.writer));
        let record = opened.map(|opened| self.record(opened, &mut engine));
        let (show, now) = watch::channel(engine.tick(at));
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
        self.feed.flow(sampler)?;
        let parts = Parts {
            clock: self.clock,
            now,
            asks,
            asked: Some(asked),
            record_asks,
            record_asked: Some(record_asked),
            record_status: keeping_shown,
            past: Arc::new(StoreReader::new(self.folder.as_deref())),
            pairing: self.pairing,
            trouble: self.trouble,
            seats: self.seats,
            hosts: self.hosts,
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
        let demo = self.setup.demo;
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

    fn flow(self, sampler: Sampler) -> io::Result<()> {
        let body: Box<dyn FnOnce() + Send> = match self {
            Self::Board(sweeper) => Box::new(move || sampler.run(*sweeper)),
            Self::Demo(hand, speed) => Box::new(move || demo::play(&hand, &sampler, speed)),
        };
        threads::critical("sampler", body).map(drop)
    }
}

/// Hands what the pages ask for to the event loop; sleeps while nobody asks.
async fn hand_over(
    requests: Option<tokio_mpsc::Receiver<Request<Command, Refusal>>>,
    events: SyncSender<Event>,
) {
    let Some(mut requests) = requests else { return };
    while let Some(request) = requests.recv().await {
        put(Event::Command(request), &events).await;
    }
}

/// What the running state has a part in goes to the event loop, all else straight to the record
/// worker.
async fn hand_over_record(
    requests: Option<tokio_mpsc::Receiver<Request<RecordCommand>>>,
    tasks: Option<mpsc::Sender<Task>>,
    events: SyncSender<Event>,
) {
    let Some(mut requests) = requests else { return };
    while let Some(request) = requests.recv().await {
        match request.command {
            RecordCommand::Mark { .. }
            | RecordCommand::PhoneClock { .. }
            | RecordCommand::SetClock
            | RecordCommand::StopTest
            | RecordCommand::GoesOn { .. } => put(Event::RecordCommand(request), &events).await,
            _ => Task::hand_over(tasks.as_ref(), request),
        }
    }
}

/// An event loop that is a minute behind has other worries; dropping a request in the end answers
/// 'busy'.
async fn put(mut event: Event, events: &SyncSender<Event>) {
    for _ in 0..BUSY_TRIES {
        match events.try_send(event) {
            Ok(()) | Err(TrySendError::Disconnected(_)) => return,
            Err(TrySendError::Full(back)) => event = back,
        }
        sleep(BUSY_WAIT).await;
    }
}

struct Signals {
    term: tokio::signal::unix::Signal,
    int: tokio::signal::unix::Signal,
}

impl Signals {
    fn new() -> io::Result<Self> {
        Ok(Self { term: signal(SignalKind::terminate())?, int: signal(SignalKind::interrupt())? })
    }

    async fn wait(&mut self) {
        tokio::select! {
            _ = self.term.recv() => {}
            _ = self.int.recv() => {}
        }
    }
}
