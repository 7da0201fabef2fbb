//! How a page looks.

#![expect(missing_docs, reason = "each text says what it is for")]

pub const AS_THE_PHONE: &str = "As the phone prefers";
pub const PAPER: &str = "Paper, for the sun";
pub const NIGHT: &str = "Night, red on black";
