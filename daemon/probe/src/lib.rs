//! Reads the board: finds every sensor by itself, reads each once a second, and says in plain
//! words what it found and what it could not. Knows nothing of banks, pages or forecasts, and
//! never asks the system for the time.

mod bus;
mod i2c;
mod ina;
mod root;
mod source;
mod want;

pub use want::{Chip, SensorWant, Want};

/// Boot time, handed in by whoever may ask the system for it.
pub type Now = std::sync::Arc<dyn Fn() -> reckon::time::Mono + Send + Sync>;
