//! P3: what cannot be read, or belongs to somebody else, is set aside and named, never overwritten.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod support;

use std::fs;

use history::{Change, FILE, Keep};
use reckon::{
    belief::last_end::StopHow,
    record::{End, Ending},
};
use rusqlite::Connection;
use support::{Die, Folder, give_rows, row_at, start, start_in, wait};

/// A record with an hour of rows, ended cleanly or not.
fn made(folder: &Folder, cleanly: bool) {
    let (started, states) = start(&folder.0, "boot-a", 0.0);
    give_rows(&started, 0.0, 7200.0, row_at);
    started.writer.change(vec![]).unwrap();
    if cleanly {
        started.writer.stop(7200.0, StopHow::SwitchingOff).unwrap();
    } else {
        // Ends the thread without the clean mark, as a kill would.
        drop(started);
        while states.recv().is_ok() {}
    }
}

fn files(folder: &Folder) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(&folder.0)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn a_record_of_a_newer_version_is_set_aside_whole() {
    let folder = Folder::new("newer");
    made(&folder, true);
    let raw = Connection::open_with_flags_and_vfs(
        folder.file(),
        rusqlite::OpenFlags::default(),
        "unix-excl",
    )
    .unwrap();
    raw.execute_batch("PRAGMA user_version = 99; PRAGMA wal_checkpoint(TRUNCATE);").unwrap();
    drop(raw);
    let before = fs::read(folder.file()).unwrap();
    let (started, states) = start(&folder.0, "boot-b", 0.0);
    assert_eq!(started.set_aside.len(), 1);
    let aside = &started.set_aside[0];
    assert!(aside.why.contains("newer outlast") && aside.why.contains("99"), "{}", aside.why);
    assert_eq!(aside.path, folder.0.join("record-newer-1.db"));
    assert!(fs::read(&aside.path).unwrap() == before, "not a byte of it has changed");
    assert_eq!(started.before, None, "the new record begins empty");
    give_rows(&started, 0.0, 120.0, row_at);
    let state = wait(&states, "went on in a new file", |state| state.last_s.is_some());
    assert_eq!(state.set_aside.len(), 1, "and the page can name it");
}

#[test]
fn a_file_cut_to_nothing_is_set_aside_with_its_log() {
    let folder = Folder::new("nothing");
    made(&folder, false);
    let kept = fs::read(folder.0.join(format!("{FILE}-wal"))).unwrap();
    assert!(!kept.is_empty());
    fs::write(folder.file(), b"").unwrap();
    let (started, _) = start(&folder.0, "boot-b", 0.0);
    assert_eq!(started.set_aside.len(), 1, "the log alone was thrown away");
    assert!(started.set_aside[0].why.contains("its log"), "{}", started.set_aside[0].why);
    assert!(fs::read(folder.0.join("record-unreadable-1.db-wal")).unwrap() == kept);
}

#[test]
fn a_foreign_file_and_plain_rubbish_are_set_aside() {
    let folder = Folder::new("foreign");
    fs::write(folder.file(), b"this has never been a record\n".repeat(50)).unwrap();
    let (started, _) = start(&folder.0, "boot-a", 0.0);
    assert_eq!(started.set_aside[0].path, folder.0.join("record-unreadable-1.db"));
    drop(started);

    let folder = Folder::new("foreign");
    Connection::open(folder.file()).unwrap().execute_batch("CREATE TABLE qso (t)").unwrap();
    let (started, _) = start(&folder.0, "boot-a", 0.0);
    assert_eq!(started.set_aside[0].path, folder.0.join("record-foreign-1.db"));
    assert!(started.set_aside[0].why.contains("not a record of outlast"));
}

#[test]
fn names_that_are_taken_are_never_taken_again() {
    let folder = Folder::new("names");
    fs::write(folder.0.join("record-unreadable-1.db"), b"an earlier one").unwrap();
    fs::write(folder.0.join("record-unreadable-2.db-wal"), b"the log of another").unwrap();
    fs::write(folder.file(), b"rubbish".repeat(100)).unwrap();
    let (started, _) = start(&folder.0, "boot-a", 0.0);
    assert_eq!(started.set_aside[0].path, folder.0.join("record-unreadable-3.db"));
    assert_eq!(fs::read(folder.0.join("record-unreadable-1.db")).unwrap(), b"an earlier one");
}

/// Bytes flipped at random, in the file or its log, after an unclean end. Whatever they hit, the
/// start goes on; a file that is not whole is kept aside byte for byte, and one that is used passes
/// SQLite's own check.
#[test]
fn bytes_flipped_at_random() {
    let seed = std::env::var("SEED").ok().and_then(|s| s.parse().ok()).unwrap_or(4711);
    println!("SEED={seed}");
    let mut die = Die(seed);
    let good = Folder::new("good");
    made(&good, false);
    let (mut aside, mut used) = (0, 0);
    for round in 0..120 {
        let folder = Folder::new("flip");
        let mut bytes =
            [fs::read(good.file()).unwrap(), fs::read(good.0.join("record.db-wal")).unwrap()];
        let which = usize::from(die.below(3) == 0);
        let flips = 1 + die.below(8);
        for _ in 0..flips {
            let place = usize::try_from(die.below(bytes[which].len() as u64)).unwrap();
            bytes[which][place] ^= 1 << die.below(8);
        }
        fs::write(folder.file(), &bytes[0]).unwrap();
        fs::write(folder.0.join("record.db-wal"), &bytes[1]).unwrap();
        let told = format!("round {round}, seed {seed}, {flips} flips in file {which}");
        let (started, _states) = start(&folder.0, "boot-b", 0.0);
        assert!(started.trouble.is_none(), "{told}: {:?}", started.trouble);
        give_rows(&started, 0.0, 120.0, row_at);
        started.writer.change(vec![]).unwrap_or_else(|e| panic!("{told}: {e:?}"));
        if let Some(kept) = started.set_aside.first() {
            aside += 1;
            assert!(fs::read(&kept.path).unwrap() == bytes[0], "{told}: changed while set aside");
            assert!(
                kept.why.contains("damaged")
                    || kept.why.contains("newer")
                    || kept.why.contains("not a record"),
                "{told}: {}",
                kept.why
            );
        } else {
            used += 1;
        }
        assert_eq!(started.reader.check().unwrap(), "ok", "{told}");
        started.writer.stop(120.0, StopHow::Stopped).unwrap();
    }
    println!("{aside} set aside, {used} used");
    assert!(
        aside > 10 && used > 10,
        "{aside} set aside and {used} used: the trial met only one case"
    );
}

/// Damage that the start did not see shows when it is met: the file is set aside then, and the
/// outing goes on in a new one.
#[test]
fn damage_met_while_writing_moves_to_a_new_file() {
    let folder = Folder::new("late");
    let keep = Keep { every_s: 3600.0, every_near_s: 3600.0, ..Keep::here(folder.0.clone()) };
    let (started, states) = start_in(keep, "boot-a", 0.0);
    started.writer.give(Change::OutingBegins {
        bank: None,
        name: Some("Old quarry, in the cold".into()),
        start_share: Some(1.0),
        at_s: 0.0,
    });
    // More than the writer's cache holds, so that it has to read what was ruined.
    give_rows(&started, 0.0, 864_000.0, row_at);
    started.writer.change(vec![]).unwrap();
    // Ruin every page but the first behind the back of the writer, and take its log away.
    let mut bytes = fs::read(folder.file()).unwrap();
    let _ = fs::write(folder.0.join("record.db-wal"), b"");
    for byte in &mut bytes[1024..] {
        *byte = 0xA5;
    }
    fs::write(folder.file(), &bytes).unwrap();
    let end = End { from_s: 864_000.0, to_s: 864_000.0, ending: Ending::SwitchedOff };
    let refused = started
        .writer
        .change(vec![Change::OutingEnds { outing: None, end }])
        .expect_err("the sum over the outing's rows meets the damage");
    assert!(refused.to_string().starts_with("The record is damaged."), "{refused}");
    let mut at = 864_000.0;
    while files(&folder).len() < 4 {
        give_rows(&started, at, at + 60.0, row_at);
        at += 60.0;
        assert!(at < 884_000.0, "never began a new file");
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    started.writer.change(vec![]).unwrap();
    let state = wait(&states, "named it", |state| !state.set_aside.is_empty());
    assert!(
        files(&folder).iter().any(|name| name.starts_with("record-unreadable-1")),
        "{:?}",
        files(&folder)
    );
    assert!(state.set_aside[0].why.contains("damaged"));
    let outings = started.reader.outings(None, 10).unwrap();
    assert_eq!(outings.items[0].name.as_deref(), Some("Old quarry, in the cold"));
    assert_eq!(started.reader.check().unwrap(), "ok");
    assert!(files(&folder).contains(&FILE.to_string()));
}
