//! An open hotspot with somebody on it who takes every seat, and somebody who types codes without
//! end. Addresses of the loopback net stand for phones.

use std::{
    fs,
    io::{self, Read, Write},
    net::SocketAddr,
    path::Path,
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicU32, Ordering},
    },
    thread::{self, JoinHandle, sleep},
    time::{Duration, Instant},
};

use serde_json::{Value, json};

use crate::{
    daemon::from,
    support::{Board, Daemon, end_of, get, home, outlast, post, socket},
};

type Address = [u8; 4];

/// What came back over a connection of its own.
struct Answer {
    status: u16,
    whole: String,
    took: Duration,
}

/// Asks from this address; the answer must come within five seconds.
fn ask(
    source: Address,
    at: SocketAddr,
    request: &str,
    cookie: &str,
    body: &str,
) -> io::Result<Answer> {
    let began = Instant::now();
    let mut stream = from(source, at);
    write!(
        stream,
        "{request} HTTP/1.1\r\nHost: {at}\r\nOrigin: http://{at}\r\nCookie: {cookie}\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\
         Connection: close\r\n\r\n{body}",
        body.len()
    )?;
    let mut whole = String::new();
    stream.read_to_string(&mut whole)?;
    let status = whole.get(9..12).and_then(|status| status.parse().ok());
    let status = status.ok_or_else(|| io::Error::other(format!("no answer: {whole:?}")))?;
    Ok(Answer { status, whole, took: began.elapsed() })
}

/// People who come with so many connections each, send a tiny request over every one of them again
/// and again, and come back at once when they are shown out.
struct Crowd {
    end: Arc<AtomicBool>,
    rounds: Arc<AtomicU32>,
    at_it: Option<JoinHandle<()>>,
}

impl Crowd {
    fn come(at: SocketAddr, who: &[Address], each: usize, every: Duration) -> Self {
        let (end, rounds) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU32::new(0)));
        let all: Vec<Address> = who.iter().flat_map(|one| vec![*one; each]).collect();
        let (over, count) = (Arc::clone(&end), Arc::clone(&rounds));
        let at_it = thread::spawn(move || {
            let mut streams: Vec<_> = all.iter().map(|one| from(*one, at)).collect();
            while !over.load(Ordering::Relaxed) {
                for (stream, one) in streams.iter_mut().zip(&all) {
                    let asked = write!(stream, "GET /favicon.ico HTTP/1.1\r\nHost: {at}\r\n\r\n");
                    stream.set_read_timeout(Some(Duration::from_millis(300))).expect("a limit");
                    let heard = asked.and_then(|()| stream.read(&mut [0; 2048]));
                    if !matches!(heard, Ok(1..)) {
                        *stream = from(*one, at);
                    }
                }
                count.fetch_add(1, Ordering::Relaxed);
                sleep(every);
            }
        });
        Self { end, rounds, at_it: Some(at_it) }
    }

    /// Waits until all have asked so often.
    fn have_asked(&self, rounds: u32) {
        let began = Instant::now();
        while self.rounds.load(Ordering::Relaxed) < rounds {
            assert!(began.elapsed() < Duration::from_secs(60), "the crowd does not get on");
            sleep(Duration::from_millis(20));
        }
    }
}

impl Drop for Crowd {
    fn drop(&mut self) {
        self.end.store(true, Ordering::Relaxed);
        // Whatever went wrong with it was not the matter of the test.
        let _ = self.at_it.take().map(JoinHandle::join);
    }
}

fn code(home: &Path) -> String {
    let pin = end_of(outlast(home).args(["pin", "--json"]));
    assert_eq!(pin.code, Some(0), "{}", pin.err);
    let pin: Value = serde_json::from_str(&pin.out).expect("JSON");
    pin["code"].as_str().expect("a code").to_owned()
}

/// Pairs a phone at its first try, and gives its cookie.
fn pair(source: Address, at: SocketAddr, code: &str) -> String {
    let paired = ask(source, at, "POST /pair", "", &format!("code={code}")).expect("an answer");
    assert_eq!(paired.status, 303, "{}", paired.whole);
    let (_, cookie) = paired.whole.split_once("set-cookie: ").expect("a ticket");
    cookie.split(';').next().expect("its value").to_owned()
}

/// By the socket, which the crowd cannot reach.
fn now(home: &Path) -> Value {
    serde_json::from_str(&get("http://localhost/api/v1/now", Some(&socket(home))).1).expect("JSON")
}

/// A board whose bank is nearly empty and is about to be switched off.
fn dying_bank(board: &Board, home: &Path) -> Daemon {
    board.put("etc/systemd/system/multi-user.target.wants/outlast-poweroff.path", "");
    board.reading(5100, 3000);
    let settings = home.join("off.toml");
    fs::write(&settings, "[power_off]\nbelow_min = 60\ncountdown_s = 900\n").expect("a file");
    let root = board.path("");
    let arguments = ["--sysroot", root.to_str().expect("a path"), "--settings"];
    let daemon =
        Daemon::start(home, &[&arguments[..], &[settings.to_str().expect("a path")]].concat());
    let spec = json!({ "name": "Blue ten", "label_mah": 1500.0 });
    let status = post(&socket(home), "/api/v1/bank", &json!({ "spec": spec, "start": "full" }));
    assert!(status < 300, "{status}");
    daemon
}

#[test]
fn the_phone_that_stops_the_countdown_gets_in_past_four_addresses_with_every_seat() {
    let (board, home) = (Board::with_sensor(), home());
    let mut daemon = dying_bank(&board, home.path());
    let (phone, at) = ([127, 0, 0, 9], daemon.at);
    let crowd: Vec<Address> = (66..70).map(|last| [127, 0, 0, last]).collect();
    let crowd = Crowd::come(at, &crowd, 16, Duration::from_millis(500));
    crowd.have_asked(2);
    let mut longest = Duration::ZERO;
    let mut look = |request: &str, cookie: &str, body: &str| {
        let answer = ask(phone, at, request, cookie, body).expect("the phone is answered");
        longest = longest.max(answer.took);
        answer
    };
    for path in ["GET /", "GET /station", "GET /api/v1/now"] {
        assert_eq!(look(path, "", "").status, 200, "{path}");
    }
    let ticket = pair(phone, at, &code(home.path()));
    daemon.wait_for(Duration::from_secs(240), |_| {
        (now(home.path())["power_off"]["state"] == "counting").then_some(())
    });
    let page = look("GET /", &ticket, "");
    assert!(page.whole.contains("action=/power-off"), "{}", page.whole);
    let stopped = look("POST /power-off", &ticket, "wish=stop");
    assert_eq!(stopped.status, 303, "{}", stopped.whole);
    daemon.wait_for(Duration::from_secs(5), |_| {
        (now(home.path())["power_off"]["state"] == "stopped").then_some(())
    });
    println!("the phone's longest wait: {longest:?}");
    assert!(longest < Duration::from_secs(2), "{longest:?}");
}

#[test]
fn a_paired_phone_gets_in_and_stays_while_sixty_addresses_hold_all_seats() {
    let (board, home) = (Board::bare(), home());
    let daemon = Daemon::on(&board, home.path());
    let (phone, at) = ([127, 0, 0, 9], daemon.at);
    let ticket = pair(phone, at, &code(home.path()));
    let begun = ask(phone, at, "GET /", &ticket, "").expect("an answer");
    assert_eq!(begun.status, 200);
    // Six connections, as a browser holds them, silent from now on.
    let mut silent: Vec<_> = (0..6).map(|_| from(phone, at)).collect();
    let crowd: Vec<Address> = (1..=60).map(|last| [127, 0, 1, last]).collect();
    let crowd = Crowd::come(at, &crowd, 2, Duration::from_millis(100));
    crowd.have_asked(3);
    for stream in &mut silent {
        write!(stream, "GET /favicon.ico HTTP/1.1\r\nHost: {at}\r\n\r\n").expect("it is open");
        let mut head = [0; 12];
        stream.read_exact(&mut head).expect("it is answered");
        assert_eq!(&head, b"HTTP/1.1 204");
    }
    let (mut waits, tries) = (Vec::new(), 40);
    for _ in 0..tries {
        let answer = ask(phone, at, "GET /station", &ticket, "").expect("the phone is answered");
        assert_eq!(answer.status, 200);
        waits.push(answer.took);
    }
    // One that nobody knows gets in as well.
    let stranger = ask([127, 0, 0, 10], at, "GET /", "", "").expect("an answer");
    assert_eq!(stranger.status, 200);
    println!("{tries} of {tries} answered, the slowest after {:?}", waits.iter().max());
}

#[test]
fn the_owner_pairs_at_the_first_try_while_others_type_codes_without_end() {
    let (board, home) = (Board::bare(), home());
    let daemon = Daemon::on(&board, home.path());
    let at = daemon.at;
    let over = Arc::new(AtomicBool::new(false));
    let guessers: Vec<JoinHandle<[u32; 2]>> = (0..4)
        .map(|ix| {
            let over = Arc::clone(&over);
            thread::spawn(move || {
                let (mut looked_at, mut made_to_wait) = (0, 0);
                for n in (0..u32::MAX).take_while(|_| !over.load(Ordering::Relaxed)) {
                    let wrong = format!("code={n:012}");
                    match ask([127, 0, 0, 66 + ix], at, "POST /pair", "", &wrong) {
                        Ok(Answer { status: 429, .. }) => made_to_wait += 1,
                        Ok(Answer { status: 403, .. }) => looked_at += 1,
                        other => panic!("{:?}", other.map(|it| it.status)),
                    }
                    sleep(Duration::from_millis(100));
                }
                [looked_at, made_to_wait]
            })
        })
        .collect();
    // Ten a second of each, before and after somebody asks for a code.
    sleep(Duration::from_secs(5));
    let code = code(home.path());
    sleep(Duration::from_secs(10));
    let ticket = pair([127, 0, 0, 9], at, &code);
    over.store(true, Ordering::Relaxed);
    let counts: Vec<[u32; 2]> =
        guessers.into_iter().map(|it| it.join().expect("it ends")).collect();
    println!("codes looked at and not looked at, of each guesser: {counts:?}");
    // The start opened the window: five free tries of each, and none in the 30 s after them.
    assert!(counts.iter().all(|[looked_at, _]| (5..=6).contains(looked_at)), "{counts:?}");
    assert!(counts.iter().all(|[_, waits]| *waits > 50), "{counts:?}");
    let changed = ask([127, 0, 0, 9], at, "POST /outing", &ticket, "name=Old+quarry");
    assert_eq!(changed.expect("an answer").status, 303);
}

#[test]
fn an_upload_that_hangs_keeps_nobody_out_and_is_given_up() {
    let (board, home) = (Board::bare(), home());
    let daemon = Daemon::on(&board, home.path());
    let at = daemon.at;
    let ticket = pair([127, 0, 0, 9], at, &code(home.path()));
    let log = "<qso_date:8>20240309<time_on:4>1523<band:3>20M<mode:4>RTTY<eor>";
    let head = format!(
        "POST /api/v1/contacts HTTP/1.1\r\nHost: {at}\r\nCookie: {ticket}\r\n\
         Content-Type: application/octet-stream\r\nContent-Length: 4000000\r\n\r\n{log}"
    );
    let (mut hangs, began) = (from([127, 0, 0, 9], at), Instant::now());
    hangs.write_all(head.as_bytes()).expect("it is taken");
    sleep(Duration::from_millis(500));
    for address in [[127, 0, 0, 9], [127, 0, 0, 10]] {
        let taken = ask(address, at, "POST /api/v1/contacts", &ticket, log).expect("an answer");
        assert_eq!(taken.status, 200, "{}", taken.whole);
    }
    hangs.set_read_timeout(Some(Duration::from_secs(30))).expect("a limit");
    let mut said = String::new();
    hangs.read_to_string(&mut said).expect("it is answered and closed");
    assert!(said.starts_with("HTTP/1.1 408"), "{said}");
    assert!((9..15).contains(&began.elapsed().as_secs()), "{:?}", began.elapsed());
}

/// Puts a folder where this file would be made. A kill may have left one there; and the first use of
/// a ticket after a start has the list kept once more, behind the answer's back, so that one may come
/// and go meanwhile.
fn in_the_way_of(file: &Path) {
    let began = Instant::now();
    loop {
        // It may be gone again already.
        let _ = fs::remove_file(file);
        match fs::create_dir_all(file.join("full")) {
            Ok(()) => return,
            Err(why) => assert!(began.elapsed() < Duration::from_secs(20), "{why}"),
        }
    }
}

#[test]
fn a_pairing_that_was_ended_does_not_come_back_not_even_on_a_full_card() {
    let (board, home) = (Board::bare(), home());
    let mut daemon = Daemon::on(&board, home.path());
    let changes = |daemon: &Daemon, ticket: &str| {
        let got = ask([127, 0, 0, 9], daemon.at, "POST /outing", ticket, "name=Old+quarry");
        got.expect("an answer").status == 303
    };
    let tickets: Vec<String> =
        (0..3).map(|_| pair([127, 0, 0, 9], daemon.at, &code(home.path()))).collect();
    let listed = end_of(outlast(home.path()).args(["phone", "list"]));
    assert_eq!(listed.out.lines().count(), 3, "{}{}", listed.out, listed.err);
    let end = |which: &str| end_of(outlast(home.path()).args(["phone", "end", which]));
    assert_eq!(end("2").code, Some(0));
    assert!(!changes(&daemon, &tickets[1]));
    let none = end("2");
    assert!(none.code == Some(1) && none.err.contains("No phone of that number"), "{}", none.err);
    daemon.end("KILL");
    let mut daemon = Daemon::on(&board, home.path());
    let good: Vec<bool> = tickets.iter().map(|ticket| changes(&daemon, ticket)).collect();
    assert_eq!(good, [true, false, true]);
    // Nothing more can be written beside the file, as on a full card.
    let state = home.path().join(".local/state/outlast");
    let aside = state.join(".phones.toml.new");
    in_the_way_of(&aside);
    let full = end("1");
    assert_eq!(full.code, Some(1));
    assert!(full.err.contains("every phone must be paired again"), "{}", full.err);
    assert!(!changes(&daemon, &tickets[0]) && changes(&daemon, &tickets[2]));
    daemon.end("KILL");
    let daemon = Daemon::on(&board, home.path());
    assert!(!tickets.iter().any(|ticket| changes(&daemon, ticket)));
    fs::remove_dir_all(aside).expect("it was there");
    let ticket = pair([127, 0, 0, 9], daemon.at, &code(home.path()));
    assert!(changes(&daemon, &ticket));
    assert_eq!(end("--all").code, Some(0));
    assert!(!changes(&daemon, &ticket));
    // The list, as the secret, is ours alone, and says nothing that could be used.
    let kept = fs::read_to_string(state.join("phones.toml")).expect("the list");
    assert!(!kept.contains("[[phone]]"), "{kept}");
}
