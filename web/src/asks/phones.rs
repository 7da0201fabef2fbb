//! Pairing a phone, and ending its ticket.

use std::{net::IpAddr, sync::Arc, time::Duration};

use axum::{
    extract::State,
    http::StatusCode,
    response::{IntoResponse, Response},
};
use axum_extra::extract::cookie::SignedCookieJar;
use reckon::{
    engine::Refusal,
    name::{self, LONGEST},
    words,
};
use serde::Deserialize;

use crate::http::{
    choice::Choice,
    door::{Body, Door, Id, Outcome},
    group::Address,
    problem::{CodeWanted, Problem, refused},
    site::{Kept, Site},
    window::Rejected,
};

/// A code with what people put between its digits, bytes.
const LONGEST_CODE: usize = 24;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PairWish {
    code: String,
    /// What the owner calls the phone.
    name: Option<String>,
}

/// As the page of the code sends it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PairForm {
    code: String,
    name: Option<String>,
    /// What was tapped before.
    then: Option<String>,
}

/// The ticket comes with the answer also where the list could not be kept: the phone is paired. What
/// was tapped before goes with it, for [`guard::carry_out`].
///
/// [`guard::carry_out`]: crate::http::guard::carry_out
pub(crate) async fn pair(
    State(site): State<Site>,
    Address(from): Address,
    door: Door,
    body: Body<PairForm, PairWish>,
) -> Result<(SignedCookieJar, Response), Problem> {
    let (wish, choice) = match body {
        Body::Form(PairForm { code, name, then }) => {
            (PairWish { code, name }, then.and_then(|carried| Choice::read(&carried)))
        }
        Body::Json(wish) => (wish, None),
    };
    let asked_again = choice.as_ref().and_then(Choice::asked_again);
    let ticket = match paired(&site, &wish, from) {
        Ok(ticket) => ticket,
        Err(problem) => return Err(problem.wants_code(once_more(&site, wish, choice))),
    };
    let mut answer = match keep(&site).await {
        Ok(()) => door.done(asked_again.as_deref().unwrap_or("/"), Kept::OnCard).into_response(),
        Err(problem) => problem.into_response(),
    };
    if let Some(choice) = choice.filter(|_| asked_again.is_none()) {
        answer.extensions_mut().insert(choice);
    }
    Ok((ticket, answer))
}

fn paired(site: &Site, wish: &PairWish, from: Option<IpAddr>) -> Result<SignedCookieJar, Problem> {
    let name = name::line(wish.name.as_deref().unwrap_or(""), LONGEST);
    let name = name.map_err(|fault| refused(&Refusal::BadName(fault)))?;
    let name = Some(name).filter(|name| !name.is_empty());
    let (pairing, at) = (&site.shown.pairing, site.snapshot().at);
    pairing
        .pair(&wish.code, name, from, at)
        .map_err(|rejected| not_paired(rejected, pairing.wait(from, at.mono)))
}

/// For the same page with what was wrong on it: a code that is nearly right can be mended there.
fn once_more(site: &Site, wish: PairWish, choice: Option<Choice>) -> CodeWanted {
    let snapshot = site.snapshot();
    let then = choice.map(|choice| {
        let said = choice.said(&snapshot);
        (choice, said)
    });
    let open = site.shown.pairing.is_open(snapshot.at.mono);
    let typed = Some(wish.code).filter(|it| open && it.len() <= LONGEST_CODE);
    CodeWanted { then, typed: typed.unwrap_or_default(), open, tried: true }
}

/// `wait`: until the next code of this phone is looked at.
fn not_paired(rejected: Rejected, wait: Duration) -> Problem {
    let problem = |status, code, say: String| {
        Problem::new(status, code, "Not paired", say).way_on("/pair", "Try again")
    };
    let forbidden = |code, say: &str| problem(StatusCode::FORBIDDEN, code, say.to_owned());
    match rejected {
        Rejected::Closed => forbidden("no-code", words::refusal::NO_CODE),
        Rejected::Wrong if wait.is_zero() => forbidden("wrong-code", words::refusal::WRONG_CODE),
        Rejected::Wrong => {
            let say = format!("{} {}", words::refusal::WRONG_CODE, words::wait(wait));
            problem(StatusCode::FORBIDDEN, "wrong-code", say).retry_after(wait.as_secs() + 1)
        }
        Rejected::Wait(wait) => problem(StatusCode::TOO_MANY_REQUESTS, "wait", words::wait(wait))
            .retry_after(wait.as_secs() + 1),
    }
}

/// Ends one phone's ticket.
pub(crate) async fn end(State(site): State<Site>, Id(number): Id, door: Door) -> Outcome {
    if !u32::try_from(number).is_ok_and(|number| site.shown.pairing.end(number)) {
        let title = words::refusal::NO_PHONE_TITLE;
        let problem =
            Problem::new(StatusCode::NOT_FOUND, "no-phone", title, words::refusal::NO_PHONE);
        return Err(problem.way_on("/phones", words::refusal::BACK_TO_PHONES));
    }
    keep(&site).await?;
    Ok(door.done("/phones", Kept::OnCard))
}

/// Ends all tickets.
pub(crate) async fn end_all(State(site): State<Site>, door: Door) -> Outcome {
    site.shown.pairing.end_all();
    keep(&site).await?;
    Ok(door.done("/phones", Kept::OnCard))
}

/// Has the list kept, and says what a restart will bring if it could not be.
async fn keep(site: &Site) -> Result<(), Problem> {
    let (pairing, at) = (Arc::clone(&site.shown.pairing), site.snapshot().at.mono);
    match tokio::task::spawn_blocking(move || pairing.keep(at)).await {
        Ok(Ok(())) => Ok(()),
        // RFC 4918 section 11.5: it cannot be stored.
        Ok(Err(say)) => Err(Problem::new(
            StatusCode::INSUFFICIENT_STORAGE,
            "not-kept",
            words::refusal::NOT_KEPT_TITLE,
            say,
        )
        .way_on("/phones", words::refusal::BACK_TO_PHONES)),
        Err(_) => Err(Problem::from_status(StatusCode::INTERNAL_SERVER_ERROR)),
    }
}
