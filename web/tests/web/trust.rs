//! Who may look, who may change, and by which names we answer.

use axum::{
    body::Body,
    http::{Method, Request, StatusCode, header},
};
use web::Pairing;

use crate::rig::{HOST, Rig, form, get, json};

/// Every address that changes something, with a body that would.
const CHANGES: [(&str, &str, bool); 14] = [
    ("/bank", "bank=Long+six&start=full", false),
    ("/finish", "after_min=120", false),
    ("/activity", "name=Receive", false),
    ("/alarm", "alarm=0&since_s=11159.875&for_s=3600", false),
    ("/power-off", "wish=stop", false),
    ("/outing", "name=Old+quarry", false),
    ("/answer", "question=since-last&answer=goes-on", false),
    ("/api/v1/answer", r#"{"question":"how-full","answer":"0.375"}"#, true),
    ("/api/v1/bank", r#"{"bank":"Long six","start":"full"}"#, true),
    ("/api/v1/finish", r#"{"after_s":7200}"#, true),
    ("/api/v1/activity", r#"{"name":"Receive"}"#, true),
    ("/api/v1/power-off", r#"{"wish":"now"}"#, true),
    ("/api/v1/alarms/sleep", r#"{"alarm":0,"since_s":11159.875,"for_s":3600}"#, true),
    ("/api/v1/outing", r#"{"name":"Old quarry"}"#, true),
];

fn change(path: &str, body: &str, is_json: bool, cookie: &str) -> Request<Body> {
    if is_json { json(path, body, cookie) } else { form(path, body, cookie) }
}

#[tokio::test]
async fn everyone_looks_and_only_the_paired_change() {
    let rig = Rig::of("alarm");
    for (path, body, is_json) in CHANGES {
        let got = rig.send(change(path, body, is_json, "")).await;
        assert_eq!(got.status, StatusCode::FORBIDDEN, "{path}");
        assert!(got.text.contains("Pair this phone first"), "{path}: {}", got.text);
        assert_eq!(rig.heard(), [], "{path} reached the engine");
    }
    let ticket = rig.ticket().await;
    for (path, body, is_json) in CHANGES {
        let got = rig.send(change(path, body, is_json, &ticket)).await;
        let want = if is_json { StatusCode::NO_CONTENT } else { StatusCode::SEE_OTHER };
        assert_eq!(got.status, want, "{path}: {}", got.text);
        assert_eq!(rig.heard().len(), 1, "{path} did not reach the engine");
    }
}

#[tokio::test]
async fn on_the_socket_the_folder_is_the_key() {
    let rig = Rig::socket("alarm");
    for (path, body, is_json) in CHANGES {
        let request = Request::builder()
            .method(Method::POST)
            .uri(path)
            .header(
                header::CONTENT_TYPE,
                if is_json { "application/json" } else { "application/x-www-form-urlencoded" },
            )
            .body(Body::from(body))
            .unwrap();
        let got = rig.send(request).await;
        assert!(got.status.is_success() || got.status.is_redirection(), "{path}: {}", got.status);
        assert_eq!(rig.heard().len(), 1, "{path}");
    }
    let pin = rig.get("/api/v1/pin").await.json();
    let code = pin["code"].as_str().unwrap().to_owned();
    assert!(code.len() == 12 && code.bytes().all(|byte| byte.is_ascii_digit()), "{code}");
    assert_eq!(pin["good_for_s"], 300.0);
    assert_eq!(Rig::of("fine").get("/api/v1/pin").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn the_ticket_is_out_of_reach_of_scripts_and_other_sites() {
    let rig = Rig::of("fine");
    let code = rig.pairing.pin(rig.now.borrow().at.mono).code;
    let got = rig.send(form("/pair", &format!("code={}+{}", &code[..3], &code[3..]), "")).await;
    let cookie = got.header("set-cookie").to_owned();
    // RFC 6265 sections 5.2.5, 5.2.6 and the SameSite attribute of RFC 6265bis section 5.6.7.
    for want in ["HttpOnly", "SameSite=Strict", "Path=/", "Max-Age=2592000"] {
        assert!(cookie.contains(want), "{want} missing: {cookie}");
    }
    // Used up: the same code pairs no second phone.
    let again = rig.send(form("/pair", &format!("code={code}"), "")).await;
    assert_eq!(again.status, StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn forged_and_foreign_tickets_are_worthless() {
    let rig = Rig::of("fine");
    let good = rig.ticket().await;
    let value = good.strip_prefix("paired=").unwrap();
    // One letter of the signature turned; signature cut off; the value changed.
    let turned = if value.starts_with('A') { "B" } else { "A" };
    let foreign = {
        let stranger = Pairing::new([9; 32], || [9; 16]);
        let at = rig.now.borrow().at;
        let code = stranger.pin(at.mono).code;
        let jar = stranger.pair(&code, None, None, at).unwrap();
        let response = axum::response::IntoResponse::into_response(jar);
        let set = response.headers()[header::SET_COOKIE].to_str().unwrap().to_owned();
        set.split(';').next().unwrap().to_owned()
    };
    for cookie in [
        format!("paired={turned}{}", &value[1..]),
        "paired=phone-0".to_owned(),
        format!("paired={value}x"),
        format!("look={value}"),
        foreign,
        "paired=".to_owned(),
    ] {
        let got = rig.send(form("/finish", "after_min=60", &cookie)).await;
        assert_eq!(got.status, StatusCode::FORBIDDEN, "{cookie}");
    }
    // Signed with the right key, but of a phone that stands in no list: as are those of before
    // there was one.
    let got = Rig::of("fine").send(form("/finish", "after_min=60", &good)).await;
    assert_eq!(got.status, StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn other_sites_cannot_change_anything() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let send = async |headers: &[(&str, &str)], kind: &str| {
        let mut request = Request::builder()
            .method(Method::POST)
            .uri("/finish")
            .header(header::HOST, HOST)
            .header(header::CONTENT_TYPE, kind)
            .header(header::COOKIE, &ticket);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        rig.send(request.body(Body::from("after_min=60")).unwrap()).await.status
    };
    let plain = "application/x-www-form-urlencoded";
    let own = format!("http://{HOST}");
    // Fetch standard: Origin comes with every POST; an opaque origin is sent as `null`.
    for headers in [
        &[("origin", "http://elsewhere.example")][..],
        &[("origin", "null")],
        &[("origin", "http://heron.local:9999")],
        &[("origin", own.as_str()), ("sec-fetch-site", "cross-site")],
        &[("sec-fetch-site", "same-site")],
        &[("referer", "http://elsewhere.example/heron.local:8073/")],
        &[("referer", "heron.local:8073")],
        &[],
    ] {
        assert_eq!(send(headers, plain).await, StatusCode::FORBIDDEN, "{headers:?}");
    }
    let page = format!("{own}/station");
    for headers in [
        &[("origin", own.as_str())][..],
        &[("referer", page.as_str())],
        &[("sec-fetch-site", "same-origin")],
    ] {
        assert_eq!(send(headers, plain).await, StatusCode::SEE_OTHER, "{headers:?}");
    }
}

#[tokio::test]
async fn only_our_own_names_are_answered() {
    let rig = Rig::of("fine");
    let status = async |host: &str| {
        rig.send(
            Request::builder().uri("/").header(header::HOST, host).body(Body::empty()).unwrap(),
        )
        .await
        .status
    };
    for ours in [
        "heron.local:8073",
        "HERON.LOCAL",
        "heron",
        "heron.local.",
        "localhost:8073",
        "127.0.0.1",
        "192.0.2.7:8073",
        "[2001:db8::7]:8073",
        "[::1]",
    ] {
        assert_eq!(status(ours).await, StatusCode::OK, "{ours}");
    }
    // RFC 9110 section 15.5.20: 421 Misdirected Request.
    for foreign in ["elsewhere.example", "heron.local.elsewhere.example", "192.0.2.7.example:80"] {
        assert_eq!(status(foreign).await, StatusCode::MISDIRECTED_REQUEST, "{foreign}");
    }
    // RFC 9112 section 3.2: 400 for none, several, or one that is no host.
    for broken in ["", "a b", "heron.local@elsewhere.example", "user@heron"] {
        assert_eq!(status(broken).await, StatusCode::BAD_REQUEST, "{broken:?}");
    }
    let none = Request::builder().uri("/").body(Body::empty()).unwrap();
    assert_eq!(rig.send(none).await.status, StatusCode::BAD_REQUEST);
    let two = get("/").header(header::HOST, "elsewhere.example").body(Body::empty()).unwrap();
    assert_eq!(rig.send(two).await.status, StatusCode::BAD_REQUEST);
    let absolute = get("http://elsewhere.example/").body(Body::empty()).unwrap();
    assert_eq!(rig.send(absolute).await.status, StatusCode::MISDIRECTED_REQUEST);
}
