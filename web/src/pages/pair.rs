//! The page where a phone is paired: by itself, and in the place of what was tapped too early.

use askama::Template;
use axum::{
    extract::{Query, State, rejection::QueryRejection},
    http::HeaderMap,
    response::Response,
};
use serde::Deserialize;

use crate::{
    http::{
        assets::Theme,
        problem::{CodeWanted, Problem},
        site::Site,
        window::CODE_LASTS,
    },
    pages::frame::{self, Frame, part, shown},
};

#[derive(Template)]
#[template(path = "pair.html")]
struct PairPage<'a> {
    frame: Frame,
    title: &'a str,
    paired: bool,
    /// Why the phone is not paired, above the field.
    why: Option<&'a str>,
    code: CodeWanted,
    lasts_min: u64,
}

/// A link may bring the code along. It is shown, not tried: a look changes nothing.
#[derive(Deserialize)]
pub(crate) struct Link {
    code: Option<String>,
}

/// `GET /pair`.
pub(crate) async fn page(
    State(site): State<Site>,
    headers: HeaderMap,
    link: Result<Query<Link>, QueryRejection>,
) -> Response {
    let at = site.snapshot().at;
    let brought = link.ok().and_then(|Query(Link { code })| code);
    let is_code = |it: &String| it.len() == 12 && it.bytes().all(|it| it.is_ascii_digit());
    shown(&PairPage {
        frame: Frame::for_request(&site, &headers, "Station"),
        title: site.shown.language.pair.title,
        paired: site.shown.pairing.knows(&headers, at),
        why: None,
        code: CodeWanted {
            typed: brought.filter(is_code).unwrap_or_default(),
            open: site.shown.pairing.is_open(at.mono),
            ..CodeWanted::default()
        },
        lasts_min: CODE_LASTS.as_secs() / 60,
    })
}

/// A failure as a page with a way on; where that is a code, the page takes it.
pub(crate) fn problem(problem: &Problem, look: Theme) -> String {
    let Some(wanted) = &problem.wants_code else { return frame::problem(problem, look) };
    let said = wanted.tried || wanted.then.is_none();
    part(&PairPage {
        frame: Frame::new(look, "Station"),
        title: problem.title,
        paired: false,
        why: said.then_some(&problem.say),
        code: CodeWanted::clone(wanted),
        lasts_min: CODE_LASTS.as_secs() / 60,
    })
}
