//! Will it carry the outing? What is known of banks, board, radio and operator before leaving, worked out for a day
//! that has not been yet.
//!
//! A [`Description`] (a plan file, JSON, a form) becomes a [`Plan`]; [`answer`] says what it comes to. How much a
//! bank holds and what the parts of the draw take is the estimator's belief
//! ([`crate::estimator::Planned`]); `course` lays the draw out along the stretches, `lasting` puts the two
//! together, `change` tries what would buy time.

pub mod ageing;
pub mod air;
mod answer;
mod assumption;
mod caution;
mod change;
pub mod converter;
mod course;
mod description;
mod energies;
pub mod fuse;
mod given;
pub mod keying;
mod keys;
mod lasting;
mod lookup;
pub mod peukert;
mod reading;
mod spec;
pub mod sun;
#[cfg(test)]
mod tests;
pub mod wire;
mod wiring;

pub use answer::{Answer, BankFound, Point, Smallest, answer};
pub use assumption::Assumption;
pub use caution::Caution;
pub use change::{Change, What, changed};
pub use description::Description;
pub use given::{Given, Known, Place, PlanFault};
pub use spec::{Doing, Feeds, Plan, PlanBank, Stretch};
pub use wiring::Wiring;
