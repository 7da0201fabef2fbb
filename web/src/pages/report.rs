//! The report of one outing: as a page, as a single file that needs nothing else, as JSON.

use std::sync::Arc;

use askama::Template;
use axum::{
    Json,
    extract::{Path, State},
    http::{HeaderMap, StatusCode},
    response::{IntoResponse, Response},
};
use reckon::{
    belief::{Question, QuestionView},
    energy_tally::{EnergyTally, OutingTally},
    fold::{Fold, Total},
    record::{
        Channel, Correction, Ending, EnergyPart, EventKind, Origin, Outing, OutingWhole, Series,
        SeriesAsk, Stretch,
    },
    report::{ActivitySpan, JudgedForecast, LearnedStep, OutingReport, PlanOutcome, Report},
    snapshot::Snapshot,
    units::{Joules, Seconds, Watts},
    words::{
        self, Local, ReportPage,
        contact_log::{self, CONTACT_HEAD},
        day as of_day, fold, opening, plan_outcome,
        report::{self as said, BOOK_HEAD},
        terminal,
    },
};

use crate::{
    NoRecord, Pieces, RecordReader,
    asks::record::by_clock,
    draw::whole_day::WholeDay,
    draw::{axis, fold as draw_fold, foresight, whole_day},
    http::assets::{self, Asset},
    http::door::{Id, Reply},
    http::problem::{Problem, not_there},
    http::sending,
    http::site::{ReportRead, Site},
    pages::frame::{Frame, filled, shown},
    pages::outings::{POINTS, Row, file, local, row, took},
    pages::rundown::{RunDownRow, rundown_row},
    wire,
};

/// Rows of a list; longer ones are cut and say so.
const ROWS: usize = 40;
/// Events that go onto paper.
const GRAVE: usize = 10;
/// A shorter stretch is not worth a line, s.
const WORTH_S: f64 = 60.0;
/// Forecasts shown as rows, evenly picked.
const FORECAST_ROWS: usize = 8;

/// A line of a table: its name and its cells.
pub(crate) struct Line {
    pub(crate) name: String,
    pub(crate) cells: [String; 5],
}

struct FoldView {
    found: String,
    summed: String,
    longest: String,
    parts: Vec<String>,
    curve: Option<String>,
}

struct SupplyView {
    lowest: String,
    said: String,
    drawn: Option<String>,
}

struct PlanView {
    /// In view over it.
    brief: String,
    said: Vec<String>,
    head: [&'static str; 3],
    rows: Vec<(String, [String; 3])>,
}

struct LearnedView {
    holds: String,
    said: String,
}

struct EventView {
    at: String,
    said: String,
    /// What an alarm advised then, which paper does without.
    advice: String,
    /// It goes onto paper too.
    grave: bool,
}

/// What page, file and terminal have in common.
struct ReportView {
    w: &'static ReportPage,
    row: Row,
    /// How long, what it took, what to do next time.
    opening: Vec<opening::Opening>,
    took: String,
    notes: Vec<String>,
    day: Option<WholeDay>,
    done_rows: Vec<(String, String)>,
    book_head: [&'static str; 5],
    activities: Vec<Line>,
    hours: Vec<Line>,
    book_note: String,
    drew: Vec<String>,
    /// What most went into.
    most: String,
    temp: Option<String>,
    supply: Option<SupplyView>,
    folds: Vec<FoldView>,
    /// What the timed modes took.
    timed: String,
    contacts: Vec<String>,
    /// How many, and the energy of each.
    contacts_each: String,
    contact_head: [&'static str; 5],
    groups: Vec<Line>,
    foretold: Vec<String>,
    foresight: Option<String>,
    forecast_rows: Vec<(String, String)>,
    /// The same as a table: said when, safe until, likely end, off by.
    forecast_table: Vec<[String; 4]>,
    /// How far off the forecasts were.
    off_by: String,
    events: Vec<EventView>,
    events_count: String,
    events_left: Option<String>,
    /// More than paper has room for.
    grave_left: Option<String>,
    gaps: Vec<(String, String)>,
    gaps_left: Option<String>,
    planned: Option<PlanView>,
    learned: Option<LearnedView>,
    /// Lines stand open in a file, since not every browser opens them on paper.
    open: &'static str,
}

struct CorrectionView {
    id: i64,
    said: String,
}

#[derive(Template)]
#[template(path = "outing.html")]
struct OutingPage {
    frame: Frame,
    paired: bool,
    t: ReportView,
    outing: Outing,
    open: bool,
    /// Whether to ask if the open outing is still this one.
    goes_on: bool,
    rundown: Option<RunDownRow>,
    corrections: Vec<CorrectionView>,
    /// How many corrections came from the contact log.
    by_contacts: usize,
    from_log: String,
    has_contacts: bool,
    counts: &'static str,
    script: &'static Asset,
    activities: Vec<String>,
    /// Times are typed as times of day, else as time since the outing began.
    by_clock: bool,
}

#[derive(Template)]
#[template(path = "outing_file.html")]
struct OutingFile {
    t: ReportView,
    language: &'static str,
    demo: bool,
    policy: String,
    styles: [&'static Asset; 2],
    version: &'static str,
}

#[derive(Template)]
#[template(path = "outing.txt")]
struct OutingText {
    t: ReportView,
    /// It is open in a record that nobody writes.
    was_open: bool,
    counted: Option<String>,
    energy: String,
    hours: String,
    groups: String,
    corrections: Vec<CorrectionView>,
}

/// The type of CSV (RFC 4180 section 3).
const CSV: &str = "text/csv; charset=utf-8; header=present";

/// `/outings/{id}`, and with `.html`, `.txt`, `.csv`, `.json` or `.close-ups.csv` behind it the files.
pub(crate) async fn one(
    State(site): State<Site>,
    Path(tail): Path<String>,
    headers: HeaderMap,
) -> Reply {
    let (id, kind) = tail.split_once('.').unwrap_or((&tail, ""));
    let Ok(id) = id.parse::<i64>() else { return Err(not_there("outing")) };
    match kind {
        "" => {
            let read = read(&site, id).await?;
            Ok(shown(&page_of(&site, &read.0, read.1.as_ref(), &headers)))
        }
        "html" => {
            let read = read(&site, id).await?;
            Ok(as_file(&site, &read.0, read.1.as_ref()))
        }
        "txt" => {
            let read = read(&site, id).await?;
            Ok(filled(&text_of(&site, &read.0)).map_or_else(failed, IntoResponse::into_response))
        }
        "csv" => {
            let name = format!("outing-{id}.csv");
            sent(&site, &headers, CSV, &name, move |past| past.csv(id)).await
        }
        "close-ups.csv" => {
            let name = format!("outing-{id}-close-ups.csv");
            sent(&site, &headers, CSV, &name, move |past| past.close_ups(id)).await
        }
        "json" => {
            let name = format!("outing-{id}.json");
            sent(&site, &headers, "application/json", &name, move |past| past.json(id)).await
        }
        _ => Err(not_there("outing")),
    }
}

/// `/api/v1/outings/{id}/report`.
pub(crate) async fn api(State(site): State<Site>, Id(id): Id) -> Reply {
    let read = read(&site, id).await?;
    let offset_s = site.snapshot().at.utc_offset_s;
    Ok(Json(wire::report::report(&read.0, offset_s)).into_response())
}

/// A file that is read as it is taken.
async fn sent(
    site: &Site,
    headers: &HeaderMap,
    kind: &'static str,
    name: &str,
    read: impl FnOnce(&dyn RecordReader) -> Result<Option<Pieces>, NoRecord> + Send + 'static,
) -> Reply {
    let seat = site.files.seat(site.may_change(headers), &site.shown.clock)?;
    let pieces = site.read_record(read).await?.ok_or_else(|| not_there("outing"))?;
    Ok(file(sending::body(pieces, seat), kind, name))
}

async fn read(site: &Site, id: i64) -> Result<Arc<ReportRead>, Problem> {
    let read = site.read_recent(&site.readings.reports, id, move |past| {
        let Some(told) = past.report(id)? else { return Ok(None) };
        let ask = SeriesAsk {
            of: Stretch::Outing { id, from_s: 0.0, to_s: f64::INFINITY },
            channels: vec![Channel::Watts, Channel::Modelled, Channel::Temp, Channel::Volts],
            points: POINTS,
        };
        Ok(Some((told, past.series(&ask)?)))
    });
    read.await?.ok_or_else(|| not_there("outing"))
}

/// One file that needs nothing else: no script, no form, no address, and a policy of its own that
/// lets it have none, whoever opens it.
fn as_file(site: &Site, told: &OutingReport, series: Option<&Series>) -> Response {
    let page = OutingFile {
        language: site.shown.language.tag,
        demo: site.snapshot().demo.is_some(),
        t: report_view(site, told, series, true),
        policy: assets::file_policy(),
        styles: [assets::style(), assets::more()],
        version: env!("CARGO_PKG_VERSION"),
    };
    filled(&page).map_or_else(failed, |text| {
        let name = format!("outing-{}.html", told.whole.outing.id);
        file(text, "text/html; charset=utf-8", &name)
    })
}

fn failed() -> Response {
    StatusCode::INTERNAL_SERVER_ERROR.into_response()
}

fn page_of(
    site: &Site,
    told: &OutingReport,
    series: Option<&Series>,
    headers: &HeaderMap,
) -> OutingPage {
    let line = &told.whole.outing;
    let began = local(line.began, site);
    let (by_contacts, own): (Vec<_>, Vec<_>) =
        told.whole.corrections.iter().partition(|it| it.origin == Origin::Contacts);
    OutingPage {
        frame: Frame::for_request(site, headers, "Outings"),
        paired: site.may_change(headers),
        t: report_view(site, told, series, false),
        outing: line.clone(),
        open: line.ending == Ending::Open,
        goes_on: asks_of(&site.snapshot(), line.id),
        counts: said::counts(told.whole.run_down().is_some_and(|it| !it.struck)),
        script: assets::report(),
        rundown: told.whole.run_down().map(|it| rundown_row(it, site, Some(line.id))),
        corrections: own.into_iter().map(|it| correction(it, began)).collect(),
        by_contacts: by_contacts.len(),
        from_log: terminal::by_contacts(by_contacts.len()),
        has_contacts: told.report.contacts.as_ref().is_some_and(|all| all.contacts > 0),
        activities: activities(site, &told.report),
        by_clock: by_clock(line.began, line.lasted_s),
    }
}

/// The same for a terminal, where corrections are numbered and counted from the beginning.
fn text_of(site: &Site, told: &OutingReport) -> OutingText {
    let t = report_view(site, told, None, true);
    OutingText {
        energy: table(t.w.doing, &t.book_head, &t.activities),
        hours: table(t.w.hour, &t.book_head, &t.hours),
        groups: table(t.w.band_mode, &t.contact_head, &t.groups),
        t,
        was_open: told.whole.outing.ending == Ending::Open && site.shown.asks.is_closed(),
        counted: told.whole.run_down().map(|it| terminal::counted(it.id, it.data.whole)),
        corrections: told.whole.corrections.iter().map(|it| correction(it, None)).collect(),
    }
}

fn table(first: &str, head: &[&str; 5], lines: &[Line]) -> String {
    terminal::table(first, head, lines.iter().map(|line| (line.name.as_str(), &line.cells)))
}

/// Whether it is asked if this outing goes on in the open one.
fn asks_of(snapshot: &Snapshot, outing: i64) -> bool {
    let asked = |view: &QuestionView| view.question == Question::SinceLast && view.is_open();
    snapshot.bank.since.as_ref().is_some_and(|since| since.outing == Some(outing))
        && snapshot.questions.iter().any(asked)
}

fn correction(it: &Correction, began: Option<Local>) -> CorrectionView {
    let when = said::stretch(began, Seconds::of(it.from_s), Seconds::of(it.to_s));
    CorrectionView { id: it.id, said: format!("{when}: {}", said::doing(it.activity.as_deref())) }
}

/// What can be chosen: the activities of now, and those of the outing.
fn activities(site: &Site, report: &Report) -> Vec<String> {
    let snapshot = site.snapshot();
    let mut names: Vec<String> = snapshot.activities.iter().map(|it| it.name.clone()).collect();
    for (name, _) in report.tally.activities() {
        if names.iter().all(|known| known != name) {
            names.push(name.to_owned());
        }
    }
    names
}

fn report_view(
    site: &Site,
    told: &OutingReport,
    series: Option<&Series>,
    on_paper: bool,
) -> ReportView {
    let OutingReport { whole, report, .. } = told;
    let line = &whole.outing;
    let began = local(line.began, site);
    let wh = |energy: Option<f64>| energy.map(Joules::from_wh);
    let peak = line.known_peak_w().map(Watts::of);
    let bridged = words::bridged(wh(line.energy_wh), wh(line.bridged_wh));
    let notes = bridged.into_iter().chain(said::not_measured(report)).collect();
    let events = events(whole, began);
    let w = &site.shown.language.report;
    let row = row(line, site);
    let left = |all: usize, shown: usize| (all > shown).then(|| w.in_export(all - shown));
    ReportView {
        w,
        opening: opening(told, &row, began),
        row,
        took: took(line, peak),
        notes,
        day: series.and_then(|series| whole_day::whole_day(w, told, series, began)),
        done_rows: done_rows(report, began),
        book_head: BOOK_HEAD,
        activities: by_activity(&report.tally, &said::besides(report), report.all()),
        hours: by_hour(report, began),
        book_note: said::book_note(report.coarsest),
        drew: drew(report, began),
        most: most(report),
        temp: report.temp.as_ref().map(said::temperatures),
        supply: supply(w, report, series, began),
        folds: report.folds.iter().enumerate().map(|(ix, total)| fold(ix, total)).collect(),
        timed: said::timed(&report.folds),
        contacts: contacts(told),
        contacts_each: report.contacts.as_ref().map_or_else(String::new, said::contacts_each),
        contact_head: CONTACT_HEAD,
        groups: groups(report),
        foretold: said::foretold(&report.forecasts),
        foresight: foresight::foresight(w, &whole.forecasts, came_s(report), line.lasted_s, began),
        forecast_rows: forecast_rows(&report.forecasts.all, began),
        forecast_table: some(&report.forecasts.all)
            .map(|it| said::forecast_cells(it, began))
            .collect(),
        off_by: said::off_by(&report.forecasts),
        events_count: said::lines(whole.events.len() + whole.gaps.len()),
        events_left: left(whole.events.len(), events.len()),
        grave_left: left(whole.events.len(), events.iter().filter(|it| it.grave).count()),
        events,
        gaps: gaps(whole, began),
        gaps_left: left(whole.gaps.len(), ROWS),
        planned: told.planned.as_ref().map(|it| planned(it, began)),
        learned: told.learned.map(learned),
        open: if on_paper { " open" } else { "" },
    }
}

fn planned(told: &PlanOutcome, began: Option<Local>) -> PlanView {
    let rows = told.stretches.iter().enumerate();
    PlanView {
        brief: plan_outcome::brief(told),
        said: plan_outcome::said(told),
        head: plan_outcome::HEAD,
        rows: rows.map(|(k, one)| plan_outcome::row(one, k + 1, began)).collect(),
    }
}

fn learned(step: LearnedStep) -> LearnedView {
    let joules = |wh: [f64; 3]| wh.map(Joules::from_wh);
    LearnedView {
        holds: said::holds(joules(step.after_wh)),
        said: said::learned(joules(step.before_wh), joules(step.after_wh)),
    }
}

fn opening(told: &OutingReport, row: &Row, began: Option<Local>) -> Vec<opening::Opening> {
    let bank = row.bank.as_deref();
    let next = told.advice().map(|advice| opening::next_time(&advice, bank, began));
    [opening::how_long(told, began), opening::what_it_took(told, row.end)]
        .into_iter()
        .chain(next)
        .collect()
}

/// What most energy went into.
fn most(report: &Report) -> String {
    let most = report
        .tally
        .activities()
        .max_by(|a, b| a.1.energy().si().total_cmp(&b.1.energy().si()))
        .filter(|(_, tally)| tally.energy().si() > 0.0);
    most.map_or_else(String::new, |(name, tally)| of_day::most(name, tally.energy(), report.all()))
}

fn supply(
    w: &ReportPage,
    report: &Report,
    series: Option<&Series>,
    began: Option<Local>,
) -> Option<SupplyView> {
    let seen = report.volts?;
    let said = said::supplies(&seen);
    let drawn = series.and_then(|series| {
        let span_s = axis::span_of(series);
        let named = axis::Named { id: "volts", title: w.supply, described: &said };
        let (mut svg, levels) = axis::line_of(series, Channel::Volts, span_s, &named)?;
        svg.push_str(&axis::hours(span_s, began));
        let dotted = of_day::dotted(&[levels]);
        let hours = of_day::hours(began.is_some());
        svg.push_str(&axis::key(&[
            ("k-mean", w.mean),
            ("k-band", w.low_to_high),
            ("", &dotted),
            ("", hours),
        ]));
        Some(svg)
    });
    Some(SupplyView { lowest: said::lowest(seen.low), said, drawn })
}

/// How long the outing was to last in all, as its end has shown, s.
fn came_s(report: &Report) -> Option<f64> {
    report.forecasts.all.iter().find_map(|it| {
        it.off?;
        Some(it.came?.si() + it.made.at.as_s())
    })
}

/// What takes most first, then what nobody read, and all of it last.
pub(crate) fn by_activity(
    book: &OutingTally,
    besides: &[(String, EnergyPart)],
    all: Joules,
) -> Vec<Line> {
    let mut pages: Vec<(&str, &EnergyTally)> = book.activities().collect();
    pages.sort_by(|a, b| b.1.energy().si().total_cmp(&a.1.energy().si()));
    let mut pages: Vec<(String, &EnergyTally)> =
        pages.into_iter().map(|(name, page)| (said::doing(Some(name)), page)).collect();
    let untold = book.untagged();
    if untold.lasted().si() >= WORTH_S || said::is_worth_a_line(untold.energy(), all) {
        pages.push((said::UNTOLD.to_owned(), untold));
    }
    lines(pages, besides, book.whole(), all)
}

fn lines(
    pages: Vec<(String, &EnergyTally)>,
    besides: &[(String, EnergyPart)],
    read: &EnergyTally,
    all: Joules,
) -> Vec<Line> {
    if read.lasted().si() <= 0.0 {
        return Vec::new();
    }
    let lines = said::book(pages, besides, read, all).into_iter();
    lines.map(|(name, cells)| Line { name, cells }).collect()
}

/// Hour by hour; those beyond the longest outing that is kept by the hour are in no line.
fn by_hour(report: &Report, began: Option<Local>) -> Vec<Line> {
    let hours = report.tally.hours().iter().enumerate();
    let read = hours.filter(|(_, page)| page.lasted().si() > 0.0);
    let read: Vec<(String, &EnergyTally)> =
        read.map(|(ix, page)| (said::book_hour(began, ix), page)).collect();
    if read.len() < 2 {
        return Vec::new();
    }
    lines(read, &said::besides(report), report.tally.whole(), report.all())
}

/// What drew how much: the processor's load, and what marks switched.
fn drew(report: &Report, began: Option<Local>) -> Vec<String> {
    let whole = report.all();
    let mut lines: Vec<String> =
        report.load.iter().map(|load| said::load_took(load, whole)).collect();
    lines.extend(report.switched.iter().map(|it| said::switched(it, began)));
    lines
}

fn done_rows(report: &Report, began: Option<Local>) -> Vec<(String, String)> {
    let told = report.done.iter().any(|it| it.doing.is_some());
    let worth = |it: &&ActivitySpan| told && it.to.si() - it.from.si() >= WORTH_S;
    let rows = report.done.iter().filter(worth).take(ROWS);
    rows.map(|it| (said::stretch(began, it.from, it.to), said::doing(it.doing.as_deref())))
        .collect()
}

fn fold(ix: usize, total: &Total) -> FoldView {
    let latest = &total.latest;
    FoldView {
        found: fold::fold(&Fold { sent: total.sent, slots: slots(total), ..latest.clone() }),
        summed: said::folded(total),
        longest: said::longest(latest),
        parts: latest.parts_apart().iter().map(fold::part).collect(),
        curve: draw_fold::fold(ix, latest),
    }
}

/// Slots in all of what was folded.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a float cast saturates, which is meant"
)]
fn slots(total: &Total) -> u32 {
    (total.lasted.si() / total.latest.slot_s.max(0.1)).round() as u32
}

fn contacts(told: &OutingReport) -> Vec<String> {
    let all = told.report.contacts.as_ref();
    let mut lines =
        all.map_or_else(Vec::new, |all| contact_log::contact_lines(all, told.report.left));
    let undated = told.whole.contacts.undated_s.filter(|_| all.is_some()).map(Seconds::of);
    lines.extend(undated.map(said::undated));
    lines
}

fn groups(report: &Report) -> Vec<Line> {
    let groups = report.contacts.iter().flat_map(|all| &all.groups);
    groups
        .map(|group| Line {
            name: contact_log::contact_group(group),
            cells: contact_log::contact_row(group),
        })
        .collect()
}

/// Some of the forecasts, evenly picked.
fn some(all: &[JudgedForecast]) -> impl Iterator<Item = &JudgedForecast> {
    all.iter().step_by(all.len().div_ceil(FORECAST_ROWS).max(1))
}

fn forecast_rows(all: &[JudgedForecast], began: Option<Local>) -> Vec<(String, String)> {
    let when = |it: &JudgedForecast| words::moment_of(began, Seconds::of(it.made.at.as_s()));
    some(all).map(|it| (when(it), said::forecast_came(it))).collect()
}

fn events(whole: &OutingWhole, began: Option<Local>) -> Vec<EventView> {
    let mut room = GRAVE;
    let told = whole.events.iter().take(ROWS);
    told.map(|it| {
        let grave = room > 0 && is_grave(it.kind);
        room -= usize::from(grave);
        let said = match it.kind {
            EventKind::Finish => {
                words::finish_set(began, it.finish().map(|finish| Seconds::of(finish.as_s())))
            }
            kind => words::event(kind.name(), &it.text),
        };
        let alarm = it.kind == EventKind::AlarmRaised;
        let parted = said.split_once(". ").filter(|_| alarm);
        let (said, advice) = parted.map_or((said.clone(), String::new()), |(said, advice)| {
            (format!("{said}."), advice.to_owned())
        });
        EventView { at: words::moment_of(began, Seconds::of(it.at.as_s())), said, advice, grave }
    })
    .collect()
}

/// What goes onto paper: what was done, and each fall of the supply, stands in the drawing.
const fn is_grave(kind: EventKind) -> bool {
    matches!(kind, EventKind::AlarmRaised | EventKind::Strain | EventKind::Mark)
}

fn gaps(whole: &OutingWhole, began: Option<Local>) -> Vec<(String, String)> {
    let told = whole.gaps.iter().take(ROWS);
    told.map(|gap| {
        let lasted = gap.to_s.map(|to_s| Seconds::of((to_s - gap.from_s).max(0.0)));
        (
            words::moment_of(began, Seconds::of(gap.from_s)),
            words::silence(&gap.title, lasted, &gap.why),
        )
    })
    .collect()
}
