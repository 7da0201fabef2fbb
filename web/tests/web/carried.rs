//! What is tapped on a phone that is not paired: asked for the code, carried out after it.

use std::time::Duration;

use axum::{
    body::Body,
    http::{HeaderValue, Request, StatusCode, header},
};
use reckon::{engine::Command, power_off::PowerOffAsk, record::RecordCommand};

use crate::rig::{Got, Rig, form, get, post};

/// What the page carries, as a browser would send it again.
fn carried(page: &str) -> Option<String> {
    let (_, rest) = page.split_once("name=then value=\"")?;
    let value = rest.split('"').next()?.replace("&#38;", "&").replace("&amp;", "&");
    Some(value.replace('%', "%25").replace('&', "%26").replace('=', "%3D").replace('+', "%2B"))
}

/// A card that takes no list.
struct Full;

impl web::PhoneKeeper for Full {
    fn keep(&self, _: &[web::Phone]) -> Result<(), String> {
        Err("The card is full.".to_owned())
    }
}

fn good(rig: &Rig) -> String {
    rig.pairing.pin(rig.now.borrow().at.mono).code
}

fn wrong(rig: &Rig) -> String {
    format!("{:012}", (good(rig).parse::<u64>().unwrap() + 1) % 1_000_000_000_000)
}

/// Types this code on the page that asked for it.
async fn types(rig: &Rig, page: &Got, code: &str) -> Got {
    let then = carried(&page.text).map_or_else(String::new, |then| format!("&then={then}"));
    rig.send(form("/pair", &format!("code={code}&name={then}"), "")).await
}

fn ticket(got: &Got) -> String {
    got.header("set-cookie").split(';').next().unwrap().to_owned()
}

#[tokio::test]
async fn a_choice_waits_for_the_code_and_is_carried_out_by_it() {
    let stop = Command::PowerOff(PowerOffAsk::Stop);
    let named = |name: &str| Command::NameOuting { name: name.to_owned() };
    let hours = |hours| Command::Finish { after: Some(Duration::from_hours(hours)) };
    for (path, body, said, want, leads) in [
        (
            "/activity",
            "name=Contacts",
            "Then: Contacts.",
            Command::Activity { name: Some("Contacts".to_owned()) },
            "/",
        ),
        (
            "/activity",
            "name=receive",
            "Then: Receive.",
            Command::Activity { name: Some("receive".to_owned()) },
            "/",
        ),
        ("/activity", "itself=1", "Then: By itself.", Command::ActivityAuto, "/"),
        ("/finish", "after_min=120", "Then: finish in 2 h.", hours(2), "/"),
        ("/power-off", "wish=stop", "Until the code is in, the countdown goes on.", stop, "/"),
        (
            "/outing",
            "name=Old+quarry%2C+in+the+cold",
            "the name Old quarry, in the cold",
            named("Old quarry, in the cold"),
            "/station",
        ),
        (
            "/outing",
            "name=%22%3Cb%3E+%26+%2B1",
            "&#60;b&#62; &#38; +1",
            named("\"<b> & +1"),
            "/station",
        ),
    ] {
        let rig = Rig::of("alarm");
        let asked = rig.send(form(path, body, "")).await;
        assert_eq!(asked.status, StatusCode::FORBIDDEN, "{path}");
        assert!(asked.text.contains("Pair this phone first"), "{path}");
        assert!(asked.text.replace('\u{a0}', " ").contains(said), "{path} {body}: {}", asked.text);
        // One field with the keys for digits, ready: HTML standard, 'inputmode', 'autofocus'.
        let field = asked.text.split("<input id=code").nth(1).unwrap().split('>').next().unwrap();
        assert!(field.contains("inputmode=numeric") && field.contains("autofocus"), "{field}");
        assert_eq!(rig.heard(), [], "{path}: not before the code");
        let done = types(&rig, &asked, &good(&rig)).await;
        assert_eq!(
            (done.status, done.header("location")),
            (StatusCode::SEE_OTHER, leads),
            "{path}: {}",
            done.text
        );
        assert_eq!(rig.heard(), [want], "{path}");
        let again = rig.send(form("/finish", "after_min=60", &ticket(&done))).await;
        assert_eq!(again.status, StatusCode::SEE_OTHER, "the phone is paired");
        assert_eq!(rig.heard().len(), 1, "and nothing is done twice");
    }
}

#[tokio::test]
async fn what_the_record_keeps_is_carried_too() {
    let rig = Rig::of("fine");
    let asked = rig.send(form("/outings/29/ending", "died=yes", "")).await;
    let done = types(&rig, &asked, &good(&rig)).await;
    assert_eq!(done.header("location"), "/outings/29");
    assert_eq!(rig.heard_record(), [RecordCommand::Answer { outing: 29, died: Some(true) }]);
}

#[tokio::test]
async fn a_wrong_code_is_said_above_the_field_and_the_choice_stays() {
    let rig = Rig::of("fine");
    let mut page = rig.send(form("/activity", "name=Contacts", "")).await;
    let (good, wrong) = (good(&rig), wrong(&rig));
    for n in 1..=4 {
        page = types(&rig, &page, &wrong).await;
        assert_eq!(page.status, StatusCode::FORBIDDEN);
        let (above, field) = page.text.split_once("<input id=code").unwrap();
        assert!(above.contains("That code is wrong."), "{above}");
        assert!(!above.contains("Try again in"), "the first four cost nothing: {n}");
        assert!(above.contains("Then: Contacts."), "{above}");
        // A slip is mended where it stands: WCAG 2.2, 3.3.1 and 3.3.7.
        let field = field.split('>').next().unwrap();
        assert!(
            field.contains(&format!("value=\"{wrong}\"")) && field.contains("aria-invalid=true"),
            "{field}"
        );
    }
    page = types(&rig, &page, &wrong).await;
    let said = page.text.replace('\u{a0}', " ");
    assert!(said.contains("That code is wrong.") && said.contains("Try again in 31 s"), "{said}");
    // Not looked at now, and said for how long; the choice is still there.
    page = types(&rig, &page, &good).await;
    assert_eq!(page.status, StatusCode::TOO_MANY_REQUESTS);
    assert_eq!(page.header("retry-after"), "31");
    assert!(
        page.text.contains("Too many wrong codes") && carried(&page.text).is_some(),
        "{}",
        page.text
    );
    assert_eq!(rig.heard(), []);
    let mut later = (**rig.now.borrow()).clone();
    later.at.mono = later.at.mono.plus(Duration::from_secs(31));
    rig.now.send(std::sync::Arc::new(later)).unwrap();
    let done = types(&rig, &page, &good).await;
    assert_eq!((done.status, rig.heard().len()), (StatusCode::SEE_OTHER, 1), "{}", done.text);
}

#[tokio::test]
async fn what_is_grave_is_asked_once_more() {
    for (path, body, leads) in [
        ("/power-off", "wish=now", "/"),
        ("/banks/1/forget", "forgotten=yes", "/banks/1/forget"),
        ("/banks/1/test", "load=idle", "/banks/1/test"),
        ("/outings/29/contacts/forget", "", "/contacts?outing=29"),
        ("/clock/set", "", "/station"),
    ] {
        let rig = Rig::of("alarm");
        let asked = rig.send(form(path, body, "")).await;
        assert!(asked.text.contains("Then you are asked once more: "), "{path}: {}", asked.text);
        let done = types(&rig, &asked, &good(&rig)).await;
        assert_eq!(
            (done.status, done.header("location")),
            (StatusCode::SEE_OTHER, leads),
            "{path}"
        );
        assert_eq!((rig.heard(), rig.heard_record()), (vec![], vec![]), "{path} was done unasked");
        // And there it is asked.
        let page = get(leads).header("cookie", ticket(&done)).body(Body::empty()).unwrap();
        let page = rig.send(page).await;
        assert_eq!(page.status, StatusCode::OK, "{path}");
    }
}

#[tokio::test]
async fn another_site_plants_no_choice() {
    let rig = Rig::of("alarm");
    let foreign = |mut request: Request<Body>| {
        request.headers_mut().insert(header::ORIGIN, HeaderValue::from_static("http://elsewhere"));
        request
    };
    for path in ["/activity", "/power-off"] {
        let got = rig.send(foreign(form(path, "name=Contacts", ""))).await;
        assert_eq!(got.status, StatusCode::FORBIDDEN, "{path}");
        assert!(
            !got.text.contains("name=code") && carried(&got.text).is_none(),
            "{path}: {}",
            got.text
        );
    }
    let planted = format!("code={}&then=/power-off?wish%3Dstop", good(&rig));
    assert_eq!(rig.send(foreign(form("/pair", &planted, ""))).await.status, StatusCode::FORBIDDEN);
    // Nor does a link: it may bring a code, which is shown and not tried, and nothing else.
    let link = format!("/pair?code={}&then=/activity%3Fname%3DContacts", good(&rig));
    let page = rig.get(&link).await;
    assert!(page.text.contains(&format!("value=\"{}\"", good(&rig))), "{}", page.text);
    assert_eq!((carried(&page.text), page.header("set-cookie")), (None, ""));
    for odd in
        ["/pair?code=%22%3E%3Cscript%3E", "/pair?code=1", "/pair?code=1&code=2", "/pair?code=%ff"]
    {
        let page = rig.get(odd).await;
        assert!(page.status == StatusCode::OK && page.text.contains("value=\"\""), "{odd}");
    }
    assert_eq!(rig.heard(), []);
}

#[tokio::test]
async fn only_known_small_forms_are_carried() {
    let long = format!("name={}", "x".repeat(2100));
    let kind = "multipart/form-data; boundary=x";
    let rig = Rig::of("fine");
    for request in [
        form("/mark", &long, ""),
        form("/nowhere", "name=x", ""),
        form("/phones/end", "", ""),
        form("/banks/x/name", "name=x", ""),
        form("/banks//name", "name=x", ""),
        form("/banks/1/name/", "name=x", ""),
        post("/contacts", kind, "--x--", ""),
        post("/activity", "text/plain", "name=Contacts", ""),
    ] {
        let path = request.uri().path().to_owned();
        let page = rig.send(request).await;
        assert_eq!((page.status, carried(&page.text)), (StatusCode::FORBIDDEN, None), "{path}");
        assert!(page.text.contains("name=code"), "{path}: the code is asked for all the same");
        assert!(page.text.contains("Nothing was changed."), "{path}: {}", page.text);
    }
    // What somebody put into the page by hand is no way around that.
    for then in [
        "/api/v1/power-off?wish%3Dnow",
        "//elsewhere/activity?name%3DContacts",
        "http://elsewhere/activity?name%3DContacts",
        "/pair?code%3D1",
        "/phones/end?",
        "/activity",
        "/activity?name%3DContacts%0d%0a",
        "",
        &format!("/mark?text%3D{}", "x".repeat(2100)),
    ] {
        let got = rig.send(form("/pair", &format!("code={}&then={then}", good(&rig)), "")).await;
        assert_eq!((got.status, got.header("location")), (StatusCode::SEE_OTHER, "/"), "{then}");
    }
    assert_eq!((rig.heard(), rig.heard_record()), (vec![], vec![]));
}

#[tokio::test]
async fn what_cannot_be_done_any_more_is_said_to_a_phone_that_is_paired() {
    let rig = Rig::of("fine");
    let asked = rig.send(form("/alarm", "alarm=7&since_s=1&for_s=3600", "")).await;
    let got = types(&rig, &asked, &good(&rig)).await;
    assert_eq!(got.status, StatusCode::CONFLICT);
    assert!(got.text.contains("That alarm is over"), "{}", got.text);
    let then = rig.send(form("/finish", "after_min=60", &ticket(&got))).await;
    assert_eq!(then.status, StatusCode::SEE_OTHER, "it is paired all the same");
}

#[tokio::test]
async fn a_page_says_before_the_first_tap_that_it_is_to_look_at() {
    for (scene, path) in [
        ("fine", "/station"),
        ("fine", "/banks"),
        ("fine", "/banks/1/test"),
        ("fine", "/banks/1/forget"),
        ("fine", "/banks/1/import"),
        ("fine", "/bank?bank=Long+six"),
        ("fine", "/contacts"),
        ("fine", "/outings"),
        ("fine", "/outings/29"),
        ("fine", "/outings/31"),
        ("held", "/answer/swapped"),
    ] {
        let rig = Rig::of(scene);
        let page = rig.get(path).await.text;
        let main = page.split_once("<main").unwrap().1;
        let note = main.find("Look only: a tap asks for the code.");
        let first = main.find("<button").unwrap_or(main.len());
        assert!(note.is_some_and(|note| note < first), "{path}: {main}");
        let paired = get(path).header("cookie", rig.ticket().await).body(Body::empty()).unwrap();
        assert!(!rig.send(paired).await.text.contains("Look only"), "{path}");
    }
}

#[tokio::test]
async fn a_choice_is_carried_out_though_the_pairing_will_not_outlast_a_restart() {
    let rig = Rig::phones(Vec::new(), Full);
    let asked = rig.send(form("/activity", "name=Contacts", "")).await;
    let got = types(&rig, &asked, &good(&rig)).await;
    assert!(got.status.as_u16() == 507 && got.text.contains("The card is full."), "{}", got.text);
    assert_eq!((rig.heard().len(), ticket(&got).is_empty()), (1, false));
    // What was tapped has something to say itself: that is said.
    let asked = rig.send(form("/alarm", "alarm=7&since_s=1&for_s=3600", "")).await;
    let got = types(&rig, &asked, &good(&rig)).await;
    assert!(got.status == StatusCode::CONFLICT && !ticket(&got).is_empty(), "{}", got.text);
}

#[test]
fn every_form_is_carried_or_left_out_for_a_reason() {
    // Files and long lists; what only a paired phone is shown; what needs no pairing; and what a
    // demonstration has, where nobody needs it.
    const LEFT: [&str; 7] =
        ["/contacts", "/banks/#/import", "/phones/end", "/phones/#/end", "/look", "/pair", "/demo"];
    let (routes, carries) =
        (include_str!("../../src/lib.rs"), include_str!("../../src/http/choice.rs"));
    let forms = routes.split(".route(\"").skip(1).filter_map(|rest| {
        let (path, handlers) = rest.split_once('"')?;
        let handlers = handlers.split(".route(").next()?;
        (handlers.contains("post(") && !path.starts_with("/api/"))
            .then(|| path.replace("{id}", "#"))
    });
    let forms: Vec<String> = forms.collect();
    assert!(forms.len() > 20, "{forms:?}");
    for path in forms {
        let known = carries.contains(&format!("    \"{path}\",\n"));
        assert_ne!(known, LEFT.contains(&path.as_str()), "{path}");
    }
}
