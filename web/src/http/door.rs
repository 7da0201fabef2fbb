//! The two doors of most addresses: a form of the page, after which the browser is sent on, and JSON
//! below `/api/`, answered with 204. One handler serves both.

use std::convert::Infallible;

use axum::{
    Form, Json,
    extract::{FromRequest, FromRequestParts, Path, Request, rejection::JsonRejection},
    http::{StatusCode, request::Parts},
    response::{IntoResponse, Redirect, Response},
};
use serde::de::DeserializeOwned;

use crate::http::problem::{Problem, not_there};

/// What a page or a document gives: itself, or what went wrong.
pub(crate) type Reply = Result<Response, Problem>;
/// What a change gives.
pub(crate) type Outcome = Result<Done, Problem>;

/// By which door a request came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Door {
    /// A person, by a page.
    Page,
    /// A program.
    Api,
}

impl Door {
    pub(crate) fn from_path(path: &str) -> Self {
        if path.starts_with("/api/") { Self::Api } else { Self::Page }
    }

    /// It is done; a browser goes on to `page`.
    pub(crate) fn done(self, page: impl Into<String>) -> Done {
        Done { door: self, page: page.into() }
    }
}

impl<S: Sync> FromRequestParts<S> for Door {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        Ok(Self::from_path(parts.uri.path()))
    }
}

/// The answer to a change: 303 to a page for a browser, 204 for a program.
pub(crate) struct Done {
    door: Door,
    page: String,
}

impl IntoResponse for Done {
    fn into_response(self) -> Response {
        match self.door {
            Door::Page => Redirect::to(&self.page).into_response(),
            Door::Api => StatusCode::NO_CONTENT.into_response(),
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
        match Door::from_path(request.uri().path()) {
            Door::Page => match Form::from_request(request, state).await {
                Ok(Form(form)) => Ok(Self::Form(form)),
                Err(rejection) => Err(Problem::from_status(rejection.status())),
            },
            Door::Api => match Json::from_request(request, state).await {
                Ok(Json(json)) => Ok(Self::Json(json)),
                Err(rejection) => Err(no_json(&rejection)),
            },
        }
    }
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
