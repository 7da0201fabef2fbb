//! The streams, read as a browser reads them.

use std::{sync::Arc, time::Duration};

use axum::{
    body::{Body, BodyDataStream},
    extract::ConnectInfo,
    http::StatusCode,
};
use futures_util::StreamExt;
use reckon::time::Mono;

use crate::{
    past,
    rig::{Rig, get},
    scenes,
};

/// The events in a stretch of stream: WHATWG HTML section 9.2.6, 'interpreting an event stream'.
#[derive(Default)]
struct Reader {
    buffer: String,
    data: Vec<String>,
    events: Vec<String>,
    comments: usize,
}

impl Reader {
    fn feed(&mut self, bytes: &[u8]) {
        self.buffer.push_str(std::str::from_utf8(bytes).unwrap());
        while let Some(end) = self.buffer.find('\n') {
            let line: String = self.buffer.drain(..=end).collect();
            self.line(line.trim_end_matches(['\n', '\r']));
        }
    }

    fn line(&mut self, line: &str) {
        if line.is_empty() {
            if !self.data.is_empty() {
                self.events.push(std::mem::take(&mut self.data).join("\n"));
            }
            return;
        }
        let (field, value) = line.split_once(':').unwrap_or((line, ""));
        match field {
            "" => self.comments += 1,
            "data" => self.data.push(value.strip_prefix(' ').unwrap_or(value).to_owned()),
            "event" | "id" | "retry" => {}
            other => panic!("no such field in an event stream: {other}"),
        }
    }
}

async fn open(rig: &Rig, path: &str) -> BodyDataStream {
    let response = rig.raw(get(path).body(Body::empty()).unwrap()).await;
    assert_eq!(response.status(), StatusCode::OK);
    assert_eq!(response.headers()["content-type"], "text/event-stream");
    assert_eq!(response.headers()["cache-control"], "no-store");
    response.into_body().into_data_stream()
}

fn at(rig: &Rig, seconds: f64, watts: f64) {
    let mut made = scenes::scene("fine").unwrap();
    made.at.mono = Mono::at_s(seconds);
    made.draw.now = reckon::units::Watts::new(watts);
    made.supply.power = Ok(made.draw.now.unwrap());
    rig.now.send(Arc::new(made)).unwrap();
}

#[tokio::test(start_paused = true)]
async fn one_snapshot_an_event() {
    let rig = Rig::of("fine");
    let mut stream = open(&rig, "/api/v1/stream").await;
    let mut reader = Reader::default();
    reader.feed(&stream.next().await.unwrap().unwrap());
    assert_eq!(reader.events.len(), 1, "the newest comes at once");
    assert_eq!(reader.events[0], rig.get("/api/v1/now").await.text);
    at(&rig, 11_401.0, 4.4);
    reader.feed(&stream.next().await.unwrap().unwrap());
    let event: serde_json::Value = serde_json::from_str(&reader.events[1]).unwrap();
    assert_eq!(event["up_s"], 11_401.0);
    // Silence: comments keep the line open.
    reader.feed(&stream.next().await.unwrap().unwrap());
    assert_eq!((reader.events.len(), reader.comments), (2, 1));
    // A slow phone finds the newest, not a queue.
    for second in 0..50 {
        at(&rig, 11_402.0 + f64::from(second), 4.0);
    }
    reader.feed(&stream.next().await.unwrap().unwrap());
    let event: serde_json::Value = serde_json::from_str(&reader.events[2]).unwrap();
    assert_eq!(event["up_s"], 11_451.0);
}

#[tokio::test(start_paused = true)]
async fn the_page_hears_what_changed_and_no_more() {
    let rig = Rig::of("fine");
    let mut stream = open(&rig, "/live").await;
    let mut reader = Reader::default();
    reader.feed(&stream.next().await.unwrap().unwrap());
    let all: serde_json::Value = serde_json::from_str(&reader.events[0]).unwrap();
    let page = rig.get("/").await.text;
    assert_eq!(all["at"], 11_400.0, "the snapshot's own time");
    assert!(page.contains("data-at=11400 "), "{page}");
    assert!(page.contains(&format!("<title>{}</title>", all["title"].as_str().unwrap())));
    for (id, html) in
        all.as_object().unwrap().iter().filter(|(id, _)| *id != "at" && *id != "title")
    {
        assert!(page.contains(&format!("<div id={id}")), "{id} has no place on the page");
        assert!(id == "spoken" || page.contains(html.as_str().unwrap()), "{id} differs");
    }
    // Too soon after the last: passed over; the next one tells only what differs.
    at(&rig, 11_401.0, 4.2);
    assert!(
        tokio::time::timeout(Duration::from_secs(5), stream.next()).await.is_err(),
        "the page was told again within two seconds"
    );
    at(&rig, 11_403.0, 4.4);
    reader.feed(&stream.next().await.unwrap().unwrap());
    let some: serde_json::Value = serde_json::from_str(&reader.events[1]).unwrap();
    assert!(some["more"].as_str().unwrap().contains("4.4\u{a0}W"));
    for quiet in ["answer", "spoken", "doing", "finish"] {
        assert!(some.get(quiet).is_none(), "{quiet} was sent though nothing in it changed");
    }
}

#[tokio::test(start_paused = true)]
async fn a_test_appears_and_goes_without_a_new_page() {
    let quiet = past::record_status(false);
    let (told, record_status) = tokio::sync::watch::channel(Arc::new(quiet.clone()));
    let rig = Rig::with("fine", |shown| shown.record_status = record_status);
    let mut stream = open(&rig, "/live").await;
    let mut reader = Reader::default();
    reader.feed(&stream.next().await.unwrap().unwrap());
    let mut more = async |second: f64| {
        at(&rig, 11_400.0 + second, 4.0);
        reader.feed(&stream.next().await.unwrap().unwrap());
        let last: serde_json::Value = serde_json::from_str(reader.events.last().unwrap()).unwrap();
        last.get("more").map(|html| html.as_str().unwrap().to_owned())
    };
    assert!(!more(3.0).await.unwrap_or_default().contains("test"), "no test is on");
    told.send(Arc::new(past::record_status(true))).unwrap();
    let all = more(6.0).await.unwrap();
    assert!(all.contains("A run-down test is running"), "{all}");
    // The promise of the record: a file that could not be read is named on the page.
    let aside = &past::record_status(true).set_aside[0];
    assert!(all.contains(&aside.path) && all.contains(&aside.why), "{all}");
    assert!(rig.get("/").await.text.contains(&all), "the page loaded anew shows the same");
    told.send(Arc::new(quiet)).unwrap();
    assert!(!more(9.0).await.unwrap().contains("test"), "over");
}

#[tokio::test(start_paused = true)]
async fn a_question_comes_stands_still_and_goes_without_a_new_page() {
    let rig = Rig::of("fine");
    let mut stream = open(&rig, "/live").await;
    let mut reader = Reader::default();
    reader.feed(&stream.next().await.unwrap().unwrap());
    let mut sent = async |scene: &str, second: f64| {
        let mut next = scenes::scene(scene).unwrap();
        next.at.mono = Mono::at_s(11_400.0 + second);
        next.at.wall = next.at.wall.plus_s(second);
        rig.now.send(Arc::new(next)).unwrap();
        reader.feed(&stream.next().await.unwrap().unwrap());
        let last: serde_json::Value = serde_json::from_str(reader.events.last().unwrap()).unwrap();
        let part = |id: &str| last.get(id).map(|html| html.as_str().unwrap().to_owned());
        (part("asked"), part("held"))
    };
    let (asked, held) = sent("swapped", 3.0).await;
    assert!(asked.unwrap().contains("Another bank?</h2>"));
    assert_eq!(held, None);
    // Half a minute on, nothing of it has changed: it is not put in again under a thumb.
    for second in [6.0, 9.0, 30.0] {
        assert_eq!(sent("swapped", second).await, (None, None), "{second} s");
    }
    let (asked, held) = sent("held", 33.0).await;
    assert_eq!(asked.as_deref(), Some(""));
    assert!(held.unwrap().contains("href=\"/answer/swapped\">Change"));
    assert!(!sent("fine", 36.0).await.1.unwrap().contains("/answer/"));
}

#[tokio::test]
async fn one_phone_cannot_take_all_views() {
    let rig = Rig::of("fine");
    let from = |last: u8| {
        let address = std::net::SocketAddr::from(([192, 0, 2, last], 40_000));
        get("/api/v1/stream").extension(ConnectInfo(address)).body(Body::empty()).unwrap()
    };
    let mut open = Vec::new();
    let refused = loop {
        let response = rig.raw(from(1)).await;
        if response.status() != StatusCode::OK {
            break response;
        }
        open.push(response);
        assert!(open.len() < 20, "no bound");
    };
    assert_eq!(refused.status(), StatusCode::SERVICE_UNAVAILABLE);
    assert!(refused.headers().contains_key("retry-after"));
    assert_eq!(rig.raw(from(2)).await.status(), StatusCode::OK, "another phone still can");
    open.pop();
    assert_eq!(rig.raw(from(1)).await.status(), StatusCode::OK, "a closed view frees its seat");
}

#[tokio::test]
async fn a_stream_ends_with_the_daemon() {
    let Rig { app, now, .. } = Rig::of("fine");
    let request = get("/api/v1/stream").body(Body::empty()).unwrap();
    let response = tower::ServiceExt::oneshot(app, request).await.unwrap();
    let mut stream = response.into_body().into_data_stream();
    assert!(stream.next().await.is_some());
    drop(now);
    assert!(stream.next().await.is_none());
}
