//! Files on their way out: a piece is read when the asker has taken the one before, so that nobody who
//! reads slowly, or never, keeps more than a piece in memory or a thread waiting. A few at once; one
//! that takes too little is given up, since the record's log grows while a moment of it is held.

use std::{
    io::{Error, ErrorKind},
    sync::{
        Arc, Mutex, PoisonError, Weak,
        atomic::{AtomicU64, Ordering},
    },
    time::Duration,
};

use axum::body::{Body, Bytes};
use futures_util::stream;
use reckon::words;
use tokio::{
    sync::{OwnedSemaphorePermit, Semaphore},
    task::spawn_blocking,
    time::sleep,
};

use crate::{
    http::{
        problem::{Problem, busy},
        turns::{Turns, rest},
    },
    record::{Clock, Pieces},
};

/// Upper limit of files on their way at once.
const AT_ONCE: usize = 2;
/// Of these, the last is kept for phones that are paired.
const FOR_ALL: usize = AT_ONCE - 1;
/// Whoever is told to come back waits this long, s.
const RETRY_S: u64 = 20;
/// How long strangers rest at most after a file: a page of theirs is still answered in time.
const LONGEST_REST: Duration = Duration::from_secs(5);
/// How often it is looked how far a file has come, and how long one may stand still.
const LOOK_EVERY: Duration = Duration::from_secs(5);
const STILL_AT_MOST: Duration = Duration::from_secs(30);
/// The slowest that a file may go for long, bytes a second: a tenth of what a phone at the edge of a
/// hotspot still gets (common practice, no source).
const LEAST_BYTES_S: u64 = 4096;
/// Bytes of a piece of what is whole already.
const PIECE_BYTES: usize = 64 * 1024;

/// Who may have a file sent.
pub(crate) struct Seats {
    all: Arc<Semaphore>,
    strangers: Arc<Semaphore>,
    /// The turns that strangers take to read the record.
    turns: Arc<Semaphore>,
}

/// One file on its way; once it is gone, strangers rest as after any reading.
pub(crate) struct Seat {
    _all: OwnedSemaphorePermit,
    /// A stranger's, and the turns of those who then rest.
    stranger: Option<(OwnedSemaphorePermit, Arc<Semaphore>)>,
    /// What its pieces took to read.
    took: Duration,
    clock: Arc<dyn Clock>,
}

impl Drop for Seat {
    fn drop(&mut self) {
        if let Some((seat, turns)) = self.stranger.take() {
            drop(seat);
            rest(async move { turns.acquire_owned().await.ok() }, self.took, LONGEST_REST);
        }
    }
}

impl Seats {
    /// After a file for a stranger, nobody takes one of these turns for a while.
    pub(crate) fn new(turns: &Turns) -> Self {
        let of = |count| Arc::new(Semaphore::new(count));
        Self { all: of(AT_ONCE), strangers: of(FOR_ALL), turns: turns.of_strangers() }
    }

    /// A seat, if one is free for such an asker.
    pub(crate) fn seat(&self, paired: bool, clock: &Arc<dyn Clock>) -> Result<Seat, Problem> {
        let free = |of: &Arc<Semaphore>| {
            let crowded = |_| busy(words::refusal::TOO_MANY_FILES).retry_after(RETRY_S);
            Arc::clone(of).try_acquire_owned().map_err(crowded)
        };
        let turns = || Arc::clone(&self.turns);
        let stranger = if paired { None } else { Some((free(&self.strangers)?, turns())) };
        let (all, clock) = (free(&self.all)?, Arc::clone(clock));
        Ok(Seat { _all: all, stranger, took: Duration::ZERO, clock })
    }
}

/// A file and its seat.
struct Sending {
    pieces: Pieces,
    seat: Seat,
}

/// Nothing in it: a piece is being read, or the file was given up.
type Held = Mutex<Option<Sending>>;

/// A body that is read as it is taken.
pub(crate) fn body(pieces: Pieces, seat: Seat) -> Body {
    let held = Arc::new(Mutex::new(Some(Sending { pieces, seat })));
    let taken = Arc::new(AtomicU64::new(0));
    tokio::spawn(give_up_slow(Arc::downgrade(&held), Arc::clone(&taken)));
    let pieces = stream::unfold(Some((held, taken)), async |on| {
        let (held, taken) = on?;
        match next_piece(&held).await {
            Ok(Some(piece)) => {
                taken.fetch_add(piece.len() as u64, Ordering::Relaxed);
                Some((Ok(piece), Some((held, taken))))
            }
            Ok(None) => None,
            // Breaks the transfer off, so that a part is not taken for the whole.
            Err(error) => Some((Err(error), None)),
        }
    });
    Body::from_stream(pieces)
}

fn take(held: &Held) -> Option<Sending> {
    held.lock().unwrap_or_else(PoisonError::into_inner).take()
}

fn put_back(held: &Held, sending: Sending) {
    *held.lock().unwrap_or_else(PoisonError::into_inner) = Some(sending);
}

async fn next_piece(held: &Held) -> Result<Option<Bytes>, Error> {
    let mut sending = take(held).ok_or(ErrorKind::TimedOut)?;
    let read = spawn_blocking(move || {
        let began = sending.seat.clock.stamp().mono;
        // An empty piece would be taken for the end.
        let piece = sending.pieces.find(|piece| !matches!(piece, Ok(bytes) if bytes.is_empty()));
        sending.seat.took += sending.seat.clock.stamp().mono.since(began);
        (piece, sending)
    });
    let (piece, sending) = read.await.map_err(Error::other)?;
    put_back(held, sending);
    piece.transpose().map(|piece| piece.map(Bytes::from)).map_err(|gone| Error::other(gone.say))
}

/// Lets go of a file that stands still or goes too slowly for long.
async fn give_up_slow(held: Weak<Held>, taken: Arc<AtomicU64>) {
    let (mut before, mut patience) = (0, STILL_AT_MOST);
    loop {
        sleep(LOOK_EVERY).await;
        let Some(held) = held.upgrade() else { return };
        let now = taken.load(Ordering::Relaxed);
        let earned = Duration::from_secs((now - before) / LEAST_BYTES_S);
        patience = (patience + earned).min(STILL_AT_MOST).saturating_sub(LOOK_EVERY);
        before = now;
        if patience.is_zero() && take(&held).is_some() {
            return;
        }
    }
}

/// What is whole already, in pieces that share its memory.
pub(crate) fn pieces_of(whole: Vec<u8>) -> Pieces {
    let mut left = Bytes::from(whole);
    Box::new(std::iter::from_fn(move || {
        let piece = left.split_to(left.len().min(PIECE_BYTES));
        (!piece.is_empty()).then(|| Ok(piece.to_vec()))
    }))
}
