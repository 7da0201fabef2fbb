//! Serves the page and the JSON: [`pages`] is the whole of it, a function from what is shown to a
//! router, so that tests call it without a socket.
//!
//! It sees snapshots and sends asks; it cannot reach a chip, a file or the clock. What it needs of
//! the listener: a bound on connections and on the time and size of request heads, and, if it can,
//! `ConnectInfo<SocketAddr>` among the request's extensions, so that one phone cannot take all live
//! views.
#![forbid(unsafe_code)]

mod asks;
mod chart;
mod guard;
mod live;
mod look;
mod metrics;
mod page;
mod pairing;
mod trouble;
mod when;
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
use reckon::snapshot::Snapshot;
use tokio::sync::{mpsc, oneshot, watch};
use tower_http::catch_panic::CatchPanicLayer;

pub use pairing::{CODE_LASTS, Pairing, Pin, Rejected};

/// An ask and where its answer goes.
#[derive(Debug)]
pub struct Asked {
    /// What is asked for.
    pub ask: reckon::engine::Ask,
    /// Where the answer goes.
    pub answer: oneshot::Sender<Result<(), reckon::engine::Refusal>>,
}

/// What the pages show and whom they ask.
#[derive(Clone, Debug)]
pub struct Shown {
    /// The newest snapshot.
    pub now: watch::Receiver<Arc<Snapshot>>,
    /// The owner of the state.
    pub asks: mpsc::Sender<Asked>,
    /// Who may change things.
    pub pairing: Arc<Pairing>,
    /// Names that the board answers to, besides IP addresses and `localhost`: its host name, and
    /// that with `.local`. Without port.
    pub hosts: Vec<String>,
}

/// What every handler shares.
pub(crate) struct Parts {
    now: watch::Receiver<Arc<Snapshot>>,
    asks: mpsc::Sender<Asked>,
    pairing: Arc<Pairing>,
    hosts: Vec<String>,
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

    fn rendered(&self) -> Arc<live::Rendered> {
        self.cache.of(&self.snapshot())
    }
}

fn site(shown: Shown, trusted: bool) -> Site {
    Arc::new(Parts {
        now: shown.now,
        asks: shown.asks,
        pairing: shown.pairing,
        hosts: shown.hosts,
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
    finished(routes().route("/api/v1/pin", get(pin)), site)
}

fn routes() -> Router<Site> {
    Router::new()
        .route("/", get(page::now))
        .route("/station", get(page::station))
        .route("/pair", get(page::pair).post(asks::pair_form))
        .route("/bank", post(asks::bank_form))
        .route("/finish", post(asks::finish_form))
        .route("/activity", post(asks::activity_form))
        .route("/alarm", post(asks::sleep_form))
        .route("/power-off", post(asks::power_off_form))
        .route("/outing", post(asks::outing_form))
        .route("/look", post(asks::look_form))
        .route("/live", get(live::parts))
        .route("/metrics", get(metrics::metrics))
        .route("/favicon.ico", get(async || StatusCode::NO_CONTENT))
        .route(look::style().path, get(look::style_file))
        .route(look::script().path, get(look::script_file))
        .route("/api/v1/now", get(api_now))
        .route("/api/v1/stream", get(live::snapshots))
        .route("/api/v1/openapi.json", get(openapi))
        .route("/api/v1/bank", post(asks::bank_json))
        .route("/api/v1/finish", post(asks::finish_json))
        .route("/api/v1/activity", post(asks::activity_json))
        .route("/api/v1/alarms/sleep", post(asks::sleep_json))
        .route("/api/v1/power-off", post(asks::power_off_json))
        .route("/api/v1/outing", post(asks::outing_json))
        .route("/api/v1/pair", post(asks::pair_json))
}

fn finished(routes: Router<Site>, site: Site) -> Router {
    routes
        .layer(DefaultBodyLimit::max(guard::BODY_BYTES))
        .layer(CatchPanicLayer::custom(|_| fell()))
        .layer(middleware::from_fn(guard::dress))
        .with_state(site)
}

/// A fault in a handler costs that page only; the panic's own words went to the journal already.
fn fell() -> Response {
    tracing::error!("a page failed; the fault is in the line above");
    StatusCode::INTERNAL_SERVER_ERROR.into_response()
}

async fn api_now(State(site): State<Site>) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], site.rendered().json()).into_response()
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
