//! The contact log, handed over by a phone or a program.

use std::sync::Arc;

use axum::{
    body::{Body, Bytes},
    http::{Method, Request, StatusCode, header},
};
use futures_util::{StreamExt, stream};
use reckon::adif::Contact;
use reckon::record::{LoggedContact, RecordCommand};

use tower::ServiceExt;

use web::RecordReader;

use crate::past::{Invented, Mood};
use crate::rig::{HOST, Rig, form, post};

/// The sample records of ADIF 3.1.6, 'ADI File Format', with the calls replaced by a placeholder,
/// and one with a day that does not exist (data type Date).
pub(crate) const LOG: &str = "header\n<eoh>\n\
    <qso_date:8>19900620<time_on:4>1523<call:6>N0CALL<band:3>20M<mode:4>RTTY<eor>\n\
    <qso_date:8>20240532<time_on:4>1201<call:6>N0CALL<eor>\n\
    <qso_date:8>20101022<time_on:4>0111<call:6>N0CALL<band:3>40M<mode:3>PSK<submode:5>PSK63<eor>\n";
pub(crate) const KIND: &str = "multipart/form-data; boundary=----f0rm";

/// What a browser sends for the form (RFC 7578; an empty file field is sent too).
pub(crate) fn browser(file: &str, text: &str, outing: &str) -> String {
    format!(
        "------f0rm\r\nContent-Disposition: form-data; name=\"outing\"\r\n\r\n{outing}\r\n\
         ------f0rm\r\nContent-Disposition: form-data; name=\"file\"; filename=\"log.adi\"\r\n\
         Content-Type: application/octet-stream\r\n\r\n{file}\r\n\
         ------f0rm\r\nContent-Disposition: form-data; name=\"text\"\r\n\r\n{text}\r\n------f0rm--\r\n"
    )
}

fn contacts(asks: &[RecordCommand]) -> &[Contact] {
    match asks {
        [RecordCommand::Contacts { contacts }] => contacts,
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn a_log_from_a_form_is_read_and_told() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let page = rig.get("/contacts?outing=29").await.text;
    assert!(page.contains("enctype=\"multipart/form-data\"") && page.contains("31 contacts"));
    for body in [browser(LOG, "", "29"), browser("", LOG, "29"), browser(LOG, LOG, "")] {
        let got = rig.send(post("/contacts", KIND, &body, &ticket)).await;
        assert_eq!(got.status, StatusCode::OK, "{}", got.text);
        let asks = rig.heard_record();
        // `date -u -d '1990-06-20 15:23' +%s` and `'2010-10-22 01:11'`.
        let began: Vec<i64> = contacts(&asks).iter().map(|it| it.began.unix_ms() / 1000).collect();
        assert_eq!(began, [645_895_380, 1_287_709_860]);
        for words in [
            "2 contacts imported, 1 record skipped.",
            "Line 4, record 2: &#39;20240532&#39; is not a date.",
            "31 contacts",
            // The open outing does not know its time of day: it is told, since contacts may wait.
            "is not known, so contacts cannot be matched to it",
        ] {
            assert!(got.text.contains(words), "{words}: {}", got.text);
        }
        assert!(!got.text.contains("N0CALL"), "no call is shown");
    }
    let back = rig.send(form("/outings/29/contacts/forget", "", &ticket)).await;
    assert_eq!(back.header("location"), "/contacts?outing=29");
    assert_eq!(rig.heard_record(), [RecordCommand::ForgetContacts { outing: 29 }]);
    let back =
        rig.send(post("/api/v1/outings/29/contacts/forget", "application/json", "", &ticket));
    assert_eq!(back.await.status, StatusCode::NO_CONTENT);
    assert_eq!(rig.heard_record(), [RecordCommand::ForgetContacts { outing: 29 }]);
}

#[tokio::test]
async fn a_program_hands_over_the_plain_file() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let got = rig.send(post("/api/v1/contacts", "application/octet-stream", LOG, &ticket)).await;
    assert_eq!(got.status, StatusCode::OK, "{}", got.text);
    assert_eq!(contacts(&rig.heard_record()).len(), 2);
    let told = got.json();
    assert_eq!((&told["contacts"], &told["left_out"]), (&2.into(), &1.into()));
    assert_eq!(
        (&told["complaints"][0]["line"], &told["complaints"][0]["record"]),
        (&4.into(), &2.into())
    );
    assert_eq!(told["outings"][1]["contacts"], 31);
    assert_eq!(told["outings"][0]["undated_s"], 1800.0);
}

#[tokio::test]
async fn what_lies_in_no_outing_and_what_is_new_is_said() {
    let past = Invented::new(Mood::Well, false);
    // The first of the log, by another program with its seconds: `date -u -d '1990-06-20 15:23:40'`.
    let first = LoggedContact {
        began_ms: 645_895_420_000,
        band: Some("20m".to_owned()),
        ..LoggedContact::default()
    };
    past.gains.lock().unwrap().push(first);
    let rig = Rig::with("fine", |shown| shown.past = Arc::clone(&past) as Arc<dyn RecordReader>);
    let ticket = rig.ticket().await;
    let read = async |log: String| {
        let got = rig.send(post("/contacts", KIND, &browser(&log, "", ""), &ticket)).await;
        assert_eq!(got.status, StatusCode::OK, "{}", got.text);
        rig.heard_record();
        let said = got.text.split_once("<p class=verdict role=status>").unwrap().1;
        said.split_once("</p>").unwrap().0.to_owned()
    };
    let one = "1 of these contacts lies in no outing: it was at another time, or the logging \
               program&#39;s clock was wrong.";
    let begins = "2 contacts imported, 1 record skipped.";
    assert_eq!(read(LOG.to_owned()).await, format!("{begins} {one} 1 is new."));
    assert_eq!(read(LOG.to_owned()).await, format!("{begins} {one} Nothing new."));
    let lines: Vec<&str> = LOG.lines().collect();
    assert_eq!(read(lines[2].to_owned()).await, "1 contact imported. Nothing new.");
    let alone = read(lines[4].to_owned()).await;
    assert!(alone.starts_with("1 contact imported. This contact lies in no outing: it"), "{alone}");

    let twice = format!("{LOG}{}", lines[4]);
    let got = rig.send(post("/api/v1/contacts", "text/plain", &twice, &ticket)).await.json();
    let told = ["contacts", "left_out", "again", "in_no_outing", "new"].map(|key| &got[key]);
    assert_eq!(told, [2, 1, 1, 1, 0], "{got}");
}

#[tokio::test]
async fn only_paired_phones_and_our_own_page_hand_logs_over() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let body = browser(LOG, "", "");
    for path in ["/contacts", "/api/v1/contacts", "/outings/29/contacts/forget"] {
        let unpaired = rig.send(post(path, KIND, &body, "")).await;
        assert_eq!(unpaired.status, StatusCode::FORBIDDEN, "{path}");
        let mut elsewhere = post(path, KIND, &body, &ticket);
        elsewhere.headers_mut().insert(header::ORIGIN, "http://other.example".parse().unwrap());
        assert_eq!(rig.send(elsewhere).await.status, StatusCode::FORBIDDEN, "{path}");
        // A form needs no question beforehand, so one without an origin is not ours; plain bytes
        // do (Fetch standard, 'CORS-safelisted request-header').
        let mut nowhere = post(path, KIND, &body, &ticket);
        nowhere.headers_mut().remove(header::ORIGIN);
        assert_eq!(rig.send(nowhere).await.status, StatusCode::FORBIDDEN, "{path}");
        assert_eq!(rig.heard_record(), [], "{path}");
    }
    let mut program = post("/api/v1/contacts", "application/octet-stream", LOG, &ticket);
    program.headers_mut().remove(header::ORIGIN);
    assert_eq!(rig.send(program).await.status, StatusCode::OK);
}

#[tokio::test]
async fn what_is_no_log_changes_nothing() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let unprocessable = StatusCode::UNPROCESSABLE_ENTITY;
    for (kind, body, status, words) in [
        (KIND, browser("", " \r\n", ""), unprocessable, "Choose the log"),
        (KIND, browser("dear diary", "", ""), unprocessable, "This is not a contact log."),
        (
            KIND,
            browser("<band:3>20m<eor>", "", ""),
            unprocessable,
            "the date or the start time is missing",
        ),
        (KIND, browser(LOG, "", "").replace("f0rm--", "f0rm"), StatusCode::BAD_REQUEST, ""),
        (KIND, LOG.to_owned(), StatusCode::BAD_REQUEST, ""),
        ("text/plain", LOG.to_owned(), StatusCode::UNSUPPORTED_MEDIA_TYPE, ""),
        (KIND, browser(&" ".repeat(4 << 20), "", ""), StatusCode::PAYLOAD_TOO_LARGE, "4 MiB"),
    ] {
        let got = rig.send(post("/contacts", kind, &body, &ticket)).await;
        assert_eq!(got.status, status, "{}", got.text);
        assert!(got.text.contains(words), "{words}: {}", got.text);
        assert_eq!(rig.heard_record(), []);
    }
    let got = rig.send(post("/api/v1/contacts", "text/plain", "dear diary", &ticket)).await;
    assert_eq!((got.status, &got.json()["code"]), (unprocessable, &"unreadable-field".into()));
    for path in ["/contacts?outing=99", "/contacts?outing=x"] {
        assert_eq!(rig.get(path).await.status, StatusCode::NOT_FOUND, "{path}");
    }
}

#[tokio::test(start_paused = true)]
async fn a_log_that_trickles_in_is_given_up_and_holds_up_nobody() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let stalled = stream::unfold(0, async |count| {
        tokio::time::sleep(std::time::Duration::from_secs(5)).await;
        Some((Ok::<_, std::convert::Infallible>(Bytes::from_static(b"<")), count + 1))
    });
    let slow = Request::builder()
        .method(Method::POST)
        .uri("/api/v1/contacts")
        .header(header::HOST, HOST)
        .header(header::ORIGIN, format!("http://{HOST}"))
        .header(header::COOKIE, &ticket)
        .body(Body::from_stream(stalled))
        .unwrap();
    let slow = rig.send(slow);
    let quick = async {
        tokio::time::sleep(std::time::Duration::from_secs(1)).await;
        rig.send(post("/api/v1/contacts", "text/plain", LOG, &ticket)).await
    };
    let (slow, quick) = tokio::join!(slow, quick);
    assert_eq!(quick.status, StatusCode::OK, "{}", quick.text);
    assert_eq!(slow.status, StatusCode::REQUEST_TIMEOUT);
    let again = rig.send(post("/api/v1/contacts", "text/plain", LOG, &ticket)).await;
    assert_eq!(again.status, StatusCode::OK, "the next one finds the place free");
}

#[tokio::test]
async fn a_full_log_at_the_limit_is_taken() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let record = "<qso_date:8>20240309<time_on:4>1523<band:3>20M<mode:4>RTTY<eor>\n";
    let count = (4 << 20) / record.len();
    let log = record.repeat(count);
    let got = rig.send(post("/api/v1/contacts", "text/plain", &log, &ticket)).await;
    assert_eq!(got.status, StatusCode::OK, "{}", got.text);
    assert_eq!(contacts(&rig.heard_record()).len(), count);
}

#[tokio::test(start_paused = true)]
async fn uploads_that_hang_keep_nobody_out_and_are_given_up() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let hanging = |host: u8| {
        let piece = std::future::ready(Ok::<_, std::io::Error>(LOG[..20].to_owned()));
        let body = stream::once(piece).chain(stream::pending());
        let mut request = post("/api/v1/contacts", "application/octet-stream", "", &ticket);
        *request.body_mut() = Body::from_stream(body);
        let from = std::net::SocketAddr::from(([192, 0, 2, host], 40_000));
        request.extensions_mut().insert(axum::extract::ConnectInfo(from));
        let (app, began) = (rig.app.clone(), tokio::time::Instant::now());
        tokio::spawn(async move { (app.oneshot(request).await.unwrap().status(), began.elapsed()) })
    };
    let good = async |host: u8| {
        let mut request = post("/api/v1/contacts", "application/octet-stream", LOG, &ticket);
        let from = std::net::SocketAddr::from(([192, 0, 2, host], 40_000));
        request.extensions_mut().insert(axum::extract::ConnectInfo(from));
        rig.send(request).await.status
    };
    // A phone walks out of reach in the middle of a log. It tries again, and so does another.
    let mut hang = vec![hanging(7)];
    tokio::task::yield_now().await;
    assert_eq!(good(7).await, StatusCode::OK);
    assert_eq!(good(8).await, StatusCode::OK);
    // Two from one address leave a place for another.
    hang.push(hanging(7));
    tokio::task::yield_now().await;
    assert_eq!(good(7).await, StatusCode::SERVICE_UNAVAILABLE);
    assert_eq!(good(8).await, StatusCode::OK);
    hang.push(hanging(9));
    tokio::task::yield_now().await;
    assert_eq!(good(8).await, StatusCode::SERVICE_UNAVAILABLE, "three at a time");
    for hang in hang {
        let (status, took) = hang.await.unwrap();
        assert_eq!(status, StatusCode::REQUEST_TIMEOUT);
        assert!((10..12).contains(&took.as_secs()), "{took:?}");
    }
    assert_eq!(good(8).await, StatusCode::OK);
    assert_eq!(good(7).await, StatusCode::OK);
}
