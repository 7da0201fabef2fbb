//! The only place that starts anything: folders, threads, sockets; and the order in which they
//! stop.

mod demo;
mod house;
mod requests;
mod running;
mod station;

use std::path::Path;

use reckon::words;
use tokio::net::TcpListener;

use crate::{
    commands::cli::Run,
    host::{banner, folders::Folders, stop_reason},
    settings::Settings,
};
use house::{House, Signals, told_to_stop};

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
    let mut signals = Signals::new().map_err(|why| words::terminal::no_signals(&why))?;
    if run.demo {
        return demo::play(run, &settings, source, (door, here), &mut signals).await;
    }
    let folders = Folders::of_daemon(run.state.as_deref());
    let (door, runtime) = ((door, here), folders.runtime.as_deref());
    let mut house = House::open(run, &settings, source, door, runtime).await?;
    let ended = async {
        signals.wait().await;
        told_to_stop();
    };
    house.live(&folders, None, true, ended, |clock, ()| Some(stop_reason::how(clock))).await?;
    house.shut().await;
    Ok(())
}
