//! Facts rounded and said for a person; the one place that rounds.
//!
//! Pages, terminal, journal and alarms all speak through here, so that one instant is told in the
//! same words everywhere. Nothing here decides anything: a sentence follows from a snapshot.

pub mod account;
mod alarms;
mod belief;
pub mod contact_log;
mod numbers;
mod past;
mod power_off;
pub mod report;
mod sentences;
mod station;

pub use alarms::{Said, alarm, edge, gap, gap_remedy, help, over_line, refusal};
pub use belief::{Asked, asked, levels};
pub(crate) use numbers::stands_s;
pub use numbers::{
    ago, ahead, celsius, chance, clock_time, energy, left, moment, percent, power, range, span,
    volts,
};
pub use past::{
    FORESIGHT, Local, OutingEnd, RunDownSaid, TestLoadSaid, began, believed_to_hold, bridged,
    clock_off, date_of, draw_line, ending, event, forecast_then, forecasts, how_ended, lasted,
    moment_of, outing_name, record_owes, record_size, rundown, seen_to_deliver, silence, so_far,
    test_load, test_on, took,
};
pub use power_off::{called_off, power_off, power_off_line};
pub use sentences::{
    Answer, activity, answer, bank, basis, board, clock, draw, log, status, supply, verdict,
};
pub use station::{
    BY_RULE, activity_left, bank_label, board_facts, costs, day_line, footprint, hour_mark,
    own_cost, shift, shunt, source_reads, source_state, spoken, title, wait,
};

#[cfg(test)]
mod tests;
