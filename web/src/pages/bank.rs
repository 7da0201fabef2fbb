//! Pages of one bank: what it gave by activity, and those that ask before something is done: a run-down
//! test, forgetting it, reading in a list.

use std::sync::Arc;

use askama::Template;
use axum::{Json, extract::State, http::HeaderMap, response::IntoResponse};
use reckon::{
    record::{EnergyPart, TestLoad},
    report::BankTally,
    units::{Joules, Seconds, Watts},
    words::{self, bank::test_will, report as said},
};

use crate::{
    http::assets::{self, Asset},
    http::door::{Id, Reply},
    http::problem::{Problem, not_there},
    http::site::Site,
    pages::banks::{read_banks, test_line, usual_draw},
    pages::frame::{Frame, shown},
    pages::questions::so_far,
    pages::report::{Line, by_activity},
    wire::report,
};

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
    /// What it will do, a sentence each.
    will: Vec<String>,
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
    let will = will(&site, id).await?;
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
        will,
        loads: loads.into(),
    }))
}

/// What a run-down of this bank will do, how long it takes by what is believed of it.
async fn will(site: &Site, id: i64) -> Result<Vec<String>, Problem> {
    let banks = read_banks(site).await?;
    let bank = banks.iter().find(|it| it.whole.bank.id == id).ok_or_else(|| not_there("bank"))?;
    let spec = &bank.whole.bank.spec;
    let usual = usual_draw(&banks, bank).map(|(usual, _)| Watts::of(usual));
    let takes = bank.usable_wh.zip(usual).map(|(usable, usual)| {
        let lasts = |wh: f64| Seconds::of(Joules::from_wh(wh).si() / usual.si());
        (usable.map(lasts), usual)
    });
    Ok(test_will(&spec.name, takes, spec.cutoff))
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
