//! The contact log: the page where it is handed over, what was read of it, and its JSON.

use askama::Template;
use axum::{
    Json,
    body::Bytes,
    extract::{Query, Request, State, rejection::QueryRejection},
    http::{HeaderMap, StatusCode, header},
    response::IntoResponse,
};
use reckon::{
    adif::{self, Log},
    record::{Ending, Outing, OutingContacts, OutingWhole, RecordCommand},
    units::Seconds,
    words::{self, ContactLogPage, contact_log},
};
use serde::{Deserialize, Serialize};

use crate::{
    NoRecord, RecordReader,
    http::door::Reply,
    http::multipart,
    http::problem::{Problem, not_there, unreadable},
    http::site::Site,
    pages::frame::{Frame, shown},
    pages::outings::local,
};

/// The longest log that is taken at once: about ten thousand contacts with every field. One at a
/// time is read, so that this bounds the memory too.
pub const LOG_BYTES: usize = 4 * 1024 * 1024;
/// Outings that are looked through for contacts of a log, newest first.
const OUTINGS: usize = 12;

/// An outing and the contacts it has.
struct Placed {
    line: Outing,
    told: OutingContacts,
}

/// What came of a log.
struct Imported {
    /// How many contacts, and what is said of them.
    contacts: usize,
    read: String,
    /// The log without its contacts.
    log: Log,
    /// Outings with contacts, newest first.
    placed: Vec<Placed>,
}

fn too_large() -> Problem {
    let say = contact_log::log_too_large(LOG_BYTES);
    Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "too-large", words::refusal::TOO_MUCH_TITLE, say)
}

/// The whole body. Nobody else waits for it.
async fn body(site: &Site, request: Request) -> Result<Bytes, Problem> {
    let read = site.bodies.read(request, LOG_BYTES).await;
    read.map_err(|problem| match problem.status {
        StatusCode::PAYLOAD_TOO_LARGE => too_large(),
        _ => problem,
    })
}

/// Reads a log, hands its contacts over to be kept, and tells where they went.
async fn import_log(site: &Site, file: Bytes) -> Result<Imported, Problem> {
    // Its memory is bounded by this.
    let _turn = site.logs.acquire().await;
    let reading = tokio::task::spawn_blocking(move || {
        // Whether the calls are kept is not decided here.
        let log = adif::read(&file, adif::Keep { calls: true });
        drop(file);
        log
    });
    let mut log = reading.await.map_err(|error| {
        tracing::error!(%error, "the reading of a contact log fell");
        Problem::from_status(StatusCode::INTERNAL_SERVER_ERROR)
    })?;
    if log.contacts.is_empty() {
        return Err(unreadable(contact_log::nothing_read(&log)));
    }
    let (count, read) = (log.contacts.len(), site.shown.language.contact_log.read(&log));
    let contacts = std::mem::take(&mut log.contacts);
    site.record_command(RecordCommand::Contacts { contacts }).await?;
    tracing::info!("contact log: {read}");
    Ok(Imported { contacts: count, read, log, placed: site.read_record(placed).await? })
}

/// The newest outings that have contacts, and the open one if it cannot have all of its.
fn placed(past: &dyn RecordReader) -> Result<Vec<Placed>, NoRecord> {
    let mut all = Vec::new();
    for line in past.outings(None, OUTINGS)?.items {
        let told = past.contacts(line.id)?.unwrap_or_default();
        let waits = line.ending == Ending::Open && told.undated_s.is_some();
        if !told.contacts.is_empty() || waits {
            all.push(Placed { line, told });
        }
    }
    Ok(all)
}

// ---- the page -------------------------------------------------------------------------------

#[derive(Template)]
#[template(path = "contacts.html")]
struct ContactsPage {
    frame: Frame,
    w: &'static ContactLogPage,
    paired: bool,
    /// What was read just now, and what was left out, with its reasons.
    read: Option<String>,
    complaints: Vec<String>,
    more: Option<String>,
    outings: Vec<OutingView>,
    /// The outing that it is about.
    of: Option<Of>,
    file: String,
}

struct OutingView {
    id: i64,
    name: String,
    contacts: String,
    undated: Option<String>,
}

struct Of {
    id: i64,
    name: String,
    count: usize,
    has: String,
    take_out: String,
    undated: Option<String>,
}

fn undated(w: &ContactLogPage, line: &Outing, told: &OutingContacts) -> Option<String> {
    let part_s = told.undated_s?;
    Some(w.undated(Seconds::of(part_s), part_s >= line.lasted_s - 1.0))
}

fn name_of(line: &Outing, site: &Site) -> String {
    site.shown.language.contact_log.outing_name(line.name.as_deref(), local(line.began, site))
}

fn outing_view(placed: &Placed, site: &Site) -> OutingView {
    let w = &site.shown.language.contact_log;
    OutingView {
        id: placed.line.id,
        name: name_of(&placed.line, site),
        contacts: w.contacts(placed.told.contacts.len()),
        undated: undated(w, &placed.line, &placed.told),
    }
}

#[derive(Deserialize)]
pub(crate) struct OfWish {
    outing: Option<i64>,
}

async fn of_outing(site: &Site, outing: Option<i64>) -> Result<Option<Of>, Problem> {
    let Some(id) = outing else { return Ok(None) };
    let found = site.read_record(move |past| past.outing(id)).await?;
    let OutingWhole { outing, contacts: told, .. } = found.ok_or_else(|| not_there("outing"))?;
    let count = told.contacts.len();
    let w = &site.shown.language.contact_log;
    Ok(Some(Of {
        id,
        name: name_of(&outing, site),
        count,
        has: w.outing_has(count),
        take_out: w.take_out(count),
        undated: undated(w, &outing, &told),
    }))
}

/// The page with the form.
pub(crate) async fn page(
    State(site): State<Site>,
    headers: HeaderMap,
    wish: Result<Query<OfWish>, QueryRejection>,
) -> Reply {
    let wish = wish.map_err(|_| not_there("outing"))?;
    let of = of_outing(&site, wish.outing).await?;
    let w = &site.shown.language.contact_log;
    Ok(shown(&ContactsPage {
        frame: Frame::for_request(&site, &headers, "Outings"),
        w,
        paired: site.may_change(&headers),
        read: None,
        complaints: Vec::new(),
        more: None,
        outings: Vec::new(),
        of,
        file: w.file(LOG_BYTES >> 20),
    }))
}

/// A file of the phone, or text pasted in; answered with what was read.
pub(crate) async fn log_form(
    State(site): State<Site>,
    headers: HeaderMap,
    request: Request,
) -> Reply {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok());
    let boundary = kind.and_then(multipart::boundary).map(str::to_owned);
    let boundary =
        boundary.ok_or_else(|| Problem::from_status(StatusCode::UNSUPPORTED_MEDIA_TYPE))?;
    let whole = body(&site, request).await?;
    let parts = multipart::parts(&whole, &boundary);
    let parts = parts.ok_or_else(|| Problem::from_status(StatusCode::BAD_REQUEST))?;
    let field = |wanted: &str| {
        let found = parts.iter().find(|(name, _)| *name == wanted);
        found.map(|(_, content)| *content).filter(|content| !content.trim_ascii().is_empty())
    };
    let log = field("file").or_else(|| field("text"));
    let log = log.ok_or_else(|| unreadable(words::refusal::NO_LOG))?;
    let log = whole.slice_ref(log);
    let outing = field("outing").and_then(|id| std::str::from_utf8(id).ok()?.trim().parse().ok());
    drop(whole);
    let imported = import_log(&site, log).await?;
    let w = &site.shown.language.contact_log;
    let more = imported.log.bad.saturating_sub(imported.log.complaints.len());
    Ok(shown(&ContactsPage {
        frame: Frame::for_request(&site, &headers, "Outings"),
        w,
        paired: site.may_change(&headers),
        complaints: imported.log.complaints.iter().map(w.complaint).collect(),
        more: (more > 0).then(|| w.more(more)),
        outings: imported.placed.iter().map(|placed| outing_view(placed, &site)).collect(),
        of: of_outing(&site, outing).await?,
        read: Some(imported.read),
        file: w.file(LOG_BYTES >> 20),
    }))
}

// ---- JSON -----------------------------------------------------------------------------------

#[derive(Serialize)]
struct ImportedJson {
    contacts: usize,
    left_out: usize,
    complaints: Vec<ComplaintJson>,
    outings: Vec<PlacedJson>,
}

#[derive(Serialize)]
struct ComplaintJson {
    line: usize,
    record: Option<usize>,
    text: String,
}

#[derive(Serialize)]
struct PlacedJson {
    outing_id: i64,
    name: Option<String>,
    contacts: usize,
    undated_s: Option<f64>,
}

/// The raw file as the body.
pub(crate) async fn log_json(State(site): State<Site>, request: Request) -> Reply {
    let file = body(&site, request).await?;
    let imported = import_log(&site, file).await?;
    Ok(Json(json(imported)).into_response())
}

fn json(imported: Imported) -> ImportedJson {
    let complaint = |it: &adif::Complaint| ComplaintJson {
        line: it.line,
        record: it.record,
        text: contact_log::complaint(it),
    };
    ImportedJson {
        contacts: imported.contacts,
        left_out: imported.log.bad,
        complaints: imported.log.complaints.iter().map(complaint).collect(),
        outings: imported
            .placed
            .into_iter()
            .map(|placed| PlacedJson {
                outing_id: placed.line.id,
                name: placed.line.name,
                contacts: placed.told.contacts.len(),
                undated_s: placed.told.undated_s,
            })
            .collect(),
    }
}
