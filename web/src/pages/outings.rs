//! Outings: the list, the report of one with its charts, exports, and their JSON.

use std::sync::Arc;

use askama::Template;
use axum::{
    Json,
    body::Body,
    extract::{Query, State},
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use reckon::{
    record::{Channel, Ending, Outing, Page, SeriesAsk, Stretch},
    snapshot::Snapshot,
    time::Wall,
    units::{Joules, Seconds, Share, Watts},
    words::{self, Local, OutingEnd},
};
use serde::Deserialize;

use crate::{
    RecordReader,
    http::site::Site,
    http::{
        door::{Id, Reply},
        problem::{Problem, not_there, unreadable},
        sending,
    },
    pages::frame::{Frame, shown},
    wire::past,
};

/// Outings on a page.
const A_PAGE: usize = 12;
/// Outings in a JSON page when nobody says how many, and at most.
const A_JSON_PAGE: usize = 50;
const MOST: usize = 200;
/// Points of the drawing: about one for each dot of a small phone.
pub(crate) const POINTS: usize = 320;

// ---- words ----------------------------------------------------------------------------------

pub(crate) fn local(wall: Option<Wall>, site: &Site) -> Option<Local> {
    let utc_offset_s = site.snapshot().at.utc_offset_s;
    wall.map(|wall| Local { wall, utc_offset_s })
}

const fn end_of(ending: Ending) -> OutingEnd {
    match ending {
        Ending::Open => OutingEnd::Open,
        Ending::SwitchedOff => OutingEnd::SwitchedOff,
        Ending::Died => OutingEnd::Died,
        Ending::PowerLost { died } => OutingEnd::PowerLost(Share::nearest(died)),
        Ending::Swapped => OutingEnd::Swapped,
    }
}

fn wh(energy: Option<f64>) -> Option<Joules> {
    energy.map(Joules::from_wh)
}

/// An outing as a plain row.
pub(crate) struct Row {
    pub(crate) id: i64,
    pub(crate) name: String,
    pub(crate) bank: Option<String>,
    pub(crate) began: String,
    pub(crate) lasted: String,
    pub(crate) ending: String,
    pub(crate) end: OutingEnd,
    pub(crate) took: String,
    pub(crate) question: Option<Question>,
    /// What was answered, and how it is changed.
    pub(crate) answered: Option<Answered>,
}

/// 'How did this outing end?', with what is most likely first.
pub(crate) struct Question {
    pub(crate) outing: i64,
    pub(crate) hint: String,
    /// The likelier answer comes first and is marked.
    pub(crate) died_first: bool,
}

/// How an outing ended whose power was lost, as it stands.
pub(crate) struct Answered {
    pub(crate) outing: i64,
    /// The bank ran empty; else its plug was pulled.
    pub(crate) died: bool,
    /// A person has said so, and can take it back.
    pub(crate) said: bool,
}

/// What is settled of an ending, and whether by a person's word that can be taken back.
fn settled(line: &Outing, snapshot: &Snapshot) -> Option<Answered> {
    let last = snapshot.bank.last_ended.filter(|last| last.outing == line.id);
    let said = last.and_then(|last| last.said);
    let died = match (line.ending, said) {
        (Ending::Died | Ending::PowerLost { .. }, Some(died)) => died,
        (Ending::Died, None) => true,
        // Of an earlier outing, no chance at all is what an answer left behind.
        (Ending::PowerLost { died: 0.0 }, None) if last.is_none() => false,
        _ => return None,
    };
    Some(Answered { outing: line.id, died, said: said.is_some() })
}

fn ending(line: &Outing, end: OutingEnd, ended: Option<Local>) -> String {
    let said = words::ending(end, ended, line.ended_within_s.map(Seconds::of));
    let empty = matches!(end, OutingEnd::Died | OutingEnd::PowerLost(_));
    if empty && line.died_too_soon() {
        format!("{said} {}", words::TOO_SOON_TO_LEARN)
    } else {
        said
    }
}

/// What it took, with the highest look if that is to be said.
pub(crate) fn took(line: &Outing, peak: Option<Watts>) -> String {
    let mean = line.mean_power_w.map(Watts::of);
    let took = words::took(wh(line.energy_wh), mean, peak);
    if line.is_at_least() { words::took_at_least(&took) } else { took }
}

pub(crate) fn row(line: &Outing, site: &Site) -> Row {
    let began = local(line.began, site);
    let ended = local(line.ended, site);
    let within = line.ended_within_s.map(Seconds::of);
    let answered = settled(line, &site.snapshot());
    let end = match &answered {
        Some(answered) if answered.died => OutingEnd::Died,
        Some(_) => OutingEnd::Unplugged,
        None => end_of(line.ending),
    };
    Row {
        id: line.id,
        name: words::outing_name(line.name.as_deref(), began),
        bank: line.bank.clone(),
        began: words::began(began),
        lasted: match line.ending {
            Ending::Open => words::so_far(Seconds::of(line.lasted_s)),
            _ => words::lasted(
                Seconds::of(line.lasted_s),
                within.unwrap_or(Seconds::of(0.0)),
                Seconds::of(0.0),
            ),
        },
        ending: ending(line, end, ended),
        end,
        took: took(line, None),
        question: match line.ending {
            Ending::PowerLost { died } if answered.is_none() => Some(Question {
                outing: line.id,
                hint: words::how_ended(Share::nearest(died)),
                died_first: died >= 0.5,
            }),
            _ => None,
        },
        answered,
    }
}

// ---- the list -------------------------------------------------------------------------------

#[derive(Deserialize, Default)]
pub(crate) struct Paging {
    before: Option<i64>,
    limit: Option<usize>,
}

#[derive(Template)]
#[template(path = "outings.html")]
struct OutingsPage {
    frame: Frame,
    paired: bool,
    rows: Vec<Row>,
    next: Option<i64>,
    later: bool,
}

async fn read_list(
    site: &Site,
    before: Option<i64>,
    most: usize,
) -> Result<Arc<Page<Outing>>, Problem> {
    let read = move |past: &dyn RecordReader| past.outings(before, most).map(Some);
    let page = site.read_recent(&site.readings.lists, (before, most), read).await?;
    Ok(page.unwrap_or_default())
}

pub(crate) async fn list(
    State(site): State<Site>,
    paging: Result<Query<Paging>, axum::extract::rejection::QueryRejection>,
    headers: HeaderMap,
) -> Reply {
    let paging = read(paging)?;
    let page = read_list(&site, paging.before, A_PAGE).await?;
    Ok(shown(&OutingsPage {
        frame: Frame::for_request(&site, &headers, "Outings"),
        paired: site.may_change(&headers),
        rows: page.items.iter().map(|line| row(line, &site)).collect(),
        next: page.next,
        later: paging.before.is_some(),
    }))
}

fn read<T>(
    query: Result<Query<T>, axum::extract::rejection::QueryRejection>,
) -> Result<T, Problem> {
    query.map(|Query(read)| read).map_err(|_| unreadable(words::refusal::BAD_QUERY))
}

pub(crate) async fn api_list(
    State(site): State<Site>,
    paging: Result<Query<Paging>, axum::extract::rejection::QueryRejection>,
) -> Reply {
    let paging = read(paging)?;
    let most = paging.limit.unwrap_or(A_JSON_PAGE).clamp(1, MOST);
    let page = read_list(&site, paging.before, most).await?;
    let offset_s = site.snapshot().at.utc_offset_s;
    Ok(Json(past::outings(&page, offset_s)).into_response())
}

// ---- one outing -----------------------------------------------------------------------------

/// A file to be kept (RFC 6266 for the name).
pub(crate) fn file(body: impl Into<Body>, kind: &'static str, name: &str) -> Response {
    let mut response = Response::new(body.into());
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    if let Ok(value) = HeaderValue::from_str(&format!("attachment; filename=\"{name}\"")) {
        headers.insert(header::CONTENT_DISPOSITION, value);
    }
    response
}

pub(crate) async fn api_one(State(site): State<Site>, Id(id): Id) -> Reply {
    let told = site.read_record(move |past| past.outing(id)).await?;
    let told = told.ok_or_else(|| not_there("outing"))?;
    let offset_s = site.snapshot().at.utc_offset_s;
    Ok(Json(past::outing_whole(&told, offset_s)).into_response())
}

// ---- series ---------------------------------------------------------------------------------

#[derive(Deserialize, Default)]
pub(crate) struct SeriesWish {
    points: Option<usize>,
    from_s: Option<f64>,
    to_s: Option<f64>,
    channels: Option<String>,
}

pub(crate) async fn api_series(
    State(site): State<Site>,
    Id(id): Id,
    wish: Result<Query<SeriesWish>, axum::extract::rejection::QueryRejection>,
    headers: HeaderMap,
) -> Reply {
    let ask = series_ask(id, &read(wish)?)?;
    let large = ask.points > POINTS;
    let seat =
        large.then(|| site.files.seat(site.may_change(&headers), &site.shown.clock)).transpose()?;
    let told = site.read_record(move |past| past.series(&ask)).await?;
    let told = told.ok_or_else(|| not_there("outing"))?;
    let json = Json(past::series(&told));
    let Some(seat) = seat else { return Ok(json.into_response()) };
    // A long one goes as a file does: whoever takes it slowly keeps nobody from anything.
    let text = serde_json::to_vec(&json.0).map_err(|error| {
        tracing::error!(%error);
        Problem::from_status(StatusCode::INTERNAL_SERVER_ERROR)
    })?;
    let body = sending::body(sending::pieces_of(text), seat);
    Ok(([(header::CONTENT_TYPE, "application/json")], body).into_response())
}

fn series_ask(outing: i64, wish: &SeriesWish) -> Result<SeriesAsk, Problem> {
    let from_s = wish.from_s.unwrap_or(0.0);
    let to_s = wish.to_s.unwrap_or(f64::INFINITY);
    if !from_s.is_finite() || from_s < 0.0 || to_s.is_nan() || to_s <= from_s {
        return Err(unreadable(words::refusal::BAD_RANGE));
    }
    let channels = match wish.channels.as_deref().filter(|text| !text.is_empty()) {
        None => vec![Channel::Watts, Channel::Modelled, Channel::Volts, Channel::Amps],
        Some(text) => {
            let mut channels = Vec::new();
            for name in text.split(',') {
                let known = Channel::ALL.into_iter().find(|channel| channel.name() == name.trim());
                let Some(channel) = known else {
                    let names: Vec<&str> = Channel::ALL.iter().map(|it| it.name()).collect();
                    return Err(unreadable(words::refusal::bad_channels(&(names.join(", ")))));
                };
                if !channels.contains(&channel) {
                    channels.push(channel);
                }
            }
            channels
        }
    };
    Ok(SeriesAsk {
        of: Stretch::Outing { id: outing, from_s, to_s },
        channels,
        points: wish.points.unwrap_or(POINTS).clamp(2, 4000),
    })
}

// ---- a whole copy, over the socket ------------------------------------------------------------

/// A whole copy of the store, read as it is taken.
pub(crate) async fn api_copy(State(site): State<Site>) -> Reply {
    let seat = site.files.seat(true, &site.shown.clock)?;
    let body = sending::body(site.read_record(|past| past.copy()).await?, seat);
    let headers = [
        (header::CONTENT_TYPE, "application/vnd.sqlite3"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"outlast-copy.sqlite3\""),
    ];
    Ok((headers, body).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bank_that_died_too_soon_to_learn_from_is_said() {
        let died = |lasted_s| Outing { ending: Ending::Died, lasted_s, ..Outing::default() };
        let said = |lasted_s, end| ending(&died(lasted_s), end, None);
        assert_eq!(
            said(480.0, OutingEnd::Died),
            "The bank ran empty. That was too soon to learn from: a run-down counts from ten \
             minutes on."
        );
        assert_eq!(said(600.0, OutingEnd::Died), "The bank ran empty.");
        assert_eq!(said(480.0, OutingEnd::Unplugged), "The plug was pulled.");
    }
}
