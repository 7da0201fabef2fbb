//! The record from the daemon's side: what goes into it, and what is read from it.

pub(crate) mod changes;
pub(crate) mod choices_file;
mod close_up;
pub(crate) mod contact_log;
mod import;
pub(crate) mod last_end;
pub(crate) mod open;
mod planning;
pub(crate) mod recorder;
mod report;
mod run_downs;
pub(crate) mod side_notes;
pub(crate) mod store_reader;
pub(crate) mod update;
pub(crate) mod worker;
