//! P4: a full or read-only card stops the record and not more; it goes on when it can.
//!
//! Small file systems are made in memory, for which this must run as root; as anybody else the
//! tests enter a user namespace of their own (`unshare --map-root-user --mount`), and fail, not
//! skip, where neither works.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod support;

use std::{
    fs,
    path::{Path, PathBuf},
    process::Command,
};

use support::{Folder, give_rows, row_at, start, wait};

/// A file system of this size in memory, mounted for the life of this.
struct Card(PathBuf);

impl Card {
    fn new(folder: &Folder, size: &str) -> Self {
        let place = folder.0.join("card");
        fs::create_dir_all(&place).unwrap();
        let options = format!("size={size}");
        run("mount", &["-t", "tmpfs", "-o", &options, "card", place.to_str().unwrap()]);
        Self(place)
    }

    fn remount(&self, how: &str) {
        run("mount", &["-o", &format!("remount,{how}"), self.0.to_str().unwrap()]);
    }
}

impl Drop for Card {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

fn run(program: &str, words: &[&str]) {
    let done = Command::new(program).args(words).output().unwrap();
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{program} {words:?}: {said}");
}

/// Runs the named test again inside a namespace where we are root, unless we are root already.
/// Gives whether the caller is to go on itself.
fn as_root(test: &str) -> bool {
    let root = fs::metadata("/proc/self").is_ok_and(|found| {
        use std::os::unix::fs::MetadataExt;
        found.uid() == 0
    });
    if root {
        return true;
    }
    let me = std::env::current_exe().unwrap();
    let done = Command::new("unshare")
        .args(["--user", "--map-root-user", "--mount"])
        .arg(me)
        .args(["--exact", test, "--nocapture"])
        .status()
        .unwrap();
    assert!(done.success(), "{test} failed in a namespace of its own, or none could be made");
    false
}

fn fill(place: &Path) -> PathBuf {
    let ballast = place.join("ballast");
    let mut size = 1_usize << 20;
    let mut bytes = Vec::new();
    while size >= 1024 {
        let more = vec![0x55_u8; size];
        bytes.extend_from_slice(&more);
        if fs::write(&ballast, &bytes).is_err() {
            bytes.truncate(bytes.len() - size);
            size /= 2;
        }
    }
    ballast
}

#[test]
fn a_full_card_stops_the_record_until_there_is_space() {
    if !as_root("a_full_card_stops_the_record_until_there_is_space") {
        return;
    }
    let folder = Folder::new("full");
    let card = Card::new(&folder, "8m");
    let state_folder = card.0.join("state");
    let (started, states) = start(&state_folder, "boot-a", 0.0);
    give_rows(&started, 0.0, 600.0, row_at);
    wait(&states, "kept ten minutes", |state| state.last_s >= Some(550.0));
    let ballast = fill(&card.0);
    let mut at_s = 600.0;
    let stopped = loop {
        assert_eq!(give_rows(&started, at_s, at_s + 60.0, row_at), 0);
        at_s += 60.0;
        let state = wait(&states, "said something", |_| true);
        if let Some(why) = state.stopped {
            break why;
        }
        assert!(at_s < 400_000.0, "a full card was never noticed");
    };
    assert!(stopped.starts_with("The card is full."), "{stopped}");
    assert!(stopped.contains("forecast goes on"), "{stopped}");
    // Half an hour later it is still full; the rows wait.
    let mut full = give_rows(&started, at_s, at_s + 1800.0, row_at);
    let waiting = wait(&states, "tried again", |state| state.waiting > 60);
    assert!(waiting.stopped.is_some());
    fs::remove_file(ballast).unwrap();
    full += give_rows(&started, at_s + 1800.0, at_s + 1980.0, row_at);
    let again = wait(&states, "went on", |state| state.stopped.is_none());
    assert_eq!(again.missed, full, "all that waited was kept");
    // What was still on its way to the writer when it went on.
    started.writer.change(vec![]).unwrap();
    let outing_rows = rows(&started.reader, at_s + 1800.0);
    assert!(outing_rows, "the rows of the time without space are on the card");
    assert_eq!(started.reader.check().unwrap(), "ok");
    started.writer.stop(at_s + 1980.0, reckon::belief::last_end::StopHow::Stopped).unwrap();
}

/// Whether there is a row for every ten seconds from the start till then.
fn rows(reader: &history::Reader, to_s: f64) -> bool {
    let copy = std::env::temp_dir().join(format!("outlast-full-{}.db", std::process::id()));
    let _ = fs::remove_file(&copy);
    reader.copy_whole(&copy).unwrap();
    let record = rusqlite::Connection::open(&copy).unwrap();
    let count: u32 = record
        .query_row(
            "SELECT count(DISTINCT from_s) FROM ten_seconds WHERE from_s < ?1",
            [to_s],
            |row| row.get(0),
        )
        .unwrap();
    fs::remove_file(copy).unwrap();
    println!("{count} rows till {to_s} s");
    (f64::from(count) - to_s / 10.0).abs() < 0.5
}

#[test]
fn memory_stays_bounded_while_the_card_is_full() {
    if !as_root("memory_stays_bounded_while_the_card_is_full") {
        return;
    }
    let folder = Folder::new("bounded");
    let card = Card::new(&folder, "8m");
    let (started, states) = start(&card.0.join("state"), "boot-a", 0.0);
    give_rows(&started, 0.0, 120.0, row_at);
    wait(&states, "kept", |state| state.last_s.is_some());
    fill(&card.0);
    // A log that has its full length takes rows for a while; ten days are more than enough.
    let full = give_rows(&started, 120.0, 864_000.0, row_at);
    // What comes beside the rows has a bound of its own: 4096.
    for k in 0..5000 {
        let seconds = vec![reckon::record::Second::default(); 120];
        let why = String::from("undervoltage");
        let close_up = reckon::record::CloseUp { from_s: f64::from(k), why, seconds };
        while !started.writer.give(history::Change::CloseUp(close_up.clone())) {
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
    }
    assert!(started.writer.change(vec![]).is_err(), "the card is full");
    let mut last = None;
    while let Ok(state) = states.try_recv() {
        last = Some(state);
    }
    let state = last.unwrap();
    assert!(state.stopped.is_some());
    assert!((2000..=2160 + 4096).contains(&state.waiting), "{} entries wait", state.waiting);
    assert!(state.missed > full, "the oldest made room, and that is told");
}

#[test]
fn a_card_gone_read_only_stops_the_record_and_can_still_be_read() {
    if !as_root("a_card_gone_read_only_stops_the_record_and_can_still_be_read") {
        return;
    }
    let folder = Folder::new("readonly");
    let card = Card::new(&folder, "8m");
    let state_folder = card.0.join("state");
    let (started, states) = start(&state_folder, "boot-a", 0.0);
    started.writer.give(history::Change::OutingBegins {
        bank: None,
        name: None,
        start_share: None,
        at_s: 0.0,
    });
    give_rows(&started, 0.0, 600.0, row_at);
    wait(&states, "kept ten minutes", |state| state.last_s >= Some(550.0));
    started.writer.stop(600.0, reckon::belief::last_end::StopHow::SwitchingOff).unwrap();

    card.remount("ro");
    let (started, states) = start(&state_folder, "boot-b", 0.0);
    let why = started.trouble.as_ref().expect("it cannot be opened for writing").to_string();
    assert!(why.contains("read-only"), "{why}");
    assert_eq!(
        started.reader.outings(None, 10).unwrap().items.len(),
        1,
        "what is there can be read"
    );
    give_rows(&started, 0.0, 300.0, row_at);
    let state = wait(&states, "tried again", |state| state.waiting > 10);
    assert!(state.stopped.is_some());

    card.remount("rw");
    assert_eq!(give_rows(&started, 300.0, 480.0, row_at), 0);
    let state = wait(&states, "went on", |state| state.stopped.is_none());
    assert_eq!(state.missed, 0);
    started.writer.stop(480.0, reckon::belief::last_end::StopHow::Stopped).unwrap();
}
