//! Pairing under attack, and what becomes of tickets.

use std::{
    net::{IpAddr, SocketAddr},
    sync::{Arc, Mutex},
    time::Duration,
};

use axum::{
    body::Body,
    extract::ConnectInfo,
    http::{Request, StatusCode},
};
use reckon::time::{Mono, Stamp, Trust, Wall};
use web::{CODE_LASTS, Pairing, Phone, PhoneKeeper, Rejected, TicketShown};

use crate::{
    rig::{Rig, form, get, json, pairing, post},
    scenes,
};

/// Keeps the list as a file would, while there is room.
#[derive(Clone, Default)]
struct Card {
    list: Arc<Mutex<Vec<Phone>>>,
    times: Arc<Mutex<u32>>,
    full: Arc<Mutex<bool>>,
}

impl PhoneKeeper for Card {
    fn keep(&self, phones: &[Phone]) -> Result<(), String> {
        if *self.full.lock().unwrap() {
            return Err("The card is full.".to_owned());
        }
        *self.list.lock().unwrap() = phones.to_vec();
        *self.times.lock().unwrap() += 1;
        Ok(())
    }
}

impl Card {
    fn list(&self) -> Vec<Phone> {
        self.list.lock().unwrap().clone()
    }
}

/// Time goes on by so much.
fn later(rig: &Rig, by: Duration, trust: Trust) -> Stamp {
    let mut made = scenes::scene("fine").unwrap();
    let now = rig.now.borrow().at;
    made.at =
        Stamp { mono: now.mono.plus(by), wall: now.wall.plus_s(by.as_secs_f64()), trust, ..now };
    let at = made.at;
    rig.now.send(Arc::new(made)).unwrap();
    at
}

fn from(mut request: Request<Body>, address: &str) -> Request<Body> {
    let address: IpAddr = address.parse().unwrap();
    request.extensions_mut().insert(ConnectInfo(SocketAddr::new(address, 40_000)));
    request
}

/// A wrong code, whatever the right one is.
fn wrong(good: &str, n: u32) -> String {
    format!("code={:012}", (good.parse::<u64>().unwrap() + 1 + u64::from(n)) % 1_000_000_000_000)
}

async fn changes(rig: &Rig, ticket: &str) -> bool {
    let got = rig.send(form("/finish", "after_min=60", ticket)).await;
    assert!([StatusCode::SEE_OTHER, StatusCode::FORBIDDEN].contains(&got.status), "{}", got.text);
    got.status == StatusCode::SEE_OTHER
}

#[tokio::test]
async fn wrong_codes_ten_times_a_second_do_not_keep_the_owner_out() {
    let rig = Rig::of("fine");
    let good = rig.pairing.pin(rig.now.borrow().at.mono).code;
    let addresses = ["192.0.2.66", "192.0.2.67", "2001:db8:0:7::1", "2001:db8:0:7::2"];
    let (mut looked_at, mut made_to_wait) = (0, 0);
    // All the window but its last second, ten a second.
    for n in 0..u32::try_from(CODE_LASTS.as_secs() - 1).unwrap() * 10 {
        if n % 10 == 0 {
            later(&rig, Duration::from_secs(1), Trust::Unset);
        }
        let address = addresses[n as usize % addresses.len()];
        match rig.send(from(form("/pair", &wrong(&good, n), ""), address)).await.status {
            StatusCode::FORBIDDEN => looked_at += 1,
            StatusCode::TOO_MANY_REQUESTS => made_to_wait += 1,
            other => panic!("{other}"),
        }
    }
    // Three groups, 8 tries each at most: the /64 is one.
    assert!((15..=24).contains(&looked_at), "{looked_at} looked at, {made_to_wait} not");
    let got = rig.send(from(form("/pair", &format!("code={good}"), ""), "192.0.2.7")).await;
    assert_eq!(got.status, StatusCode::SEE_OTHER, "the owner, at the first try: {}", got.text);
}

#[tokio::test]
async fn while_nobody_asks_for_a_code_there_is_none_to_guess() {
    let rig = Rig::of("fine");
    let got = rig.send(json("/api/v1/pair", r#"{"code":"000000000000"}"#, "")).await;
    assert_eq!((got.status, &got.json()["code"]), (StatusCode::FORBIDDEN, &"no-code".into()));
    // Nor does a look at the page make one.
    assert!(rig.get("/pair").await.text.contains("No code is good now"));
    let got = rig.send(form("/pair", "code=000000000000", "")).await;
    assert!(got.text.contains("Run `outlast pin`"), "{}", got.text);
    rig.pairing.pin(rig.now.borrow().at.mono);
    assert!(!rig.get("/pair").await.text.contains("No code is good now"));
}

#[test]
fn a_code_serves_once_and_for_five_minutes() {
    let keeper = Arc::into_inner(pairing()).unwrap();
    let at = |s: f64| Stamp {
        mono: Mono::at_s(s),
        wall: Wall::from_unix_ms(0),
        trust: Trust::Unset,
        utc_offset_s: 0,
    };
    let first = keeper.pin(at(100.0).mono);
    assert_eq!(keeper.pin(at(160.0).mono).code, first.code);
    assert_eq!(first.good_for, CODE_LASTS);
    // Whoever asks when half of it is over gets a new one.
    let second = keeper.pin(at(260.0).mono);
    assert_ne!(second.code, first.code);
    let tried = |code: &str, s| keeper.pair(code, None, None, at(s)).map(drop);
    assert_eq!(tried(&first.code, 261.0), Err(Rejected::Wrong));
    assert_eq!(tried(&second.code, 560.0), Err(Rejected::Closed));
    let third = keeper.pin(at(560.0).mono);
    assert_eq!(tried(&third.code, 561.0), Ok(()));
    assert_eq!(tried(&third.code, 562.0), Err(Rejected::Closed));
}

#[tokio::test]
async fn an_ended_ticket_is_worthless_at_once_and_after_a_restart() {
    let card = Card::default();
    let rig = Rig::phones(Vec::new(), card.clone());
    let mine = rig.ticket().await;
    let code = rig.pairing.pin(rig.now.borrow().at.mono).code;
    let got = rig.send(form("/pair", &format!("code={code}&name=Blue+cover"), "")).await;
    let lost = got.header("set-cookie").split(';').next().unwrap().to_owned();
    assert!(changes(&rig, &mine).await && changes(&rig, &lost).await);
    let told = rig.send(get("/api/v1/phones").header("cookie", &mine).body(Body::empty()).unwrap());
    let told = told.await.json();
    let names: Vec<_> = told["phones"].as_array().unwrap().iter().map(|it| &it["name"]).collect();
    assert_eq!(names, ["Blue cover".into(), serde_json::Value::Null].iter().collect::<Vec<_>>());
    assert_eq!(told["phones"][1]["this_phone"], true);
    let number = told["phones"][0]["id"].as_u64().unwrap();
    let end = form(&format!("/phones/{number}/end"), "", &mine);
    assert_eq!(rig.send(end).await.header("location"), "/phones");
    assert!(changes(&rig, &mine).await && !changes(&rig, &lost).await);
    let restarted = Rig::phones(card.list(), card.clone());
    assert!(changes(&restarted, &mine).await && !changes(&restarted, &lost).await);
    let all = post("/api/v1/phones/end", "application/json", "", &mine);
    assert_eq!(restarted.send(all).await.status, StatusCode::NO_CONTENT);
    assert!(!changes(&restarted, &mine).await);
    assert!(!changes(&Rig::phones(card.list(), card.clone()), &mine).await);
}

#[tokio::test]
async fn strangers_see_no_list_and_end_nothing() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    for path in ["/phones/1/end", "/phones/end"] {
        assert_eq!(rig.send(form(path, "", "")).await.status, StatusCode::FORBIDDEN, "{path}");
    }
    assert_eq!(rig.get("/api/v1/phones").await.status, StatusCode::FORBIDDEN);
    assert!(!rig.get("/phones").await.text.contains("End its pairing"));
    assert!(changes(&rig, &ticket).await);
    for none in ["2", "0", "4294967297", "-1", "x"] {
        let got = rig.send(form(&format!("/phones/{none}/end"), "", &ticket)).await;
        assert_eq!(got.status, StatusCode::NOT_FOUND, "{none}");
    }
}

#[tokio::test]
async fn what_could_not_be_kept_is_said_and_tried_again() {
    let card = Card::default();
    let rig = Rig::phones(Vec::new(), card.clone());
    let mine = rig.ticket().await;
    *card.full.lock().unwrap() = true;
    let code = rig.pairing.pin(rig.now.borrow().at.mono).code;
    let got = rig.send(json("/api/v1/pair", &format!(r#"{{"code":"{code}"}}"#), "")).await;
    // RFC 4918 section 11.5: 507, Insufficient Storage. The phone is paired all the same.
    assert_eq!((got.status.as_u16(), &got.json()["code"]), (507, &"not-kept".into()));
    let other = got.header("set-cookie").split(';').next().unwrap().to_owned();
    assert!(changes(&rig, &other).await);
    let got = rig.send(form("/phones/2/end", "", &mine)).await;
    assert_eq!(got.status.as_u16(), 507);
    assert!(got.text.contains("The card is full."), "{}", got.text);
    assert!(!changes(&rig, &other).await, "ended all the same");
    let page = rig.send(get("/phones").header("cookie", &mine).body(Body::empty()).unwrap()).await;
    assert!(page.text.contains("The card is full."));
    // There is room again: the next use after a minute has it kept.
    *card.full.lock().unwrap() = false;
    let times = || *card.times.lock().unwrap();
    let before = times();
    assert!(changes(&rig, &mine).await);
    tokio::time::sleep(Duration::from_millis(50)).await;
    assert_eq!(times(), before, "not at every look");
    later(&rig, Duration::from_secs(61), Trust::Unset);
    assert!(changes(&rig, &mine).await);
    for _ in 0..100 {
        if times() > before {
            break;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    assert_eq!(times(), before + 1);
}

#[tokio::test]
async fn a_ticket_is_renewed_by_use_and_dies_thirty_days_after_it() {
    let card = Card::default();
    let rig = Rig::phones(Vec::new(), card.clone());
    later(&rig, Duration::ZERO, Trust::Synchronised);
    let ticket = rig.ticket().await;
    let look = async || {
        let got = rig.send(get("/").header("cookie", &ticket).body(Body::empty()).unwrap()).await;
        got.header("set-cookie").to_owned()
    };
    assert_eq!(look().await, "", "not at every look");
    let day = Duration::from_hours(24);
    later(&rig, day * 20, Trust::Synchronised);
    let renewed = look().await;
    assert!(renewed.starts_with(&ticket) && renewed.contains("Max-Age=2592000"), "{renewed}");
    later(&rig, day * 29, Trust::Synchronised);
    assert!(changes(&rig, &ticket).await);
    later(&rig, day * 31, Trust::Synchronised);
    assert!(!changes(&rig, &ticket).await);
    assert_eq!(look().await, "");
}

#[tokio::test]
async fn the_listener_hears_of_a_good_ticket_and_of_no_other() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let forged = ticket.replace("paired=", "paired=A");
    for (cookie, told) in [(ticket.as_str(), true), (&forged, false), ("", false)] {
        for path in ["/", "/api/v1/now", "/nowhere", "/station"] {
            let request = get(path).header("cookie", cookie).header("accept-encoding", "gzip");
            let answer = rig.raw(request.body(Body::empty()).unwrap()).await;
            assert_eq!(answer.extensions().get::<TicketShown>().is_some(), told, "{path}");
        }
    }
}

#[test]
fn two_lists_at_once_leave_the_newest_on_the_card() {
    /// Slow, and slower for longer lists.
    struct Slow(Card);
    impl PhoneKeeper for Slow {
        fn keep(&self, phones: &[Phone]) -> Result<(), String> {
            std::thread::sleep(Duration::from_millis(40 * phones.len() as u64));
            self.0.keep(phones)
        }
    }
    let card = Card::default();
    let phone = |number: u32| Phone {
        number,
        ticket: [u8::try_from(number).unwrap(); 16],
        name: None,
        paired: None,
        renewed: None,
    };
    let list = (1..=4).map(phone).collect();
    let pairing: Pairing = Arc::into_inner(pairing()).unwrap();
    let pairing = Arc::new(pairing.with_phones(list, Slow(card.clone())));
    let before = Arc::clone(&pairing);
    let first = std::thread::spawn(move || before.keep(Mono::BOOT));
    std::thread::sleep(Duration::from_millis(20));
    let code = pairing.pin(Mono::BOOT).code;
    let at = Stamp {
        mono: Mono::BOOT,
        wall: Wall::from_unix_ms(0),
        trust: Trust::Unset,
        utc_offset_s: 0,
    };
    assert!(pairing.pair(&code, None, None, at).is_ok());
    pairing.keep(Mono::BOOT).unwrap();
    first.join().unwrap().unwrap();
    assert_eq!(card.list().len(), 5);
}
