//! What every answer gets on its way out: failures a body for their reader, all of them the headers that
//! say what a browser may do with our pages; and an end to what takes too long.

use std::time::Duration;

use axum::{
    body::Body,
    extract::{Request, State},
    http::{HeaderValue, StatusCode, header},
    middleware::Next,
    response::{IntoResponse, Response},
};

use crate::http::{
    assets::{self, Theme},
    door::Door,
    problem::{self, Problem},
};

/// Makes the page of a problem.
pub(crate) type ProblemPage = fn(&Problem, Theme) -> String;

/// The most that any form or JSON here needs is far below this.
pub(crate) const BODY_BYTES: usize = 16 * 1024;
/// A request that is not answered by then is given up.
const ANSWER_WITHIN: Duration = Duration::from_secs(10);
/// A contact log over a slow hotspot.
const LOG_WITHIN: Duration = Duration::from_secs(60);
/// A whole copy of a large record on a slow card, over the socket only.
const COPY_WITHIN: Duration = Duration::from_secs(600);

/// Dresses failures, sets the headers that every answer carries, gives up what takes too long.
pub(crate) async fn finish_response(
    State(page): State<ProblemPage>,
    request: Request,
    next: Next,
) -> Response {
    let path = request.uri().path().to_owned();
    let (look, door) = (Theme::from_headers(request.headers()), Door::of(&path, request.headers()));
    let within = match path.as_str() {
        "/api/v1/copy" => COPY_WITHIN,
        "/contacts" | "/api/v1/contacts" => LOG_WITHIN,
        _ => ANSWER_WITHIN,
    };
    let answered = match tokio::time::timeout(within, next.run(request)).await {
        Ok(response) => response,
        Err(_) => StatusCode::REQUEST_TIMEOUT.into_response(),
    };
    let says = answered.extensions().get::<Problem>().is_some();
    let mut response = if says || answered.status().as_u16() >= 400 {
        with_body(answered, (door, &path), |it| page(it, look))
    } else {
        answered
    };
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

fn with_body(
    mut bare: Response,
    (door, path): (Door, &str),
    page: impl FnOnce(&Problem) -> String,
) -> Response {
    let status = bare.status();
    let problem =
        bare.extensions_mut().remove::<Problem>().unwrap_or_else(|| Problem::from_status(status));
    let (kind, body) = match door {
        Door::Api | Door::Script => ("application/problem+json", problem::detail(&problem, path)),
        Door::Page => ("text/html; charset=utf-8", page(&problem).into_bytes()),
    };
    let (mut parts, _) = bare.into_parts();
    parts.headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    parts.headers.remove(header::CONTENT_LENGTH);
    Response::from_parts(parts, Body::from(body))
}

/// A fault in a handler costs that page only; the panic's own words went to the journal already.
pub(crate) fn on_panic() -> Response {
    tracing::error!("a page failed; the fault is in the line above");
    StatusCode::INTERNAL_SERVER_ERROR.into_response()
}
