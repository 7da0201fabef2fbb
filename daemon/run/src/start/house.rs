//! What stays while the station is started, once or, in a demonstration, again and again: the doors, the
//! signals; and the order in which one start begins and ends.

use std::{
    io,
    net::SocketAddr,
    path::{Path, PathBuf},
    sync::mpsc,
    time::Duration,
};

use axum::Router;
use reckon::{belief::last_end::StopHow, words};
use tokio::{
    net::{TcpListener, UnixListener},
    signal::unix::{SignalKind, signal},
    sync::watch,
    task::JoinHandle,
    time::timeout,
};

use super::{
    requests::{hand_over, hand_over_record},
    station::station,
};
use crate::{
    commands::cli::Run,
    event_loop::demo::day::Script,
    host::{
        banner,
        clock::Clock,
        folders::{Folders, SOCKET, open_socket_to_group},
        serve::serve,
        systemd::Systemd,
    },
    settings::Settings,
};

/// Room between the threads: a minute of sweeps.
const EVENTS: usize = 64;
/// How long the welcome waits for what was found.
const FIRST_SWEEP: Duration = Duration::from_secs(3);
/// Seats for our own commands on the Unix socket.
const OWN_SEATS: usize = 16;

/// What stays from one start of the station to the next.
pub(super) struct House<'a> {
    run: &'a Run,
    settings: &'a Settings,
    source: Option<&'a Path>,
    here: SocketAddr,
    /// Where the socket for our own commands lies.
    socket: Option<PathBuf>,
    doors: Option<(TcpListener, Option<UnixListener>)>,
    serving: Option<Serving>,
}

/// What is served at the doors.
struct Serving {
    pages: watch::Sender<Router>,
    own: watch::Sender<Router>,
    stop: watch::Sender<bool>,
    tasks: Vec<JoinHandle<()>>,
}

impl<'a> House<'a> {
    /// Opens the socket in this folder beside the door.
    ///
    /// # Errors
    /// A sentence, when another outlast runs here.
    pub(super) async fn open(
        run: &'a Run,
        settings: &'a Settings,
        source: Option<&'a Path>,
        (door, here): (TcpListener, SocketAddr),
        runtime: Option<&Path>,
    ) -> Result<Self, String> {
        let (own, socket) = own_door(runtime).await?.unzip();
        let doors = Some((door, own));
        Ok(Self { run, settings, source, here, socket, doors, serving: None })
    }

    /// One start of the station, until `over`; `how` says how the record is to be closed then.
    pub(super) async fn live<T: Copy>(
        &mut self,
        folders: &Folders,
        script: Option<Script>,
        welcome: bool,
        over: impl Future<Output = T>,
        how: impl FnOnce(&Clock, T) -> Option<StopHow>,
    ) -> Result<T, String> {
        let (events, event_list) = mpsc::sync_channel(EVENTS);
        let station = station(self.run, self.settings.clone(), folders, script, &events);
        let (mut parts, mut started) =
            station.start(events, event_list).map_err(|why| words::terminal::no_thread(&why))?;
        // A demonstration changes nothing that is real, and its clock runs too fast for a code.
        let (pages, own) = (parts.pages(self.run.demo, self.here), parts.pages(true, self.here));
        self.serve(pages, own);
        tokio::spawn(hand_over(parts.asked.take(), started.events.clone()));
        let (tasks, events) = (started.tasks.take(), started.events.clone());
        let to_the_record =
            tokio::spawn(hand_over_record(parts.record_asked.take(), tasks, events));
        Systemd::from_environment().ready();
        if welcome {
            // What was found is known with the first sweep.
            let mut first = parts.now.clone();
            let found = first.wait_for(|snapshot| !snapshot.sources.is_empty());
            let _ = timeout(FIRST_SWEEP, found).await;
            parts.say_banner(self.here, self.source, folders.told());
        }

        let ended = over.await;
        // In this order: nothing more for the record, whose worker ends when nobody can give it a task;
        // the event loop, which lets go of the snapshot and so ends the streams; the record.
        to_the_record.abort();
        // Ended by us, or it has ended already.
        let _ = to_the_record.await;
        started.stop(&parts.clock, || how(&parts.clock, ended));
        Ok(ended)
    }

    /// Serves these pages from now on: to phones, and to our own commands.
    pub(super) fn serve(&mut self, pages: Router, own: Router) {
        if let Some(serving) = &self.serving {
            drop(serving.pages.send_replace(pages));
            drop(serving.own.send_replace(own));
            return;
        }
        let Some((door, own_door)) = self.doors.take() else { return };
        let (stop, stopped) = watch::channel(false);
        let (pages, to_phones) = watch::channel(pages);
        let (own, to_commands) = watch::channel(own);
        let seats = usize::from(self.settings.connections);
        let mut tasks = vec![tokio::spawn(serve(door, to_phones, seats, stopped.clone()))];
        if let Some(door) = own_door {
            tasks.push(tokio::spawn(serve(door, to_commands, OWN_SEATS, stopped)));
        }
        self.serving = Some(Serving { pages, own, stop, tasks });
    }

    /// Lets running answers end, and takes the socket away.
    pub(super) async fn shut(self) {
        if let Some(serving) = self.serving {
            // Nobody listens any more if every page has gone already.
            let _ = serving.stop.send(true);
            for task in serving.tasks {
                // A page that broke down has been logged by its own thread.
                let _ = task.await;
            }
        }
        if let Some(path) = self.socket {
            // The next start takes a stale socket away as well.
            let _ = std::fs::remove_file(path);
        }
    }
}

/// The socket for our own commands. One that still answers belongs to a running outlast.
async fn own_door(folder: Option<&Path>) -> Result<Option<(UnixListener, PathBuf)>, String> {
    let Some(path) = folder.map(|f| f.join(SOCKET)) else { return Ok(None) };
    if tokio::net::UnixStream::connect(&path).await.is_ok() {
        return Err(banner::already_runs(&path));
    }
    let opened = || -> io::Result<UnixListener> {
        match std::fs::remove_file(&path) {
            Err(why) if why.kind() != io::ErrorKind::NotFound => return Err(why),
            _ => {}
        }
        let door = UnixListener::bind(&path)?;
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

pub(super) fn told_to_stop() {
    Systemd::from_environment().stopping();
    tracing::info!("{}", words::journal::TOLD_TO_STOP);
}

pub(super) struct Signals {
    term: tokio::signal::unix::Signal,
    int: tokio::signal::unix::Signal,
}

impl Signals {
    pub(super) fn new() -> io::Result<Self> {
        Ok(Self { term: signal(SignalKind::terminate())?, int: signal(SignalKind::interrupt())? })
    }

    pub(super) async fn wait(&mut self) {
        tokio::select! {
            _ = self.term.recv() => {}
            _ = self.int.recv() => {}
        }
    }
}
