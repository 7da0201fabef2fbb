//! Now: its parts, each replaced as a whole when it changes, and the page around them.

use std::sync::Arc;

use askama::Template;
use axum::{
    body::Bytes,
    extract::State,
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::{Html, IntoResponse, Response},
};
use reckon::{
    bank::BankSpec,
    belief::{Question, QuestionView},
    fold::Kind,
    power_off::PowerOff,
    snapshot::{ActivityView, Snapshot, Switched},
    units::Seconds,
    words::{self, Language},
};

use crate::{
    RecordStatus, draw,
    http::{
        assets::{self, Asset, Theme},
        rendered::{Rendered, Section, Variant},
        site::Site,
    },
    pages::{
        banks::Selects,
        frame::{Frame, filled, part},
        questions, strip,
    },
};

#[derive(Template)]
#[template(path = "now.html")]
struct NowPage<'a> {
    frame: Frame,
    script: &'static Asset,
    title: String,
    /// The snapshot's own time, boot seconds.
    at_s: f64,
    /// What the script says, as JSON.
    script_words: String,
    w: &'static words::NowPage,
    sections: &'a [Section],
    paired: bool,
}

#[derive(Template)]
#[template(path = "top.html")]
struct TopPart<'a> {
    w: &'static words::Frame,
    snapshot: &'a Snapshot,
    clock: Option<String>,
}

#[derive(Template)]
#[template(path = "answer.html")]
struct AnswerPart {
    answer: words::Answer,
    safe: Option<words::Safe>,
    /// So many sentences have room where there is no number.
    lines: usize,
    /// A newcomer is asked how long the bank should last.
    how_long: Option<&'static str>,
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
    w: &'static words::NowPage,
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
    w: &'static words::NowPage,
    set: String,
    shifts: [String; 2],
}

#[derive(Template)]
#[template(path = "presets.html")]
struct PresetsPart {
    w: &'static words::NowPage,
    /// Whether the question stands with them: else it is a line of the answer.
    asks: bool,
    presets: Vec<(u32, String)>,
}

#[derive(Template)]
#[template(path = "exact.html")]
struct ExactPart {
    w: &'static words::NowPage,
    /// The field's value, `17:00`.
    at: Option<String>,
    clock_known: bool,
    is_set: bool,
    far: [(i32, String); 2],
}

struct BankTile {
    name: String,
    label: String,
    connected: bool,
}

#[derive(Template)]
#[template(path = "bank.html")]
struct BankPart {
    w: &'static words::BankForm,
    choices: Vec<BankTile>,
    /// No bank has been told of yet: a tap is enough.
    first: bool,
    /// How full a bank may be that is told of here.
    levels: Vec<questions::Level>,
    selects: Selects,
}

/// The parts of Now, in reading order. What opens or comes by itself takes the place of the finish and
/// the drawing, so that nothing moves under a thumb.
fn sections(
    language: &'static Language,
    snapshot: &Snapshot,
    record_status: &RecordStatus,
) -> Vec<Section> {
    let w = &language.now;
    let section = |id, html| Section { id, html };
    let clock = words::wall_clock(snapshot.at);
    let ask_bank = snapshot.bank.spec.is_none();
    let off = strip::off(w, snapshot);
    // A board that may stop only because nobody has said what the bank is asks that first.
    let first = |view: &QuestionView| match snapshot.power_off {
        PowerOff::Unsure { .. } => view.question != Question::HowEnded,
        _ => off.is_empty(),
    };
    let mut open = questions::open(snapshot);
    let has_place = open.first().is_some_and(|(view, _)| !ask_bank && first(view));
    let question = has_place.then(|| open.remove(0));
    let behind = open.into_iter().map(|(view, asked)| {
        (asked.text.clone(), questions::asked(w, snapshot, (view, asked), false))
    });
    let off = if question.is_some() { String::new() } else { off };
    let asked = question.as_ref().map(|(_, asked)| asked.text.clone());
    let strip = strip::strip(w, snapshot, record_status, asked, behind.collect());
    let in_place = !off.is_empty() || question.is_some() || ask_bank;
    let safe = words::safe(snapshot);
    let answer = AnswerPart {
        answer: words::answer(snapshot),
        lines: if safe.as_ref().is_some_and(|safe| safe.finish.is_some()) { 1 } else { 3 },
        how_long: (snapshot.finish.is_none() && !in_place).then_some(w.how_long),
        safe,
    };
    let asked = question.map(|question| questions::asked(w, snapshot, question, strip.asks));
    let calm = |html: String| if in_place { String::new() } else { html };
    let title = words::title(snapshot);
    vec![
        section("title", strip.headline.map_or(title.clone(), |said| format!("{said} · {title}"))),
        section("top", part(&TopPart { w: &language.frame, snapshot, clock })),
        section("strip", strip.strip),
        section("answer", part(&answer)),
        section("spoken", words::spoken(snapshot)),
        section("finish", calm(finish(w, snapshot))),
        section("off", off),
        section("asked", asked.unwrap_or_default()),
        section("bank", when(ask_bank, || bank(&language.bank_form, snapshot, true))),
        section("day", calm(draw::day_line::day_line(snapshot).unwrap_or_default())),
        section("more", strip.more),
        section("exact", exact(w, snapshot)),
        section(
            "how",
            when(in_place && !ask_bank && snapshot.finish.is_none(), || presets(w, true)),
        ),
        section("doing", doing(w, snapshot)),
        section("fold", fold(snapshot)),
        section("held", questions::held(w, snapshot, &over(snapshot))),
    ]
}

fn when(wanted: bool, html: impl FnOnce() -> String) -> String {
    if wanted { html() } else { String::new() }
}

/// How long after its mark it is said what a switched accessory draws, s.
const SWITCHED_S: f64 = 3600.0;

/// What is over and asks for nothing: an accessory that was switched, and the newest alarms that ended.
fn over(snapshot: &Snapshot) -> Vec<String> {
    let fresh = |one: &&Arc<Switched>| snapshot.at.mono.seconds_since(one.at).si() < SWITCHED_S;
    let switched = snapshot.switched.as_ref().filter(fresh);
    let switched = switched.map(|one| format!("{}.", words::fold::switched(one)));
    let ended = snapshot.ended_alarms.iter().take(3).map(|one| words::over_line(one, snapshot));
    switched.into_iter().chain(ended).collect()
}

fn doing(w: &'static words::NowPage, snapshot: &Snapshot) -> String {
    if snapshot.activities.is_empty() {
        return String::new();
    }
    let tiles = snapshot.activities.iter().map(|activity| {
        let mut letters = activity.name.chars();
        let first = letters.next().into_iter().flat_map(char::to_uppercase);
        let label = first.chain(letters).collect();
        let left = words::activity_left(activity, snapshot.at);
        let by_rule = activity.current && snapshot.activity_auto == Some(true);
        let left = if by_rule { format!("{left}, {}", words::BY_RULE) } else { left };
        Tile { activity, label, left }
    });
    part(&DoingPart { w, tiles: tiles.collect(), by_itself: snapshot.activity_auto })
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
        parts: found.parts_apart().iter().map(words::fold::part).collect(),
    })
}

/// How long a bank should last, in round steps.
fn presets(w: &'static words::NowPage, asks: bool) -> String {
    let preset = |hours: u32| (hours * 60, words::span(Seconds::of(f64::from(hours) * 3600.0)));
    part(&PresetsPart { w, asks, presets: [2, 4, 8, 12].map(preset).into() })
}

fn finish(w: &'static words::NowPage, snapshot: &Snapshot) -> String {
    let Some(finish) = snapshot.finish else { return presets(w, false) };
    let set = words::moment(finish.at, snapshot.at);
    part(&FinishPart { w, set, shifts: [-15, 15].map(words::shift) })
}

/// What the finish opens to: an exact time, larger steps, and none at all.
fn exact(w: &'static words::NowPage, snapshot: &Snapshot) -> String {
    let at = snapshot.at;
    let finish = snapshot.finish;
    let time = finish.and_then(|finish| words::clock_time(finish.at, at));
    part(&ExactPart {
        w,
        at: time.filter(|time| time.len() == 5),
        clock_known: at.believed().is_some(),
        is_set: finish.is_some(),
        far: [-60, 60].map(|minutes| (minutes, words::shift(minutes))),
    })
}

pub(crate) fn bank(w: &'static words::BankForm, snapshot: &Snapshot, first: bool) -> String {
    let connected = snapshot.bank.spec.as_deref();
    let tile = |bank: &BankSpec| BankTile {
        name: bank.name.clone(),
        label: words::bank_label(bank),
        connected: connected.is_some_and(|it| it.name == bank.name),
    };
    let own = connected.filter(|it| snapshot.bank_choices.iter().all(|bank| bank.name != it.name));
    let choices = own.into_iter().chain(snapshot.bank_choices.iter()).map(tile).collect();
    part(&BankPart {
        w,
        choices,
        first,
        levels: questions::levels(None),
        selects: Selects::from_spec(None),
    })
}

/// The parts of Now as they were made of this snapshot, once.
pub(crate) fn sections_of(rendered: &Rendered, language: &'static Language) -> Arc<[Section]> {
    rendered.sections(|snapshot, record_status| sections(language, snapshot, record_status))
}

/// `GET /`: style and script within, made once for each snapshot, look and state of pairing.
pub(crate) async fn now(State(site): State<Site>, headers: HeaderMap) -> Response {
    let rendered = site.rendered();
    let language = site.shown.language;
    let (look, paired) = (Theme::from_headers(&headers), site.may_change(&headers));
    let page = rendered.page(Variant { look, paired }, || {
        let sections = sections_of(&rendered, language);
        let title = sections.iter().find(|it| it.id == "title").map_or("", |it| it.html.as_str());
        let page = filled(&NowPage {
            frame: Frame { language, ..Frame::new(look, "Now") },
            script: assets::script(),
            title: title.to_owned(),
            at_s: rendered.snapshot.at.mono.as_s(),
            script_words: serde_json::json!(language.now.script).to_string(),
            w: &language.now,
            sections: &sections,
            paired,
        });
        page.map(Bytes::from)
    });
    let vary = [(header::VARY, HeaderValue::from_static("cookie"))];
    page.map_or_else(
        || StatusCode::INTERNAL_SERVER_ERROR.into_response(),
        |page| (vary, Html(page)).into_response(),
    )
}
