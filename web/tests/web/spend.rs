//! What strangers can take of the bank and the board: readings, files, and who they keep waiting.

use std::{
    net::SocketAddr,
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering},
    },
    time::Duration,
};

use axum::{
    body::Body,
    extract::ConnectInfo,
    http::{Request, StatusCode, header},
};
use futures_util::{StreamExt, stream::FuturesUnordered};
use reckon::{
    plan::Known,
    record::{Outing, OutingContacts, OutingWhole, Page, Series, SeriesAsk},
    report::{BankTally, OutingReport},
};
use tokio::time::{sleep, timeout};
use web::{BankShown, NoRecord, Pieces, RecordReader};

use crate::{
    past::{Invented, Mood},
    rig::{HOST, Rig, get},
};

/// A record that counts its readings, moves when it is told to, and whose book takes until nobody wants
/// it any more.
#[derive(Clone)]
struct Watched {
    past: Arc<Invented>,
    opened: Arc<AtomicUsize>,
    moves: Arc<AtomicU64>,
    endless: bool,
    gone: Arc<AtomicBool>,
    /// Books that were begun and those that were given up.
    books: Arc<[AtomicUsize; 2]>,
}

impl Watched {
    fn new(endless: bool) -> Arc<Self> {
        Arc::new(Self {
            past: Invented::new(Mood::Well, false),
            opened: Arc::default(),
            moves: Arc::default(),
            endless,
            gone: Arc::default(),
            books: Arc::default(),
        })
    }

    fn rig(self: &Arc<Self>) -> Rig {
        Rig::with("fine", |shown| shown.past = Arc::clone(self) as _)
    }

    fn books(&self) -> [usize; 2] {
        [0, 1].map(|which: usize| self.books[which].load(Ordering::SeqCst))
    }
}

impl RecordReader for Watched {
    fn state(&self) -> Option<u64> {
        Some(self.moves.load(Ordering::SeqCst))
    }
    fn at_one_moment(
        &self,
        gone: &Arc<AtomicBool>,
    ) -> Result<Option<Box<dyn RecordReader>>, NoRecord> {
        self.opened.fetch_add(1, Ordering::SeqCst);
        Ok(Some(Box::new(Self { gone: Arc::clone(gone), ..self.clone() })))
    }
    fn outings(&self, before: Option<i64>, most: usize) -> Result<Page<Outing>, NoRecord> {
        self.past.outings(before, most)
    }
    fn outing(&self, id: i64) -> Result<Option<OutingWhole>, NoRecord> {
        self.past.outing(id)
    }
    fn report(&self, id: i64) -> Result<Option<OutingReport>, NoRecord> {
        self.past.report(id)
    }
    fn series(&self, ask: &SeriesAsk) -> Result<Option<Series>, NoRecord> {
        self.past.series(ask)
    }
    fn banks(&self) -> Result<Vec<BankShown>, NoRecord> {
        self.past.banks()
    }
    fn book(&self, bank: i64) -> Result<Option<BankTally>, NoRecord> {
        if self.endless {
            self.books[0].fetch_add(1, Ordering::SeqCst);
            while !self.gone.load(Ordering::SeqCst) {
                std::thread::sleep(Duration::from_millis(1));
            }
            self.books[1].fetch_add(1, Ordering::SeqCst);
        }
        self.past.book(bank)
    }
    fn known(&self) -> Result<Known, NoRecord> {
        self.past.known()
    }
    fn csv(&self, _: i64) -> Result<Option<Pieces>, NoRecord> {
        // A megabyte that nobody has whole.
        Ok(Some(Box::new((0..16).map(|_| Ok(vec![b'x'; 65_536])))))
    }
    fn json(&self, outing: i64) -> Result<Option<Pieces>, NoRecord> {
        self.past.json(outing)
    }
    fn contacts(&self, outing: i64) -> Result<Option<OutingContacts>, NoRecord> {
        self.past.contacts(outing)
    }
    fn close_ups(&self, outing: i64) -> Result<Option<Pieces>, NoRecord> {
        self.past.close_ups(outing)
    }
    fn copy(&self) -> Result<Pieces, NoRecord> {
        self.past.copy()
    }
}

/// An ask from this address of a documentation network (RFC 5737).
fn from(last: u8, path: &str, cookie: &str) -> Request<Body> {
    let address = SocketAddr::from(([192, 0, 2, last], 40_000));
    let asked = get(path).extension(ConnectInfo(address)).header(header::COOKIE, cookie);
    asked.body(Body::empty()).unwrap()
}

#[tokio::test]
async fn what_costs_most_is_read_once_while_the_record_stands() {
    let watched = Watched::new(false);
    let rig = watched.rig();
    for (paths, readings) in [
        (["/banks/1/book", "/banks/1/book.txt", "/api/v1/banks/1/book"], 1),
        (["/outings/29", "/outings/29.html", "/api/v1/outings/29/report"], 1),
        (["/banks", "/api/v1/banks", "/banks/1/test"], 1),
        (["/outings", "/outings", "/outings"], 1),
    ] {
        let before = watched.opened.load(Ordering::SeqCst);
        for path in paths {
            let got = rig.get(path).await;
            assert_eq!(got.status, StatusCode::OK, "{path}: {}", got.text);
        }
        assert_eq!(watched.opened.load(Ordering::SeqCst) - before, readings, "{paths:?}");
    }
    let before = watched.opened.load(Ordering::SeqCst);
    watched.moves.fetch_add(1, Ordering::SeqCst);
    rig.get("/banks/1/book").await;
    assert_eq!(watched.opened.load(Ordering::SeqCst) - before, 1, "the record has moved");
}

#[tokio::test]
async fn a_reading_ends_with_its_asker_and_keeps_a_paired_phone_from_nothing() {
    let watched = Watched::new(true);
    let rig = watched.rig();
    let ticket = rig.ticket().await;
    let mut endless = Box::pin(rig.send(from(1, "/banks/1/book", "")));
    let mut next = Box::pin(rig.send(from(2, "/outings", "")));
    assert!(timeout(Duration::from_millis(50), &mut endless).await.is_err());
    assert!(timeout(Duration::from_millis(50), &mut next).await.is_err(), "its turn comes later");
    assert_eq!(watched.books(), [1, 0]);
    let paired = rig.send(from(3, "/outings", &ticket)).await;
    assert_eq!(paired.status, StatusCode::OK, "one turn is kept for it");
    drop(endless);
    assert_eq!(next.await.status, StatusCode::OK);
    while watched.books() != [1, 1] {
        sleep(Duration::from_millis(1)).await;
    }
}

#[tokio::test]
async fn an_address_has_one_turn_and_few_in_line() {
    for paired in [false, true] {
        let watched = Watched::new(true);
        let rig = watched.rig();
        let ticket = if paired { rig.ticket().await } else { String::new() };
        let asks = (0..20).map(|_| rig.send(from(1, "/banks/1/book", &ticket)));
        let mut asks: FuturesUnordered<_> = asks.collect();
        // Those that wait are held, not given up: that would be the next one's turn.
        for _ in 0..14 {
            let away = asks.next().await.unwrap();
            assert_eq!(away.status, StatusCode::SERVICE_UNAVAILABLE);
        }
        let more = timeout(Duration::from_millis(99), asks.next()).await;
        assert!(more.is_err(), "six connections wait, as a browser has");
        assert_eq!(watched.books()[0], 1, "one of them at a time, paired: {paired}");
    }
}

#[tokio::test]
async fn one_file_is_sent_and_another_kept_for_paired_phones() {
    let watched = Watched::new(false);
    let rig = watched.rig();
    let ticket = rig.ticket().await;
    let first = rig.raw(from(1, "/outings/29.csv", "")).await;
    assert_eq!(first.status(), StatusCode::OK);
    for path in ["/outings/29.csv", "/outings/29.json", "/api/v1/outings/29/series?points=4000"] {
        let away = rig.send(from(2, path, "")).await;
        assert_eq!(away.status, StatusCode::SERVICE_UNAVAILABLE, "{path}");
        assert_eq!(away.header("retry-after"), "20");
        assert!(away.text.contains("Another file is being sent."), "{}", away.text);
    }
    let paired = rig.raw(from(3, "/outings/29.csv", &ticket)).await;
    assert_eq!(paired.status(), StatusCode::OK);
    let third = rig.raw(from(4, "/outings/29.csv", &ticket)).await;
    assert_eq!(third.status(), StatusCode::SERVICE_UNAVAILABLE, "two at once in all");
    assert_eq!(rig.send(from(2, "/outings/29", "")).await.status, StatusCode::OK, "pages go on");
    drop(first);
    let again = rig.raw(from(2, "/outings/29.csv", "")).await;
    let whole = axum::body::to_bytes(again.into_body(), 1 << 21).await.unwrap();
    assert_eq!(whole.len(), 1 << 20);
}

#[tokio::test(start_paused = true)]
async fn a_file_that_nobody_takes_is_given_up() {
    let rig = Watched::new(false).rig();
    let slow = rig.raw(from(1, "/outings/29.csv", "")).await;
    let mut slow = slow.into_body().into_data_stream();
    assert!(slow.next().await.unwrap().is_ok());
    sleep(Duration::from_secs(20)).await;
    assert!(slow.next().await.unwrap().is_ok(), "a pause of 20 s is no more than a bad spot");
    sleep(Duration::from_secs(41)).await;
    let next = rig.raw(from(2, "/outings/29.csv", "")).await;
    assert_eq!(next.status(), StatusCode::OK, "its seat is free");
    assert!(slow.next().await.unwrap().is_err(), "broken off: not to be taken for the whole");
    assert!(slow.next().await.is_none());
}

#[tokio::test]
async fn another_sites_page_may_not_have_the_record_read() {
    let rig = Watched::new(false).rig();
    let own = format!("http://{HOST}");
    let other = "http://club.example/page";
    let ask = async |headers: &[(&str, &str)]| {
        let asked = headers
            .iter()
            .fold(get("/banks/1/book"), |ask, (name, value)| ask.header(*name, *value));
        rig.send(asked.body(Body::empty()).unwrap()).await
    };
    // W3C Fetch Metadata, where the browser holds the host trustworthy; else what browsers send with a
    // script's fetch (Fetch standard, 'append a request Origin header'), an image, a link.
    for (headers, well) in [
        (&[("sec-fetch-site", "cross-site"), ("sec-fetch-mode", "no-cors")][..], false),
        (&[("sec-fetch-site", "same-site"), ("sec-fetch-mode", "cors")], false),
        (
            &[
                ("sec-fetch-site", "cross-site"),
                ("sec-fetch-mode", "navigate"),
                ("sec-fetch-dest", "iframe"),
            ],
            false,
        ),
        (&[("origin", "http://club.example"), ("accept", "*/*")], false),
        (&[("origin", "null")], false),
        (&[("referer", other), ("accept", "image/avif,image/webp,*/*")], false),
        (&[("referer", other), ("accept", "text/html,application/xhtml+xml")], true),
        (
            &[
                ("sec-fetch-site", "cross-site"),
                ("sec-fetch-mode", "navigate"),
                ("sec-fetch-dest", "document"),
            ],
            true,
        ),
        (&[("sec-fetch-site", "same-origin"), ("sec-fetch-mode", "cors")], true),
        (&[("sec-fetch-site", "none")], true),
        (&[("origin", own.as_str())], true),
        (&[("referer", &format!("{own}/banks"))], true),
        (&[], true),
    ] {
        let got = ask(headers).await;
        let want = if well { StatusCode::OK } else { StatusCode::FORBIDDEN };
        assert_eq!(got.status, want, "{headers:?}: {}", got.text);
    }
}
