//! What every page stands in, how a template is filled in, and the page of a failure.

use askama::Template;
use axum::{
    http::{HeaderMap, StatusCode},
    response::{Html, IntoResponse, Response},
};
use reckon::{
    snapshot::DemoShown,
    words::{self, Language},
};

use crate::http::{
    assets::{self, Asset, Theme},
    problem::Problem,
    site::Parts,
};

/// Address and name of each page, in the bar's order; a new page adds its line.
const PLACES: [(&str, &str); 5] = [
    ("/", "Now"),
    ("/plan", "Plan"),
    ("/outings", "Outings"),
    ("/banks", "Banks"),
    ("/station", "Station"),
];

/// What every page's frame needs.
pub(crate) struct Frame {
    pub(crate) look: Theme,
    pub(crate) style: &'static Asset,
    pub(crate) more: &'static Asset,
    pub(crate) places: &'static [(&'static str, &'static str)],
    pub(crate) here: &'static str,
    pub(crate) language: &'static Language,
    /// What the demonstration shows, where the page itself does not say so.
    pub(crate) demo: Option<DemoShown>,
}

impl Frame {
    /// For whoever sent these headers.
    pub(crate) fn for_request(site: &Parts, headers: &HeaderMap, here: &'static str) -> Self {
        let demo = site.shown.now.borrow().demo;
        Self {
            demo,
            language: site.shown.language,
            ..Self::new(Theme::from_headers(headers), here)
        }
    }

    pub(crate) fn new(look: Theme, here: &'static str) -> Self {
        Self {
            look,
            style: assets::style(),
            more: assets::more(),
            places: &PLACES,
            here,
            language: &words::ENGLISH,
            demo: None,
        }
    }
}

pub(crate) fn filled(page: &impl Template) -> Option<String> {
    page.render().inspect_err(|error| tracing::error!(%error, "a page could not be filled in")).ok()
}

pub(crate) fn shown(page: &impl Template) -> Response {
    filled(page).map_or_else(
        || StatusCode::INTERNAL_SERVER_ERROR.into_response(),
        |text| Html(text).into_response(),
    )
}

pub(crate) fn part(part: &impl Template) -> String {
    filled(part).unwrap_or_default()
}

#[derive(Template)]
#[template(path = "problem.html")]
struct ProblemPage<'a> {
    frame: Frame,
    problem: &'a Problem,
}

/// A failure, as a page with a way on.
pub(crate) fn problem(problem: &Problem, look: Theme) -> String {
    part(&ProblemPage { frame: Frame::new(look, ""), problem })
}
