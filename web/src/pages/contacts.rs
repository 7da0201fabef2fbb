//! The contact log: the page where it is handed over, what was read of it, and its JSON.

use std::{collections::HashMap, sync::Arc};

use askama::Template;
use axum::{
    Json,
    body::Bytes,
    extract::{Query, Request, State, rejection::QueryRejection},
    http::{HeaderMap, StatusCode, header},
    response::IntoResponse,
};
use reckon::{
    adif::{self, Contact, Log},
    record::{
        Ending, LoggedContact, MINUTE_MS, Outing, OutingContacts, OutingWhole, RecordCommand,
    },
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
/// The newest outings are shown with their contacts; so many are read at once.
const OUTINGS: usize = 12;
/// Nothing that an outing's wall time may be off by, or its end be late, is more, ms: a day.
const MARGIN_MS: i64 = 86_400_000;

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
    /// Of those that count, how many lie in no outing; how many more the outings have than before.
    in_no_outing: usize,
    new: usize,
    /// These two in words.
    said: String,
    /// The log without its contacts.
    log: Log,
    /// Outings with contacts, newest first.
    placed: Vec<Placed>,
}

/// What outings have of the times of a log.
#[derive(Default)]
struct Met {
    /// The newest outings that have contacts, and the open one if it cannot have all of its.
    placed: Vec<Placed>,
    /// How many contacts each outing has that was looked through.
    counts: HashMap<i64, usize>,
    /// How many contacts of the log are among them.
    found: usize,
}

impl Met {
    /// How many more contacts outings have than before.
    fn more_than(&self, before: &Self) -> usize {
        let gained = |(id, now): (&i64, &usize)| {
            now.saturating_sub(before.counts.get(id).copied().unwrap_or(0))
        };
        self.counts.iter().map(gained).sum()
    }
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
    let counting = Arc::new(counting(&contacts));
    let look = || {
        let counting = Arc::clone(&counting);
        site.read_record(move |past| meet(past, &counting))
    };
    let before = look().await?;
    site.record_command(RecordCommand::Contacts { contacts }).await?;
    let met = look().await?;
    let (in_no_outing, new) = (counting.len() - met.found, met.more_than(&before));
    let said = site.shown.language.contact_log.placed(counting.len(), in_no_outing, new);
    tracing::info!("contact log: {read} {said}");
    Ok(Imported { contacts: count, read, in_no_outing, new, said, log, placed: met.placed })
}

/// The contacts of a log that count, oldest first, without what places none.
fn counting(contacts: &[Contact]) -> Vec<LoggedContact> {
    let row = |contact: &Contact| LoggedContact {
        began_ms: contact.began.unix_ms(),
        band: contact.band.map(|band| band.name.to_owned()),
        mode: contact.mode.clone(),
        ..LoggedContact::default()
    };
    let mut all: Vec<LoggedContact> = contacts.iter().map(row).collect();
    all.sort_by_key(|contact| contact.began_ms);
    all.split_off(all.len().saturating_sub(adif::MOST_KEPT))
}

/// Looks through the newest outings, and through those before them that a contact may lie in.
fn meet(past: &dyn RecordReader, log: &[LoggedContact]) -> Result<Met, NoRecord> {
    let (mut met, mut kept, mut before) = (Met::default(), Vec::new(), None);
    let oldest_ms = log.first().map_or(i64::MAX, |oldest| oldest.began_ms);
    loop {
        let page = past.outings(before, OUTINGS)?;
        let last = page.items.iter().rev().find_map(|line| line.began);
        for line in page.items.into_iter().filter(|line| before.is_none() || may_hold(line, log)) {
            let told = past.contacts(line.id)?.unwrap_or_default();
            met.counts.insert(line.id, told.contacts.len());
            kept.extend(told.contacts.iter().map(|placed| placed.contact.clone()));
            let waits = line.ending == Ending::Open && told.undated_s.is_some();
            if before.is_none() && (!told.contacts.is_empty() || waits) {
                met.placed.push(Placed { line, told });
            }
        }
        // Those before an outing that began before the log ended before it.
        let reached = last.is_some_and(|last| last.unix_ms() < oldest_ms.saturating_sub(MARGIN_MS));
        let next = page.next.filter(|next| before.is_none_or(|before| *next < before));
        if reached || next.is_none() {
            break;
        }
        before = next;
    }
    kept.sort_by_key(|contact: &LoggedContact| contact.began_ms);
    met.found = log.iter().filter(|contact| is_among(contact, &kept)).count();
    Ok(met)
}

/// Whether a contact of the log, oldest first, may lie in an outing.
fn may_hold(line: &Outing, log: &[LoggedContact]) -> bool {
    let from_ms = line.began.map_or(i64::MIN, |at| at.unix_ms().saturating_sub(MARGIN_MS));
    let to_ms = line.ended.map_or(i64::MAX, |at| at.unix_ms().saturating_add(MARGIN_MS));
    let first = log.partition_point(|contact| contact.began_ms < from_ms);
    log.get(first).is_some_and(|contact| contact.began_ms <= to_ms)
}

/// Whether a contact is one of those that are kept, in order of time.
fn is_among(contact: &LoggedContact, kept: &[LoggedContact]) -> bool {
    let minute_ms = contact.minute_ms();
    let first = kept.partition_point(|there| there.began_ms < minute_ms);
    let same_minute = kept.iter().skip(first);
    same_minute
        .take_while(|there| there.began_ms < minute_ms.saturating_add(MINUTE_MS))
        .any(|there| contact.may_be(there))
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
        read: Some(format!("{} {}", imported.read, imported.said)),
        file: w.file(LOG_BYTES >> 20),
    }))
}

// ---- JSON -----------------------------------------------------------------------------------

#[derive(Serialize)]
struct ImportedJson {
    contacts: usize,
    left_out: usize,
    again: usize,
    in_no_outing: usize,
    new: usize,
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
        again: imported.log.again,
        in_no_outing: imported.in_no_outing,
        new: imported.new,
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
