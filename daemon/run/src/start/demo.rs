//! Plays the demonstration: the same start of the station again and again, each on a clock of its own,
//! over a record that is thrown away.

use std::{
    fs, io,
    net::SocketAddr,
    path::{Path, PathBuf},
    sync::Arc,
};

use reckon::{belief::last_end::StopHow, words};
use tokio::{net::TcpListener, sync::oneshot};

use super::house::{House, Signals, told_to_stop};
use crate::{
    commands::cli::Run,
    event_loop::demo::{
        self,
        before::remember,
        day::{Act, Over, Script},
        steering::Steering,
    },
    host::{
        folders::{Folders, make},
        small_files::random,
        threads,
    },
    settings::Settings,
};

/// How long the board is off in the night, s.
const NIGHT_S: u32 = 20;

/// A folder of its own below the system's for such things; it goes with its owner.
struct Scratch(PathBuf);

impl Scratch {
    fn make() -> io::Result<Self> {
        let name = format!("outlast-demo-{:016x}", u64::from_le_bytes(random()));
        let folder = std::env::temp_dir().join(name);
        make(&folder)?;
        Ok(Self(folder))
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        // Whatever takes the system's folder away takes what is left of it.
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// Where a round of the demonstration keeps its record.
fn place(told: Option<&Path>) -> Result<(Folders, Option<Scratch>), String> {
    let (folders, scratch) = match told {
        Some(_) => (Folders::of_daemon(told), None),
        None => {
            let scratch = Scratch::make()
                .map_err(|why| words::journal::no_folder(&std::env::temp_dir().display(), &why))?;
            let folders =
                Folders { state: Some(scratch.0.clone()), scratch: true, ..Folders::default() };
            (folders, Some(scratch))
        }
    };
    if let Some(folder) = &folders.state
        && let Err(why) = remember(folder)
    {
        tracing::warn!("{why}");
    }
    Ok((folders, scratch))
}

/// Plays until told to stop.
///
/// # Errors
/// A sentence that says why it could not start.
pub(super) async fn play(
    run: &Run,
    settings: &Settings,
    source: Option<&Path>,
    door: (TcpListener, SocketAddr),
    signals: &mut Signals,
) -> Result<(), String> {
    let (mut folders, mut scratch) = place(run.state.as_deref())?;
    let runtime = folders.runtime.clone();
    let mut house = House::open(run, settings, source, door, runtime.as_deref()).await?;
    let steering = Arc::new(Steering::new(run.demo_speed));
    let (mut act, mut days) = (Act::Day, 0);
    loop {
        let (over, heard) = oneshot::channel();
        let hand = demo::clock(days);
        let script = Script { act, hand, steering: Arc::clone(&steering), over };
        let ended = async {
            tokio::select! {
                over = heard => over.ok(),
                () = signals.wait() => None,
            }
        };
        let welcome = (act, days) == (Act::Day, 0);
        match house.live(&folders, Some(script), welcome, ended, |_, over| how(over)).await? {
            None => break,
            Some(Over::Again) => {
                act = Act::Day;
                if scratch.is_some() {
                    // The old folder goes once the new one is there.
                    (folders, scratch) = place(None)?;
                    days = 0;
                } else {
                    days += 1;
                }
            }
            Some(Over::PowerLost | Over::SwitchedOff) => {
                if !night(&mut house, &steering, signals).await? {
                    break;
                }
                (act, days) = (Act::Morning, days + 1);
            }
        }
    }
    told_to_stop();
    house.shut().await;
    Ok(())
}

/// The mark that the record gets at such an end.
fn how(over: Option<Over>) -> Option<StopHow> {
    match over {
        None => Some(StopHow::Stopped),
        Some(Over::PowerLost) => None,
        Some(Over::SwitchedOff | Over::Again) => Some(StopHow::SwitchingOff),
    }
}

/// The board is off until the next morning; `false`: told to stop.
async fn night(
    house: &mut House<'_>,
    steering: &Arc<Steering>,
    signals: &mut Signals,
) -> Result<bool, String> {
    let pages = web::board_off(Arc::<Steering>::clone(steering), &words::ENGLISH);
    house.serve(pages.clone(), pages);
    let (over, dawn) = oneshot::channel();
    let steering = Arc::clone(steering);
    let sleeper = move || {
        steering.night(NIGHT_S);
        // Nobody waits for it once the program ends.
        let _ = over.send(());
    };
    threads::critical("night", sleeper).map_err(|why| words::terminal::no_thread(&why))?;
    Ok(tokio::select! {
        _ = dawn => true,
        () = signals.wait() => false,
    })
}
