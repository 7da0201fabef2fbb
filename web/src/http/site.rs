//! What all handlers share: the newest snapshot, whom to ask, the record to be read, who may change
//! things. Reading the record blocks, so it runs on the blocking pool, a few at once.

use std::sync::Arc;

use axum::http::{HeaderMap, StatusCode};
use reckon::{
    engine::{Command, Refusal},
    record::RecordCommand,
    snapshot::Snapshot,
    words::{self, Language},
};
use tokio::sync::{Semaphore, mpsc, mpsc::error::TrySendError, oneshot, watch};

use crate::{
    http::{
        bodies::Bodies,
        pairing::Pairing,
        problem::{self, Problem, busy},
        rendered::{Cache, Rendered},
        streams::Streams,
    },
    record::{Clock, NoRecord, RecordReader, RecordStatus},
};

/// Upper limit of readings of the past at once; others wait their turn. One phone that asks for a
/// year of record must not take the threads of everybody.
const AT_ONCE: usize = 2;
/// Upper limit of those that wait; beyond it they are told to come back.
const MAY_WAIT: usize = 16;

/// A command and where its answer goes; by default a refusal is a sentence for a person.
#[derive(Debug)]
pub struct Request<C, E = String> {
    /// What is asked for.
    pub command: C,
    /// Where the answer goes.
    pub answer: oneshot::Sender<Result<(), E>>,
}

/// What the pages show and whom they ask.
#[derive(Clone)]
pub struct Shown {
    /// The newest snapshot.
    pub now: watch::Receiver<Arc<Snapshot>>,
    /// The owner of the state.
    pub asks: mpsc::Sender<Request<Command, Refusal>>,
    /// Who may change things.
    pub pairing: Arc<Pairing>,
    /// Names that the board answers to, besides IP addresses and `localhost`: its host name, and
    /// that with `.local`. Without port.
    pub hosts: Vec<String>,
    /// The record, to be read.
    pub past: Arc<dyn RecordReader>,
    /// Whoever changes what is kept.
    pub record: mpsc::Sender<Request<RecordCommand>>,
    /// How the record and its clock are doing.
    pub record_status: watch::Receiver<Arc<RecordStatus>>,
    /// Tells the moment, for the comparison with a phone's clock.
    pub clock: Arc<dyn Clock>,
    /// What the pages speak.
    pub language: &'static Language,
}

/// What every handler shares.
pub(crate) struct Parts {
    pub(crate) shown: Shown,
    /// Who may wait for a reading of the past, and whose turn it is.
    line: Semaphore,
    turns: Arc<Semaphore>,
    /// Whose large bodies are on their way in, and whose contact log is read: one at a time.
    pub(crate) bodies: Bodies,
    pub(crate) logs: Semaphore,
    /// Whether whoever can reach this may change things without pairing.
    pub(crate) trusted: bool,
    cache: Cache,
    pub(crate) streams: Streams,
}

pub(crate) type Site = Arc<Parts>;

impl Parts {
    pub(crate) fn new(shown: Shown, trusted: bool) -> Self {
        Self {
            shown,
            line: Semaphore::new(AT_ONCE + MAY_WAIT),
            turns: Arc::new(Semaphore::new(AT_ONCE)),
            bodies: Bodies::default(),
            logs: Semaphore::new(1),
            trusted,
            cache: Cache::default(),
            streams: Streams::default(),
        }
    }

    pub(crate) fn snapshot(&self) -> Arc<Snapshot> {
        Arc::clone(&self.shown.now.borrow())
    }

    pub(crate) fn record_status(&self) -> Arc<RecordStatus> {
        Arc::clone(&self.shown.record_status.borrow())
    }

    /// Whether whoever sent this may change things.
    pub(crate) fn may_change(&self, headers: &HeaderMap) -> bool {
        self.trusted || self.shown.pairing.knows(headers, self.snapshot().at)
    }

    /// What is made of the newest snapshot.
    pub(crate) fn rendered(&self) -> Arc<Rendered> {
        self.rendering(&self.snapshot())
    }

    pub(crate) fn rendering(&self, snapshot: &Arc<Snapshot>) -> Arc<Rendered> {
        self.cache.rendering(snapshot, self.record_status())
    }

    /// Reads the record on the blocking pool, opened once and of one moment.
    pub(crate) async fn read_record<T: Send + 'static>(
        &self,
        read: impl FnOnce(&dyn RecordReader) -> Result<T, NoRecord> + Send + 'static,
    ) -> Result<T, Problem> {
        let crowded = || busy(words::refusal::TOO_MANY_READERS);
        let _in_line = self.line.try_acquire().map_err(|_| crowded())?;
        let turn = Arc::clone(&self.turns).acquire_owned().await;
        let turn = turn.map_err(|_| crowded())?;
        let past = Arc::clone(&self.shown.past);
        let done = tokio::task::spawn_blocking(move || {
            // Held to the end of the reading, also when the asker has gone away meanwhile.
            let _turn = turn;
            let held = past.at_one_moment()?;
            read(held.as_deref().unwrap_or(&*past))
        });
        match done.await {
            Ok(Ok(told)) => Ok(told),
            Ok(Err(gone)) => Err(no_record(gone)),
            Err(error) => {
                tracing::error!(%error, "a reading of the record fell");
                Err(Problem::from_status(StatusCode::INTERNAL_SERVER_ERROR))
            }
        }
    }

    /// Asks the owner of the state and waits for the word.
    pub(crate) async fn command(&self, command: Command) -> Result<(), Problem> {
        let word = asked(&self.shown.asks, command).await?;
        word.map_err(|refusal| problem::refused(&refusal))
    }

    /// Asks whoever keeps the record and waits for the word.
    pub(crate) async fn record_command(&self, command: RecordCommand) -> Result<(), Problem> {
        let word = asked(&self.shown.record, command).await?;
        word.map_err(|say| Problem::new(StatusCode::CONFLICT, "record-refused", "Not changed", say))
    }
}

/// Sends a command and waits for the word.
async fn asked<C, E>(
    to: &mpsc::Sender<Request<C, E>>,
    command: C,
) -> Result<Result<(), E>, Problem> {
    let stopping = || busy(words::refusal::STOPPING);
    let (answer, heard) = oneshot::channel();
    to.try_send(Request { command, answer }).map_err(|error| match error {
        TrySendError::Full(_) => busy(words::refusal::TOO_MANY_ASKS),
        TrySendError::Closed(_) => stopping(),
    })?;
    heard.await.map_err(|_| stopping())
}

fn no_record(gone: NoRecord) -> Problem {
    Problem::new(
        StatusCode::SERVICE_UNAVAILABLE,
        "no-record",
        words::refusal::UNREADABLE_TITLE,
        gone.say,
    )
    .retry_after(60)
}
