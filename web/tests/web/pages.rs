//! Every route, what it answers with, and that the markup is sound.

use std::collections::HashSet;

use axum::{
    body::Body,
    http::{Method, Request, StatusCode, header},
};

use crate::{
    rig::{HOST, Rig, form, get, json},
    scenes,
};

const PAGES: [&str; 3] = ["/", "/station", "/pair"];

#[tokio::test]
async fn every_page_of_every_scene_is_sound_markup() {
    for scene in scenes::ALL {
        let rig = Rig::of(scene);
        for path in PAGES {
            let got = rig.get(path).await;
            assert_eq!(got.status, StatusCode::OK, "{scene}{path}");
            assert_eq!(got.header("content-type"), "text/html; charset=utf-8");
            sound(&got.text, &format!("{scene}{path}"));
        }
        let got = rig.get("/nothing").await;
        sound(&got.text, "not found");
    }
}

/// Elements that have no end tag (WHATWG HTML section 13.1.2).
const VOID: [&str; 5] = ["meta", "link", "input", "br", "hr"];

/// Tags closed in order, each id once, each label and reference with its target, each field named.
fn sound(html: &str, whose: &str) {
    let mut open: Vec<String> = Vec::new();
    let mut ids = HashSet::new();
    let mut wanted = Vec::new();
    let mut fields = Vec::new();
    let mut labelled = HashSet::new();
    let mut rest = html;
    while let Some(start) = rest.find('<') {
        rest = &rest[start + 1..];
        let end = rest.find('>').unwrap_or_else(|| panic!("{whose}: a tag without end"));
        let (tag, after) = (&rest[..end], &rest[end + 1..]);
        rest = after;
        if tag.starts_with('!') {
            continue;
        }
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name), "{whose}: </{name}> after {open:?}");
            continue;
        }
        let name = tag.split([' ', '/', '\n']).next().unwrap().to_owned();
        let (attributes, closed) = attributes(tag);
        let value = |key: &str| {
            attributes.iter().find(|(name, _)| name == key).map(|(_, value)| value.clone())
        };
        if let Some(id) = value("id") {
            assert!(ids.insert(id.clone()), "{whose}: the id {id} stands twice");
        }
        assert!(value("style").is_none(), "{whose}: the policy allows no style in markup: {tag}");
        assert!(!attributes.iter().any(|(name, _)| name.starts_with("on")), "{whose}: {tag}");
        wanted.extend(
            value("aria-labelledby")
                .iter()
                .flat_map(|ids| ids.split(' ').map(str::to_owned).collect::<Vec<_>>()),
        );
        if name == "label" {
            let target = value("for").unwrap_or_else(|| panic!("{whose}: a label for nothing"));
            labelled.insert(target.clone());
            wanted.push(target);
        }
        if matches!(name.as_str(), "input" | "select") && value("type").as_deref() != Some("hidden")
        {
            fields
                .push(value("id").unwrap_or_else(|| panic!("{whose}: a field without id: {tag}")));
        }
        if name == "form" {
            // Only what asks before it changes anything is fetched.
            let asks = value("action").as_deref() == Some("/bank");
            let method = value("method");
            let method = method.as_deref();
            assert!(method == Some("post") || asks && method == Some("get"), "{whose}: {tag}");
        }
        if matches!(name.as_str(), "style" | "script") {
            let end = rest.find(&format!("</{name}>")).unwrap();
            rest = &rest[end + name.len() + 3..];
            continue;
        }
        if !closed && !VOID.contains(&name.as_str()) {
            open.push(name);
        }
    }
    assert!(open.is_empty(), "{whose}: left open: {open:?}");
    for id in wanted {
        assert!(ids.contains(&id), "{whose}: nothing has the id {id}");
    }
    for id in fields {
        assert!(labelled.contains(&id), "{whose}: the field {id} has no label");
    }
}

/// Name and value of each attribute, and whether the tag closes itself.
fn attributes(tag: &str) -> (Vec<(String, String)>, bool) {
    // In HTML `href=/>` ends an unquoted value with the slash in it; only ` />` and `"/>` close.
    let closed = tag.ends_with(" /") || tag.ends_with("\"/");
    let body = if closed { tag.trim_end_matches('/') } else { tag };
    let mut made = Vec::new();
    let mut rest = body.find([' ', '\n']).map_or("", |at| &body[at + 1..]).trim_start();
    while !rest.is_empty() {
        let end = rest.find(['=', ' ', '\n']).unwrap_or(rest.len());
        let (name, after) = rest.split_at(end);
        if let Some(after) = after.strip_prefix('=') {
            let (value, after) = match after.strip_prefix('"') {
                Some(quoted) => quoted.split_once('"').expect("an open quote"),
                None => after.split_at(after.find([' ', '\n']).unwrap_or(after.len())),
            };
            assert!(
                after.is_empty() || after.starts_with([' ', '\n']),
                "attributes run into each other: {tag}"
            );
            made.push((name.to_owned(), value.to_owned()));
            rest = after.trim_start();
        } else {
            made.push((name.to_owned(), String::new()));
            rest = after.trim_start();
        }
    }
    (made, closed)
}

#[tokio::test]
async fn names_given_by_people_cannot_become_markup() {
    let rig = Rig::of("fine");
    let mut made = scenes::scene("fine").unwrap();
    let evil = "\"><script>alert(1)</script>&amp;'";
    made.station = evil.to_owned();
    made.outing = Some(evil.to_owned());
    made.activities[1].name = "contacts".to_owned();
    made.activities[0].name = evil.to_owned();
    made.bank_choices = std::sync::Arc::from(vec![reckon::bank::BankSpec {
        name: evil.to_owned(),
        ..scenes::blue_ten()
    }]);
    rig.now.send(std::sync::Arc::new(made)).unwrap();
    for path in PAGES {
        let got = rig.get(path).await;
        assert!(!got.text.contains("<script>alert"), "{path}");
        // The name goes back as it was given, whatever the button shows.
        assert!(path != "/" || got.text.contains("value=\"contacts\""), "{path}");
        sound(&got.text, path);
    }
}

#[tokio::test]
async fn the_first_view_fits_one_round_trip() {
    // RFC 6928: ten segments of 1460 bytes in the first flight, 14 600 bytes with the headers.
    for scene in scenes::ALL {
        let rig = Rig::of(scene);
        let request = get("/").header(header::ACCEPT_ENCODING, "br, gzip;q=0.8");
        let response = rig.raw(request.body(Body::empty()).unwrap()).await;
        assert_eq!(response.headers()["content-encoding"], "gzip");
        let packed = axum::body::to_bytes(response.into_body(), 1 << 20).await.unwrap();
        assert!(packed.len() <= 14_000, "{scene}: {} bytes", packed.len());
        let mut page = String::new();
        std::io::Read::read_to_string(&mut flate2::read::GzDecoder::new(&*packed), &mut page)
            .unwrap();
        assert_eq!(page, rig.get("/").await.text, "{scene}");
        // All in: nothing else is fetched before the page stands.
        for fetched in ["<link", "src=", "@import", "url(http", "//fonts"] {
            assert!(!page.contains(fetched), "{scene}: {fetched}");
        }
    }
    let refused = get("/").header(header::ACCEPT_ENCODING, "gzip;q=0");
    let rig = Rig::of("fine");
    let got = rig.send(refused.body(Body::empty()).unwrap()).await;
    assert_eq!(got.header("content-encoding"), "");
}

#[tokio::test]
async fn whatever_is_whole_is_packed_and_a_stream_is_not() {
    let rig = Rig::of("fine");
    let style = rig.get("/station").await.text;
    let style = style.split("href=").nth(1).unwrap().split('>').next().unwrap().to_owned();
    let whole = ["/station", "/outings", "/outings/29", "/banks", "/outings/29.html", &style];
    for path in
        whole.into_iter().chain(["/api/v1/now", "/api/v1/outings/29", "/api/v1/openapi.json"])
    {
        let request = get(path).header(header::ACCEPT_ENCODING, "gzip, deflate");
        let response = rig.raw(request.body(Body::empty()).unwrap()).await;
        assert_eq!(response.status(), StatusCode::OK, "{path}");
        assert_eq!(response.headers()["content-encoding"], "gzip", "{path}");
        assert!(response.headers()["vary"].to_str().unwrap().contains("accept-encoding"), "{path}");
        let packed = axum::body::to_bytes(response.into_body(), 1 << 20).await.unwrap();
        let mut text = String::new();
        std::io::Read::read_to_string(&mut flate2::read::GzDecoder::new(&*packed), &mut text)
            .unwrap();
        let plain = rig.get(path).await;
        assert_eq!((plain.header("content-encoding"), &plain.text), ("", &text), "{path}");
        assert!(plain.header("vary").contains("accept-encoding"), "{path}");
    }
    for path in ["/live", "/api/v1/stream"] {
        let request = get(path).header(header::ACCEPT_ENCODING, "gzip");
        let response = rig.raw(request.body(Body::empty()).unwrap()).await;
        assert_eq!(response.headers().get("content-encoding"), None, "{path}");
    }
}

#[tokio::test]
async fn nothing_needs_a_script() {
    let page = Rig::of("fine").get("/").await.text;
    let body = page.split_once("<body>").unwrap().1.split("<script>").next().unwrap();
    for there in ["6\u{a0}h\u{a0}40", "<svg class=line", "action=/activity", "action=/finish"] {
        assert!(body.contains(there), "{there}");
    }
    assert!(page.contains("<noscript><meta http-equiv=refresh"));
}

#[tokio::test]
async fn the_drawing_says_in_words_what_it_shows() {
    let page = Rig::of("fine").get("/").await.text;
    let said = page.split_once("<desc id=day-d>").unwrap().1.split("</desc>").next().unwrap();
    for part in ["since 08:40", "one event", "17:00", "6\u{a0}h\u{a0}40"] {
        assert!(said.contains(part), "{part} missing: {said}");
    }
}

#[tokio::test]
async fn what_is_made_up_says_so() {
    for path in ["/", "/station", "/outings", "/outings/30", "/banks", "/pair"] {
        let demo = Rig::of("demo").get(path).await.text;
        assert_eq!(demo.matches("made up").count(), 1, "{path}");
        assert!(!Rig::of("fine").get(path).await.text.contains("made up"), "{path}");
    }
}

#[tokio::test]
async fn nothing_real_can_be_paused() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let got = rig.send(form("/demo", "ask=pause", &ticket)).await;
    assert_eq!(got.status, StatusCode::NOT_FOUND, "{}", got.text);
    for path in ["/", "/station", "/outings"] {
        assert!(!rig.get(path).await.text.contains("action=/demo"), "{path}");
        assert!(Rig::of("demo").get(path).await.text.contains("action=/demo"), "{path}");
    }
}

#[tokio::test]
async fn style_and_script_are_kept_for_ever_under_their_hash() {
    let rig = Rig::of("fine");
    let page = rig.get("/station").await.text;
    let paths: Vec<&str> = page
        .split("<link rel=stylesheet href=")
        .skip(1)
        .map(|rest| rest.split('>').next().unwrap())
        .collect();
    assert_eq!(paths.len(), 2, "one that Now carries, one that it does without");
    let now = rig.get("/").await.text;
    for (path, in_now) in paths.into_iter().zip([true, false]) {
        let got = rig.get(path).await;
        assert_eq!(got.status, StatusCode::OK);
        assert_eq!(got.header("content-type"), "text/css; charset=utf-8");
        // RFC 8246: immutable.
        assert_eq!(got.header("cache-control"), "public, max-age=31536000, immutable");
        assert_eq!(now.contains(&got.text), in_now, "{path}");
        assert!(!now.contains(path), "{path}");
    }
}

#[tokio::test]
async fn every_answer_carries_the_policy() {
    let rig = Rig::of("fine");
    for path in ["/", "/station", "/pair", "/nothing", "/api/v1/now", "/favicon.ico"] {
        let got = rig.get(path).await;
        let policy = got.header("content-security-policy").to_owned();
        // W3C CSP Level 3; no 'unsafe-inline' anywhere.
        assert!(policy.starts_with("default-src 'none'; "), "{path}: {policy}");
        assert!(policy.contains("frame-ancestors 'none'"), "{policy}");
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(got.header("x-content-type-options"), "nosniff");
        assert_eq!(got.header("referrer-policy"), "same-origin");
    }
}

#[tokio::test]
async fn the_policy_lets_our_own_style_and_script_in() {
    use base64::{Engine, engine::general_purpose::STANDARD};
    use sha2::{Digest, Sha256};
    let got = Rig::of("fine").get("/").await;
    for (tag, directive) in [("style", "style-src"), ("script", "script-src")] {
        let (_, rest) = got.text.split_once(&format!("<{tag}>")).unwrap();
        let text = rest.split(&format!("</{tag}>")).next().unwrap();
        // CSP Level 3 section 6.7.3.3: the hash is of the element's text.
        let hash = STANDARD.encode(Sha256::digest(text.as_bytes()));
        let policy = got.header("content-security-policy");
        let source = policy.split("; ").find(|part| part.starts_with(directive)).unwrap();
        assert!(source.contains(&format!("'sha256-{hash}'")), "{source}");
    }
}

#[tokio::test]
async fn failures_are_dressed_for_whoever_asked() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let huge = format!("name={}", "x".repeat(20_000));
    let huge_json = format!("{{\"name\":\"{}\"}}", "x".repeat(20_000));
    let with = |method: Method, path: &str| {
        Request::builder().method(method).uri(path).header(header::HOST, HOST).body(Body::empty())
    };
    let plain = |path: &str| {
        Request::builder()
            .method(Method::POST)
            .uri(path)
            .header(header::HOST, HOST)
            .header(header::ORIGIN, format!("http://{HOST}"))
            .header(header::COOKIE, &ticket)
            .header(header::CONTENT_TYPE, "text/plain")
            .body(Body::from("{}"))
    };
    for (request, status, code) in [
        (with(Method::GET, "/api/v1/nothing").unwrap(), 404, "not-found"),
        (with(Method::PUT, "/api/v1/now").unwrap(), 405, "wrong-method"),
        (json("/api/v1/outing", &huge_json, &ticket), 413, "too-large"),
        (plain("/api/v1/outing").unwrap(), 415, "wrong-type"),
        (json("/api/v1/outing", "{", &ticket), 400, "bad-request"),
        (json("/api/v1/outing", r#"{"nmae":"x"}"#, &ticket), 422, "bad-request"),
        (json("/api/v1/activity", r#"{"name":"Sleeping"}"#, &ticket), 422, "no-such-activity"),
        (
            json("/api/v1/alarms/sleep", r#"{"alarm":7,"since_s":1,"for_s":60}"#, &ticket),
            409,
            "alarm-gone",
        ),
    ] {
        let path = request.uri().path().to_owned();
        let got = rig.send(request).await;
        assert_eq!(got.status.as_u16(), status, "{code}: {}", got.text);
        assert_eq!(got.header("content-type"), "application/problem+json", "{code}");
        // RFC 9457 section 3.1: type, title, status, detail, instance.
        let problem = got.json();
        assert!(problem["type"].as_str().unwrap().ends_with(code), "{problem}");
        assert!(!problem["title"].as_str().unwrap().is_empty(), "{problem}");
        assert_eq!(problem["status"], status, "the member repeats the status of the response");
        assert!(problem["detail"].as_str().unwrap().ends_with('.'), "{problem}");
        assert_eq!(problem["instance"], path);
        assert_eq!(problem["code"], code);
    }
    for (request, status, say) in [
        (with(Method::GET, "/nothing").unwrap(), 404, "nothing at this address"),
        (with(Method::DELETE, "/").unwrap(), 405, "does not accept this method"),
        (with(Method::GET, "/bank").unwrap(), 422, "no bank of that name"),
        (with(Method::GET, "/bank?bank=Green+nine").unwrap(), 422, "no bank of that name"),
        (with(Method::GET, "/answer").unwrap(), 405, "does not accept this method"),
        (with(Method::GET, "/answer/since-last").unwrap(), 404, "no longer open"),
        (with(Method::GET, "/answer/perhaps").unwrap(), 404, "no longer open"),
        (form("/outing", &huge, &ticket), 413, "othing was changed"),
        (plain("/outing").unwrap(), 415, "Nothing was changed"),
        (form("/finish", "", &ticket), 422, "when you want to finish"),
        (form("/bank", "label_mah=lots", &ticket), 422, "must be a number"),
    ] {
        let got = rig.send(request).await;
        assert_eq!(got.status.as_u16(), status, "{}", got.text);
        assert_eq!(got.header("content-type"), "text/html; charset=utf-8");
        assert!(got.text.contains(say), "{status}: {}", got.text);
        assert!(got.text.contains("class=button href="), "a way on: {}", got.text);
        sound(&got.text, say);
    }
    // RFC 9110 section 15.5.6: a 405 names what is allowed.
    let got = rig.send(with(Method::PUT, "/api/v1/now").unwrap()).await;
    assert!(got.header("allow").contains("GET"), "{:?}", got.headers);
}

#[tokio::test]
async fn a_look_is_chosen_with_one_tap() {
    let rig = Rig::of("fine");
    for (look, marked) in [("paper", true), ("dusk", true), ("night", true), ("auto", false)] {
        let got = rig.send(form("/look", &format!("look={look}"), "")).await;
        assert_eq!(got.status, StatusCode::SEE_OTHER);
        let cookie = got.header("set-cookie").split(';').next().unwrap().to_owned();
        let page = rig
            .send(get("/").header(header::COOKIE, cookie).body(Body::empty()).unwrap())
            .await
            .text;
        assert_eq!(page.contains(&format!("<html lang=en data-look={look}>")), marked, "{look}");
    }
    let got = rig.send(form("/look", "look=neon", "")).await;
    assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test]
async fn the_night_look_can_be_dimmed_by_a_tap_and_brightened_by_another() {
    let rig = Rig::of("fine");
    let seen = async |look: &str| {
        let request = get("/outings").header(header::COOKIE, format!("look={look}"));
        rig.send(request.body(Body::empty()).unwrap()).await.text
    };
    let night = seen("night").await;
    assert!(night.contains("data-look=night>"), "the usual night");
    assert!(night.contains("<button name=look value=dimmest>Dimmer</button>"));
    let dimmest = seen("dimmest").await;
    assert!(dimmest.contains("data-look=night data-dim>"));
    assert!(dimmest.contains("<button name=look value=night>Brighter</button>"));
    for look in ["paper", "dusk", "auto"] {
        assert!(!seen(look).await.contains("class=dimmer"), "{look}");
    }
    // The tap leads back to the page that it was made on, and to no other site's.
    for (from, to) in [
        (format!("http://{HOST}/outings/30?from=1"), "/outings/30?from=1"),
        (format!("https://{HOST}/"), "/"),
        (format!("http://{HOST}/outingsx"), "/station"),
        (format!("http://{HOST}/activity"), "/station"),
        (format!("http://{HOST}//elsewhere.example/banks"), "/station"),
        ("http://elsewhere.example/outings".to_owned(), "/station"),
        (format!("http://{HOST}.example/outings"), "/station"),
    ] {
        let mut asked = form("/look", "look=dimmest", "");
        asked.headers_mut().insert(header::REFERER, from.parse().unwrap());
        let got = rig.send(asked).await;
        assert_eq!(got.header("location"), to, "{from}");
    }
}

#[tokio::test]
async fn the_little_things() {
    let rig = Rig::of("fine");
    assert_eq!(rig.get("/favicon.ico").await.status, StatusCode::NO_CONTENT);
    let head = Request::builder()
        .method(Method::HEAD)
        .uri("/")
        .header(header::HOST, HOST)
        .body(Body::empty())
        .unwrap();
    assert_eq!(rig.send(head).await.status, StatusCode::OK);
    let got = rig.get("/api/v1/now").await;
    assert_eq!(got.header("content-type"), "application/json");
    assert_eq!(got.header("cache-control"), "no-store");
    assert_eq!(got.json()["station"], "Heron");
}
