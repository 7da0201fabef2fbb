//! What goes wrong, said twice: for a person a page with a way on, for a program a problem detail
//! (RFC 9457). The cause goes to the log only.

use axum::{
    body::Body,
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use reckon::{engine::Refusal, name::NameFault, words};
use serde::Serialize;

use crate::{http::choice::Choice, wire::plan::PlanProblem};

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
    pub retry_after_s: Option<u32>,
    /// The way on is a code, typed on this very page.
    pub wants_code: Option<Box<CodeWanted>>,
    /// What cannot be right in a plan, one by one.
    pub of_plan: Option<Box<PlanProblems>>,
}

/// All that cannot be right in a plan. In a box, so that every other problem stays small.
#[derive(Clone, Debug)]
pub(crate) struct PlanProblems(pub(crate) Vec<PlanProblem>);

/// What the page with the field for the code has besides the problem.
#[derive(Clone, Debug, Default)]
pub(crate) struct CodeWanted {
    /// What was tapped, and comes after the code: carried, and said.
    pub(crate) then: Option<(Choice, String)>,
    /// A code was tried, and is worth mending.
    pub(crate) typed: String,
    /// Whether a code is good now.
    pub(crate) open: bool,
    /// Whether one was tried.
    pub(crate) tried: bool,
}

impl Problem {
    pub(crate) fn new(
        status: StatusCode,
        code: &'static str,
        title: &'static str,
        say: impl Into<String>,
    ) -> Self {
        let way_on = ("/", words::refusal::BACK_TO_NOW);
        let say = say.into();
        let (retry_after_s, wants_code, of_plan) = (None, None, None);
        Self { status, code, title, say, way_on, retry_after_s, wants_code, of_plan }
    }

    pub(crate) fn of_plan(mut self, problems: Vec<PlanProblem>) -> Self {
        self.of_plan = Some(Box::new(PlanProblems(problems)));
        self
    }

    pub(crate) fn way_on(mut self, address: &'static str, words: &'static str) -> Self {
        self.way_on = (address, words);
        self
    }

    pub(crate) fn retry_after(mut self, wait_s: u64) -> Self {
        self.retry_after_s = u32::try_from(wait_s).ok();
        self
    }

    pub(crate) fn wants_code(mut self, wanted: CodeWanted) -> Self {
        self.wants_code = Some(Box::new(wanted));
        self
    }

    /// For a status that some part below gave without words.
    pub(crate) fn from_status(status: StatusCode) -> Self {
        let (code, title, say) = match status {
            StatusCode::NOT_FOUND => {
                ("not-found", words::refusal::NO_PAGE_TITLE, words::refusal::NO_PAGE)
            }
            StatusCode::METHOD_NOT_ALLOWED => {
                ("wrong-method", words::refusal::WRONG_METHOD_TITLE, words::refusal::WRONG_METHOD)
            }
            StatusCode::PAYLOAD_TOO_LARGE => {
                ("too-large", words::refusal::TOO_MUCH_TITLE, words::refusal::TOO_MUCH)
            }
            StatusCode::UNSUPPORTED_MEDIA_TYPE => {
                ("wrong-type", words::refusal::WRONG_TYPE_TITLE, words::refusal::WRONG_TYPE)
            }
            StatusCode::REQUEST_TIMEOUT => {
                ("too-slow", words::refusal::TOO_SLOW_TITLE, words::refusal::TOO_SLOW)
            }
            StatusCode::INTERNAL_SERVER_ERROR => {
                ("our-fault", words::refusal::FAULT_TITLE, words::refusal::PAGE_FAILED)
            }
            _ if status.is_server_error() => {
                ("our-fault", words::refusal::FAULT_TITLE, words::refusal::FAILED)
            }
            _ => (
                "bad-request",
                words::refusal::UNREADABLE_REQUEST_TITLE,
                words::refusal::UNREADABLE_REQUEST,
            ),
        };
        Self::new(status, code, title, say)
    }
}

/// Not now, but soon.
pub(crate) fn busy(say: &str) -> Problem {
    Problem::new(StatusCode::SERVICE_UNAVAILABLE, "busy", words::refusal::BUSY_TITLE, say)
        .retry_after(2)
}

/// A field that cannot be read.
pub(crate) fn unreadable(say: impl Into<String>) -> Problem {
    Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "unreadable-field", "Not changed", say)
}

/// There is nothing of that id in the record.
pub(crate) fn not_there(what: &str) -> Problem {
    let say = words::refusal::not_in_record(&what);
    Problem::new(StatusCode::NOT_FOUND, "not-in-record", words::refusal::NOT_IN_RECORD_TITLE, say)
}

/// What the engine would not do.
pub(crate) fn refused(refusal: &Refusal) -> Problem {
    let (status, code) = match refusal {
        Refusal::NoSuchActivity => (StatusCode::UNPROCESSABLE_ENTITY, "no-such-activity"),
        Refusal::NoRules => (StatusCode::CONFLICT, "no-rules"),
        Refusal::AlarmGone => (StatusCode::CONFLICT, "alarm-gone"),
        Refusal::NoCountdown => (StatusCode::CONFLICT, "no-countdown"),
        Refusal::FinishOutOfRange => (StatusCode::UNPROCESSABLE_ENTITY, "finish-out-of-range"),
        Refusal::BankImplausible(_) => (StatusCode::UNPROCESSABLE_ENTITY, "bank-implausible"),
        Refusal::BadName(NameFault::TooLong(_)) => {
            (StatusCode::UNPROCESSABLE_ENTITY, "name-too-long")
        }
        Refusal::BadName(_) => (StatusCode::UNPROCESSABLE_ENTITY, "unreadable-field"),
        Refusal::NoSuchAnswer => (StatusCode::UNPROCESSABLE_ENTITY, "no-such-answer"),
        Refusal::NotAsked => (StatusCode::CONFLICT, "not-asked"),
    };
    Problem::new(status, code, "Not changed", words::refusal(refusal))
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

/// RFC 9457 section 3.1: the five standard members; `code` is our extension, and `problems` of a plan.
#[derive(Serialize)]
struct Detail<'a> {
    r#type: String,
    title: &'a str,
    status: u16,
    detail: &'a str,
    instance: &'a str,
    code: &'a str,
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    problems: &'a [PlanProblem],
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
        problems: problem.of_plan.as_ref().map_or(&[], |all| &all.0),
    };
    serde_json::to_vec(&detail).unwrap_or_else(|_| b"{}".to_vec())
}
