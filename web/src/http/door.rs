//! The doors of most addresses: a form of the page, after which the browser is sent on, and JSON
//! below `/api/`, answered with 204, or with 202 where the card could not be written to. The page's
//! own script sends the form and is answered as a program. One handler serves them all.

use std::convert::Infallible;

use axum::{
    Form, Json,
    body::Bytes,
    extract::{FromRequest, FromRequestParts, Path, Request, rejection::JsonRejection},
    http::{HeaderMap, StatusCode, header, request::Parts},
    response::{IntoResponse, Redirect, Response},
};
use reckon::words;
use serde::{Serialize, de::DeserializeOwned};
use serde_json::Value;

use crate::http::{
    problem::{Problem, not_there, unreadable},
    site::Kept,
};

/// What a page or a document gives: itself, or what went wrong.
pub(crate) type Reply = Result<Response, Problem>;
/// What a change gives.
pub(crate) type Outcome = Result<Done, Problem>;

/// By which door a request came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Door {
    /// A person, by a page.
    Page,
    /// A page's script, in the person's stead: it sends what the page would, and hears what a
    /// program would.
    Script,
    /// A program.
    Api,
}

impl Door {
    pub(crate) fn of(path: &str, headers: &HeaderMap) -> Self {
        if path.starts_with("/api/") {
            Self::Api
        } else if wants_json(headers) {
            Self::Script
        } else {
            Self::Page
        }
    }

    /// It is done, and kept so; a browser goes on to `page`.
    pub(crate) fn done(self, page: impl Into<String>, kept: Kept) -> Done {
        Done { door: self, page: page.into(), kept }
    }
}

impl<S: Sync> FromRequestParts<S> for Door {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        Ok(Self::of(parts.uri.path(), &parts.headers))
    }
}

/// Whether this asks for JSON and would not take a page. A browser that shows the answer always names
/// HTML (Fetch standard, 'document `Accept` header value').
fn wants_json(headers: &HeaderMap) -> bool {
    let kinds = headers.get_all(header::ACCEPT).iter().filter_map(|it| it.to_str().ok());
    let named: Vec<&str> =
        kinds.flat_map(|it| it.split(',')).filter_map(|it| it.split(';').next()).collect();
    let names = |kind: &str| named.iter().any(|it| it.trim().eq_ignore_ascii_case(kind));
    names("application/json") && !names("text/html")
}

/// The answer to a change: 303 to a page for a browser, 204 for a program or a script. What is only in
/// memory is said, with 202.
pub(crate) struct Done {
    door: Door,
    page: String,
    kept: Kept,
}

/// What a program is told of a change that is not on the card.
#[derive(Serialize)]
struct InMemory {
    kept: &'static str,
    text: &'static str,
}

impl IntoResponse for Done {
    fn into_response(self) -> Response {
        let (status, text) = (StatusCode::ACCEPTED, words::refusal::IN_MEMORY);
        match (self.door, self.kept) {
            (Door::Page, Kept::OnCard) => Redirect::to(&self.page).into_response(),
            (Door::Api | Door::Script, Kept::OnCard) => StatusCode::NO_CONTENT.into_response(),
            (Door::Page, Kept::InMemory) => {
                let title = words::refusal::IN_MEMORY_TITLE;
                Problem::new(status, "in-memory", title, text).into_response()
            }
            (Door::Api | Door::Script, Kept::InMemory) => {
                (status, Json(InMemory { kept: "in_memory", text })).into_response()
            }
        }
    }
}

/// What was sent: a form by the page's door, JSON by the programs'. Where the doors differ in their
/// fields, two types; else one, and [`Body::read`].
pub(crate) enum Body<F, J = F> {
    Form(F),
    Json(J),
}

impl<T> Body<T> {
    pub(crate) fn read(self) -> T {
        match self {
            Self::Form(it) | Self::Json(it) => it,
        }
    }
}

impl<S, F, J> FromRequest<S> for Body<F, J>
where
    S: Send + Sync,
    F: DeserializeOwned,
    J: DeserializeOwned,
{
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        match Door::of(request.uri().path(), request.headers()) {
            Door::Page | Door::Script => match Form::from_request(request, state).await {
                Ok(Form(form)) => Ok(Self::Form(form)),
                Err(rejection) => Err(Problem::from_status(rejection.status())),
            },
            Door::Api => {
                let (parts, body) = request.into_parts();
                let limited = Request::from_parts(parts.clone(), body);
                let bytes = Bytes::from_request(limited, state).await;
                let bytes = bytes.map_err(|why| Problem::from_status(why.status()))?;
                let again = Request::from_parts(parts, bytes.clone().into());
                match Json::from_request(again, state).await {
                    Ok(_) if has_list(&bytes) => {
                        Err(unreadable(words::refusal::LIST_FOR_FIELDS.to_owned()))
                    }
                    Ok(Json(json)) => Ok(Self::Json(json)),
                    Err(rejection) => Err(no_json(&rejection)),
                }
            }
        }
    }
}

/// Whether there is a list in it. Nothing that may be asked for has one, but a list would pass for an
/// object whose fields come in order.
fn has_list(json: &[u8]) -> bool {
    fn inside(value: &Value) -> bool {
        match value {
            Value::Array(_) => true,
            Value::Object(fields) => fields.values().any(inside),
            _ => false,
        }
    }
    serde_json::from_slice(json).is_ok_and(|value| inside(&value))
}

fn no_json(rejection: &JsonRejection) -> Problem {
    let mut problem = Problem::from_status(rejection.status());
    if matches!(problem.status, StatusCode::BAD_REQUEST | StatusCode::UNPROCESSABLE_ENTITY) {
        // serde's words name the field and the place; they hold nothing of ours.
        problem.say = format!("{} Nothing was changed.", rejection.body_text());
    }
    problem
}

/// The id in an address. What is no number is not in the record either.
pub(crate) struct Id(pub(crate) i64);

impl<S: Send + Sync> FromRequestParts<S> for Id {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let read = Path::<String>::from_request_parts(parts, state).await;
        let Path(id) = read.map_err(|rejection| Problem::from_status(rejection.status()))?;
        id.parse().map(Self).map_err(|_| not_there(noun(parts.uri.path())))
    }
}

/// What the addresses below `/banks/` and the like are about.
fn noun(path: &str) -> &'static str {
    match path.strip_prefix("/api/v1").unwrap_or(path).split('/').nth(1) {
        Some("banks") => "bank",
        Some("rundowns") => "run-down",
        Some("phones") => "paired phone",
        _ => "outing",
    }
}
