//! The way of what a page asks for: to the event loop, or straight to the record worker.

use std::{
    sync::mpsc::{Sender, SyncSender, TrySendError},
    time::Duration,
};

use reckon::{
    engine::{Command, Refusal},
    record::RecordCommand,
};
use tokio::{sync::mpsc::Receiver, time::sleep};
use web::Request;

use crate::{event_loop::event::Event, record::update::Task};

/// An ask waits for room in an event loop that is behind, this often and this long.
const BUSY_TRIES: u32 = 150;
const BUSY_WAIT: Duration = Duration::from_millis(20);

/// Hands what the pages ask for to the event loop; sleeps while nobody asks.
pub(super) async fn hand_over(
    requests: Option<Receiver<Request<Command, Refusal>>>,
    events: SyncSender<Event>,
) {
    let Some(mut requests) = requests else { return };
    while let Some(request) = requests.recv().await {
        put(Event::Command(request), &events).await;
    }
}

/// What the running state has a part in goes to the event loop, all else straight to the record
/// worker.
pub(super) async fn hand_over_record(
    requests: Option<Receiver<Request<RecordCommand>>>,
    tasks: Option<Sender<Task>>,
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
