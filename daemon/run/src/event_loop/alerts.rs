//! Hands what the engine says to the ways out, and carries out what the clean power-off orders.

use std::{
    path::PathBuf,
    sync::mpsc::{self, Sender, SyncSender},
    thread::JoinHandle,
    time::Duration,
};

use alert::{Dispatcher, Lamp, Led, Notification};
use reckon::{
    alarm::Edge,
    power_off::{Order, PowerOff},
    snapshot::{Alarm, Snapshot},
    words,
};
use tokio::runtime::Handle;

use crate::{
    event_loop::event::Event,
    host::{now_text::plain_spaces, threads},
};

/// Time that all commands that save have together; less than the engine waits.
const SAVING: Duration = Duration::from_secs(45);

/// Everything that warns besides the page and the journal.
pub(crate) struct Alerts {
    dispatcher: Dispatcher,
    lamp: Option<Sender<Lamp>>,
    runtime: Handle,
    events: SyncSender<Event>,
    /// Where the request to switch off is made.
    request: Option<PathBuf>,
    /// Whose file system is synced first.
    card: Option<PathBuf>,
}

impl Alerts {
    /// Made of these; commands run on `runtime`, and their end comes as an event.
    pub(crate) fn new(
        dispatcher: Dispatcher,
        lamp: Option<Sender<Lamp>>,
        runtime: Handle,
        events: SyncSender<Event>,
        (request, card): (Option<PathBuf>, Option<PathBuf>),
    ) -> Self {
        Self { dispatcher, lamp, runtime, events, request, card }
    }

    /// Tells of what has changed.
    pub(crate) fn tell(&self, snapshot: &Snapshot, edges: &[Edge]) {
        for edge in edges {
            self.dispatcher.send(&Notification::of_edge(edge, snapshot));
        }
        if let Some(lamp) = &self.lamp {
            // A lamp that broke down has been said.
            let _ = lamp.send(lamp_of(snapshot));
        }
    }

    /// Carries out an order; `true` when the board is to be switched off after this: then the
    /// record is closed first and [`Alerts::switch_off`] called.
    pub(crate) fn carry_out(&self, order: Order, snapshot: &Snapshot) -> bool {
        match order {
            Order::Announce { .. } => {
                let note = Notification::countdown(snapshot);
                tracing::warn!(event = "power_off_counting", "{} {}", note.text, note.meaning);
                self.dispatcher.send(&note);
            }
            Order::CallOff(why) => {
                let said = plain_spaces(&words::called_off(why));
                tracing::info!(event = "power_off_called_off", "{said}");
                self.dispatcher.send(&Notification::called_off(why, snapshot));
            }
            Order::Save => {
                tracing::warn!(event = "saving", "{}", words::journal::PROGRAMS_SAVE);
                let (dispatcher, note) = (self.dispatcher.clone(), Notification::saving(snapshot));
                let events = self.events.clone();
                self.runtime.spawn(async move {
                    dispatcher.save(&note, SAVING).await;
                    // An event loop that is a minute behind goes on by itself when its patience ends.
                    let _ = events.try_send(Event::Saved);
                });
            }
            Order::SwitchOff => return true,
        }
        false
    }

    /// Lets everything reach the card, then asks for the board to be switched off.
    pub(crate) fn switch_off(&self) -> Result<(), String> {
        let Some(folder) = &self.request else {
            return Err(words::terminal::NO_RUNTIME_FOLDER.to_owned());
        };
        if let Some(card) = &self.card
            && let Err(why) = alert::sync_card(card)
        {
            // Switching off cleanly syncs once more; a bank that cuts out would not.
            tracing::warn!("{}", words::journal::not_synced(&why));
        }
        alert::make_request(folder, words::terminal::NEARLY_EMPTY)
            .map_err(|why| words::terminal::no_request(&folder.display(), &why))
    }
}

/// What the lamp says of this moment: the most urgent that is awake.
fn lamp_of(snapshot: &Snapshot) -> Lamp {
    if matches!(
        snapshot.power_off,
        PowerOff::Counting { .. } | PowerOff::Saving { .. } | PowerOff::Closing { .. }
    ) {
        return Lamp::Countdown;
    }
    let awake = |alarm: &&Alarm| alarm.asleep_until.is_none();
    let mut all = snapshot.alarms.iter().filter(awake).peekable();
    if all.peek().is_none() {
        Lamp::AsBefore
    } else if all.any(|alarm| alarm.about.is_urgent()) {
        Lamp::Urgent
    } else {
        Lamp::Notice
    }
}

/// A thread of its own for the LED: its memory is written to the card, which may be slow. It ends,
/// and puts the LED back, when nobody sends any more.
pub(crate) fn lamp_thread(mut led: Led) -> std::io::Result<(Sender<Lamp>, JoinHandle<()>)> {
    let (lamp, wanted) = mpsc::channel();
    let thread = threads::critical("lamp", move || {
        let mut said = false;
        for lamp in wanted {
            match led.show(lamp) {
                Ok(()) => said = false,
                Err(why) if !said => {
                    tracing::warn!("{why}.");
                    said = true;
                }
                Err(_) => {}
            }
        }
    })?;
    Ok((lamp, thread))
}
