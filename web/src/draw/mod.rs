//! The drawings: values in, SVG out; pure.

pub(crate) mod banks;
pub(crate) mod day_line;
pub(crate) mod fold;
mod labels;
pub(crate) mod report;
pub(crate) mod series;
