//! Pages for people, and the handlers that fill them in.

pub(crate) mod bank;
pub(crate) mod banks;
pub(crate) mod contacts;
pub(crate) mod demo;
pub(crate) mod frame;
pub(crate) mod live;
pub(crate) mod now;
pub(crate) mod outings;
pub(crate) mod pair;
pub(crate) mod phones;
pub(crate) mod plan;
mod plan_parts;
pub(crate) mod questions;
pub(crate) mod report;
pub(crate) mod rundown;
pub(crate) mod station;
pub(crate) mod strip;
