//! Pages for people: template structs and the handlers that fill them. Words come from `reckon`.

use std::sync::Arc;

use askama::Template;
use axum::{
    extract::State,
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::{Html, IntoResponse, Response},
};
use reckon::{
    bank::BankSpec,
    fold::Kind,
    power_off::PowerOff,
    reading::{SourceIx, SourceReport, SourceState},
    snapshot::{ActivityView, Basis, Snapshot, Switched},
    time::Mono,
    units::Seconds,
    words::{self, Language},
};

use crate::{
    AsideTold, Parts, PhoneTold, RecordStatus, Site, draw,
    http::assets::{self, Asset, Theme},
    http::problem::Problem,
    pages::banks::Selects,
    pages::live,
    pages::live::Section,
    pages::questions,
};

/// Address and name of each page, in the bar's order; a new page adds its line.
const PLACES: [(&str, &str); 4] =
    [("/", "Now"), ("/outings", "Outings"), ("/banks", "Banks"), ("/station", "Station")];

/// What every page's frame needs.
pub(crate) struct Frame {
    pub(crate) look: Theme,
    pub(crate) style: &'static Asset,
    pub(crate) places: &'static [(&'static str, &'static str)],
    pub(crate) here: &'static str,
    pub(crate) language: &'static Language,
    /// Whether all of it is made up, where the page itself does not say so.
    pub(crate) demo: bool,
}

impl Frame {
    /// For whoever sent these headers.
    pub(crate) fn of(site: &Parts, headers: &HeaderMap, here: &'static str) -> Self {
        let demo = site.now.borrow().demo;
        Self { demo, language: site.language, ..Self::new(Theme::of(headers), here) }
    }

    fn new(look: Theme, here: &'static str) -> Self {
        Self {
            look,
            style: assets::style(),
            places: &PLACES,
            here,
            language: &words::ENGLISH,
            demo: false,
        }
    }
}

#[derive(Template)]
#[template(path = "now.html")]
struct NowPage<'a> {
    frame: Frame,
    script: &'static Asset,
    title: String,
    sections: &'a [Section],
    paired: bool,
}

#[derive(Template)]
#[template(path = "bars.html")]
struct BarsPart<'a> {
    test: bool,
    aside: &'a [AsideTold],
}

#[derive(Template)]
#[template(path = "top.html")]
struct TopPart<'a> {
    snapshot: &'a Snapshot,
    clock: Option<String>,
}

struct AlarmShown {
    said: words::Said,
    ix: usize,
    since_s: f64,
    asleep: Option<String>,
}

#[derive(Template)]
#[template(path = "alarms.html")]
struct AlarmsPart {
    off: Option<words::Said>,
    /// Whether the countdown can be stopped, and shortened.
    off_asks: (bool, bool),
    awake: Vec<AlarmShown>,
    asleep: Vec<AlarmShown>,
}

#[derive(Template)]
#[template(path = "answer.html")]
struct AnswerPart {
    answer: words::Answer,
    verdict: Option<String>,
    help: Option<String>,
    basis: Option<String>,
}

struct Tile<'a> {
    activity: &'a ActivityView,
    /// Its name, beginning with a capital as every button does.
    label: String,
    left: String,
}

#[derive(Template)]
#[template(path = "doing.html")]
struct DoingPart<'a> {
    tiles: Vec<Tile<'a>>,
    by_itself: Option<bool>,
}

#[derive(Template)]
#[template(path = "fold.html")]
struct FoldPart {
    title: String,
    curve: String,
    said: String,
    from: String,
    parts: Vec<String>,
}

#[derive(Template)]
#[template(path = "finish.html")]
struct FinishPart {
    set: Option<String>,
    /// The field's value, `17:00`.
    at: Option<String>,
    clock_known: bool,
    presets: Vec<(u32, String)>,
    shifts: Vec<(i32, String)>,
}

struct BankTile {
    name: String,
    label: String,
    connected: bool,
}

#[derive(Template)]
#[template(path = "bank.html")]
struct BankPart {
    choices: Vec<BankTile>,
    /// No bank has been told of yet: a tap is enough.
    first: bool,
    /// How full a bank may be that is told of here.
    levels: Vec<questions::Level>,
    selects: Selects,
}

#[derive(Template)]
#[template(path = "facts.html")]
struct FactsPart {
    lines: Vec<String>,
}

struct SourceShown<'a> {
    report: &'a SourceReport,
    state: String,
    reads: Option<String>,
    shunt: Option<String>,
    silent: bool,
}

#[derive(Template)]
#[template(path = "station.html")]
struct StationPage<'a> {
    frame: Frame,
    snapshot: &'a Snapshot,
    paired: bool,
    trusted: bool,
    bank_line: String,
    bank: String,
    sources: Vec<SourceShown<'a>>,
    board: Vec<(&'static str, String)>,
    record: Vec<String>,
    aside: &'a [AsideTold],
    warning: Option<&'a str>,
    clock: String,
    phone: Option<String>,
    set_clock: bool,
    script: &'static Asset,
    footprint: Vec<String>,
    looks: [Theme; 4],
    version: &'static str,
}

#[derive(Template)]
#[template(path = "pair.html")]
struct PairPage {
    frame: Frame,
    paired: bool,
}

#[derive(Template)]
#[template(path = "problem.html")]
struct ProblemPage<'a> {
    frame: Frame,
    problem: &'a Problem,
}

pub(crate) fn filled(page: &impl Template) -> Option<String> {
    page.render().inspect_err(|error| tracing::error!(%error, "a page could not be filled in")).ok()
}

pub(crate) fn shown(page: &impl Template) -> Response {
    filled(page).map_or_else(
        || StatusCode::INTERNAL_SERVER_ERROR.into_response(),
        |text| Html(text).into_response(),
    )
}

pub(crate) fn part(part: &impl Template) -> String {
    filled(part).unwrap_or_default()
}

// ---- Now ------------------------------------------------------------------------------------

/// The parts of Now, in reading order.
pub(crate) fn sections(snapshot: &Snapshot, record_status: &RecordStatus) -> Vec<Section> {
    let section = |id, html| Section { id, html };
    let modelled = snapshot.draw.basis == Basis::Modelled;
    let answer = AnswerPart {
        answer: words::answer(snapshot),
        verdict: words::verdict(snapshot),
        help: words::help(snapshot),
        basis: modelled.then(|| words::basis(snapshot)),
    };
    let clock = words::clock_time(snapshot.at.mono, snapshot.at);
    let ask_bank = snapshot.bank.spec.is_none();
    let bars = BarsPart { test: record_status.test.is_some(), aside: &record_status.set_aside };
    vec![
        section("bars", part(&bars)),
        section("top", part(&TopPart { snapshot, clock })),
        section("alarms", alarms(snapshot)),
        section("answer", part(&answer)),
        section("asked", questions::asked(snapshot)),
        section("spoken", words::spoken(snapshot)),
        section("bank", if ask_bank { bank(snapshot, true) } else { String::new() }),
        section("day", draw::day_line::day_line(snapshot).unwrap_or_default()),
        section("doing", doing(snapshot)),
        section("facts", part(&FactsPart { lines: facts(snapshot) })),
        section("held", questions::held(snapshot)),
        section("fold", fold(snapshot)),
        section("finish", if ask_bank { String::new() } else { finish(snapshot) }),
    ]
}

/// How long after its mark it is said what a switched accessory draws, s.
const SWITCHED_S: f64 = 1800.0;

/// The sentences under the drawing.
fn facts(snapshot: &Snapshot) -> Vec<String> {
    let mut lines = vec![
        words::draw(snapshot),
        format!("{} {}", words::supply(snapshot), words::board(snapshot)),
        words::bank(snapshot),
        words::log(snapshot),
    ];
    lines.extend(snapshot.at.believed().is_none().then(|| words::clock(snapshot.at)));
    let fresh = |one: &&Arc<Switched>| snapshot.at.mono.seconds_since(one.at).si() < SWITCHED_S;
    let switched = snapshot.switched.as_ref().filter(fresh);
    lines.extend(switched.map(|one| format!("{}.", words::fold::switched(one))));
    // What is over asks for nothing: it stands below, and only the newest of it.
    lines.extend(snapshot.ended_alarms.iter().take(3).map(|one| words::over_line(one, snapshot)));
    lines
}

fn alarms(snapshot: &Snapshot) -> String {
    let at = snapshot.at;
    let (mut awake, mut asleep) = (Vec::new(), Vec::new());
    for (ix, alarm) in snapshot.alarms.iter().enumerate() {
        let until = alarm.asleep_until.filter(|until| *until > at.mono);
        let shown = AlarmShown {
            said: words::alarm(alarm, snapshot),
            ix,
            since_s: alarm.since.as_s(),
            asleep: until.map(|until| words::moment(until, at)),
        };
        if until.is_some() { asleep.push(shown) } else { awake.push(shown) }
    }
    let off = words::power_off(snapshot);
    let counting = matches!(snapshot.power_off, PowerOff::Counting { .. });
    let saving = matches!(snapshot.power_off, PowerOff::Saving { .. });
    if off.is_none() && awake.is_empty() && asleep.is_empty() {
        return String::new();
    }
    let unsure = matches!(snapshot.power_off, PowerOff::Unsure { .. });
    let off_asks = (counting || saving, counting || unsure);
    part(&AlarmsPart { off, off_asks, awake, asleep })
}

fn doing(snapshot: &Snapshot) -> String {
    if snapshot.activities.is_empty() {
        return String::new();
    }
    let tiles = snapshot.activities.iter().map(|activity| {
        let mut letters = activity.name.chars();
        let first = letters.next().into_iter().flat_map(char::to_uppercase);
        let label = first.chain(letters).collect();
        let left = words::activity_left(activity);
        let by_rule = activity.current && snapshot.activity_auto == Some(true);
        let left = if by_rule { format!("{left}, {}", words::BY_RULE) } else { left };
        Tile { activity, label, left }
    });
    part(&DoingPart { tiles: tiles.collect(), by_itself: snapshot.activity_auto })
}

/// The draw over one period of a timed mode, and what it is made of.
fn fold(snapshot: &Snapshot) -> String {
    let Some(folded) = &snapshot.fold else { return String::new() };
    let found = &folded.fold;
    let points: Vec<(f64, f64)> =
        found.curve.iter().map(|point| (point.phase_s, point.watts)).collect();
    // A slot begins a little before the key goes down, and ends with decoding.
    let sent = found.part(Kind::Transmit).map(|part| part.begins_s - found.slot_s * 0.04);
    let decoded =
        found.part(Kind::Decode).map(|part| part.begins_s + part.lasts_s + found.slot_s * 0.03);
    let drawn = draw::fold::Folded {
        period_s: found.period_s,
        slot_s: found.slot_s,
        left_s: sent.or(decoded).unwrap_or(0.0),
        points: &points,
    };
    let Some(curve) = draw::fold::curve("fold", &drawn) else { return String::new() };
    part(&FoldPart {
        title: words::fold::fold_title(found),
        curve,
        said: words::fold::fold(found),
        from: words::fold::folded_from(folded, snapshot.at),
        // One part alone is the whole draw, which says nothing.
        parts: match found.parts.as_slice() {
            [_] => Vec::new(),
            parts => parts.iter().map(words::fold::part).collect(),
        },
    })
}

fn finish(snapshot: &Snapshot) -> String {
    let at = snapshot.at;
    let set = snapshot.finish.map(|finish| words::moment(finish.at, at));
    let clock_known = at.believed().is_some();
    let preset = |hours: u32| (hours * 60, words::span(Seconds::of(f64::from(hours) * 3600.0)));
    part(&FinishPart {
        at: snapshot
            .finish
            .and_then(|finish| words::clock_time(finish.at, at))
            .filter(|time| time.len() == 5),
        set,
        clock_known,
        presets: [2, 4, 6, 8].map(preset).into(),
        shifts: [-30, 30].map(|minutes| (minutes, words::shift(minutes))).into(),
    })
}

fn bank(snapshot: &Snapshot, first: bool) -> String {
    let connected = snapshot.bank.spec.as_deref();
    let tile = |bank: &BankSpec| BankTile {
        name: bank.name.clone(),
        label: words::bank_label(bank),
        connected: connected.is_some_and(|it| it.name == bank.name),
    };
    let own = connected.filter(|it| snapshot.bank_choices.iter().all(|bank| bank.name != it.name));
    let choices = own.into_iter().chain(snapshot.bank_choices.iter()).map(tile).collect();
    part(&BankPart { choices, first, levels: questions::levels(None), selects: Selects::of(None) })
}

/// `GET /`: style and script within, packed once for each snapshot, look and state of pairing.
pub(crate) async fn now(State(site): State<Site>, headers: HeaderMap) -> Response {
    let rendered = site.rendered();
    let (look, paired) = (Theme::of(&headers), site.may_change(&headers));
    let variant = live::Variant { look, paired };
    let made = rendered.page(variant, |snapshot, sections| {
        filled(&NowPage {
            frame: Frame::new(look, "Now"),
            script: assets::script(),
            title: words::title(snapshot),
            sections,
            paired,
        })
    });
    let Some(page) = made else {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    };
    let packed = assets::takes_gzip(&headers);
    let mut response = Response::new(if packed { page.packed } else { page.plain }.into());
    let sent = response.headers_mut();
    sent.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8"));
    sent.insert(header::VARY, HeaderValue::from_static("accept-encoding, cookie"));
    if packed {
        sent.insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
    }
    response
}

// ---- Station --------------------------------------------------------------------------------

pub(crate) async fn station(State(site): State<Site>, headers: HeaderMap) -> Response {
    let snapshot = site.snapshot();
    let record_status = site.record_status();
    let paired = site.may_change(&headers);
    let phone = record_status.phone.map(|told| phone(&told, snapshot.at.mono));
    shown(&StationPage {
        frame: Frame::of(&site, &headers, "Station"),
        snapshot: &snapshot,
        paired,
        trusted: site.trusted,
        bank_line: words::bank(&snapshot),
        bank: bank(&snapshot, false),
        sources: sources(&snapshot),
        board: words::board_facts(&snapshot),
        record: record(&snapshot, &record_status),
        aside: &record_status.set_aside,
        warning: record_status.warning.as_deref(),
        clock: words::clock(snapshot.at),
        set_clock: record_status.may_set_clock && phone.is_some(),
        phone,
        script: assets::helper(),
        footprint: words::costs(&snapshot),
        looks: Theme::ALL,
        version: env!("CARGO_PKG_VERSION"),
    })
}

/// How the record is doing.
fn record(snapshot: &Snapshot, record_status: &RecordStatus) -> Vec<String> {
    let mut lines = vec![words::log(snapshot)];
    lines.extend(
        (record_status.used_bytes > 0).then(|| words::record_size(record_status.used_bytes)),
    );
    let stopped = record_status.stopped.is_some();
    lines.extend(words::record_owes(record_status.waiting, record_status.missed, stopped));
    lines.extend(record_status.contact_log.clone());
    lines
}

#[expect(clippy::cast_precision_loss, reason = "milliseconds of any calendar are exact enough")]
fn phone(told: &PhoneTold, now: Mono) -> String {
    let off = Seconds::of(told.board_ahead_ms as f64 / 1000.0);
    let within = Seconds::of(f64::from(told.within_ms) / 1000.0);
    format!("{} Compared {}.", words::clock_off(off, within), words::ago(told.at, now))
}

fn sources(snapshot: &Snapshot) -> Vec<SourceShown<'_>> {
    snapshot
        .sources
        .iter()
        .enumerate()
        .map(|(ix, report)| SourceShown {
            report,
            state: words::source_state(report, snapshot.at.mono),
            reads: u16::try_from(ix)
                .ok()
                .and_then(|ix| words::source_reads(SourceIx(ix), snapshot)),
            shunt: report.shunt.map(|shunt| words::shunt(&shunt)),
            silent: matches!(report.state, SourceState::Silent { .. }),
        })
        .collect()
}

pub(crate) async fn pair(State(site): State<Site>, headers: HeaderMap) -> Response {
    // Makes sure that the journal has a code that is good now.
    let at: Mono = site.snapshot().at.mono;
    drop(site.pairing.pin(at));
    shown(&PairPage {
        frame: Frame::of(&site, &headers, "Station"),
        paired: site.pairing.knows(&headers),
    })
}

/// A failure, as a page with a way on.
pub(crate) fn problem(problem: &Problem, look: Theme) -> String {
    part(&ProblemPage { frame: Frame::new(look, ""), problem })
}
