//! Everything outlast works out, and nothing it touches.
//!
//! No clock, file, socket, thread or randomness: time is an argument, so every result can be
//! reproduced. Words: a *bank* is any battery feeding the board; *draw* is the power taken from
//! it; an *outing* lasts from the bank connected to the bank gone or the board switched off; a
//! *forecast* is a remaining time as three numbers, never one alone.
//!
//! A tour in four stops, each with an example that runs:
//!
//! 1. [`engine::Engine`] is shown a sweep of the sensors every second and gives a snapshot: what a
//!    page may know, with the forecast in it.
//! 2. [`estimator::Learned`] is what earlier run-downs of a bank say about the next one.
//! 3. [`report::Report`] takes an outing apart when it is over: by hour, by activity, by contact.
//! 4. [`adif::read`] reads the contact log that a report is laid beside.
#![cfg_attr(not(test), no_std)]
#![forbid(unsafe_code)]
extern crate alloc;

pub mod adif;
pub mod alarm;
pub mod bank;
pub mod belief;
pub mod contacts;
pub mod draw;
pub mod energy_tally;
pub mod engine;
pub mod estimator;
pub mod fold;
pub mod forecast;
pub mod name;
pub mod plan;
pub mod power_off;
pub mod reading;
pub mod record;
pub mod report;
pub mod snapshot;
pub mod time;
pub mod trend;
pub mod units;
pub mod words;
