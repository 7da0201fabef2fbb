//! Facts rounded and said for a person; the one place that rounds.
//!
//! Pages, terminal, journal and alarms all speak through here, so that one instant is told in the
//! same words everywhere. Nothing here decides anything: a sentence follows from a snapshot.

#[macro_use]
mod tables;

pub mod en;

pub use en::*;
