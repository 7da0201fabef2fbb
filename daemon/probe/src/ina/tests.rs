//! The table against the data sheets, the driver crates of others, and chips that misbehave.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "printed quantities are turned into counts, and all of them fit"
)]

mod habits;
mod oracles;
mod sheets;
