//! Outings: the list, the report of one with its charts, exports, and their JSON.

use askama::Template;
use axum::{
    Json,
    body::{Body, Bytes},
    extract::{Path, Query, State},
    http::{HeaderMap, HeaderValue, header},
    response::{IntoResponse, Response},
};
use reckon::{
    time::Wall,
    units::{Joules, Seconds, Share, Watts},
    words::{self, Local, OutingEnd},
};
use serde::Deserialize;
use tokio::sync::mpsc;

use crate::{
    Channel, Ending, ForecastTold, OutingLine, OutingTold, SeriesAsk, SeriesTold, Site,
    asks::{Done, unreadable},
    banks, draw_chart,
    look::Look,
    page::{Frame, shown},
    recall::not_there,
    wire_past,
};

/// Outings on a page.
const A_PAGE: usize = 12;
/// Outings in a JSON page when nobody says how many, and at most.
const A_JSON_PAGE: usize = 50;
const MOST: usize = 200;
/// Points of the drawing: about one for each dot of a small phone.
const POINTS: usize = 320;
/// Rows of a list on the report; longer ones are cut and say so.
const ROWS: usize = 40;
/// Forecasts shown as rows, evenly picked.
const FORECAST_ROWS: usize = 8;

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
struct Row {
    id: i64,
    name: String,
    bank: Option<String>,
    began: String,
    lasted: String,
    ending: String,
    took: String,
    question: Option<Question>,
}

/// 'How did this outing end?', with what is most likely first.
struct Question {
    outing: i64,
    hint: String,
    /// The likelier answer comes first and is marked.
    died_first: bool,
}

fn row(line: &OutingLine, site: &Site) -> Row {
    let began = local(line.began, site);
    let ended = local(line.ended, site);
    let within = line.ended_within_s.map(Seconds::of);
    let watts = |watts: Option<f64>| watts.map(Watts::of);
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
        ending: words::ending(end_of(line.ending), ended, within),
        took: words::took(wh(line.energy_wh), watts(line.mean_power_w), None),
        question: match line.ending {
            Ending::PowerLost { died } => Some(Question {
                outing: line.id,
                hint: words::how_ended(Share::nearest(died)),
                died_first: died >= 0.5,
            }),
            _ => None,
        },
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

#[derive(Template)]
#[template(path = "question.html")]
struct QuestionPart<'a> {
    question: &'a Question,
}

impl Question {
    fn html(&self) -> String {
        crate::page::part(&QuestionPart { question: self })
    }
}

pub(crate) async fn list(
    State(site): State<Site>,
    paging: Result<Query<Paging>, axum::extract::rejection::QueryRejection>,
    headers: HeaderMap,
) -> Done {
    let paging = read(paging)?;
    let page = site.recall(move |past| past.outings(paging.before, A_PAGE)).await?;
    Ok(shown(&OutingsPage {
        frame: Frame::new(Look::of(&headers), "Outings"),
        paired: site.may_change(&headers),
        rows: page.outings.iter().map(|line| row(line, &site)).collect(),
        next: page.next,
        later: paging.before.is_some(),
    }))
}

fn read<T>(
    query: Result<Query<T>, axum::extract::rejection::QueryRejection>,
) -> Result<T, crate::trouble::Sorry> {
    query
        .map(|Query(read)| read)
        .map_err(|_| unreadable("A part of the address after the ? cannot be read."))
}

pub(crate) async fn api_list(
    State(site): State<Site>,
    paging: Result<Query<Paging>, axum::extract::rejection::QueryRejection>,
) -> Done {
    let paging = read(paging)?;
    let most = paging.limit.unwrap_or(A_JSON_PAGE).clamp(1, MOST);
    let page = site.recall(move |past| past.outings(paging.before, most)).await?;
    let offset_s = site.snapshot().at.utc_offset_s;
    Ok(Json(wire_past::outings(page, offset_s)).into_response())
}

// ---- one outing -----------------------------------------------------------------------------

#[derive(Template)]
#[template(path = "outing.html")]
struct OutingPage {
    frame: Frame,
    paired: bool,
    row: Row,
    given: String,
    open: bool,
    /// Whether to ask if the open outing is still this one.
    goes_on: bool,
    bridged: Option<String>,
    peak: Option<String>,
    chart: Option<String>,
    foresight: Option<String>,
    forecasts: Option<String>,
    forecast_rows: Vec<(String, String)>,
    events: Vec<(String, String)>,
    events_left: usize,
    gaps: Vec<(String, String)>,
    gaps_left: usize,
    rundown: Option<banks::RunDownRow>,
}

/// The type of CSV (RFC 4180 section 3).
const CSV: &str = "text/csv; charset=utf-8; header=present";

/// `/outings/{id}`, and with `.csv`, `.json` or `.close-ups.csv` behind it an export.
pub(crate) async fn one(
    State(site): State<Site>,
    Path(tail): Path<String>,
    headers: HeaderMap,
) -> Done {
    let (id, kind) = tail.split_once('.').unwrap_or((&tail, ""));
    let Ok(id) = id.parse::<i64>() else { return Err(not_there("outing")) };
    match kind {
        "" => report(site, id, &headers).await,
        "csv" => {
            let text = site.recall(move |past| past.csv(id)).await?;
            text.map(|text| file(text, CSV, &format!("outing-{id}.csv")))
                .ok_or_else(|| not_there("outing"))
        }
        "close-ups.csv" => {
            let text = site.recall(move |past| past.close_ups(id)).await?;
            text.map(|text| file(text, CSV, &format!("outing-{id}-close-ups.csv")))
                .ok_or_else(|| not_there("outing"))
        }
        "json" => {
            let text = site.recall(move |past| past.json(id)).await?;
            text.map(|text| file(text, "application/json", &format!("outing-{id}.json")))
                .ok_or_else(|| not_there("outing"))
        }
        _ => Err(not_there("outing")),
    }
}

/// A file to be kept (RFC 6266 for the name).
fn file(text: String, kind: &'static str, name: &str) -> Response {
    let mut response = Response::new(Body::from(text));
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    if let Ok(value) = HeaderValue::from_str(&format!("attachment; filename=\"{name}\"")) {
        headers.insert(header::CONTENT_DISPOSITION, value);
    }
    response
}

async fn report(site: Site, id: i64, headers: &HeaderMap) -> Done {
    let told = site
        .recall(move |past| {
            let Some(told) = past.outing(id)? else { return Ok(None) };
            let ask = SeriesAsk {
                outing: id,
                channels: vec![Channel::Watts, Channel::Modelled],
                from_s: 0.0,
                to_s: f64::INFINITY,
                points: POINTS,
            };
            Ok(Some((told, past.series(&ask)?)))
        })
        .await?;
    let Some((told, series)) = told else { return Err(not_there("outing")) };
    Ok(shown(&page_of(&site, &told, series.as_ref(), headers)))
}

fn page_of(
    site: &Site,
    told: &OutingTold,
    series: Option<&SeriesTold>,
    headers: &HeaderMap,
) -> OutingPage {
    let line = &told.line;
    let began = local(line.began, site);
    let truth_s = truth(line);
    let chart = series.and_then(|series| draw_chart::draw(series, line, &told.events, began));
    OutingPage {
        frame: Frame::new(Look::of(headers), "Outings"),
        paired: site.may_change(headers),
        row: row(line, site),
        given: line.name.clone().unwrap_or_default(),
        open: line.ending == Ending::Open,
        goes_on: site.keeping().ask_goes_on == Some(line.id),
        bridged: words::bridged(wh(line.energy_wh), wh(line.bridged_wh)),
        peak: line.peak_power_w.map(|peak| words::power(Watts::of(peak))),
        chart,
        foresight: draw_chart::foresight(&told.forecasts, truth_s, line.lasted_s),
        forecasts: truth_s.map(|truth_s| judged(&told.forecasts, truth_s)),
        forecast_rows: forecast_rows(&told.forecasts, truth_s, began),
        events: told
            .events
            .iter()
            .take(ROWS)
            .map(|it| {
                (words::moment_of(began, Seconds::of(it.at_s)), words::event(&it.kind, &it.text))
            })
            .collect(),
        events_left: told.events.len().saturating_sub(ROWS),
        gaps: told
            .gaps
            .iter()
            .take(ROWS)
            .map(|gap| {
                let lasted = gap.to_s.map(|to_s| Seconds::of((to_s - gap.from_s).max(0.0)));
                (
                    words::moment_of(began, Seconds::of(gap.from_s)),
                    words::silence(&gap.source, lasted, &gap.why),
                )
            })
            .collect(),
        gaps_left: told.gaps.len().saturating_sub(ROWS),
        rundown: told.rundown.as_ref().map(|it| banks::rundown_row(it, site, Some(line.id))),
    }
}

/// How long the bank lasted, s, where it is known to have died; the middle of what is known.
fn truth(line: &OutingLine) -> Option<f64> {
    let died = line.ending == Ending::Died;
    died.then(|| line.lasted_s + line.ended_within_s.unwrap_or(0.0) / 2.0)
}

/// How the forecasts did against the true end.
fn judged(forecasts: &[ForecastTold], truth_s: f64) -> String {
    let before: Vec<&ForecastTold> = forecasts.iter().filter(|it| it.at_s < truth_s).collect();
    let held = before.iter().filter(|it| {
        let left_s = truth_s - it.at_s;
        (it.remaining_s[0]..=it.remaining_s[2]).contains(&left_s)
    });
    let held = held.count();
    let mut misses: Vec<f64> =
        before.iter().map(|it| (truth_s - it.at_s - it.remaining_s[1]).abs()).collect();
    misses.sort_by(f64::total_cmp);
    let middle = misses.get(misses.len() / 2).map(|miss| Seconds::of(*miss));
    words::forecasts(held, before.len(), middle)
}

fn forecast_rows(
    forecasts: &[ForecastTold],
    truth_s: Option<f64>,
    began: Option<Local>,
) -> Vec<(String, String)> {
    let each = forecasts.len().div_ceil(FORECAST_ROWS).max(1);
    forecasts
        .iter()
        .step_by(each)
        .map(|it| {
            let truth = truth_s.map(|truth_s| Seconds::of((truth_s - it.at_s).max(0.0)));
            (
                words::moment_of(began, Seconds::of(it.at_s)),
                words::forecast_then(it.remaining_s.map(Seconds::of), truth),
            )
        })
        .collect()
}

pub(crate) async fn api_one(State(site): State<Site>, Path(id): Path<String>) -> Done {
    let id = id.parse::<i64>().map_err(|_| not_there("outing"))?;
    let told = site.recall(move |past| past.outing(id)).await?;
    let told = told.ok_or_else(|| not_there("outing"))?;
    let offset_s = site.snapshot().at.utc_offset_s;
    Ok(Json(wire_past::outing_whole(told, offset_s)).into_response())
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
    Path(id): Path<String>,
    wish: Result<Query<SeriesWish>, axum::extract::rejection::QueryRejection>,
) -> Done {
    let id = id.parse::<i64>().map_err(|_| not_there("outing"))?;
    let ask = series_ask(id, &read(wish)?)?;
    let told = site.recall(move |past| past.series(&ask)).await?;
    let told = told.ok_or_else(|| not_there("outing"))?;
    Ok(Json(wire_past::series(told)).into_response())
}

fn series_ask(outing: i64, wish: &SeriesWish) -> Result<SeriesAsk, crate::trouble::Sorry> {
    let from_s = wish.from_s.unwrap_or(0.0);
    let to_s = wish.to_s.unwrap_or(f64::INFINITY);
    if !from_s.is_finite() || from_s < 0.0 || to_s.is_nan() || to_s <= from_s {
        return Err(unreadable("`from_s` must be 0 or more, and `to_s` more than it."));
    }
    let channels = match wish.channels.as_deref().filter(|text| !text.is_empty()) {
        None => vec![Channel::Watts, Channel::Modelled, Channel::Volts, Channel::Amps],
        Some(text) => {
            let mut channels = Vec::new();
            for name in text.split(',') {
                let known = Channel::ALL.into_iter().find(|channel| channel.name() == name.trim());
                let Some(channel) = known else {
                    let names: Vec<&str> = Channel::ALL.iter().map(|it| it.name()).collect();
                    return Err(unreadable(format!("`channels` may hold {}.", names.join(", "))));
                };
                if !channels.contains(&channel) {
                    channels.push(channel);
                }
            }
            channels
        }
    };
    Ok(SeriesAsk {
        outing,
        channels,
        from_s,
        to_s,
        points: wish.points.unwrap_or(POINTS).clamp(2, 4000),
    })
}

// ---- a whole copy, over the socket ------------------------------------------------------------

/// Bytes of the copy that are on their way at once.
const PIECE_BYTES: usize = 64 * 1024;

/// A whole copy of the store: read on the blocking pool, a few pieces ahead of the asker.
pub(crate) async fn api_copy(State(site): State<Site>) -> Done {
    let mut from = site.recall(|past| past.copy()).await?;
    let (send, pieces) = mpsc::channel::<std::io::Result<Bytes>>(2);
    tokio::task::spawn_blocking(move || {
        loop {
            let mut piece = vec![0; PIECE_BYTES];
            let sent = match from.read(&mut piece) {
                Ok(0) => return,
                Ok(count) => {
                    piece.truncate(count);
                    send.blocking_send(Ok(Bytes::from(piece)))
                }
                Err(error) if error.kind() == std::io::ErrorKind::Interrupted => continue,
                // Breaks the transfer off, so that half a copy is not taken for a whole one.
                Err(error) => {
                    drop(send.blocking_send(Err(error)));
                    return;
                }
            };
            if sent.is_err() {
                return;
            }
        }
    });
    let body = Body::from_stream(futures_util::stream::unfold(pieces, async |mut pieces| {
        pieces.recv().await.map(|piece| (piece, pieces))
    }));
    let headers = [
        (header::CONTENT_TYPE, "application/vnd.sqlite3"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"outlast-copy.sqlite3\""),
    ];
    Ok((headers, body).into_response())
}
