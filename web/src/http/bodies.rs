//! Large bodies on their way in, such as a contact log. A phone that walks out of reach in the middle
//! of one must not keep the others out: so many at a time, so many of one group, and none that has
//! fallen silent. How long one may take in all is for [`crate::http::finish`]; bodies of a form's
//! size hold nothing up but their own connection.

use std::{
    sync::{Mutex, PoisonError},
    time::Duration,
};

use axum::{
    body::Bytes,
    extract::Request,
    http::{StatusCode, header},
};
use futures_util::StreamExt;
use reckon::words;
use tokio::time::timeout;

use crate::http::{
    group::Group,
    problem::{Problem, busy},
};

/// Bodies in progress at a time; each may hold a few MB.
const AT_ONCE: usize = 3;
/// Of one group: the one that hangs, and the one with which its sender tries again.
const OF_ONE_GROUP: usize = 2;
/// A body that brings nothing for so long is given up.
const SILENT_FOR: Duration = Duration::from_secs(10);

/// Whose bodies are in progress.
#[derive(Default)]
pub(crate) struct Bodies(Mutex<Vec<Group>>);

struct Place<'a> {
    bodies: &'a Bodies,
    of: Group,
}

impl Bodies {
    /// The whole body, of `most` bytes at most.
    pub(crate) async fn read(&self, request: Request, most: usize) -> Result<Bytes, Problem> {
        let _place = self.place(Group::of_request(request.extensions()))?;
        let told = request.headers().get(header::CONTENT_LENGTH);
        let told = told.and_then(|it| it.to_str().ok()?.parse::<usize>().ok());
        if told.is_some_and(|told| told > most) {
            return Err(Problem::from_status(StatusCode::PAYLOAD_TOO_LARGE));
        }
        let (mut whole, mut pieces) = (Vec::new(), request.into_body().into_data_stream());
        loop {
            match timeout(SILENT_FOR, pieces.next()).await {
                Err(_) => return Err(Problem::from_status(StatusCode::REQUEST_TIMEOUT)),
                Ok(None) => return Ok(Bytes::from(whole)),
                Ok(Some(Err(_))) => return Err(Problem::from_status(StatusCode::BAD_REQUEST)),
                Ok(Some(Ok(piece))) if whole.len() + piece.len() > most => {
                    return Err(Problem::from_status(StatusCode::PAYLOAD_TOO_LARGE));
                }
                Ok(Some(Ok(piece))) => whole.extend_from_slice(&piece),
            }
        }
    }

    fn place(&self, of: Group) -> Result<Place<'_>, Problem> {
        let mut open = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let mine = open.iter().filter(|it| **it == of).count();
        if open.len() >= AT_ONCE || mine >= OF_ONE_GROUP {
            return Err(busy(words::refusal::TOO_MANY_BODIES));
        }
        open.push(of);
        Ok(Place { bodies: self, of })
    }
}

impl Drop for Place<'_> {
    fn drop(&mut self) {
        let mut open = self.bodies.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(ix) = open.iter().position(|it| *it == self.of) {
            open.swap_remove(ix);
        }
    }
}
