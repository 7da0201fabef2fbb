//! The one owner of the writing connection: a thread that gathers rows and puts them on the card
//! in one transaction a batch.
//!
//! Its only sense of time is the boot time that the rows themselves carry. It is never waited for:
//! what its queue cannot take is counted as missed, and said.

use std::{
    path::PathBuf,
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
        mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel},
    },
    thread::JoinHandle,
    time::Duration,
};

use reckon::{
    belief::last_end::{BeforeStart, StopHow},
    words,
};

use crate::{
    reader::{Reader, last_end::before},
    schema::{self, SetAside},
    trouble::Trouble,
    write::{
        change::{Change, Who},
        transaction::Keeper,
        waiting::Waiting,
    },
};

use rusqlite::{Connection, ErrorCode};

/// How the record is kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Keep {
    /// The state folder.
    pub folder: PathBuf,
    /// A batch is put on the card this often, s (10 to 3600): the most that a cut can cost, and what
    /// the card is written with (see the head of the crate).
    pub every_s: f64,
    /// The same when the end is near (10 to 3600).
    pub every_near_s: f64,
    /// The end is near when the cautious remaining time is below this, s.
    pub near_s: f64,
    /// Days of record that keep ten-second rows; older ones keep only five-minute rows.
    pub fine_days: u32,
    /// Upper limit of the file's size, MiB. Near it a warning is given; at it ten-second rows are thinned
    /// before their age. Outings are never taken away.
    pub most_mib: u32,
}

impl Keep {
    /// The defaults, in this folder.
    #[must_use]
    pub const fn here(folder: PathBuf) -> Self {
        Self {
            folder,
            every_s: 60.0,
            every_near_s: 10.0,
            near_s: 3600.0,
            fine_days: 60,
            most_mib: 256,
        }
    }
}

/// How the record is doing; told whenever it changes.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct RecordState {
    /// The end of the last row on the card, seconds since boot.
    pub last_s: Option<f64>,
    /// Why nothing can be put on the card at present.
    pub stopped: Option<String>,
    /// Entries that wait in memory.
    pub waiting: usize,
    /// Entries that were lost: the queue or the memory for waiting ones was full.
    pub missed: u64,
    /// Bytes in use in the file.
    pub bytes: u64,
    /// The size limit is near or reached.
    pub warning: Option<String>,
    /// Files that had to be set aside since the start.
    pub set_aside: Vec<SetAside>,
    /// How often the file was taken away while it was open, and put back.
    pub put_back: u32,
}

/// The queue to the thread: ten minutes at an entry a second.
const QUEUE: usize = 600;
/// Wait before a card that refused is tried again, s.
const RETRY_S: f64 = 60.0;
/// Upper limit of extra commits per hour for urgent entries; beyond it they go with the rows.
const EXTRA_AN_HOUR: f64 = 30.0;

enum Message {
    Keep(Box<Change>),
    Pace(Option<f64>),
    Ask(Vec<Change>, SyncSender<Result<(), Trouble>>),
    Settled(SyncSender<bool>),
}

/// The handle to the writing thread.
#[derive(Debug)]
pub struct Writer {
    queue: SyncSender<Message>,
    missed: Arc<AtomicU64>,
    moves: Arc<AtomicU64>,
    thread: JoinHandle<()>,
}

/// What a start finds.
#[derive(Debug)]
pub struct Started {
    /// The account of the last end can be made from this; `None` in a new record.
    pub before: Option<BeforeStart>,
    /// Files that were set aside just now.
    pub set_aside: Vec<SetAside>,
    /// Why the record could not be opened; it is tried again every minute.
    pub trouble: Option<Trouble>,
    /// Reads.
    pub reader: Reader,
    /// Writes.
    pub writer: Writer,
}

/// Opens the record and starts the writing thread. A record that cannot be opened is no failure:
/// entries wait in memory while it is tried again. `tell` is called from the writing thread.
///
/// # Errors
/// When the system gives no thread.
pub fn start(
    keep: Keep,
    who: Who,
    tell: impl Fn(RecordState) + Send + 'static,
) -> std::io::Result<Started> {
    let reader = Reader::new(&keep.folder);
    let mut trouble = None;
    let mut set_aside = Vec::new();
    let mut last = None;
    let mut opened = None;
    match schema::open(&keep.folder) {
        Ok((connection, aside)) => {
            set_aside = aside;
            match before(&connection) {
                Ok(found) => last = found,
                Err(cause) => trouble = Some(Trouble::reading(cause)),
            }
            opened = Some(connection);
        }
        Err(found) => trouble = Some(found),
    }
    let (queue, messages) = sync_channel(QUEUE);
    let missed = Arc::new(AtomicU64::new(0));
    let mut hand = Hand::new(keep, who, Arc::clone(&missed), Box::new(tell));
    let moves = Arc::clone(&hand.moves);
    hand.state.set_aside.clone_from(&set_aside);
    hand.state.stopped = trouble.as_ref().map(ToString::to_string);
    let thread = std::thread::Builder::new().name("record".into()).spawn(move || {
        hand.begin(opened);
        hand.work(&messages);
    })?;
    let writer = Writer { queue, missed, moves, thread };
    Ok(Started { before: last, set_aside, trouble, reader, writer })
}

impl Writer {
    /// A number that moves whenever the record may have changed, before whoever asked for the change
    /// hears of it: what was read under one number holds while that stands.
    #[must_use]
    pub fn moves(&self) -> Arc<AtomicU64> {
        Arc::clone(&self.moves)
    }

    /// Hands an entry over to be kept. Never waits; `false` if the queue was full, which is counted
    /// and told with the state.
    pub fn give(&self, entry: Change) -> bool {
        match self.queue.try_send(Message::Keep(Box::new(entry))) {
            Ok(()) => true,
            Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) => {
                self.missed.fetch_add(1, Ordering::Relaxed);
                false
            }
        }
    }

    /// Tells the cautious remaining time, s, which sets how often batches go to the card.
    pub fn pace(&self, cautious_s: Option<f64>) {
        // The next one will do as well if the queue is full.
        let _ = self.queue.try_send(Message::Pace(cautious_s));
    }

    /// Puts entries (a person's change) on the card now and waits for it.
    ///
    /// # Errors
    /// When they could not be put there; then they are dropped, and the person may try again.
    pub fn change(&self, entries: Vec<Change>) -> Result<(), Trouble> {
        let (answer, answered) = sync_channel(1);
        let gone = || {
            Trouble::new(
                words::record::THREAD_ENDED,
                words::record::NOT_KEPT,
                words::record::RESTART,
            )
        };
        self.queue.send(Message::Ask(entries, answer)).map_err(|_| gone())?;
        answered.recv().map_err(|_| gone())?
    }

    /// Whether all that cannot wait, of what was handed over till now, is on the card. Causes no
    /// commit.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        let (answer, answered) = sync_channel(1);
        let asked = self.queue.send(Message::Settled(answer));
        asked.is_ok() && answered.recv().unwrap_or(false)
    }

    /// Ends the run cleanly: everything that waits, and the mark, go on the card.
    ///
    /// # Errors
    /// When they could not be put there: the next start will take this end for a lost power.
    pub fn stop(self, at_s: f64, how: StopHow) -> Result<(), Trouble> {
        let done = self.change(vec![Change::Stops { at_s, how }]);
        drop(self.queue);
        // A panic of the thread has been reported by whoever set the panic hook.
        let _ = self.thread.join();
        done
    }

    /// Ends the run without its mark, as a lost power would: the next start takes it for one.
    pub fn break_off(self) {
        drop(self.queue);
        // A panic of the thread has been reported by whoever set the panic hook.
        let _ = self.thread.join();
    }
}

/// The thread's own state.
struct Hand {
    keep: Keep,
    who: Who,
    missed: Arc<AtomicU64>,
    moves: Arc<AtomicU64>,
    tell: Box<dyn Fn(RecordState) + Send>,
    /// Kept even when it has to be opened again: readers go on through it till then.
    keeper: Option<Keeper>,
    reopen: bool,
    /// The file that the keeper has open.
    file: Option<(u64, u64)>,
    waiting: Waiting,
    /// The newest moment heard of, seconds since boot.
    now_s: f64,
    /// The batch must be on the card by then: what the last one promised.
    due_at_s: f64,
    /// Rows are on the card till then.
    kept_to_s: f64,
    /// Not before then, after a refusal.
    retry_at_s: f64,
    cautious_s: Option<f64>,
    /// Extra commits that urgent entries may still cause.
    extras: f64,
    extras_at_s: f64,
    checked_hour: i64,
    state: RecordState,
}

impl Hand {
    fn new(
        keep: Keep,
        who: Who,
        missed: Arc<AtomicU64>,
        tell: Box<dyn Fn(RecordState) + Send>,
    ) -> Self {
        let now_s = who.began_s;
        let due_at_s = now_s + keep.every_s.min(keep.every_near_s);
        Self {
            keep,
            who,
            missed,
            moves: Arc::default(),
            tell,
            keeper: None,
            reopen: false,
            waiting: Waiting::default(),
            file: None,
            now_s,
            due_at_s,
            kept_to_s: now_s,
            retry_at_s: now_s,
            cautious_s: None,
            extras: EXTRA_AN_HOUR,
            extras_at_s: now_s,
            checked_hour: -1,
            state: RecordState::default(),
        }
    }

    fn begin(&mut self, opened: Option<Connection>) {
        match opened
            .map(|connection| Keeper::begin(connection, &self.who, self.keep.fine_days * 24))
        {
            Some(Ok(keeper)) => {
                self.keeper = Some(keeper);
                self.file = schema::identity(&self.keep.folder);
                self.state.stopped = None;
            }
            Some(Err(cause)) => self.refused(Trouble::writing(cause).to_string()),
            None => self.retry_at_s = self.now_s + RETRY_S,
        }
        self.say();
    }

    fn work(&mut self, messages: &Receiver<Message>) {
        // Longer than any pace, so that it only fires when the rows have stopped coming.
        let patience = Duration::from_secs_f64(self.keep.every_s.clamp(10.0, 3600.0) * 1.5);
        loop {
            match messages.recv_timeout(patience) {
                Ok(Message::Keep(entry)) => {
                    self.waiting.drop_covered(&entry);
                    self.hold(*entry);
                    self.perhaps_commit();
                }
                Ok(Message::Pace(cautious_s)) => self.cautious_s = cautious_s,
                Ok(Message::Ask(entries, answer)) => {
                    // The asker may have gone; the change is kept all the same.
                    let _ = answer.send(self.ask(entries));
                }
                Ok(Message::Settled(answer)) => {
                    let _ = answer.send(!self.waiting.is_urgent());
                }
                Err(RecvTimeoutError::Timeout) => {
                    self.now_s += patience.as_secs_f64();
                    if !self.waiting.all().is_empty() && self.now_s >= self.retry_at_s {
                        let _ = self.commit();
                    }
                }
                Err(RecvTimeoutError::Disconnected) => break,
            }
        }
        if !self.waiting.all().is_empty() {
            let _ = self.commit();
        }
        if let Some(keeper) = &self.keeper {
            keeper.carry_over();
        }
    }

    /// The pace in force, s.
    fn every_s(&self) -> f64 {
        let near = self.cautious_s.is_some_and(|cautious_s| cautious_s < self.keep.near_s);
        let every_s =
            if near { self.keep.every_near_s.min(self.keep.every_s) } else { self.keep.every_s };
        every_s.clamp(10.0, 3600.0)
    }

    fn hold(&mut self, entry: Change) {
        match &entry {
            Change::Row(row) => self.now_s = self.now_s.max(row.to_s()),
            Change::Event(event) => self.now_s = self.now_s.max(event.at.as_s()),
            _ => {}
        }
        self.waiting.add(entry);
    }

    fn perhaps_commit(&mut self) {
        if self.state.stopped.is_some() {
            if self.now_s >= self.retry_at_s {
                let _ = self.commit();
            }
            return;
        }
        // What the last batch promised, or sooner if the pace has quickened since.
        let due_s = self.due_at_s.min(self.kept_to_s + self.every_s());
        // A row is due when it ends: half a second spares the rounding of boot time.
        let rows_due = self.waiting.has_rows() && self.now_s >= due_s - 0.5;
        if rows_due || (self.waiting.is_urgent() && self.take_extra()) {
            let _ = self.commit();
        }
    }

    fn take_extra(&mut self) -> bool {
        let hours = (self.now_s - self.extras_at_s).max(0.0) / 3600.0;
        self.extras = (self.extras + hours * EXTRA_AN_HOUR).min(EXTRA_AN_HOUR);
        self.extras_at_s = self.now_s;
        if self.extras >= 1.0 {
            self.extras -= 1.0;
            return true;
        }
        false
    }

    fn ask(&mut self, entries: Vec<Change>) -> Result<(), Trouble> {
        let before = self.waiting.place();
        for entry in entries {
            if let Change::Stops { at_s, .. } = &entry {
                self.now_s = self.now_s.max(*at_s);
            }
            self.hold(entry);
        }
        let done = self.commit();
        if done.is_err() {
            // Whoever asked knows; keeping it would carry it out later, unasked.
            self.waiting.back_to(before);
        }
        done
    }

    fn commit(&mut self) -> Result<(), Trouble> {
        let done = self.try_commit();
        match &done {
            Ok(()) => {
                self.waiting.clear();
                self.state.stopped = None;
                self.look_at_size();
            }
            Err(trouble) => self.refused(trouble.to_string()),
        }
        self.say();
        done
    }

    fn try_commit(&mut self) -> Result<(), Trouble> {
        self.open_if_needed()?;
        let every_s = self.every_s();
        let Some(keeper) = &mut self.keeper else {
            return Err(Trouble::new(words::record::NOT_OPEN, "", ""));
        };
        match keeper.keep(self.waiting.all(), every_s) {
            Ok(()) => {
                let newest = self.waiting.all().iter().rev().find_map(|entry| match entry {
                    Change::Row(row) => Some(row.to_s()),
                    _ => None,
                });
                if let Some(to_s) = newest {
                    self.state.last_s = Some(to_s);
                    self.kept_to_s = to_s;
                    self.due_at_s = to_s + every_s;
                }
                Ok(())
            }
            Err(cause) => {
                let code = cause.sqlite_error_code();
                let stays = matches!(code, Some(ErrorCode::DiskFull | ErrorCode::DatabaseBusy));
                // Opened again at the next try; a damaged file is set aside by that.
                self.reopen = !stays;
                if matches!(code, Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase)) {
                    // Nothing of it is to be believed, the index of its log neither.
                    self.keeper = None;
                }
                Err(Trouble::writing(cause))
            }
        }
    }

    fn open_if_needed(&mut self) -> Result<(), Trouble> {
        let gone =
            self.keeper.as_ref().is_some_and(|_| self.file != schema::identity(&self.keep.folder));
        if self.keeper.is_some() && !self.reopen && !gone {
            return Ok(());
        }
        let put_back = gone && self.put_back();
        let (connection, aside) = schema::open(&self.keep.folder)?;
        let anew = !aside.is_empty() || (gone && !put_back);
        self.state.set_aside.extend(aside);
        match Keeper::begin(connection, &self.who, self.keep.fine_days * 24) {
            Ok(mut keeper) => {
                if anew {
                    // The new file knows nothing of the banks and the outing that goes on.
                    keeper
                        .keep(&self.waiting.for_a_new_file(), self.every_s())
                        .map_err(Trouble::writing)?;
                } else {
                    keeper.take_up_open_outing().map_err(Trouble::writing)?;
                }
                self.keeper = Some(keeper);
                self.file = schema::identity(&self.keep.folder);
                self.reopen = false;
                self.state.put_back += u32::from(gone);
                Ok(())
            }
            Err(cause) => Err(Trouble::writing(cause)),
        }
    }

    /// The file was taken away, perhaps with its folder. As long as we have it open all of it is still
    /// there: it is copied to its old place, unless another file is there by now.
    fn put_back(&self) -> bool {
        let file = self.keep.folder.join(schema::FILE);
        let made = schema::make_folder(&self.keep.folder).is_ok();
        made && !file.exists() && self.keeper.as_ref().is_some_and(|keeper| keeper.copy_to(&file))
    }

    fn refused(&mut self, why: String) {
        self.state.stopped = Some(why);
        self.retry_at_s = self.now_s + RETRY_S;
    }

    /// Once an hour: warns near the size limit, thins at it.
    fn look_at_size(&mut self) {
        let hour = crate::rows::window(self.now_s, 3600.0);
        let Some(keeper) = &mut self.keeper else { return };
        if hour == self.checked_hour {
            return;
        }
        self.checked_hour = hour;
        let most = u64::from(self.keep.most_mib.max(1)) << 20;
        let Ok(bytes) = keeper.bytes() else { return };
        self.state.bytes = bytes;
        let mib = bytes >> 20;
        self.state.warning = if bytes >= most {
            let fewer = keeper.fine_hours() * 3 / 4;
            // A failure here shows at the next commit.
            let _ = keeper.thin_to(fewer.max(24));
            Some(words::record::at_limit(&self.keep.most_mib, &(fewer.max(24) / 24)))
        } else if bytes >= most / 10 * 9 {
            Some(words::record::near_limit(&mib, &self.keep.most_mib))
        } else {
            None
        };
    }

    fn say(&mut self) {
        self.moves.fetch_add(1, Ordering::Release);
        self.state.waiting = self.waiting.all().len();
        self.state.missed = self.waiting.lost() + self.missed.load(Ordering::Relaxed);
        (self.tell)(self.state.clone());
    }
}
