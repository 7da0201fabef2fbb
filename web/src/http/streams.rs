//! How many live views may be open, in all and for one phone.

use std::{
    collections::HashMap,
    net::IpAddr,
    sync::{Arc, Mutex, PoisonError},
};

use axum::http::StatusCode;
use reckon::words;

use crate::http::problem::Problem;

/// Streams that one address may hold: two tabs of a phone and a program, twice over.
const STREAMS_PER_PHONE: usize = 6;
/// Streams in all; a field weekend's crowd with room.
const STREAMS_IN_ALL: usize = 64;
/// Counts the open streams.
#[derive(Clone, Default)]
pub(crate) struct Streams(Arc<Mutex<HashMap<Option<IpAddr>, usize>>>);

/// One open stream; dropped when the phone goes.
pub(crate) struct Seat {
    streams: Streams,
    from: Option<IpAddr>,
}

impl Streams {
    /// A seat for this address, if one is free.
    pub(crate) fn seat(&self, from: Option<IpAddr>) -> Result<Seat, Problem> {
        let mut open = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let all: usize = open.values().sum();
        let here = open.get(&from).copied().unwrap_or(0);
        if all >= STREAMS_IN_ALL || (from.is_some() && here >= STREAMS_PER_PHONE) {
            return Err(Problem::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "too-many-streams",
                words::refusal::TOO_MANY_STREAMS_TITLE,
                words::refusal::TOO_MANY_STREAMS,
            )
            .retry_after(30));
        }
        open.insert(from, here + 1);
        Ok(Seat { streams: self.clone(), from })
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        let mut open = self.streams.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = open.get_mut(&self.from) {
            *count -= 1;
            if *count == 0 {
                open.remove(&self.from);
            }
        }
    }
}
