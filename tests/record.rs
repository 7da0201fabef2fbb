//! The record as an operator meets it: outings that survive a kill, a lost power and a new boot;
//! run-downs that are credited, taken back and imported; a card that is full or read-only.

use std::{
    fs,
    path::Path,
    thread::sleep,
    time::{Duration, Instant},
};

use serde_json::{Value, json};
use tempfile::TempDir;

use crate::{
    cards::{Card, as_root},
    support::{Board, Daemon, Ended, end_of, get, home, outlast, post, send, socket, tree},
};

/// Another boot of the same board.
const NEXT_BOOT: &str = "0a8f6a52-77ab-4b1e-8f5a-9d1e2f3a4b5c\n";
const BOOT_ID: &str = "proc/sys/kernel/random/boot_id";

fn near(value: &Value, want: f64) -> bool {
    value.as_f64().is_some_and(|x| (x - want).abs() < 0.005)
}

fn cli(home: &Path, words: &[&str]) -> Ended {
    end_of(outlast(home).args(words))
}

/// A command that must work; what it printed.
fn done(home: &Path, words: &[&str]) -> String {
    let ended = cli(home, words);
    assert_eq!(ended.code, Some(0), "{words:?}: {}", ended.err);
    ended.out
}

fn read(home: &Path, words: &[&str]) -> Value {
    serde_json::from_str(&done(home, words)).expect("JSON")
}

fn outings(home: &Path) -> Vec<Value> {
    read(home, &["outing", "list", "--json"])["outings"].as_array().expect("a list").clone()
}

fn choose_blue_ten(home: &Path, start: &str) {
    let spec = json!({
        "name": "Blue ten", "cells": "li-ion", "series": 1, "label_mah": 10000.0,
        "label_v": 3.7, "measured_at": "output", "ambient_c": null, "cutoff_v": null,
    });
    let status = post(&socket(home), "/api/v1/bank", &json!({ "spec": spec, "start": start }));
    assert!((200..300).contains(&status), "{status}");
}

/// On this board, with rows on the card every ten seconds.
fn started(board: &Board, home: &TempDir) -> Daemon {
    let settings = home.path().join("often.toml");
    fs::write(&settings, "[record]\nevery_s = 10\n").expect("a file");
    let root = board.path("");
    let [root, settings] = [&root, &settings].map(|path| path.to_str().expect("a path"));
    let words = ["--sysroot", root, "--settings", settings];
    Daemon::start(home.path(), &words)
}

/// A board with a sensor and a bank, recorded for at least so long on the card.
fn recorded(board: &Board, home: &TempDir, seconds: f64) -> Daemon {
    let mut daemon = started(board, home);
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    choose_blue_ten(home.path(), "full");
    daemon.wait_for(Duration::from_secs(90), |_| {
        let all = outings(home.path());
        all.first()?["lasted_s"].as_f64().filter(|lasted| *lasted >= seconds)
    });
    daemon
}

#[test]
fn an_outing_survives_a_kill_in_the_same_boot() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = recorded(&board, &home, 5.0);
    let began = Instant::now();
    let list = || done(home.path(), &["outing", "list"]);
    assert!(list().contains("goes on"), "{}", list());
    daemon.end("KILL");
    // Without a daemon the commands open the record themselves, and cannot know how it is now.
    assert!(list().contains("was open when outlast last ran"), "{}", list());
    let before = outings(home.path());
    assert_eq!((before.len(), &before[0]["ending"]), (1, &json!("open")), "{before:#?}");
    let mut daemon = Daemon::on(&board, home.path());
    let lasted = before[0]["lasted_s"].as_f64().unwrap();
    let after = daemon.wait_for(Duration::from_secs(90), |_| {
        let all = outings(home.path());
        (all[0]["lasted_s"].as_f64()? > lasted + 5.0).then_some(all)
    });
    assert_eq!(after.len(), 1, "the same outing goes on: {after:#?}");
    // The board was on all along, and fed: the time in which nobody looked counts.
    let most = lasted + began.elapsed().as_secs_f64() + 12.0;
    assert!(after[0]["lasted_s"].as_f64().unwrap() <= most, "{after:#?}");
    assert_eq!(after[0]["bank"], "Blue ten");
    let delivered = daemon.now()["bank"]["delivered_wh"].as_f64().unwrap();
    // 3.2768 W for at least the time that is recorded.
    assert!(delivered >= 3.2768 * (lasted - 1.0) / 3600.0, "{delivered} Wh in {lasted} s");
    // Killed once more, and left alone for a while: the board drew on, so nothing shrinks, and the
    // outing's mean stays what it was.
    let counted = daemon.now()["bank"].clone();
    daemon.end("KILL");
    sleep(Duration::from_secs(8));
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    daemon.wait_for(Duration::from_secs(20), |_| {
        (outings(home.path())[0]["lasted_s"].as_f64()? > lasted + 15.0).then_some(())
    });
    let (now, told) = (daemon.now()["bank"].clone(), outings(home.path()).remove(0));
    for field in ["delivered_wh", "bridged_wh"] {
        let [before, after] = [&counted, &now].map(|bank| bank[field].as_f64().unwrap());
        // A row that was not on the card yet counts as bridged at the same draw.
        assert!(after >= before - 0.0005, "{field} shrank: {counted} to {now}");
    }
    assert!(now["bridged_wh"].as_f64().unwrap() > 3.2768 * 6.0 / 3600.0, "{now}");
    assert!(near(&told["mean_power_w"], 3.2768), "{told}");
    let [wh, lasted_s] = ["energy_wh", "lasted_s"].map(|field| told[field].as_f64().unwrap());
    assert!((wh - 3.2768 * lasted_s / 3600.0).abs() < 2e-4, "{told}");
}

/// 10 mΩ and the INA226's end of 81.92 mV (TI SBOS547A, table 1: full-scale input range): 8.192 A, and
/// so 40.96 W of 5.0 V, whatever flows.
#[test]
fn a_sensor_at_the_end_of_its_range_is_told_as_at_least_wherever_the_outing_is() {
    let (board, home) = (Board::with_sensor(), home());
    board.reading(5000, 8192);
    let mut daemon = started(&board, &home);
    daemon.wait_until(|now| now["supply"]["power_at_least_w"].is_number());
    choose_blue_ten(home.path(), "full");
    daemon.wait_for(Duration::from_secs(90), |_| {
        let all = outings(home.path());
        all.first()?["energy_wh"].as_f64().filter(|wh| *wh > 0.3)
    });
    told_as_at_least(home.path(), "goes on");
    let now = daemon.now();
    assert_eq!(now["bank"]["delivered_is_at_least"], true, "{now}");
    // Closed, its sums are kept; without a word of the rows.
    choose_blue_ten(home.path(), "full");
    daemon.wait_for(Duration::from_secs(20), |_| {
        let all = outings(home.path());
        (all.len() == 2 && all[1]["ending"] == "swapped").then_some(())
    });
    told_as_at_least(home.path(), "bank changed");
    // As a later start counts on from it.
    choose_blue_ten(home.path(), "unknown");
    daemon.end("TERM");
    let mut daemon = started(&board, &home);
    let now = daemon.wait_until(|now| now["supply"]["power_at_least_w"].is_number());
    assert_eq!(now["bank"]["delivered_is_at_least"], true, "{now}");
}

fn read_page(home: &Path, path: &str) -> String {
    let (status, text) = get(&format!("http://localhost{path}"), Some(&socket(home)));
    assert_eq!(status, 200, "{path}: {text}");
    text
}

/// The list, the page, JSON, the terminal, the export and the bank's book tell the first outing so.
fn told_as_at_least(home: &Path, ending: &str) {
    let all = outings(home);
    let one = all.last().expect("an outing");
    let [over, all_wh] =
        ["over_range_wh", "energy_wh"].map(|key| one[key].as_f64().expect("a figure"));
    assert_eq!(one["energy_is_at_least"], true, "{ending}: {one}");
    // All of it but what was taken before the first row that is the outing's own: less than the ten
    // seconds of a row, and half a second to begin, at 5 V and 8.192 A.
    let before_rows_wh = 10.5 * 5.0 * 8.192 / 3600.0;
    assert!(over <= all_wh && all_wh - over < before_rows_wh, "{ending}: {one}");
    let list = done(home, &["outing", "list"]);
    let line = list.lines().find(|line| line.contains(ending)).expect("its line");
    assert!(line.contains("at least 0."), "{list}");
    let shown = done(home, &["outing", "show", "1"]);
    assert!(shown.contains("Draw: At least 0."), "{ending}: {shown}");
    // What a sensor at its end shows is no peak.
    assert!(!shown.contains("at most"), "{ending}: {shown}");
    for path in ["/outings", "/outings/1"] {
        let text = read_page(home, path).replace("\u{a0}", " ");
        assert!(text.contains("At least 0."), "{ending}: {path}: {text}");
        assert!(!text.contains("41 W at most"), "{ending}: {path}: {text}");
    }
    let export = done(home, &["export", "1", "--csv"]);
    let mut lines = export.lines();
    let place =
        lines.next().and_then(|head| head.split(',').position(|it| it == "over_range_w_mean"));
    let last = lines.nth(1).and_then(|row| row.split(',').nth(place?)).expect("a column");
    assert_eq!(last, "40.96", "{export}");
    let book = done(home, &["bank", "show", "Blue ten"]);
    assert!(book.contains("It delivered at least 0."), "{ending}: {book}");
    let told: Value = serde_json::from_str(&read_page(home, "/api/v1/banks/1/book")).expect("JSON");
    assert_eq!(told["total_is_at_least"], true, "{told}");
}

#[test]
fn thirty_kills_lose_no_mark_and_show_none_twice() {
    let (board, home) = (Board::with_sensor(), home());
    let mut made = Vec::new();
    for run in 0..30 {
        let mut daemon = started(&board, &home);
        daemon.wait_until(|now| now["supply"]["power_w"].is_number());
        for k in 0..4 {
            let text = format!("mark {run}.{k}");
            let status = post(&socket(home.path()), "/api/v1/mark", &json!({ "text": text }));
            assert_eq!(status, 204, "it is on the card");
            made.push(text);
        }
        // Whether a row was on the card yet is up to the moment.
        sleep(Duration::from_millis(400 * (run % 5)));
        daemon.end("KILL");
    }
    let told = read(home.path(), &["export", "last", "--json"]);
    let events = told["events"].as_array().expect("a list");
    let marks: Vec<&str> = events
        .iter()
        .filter(|event| event["kind"] == "mark")
        .filter_map(|event| event["text"].as_str())
        .collect();
    assert_eq!(marks, made, "of {} marks {} are shown", made.len(), marks.len());
}

#[test]
fn a_power_that_goes_away_leaves_an_interval_and_a_question() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = recorded(&board, &home, 5.0);
    daemon.end("KILL");
    board.put(BOOT_ID, NEXT_BOOT);
    let mut daemon = Daemon::on(&board, home.path());
    let all = daemon.wait_for(Duration::from_secs(20), |_| {
        Some(outings(home.path())).filter(|all| all.len() == 2)
    });
    let (new, old) = (&all[0], &all[1]);
    assert_eq!((&new["ending"], &old["ending"]), (&json!("open"), &json!("power_lost")));
    // The next row was due ten seconds after the last one; a commit may take two more.
    let within = old["ended_within_s"].as_f64().unwrap();
    assert!((within - 12.0).abs() < 0.5, "{within}");
    assert!(daemon.said().contains("the power was lost"), "{}", daemon.said());
    let chance = old["died_chance"].as_f64().unwrap();
    assert!((0.0..=1.0).contains(&chance));
    // The operator says what happened.
    let id = old["id"].to_string();
    done(home.path(), &["outing", "ended", &id, "died"]);
    assert_eq!(outings(home.path())[1]["ending"], "died");
    done(home.path(), &["outing", "ended", &id, "unplugged"]);
    assert_eq!(outings(home.path())[1]["ending"], "power_lost");
    let open = cli(home.path(), &["outing", "ended", "last", "died"]);
    assert_eq!(open.code, Some(1));
    assert!(open.err.contains("has not ended yet"), "{}", open.err);
    done(home.path(), &["outing", "name", &id, "Ridge above the reservoir"]);
    let shown = done(home.path(), &["outing", "show", &id]);
    assert!(
        shown.contains("Ridge above the reservoir") && shown.contains("plug was pulled"),
        "{shown}"
    );
}

#[test]
fn a_boot_without_a_name_of_its_own_is_not_taken_for_the_one_before() {
    for nameless in [None, Some("\n"), Some("no such thing\n")] {
        let (board, home) = (Board::with_sensor(), home());
        match nameless {
            Some(text) => board.put(BOOT_ID, text),
            None => fs::remove_file(board.path(BOOT_ID)).expect("a file"),
        }
        let mut daemon = recorded(&board, &home, 5.0);
        daemon.end("KILL");
        let mut daemon = Daemon::on(&board, home.path());
        let all = daemon.wait_for(Duration::from_secs(20), |_| {
            Some(outings(home.path())).filter(|all| all.len() == 2)
        });
        assert_eq!(all[1]["ending"], "power_lost", "{nameless:?}");
    }
}

#[test]
fn a_board_switched_off_in_good_order_asks_nothing() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = recorded(&board, &home, 5.0);
    assert_eq!(daemon.end("TERM").code(), Some(0), "{}", daemon.said());
    board.put(BOOT_ID, NEXT_BOOT);
    let mut daemon = Daemon::on(&board, home.path());
    let all = daemon.wait_for(Duration::from_secs(20), |_| {
        Some(outings(home.path())).filter(|all| all.len() == 2)
    });
    assert_eq!(all[1]["ending"], "switched_off");
    assert_eq!(all[1]["ended_within_s"].as_f64(), Some(0.0), "the mark tells the second");
    assert!(!daemon.said().contains("went away"));
    // Stopped and started in one boot, nothing has ended.
    daemon.end("TERM");
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    assert_eq!(outings(home.path()).len(), 2);
}

#[test]
fn off_for_the_night_the_operator_says_that_the_outing_goes_on() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = recorded(&board, &home, 5.0);
    choose_blue_ten(home.path(), "unknown");
    let first = daemon.wait_for(Duration::from_secs(60), |_| {
        let newest = outings(home.path()).remove(0);
        (newest["lasted_s"].as_f64()? > 15.0).then_some(newest)
    });
    let id = first["id"].to_string();
    done(home.path(), &["outing", "name", &id, "Ridge above the reservoir"]);
    daemon.end("TERM");
    let evening = outings(home.path()).remove(0);
    assert_eq!(evening["ending"], "open", "what happened is decided by the next start");
    board.put(BOOT_ID, NEXT_BOOT);
    let mut daemon = Daemon::on(&board, home.path());
    let asks = |page: &str| page.contains("name=question value=since-last");
    daemon.wait_for(Duration::from_secs(30), |it| asks(&it.get("/").1).then_some(()));
    assert_eq!(outings(home.path()).len(), 3);
    // Not just any outing goes on.
    let wrong = cli(home.path(), &["outing", "goes-on", "1"]);
    assert!(wrong.code == Some(1) && wrong.err.contains("does not follow"), "{}", wrong.err);
    done(home.path(), &["outing", "goes-on", &id]);
    let (all, evening_wh) = (outings(home.path()), evening["energy_wh"].as_f64().unwrap());
    assert_eq!((all.len(), all[0]["id"].to_string()), (2, id.clone()), "{all:#?}");
    assert_eq!((&all[0]["ending"], &all[0]["name"]), (&json!("open"), &evening["name"]));
    // What it gave in the evening counts in the forecast of the morning.
    let now = daemon.wait_until(|now| now["bank"]["delivered_wh"].as_f64() > Some(evening_wh));
    assert_eq!(now["outing"]["name"], "Ridge above the reservoir", "{now}");
    assert!(!asks(&daemon.get("/").1));
    // A restart does not lose it.
    let counted = daemon.now()["bank"]["delivered_wh"].as_f64();
    daemon.end("KILL");
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["bank"]["delivered_wh"].as_f64() >= counted);
    let [wh, lasted_s] =
        ["energy_wh", "lasted_s"].map(|field| outings(home.path())[0][field].as_f64().unwrap());
    assert!((wh - 3.2768 * lasted_s / 3600.0).abs() < 2e-4, "{wh} Wh in {lasted_s} s");
}

#[test]
fn a_supply_that_was_away_is_asked_about_and_only_a_word_ends_the_outing() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = recorded(&board, &home, 5.0);
    let asked = |now: &Value, standing: &str| {
        let all = now["questions"].as_array().unwrap();
        all.iter().any(|one| one["id"] == "swapped" && one["standing"] == standing)
    };
    // One second of it is a dip.
    board.reading(150, 5);
    daemon.wait_until(|now| now["supply"]["volts_v"].as_f64() < Some(1.0));
    board.reading(5080, 650);
    let now = daemon.wait_until(|now| now["supply"]["volts_v"].as_f64() > Some(5.0));
    assert!(!asked(&now, "open"), "{now}");
    // A dozen are not.
    board.reading(150, 5);
    std::thread::sleep(Duration::from_secs(13));
    board.reading(5080, 650);
    daemon.wait_until(|now| asked(now, "open"));
    assert_eq!(outings(home.path()).len(), 1);
    done(home.path(), &["answer", "swapped", "another"]);
    let all = outings(home.path());
    assert_eq!(all.len(), 2, "{all:#?}");
    assert_eq!((&all[1]["ending"], &all[0]["ending"]), (&json!("swapped"), &json!("open")));
    let within = all[1]["ended_within_s"].as_f64().unwrap();
    assert!((10.0..=30.0).contains(&within), "{within}");
    assert_eq!(all[0]["start_level"], Value::Null, "nobody knows how full the new one is");
    done(home.path(), &["answer", "swapped", "--back"]);
    assert_eq!(outings(home.path()).len(), 1);
    let listed = done(home.path(), &["answer"]);
    assert!(listed.contains("swapped: Another bank?"), "{listed}");
}

#[test]
fn ten_minute_marks_over_19_h_40_are_a_run_down_of_that_length() {
    // What a 10 000 mAh bank does under a small idle board (common practice, no source).
    let (board, home) = (Board::with_sensor(), home());
    // A list says how long and not how much; for that the board has to be a known one.
    board.put("proc/device-tree/compatible", "raspberrypi,4-model-b\0brcm,bcm2711\0");
    let marks: String = (0..=118)
        .map(|k| {
            let (day, minute) = (k * 10 / 1440, k * 10 % 1440 + 240);
            let (day, minute) = (day + minute / 1440, minute % 1440);
            format!("2025-02-{:02} {:02}:{:02}:00\n", 8 + day, minute / 60, minute % 60)
        })
        .collect();
    let file = home.path().join("first test.txt");
    fs::write(&file, &marks).unwrap();
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    done(home.path(), &["bank", "add", "Blue ten", "--label-mah", "10000"]);
    let said = done(home.path(), &["bank", "import", "Blue ten", file.to_str().unwrap()]);
    assert!(said.contains("19 h 40 ± 10 min") && said.contains(" Wh  modelled"), "{said}");
    let bank = read(home.path(), &["bank", "show", "Blue ten", "--json"]);
    let run = &bank["rundowns"][0];
    assert_eq!(run["lasted_s"].as_f64(), Some(70_800.0));
    assert_eq!((run["longer_s"].as_f64(), run["shorter_s"].as_f64()), (Some(600.0), Some(600.0)));
    assert_eq!((&run["whole"], &run["name"]), (&json!(true), &json!("first test")));
    // The bank is learned from as soon as it is connected, and no longer once it is struck out.
    choose_blue_ten(home.path(), "full");
    let learned = |now: &Value, from: u64| now["bank"]["learned_from"].as_u64() == Some(from);
    daemon.wait_until(|now| learned(now, 1));
    let id = run["id"].to_string();
    done(home.path(), &["bank", "strike", &id]);
    daemon.wait_until(|now| learned(now, 0));
    done(home.path(), &["bank", "strike", &id, "--undo"]);
    daemon.wait_until(|now| learned(now, 1));
    // A list that runs backwards is refused with its line.
    let back = file.with_file_name("back.txt");
    fs::write(&back, "2025-02-08 10:00:00\n2025-02-08 09:00:00\n").unwrap();
    let refused = cli(home.path(), &["bank", "import", "Blue ten", back.to_str().unwrap()]);
    assert_eq!(refused.code, Some(1));
    assert!(refused.err.contains("Line 2"), "{}", refused.err);
}

#[test]
fn banks_are_told_of_renamed_and_forgotten_with_and_without_a_daemon() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = recorded(&board, &home, 5.0);
    let add = ["bank", "add", "Long six", "--label-mah", "6000", "--cells", "lifepo4"];
    done(home.path(), &add);
    done(home.path(), &["bank", "rename", "Blue ten", "Blue old"]);
    // The connected bank is renamed too, and its outing goes on.
    daemon.wait_until(|now| now["bank"]["connected"]["name"] == "Blue old");
    assert_eq!(outings(home.path()).len(), 1);
    let offered = |now: &Value| {
        let choices = now["bank"]["choices"].as_array().expect("a list");
        choices.iter().any(|bank| bank["name"] == "Long six")
    };
    daemon.wait_until(offered);
    done(home.path(), &["bank", "forget", "Long six"]);
    daemon.wait_until(|now| !offered(now));
    let taken = cli(home.path(), &["bank", "rename", "Long six", "Blue old"]);
    assert!(taken.code == Some(1) && taken.err.contains("Another bank"), "{}", taken.err);
    daemon.end("TERM");
    done(home.path(), &["bank", "forget", "Long six", "--undo"]);
    done(home.path(), &["bank", "rename", "Blue old", "Blue ten"]);
    let listed = done(home.path(), &["bank", "list"]);
    assert!(listed.contains("Blue ten") && !listed.contains("forgotten"), "{listed}");
    let none = cli(home.path(), &["bank", "show", "Red"]);
    assert!(none.code == Some(1) && none.err.contains("no bank 'Red'"), "{}", none.err);
    let test = cli(home.path(), &["bank", "rundown", "Blue ten"]);
    assert!(test.code == Some(1) && test.err.contains("outlast run"), "{}", test.err);
    // A change without a daemon is no sign of a run: the account of the last end stays.
    board.put(BOOT_ID, NEXT_BOOT);
    let mut daemon = Daemon::on(&board, home.path());
    let all = daemon.wait_for(Duration::from_secs(20), |_| {
        Some(outings(home.path())).filter(|all| all.len() == 2)
    });
    assert_eq!(all[1]["ending"], "switched_off");
}

/// A demonstration that keeps its record: hours pass in seconds.
fn played(home: &Path) -> Daemon {
    let state = home.join(".local/state/outlast");
    let state = state.to_str().expect("a path");
    Daemon::start(home, &["--demo", "--demo-speed", "600", "--state", state])
}

#[test]
fn a_run_down_test_survives_the_death_of_the_bank_and_is_credited() {
    let home = home();
    let mut daemon = played(home.path());
    daemon
        .wait_for(Duration::from_secs(60), |d| (d.now()["up_s"].as_f64()? > 8000.0).then_some(()));
    done(home.path(), &["bank", "rundown", "Blue ten", "--load", "receive"]);
    let running = daemon.wait_for(Duration::from_secs(60), |_| {
        let newest = outings(home.path()).swap_remove(0);
        let long = newest["lasted_s"].as_f64()? > 1500.0;
        (long && newest["name"] == "Run-down of Blue ten").then_some(newest)
    });
    // The load is there: threads of its own.
    let tasks = fs::read_dir(format!("/proc/{}/task", daemon.pid())).unwrap().flatten();
    let comms = tasks.filter_map(|task| fs::read_to_string(task.path().join("comm")).ok());
    assert!(comms.filter(|comm| comm == "load\n").count() > 0);
    daemon.end("KILL");
    let mut daemon = played(home.path());
    let id = running["id"].clone();
    let closed = daemon.wait_for(Duration::from_secs(20), |_| {
        let told = read(home.path(), &["outing", "show", &id.to_string(), "--json"]);
        told["rundown"].is_object().then_some(told)
    });
    assert_eq!(closed["ending"], "died", "a test's lost power is a dead bank");
    let run = &closed["rundown"];
    assert_eq!((&run["whole"], &run["measured"]), (&json!(true), &json!(true)));
    let lasted = closed["lasted_s"].as_f64().unwrap();
    assert_eq!(run["lasted_s"].as_f64(), Some(lasted));
    // Energy is mean power times time.
    let wh = closed["mean_power_w"].as_f64().unwrap() * lasted / 3600.0;
    assert!((run["delivered_wh"].as_f64().unwrap() / wh - 1.0).abs() < 0.05, "{closed:#}");
    assert!(daemon.said().contains("the test is closed and counted"), "{}", daemon.said());
    // Exported, it teaches another board the same.
    let csv = home.path().join("run.csv");
    let csv = csv.to_str().unwrap();
    done(home.path(), &["export", &id.to_string(), "--csv", "--out", csv]);
    let (board, other) = (Board::bare(), self::home());
    let _other = Daemon::on(&board, other.path());
    done(other.path(), &["bank", "add", "Blue ten", "--label-mah", "10000"]);
    done(other.path(), &["bank", "import", csv]);
    let there = read(other.path(), &["bank", "show", "Blue ten", "--json"]);
    let there = &there["rundowns"][0];
    for key in ["whole", "measured", "lasted_s", "longer_s", "shorter_s"] {
        assert_eq!(there[key], run[key], "{key}: {there:#}");
    }
    for key in ["delivered_wh", "mean_power_w"] {
        let (here, there) = (run[key].as_f64().unwrap(), there[key].as_f64().unwrap());
        assert!((here - there).abs() < 1e-5 * here, "{key}: {here} and {there}");
    }
}

#[test]
fn a_recorded_outing_is_imported_with_and_without_a_daemon_and_once() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    let add = ["bank", "add", "Long six", "--label-mah", "6000", "--cells", "lifepo4"];
    done(home.path(), &add);
    let file = |number: u32, words: &str| {
        let path = tree().join(format!("tests/reference/long_six_{number}.csv"));
        format!("{}{words}", path.to_str().unwrap())
    };
    let first = file(1, ":died:ambient=12");
    let said = done(home.path(), &["bank", "import", "Long six", &first]);
    assert!(said.contains("whole") && said.contains("measured"), "{said}");
    // What a command said is done outlives the power.
    daemon.end("KILL");
    let runs = || {
        let bank = read(home.path(), &["bank", "show", "Long six", "--json"]);
        bank["rundowns"].as_array().expect("a list").clone()
    };
    assert_eq!((runs().len(), &runs()[0]["name"]), (1, &json!("long_six_1")));
    // The estimator that plays it counts as much, but for the moments between readings.
    let bank = home.path().join("BANK.toml");
    fs::write(&bank, "[bank]\nname = \"Long six\"\ncells = \"lifepo4\"\nlabel_mah = 6000\n")
        .unwrap();
    let played = done(home.path(), &["replay", "--bank", bank.to_str().unwrap(), &first]);
    let wh = played.split(" Wh.").next().and_then(|it| it.rsplit(' ').next()).unwrap();
    let wh: f64 = wh.parse().unwrap_or_else(|_| panic!("{played}"));
    let counted = runs()[0]["delivered_wh"].as_f64().unwrap();
    assert!((counted / wh - 1.0).abs() < 0.01, "{counted} and {wh}");
    for (words, code, want) in [
        (&["Long six", &first][..], 1, "This is run-down 1 of this bank already."),
        (&[&first], 1, "does not say which bank"),
        (&["Red", &first], 1, "no bank 'Red'"),
        (&["Long six", &file(2, ":melted")], 2, "`:melted` is not understood"),
        (&["Long six", &file(9, "")], 1, "cannot be read"),
    ] {
        let refused = cli(home.path(), &[&["bank", "import"][..], words].concat());
        assert_eq!(refused.code, Some(code), "{words:?}: {}", refused.err);
        assert!(refused.err.contains(want), "{words:?}: {}", refused.err);
    }
    assert_eq!(runs().len(), 1);
    done(home.path(), &["bank", "import", "Long six", &file(2, "")]);
    assert_eq!((runs().len(), &runs()[1]["whole"]), (2, &json!(false)));
    done(home.path(), &["bank", "strike", "2"]);
    assert_eq!(runs()[1]["struck"], true);
}

#[test]
fn a_run_down_test_that_is_given_up_counts_as_cut_short() {
    let home = home();
    let mut daemon = played(home.path());
    daemon
        .wait_for(Duration::from_secs(60), |d| (d.now()["up_s"].as_f64()? > 8000.0).then_some(()));
    done(home.path(), &["bank", "rundown", "Blue ten"]);
    let test = daemon.wait_for(Duration::from_secs(60), |_| {
        let newest = outings(home.path()).swap_remove(0);
        (newest["lasted_s"].as_f64()? > 900.0 && newest["name"] == "Run-down of Blue ten")
            .then(|| newest["id"].to_string())
    });
    done(home.path(), &["bank", "rundown", "--stop"]);
    let closed = daemon.wait_for(Duration::from_secs(20), |_| {
        let told = read(home.path(), &["outing", "show", &test, "--json"]);
        told["rundown"].is_object().then_some(told)
    });
    assert_eq!(closed["ending"], "switched_off");
    assert_eq!(closed["rundown"]["whole"], false);
    let again = cli(home.path(), &["bank", "rundown", "--stop"]);
    assert!(again.code == Some(1) && again.err.contains("No run-down test"), "{}", again.err);
}

#[test]
fn an_outing_leaves_as_csv_and_json_and_the_record_as_a_copy() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = recorded(&board, &home, 30.0);
    let csv = done(home.path(), &["export", "last", "--csv"]);
    // The columns of `replay` come first; lines end as RFC 4180 wants them (section 2, 1).
    assert!(csv.starts_with("t_s,cpu_util,cpu_temp_c,bus_v,current_a,"), "{csv}");
    assert!(csv.ends_with("\r\n") && csv.matches("\r\n").count() == csv.matches('\n').count());
    let second: Vec<&str> = csv.lines().nth(2).expect("two rows").split(',').collect();
    assert_eq!((second[3], second[4]), ("5.12", "0.64"), "{csv}");
    let json = read(home.path(), &["export", "last", "--json"]);
    assert_eq!(json["channels"]["volts_v"]["mean"][1].as_f64(), Some(5.12));
    let file = home.path().join("copy.db");
    let name = file.to_str().unwrap();
    done(home.path(), &["export", "--store", name]);
    // 'SQLite format 3' and a zero: https://www.sqlite.org/fileformat.html, section 1.3.1.
    let copy = fs::read(&file).unwrap();
    assert!(copy.starts_with(b"SQLite format 3\0"));
    let again = cli(home.path(), &["export", "--store", name]);
    assert!(again.code == Some(1) && again.err.contains("already exists"), "{}", again.err);
    assert_eq!(cli(home.path(), &["export", "last"]).code, Some(2), "in which form?");
    assert_eq!(cli(home.path(), &["export", "77", "--csv"]).code, Some(1));
    // Every second around a mark, as soon as it is made: those before it.
    let head = "t_s,volts_v,power_w,why\r\n";
    assert_eq!(done(home.path(), &["export", "last", "--close-ups"]), head, "nothing happened");
    let status = post(&socket(home.path()), "/api/v1/mark", &json!({ "text": "rain, \"fan\" on" }));
    assert!((200..300).contains(&status), "{status}");
    let close_ups = daemon.wait_for(Duration::from_secs(20), |_| {
        Some(done(home.path(), &["export", "last", "--close-ups"])).filter(|csv| csv != head)
    });
    let seconds: Vec<&str> = close_ups.split_terminator("\r\n").skip(1).collect();
    assert!((25..=60).contains(&seconds.len()), "{close_ups}");
    // RFC 4180 section 2, rules 6 and 7: quoted, and quotes doubled.
    let tail = ",5.12,3.277,\"mark: rain, \"\"fan\"\" on\"";
    let read = seconds.iter().filter(|line| line.ends_with(tail)).count();
    assert!(read + 3 >= seconds.len(), "hardly a second without a reading: {close_ups}");
    // The copy is not to be had where phones are served.
    assert_eq!(daemon.get("/api/v1/copy").0, 404);
    assert_eq!(daemon.end("TERM").code(), Some(0));
    assert_eq!(done(home.path(), &["export", "1", "--csv"]).lines().next(), csv.lines().next());
}

/// A record as log programs write it (ADIF 3.1.6, 'ADI File Format'), at so many seconds since 1970.
fn contact(unix_s: i64, band: &str) -> String {
    let at = jiff::Timestamp::from_second(unix_s).expect("a time").strftime("%Y%m%d %H%M%S");
    let at = at.to_string();
    let (day, time) = at.split_once(' ').expect("two words");
    format!(
        "<QSO_DATE:8>{day}<TIME_ON:6>{time}<CALL:6>N0CALL<BAND:{}>{band}<MODE:3>SSB<EOR>\n",
        band.len()
    )
}

#[test]
fn contacts_are_read_from_a_watched_log_and_from_a_file() {
    let (board, home) = (Board::with_sensor(), home());
    let settings = home.path().join("watch.toml");
    let watched = home.path().join("log.adi");
    let wish = format!("[record]\nevery_s = 10\n[contacts]\nwatch = {watched:?}\n");
    fs::write(&settings, wish).expect("a file");
    let root = board.path("");
    let [root, settings] = [&root, &settings].map(|path| path.to_str().expect("a path"));
    let words = ["--sysroot", root, "--settings", settings];
    let mut daemon = Daemon::start(home.path(), &words);
    // Missing is said once and costs nothing else.
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    choose_blue_ten(home.path(), "full");
    assert!(daemon.said().contains("log.adi cannot be read"), "{}", daemon.said());
    daemon.wait_for(Duration::from_secs(40), |_| {
        let all = outings(home.path());
        all.first()?["lasted_s"].as_f64().filter(|lasted| *lasted >= 5.0)
    });

    // Nobody has told the time of day (unless this machine's own clock is synchronised, which is the
    // board's here): contacts are kept, and said to have no place yet.
    let file = home.path().join("log.adx.txt");
    let name = file.to_str().expect("a path").to_owned();
    let began_s = 1_709_971_200; // `date -u -d '2024-03-09 08:00' +%s`
    fs::write(&file, contact(began_s + 2, "20m") + "<QSO_DATE:8>20240532<TIME_ON:4>1201<EOR>")
        .unwrap();
    if outings(home.path())[0]["began_at"].is_null() {
        let said = done(home.path(), &["outing", "contacts", &name]);
        assert!(said.contains("contacts cannot be matched to it"), "{said}");
        let clock: Value = serde_json::from_str(&daemon.get("/api/v1/clock").1).expect("JSON");
        // A phone says that the boot began at that moment.
        let boot_s = clock["boot_s"].as_f64().expect("seconds");
        let phone = json!({
            "boot_s": boot_s, "phone_unix_ms": (began_s as f64 + boot_s) * 1000.0, "within_s": 0.01,
        });
        assert_eq!(post(&socket(home.path()), "/api/v1/clock", &phone), 204);
    }
    let outing = daemon.wait_for(Duration::from_secs(30), |_| {
        let first = outings(home.path()).remove(0);
        first["began_at"].is_string().then_some(first)
    });
    let began: jiff::Timestamp = outing["began_at"].as_str().unwrap().parse().expect("a time");
    let began_s = began.as_second();
    let log = contact(began_s + 2, "20m") + "<QSO_DATE:8>20240532<TIME_ON:4>1201<EOR>";
    fs::write(&file, &log).unwrap();
    for _ in 0..2 {
        let said = done(home.path(), &["outing", "contacts", &name]);
        assert!(said.starts_with("1 contact imported, 1 record skipped.\n"), "{said}");
        assert!(said.contains("Line 2, record 2: '20240532' is not a date."), "{said}");
        assert!(said.contains("(1): 1 contact\n"), "{said}");
    }
    // Read once more, and now with itself once more and one of another day.
    fs::write(&file, log.clone() + &log + &contact(began_s - 864_000, "20m")).unwrap();
    let said = done(home.path(), &["outing", "contacts", &name]);
    let lines: Vec<&str> = said.lines().take(3).collect();
    let expected = [
        "2 contacts imported, 2 records skipped.",
        "1 more record is a contact met before: it counts once.",
        "1 of these contacts lies in no outing: it was at another time, or the logging program's \
         clock was wrong. Nothing new.",
    ];
    assert_eq!(lines, expected, "{said}");
    fs::write(&file, &log).unwrap();
    let no_log = cli(home.path(), &["outing", "contacts", settings]);
    assert!(no_log.code == Some(1) && no_log.err.contains("not a contact log"), "{}", no_log.err);

    // The watched one appears and is found within a minute, without a commit of its own.
    fs::write(&watched, contact(began_s + 3, "40m") + &contact(began_s + 4, "2m")).unwrap();
    let all = daemon.wait_for(Duration::from_secs(90), |_| {
        let told = read(home.path(), &["outing", "contacts", "--json", &name]);
        (told["outings"][0]["contacts"] == 3).then_some(told)
    });
    assert_eq!((&all["contacts"], &all["left_out"]), (&json!(1), &json!(1)));
    assert!(daemon.get("/station").1.contains("2 contacts imported."));
    // Nobody's call is in the record.
    let copy = home.path().join("copy.db");
    done(home.path(), &["export", "--store", copy.to_str().unwrap()]);
    let copy = fs::read(copy).unwrap();
    assert!(!copy.windows(6).any(|six| six == b"N0CALL"));

    // Without a daemon the same.
    assert_eq!(daemon.end("TERM").code(), Some(0), "{}", daemon.said());
    fs::write(&file, contact(began_s + 5, "6m")).unwrap();
    let said = done(home.path(), &["outing", "contacts", &name]);
    assert!(
        said.starts_with("1 contact imported.\n") && said.contains("(1): 4 contacts"),
        "{said}"
    );
    assert!(said.contains("\n1 is new.\n"), "{said}");
    done(home.path(), &["outing", "contacts", "--take-back", "last"]);
    assert_eq!(
        read(home.path(), &["outing", "contacts", "--json", &name])["outings"][0]["contacts"],
        1
    );
    assert_eq!(cli(home.path(), &["outing", "contacts"]).code, Some(2), "which file?");
}

#[test]
fn a_full_card_stops_the_record_and_not_the_forecast() {
    if !as_root("record::a_full_card_stops_the_record_and_not_the_forecast") {
        return;
    }
    let (board, home) = (Board::with_sensor(), home());
    let state = home.path().join(".local/state/outlast");
    fs::create_dir_all(&state).unwrap();
    let card = Card::mount(&state, 8192);
    card.fill();
    let mut daemon = started(&board, &home);
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    let why = |d: &Daemon| d.now()["log"]["why"].as_str().map(str::to_owned);
    let stopped = daemon.wait_for(Duration::from_secs(20), why);
    assert!(stopped.contains("full") || stopped.contains("No space"), "{stopped}");
    choose_blue_ten(home.path(), "full");
    // What is seen meanwhile is not lost: it waits in memory for the card.
    sleep(Duration::from_secs(25));
    board.reading(5000, 900);
    daemon.wait_until(|now| near(&now["supply"]["current_a"], 0.9));
    card.free();
    // The card is tried again every minute.
    daemon.wait_for(Duration::from_secs(100), |_| {
        let status = post(&socket(home.path()), "/api/v1/activity", &json!({ "name": "idle" }));
        assert!((200..300).contains(&status), "{status}");
        let page = get("http://localhost/api/v1/outings", Some(&socket(home.path()))).1;
        let page: Value = serde_json::from_str(&page).ok()?;
        (page["outings"][0]["lasted_s"].as_f64()? > 20.0).then_some(())
    });
    daemon.wait_for(Duration::from_secs(20), |d| d.now()["log"]["why"].is_null().then_some(()));
    let all = outings(home.path());
    assert_eq!((all.len(), &all[0]["bank"]), (1, &json!("Blue ten")), "{all:#?}");
    daemon.end("TERM");
}

#[test]
fn what_is_set_while_the_card_is_full_is_said_to_be_in_memory_and_comes_to_the_card() {
    if !as_root(
        "record::what_is_set_while_the_card_is_full_is_said_to_be_in_memory_and_comes_to_the_card",
    ) {
        return;
    }
    let (board, home) = (Board::with_sensor(), home());
    let state = home.path().join(".local/state/outlast");
    fs::create_dir_all(&state).unwrap();
    let card = Card::mount(&state, 8192);
    let mut daemon = recorded(&board, &home, 5.0);
    let socket = socket(home.path());
    let json = |path: &str, body: Value| send(&socket, path, "application/json", body.to_string());
    assert_eq!(json("/api/v1/finish", json!({ "after_s": 7200 })).0, 204);
    card.fill();
    // The log has room of its own: what goes to a full card is not seen before that is used up.
    let (status, body) = json("/api/v1/finish", json!({ "after_s": 14_400 }));
    assert_eq!(status, 202, "{body}");
    let told: Value = serde_json::from_str(&body).expect("JSON");
    assert_eq!(told["kept"], "in_memory");
    assert!(told["text"].as_str().unwrap().contains("until the card can be written"), "{body}");
    let form = "application/x-www-form-urlencoded";
    let (status, page) = send(&socket, "/finish", form, "after_min=300".to_owned());
    assert_eq!(status, 202);
    assert!(page.contains("Kept in memory only") && page.contains("<h1"), "{page}");
    let warned = |now: &Value| now["alarms"].to_string().contains("choices_not_kept");
    daemon.wait_until(warned);
    let finish = daemon.now()["forecast"]["finish_in_s"].as_f64().expect("it holds all the same");
    assert!((17_900.0..=18_000.0).contains(&finish), "{finish}");
    card.free();
    // Tried again every minute, without anybody choosing anything.
    daemon.wait_for(Duration::from_secs(100), |d| (!warned(&d.now())).then_some(()));
    assert!(daemon.now()["log"]["why"].is_null(), "{}", daemon.now()["log"]);
    assert_eq!(json("/api/v1/mark", json!({ "text": "rain" })).0, 204);
    daemon.end("KILL");
    let mut daemon = started(&board, &home);
    let now = daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    let left = now["forecast"]["finish_in_s"].as_f64().expect("the finish survived");
    assert!((17_600.0..=finish).contains(&left), "{left} after {finish}");
    assert!(done(home.path(), &["export", "last", "--json"]).contains("\"rain\""));
}

#[test]
fn a_state_folder_that_is_not_there_is_made_again() {
    let (board, home) = (Board::with_sensor(), home());
    let state = home.path().join("state");
    // A file where the folder should be.
    fs::write(&state, "in the way").expect("a file");
    let root = board.path("");
    let [root, folder] = [&root, &state].map(|path| path.to_str().expect("a path"));
    let settings = home.path().join("often.toml");
    fs::write(&settings, "[record]\nevery_s = 10\n").expect("a file");
    let settings = settings.to_str().expect("a path");
    let mut command = outlast(home.path());
    let run = home.path().join("run");
    fs::create_dir(&run).expect("a folder");
    command.env("RUNTIME_DIRECTORY", &run).args(["run", "--listen", "127.0.0.1:0"]);
    command.args(["--sysroot", root, "--settings", settings, "--state", folder]);
    let mut daemon = Daemon::of(command);
    let own = run.join("outlast.sock");
    let json = |path: &str, body: Value| send(&own, path, "application/json", body.to_string());
    daemon.wait_until(|now| now["alarms"].to_string().contains("record_not_written"));
    assert_eq!(json("/api/v1/mark", json!({ "text": "early" })).0, 202);
    assert_eq!(json("/api/v1/finish", json!({ "after_s": 7200 })).0, 202);
    fs::remove_file(&state).expect("a file");
    let well = |now: &Value| now["log"]["state"] == "kept" && now["alarms"] == json!([]);
    daemon.wait_for(Duration::from_secs(100), |d| Some(d.now()).filter(well));
    assert!(state.join("record.db").exists() && state.join("choices.toml").exists());
    // Deleted while it runs.
    fs::remove_dir_all(&state).expect("a folder");
    daemon.wait_for(Duration::from_secs(40), |_| state.join("choices.toml").exists().then_some(()));
    assert!(daemon.said().contains("was written to its place again"), "{}", daemon.said());
    assert_eq!(json("/api/v1/mark", json!({ "text": "late" })).0, 204);
    let told = get("http://localhost/api/v1/outings/1", Some(&own)).1;
    assert!(told.contains("early") && told.contains("late"), "{told}");
}

#[test]
fn folds_activities_by_rule_and_a_weighed_fan_are_in_the_record() {
    let home = home();
    let state = home.path().join(".local/state/outlast");
    let state = state.to_str().expect("a path");
    let words = ["--demo", "--demo-speed", "120", "--state", state];
    let mut daemon = Daemon::start(home.path(), &words);
    daemon.wait_for(Duration::from_secs(120), |daemon| {
        Some(daemon.now()).filter(|now| now["up_s"].as_f64() > Some(8000.0))
    });
    // The demonstration knows no fan: its draw says so.
    let status = post(&socket(home.path()), "/api/v1/mark", &json!({ "text": "fan on" }));
    assert!((200..300).contains(&status), "{status}");
    let said = |outing: &Value, kind: &str| -> Vec<String> {
        let events = outing["events"].as_array().cloned().unwrap_or_default();
        let of = events.iter().filter(|event| event["kind"] == kind);
        of.filter_map(|event| Some(event["text"].as_str()?.to_owned())).collect()
    };
    let outing = daemon.wait_for(Duration::from_secs(60), |daemon| {
        let outing: Value = serde_json::from_str(&daemon.get("/outings/1.json").1).ok()?;
        let weighed = said(&outing, "other").iter().any(|text| {
            text.starts_with("Fan on: no measurable difference") || text.starts_with("Fan on: 0.")
        });
        weighed.then_some(outing)
    });
    let doing = said(&outing, "activity");
    assert!(
        doing.starts_with(&["receive".into(), "contacts".into(), "logging".into()]),
        "{doing:?}"
    );
    // 79 symbols of 0.160 s in slots of 15 s (Franke, Somerville, Taylor, QEX Jul/Aug 2020).
    let folds = outing["folds"].as_array().expect("folds");
    let sent =
        folds.iter().find(|fold| !fold["transmit"].is_null()).expect("one with the key down");
    assert_eq!(sent["slot_s"].as_f64(), Some(15.0), "{sent:#}");
    let lasts_s = sent["transmit"]["lasts_s"].as_f64().unwrap();
    assert!((lasts_s - 79.0 * 0.160).abs() < 0.3, "{sent:#}");
    assert_eq!(daemon.end("TERM").code(), Some(0));
}

#[test]
fn a_card_gone_read_only_is_said_and_can_still_be_read() {
    if !as_root("record::a_card_gone_read_only_is_said_and_can_still_be_read") {
        return;
    }
    let (board, home) = (Board::with_sensor(), home());
    let state = home.path().join(".local/state/outlast");
    fs::create_dir_all(&state).unwrap();
    let card = Card::mount(&state, 4096);
    let mut daemon = recorded(&board, &home, 5.0);
    daemon.end("TERM");
    card.remount("ro");
    // Started on such a card, it runs and says so.
    let runtime = home.path().join("run");
    let mut command = outlast(home.path());
    command.env("XDG_RUNTIME_DIR", &runtime);
    let root = board.path("");
    command.args(["run", "--listen", "127.0.0.1:0", "--sysroot"]).arg(&root);
    let mut daemon = Daemon::of(command);
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    let why = daemon.wait_until(|now| now["log"]["why"].is_string());
    assert!(why["log"]["why"].as_str().unwrap().contains("read"), "{:#}", why["log"]);
    let (status, body) = daemon.get("/api/v1/outings");
    assert!(status == 200 && body.contains("Blue ten"), "{status}: {body}");
    daemon.end("TERM");
    card.remount("rw");
}

#[test]
fn a_damaged_record_is_set_aside_named_and_never_written_over() {
    let (board, home) = (Board::with_sensor(), home());
    let state = home.path().join(".local/state/outlast");
    fs::create_dir_all(&state).unwrap();
    let damaged = b"not a record at all, whatever it was".repeat(200);
    fs::write(state.join("record.db"), &damaged).unwrap();
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    let aside = fs::read_dir(&state)
        .unwrap()
        .flatten()
        .map(|entry| entry.path())
        .find(|path| path.is_file() && fs::read(path).is_ok_and(|bytes| bytes == damaged))
        .expect("the damaged file is still there");
    assert_ne!(aside.file_name().unwrap(), "record.db");
    let name = aside.file_name().unwrap().to_string_lossy().into_owned();
    daemon.wait_for(Duration::from_secs(10), |d| d.said().contains(&name).then_some(()));
    let station = get(&format!("http://{}/station", daemon.at), None).1;
    assert!(station.contains(&name), "the page names it");
    sleep(Duration::from_millis(200));
    assert_eq!(outings(home.path()).len(), 1);
}

#[test]
fn a_paired_phone_dates_the_record() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = recorded(&board, &home, 5.0);
    assert_eq!(outings(home.path())[0]["began_at"], Value::Null, "nobody knows the time yet");
    let clock: Value =
        serde_json::from_str(&get("http://localhost/api/v1/clock", Some(&socket(home.path()))).1)
            .expect("JSON");
    let at_s = clock["boot_s"].as_f64().expect("when the board looked");
    // 2026-05-16 07:30 UTC, one of our made-up mornings.
    let told = json!({ "boot_s": at_s, "phone_unix_ms": 1_778_916_600_000_i64, "within_s": 0.04 });
    let status = post(&socket(home.path()), "/api/v1/clock", &told);
    assert!((200..300).contains(&status), "{status}");
    let dated = daemon.wait_for(Duration::from_secs(90), |_| {
        let newest = outings(home.path()).swap_remove(0);
        newest["began_at"].as_str().map(str::to_owned)
    });
    assert!(
        dated.starts_with("2026-05-16T07:2") || dated.starts_with("2026-05-16T07:30"),
        "{dated}"
    );
    assert_eq!(daemon.now()["clock"]["trust"], "phone");
    // Off by default: the system's own clock stays as it is.
    assert_eq!(post(&socket(home.path()), "/api/v1/clock/set", &json!({})), 403);
}
