//! The two streams: snapshots for programs, and what changed of Now for its page. A slow phone skips
//! snapshots; it never queues them.

use std::{convert::Infallible, sync::Arc, time::Duration};

use axum::{
    body::{Body, Bytes},
    extract::State,
    http::{HeaderValue, header},
    response::Response,
};
use futures_util::stream;
use reckon::{snapshot::Snapshot, words::Language};
use serde_json::json;

use crate::{
    http::{group::Address, problem::Problem, rendered::Rendered, site::Site},
    pages::now::sections_of,
};

/// Interval at which a silent stream says that it is still there (a comment line, WHATWG HTML section
/// 9.2.7, which advises every 15 seconds or so).
const KEEP_ALIVE: Duration = Duration::from_secs(15);
/// Shortest interval between refreshes of the page.
const PAGE_EVERY: Duration = Duration::from_secs(2);

/// `GET /api/v1/stream`: one snapshot an event.
pub(crate) async fn snapshots(
    State(site): State<Site>,
    Address(from): Address,
) -> Result<Response, Problem> {
    let seat = site.streams.seat(from)?;
    Ok(streaming(site, (), move |rendered, ()| {
        let _held = &seat;
        Some(rendered.event())
    }))
}

/// `GET /live`: what changed of Now, as HTML parts by element id. Only our own page reads it.
pub(crate) async fn parts(
    State(site): State<Site>,
    Address(from): Address,
) -> Result<Response, Problem> {
    let seat = site.streams.seat(from)?;
    let (last, language): (Option<Arc<Rendered>>, _) = (None, site.shown.language);
    Ok(streaming(site, last, move |rendered, last| {
        let _held = &seat;
        // A demonstration that is paused shows the same moment again and again: its page hears of it.
        let moved = |before: &Rendered| rendered.snapshot.at.mono.since(before.snapshot.at.mono);
        if let Some(before) = last
            && (Duration::from_nanos(1)..PAGE_EVERY).contains(&moved(before))
            && !is_new(&before.snapshot, &rendered.snapshot)
        {
            return None;
        }
        let event = changes(last.as_deref(), rendered, language);
        *last = Some(Arc::clone(rendered));
        Some(event)
    }))
}

/// Whether something stands there that a person waits for: an alarm, or the answer to a tap.
fn is_new(before: &Snapshot, now: &Snapshot) -> bool {
    let current = |snapshot: &Snapshot| snapshot.activities.iter().position(|one| one.current);
    let finish = |snapshot: &Snapshot| snapshot.finish.map(|finish| finish.at);
    now.alarms != before.alarms
        || now.power_off != before.power_off
        || now.questions != before.questions
        || now.bank.spec != before.bank.spec
        || finish(now) != finish(before)
        || current(now) != current(before)
}

fn changes(before: Option<&Rendered>, now: &Rendered, language: &'static Language) -> Bytes {
    let old = before.map(|before| sections_of(before, language));
    let same = |ix: usize, html: &str| {
        old.as_ref().and_then(|old| old.get(ix)).is_some_and(|old| old.html == html)
    };
    let at = ("at".to_owned(), json!(now.snapshot.at.mono.as_s()));
    let changed: serde_json::Map<_, _> = sections_of(now, language)
        .iter()
        .enumerate()
        .filter(|(ix, section)| !same(*ix, &section.html))
        .map(|(_, section)| (section.id.to_owned(), json!(section.html)))
        .chain([at])
        .collect();
    Bytes::from(format!("data: {}\n\n", serde_json::Value::from(changed)))
}

/// A stream that follows the snapshots: `say` makes an event of each, or passes it over.
fn streaming<T: Send + 'static>(
    site: Site,
    memory: T,
    say: impl Fn(&Arc<Rendered>, &mut T) -> Option<Bytes> + Send + 'static,
) -> Response {
    let mut now = site.shown.now.clone();
    now.mark_changed();
    let events = stream::unfold((now, memory, say), move |(mut now, mut memory, say)| {
        let site = Arc::clone(&site);
        async move {
            loop {
                match tokio::time::timeout(KEEP_ALIVE, now.changed()).await {
                    Ok(Ok(())) => {
                        let snapshot = Arc::clone(&now.borrow_and_update());
                        if let Some(event) = say(&site.rendering(&snapshot), &mut memory) {
                            return Some((Ok::<_, Infallible>(event), (now, memory, say)));
                        }
                    }
                    Ok(Err(_)) => return None,
                    Err(_) => {
                        let still_here = Bytes::from_static(b":\n\n");
                        return Some((Ok(still_here), (now, memory, say)));
                    }
                }
            }
        }
    });
    let mut response = Response::new(Body::from_stream(events));
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/event-stream"));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    response
}
