//! What stays while the station is started, once or, in a demonstration, again and again: the doors, the
//! signals; and the order in which one start begins and ends.

use std::{
    io,
    net::SocketAddr,
    os::fd::AsFd,
    path::{Path, PathBuf},
    sync::mpsc,
    time::Duration,
};

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
    running::Parts,
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
pub(super) const OWN_SEATS: usize = 16;

/// What stays from one start of the station to the next.
pub(super) struct House<'a> {
    pub(super) run: &'a Run,
    pub(super) settings: &'a Settings,
    pub(super) source: Option<&'a Path>,
    pub(super) door: TcpListener,
    pub(super) here: SocketAddr,
    /// The socket for our own commands, and where it lies.
    pub(super) own: Option<(UnixListener, PathBuf)>,
}

impl House<'_> {
    /// One start of the station, until `over`; `how` says how the record is to be closed then.
    pub(super) async fn live<T: Copy>(
        &self,
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
        let (stop, stopped) = watch::channel(false);
        let serving = self.serve(&parts, &stopped)?;
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
        // the event loop, which lets go of the snapshot and so ends the streams; the record; the pages.
        to_the_record.abort();
        // Ended by us, or it has ended already.
        let _ = to_the_record.await;
        started.stop(&parts.clock, || how(&parts.clock, ended));
        // Nobody listens any more if every page has gone already.
        let _ = stop.send(true);
        for task in serving {
            // A page that broke down has been logged by its own thread.
            let _ = task.await;
        }
        Ok(ended)
    }

    /// Serves the pages to phones and to our own commands.
    fn serve(
        &self,
        parts: &Parts,
        stopped: &watch::Receiver<bool>,
    ) -> Result<Vec<JoinHandle<()>>, String> {
        let said = |why: io::Error| words::terminal::no_socket(&why);
        // A demonstration changes nothing that is real, and its clock runs too fast for a code.
        let pages = parts.pages(self.run.demo, self.here);
        let door = again(&self.door).map_err(said)?;
        let mut serving = vec![tokio::spawn(serve(door, pages, parts.seats, stopped.clone()))];
        if let Some((own, _)) = &self.own {
            let own = own.as_fd().try_clone_to_owned().map_err(said)?;
            let own = UnixListener::from_std(own.into()).map_err(said)?;
            serving.push(tokio::spawn(serve(
                own,
                parts.pages(true, self.here),
                OWN_SEATS,
                stopped.clone(),
            )));
        }
        Ok(serving)
    }

    /// Takes the socket away.
    pub(super) fn shut(self) {
        if let Some((_, path)) = self.own {
            // The next start takes a stale socket away as well.
            let _ = std::fs::remove_file(path);
        }
    }
}

/// The same door once more: each start serves its own pages there.
pub(super) fn again(door: &TcpListener) -> io::Result<TcpListener> {
    TcpListener::from_std(door.as_fd().try_clone_to_owned()?.into())
}

/// The socket for our own commands. One that still answers belongs to a running outlast.
pub(super) async fn own_door(
    folder: Option<&Path>,
) -> Result<Option<(UnixListener, PathBuf)>, String> {
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
