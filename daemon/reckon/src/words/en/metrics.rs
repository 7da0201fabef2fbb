//! What each metric is.

#![expect(missing_docs, reason = "each text says what it is for")]

pub const UPTIME: &str = "Time since the board was switched on.";
pub const CURRENT: &str = "Current out of the bank.";
pub const POWER: &str = "Power out of the bank.";
pub const DRAW: &str = "Draw as the forecast sees it, measured or modelled.";
pub const ENERGY: &str = "Energy delivered in this outing.";
pub const REMAINING: &str = "Remaining time: the 10th, 50th and 90th percentile.";
pub const FINISH: &str = "Chance that the bank lasts until the finish.";
pub const ALARMS: &str = "Current alarms.";
pub const CPU: &str = "Share of all cores.";
pub const UNDERVOLTAGE: &str = "1 while the supply is too low for the board.";
pub const UNDERVOLTAGE_TIMES: &str = "How often the supply was too low in this outing.";
pub const SWEEPS: &str = "Sweeps that came too late or not at all.";
pub const MEMORY: &str = "Resident memory of outlast.";
