//! The past on pages and in JSON, and what a tap asks of the record.

use std::net::SocketAddr;
use std::sync::{
    Arc,
    atomic::{AtomicBool, AtomicUsize, Ordering},
};

use axum::{body::Body, extract::ConnectInfo, http::StatusCode};
use base64::{Engine, engine::general_purpose::STANDARD};
use reckon::{
    belief::Question,
    plan::Known,
    record::{
        Outing, OutingContacts, OutingWhole, Page, RecordCommand, Series, SeriesAsk, TestLoad,
    },
    report::{BankTally, OutingReport},
    time::Mono,
};
use sha2::{Digest, Sha256};
use web::{BankShown, NoRecord, Pieces, RecordReader};

use crate::{
    past::{self, Invented, Mood, OUTINGS},
    rig::{Rig, form, get, json},
    scenes,
};

fn main_of(page: &str) -> String {
    let main = page.split_once("<main").unwrap().1.split("</main>").next().unwrap();
    format!("<main{main}</main>")
}

#[tokio::test]
async fn golden_pages() {
    let rig = Rig::record_status("alarm", past::record_status(true));
    for (name, path) in [
        ("outings", "/outings?before=7"),
        ("outing_died", "/outings/29"),
        ("outing_open", "/outings/31"),
        ("banks", "/banks"),
        ("bank_book", "/banks/1/book"),
        ("rundown_test", "/banks/1/test"),
        ("import", "/banks/1/import"),
        ("forget", "/banks/1/forget"),
        ("station_troubled", "/station"),
    ] {
        let got = rig.get(path).await;
        assert_eq!(got.status, StatusCode::OK, "{path}: {}", got.text);
        insta::assert_snapshot!(name, main_of(&got.text));
    }
}

/// Follows the JSON list from its newest end, with this many on a page.
async fn walk(rig: &Rig, limit: usize) -> Vec<i64> {
    let (mut ids, mut path) = (Vec::new(), format!("/api/v1/outings?limit={limit}"));
    loop {
        let page = rig.get(&path).await.json();
        let outings = page["outings"].as_array().unwrap();
        assert!(outings.len() <= limit);
        ids.extend(outings.iter().map(|outing| outing["id"].as_i64().unwrap()));
        let Some(next) = page["next"].as_i64() else { return ids };
        path = format!("/api/v1/outings?limit={limit}&before={next}");
    }
}

#[tokio::test]
async fn paging_shows_every_outing_once_newest_first() {
    let rig = Rig::of("fine");
    let all: Vec<i64> = (1..=OUTINGS).rev().collect();
    for limit in [1, 4, 30, 31, 200] {
        assert_eq!(walk(&rig, limit).await, all, "{limit} on a page");
    }
    // The page's own links lead through all of them too.
    let (mut seen, mut path) = (Vec::new(), "/outings".to_owned());
    loop {
        let page = rig.get(&path).await.text;
        let ids = page.split("<h2><a href=\"/outings/").skip(1);
        seen.extend(ids.map(|rest| rest.split('"').next().unwrap().parse::<i64>().unwrap()));
        let Some((_, rest)) = page.split_once("/outings?before=") else { break };
        path = format!("/outings?before={}", rest.split('"').next().unwrap());
    }
    assert_eq!(seen, all);
}

#[tokio::test]
async fn what_cannot_be_read_in_an_address_is_said() {
    let rig = Rig::of("fine");
    for (path, status) in [
        ("/api/v1/outings?before=soon", StatusCode::UNPROCESSABLE_ENTITY),
        ("/api/v1/outings?limit=-1", StatusCode::UNPROCESSABLE_ENTITY),
        ("/api/v1/outings/0", StatusCode::NOT_FOUND),
        ("/api/v1/outings/99999999999999999999", StatusCode::NOT_FOUND),
        ("/api/v1/outings/abc", StatusCode::NOT_FOUND),
        ("/api/v1/outings/99/series", StatusCode::NOT_FOUND),
        ("/api/v1/outings/29/series?points=x", StatusCode::UNPROCESSABLE_ENTITY),
        ("/api/v1/outings/29/series?from_s=NaN", StatusCode::UNPROCESSABLE_ENTITY),
        ("/api/v1/outings/29/series?from_s=-1", StatusCode::UNPROCESSABLE_ENTITY),
        ("/api/v1/outings/29/series?from_s=9&to_s=9", StatusCode::UNPROCESSABLE_ENTITY),
        ("/api/v1/outings/29/series?channels=volts", StatusCode::UNPROCESSABLE_ENTITY),
    ] {
        let got = rig.get(path).await;
        assert_eq!(got.status, status, "{path}: {}", got.text);
        assert_eq!(got.header("content-type"), "application/problem+json", "{path}");
        assert_eq!(got.json()["status"], status.as_u16(), "{path}");
    }
    for path in [
        "/outings/0",
        "/outings/x",
        "/outings/29.exe",
        "/outings/99.csv",
        "/outings/99.close-ups.csv",
        "/banks/9/test",
    ] {
        let got = rig.get(path).await;
        assert_eq!(got.status, StatusCode::NOT_FOUND, "{path}");
        assert!(got.text.contains("in the record"), "{path}: {}", got.text);
    }
    assert_eq!(rig.get("/outings?before=x").await.status, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test]
async fn a_series_is_what_was_asked_for() {
    let rig = Rig::of("fine");
    let got = rig
        .get("/api/v1/outings/29/series?points=20&from_s=14000&to_s=16000&channels=power_w")
        .await
        .json();
    let t_s = got["t_s"].as_array().unwrap();
    assert!(t_s.len() <= 20 && got["step_s"].as_f64().unwrap() >= 100.0);
    let channels = got["channels"].as_object().unwrap();
    assert_eq!(channels.keys().collect::<Vec<_>>(), ["power_w"]);
    for fold in ["mean", "min", "max"] {
        let values = channels["power_w"][fold].as_array().unwrap();
        assert_eq!(values.len(), t_s.len());
        for (t, value) in t_s.iter().zip(values) {
            let gap = (14_400.0..15_900.0).contains(&t.as_f64().unwrap());
            assert_eq!(value.is_null(), gap, "{fold} at {t}");
        }
    }
}

#[tokio::test]
async fn exports_are_files_of_their_registered_type() {
    let rig = Rig::of("fine");
    let csv = rig.get("/outings/29.csv").await;
    // RFC 4180 section 3: type text/csv, parameter header present or absent; section 2 rule 1:
    // lines end in CRLF.
    assert_eq!(csv.header("content-type"), "text/csv; charset=utf-8; header=present");
    assert!(csv.text.starts_with("t_s,cpu_util,cpu_temp_c,bus_v,current_a\r\n"));
    // RFC 6266 section 4: attachment and a name.
    assert_eq!(csv.header("content-disposition"), "attachment; filename=\"outing-29.csv\"");
    let seconds = rig.get("/outings/29.close-ups.csv").await;
    assert_eq!(seconds.header("content-type"), csv.header("content-type"));
    let name = seconds.header("content-disposition");
    assert_eq!(name, "attachment; filename=\"outing-29-close-ups.csv\"");
    let whole = rig.get("/outings/29.json").await;
    assert_eq!(whole.header("content-type"), "application/json");
    assert_eq!(whole.json()["id"], 29);
}

#[tokio::test]
async fn a_report_is_one_file_that_needs_nothing_else() {
    let rig = Rig::of("fine");
    for id in [29, 31, 26, 30] {
        let got = rig.get(&format!("/outings/{id}.html")).await;
        assert_eq!(got.header("content-type"), "text/html; charset=utf-8");
        // RFC 6266 section 4.
        let name = format!("attachment; filename=\"outing-{id}.html\"");
        assert_eq!(got.header("content-disposition"), name);
        for outside in [
            "<script",
            "<form",
            "<a ",
            "<link",
            "<img",
            "<button",
            "src=",
            "href=",
            "http:",
            "https:",
            "url(",
            "@import",
            "N0CALL",
            "<first day>",
            "<tree>",
        ] {
            assert!(!got.text.contains(outside), "{id}: {outside}");
        }
        let styles = got.text.split("<style>").skip(1);
        assert!(!got.text.contains("style=\""), "styles stand in one place");
        // CSP Level 3, section 8.3 (hashes): the base64 of the SHA-256 of the element's text.
        let hashes: Vec<String> = styles
            .map(|rest| Sha256::digest(rest.split("</style>").next().unwrap().as_bytes()))
            .map(|digest| format!("'sha256-{}'", STANDARD.encode(digest)))
            .collect();
        assert_eq!(hashes.len(), 2, "both sheets");
        let policy = format!(
            "content=\"default-src 'none'; style-src {}; base-uri 'none'; form-action 'none'\"",
            hashes.join(" ")
        );
        assert!(got.text.contains(&policy), "{}", &got.text[..600]);
    }
}

#[tokio::test]
async fn a_report_says_the_sum_of_its_rows() {
    let rig = Rig::of("fine");
    let told = rig.get("/api/v1/outings/29/report").await.json();
    assert!(!told.to_string().contains("N0CALL"));
    let energy = &told["report"]["energy"];
    let wh = |page: &serde_json::Value| page["energy_wh"].as_f64().unwrap();
    let all = |list: &serde_json::Value| list.as_array().unwrap().iter().map(wh).sum::<f64>();
    let whole = wh(&energy["whole"]);
    assert!((all(&energy["hours"]) / whole - 1.0).abs() < 1e-9);
    let parts = all(&energy["activities"]) + wh(&energy["untold"]);
    assert!((parts / whole - 1.0).abs() < 1e-9);
    // The invented draw by calculus: 3.1 W + 0.5 W sin(t/3000 s) over the outing but its gap, and
    // 1.4 W for 3000 s.
    let joules =
        |a: f64, b: f64| 3.1 * (b - a) + 1500.0 * ((a / 3000.0).cos() - (b / 3000.0).cos());
    let lasted = told["lasted_s"].as_f64().unwrap();
    let want = (joules(0.0, 14_400.0) + joules(15_900.0, lasted) + 1.4 * 3000.0) / 3600.0;
    assert!((whole / want - 1.0).abs() < 1e-3, "{whole} Wh, want {want}");
    // 'later wins': 600 s of logging, two stretches of contact, in this order.
    let logging =
        energy["activities"].as_array().unwrap().iter().find(|it| it["name"] == "<own> logging");
    assert_eq!(logging.unwrap()["lasted_s"], 600.0);
    let held = told["report"]["forecasts_held"].as_u64().unwrap();
    let page = rig.get("/outings/29").await.text;
    let judged = told["report"]["forecasts_judged"].as_u64().unwrap();
    let said = if held == judged { format!("All {held}") } else { format!("{held} of {judged}") };
    assert!(page.contains(&format!("{said} forecasts included the true end")), "{said}");
}

/// The JSON of the series is the yardstick: the page is read, and the two must agree.
#[tokio::test]
async fn the_drawing_of_the_day_reads_what_the_series_says() {
    let rig = Rig::of("fine");
    let page = rig.get("/outings/29").await.text;
    let reads = page.split_once("data-reads=\"").unwrap().1.split('"').next().unwrap();
    let reads: Vec<&str> = reads.lines().collect();
    let series = rig.get("/api/v1/outings/29/series?points=320&channels=power_w").await.json();
    let means = series["channels"]["power_w"]["mean"].as_array().unwrap();
    let step_s = series["step_s"].as_f64().unwrap();
    // The last step may reach past the end.
    assert!((means.len()..=means.len() + 1).contains(&reads.len()), "{}", reads.len());
    let (mut known, mut silent) = (0, 0);
    for (ix, (read, mean)) in reads.iter().zip(means).enumerate() {
        let (time, values) = read.split_once('\t').unwrap();
        // 2024-03-09T04:05:10Z less two weeks, at the rig's offset from UTC.
        let minute = |time: &str| {
            let (h, m) = time.split_once(':').unwrap();
            h.parse::<u32>().unwrap() * 60 + m.parse::<u32>().unwrap()
        };
        let first = minute(reads[0].split_once('\t').unwrap().0);
        let into = (minute(time) + 1440 - first) % 1440;
        assert!((f64::from(into) - ix as f64 * step_s / 60.0).abs() <= 1.0, "{ix}: {time}");
        let Some(mean) = mean.as_f64() else {
            assert!(values.starts_with("no reading"), "{read}");
            silent += 1;
            continue;
        };
        let said: f64 = values.split('\u{a0}').next().unwrap().parse().unwrap();
        assert!((said - mean).abs() <= 0.051, "{read}: {mean}");
        known += 1;
    }
    assert!(known > 250 && silent > 5, "{known} {silent}");
}

#[tokio::test]
async fn a_whole_copy_goes_over_the_socket_only() {
    let copy = Rig::socket("fine").raw(get("/api/v1/copy").body(Body::empty()).unwrap()).await;
    assert_eq!(copy.headers()["content-type"], "application/vnd.sqlite3");
    let bytes = axum::body::to_bytes(copy.into_body(), 1 << 20).await.unwrap();
    // The SQLite file format, section 1.3: the first 16 bytes of every file.
    assert!(bytes.starts_with(b"SQLite format 3\0"));
    assert_eq!(bytes.len(), 200_016);
    assert_eq!(Rig::of("fine").get("/api/v1/copy").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_record_that_cannot_be_read_is_said_and_the_rest_goes_on() {
    let rig = Rig::past(Mood::Gone);
    for path in ["/outings", "/outings/3", "/outings/3.csv", "/banks", "/api/v1/banks"] {
        let got = rig.get(path).await;
        assert_eq!(got.status, StatusCode::SERVICE_UNAVAILABLE, "{path}");
        assert!(got.text.contains("the card does not answer"), "{path}: {}", got.text);
    }
    for path in ["/", "/station", "/api/v1/now"] {
        assert_eq!(rig.get(path).await.status, StatusCode::OK, "{path}");
    }
    let empty = Rig::past(Mood::Empty);
    assert!(empty.get("/outings").await.text.contains("The record is still empty."));
    assert!(empty.get("/banks").await.text.contains("No bank has been added yet."));
}

#[tokio::test]
async fn few_readings_go_on_at_once_and_too_many_are_sent_away() {
    let slow = Invented::new(Mood::Well, true);
    let rig = Rig::with("fine", |shown| shown.past = Arc::clone(&slow) as Arc<dyn RecordReader>);
    let ask = |last: u8| {
        let address = SocketAddr::from(([192, 0, 2, last], 40_000));
        get("/api/v1/outings").extension(ConnectInfo(address)).body(Body::empty()).unwrap()
    };
    let asks = (0..60).map(|last| rig.send(ask(last)));
    let got = futures_util::future::join_all(asks).await;
    let count = |status| got.iter().filter(|it| it.status == status).count();
    let (well, busy) = (count(StatusCode::OK), count(StatusCode::SERVICE_UNAVAILABLE));
    assert_eq!((well + busy, well), (60, 17), "one at work and sixteen in line");
    assert_eq!(slow.most.load(Ordering::SeqCst), 1, "of all who are not paired");
    assert_eq!(rig.get("/api/v1/outings").await.status, StatusCode::OK, "and then again");
}

/// A record that counts how often it is opened and is read only through that; its series may fall.
#[derive(Clone)]
struct Counted {
    past: Arc<Invented>,
    opened: Arc<AtomicUsize>,
    open: bool,
    series_falls: bool,
}

impl Counted {
    fn new(series_falls: bool) -> Arc<Self> {
        let past = Invented::new(Mood::Well, false);
        Arc::new(Self { past, opened: Arc::default(), open: false, series_falls })
    }

    fn read(&self) -> &Invented {
        assert!(self.open, "a reading beside the one that was opened");
        &self.past
    }
}

impl RecordReader for Counted {
    fn at_one_moment(
        &self,
        _: &Arc<AtomicBool>,
    ) -> Result<Option<Box<dyn RecordReader>>, NoRecord> {
        self.opened.fetch_add(1, Ordering::SeqCst);
        Ok(Some(Box::new(Self { open: true, ..self.clone() })))
    }
    fn outings(&self, before: Option<i64>, most: usize) -> Result<Page<Outing>, NoRecord> {
        self.read().outings(before, most)
    }
    fn outing(&self, id: i64) -> Result<Option<OutingWhole>, NoRecord> {
        self.read().outing(id)
    }
    fn report(&self, id: i64) -> Result<Option<OutingReport>, NoRecord> {
        self.read().report(id)
    }
    fn series(&self, ask: &SeriesAsk) -> Result<Option<Series>, NoRecord> {
        assert!(!self.series_falls, "an invented fault");
        self.read().series(ask)
    }
    fn banks(&self) -> Result<Vec<BankShown>, NoRecord> {
        self.read().banks()
    }
    fn book(&self, bank: i64) -> Result<Option<BankTally>, NoRecord> {
        self.read().book(bank)
    }
    fn known(&self) -> Result<Known, NoRecord> {
        self.read().known()
    }
    fn csv(&self, outing: i64) -> Result<Option<Pieces>, NoRecord> {
        self.read().csv(outing)
    }
    fn json(&self, outing: i64) -> Result<Option<Pieces>, NoRecord> {
        self.read().json(outing)
    }
    fn contacts(&self, outing: i64) -> Result<Option<OutingContacts>, NoRecord> {
        self.read().contacts(outing)
    }
    fn close_ups(&self, outing: i64) -> Result<Option<Pieces>, NoRecord> {
        self.read().close_ups(outing)
    }
    fn copy(&self) -> Result<Pieces, NoRecord> {
        self.read().copy()
    }
}

#[tokio::test]
async fn a_request_opens_the_record_once() {
    for path in [
        "/outings",
        "/outings/3",
        "/outings/3.html",
        "/outings/3.csv",
        "/outings/3.json",
        "/outings/3.close-ups.csv",
        "/banks",
        "/banks/1/book",
        "/contacts?outing=3",
        "/api/v1/outings",
        "/api/v1/outings/3",
        "/api/v1/outings/3/report",
        "/api/v1/outings/3/series",
        "/api/v1/banks",
    ] {
        let counted = Counted::new(false);
        let rig = Rig::with("fine", |shown| shown.past = Arc::clone(&counted) as _);
        let got = rig.get(path).await;
        assert_eq!(got.status, StatusCode::OK, "{path}: {}", got.text);
        assert_eq!(counted.opened.load(Ordering::SeqCst), 1, "{path}");
    }
}

#[tokio::test]
async fn a_reading_that_falls_costs_its_page_only() {
    let falls = Counted::new(true);
    let rig = Rig::with("fine", |shown| shown.past = falls);
    for _ in 0..4 {
        let got = rig.get("/outings/3").await;
        assert_eq!(got.status, StatusCode::INTERNAL_SERVER_ERROR);
        assert!(!got.text.contains("an invented fault"), "{}", got.text);
    }
    assert_eq!(rig.get("/outings").await.status, StatusCode::OK);
}

#[tokio::test]
async fn every_tap_and_every_post_asks_for_what_it_says() {
    let rig = Rig::record_status("fine", past::record_status(true));
    let ticket = rig.ticket().await;
    let spec = scenes::long_six();
    let long = r#"{"spec":{"name":"Long six","cells":"lifepo4","series":4,"label_mah":6000,"label_v":12.8,"measured_at":"cells","ambient_c":12,"cutoff_v":10}}"#;
    let marks = "2024-03-09T08:00:00Z\n2024-03-09T08:10:00Z";
    let import = || RecordCommand::Import { bank: 1, name: "Idle".into(), text: marks.into() };
    let name = || RecordCommand::NameOuting { outing: 3, name: "Old quarry".into() };
    let put_right = |outing, from_s, to_s, name: &str| RecordCommand::Doing {
        outing,
        from_s,
        to_s,
        activity: Some(name.to_owned()).filter(|name| !name.is_empty()),
    };
    let by_contacts =
        || RecordCommand::DoingByContacts { outing: 3, activity: "contacts".to_owned() };
    let clock = |at_s, within_ms| RecordCommand::PhoneClock {
        at: Mono::at_s(at_s),
        phone_ms: 1_709_980_800_000,
        within_ms,
    };
    for (path, body, want) in [
        ("/outings/3/ending", "died=yes", RecordCommand::Answer { outing: 3, died: Some(true) }),
        (
            "/api/v1/outings/3/ending",
            r#"{"died":false}"#,
            RecordCommand::Answer { outing: 3, died: Some(false) },
        ),
        ("/outings/3/ending", "died=unknown", RecordCommand::Answer { outing: 3, died: None }),
        (
            "/api/v1/outings/3/ending",
            r#"{"died":null}"#,
            RecordCommand::Answer { outing: 3, died: None },
        ),
        ("/outings/3/goes-on", "goes_on=no", RecordCommand::GoesOn { earlier: 3, goes_on: false }),
        (
            "/api/v1/outings/3/goes-on",
            r#"{"goes_on":true}"#,
            RecordCommand::GoesOn { earlier: 3, goes_on: true },
        ),
        // Times of day: outing 29 began at 06:05:10 local time, and its minute counts.
        (
            "/outings/29/doing",
            "clock=day&from=06:05&to=08:10&activity=logging",
            put_right(29, 0.0, 7_490.0, "logging"),
        ),
        (
            "/outings/29/doing",
            "clock=day&from=06:06&to=06:06:30&activity=logging",
            put_right(29, 50.0, 80.0, "logging"),
        ),
        ("/outings/3/doing", "from=1:20&to=26:05&activity=", put_right(3, 4_800.0, 93_900.0, "")),
        (
            "/api/v1/outings/3/doings",
            r#"{"from_s":4800,"to_s":93900.5,"activity":"receive"}"#,
            put_right(3, 4_800.0, 93_900.5, "receive"),
        ),
        ("/outings/3/doing/contacts", "activity=contacts", by_contacts()),
        ("/api/v1/outings/3/doings/contacts", r#"{"activity":"contacts"}"#, by_contacts()),
        ("/outings/3/doing/back", "id=7", RecordCommand::DoingBack { outing: 3, id: Some(7) }),
        ("/outings/3/doing/back", "contacts=yes", RecordCommand::DoingBack { outing: 3, id: None }),
        (
            "/api/v1/outings/3/doings/back",
            r#"{"id":7}"#,
            RecordCommand::DoingBack { outing: 3, id: Some(7) },
        ),
        (
            "/api/v1/outings/3/doings/back",
            r#"{"contacts":true}"#,
            RecordCommand::DoingBack { outing: 3, id: None },
        ),
        ("/outings/3/name", "name=+Old+quarry", name()),
        ("/api/v1/outings/3/name", r#"{"name":"Old quarry"}"#, name()),
        ("/rundowns/2/strike", "struck=no", RecordCommand::Strike { rundown: 2, struck: false }),
        (
            "/api/v1/rundowns/2/strike",
            r#"{"struck":true}"#,
            RecordCommand::Strike { rundown: 2, struck: true },
        ),
        (
            "/banks",
            "name=Long+six&label_mah=6000&label_v=12,8&cells=lifepo4&series=4&measured_at=cells&ambient_c=12&cutoff_v=10.0",
            RecordCommand::TellBank { spec: spec.clone() },
        ),
        ("/api/v1/banks", long, RecordCommand::TellBank { spec }),
        (
            "/banks/2/name",
            "name=Longer",
            RecordCommand::RenameBank { bank: 2, name: "Longer".into() },
        ),
        (
            "/api/v1/banks/2/name",
            r#"{"name":"Longer"}"#,
            RecordCommand::RenameBank { bank: 2, name: "Longer".into() },
        ),
        (
            "/banks/2/forget",
            "forgotten=yes",
            RecordCommand::ForgetBank { bank: 2, forgotten: true },
        ),
        (
            "/api/v1/banks/2/forget",
            r#"{"forgotten":false}"#,
            RecordCommand::ForgetBank { bank: 2, forgotten: false },
        ),
        (
            "/banks/1/test",
            "load=receive",
            RecordCommand::StartTest { bank: 1, load: TestLoad::Receive },
        ),
        (
            "/api/v1/banks/1/test",
            "{}",
            RecordCommand::StartTest { bank: 1, load: TestLoad::AsItIs },
        ),
        ("/test/stop", "", RecordCommand::StopTest),
        ("/api/v1/test/stop", "{}", RecordCommand::StopTest),
        (
            "/banks/1/import",
            "name=Idle&text=2024-03-09T08%3A00%3A00Z%0A2024-03-09T08%3A10%3A00Z",
            import(),
        ),
        (
            "/api/v1/banks/1/import",
            r#"{"name":"Idle","text":"2024-03-09T08:00:00Z\n2024-03-09T08:10:00Z"}"#,
            import(),
        ),
        ("/mark", "text=rain&outing=31", RecordCommand::Mark { text: "rain".into() }),
        ("/api/v1/mark", r#"{"text":"rain"}"#, RecordCommand::Mark { text: "rain".into() }),
        (
            "/api/v1/clock",
            r#"{"boot_s":11400.25,"phone_unix_ms":1709980800000,"within_s":0.0305}"#,
            clock(11_400.25, 31),
        ),
        ("/clock/set", "", RecordCommand::SetClock),
        ("/api/v1/clock/set", "", RecordCommand::SetClock),
    ] {
        let request = if path.starts_with("/api/") {
            json(path, body, &ticket)
        } else {
            form(path, body, &ticket)
        };
        let got = rig.send(request).await;
        let done =
            if path.starts_with("/api/") { StatusCode::NO_CONTENT } else { StatusCode::SEE_OTHER };
        assert_eq!(got.status, done, "{path} {body}: {}", got.text);
        assert_eq!(rig.heard_record(), [want], "{path} {body}");
        // None of it without pairing.
        let request =
            if path.starts_with("/api/") { json(path, body, "") } else { form(path, body, "") };
        assert_eq!(rig.send(request).await.status, StatusCode::FORBIDDEN, "{path} unpaired");
        assert_eq!(rig.heard_record(), [], "{path} unpaired");
    }
}

#[tokio::test]
async fn what_makes_no_sense_never_reaches_the_record() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let long = format!("name={}", "x".repeat(65));
    for (path, body) in [
        ("/outings/3/ending", "died=perhaps"),
        ("/outings/3/ending", ""),
        ("/api/v1/outings/3/ending", "{}"),
        ("/api/v1/outings/3/ending", r#"{"died":"yes"}"#),
        ("/outings/3/name", long.as_str()),
        ("/outings/3/name", "name=two%0Alines"),
        ("/outings/3/doing", "from=1:20&to=1:20&activity=idle"),
        ("/outings/3/doing", "from=1:20&to=1:75&activity=idle"),
        ("/outings/3/doing", "from=soon&to=2:00&activity=idle"),
        ("/outings/3/doing", "from=1:20"),
        // Nobody knows when outing 27 was.
        ("/outings/27/doing", "clock=day&from=08:00&to=09:00&activity=idle"),
        ("/outings/29/doing", "clock=day&from=09:00&to=08:00&activity=idle"),
        ("/outings/3/doing/contacts", "activity="),
        ("/outings/3/doing/back", ""),
        ("/outings/3/doing/back", "id=7&contacts=yes"),
        ("/api/v1/outings/3/doings", r#"{"from_s":-1,"to_s":5}"#),
        ("/api/v1/outings/3/doings", r#"{"from_s":5,"to_s":1e300}"#),
        ("/banks/1/name", "name="),
        ("/banks", "name=&label_mah=10000"),
        ("/banks/1/test", "load=radio"),
        ("/banks/1/import", "text=+"),
        ("/mark", "text=%00"),
        ("/api/v1/clock", r#"{"boot_s":11500,"phone_unix_ms":1709980800000,"within_s":0.1}"#),
        ("/api/v1/clock", r#"{"boot_s":11000,"phone_unix_ms":1709980800000,"within_s":0.1}"#),
        ("/api/v1/clock", r#"{"boot_s":11400,"phone_unix_ms":0,"within_s":0.1}"#),
        ("/api/v1/clock", r#"{"boot_s":11400,"phone_unix_ms":1709980800000,"within_s":-1}"#),
    ] {
        let request = if path.starts_with("/api/") {
            json(path, body, &ticket)
        } else {
            form(path, body, &ticket)
        };
        let got = rig.send(request).await;
        assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY, "{path} {body}: {}", got.text);
        assert_eq!(rig.heard_record(), [], "{path} {body}");
    }
    // Only where the unit allows it.
    let set = rig.send(form("/clock/set", "", &ticket)).await;
    assert_eq!((set.status, rig.heard_record()), (StatusCode::FORBIDDEN, vec![]));
    assert!(!rig.get("/station").await.text.contains("/clock/set"));
    // A refusal of the record's keeper is told in its own words.
    let refused = rig.send(form("/banks/1/import", "text=nothing", &ticket)).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.text.contains("0 lines are time stamps"), "{}", refused.text);
}

#[tokio::test]
async fn an_ending_that_was_answered_stands_and_can_be_changed() {
    // The last outing: a person has said that its plug was pulled.
    let page = Rig::of("held").get("/outings/30").await.text;
    assert!(page.contains("<p>The plug was pulled between"), "{page}");
    assert!(!page.contains("How did this outing end?"));
    let (_, form) = page.split_once("<summary><h2>Change how it ended</h2></summary>").unwrap();
    let form = form.split("</details>").next().unwrap();
    assert!(form.contains("action=\"/outings/30/ending\""), "{form}");
    assert!(form.contains("value=yes>The bank ran empty"), "{form}");
    assert!(form.contains("value=unknown>Undo"), "{form}");
    // An earlier one that ran empty: what it was before is not known any more.
    let page = Rig::of("held").get("/outings/29").await.text;
    let (_, form) = page.split_once("<summary><h2>Change how it ended</h2></summary>").unwrap();
    let form = form.split("</details>").next().unwrap();
    assert!(form.contains("value=no>The plug was pulled"), "{form}");
    assert!(!form.contains("value=unknown"), "{form}");
    // In the list the question is gone.
    let list = Rig::of("held").get("/outings").await.text;
    assert!(!list.contains("action=\"/outings/30/ending\""));
    assert!(Rig::of("fine").get("/outings").await.text.contains("action=\"/outings/30/ending\""));
}

#[tokio::test]
async fn a_run_down_test_says_which_bank_it_takes_as_connected() {
    let page = async |scene: &str, id: u8| {
        let page = Rig::of(scene).get(&format!("/banks/{id}/test")).await.text;
        page.replace('\u{a0}', " ")
    };
    let other = page("fine", 2).await;
    assert!(other.contains("<b>Blue ten is connected now.</b>"), "{other}");
    assert!(other.contains("The outing on Blue ten (3 h so far, 9.4 Wh) ends"), "{other}");
    assert!(other.contains("undo this for ten minutes"), "{other}");
    assert!(other.contains("<button>Long six is full and connected: start</button>"), "{other}");
    let same = page("fine", 1).await;
    assert!(same.contains("assumes that Blue ten was charged full."), "{same}");
    let none = page("no_bank", 1).await;
    assert!(
        none.contains("<p class=bar>The test assumes that Blue ten is connected, and full.</p>"),
        "{none}"
    );
    assert!(!none.contains("ten minutes"), "{none}");
}

#[tokio::test]
async fn long_lists_are_taken_and_longer_ones_are_not() {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    // A mark every two seconds of a day, as a form sends it, is past what other forms may hold.
    let lines = |count: usize| format!("text={}", "2024-03-09T08%3A00%3A00Z%0A".repeat(count));
    let got = rig.send(form("/banks/1/import", &lines(43_200), &ticket)).await;
    assert_eq!(got.status, StatusCode::SEE_OTHER, "{}", got.text);
    assert!(
        matches!(&rig.heard_record()[..], [RecordCommand::Import { text, .. }] if text.len() > 900_000)
    );
    let got = rig.send(form("/banks/1/import", &lines(100_000), &ticket)).await;
    assert_eq!(got.status, StatusCode::PAYLOAD_TOO_LARGE);
    let got = rig.send(form("/outings/3/name", &lines(1_000), &ticket)).await;
    assert_eq!(got.status, StatusCode::PAYLOAD_TOO_LARGE);
}

#[tokio::test]
async fn the_ending_is_asked_where_it_is_open_with_the_likelier_answer_first() {
    let rig = Rig::of("fine");
    let first = |page: &str| {
        let (_, form) = page.split_once("/ending\"").unwrap();
        let button = form.split("<button").nth(1).unwrap().to_owned();
        assert!(button.contains("aria-pressed=true"), "{button}");
        button
    };
    assert!(first(&rig.get("/outings/30").await.text).contains("The bank ran empty"));
    assert!(first(&rig.get("/outings/26").await.text).contains("The plug was pulled"));
    for id in [28, 27] {
        assert!(!rig.get(&format!("/outings/{id}")).await.text.contains("/ending\""), "{id}");
    }
    // The last one is asked of on Now too, with the likelier answer first.
    assert!(!rig.get("/").await.text.contains("How did the last outing end?"));
    let rig = Rig::of("asked");
    rig.answered(Question::SinceLast);
    let asked = rig.get("/").await.text;
    let (_, form) = asked.split_once("How did the last outing end?").unwrap();
    let (pulled, empty) = (form.find("plug-pulled").unwrap(), form.find("ran-empty").unwrap());
    assert!(pulled < empty, "{form}");
}

#[tokio::test]
async fn names_from_outside_stay_text() {
    let rig = Rig::of("fine");
    for path in ["/outings?before=27", "/outings/26", "/outings/29"] {
        let page = rig.get(path).await.text;
        assert!(!page.contains("<first day>") && !page.contains("<tree>"), "{path}");
    }
}

#[tokio::test]
async fn every_field_has_a_label_and_every_id_is_there_once() {
    // WCAG 2.2 SC 3.3.2 and 4.1.2: each control has a name; HTML: an id is unique.
    let rig = Rig::record_status("fine", past::record_status(true));
    for path in [
        "/outings",
        "/outings/31",
        "/outings/29",
        "/outings/27",
        "/contacts?outing=29",
        "/banks",
        "/banks/1/book",
        "/banks/1/test",
        "/banks/1/import",
        "/banks/1/forget",
        "/station",
    ] {
        let page = rig.get(path).await.text;
        let mut ids: Vec<&str> = Vec::new();
        for part in page.split(" id=").skip(1) {
            let part = part.trim_start_matches('"');
            ids.push(part.split(['"', ' ', '>']).next().unwrap());
        }
        let mut once = ids.clone();
        once.sort_unstable();
        once.dedup();
        assert_eq!(once.len(), ids.len(), "{path}: {ids:?}");
        for (tag, rest) in ["<input", "<select", "<textarea"]
            .iter()
            .flat_map(|tag| page.split(tag).skip(1).map(move |rest| (tag, rest)))
        {
            let text = rest.split('>').next().unwrap();
            if text.contains("type=hidden") || text.contains("type=radio") {
                continue;
            }
            let id = text.split_once(" id=").unwrap_or_else(|| panic!("{path}: {tag}{text}")).1;
            let id = id.trim_start_matches('"').split(['"', ' ']).next().unwrap();
            let named =
                page.contains(&format!("for={id}>")) || page.contains(&format!("for=\"{id}\">"));
            assert!(named, "{path}: {id} has no label");
        }
        // Works without scripts: nothing is only reached by one.
        assert!(!page.contains("onclick") && !page.contains("javascript:"), "{path}");
        // A table with more columns would overflow a small phone; the browser tests measure it.
        for row in page.split("<tr").skip(1) {
            let row = row.split("</t").next().unwrap();
            let cells = row.matches("<th").count() + row.matches("<td").count();
            assert!(cells <= 6, "{path}: {cells} columns");
        }
    }
}
