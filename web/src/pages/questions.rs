//! What only the operator knows: the questions on Now, a page for each, and the page
//! that asks before the bank is changed.

use askama::Template;
use axum::{
    extract::{Path, Query, State, rejection::QueryRejection},
    http::{HeaderMap, StatusCode},
    response::{IntoResponse, Response},
};
use reckon::{
    bank::BankSpec,
    belief::{Answer, Question, QuestionView, Standing},
    snapshot::Snapshot,
    units::{Seconds, Share},
    words::{self, Asked, NowPage},
};
use serde::Deserialize;

use crate::{
    asks::now::offered,
    http::problem::Problem,
    http::site::Site,
    pages::frame::{Frame, part, shown},
    wire::names::answer_name,
};

/// An answer as a button.
struct Choice {
    value: String,
    label: String,
    /// What it would leave, or means.
    leaves: Option<String>,
    /// It is the one that holds.
    holds: bool,
}

/// A question as it is drawn.
struct Card {
    name: &'static str,
    text: String,
    why: String,
    choices: Vec<Choice>,
    /// It may be another bank, of which nobody has said which.
    which: bool,
}

#[derive(Template)]
#[template(path = "asked.html")]
struct AskedPart {
    w: &'static NowPage,
    card: Card,
    /// The strip says it already.
    in_strip: bool,
}

#[derive(Template)]
#[template(path = "held.html")]
struct HeldPart<'a> {
    w: &'static NowPage,
    /// The bank that is connected.
    bank: Option<String>,
    /// What holds, and the question it answers.
    lines: Vec<(String, &'static str)>,
    over: &'a [String],
}

#[derive(Template)]
#[template(path = "question_page.html")]
struct QuestionPage {
    frame: Frame,
    paired: bool,
    card: Card,
    holds: Option<String>,
    said: bool,
}

#[derive(Template)]
#[template(path = "change_bank.html")]
struct ChangePage {
    frame: Frame,
    paired: bool,
    name: String,
    label: String,
    /// The bank that is connected now and what it has given in this outing.
    before: Option<(String, String)>,
    /// The same bank, charged.
    same: bool,
    levels: Vec<Level>,
}

/// How full a bank is that is being connected: what the form sends, and the words.
pub(crate) struct Level {
    pub(crate) value: String,
    pub(crate) label: String,
    pub(crate) means: Option<String>,
}

/// The levels that can be said of a bank, and that nobody knows.
pub(crate) fn levels(bank: Option<&BankSpec>) -> Vec<Level> {
    let level = |(answer, label, means)| {
        let full = answer == Answer::Level(Share::WHOLE);
        let value = if full { "full".to_owned() } else { answer_name(answer) };
        Level { value, label, means }
    };
    let unknown = Level {
        value: "unknown".to_owned(),
        label: words::refusal::UNKNOWN.to_owned(),
        means: None,
    };
    words::levels(bank).into_iter().map(level).chain([unknown]).collect()
}

fn card(view: &QuestionView, asked: Asked, snapshot: &Snapshot) -> Card {
    let choices = asked
        .answers
        .into_iter()
        .map(|(answer, label, leaves)| Choice {
            value: answer_name(answer),
            label,
            leaves,
            holds: view.answer == Some(answer),
        })
        .collect();
    let another = |one: &QuestionView| one.answer == Some(Answer::Another);
    Card {
        name: view.question.name(),
        text: asked.text,
        why: asked.why,
        choices,
        which: view.question == Question::HowFull && snapshot.questions.iter().any(another),
    }
}

/// Whether it stands on Now with its answers: what is open, and a change of the bank.
fn stands(view: &QuestionView) -> bool {
    view.is_open() || view.question == Question::BankChanged
}

/// The open questions in words. One at a time has a place of its own; the next one takes it.
pub(crate) fn open(snapshot: &Snapshot) -> Vec<(&QuestionView, Asked)> {
    let open = snapshot.questions.iter().filter(|view| stands(view));
    open.map(|view| (view, words::asked(view, snapshot))).collect()
}

/// The open question with its answers.
pub(crate) fn asked(
    w: &'static NowPage,
    snapshot: &Snapshot,
    (view, asked): (&QuestionView, Asked),
    in_strip: bool,
) -> String {
    part(&AskedPart { w, card: card(view, asked, snapshot), in_strip })
}

/// What holds without being asked any more, each with a way to change it: the bank first; and what is
/// over.
pub(crate) fn held(w: &'static NowPage, snapshot: &Snapshot, over: &[String]) -> String {
    let settled = snapshot.questions.iter().filter(|view| !stands(view));
    let lines: Vec<(String, &'static str)> = settled
        .filter_map(|view| Some((words::asked(view, snapshot).holds?, view.question.name())))
        .collect();
    let bank = snapshot.bank.spec.as_ref().map(|spec| w.connected(&spec.name));
    part(&HeldPart { w, bank, lines, over })
}

fn not_asked() -> Problem {
    let (title, say) = (words::refusal::NOT_ASKED_TITLE, words::refusal::NOT_ASKED);
    Problem::new(StatusCode::NOT_FOUND, "not-found", title, say)
        .way_on("/", words::refusal::BACK_TO_NOW)
}

/// `GET /answer/{question}`: the answers, and taking back what was said.
pub(crate) async fn page(
    State(site): State<Site>,
    Path(of): Path<String>,
    headers: HeaderMap,
) -> Response {
    let snapshot = site.snapshot();
    let Some(view) = snapshot.questions.iter().find(|view| view.question.name() == of) else {
        return not_asked().into_response();
    };
    let asked = words::asked(view, &snapshot);
    shown(&QuestionPage {
        frame: Frame::for_request(&site, &headers, "Now"),
        paired: site.may_change(&headers),
        holds: asked.holds.clone(),
        said: view.standing == Standing::Said,
        card: card(view, asked, &snapshot),
    })
}

#[derive(Deserialize, Default)]
pub(crate) struct Which {
    bank: Option<String>,
}

/// What the outing on the connected bank has come to: `3 h so far, 9.4 Wh`.
pub(crate) fn so_far(snapshot: &Snapshot) -> String {
    let lasted = snapshot.at.mono.seconds_since(snapshot.outing_began);
    let given = words::took(Some(snapshot.bank.delivered), None, None);
    format!("{}, {given}", words::so_far(Seconds::of(lasted.si())))
}

/// `GET /bank?bank=NAME`: what changing to it would do, and how full it is.
pub(crate) async fn change(
    State(site): State<Site>,
    which: Result<Query<Which>, QueryRejection>,
    headers: HeaderMap,
) -> Response {
    let snapshot = site.snapshot();
    let name = which.ok().and_then(|Query(which)| which.bank).unwrap_or_default();
    let bank = match offered(&snapshot, &name) {
        Ok(bank) => bank,
        Err(problem) => return problem.into_response(),
    };
    let before = snapshot.bank.spec.as_ref();
    shown(&ChangePage {
        frame: Frame::for_request(&site, &headers, "Banks"),
        paired: site.may_change(&headers),
        label: words::bank_label(&bank),
        same: before.is_some_and(|it| it.name == bank.name),
        before: before.map(|it| (it.name.clone(), so_far(&snapshot))),
        levels: levels(Some(&bank)),
        name: bank.name,
    })
}
