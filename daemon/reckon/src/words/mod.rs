//! Facts rounded and said for a person; the one place that rounds.
//!
//! Pages, terminal, journal and alarms all speak through here, so that one instant is told in the
//! same words everywhere. Nothing here decides anything: a sentence follows from a snapshot.

/// A table of sentences. `name(what, of: &str) = "text of {of} with {what}";` is a function that
/// returns the text; what bears no type may be anything that can be displayed. `NAME = "text";` is
/// a constant.
macro_rules! sentences {
    ($($(#[$doc:meta])* $name:ident $(($($arg:ident $(: $kind:ty)?),+))? = $text:literal
        $(, $value:expr)*;)+) => {
        $(sentences!(one: $(#[$doc])* $name $(($($arg $(: $kind)?),+))? = $text $(, $value)*);)+
    };
    (one: $(#[$doc:meta])* $name:ident = $text:literal) => {
        $(#[$doc])*
        #[allow(missing_docs, reason = "most texts say what they are for")]
        pub const $name: &str = $text;
    };
    (one: $(#[$doc:meta])* $name:ident ($($arg:ident $(: $kind:ty)?),+) = $text:literal
        $(, $value:expr)*) => {
        $(#[$doc])*
        #[allow(missing_docs, reason = "most texts say what they are for")]
        #[must_use]
        pub fn $name($($arg: sentences!(kind $($kind)?)),+) -> alloc::string::String {
            alloc::format!($text $(, $value)*)
        }
    };
    (kind) => { &dyn core::fmt::Display };
    (kind $kind:ty) => { $kind };
}

pub mod en;
mod language;

pub use en::*;
pub use language::{ContactLogPage, Frame, Language, Notes, PhonesPage, ReportPage};
