//! Banks: how long each lasts and what it has been seen to hold, its run-downs, and a year of outings.

use std::sync::Arc;

use askama::Template;
use axum::{Json, extract::State, http::HeaderMap, response::IntoResponse};
use reckon::{
    bank::{BankSpec, Cells, MeasuredAt},
    record::{Ageing, BankWhole},
    snapshot::Snapshot,
    units::{Joules, Watts},
    words,
};

use crate::{
    BankShown,
    draw::banks as draw,
    http::door::Reply,
    http::problem::Problem,
    http::site::Site,
    pages::frame::{Frame, shown},
    pages::outings::local,
    pages::rundown::{RunDownRow, rundown_row},
    wire::past,
};

struct BankRow {
    id: i64,
    name: String,
    label: String,
    connected: bool,
    /// How long it lasts when full, and at which draw.
    full: Option<[String; 2]>,
    holds: String,
    drawn: Option<Drawn>,
    ageing: Option<String>,
    rows: Vec<RunDownRow>,
    /// How many run-downs, and how they ended.
    counted: String,
    /// Begins the ids of its form's fields.
    prefix: String,
    fields: Fields,
}

/// A bank's drawing, and which marks it has.
struct Drawn {
    svg: String,
    whole: bool,
    at_least: bool,
}

/// Label data as the form's fields hold it.
struct Fields {
    mah: String,
    volts: String,
    series: String,
    selects: Selects,
    ambient: String,
    cutoff: String,
}

/// One of what a field may be.
pub(crate) struct Choice {
    pub(crate) value: &'static str,
    pub(crate) label: &'static str,
    pub(crate) chosen: bool,
}

/// The two fields of a bank's label that are chosen from a list.
pub(crate) struct Selects {
    pub(crate) cells: Vec<Choice>,
    pub(crate) at: Vec<Choice>,
}

impl Selects {
    /// With this bank's chosen; without one, what nobody touches is as usual for the cells.
    pub(crate) fn from_spec(spec: Option<&BankSpec>) -> Self {
        let chosen = spec.map_or_else(Cells::default, |spec| spec.cells);
        let cell = |cells: Cells| Choice {
            value: cells.name(),
            label: words::cells_choice(cells),
            chosen: cells == chosen,
        };
        let usual = spec.is_none().then_some(None);
        let place = |place: Option<MeasuredAt>| Choice {
            value: place.map_or("", MeasuredAt::name),
            label: words::place_choice(place),
            chosen: place == spec.map(|spec| spec.measured_at),
        };
        Self {
            cells: Cells::ALL.map(cell).into(),
            at: usual.into_iter().chain(MeasuredAt::ALL.map(Some)).map(place).collect(),
        }
    }
}

fn fields(spec: &BankSpec) -> Fields {
    Fields {
        mah: format!("{:.0}", spec.label.si() * 1000.0),
        volts: plain(spec.label_volts.si()),
        series: spec.series.to_string(),
        selects: Selects::from_spec(Some(spec)),
        ambient: spec.ambient.map_or_else(String::new, |ambient| plain(ambient.si())),
        cutoff: spec.cutoff.map_or_else(String::new, |cutoff| plain(cutoff.si())),
    }
}

/// An empty form: what is left as it is, is as usual for the cells.
fn blank() -> Fields {
    let none = String::new;
    Fields {
        mah: none(),
        volts: none(),
        series: none(),
        selects: Selects::from_spec(None),
        ambient: none(),
        cutoff: none(),
    }
}

/// A number as a person would type it.
fn plain(number: f64) -> String {
    let text = format!("{number:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[derive(Template)]
#[template(path = "banks.html")]
struct BanksPage {
    frame: Frame,
    paired: bool,
    test: Option<String>,
    banks: Vec<BankRow>,
    /// Others that can be connected: name and label.
    offered: Vec<(String, String)>,
    /// The hours of all outings: each bank's name, what they come to, and its strip.
    hours: Vec<(String, [String; 2])>,
    forgotten: Vec<(i64, String)>,
    blank: Fields,
}

pub(crate) async fn list(State(site): State<Site>, headers: HeaderMap) -> Reply {
    let all = read_banks(&site).await?;
    let snapshot = site.snapshot();
    let connected = snapshot.bank.spec.as_deref().map(|spec| spec.name.as_str());
    let (gone, mut kept): (Vec<&BankShown>, Vec<&BankShown>) =
        all.iter().partition(|it| it.whole.bank.forgotten);
    kept.sort_by_key(|it| (connected != Some(name(it)), -last_use(it)));
    let row = |it: &&BankShown| bank_row(it, usual_draw(&all, it), connected, &site);
    Ok(shown(&BanksPage {
        frame: Frame::for_request(&site, &headers, "Banks"),
        paired: site.may_change(&headers),
        test: test_line(&site),
        banks: kept.iter().map(row).collect(),
        offered: offered(&all, &snapshot),
        hours: hours(&kept, &site),
        forgotten: gone.iter().map(|it| (it.whole.bank.id, name(it).to_owned())).collect(),
        blank: blank(),
    }))
}

/// Banks that can be connected and were never out: name and label.
fn offered(all: &[BankShown], snapshot: &Snapshot) -> Vec<(String, String)> {
    let new = |bank: &&BankSpec| all.iter().all(|it| name(it) != bank.name);
    let choices = snapshot.bank_choices.iter().filter(new);
    choices.map(|bank| (bank.name.clone(), words::bank_label(bank))).collect()
}

fn name(bank: &BankShown) -> &str {
    &bank.whole.bank.spec.name
}

/// The id of its newest outing; 0 where it has none.
fn last_use(bank: &BankShown) -> i64 {
    bank.outings.first().map_or(0, |outing| outing.id)
}

/// The draw that is usual on a bank, W; else the one on the bank that was used last, with its name.
pub(crate) fn usual_draw<'a>(
    all: &'a [BankShown],
    bank: &BankShown,
) -> Option<(f64, Option<&'a str>)> {
    let own = bank.year.usual_w.map(|usual| (usual, None));
    let others = || {
        let known = all.iter().filter(|it| it.year.usual_w.is_some());
        let last = known.max_by_key(|it| last_use(it))?;
        Some((last.year.usual_w?, Some(name(last))))
    };
    own.or_else(others).filter(|(usual, _)| *usual > 0.0)
}

/// A year of outings on one drawing, a strip for each bank that was out.
fn hours(banks: &[&BankShown], site: &Site) -> Vec<(String, [String; 2])> {
    let out = banks.iter().filter(|it| !it.outings.is_empty());
    let strips: Vec<draw::Strip<'_>> =
        out.map(|it| draw::Strip { name: name(it), outings: &it.outings }).collect();
    let drawn = draw::hours(&strips, |wall| local(wall, site));
    strips.iter().map(|strip| strip.name.to_owned()).zip(drawn).collect()
}

pub(crate) async fn read_banks(site: &Site) -> Result<Arc<Vec<BankShown>>, Problem> {
    let read = site.read_recent(&site.readings.banks, (), |past| past.banks().map(Some));
    Ok(read.await?.unwrap_or_default())
}

pub(crate) fn test_line(site: &Site) -> Option<String> {
    let record_status = site.record_status();
    let now = site.snapshot().at.mono;
    let test = record_status.test.as_ref()?;
    Some(words::test_on(&test.bank, &words::span(now.seconds_since(test.began)), test.load))
}

fn bank_row(
    told: &BankShown,
    usual: Option<(f64, Option<&str>)>,
    connected: Option<&str>,
    site: &Site,
) -> BankRow {
    let BankWhole { bank, run_downs } = &told.whole;
    let counted: Vec<_> = run_downs.iter().filter(|it| !it.struck).collect();
    let taught = counted.iter().any(|it| it.delivered_wh().is_some());
    let usable = told.usable_wh.map(|wh| wh.map(Joules::from_wh));
    let full = usable.zip(usual);
    BankRow {
        id: bank.id,
        name: bank.spec.name.clone(),
        label: words::bank_label(&bank.spec),
        connected: connected == Some(bank.spec.name.as_str()),
        full: full.map(|(wh, (usual, on))| words::bank::when_full(wh, Watts::of(usual), on)),
        holds: words::bank::holds(usable, !taught),
        drawn: drawn(told, site),
        ageing: taught.then(|| ageing(&told.year.ageing, site)),
        counted: words::bank::to_the_end(
            counted.len(),
            counted.iter().filter(|it| it.data.whole).count(),
        ),
        rows: run_downs.iter().rev().map(|it| rundown_row(it, site, None)).collect(),
        prefix: format!("b{}", bank.id),
        fields: fields(&bank.spec),
    }
}

fn ageing(of: &Ageing, site: &Site) -> String {
    let between = match of {
        Ageing::Seen { between, .. } => *between,
        Ageing::NeverEmpty | Ageing::Once => None,
    };
    let local = |wall| local(Some(wall), site);
    let between = between.and_then(|[first, last]| Some([local(first)?, local(last)?]));
    words::bank::ageing(of, between)
}

fn drawn(told: &BankShown, site: &Site) -> Option<Drawn> {
    let id = told.whole.bank.id;
    let svg = draw::held(id, &told.year, told.usable_wh, |wall| local(wall, site))?;
    let any = |all| told.year.given.iter().any(|it| it.is_all == all);
    Some(Drawn { svg, whole: any(true), at_least: any(false) })
}

pub(crate) async fn api_list(State(site): State<Site>) -> Reply {
    let all = read_banks(&site).await?;
    let offset_s = site.snapshot().at.utc_offset_s;
    Ok(Json(past::banks(&all, offset_s)).into_response())
}
