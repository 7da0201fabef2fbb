//! Page Plan: three taps to an answer, what cannot be right, what is remembered, and addresses that no tap made.

use axum::{
    body::Body,
    http::{StatusCode, header},
};
use proptest::prelude::*;

use crate::{
    past::Mood,
    rig::{Got, Rig, get, json},
};

const WHOLE: &str = "/plan?bank.known=Blue+ten&doing=contacts&hours=8";

fn main_of(page: &str) -> String {
    let main = page.split_once("<main").unwrap().1.split("</main>").next().unwrap();
    format!("<main{main}</main>")
}

/// Where the link of this text leads.
fn link(page: &str, text: &str) -> String {
    let before = page.split(&format!("><span>{text}</span>")).next().unwrap();
    let href = before.rsplit("<a href=\"").next().unwrap().split('"').next().unwrap();
    href.replace("&#38;", "&").replace("&amp;", "&")
}

async fn with_cookie(rig: &Rig, path: &str, cookie: &str) -> Got {
    rig.send(get(path).header(header::COOKIE, cookie).body(Body::empty()).unwrap()).await
}

#[tokio::test]
async fn golden_plan() {
    let rig = Rig::of("fine");
    insta::assert_snapshot!("plan_new", main_of(&rig.get("/plan").await.text));
    let path = format!("{WHOLE}&at=09:00&ambient_c=-5&reserve_h=1&open=cold");
    insta::assert_snapshot!("plan", main_of(&rig.get(&path).await.text));
}

#[tokio::test]
async fn three_taps_lead_to_an_answer() {
    let rig = Rig::of("fine");
    let mut page = rig.get("/plan").await.text;
    for tap in ["Blue ten", "mostly contacts", "8\u{a0}h"] {
        assert!(!page.contains(" in 10 to last"), "{tap}: answered too soon");
        let to = link(&page, tap);
        page = rig.get(&to).await.text;
        assert!(page.contains("aria-current=true"), "{tap}: {to}");
    }
    assert!(page.contains(" in 10 to last until 19:40."), "08:40 and 8 h: {page}");
    assert!(page.contains("Would end about"), "{page}");
    // Without a clock to be believed, hours.
    let page = Rig::of("no_clock").get(WHOLE).await.text;
    assert!(page.contains("in 10 to last 8\u{a0}h."), "{page}");
    assert!(page.contains("Would last about"), "{page}");
    // A time of day that was typed needs none.
    let page = Rig::of("no_clock").get(&format!("{WHOLE}&at=9:00")).await.text;
    assert!(page.contains("in 10 to last until 17:00."), "{page}");
}

/// When it would end, min after a midnight, and what is said of the change of this text, min.
fn ends_min(page: &str) -> f64 {
    let about = page.split("Would end about ").nth(1).unwrap();
    let (hour, minute) = about[..5].split_once(':').unwrap();
    let next = about[5..].starts_with(" next day");
    let days = if next { 1440.0 } else { 0.0 };
    hour.parse::<f64>().unwrap() * 60.0 + minute.parse::<f64>().unwrap() + days
}

fn gains_min(text: &str) -> f64 {
    let parts: Vec<&str> = text.trim_start_matches("+\u{a0}").split('\u{a0}').collect();
    match parts[..] {
        [hours, "h"] => hours.parse::<f64>().unwrap() * 60.0,
        [hours, "h", min] => hours.parse::<f64>().unwrap() * 60.0 + min.parse::<f64>().unwrap(),
        [min, "min"] => min.parse().unwrap(),
        _ => panic!("{text}"),
    }
}

#[tokio::test]
async fn a_tap_on_a_change_makes_it() {
    let rig = Rig::of("fine");
    let mut seen = 0;
    for plan in [
        &format!("{WHOLE}&open=cold&at=08:00&ambient_c=2"),
        "/plan?bank.label_mah=10000&at=08:00&stretch.0.hours=6&stretch.0.busy=.5&stretch.0.sent=.3&draw.radio=small",
    ] {
        let page = rig.get(plan).await.text;
        let buys = page.split("class=buys").nth(1).unwrap().split("</section>").next().unwrap();
        for row in buys.split("href=\"").skip(1) {
            let href = row.split('"').next().unwrap().replace("&#38;", "&");
            assert!(!href.contains("open="), "{href}");
            let gains = row.split("<b>").nth(1).unwrap().split('<').next().unwrap();
            let changed = rig.get(&href).await;
            assert_eq!(changed.status, StatusCode::OK, "{href}");
            // Each of the two times is rounded to ten minutes, and so is what lies between them; beyond 12 h to 30.
            let later = ends_min(&changed.text) - ends_min(&page);
            assert!((later - gains_min(gains)).abs() <= 30.0, "{href}: {later} for {gains}");
            seen += 1;
        }
    }
    assert_eq!(seen, 6);
}

#[tokio::test]
async fn what_cannot_be_right_comes_back_with_what_was_typed() {
    let rig = Rig::of("fine");
    for (query, at, want) in [
        ("&ambient_c=900", "ambient_c", "want a number from -40 to 60"),
        ("&ambient_c=warm", "ambient_c", "want a number from -40 to 60"),
        ("&reserve_h=-1", "reserve_h", "want a number from 0 to 100"),
        (
            "&sun.full_sun_h=5&sun.full_sun_h.to=3&sun.panel_w=10",
            "sun.full_sun_h",
            "the lesser first",
        ),
        ("&stretch.0.hours=2&stretch.0.busy=7", "stretch.0.busy", "want a number from 0 to 1."),
        ("&at=25:00", "at", ""),
    ] {
        let got = rig.get(&format!("{WHOLE}{query}")).await;
        assert_eq!(got.status, StatusCode::OK, "{query}");
        let typed = query.split('&').find(|it| it.starts_with(&format!("{at}="))).unwrap();
        let typed = typed.split('=').nth(1).unwrap();
        let field = got.text.split(&format!("<input id=\"{at}\"")).nth(1).unwrap();
        assert!(
            field.split('>').next().unwrap().contains(&format!("value=\"{typed}\"")),
            "{query}"
        );
        let fault =
            field.split(&format!("id=\"f-{at}\">")).nth(1).unwrap_or_else(|| panic!("{query}"));
        assert!(fault.split('<').next().unwrap().contains(want), "{query}: {fault}");
        assert_eq!(
            got.header("set-cookie"),
            if at == "at" { got.header("set-cookie") } else { "" }
        );
    }
    for (query, want) in [
        ("bank.known=Red+one&doing=half&hours=8", "There is no bank called Red one"),
        ("bank.label_mah=5&doing=half&hours=8", "mAh"),
        ("bank.known=Blue+ten&doing=half&hours=eight", "want a number from 0.001 to 1000 h"),
        ("bank.known=Blue+ten&doing=half&hours=8&nonsense=1", "nonsense: "),
        ("bank.known=Blue+ten&stretch.0.hours=4&stretch.0.activity=Sleeping", "Sleeping was never"),
    ] {
        let got = rig.get(&format!("/plan?{query}")).await;
        let text = got.text.to_lowercase();
        assert!(text.contains(&want.to_lowercase()), "{query}: {}", got.text);
        assert!(got.text.contains("Not worked out yet."), "{query}");
    }
}

#[tokio::test]
async fn a_lead_loses_volts_though_nobody_said_which_board() {
    // 1 m there and back of AWG 24 is 2 x 84 mohm (ASTM B258), and a busy board takes an ampere and more.
    let page = Rig::of("fine").get(&format!("{WHOLE}&lead.awg=24&lead.length_m=1")).await.text;
    let said = page.split("the lead loses ").nth(1).unwrap().split('\u{a0}').next().unwrap();
    assert!((0.15..0.6).contains(&said.parse::<f64>().unwrap()), "{said}");
}

/// Keys for files alone: a curve of many points, another board than this one, and what the page says once for all
/// banks.
const OF_FILES: [&str; 4] = ["converter.curve", "bank.board", "bank.ambient_c", "start"];

#[tokio::test]
async fn every_key_of_a_plan_has_a_field() {
    let rig = Rig::of("fine");
    let path = "/plan?bank.label_mah=10000&stretch.0.hours=1&stretch.0.board=off";
    let page = rig.get(path).await.text;
    let refused = rig.send(json("/api/v1/plan", r#"{"x":1,"bank":{"x":1},"draw":{"x":1},"sun":{"x":1},"lead":{"x":1},"converter":{"x":1},"stretch":{"x":1}}"#, "")).await;
    let mut fields = 0;
    for problem in refused.json()["problems"].as_array().unwrap() {
        let (table, want) = (problem["table"].as_str().unwrap(), problem["want"].as_str().unwrap());
        let Some(keys) = want.split("There are: ").nth(1) else { continue };
        for key in keys.trim_end_matches('.').split(", ") {
            let name = match table {
                "" => key.to_owned(),
                "stretch" => format!("stretch.0.{key}"),
                table => format!("{table}.{key}"),
            };
            if !OF_FILES.contains(&name.as_str()) {
                // The first bank has none before it.
                let name = name.replace("bank.together", "bank.1.together");
                let name = name.replace("stretch.0.activity", "stretch.1.activity");
                assert!(page.contains(&format!(" name=\"{name}\"")), "no field for {name}");
                fields += 1;
            }
        }
    }
    assert!(fields > 55, "{fields}: {}", refused.text);
}

#[tokio::test]
async fn the_last_plan_is_remembered_and_a_hostile_cookie_is_not() {
    let rig = Rig::of("fine");
    let got = rig.get(&format!("{WHOLE}&open=sun")).await;
    let cookie = got.header("set-cookie").to_owned();
    // RFC 6265bis section 4.1.2.7; what is remembered is no secret and changes nothing.
    assert!(cookie.contains("SameSite=Lax") && cookie.contains("HttpOnly"), "{cookie}");
    assert!(!cookie.contains("open"), "{cookie}");
    let cookie = cookie.split(';').next().unwrap();
    let again = with_cookie(&rig, "/plan", cookie).await;
    assert!(again.text.contains(" in 10 to last until"), "{}", again.text);
    // What the address says goes before; an empty one starts over.
    let other = with_cookie(&rig, "/plan?bank.known=Long+six", cookie).await;
    assert!(other.text.contains("Will it last?"));
    let over = with_cookie(&rig, "/plan?", cookie).await;
    assert!(over.text.contains("Will it last?") && over.header("set-cookie").contains("Max-Age=0"));
    for hostile in [
        "plan=%00%ff&&&==",
        "plan=<script>alert(1)</script>",
        &format!("plan={}", "hours=1&".repeat(900)),
    ] {
        let got = with_cookie(&rig, "/plan", hostile).await;
        assert_eq!(got.status, StatusCode::OK, "{hostile}");
        assert!(
            got.text.contains("Will it last?") && !got.text.contains("<script>alert"),
            "{hostile}"
        );
    }
}

#[tokio::test]
async fn a_form_with_empty_fields_is_sent_on_to_a_short_address() {
    let rig = Rig::of("fine");
    let got = rig
        .get(&format!("{WHOLE}&ambient_c=&stretch.0.hours=2&stretch.1.hours=&stretch.1.busy=.2"))
        .await;
    assert_eq!(got.status, StatusCode::SEE_OTHER);
    assert_eq!(
        got.header("location"),
        "/plan?bank.known=Blue+ten&doing=contacts&hours=8&stretch.0.hours=2"
    );
}

#[tokio::test]
async fn a_record_that_cannot_be_read_is_said() {
    let rig = Rig::past(Mood::Gone);
    assert_eq!(rig.get("/plan").await.status, StatusCode::OK);
    let got = rig.get(WHOLE).await;
    assert_eq!(got.status, StatusCode::SERVICE_UNAVAILABLE, "{}", got.text);
    let labelled = rig.get("/plan?bank.label_mah=10000&doing=half&hours=4").await;
    assert_eq!(labelled.status, StatusCode::SERVICE_UNAVAILABLE, "activities are of the record");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn no_address_makes_it_fall(
        pairs in prop::collection::vec(
            (
                prop::sample::select(vec![
                    "bank.known", "bank.label_mah", "bank.1.known", "bank.9.known", "bank.x.y", "doing", "hours",
                    "at", "open", "ambient_c", "start", "reserve_h", "finish_h", "stretch.0.hours",
                    "stretch.3.hours", "stretch.99999999999999999999.hours", "stretch.1.busy", "stretch.0.mode",
                    "sun.panel_w", "sun.full_sun_h", "sun.full_sun_h.to", "lead.awg", "lead.length_m",
                    "converter.kind", "draw.radio", "...", "", "a.b.c.d",
                ]),
                prop::sample::select(vec![
                    "Blue+ten", "Long+six", "half", "8", "1000", "-1", "0", "1e300", "NaN", "%ff%00", "<b>", "\"",
                    "09:00", "99:99", "full", "yes", "small", "good", "", "%22%3E%3Cscript%3E", "0.001", "20",
                ]),
            ),
            0..9,
        ),
    ) {
        let query: Vec<String> = pairs.iter().map(|(name, value)| format!("{name}={value}")).collect();
        let query = query.join("&").replace(['<', '>', '"'], "%3C");
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        runtime.block_on(async {
            let rig = Rig::of("fine");
            let got = rig.get(&format!("/plan?{query}")).await;
            let there = [StatusCode::OK, StatusCode::SEE_OTHER].contains(&got.status);
            assert!(there, "{query}: {} {}", got.status, got.text);
            let svg = got.text.split("<svg").nth(1).unwrap_or_default();
            assert!(!got.text.contains("<script>") && !svg.contains("NaN"), "{query}");
        });
    }
}
