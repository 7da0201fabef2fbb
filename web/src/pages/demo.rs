//! The demonstration's own: what steers it, and what stands in the place of the pages while its board
//! is off.

use std::sync::Arc;

use askama::Template;
use axum::{
    Form, Router,
    extract::State,
    http::{HeaderMap, StatusCode, header},
    middleware,
    response::{IntoResponse, Response},
    routing::{get, post},
};
use reckon::words::{self, Language};
use serde::Deserialize;

use crate::{
    DemoAsk, Demonstration,
    http::{
        assets::{self, Theme},
        door::{Done, Door, Outcome},
        finish,
        problem::{Problem, not_there},
        site::{Kept, Site},
    },
    pages::frame::{self, Frame, shown},
};

#[derive(Deserialize)]
pub(crate) struct AskForm {
    ask: DemoAsk,
}

/// `POST /demo`, where there is a demonstration.
pub(crate) async fn ask(
    State(site): State<Site>,
    door: Door,
    headers: HeaderMap,
    Form(form): Form<AskForm>,
) -> Outcome {
    let demo = site.shown.demo.as_ref().ok_or_else(|| not_there("page"))?;
    demo.ask(form.ask);
    Ok(back(door, &headers))
}

fn back(door: Door, headers: &HeaderMap) -> Done {
    door.done(page_before(headers).unwrap_or_else(|| "/".to_owned()), Kept::OnCard)
}

/// The page with the button; of an address only its path, so that it leads nowhere else.
fn page_before(headers: &HeaderMap) -> Option<String> {
    let referer = headers.get(header::REFERER)?.to_str().ok()?;
    let (_, path) = referer.split_once("://")?.1.split_once('/')?;
    (!path.starts_with(['/', '\\'])).then(|| format!("/{path}"))
}

/// What is served while the demonstration's board is off: a page that says so.
pub fn board_off(demo: Arc<dyn Demonstration>, language: &'static Language) -> Router {
    let page: finish::ProblemPage = frame::problem;
    Router::new()
        .route(assets::style().path, get(assets::style_file))
        .route("/demo", post(ask_board_off))
        .route("/live", get(async || off()))
        .route("/api/v1/{*rest}", get(async || off()))
        .fallback(get(off_page))
        .layer(middleware::from_fn_with_state(page, finish::finish_response))
        .with_state((demo, language))
}

type BoardOff = (Arc<dyn Demonstration>, &'static Language);

async fn ask_board_off(
    State((demo, _)): State<BoardOff>,
    door: Door,
    headers: HeaderMap,
    Form(form): Form<AskForm>,
) -> Done {
    demo.ask(form.ask);
    back(door, &headers)
}

#[derive(Template)]
#[template(path = "board_off.html")]
struct BoardOffPage {
    frame: Frame,
}

async fn off_page(State((demo, language)): State<BoardOff>, headers: HeaderMap) -> Response {
    let demo = Some(demo.shown());
    let look = Theme::from_headers(&headers);
    shown(&BoardOffPage { frame: Frame { demo, language, ..Frame::new(look, "") } })
}

/// For a program, and for a page that is open.
fn off() -> Response {
    let [title, say] = [words::ENGLISH.frame.demo_empty[0], words::ENGLISH.frame.demo_empty[1]];
    Problem::new(StatusCode::SERVICE_UNAVAILABLE, "board-off", title, say).into_response()
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;

    #[test]
    fn a_button_leads_back_to_its_page_and_nowhere_else() {
        let back = |from: &'static str| {
            let mut headers = HeaderMap::new();
            headers.insert(header::REFERER, HeaderValue::from_static(from));
            page_before(&headers)
        };
        assert_eq!(back("http://heron:8073/outings/1?x=1").as_deref(), Some("/outings/1?x=1"));
        assert_eq!(back("http://heron:8073/").as_deref(), Some("/"));
        for elsewhere in ["http://heron//other.example/", "http://heron/\\other.example", "heron"] {
            assert_eq!(back(elsewhere), None, "{elsewhere}");
        }
    }
}
