//! What went wrong with the record, in three sentences for a person in a field.

use std::{error::Error, fmt};

use reckon::words;

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
        let goes_on = words::record::WAITS;
        let (what, try_this) = match cause.sqlite_error_code() {
            Some(Code::DiskFull) => (words::record::CARD_FULL, words::record::FREE_SPACE),
            Some(Code::ReadOnly | Code::CannotOpen | Code::PermissionDenied) => {
                (words::record::CARD_NOT_WRITABLE, words::record::CHECK_WORN)
            }
            Some(Code::SystemIoFailure) => (words::record::CARD_ERROR, words::record::REPLACE_CARD),
            Some(Code::DatabaseCorrupt | Code::NotADatabase) => {
                (words::record::IS_DAMAGED, words::record::RESTART_BEGINS_ANEW)
            }
            Some(Code::DatabaseBusy | Code::DatabaseLocked) => {
                (words::record::HELD, words::record::CLOSE_THE_OTHER)
            }
            _ => (words::record::NOT_WRITTEN, words::record::SEE_JOURNAL),
        };
        Self::new(what, goes_on, try_this).because(cause)
    }

    /// A failed read.
    pub(crate) fn reading(cause: rusqlite::Error) -> Self {
        Self::new(words::record::NOT_READ, words::record::INCOMPLETE, words::record::TRY_AGAIN)
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
