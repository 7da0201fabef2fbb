//! What every request passes: which names we answer to, and who may change things.

use std::{net::IpAddr, str::FromStr, sync::Arc};

use axum::{
    extract::{Request, State},
    http::{Extensions, HeaderMap, HeaderValue, Method, StatusCode, header, uri::Authority},
    middleware::Next,
    response::{IntoResponse, Response},
};

use reckon::words;

use crate::http::{
    choice::Choice,
    door::Door,
    group::{Group, address_of},
    pairing::TicketShown,
    problem::{CodeWanted, Problem},
    site::Site,
    turns::Turn,
};

/// Answers only to names that are ours, so that a page on the internet cannot have its own name
/// point at this board and talk to it through the phone (DNS rebinding).
pub(crate) async fn known_host(State(site): State<Site>, request: Request, next: Next) -> Response {
    let mut named = request.headers().get_all(header::HOST).iter();
    let (first, second) = (named.next(), named.next());
    let asked = request
        .uri()
        .authority()
        .map(Authority::as_str)
        .or_else(|| first.and_then(|value| value.to_str().ok()));
    // RFC 9112 section 3.2: no Host, or more than one, is answered with 400.
    let Some(host) = asked.and_then(bare_host).filter(|_| second.is_none()) else {
        return Problem::from_status(StatusCode::BAD_REQUEST).into_response();
    };
    if is_ours(&host, &site.shown.hosts) {
        return next.run(request).await;
    }
    // RFC 9110 section 15.5.20: not able to produce an answer for this target.
    Problem::new(
        StatusCode::MISDIRECTED_REQUEST,
        "unknown-host",
        words::refusal::OTHER_NAME_TITLE,
        words::refusal::OTHER_NAME,
    )
    .into_response()
}

/// The host without port, in small letters; `None` if it is not one.
fn bare_host(text: &str) -> Option<String> {
    let authority = Authority::from_str(text).ok()?;
    if authority.as_str().contains('@') {
        return None;
    }
    let host = authority.host().trim_end_matches('.').to_ascii_lowercase();
    (!host.is_empty()).then_some(host)
}

fn is_ours(host: &str, given: &[String]) -> bool {
    let bare = host.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')).unwrap_or(host);
    bare == "localhost"
        || IpAddr::from_str(bare).is_ok()
        || given.iter().any(|name| name.trim_end_matches('.').eq_ignore_ascii_case(host))
}

/// Changing something: our own page must have sent it, from a paired phone.
pub(crate) async fn may_change(State(site): State<Site>, request: Request, next: Next) -> Response {
    if request.method() != Method::POST {
        return next.run(request).await;
    }
    if !from_our_page(request.headers()) {
        return other_site(words::refusal::OTHER_SITE).into_response();
    }
    let path = request.uri().path();
    let open = matches!(path, "/pair" | "/look" | "/api/v1/pair" | "/api/v1/plan");
    if !open && !site.may_change(request.headers()) {
        return pair_first_then(&site, request).await.into_response();
    }
    next.run(request).await
}

/// Refused until the phone is paired; the page of it takes the code, and carries what was tapped.
async fn pair_first_then(site: &Site, request: Request) -> Problem {
    let choice = match Door::of(request.uri().path(), request.headers()) {
        Door::Page => Choice::of(request).await,
        Door::Script | Door::Api => None,
    };
    let snapshot = site.snapshot();
    let then = choice.map(|choice| {
        let said = choice.said(&snapshot);
        (choice, said)
    });
    let open = site.shown.pairing.is_open(snapshot.at.mono);
    pair_first().wants_code(CodeWanted { then, open, ..CodeWanted::default() })
}

/// Carries out what was tapped before the phone was paired; whoever paired it leaves the choice with
/// the answer. What comes of it is the answer then, with the ticket.
pub(crate) async fn carry_out(request: Request, next: Next) -> Response {
    if request.uri().path() != "/pair" {
        return next.run(request).await;
    }
    let (parts, body) = request.into_parts();
    let again = next.clone();
    let mut paired = next.run(Request::from_parts(parts.clone(), body)).await;
    let choice = paired.extensions_mut().remove::<Choice>();
    let Some(chosen) = choice.and_then(|choice| choice.request(parts)) else { return paired };
    let mut answer = again.run(chosen).await;
    // A list that could not be kept is said, unless what was tapped has something to say itself.
    let done = answer.extensions().get::<Problem>().is_none() && answer.status().as_u16() < 400;
    if done && paired.extensions().get::<Problem>().is_some() {
        return paired;
    }
    for ticket in paired.headers().get_all(header::SET_COOKIE) {
        answer.headers_mut().append(header::SET_COOKIE, ticket.clone());
    }
    answer
}

/// What is for paired phones only.
pub(crate) fn pair_first() -> Problem {
    let (title, say) = (words::refusal::PAIR_FIRST_TITLE, words::refusal::PAIR_FIRST);
    Problem::new(StatusCode::FORBIDDEN, "not-paired", title, say)
        .way_on("/pair", words::refusal::PAIR_LINK)
}

/// Notes that a paired phone was here, tells the listener, and renews its ticket when it is time.
pub(crate) async fn note_ticket(
    State(site): State<Site>,
    request: Request,
    next: Next,
) -> Response {
    let (at, from) = (site.snapshot().at, address_of(request.extensions()));
    let used = site.shown.pairing.note_use(request.headers(), from, at);
    let mut response = next.run(request).await;
    let Some(used) = used else { return response };
    response.extensions_mut().insert(TicketShown);
    if used.keep {
        let pairing = Arc::clone(&site.shown.pairing);
        // Nobody waits for it; what goes wrong is said in the journal and on the page.
        drop(tokio::task::spawn_blocking(move || pairing.keep(at.mono)));
    }
    let renewed = used.renew.then(|| site.shown.pairing.renewed(used.number)).flatten();
    match renewed {
        Some(jar) => (jar, response).into_response(),
        None => response,
    }
}

/// What reads the record waits for its turn. Another site's page gets none: it would spend the bank
/// by the phone that shows it.
pub(crate) async fn in_turn(
    State(site): State<Site>,
    request: Request,
    next: Next,
) -> Result<Response, Problem> {
    if !matches!(*request.method(), Method::GET | Method::HEAD) {
        return Ok(next.run(request).await);
    }
    if !site.trusted && !may_look(request.headers()) {
        return Err(other_site(words::refusal::OTHER_SITE_LOOKS));
    }
    let _turn = turn(&site, request.extensions(), request.headers()).await?;
    Ok(next.run(request).await)
}

/// Waits for the turn of whoever sent this.
pub(crate) async fn turn(
    site: &Site,
    extensions: &Extensions,
    headers: &HeaderMap,
) -> Result<Turn, Problem> {
    let asker = (Group::of_request(extensions), site.may_change(headers));
    site.turns.turn(asker, &site.shown.clock).await
}

/// Another site's page wanted this.
fn other_site(say: &str) -> Problem {
    let title = words::refusal::OTHER_SITE_TITLE;
    Problem::new(StatusCode::FORBIDDEN, "other-origin", title, say)
}

/// Whether this may take the bank's energy: our own page asks for it, a program, or a person who comes
/// by a link; not what another site's page fetches or shows within itself.
///
/// Where browsers hold the host trustworthy, Sec-Fetch-Site and the two beside it tell (W3C Fetch
/// Metadata); elsewhere Origin comes with what a script fetches, and a Referer with most of the rest,
/// of which a visit asks for a page before all else.
fn may_look(headers: &HeaderMap) -> bool {
    let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
    let host = text("host").unwrap_or("").to_ascii_lowercase();
    let ours = |address: &str| authority_of(address).is_some_and(|it| it == host);
    if let Some(site) = text("sec-fetch-site") {
        let visit = (text("sec-fetch-mode"), text("sec-fetch-dest"));
        return matches!(site, "same-origin" | "none")
            || visit == (Some("navigate"), Some("document"));
    }
    let visit = text("accept").is_some_and(|kinds| kinds.starts_with("text/html"));
    match (text("origin"), text("referer")) {
        (Some(origin), _) => ours(origin),
        (None, Some(referer)) => visit || ours(referer),
        (None, None) => true,
    }
}

/// Whether the browser says that our own page sent this.
///
/// Browsers send Sec-Fetch-Site only to hosts they hold trustworthy, which a hotspot's is not;
/// Origin comes with every POST of all but the oldest, and those send a Referer. What sends none of
/// the three is either no browser or too old to trust with a form, and JSON (or plain bytes) cannot
/// be sent across origins without the browser asking first (Fetch standard, 'CORS-safelisted
/// request-header').
fn from_our_page(headers: &HeaderMap) -> bool {
    let text = |name| headers.get(name).map(|value: &HeaderValue| value.to_str().unwrap_or("?"));
    if let Some(site) = text(header::HeaderName::from_static("sec-fetch-site"))
        && !matches!(site, "same-origin" | "none")
    {
        return false;
    }
    let host = text(header::HOST).unwrap_or("").to_ascii_lowercase();
    if let Some(origin) = text(header::ORIGIN) {
        return authority_of(origin).is_some_and(|it| it == host);
    }
    if let Some(referer) = text(header::REFERER) {
        return authority_of(referer).is_some_and(|it| it == host);
    }
    text(header::HeaderName::from_static("sec-fetch-site")).is_some()
        || text(header::CONTENT_TYPE).is_some_and(|kind| {
            kind.starts_with("application/json") || kind.starts_with("application/octet-stream")
        })
}

fn authority_of(address: &str) -> Option<String> {
    let rest = address.strip_prefix("http://").or_else(|| address.strip_prefix("https://"))?;
    rest.split(['/', '?', '#']).next().map(str::to_ascii_lowercase)
}
