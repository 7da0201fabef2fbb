//! What a phone may ask for.

pub(crate) mod now;
pub(crate) mod record;
