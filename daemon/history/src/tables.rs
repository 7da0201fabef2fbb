//! The tables of the store, a file each: rows out of facts and facts out of rows.

pub(crate) mod banks;
pub(crate) mod choices;
pub(crate) mod close_ups;
pub(crate) mod contacts;
pub(crate) mod corrections;
pub(crate) mod events;
pub(crate) mod forecasts;
pub(crate) mod gaps;
pub(crate) mod load_lines;
pub(crate) mod outing_plans;
pub(crate) mod outings;
pub(crate) mod period_folds;
pub(crate) mod row_codec;
pub(crate) mod run_downs;
pub(crate) mod spans;
pub(crate) mod tiers;
pub(crate) mod walk;
