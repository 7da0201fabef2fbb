//! What only the operator knows: asked, answered, changed and taken back.

use axum::http::StatusCode;
use reckon::{
    belief::{Answer, Question},
    engine::{Command, Start},
    record::RecordCommand,
    units::Share,
};

use crate::{
    rig::{Got, Rig, form, get, json},
    scenes,
};

/// A scene, the question that is asked in it, its name, and every answer by its name.
type Case = (&'static str, Question, &'static str, Vec<(&'static str, Answer)>);

fn all() -> Vec<Case> {
    let level = |part| Answer::Level(Share::new(part).unwrap());
    vec![
        (
            "asked",
            Question::SinceLast,
            "since-last",
            vec![
                ("goes-on", Answer::GoesOn),
                ("charged", Answer::Charged),
                ("another", Answer::Another),
            ],
        ),
        (
            "swapped",
            Question::Swapped,
            "swapped",
            vec![("same", Answer::Same), ("another", Answer::Another)],
        ),
        (
            "how_full",
            Question::HowFull,
            "how-full",
            vec![
                ("1", level(1.0)),
                ("0.875", level(0.875)),
                ("0.625", level(0.625)),
                ("0.375", level(0.375)),
                ("0.125", level(0.125)),
            ],
        ),
        ("bank_changed", Question::BankChanged, "bank-changed", vec![("undo", Answer::Undo)]),
    ]
}

async fn sent(rig: &Rig, by_form: bool, question: &str, answer: Option<&str>) -> Got {
    let ticket = rig.ticket().await;
    let request = if by_form {
        let answer = answer.unwrap_or_default();
        form("/answer", &format!("question={question}&answer={answer}"), &ticket)
    } else {
        let body = serde_json::json!({ "question": question, "answer": answer });
        json("/api/v1/answer", &body.to_string(), &ticket)
    };
    rig.send(request).await
}

#[tokio::test]
async fn every_answer_of_every_question_is_offered_and_reaches_the_engine() {
    for (scene, question, name, answers) in all() {
        let rig = Rig::of(scene);
        let page = rig.get("/").await.text;
        for (text, answer) in answers {
            let button = format!("<button name=answer value=\"{text}\"");
            assert!(page.contains(&button), "{scene}: {button}");
            let want = [Command::Answer { question, answer: Some(answer) }];
            for by_form in [true, false] {
                let got = sent(&rig, by_form, name, Some(text)).await;
                assert!(got.status.is_success() || got.status.is_redirection(), "{}", got.text);
                assert_eq!(rig.heard(), want, "{name} {text}");
            }
        }
        for by_form in [true, false] {
            sent(&rig, by_form, name, None).await;
            assert_eq!(rig.heard(), [Command::Answer { question, answer: None }], "{name}");
        }
        assert_eq!(rig.heard_record(), []);
    }
}

#[tokio::test]
async fn how_the_last_outing_ended_goes_to_the_record() {
    let rig = Rig::of("asked");
    // One question at a time has a place; the other is behind the strip, till that one is answered.
    let place_of = |page: &str| {
        let at = page.find("value=\"ran-empty\"").unwrap();
        let ids = page[..at].rmatch_indices("<div id=").next().unwrap();
        page[ids.0 + "<div id=".len()..].split('>').next().unwrap().to_owned()
    };
    assert_eq!(place_of(&rig.get("/").await.text), "more");
    rig.answered(Question::SinceLast);
    assert_eq!(place_of(&rig.get("/").await.text), "asked");
    for (text, died) in
        [(Some("ran-empty"), Some(true)), (Some("plug-pulled"), Some(false)), (None, None)]
    {
        for by_form in [true, false] {
            sent(&rig, by_form, "how-ended", text).await;
            assert_eq!(
                rig.heard_record(),
                [RecordCommand::Answer { outing: 30, died }],
                "{text:?}"
            );
        }
    }
    assert_eq!(rig.heard(), []);
    // Nothing has ended: there is nothing to say.
    let rig = Rig::of("fine");
    let got = sent(&rig, false, "how-ended", Some("ran-empty")).await;
    assert_eq!((got.status, rig.heard_record()), (StatusCode::CONFLICT, vec![]));
    assert_eq!(got.json()["code"], "not-asked");
}

#[tokio::test]
async fn what_is_no_answer_is_refused_and_changes_nothing() {
    let rig = Rig::of("asked");
    let ticket = rig.ticket().await;
    for (question, answer) in [
        ("since-last", "same"),
        ("since-last", "0.5"),
        ("since-last", "perhaps"),
        ("swapped", "goes-on"),
        ("how-full", "charged"),
        ("how-full", "0"),
        ("how-full", "1.01"),
        ("how-full", "NaN"),
        ("how-full", "-0.5"),
        ("how-ended", "undo"),
        ("bank-changed", "another"),
        ("perhaps", "goes-on"),
        ("", ""),
    ] {
        for by_form in [true, false] {
            let got = sent(&rig, by_form, question, Some(answer)).await;
            assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY, "{question} {answer}");
            assert!(got.text.contains("Nothing was changed."), "{question}: {}", got.text);
        }
    }
    for body in ["", "question=since-last", "answer=goes-on"] {
        let got = rig.send(form("/answer", body, &ticket)).await;
        assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY, "{body}");
    }
    for body in [
        r#"{"question":"since-last"}"#,
        r#"{"answer":null}"#,
        r#"{"question":"since-last","answer":true}"#,
        r#"{"question":"how-full","answer":0.5}"#,
        r#"{"question":"since-last","answer":"goes-on","also":1}"#,
    ] {
        let got = rig.send(json("/api/v1/answer", body, &ticket)).await;
        assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY, "{body}");
    }
    assert_eq!((rig.heard(), rig.heard_record()), (vec![], vec![]));
}

#[tokio::test]
async fn an_answer_that_stands_can_be_changed_and_taken_back() {
    let rig = Rig::of("held");
    let now = rig.get("/").await.text;
    for question in ["swapped", "since-last", "how-ended"] {
        assert!(now.contains(&format!("href=\"/answer/{question}\">Change")), "{question}");
    }
    assert!(!now.contains("<button name=answer"), "what is settled is not asked");
    // What was said can be taken back; what nobody has said can only be said.
    let said = rig.get("/answer/swapped").await.text;
    assert!(said.contains("value=\"same\" aria-pressed=true>"), "{said}");
    assert!(said.contains("<button name=answer value=\"\">Undo"), "{said}");
    let inferred = rig.get("/answer/since-last").await.text;
    assert!(inferred.contains("value=\"goes-on\" aria-pressed=true>"), "{inferred}");
    assert!(!inferred.contains("Undo"), "{inferred}");
    // A phone that is not paired is told what to do first.
    assert!(said.contains("href=/pair"), "{said}");
    let cookie = rig.ticket().await;
    let paired = get("/answer/swapped").header("cookie", cookie);
    let paired = rig.send(paired.body(axum::body::Body::empty()).unwrap()).await.text;
    assert!(!paired.contains("href=/pair"), "{paired}");
}

#[tokio::test]
async fn the_number_says_what_it_supposes_while_a_question_is_open() {
    let now = Rig::of("asked").get("/").await.text.replace('\u{a0}', " ");
    assert!(now.contains("<b>4 h</b> <span>left, if not charged since</span>"), "{now}");
    assert!(now.contains("<p class=range>2 h to 6 h</p>"), "the range is of the same case: {now}");
    for (label, leaves) in [("Yes, not charged", "4 h left"), ("No, charged full", "16 h 30 left")]
    {
        assert!(now.contains(&format!("<b>{label}</b> <span>{leaves}</span>")), "{label}: {now}");
    }
    let json = Rig::of("asked").get("/api/v1/now").await.json();
    assert_eq!(json["forecast"]["possibilities"].as_array().unwrap().len(), 3);
    assert_eq!(json["questions"][0]["standing"], "open");
}

#[tokio::test]
async fn the_connected_bank_is_no_button_and_another_one_asks_first() {
    let rig = Rig::of("fine");
    let station = rig.get("/station").await.text;
    let (_, bank) = station.split_once("<form method=get action=/bank>").unwrap();
    let tiles = bank.split("</div>\n").next().unwrap();
    assert!(tiles.contains("<div class=tile><b>● Blue ten</b>"), "{tiles}");
    assert!(!tiles.contains("value=\"Blue ten\""), "{tiles}");
    assert!(tiles.contains("<button name=bank value=\"Long six\">"), "{tiles}");
    // The page in between says what would end; only its own buttons change anything.
    let asks = rig.get("/bank?bank=Long+six").await;
    assert_eq!((asks.status, rig.heard()), (StatusCode::OK, vec![]));
    let text = asks.text.replace('\u{a0}', " ");
    assert!(text.contains("The outing on Blue ten then ends (3 h so far, 9.4 Wh)"), "{text}");
    assert!(text.contains("undo this for ten minutes"), "{text}");
    let ticket = rig.ticket().await;
    for (value, start) in [
        ("full", Start::Full),
        ("0.375", Start::of_level(Share::new(0.375).unwrap())),
        ("unknown", Start::Unknown),
    ] {
        assert!(text.contains(&format!("<button name=start value={value}>")), "{text}");
        let body = format!("bank=Long+six&start={value}");
        rig.send(form("/bank", &body, &ticket)).await;
        let want = Command::UseBank { bank: scenes::long_six(), start: Some(start) };
        assert_eq!(rig.heard(), [want], "{value}");
    }
    // Without a word on how full it is, nobody says: the engine then leaves the connected one alone.
    rig.send(form("/bank", "bank=Blue+ten", &ticket)).await;
    assert_eq!(rig.heard(), [Command::UseBank { bank: scenes::blue_ten(), start: None }]);
    for start in ["0.01", "1.5", "NaN", "half", "part"] {
        let body = format!(r#"{{"bank":"Blue ten","start":"{start}"}}"#);
        let got = rig.send(json("/api/v1/bank", &body, &ticket)).await;
        assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY, "{start}");
        assert!(got.text.contains("Nothing was changed."), "{start}: {}", got.text);
    }
    assert_eq!(rig.heard(), []);
}
