//! Reading the past without holding anything else up: its calls block, so they run on the blocking
//! pool, a few at once; and asking whoever keeps the record.

use axum::http::StatusCode;

use reckon::words;
use tokio::sync::{mpsc::error::TrySendError, oneshot};

use crate::{
    NoRecord, Parts, RecordCommand, RecordReader, Request,
    http::problem::{Problem, busy},
};

/// Upper limit of readings of the past at once; others wait their turn. One phone that asks for a
/// year of record must not take the threads of everybody.
pub(crate) const AT_ONCE: usize = 2;
/// Upper limit of those that wait; beyond it they are told to come back.
pub(crate) const MAY_WAIT: usize = 16;

impl Parts {
    /// Reads the record on the blocking pool, opened once and of one moment.
    pub(crate) async fn recall<T: Send + 'static>(
        &self,
        read: impl FnOnce(&dyn RecordReader) -> Result<T, NoRecord> + Send + 'static,
    ) -> Result<T, Problem> {
        let crowded = || busy(words::refusal::TOO_MANY_READERS);
        let _in_line = self.line.try_acquire().map_err(|_| crowded())?;
        let turn = std::sync::Arc::clone(&self.turns).acquire_owned().await;
        let turn = turn.map_err(|_| crowded())?;
        let past = std::sync::Arc::clone(&self.past);
        let done = tokio::task::spawn_blocking(move || {
            // Held to the end of the reading, also when the asker has gone away meanwhile.
            let _turn = turn;
            let held = past.at_one_moment()?;
            read(held.as_deref().unwrap_or(&*past))
        });
        match done.await {
            Ok(Ok(told)) => Ok(told),
            Ok(Err(gone)) => Err(no_record(gone)),
            Err(error) => {
                tracing::error!(%error, "a reading of the record fell");
                Err(Problem::of_status(StatusCode::INTERNAL_SERVER_ERROR))
            }
        }
    }

    /// Asks whoever keeps the record and waits for the word.
    pub(crate) async fn put_record(&self, command: RecordCommand) -> Result<(), Problem> {
        let (answer, heard) = oneshot::channel();
        self.record.try_send(Request { command, answer }).map_err(|error| match error {
            TrySendError::Full(_) => busy(words::refusal::TOO_MANY_ASKS),
            TrySendError::Closed(_) => busy(words::refusal::STOPPING),
        })?;
        match heard.await {
            Ok(Ok(())) => Ok(()),
            Ok(Err(say)) => {
                Err(Problem::new(StatusCode::CONFLICT, "record-refused", "Not changed", say))
            }
            Err(_) => Err(busy(words::refusal::STOPPING)),
        }
    }
}

fn no_record(gone: NoRecord) -> Problem {
    Problem::new(
        StatusCode::SERVICE_UNAVAILABLE,
        "no-record",
        words::refusal::UNREADABLE_TITLE,
        gone.say,
    )
    .retry_after(60)
}
