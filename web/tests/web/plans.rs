//! A plan over the API: what it comes to, who may ask, and everything that is no plan.

use std::{net::SocketAddr, sync::Arc};

use axum::{extract::ConnectInfo, http::StatusCode};
use proptest::prelude::*;
use reckon::engine::Command;
use serde_json::{Value, json};
use web::RecordReader;

use crate::{
    past::{Invented, Mood},
    rig::{Got, Rig, form, json as asked, post},
};

const PLAN: &str = "/api/v1/plan";

/// A day on the ridge: Blue ten by its label, six hours of contacts, two of listening.
fn ridge() -> Value {
    json!({
        "finish_h": 8, "reserve_h": 1, "ambient_c": 12,
        "bank": { "name": "Blue ten", "label_mah": 10_000 },
        "draw": { "idle_w": 1.6, "full_w": 4.0 },
        "stretch": [{ "hours": 6, "busy": 0.35, "sent": 0.2 }, { "hours": 2, "busy": 0.1 }],
    })
}

/// The same with something changed.
fn with(change: impl FnOnce(&mut Value)) -> Value {
    let mut plan = ridge();
    change(&mut plan);
    plan
}

/// Puts a value at a place, whether something stands there or not.
fn put(plan: &mut Value, at: &str, value: Value) {
    let (parent, key) = at.rsplit_once('/').unwrap();
    let parent = plan.pointer_mut(parent).unwrap();
    match key.parse::<usize>() {
        Ok(nth) => parent[nth] = value,
        Err(_) => parent[key] = value,
    }
}

async fn ask(rig: &Rig, plan: &Value) -> Got {
    rig.send(asked(PLAN, &plan.to_string(), "")).await
}

/// What is refused of a plan: each place, and what is wanted.
async fn refused(plan: &Value) -> Vec<String> {
    let got = ask(&Rig::of("fine"), plan).await;
    assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY, "{plan}: {}", got.text);
    let problem = got.json();
    assert_eq!(got.header("content-type"), "application/problem+json");
    assert_eq!(problem["code"], "plan-refused", "{problem}");
    let one = |it: &Value| {
        let of = |key: &str| it[key].as_str().unwrap().to_owned();
        assert!(problem["detail"].as_str().unwrap().contains(&of("want")), "{problem}");
        format!("{}[{}].{}: {}", of("table"), it["nth"], of("key"), of("want"))
    };
    problem["problems"].as_array().unwrap().iter().map(one).collect()
}

fn three(it: &Value) -> [f64; 3] {
    ["p10", "p50", "p90"].map(|key| it[key].as_f64().unwrap())
}

#[tokio::test]
async fn anybody_may_ask_and_the_same_plan_has_the_same_digits() {
    let rig = Rig::of("fine");
    let got = ask(&rig, &ridge()).await;
    assert_eq!(got.status, StatusCode::OK, "{}", got.text);
    let told = got.json();
    let [low, middle, high] = three(&told["lasts_s"]);
    assert!(0.0 < low && low < middle && middle < high, "{told}");
    let [least, _, most] = three(&told["energy_wh"]);
    // 37 Wh by the label: no bank gives more at its port, and a sound one more than half.
    assert!(18.0 < least && most < 37.0, "{told}");
    for key in ["chance_of_finish", "chance_with_reserve"] {
        assert!((0.0..=1.0).contains(&told[key].as_f64().unwrap()), "{told}");
    }
    assert!(told["chance_with_reserve"].as_f64() <= told["chance_of_finish"].as_f64());
    let points = told["points"].as_array().unwrap();
    let left: Vec<f64> = points.iter().map(|at| three(&at["left_wh"])[1]).collect();
    assert!(left.is_sorted_by(|a, b| a >= b), "without sun it only falls: {left:?}");
    let gains = told["changes"].as_array().unwrap().iter().map(|it| it["gains_s"].as_f64());
    assert!(gains.collect::<Vec<_>>().is_sorted_by(|a, b| a >= b), "{told}");
    assert_eq!(told["banks"][0]["learned_from"], 0);
    assert!(told["smallest_bank"].as_array().is_some_and(|all| all.len() <= 2));
    assert_eq!(told["beyond"], json!({ "p10": false, "p50": false, "p90": false }));
    assert_eq!(ask(&rig, &ridge()).await.text, got.text);
    assert!(rig.heard().is_empty() && rig.heard_record().is_empty(), "it changes nothing");
}

#[tokio::test]
async fn what_was_learned_is_taken_from_the_record_and_said() {
    let rig = Rig::of("fine");
    let known = with(|plan| plan["bank"] = json!({ "known": "Blue ten" }));
    let (by_label, told) = (ask(&rig, &ridge()).await.json(), ask(&rig, &known).await.json());
    assert!(told["banks"][0]["learned_from"].as_u64() > Some(0), "{told}");
    let width = |it: &Value| three(&it["energy_wh"])[2] - three(&it["energy_wh"])[0];
    assert!(width(&told) < width(&by_label), "{} and {}", told["energy_wh"], by_label["energy_wh"]);
    // Its own activity: 4.1 W on Blue ten, to some digits as it was drawn there.
    let active = with(|plan| {
        plan["bank"] = json!({ "known": "Blue ten" });
        plan["stretch"] = json!([{ "hours": 8, "activity": "contacts" }]);
    });
    let told = ask(&rig, &active).await.json();
    assert!((told["draw_w"].as_f64().unwrap() - 4.1).abs() < 0.05, "{}", told["draw_w"]);
    let six = with(|plan| {
        plan["bank"] = json!({ "known": "Long six" });
        plan["stretch"] = json!([{ "hours": 8, "activity": "contacts" }]);
    });
    let told = ask(&rig, &six).await.json();
    let assumed = told["assumptions"].to_string();
    assert!(assumed.contains("contacts draws what it drew on Blue ten."), "{assumed}");
    // The other bank of the record is among what could be taken.
    let changes = ask(&rig, &known).await.json()["changes"].to_string();
    assert!(changes.contains("Long six"), "{changes}");
}

#[tokio::test]
async fn a_missing_value_has_its_assumption_in_the_answer() {
    let bare = json!({ "bank": { "label_mah": 10_000 }, "stretch": { "hours": 5 } });
    let told = ask(&Rig::of("fine"), &bare).await.json();
    let assumed = told["assumptions"].to_string();
    for part in ["full at the start", "15 °C", "busy"] {
        assert!(assumed.contains(part), "{part}: {assumed}");
    }
    assert_eq!((&told["finish_s"], &told["reserve_s"]), (&json!(18_000.0), &json!(0.0)));
}

#[tokio::test]
async fn a_plan_that_stands_alone_needs_no_record() {
    let rig = Rig::past(Mood::Gone);
    assert_eq!(ask(&rig, &ridge()).await.status, StatusCode::OK);
    let known = with(|plan| plan["bank"] = json!({ "known": "Blue ten" }));
    let got = ask(&rig, &known).await;
    assert_eq!(
        (got.status, &got.json()["code"]),
        (StatusCode::SERVICE_UNAVAILABLE, &json!("no-record"))
    );
}

#[tokio::test]
async fn what_cannot_be_is_refused_with_what_could_be() {
    let cases: [(&str, Value, &str); 19] = [
        ("/bank/known", json!("Blue ten"), "bank[0].name: a known bank has this from the record."),
        ("/bank/board", json!("Ten"), "bank[0].board: want the board's short name, such as \"4B\""),
        (
            "/draw/idle_w",
            Value::Null,
            "draw[0].idle_w: it is missing: idle_w and full_w go together.",
        ),
        (
            "/draw/full_w",
            json!(1.5),
            "draw[0].full_w: a busy board draws no less than an idle one (1.6 W).",
        ),
        ("/stretch/1/calling", json!(0.5), "stretch[1].calling: it is a share of a mode's time"),
        ("/stretch/1/activity", json!("contacts"), "stretch[1].activity: want either an activity"),
        ("/finish_h", json!(0), "[0].finish_h: want a number from 0.1 to 1000 h."),
        ("/finish_h", json!("eight"), "[0].finish_h: want a number from 0.1 to 1000 h."),
        ("/ambient_c", json!(-41), "[0].ambient_c: want a number from -40 to 60 °C."),
        ("/reserve_h", json!(1e308), "[0].reserve_h: want a number from 0 to 100 h."),
        ("/bank/label_mah", json!(99), "bank[0].label_mah: The capacity must be a number"),
        ("/bank/label_mah", json!("10000"), "bank[0].label_mah: The capacity must be a number"),
        ("/bank/cells", json!("nickel"), "bank[0].cells: "),
        ("/bank/start", json!("half"), "bank[0].start: want \"full\", \"unknown\""),
        ("/bank", json!({ "known": "Red one" }), "bank[0].known: "),
        ("/stretch/1/busy", json!(1.01), "stretch[1].busy: want a number from 0 to 1."),
        ("/stretch/1/hours", json!([2]), "stretch[1].hours: want a number from 0.001 to 1000 h."),
        ("/stretch/1/radio", json!("on"), "stretch[1].radio: want one of: off, receive."),
        ("/draw", json!(3), "[0].draw: want a table: [draw] in a plan file, an object in JSON."),
    ];
    for (at, value, want) in cases {
        let plan = with(|plan| put(plan, at, value));
        let said = refused(&plan).await;
        // The label of a known bank is two keys too many.
        let count = if want.starts_with("bank[0].name") { 2 } else { 1 };
        assert_eq!(said.len(), count, "{at}: {said:?}");
        assert!(said[0].starts_with(want), "{at}: {said:?}");
    }
}

#[tokio::test]
async fn all_that_is_wrong_is_said_at_once() {
    let said = refused(&json!({
        "finsh_h": 8, "sun": 3, "wind": { "w": 5 }, "bank": [{ "label_mah": 5 }, {}],
        "stretch": [{ "busy": 0.2 }, { "hours": 1, "speed": 2 }, {}],
    }))
    .await;
    for want in [
        "[0].finsh_h: there is no such key. There are: finish_h, ",
        "wind[0].: a plan has no table of this name (wind).",
        "bank[0].label_mah: ",
        "bank[1].label_mah: ",
        "stretch[0].hours: it is missing",
        "stretch[1].speed: there is no such key.",
        "stretch[2].hours: it is missing",
    ] {
        assert!(said.iter().any(|it| it.starts_with(want)), "{want}: {said:#?}");
    }
    let nothing = refused(&json!({})).await;
    assert!(nothing[0].starts_with("bank[0].label_mah: no bank is named."), "{nothing:?}");
    assert!(nothing[1].starts_with("stretch[0].hours: no stretch is named."), "{nothing:?}");
}

#[tokio::test]
async fn a_plan_is_bounded_in_size_in_tables_and_in_depth() {
    let rig = Rig::of("fine");
    let large = with(|plan| plan["bank"]["name"] = json!("x".repeat(64 * 1024)));
    let got = ask(&rig, &large).await;
    assert_eq!(
        (got.status, &got.json()["code"]),
        (StatusCode::PAYLOAD_TOO_LARGE, &json!("too-large"))
    );
    let stretch = json!({ "hours": 1, "busy": 0.1 });
    for (table, one, most) in [("stretch", stretch, 200), ("bank", json!({ "label_mah": 5000 }), 4)]
    {
        let plan = |count| with(|plan| plan[table] = Value::Array(vec![Value::clone(&one); count]));
        assert_eq!(ask(&rig, &plan(most)).await.status, StatusCode::OK, "{most} of {table}");
        let said = refused(&plan(most + 3)).await;
        assert_eq!(said.len(), 1, "once is enough: {said:?}");
        let want =
            format!("{table}[{most}].: that is more than a plan takes of them: {most} at most.");
        assert_eq!(said[0], want);
    }
    let deep = format!("{{\"bank\":{}1{}}}", "[".repeat(10_000), "]".repeat(10_000));
    for body in [deep.as_str(), "", "{", "{\"finish_h\":1e999}", "{\"finish_h\":NaN}", "\u{0}"] {
        let got = rig.send(asked(PLAN, body, "")).await;
        assert_eq!(got.status, StatusCode::BAD_REQUEST, "{got}", got = got.text);
        assert!(got.json()["detail"].as_str().unwrap().contains("no JSON"), "{}", got.text);
    }
    for body in ["[]", "3", "null", "\"plan\"", "[{}]"] {
        let got = rig.send(asked(PLAN, body, "")).await;
        assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY, "{body}: {}", got.text);
    }
    let keys: serde_json::Map<_, _> = (0..3000).map(|n| (format!("k{n}"), json!(n))).collect();
    assert_eq!(refused(&Value::Object(keys)).await.len(), 50, "the first fifty");
}

#[tokio::test]
async fn another_sites_page_gets_no_plan() {
    let rig = Rig::of("fine");
    let mut request = asked(PLAN, &ridge().to_string(), "");
    request.headers_mut().insert("origin", "http://elsewhere.example".parse().unwrap());
    assert_eq!(rig.send(request).await.status, StatusCode::FORBIDDEN);
    let mut plain = post(PLAN, "text/plain", &ridge().to_string(), "");
    plain.headers_mut().remove("origin");
    assert_eq!(rig.send(plain).await.status, StatusCode::FORBIDDEN);
}

/// As a reading of the record: one at work and sixteen in line of those who are not paired.
#[tokio::test]
async fn fifty_at_once_wait_for_their_turn_or_are_told_to_come_back() {
    let slow = Invented::new(Mood::Well, true);
    let rig = Rig::with("fine", |shown| shown.past = Arc::clone(&slow) as Arc<dyn RecordReader>);
    let one = |last: u8| {
        let mut request = asked(PLAN, &ridge().to_string(), "");
        let address = SocketAddr::from(([192, 0, 2, last], 40_000));
        request.extensions_mut().insert(ConnectInfo(address));
        rig.send(request)
    };
    let got = futures_util::future::join_all((0..50).map(one)).await;
    let count = |status| got.iter().filter(|it| it.status == status).count();
    assert_eq!((count(StatusCode::OK), count(StatusCode::SERVICE_UNAVAILABLE)), (17, 33));
    let busy = got.iter().find(|it| it.status == StatusCode::SERVICE_UNAVAILABLE).unwrap();
    assert!(!busy.header("retry-after").is_empty());
    assert_eq!(ask(&rig, &ridge()).await.status, StatusCode::OK, "and then again");
}

/// Any value; keys and words of a plan among it.
fn anything() -> impl Strategy<Value = Value> {
    const WORDS: [&str; 27] = [
        "finish_h",
        "reserve_h",
        "ambient_c",
        "start",
        "bank",
        "draw",
        "stretch",
        "sun",
        "known",
        "cells",
        "series",
        "label_mah",
        "label_v",
        "cutoff_v",
        "depth",
        "feeds",
        "hours",
        "activity",
        "busy",
        "sent",
        "extra_w",
        "Blue ten",
        "contacts",
        "lifepo4",
        "radio",
        "70 %",
        "unknown",
    ];
    let word = || prop_oneof![4 => prop::sample::select(&WORDS[..]).prop_map(str::to_owned), 1 => ".{0,8}"];
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        (0.0..2.0_f64).prop_map(Value::from),
        (0..20_000_i64).prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        word().prop_map(Value::from),
    ];
    leaf.prop_recursive(4, 60, 8, move |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
            prop::collection::vec((word(), inner), 0..8)
                .prop_map(|all| Value::Object(all.into_iter().collect())),
        ]
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// Anything in the place of anything: it is a plan with real numbers, or refused in words.
    #[test]
    fn whatever_is_asked_it_is_answered_or_refused_in_words(
        whole in anything(),
        part in anything(),
        at in prop::sample::select(vec![
            "/finish_h", "/ambient_c", "/bank", "/bank/label_mah", "/bank/start", "/draw",
            "/draw/idle_w", "/stretch", "/stretch/0", "/stretch/0/hours", "/stretch/0/sent",
        ]),
    ) {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
        runtime.block_on(async {
            let rig = Rig::socket("fine");
            let changed = with(|plan| put(plan, at, part));
            for plan in [whole, changed] {
                let got = ask(&rig, &plan).await;
                let status = got.status;
                prop_assert!(status == StatusCode::OK || status.is_client_error(), "{plan}: {status}");
                if status == StatusCode::OK {
                    // What is no number would be null.
                    let bare = got.text.replace("\"lead\":null", "").replace("\"activity\":null", "");
                    prop_assert!(!bare.contains("null"), "{plan}: {}", got.text);
                } else {
                    prop_assert!(got.json()["detail"].as_str().is_some_and(|it| it.len() > 10));
                }
            }
            Ok(())
        })?;
    }
}

#[tokio::test]
async fn an_outing_is_started_with_a_plan_by_who_may_change_things() {
    let start = "/api/v1/plan/start";
    let stranger = Rig::of("fine").send(asked(start, &ridge().to_string(), "")).await;
    assert_eq!(stranger.status, StatusCode::FORBIDDEN, "{}", stranger.text);

    let rig = Rig::socket("fine");
    let done = rig.send(asked(start, &ridge().to_string(), "")).await;
    assert_eq!(done.status, StatusCode::NO_CONTENT, "{}", done.text);
    let told = ask(&rig, &ridge()).await.json();
    let heard = rig.heard();
    let [Command::StartPlan { plan, start: None }] = &heard[..] else { panic!("{heard:?}") };
    assert_eq!((plan.bank.as_str(), plan.finish_s), ("Blue ten", 28_800.0));
    assert_eq!(three(&told["lasts_s"]), plan.lasts_s);
    let watts: f64 = plan.stretches.iter().map(|one| one.draw_w * one.lasts_s / 28_800.0).sum();
    assert!((watts - told["draw_w"].as_f64().unwrap()).abs() < 1e-6, "{watts} W, {told}");
    assert!(plan.stretches[0].draw_w > plan.stretches[1].draw_w, "{plan:?}");

    // Nothing is started with what is no plan.
    let wrong = with(|plan| put(plan, "/bank/label_mah", json!(0)));
    let refused = rig.send(asked(start, &wrong.to_string(), "")).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", refused.text);
    assert!(rig.heard().is_empty());
}

#[tokio::test]
async fn the_button_of_the_page_starts_it_and_leads_to_now() {
    let rig = Rig::of("fine");
    let plan = "bank.known=Blue+ten&doing=contacts&hours=8&ambient_c=-5";
    let stranger = rig.send(form("/plan/start", plan, "")).await;
    assert_eq!(stranger.status, StatusCode::FORBIDDEN);
    assert!(stranger.text.contains("start the outing as planned"), "{}", stranger.text);
    let ticket = rig.ticket().await;
    let done = rig.send(form("/plan/start", plan, &ticket)).await;
    assert_eq!((done.status, done.header("location")), (StatusCode::SEE_OTHER, "/"));
    let heard = rig.heard();
    let [Command::StartPlan { plan, .. }] = &heard[..] else { panic!("{heard:?}") };
    assert_eq!(
        (plan.bank.as_str(), plan.finish_s, plan.ambient_c),
        ("Blue ten", 28_800.0, Some(-5.0))
    );
    assert_eq!(plan.stretches.len(), 4);
    // What is missing is said, and nothing is started.
    let refused = rig.send(form("/plan/start", "bank.known=Nobody", &ticket)).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", refused.text);
    assert!(rig.heard().is_empty());
}
