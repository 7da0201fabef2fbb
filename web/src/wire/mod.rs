//! Everything that programs read: JSON, version 1, and the text for collectors. Each field is named once;
//! names carry their units, fields are added and never renamed.

pub(crate) mod metrics;
pub(crate) mod names;
pub(crate) mod now;
pub(crate) mod object;
pub(crate) mod past;
pub(crate) mod phones;
pub(crate) mod plan;
pub(crate) mod report;
