//! Every source once a second, in order, and nobody waits for a dead one.
//!
//! A call into the kernel can hang, and a thread that hangs cannot be freed. So:
//!
//! - A source that asks a bus or the firmware is first read on a thread of its own. When it has
//!   answered fast [`TRUSTED_AFTER`] times in a row it is read in line, which costs no thread and
//!   no extra waking up.
//! - A source read in line that takes longer than [`SLOW`] goes back to a thread of its own.
//! - A sweep waits for such threads until [`DEADLINE`] has passed since it began, and not at all
//!   for one that is stuck since an earlier sweep: its channels say [`Gap::Late`]. There is never
//!   more than one thread for a source, because the source itself goes along to the thread.
//! - Left is a source that was fast for long and then hangs in line. [`Rescue`] is for that: who
//!   waits for sweeps notices (it has a timeout anyway) and gets a new [`Sweeper`] that goes on
//!   with all other sources, while the stuck thread keeps only the stuck source.

use std::{
    mem,
    sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError},
    thread,
    time::Duration,
};

use reckon::{
    reading::{BoardFacts, BoardReading, Gap, Got, SourceIx, Sweep, Via},
    time::Mono,
    words,
};

use crate::{
    Now, board,
    discovery::{self, Rescan},
    programs::Programs,
    registry::Registry,
    root::Root,
    source::{BoardPart, Channel, Found, Gauge, Known, Reading, Source, Supply},
    syscalls::Syscalls,
    want::Want,
};

#[cfg(test)]
mod tests;

/// Until then a sweep waits for sources that are read apart.
const DEADLINE: Duration = Duration::from_millis(600);
/// A source in line that takes longer is read apart from then on.
const SLOW: Duration = Duration::from_millis(100);
/// Fast answers in a row that bring a source back in line.
const TRUSTED_AFTER: u32 = 10;
/// The same for one that has been slow before.
const TRUSTED_AGAIN_AFTER: u32 = 120;
/// A source in line that takes longer is beyond hope: time for [`Rescue`].
const STUCK: Duration = Duration::from_millis(500);

/// Reads everything once a second.
pub struct Sweeper {
    core: Arc<Core>,
    generation: u64,
}

/// Frees the sampling from a source that hangs in line.
#[derive(Clone)]
pub struct Rescue {
    core: Arc<Core>,
}

struct Core {
    root: Root,
    want: Want,
    now: Now,
    facts: BoardFacts,
    syscalls: Syscalls,
    state: Mutex<State>,
    answered: Condvar,
}

struct State {
    generation: u64,
    slots: Vec<Slot>,
    registry: Registry,
    rescan: Rescan,
    programs: Programs,
    found: Option<Found>,
    scanning: bool,
    /// The slot that is being read in line, and since when.
    in_line: Option<(usize, Mono)>,
    last_sweep: Option<Mono>,
    last_sample: Option<Mono>,
}

struct Slot {
    /// Away while a thread reads it.
    source: Option<Box<dyn Source>>,
    /// The last answer, one reading a channel; before the first one, what kind it will be.
    readings: Vec<Reading>,
    /// Whether `readings` came in since they were last handed over.
    fresh: bool,
    spare: Vec<Reading>,
    channels: Vec<SourceIx>,
    version: u32,
    apart: Option<Apart>,
    sample_every: Option<Duration>,
    wander: Option<Duration>,
}

/// A source that is read on a thread of its own.
#[derive(Clone, Copy)]
struct Apart {
    fast: u32,
    wanted: u32,
}

impl Sweeper {
    /// Finds what there is. Never fails: what is missing is said in the reports and facts.
    #[must_use]
    pub fn new(want: Want, now: Now) -> Self {
        let root = Root::new(want.sysroot.as_deref());
        let syscalls = Syscalls::for_root(&root);
        Self::with(root, want, now, syscalls)
    }

    /// As [`Sweeper::new`], with doors to the outside that a test can hold.
    pub(crate) fn with(root: Root, want: Want, now: Now, syscalls: Syscalls) -> Self {
        let facts = board::facts(&root);
        let mut state = State {
            generation: 0,
            slots: Vec::new(),
            registry: Registry::default(),
            rescan: Rescan::default(),
            programs: Programs::new(&root),
            found: None,
            scanning: false,
            in_line: None,
            last_sweep: None,
            last_sample: None,
        };
        let found = discovery::find(&root, &want, &facts, &syscalls, &Known::default());
        let mut facts = facts;
        facts.notes.extend(found.notes.iter().cloned());
        facts.notes.extend(state.programs.note());
        state.take_in(found, now());
        let ids: Vec<&str> = state.registry.ids().collect();
        facts.notes.extend(want.unmet(&ids));
        state.rescan.start(&root, now());
        let core = Core {
            root,
            want,
            now,
            facts,
            syscalls,
            state: Mutex::new(state),
            answered: Condvar::new(),
        };
        Self { core: Arc::new(core), generation: 0 }
    }

    /// Facts about the board that do not change while it runs.
    #[must_use]
    pub fn facts(&self) -> BoardFacts {
        self.core.facts.clone()
    }

    /// A handle that frees the sampling from a source that hangs.
    #[must_use]
    pub fn rescue(&self) -> Rescue {
        Rescue { core: Arc::clone(&self.core) }
    }

    /// Whether another sweeper has taken over. The thread that drives this one should end, and
    /// throw away what the last sweep returned.
    #[must_use]
    pub fn retired(&self) -> bool {
        self.core.lock().generation != self.generation
    }

    /// When an extra look is due, if any source needs such: a chip that takes one sample of half a
    /// millisecond is looked at several times a second and averaged.
    #[must_use]
    pub fn next_sample(&self, after: Mono) -> Option<Mono> {
        let state = self.core.lock();
        let last = state.last_sweep?;
        let every = state.slots.iter().filter_map(|slot| slot.sample_every).min()?;
        let done = state.last_sample.map_or(last, |look| look.max(last));
        let due = done.plus(every).max(after);
        // The next sweep looks by itself.
        (due.since(last) + every / 2 < Duration::from_secs(1)).then_some(due)
    }

    /// Over which part of the second the moment of the sweep should wander, if any source gives
    /// instants: always on the whole second they would beat with whatever else keeps whole seconds.
    #[must_use]
    pub fn wander(&self) -> Duration {
        let state = self.core.lock();
        state.slots.iter().filter_map(|slot| slot.wander).max().unwrap_or(Duration::ZERO)
    }

    /// One extra look at the sources that want it.
    pub fn sample(&mut self) {
        let count = self.core.lock().slots.len();
        for slot in 0..count {
            let wanted = {
                let state = self.core.lock();
                state.slots[slot].sample_every.is_some() && state.slots[slot].apart.is_none()
            };
            if wanted {
                self.core.in_line(slot, self.generation, |source, _| source.sample());
            }
        }
        let now = (self.core.now)();
        self.core.lock().last_sample = Some(now);
    }

    /// Reads every source once. Returns within about 0.7 s whatever a source does that is read
    /// apart; see [`Rescue`] for one that hangs in line.
    pub fn sweep(&mut self, at: Mono) -> Sweep {
        let began = (self.core.now)();
        self.core.take_in_found(at);
        let apart = self.core.send_out(at);
        let count = self.core.lock().slots.len();
        for slot in 0..count {
            if !self.core.is_apart(slot)
                && !self.core.in_line(slot, self.generation, |source, into| source.read(at, into))
            {
                return self.core.empty(at);
            }
        }
        self.core.wait_for(&apart, began);
        let sweep = self.core.collect(at);
        self.core.scan_if_needed(at);
        sweep
    }
}

impl Rescue {
    /// Takes the sampling over if a source has been hanging in line for longer than half a second:
    /// the sweeper that is returned reads all the others. Call it when a sweep did not come in
    /// time; it costs nothing when nothing hangs.
    #[must_use]
    pub fn overdue(&self) -> Option<Sweeper> {
        let now = (self.core.now)();
        let mut state = self.core.lock();
        let (slot, since) = state.in_line?;
        if now.since(since) < STUCK {
            return None;
        }
        state.generation += 1;
        state.in_line = None;
        state.slots[slot].send_apart();
        Some(Sweeper { core: Arc::clone(&self.core), generation: state.generation })
    }
}

impl Core {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn is_apart(&self, slot: usize) -> bool {
        let state = self.lock();
        state.slots[slot].apart.is_some() || state.slots[slot].source.is_none()
    }

    /// Uses a source on this thread. `false` if another sweeper has taken over meanwhile.
    fn in_line(
        &self,
        slot: usize,
        generation: u64,
        work: impl FnOnce(&mut dyn Source, &mut Vec<Reading>),
    ) -> bool {
        let began = (self.now)();
        let Some((mut source, mut readings)) = ({
            let mut state = self.lock();
            if state.generation != generation {
                return false;
            }
            let lent = state.slots[slot].lend();
            if lent.is_some() {
                state.in_line = Some((slot, began));
            }
            lent
        }) else {
            return true;
        };
        work(&mut *source, &mut readings);
        let took = (self.now)().since(began);
        let mut state = self.lock();
        let still_ours = state.generation == generation;
        if still_ours {
            state.in_line = None;
        }
        if took > SLOW {
            state.slots[slot].send_apart();
        }
        state.give_back(slot, source, readings);
        still_ours
    }

    /// Starts the threads of the sources that are read apart; returns which were started.
    fn send_out(self: &Arc<Self>, at: Mono) -> Vec<usize> {
        let mut out = Vec::new();
        let mut state = self.lock();
        for slot in 0..state.slots.len() {
            if state.slots[slot].apart.is_none() {
                continue;
            }
            if let Some(lent) = state.slots[slot].lend() {
                // The parcel can be taken back if no thread can be had.
                let parcel = Arc::new(Mutex::new(Some(lent)));
                if self.spawn_reader(slot, Arc::clone(&parcel), at) {
                    out.push(slot);
                } else if let Some((source, readings)) = unpack(&parcel) {
                    state.give_back(slot, source, readings);
                }
            }
        }
        out
    }

    fn spawn_reader(self: &Arc<Self>, slot: usize, parcel: Parcel, at: Mono) -> bool {
        let core = Arc::clone(self);
        let work = move || {
            let began = (core.now)();
            let Some((mut source, mut readings)) = unpack(&parcel) else { return };
            source.read(at, &mut readings);
            let took = (core.now)().since(began);
            let mut state = core.lock();
            state.slots[slot].judge(took);
            state.give_back(slot, source, readings);
            drop(state);
            core.answered.notify_all();
        };
        thread::Builder::new().name("slow sensor".into()).stack_size(256 << 10).spawn(work).is_ok()
    }

    fn wait_for(&self, apart: &[usize], began: Mono) {
        if apart.is_empty() {
            return;
        }
        let mut state = self.lock();
        while apart.iter().any(|slot| state.slots[*slot].source.is_none()) {
            let left = DEADLINE.saturating_sub((self.now)().since(began));
            let (again, timed_out) =
                self.answered.wait_timeout(state, left).unwrap_or_else(PoisonError::into_inner);
            state = again;
            if timed_out.timed_out() {
                return;
            }
        }
    }

    /// Puts the answers together.
    fn collect(&self, at: Mono) -> Sweep {
        let mut guard = self.lock();
        let state = &mut *guard;
        let mut sweep = self.blank(at);
        for slot in &mut state.slots {
            slot.collect(at, &mut state.registry, &mut sweep);
        }
        state.registry.end_of_sweep();
        state.last_sweep = Some(at);
        sweep.clock_synchronised = self.syscalls.clock_synchronised(&self.root);
        sweep.programs = state.programs.latest(at);
        sweep.sources = state.registry.reports();
        sweep
    }

    fn blank(&self, at: Mono) -> Sweep {
        Sweep {
            at,
            supplies: Vec::new(),
            gauges: Vec::new(),
            board: BoardReading::UNKNOWN,
            clock_synchronised: Err(Gap::NotReady),
            programs: Arc::from([]),
            sources: Arc::from([]),
        }
    }

    /// What a retired sweeper returns: every channel late.
    fn empty(&self, at: Mono) -> Sweep {
        let mut sweep = self.blank(at);
        sweep.sources = self.lock().registry.reports();
        sweep
    }

    fn take_in_found(&self, at: Mono) {
        let mut state = self.lock();
        if let Some(found) = state.found.take() {
            state.scanning = false;
            state.take_in(found, at);
        }
    }

    /// Looks for newcomers on a thread of its own, because a bus may hang while it is searched.
    fn scan_if_needed(self: &Arc<Self>, at: Mono) {
        let mut state = self.lock();
        if state.scanning || !state.rescan.due(&self.root, at) {
            return;
        }
        let known = Known {
            ids: state.registry.ids().map(str::to_owned).collect(),
            shunts: state.registry.driver_shunts().collect(),
        };
        let core = Arc::clone(self);
        let work = move || {
            let found =
                discovery::find(&core.root, &core.want, &core.facts, &core.syscalls, &known);
            core.lock().found = Some(found);
        };
        state.scanning = thread::Builder::new().name("sensor search".into()).spawn(work).is_ok();
    }
}

type Parcel = Arc<Mutex<Option<(Box<dyn Source>, Vec<Reading>)>>>;

fn unpack(parcel: &Parcel) -> Option<(Box<dyn Source>, Vec<Reading>)> {
    parcel.lock().unwrap_or_else(PoisonError::into_inner).take()
}

impl State {
    fn take_in(&mut self, found: Found, at: Mono) {
        for source in found.sources {
            let channels =
                source.channels().iter().map(|c| self.registry.enter(c, at, false)).collect();
            let apart = source.may_block().then_some(Apart { fast: 0, wanted: TRUSTED_AFTER });
            self.slots.push(Slot {
                version: source.version(),
                sample_every: source.sample_every(),
                wander: source.wander(),
                readings: source.channels().iter().map(unread).collect(),
                spare: Vec::new(),
                source: Some(source),
                fresh: false,
                channels,
                apart,
            });
        }
        for channel in &found.left_alone {
            self.registry.enter(channel, at, true);
        }
    }

    fn give_back(&mut self, slot: usize, source: Box<dyn Source>, readings: Vec<Reading>) {
        let slot = &mut self.slots[slot];
        if slot.version != source.version() {
            slot.version = source.version();
            slot.wander = source.wander();
            for (ix, channel) in slot.channels.iter().zip(source.channels()) {
                self.registry.describe(*ix, channel);
            }
        }
        // A mere extra look brings no readings.
        if readings.is_empty() {
            slot.spare = readings;
        } else {
            slot.fresh = true;
            slot.spare = mem::replace(&mut slot.readings, readings);
        }
        slot.source = Some(source);
    }
}

impl Slot {
    /// The source and an empty list for its readings, if it is at home.
    fn lend(&mut self) -> Option<(Box<dyn Source>, Vec<Reading>)> {
        let source = self.source.take()?;
        let mut readings = mem::take(&mut self.spare);
        readings.clear();
        Some((source, readings))
    }

    fn send_apart(&mut self) {
        self.apart = Some(Apart { fast: 0, wanted: TRUSTED_AGAIN_AFTER });
    }

    /// Counts fast answers; enough of them bring the source back in line.
    fn judge(&mut self, took: Duration) {
        let Some(apart) = &mut self.apart else { return };
        if took > SLOW {
            self.send_apart();
            return;
        }
        apart.fast += 1;
        if apart.fast >= apart.wanted {
            self.apart = None;
        }
    }

    fn collect(&mut self, at: Mono, registry: &mut Registry, sweep: &mut Sweep) {
        let fresh = mem::take(&mut self.fresh);
        for (n, ix) in self.channels.iter().enumerate() {
            // An answer that came too late for the last sweep is handed over now: it is younger
            // than that sweep.
            let last = self.readings.get(n).copied().unwrap_or(UNREAD_BOARD);
            let said = if fresh { last } else { late(last) };
            registry.heard(*ix, &said, at, fresh);
            hand_over(*ix, &said, sweep);
        }
        let slow = self.apart.is_some_and(|apart| apart.wanted == TRUSTED_AGAIN_AFTER);
        let remark = slow.then_some(words::sensor::SLOW);
        for ix in &self.channels {
            registry.remark(*ix, remark);
        }
    }
}

const UNREAD_BOARD: Reading = Reading::Board(BoardPart::NOTHING);

/// What stands for a channel's reading before its first answer.
fn unread(channel: &Channel) -> Reading {
    let gap = Gap::NotReady;
    match channel.via {
        Via::PowerSupply => Reading::Gauge(Gauge::missing(gap)),
        _ if channel.power => Reading::Supply(Supply::missing(gap)),
        _ => UNREAD_BOARD,
    }
}

/// The reading of a channel that did not answer in time.
fn late(last: Reading) -> Reading {
    let gap = Gap::Late;
    match last {
        Reading::Supply(_) => Reading::Supply(Supply::missing(gap)),
        Reading::Gauge(_) => Reading::Gauge(Gauge::missing(gap)),
        Reading::Board(part) => Reading::Board(part.missing(gap)),
    }
}

fn hand_over(ix: SourceIx, reading: &Reading, sweep: &mut Sweep) {
    match reading {
        Reading::Supply(supply) => sweep.supplies.push(supply.from(ix)),
        Reading::Gauge(gauge) => sweep.gauges.push(gauge.from(ix)),
        Reading::Board(part) => part.fill(&mut sweep.board),
    }
}

impl BoardPart {
    /// The same parts, all missing.
    fn missing(self, gap: Gap) -> Self {
        fn gone<T>(part: Option<Got<T>>, gap: Gap) -> Option<Got<T>> {
            part.map(|_| Err(gap))
        }
        Self {
            cpu_busy: gone(self.cpu_busy, gap),
            cpu_clock: gone(self.cpu_clock, gap),
            temp: gone(self.temp, gap),
            undervoltage: gone(self.undervoltage, gap),
            flags: gone(self.flags, gap),
            input_volts: gone(self.input_volts, gap),
            rails_at_least: gone(self.rails_at_least, gap),
        }
    }

    /// Puts what is known into the board's reading; a value is never overwritten by a gap.
    fn fill(self, board: &mut BoardReading) {
        fn fill<T>(part: Option<Got<T>>, place: &mut Got<T>) {
            if let Some(got) = part
                && (got.is_ok() || place.is_err())
            {
                *place = got;
            }
        }
        fill(self.cpu_busy, &mut board.cpu_busy);
        fill(self.cpu_clock, &mut board.cpu_clock);
        fill(self.temp, &mut board.temp);
        fill(self.undervoltage, &mut board.undervoltage);
        fill(self.flags, &mut board.flags);
        fill(self.input_volts, &mut board.input_volts);
        fill(self.rails_at_least, &mut board.rails_at_least);
    }
}
