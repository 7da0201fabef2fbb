//! The doors every request passes: which names we answer to, who may change things, what the
//! browser may do with our pages, and how failures are dressed.

use std::{net::IpAddr, str::FromStr, time::Duration};

use axum::{
    body::Body,
    extract::{Request, State},
    http::{HeaderMap, HeaderValue, Method, StatusCode, header, uri::Authority},
    middleware::Next,
    response::{IntoResponse, Response},
};

use reckon::words;

use crate::{
    Site,
    http::assets::{self, Theme},
    http::problem::{self, Problem},
    pages::now,
};

/// The most that any form or JSON here needs is far below this.
pub(crate) const BODY_BYTES: usize = 16 * 1024;
/// A request that is not answered by then is given up.
const ANSWER_WITHIN: Duration = Duration::from_secs(10);
/// A contact log over a slow hotspot.
const LOG_WITHIN: Duration = Duration::from_secs(60);
/// A whole copy of a large record on a slow card, over the socket only.
const COPY_WITHIN: Duration = Duration::from_secs(600);

/// Dresses failures, sets the headers that every answer carries, gives up what takes too long.
pub(crate) async fn finish_response(request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    let look = Theme::of(request.headers());
    let within = match path.as_str() {
        "/api/v1/copy" => COPY_WITHIN,
        "/contacts" | "/api/v1/contacts" => LOG_WITHIN,
        _ => ANSWER_WITHIN,
    };
    let answered = match tokio::time::timeout(within, next.run(request)).await {
        Ok(response) => response,
        Err(_) => StatusCode::REQUEST_TIMEOUT.into_response(),
    };
    let mut response =
        if answered.status().as_u16() >= 400 { with_body(answered, &path, look) } else { answered };
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_SECURITY_POLICY, assets::policy());
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    // Not `no-referrer`: under that, browsers send `Origin: null` with our own forms (Fetch
    // standard, 'append a request Origin header'), and the check below could not tell them from
    // another site's. This policy tells other sites nothing either.
    headers.insert(header::REFERRER_POLICY, HeaderValue::from_static("same-origin"));
    headers.insert(header::X_FRAME_OPTIONS, HeaderValue::from_static("DENY"));
    headers.entry(header::CACHE_CONTROL).or_insert_with(|| HeaderValue::from_static("no-store"));
    response
}

fn with_body(mut bare: Response, path: &str, look: Theme) -> Response {
    let status = bare.status();
    let problem =
        bare.extensions_mut().remove::<Problem>().unwrap_or_else(|| Problem::of_status(status));
    let (kind, body) = if path.starts_with("/api/") {
        ("application/problem+json", problem::detail(&problem, path))
    } else {
        ("text/html; charset=utf-8", now::problem(&problem, look).into_bytes())
    };
    let (mut parts, _) = bare.into_parts();
    parts.headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    parts.headers.remove(header::CONTENT_LENGTH);
    Response::from_parts(parts, Body::from(body))
}

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
        return Problem::of_status(StatusCode::BAD_REQUEST).into_response();
    };
    if is_ours(&host, &site.hosts) {
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
        return Problem::new(
            StatusCode::FORBIDDEN,
            "other-origin",
            words::refusal::OTHER_SITE_TITLE,
            words::refusal::OTHER_SITE,
        )
        .into_response();
    }
    let path = request.uri().path();
    let open = matches!(path, "/pair" | "/look" | "/api/v1/pair");
    if !open && !site.pairing.knows(request.headers()) {
        return Problem::new(
            StatusCode::FORBIDDEN,
            "not-paired",
            words::refusal::PAIR_FIRST_TITLE,
            words::refusal::PAIR_FIRST,
        )
        .way_on("/pair", words::refusal::PAIR_LINK)
        .into_response();
    }
    next.run(request).await
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
