//! A phone that sends rubbish, floods, stalls, or makes a page fall.

use std::{convert::Infallible, sync::Arc, time::Duration};

use axum::{
    body::{Body, Bytes},
    http::{Method, Request, StatusCode, header},
};
use futures_util::stream;
use proptest::prelude::*;
use reckon::{
    adif::Contact,
    plan::Known,
    record::{
        self, BankWhole, Channel, Correction, Event, EventKind, Outing, OutingWhole, Page, Row,
        Series, Stats,
    },
    report::{self, OutingReport, Report, Truth, zero_at},
    time::Mono,
    units::Seconds,
};
use tokio::sync::{mpsc, watch};
use tower::ServiceExt;
use web::Pairing;

use crate::{
    rig::{HOST, Rig, form, get, shown_with},
    scenes,
};

const POSTS: [&str; 53] = [
    "/answer",
    "/api/v1/answer",
    "/power-off",
    "/contacts",
    "/outings/3/contacts/forget",
    "/api/v1/contacts",
    "/api/v1/outings/3/contacts/forget",
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
    "/outings/3/ending",
    "/outings/3/name",
    "/outings/3/doing",
    "/outings/3/doing/contacts",
    "/outings/3/doing/back",
    "/api/v1/outings/3/doings",
    "/api/v1/outings/3/doings/contacts",
    "/api/v1/outings/3/doings/back",
    "/rundowns/3/strike",
    "/banks",
    "/banks/1/name",
    "/banks/1/forget",
    "/banks/1/test",
    "/banks/1/import",
    "/banks/-99999999999999999999/test",
    "/test/stop",
    "/mark",
    "/clock/set",
    "/api/v1/outings/3/ending",
    "/api/v1/outings/3/goes-on",
    "/api/v1/outings/3/name",
    "/api/v1/rundowns/3/strike",
    "/api/v1/banks",
    "/api/v1/banks/1/name",
    "/api/v1/banks/1/forget",
    "/api/v1/banks/1/test",
    "/api/v1/banks/1/import",
    "/api/v1/test/stop",
    "/api/v1/mark",
    "/api/v1/clock",
    "/api/v1/plan",
    "/api/v1/plan/start",
    "/plan/start",
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
        Just("question"),
        Just("answer"),
        Just("died"),
        Just("struck"),
        Just("forgotten"),
        Just("load"),
        Just("text"),
        Just("outing"),
        Just("ambient_c"),
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
        Just("how-full".to_owned()),
        Just("since-last".to_owned()),
        Just("how-ended".to_owned()),
        Just("ran-empty".to_owned()),
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
        Just("\"how-full\"".to_owned()),
        Just("\"how-ended\"".to_owned()),
        Just("\"0.02\"".to_owned()),
        Just("[]".to_owned()),
        Just("{}".to_owned()),
    ];
    let field = prop_oneof![
        Just("question"),
        Just("answer"),
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
        Just("died"),
        Just("struck"),
        Just("forgotten"),
        Just("load"),
        Just("text"),
        Just("boot_s"),
        Just("phone_unix_ms"),
        Just("within_s"),
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
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().start_paused(true).build().unwrap();
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
        use reckon::{forecast::Outlook, snapshot::DrawHistory, time::{Mono, Trust, Wall}, units::Seconds};
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().start_paused(true).build().unwrap();
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
            made.draw_history = Arc::new(DrawHistory {
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
            let drawing = page.split("<svg class=line").nth(1).unwrap();
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
    // The generator of what a ticket says is what falls here, while a code is good.
    let mut count = 0_u8;
    let pairing = Arc::new(Pairing::new([5; 32], move || {
        count += 1;
        assert!(count % 2 == 1, "an invented fault");
        [count; 16]
    }));
    let app = web::pages(shown_with(now, asks, &pairing).0);
    let ask = async |path: &str| {
        app.clone().oneshot(get(path).body(Body::empty()).unwrap()).await.unwrap()
    };
    for _ in 0..3 {
        let code = pairing.pin(reckon::time::Mono::at_s(11_400.0)).code;
        let fell = app.clone().oneshot(form("/pair", &format!("code={code}"), "")).await.unwrap();
        assert_eq!(fell.status(), StatusCode::INTERNAL_SERVER_ERROR);
        let text = axum::body::to_bytes(fell.into_body(), 1 << 20).await.unwrap();
        let text = String::from_utf8_lossy(&text).into_owned();
        assert!(text.contains("easuring and the record go on"), "{text}");
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
    let (shown, hear) = shown_with(now, asks, &pairing);
    drop(hear);
    let app = web::socket(shown);
    let struck = app.clone().oneshot(form("/rundowns/1/strike", "struck=yes", "")).await.unwrap();
    assert_eq!(struck.status(), StatusCode::SERVICE_UNAVAILABLE);
    let got = app.oneshot(form("/finish", "after_min=60", "")).await.unwrap();
    assert_eq!(got.status(), StatusCode::SERVICE_UNAVAILABLE);
    assert!(got.headers().contains_key("retry-after"));
}

#[tokio::test]
async fn wrong_codes_are_slowed_and_told_how_long() {
    let rig = Rig::of("fine");
    rig.pairing.pin(rig.now.borrow().at.mono);
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

/// A past that tells whatever it was given.
struct Wild {
    outing: OutingWhole,
    series: Series,
}

impl web::RecordReader for Wild {
    fn outings(&self, _: Option<i64>, _: usize) -> Result<Page<Outing>, web::NoRecord> {
        Ok(Page { items: vec![self.outing.outing.clone()], next: Some(1) })
    }
    fn outing(&self, _: i64) -> Result<Option<OutingWhole>, web::NoRecord> {
        Ok(Some(self.outing.clone()))
    }
    fn report(&self, _: i64) -> Result<Option<OutingReport>, web::NoRecord> {
        Ok(Some(wild_report(&self.outing, &self.series)))
    }
    fn series(&self, _: &record::SeriesAsk) -> Result<Option<Series>, web::NoRecord> {
        Ok(Some(self.series.clone()))
    }
    fn banks(&self) -> Result<Vec<web::BankShown>, web::NoRecord> {
        let spec = scenes::blue_ten();
        let usable_wh = Some([self.outing.outing.lasted_s; 3]);
        let run_downs = self.outing.run_down().cloned().into_iter().collect();
        let bank = record::RecordedBank { id: 1, spec, forgotten: false };
        let whole = BankWhole { bank, run_downs };
        let (year, outings) = (whole.year(None), vec![self.outing.outing.clone()]);
        Ok(vec![web::BankShown { whole, usable_wh, year, outings }])
    }
    fn known(&self) -> Result<Known, web::NoRecord> {
        Ok(Known::default())
    }
    fn book(&self, _: i64) -> Result<Option<report::BankTally>, web::NoRecord> {
        let tally = wild_report(&self.outing, &self.series).report.tally;
        let (bank, coarsest_s) = (String::new(), self.series.step_s);
        let unread =
            record::EnergyPart { lasted_s: coarsest_s, energy_wh: self.outing.outing.lasted_s };
        Ok(Some(report::BankTally {
            bank,
            outings: 1,
            of: 1,
            coarsest_s,
            tally,
            unread,
            over_range_wh: 0.0,
        }))
    }
    fn csv(&self, _: i64) -> Result<Option<web::Pieces>, web::NoRecord> {
        Ok(None)
    }
    fn contacts(&self, _: i64) -> Result<Option<record::OutingContacts>, web::NoRecord> {
        Ok(Some(self.outing.contacts.clone()))
    }
    fn close_ups(&self, _: i64) -> Result<Option<web::Pieces>, web::NoRecord> {
        Ok(None)
    }
    fn json(&self, _: i64) -> Result<Option<web::Pieces>, web::NoRecord> {
        Ok(None)
    }
    fn copy(&self) -> Result<web::Pieces, web::NoRecord> {
        Ok(Box::new(std::iter::empty()))
    }
}

/// A report of whatever was given.
fn wild_report(outing: &OutingWhole, series: &Series) -> OutingReport {
    let values: Vec<f64> = series
        .channels
        .iter()
        .flat_map(|it| &it.1)
        .map(|it| it.map_or(3.0, |it| it.mean))
        .collect();
    let value = |ix: usize| values.get(ix).copied().unwrap_or(-1.0);
    let row = |(ix, t_s): (usize, &f64)| {
        let mut stats = [None; Channel::ALL.len()];
        let draw = if ix % 2 == 0 { Channel::Watts } else { Channel::Modelled };
        for channel in [draw, Channel::Temp, Channel::Volts] {
            stats[channel.ix()] = Some(Stats::one(value(ix)));
        }
        stats[Channel::Busy.ix()] = Some(Stats::one(value(ix + 1)));
        let span_s = if ix % 3 == 0 { series.step_s } else { 10.0 };
        Row { from_s: *t_s, span_s, stats }
    };
    let rows: Vec<Row> = series.t_s.iter().enumerate().map(row).collect();
    let (a, b) = (Seconds::of(value(0)), Seconds::of(value(1)));
    let began = zero_at(a);
    let contact = Contact { began, ended: Some(zero_at(b)), band: None, mode: None, with: None };
    let event = |at_s, kind, text: &str| Event { at: Mono::at_s(at_s), kind, text: text.into() };
    let correction = |activity: Option<&str>| Correction {
        id: 1,
        from_s: value(0),
        to_s: value(1),
        activity: activity.map(str::to_owned),
        origin: record::Origin::Operator,
    };
    let report = Report::from_inputs(&report::ReportInputs {
        rows: &rows,
        events: &[
            event(value(1), EventKind::Activity, "receive"),
            event(value(0), EventKind::Activity, ""),
            event(value(0), EventKind::Mark, "fan"),
        ],
        corrections: &[correction(Some("<i>"))],
        contacts: &[contact],
        folds: &[],
        loads: &[],
        forecasts: &outing.forecasts,
        off_s: &[(value(1), value(0)), (value(0), value(1))],
        truth: Truth::Died { at: Seconds::of(outing.outing.lasted_s), within: b },
    });
    let mut whole = outing.clone();
    whole.contacts.undated_s = Some(value(2));
    whole.corrections = vec![correction(None)];
    whole.rows = rows;
    let truth = Truth::Died { at: Seconds::of(outing.outing.lasted_s), within: b };
    let planned = report::PlanOutcome::of_outing(&whole, truth, report.all());
    whole.rows = Vec::new();
    OutingReport {
        planned,
        whole,
        report,
        learned: Some(report::LearnedStep { before_wh: [value(3); 3], after_wh: [value(4); 3] }),
    }
}

/// Numbers that a damaged record could hold.
fn wild() -> impl Strategy<Value = f64> {
    prop_oneof![any::<f64>(), -1e6..1e6_f64, Just(f64::NAN), Just(f64::INFINITY), Just(0.0)]
}

fn wild_outing() -> impl Strategy<Value = OutingWhole> {
    let numbers = prop::collection::vec(wild(), 12);
    let forecasts = prop::collection::vec((wild(), wild(), wild(), wild()), 0..6);
    (numbers, forecasts, any::<i64>(), any::<bool>()).prop_map(|(n, forecasts, ms, died)| {
        let wall = Some(reckon::time::Wall::from_unix_ms(ms));
        let line = Outing {
            id: ms,
            start_share: Some(n[0]),
            began: wall,
            ended: wall,
            lasted_s: n[1],
            ended_within_s: Some(n[2]),
            ending: if died {
                record::Ending::Died
            } else {
                record::Ending::PowerLost { died: n[3] }
            },
            energy_wh: Some(n[4]),
            bridged_wh: Some(n[5]),
            mean_power_w: Some(n[6]),
            peak_power_w: Some(n[7]),
            ..Outing::default()
        };
        let data = record::RunDown {
            whole: died,
            start_share: Some(n[0]),
            lasted_s: n[1],
            within_s: n[2],
            before_s: n[3],
            delivered_wh: Some(n[4]),
            bridged_wh: Some(n[5]),
            mean_power_w: Some(n[6]),
            measured: true,
            ambient_c: Some(n[7]),
            ..record::RunDown::default()
        };
        let (bank, outing, began) = (1, Some(ms), wall);
        let (struck, outing_wh) = (false, Some(n[4]));
        let run_down =
            record::RecordedRunDown { id: 1, bank, outing, began, outing_wh, struck, data };
        let event = record::Event {
            at: Mono::at_s(n[8]),
            kind: record::EventKind::Mark,
            text: String::new(),
        };
        let gap = record::SourceGap {
            id: String::new(),
            from_s: n[9],
            to_s: Some(n[10]),
            title: String::new(),
            why: String::new(),
        };
        let forecast = |(at_s, low, middle, high)| record::ForecastMade {
            at: Mono::at_s(at_s),
            remaining_s: [low, middle, high],
            basis: reckon::snapshot::Basis::Measured,
            delivered_wh: low,
            bridged_wh: high,
            usable_wh: None,
        };
        let contact =
            record::PlacedContact { t_s: n[11], contact: record::LoggedContact::default() };
        OutingWhole {
            outing: line,
            on: vec![record::SwitchedOn { from_s: n[0], to_s: n[1], boots: true }],
            rows: Vec::new(),
            off_s: vec![(n[2], n[3])],
            contacts: record::OutingContacts {
                contacts: vec![contact; 3],
                undated_s: Some(f64::MAX),
                within_s: n[5],
            },
            corrections: Vec::new(),
            folds: Vec::new(),
            loads: Vec::new(),
            plan: Some(record::OutingPlan {
                began_s: n[6],
                lasts_s: [n[7], n[8], n[9]],
                energy_wh: [n[10], n[11], n[0]],
                ambient_c: Some(n[1]),
                stretches: [(n[2], n[3]), (n[4], n[5]), (n[6], n[7])]
                    .into_iter()
                    .map(|(lasts_s, draw_w)| record::PlannedStretch {
                        name: "<i>".to_owned(),
                        lasts_s,
                        draw_w,
                        draw_log_sd: n[8],
                    })
                    .collect(),
                ..record::OutingPlan::default()
            }),
            events: vec![event],
            gaps: vec![gap],
            forecasts: forecasts.into_iter().map(forecast).collect(),
            bank: Some(BankWhole {
                bank: record::RecordedBank { id: 1, spec: scenes::blue_ten(), forgotten: false },
                run_downs: vec![run_down],
            }),
        }
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    /// Whatever a record holds, its pages stand and their drawings hold real numbers.
    #[test]
    fn no_record_makes_a_page_fall(
        outing in wild_outing(),
        step_s in wild(),
        t_s in prop::collection::vec(wild(), 0..40),
        values in prop::collection::vec(prop::option::of(wild()), 0..40),
    ) {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().start_paused(true).build().unwrap();
        runtime.block_on(async {
            let low = values.iter().rev().copied();
            let stats = values.iter().zip(low).map(|(mean, low)| {
                let mean = (*mean)?;
                Some(record::Stats { mean, min: low.unwrap_or(f64::NAN), max: mean })
            });
            let series =
                Series { step_s, t_s, channels: vec![(record::Channel::Watts, stats.collect())] };
            let wild = Arc::new(Wild { outing, series });
            let rig = Rig::with("fine", |shown| shown.past = wild);
            for path in [
                "/outings",
                "/outings/1",
                "/outings/1.html",
                "/banks",
                "/banks/1/book",
                "/api/v1/outings/1",
                "/api/v1/outings/1/report",
                "/api/v1/banks",
            ] {
                let got = rig.get(path).await;
                prop_assert_eq!(got.status, StatusCode::OK, "{}: {}", path, got.text);
                for drawn in got.text.split("<svg").skip(1) {
                    let drawn = drawn.split("<desc").next().unwrap_or("");
                    prop_assert!(!drawn.contains("NaN") && !drawn.contains("inf"), "{}", drawn);
                }
                prop_assert!(!got.text.contains("NaN"), "{}", got.text);
            }
            Ok(())
        })?;
    }
}
