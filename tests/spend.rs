//! What strangers can take of the board and the bank, from the real program: memory by never reading,
//! processor time by asking on, by going away, by keeping others waiting.

use std::{
    fs,
    io::{Read, Write},
    net::{Ipv4Addr, SocketAddr, TcpStream},
    path::Path,
    thread::{self, sleep},
    time::{Duration, Instant},
};

use reckon::{
    bank::BankSpec,
    record::{BankWhole, Detail, RecordedBank, RecordedRunDown, RunDown},
    time::Wall,
};
use serde_json::json;
use tokio::net::TcpSocket;

use crate::support::{Board, Daemon, blocking, get, home, post, socket};

#[path = "../daemon/history/examples/many_outings.rs"]
#[expect(dead_code, reason = "its main is for whoever measures")]
mod many_outings;

/// So many outings of so many hours in the record of this home.
fn season(home: &Path, outings: u32, hours: u32) {
    let folder = home.join(".local/state/outlast");
    fs::create_dir_all(&folder).expect("a folder");
    many_outings::write(&folder, outings, hours, false).expect("a record");
}

fn figure(daemon: &Daemon, file: &str, find: impl Fn(&str) -> Option<u64>) -> u64 {
    let text = fs::read_to_string(format!("/proc/{}/{file}", daemon.pid())).expect("proc(5)");
    find(&text).expect("a figure")
}

/// Resident memory, KiB: proc_pid_status(5).
fn resident_kib(daemon: &Daemon) -> u64 {
    figure(daemon, "status", |text| {
        let line = text.lines().find_map(|line| line.strip_prefix("VmRSS:"))?;
        line.trim().strip_suffix(" kB")?.parse().ok()
    })
}

/// Processor time so far in hundredths of a second: fields 14 and 15 of proc_pid_stat(5).
fn spent(daemon: &Daemon) -> u64 {
    figure(daemon, "stat", |text| {
        let after: Vec<&str> = text.rsplit_once(") ")?.1.split(' ').collect();
        Some(after.get(11)?.parse::<u64>().ok()? + after.get(12)?.parse::<u64>().ok()?)
    })
}

/// Asks from this address of the loopback network, with room for little of the answer.
fn ask(from: u8, at: SocketAddr, path: &str) -> TcpStream {
    let connected = blocking(async {
        let own = TcpSocket::new_v4().expect("a socket");
        own.set_recv_buffer_size(4096).expect("a small buffer");
        own.bind(SocketAddr::from((Ipv4Addr::new(127, 0, 0, from), 0))).expect("an address");
        own.connect(at).await.expect("a connection").into_std().expect("the same")
    });
    connected.set_nonblocking(false).expect("the same");
    let head = format!("GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n");
    (&connected).write_all(head.as_bytes()).expect("sent");
    connected
}

/// The status of an answer that is read to its end.
fn status(mut stream: TcpStream) -> u16 {
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).expect("an answer");
    let head = String::from_utf8_lossy(&answer[..answer.len().min(12)]).into_owned();
    head.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or_default()
}

/// Before: 58 MiB more for the CSV, 108 for the JSON.
#[test]
fn forty_eight_that_never_read_an_export_take_little_memory() {
    let (board, home) = (Board::bare(), home());
    season(home.path(), 1, 48);
    let daemon = Daemon::on(&board, home.path());
    for path in ["/outings/1.csv", "/outings/1.json", "/api/v1/outings/1/series?points=4000"] {
        assert_eq!(daemon.get(path).0, 200, "{path}");
    }
    let before = resident_kib(&daemon);
    for path in ["/outings/1.csv", "/outings/1.json", "/api/v1/outings/1/series?points=4000"] {
        let slow: Vec<TcpStream> = (0..48).map(|k| ask(2 + k / 12, daemon.at, path)).collect();
        let mut most = before;
        for _ in 0..30 {
            sleep(Duration::from_millis(100));
            most = most.max(resident_kib(&daemon));
        }
        println!("{path}: {before} KiB, with {} that never read {most} KiB", slow.len());
        assert!(most <= before + 12 * 1024, "{path}: {before} KiB, then {most}");
        assert_eq!(status(ask(9, daemon.at, "/outings")), 200, "pages go on");
    }
    assert_eq!(get("http://localhost/outings/1.csv", Some(&socket(home.path()))).0, 200);
}

/// Before: every request took as long as the first.
#[test]
fn a_book_is_read_once_while_the_record_stands() {
    let (board, home) = (Board::bare(), home());
    season(home.path(), 24, 12);
    let daemon = Daemon::on(&board, home.path());
    let took = |times: u32| {
        let before = spent(&daemon);
        for _ in 0..times {
            assert_eq!(daemon.get("/banks/1/book").0, 200);
        }
        spent(&daemon) - before
    };
    let (first, then) = (took(1), took(40));
    println!("a book of 24 outings: {first}0 ms, then {then}0 ms for 40");
    // A commit of the daemon's own may fall between, once or twice.
    assert!(then <= first * 3 + 40, "{first}0 ms, then {then}0 ms for 40");
}

/// Before: the reading went on to its end.
#[test]
fn a_reading_that_nobody_waits_for_ends() {
    let (board, home) = (Board::bare(), home());
    season(home.path(), 24, 24);
    let daemon = Daemon::on(&board, home.path());
    // A mark, so that the record has moved and all is read anew.
    let mark = || {
        let status = post(&socket(home.path()), "/api/v1/mark", &json!({ "text": "rain" }));
        assert!((200..300).contains(&status), "{status}");
    };
    let before = spent(&daemon);
    assert_eq!(daemon.get("/banks/1/book").0, 200);
    let whole = spent(&daemon) - before;
    assert!(whole > 10, "{whole}0 ms is too little to tell");
    mark();
    sleep(Duration::from_secs(1));
    let before = spent(&daemon);
    let asked = ask(2, daemon.at, "/banks/1/book");
    while spent(&daemon) < before + 3 {
        sleep(Duration::from_millis(2));
    }
    drop(asked);
    sleep(Duration::from_secs(2));
    let part = spent(&daemon) - before;
    println!("a book: {whole}0 ms; given up: {part}0 ms");
    assert!(part <= whole / 2 + 5, "{part}0 ms of {whole}0 ms");
}

/// Before: sixteen loops kept the others' pages waiting past their ten seconds (408).
#[test]
fn one_address_that_asks_on_and_on_keeps_nobody_waiting() {
    let (board, home) = (Board::bare(), home());
    season(home.path(), 24, 12);
    let daemon = Daemon::on(&board, home.path());
    let (at, before) = (daemon.at, spent(&daemon));
    let until = Instant::now() + Duration::from_secs(4);
    let loops: Vec<_> = (0..16_u32)
        .map(|k| {
            thread::spawn(move || {
                let asks = (k..).take_while(|_| Instant::now() < until);
                asks.map(|k| status(ask(2, at, &format!("/outings/{}", 1 + k % 24)))).count()
            })
        })
        .collect();
    let mut longest = Duration::ZERO;
    for id in 1..=8 {
        let (path, began) = (format!("/outings/{id}.html"), Instant::now());
        assert_eq!(status(ask(3, at, &path)), 200, "{path}");
        longest = longest.max(began.elapsed());
    }
    let asked: usize = loops.into_iter().map(|it| it.join().expect("asked on")).sum();
    let took = spent(&daemon) - before;
    println!("{asked} asked, {took}0 ms; another waited {longest:?} at most");
    assert!(longest < Duration::from_secs(5), "{longest:?}");
}

/// A hundred outings on one bank, each a run-down of it: what Banks shows of that year, once.
#[test]
fn a_year_of_a_hundred_run_downs_is_worked_out_at_once() {
    let data = RunDown {
        whole: true,
        start_share: Some(1.0),
        lasted_s: 32_400.0,
        delivered_wh: Some(27.0),
        measured: true,
        detail: Detail {
            rest_curve: (0..64).map(|k| [f64::from(k), 13.3 - f64::from(k) / 64.0]).collect(),
            half_hours_w: vec![3.0; 18],
            ..Detail::default()
        },
        ..RunDown::default()
    };
    let run_down = |id: i64| RecordedRunDown {
        id,
        bank: 1,
        outing: Some(id),
        began: Some(Wall::from_unix_ms(1_777_622_400_000 + id * 300_000_000)),
        outing_wh: None,
        struck: false,
        data: data.clone(),
    };
    for spec in BankSpec::common() {
        let bank = RecordedBank { id: 1, spec, forgotten: false };
        let bank = BankWhole { bank, run_downs: (1..=100).map(run_down).collect() };
        let began = Instant::now();
        assert_eq!(bank.year(None).given.len(), 100);
        let took = began.elapsed();
        println!("{}: {took:?}", bank.bank.spec.name);
        // A board is some twenty times slower than a desktop core: 2 s there, once, off the loop.
        assert!(took < Duration::from_millis(100), "{}: {took:?}", bank.bank.spec.name);
    }
}

/// The page itself, of a hundred outings.
#[test]
fn banks_of_a_hundred_outings_is_read_once_while_the_record_stands() {
    let (board, home) = (Board::bare(), home());
    season(home.path(), 100, 1);
    let daemon = Daemon::on(&board, home.path());
    let took = |times: u32| {
        let before = spent(&daemon);
        for _ in 0..times {
            assert_eq!(daemon.get("/banks").0, 200);
        }
        spent(&daemon) - before
    };
    let (first, then) = (took(1), took(40));
    println!("Banks of a hundred outings: {first}0 ms, then {then}0 ms for 40");
    assert!(first <= 50, "{first}0 ms");
    // A commit of the daemon's own may fall between, once or twice.
    assert!(then <= first * 3 + 40, "{first}0 ms, then {then}0 ms for 40");
}
