//! The only mutable state: takes sweeps and asks, gives snapshots.
//!
//! Everything that may change what the page shows comes in through [`Engine::observe`],
//! [`Engine::tick`] or [`Engine::ask`]; time is always an argument.

mod activities;
mod advice;
mod alarms;
mod answers;
mod build_snapshot;
mod choices;
mod commands;
mod counting;
mod drain;
mod draw_history;
mod folding;
mod latched_flags;
mod loads;
mod meter;
mod notes;
mod observe;
mod outing_count;
mod plan_in_force;
mod possible;
mod resume;
mod rules;
mod setup;
mod shown_forecast;
mod source_select;
mod started_plan;
mod state;
mod switches;
mod tracked_bank;
mod tracking;

pub use crate::alarm::{AlarmChange, Edge};
pub use crate::{bank::Start, belief::Carried};
pub(crate) use activities::assumed_shares;
pub use activities::{EarlierDraw, UsualDraw, UsualDraws, first_names, usual_draws};
pub use choices::{AwayChoice, Choices, FinishChoice, PlanChoice, Resume};
pub use meter::few_steps;
pub use rules::{ActivityRule, DayTime, ProgramBusy};
pub use setup::{Accessory, Command, Radio, Refusal, Setup};
pub use state::Engine;
pub(crate) use switches::is_switch;

#[cfg(test)]
mod tests;
