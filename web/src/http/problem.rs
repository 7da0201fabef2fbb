//! What goes wrong, said twice: for a person a page with a way on, for a program a problem detail
//! (RFC 9457). The cause goes to the log only.

use axum::{
    body::Body,
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use serde::Serialize;

/// A failed request. `code` is for programs to branch on and never changes its meaning.
#[derive(Clone, Debug)]
pub(crate) struct Problem {
    pub status: StatusCode,
    /// A short stable name, such as `not-paired`.
    pub code: &'static str,
    /// What is the matter, in a few words.
    pub title: &'static str,
    /// What is the matter, this time.
    pub say: String,
    /// Where to go on from here: address and words.
    pub way_on: (&'static str, &'static str),
    /// When trying again can help, seconds.
    pub retry_after_s: Option<u64>,
}

impl Problem {
    pub(crate) fn new(
        status: StatusCode,
        code: &'static str,
        title: &'static str,
        say: impl Into<String>,
    ) -> Self {
        let way_on = ("/", "Back to Now");
        Self { status, code, title, say: say.into(), way_on, retry_after_s: None }
    }

    pub(crate) fn way_on(mut self, address: &'static str, words: &'static str) -> Self {
        self.way_on = (address, words);
        self
    }

    pub(crate) fn retry_after(mut self, wait_s: u64) -> Self {
        self.retry_after_s = Some(wait_s);
        self
    }

    /// For a status that some part below gave without words.
    pub(crate) fn of_status(status: StatusCode) -> Self {
        let (code, title, say) = match status {
            StatusCode::NOT_FOUND => {
                ("not-found", "No such page", "There is nothing at this address.")
            }
            StatusCode::METHOD_NOT_ALLOWED => (
                "wrong-method",
                "Not this way",
                "This address can be asked, but not in this way. The Allow header says how.",
            ),
            StatusCode::PAYLOAD_TOO_LARGE => (
                "too-large",
                "Too much at once",
                "More was sent than any form here needs; nothing was changed.",
            ),
            StatusCode::UNSUPPORTED_MEDIA_TYPE => (
                "wrong-type",
                "Cannot read this kind",
                "Send application/json here, or use the forms of the page. Nothing was changed.",
            ),
            StatusCode::REQUEST_TIMEOUT => (
                "too-slow",
                "Took too long",
                "The request did not finish in time. Nothing may have been changed: look, and try again.",
            ),
            StatusCode::INTERNAL_SERVER_ERROR => (
                "our-fault",
                "A fault in outlast",
                "This page failed; measuring and the record go on. The journal says more.",
            ),
            _ if status.is_server_error() => (
                "our-fault",
                "A fault in outlast",
                "This could not be answered; measuring and the record go on.",
            ),
            _ => (
                "bad-request",
                "Cannot read this",
                "What was sent could not be understood. Nothing was changed.",
            ),
        };
        Self::new(status, code, title, say)
    }
}

/// Not now, but soon.
pub(crate) fn busy(say: &str) -> Problem {
    Problem::new(StatusCode::SERVICE_UNAVAILABLE, "busy", "Not just now", say).retry_after(2)
}

/// A field that cannot be read.
pub(crate) fn unreadable(say: impl Into<String>) -> Problem {
    Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "unreadable-field", "Not changed", say)
}

/// There is nothing of that id in the record.
pub(crate) fn not_there(what: &str) -> Problem {
    let say = format!("There is no {what} of that number in the record.");
    Problem::new(StatusCode::NOT_FOUND, "not-in-record", "Not in the record", say)
}

impl IntoResponse for Problem {
    /// An empty response that carries the trouble; [`crate::http::guard`] dresses it for the asker.
    fn into_response(self) -> Response {
        let mut response = Response::new(Body::empty());
        *response.status_mut() = self.status;
        if let Some(wait) = self.retry_after_s {
            response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(wait));
        }
        response.extensions_mut().insert(self);
        response
    }
}

/// RFC 9457 section 3.1: the five standard members; `code` is our one extension.
#[derive(Serialize)]
struct Detail<'a> {
    r#type: String,
    title: &'a str,
    status: u16,
    detail: &'a str,
    instance: &'a str,
    code: &'a str,
}

/// The problem detail for a program.
pub(crate) fn detail(problem: &Problem, path: &str) -> Vec<u8> {
    let detail = Detail {
        r#type: format!("/api/v1/openapi.json#problem-{}", problem.code),
        title: problem.title,
        status: problem.status.as_u16(),
        detail: &problem.say,
        instance: path,
        code: problem.code,
    };
    serde_json::to_vec(&detail).unwrap_or_else(|_| b"{}".to_vec())
}
