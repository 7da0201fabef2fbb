//! The daemon as an operator meets it: started in an empty home, followed, hurt, stopped, started
//! again.

use std::{
    fs,
    io::{ErrorKind, Read, Write},
    net::{SocketAddr, TcpStream},
    os::unix::fs::PermissionsExt,
    thread::sleep,
    time::{Duration, Instant},
};

use serde_json::{Value, json};

use crate::support::{Board, Daemon, end_of, get, home, outlast, post, socket};

fn near(value: &Value, want: f64) -> bool {
    value.as_f64().is_some_and(|x| (x - want).abs() < 0.005)
}

fn choose_blue_ten(home: &std::path::Path) {
    let spec = json!({
        "name": "Blue ten", "cells": "li-ion", "series": 1, "label_mah": 10000.0,
        "label_v": 3.7, "measured_at": "output", "ambient_c": null, "cutoff_v": null,
    });
    let status = post(&socket(home), "/api/v1/bank", &json!({ "spec": spec, "start": "full" }));
    assert!((200..300).contains(&status), "{status}");
}

#[test]
fn a_fresh_start_shows_what_the_sensor_says_and_follows_it() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = Daemon::on(&board, home.path());
    // 5.12 V times 0.64 A is 3.2768 W.
    let now = daemon.wait_until(|now| near(&now["supply"]["power_w"], 3.2768));
    assert!(near(&now["supply"]["volts_v"], 5.12) && near(&now["supply"]["current_a"], 0.64));
    board.reading(5010, 1200);
    daemon.wait_until(|now| near(&now["supply"]["current_a"], 1.2));
    let (status, page) = daemon.get("/");
    assert!(status == 200 && page.contains("<html"), "{page}");
    let said = daemon.said();
    for word in [
        "Open the page",
        "this code on it:",
        "Settings: none",
        ".local/state/outlast",
        "INA226",
        "Raspberry Pi 4",
    ] {
        assert!(said.contains(word), "`{word}` is missing in:\n{said}");
    }
}

#[test]
fn without_a_sensor_it_says_that_the_draw_is_modelled() {
    let (board, home) = (Board::bare(), home());
    let mut daemon = Daemon::on(&board, home.path());
    let now = daemon.wait_until(|now| now["draw"]["now_w"].is_number());
    assert_eq!(now["draw"]["basis"], "modelled");
    assert_eq!(now["supply"]["power_w"], Value::Null);
    assert!(now["supply"]["power_gap"].is_string());
    assert!(daemon.said().contains("No sensor sees the bank"));
}

#[test]
fn a_sensor_that_vanishes_leaves_a_gap_with_a_reason_and_a_wider_range() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    choose_blue_ten(home.path());
    let remaining = |now: &Value| now["forecast"]["remaining_s"]["p50"].is_number();
    let before = daemon.wait_for(Duration::from_secs(200), |d| Some(d.now()).filter(&remaining));
    board.unbind();
    let after = daemon.wait_until(|now| now["supply"]["power_w"].is_null());
    assert!(after["supply"]["power_gap"].is_string(), "{after:#}");
    // What is shown follows in its own time, but it follows, and it is less sure.
    let spread = |now: &Value| {
        let of = &now["forecast"]["remaining_s"];
        Some(of["p90"].as_f64()? - of["p10"].as_f64()?)
    };
    let narrow = spread(&before).unwrap();
    let later = daemon.wait_for(Duration::from_secs(240), |daemon| {
        let now = daemon.now();
        (spread(&now).expect("the forecast goes on") > narrow).then_some(now)
    });
    assert!(daemon.said().contains("has disappeared"), "{}", daemon.said());
    assert!(later["bank"]["bridged_wh"].as_f64().unwrap() > 0.0);
}

#[test]
fn a_pipe_in_the_place_of_a_sensors_file_holds_nothing_up() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    board.pipe();
    let now = daemon.wait_until(|now| now["supply"]["power_w"].is_null());
    assert!(now["supply"]["power_gap"].is_string(), "{now:#}");
    board.put("sys/class/thermal/thermal_zone0/temp", "61234\n");
    daemon
        .wait_until(|now| now["board"]["temp_c"].as_f64().is_some_and(|t| (t - 61.2).abs() < 0.1));
    // Back in its place it is read again; so it is after a device.
    board.back(5000, 900);
    daemon.wait_until(|now| near(&now["supply"]["current_a"], 0.9));
    board.device("/dev/zero");
    daemon.wait_until(|now| now["supply"]["power_w"].is_null());
    board.back(5000, 700);
    daemon.wait_until(|now| near(&now["supply"]["current_a"], 0.7));
    assert_eq!(daemon.end("TERM").code(), Some(0), "{}", daemon.said());
}

#[test]
fn sigterm_and_sigint_end_it_cleanly_even_with_a_page_open() {
    for signal in ["TERM", "INT"] {
        let (board, home) = (Board::bare(), home());
        let mut daemon = Daemon::on(&board, home.path());
        let mut stream = TcpStream::connect(daemon.at).unwrap();
        write!(stream, "GET /api/v1/stream HTTP/1.1\r\nHost: {}\r\n\r\n", daemon.at).unwrap();
        let mut head = [0; 12];
        stream.read_exact(&mut head).unwrap();
        assert_eq!(&head, b"HTTP/1.1 200");
        let began = Instant::now();
        let status = daemon.end(signal);
        assert_eq!(status.code(), Some(0), "{}", daemon.said());
        assert!(began.elapsed() < Duration::from_secs(4));
        assert!(!socket(home.path()).exists());
    }
}

/// A connection that comes from this address of the loopback net.
pub(crate) fn from(source: [u8; 4], to: SocketAddr) -> TcpStream {
    use rustix::net::{AddressFamily, SocketType, bind, connect, socket};
    let socket = socket(AddressFamily::INET, SocketType::STREAM, None).expect("a socket");
    bind(&socket, &SocketAddr::from((source, 0))).expect("an address of the loopback net");
    connect(&socket, &to).expect("somebody listens");
    let stream = TcpStream::from(socket);
    stream.set_read_timeout(Some(Duration::from_secs(5))).expect("a time limit");
    stream
}

/// How many of them have not been closed.
fn staying(streams: &[TcpStream]) -> usize {
    let stays = |mut stream: &TcpStream| {
        stream.set_read_timeout(Some(Duration::from_millis(20))).expect("a limit");
        let waits = stream.read(&mut [0]).map_err(|why| why.kind());
        matches!(waits, Err(ErrorKind::WouldBlock | ErrorKind::TimedOut))
    };
    streams.iter().filter(|stream| stays(stream)).count()
}

#[test]
fn one_address_cannot_take_every_seat() {
    let (board, home) = (Board::bare(), home());
    let daemon = Daemon::on(&board, home.path());
    let mut idle: Vec<TcpStream> = (0..64).map(|_| from([127, 0, 0, 2], daemon.at)).collect();
    // Another phone still gets the page.
    let ask = |mut stream: TcpStream| {
        let asked = write!(stream, "GET / HTTP/1.1\r\nHost: {}\r\n\r\n", daemon.at);
        let mut head = [0; 12];
        asked.and_then(|()| stream.read_exact(&mut head)).map(|()| head)
    };
    assert_eq!(&ask(from([127, 0, 0, 3], daemon.at)).unwrap(), b"HTTP/1.1 200");
    // Of the 64, a quarter of all seats stay and the rest were shown out.
    assert_eq!(staying(&idle), 16);
    // One more than its share is answered, and closes the idlest of that share.
    assert_eq!(&ask(from([127, 0, 0, 2], daemon.at)).unwrap(), b"HTTP/1.1 200");
    assert_eq!(staying(&idle), 15);
    // Whoever leaves makes room.
    idle.clear();
    let began = Instant::now();
    while ask(from([127, 0, 0, 2], daemon.at)).is_err() {
        assert!(began.elapsed() < Duration::from_secs(5), "the seats were not given back");
        sleep(Duration::from_millis(20));
    }
    // One that says nothing, and one that says nothing more, are shown out in time.
    let (mut silent, mut done) = (from([127, 0, 0, 4], daemon.at), from([127, 0, 0, 5], daemon.at));
    let began = Instant::now();
    write!(done, "GET /api/v1/now HTTP/1.1\r\nHost: {}\r\n\r\n", daemon.at).unwrap();
    for stream in [&mut silent, &mut done] {
        stream.set_read_timeout(Some(Duration::from_secs(40))).unwrap();
        stream.read_to_end(&mut Vec::new()).unwrap();
        assert!((15..30).contains(&began.elapsed().as_secs()), "{:?}", began.elapsed());
    }
}

#[test]
fn a_second_one_says_in_words_why_it_does_not_start() {
    let (board, first, second) = (Board::bare(), home(), home());
    let daemon = Daemon::on(&board, first.path());
    let port = daemon.at.to_string();
    let other = end_of(outlast(second.path()).args(["run", "--listen", &port]));
    assert_eq!(other.code, Some(1));
    assert!(other.err.contains("is in use") && other.err.contains("--listen"), "{}", other.err);
    // Another port, but the same folder.
    let other = end_of(outlast(first.path()).args(["run", "--listen", "127.0.0.1:0"]));
    assert_eq!(other.code, Some(1));
    assert!(other.err.contains("already running here"), "{}", other.err);
    assert_eq!(daemon.get("/api/v1/now").0, 200);
}

#[test]
fn choices_survive_a_kill_and_what_was_delivered_is_not_forgotten() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    choose_blue_ten(home.path());
    let socket = socket(home.path());
    assert!(post(&socket, "/api/v1/finish", &json!({ "after_s": 18_000.0 })) < 300);
    assert!(post(&socket, "/api/v1/outing", &json!({ "name": "Ridge above the reservoir" })) < 300);
    let chosen = daemon.now();
    daemon.end("KILL");
    let mut daemon = Daemon::on(&board, home.path());
    let now = daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    assert_eq!(now["bank"]["connected"], chosen["bank"]["connected"]);
    assert_eq!(now["outing"]["name"], "Ridge above the reservoir");
    let finish = now["forecast"]["finish_in_s"].as_f64().unwrap();
    assert!((17_900.0..18_000.0).contains(&finish), "{finish}");
    assert!(now["bank"]["delivered_wh"].as_f64() >= chosen["bank"]["delivered_wh"].as_f64());
    // The kept file and the secret are ours alone.
    for name in ["choices.toml", "secret"] {
        let mode = fs::metadata(home.path().join(".local/state/outlast").join(name))
            .unwrap()
            .permissions();
        assert_eq!(mode.mode() & 0o777, 0o600, "{name}");
    }
}

#[test]
fn another_boot_keeps_the_bank_but_does_not_claim_to_know_its_level() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = Daemon::on(&board, home.path());
    choose_blue_ten(home.path());
    assert!(
        post(&socket(home.path()), "/api/v1/outing", &json!({ "name": "Old quarry, in the cold" }))
            < 300
    );
    daemon.end("TERM");
    board.put("proc/sys/kernel/random/boot_id", "0a8f6a52-77ab-4b1e-8f5a-9d1e2f3a4b5c\n");
    let mut daemon = Daemon::on(&board, home.path());
    let now = daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    assert_eq!(now["bank"]["connected"]["name"], "Blue ten");
    assert_eq!(now["outing"]["name"], Value::Null);
}

#[test]
fn a_damaged_file_of_choices_is_set_aside_and_said() {
    let (board, home) = (Board::bare(), home());
    let state = home.path().join(".local/state/outlast");
    fs::create_dir_all(&state).unwrap();
    fs::write(state.join("choices.toml"), b"began_s = \xff\x00 garbage").unwrap();
    let daemon = Daemon::on(&board, home.path());
    assert!(daemon.said().contains("choices.toml.damaged-1"), "{}", daemon.said());
    let kept = fs::read(state.join("choices.toml.damaged-1")).unwrap();
    assert_eq!(kept, b"began_s = \xff\x00 garbage");
}

#[test]
fn a_state_folder_that_cannot_be_written_stops_nothing_and_is_said() {
    let (board, home) = (Board::with_sensor(), home());
    // A folder where the file should go: cannot be written by anybody, root included.
    let state = home.path().join(".local/state/outlast");
    fs::create_dir_all(state.join("choices.toml/full")).unwrap();
    let mut daemon = Daemon::on(&board, home.path());
    choose_blue_ten(home.path());
    // The record is well: choices have a warning of their own.
    let why = |now: &Value| now["log"]["choices_why"].as_str().map(str::to_owned);
    let unkept = |now: &Value| why(now).is_some_and(|why| why.contains("cannot be kept"));
    let now = daemon.wait_until(unkept);
    assert_eq!((&now["log"]["state"], &now["log"]["why"]), (&"kept".into(), &Value::Null));
    assert_eq!(now["bank"]["connected"]["name"], "Blue ten");
    board.reading(5000, 900);
    daemon.wait_until(|now| near(&now["supply"]["current_a"], 0.9));
    // And it is said when it works again.
    fs::remove_dir_all(state.join("choices.toml")).unwrap();
    choose_blue_ten(home.path());
    daemon.wait_until(|now| now["log"]["choices_why"].is_null());
    assert!(state.join("choices.toml").is_file());
}

#[test]
fn no_state_folder_at_all_is_said_too() {
    let (board, home) = (Board::bare(), home());
    fs::write(home.path().join(".local"), "a file where a folder should be").unwrap();
    let daemon = Daemon::on(&board, home.path());
    assert!(daemon.said().contains("cannot be made"), "{}", daemon.said());
    assert!(daemon.now()["log"]["why"].is_string());
}

#[test]
fn now_and_pin_speak_to_the_running_one_or_say_how_to_start() {
    let (board, home) = (Board::with_sensor(), home());
    let none = end_of(outlast(home.path()).arg("now"));
    assert_eq!(none.code, Some(1));
    assert!(
        none.err.contains("outlast is not running here") && none.err.contains("outlast run"),
        "{}",
        none.err
    );
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    let glance = end_of(outlast(home.path()).arg("now"));
    assert_eq!(glance.code, Some(0), "{}", glance.err);
    assert!(glance.out.contains("5.12 V") && glance.out.contains('W'), "{}", glance.out);
    let json = end_of(outlast(home.path()).args(["now", "--json"]));
    let json: Value = serde_json::from_str(&json.out).unwrap();
    assert!(near(&json["supply"]["volts_v"], 5.12));
    let pin = end_of(outlast(home.path()).args(["pin", "--json"]));
    let pin: Value = serde_json::from_str(&pin.out).unwrap();
    let code = pin["code"].as_str().unwrap();
    assert!(code.len() == 12 && code.bytes().all(|b| b.is_ascii_digit()));
    let grouped = format!("{} {} {}\n", &code[..4], &code[4..8], &code[8..]);
    assert!(end_of(outlast(home.path()).arg("pin")).out.starts_with(&grouped));
    assert!(daemon.said().contains(grouped.trim()), "a start opens the first window");
    // The code is not to be had where pairing is asked for.
    assert_eq!(daemon.get("/api/v1/pin").0, 404);
    assert!(get("http://localhost/api/v1/pin", Some(&socket(home.path()))).1.contains(code));
}

#[test]
fn check_reads_the_board_itself() {
    let (board, home) = (Board::with_sensor(), home());
    let root = board.path("");
    let root = root.to_str().unwrap();
    let text = end_of(outlast(home.path()).args(["check", "--sysroot", root]));
    assert_eq!(text.code, Some(0), "{}", text.err);
    for word in ["Raspberry Pi 4 Model B", "INA226", "1-0040", "5.12 V, 640 mA", "processor time"] {
        assert!(text.out.contains(word), "`{word}` is missing in:\n{}", text.out);
    }
    let json = end_of(outlast(home.path()).args(["check", "--json", "--sysroot", root]));
    let json: Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(json["board"]["model"], "Raspberry Pi 4 Model B Rev 1.4");
    let sources = json["sources"].as_array().unwrap();
    assert!(sources.iter().any(|s| s["id"].as_str().unwrap().contains("1-0040")), "{json:#}");
    assert!(json["footprint"]["resident_kib"].as_u64().unwrap() > 0);
    // On this machine, whatever it has.
    let here = end_of(outlast(home.path()).arg("check"));
    assert_eq!(here.code, Some(0), "{}", here.err);
}

#[test]
fn wrong_use_is_exit_code_2_and_help_is_0() {
    let home = home();
    for wrong in [
        &["dance"][..],
        &["run", "--listen", "nowhere"],
        &["now", "--jsn"],
        &["run", "--demo-speed", "5"],
    ] {
        let ended = end_of(outlast(home.path()).args(wrong));
        assert_eq!(ended.code, Some(2), "{wrong:?}: {}", ended.err);
    }
    for help in [
        &["--help"][..],
        &["run", "--help"],
        &["now", "--help"],
        &["check", "--help"],
        &["pin", "--help"],
        &["--version"],
    ] {
        assert_eq!(end_of(outlast(home.path()).args(help)).code, Some(0), "{help:?}");
    }
}

#[test]
fn the_demonstration_runs_fast_says_so_and_keeps_nothing() {
    let home = home();
    let mut daemon = Daemon::start(home.path(), &["--demo", "--demo-speed", "120"]);
    // The first hours are played at once.
    let first = daemon.wait_for(Duration::from_secs(60), |daemon| {
        Some(daemon.now()).filter(|now| now["up_s"].as_f64() > Some(9100.0))
    });
    assert!(first["forecast"]["remaining_s"]["p50"].is_number(), "{first:#}");
    assert_eq!((&first["demo"], &first["station"]), (&json!(true), &json!("Heron")));
    assert_eq!(first["outing"]["name"], "Ridge above the reservoir");
    let up = first["up_s"].as_f64().unwrap();
    sleep(Duration::from_millis(2500));
    let later = daemon.now()["up_s"].as_f64().unwrap();
    assert!((200.0..500.0).contains(&(later - up)), "{later} after {up}");
    assert!(daemon.get("/").1.to_lowercase().contains("made up"));
    assert!(daemon.said().contains("made-up outing"));
    assert_eq!(daemon.end("TERM").code(), Some(0));
    assert!(!home.path().join(".local").exists());
}

#[test]
fn a_slow_head_and_too_many_connections_are_turned_away() {
    let (board, home) = (Board::bare(), home());
    let settings = home.path().join("few.toml");
    fs::write(&settings, "connections = 4\n").unwrap();
    let root = board.path("");
    let daemon = Daemon::start(
        home.path(),
        &["--sysroot", root.to_str().unwrap(), "--settings", settings.to_str().unwrap()],
    );
    // Four that say nothing come for all seats, of which one is kept for paired phones.
    let idle: Vec<TcpStream> = (2..6).map(|k| from([127, 0, 0, k], daemon.at)).collect();
    sleep(Duration::from_millis(300));
    assert_eq!(staying(&idle), 3);
    let mut fifth = TcpStream::connect(daemon.at).unwrap();
    write!(fifth, "GET /api/v1/now HTTP/1.1\r\nHost: {}\r\n\r\n", daemon.at).unwrap();
    fifth.set_read_timeout(Some(Duration::from_secs(5))).unwrap();
    let mut byte = [0; 1];
    assert_eq!(fifth.read(&mut byte).unwrap(), 1, "an idle one should have gone for it");
    assert_eq!(staying(&idle), 2);
    drop(idle);
    // A head without end is refused, not collected.
    let mut flood = TcpStream::connect(daemon.at).unwrap();
    let line = format!("X: {}\r\n", "y".repeat(1000));
    flood.write_all(b"GET / HTTP/1.1\r\n").unwrap();
    let sent = (0..100_000).take_while(|_| flood.write_all(line.as_bytes()).is_ok()).count();
    assert!(sent < 100_000, "100 MB of head were taken");
    assert_eq!(daemon.get("/api/v1/now").0, 200);
}

#[test]
fn the_wall_clock_is_believed_only_when_it_was_set_and_that_is_remembered() {
    let (board, home) = (Board::bare(), home());
    let mut daemon = Daemon::on(&board, home.path());
    let now = daemon.wait_until(|now| now["board"]["temp_c"].is_number());
    assert_eq!(now["clock"]["trust"], "unset");
    assert_eq!(now["at"], Value::Null);
    // systemd-timesyncd(8): the file is touched whenever the clock was synchronised.
    board.put("run/systemd/timesync/synchronized", "");
    let set = daemon.wait_until(|now| now["clock"]["trust"] == "synchronised");
    assert!(set["at"].as_str().unwrap().starts_with("20"));
    let kept = home.path().join(".local/state/outlast/choices.toml");
    let written = |text: String| text.contains("clock_was_synchronised = true").then_some(());
    daemon.wait_for(Duration::from_secs(5), |_| fs::read_to_string(&kept).ok().and_then(written));
    daemon.end("KILL");
    fs::remove_file(board.path("run/systemd/timesync/synchronized")).unwrap();
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["board"]["temp_c"].is_number());
    assert_eq!(daemon.now()["clock"]["trust"], "synchronised");
    daemon.end("KILL");
    // Another boot knows nothing of it.
    board.put("proc/sys/kernel/random/boot_id", "0a8f6a52-77ab-4b1e-8f5a-9d1e2f3a4b5c\n");
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["board"]["temp_c"].is_number());
    assert_eq!(daemon.now()["clock"]["trust"], "unset");
}

#[test]
fn with_no_page_open_it_sleeps() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = Daemon::on(&board, home.path());
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    // Sources are asked on threads of their own until they have proved fast.
    sleep(Duration::from_secs(15));
    let wakeups = |pid: u32| -> u64 {
        let threads = fs::read_dir(format!("/proc/{pid}/task")).unwrap();
        threads
            .flatten()
            .filter_map(|t| fs::read_to_string(t.path().join("status")).ok())
            .map(|status| {
                let line =
                    status.lines().find(|l| l.starts_with("voluntary_ctxt_switches")).unwrap();
                line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap()
            })
            .sum()
    };
    let (before, began) = (wakeups(daemon.pid()), Instant::now());
    sleep(Duration::from_secs(20));
    let a_second = (wakeups(daemon.pid()) - before) as f64 / began.elapsed().as_secs_f64();
    assert!((1.0..=3.0).contains(&a_second), "{a_second} wake-ups a second");
}
