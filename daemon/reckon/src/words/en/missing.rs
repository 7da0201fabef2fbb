//! Why a figure of the report is not there.

#![expect(missing_docs, reason = "each text says what it is for")]

pub const NOTHING_READ: &str = "no reading";
pub const LOAD_TOO_EVEN: &str = "the load changed too little";
pub const NOTHING_FORETOLD: &str = "the outing is over, or there is no forecast";
pub const FEW_CONTACTS: &str = "too few contacts";
pub const GOES_ON: &str = "the outing goes on";
pub const NOT_EMPTY: &str = "the bank is not known to have been empty";
pub const LOAD_UNCHANGED: &str = "the load did not change, or was not read";
pub const NO_CONTACT: &str = "no contact in a log falls within it";
pub const NOT_KNOWN: &str = "what came is not known";
pub const NO_RUNDOWN: &str = "it is not counted as a run-down";
