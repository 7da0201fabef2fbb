//! Serves the page and the JSON: [`pages`] is the whole of it, a function from what is shown to a
//! router, so that tests call it without a socket.
//!
//! It sees snapshots and sends asks; it cannot reach a chip, a file or the clock. What it needs of
//! the listener: a bound on connections and on the time and size of request heads, and, if it can,
//! `ConnectInfo<SocketAddr>` among the request's extensions, so that one phone cannot take all live
//! views.
#![forbid(unsafe_code)]

mod asks;
mod draw;
mod http;
mod pages;
mod record;
mod wire;

use std::sync::Arc;

use axum::{
    Json, Router,
    extract::{DefaultBodyLimit, State},
    http::{HeaderMap, StatusCode, header},
    middleware,
    response::{IntoResponse, Response},
    routing::{get, post},
};
use reckon::{
    engine::{Command, Refusal},
    snapshot::Snapshot,
    words::Language,
};
use tokio::sync::{Semaphore, mpsc, oneshot, watch};
use tower_http::catch_panic::CatchPanicLayer;

use crate::{
    http::{assets, guard},
    pages::{banks, contacts, live, now, outings, questions, report},
    wire::{metrics, time::rfc3339},
};

pub use http::pairing::{CODE_LASTS, Pairing, Pin, Rejected};
pub use pages::contacts::LOG_BYTES;
pub use record::{
    AsideTold, BankShown, Clock, NoRecord, PhoneTold, RecordCommand, RecordReader, RecordStatus,
    TestLoad, TestTold,
};

/// A command and where its answer goes; by default a refusal is a sentence for a person.
#[derive(Debug)]
pub struct Request<C, E = String> {
    /// What is asked for.
    pub command: C,
    /// Where the answer goes.
    pub answer: oneshot::Sender<Result<(), E>>,
}

/// What the pages show and whom they ask.
#[derive(Clone)]
pub struct Shown {
    /// The newest snapshot.
    pub now: watch::Receiver<Arc<Snapshot>>,
    /// The owner of the state.
    pub asks: mpsc::Sender<Request<Command, Refusal>>,
    /// Who may change things.
    pub pairing: Arc<Pairing>,
    /// Names that the board answers to, besides IP addresses and `localhost`: its host name, and
    /// that with `.local`. Without port.
    pub hosts: Vec<String>,
    /// The record, to be read.
    pub past: Arc<dyn RecordReader>,
    /// Whoever changes what is kept.
    pub record: mpsc::Sender<Request<RecordCommand>>,
    /// How the record and its clock are doing.
    pub record_status: watch::Receiver<Arc<RecordStatus>>,
    /// Tells the moment, for the comparison with a phone's clock.
    pub clock: Arc<dyn Clock>,
    /// What the pages speak.
    pub language: &'static Language,
}

/// What every handler shares.
pub(crate) struct Parts {
    now: watch::Receiver<Arc<Snapshot>>,
    asks: mpsc::Sender<Request<Command, Refusal>>,
    pairing: Arc<Pairing>,
    hosts: Vec<String>,
    past: Arc<dyn RecordReader>,
    record: mpsc::Sender<Request<RecordCommand>>,
    record_status: watch::Receiver<Arc<RecordStatus>>,
    clock: Arc<dyn Clock>,
    language: &'static Language,
    /// Who may wait for a reading of the past, and whose turn it is.
    line: Semaphore,
    turns: Arc<Semaphore>,
    /// Who may hand over a contact log: one at a time.
    logs: Semaphore,
    /// Whether whoever can reach this may change things without pairing.
    trusted: bool,
    cache: live::Cache,
    streams: live::Streams,
}

pub(crate) type Site = Arc<Parts>;

impl Parts {
    fn snapshot(&self) -> Arc<Snapshot> {
        Arc::clone(&self.now.borrow())
    }

    fn record_status(&self) -> Arc<RecordStatus> {
        Arc::clone(&self.record_status.borrow())
    }

    /// Whether whoever sent this may change things.
    fn may_change(&self, headers: &HeaderMap) -> bool {
        self.trusted || self.pairing.knows(headers)
    }

    fn rendered(&self) -> Arc<live::Rendered> {
        self.cache.of(&self.snapshot(), self.record_status())
    }
}

fn site(shown: Shown, trusted: bool) -> Site {
    Arc::new(Parts {
        now: shown.now,
        asks: shown.asks,
        pairing: shown.pairing,
        hosts: shown.hosts,
        past: shown.past,
        record: shown.record,
        record_status: shown.record_status,
        clock: shown.clock,
        language: shown.language,
        line: Semaphore::new(http::site::AT_ONCE + http::site::MAY_WAIT),
        turns: Arc::new(Semaphore::new(http::site::AT_ONCE)),
        logs: Semaphore::new(1),
        trusted,
        cache: live::Cache::default(),
        streams: live::Streams::default(),
    })
}

/// The pages and the JSON for the network: everyone may look, changing needs pairing.
pub fn pages(shown: Shown) -> Router {
    let site = site(shown, false);
    let inner = routes()
        .layer(middleware::from_fn_with_state(Arc::clone(&site), guard::may_change))
        .layer(middleware::from_fn_with_state(Arc::clone(&site), guard::known_host));
    finished(inner, site)
}

/// The same for the Unix socket, where the folder's permissions take the place of pairing; and the
/// pairing code.
pub fn socket(shown: Shown) -> Router {
    let site = site(shown, true);
    let routes =
        routes().route("/api/v1/pin", get(pin)).route("/api/v1/copy", get(outings::api_copy));
    finished(routes, site)
}

fn routes() -> Router<Site> {
    Router::new()
        .route("/", get(now::now))
        .route("/station", get(now::station))
        .route("/pair", get(now::pair).post(asks::now::pair))
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
        .route("/metrics", get(metrics::metrics))
        .route("/favicon.ico", get(async || StatusCode::NO_CONTENT))
        .route(assets::style().path, get(assets::style_file))
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
        .route("/api/v1/pair", post(asks::now::pair))
        .merge(record_pages())
        .merge(record_api())
}

/// Pages and forms of the past and of the record.
fn record_pages() -> Router<Site> {
    let list = DefaultBodyLimit::max(asks::record::LIST_BYTES);
    let log = post(contacts::log_form).layer(DefaultBodyLimit::max(contacts::LOG_BYTES));
    Router::new()
        .route("/contacts", log.get(contacts::page))
        .route("/outings/{id}/contacts/forget", post(asks::record::forget_contacts))
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
        .route("/banks/{id}/book", get(banks::book))
        .route("/banks/{id}/book.txt", get(banks::book_text))
        .route("/banks/{id}/name", post(asks::record::bank_name))
        .route("/banks/{id}/forget", get(banks::forget).post(asks::record::forget))
        .route("/banks/{id}/test", get(banks::test).post(asks::record::start_test))
        .route("/banks/{id}/import", get(banks::import).post(asks::record::import).layer(list))
        .route("/test/stop", post(asks::record::stop_test))
        .route("/mark", post(asks::record::mark))
        .route("/clock/set", post(asks::record::set_clock))
        .route(assets::helper().path, get(assets::helper_file))
}

/// The JSON of the past and of the record.
fn record_api() -> Router<Site> {
    let list = DefaultBodyLimit::max(asks::record::LIST_BYTES);
    let import = post(asks::record::import).layer(list);
    let log = post(contacts::log_json).layer(DefaultBodyLimit::max(contacts::LOG_BYTES));
    Router::new()
        .route("/api/v1/contacts", log)
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
        .route("/api/v1/banks/{id}/book", get(banks::api_book))
        .route("/api/v1/banks/{id}/name", post(asks::record::bank_name))
        .route("/api/v1/banks/{id}/forget", post(asks::record::forget))
        .route("/api/v1/banks/{id}/test", post(asks::record::start_test))
        .route("/api/v1/banks/{id}/import", import)
        .route("/api/v1/test/stop", post(asks::record::stop_test))
        .route("/api/v1/mark", post(asks::record::mark))
        .route("/api/v1/clock", get(api_clock).post(asks::record::clock))
        .route("/api/v1/clock/set", post(asks::record::set_clock))
}

fn finished(routes: Router<Site>, site: Site) -> Router {
    routes
        .layer(DefaultBodyLimit::max(guard::BODY_BYTES))
        .layer(CatchPanicLayer::custom(|_| on_panic()))
        .layer(middleware::from_fn(guard::finish_response))
        .with_state(site)
}

/// A fault in a handler costs that page only; the panic's own words went to the journal already.
fn on_panic() -> Response {
    tracing::error!("a page failed; the fault is in the line above");
    StatusCode::INTERNAL_SERVER_ERROR.into_response()
}

async fn api_now(State(site): State<Site>) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], site.rendered().json()).into_response()
}

/// The board's moment, for a phone that compares its clock.
async fn api_clock(State(site): State<Site>) -> Response {
    let at = site.clock.stamp();
    let believed = at.believed().and_then(|wall| rfc3339(wall, at.utc_offset_s));
    Json(serde_json::json!({ "boot_s": at.mono.as_s(), "at": believed })).into_response()
}

async fn openapi() -> Response {
    ([(header::CONTENT_TYPE, "application/json")], include_str!("openapi.json")).into_response()
}

/// The pairing code, for `outlast pin`.
async fn pin(State(site): State<Site>) -> Response {
    let pin = site.pairing.pin(site.snapshot().at.mono);
    Json(serde_json::json!({ "code": pin.code, "good_for_s": pin.good_for.as_secs_f64() }))
        .into_response()
}
