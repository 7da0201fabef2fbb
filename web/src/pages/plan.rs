//! Plan: will it carry the outing? Three taps, an answer, and parts to refine it. The whole of a plan is in the
//! page's address, so that it can be shared and opened again; a tap is a link to the plan that it makes.

use askama::Template;
use axum::{
    extract::{RawQuery, State},
    http::{HeaderMap, HeaderValue, header},
    response::{IntoResponse, Redirect},
};
use reckon::{
    bank::BankSpec,
    plan::{self, Answer, Assumption, Known, Plan, PlanBank, PlanFault, What},
    snapshot::Snapshot,
    units::Seconds,
    words::{self, Language, Local},
};

use crate::{
    asks::{
        plan::{also_settings, aside, known},
        plan_query::{Mix, PlanQuery, field_name, number},
    },
    draw::plan_day::plan_day,
    http::{assets::cookie, door::Reply, problem::Problem, site::Site},
    pages::{
        frame::{Frame, shown},
        plan_parts::{Part, Parts},
    },
};

/// The cookie that remembers the last plan, and how much of one it takes, bytes.
const COOKIE: &str = "plan";
const COOKIE_BYTES: usize = 1500;
/// Hours that are a tap.
const HOURS: [&str; 4] = ["4", "6", "8", "10"];
/// Banks that are a tap.
const BANKS: usize = 2;

/// Something to tap.
struct Choice {
    text: String,
    href: String,
    chosen: bool,
}

struct Row {
    label: &'static str,
    choices: Vec<Choice>,
}

struct ChangeRow {
    what: String,
    gains: String,
    /// The plan with it.
    href: Option<String>,
}

#[derive(Template)]
#[template(path = "plan.html")]
struct PlanPage {
    frame: Frame,
    paired: bool,
    station: String,
    head: String,
    rows: [Row; 3],
    said: [String; 2],
    /// Parts where something cannot be right: their names and titles.
    faulty: Vec<(&'static str, &'static str)>,
    /// Complaints that no field of the page has.
    loose: Vec<String>,
    drawn: String,
    changes: Vec<ChangeRow>,
    worked: bool,
    start: Vec<(String, String)>,
    parts: Vec<Part>,
    smallest: String,
    assumed: Vec<String>,
    cautions: Vec<&'static str>,
}

/// What came of a plan.
enum Worked {
    /// Something is missing without which there is no answer.
    NotYet,
    Faulty(Vec<PlanFault>),
    Answered(Box<(Plan, Answer, Vec<Assumption>)>),
}

pub(crate) async fn page(
    State(site): State<Site>,
    headers: HeaderMap,
    RawQuery(raw): RawQuery,
) -> Reply {
    let query = match &raw {
        Some(raw) => PlanQuery::read(raw)?,
        None => remembered(&headers),
    };
    if raw.as_deref().is_some_and(has_empty_fields) {
        return Ok(Redirect::to(&address(&query)).into_response());
    }
    let snapshot = site.snapshot();
    let mut known = Known::clone(&*known(&site, query.is_whole()).await?);
    also_settings(&mut known, &snapshot);
    let (worked, known) = worked(query.clone(), known).await?;
    let cookie = kept_cookie(raw.as_deref(), &query, &worked);
    let page = page_of(&site, &headers, &query, &known, &worked);
    let mut response = shown(&page);
    if let Some(cookie) = cookie.and_then(|it| HeaderValue::from_str(&it).ok()) {
        response.headers_mut().append(header::SET_COOKIE, cookie);
    }
    Ok(response)
}

/// The last plan; what is no plan of ours is as good as none.
fn remembered(headers: &HeaderMap) -> PlanQuery {
    let text = cookie(headers, COOKIE).filter(|text| text.len() <= COOKIE_BYTES);
    text.and_then(|text| PlanQuery::read(text).ok()).unwrap_or_default()
}

/// An answer is worth remembering; an empty address starts over.
fn kept_cookie(raw: Option<&str>, query: &PlanQuery, worked: &Worked) -> Option<String> {
    const YEAR_S: u32 = 31_536_000;
    let kept = |text: &str, age_s| {
        format!("{COOKIE}={text}; Path=/plan; Max-Age={age_s}; SameSite=Lax; HttpOnly")
    };
    match (raw, worked) {
        (Some(""), _) => Some(kept("", 0)),
        (Some(_), Worked::Answered(_)) => {
            let text = query.clone().with("open", "").text();
            (text.len() <= COOKIE_BYTES).then(|| kept(&text, YEAR_S))
        }
        _ => None,
    }
}

/// A form sends what nobody filled in; the address does without.
fn has_empty_fields(raw: &str) -> bool {
    raw.split('&').any(|pair| pair.ends_with('='))
}

fn address(query: &PlanQuery) -> String {
    format!("/plan?{}", query.text())
}

/// Works it out where nothing waits for it.
async fn worked(query: PlanQuery, known: Known) -> Result<(Worked, Known), Problem> {
    if !query.is_whole() {
        return Ok((Worked::NotYet, known));
    }
    aside(move || {
        let worked = match query.description().complete(&known) {
            Err(faults) => Worked::Faulty(faults),
            Ok((plan, assumed)) => {
                let answer = plan::answer(&plan, &known.others(&plan));
                Worked::Answered(Box::new((plan, answer, assumed)))
            }
        };
        (worked, known)
    })
    .await
}

fn page_of(
    site: &Site,
    headers: &HeaderMap,
    query: &PlanQuery,
    known: &Known,
    worked: &Worked,
) -> PlanPage {
    let (snapshot, language) = (site.snapshot(), site.shown.language);
    let plain = &query.clone().with("open", "");
    let w = &language.plan;
    let faults = faults(query, worked);
    let answered = match worked {
        Worked::Answered(it) => Some((&it.0, &it.1)),
        _ => None,
    };
    let activities = activities(known, &snapshot);
    let parts = Parts {
        query,
        known,
        activities: &activities,
        faults: &faults,
        words: w,
        bank_words: &language.bank_form,
        worked: answered,
    };
    let parts = parts.all();
    let faulty: Vec<_> =
        parts.iter().filter(|it| it.is_faulty()).map(|it| (it.name, it.title)).collect();
    let (starts, is_now) = starts(query, &snapshot);
    let ambient = answered.and_then(|it| it.0.banks.first()?.spec.ambient);
    PlanPage {
        frame: Frame::for_request(site, headers, "Plan"),
        paired: site.may_change(headers),
        station: snapshot.station.clone(),
        head: words::plan_day::head(starts, is_now, ambient),
        rows: rows(plain, known, &snapshot, language),
        said: said(worked, starts, &faulty),
        faulty,
        loose: loose(&faults, &parts),
        drawn: answered.map_or_else(String::new, |(plan, answer)| plan_day(plan, answer, starts)),
        changes: answered.map_or_else(Vec::new, |it| changes(plain, known, it)),
        worked: answered.is_some(),
        start: plain.fields().to_vec(),
        parts,
        smallest: answered
            .map_or_else(String::new, |it| words::plan_day::smallest(&it.1.smallest, it.1)),
        assumed: assumed(worked),
        cautions: answered.map_or_else(Vec::new, |it| {
            it.1.cautions.iter().copied().map(words::plan::caution).collect()
        }),
    }
}

/// When it starts, by the time of day that was typed, else now where the clock is believed; and whether that
/// is now.
fn starts(query: &PlanQuery, snapshot: &Snapshot) -> (Option<Local>, bool) {
    if let Some(minute) = query.get("at").and_then(time_of_day) {
        let wall = reckon::time::Wall::from_unix_ms(minute * 60_000);
        return (Some(Local { wall, utc_offset_s: 0 }), false);
    }
    let at = snapshot.at;
    let now = at.believed().map(|wall| Local { wall, utc_offset_s: at.utc_offset_s });
    (now, true)
}

/// Minutes since midnight of `09:00`.
fn time_of_day(text: &str) -> Option<i64> {
    let (hour, minute) = text.split_once(':')?;
    let hour: i64 = hour.trim().parse().ok().filter(|it| (0..24).contains(it))?;
    let minute: i64 = minute.trim().parse().ok().filter(|it| (0..60).contains(it))?;
    Some(hour * 60 + minute)
}

/// The names of fields, and what is wanted there.
fn faults(query: &PlanQuery, worked: &Worked) -> Vec<(String, String)> {
    let mut all: Vec<(String, String)> = match worked {
        Worked::Faulty(faults) => faults
            .iter()
            .map(|fault| {
                let name = field_name(&fault.place);
                let quick = name == "stretch.0.hours" && !query.has_stretches();
                (if quick { "hours".to_owned() } else { name }, fault.want.clone())
            })
            .collect(),
        _ => Vec::new(),
    };
    if query.get("at").is_some_and(|text| time_of_day(text).is_none()) {
        all.push(("at".to_owned(), words::refusal::BAD_TIME_OF_DAY.to_owned()));
    }
    all
}

/// Complaints of what no part has a field for.
fn loose(faults: &[(String, String)], parts: &[Part]) -> Vec<String> {
    let has = |name: &str| {
        let forms = parts.iter().flat_map(|part| &part.forms);
        let mut fields = forms.flat_map(|form| &form.groups).flat_map(|group| &group.fields);
        fields.any(|field| field.name == name)
    };
    let loose = faults.iter().filter(|(name, _)| !has(name));
    loose.take(5).map(|(name, want)| words::plan_day::wrong_at(name, want)).collect()
}

/// The two lines of the answer, or what is missing.
fn said(
    worked: &Worked,
    starts: Option<Local>,
    faulty: &[(&'static str, &'static str)],
) -> [String; 2] {
    match worked {
        Worked::Answered(it) => {
            let (plan, answer) = (&it.0, &it.1);
            let finish = Seconds::of(3600.0 * plan.finish_h);
            [
                words::plan_day::chance(answer.chance_of_finish, starts, finish),
                words::plan_day::ends(answer, starts),
            ]
        }
        Worked::Faulty(_) => {
            let why = if faulty.is_empty() {
                words::plan_day::LOOK_BELOW
            } else {
                words::plan_day::LOOK_AT
            };
            [words::plan_day::NOT_WORKED_OUT.to_owned(), why.to_owned()]
        }
        Worked::NotYet => {
            [words::plan_day::WILL_IT_LAST.to_owned(), words::plan_day::FIRST_ANSWER.to_owned()]
        }
    }
}

fn rows(query: &PlanQuery, known: &Known, snapshot: &Snapshot, language: &Language) -> [Row; 3] {
    let w = &language.plan;
    [
        Row { label: w.bank, choices: bank_choices(query, known, snapshot, w.other) },
        Row { label: w.doing, choices: mix_choices(query, w.mixes) },
        Row { label: w.hours, choices: hour_choices(query, w.other) },
    ]
}

/// The bank that is connected and the next one of the record; any other opens the part.
fn bank_choices(query: &PlanQuery, known: &Known, snapshot: &Snapshot, other: &str) -> Vec<Choice> {
    let connected = snapshot.bank.spec.as_deref().map(|spec| spec.name.as_str());
    let mut names: Vec<&str> = known.banks.iter().map(|(spec, _)| spec.name.as_str()).collect();
    names.sort_by_key(|name| Some(*name) != connected);
    names.truncate(BANKS);
    let chosen = query.get("bank.known");
    let tap = |name: &&str| Choice {
        text: (*name).to_owned(),
        href: address(&with_bank(query, name)),
        chosen: chosen == Some(name),
    };
    let mut all: Vec<Choice> = names.iter().map(tap).collect();
    let is_other = query.has_bank() && !all.iter().any(|it| it.chosen);
    let text = chosen.filter(|_| is_other).unwrap_or(other);
    let fresh = if is_other { query.clone() } else { query.clone().without_first_bank() };
    all.push(opens(&fresh, "banks", text, is_other));
    all
}

/// With this bank as its first.
fn with_bank(query: &PlanQuery, name: &str) -> PlanQuery {
    query.clone().without_first_bank().with("bank.known", name)
}

fn mix_choices(query: &PlanQuery, labels: &[&'static str]) -> Vec<Choice> {
    let chosen = query.mix().filter(|_| !query.has_stretches());
    let tap = |(mix, label): (Mix, &&'static str)| Choice {
        text: (*label).to_owned(),
        href: address(&query.clone().without("stretch.").with("doing", mix.name())),
        chosen: chosen == Some(mix),
    };
    Mix::ALL.into_iter().zip(labels).map(tap).collect()
}

fn hour_choices(query: &PlanQuery, other: &str) -> Vec<Choice> {
    let chosen = query.get("hours").filter(|_| !query.has_stretches());
    let say = |hours: f64| words::plan_day::hours(Seconds::of(3600.0 * hours));
    let tap = |hours: &str| Choice {
        text: say(number(hours).unwrap_or_default()),
        href: address(&query.clone().without("stretch.").with("hours", hours)),
        chosen: chosen == Some(hours),
    };
    let mut all: Vec<Choice> = HOURS.into_iter().map(tap).collect();
    let own = chosen.filter(|hours| !HOURS.contains(hours));
    let text = own.and_then(number).filter(|hours| (0.1..1000.0).contains(hours)).map(say);
    let is_other = own.is_some() || query.has_stretches();
    all.push(opens(query, "stretches", text.as_deref().unwrap_or(other), is_other));
    all
}

/// A tap that opens a part.
fn opens(query: &PlanQuery, part: &str, text: &str, chosen: bool) -> Choice {
    let href = format!("{}#p-{part}", address(&query.clone().with("open", part)));
    Choice { text: text.to_owned(), href, chosen }
}

/// This station's activities, and those that have drawn here before.
fn activities(known: &Known, snapshot: &Snapshot) -> Vec<String> {
    let own = snapshot.activities.iter().map(|activity| activity.name.as_str());
    let drawn = known.usual.iter().flat_map(|(_, usual)| usual).map(|(name, _)| name.as_str());
    let mut all: Vec<String> = Vec::new();
    for name in ["receive", "contacts", "logging", "idle"].into_iter().chain(own).chain(drawn) {
        if !all.iter().any(|one| one.eq_ignore_ascii_case(name)) {
            all.push(name.to_owned());
        }
    }
    all
}

/// What buys the most time.
fn changes(query: &PlanQuery, known: &Known, (plan, answer): (&Plan, &Answer)) -> Vec<ChangeRow> {
    let others = known.others(plan);
    let row = |change: &plan::Change| ChangeRow {
        what: words::plan::change(&change.what).trim_end_matches('.').to_owned(),
        gains: words::plan_day::gains(change.gains),
        href: applied(query, known, (plan, &others), &change.what).map(|query| address(&query)),
    };
    answer.changes.iter().map(row).collect()
}

/// The plan with a change, as far as fields can say it.
fn applied(
    query: &PlanQuery,
    known: &Known,
    (plan, others): (&Plan, &[PlanBank]),
    what: &What,
) -> Option<PlanQuery> {
    let changed = plan::changed(plan, others, what)?;
    let mut query = query.clone();
    if changed.stretches != plan.stretches {
        query = query.with_stretches(&changed.stretches);
    }
    for (nth, bank) in changed.banks.iter().enumerate() {
        let before = plan.banks.get(nth);
        if before
            .is_some_and(|it| it.spec.name == bank.spec.name && it.spec.label == bank.spec.label)
        {
            continue;
        }
        if nth == 0
            && let Some(before) = before
        {
            query = query.with_radio_at(before.spec.label_volts);
        }
        let is_known = known.banks.iter().any(|(spec, _)| is_same(spec, &bank.spec));
        query = query.with_nth_bank(nth, &bank.spec, is_known);
    }
    if changed.sun != plan.sun {
        query = query.with_sun(changed.sun.as_ref()?)?;
    }
    let ambient = |plan: &Plan| plan.banks.first().and_then(|bank| bank.spec.ambient);
    if let Some(warmer) = ambient(&changed).filter(|it| Some(*it) != ambient(plan)) {
        query.set("ambient_c", &format!("{}", warmer.si()));
    }
    Some(query)
}

fn is_same(one: &BankSpec, other: &BankSpec) -> bool {
    one.name == other.name && one.label == other.label
}

/// What was worked with, and what was taken for granted.
fn assumed(worked: &Worked) -> Vec<String> {
    let Worked::Answered(it) = worked else { return Vec::new() };
    let mut all = words::plan_day::worked_with(&it.1);
    all.extend(it.1.wiring.as_ref().map(words::plan_day::lead));
    all.extend(it.2.iter().map(words::plan::assumption));
    all
}
