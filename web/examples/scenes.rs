//! Serves every scene of the tests for looking at: `/auto/fine/`, `/night/alarm/station` and so on, each in
//! the look that a leading `/night/` and the like name; `/` itself shows one that moves.
//!
//! `cargo run -p web --example scenes -- 8074`

#[path = "../tests/web/past.rs"]
mod past;
#[path = "../tests/web/scenes.rs"]
mod scenes;

use std::{net::Ipv4Addr, sync::Arc, time::Duration};

use axum::{
    Router,
    extract::{Request, State},
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use reckon::{forecast::Outlook, snapshot::Snapshot};
use tokio::sync::{mpsc, watch};
use tower::ServiceExt;
use web::{Pairing, Shown, pages};

fn site(first: Snapshot) -> (Router, watch::Sender<Arc<Snapshot>>) {
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
    };
    (pages(shown), show)
}

async fn show(State(moving): State<Router>, mut request: Request) -> Response {
    let path = request.uri().path().to_owned();
    let mut parts = path.trim_start_matches('/').splitn(3, '/');
    let (look, name, rest) =
        (parts.next().unwrap_or(""), parts.next().unwrap_or(""), parts.next().unwrap_or(""));
    let Some(scene) = scenes::scene(name) else {
        // A scene that stands still has no live view.
        let from = request.headers().get(header::REFERER).and_then(|it| it.to_str().ok());
        if path == "/live" && from.is_some_and(|from| from.matches('/').count() > 3) {
            return StatusCode::NOT_FOUND.into_response();
        }
        return moving.oneshot(request).await.into_response();
    };
    if let Ok(cookie) = HeaderValue::from_str(&format!("look={look}")) {
        request.headers_mut().insert(header::COOKIE, cookie);
    }
    let query = request.uri().query().map_or_else(String::new, |query| format!("?{query}"));
    if let Ok(uri) = format!("/{rest}{query}").parse() {
        *request.uri_mut() = uri;
    }
    site(scene).0.oneshot(request).await.into_response()
}

/// Time goes on, and the draw with it.
async fn move_on(show: watch::Sender<Arc<Snapshot>>) {
    let mut every = tokio::time::interval(Duration::from_secs(1));
    loop {
        every.tick().await;
        let mut next = Snapshot::clone(&show.borrow());
        next.at.mono = next.at.mono.plus(Duration::from_secs(1));
        next.at.wall = next.at.wall.plus_s(1.0);
        let swing = (next.at.mono.as_s() / 7.0).sin();
        next.draw.now = reckon::units::Watts::new(3.6 + swing);
        show.send_replace(Arc::new(next));
    }
}

#[tokio::main(flavor = "current_thread")]
async fn main() -> std::io::Result<()> {
    let port = std::env::args().nth(1).and_then(|text| text.parse().ok()).unwrap_or(8074);
    let listener = tokio::net::TcpListener::bind((Ipv4Addr::LOCALHOST, port)).await?;
    println!("http://localhost:{port}/auto/fine/ and {:?}", scenes::ALL);
    let first = scenes::scene("fine").ok_or_else(|| std::io::Error::other("no such scene"))?;
    let (moving, keep) = site(first);
    tokio::spawn(move_on(keep));
    axum::serve(listener, Router::new().fallback(show).with_state(moving)).await
}
