//! What a phone may ask for: forms and JSON read into [`Command`]s, sent to the owner of all state, and
//! the answer waited for. Plausibility is judged there; here only what cannot be read is refused.

use std::time::Duration;

use axum::{
    extract::State,
    http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header},
};
use reckon::{
    bank::{BankDescription, BankFault, BankSpec, Start},
    engine::{Command, Refusal},
    power_off::PowerOffAsk,
    snapshot::Snapshot,
    time::{Mono, Stamp},
    words,
};
use serde::Deserialize;

use crate::http::{
    assets::Theme,
    door::{Body, Done, Door, Outcome},
    problem::{Problem, refused, unreadable},
    site::{Kept, Site},
};

/// A number as people type it: with a point or a comma. Empty means not given; `Some(None)` is none.
fn figure(text: Option<&str>) -> Option<Option<f64>> {
    let text = text.map(str::trim).filter(|text| !text.is_empty())?;
    Some(text.replace(',', ".").parse::<f64>().ok().filter(|it| it.is_finite()))
}

fn number(text: Option<&str>, field: &str) -> Result<Option<f64>, Problem> {
    let wrong = || unreadable(words::refusal::not_a_number(&field));
    figure(text).map(|figure| figure.ok_or_else(wrong)).transpose()
}

// ---- the bank -------------------------------------------------------------------------------

#[derive(Deserialize, Default)]
pub(crate) struct BankForm {
    bank: Option<String>,
    name: Option<String>,
    cells: Option<String>,
    series: Option<String>,
    label_mah: Option<String>,
    label_v: Option<String>,
    measured_at: Option<String>,
    ambient_c: Option<String>,
    cutoff_v: Option<String>,
    start: Option<String>,
    level_percent: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BankJson {
    bank: Option<String>,
    spec: Option<SpecJson>,
    start: Option<String>,
    start_level: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SpecJson {
    name: Option<String>,
    cells: Option<String>,
    series: Option<f64>,
    label_mah: Option<f64>,
    label_v: Option<f64>,
    measured_at: Option<String>,
    ambient_c: Option<f64>,
    cutoff_v: Option<f64>,
}

pub(crate) async fn bank(
    State(site): State<Site>,
    door: Door,
    body: Body<BankForm, BankJson>,
) -> Outcome {
    let (bank, start) = match body {
        Body::Form(form) => {
            let percent = number(form.level_percent.as_deref(), "How full")?;
            let level = percent.map(|percent| percent / 100.0);
            let start = started(form.start.as_deref(), level)?;
            let bank = match form.bank.as_deref().filter(|name| !name.is_empty()) {
                Some(name) => offered(&site.snapshot(), name)?,
                None => typed_bank(form)?,
            };
            (bank, start)
        }
        Body::Json(wish) => {
            let start = started(wish.start.as_deref(), wish.start_level)?;
            let bank = match (wish.bank, wish.spec) {
                (Some(name), None) => offered(&site.snapshot(), &name)?,
                (None, Some(spec)) => told_bank(spec)?,
                _ => {
                    let say = words::refusal::BANK_OR_SPEC;
                    return Err(unreadable(say));
                }
            };
            (bank, start)
        }
    };
    let kept = site.command(Command::UseBank { bank, start }).await?;
    Ok(door.done("/", kept))
}

pub(crate) fn offered(snapshot: &Snapshot, name: &str) -> Result<BankSpec, Problem> {
    let connected = snapshot.bank.spec.as_deref();
    snapshot
        .bank_choices
        .iter()
        .chain(connected)
        .find(|bank| bank.name == name)
        .cloned()
        .ok_or_else(|| unreadable(words::refusal::NO_BANK_NAMED))
}

/// How full, as it is told: in words, as a level beside them, or as the level itself, 0 to 1.
/// `None`: nobody says.
fn started(start: Option<&str>, level: Option<f64>) -> Result<Option<Start>, Problem> {
    let start = match (start.unwrap_or("").trim(), level) {
        ("", None) => return Ok(None),
        ("", level) => Start::named("part", level),
        (text, level) => Start::named(text, level).or_else(|| Start::worded(text)),
    };
    start.map(Some).ok_or_else(|| unreadable(words::refusal::BAD_START))
}

/// The bank that a form or JSON describes.
fn described(description: &BankDescription) -> Result<BankSpec, Problem> {
    description.complete().map_err(|faults| {
        let say = words::unchanged(&words::bank_faults(&faults));
        if faults.iter().any(BankFault::is_unreadable) {
            return unreadable(say);
        }
        let status = StatusCode::UNPROCESSABLE_ENTITY;
        Problem::new(status, "bank-implausible", "Not changed", say)
    })
}

pub(crate) fn told_bank(spec: SpecJson) -> Result<BankSpec, Problem> {
    described(&BankDescription {
        name: spec.name,
        cells: spec.cells,
        series: spec.series,
        label_mah: spec.label_mah,
        label_v: spec.label_v,
        measured_at: spec.measured_at,
        ambient_c: spec.ambient_c,
        cutoff_v: spec.cutoff_v,
    })
}

/// A field that was left empty is one that was not given, except the name.
pub(crate) fn typed_bank(form: BankForm) -> Result<BankSpec, Problem> {
    let word = |text: Option<String>| text.filter(|text| !text.is_empty());
    let number = |text| figure(text).map(|figure| figure.unwrap_or(f64::NAN));
    described(&BankDescription {
        name: form.name,
        cells: word(form.cells),
        series: number(form.series.as_deref()),
        label_mah: number(form.label_mah.as_deref()),
        label_v: number(form.label_v.as_deref()),
        measured_at: word(form.measured_at),
        ambient_c: number(form.ambient_c.as_deref()),
        cutoff_v: number(form.cutoff_v.as_deref()),
    })
}

// ---- the finish -----------------------------------------------------------------------------

#[derive(Deserialize, Default)]
pub(crate) struct FinishForm {
    after_min: Option<String>,
    shift_min: Option<String>,
    at: Option<String>,
    clear: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct FinishJson {
    after_s: Option<f64>,
}

pub(crate) async fn finish(
    State(site): State<Site>,
    door: Door,
    body: Body<FinishForm, FinishJson>,
) -> Outcome {
    let after = match body {
        Body::Form(form) => wished_finish(&form, &site.snapshot())?,
        Body::Json(wish) => wish.after_s.map(span).transpose()?,
    };
    let kept = site.command(Command::Finish { after }).await?;
    Ok(door.done("/", kept))
}

fn wished_finish(form: &FinishForm, snapshot: &Snapshot) -> Result<Option<Duration>, Problem> {
    if form.clear.is_some() {
        return Ok(None);
    }
    if let Some(after_min) = number(form.after_min.as_deref(), words::refusal::TIME_TO_LAST)? {
        return span(after_min * 60.0).map(Some);
    }
    if let Some(shift_min) = number(form.shift_min.as_deref(), "The shift")? {
        let from = snapshot.finish.map_or(snapshot.at.mono, |finish| finish.at);
        let ahead_s = from.as_s() - snapshot.at.mono.as_s() + shift_min * 60.0;
        return span(ahead_s).map(Some);
    }
    match form.at.as_deref().map(str::trim).filter(|text| !text.is_empty()) {
        Some(text) => until(text, snapshot.at).map(Some),
        None => Err(unreadable(words::refusal::NO_FINISH)),
    }
}

fn span(seconds: f64) -> Result<Duration, Problem> {
    Duration::try_from_secs_f64(seconds).map_err(|_| refused(&Refusal::FinishOutOfRange))
}

/// How long until the clock next shows `text` ("17:00").
fn until(text: &str, at: Stamp) -> Result<Duration, Problem> {
    let Some(wall) = at.believed() else {
        return Err(unreadable(words::refusal::NO_TIME_OF_DAY));
    };
    let wrong = || unreadable(words::refusal::BAD_TIME_OF_DAY);
    let (hour, minute) = text.split_once(':').ok_or_else(wrong)?;
    let minute = minute.split(':').next().unwrap_or("");
    let hour: i64 = hour.parse().ok().filter(|hour| (0..24).contains(hour)).ok_or_else(wrong)?;
    let minute: i64 = minute.parse().ok().filter(|it| (0..60).contains(it)).ok_or_else(wrong)?;
    const DAY_MS: i64 = 86_400_000;
    let local_ms = wall.unix_ms().saturating_add(i64::from(at.utc_offset_s) * 1000);
    let wanted_ms = (hour * 60 + minute) * 60_000;
    let ahead_ms = (wanted_ms - local_ms.rem_euclid(DAY_MS)).rem_euclid(DAY_MS);
    let ahead_ms = if ahead_ms == 0 { DAY_MS } else { ahead_ms };
    Ok(Duration::from_millis(ahead_ms.unsigned_abs()))
}

// ---- activity, alarm, name ------------------------------------------------------------------

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct NameWish {
    pub(crate) name: Option<String>,
}

/// What is being done: a name, none, or whatever the rules say.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct DoingForm {
    name: Option<String>,
    itself: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct DoingJson {
    name: Option<String>,
    #[serde(default)]
    by_itself: bool,
}

fn activity_command(name: Option<String>, by_itself: bool) -> Result<Command, Problem> {
    let name = name.map(|name| name.trim().to_owned()).filter(|name| !name.is_empty());
    match (name, by_itself) {
        (Some(_), true) => Err(unreadable(words::refusal::NAME_OR_RULES)),
        (None, true) => Ok(Command::ActivityAuto),
        (name, false) => Ok(Command::Activity { name }),
    }
}

pub(crate) async fn activity(
    State(site): State<Site>,
    door: Door,
    body: Body<DoingForm, DoingJson>,
) -> Outcome {
    let (name, by_itself) = match body {
        Body::Form(form) => (form.name, form.itself.is_some()),
        Body::Json(wish) => (wish.name, wish.by_itself),
    };
    let kept = site.command(activity_command(name, by_itself)?).await?;
    Ok(door.done("/", kept))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct OffWish {
    wish: String,
}

pub(crate) async fn power_off(
    State(site): State<Site>,
    door: Door,
    body: Body<OffWish>,
) -> Outcome {
    let command = match body.read().wish.as_str() {
        "stop" => PowerOffAsk::Stop,
        "now" => PowerOffAsk::Now,
        _ => return Err(unreadable(words::refusal::BAD_WISH)),
    };
    let kept = site.command(Command::PowerOff(command)).await?;
    Ok(door.done("/", kept))
}

pub(crate) async fn outing(State(site): State<Site>, door: Door, body: Body<NameWish>) -> Outcome {
    let name = body.read().name.unwrap_or_default().trim().to_owned();
    let kept = site.command(Command::NameOuting { name }).await?;
    Ok(door.done("/station", kept))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SleepWish {
    alarm: usize,
    since_s: f64,
    for_s: f64,
}

fn sleep_command(wish: &SleepWish, snapshot: &Snapshot) -> Result<Command, Problem> {
    // A number that went through text is not to the nanosecond what it was; the snapshot's is.
    let since = snapshot
        .alarms
        .get(wish.alarm)
        .map(|alarm| alarm.since)
        .filter(|since| (since.as_s() - wish.since_s).abs() < 0.001)
        .ok_or_else(|| refused(&Refusal::AlarmGone))?;
    const LONGEST_S: f64 = 24.0 * 3600.0;
    if !(60.0..=LONGEST_S).contains(&wish.for_s) {
        return Err(unreadable(words::refusal::BAD_SLEEP));
    }
    let span = span(wish.for_s)?;
    Ok(Command::Sleep { alarm: wish.alarm, since: Mono::since_boot(since.span()), span })
}

pub(crate) async fn sleep(State(site): State<Site>, door: Door, body: Body<SleepWish>) -> Outcome {
    let kept = site.command(sleep_command(&body.read(), &site.snapshot())?).await?;
    Ok(door.done("/", kept))
}

// ---- look -----------------------------------------------------------------------------------

#[derive(Deserialize)]
pub(crate) struct ThemeForm {
    look: String,
}

/// The pages that one can go back to by their address.
const WITH_ADDRESS: [&str; 4] = ["/plan", "/outings", "/banks", "/station"];

/// The page that the form stood on, where it is one of ours and can be opened again.
fn stood_on(headers: &HeaderMap) -> Option<String> {
    let text = |name| headers.get(name).and_then(|it: &HeaderValue| it.to_str().ok());
    let (_, from) = text(header::REFERER)?.split_once("://")?;
    let path = from.strip_prefix(text(header::HOST)?)?;
    let below = |page: &&str| {
        path.strip_prefix(*page).is_some_and(|it| it.is_empty() || it.starts_with(['/', '?']))
    };
    (path == "/" || WITH_ADDRESS.iter().any(below)).then(|| path.to_owned())
}

pub(crate) async fn theme(
    door: Door,
    headers: HeaderMap,
    body: Body<ThemeForm>,
) -> Result<([(HeaderName, String); 1], Done), Problem> {
    let Some(theme) = Theme::named(&body.read().look) else {
        return Err(unreadable(words::refusal::NO_SUCH_LOOK));
    };
    let page = stood_on(&headers).unwrap_or_else(|| "/station".to_owned());
    Ok(([(header::SET_COOKIE, theme.cookie())], door.done(page, Kept::OnCard)))
}
