//! A phone that sends rubbish, floods, stalls, or makes a page fall.

use std::{convert::Infallible, sync::Arc, time::Duration};

use axum::{
    body::{Body, Bytes},
    http::{Method, Request, StatusCode, header},
};
use futures_util::stream;
use proptest::prelude::*;
use tokio::sync::{mpsc, watch};
use tower::ServiceExt;
use web::{Pairing, Shown};

use crate::{
    rig::{HOST, Rig, form, get},
    scenes,
};

const POSTS: [&str; 13] = [
    "/bank",
    "/finish",
    "/activity",
    "/alarm",
    "/outing",
    "/look",
    "/pair",
    "/api/v1/bank",
    "/api/v1/finish",
    "/api/v1/activity",
    "/api/v1/alarms/sleep",
    "/api/v1/outing",
    "/api/v1/pair",
];
const KINDS: [&str; 4] =
    ["application/x-www-form-urlencoded", "application/json", "text/plain", "multipart/form-data"];

/// Rubbish that looks like something: fields of ours with values that are not.
fn nearly() -> impl Strategy<Value = Vec<u8>> {
    let field = prop_oneof![
        Just("bank"),
        Just("name"),
        Just("label_mah"),
        Just("series"),
        Just("start"),
        Just("level_percent"),
        Just("after_min"),
        Just("shift_min"),
        Just("at"),
        Just("alarm"),
        Just("since_s"),
        Just("for_s"),
        Just("code"),
        Just("look"),
        Just("cells"),
    ];
    let value = prop_oneof![
        Just("-1".to_owned()),
        Just("NaN".to_owned()),
        Just("1e999".to_owned()),
        Just("1e300".to_owned()),
        Just("-1e300".to_owned()),
        Just("99:99".to_owned()),
        Just("Blue+ten".to_owned()),
        Just("%ff%00".to_owned()),
        "[a-z0-9:%+.-]{0,40}",
    ];
    prop::collection::vec((field, value), 0..8).prop_map(|pairs| {
        let text: Vec<String> = pairs.iter().map(|(name, it)| format!("{name}={it}")).collect();
        text.join("&").into_bytes()
    })
}

fn nearly_json() -> impl Strategy<Value = Vec<u8>> {
    let value = prop_oneof![
        Just("null".to_owned()),
        Just("-1".to_owned()),
        Just("1e308".to_owned()),
        Just("\"Blue ten\"".to_owned()),
        Just("[]".to_owned()),
        Just("{}".to_owned()),
    ];
    let field = prop_oneof![
        Just("bank"),
        Just("spec"),
        Just("start"),
        Just("start_level"),
        Just("after_s"),
        Just("name"),
        Just("alarm"),
        Just("since_s"),
        Just("for_s"),
        Just("code"),
    ];
    prop::collection::vec((field, value), 0..4).prop_map(|pairs| {
        let text: Vec<String> = pairs.iter().map(|(name, it)| format!("\"{name}\":{it}")).collect();
        format!("{{{}}}", text.join(",")).into_bytes()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn rubbish_is_refused_in_words(
        body in prop_oneof![prop::collection::vec(any::<u8>(), 0..2000), nearly(), nearly_json()],
    ) {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
        runtime.block_on(async {
            let rig = Rig::of("alarm");
            let ticket = rig.ticket().await;
            for path in POSTS {
                for kind in KINDS {
                    let request = Request::builder()
                        .method(Method::POST)
                        .uri(path)
                        .header(header::HOST, HOST)
                        .header(header::ORIGIN, format!("http://{HOST}"))
                        .header(header::CONTENT_TYPE, kind)
                        .header(header::COOKIE, &ticket)
                        .body(Body::from(body.clone()))
                        .unwrap();
                    let got = rig.send(request).await;
                    prop_assert!(!got.status.is_server_error(), "{path} {kind}: {}", got.status);
                    if got.status.is_client_error() {
                        prop_assert!(!got.text.is_empty(), "{path} {kind}: no words");
                    }
                }
            }
            Ok(())
        })?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    /// Whatever the engine hands over, the page stands and its drawing holds real numbers.
    #[test]
    fn no_snapshot_makes_a_page_fall(
        (low, more, most) in (0.0..1e9_f64, 0.0..1e7_f64, 0.0..1e12_f64),
        (now_s, began_s) in (0.0..1e7_f64, 0.0..1e7_f64),
        finish_s in prop::option::of(0.0..1e8_f64),
        wall_ms in any::<i64>(),
        known in any::<bool>(),
        step_s in any::<u32>(),
        watts in prop::collection::vec(prop::option::of(any::<f32>()), 0..400),
    ) {
        use reckon::{forecast::Outlook, snapshot::Trail, time::{Mono, Trust, Wall}, units::Seconds};
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
        runtime.block_on(async {
            let rig = Rig::of("fine");
            let mut made = scenes::scene("fine").unwrap();
            made.at.mono = Mono::at_s(now_s);
            made.at.wall = Wall::from_unix_ms(wall_ms);
            made.at.trust = if known { Trust::Phone } else { Trust::Unset };
            made.outing_began = Mono::at_s(began_s);
            if let Outlook::Lasts(forecast) = &mut made.outlook {
                forecast.remaining = [low, low + more, low + more + most].map(Seconds::of);
            }
            made.finish = made.finish.and_then(|finish| {
                finish_s.map(|at_s| reckon::snapshot::FinishView { at: Mono::at_s(at_s), ..finish })
            });
            made.trail = Arc::new(Trail {
                began: Mono::at_s(began_s),
                step_s,
                peak_w: watts.iter().rev().copied().collect(),
                mean_w: watts,
                ticks: vec![Mono::at_s(finish_s.unwrap_or(0.0))],
            });
            rig.now.send(Arc::new(made)).unwrap();
            for path in ["/", "/station", "/api/v1/now", "/metrics"] {
                let got = rig.get(path).await;
                prop_assert_eq!(got.status, StatusCode::OK, "{}", path);
            }
            let page = rig.get("/").await.text;
            let drawing = page.split("<svg class=day").nth(1).unwrap();
            let drawing = drawing.split("</svg>\n").next().unwrap().split("</div>").next().unwrap();
            prop_assert!(!drawing.contains("NaN") && !drawing.contains("inf"), "{}", drawing);
            prop_assert!(page.len() < 60_000, "{} bytes", page.len());
            Ok(())
        })?;
    }
}

#[tokio::test(start_paused = true)]
async fn a_body_that_never_ends_is_given_up() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let drip = stream::pending::<Result<Bytes, Infallible>>();
    let request = Request::builder()
        .method(Method::POST)
        .uri("/api/v1/outing")
        .header(header::HOST, HOST)
        .header(header::CONTENT_TYPE, "application/json")
        .header(header::COOKIE, &ticket)
        .body(Body::from_stream(drip))
        .unwrap();
    let began = tokio::time::Instant::now();
    let got = rig.send(request).await;
    assert_eq!(got.status, StatusCode::REQUEST_TIMEOUT);
    assert_eq!(got.json()["code"], "too-slow");
    assert!(began.elapsed() < Duration::from_secs(15), "{:?}", began.elapsed());
}

#[tokio::test]
async fn a_body_without_announced_length_is_bounded_too() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let flood = stream::repeat(Ok::<_, Infallible>(Bytes::from_static(&[b'x'; 4096])));
    let request = Request::builder()
        .method(Method::POST)
        .uri("/outing")
        .header(header::HOST, HOST)
        .header(header::ORIGIN, format!("http://{HOST}"))
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .header(header::COOKIE, &ticket)
        .body(Body::from_stream(flood))
        .unwrap();
    assert_eq!(rig.send(request).await.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert_eq!(rig.heard(), []);
}

#[tokio::test]
async fn a_fault_costs_that_page_only() {
    let (_keep, now) = watch::channel(Arc::new(scenes::scene("fine").unwrap()));
    let (asks, _hear) = mpsc::channel(1);
    // The generator of codes is what falls here; nothing else asks for it.
    let pairing = Arc::new(Pairing::new([5; 32], || panic!("an invented fault")));
    let app = web::pages(Shown { now, asks, pairing, hosts: vec!["heron.local".to_owned()] });
    let ask = async |path: &str| {
        app.clone().oneshot(get(path).body(Body::empty()).unwrap()).await.unwrap()
    };
    for _ in 0..3 {
        let fell = ask("/pair").await;
        assert_eq!(fell.status(), StatusCode::INTERNAL_SERVER_ERROR);
        let text = axum::body::to_bytes(fell.into_body(), 1 << 20).await.unwrap();
        let text = String::from_utf8_lossy(&text).into_owned();
        assert!(text.contains("measuring and the record go on"), "{text}");
        assert!(!text.contains("an invented fault"), "the cause is for the journal: {text}");
        assert_eq!(ask("/").await.status(), StatusCode::OK);
    }
}

#[tokio::test]
async fn a_brain_that_has_stopped_is_said_and_not_waited_for() {
    let (_keep, now) = watch::channel(Arc::new(scenes::scene("fine").unwrap()));
    let (asks, hear) = mpsc::channel(1);
    drop(hear);
    let pairing = crate::rig::pairing();
    let app = web::socket(Shown { now, asks, pairing, hosts: Vec::new() });
    let got = app.oneshot(form("/finish", "after_min=60", "")).await.unwrap();
    assert_eq!(got.status(), StatusCode::SERVICE_UNAVAILABLE);
    assert!(got.headers().contains_key("retry-after"));
}

#[tokio::test]
async fn wrong_codes_are_slowed_and_told_how_long() {
    let rig = Rig::of("fine");
    let mut last = StatusCode::OK;
    for _ in 0..6 {
        let got = rig.send(form("/pair", "code=000001", "")).await;
        last = got.status;
        if last == StatusCode::TOO_MANY_REQUESTS {
            assert!(got.headers.contains_key("retry-after"));
            assert!(got.text.contains("Try again in"), "{}", got.text);
        }
    }
    assert_eq!(last, StatusCode::TOO_MANY_REQUESTS);
}
