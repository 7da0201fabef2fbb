//! Reads the board: finds every sensor by itself, reads each once a second, and says in plain
//! words what it found and what it could not. Knows nothing of banks, pages or forecasts, and
//! never asks the system for the time.

mod adc;
mod board;
mod bus;
mod discovery;
mod files;
mod flags;
mod footprint;
mod gauge;
mod hwmon;
mod i2c;
mod ina;
mod kernel;
mod looks;
mod processor;
mod programs;
mod registry;
mod root;
mod source;
mod sweep;
mod syscalls;
mod thermal;
mod want;

pub use footprint::{Footprint, footprint};
pub use sweep::{Rescue, Sweeper};
pub use want::{Chip, SensorWant, Want};

/// Boot time, handed in by whoever may ask the system for it.
pub type Now = std::sync::Arc<dyn Fn() -> reckon::time::Mono + Send + Sync>;

#[cfg(test)]
mod tests;
#[cfg(test)]
mod trees;
