//! The facts of the record: one type each. The store returns them, pages show them; whoever writes
//! them somewhere (columns, JSON, an export) copies them there and nowhere before.
//!
//! Times are seconds since boot when a fact is handed over to be kept, and seconds since the outing
//! began when it is read. Wall time is attached to whole boots.

mod bank;
mod bank_year;
mod clock;
mod close_up;
mod contact;
mod correction;
mod energy;
mod event;
mod forecast;
mod learning;
mod load_line;
mod outing;
mod outing_plan;
mod period_fold;
mod request;
mod rows;
mod run_down;
mod series;

pub use bank::{BankWhole, RecordedBank};
pub use bank_year::{Ageing, BankYear, Given, year_before};
pub use clock::{ClockFix, ClockFrom};
pub use close_up::{CloseUp, Second};
pub use contact::{LoggedContact, MINUTE_MS, OutingContacts, PlacedContact};
pub use correction::{Correction, Origin};
pub use energy::{EnergyPart, OutingEnergy, SwitchedOn, Unread};
pub use event::{Event, EventKind, SourceChange, SourceGap};
pub use forecast::ForecastMade;
pub(crate) use learning::is_at_least;
pub use learning::{learned, steps, usable_wh};
pub use load_line::LoadLine;
pub use outing::{End, Ending, Outing, OutingWhole, Page};
pub use outing_plan::{OutingPlan, PlannedStretch};
pub use period_fold::{PeriodFold, PeriodFoldPart};
pub use request::{RecordCommand, TestLoad};
pub use rows::{Channel, Row, Sample, Stats};
pub use run_down::{Detail, DrawLevels, RecordedRunDown, RunDown};
pub use series::{Series, SeriesAsk, Stretch};

#[cfg(test)]
mod tests;
