//! One thread owns all state: what can happen to it, what it does then, and who tells it.

pub(crate) mod alerts;
pub(crate) mod demo;
pub(crate) mod event;
mod journal;
mod record_session;
pub(crate) mod sampler;
pub(crate) mod state;
mod turn;

#[cfg(test)]
mod tests;
