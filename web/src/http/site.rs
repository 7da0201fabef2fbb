//! What all handlers share: the newest snapshot, whom to ask, the record to be read, who may change
//! things. Reading the record blocks, so it runs on the blocking pool.

use std::sync::{
    Arc,
    atomic::{AtomicBool, Ordering},
};

use axum::http::{HeaderMap, StatusCode};
use reckon::{
    engine::{Command, Refusal},
    plan::Known,
    record::{Outing, Page, RecordCommand, Series},
    report::{BankTally, OutingReport},
    snapshot::Snapshot,
    words::{self, Language},
};
use tokio::sync::{Semaphore, mpsc, mpsc::error::TrySendError, oneshot, watch};

use crate::{
    demo::Demonstration,
    http::{
        bodies::Bodies,
        pairing::Pairing,
        problem::{self, Problem, busy},
        recent::Recent,
        rendered::{Cache, Rendered},
        sending::Seats,
        streams::Streams,
        turns::Turns,
    },
    record::{BankShown, Clock, NoRecord, RecordReader, RecordStatus},
};

/// Where a change is that was carried out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kept {
    /// On the card: a restart finds it there.
    OnCard,
    /// In memory, until the card can be written to.
    InMemory,
}

/// A command and where its answer goes; by default a refusal is a sentence for a person.
#[derive(Debug)]
pub struct Request<C, E = String> {
    /// What is asked for.
    pub command: C,
    /// Where the answer goes.
    pub answer: oneshot::Sender<Result<Kept, E>>,
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
    /// Tells the moment: beside a phone's clock, and before and after a reading.
    pub clock: Arc<dyn Clock>,
    /// What the pages speak.
    pub language: &'static Language,
    /// Steers the demonstration, where all of it is made up.
    pub demo: Option<Arc<dyn Demonstration>>,
}

/// What every handler shares.
pub(crate) struct Parts {
    pub(crate) shown: Shown,
    /// Whose turn it is to read the past, and who may have a file sent.
    pub(crate) turns: Turns,
    pub(crate) files: Seats,
    pub(crate) readings: Readings,
    /// Whose large bodies are on their way in, and whose contact log is read: one at a time.
    pub(crate) bodies: Bodies,
    pub(crate) logs: Semaphore,
    /// Whether whoever can reach this may change things without pairing.
    pub(crate) trusted: bool,
    cache: Cache,
    pub(crate) streams: Streams,
}

pub(crate) type Site = Arc<Parts>;

/// An outing taken apart, and what its drawings show.
pub(crate) type ReportRead = (OutingReport, Option<Series>);

/// What was read lately and costs most. A report is some 100 KiB without its rows, the others less.
pub(crate) struct Readings {
    /// By the id before which it begins, and how many.
    pub(crate) lists: Recent<(Option<i64>, usize), Page<Outing>>,
    pub(crate) banks: Recent<(), Vec<BankShown>>,
    pub(crate) books: Recent<i64, BankTally>,
    pub(crate) reports: Recent<i64, ReportRead>,
    pub(crate) known: Recent<(), Known>,
}

impl Default for Readings {
    fn default() -> Self {
        Self {
            lists: Recent::keeping(4),
            banks: Recent::keeping(1),
            books: Recent::keeping(4),
            reports: Recent::keeping(4),
            known: Recent::keeping(1),
        }
    }
}

/// A reading that somebody waits for; without, it need not go on.
struct Awaited(Option<Arc<AtomicBool>>);

impl Drop for Awaited {
    fn drop(&mut self) {
        if let Some(gone) = &self.0 {
            gone.store(true, Ordering::Relaxed);
        }
    }
}

impl Parts {
    pub(crate) fn new(shown: Shown, trusted: bool) -> Self {
        let turns = Turns::default();
        Self {
            shown,
            files: Seats::new(&turns),
            turns,
            readings: Readings::default(),
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
        let past = Arc::clone(&self.shown.past);
        let gone = Arc::new(AtomicBool::new(false));
        let mut awaited = Awaited(Some(Arc::clone(&gone)));
        let done = tokio::task::spawn_blocking(move || {
            let held = past.at_one_moment(&gone)?;
            read(held.as_deref().unwrap_or(&*past))
        });
        let done = done.await;
        // Done: a file that is read on piece by piece still needs its record.
        awaited.0 = None;
        match done {
            Ok(Ok(told)) => Ok(told),
            Ok(Err(gone)) => Err(no_record(gone)),
            Err(error) => {
                tracing::error!(%error, "a reading of the record fell");
                Err(Problem::from_status(StatusCode::INTERNAL_SERVER_ERROR))
            }
        }
    }

    /// The same, or what was read for this key while the record stood as it does.
    pub(crate) async fn read_recent<K: PartialEq + Send, T: Send + Sync + 'static>(
        &self,
        recent: &Recent<K, T>,
        key: K,
        read: impl FnOnce(&dyn RecordReader) -> Result<Option<T>, NoRecord> + Send + 'static,
    ) -> Result<Option<Arc<T>>, Problem> {
        let state = self.shown.past.state();
        if let Some(found) = state.and_then(|state| recent.get(state, &key)) {
            return Ok(Some(found));
        }
        let made = self.read_record(read).await?.map(Arc::new);
        if let (Some(state), Some(made)) = (state, &made) {
            recent.put(state, key, Arc::clone(made));
        }
        Ok(made)
    }

    /// Asks the owner of the state and waits for the word.
    pub(crate) async fn command(&self, command: Command) -> Result<Kept, Problem> {
        let word = asked(&self.shown.asks, command).await?;
        word.map_err(|refusal| problem::refused(&refusal))
    }

    /// Asks whoever keeps the record and waits for the word.
    pub(crate) async fn record_command(&self, command: RecordCommand) -> Result<Kept, Problem> {
        let word = asked(&self.shown.record, command).await?;
        word.map_err(|say| Problem::new(StatusCode::CONFLICT, "record-refused", "Not changed", say))
    }
}

/// Sends a command and waits for the word.
async fn asked<C, E>(
    to: &mpsc::Sender<Request<C, E>>,
    command: C,
) -> Result<Result<Kept, E>, Problem> {
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
