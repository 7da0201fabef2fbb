//! The only place that starts anything: folders, threads, sockets; and the order in which they
//! stop.

mod requests;
mod running;
mod station;

use std::{
    io,
    path::{Path, PathBuf},
    sync::mpsc,
    time::Duration,
};

use reckon::words;
use tokio::{
    net::{TcpListener, UnixListener},
    signal::unix::{SignalKind, signal},
    sync::watch,
    time::timeout,
};

use crate::{
    commands::cli::Run,
    host::{
        banner,
        folders::{Folders, SOCKET, open_socket_to_group},
        serve::serve,
        systemd::Systemd,
    },
    settings::Settings,
};
use requests::{hand_over, hand_over_record};
use station::station;

/// Room between the threads: a minute of sweeps.
const EVENTS: usize = 64;
/// How long the welcome waits for what was found.
const FIRST_SWEEP: Duration = Duration::from_secs(3);
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
