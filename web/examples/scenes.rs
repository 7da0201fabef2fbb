//! Serves every scene of the tests for looking at: `/fine/`, `/alarm/station` and so on, each in
//! the look that the cookie asks for, or that a leading `/night/` and the like name.
//!
//! `cargo run -p web --example scenes -- 8074`

#[path = "../tests/web/scenes.rs"]
mod scenes;

use std::{net::Ipv4Addr, sync::Arc};

use axum::{Router, extract::Request, http::HeaderValue, response::IntoResponse};
use tokio::sync::{mpsc, watch};
use tower::ServiceExt;
use web::{Pairing, Shown, pages};

fn site(name: &str) -> Option<Router> {
    let (keep, now) = watch::channel(Arc::new(scenes::scene(name)?));
    // The scene stands still for as long as the example runs.
    std::mem::forget(keep);
    let (asks, _) = mpsc::channel(1);
    let pairing = Arc::new(Pairing::new([7; 32], || [1; 16]));
    Some(pages(Shown { now, asks, pairing, hosts: Vec::new() }))
}

async fn show(mut request: Request) -> axum::response::Response {
    let path = request.uri().path().to_owned();
    let mut parts = path.trim_start_matches('/').splitn(3, '/');
    let (look, name, rest) =
        (parts.next().unwrap_or(""), parts.next().unwrap_or(""), parts.next().unwrap_or(""));
    let Some(pages) = site(name) else {
        // Links of the pages themselves know nothing of scenes, and a scene has no live view.
        let asked = if path == "/live" { "none" } else { "fine" };
        return site(asked).unwrap_or_default().oneshot(request).await.into_response();
    };
    if let Ok(cookie) = HeaderValue::from_str(&format!("look={look}")) {
        request.headers_mut().insert("cookie", cookie);
    }
    if let Ok(uri) = format!("/{rest}").parse() {
        *request.uri_mut() = uri;
    }
    pages.oneshot(request).await.into_response()
}

#[tokio::main(flavor = "current_thread")]
async fn main() -> std::io::Result<()> {
    let port = std::env::args().nth(1).and_then(|text| text.parse().ok()).unwrap_or(8074);
    let listener = tokio::net::TcpListener::bind((Ipv4Addr::LOCALHOST, port)).await?;
    println!("http://localhost:{port}/auto/fine/ and {:?}", scenes::ALL);
    axum::serve(listener, Router::new().fallback(show)).await
}
