//! What an alarm is about, and the alarm that stands or has ended.

use alloc::string::String;
use core::time::Duration;

use crate::{
    reading::{Gap, SourceIx},
    time::Mono,
    units::{Amps, Watts},
};

/// What an alarm is about. The text is made by [`crate::words::alarm`].
#[derive(Clone, Debug, PartialEq)]
pub enum About {
    /// The cautious remaining time is below so many minutes.
    RunningOut {
        /// The limit that was passed, minutes.
        limit_min: u32,
    },
    /// The supply is below the board's limit, or was several times.
    Undervoltage {
        /// How often in the last ten minutes.
        times: u32,
    },
    /// The board is throttled or hot.
    Hot,
    /// The sensor that the forecast stands on is silent.
    SensorSilent {
        /// Which.
        source: SourceIx,
        /// Why.
        gap: Gap,
    },
    /// The current looks ten times too large or too small for this board.
    ShuntDoubt {
        /// Which.
        source: SourceIx,
    },
    /// The current has been more than the sensor can measure.
    OverRange {
        /// Which.
        source: SourceIx,
        /// The largest current that it can give.
        end: Amps,
    },
    /// The chance of reaching the finish is below so many per cent.
    FinishAtRisk {
        /// The limit that was passed, per cent.
        below_percent: u32,
    },
    /// The load is close to the one at which the board's supply is too low.
    BrownOutNear,
    /// For ten minutes the activity has drawn far more than it usually does.
    DrawHigh {
        /// Which activity.
        activity: String,
        /// What it usually draws.
        usual: Watts,
    },
    /// So little is drawn that the bank may switch itself off.
    AutoOff,
    /// The record is not being written.
    RecordNotWritten,
    /// What was chosen is in memory only: the card cannot be written to.
    ChoicesNotKept,
    /// A timed mode is on and nobody has set the clock.
    ClockNotTrusted,
}

/// An alarm that stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Alarm {
    /// What about.
    pub about: About,
    /// Since when.
    pub since: Mono,
    /// Put to sleep until then.
    pub asleep_until: Option<Mono>,
}

/// An alarm that is over, for somebody who did not look meanwhile.
#[derive(Clone, Debug, PartialEq)]
pub struct EndedAlarm {
    /// What it was about.
    pub about: About,
    /// When it ended.
    pub ended: Mono,
    /// How long it stood.
    pub lasted: Duration,
}

impl About {
    /// Its name in JSON, in what is sent out and in what a command is told.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::RunningOut { .. } => "running_out",
            Self::Undervoltage { .. } => "undervoltage",
            Self::Hot => "hot",
            Self::SensorSilent { .. } => "sensor_silent",
            Self::ShuntDoubt { .. } => "shunt_doubt",
            Self::OverRange { .. } => "over_range",
            Self::FinishAtRisk { .. } => "finish_at_risk",
            Self::BrownOutNear => "brown_out_near",
            Self::DrawHigh { .. } => "draw_high",
            Self::AutoOff => "auto_off",
            Self::RecordNotWritten => "record_not_written",
            Self::ChoicesNotKept => "choices_not_kept",
            Self::ClockNotTrusted => "clock_not_trusted",
        }
    }

    /// How grave it is; a page shows it by shape and word.
    #[must_use]
    pub const fn grade(&self) -> Grade {
        match self {
            Self::RunningOut { limit_min: 0..=10 } | Self::AutoOff => Grade::Grave,
            Self::RunningOut { limit_min: 11..=30 }
            | Self::Undervoltage { .. }
            | Self::BrownOutNear => Grade::Urgent,
            _ => Grade::Early,
        }
    }

    /// What cannot wait: the bank may be gone within half an hour, or at any moment.
    #[must_use]
    pub const fn is_urgent(&self) -> bool {
        !matches!(self.grade(), Grade::Early)
    }
}

/// How grave an alarm is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grade {
    /// There is time to change something.
    Early,
    /// It cannot wait: half an hour, or the supply is at its limit.
    Urgent,
    /// The bank may be gone in minutes.
    Grave,
}

impl Grade {
    /// Its name in JSON and in a style sheet.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Early => "early",
            Self::Urgent => "urgent",
            Self::Grave => "grave",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_an_hour_cannot_wait_and_a_minute_more_can() {
        let urgent = |limit_min| About::RunningOut { limit_min }.is_urgent();
        assert_eq!([0, 10, 30, 31, 60].map(urgent), [true, true, true, false, false]);
        assert!(About::AutoOff.is_urgent() && About::BrownOutNear.is_urgent());
        assert!(About::Undervoltage { times: 1 }.is_urgent());
        assert!(!About::Hot.is_urgent() && !About::FinishAtRisk { below_percent: 50 }.is_urgent());
    }
}
