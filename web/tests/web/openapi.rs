//! The hand-kept document against what is really served.

use std::collections::BTreeSet;

use axum::{
    body::Body,
    http::{Method, Request, StatusCode, header},
};
use serde_json::Value;

use crate::{
    rig::{HOST, Rig, get, json},
    scenes,
};

const DOCUMENT: &str = include_str!("../../src/openapi.json");

fn document() -> Value {
    serde_json::from_str(DOCUMENT).unwrap()
}

/// Follows a reference within the document.
fn found<'a>(document: &'a Value, schema: &'a Value) -> &'a Value {
    match schema.get("$ref").and_then(Value::as_str) {
        Some(to) => document.pointer(to.strip_prefix('#').unwrap()).expect(to),
        None => schema,
    }
}

/// Whether the value fits (the parts of JSON Schema 2020-12 that the document uses), noting every
/// member that was met with a value.
fn fits(
    document: &Value,
    schema: &Value,
    value: &Value,
    path: &str,
    met: &mut BTreeSet<String>,
) -> Result<(), String> {
    let schema = found(document, schema);
    if let Some(any) = schema.get("anyOf").and_then(Value::as_array) {
        let tried: Vec<_> = any.iter().map(|it| fits(document, it, value, path, met)).collect();
        return tried.iter().any(Result::is_ok).then_some(()).ok_or(format!("{path}: {tried:?}"));
    }
    let kind = match value {
        Value::Null => "null",
        Value::Bool(_) => "boolean",
        Value::Number(number) if number.is_i64() || number.is_u64() => "integer",
        Value::Number(_) => "number",
        Value::String(_) => "string",
        Value::Array(_) => "array",
        Value::Object(_) => "object",
    };
    let allowed = match &schema["type"] {
        Value::Array(kinds) => kinds.iter().filter_map(Value::as_str).collect(),
        one => vec![one.as_str().ok_or(format!("{path}: no type"))?],
    };
    let as_number = kind == "integer" && allowed.contains(&"number");
    if !allowed.contains(&kind) && !as_number {
        return Err(format!("{path}: {kind} where {allowed:?} is promised"));
    }
    if let Some(items) = value.as_array() {
        for item in items {
            fits(document, &schema["items"], item, &format!("{path}[]"), met)?;
        }
    }
    if let (Some(members), Some(known)) = (value.as_object(), schema["properties"].as_object()) {
        for (name, member) in members {
            let inner = known.get(name).ok_or(format!("{path}.{name} is not in the document"))?;
            let path = format!("{path}.{name}");
            met.insert(path.clone());
            fits(document, inner, member, &path, met)?;
        }
        for name in schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str) {
            if !members.contains_key(name) {
                return Err(format!("{path}.{name} is promised and missing"));
            }
        }
    }
    Ok(())
}

#[tokio::test]
async fn every_member_served_is_in_the_document_and_the_other_way_round() {
    let document = document();
    let schema = &document["components"]["schemas"]["Now"];
    let mut met = BTreeSet::new();
    for scene in scenes::ALL {
        let now = Rig::of(scene).get("/api/v1/now").await.json();
        fits(&document, schema, &now, "now", &mut met)
            .unwrap_or_else(|why| panic!("{scene}: {why}"));
    }
    let mut promised = BTreeSet::new();
    members(&document, schema, "now", &mut promised);
    let missing: Vec<_> = promised.difference(&met).collect();
    assert!(missing.is_empty(), "promised and never served: {missing:?}");
}

fn members(document: &Value, schema: &Value, path: &str, all: &mut BTreeSet<String>) {
    let schema = found(document, schema);
    for inner in schema.get("anyOf").and_then(Value::as_array).into_iter().flatten() {
        members(document, inner, path, all);
    }
    if let Some(items) = schema.get("items") {
        members(document, items, &format!("{path}[]"), all);
    }
    for (name, inner) in schema["properties"].as_object().into_iter().flatten() {
        let path = format!("{path}.{name}");
        all.insert(path.clone());
        members(document, inner, &path, all);
    }
}

#[tokio::test]
async fn every_value_that_can_be_missing_has_its_reason_beside_it() {
    for scene in scenes::ALL {
        let now = Rig::of(scene).get("/api/v1/now").await.json();
        reasons(&now, scene);
    }
}

/// Where a member and its `…_gap` stand side by side, exactly one is null.
fn reasons(value: &Value, whose: &str) {
    match value {
        Value::Array(items) => items.iter().for_each(|item| reasons(item, whose)),
        Value::Object(members) => {
            for (name, gap) in members {
                let Some(stem) = name.strip_suffix("_gap") else { continue };
                const UNITS: [&str; 7] = ["_v", "_a", "_w", "_wh", "_c", "_hz", "_s"];
                let beside: Vec<_> = members
                    .iter()
                    .filter(|(other, _)| {
                        let mut bare = UNITS.iter().filter_map(|unit| other.strip_suffix(unit));
                        *other == stem || bare.any(|bare| bare == stem)
                    })
                    .collect();
                assert_eq!(beside.len(), 1, "{whose}: {name} stands beside {beside:?}");
                assert!(
                    beside[0].1.is_null() != gap.is_null(),
                    "{whose}: {} = {}, {name} = {gap}",
                    beside[0].0,
                    beside[0].1
                );
            }
            members.values().for_each(|member| reasons(member, whose));
        }
        _ => {}
    }
}

#[test]
fn units_stand_last() {
    const UNITS: [&str; 21] = [
        "h", "g", "m", "deg", "s", "v", "a", "w", "wh", "c", "hz", "ohm", "mah", "mib", "kib",
        "per_s", "min", "percent", "at", "gap", "ms",
    ];
    // Bare shares, counts, and what is no quantity.
    const BARE: [&str; 41] = [
        "p10",
        "p50",
        "p90",
        "series",
        "cores",
        "learned_from",
        "undervoltage_times",
        "looks",
        "slots",
        "slots_sent",
        "level",
        "missed_sweeps",
        "status",
        "alarm",
        "id",
        "bank_id",
        "outing_id",
        "outing",
        "next",
        "outings",
        "of_outings",
        "contacts",
        "elsewhere",
        "contacts_per_h",
        "slots_sent",
        "forecasts_judged",
        "forecasts_held",
        "still_possible",
        "left_out",
        "again",
        "in_no_outing",
        "new",
        "line",
        "record",
        "nth",
        "start",
        "hours",
        "awg",
        "mm2",
        "age_years",
        "cycles",
    ];
    const SHARES: [&str; 23] = [
        "weight",
        "chance",
        "time_share",
        "energy_share",
        "chance_of_finish",
        "cpu_busy",
        "cores_busy",
        "cpu_share",
        "shunt_scale",
        "start_level",
        "status",
        "died_chance",
        "explained_share",
        "middle_off_share",
        "busy",
        "sent",
        "depth",
        "chance_with_reserve",
        "efficiency",
        "charge_efficiency",
        "kept",
        "calling",
        "kept_at",
    ];
    fn walk(value: &Value) {
        if let Some(properties) = value.get("properties").and_then(Value::as_object) {
            for (name, schema) in properties {
                let kinds = schema["type"].to_string();
                let quantity = kinds.contains("number") || kinds.contains("integer");
                let known = BARE.contains(&name.as_str())
                    || SHARES.contains(&name.as_str())
                    || UNITS.iter().any(|unit| name.ends_with(&format!("_{unit}")));
                assert!(!quantity || known, "{name} carries a number and no unit");
            }
        }
        match value {
            Value::Object(members) => members.values().for_each(walk),
            Value::Array(items) => items.iter().for_each(walk),
            _ => {}
        }
    }
    walk(&document());
}

#[tokio::test]
async fn every_route_is_in_the_document_and_every_one_there_is_served() {
    let document = document();
    let rig = Rig::socket("alarm");
    let ways = document["paths"].as_object().unwrap();
    for (path, methods) in ways {
        // The one phone that is paired is the last that was.
        let phone = if path.starts_with("/api/v1/phones/") { newest_phone(&rig).await } else { 1 };
        for method in ["GET", "POST", "PUT", "DELETE"] {
            let promised = methods.get(method.to_lowercase()).is_some();
            let request = Request::builder()
                .method(method.parse::<Method>().unwrap())
                .uri(path.replace("{id}", &phone.to_string()))
                .header(header::HOST, HOST)
                .header(header::CONTENT_TYPE, "application/json")
                .body(Body::from("{"))
                .unwrap();
            let status = rig.raw(request).await.status();
            assert_eq!(status != StatusCode::METHOD_NOT_ALLOWED, promised, "{method} {path}");
            assert_ne!(status, StatusCode::NOT_FOUND, "{method} {path}");
        }
    }
    // The router's own list, from its source: nothing is served that the document does not name.
    for line in include_str!("../../src/lib.rs").lines() {
        if let Some((_, rest)) = line.split_once("route(\"/api/") {
            let path = format!("/api/{}", rest.split('"').next().unwrap());
            assert!(ways.contains_key(&path), "{path} is not in the document");
        }
    }
    assert_eq!(rig.get("/api/v1/openapi.json").await.text, DOCUMENT);
}

/// Pairs a phone and tells its number.
async fn newest_phone(rig: &Rig) -> i64 {
    rig.ticket().await;
    rig.get("/api/v1/phones").await.json()["phones"][0]["id"].as_i64().unwrap()
}

#[tokio::test]
async fn the_paired_phones_are_told_as_promised() {
    let (document, rig) = (document(), Rig::of("fine"));
    let ticket = rig.ticket().await;
    let request = get("/api/v1/phones").header(header::COOKIE, &ticket);
    let told = rig.send(request.body(Body::empty()).unwrap()).await.json();
    let schema = &document["components"]["schemas"]["Phones"];
    fits(&document, schema, &told, "phones", &mut BTreeSet::new()).unwrap();
    assert_eq!(told["phones"][0]["this_phone"], true);
    assert!(!told.to_string().contains(&ticket["paired=".len()..][..20]), "no ticket among it");
}

#[tokio::test]
async fn problems_and_the_pin_are_as_promised() {
    let document = document();
    let rig = Rig::socket("fine");
    let mut met = BTreeSet::new();
    let pin = rig.get("/api/v1/pin").await.json();
    fits(&document, &document["components"]["schemas"]["Pin"], &pin, "pin", &mut met).unwrap();
    let problem = &document["components"]["schemas"]["Problem"];
    let known: Vec<_> = problem["properties"]["code"]["enum"].as_array().unwrap().iter().collect();
    for request in [json("/api/v1/pair", r#"{"code":"1"}"#, ""), json("/api/v1/nothing", "", "")] {
        let got = rig.send(request).await.json();
        fits(&document, problem, &got, "problem", &mut met).unwrap();
        assert!(known.contains(&&got["code"]), "{got}");
    }
    // Every code that the source can send is in the list.
    for source in [
        include_str!("../../src/asks/answer.rs"),
        include_str!("../../src/asks/now.rs"),
        include_str!("../../src/asks/phones.rs"),
        include_str!("../../src/asks/plan.rs"),
        include_str!("../../src/http/problem.rs"),
        include_str!("../../src/http/streams.rs"),
        include_str!("../../src/http/guard.rs"),
        include_str!("../../src/http/site.rs"),
        include_str!("../../src/asks/record.rs"),
        include_str!("../../src/pages/contacts.rs"),
    ] {
        for part in source.split('"').filter(|part| {
            part.contains('-') && part.bytes().all(|it| it.is_ascii_lowercase() || it == b'-')
        }) {
            let no_code = ["li-ion", "lead-acid", "same-origin", "no-store", "run-down"];
            if part.starts_with("sec-fetch-") {
                continue;
            }
            let is_code = known.iter().any(|code| code.as_str() == Some(part));
            assert!(is_code || no_code.contains(&part), "{part} is not in the document");
        }
    }
}

#[tokio::test]
async fn the_past_is_served_as_promised() {
    let document = document();
    let rig = Rig::of("fine");
    let all = "volts_v,current_a,power_w,modelled_w,counted_wh,cpu_busy,cpu_temp_c,level";
    let series = format!("/api/v1/outings/29/series?points=50&channels={all}");
    for (name, paths) in [
        ("Outings", vec!["/api/v1/outings"]),
        ("OutingWhole", (20..=31).map(|_| "").collect()),
        ("OutingReport", (20..=31).map(|_| "/report").collect()),
        ("Banks", vec!["/api/v1/banks"]),
        ("BankBook", vec!["/api/v1/banks/1/book"]),
        ("Series", vec![series.as_str()]),
        ("Moment", vec!["/api/v1/clock"]),
    ] {
        let schema = &document["components"]["schemas"][name];
        let mut met = BTreeSet::new();
        for (ix, path) in paths.iter().enumerate() {
            let one = format!("/api/v1/outings/{}{path}", ix + 20);
            let whole = path.starts_with("/api/");
            let got = rig.get(if whole { path } else { &one }).await;
            assert_eq!(got.status, StatusCode::OK, "{path}: {}", got.text);
            reasons(&got.json(), &one);
            fits(&document, schema, &got.json(), "it", &mut met)
                .unwrap_or_else(|why| panic!("{path}: {why}"));
        }
        let mut promised = BTreeSet::new();
        members(&document, schema, "it", &mut promised);
        let missing: Vec<_> = promised.difference(&met).collect();
        assert!(missing.is_empty(), "{name}: promised and never served: {missing:?}");
    }
}

#[tokio::test]
async fn a_log_that_was_read_is_told_as_promised() {
    let document = document();
    let rig = Rig::socket("fine");
    let log = "<qso_date:8>20240309<time_on:4>1523<eor>\n<qso_date:8>20240532<time_on:4>1201<eor>";
    let got = rig.send(json("/api/v1/contacts", log, "")).await;
    let schema = &document["components"]["schemas"]["LogRead"];
    let mut met = BTreeSet::new();
    fits(&document, schema, &got.json(), "it", &mut met).unwrap();
    let mut promised = BTreeSet::new();
    members(&document, schema, "it", &mut promised);
    assert_eq!(promised.difference(&met).count(), 0, "{got:?}", got = got.text);
}

#[tokio::test]
async fn a_plan_is_told_as_promised() {
    let (document, rig) = (document(), Rig::of("fine"));
    let plan = r#"{"bank":{"label_mah":10000},"stretch":[{"hours":8,"sent":0.2}],
        "lead":{"awg":24,"length_m":1}}"#;
    let schema = &document["components"]["schemas"]["Plan"];
    let told = rig.send(json("/api/v1/plan", plan, "")).await.json();
    let mut met = BTreeSet::new();
    fits(&document, schema, &told, "plan", &mut met).unwrap_or_else(|why| panic!("{why}: {told}"));
    let mut promised = BTreeSet::new();
    members(&document, schema, "plan", &mut promised);
    let missing: Vec<_> = promised.difference(&met).collect();
    assert!(missing.is_empty(), "promised and never served: {missing:?}");
    let problem = &document["components"]["schemas"]["Problem"];
    let refused = rig.send(json("/api/v1/plan", r#"{"bank":{"label_mah":1}}"#, "")).await.json();
    fits(&document, problem, &refused, "problem", &mut BTreeSet::new()).unwrap();
    assert_eq!(refused["problems"].as_array().map(Vec::len), Some(2), "{refused}");
}

/// What is told of a key that is none names those there are: these and no others are in the document.
#[tokio::test]
async fn every_key_of_a_plan_is_in_the_document() {
    let document = document();
    let rig = Rig::of("fine");
    let schemas = &document["components"]["schemas"];
    let whole = &schemas["PlanAsked"];
    for table in ["", "bank", "converter", "lead", "draw", "sun", "stretch"] {
        let schema = match table {
            "" => whole,
            "bank" => &schemas["PlanBank"],
            "stretch" => &schemas["PlanStretch"],
            table => &whole["properties"][table],
        };
        let body = match table {
            "" => r#"{"no_such_key":1}"#.to_owned(),
            table => format!(r#"{{"{table}":{{"no_such_key":1}}}}"#),
        };
        let refused = rig.send(json("/api/v1/plan", &body, "")).await.json();
        let mut all = refused["problems"].as_array().unwrap().iter();
        let want = all.find(|it| it["key"] == "no_such_key").unwrap()["want"].as_str().unwrap();
        let named = want.split("There are: ").nth(1).unwrap().trim_end_matches('.');
        let named: BTreeSet<&str> = named.split(", ").collect();
        let tables = ["bank", "converter", "lead", "draw", "sun", "stretch"];
        let own = schema["properties"].as_object().unwrap().keys().map(String::as_str);
        let own: BTreeSet<&str> =
            own.filter(|key| !table.is_empty() || !tables.contains(key)).collect();
        assert_eq!(own, named, "[{table}]");
    }
}

/// What each address takes that changes something: its body's schema, if it has one.
fn asks(document: &Value) -> Vec<(String, &Value)> {
    let paths = document["paths"].as_object().unwrap();
    let posts = paths.iter().filter_map(|(path, item)| {
        let schema = item.pointer("/post/requestBody/content/application~1json/schema")?;
        Some((path.replace("{id}", "29"), found(document, schema)))
    });
    posts.collect()
}

async fn told(path: &str, body: &Value) -> StatusCode {
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    rig.send(json(path, &body.to_string(), &ticket)).await.status
}

#[tokio::test]
async fn no_list_passes_for_an_object() {
    let document = document();
    let asks = asks(&document);
    assert!(asks.len() > 15, "{}", asks.len());
    for (path, schema) in asks {
        let fields = schema["properties"].as_object().unwrap();
        for count in 0..=fields.len() {
            let status = told(&path, &Value::Array(vec![Value::Null; count])).await;
            assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{path} took {count} nulls");
        }
        if fields.contains_key("spec") {
            let spec = serde_json::json!(["Blue ten", "li-ion", 1, 10000, null, null, null, null]);
            let status = told(&path, &serde_json::json!({ "spec": spec })).await;
            assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{path} took a list for a bank");
        }
    }
}

#[tokio::test]
async fn every_text_that_is_taken_has_the_limit_that_is_told() {
    use reckon::name::{LONGEST, LONGEST_MARK};
    let document = document();
    let mut met = 0;
    for (path, schema) in asks(&document) {
        let mut fields: Vec<(String, &Value)> = Vec::new();
        for (name, field) in schema["properties"].as_object().unwrap() {
            let is_spec = name == "spec";
            let inner = found(&document, field.pointer("/anyOf/0").unwrap_or(field));
            let spec = inner["properties"].as_object().into_iter().flatten();
            fields.extend(spec.filter(|_| is_spec).map(|(k, v)| (format!("spec/{k}"), v)));
            fields.push((name.clone(), inner));
        }
        for (name, field) in fields {
            let kinds = field["type"].to_string();
            if !kinds.contains("string") || field.get("enum").is_some() {
                continue;
            }
            let most = field["maxLength"].as_u64();
            let most = most.unwrap_or_else(|| panic!("{path} {name}: how long may it be?"));
            let code = match (path.as_str(), name.as_str()) {
                ("/api/v1/mark", "text") => Some(LONGEST_MARK),
                (_, "name" | "spec/name" | "activity" | "bank") => Some(LONGEST),
                // The whole body may have so many bytes.
                (_, "text") => Some(2 << 20),
                _ => None,
            };
            assert!(code.is_none_or(|code| code as u64 == most), "{path} {name}: {most}, {code:?}");
            // One more is refused.
            let long = "x".repeat(usize::try_from(most).unwrap() + 1);
            let body = match name.strip_prefix("spec/") {
                Some(name) => serde_json::json!({ "spec": { name: long, "label_mah": 10000 } }),
                None => Value::Object([(name.clone(), long.into())].into_iter().collect()),
            };
            let status = told(&path, &body).await;
            // These names are refused by the engine, which is not here.
            let by_engine = ["/api/v1/activity", "/api/v1/outing"].contains(&path.as_str());
            assert!(by_engine || status.is_client_error(), "{path} {name}: {status}");
            met += 1;
        }
    }
    assert!(met >= 14, "only {met} texts were met");
}
