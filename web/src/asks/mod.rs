//! What a phone may ask for.

pub(crate) mod answer;
pub(crate) mod now;
pub(crate) mod phones;
pub(crate) mod plan;
pub(crate) mod plan_query;
pub(crate) mod record;
