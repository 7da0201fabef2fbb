//! A second language in a second folder. A text of a page that stays plain English is one that no
//! language was asked for.

mod language;

use std::{collections::BTreeSet, sync::Arc};

use axum::http::StatusCode;
use language::{circled, pseudo};
use tokio::sync::watch;

use crate::{
    contacts::{KIND, LOG, browser},
    past,
    rig::{Rig, post},
};

/// What a person sees or hears of a page: its texts, its labels, and the examples in its fields.
/// Names that a person gave are left out, and commands to type.
fn seen(page: &str) -> Vec<String> {
    let mut seen = Vec::new();
    let (head, body) = page.split_once("</head>").expect("a page has a head");
    let title = head.split_once("<title>").expect("a title").1;
    seen.push(title.split('<').next().unwrap_or_default());
    for part in body.split("<script>").next().unwrap_or_default().split('<').skip(1) {
        let (tag, text) = part.split_once('>').expect("every tag ends");
        for label in ["aria-label=\"", "placeholder=\""] {
            seen.extend(tag.split(label).nth(1).and_then(|it| it.split('"').next()));
        }
        seen.extend((tag != "code").then_some(text));
    }
    let of_nobody = |text: &str| {
        let mut rest = text.trim().replace("&#39;", "'");
        while let Some((before, after)) = rest.split_once('«') {
            rest = format!("{before}{}", after.split_once('»').expect("a name ends").1);
        }
        rest
    };
    let seen = seen.into_iter().map(of_nobody);
    seen.filter(|text| text.chars().any(char::is_alphabetic)).collect()
}

/// What of it is plain English, but for the first examples of a field.
fn plain_english(page: &str) -> Vec<String> {
    let example = |text: &String| text.starts_with("2024-") || text.starts_with("&lt;QSO");
    let english = seen(page).into_iter().filter(|text| !example(text));
    english.filter(|text| text.chars().any(|it| it.is_ascii_alphabetic())).collect()
}

#[tokio::test]
async fn a_page_speaks_a_second_language_and_nothing_else() {
    let (language, _) = pseudo();
    let rig = Rig::with("fine", |shown| shown.language = language);
    let english = Rig::of("fine");
    for path in [
        "/contacts",
        "/contacts?outing=29",
        "/contacts?outing=28",
        "/pair",
        "/banks/1/import",
        "/banks/1/forget",
    ] {
        let page = rig.get(path).await.text;
        assert_eq!(plain_english(&page), Vec::<String>::new(), "{path}: {page}");
        assert!(page.contains("lang=en-x-pseudo"), "{page}");
        let page = english.get(path).await.text;
        assert!(plain_english(&page).len() > 10, "the check sees plain English: {page}");
    }
    let ticket = rig.ticket().await;
    let got = rig.send(post("/contacts", KIND, &browser(LOG, "", "29"), &ticket)).await;
    assert_eq!((got.status, plain_english(&got.text)), (StatusCode::OK, vec![]), "{}", got.text);
}

/// Pages that say computed sentences beside their fixed texts, and the tables of the fixed ones.
const PAGES: [(&str, &[&str]); 10] = [
    ("/plan", &["frame", "plan"]),
    ("/plan?bank.known=Blue+ten&doing=half&hours=8", &["frame", "plan"]),
    ("/", &["frame", "now", "bank_form"]),
    ("/station", &["frame", "station", "bank_form"]),
    ("/phones", &["frame", "phones"]),
    ("/banks", &["frame", "banks", "bank_form"]),
    ("/banks/1/test", &["frame", "test"]),
    ("/banks/1/book", &["frame", "bank_book"]),
    ("/outings", &["frame", "outings"]),
    ("/outings/31", &["frame", "outing", "outings", "banks", "report"]),
];

/// An answer and an activity of the scenes are called so too.
const ELSEWHERE: [&str; 2] = ["Another bank", "Contacts"];

#[tokio::test]
async fn no_fixed_text_of_a_page_stays_english() {
    let (language, fixed) = pseudo();
    let mut met = BTreeSet::new();
    for scene in ["fine", "alarm", "no_bank", "unsure", "held", "how_full", "no_sensor", "demo"] {
        let troubled = scene != "fine";
        let status = past::record_status(troubled);
        let english = Rig::record_status(scene, status.clone());
        let rig = Rig::with(scene, |shown| {
            shown.language = language;
            shown.record_status = watch::channel(Arc::new(status)).1;
        });
        for (path, tables) in PAGES {
            let of_page = fixed.iter().filter(|(table, _)| tables.contains(table));
            let (page, english) = (rig.get(path).await.text, english.get(path).await.text);
            let (page, english) = (seen(&page), seen(&english));
            for (table, text) in of_page.filter(|(_, text)| !ELSEWHERE.contains(text)) {
                let has = |page: &[String], text: &str| page.iter().any(|it| it == text);
                assert!(!has(&page, text), "{path}: {text} of {table} stayed: {page:#?}");
                if has(&english, text) {
                    assert!(has(&page, &circled(text)), "{path}: {text} of {table}: {page:#?}");
                    met.insert((*table, *text));
                }
            }
        }
    }
    assert!(met.len() > 130, "{} of {} fixed texts: {met:?}", met.len(), fixed.len());
}
