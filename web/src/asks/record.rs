//! What a phone may ask of the record: forms and JSON read into [`RecordCommand`]s and put to its
//! keeper.

use axum::{
    extract::{Path, Request, State},
    http::StatusCode,
    response::{IntoResponse, Redirect},
};
use reckon::time::{Mono, Wall};
use serde::Deserialize;

use crate::{
    RecordCommand, Site, TestLoad,
    asks::now::{
        BankForm, Done, SpecJson, back_to, done, form, json, told_bank, typed_bank, unreadable,
    },
    http::problem::Problem,
    http::site::not_there,
    pages::report::by_clock,
};

/// The longest list of time stamps that is taken: a mark a second for a day fits.
pub(crate) const LIST_BYTES: usize = 2 * 1024 * 1024;
/// A name is no longer than this.
const NAME_CHARS: usize = 64;
/// A mark's words are no longer than this.
const MARK_CHARS: usize = 200;

fn id(text: &str, what: &str) -> Result<i64, Problem> {
    text.parse().map_err(|_| not_there(what))
}

fn held(text: Option<String>, most: usize, what: &str) -> Result<String, Problem> {
    let text = text.unwrap_or_default().trim().to_owned();
    if text.chars().count() > most {
        return Err(unreadable(format!(
            "{what} may have {most} letters at most. Nothing was changed."
        )));
    }
    if text.chars().any(char::is_control) {
        return Err(unreadable(format!(
            "{what} must be plain letters on one line. Nothing was changed."
        )));
    }
    Ok(text)
}

fn name(text: Option<String>) -> Result<String, Problem> {
    held(text, NAME_CHARS, "A name")
}

fn needed(text: Option<String>) -> Result<String, Problem> {
    let name = name(text)?;
    if name.is_empty() {
        return Err(unreadable("Give it a name. Nothing was changed."));
    }
    Ok(name)
}

/// `yes` or `no` of a form's button.
fn yes(text: Option<&str>) -> Result<bool, Problem> {
    match text {
        Some("yes") => Ok(true),
        Some("no") => Ok(false),
        _ => Err(unreadable("Say yes or no. Nothing was changed.")),
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

pub(crate) async fn ending_form(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let outing = id(&of, "outing")?;
    let form: EndingForm = form(request).await?;
    let died = match form.died.as_deref() {
        Some("unknown") => None,
        died => Some(yes(died)?),
    };
    site.put_record(RecordCommand::Answer { outing, died }).await?;
    back_to(&format!("/outings/{outing}"))
}

pub(crate) async fn ending_json(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let outing = id(&of, "outing")?;
    let EndingJson { died } = json(request).await?;
    site.put_record(RecordCommand::Answer { outing, died }).await?;
    done()
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

pub(crate) async fn goes_on_form(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let earlier = id(&of, "outing")?;
    let form: GoesOnForm = form(request).await?;
    let goes_on = yes(form.goes_on.as_deref())?;
    site.put_record(RecordCommand::GoesOn { earlier, goes_on }).await?;
    back_to("/")
}

pub(crate) async fn goes_on_json(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let earlier = id(&of, "outing")?;
    let GoesOnJson { goes_on } = json(request).await?;
    site.put_record(RecordCommand::GoesOn { earlier, goes_on }).await?;
    done()
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct NameWish {
    name: Option<String>,
}

pub(crate) async fn outing_name_form(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let outing = id(&of, "outing")?;
    let NameWish { name: text } = form(request).await?;
    site.put_record(RecordCommand::NameOuting { outing, name: name(text)? }).await?;
    back_to(&format!("/outings/{outing}"))
}

pub(crate) async fn outing_name_json(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let outing = id(&of, "outing")?;
    let NameWish { name: text } = json(request).await?;
    site.put_record(RecordCommand::NameOuting { outing, name: name(text)? }).await?;
    done()
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
    Ok(Some(held(text, NAME_CHARS, "An activity's name")?).filter(|name| !name.is_empty()))
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
        _ => Err(unreadable("Give both times as hours and minutes, 1:20. Nothing was changed.")),
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

pub(crate) async fn doing_form(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let outing = id(&of, "outing")?;
    let form: DoingForm = form(request).await?;
    let (from, to) = (typed_s(form.from.as_deref())?, typed_s(form.to.as_deref())?);
    let (mut from_s, mut to_s) = (f64::from(from), f64::from(to));
    if form.clock.as_deref() == Some("day") {
        let told = site.recall(move |past| past.outing(outing)).await?;
        let line = told.ok_or_else(|| not_there("outing"))?.line;
        let began = line.began.filter(|_| by_clock(line.began, line.lasted_s));
        let began = began.ok_or_else(|| {
            unreadable("A time of day does not say when in this outing. Nothing was changed.")
        })?;
        let offset_s = site.snapshot().at.utc_offset_s;
        (from_s, to_s) = (into_s(from, began, offset_s), into_s(to, began, offset_s));
    }
    site.put_record(doing(outing, from_s, to_s, form.activity)?).await?;
    back_to(&format!("/outings/{outing}"))
}

pub(crate) async fn doing_json(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let outing = id(&of, "outing")?;
    let DoingJson { from_s, to_s, activity } = json(request).await?;
    site.put_record(doing(outing, from_s, to_s, activity)?).await?;
    done()
}

fn doing(
    outing: i64,
    from_s: f64,
    to_s: f64,
    name: Option<String>,
) -> Result<RecordCommand, Problem> {
    if !(0.0..1e9).contains(&from_s) || !(0.0..1e9).contains(&to_s) || to_s <= from_s {
        return Err(unreadable("The end must come after the beginning. Nothing was changed."));
    }
    Ok(RecordCommand::Doing { outing, from_s, to_s, activity: activity(name)? })
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ByContactsWish {
    activity: Option<String>,
}

fn by_contacts(outing: i64, wish: ByContactsWish) -> Result<RecordCommand, Problem> {
    let activity = activity(wish.activity)?;
    let activity = activity.ok_or_else(|| {
        unreadable("Say which activity the minutes of contact were. Nothing was changed.")
    })?;
    Ok(RecordCommand::DoingByContacts { outing, activity })
}

pub(crate) async fn doing_contacts_form(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let outing = id(&of, "outing")?;
    let ask = by_contacts(outing, form(request).await?)?;
    site.put_record(ask).await?;
    back_to(&format!("/outings/{outing}"))
}

pub(crate) async fn doing_contacts_json(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let ask = by_contacts(id(&of, "outing")?, json(request).await?)?;
    site.put_record(ask).await?;
    done()
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

fn back(outing: i64, one: Option<i64>, contacts: bool) -> Result<RecordCommand, Problem> {
    match (one, contacts) {
        (Some(_), false) | (None, true) => Ok(RecordCommand::DoingBack { outing, id: one }),
        _ => Err(unreadable("Say which one is taken back. Nothing was changed.")),
    }
}

pub(crate) async fn doing_back_form(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let outing = id(&of, "outing")?;
    let form: BackForm = form(request).await?;
    let one = form.id.as_deref().map(|text| id(text, "correction")).transpose()?;
    site.put_record(back(outing, one, form.contacts.is_some())?).await?;
    back_to(&format!("/outings/{outing}"))
}

pub(crate) async fn doing_back_json(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let outing = id(&of, "outing")?;
    let BackJson { id: one, contacts } = json(request).await?;
    site.put_record(back(outing, one, contacts == Some(true))?).await?;
    done()
}

// ---- marks ----------------------------------------------------------------------------------

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct MarkWish {
    text: Option<String>,
    outing: Option<i64>,
}

pub(crate) async fn mark_form(State(site): State<Site>, request: Request) -> Done {
    let wish: MarkWish = form(request).await?;
    let text = held(wish.text, MARK_CHARS, "A mark")?;
    site.put_record(RecordCommand::Mark { text }).await?;
    match wish.outing {
        Some(outing) => back_to(&format!("/outings/{outing}")),
        None => back_to("/"),
    }
}

pub(crate) async fn mark_json(State(site): State<Site>, request: Request) -> Done {
    let wish: MarkWish = json(request).await?;
    let text = held(wish.text, MARK_CHARS, "A mark")?;
    site.put_record(RecordCommand::Mark { text }).await?;
    done()
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

pub(crate) async fn strike_form(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let rundown = id(&of, "run-down")?;
    let form: StrikeForm = form(request).await?;
    let struck = yes(form.struck.as_deref())?;
    site.put_record(RecordCommand::Strike { rundown, struck }).await?;
    match form.outing {
        Some(outing) => back_to(&format!("/outings/{outing}")),
        None => back_to("/banks"),
    }
}

pub(crate) async fn strike_json(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let rundown = id(&of, "run-down")?;
    let StrikeJson { struck } = json(request).await?;
    site.put_record(RecordCommand::Strike { rundown, struck }).await?;
    done()
}

// ---- banks ----------------------------------------------------------------------------------

pub(crate) async fn bank_form(State(site): State<Site>, request: Request) -> Done {
    let form: BankForm = form(request).await?;
    let spec = typed_bank(&form)?;
    needed(Some(spec.name.clone()))?;
    site.put_record(RecordCommand::TellBank { spec }).await?;
    back_to("/banks")
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BankWish {
    spec: SpecJson,
}

pub(crate) async fn bank_json(State(site): State<Site>, request: Request) -> Done {
    let BankWish { spec } = json(request).await?;
    let spec = told_bank(&spec)?;
    needed(Some(spec.name.clone()))?;
    site.put_record(RecordCommand::TellBank { spec }).await?;
    done()
}

pub(crate) async fn bank_name_form(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let bank = id(&of, "bank")?;
    let NameWish { name: text } = form(request).await?;
    site.put_record(RecordCommand::RenameBank { bank, name: needed(text)? }).await?;
    back_to("/banks")
}

pub(crate) async fn bank_name_json(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let bank = id(&of, "bank")?;
    let NameWish { name: text } = json(request).await?;
    site.put_record(RecordCommand::RenameBank { bank, name: needed(text)? }).await?;
    done()
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

pub(crate) async fn forget_form(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let bank = id(&of, "bank")?;
    let form: ForgetForm = form(request).await?;
    let forgotten = yes(form.forgotten.as_deref())?;
    site.put_record(RecordCommand::ForgetBank { bank, forgotten }).await?;
    back_to("/banks")
}

pub(crate) async fn forget_json(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let bank = id(&of, "bank")?;
    let ForgetJson { forgotten } = json(request).await?;
    site.put_record(RecordCommand::ForgetBank { bank, forgotten }).await?;
    done()
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ImportWish {
    name: Option<String>,
    text: Option<String>,
}

fn import(of: &str, wish: ImportWish) -> Result<RecordCommand, Problem> {
    let bank = id(of, "bank")?;
    let text = wish.text.unwrap_or_default();
    if text.trim().is_empty() {
        return Err(unreadable("The list is empty. Nothing was changed."));
    }
    Ok(RecordCommand::Import { bank, name: name(wish.name)?, text })
}

pub(crate) async fn import_form(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let ask = import(&of, form(request).await?)?;
    site.put_record(ask).await?;
    back_to("/banks")
}

pub(crate) async fn import_json(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let ask = import(&of, json(request).await?)?;
    site.put_record(ask).await?;
    done()
}

// ---- the run-down test ----------------------------------------------------------------------

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct TestWish {
    load: Option<String>,
}

fn start_test(of: &str, wish: &TestWish) -> Result<RecordCommand, Problem> {
    let bank = id(of, "bank")?;
    let wanted = wish.load.as_deref().unwrap_or(TestLoad::AsItIs.name());
    let load = TestLoad::ALL.into_iter().find(|load| load.name() == wanted);
    let load = load.ok_or_else(|| {
        unreadable("`load` is as-it-is, idle, receive or steps. Nothing was changed.")
    })?;
    Ok(RecordCommand::StartTest { bank, load })
}

pub(crate) async fn test_form(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let ask = start_test(&of, &form(request).await?)?;
    site.put_record(ask).await?;
    back_to("/banks")
}

pub(crate) async fn test_json(
    State(site): State<Site>,
    Path(of): Path<String>,
    request: Request,
) -> Done {
    let ask = start_test(&of, &json(request).await?)?;
    site.put_record(ask).await?;
    done()
}

pub(crate) async fn stop_test_form(State(site): State<Site>) -> Done {
    site.put_record(RecordCommand::StopTest).await?;
    back_to("/banks")
}

pub(crate) async fn stop_test_json(State(site): State<Site>) -> Done {
    site.put_record(RecordCommand::StopTest).await?;
    done()
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

/// A comparison older than this says nothing of now.
const COMPARED_WITHIN_S: f64 = 120.0;
/// A slower round trip than this is no comparison.
const LOOSEST_S: f64 = 30.0;
/// Phones show a time between 2020 and 2100; anything else is no phone's clock.
const FROM_MS: f64 = 1_577_836_800_000.0;
const TO_MS: f64 = 4_102_444_800_000.0;

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "all three are held to their ranges first"
)]
fn phone_clock(wish: &ClockWish, now: Mono) -> Result<RecordCommand, Problem> {
    let ago_s = now.as_s() - wish.boot_s;
    if !(0.0..=COMPARED_WITHIN_S).contains(&ago_s) || wish.boot_s < 0.0 {
        return Err(unreadable("`boot_s` must be a moment of the last two minutes."));
    }
    if !(0.0..=LOOSEST_S).contains(&wish.within_s) {
        return Err(unreadable("`within_s` must lie between 0 and 30."));
    }
    if !(FROM_MS..TO_MS).contains(&wish.phone_unix_ms) {
        return Err(unreadable("`phone_unix_ms` must be a time between 2020 and 2100."));
    }
    Ok(RecordCommand::PhoneClock {
        at: Mono::at_s(wish.boot_s),
        phone_ms: wish.phone_unix_ms.round() as i64,
        within_ms: (wish.within_s * 1000.0).ceil() as u32,
    })
}

pub(crate) async fn clock_json(State(site): State<Site>, request: Request) -> Done {
    let wish: ClockWish = json(request).await?;
    let ask = phone_clock(&wish, site.clock.stamp().mono)?;
    site.put_record(ask).await?;
    done()
}

fn may_set(site: &Site) -> Result<(), Problem> {
    if site.record_status().may_set_clock {
        return Ok(());
    }
    Err(Problem::new(
        StatusCode::FORBIDDEN,
        "clock-not-settable",
        "Not changed",
        "This board's settings do not let outlast set the system clock.",
    ))
}

pub(crate) async fn set_clock_form(State(site): State<Site>) -> Done {
    may_set(&site)?;
    site.put_record(RecordCommand::SetClock).await?;
    Ok(Redirect::to("/station").into_response())
}

pub(crate) async fn set_clock_json(State(site): State<Site>) -> Done {
    may_set(&site)?;
    site.put_record(RecordCommand::SetClock).await?;
    done()
}
