//! The drawings: values in, SVG out; pure.

pub(crate) mod axis;
pub(crate) mod banks;
pub(crate) mod day_line;
pub(crate) mod fold;
pub(crate) mod foresight;
mod labels;
pub(crate) mod plan_day;
pub(crate) mod whole_day;
