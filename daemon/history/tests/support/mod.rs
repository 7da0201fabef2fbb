//! What the tests of the store share: folders that go away, made-up rows, a seeded die.
#![allow(clippy::unwrap_used, dead_code, reason = "each test binary uses its own part of it")]

use std::{
    path::{Path, PathBuf},
    sync::{
        atomic::{AtomicU32, Ordering},
        mpsc::{Receiver, channel},
    },
    time::Duration,
};

use history::{Change, Keep, RecordState, Started, Who};
use reckon::record::{Channel, Row, Stats};

/// A folder of its own that goes away with it.
pub(crate) struct Folder(pub(crate) PathBuf);

impl Folder {
    pub(crate) fn new(name: &str) -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let unique = NEXT.fetch_add(1, Ordering::Relaxed);
        let path = std::env::temp_dir()
            .join(format!("outlast-history-{name}-{}-{unique}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    pub(crate) fn file(&self) -> PathBuf {
        self.0.join(history::FILE)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// A small seeded generator (xorshift64*, G. Marsaglia 2003 with Vigna's multiplier).
pub(crate) struct Die(pub(crate) u64);

impl Die {
    pub(crate) fn roll(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    pub(crate) fn below(&mut self, limit: u64) -> u64 {
        (self.roll() >> 16) % limit
    }
}

/// The row that `examples/keep_rows.rs` writes for this moment.
pub(crate) fn row_at(from_s: f64) -> Row {
    let mut stats = [None; Channel::ALL.len()];
    let volts = 5.0 + (from_s / 10.0) % 7.0 / 1000.0;
    stats[Channel::Volts.ix()] = Some(Stats { mean: volts, min: volts - 0.02, max: volts + 0.01 });
    stats[Channel::Watts.ix()] = Some(Stats { mean: 3.0, min: 2.5, max: 3.0 + from_s % 100.0 });
    stats[Channel::Busy.ix()] = Some(Stats::one(0.125));
    Row { from_s, span_s: 10.0, stats }
}

/// A row with this draw and nothing else.
pub(crate) fn draw_row(from_s: f64, watts: f64, peak: f64) -> Row {
    let mut stats = [None; Channel::ALL.len()];
    stats[Channel::Watts.ix()] = Some(Stats { mean: watts, min: watts, max: peak });
    Row { from_s, span_s: 10.0, stats }
}

pub(crate) fn who(boot: &str, began_s: f64) -> Who {
    Who { boot_uuid: boot.into(), began_s, version: "test".into() }
}

/// Starts the record; the states it tells come out of the receiver.
pub(crate) fn start_in(keep: Keep, boot: &str, began_s: f64) -> (Started, Receiver<RecordState>) {
    let (told, states) = channel();
    let started = history::start(keep, who(boot, began_s), move |state| {
        let _ = told.send(state);
    })
    .unwrap();
    (started, states)
}

pub(crate) fn start(folder: &Path, boot: &str, began_s: f64) -> (Started, Receiver<RecordState>) {
    start_in(Keep::here(folder.to_path_buf()), boot, began_s)
}

/// Waits for a state that fits; panics after half a minute without one.
pub(crate) fn wait(
    states: &Receiver<RecordState>,
    what: &str,
    fits: impl Fn(&RecordState) -> bool,
) -> RecordState {
    let mut seen = Vec::new();
    loop {
        match states.recv_timeout(Duration::from_secs(30)) {
            Ok(state) if fits(&state) => return state,
            Ok(state) => seen.push(state),
            Err(_) => panic!("never {what}; last told: {:?}", seen.last()),
        }
    }
}

/// Gives rows from..to (exclusive), ten seconds each; how often the queue was full (each counts as
/// missed, and the row is given again).
pub(crate) fn give_rows(
    started: &Started,
    from_s: f64,
    to_s: f64,
    row: impl Fn(f64) -> Row,
) -> u64 {
    let mut at = from_s;
    let mut full = 0;
    while at < to_s - 0.5 {
        while !started.writer.give(Change::Row(row(at))) {
            full += 1;
            std::thread::sleep(Duration::from_millis(1));
        }
        at += 10.0;
    }
    full
}
