//! A second language in a second folder: English with every letter circled, for the page of the
//! contact log. A plain letter on that page is a text that no language was asked for.

mod contact_log;
mod frame;

use axum::http::StatusCode;
use reckon::words::{ENGLISH, Language};

use crate::{
    contacts::{KIND, LOG, browser},
    rig::{Rig, post},
};

/// Leaks a little, as a test may.
fn pseudo() -> &'static Language {
    Box::leak(Box::new(Language {
        tag: "en-x-pseudo",
        frame: frame::frame(),
        contact_log: contact_log::page(),
        ..ENGLISH
    }))
}

/// Every letter in a circle, so that none of ASCII is left.
fn circled(text: &str) -> String {
    let circled = |letter: char| match letter.to_ascii_uppercase() {
        upper @ 'A'..='Z' => char::from_u32(0x24b6 + u32::from(upper) - u32::from('A')).unwrap(),
        _ => letter,
    };
    text.chars().map(circled).collect()
}

fn fixed(text: &'static str) -> &'static str {
    Box::leak(circled(text).into_boxed_str())
}

/// What a person sees or hears of a page: its text and its labels. Examples in empty fields and
/// names that a person gave are left out.
fn plain_english(page: &str) -> Vec<String> {
    let mut seen = Vec::new();
    for part in page.split('<').skip(1) {
        let (tag, text) = part.split_once('>').expect("every tag ends");
        let label = tag.split("aria-label=\"").nth(1).and_then(|it| it.split('"').next());
        seen.extend([label.unwrap_or_default(), text]);
    }
    let of_nobody = |text: &str| {
        let mut rest = text.replace("&#39;", "'");
        while let Some((before, after)) = rest.split_once('«') {
            rest = format!("{before}{}", after.split_once('»').expect("a name ends").1);
        }
        rest
    };
    let seen = seen.into_iter().map(of_nobody);
    seen.filter(|text| text.chars().any(|it| it.is_ascii_alphabetic())).collect()
}

#[tokio::test]
async fn a_page_speaks_a_second_language_and_nothing_else() {
    let rig = Rig::with("fine", |shown| shown.language = pseudo());
    let english = Rig::of("fine");
    for path in ["/contacts", "/contacts?outing=29", "/contacts?outing=28"] {
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
