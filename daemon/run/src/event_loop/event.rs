//! Whatever can happen to the event loop.

use std::sync::mpsc::SyncSender;

use reckon::{
    engine::{Command, Refusal},
    reading::Sweep,
    record::RecordCommand,
    snapshot::{DemoShown, Footprint},
    time::Stamp,
};
use web::Request;

use crate::record::update::{Outlet, RecordEvent};

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
    /// The record has something to say.
    Record(RecordEvent),
    /// Somebody wants something of the record that the running state has a part in.
    RecordCommand(Request<RecordCommand>),
    /// Whoever had to save before switching off has done so.
    Saved,
    /// The demonstration shows another part, or stands still.
    Demo(DemoShown),
    /// End.
    Stop,
}

/// How the record reaches the event loop. What it teaches must arrive; of all else an event loop that
/// is too busy hears with the next change.
pub(crate) fn outlet(events: &SyncSender<Event>) -> Outlet {
    let events = events.clone();
    Box::new(move |event| match event {
        RecordEvent::Update(_) => events.send(Event::Record(event)).is_ok(),
        _ => events.try_send(Event::Record(event)).is_ok(),
    })
}
