//! The writing end of the store.

pub(crate) mod apply;
pub(crate) mod change;
pub(crate) mod offline;
pub(crate) mod thread;
pub(crate) mod transaction;
mod waiting;
