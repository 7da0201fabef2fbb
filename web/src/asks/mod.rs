//! What a phone may ask for.

pub(crate) mod answer;
pub(crate) mod now;
pub(crate) mod record;
