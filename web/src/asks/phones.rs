//! Pairing a phone, and ending its ticket.

use std::sync::Arc;

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
    door::{Body, Door, Id, Outcome},
    group::Address,
    problem::{Problem, refused},
    site::{Kept, Site},
    window::Rejected,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PairWish {
    code: String,
    /// What the owner calls the phone.
    name: Option<String>,
}

/// The ticket comes with the answer also where the list could not be kept: the phone is paired.
pub(crate) async fn pair(
    State(site): State<Site>,
    Address(from): Address,
    door: Door,
    body: Body<PairWish>,
) -> Result<(SignedCookieJar, Response), Problem> {
    let wish = body.read();
    let name = name::line(wish.name.as_deref().unwrap_or(""), LONGEST);
    let name = name.map_err(|fault| refused(&Refusal::BadName(fault)))?;
    let name = Some(name).filter(|name| !name.is_empty());
    let at = site.snapshot().at;
    let ticket = site.shown.pairing.pair(&wish.code, name, from, at).map_err(not_paired)?;
    let answer = match keep(&site).await {
        Ok(()) => door.done("/", Kept::OnCard).into_response(),
        Err(problem) => problem.into_response(),
    };
    Ok((ticket, answer))
}

fn not_paired(rejected: Rejected) -> Problem {
    let problem = |status, code, say: String| {
        Problem::new(status, code, "Not paired", say).way_on("/pair", "Try again")
    };
    let forbidden = |code, say: &str| problem(StatusCode::FORBIDDEN, code, say.to_owned());
    match rejected {
        Rejected::Closed => forbidden("no-code", words::refusal::NO_CODE),
        Rejected::Wrong => forbidden("wrong-code", words::refusal::WRONG_CODE),
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
