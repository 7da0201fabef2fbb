//! What the operator was doing, put right afterwards.

use alloc::string::String;

/// Who says what was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// The operator.
    Operator,
    /// The times of a contact log.
    Contacts,
}

impl Origin {
    /// As stored.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Operator => "operator",
            Self::Contacts => "contacts",
        }
    }

    /// From its stored name.
    #[must_use]
    pub fn from_name(name: &str) -> Self {
        if name == Self::Contacts.name() { Self::Contacts } else { Self::Operator }
    }
}

/// A correction.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// Its id: for taking it back.
    pub id: i64,
    /// From, seconds since the outing began.
    pub from_s: f64,
    /// To.
    pub to_s: f64,
    /// The activity's name; `None`: none.
    pub activity: Option<String>,
    /// Who says so.
    pub origin: Origin,
}
