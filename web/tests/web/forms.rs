//! What a tap asks for.

use std::time::Duration;

use axum::http::StatusCode;
use reckon::{
    bank::{Cells, MeasuredAt},
    engine::{Command, Start},
    power_off::PowerOffAsk,
    time::Mono,
    units::Share,
};

use crate::{
    rig::{Rig, form, json},
    scenes,
};

async fn asks(scene: &str, path: &str, body: &str) -> Vec<Command> {
    let rig = Rig::of(scene);
    let ticket = rig.ticket().await;
    let request =
        if body.starts_with('{') { json(path, body, &ticket) } else { form(path, body, &ticket) };
    let got = rig.send(request).await;
    assert!(got.status.is_success() || got.status == StatusCode::SEE_OTHER, "{body}: {}", got.text);
    rig.heard()
}

fn hours_min(hours: u64, minutes: u64) -> Duration {
    Duration::from_secs((hours * 60 + minutes) * 60)
}

#[tokio::test]
async fn a_bank_in_one_tap_or_in_full() {
    let want = Command::UseBank { bank: scenes::long_six(), start: None };
    assert_eq!(asks("no_bank", "/bank", "bank=Long+six").await, std::slice::from_ref(&want));
    assert_eq!(asks("no_bank", "/api/v1/bank", r#"{"bank":"Long six"}"#).await, [want]);
    let part = Start::Part(Share::new(0.7).unwrap());
    let want = Command::UseBank { bank: scenes::blue_ten(), start: Some(part) };
    let typed = "bank=Blue+ten&start=part&level_percent=70";
    assert_eq!(asks("fine", "/bank", typed).await, std::slice::from_ref(&want));
    assert_eq!(
        asks("fine", "/api/v1/bank", r#"{"bank":"Blue ten","start_level":0.7}"#).await,
        [want]
    );
    let own = "name=Blue+ten&label_mah=10000&cells=li-ion&series=&label_v=&measured_at=output&start=unknown";
    let want = Command::UseBank { bank: scenes::blue_ten(), start: Some(Start::Unknown) };
    assert_eq!(asks("no_bank", "/bank", own).await, [want]);
    // 12.8 V is what four LiFePO4 cells in series are sold as: common practice, no source.
    let pack = "name=Long+six&label_mah=6000&cells=lifepo4&measured_at=cells&start=full";
    let Command::UseBank { bank, .. } = asks("no_bank", "/bank", pack).await.remove(0) else {
        panic!("no bank was asked for")
    };
    assert_eq!((bank.cells, bank.series, bank.measured_at), (Cells::LiFePo4, 4, MeasuredAt::Cells));
    assert!((bank.label_volts.si() - 12.8).abs() < 1e-9);
}

#[tokio::test]
async fn the_finish_in_one_tap() {
    // Every scene stands at 11:40 local time.
    for (body, want) in [
        ("after_min=120", Some(hours_min(2, 0))),
        ("at=17%3A00", Some(hours_min(5, 20))),
        ("at=11%3A30", Some(hours_min(23, 50))),
        ("at=11%3A40", Some(hours_min(24, 0))),
        ("clear=1", None),
    ] {
        assert_eq!(
            asks("fine", "/finish", body).await,
            [Command::Finish { after: want }],
            "{body}"
        );
    }
    let [Command::Finish { after: Some(later) }] =
        asks("fine", "/finish", "shift_min=30").await[..]
    else {
        panic!("no finish")
    };
    assert!((later.as_secs_f64() - (5.333 * 3600.0 + 1800.0)).abs() < 0.01, "{later:?}");
    let want = Command::Finish { after: Some(hours_min(2, 0)) };
    assert_eq!(asks("fine", "/api/v1/finish", r#"{"after_s":7200}"#).await, [want]);
    assert_eq!(
        asks("fine", "/api/v1/finish", r#"{"after_s":null}"#).await,
        [Command::Finish { after: None }]
    );
}

#[tokio::test]
async fn a_time_of_day_needs_a_clock() {
    let rig = Rig::of("no_clock");
    let ticket = rig.ticket().await;
    let got = rig.send(form("/finish", "at=17%3A00", &ticket)).await;
    assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(got.text.contains("does not know the time of day"));
    assert!(!rig.get("/").await.text.contains("type=time"), "the field would promise too much");
}

#[tokio::test]
async fn the_countdown_can_be_stopped_and_shortened() {
    let page = Rig::of("alarm").get("/").await.text;
    let asks_for =
        ["Switching off in 90", "value=stop class=main>Keep running<", "value=now>Switch off now<"];
    for said in asks_for {
        assert!(page.contains(said) || page.replace('\u{a0}', " ").contains(said), "{said}");
    }
    for (wish, want) in [("stop", PowerOffAsk::Stop), ("now", PowerOffAsk::Now)] {
        let body = format!("wish={wish}");
        assert_eq!(asks("alarm", "/power-off", &body).await, [Command::PowerOff(want)]);
        let body = format!(r#"{{"wish":"{wish}"}}"#);
        assert_eq!(asks("alarm", "/api/v1/power-off", &body).await, [Command::PowerOff(want)]);
    }
    let rig = Rig::of("alarm");
    let ticket = rig.ticket().await;
    let got = rig.send(form("/power-off", "wish=perhaps", &ticket)).await;
    assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(!Rig::of("fine").get("/").await.text.contains("Keep running"));
}

#[tokio::test]
async fn activity_alarm_and_name() {
    let want = Command::Activity { name: Some("Receive".to_owned()) };
    assert_eq!(asks("fine", "/activity", "name=Receive").await, [want]);
    assert_eq!(asks("fine", "/activity", "name=").await, [Command::Activity { name: None }]);
    // The rules choose again; the button is there only where there are rules.
    assert_eq!(asks("fine", "/activity", "itself=1").await, [Command::ActivityAuto]);
    let json_wish = asks("fine", "/api/v1/activity", r#"{"by_itself":true}"#).await;
    assert_eq!(json_wish, [Command::ActivityAuto]);
    let rig = Rig::of("fine");
    let ticket = rig.ticket().await;
    let both = rig.send(form("/activity", "itself=1&name=Receive", &ticket)).await;
    assert_eq!((both.status, rig.heard()), (StatusCode::UNPROCESSABLE_ENTITY, Vec::new()));
    let offered = |text: &str| text.contains("name=itself");
    assert!(offered(&Rig::of("fine").get("/").await.text));
    assert!(!offered(&Rig::of("no_bank").get("/").await.text));
    let want =
        Command::Sleep { alarm: 0, since: Mono::at_s(11_159.875), span: Duration::from_secs(3600) };
    // Exactly as the page's own form has it.
    let page = Rig::of("alarm").get("/").await.text;
    for field in ["name=alarm value=0>", "name=since_s value=11159.875>", "name=for_s value=3600>"]
    {
        assert!(page.contains(field), "{field}");
    }
    let body = "alarm=0&since_s=11159.875&for_s=3600";
    assert_eq!(asks("alarm", "/alarm", body).await, [want]);
    let want = Command::NameOuting { name: "Old quarry, in the cold".to_owned() };
    assert_eq!(asks("fine", "/outing", "name=+Old+quarry%2C+in+the+cold+").await, [want]);
}
