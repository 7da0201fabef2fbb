//! P1 and P2 against a process that is killed at random moments (the page cache survives this;
//! cuts of the power itself are tried on a real kernel by `tests/board`).
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod support;

use std::{
    io::{BufRead, BufReader},
    path::PathBuf,
    process::{Command, Stdio},
    sync::mpsc::channel,
    time::Duration,
};

use rusqlite::{Connection, OpenFlags};
use support::{Die, Folder, row_at};

const KILLS: u64 = 500;

/// The example beside this test's own binary; `cargo test` builds it, `cargo test --test cut` does
/// not.
fn victim() -> PathBuf {
    let mut path = std::env::current_exe().unwrap();
    path.pop();
    path.pop();
    path.push("examples/keep_rows");
    if !path.exists() {
        let build = ["build", "-p", "history", "--example", "keep_rows"];
        assert!(Command::new(env!("CARGO")).args(build).status().unwrap().success());
    }
    path
}

/// What a killed writer had said.
struct Last {
    gave_s: f64,
    kept_s: f64,
}

/// Kills it after it has said so many lines, and so long after that: by lines, so that a slow
/// machine is not always caught at the start.
fn run_and_kill(
    folder: &Folder,
    boot: &str,
    from_s: f64,
    near: bool,
    (lines, after): (u64, Duration),
) -> Last {
    let mut command = Command::new(victim());
    command.arg(&folder.0).args([boot, &from_s.to_string(), "100000"]);
    if near {
        command.arg("near");
    }
    let mut child = command.stdout(Stdio::piped()).spawn().unwrap();
    let output = child.stdout.take().unwrap();
    let (told, tells) = channel();
    let reading = std::thread::spawn(move || {
        let mut last = Last { gave_s: 0.0, kept_s: 0.0 };
        for line in BufReader::new(output).lines().map_while(Result::ok) {
            // A line that the kill cut in half names no moment.
            match line.split_once(' ').map(|(word, at)| (word, at.parse::<f64>())) {
                Some(("gave", Ok(at_s))) => last.gave_s = last.gave_s.max(at_s),
                Some(("kept", Ok(at_s))) => last.kept_s = last.kept_s.max(at_s),
                _ => {}
            }
            let _ = told.send(());
        }
        last
    });
    for _ in 0..lines {
        tells.recv_timeout(Duration::from_secs(30)).expect("the victim says something");
    }
    std::thread::sleep(after);
    assert!(child.try_wait().unwrap().is_none(), "the victim ended by itself");
    child.kill().unwrap();
    child.wait().unwrap();
    reading.join().unwrap()
}

/// The rows of a boot as the file has them, through the documented view.
fn rows_of(connection: &Connection, boot: &str) -> Vec<(f64, f64, f64)> {
    let mut ask = connection
        .prepare(
            "SELECT from_s, volts_v_mean, power_w_max FROM ten_seconds
             WHERE boot = (SELECT id FROM boot WHERE uuid = ?1) ORDER BY from_s",
        )
        .unwrap();
    ask.query_map([boot], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap()
}

#[test]
fn killed_at_five_hundred_random_moments() {
    let seed = std::env::var("SEED").ok().and_then(|s| s.parse().ok()).unwrap_or(20_261_125);
    println!("SEED={seed}");
    let mut die = Die(seed);
    let folder = Folder::new("cut");
    let mut boot = 0_u64;
    let mut from_s = 20.0;
    let (mut with_rows, mut close_ups) = (0, 0);
    let mut boots: Vec<(String, usize)> = Vec::new();
    for kill in 0..KILLS {
        // Now and then the daemon comes back in the same boot, as after a crash.
        if kill == 0 || die.below(4) > 0 {
            boot += 1;
            from_s = 20.0;
        }
        let uuid = format!("boot-{boot}");
        let near = die.below(2) == 0;
        // One in five at any moment of its start, the others in the middle of its work.
        let lines = if die.below(5) == 0 { 0 } else { 1 + die.below(120) };
        let after = Duration::from_micros(die.below(if lines == 0 { 60_000 } else { 4_000 }));
        let last = run_and_kill(&folder, &uuid, from_s, near, (lines, after));
        if !folder.file().exists() {
            continue; // killed before it had made the file
        }
        let told = format!("kill {kill}, seed {seed}, boot {uuid}");
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE;
        let connection = Connection::open_with_flags_and_vfs(folder.file(), flags, "unix-excl")
            .unwrap_or_else(|e| panic!("P1, {told}: {e}"));
        let verdict: String =
            connection.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
        assert_eq!(verdict, "ok", "P1, {told}");
        let version: i64 =
            connection.query_row("PRAGMA user_version", [], |row| row.get(0)).unwrap();
        if version == 0 {
            assert_eq!(last.kept_s, 0.0, "{told}: kept something in an empty file");
            continue;
        }
        let rows = rows_of(&connection, &uuid);
        let card_s = rows.last().map_or(from_s, |row| row.0 + 10.0);
        assert!(card_s >= last.kept_s, "{told}: said kept {}, has {card_s}", last.kept_s);
        // This run's own rows: the seconds between two runs were nobody's.
        let lost_s = last.gave_s - card_s.max(from_s);
        let most_s = if near { 10.0 } else { 60.0 };
        assert!(lost_s <= most_s, "P2, {told}: {lost_s} s lost");
        for (at_s, volts, peak) in &rows {
            let want = row_at(*at_s);
            let want = (want.stats[0].unwrap().mean, want.stats[2].unwrap().max);
            assert!(
                (volts - want.0).abs() < 1e-6 && (peak - want.1).abs() < 1e-6,
                "{told}: {at_s}"
            );
        }
        for pair in rows.windows(2) {
            assert!(pair[1].0 > pair[0].0, "{told}: the same ten seconds twice");
        }
        // What is kept beside the rows is there whole or not at all, and no contact twice.
        let beside: (i64, i64, i64) = connection
            .query_row(
                "SELECT (SELECT count(*) FROM contact), (SELECT count(*) FROM close_up_seconds),
                     (SELECT 120 * count(*) FROM close_up)",
                [],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
            )
            .unwrap();
        assert!([0, 2].contains(&beside.0) && beside.1 == beside.2, "P1, {told}: {beside:?}");
        close_ups = close_ups.max(beside.2);
        // What earlier boots left is still there.
        boots.retain(|(earlier, _)| *earlier != uuid);
        for (earlier, count) in boots.iter().rev().take(5) {
            assert_eq!(rows_of(&connection, earlier).len(), *count, "{told}: {earlier} changed");
        }
        boots.push((uuid, rows.len()));
        with_rows += usize::from(last.kept_s > 0.0);
        from_s = card_s.max(from_s) + 10.0;
    }
    assert!(close_ups > 0, "no kill came after something beside the rows was kept");
    assert!(with_rows > 200, "only {with_rows} of {KILLS} kills came after a commit");
}
