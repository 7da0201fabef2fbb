//! What each metric is.

sentences! {
    UPTIME = "Time since the board was switched on.";
    CURRENT = "Current out of the bank.";
    POWER = "Power out of the bank.";
    DRAW = "Draw as the forecast sees it, measured or modelled.";
    ENERGY = "Energy delivered in this outing.";
    REMAINING = "Remaining time: the 10th, 50th and 90th percentile.";
    FINISH = "Chance that the bank lasts until the finish.";
    ALARMS = "Current alarms.";
    CPU = "Share of all cores.";
    UNDERVOLTAGE = "1 while the supply is too low for the board.";
    UNDERVOLTAGE_TIMES = "How often the supply was too low in this outing.";
    SWEEPS = "Sweeps that came too late or not at all.";
    MEMORY = "Resident memory of outlast.";
}
