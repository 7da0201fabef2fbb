//! Serves the page and the JSON: [`pages`] is the whole of it, a function from what is shown to a
//! router, so that tests call it without a socket.
//!
//! It sees snapshots and sends asks; it cannot reach a chip, a file or the clock. What it needs of
//! the listener: a bound on connections and on the time and size of request heads, and, if it can,
//! `ConnectInfo<SocketAddr>` among the request's extensions, so that one phone cannot take all live
//! views.
#![forbid(unsafe_code)]

mod asks;
mod demo;
mod draw;
mod http;
mod pages;
mod record;
mod wire;

use std::sync::Arc;

use axum::{
    Json, Router,
    extract::{DefaultBodyLimit, State},
    http::{StatusCode, header},
    middleware,
    response::{IntoResponse, Response},
    routing::{get, post},
};
use tower_http::catch_panic::CatchPanicLayer;

use crate::{
    http::{
        assets, finish, guard, gzip,
        site::{Parts, Site},
    },
    pages::{
        bank, banks, contacts, live, now, outings, pair, phones, plan, questions, report, station,
    },
    wire::metrics,
};

pub use demo::{DemoAsk, Demonstration};
pub use http::group::Group;
pub use http::pairing::{Pairing, PhoneKeeper, Pin, TicketShown};
pub use http::phones::{MOST_PHONES, Phone};
pub use http::site::{Kept, Request, Shown};
pub use http::window::{CODE_LASTS, Rejected};
pub use pages::contacts::LOG_BYTES;
pub use pages::demo::board_off;
pub use record::{
    BankShown, Clock, ClockCompared, FileSetAside, NoRecord, Pieces, RecordReader, RecordStatus,
    RunningTest,
};
pub use wire::plan::{PlanProblem, described_plan, plan_json};

/// The pages and the JSON for the network: everyone may look, changing needs pairing.
pub fn pages(shown: Shown) -> Router {
    let site = Arc::new(Parts::new(shown, false));
    // Below the layers as a whole, so that what is carried out after pairing is routed once more.
    let inner = Router::new()
        .fallback_service(routes(&site).with_state(Arc::clone(&site)))
        .layer(middleware::from_fn(guard::carry_out))
        .layer(middleware::from_fn_with_state(Arc::clone(&site), guard::may_change))
        .layer(middleware::from_fn_with_state(Arc::clone(&site), guard::note_ticket))
        .layer(middleware::from_fn_with_state(Arc::clone(&site), guard::known_host));
    finished(inner, site)
}

/// The same for the Unix socket, where the folder's permissions take the place of pairing; and the
/// pairing code.
pub fn socket(shown: Shown) -> Router {
    let site = Arc::new(Parts::new(shown, true));
    let routes =
        routes(&site).route("/api/v1/pin", get(pin)).route("/api/v1/copy", get(outings::api_copy));
    finished(routes, site)
}

fn routes(site: &Site) -> Router<Site> {
    let in_turn = middleware::from_fn_with_state(Arc::clone(site), guard::in_turn);
    let plan = DefaultBodyLimit::max(asks::plan::PLAN_BYTES);
    let steered = match site.shown.demo {
        Some(_) => Router::new().route("/demo", post(pages::demo::ask)),
        None => Router::new(),
    };
    steered
        .route("/", get(now::now))
        .route("/station", get(station::station))
        .route("/pair", get(pair::page).post(asks::phones::pair))
        .route("/phones", get(phones::page))
        .route("/phones/end", post(asks::phones::end_all))
        .route("/phones/{id}/end", post(asks::phones::end))
        .route("/bank", get(questions::change).post(asks::now::bank))
        .route("/answer", post(asks::answer::answer))
        .route("/answer/{question}", get(questions::page))
        .route("/finish", post(asks::now::finish))
        .route("/activity", post(asks::now::activity))
        .route("/alarm", post(asks::now::sleep))
        .route("/power-off", post(asks::now::power_off))
        .route("/outing", post(asks::now::outing))
        .route("/look", post(asks::now::theme))
        .route("/live", get(live::parts))
        .route("/metrics", get(metrics_text))
        .route("/favicon.ico", get(async || StatusCode::NO_CONTENT))
        .route(assets::style().path, get(assets::style_file))
        .route(assets::more().path, get(assets::more_file))
        .route(assets::script().path, get(assets::script_file))
        .route("/api/v1/now", get(api_now))
        .route("/api/v1/stream", get(live::snapshots))
        .route("/api/v1/openapi.json", get(openapi))
        .route("/api/v1/bank", post(asks::now::bank))
        .route("/api/v1/answer", post(asks::answer::answer))
        .route("/api/v1/finish", post(asks::now::finish))
        .route("/api/v1/activity", post(asks::now::activity))
        .route("/api/v1/alarms/sleep", post(asks::now::sleep))
        .route("/api/v1/power-off", post(asks::now::power_off))
        .route("/api/v1/outing", post(asks::now::outing))
        .route("/api/v1/pair", post(asks::phones::pair))
        .route("/api/v1/phones", get(phones::api))
        .route("/api/v1/phones/end", post(asks::phones::end_all))
        .route("/api/v1/phones/{id}/end", post(asks::phones::end))
        .route(assets::helper().path, get(assets::helper_file))
        .route(assets::report().path, get(assets::report_file))
        .route("/api/v1/plan", post(asks::plan::plan).layer(plan))
        .route("/api/v1/plan/start", post(asks::plan::start).layer(plan))
        .route("/api/v1/clock", get(api_clock).post(asks::record::clock))
        .merge(record_pages().merge(record_api()).route_layer(in_turn))
}

/// Pages and forms of the past and of the record.
fn record_pages() -> Router<Site> {
    let list = DefaultBodyLimit::max(asks::record::LIST_BYTES);
    Router::new()
        .route("/contacts", post(contacts::log_form).get(contacts::page))
        .route("/outings/{id}/contacts/forget", post(asks::record::forget_contacts))
        .route("/plan", get(plan::page))
        .route("/plan/start", post(asks::plan::start))
        .route("/outings", get(outings::list))
        .route("/outings/{id}", get(report::one))
        .route("/outings/{id}/ending", post(asks::record::ending))
        .route("/outings/{id}/goes-on", post(asks::record::goes_on))
        .route("/outings/{id}/name", post(asks::record::outing_name))
        .route("/outings/{id}/doing", post(asks::record::doing))
        .route("/outings/{id}/doing/contacts", post(asks::record::doing_contacts))
        .route("/outings/{id}/doing/back", post(asks::record::doing_back))
        .route("/rundowns/{id}/strike", post(asks::record::strike))
        .route("/banks", get(banks::list).post(asks::record::bank))
        .route("/banks/{id}/book", get(bank::book))
        .route("/banks/{id}/book.txt", get(bank::book_text))
        .route("/banks/{id}/name", post(asks::record::bank_name))
        .route("/banks/{id}/forget", get(bank::forget).post(asks::record::forget))
        .route("/banks/{id}/test", get(bank::test).post(asks::record::start_test))
        .route("/banks/{id}/import", get(bank::import).post(asks::record::import).layer(list))
        .route("/test/stop", post(asks::record::stop_test))
        .route("/mark", post(asks::record::mark))
        .route("/clock/set", post(asks::record::set_clock))
}

/// The JSON of the past and of the record.
fn record_api() -> Router<Site> {
    let list = DefaultBodyLimit::max(asks::record::LIST_BYTES);
    let import = post(asks::record::import).layer(list);
    Router::new()
        .route("/api/v1/contacts", post(contacts::log_json))
        .route("/api/v1/outings/{id}/contacts/forget", post(asks::record::forget_contacts))
        .route("/api/v1/outings", get(outings::api_list))
        .route("/api/v1/outings/{id}", get(outings::api_one))
        .route("/api/v1/outings/{id}/report", get(report::api))
        .route("/api/v1/outings/{id}/series", get(outings::api_series))
        .route("/api/v1/outings/{id}/doings", post(asks::record::doing))
        .route("/api/v1/outings/{id}/doings/contacts", post(asks::record::doing_contacts))
        .route("/api/v1/outings/{id}/doings/back", post(asks::record::doing_back))
        .route("/api/v1/outings/{id}/ending", post(asks::record::ending))
        .route("/api/v1/outings/{id}/goes-on", post(asks::record::goes_on))
        .route("/api/v1/outings/{id}/name", post(asks::record::outing_name))
        .route("/api/v1/rundowns/{id}/strike", post(asks::record::strike))
        .route("/api/v1/banks", get(banks::api_list).post(asks::record::bank))
        .route("/api/v1/banks/{id}/book", get(bank::api_book))
        .route("/api/v1/banks/{id}/name", post(asks::record::bank_name))
        .route("/api/v1/banks/{id}/forget", post(asks::record::forget))
        .route("/api/v1/banks/{id}/test", post(asks::record::start_test))
        .route("/api/v1/banks/{id}/import", import)
        .route("/api/v1/test/stop", post(asks::record::stop_test))
        .route("/api/v1/mark", post(asks::record::mark))
        .route("/api/v1/clock/set", post(asks::record::set_clock))
}

fn finished(routes: Router<Site>, site: Site) -> Router {
    let page: finish::ProblemPage = pair::problem;
    routes
        .layer(DefaultBodyLimit::max(finish::BODY_BYTES))
        .layer(CatchPanicLayer::custom(|_| finish::on_panic()))
        .layer(middleware::from_fn_with_state(page, finish::finish_response))
        .layer(middleware::from_fn(gzip::pack))
        .with_state(site)
}

async fn api_now(State(site): State<Site>) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], site.rendered().json()).into_response()
}

/// The board's moment, for a phone that compares its clock.
async fn api_clock(State(site): State<Site>) -> Response {
    let at = site.shown.clock.stamp();
    let believed = at.believed().and_then(|wall| wall.rfc3339(at.utc_offset_s));
    Json(serde_json::json!({ "boot_s": at.mono.as_s(), "at": believed })).into_response()
}

async fn metrics_text(State(site): State<Site>) -> Response {
    ([(header::CONTENT_TYPE, metrics::KIND)], metrics::exposition(&site.snapshot())).into_response()
}

async fn openapi() -> Response {
    ([(header::CONTENT_TYPE, "application/json")], include_str!("openapi.json")).into_response()
}

/// The pairing code, for `outlast pin`.
async fn pin(State(site): State<Site>) -> Response {
    let pin = site.shown.pairing.pin(site.snapshot().at.mono);
    Json(serde_json::json!({ "code": pin.code, "good_for_s": pin.good_for.as_secs_f64() }))
        .into_response()
}
