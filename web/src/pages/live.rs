//! One rendering per snapshot, shared by all who look; and the two streams.
//!
//! The first who asks after a new snapshot pays for the rendering, the others get the same bytes.
//! With nobody looking, nothing is rendered. A slow phone skips snapshots; it never queues them.

use std::{
    collections::HashMap,
    convert::Infallible,
    io::Write,
    net::{IpAddr, SocketAddr},
    sync::{Arc, Mutex, OnceLock, PoisonError},
    time::Duration,
};

use axum::{
    body::{Body, Bytes},
    extract::{ConnectInfo, FromRequestParts, State},
    http::{HeaderValue, StatusCode, header, request::Parts},
    response::Response,
};
use flate2::{Compression, write::GzEncoder};
use futures_util::stream;
use reckon::{snapshot::Snapshot, words};
use serde_json::json;

use crate::{RecordStatus, Site, http::assets::Theme, http::problem::Problem, pages::now, wire};

/// Streams that one address may hold: two tabs of a phone and a program, twice over.
const STREAMS_PER_PHONE: usize = 6;
/// Streams in all; a field weekend's crowd with room.
const STREAMS_IN_ALL: usize = 64;
/// Interval at which a silent stream says that it is still there (a comment line, WHATWG HTML section
/// 9.2.7, which advises every 15 seconds or so).
const KEEP_ALIVE: Duration = Duration::from_secs(15);
/// Shortest interval between refreshes of the page.
const PAGE_EVERY: Duration = Duration::from_secs(2);

/// A part of the page that is replaced as a whole.
pub(crate) struct Section {
    /// Its element's id.
    pub id: &'static str,
    /// What stands in it.
    pub html: String,
}

/// What has been made of one snapshot so far.
pub(crate) struct Rendered {
    pub(crate) snapshot: Arc<Snapshot>,
    record_status: Arc<RecordStatus>,
    json: OnceLock<Bytes>,
    event: OnceLock<Bytes>,
    sections: OnceLock<Arc<[Section]>>,
    pages: Mutex<Vec<(Variant, Page)>>,
}

/// What Now differs by, besides the snapshot and how the record is kept.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) struct Variant {
    pub look: Theme,
    pub paired: bool,
}

/// Now as it is sent.
#[derive(Clone)]
pub(crate) struct Page {
    pub plain: Bytes,
    pub packed: Bytes,
}

impl Rendered {
    fn of(snapshot: Arc<Snapshot>, record_status: Arc<RecordStatus>) -> Self {
        let (json, event, sections) = (OnceLock::new(), OnceLock::new(), OnceLock::new());
        Self { snapshot, record_status, json, event, sections, pages: Mutex::default() }
    }

    /// Now in this variant, made once.
    pub(crate) fn page(
        &self,
        variant: Variant,
        make: impl FnOnce(&Snapshot, &[Section]) -> Option<String>,
    ) -> Option<Page> {
        let sections = self.sections();
        let mut pages = self.pages.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, page)) = pages.iter().find(|(of, _)| *of == variant) {
            return Some(page.clone());
        }
        let plain = Bytes::from(make(&self.snapshot, &sections)?);
        let page = Page { packed: packed(&plain), plain };
        pages.push((variant, page.clone()));
        Some(page)
    }

    /// The snapshot as JSON.
    pub(crate) fn json(&self) -> Bytes {
        let made =
            || serde_json::to_vec(&wire::now::Now::from(&*self.snapshot)).unwrap_or_default();
        self.json.get_or_init(|| Bytes::from(made())).clone()
    }

    /// The snapshot as one event of a stream. JSON without line breaks needs one `data` line.
    fn event(&self) -> Bytes {
        let made = || {
            let mut event = b"data: ".to_vec();
            event.extend_from_slice(&self.json());
            event.extend_from_slice(b"\n\n");
            Bytes::from(event)
        };
        self.event.get_or_init(made).clone()
    }

    /// The parts of Now.
    pub(crate) fn sections(&self) -> Arc<[Section]> {
        let made = || now::sections(&self.snapshot, &self.record_status).into();
        Arc::clone(self.sections.get_or_init(made))
    }
}

/// Gzip (RFC 1952) at a middling level: the steps above it cost a small board more time than they
/// save on the hotspot.
fn packed(plain: &[u8]) -> Bytes {
    let mut coder = GzEncoder::new(Vec::with_capacity(plain.len() / 3), Compression::new(6));
    // Writing into memory cannot fail.
    match coder.write_all(plain).and_then(|()| coder.finish()) {
        Ok(bytes) => Bytes::from(bytes),
        Err(_) => Bytes::new(),
    }
}

/// Keeps the rendering of the newest snapshot.
#[derive(Default)]
pub(crate) struct Cache(Mutex<Option<Arc<Rendered>>>);

impl Cache {
    pub(crate) fn of(
        &self,
        snapshot: &Arc<Snapshot>,
        record_status: Arc<RecordStatus>,
    ) -> Arc<Rendered> {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        match &*kept {
            Some(rendered)
                if Arc::ptr_eq(&rendered.snapshot, snapshot)
                    && Arc::ptr_eq(&rendered.record_status, &record_status) =>
            {
                Arc::clone(rendered)
            }
            _ => {
                Arc::clone(kept.insert(Arc::new(Rendered::of(Arc::clone(snapshot), record_status))))
            }
        }
    }
}

/// Counts the open streams.
#[derive(Default)]
pub(crate) struct Streams(Mutex<HashMap<Option<IpAddr>, usize>>);

/// One open stream; dropped when the phone goes.
struct Seat {
    site: Site,
    from: Option<IpAddr>,
}

impl Seat {
    fn take(site: &Site, from: Option<IpAddr>) -> Result<Self, Problem> {
        let mut open = site.streams.0.lock().unwrap_or_else(PoisonError::into_inner);
        let all: usize = open.values().sum();
        let here = open.get(&from).copied().unwrap_or(0);
        if all >= STREAMS_IN_ALL || (from.is_some() && here >= STREAMS_PER_PHONE) {
            return Err(Problem::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "too-many-streams",
                words::refusal::TOO_MANY_STREAMS_TITLE,
                words::refusal::TOO_MANY_STREAMS,
            )
            .retry_after(30));
        }
        open.insert(from, here + 1);
        Ok(Self { site: Arc::clone(site), from })
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        let mut open = self.site.streams.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = open.get_mut(&self.from) {
            *count -= 1;
            if *count == 0 {
                open.remove(&self.from);
            }
        }
    }
}

/// The asker's address, where whoever listens tells it.
pub(crate) struct From(Option<IpAddr>);

impl<S: Sync> FromRequestParts<S> for From {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        Ok(Self(parts.extensions.get::<ConnectInfo<SocketAddr>>().map(|it| it.0.ip())))
    }
}

/// `GET /api/v1/stream`: one snapshot an event.
pub(crate) async fn snapshots(
    State(site): State<Site>,
    From(from): From,
) -> Result<Response, Problem> {
    let seat = Seat::take(&site, from)?;
    Ok(streaming(site, (), move |rendered, ()| {
        let _held = &seat;
        Some(rendered.event())
    }))
}

/// `GET /live`: what changed of Now, as HTML parts by element id. Only our own page reads it.
pub(crate) async fn parts(State(site): State<Site>, From(from): From) -> Result<Response, Problem> {
    let seat = Seat::take(&site, from)?;
    let last: Option<Arc<Rendered>> = None;
    Ok(streaming(site, last, move |rendered, last| {
        let _held = &seat;
        if let Some(before) = last
            && rendered.snapshot.at.mono.since(before.snapshot.at.mono) < PAGE_EVERY
            && rendered.snapshot.alarms == before.snapshot.alarms
            && rendered.snapshot.power_off == before.snapshot.power_off
        {
            return None;
        }
        let event = changes(last.as_deref(), rendered);
        *last = Some(Arc::clone(rendered));
        Some(event)
    }))
}

fn changes(before: Option<&Rendered>, now: &Rendered) -> Bytes {
    let old = before.map(Rendered::sections);
    let same = |ix: usize, html: &str| {
        old.as_ref().and_then(|old| old.get(ix)).is_some_and(|old| old.html == html)
    };
    let changed: serde_json::Map<_, _> = now
        .sections()
        .iter()
        .enumerate()
        .filter(|(ix, section)| !same(*ix, &section.html))
        .map(|(_, section)| (section.id.to_owned(), json!(section.html)))
        .collect();
    Bytes::from(format!("data: {}\n\n", serde_json::Value::from(changed)))
}

/// A stream that follows the snapshots: `say` makes an event of each, or passes it over.
fn streaming<T: Send + 'static>(
    site: Site,
    memory: T,
    say: impl Fn(&Arc<Rendered>, &mut T) -> Option<Bytes> + Send + 'static,
) -> Response {
    let mut now = site.now.clone();
    now.mark_changed();
    let events = stream::unfold((now, memory, say), move |(mut now, mut memory, say)| {
        let site = Arc::clone(&site);
        async move {
            loop {
                match tokio::time::timeout(KEEP_ALIVE, now.changed()).await {
                    Ok(Ok(())) => {
                        let snapshot = Arc::clone(&now.borrow_and_update());
                        if let Some(event) =
                            say(&site.cache.of(&snapshot, site.record_status()), &mut memory)
                        {
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
