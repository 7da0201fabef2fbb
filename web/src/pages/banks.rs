//! Banks: what each has been seen to deliver, its run-downs, the run-down test, and the changes to
//! all of that.

use std::sync::Arc;

use askama::Template;
use axum::{Json, extract::State, http::HeaderMap, response::IntoResponse};
use reckon::{
    bank::{BankSpec, Cells, MeasuredAt},
    record::{BankWhole, EnergyPart, RecordedRunDown, TestLoad},
    report::BankTally,
    units::{Joules, Seconds},
    words::{self, report as said},
};

use crate::{
    BankShown,
    http::assets::{self, Asset},
    http::door::{Id, Reply},
    http::problem::{Problem, not_there},
    http::site::Site,
    pages::frame::{Frame, shown},
    pages::questions::so_far,
    pages::report::{Line, by_activity},
    pages::rundown::{RunDownRow, rundown_row},
    wire::past,
    wire::report,
};

struct BankRow {
    id: i64,
    name: String,
    label: String,
    seen: String,
    believed: Option<String>,
    connected: bool,
    rows: Vec<RunDownRow>,
    /// Begins the ids of its form's fields.
    prefix: String,
    fields: Fields,
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
    forgotten: Vec<(i64, String)>,
    blank: Fields,
}

pub(crate) async fn list(State(site): State<Site>, headers: HeaderMap) -> Reply {
    let all = read_banks(&site).await?;
    let snapshot = site.snapshot();
    let connected = snapshot.bank.spec.as_deref().map(|spec| spec.name.as_str());
    let (mut banks, mut forgotten) = (Vec::new(), Vec::new());
    for told in all.iter() {
        let bank = &told.whole.bank;
        if bank.forgotten {
            forgotten.push((bank.id, bank.spec.name.clone()));
        } else {
            banks.push(bank_row(told, connected, &site));
        }
    }
    Ok(shown(&BanksPage {
        frame: Frame::for_request(&site, &headers, "Banks"),
        paired: site.may_change(&headers),
        test: test_line(&site),
        banks,
        forgotten,
        blank: blank(),
    }))
}

async fn read_banks(site: &Site) -> Result<Arc<Vec<BankShown>>, Problem> {
    let read = site.read_recent(&site.readings.banks, (), |past| past.banks().map(Some));
    Ok(read.await?.unwrap_or_default())
}

fn test_line(site: &Site) -> Option<String> {
    let record_status = site.record_status();
    let now = site.snapshot().at.mono;
    let test = record_status.test.as_ref()?;
    Some(words::test_on(&test.bank, &words::span(now.seconds_since(test.began)), test.load))
}

fn bank_row(told: &BankShown, connected: Option<&str>, site: &Site) -> BankRow {
    let BankWhole { bank, run_downs } = &told.whole;
    let counted = || run_downs.iter().filter(|it| !it.struck);
    let delivered = |it: &RecordedRunDown| it.delivered_wh().map(Joules::from_wh);
    let exact = |it: &&RecordedRunDown| it.data.is_exact();
    let whole: Vec<Joules> = counted().filter(exact).filter_map(delivered).collect();
    let most = counted().filter(|it| !exact(it)).filter_map(RecordedRunDown::delivered_wh);
    let most = most.reduce(f64::max).map(Joules::from_wh);
    BankRow {
        id: bank.id,
        name: bank.spec.name.clone(),
        label: words::bank_label(&bank.spec),
        seen: words::seen_to_deliver(&whole, most, counted().count()),
        believed: told.usable_wh.map(|wh| words::believed_to_hold(wh.map(Joules::from_wh))),
        connected: connected == Some(bank.spec.name.as_str()),
        rows: run_downs.iter().rev().map(|it| rundown_row(it, site, None)).collect(),
        prefix: format!("b{}", bank.id),
        fields: fields(&bank.spec),
    }
}

pub(crate) async fn api_list(State(site): State<Site>) -> Reply {
    let all = read_banks(&site).await?;
    let offset_s = site.snapshot().at.utc_offset_s;
    Ok(Json(past::banks(&all, offset_s)).into_response())
}

// ---- what a bank gave ---------------------------------------------------------------------------

#[derive(Template)]
#[template(path = "bank_book.html")]
struct BookPage {
    frame: Frame,
    name: String,
    over: String,
    head: [&'static str; 5],
    lines: Vec<Line>,
    note: String,
}

fn book_lines(told: &BankTally) -> Vec<Line> {
    let unread = [(said::UNREAD.to_owned(), told.unread)];
    let besides = if told.unread == EnergyPart::default() { &[][..] } else { &unread };
    by_activity(&told.tally, besides, told.all())
}

async fn told_book(site: &Site, id: i64) -> Result<Arc<BankTally>, Problem> {
    let read = site.read_recent(&site.readings.books, id, move |past| past.book(id));
    read.await?.ok_or_else(|| not_there("bank"))
}

pub(crate) async fn book(State(site): State<Site>, Id(id): Id, headers: HeaderMap) -> Reply {
    let told = told_book(&site, id).await?;
    Ok(shown(&BookPage {
        frame: Frame::for_request(&site, &headers, "Banks"),
        over: words::bank::bank_over(&told),
        head: said::BOOK_HEAD,
        lines: book_lines(&told),
        note: said::book_note(Seconds::of(told.coarsest_s)),
        name: told.bank.clone(),
    }))
}

/// The same for a terminal.
pub(crate) async fn book_text(State(site): State<Site>, Id(id): Id) -> Reply {
    let told = told_book(&site, id).await?;
    let over = words::bank::bank_over(&told);
    let lines = book_lines(&told);
    let rows = lines.iter().map(|line| (line.name.as_str(), &line.cells));
    let table = words::terminal::table(site.shown.language.report.doing, &said::BOOK_HEAD, rows);
    Ok(format!("{over}\n{table}").into_response())
}

pub(crate) async fn api_book(State(site): State<Site>, Id(id): Id) -> Reply {
    let told = told_book(&site, id).await?;
    Ok(Json(report::bank_book(&told)).into_response())
}

// ---- pages that ask before something is done --------------------------------------------------

struct Load {
    name: &'static str,
    words: &'static str,
    chosen: bool,
}

#[derive(Template)]
#[template(path = "test.html")]
struct TestPage {
    frame: Frame,
    paired: bool,
    id: i64,
    name: String,
    /// The bank that is connected now, and what its outing has come to.
    before: Option<(String, String)>,
    /// It is the bank that is to be run down.
    same: bool,
    running: Option<String>,
    loads: Vec<Load>,
}

#[derive(Template)]
#[template(path = "forget.html")]
struct ForgetPage {
    frame: Frame,
    paired: bool,
    id: i64,
    name: String,
}

#[derive(Template)]
#[template(path = "import.html")]
struct ImportPage {
    frame: Frame,
    script: &'static Asset,
    paired: bool,
    id: i64,
    name: String,
}

async fn name_of(site: &Site, id: i64) -> Result<String, Problem> {
    let banks = read_banks(site).await?;
    let mut banks = banks.iter().map(|it| &it.whole.bank);
    let bank = banks.find(|bank| bank.id == id).ok_or_else(|| not_there("bank"))?;
    Ok(bank.spec.name.clone())
}

pub(crate) async fn test(State(site): State<Site>, Id(id): Id, headers: HeaderMap) -> Reply {
    let name = name_of(&site, id).await?;
    let loads = TestLoad::ALL.map(|it| Load {
        name: it.name(),
        words: words::test_load(it),
        chosen: it == TestLoad::AsItIs,
    });
    let snapshot = site.snapshot();
    let before = snapshot.bank.spec.as_ref();
    Ok(shown(&TestPage {
        frame: Frame::for_request(&site, &headers, "Banks"),
        paired: site.may_change(&headers),
        id,
        same: before.is_some_and(|it| it.name == name),
        before: before.map(|it| (it.name.clone(), so_far(&snapshot))),
        name,
        running: test_line(&site),
        loads: loads.into(),
    }))
}

pub(crate) async fn forget(State(site): State<Site>, Id(id): Id, headers: HeaderMap) -> Reply {
    let name = name_of(&site, id).await?;
    let frame = Frame::for_request(&site, &headers, "Banks");
    Ok(shown(&ForgetPage { frame, paired: site.may_change(&headers), id, name }))
}

pub(crate) async fn import(State(site): State<Site>, Id(id): Id, headers: HeaderMap) -> Reply {
    let name = name_of(&site, id).await?;
    Ok(shown(&ImportPage {
        frame: Frame::for_request(&site, &headers, "Banks"),
        script: assets::helper(),
        paired: site.may_change(&headers),
        id,
        name,
    }))
}
