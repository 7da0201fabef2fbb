//! Serves every scene of the tests for looking at: `/auto/fine/`, `/night/alarm/station` and so on, each in
//! the look that a leading `/night/` and the like name. `/` shows one that moves, and `/show/alarm` has an
//! open page of it go on in another scene. With `paired` as second word, the phone may change things.
//!
//! `cargo run -p web --example scenes -- 8074`

#[path = "../tests/web/days.rs"]
mod days;
#[path = "../tests/web/past.rs"]
mod past;
#[path = "../tests/web/scenes.rs"]
mod scenes;
#[path = "../tests/web/states.rs"]
mod states;

use std::{
    collections::HashMap,
    net::Ipv4Addr,
    sync::{Arc, Mutex, PoisonError},
    time::Duration,
};

use axum::{
    Router,
    extract::{Request, State},
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use reckon::{forecast::Outlook, snapshot::Snapshot};
use tokio::sync::{mpsc, watch};
use tower::ServiceExt;
use web::{Pairing, Shown, pages, socket};

fn site(first: Snapshot, paired: bool) -> (Router, watch::Sender<Arc<Snapshot>>) {
    let (show, now) = watch::channel(Arc::new(first));
    let (asks, _) = mpsc::channel(1);
    let pairing = Arc::new(Pairing::new([7; 32], || [1; 16]));
    let (record, _) = mpsc::channel(1);
    let troubled = show.borrow().alarms.len() > 1;
    // A board that knows no bank has an empty record; one that is blind cannot read its own either.
    let mood = match &show.borrow().outlook {
        Outlook::Blind { .. } => past::Mood::Gone,
        _ if show.borrow().bank.spec.is_none() => past::Mood::Empty,
        _ => past::Mood::Well,
    };
    let shown = Shown {
        now,
        asks,
        pairing,
        hosts: Vec::new(),
        past: past::Invented::new(mood, false),
        record,
        record_status: watch::channel(Arc::new(past::record_status(troubled))).1,
        clock: Arc::new(past::Still),
        language: &reckon::words::ENGLISH,
        demo: None,
    };
    (if paired { socket(shown) } else { pages(shown) }, show)
}

/// The one that moves, and those that were looked at last, by path.
struct Sites {
    moving: Router,
    on_show: watch::Sender<Arc<Snapshot>>,
    still: Mutex<HashMap<String, Router>>,
    paired: bool,
}

impl Sites {
    /// The scene of a page that is opened, anew; of what such a page asks for later, the same.
    fn still(&self, path: &str, name: &str, anew: bool) -> Option<Router> {
        let first = states::state(name).or_else(|| days::day(name))?;
        let mut still = self.still.lock().unwrap_or_else(PoisonError::into_inner);
        if anew || !still.contains_key(path) {
            let (router, show) = site(first, self.paired);
            tokio::spawn(move_on(show, false));
            still.insert(path.to_owned(), router);
        }
        still.get(path).cloned()
    }
}

/// Look and scene of `/night/alarm/…`.
fn look_and_scene(path: &str) -> (&str, &str, &str) {
    let mut parts = path.trim_start_matches('/').splitn(3, '/');
    let mut next = || parts.next().unwrap_or("");
    (next(), next(), next())
}

async fn show(State(sites): State<Arc<Sites>>, mut request: Request) -> Response {
    let path = request.uri().path().to_owned();
    if let Some(next) = path.strip_prefix("/show/").and_then(states::state) {
        sites.on_show.send_replace(Arc::new(next));
        return StatusCode::NO_CONTENT.into_response();
    }
    let from = request.headers().get(header::REFERER).and_then(|it| it.to_str().ok()).unwrap_or("");
    let from = from.splitn(4, '/').nth(3).unwrap_or("").to_owned();
    if path == "/live" {
        let (look, name, _) = look_and_scene(&from);
        let still = sites.still(&format!("{look}/{name}"), name, false);
        return answer(still.unwrap_or_else(|| sites.moving.clone()), request).await;
    }
    let (look, name, rest) = look_and_scene(&path);
    let Some(still) = sites.still(&format!("{look}/{name}"), name, rest.is_empty()) else {
        return answer(sites.moving.clone(), request).await;
    };
    if let Ok(cookie) = HeaderValue::from_str(&format!("look={look}")) {
        request.headers_mut().insert(header::COOKIE, cookie);
    }
    let query = request.uri().query().map_or_else(String::new, |query| format!("?{query}"));
    if let Ok(uri) = format!("/{rest}{query}").parse() {
        *request.uri_mut() = uri;
    }
    answer(still, request).await
}

async fn answer(site: Router, request: Request) -> Response {
    site.oneshot(request).await.into_response()
}

/// Time goes on; where `draws`, the draw with it.
async fn move_on(show: watch::Sender<Arc<Snapshot>>, draws: bool) {
    let mut every = tokio::time::interval(Duration::from_secs(1));
    // The first tick comes at once.
    every.tick().await;
    // A scene goes once nobody looks at it and another has taken its place.
    while !show.is_closed() {
        every.tick().await;
        let mut next = Snapshot::clone(&show.borrow());
        next.at.mono = next.at.mono.plus(Duration::from_secs(1));
        next.at.wall = next.at.wall.plus_s(1.0);
        if draws {
            let swing = (next.at.mono.as_s() / 7.0).sin();
            next.draw.now = reckon::units::Watts::new(3.6 + swing);
        }
        show.send_replace(Arc::new(next));
    }
}

#[tokio::main(flavor = "current_thread")]
async fn main() -> std::io::Result<()> {
    let port = std::env::args().nth(1).and_then(|text| text.parse().ok()).unwrap_or(8074);
    let paired = std::env::args().nth(2).is_some_and(|word| word == "paired");
    let listener = tokio::net::TcpListener::bind((Ipv4Addr::LOCALHOST, port)).await?;
    println!("http://localhost:{port}/auto/fine/ and {:?}", scenes::ALL);
    let first = scenes::scene("fine").ok_or_else(|| std::io::Error::other("no such scene"))?;
    let (moving, on_show) = site(first, paired);
    tokio::spawn(move_on(on_show.clone(), true));
    let sites = Sites { moving, on_show, still: Mutex::default(), paired };
    axum::serve(listener, Router::new().fallback(show).with_state(Arc::new(sites))).await
}
