//! English, a file for each subject.

pub mod alarm;
pub mod bank;
pub mod calendar;
pub mod contact_log;
pub mod day;
pub mod drawing;
pub mod fold;
pub mod journal;
pub mod metrics;
pub mod missing;
pub mod now;
pub mod numbers;
pub mod opening;
pub mod outing;
mod pages;
pub mod phone;
pub mod plan;
pub mod plan_answer;
pub mod plan_day;
pub mod plan_outcome;
pub mod power_off;
pub mod question;
pub mod record;
pub mod refusal;
pub mod report;
pub mod safe;
pub mod sensor;
pub mod settings;
pub mod station;
pub mod strip;
pub mod terminal;
pub mod theme;
pub mod warning;

pub use alarm::{Said, alarm, edge, gap, gap_remedy, help, over_line};
pub use bank::{
    RunDownSaid, bank_label, cells_choice, cells_hint, chemistry, place_choice, place_hint,
    rundown, test_load, test_on,
};
pub use calendar::{Local, lasted};
pub use now::{
    Answer, BY_RULE, activity, activity_left, answer, bank, basis, board, clock, day_line, draw,
    hour_mark, log, shift, spoken, status, supply, title,
};
pub(crate) use numbers::stands_s;
pub use numbers::{
    ago, ahead, celsius, chance, clock_time, energy, left, left_brief, moment, percent, power,
    range, range_brief, span, volts, wall_clock,
};
pub use outing::{
    OutingEnd, TOO_SOON_TO_LEARN, began, bridged, draw_line, ending, event, finish_set, how_ended,
    moment_of, outing_name, silence, so_far, took, took_at_least,
};
pub use pages::*;
pub use phone::{
    in_groups, phone_paired, phone_seen, phone_title, phone_used, phones_not_kept, phones_stuck,
    phones_taken_away,
};
pub use power_off::{called_off, power_off, power_off_line};
pub use question::{Asked, asked, levels};
pub use refusal::{bank_fault, bank_faults, name_fault, refusal, unchanged, wait};
pub use report::{FORESIGHT, forecast_then, forecasts};
pub use safe::{Safe, safe, verdict};
pub use station::{
    board_facts, clock_compared, costs, current, footprint, own_cost, record_owes, record_size,
    shunt, source_reads, source_state,
};
pub use strip::{Part, Well, power_off_strip, strip, well};

#[cfg(test)]
mod tests;
