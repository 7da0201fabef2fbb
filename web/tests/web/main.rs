//! The page and the JSON, called without a socket.
#![expect(clippy::unwrap_used, reason = "a test fails by falling")]

mod answers;
mod carried;
mod contacts;
mod forms;
mod golden;
mod hostile;
mod looks;
mod metrics;
mod openapi;
mod pages;
mod pairing;
mod past;
mod plan_page;
mod plans;
mod pseudo;
mod record;
mod rig;
mod scenes;
mod spend;
mod streams;
mod taps;
mod trust;
