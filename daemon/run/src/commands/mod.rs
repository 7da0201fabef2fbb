//! What can be typed besides `run`.

pub(crate) mod answer;
pub(crate) mod bank;
pub(crate) mod check;
pub(crate) mod check_alarms;
pub(crate) mod cli;
mod client;
pub(crate) mod export;
pub(crate) mod failed;
mod files;
pub(crate) mod now;
pub(crate) mod outing;
pub(crate) mod phone;
pub(crate) mod plan;
pub(crate) mod replay;
mod text;
