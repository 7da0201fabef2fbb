//! What a phone may ask of the record: forms and JSON read into [`RecordCommand`]s and put to its
//! keeper.

use axum::{extract::State, http::StatusCode};
use reckon::{
    name::{self, NameFault},
    record::{RecordCommand, TestLoad},
    time::{Mono, PHONE_AGO_S, PHONE_MS, PHONE_WITHIN_S, Wall},
    words,
};
use serde::Deserialize;

use crate::{
    asks::now::{BankForm, NameWish, SpecJson, told_bank, typed_bank},
    http::site::Site,
    http::{
        door::{Body, Door, Id, Outcome},
        problem::{Problem, not_there, unreadable},
    },
};

/// The longest list of time stamps that is taken: a mark a second for a day fits.
pub(crate) const LIST_BYTES: usize = 2 * 1024 * 1024;

fn not_a_name(what: &'static str) -> impl Fn(NameFault) -> Problem {
    move |fault| unreadable(words::unchanged(&words::name_fault(what, fault)))
}

fn name(text: Option<String>) -> Result<String, Problem> {
    name::line(&text.unwrap_or_default(), name::LONGEST).map_err(not_a_name("The name"))
}

fn needed(text: Option<String>) -> Result<String, Problem> {
    name::checked(&text.unwrap_or_default()).map_err(not_a_name("The name"))
}

fn mark_text(text: Option<String>) -> Result<String, Problem> {
    name::line(&text.unwrap_or_default(), name::LONGEST_MARK).map_err(not_a_name("The mark"))
}

/// `yes` or `no` of a form's button.
fn yes(text: Option<&str>) -> Result<bool, Problem> {
    match text {
        Some("yes") => Ok(true),
        Some("no") => Ok(false),
        _ => Err(unreadable(words::refusal::YES_OR_NO)),
    }
}

// ---- outings --------------------------------------------------------------------------------

#[derive(Deserialize)]
pub(crate) struct EndingForm {
    died: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct EndingJson {
    /// Null: taken back; left out: unreadable.
    #[serde(deserialize_with = "Option::deserialize")]
    died: Option<bool>,
}

pub(crate) async fn ending(
    State(site): State<Site>,
    door: Door,
    Id(outing): Id,
    body: Body<EndingForm, EndingJson>,
) -> Outcome {
    let died = match body {
        Body::Form(EndingForm { died: Some(word) }) if word == "unknown" => None,
        Body::Form(form) => Some(yes(form.died.as_deref())?),
        Body::Json(wish) => wish.died,
    };
    let kept = site.record_command(RecordCommand::Answer { outing, died }).await?;
    Ok(door.done(format!("/outings/{outing}"), kept))
}

#[derive(Deserialize)]
pub(crate) struct GoesOnForm {
    goes_on: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct GoesOnJson {
    goes_on: bool,
}

pub(crate) async fn goes_on(
    State(site): State<Site>,
    door: Door,
    Id(earlier): Id,
    body: Body<GoesOnForm, GoesOnJson>,
) -> Outcome {
    let goes_on = match body {
        Body::Form(form) => yes(form.goes_on.as_deref())?,
        Body::Json(wish) => wish.goes_on,
    };
    let kept = site.record_command(RecordCommand::GoesOn { earlier, goes_on }).await?;
    Ok(door.done("/", kept))
}

pub(crate) async fn outing_name(
    State(site): State<Site>,
    door: Door,
    Id(outing): Id,
    body: Body<NameWish>,
) -> Outcome {
    let name = name(body.read().name)?;
    let kept = site.record_command(RecordCommand::NameOuting { outing, name }).await?;
    Ok(door.done(format!("/outings/{outing}"), kept))
}

/// The contacts of an outing are taken back.
pub(crate) async fn forget_contacts(
    State(site): State<Site>,
    door: Door,
    Id(outing): Id,
) -> Outcome {
    let kept = site.record_command(RecordCommand::ForgetContacts { outing }).await?;
    Ok(door.done(format!("/contacts?outing={outing}"), kept))
}

// ---- what was being done --------------------------------------------------------------------

#[derive(Deserialize)]
pub(crate) struct DoingForm {
    from: Option<String>,
    to: Option<String>,
    /// `day`: times of day; else hours and minutes since the outing began.
    clock: Option<String>,
    activity: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct DoingJson {
    from_s: f64,
    to_s: f64,
    activity: Option<String>,
}

fn activity(text: Option<String>) -> Result<Option<String>, Problem> {
    Ok(Some(name(text)?).filter(|name| !name.is_empty()))
}

/// `1:20` or `1:20:30` in seconds.
fn typed_s(text: Option<&str>) -> Result<u32, Problem> {
    let parts: Option<Vec<u32>> = text
        .unwrap_or("")
        .trim()
        .splitn(3, ':')
        .map(|part| Some(part).filter(|part| part.len() <= 4)?.parse().ok())
        .collect();
    match parts.as_deref() {
        Some([hours, minutes @ 0..60]) => Ok(hours * 3600 + minutes * 60),
        Some([hours, minutes @ 0..60, seconds @ 0..60]) => {
            Ok(hours * 3600 + minutes * 60 + seconds)
        }
        _ => Err(unreadable(words::refusal::NO_SPAN)),
    }
}

/// How far into an outing a time of day comes for the first time, s. The minute it began in counts
/// as its beginning.
fn into_s(of_day_s: u32, began: Wall, utc_offset_s: i32) -> f64 {
    let local_s = began.unix_ms().div_euclid(1000).saturating_add(i64::from(utc_offset_s));
    let whole_minute_s = local_s.div_euclid(60).saturating_mul(60);
    let ahead_s = i64::from(of_day_s).saturating_sub(whole_minute_s).rem_euclid(86_400);
    let into = ahead_s - local_s.rem_euclid(60);
    u32::try_from(into).map_or(0.0, f64::from)
}

/// From and to as the form has them, seconds since the outing began.
async fn typed_stretch(site: &Site, outing: i64, form: &DoingForm) -> Result<(f64, f64), Problem> {
    let (from, to) = (typed_s(form.from.as_deref())?, typed_s(form.to.as_deref())?);
    if form.clock.as_deref() != Some("day") {
        return Ok((f64::from(from), f64::from(to)));
    }
    let told = site.read_record(move |past| past.outing(outing)).await?;
    let line = told.ok_or_else(|| not_there("outing"))?.outing;
    let began = line.began.filter(|_| by_clock(line.began, line.lasted_s));
    let began = began.ok_or_else(|| unreadable(words::refusal::NO_MOMENT))?;
    let offset_s = site.snapshot().at.utc_offset_s;
    Ok((into_s(from, began, offset_s), into_s(to, began, offset_s)))
}

/// A time of day is enough to name a moment of an outing that began at a known time and lasted no
/// longer than a day.
pub(crate) fn by_clock(began: Option<Wall>, lasted_s: f64) -> bool {
    began.is_some() && lasted_s < 86_400.0
}

pub(crate) async fn doing(
    State(site): State<Site>,
    door: Door,
    Id(outing): Id,
    body: Body<DoingForm, DoingJson>,
) -> Outcome {
    let (from_s, to_s, activity) = match body {
        Body::Form(form) => {
            let (from_s, to_s) = typed_stretch(&site, outing, &form).await?;
            (from_s, to_s, form.activity)
        }
        Body::Json(wish) => (wish.from_s, wish.to_s, wish.activity),
    };
    let kept = site.record_command(doing_command(outing, from_s, to_s, activity)?).await?;
    Ok(door.done(format!("/outings/{outing}"), kept))
}

fn doing_command(
    outing: i64,
    from_s: f64,
    to_s: f64,
    name: Option<String>,
) -> Result<RecordCommand, Problem> {
    if !(0.0..1e9).contains(&from_s) || !(0.0..1e9).contains(&to_s) || to_s <= from_s {
        return Err(unreadable(words::refusal::END_BEFORE_BEGINNING));
    }
    Ok(RecordCommand::Doing { outing, from_s, to_s, activity: activity(name)? })
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ByContactsWish {
    activity: Option<String>,
}

pub(crate) async fn doing_contacts(
    State(site): State<Site>,
    door: Door,
    Id(outing): Id,
    body: Body<ByContactsWish>,
) -> Outcome {
    let activity = activity(body.read().activity)?;
    let activity = activity.ok_or_else(|| unreadable(words::refusal::NO_ACTIVITY_FOR_CONTACTS))?;
    let kept = site.record_command(RecordCommand::DoingByContacts { outing, activity }).await?;
    Ok(door.done(format!("/outings/{outing}"), kept))
}

#[derive(Deserialize)]
pub(crate) struct BackForm {
    id: Option<String>,
    contacts: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BackJson {
    id: Option<i64>,
    contacts: Option<bool>,
}

pub(crate) async fn doing_back(
    State(site): State<Site>,
    door: Door,
    Id(outing): Id,
    body: Body<BackForm, BackJson>,
) -> Outcome {
    let (id, contacts) = match body {
        Body::Form(form) => {
            let id = form.id.map(|id| id.parse().map_err(|_| not_there("correction")));
            (id.transpose()?, form.contacts.is_some())
        }
        Body::Json(wish) => (wish.id, wish.contacts == Some(true)),
    };
    if id.is_some() == contacts {
        return Err(unreadable(words::refusal::NO_CORRECTION));
    }
    let kept = site.record_command(RecordCommand::DoingBack { outing, id }).await?;
    Ok(door.done(format!("/outings/{outing}"), kept))
}

// ---- marks ----------------------------------------------------------------------------------

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct MarkWish {
    text: Option<String>,
    outing: Option<i64>,
}

/// The page that a form is on: this outing's, or `else_page`.
fn page_of(outing: Option<i64>, else_page: &str) -> String {
    outing.map_or_else(|| else_page.to_owned(), |outing| format!("/outings/{outing}"))
}

pub(crate) async fn mark(State(site): State<Site>, door: Door, body: Body<MarkWish>) -> Outcome {
    let wish = body.read();
    let text = mark_text(wish.text)?;
    let kept = site.record_command(RecordCommand::Mark { text }).await?;
    Ok(door.done(page_of(wish.outing, "/"), kept))
}

// ---- run-downs ------------------------------------------------------------------------------

#[derive(Deserialize)]
pub(crate) struct StrikeForm {
    struck: Option<String>,
    outing: Option<i64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct StrikeJson {
    struck: bool,
}

pub(crate) async fn strike(
    State(site): State<Site>,
    door: Door,
    Id(rundown): Id,
    body: Body<StrikeForm, StrikeJson>,
) -> Outcome {
    let (struck, outing) = match body {
        Body::Form(form) => (yes(form.struck.as_deref())?, form.outing),
        Body::Json(wish) => (wish.struck, None),
    };
    let kept = site.record_command(RecordCommand::Strike { rundown, struck }).await?;
    Ok(door.done(page_of(outing, "/banks"), kept))
}

// ---- banks ----------------------------------------------------------------------------------

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BankWish {
    spec: SpecJson,
}

pub(crate) async fn bank(
    State(site): State<Site>,
    door: Door,
    body: Body<BankForm, BankWish>,
) -> Outcome {
    let spec = match body {
        Body::Form(form) => typed_bank(form)?,
        Body::Json(wish) => told_bank(wish.spec)?,
    };
    let kept = site.record_command(RecordCommand::TellBank { spec }).await?;
    Ok(door.done("/banks", kept))
}

pub(crate) async fn bank_name(
    State(site): State<Site>,
    door: Door,
    Id(bank): Id,
    body: Body<NameWish>,
) -> Outcome {
    let name = needed(body.read().name)?;
    let kept = site.record_command(RecordCommand::RenameBank { bank, name }).await?;
    Ok(door.done("/banks", kept))
}

#[derive(Deserialize)]
pub(crate) struct ForgetForm {
    forgotten: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ForgetJson {
    forgotten: bool,
}

pub(crate) async fn forget(
    State(site): State<Site>,
    door: Door,
    Id(bank): Id,
    body: Body<ForgetForm, ForgetJson>,
) -> Outcome {
    let forgotten = match body {
        Body::Form(form) => yes(form.forgotten.as_deref())?,
        Body::Json(wish) => wish.forgotten,
    };
    let kept = site.record_command(RecordCommand::ForgetBank { bank, forgotten }).await?;
    Ok(door.done("/banks", kept))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ImportWish {
    name: Option<String>,
    text: Option<String>,
}

pub(crate) async fn import(
    State(site): State<Site>,
    door: Door,
    Id(bank): Id,
    body: Body<ImportWish>,
) -> Outcome {
    let wish = body.read();
    let text = wish.text.unwrap_or_default();
    if text.trim().is_empty() {
        return Err(unreadable(words::refusal::EMPTY_LIST));
    }
    let kept =
        site.record_command(RecordCommand::Import { bank, name: name(wish.name)?, text }).await?;
    Ok(door.done("/banks", kept))
}

// ---- the run-down test ----------------------------------------------------------------------

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct TestWish {
    load: Option<String>,
}

pub(crate) async fn start_test(
    State(site): State<Site>,
    door: Door,
    Id(bank): Id,
    body: Body<TestWish>,
) -> Outcome {
    let wanted = body.read().load.unwrap_or_else(|| TestLoad::AsItIs.name().to_owned());
    let load = TestLoad::ALL.into_iter().find(|load| load.name() == wanted);
    let load = load.ok_or_else(|| unreadable(words::refusal::BAD_LOAD))?;
    let kept = site.record_command(RecordCommand::StartTest { bank, load }).await?;
    Ok(door.done("/banks", kept))
}

pub(crate) async fn stop_test(State(site): State<Site>, door: Door) -> Outcome {
    let kept = site.record_command(RecordCommand::StopTest).await?;
    Ok(door.done("/banks", kept))
}

// ---- the clock ------------------------------------------------------------------------------

/// What the phone says: at this moment of the board's boot time my clock showed that, give or take
/// half the round trip.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ClockWish {
    boot_s: f64,
    phone_unix_ms: f64,
    within_s: f64,
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a float cast saturates, and all three are held to their ranges"
)]
fn phone_clock(wish: &ClockWish, now: Mono) -> Result<RecordCommand, Problem> {
    let ago_s = now.as_s() - wish.boot_s;
    if !PHONE_AGO_S.contains(&ago_s) || wish.boot_s < 0.0 {
        return Err(unreadable(words::refusal::BAD_BOOT_S));
    }
    if !PHONE_WITHIN_S.contains(&wish.within_s) {
        return Err(unreadable(words::refusal::BAD_WITHIN_S));
    }
    let phone_ms = wish.phone_unix_ms.round() as i64;
    if !PHONE_MS.contains(&phone_ms) {
        return Err(unreadable(words::refusal::BAD_PHONE_TIME));
    }
    Ok(RecordCommand::PhoneClock {
        at: Mono::at_s(wish.boot_s),
        phone_ms,
        within_ms: (wish.within_s * 1000.0).ceil() as u32,
    })
}

pub(crate) async fn clock(State(site): State<Site>, door: Door, body: Body<ClockWish>) -> Outcome {
    let command = phone_clock(&body.read(), site.shown.clock.stamp().mono)?;
    let kept = site.record_command(command).await?;
    Ok(door.done("/station", kept))
}

pub(crate) async fn set_clock(State(site): State<Site>, door: Door) -> Outcome {
    if !site.record_status().may_set_clock {
        return Err(Problem::new(
            StatusCode::FORBIDDEN,
            "clock-not-settable",
            "Not changed",
            words::refusal::CLOCK_NOT_SETTABLE,
        ));
    }
    let kept = site.record_command(RecordCommand::SetClock).await?;
    Ok(door.done("/station", kept))
}
