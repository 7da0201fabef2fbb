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
    fold::Kind,
    power_off::PowerOff,
    snapshot::{ActivityView, Basis, Snapshot, Switched},
    units::Seconds,
    words::{self, Language},
};

use crate::{
    FileSetAside, RecordStatus, draw,
    http::{
        assets::{self, Asset, Theme},
        rendered::{Rendered, Section, Variant},
        site::Site,
    },
    pages::{
        banks::Selects,
        frame::{Frame, filled, part},
        questions,
    },
};

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
    w: &'static words::NowPage,
    test: bool,
    aside: &'a [FileSetAside],
}

#[derive(Template)]
#[template(path = "top.html")]
struct TopPart<'a> {
    w: &'static words::Frame,
    snapshot: &'a Snapshot,
    clock: Option<String>,
}

struct AlarmView {
    said: words::Said,
    ix: usize,
    since_s: f64,
    asleep: Option<String>,
}

#[derive(Template)]
#[template(path = "alarms.html")]
struct AlarmsPart {
    w: &'static words::NowPage,
    off: Option<words::Said>,
    /// Whether the countdown can be stopped, and shortened.
    off_asks: (bool, bool),
    awake: Vec<AlarmView>,
    asleep: Vec<AlarmView>,
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
    w: &'static words::BankForm,
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

/// The parts of Now, in reading order.
fn sections(
    language: &'static Language,
    snapshot: &Snapshot,
    record_status: &RecordStatus,
) -> Vec<Section> {
    let w = &language.now;
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
    let bars = BarsPart { w, test: record_status.test.is_some(), aside: &record_status.set_aside };
    vec![
        section("bars", part(&bars)),
        section("top", part(&TopPart { w: &language.frame, snapshot, clock })),
        section("alarms", alarms(w, snapshot)),
        section("answer", part(&answer)),
        section("asked", questions::asked(w, snapshot)),
        section("spoken", words::spoken(snapshot)),
        section(
            "bank",
            if ask_bank { bank(&language.bank_form, snapshot, true) } else { String::new() },
        ),
        section("day", draw::day_line::day_line(snapshot).unwrap_or_default()),
        section("doing", doing(w, snapshot)),
        section("facts", part(&FactsPart { lines: facts(snapshot) })),
        section("held", questions::held(w, snapshot)),
        section("fold", fold(snapshot)),
        section("finish", if ask_bank { String::new() } else { finish(w, snapshot) }),
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

fn alarms(w: &'static words::NowPage, snapshot: &Snapshot) -> String {
    let at = snapshot.at;
    let (mut awake, mut asleep) = (Vec::new(), Vec::new());
    for (ix, alarm) in snapshot.alarms.iter().enumerate() {
        let until = alarm.asleep_until.filter(|until| *until > at.mono);
        let shown = AlarmView {
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
    part(&AlarmsPart { w, off, off_asks, awake, asleep })
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

fn finish(w: &'static words::NowPage, snapshot: &Snapshot) -> String {
    let at = snapshot.at;
    let set = snapshot.finish.map(|finish| words::moment(finish.at, at));
    let clock_known = at.believed().is_some();
    let preset = |hours: u32| (hours * 60, words::span(Seconds::of(f64::from(hours) * 3600.0)));
    part(&FinishPart {
        w,
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
        let page = filled(&NowPage {
            frame: Frame { language, ..Frame::new(look, "Now") },
            script: assets::script(),
            title: words::title(&rendered.snapshot),
            sections: &sections_of(&rendered, language),
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
