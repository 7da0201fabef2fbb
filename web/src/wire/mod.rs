//! Everything that programs read: JSON, version 1, and the text for collectors. Structs of their own;
//! names carry their units, fields are added and never renamed.

pub(crate) mod metrics;
pub(crate) mod names;
pub(crate) mod now;
pub(crate) mod past;
pub(crate) mod report;
pub(crate) mod time;
