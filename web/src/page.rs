//! Pages for people: template structs and the handlers that fill them. Words come from `reckon`.

use std::sync::Arc;

use askama::Template;
use axum::{
    extract::State,
    http::{HeaderMap, StatusCode},
    response::{Html, IntoResponse, Response},
};
use reckon::snapshot::Snapshot;

use crate::{
    Site, chart,
    live::Section,
    look::{self, Look, Sheet},
    say,
    trouble::Sorry,
};

/// Address and name of each page, in the bar's order.
const PLACES: [(&str, &str); 2] = [("/", "Now"), ("/station", "Station")];

#[derive(Template)]
#[template(path = "now.html")]
struct NowPage<'a> {
    look: Look,
    style: &'static Sheet,
    script: &'static Sheet,
    places: &'static [(&'static str, &'static str)],
    here: &'static str,
    title: String,
    sections: &'a [Section],
    paired: bool,
}

#[derive(Template)]
#[template(path = "answer.html")]
struct AnswerPart {
    answer: say::Answer,
}

#[derive(Template)]
#[template(path = "station.html")]
struct StationPage<'a> {
    look: Look,
    style: &'static Sheet,
    places: &'static [(&'static str, &'static str)],
    here: &'static str,
    station: &'a str,
}

#[derive(Template)]
#[template(path = "pair.html")]
struct PairPage {
    look: Look,
    style: &'static Sheet,
    places: &'static [(&'static str, &'static str)],
    here: &'static str,
}

#[derive(Template)]
#[template(path = "sorry.html")]
struct SorryPage<'a> {
    look: Look,
    style: &'static Sheet,
    places: &'static [(&'static str, &'static str)],
    here: &'static str,
    sorry: &'a Sorry,
}

fn shown(page: &impl Template) -> Response {
    match page.render() {
        Ok(text) => Html(text).into_response(),
        Err(error) => {
            tracing::error!(%error, "a page could not be filled in");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}

fn part(part: &impl Template) -> String {
    part.render().unwrap_or_default()
}

/// The parts of Now, in reading order.
pub(crate) fn sections(snapshot: &Snapshot) -> Vec<Section> {
    let section = |id, html| Section { id, html };
    vec![
        section("answer", part(&AnswerPart { answer: say::answer(snapshot) })),
        section("day", chart::day_line(snapshot).unwrap_or_default()),
    ]
}

pub(crate) async fn now(State(site): State<Site>, headers: HeaderMap) -> Response {
    let rendered = site.rendered();
    let sections = rendered.sections();
    shown(&NowPage {
        look: Look::of(&headers),
        style: look::style(),
        script: look::script(),
        places: &PLACES,
        here: "Now",
        title: rendered.snapshot.station.clone(),
        sections: &sections,
        paired: site.trusted || site.pairing.knows(&headers),
    })
}

pub(crate) async fn station(State(site): State<Site>, headers: HeaderMap) -> Response {
    let snapshot: Arc<Snapshot> = site.snapshot();
    shown(&StationPage {
        look: Look::of(&headers),
        style: look::style(),
        places: &PLACES,
        here: "Station",
        station: &snapshot.station,
    })
}

pub(crate) async fn pair(State(site): State<Site>, headers: HeaderMap) -> Response {
    // Makes sure that the journal has a code that is good now.
    let _ = site.pairing.pin(site.snapshot().at.mono);
    shown(&PairPage {
        look: Look::of(&headers),
        style: look::style(),
        places: &PLACES,
        here: "Station",
    })
}

/// A failure, as a page with a way on.
pub(crate) fn sorry(sorry: &Sorry, look: Look) -> String {
    part(&SorryPage { look, style: look::style(), places: &PLACES, here: "", sorry })
}
