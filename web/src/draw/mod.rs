//! The drawings: values in, SVG out; pure.

pub(crate) mod day_line;
pub(crate) mod fold;
pub(crate) mod report;
pub(crate) mod series;
