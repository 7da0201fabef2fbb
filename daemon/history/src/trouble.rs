//! What went wrong with the record, in three sentences for a person in a field.

use std::{error::Error, fmt};

/// A failure of the record. The forecast goes on without it.
#[derive(Debug)]
pub struct Trouble {
    /// What failed.
    pub what: String,
    /// What it means.
    pub means: &'static str,
    /// What to do.
    pub try_this: &'static str,
    /// The cause, for the journal.
    pub cause: Option<Box<dyn Error + Send + Sync>>,
}

impl Trouble {
    pub(crate) fn new(
        what: impl Into<String>,
        means: &'static str,
        try_this: &'static str,
    ) -> Self {
        Self { what: what.into(), means, try_this, cause: None }
    }

    pub(crate) fn because(mut self, cause: impl Into<Box<dyn Error + Send + Sync>>) -> Self {
        self.cause = Some(cause.into());
        self
    }

    /// A failed write, told apart by what the store says of it.
    pub(crate) fn writing(cause: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode as Code;
        let goes_on = "The forecast goes on; the record waits in memory and is tried again.";
        let (what, try_this) = match cause.sqlite_error_code() {
            Some(Code::DiskFull) => {
                ("the card is full", "Free some space, or make the record's size limit smaller.")
            }
            Some(Code::ReadOnly | Code::CannotOpen | Code::PermissionDenied) => (
                "the card or the state folder cannot be written to",
                "Check whether the card has gone read-only; a card that does so is often worn out.",
            ),
            Some(Code::SystemIoFailure) => (
                "the card reported an error while it was written to",
                "Copy what matters off this card soon and replace it.",
            ),
            Some(Code::DatabaseCorrupt | Code::NotADatabase) => (
                "the record is damaged",
                "Restart outlast: it sets the damaged file aside and begins a new one.",
            ),
            Some(Code::DatabaseBusy | Code::DatabaseLocked) => (
                "another program holds the record",
                "Close the program that has the record open; work on a copy instead.",
            ),
            _ => ("the record could not be written", "See the journal for the cause."),
        };
        Self::new(what, goes_on, try_this).because(cause)
    }

    /// A failed read.
    pub(crate) fn reading(cause: rusqlite::Error) -> Self {
        Self::new(
            "the record could not be read",
            "What is shown of earlier outings may be incomplete.",
            "Try again; if it stays so, restart outlast, which checks the file.",
        )
        .because(cause)
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut letters = self.what.chars();
        let first = letters.next().into_iter().flat_map(char::to_uppercase).collect::<String>();
        write!(f, "{first}{}. {} {}", letters.as_str(), self.means, self.try_this)
    }
}

impl Error for Trouble {
    fn source(&self) -> Option<&(dyn Error + 'static)> {
        self.cause.as_deref().map(|cause| {
            let cause: &(dyn Error + 'static) = cause;
            cause
        })
    }
}
