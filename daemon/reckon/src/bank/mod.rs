//! What a bank is, as its owner tells it, and what may be expected of it before the first
//! run-down. The one place that knows a bank's keys: their names outside, what is usual where one is
//! left out, their limits, and what is at fault.

mod cells;
mod description;
mod fault;
mod offered;
mod presets;
mod spec;
mod start;

pub use cells::{Cells, MeasuredAt};
pub use description::BankDescription;
pub use fault::{AMBIENT_C, BankFault, LABEL_MAH, PACK_V, SERIES};
pub use offered::banks_offered;
pub use spec::BankSpec;
pub use start::{LAMPS, LEVELS, Start};

#[cfg(test)]
mod tests;
