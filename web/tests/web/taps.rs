//! A tap by script: the form that the page would send, answered so that nothing has to load.

use axum::{
    body::Body,
    http::{HeaderValue, Request, StatusCode, header},
};
use reckon::engine::{Command, Refusal};
use tokio::sync::mpsc;

use crate::rig::{Got, Rig, form, post};

const JSON: &str = "application/json";
/// What a browser asks for when it goes to a page: Fetch standard, 'document `Accept` header value'.
const DOCUMENT: &str = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8";

fn accepting(kinds: &'static str, mut request: Request<Body>) -> Request<Body> {
    request.headers_mut().insert(header::ACCEPT, HeaderValue::from_static(kinds));
    request
}

/// RFC 9457 section 3: a problem detail says its status again, and has a media type of its own.
fn problem(got: &Got, status: StatusCode, code: &str) {
    assert_eq!(got.status, status, "{}", got.text);
    assert_eq!(got.header("content-type"), "application/problem+json");
    let told = got.json();
    assert_eq!((&told["status"], &told["code"]), (&status.as_u16().into(), &code.into()));
    assert!(told["detail"].as_str().is_some_and(|say| say.len() > 20), "{told}");
}

#[tokio::test]
async fn a_tap_by_script_is_answered_without_a_page() {
    let rig = Rig::of("alarm");
    let ticket = rig.ticket().await;
    for (path, body) in [
        ("/activity", "name=Receive"),
        ("/finish", "after_min=120"),
        ("/alarm", "alarm=0&since_s=11159.875&for_s=3600"),
        ("/power-off", "wish=stop"),
        ("/answer", "question=since-last&answer=goes-on"),
        ("/bank", "bank=Long+six&start=full"),
    ] {
        let got = rig.send(accepting(JSON, form(path, body, &ticket))).await;
        // RFC 9110 section 15.3.5: nothing to show, stay where you are.
        assert_eq!((got.status, got.text.as_str()), (StatusCode::NO_CONTENT, ""), "{path}");
        assert_eq!(rig.heard().len(), 1, "{path}");
        for kinds in [DOCUMENT, "application/json, text/html", "*/*", "application/jsonx"] {
            let got = rig.send(accepting(kinds, form(path, body, &ticket))).await;
            assert_eq!(got.status, StatusCode::SEE_OTHER, "{path} {kinds}");
            assert_eq!(rig.heard().len(), 1, "{path}");
        }
    }
    let kinds = "application/problem+json;q=0.5, Application/JSON; charset=utf-8";
    let got = rig.send(accepting(kinds, form("/look", "look=night", ""))).await;
    assert_eq!(got.status, StatusCode::NO_CONTENT);
    assert!(got.header("set-cookie").starts_with("look=night"), "{:?}", got.headers);
}

#[tokio::test]
async fn what_a_script_is_refused_it_can_read() {
    let rig = Rig::of("fine");
    let unpaired = rig.send(accepting(JSON, form("/finish", "after_min=60", ""))).await;
    problem(&unpaired, StatusCode::FORBIDDEN, "not-paired");
    let ticket = rig.ticket().await;
    for (path, body, status, code) in [
        ("/finish", "after_min=x", StatusCode::UNPROCESSABLE_ENTITY, "unreadable-field"),
        ("/activity", "name=Sleeping", StatusCode::UNPROCESSABLE_ENTITY, "no-such-activity"),
        ("/alarm", "alarm=0&since_s=1&for_s=3600", StatusCode::CONFLICT, "alarm-gone"),
        ("/nowhere", "", StatusCode::NOT_FOUND, "not-found"),
    ] {
        let got = rig.send(accepting(JSON, form(path, body, &ticket))).await;
        problem(&got, status, code);
        let page = rig.send(accepting(DOCUMENT, form(path, body, &ticket))).await;
        assert_eq!(page.status, status, "{path}");
        assert!(page.text.starts_with("<!doctype html>"), "{path}: {}", page.text);
    }
    // JSON itself is for the programs' addresses.
    let got = rig.send(accepting(JSON, post("/finish", JSON, r#"{"after_s":60}"#, &ticket))).await;
    problem(&got, StatusCode::UNSUPPORTED_MEDIA_TYPE, "wrong-type");
    // Another site's script may set this header without asking first (Fetch standard,
    // 'CORS-safelisted request-header'); where it comes from still counts.
    let mut foreign = accepting(JSON, form("/finish", "after_min=60", &ticket));
    foreign.headers_mut().insert(header::ORIGIN, HeaderValue::from_static("http://elsewhere"));
    problem(&rig.send(foreign).await, StatusCode::FORBIDDEN, "other-origin");
    // The engine heard of what it refused itself, and of nothing else: once by each door.
    let sleeping = Command::Activity { name: Some("Sleeping".to_owned()) };
    assert_eq!(rig.heard(), [sleeping.clone(), sleeping]);
}

#[tokio::test]
async fn what_is_only_in_memory_is_said_to_a_script_too() {
    let (asks, mut asked) = mpsc::channel::<web::Request<Command, Refusal>>(8);
    tokio::spawn(async move {
        while let Some(web::Request { answer, .. }) = asked.recv().await {
            drop(answer.send(Ok(web::Kept::InMemory)));
        }
    });
    let rig = Rig::with("fine", |shown| shown.asks = asks);
    let ticket = rig.ticket().await;
    let got = rig.send(accepting(JSON, form("/finish", "after_min=60", &ticket))).await;
    assert_eq!(got.status, StatusCode::ACCEPTED);
    assert_eq!(got.header("content-type"), JSON);
    assert_eq!(got.json()["kept"], "in_memory");
    assert!(got.json()["text"].as_str().is_some_and(|text| text.ends_with('.')), "{}", got.text);
}
