//! The demonstration, from outside: its day shows all that it promises, in order; it stands still when
//! told to; and it leaves nothing behind.

use std::{
    fs,
    path::{Path, PathBuf},
    thread::sleep,
    time::Duration,
};

use serde_json::Value;
use tempfile::TempDir;

use crate::support::{Daemon, get, home, outlast, send_to};

/// A demonstration with an empty home, whose only folder for things that pass is this one.
fn played(home: &Path) -> (Daemon, PathBuf) {
    let passing = home.join("passing");
    fs::create_dir(&passing).expect("a folder");
    let mut command = outlast(home);
    command.env("TMPDIR", &passing);
    command.args(["run", "--listen", "127.0.0.1:0", "--demo", "--demo-speed", "600"]);
    (Daemon::of(command), passing)
}

/// The snapshot, or why there is none.
fn told(daemon: &Daemon) -> Option<Value> {
    serde_json::from_str(&daemon.get("/api/v1/now").1).ok()
}

/// Taps a button, and comes back to Now.
fn ask(daemon: &Daemon, what: &str) -> u16 {
    let form = "application/x-www-form-urlencoded";
    send_to(&format!("http://{}/demo", daemon.at), form, format!("ask={what}")).0
}

fn part(daemon: &Daemon) -> String {
    let page = daemon.get("/station").1;
    let from = page.split_once("Part ").map_or("", |(_, rest)| rest);
    from.split('<').next().unwrap_or("").to_owned()
}

fn warns_of(now: &Value, what: &str) -> bool {
    now["alarms"].as_array().is_some_and(|all| all.iter().any(|alarm| alarm["about"] == what))
}

fn asks(now: &Value, what: &str) -> bool {
    let open = |it: &Value| it["id"] == what && it["standing"] == "open";
    now["questions"].as_array().is_some_and(|all| all.iter().any(open))
}

fn counts(now: &Value, state: &str) -> bool {
    now["power_off"]["state"] == state
}

/// Waits till the JSON says this, looking often.
fn reached(daemon: &mut Daemon, what: &str, is: impl Fn(&Value) -> bool) -> Value {
    let patience = Duration::from_secs(120);
    let now = daemon.wait_for(patience, |daemon| told(daemon).filter(|now| is(now)));
    println!("{what}: {} s after boot, part {}", now["up_s"], part(daemon));
    now
}

/// Files that the process has open for a name: proc(5), `/proc/pid/fd`.
fn open_files(daemon: &Daemon) -> Vec<PathBuf> {
    let all = fs::read_dir(format!("/proc/{}/fd", daemon.pid())).expect("its files").flatten();
    all.filter_map(|file| fs::read_link(file.path()).ok()).filter(|path| path.is_file()).collect()
}

fn below(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .flat_map(|entry| {
            let path = entry.path();
            if path.is_dir() { below(&path) } else { vec![path] }
        })
        .collect()
}

#[test]
fn the_day_shows_everything_in_order_and_leaves_nothing() {
    let home: TempDir = home();
    let (mut daemon, passing) = played(home.path());
    let verdict = |wanted: &'static str| move |now: &Value| now["forecast"]["verdict"] == wanted;
    let enough = reached(&mut daemon, "enough", |now| {
        now["up_s"].as_f64() > Some(9000.0) && now["forecast"]["verdict"] == "enough"
    });
    assert_eq!(enough["outing"]["name"], "Ridge above the reservoir");
    assert!(part(&daemon).starts_with("1 of 6: enough"), "{}", part(&daemon));
    reached(&mut daemon, "tight", verdict("tight"));
    daemon.wait_for(Duration::from_secs(20), |d| part(d).starts_with("2 of 6").then_some(()));
    assert_eq!(ask(&daemon, "next"), 200);
    let alarm = reached(&mut daemon, "alarm", |now| {
        warns_of(now, "running_out")
            && now["forecast"]["remaining_s"]["p10"].as_f64() < Some(1800.0)
    });
    assert!(counts(&alarm, "watching"), "{alarm:#}");
    assert_eq!(ask(&daemon, "next"), 200);
    reached(&mut daemon, "counting down", |now| counts(now, "counting"));
    // Nobody taps: the operator of the day stops it.
    reached(&mut daemon, "stopped", |now| counts(now, "stopped"));
    assert_eq!(ask(&daemon, "next"), 200);
    // The board is off: programs hear so, and a page says so with the buttons on it.
    daemon.wait_for(Duration::from_secs(60), |daemon| {
        (daemon.get("/api/v1/now").0 == 503).then_some(())
    });
    let off = daemon.get("/");
    assert!(off.0 == 200 && off.1.contains("5 of 6") && off.1.contains("made up"), "{}", off.1);

    // The next morning it is another boot of the board, and nobody knows what was done in the night.
    let morning =
        reached(&mut daemon, "questions", |now| asks(now, "since-last") && asks(now, "how-ended"));
    assert!(morning["up_s"].as_f64() < Some(4500.0), "{morning:#}");
    assert!(morning["at"].as_str().is_some_and(|at| at.starts_with("2026-05-17")), "{morning:#}");
    assert_eq!(part(&daemon), "6 of 6: next day");
    // It stands on the page also while the board may stop at any minute for want of the answer.
    daemon.wait_for(Duration::from_secs(20), |d| counts(&d.now(), "unsure").then_some(()));
    assert!(daemon.get("/").1.contains("Same bank, not charged since?"));
    let told: Value =
        serde_json::from_str(&daemon.get("/api/v1/outings/1/report").1).expect("JSON");
    assert_eq!(told["name"], "Ridge above the reservoir", "{told:#}");
    // 26 Wh were in the bank, and it was emptied.
    let energy = told["report"]["energy"]["whole"]["energy_wh"].as_f64().expect("a number");
    assert!((25.5..26.1).contains(&energy), "{energy} Wh");
    assert!(daemon.get("/outings").1.contains("Ridge above the reservoir"));
    assert!(daemon.get("/banks").1.contains("Bench, in March"));

    // All of it lies in one folder, and the next round in another.
    let places = |passing: &Path| fs::read_dir(passing).expect("a folder").flatten().count();
    let files = below(home.path());
    assert!(
        places(&passing) == 1 && files.iter().all(|file| file.starts_with(&passing)),
        "{files:?}"
    );
    let open = open_files(&daemon);
    assert!(open.iter().any(|file| file.ends_with("record.db")), "{open:?}");
    assert!(open.iter().all(|file| file.starts_with(&passing)), "{open:?}");
    assert_eq!(ask(&daemon, "next"), 200);
    reached(&mut daemon, "again", verdict("enough"));
    assert!(part(&daemon).starts_with("1 of 6: enough"));
    let outings: Value = serde_json::from_str(&daemon.get("/api/v1/outings").1).expect("JSON");
    assert_eq!(outings["outings"].as_array().map(Vec::len), Some(1), "{outings:#}");
    assert_eq!(places(&passing), 1);
    assert_eq!(daemon.end("TERM").code(), Some(0));
    assert_eq!(below(home.path()), Vec::<PathBuf>::new());
    assert_eq!(places(&passing), 0);
}

#[test]
fn a_pause_holds_and_next_ends_it() {
    let home = home();
    let (mut daemon, _) = played(home.path());
    let up = |daemon: &Daemon| told(daemon).and_then(|now| now["up_s"].as_f64());
    daemon.wait_for(Duration::from_secs(60), |daemon| up(daemon).filter(|up| *up > 9000.0));
    assert_eq!(ask(&daemon, "pause"), 200);
    daemon.wait_for(Duration::from_secs(5), |daemon| {
        daemon.get("/").1.contains("Go on").then_some(())
    });
    let before = told(&daemon).expect("a snapshot");
    sleep(Duration::from_secs(4));
    let after = told(&daemon).expect("a snapshot");
    // Figures and ages stand still; what outlast itself uses goes on.
    for field in ["up_s", "at", "forecast", "outing", "draw", "alarms", "board"] {
        assert_eq!(before[field], after[field], "{field}");
    }
    // Taps work meanwhile.
    let set = format!("http://{}/api/v1/finish", daemon.at);
    assert_eq!(send_to(&set, "application/json", r#"{"after_s":3600}"#.to_owned()).0, 204);
    assert_eq!(ask(&daemon, "go"), 200);
    let paused = before["up_s"].as_f64();
    daemon.wait_for(Duration::from_secs(10), |daemon| (up(daemon) > paused).then_some(()));
    assert!(daemon.get("/").1.contains("Pause"));
    assert_eq!(ask(&daemon, "dance"), 422);
    assert_eq!(get(&format!("http://{}/demo", daemon.at), None).0, 405);
}
