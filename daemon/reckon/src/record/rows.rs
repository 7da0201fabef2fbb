//! What is handed over to be kept: plain rows, stamped with seconds since boot.
//!
//! Nothing here knows of SQL. Every time in it is boot time; wall time is attached to a whole
//! boot, elsewhere. Quantities carry their unit in the name of their field or channel.

use crate::{
    snapshot::{Basis, Snapshot},
    time::Mono,
    units::{Amps, Celsius, Joules, Share, Volts, Watts},
};

/// A measured channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Channel {
    /// Supply voltage, V.
    Volts,
    /// Current out of the bank, A.
    Amps,
    /// Power out of the bank as a sensor reads it, W.
    Watts,
    /// Power as modelled where no sensor reads it, W.
    Modelled,
    /// Energy counted by the sensor chip itself since counting began, Wh.
    Counted,
    /// Processor load, 0 to 1.
    Busy,
    /// Processor temperature, °C.
    Temp,
    /// How full a fuel gauge says the bank is, 0 to 1.
    Level,
    /// Of the power, what was counted while the sensor was at the end of its range, W: the true
    /// power is more. Over a row it is the mean, seconds within the range counting as nought.
    OverRange,
}

impl Channel {
    /// All of them, in the order of their index.
    pub const ALL: [Self; 9] = [
        Self::Volts,
        Self::Amps,
        Self::Watts,
        Self::Modelled,
        Self::Counted,
        Self::Busy,
        Self::Temp,
        Self::Level,
        Self::OverRange,
    ];

    /// Those that [`Row::draw_w`] is taken from, and what makes it a lower bound: who sums the draw
    /// without that tells too little as if it were all.
    pub const DRAW: [Self; 3] = [Self::Watts, Self::Modelled, Self::OverRange];

    /// Place in [`Row::stats`].
    #[must_use]
    pub const fn ix(self) -> usize {
        self as usize
    }

    /// Name with its unit, as in the columns of the store and of an export.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Volts => "volts_v",
            Self::Amps => "current_a",
            Self::Watts => "power_w",
            Self::Modelled => "modelled_w",
            Self::Counted => "counted_wh",
            Self::Busy => "cpu_busy",
            Self::Temp => "cpu_temp_c",
            Self::Level => "level",
            Self::OverRange => "over_range_w",
        }
    }
}

/// Mean and extremes of a channel over a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stats {
    /// Mean of the looks.
    pub mean: f64,
    /// Smallest look.
    pub min: f64,
    /// Largest look.
    pub max: f64,
}

impl Stats {
    /// One look.
    #[must_use]
    pub const fn one(value: f64) -> Self {
        Self { mean: value, min: value, max: value }
    }

    /// Two stats in one, `a` and `b` weighing as told.
    #[must_use]
    pub fn join(self, weight: f64, other: Self, other_weight: f64) -> Self {
        let whole = weight + other_weight;
        let mean = if whole > 0.0 {
            (self.mean * weight + other.mean * other_weight) / whole
        } else {
            self.mean
        };
        Self { mean, min: self.min.min(other.min), max: self.max.max(other.max) }
    }
}

/// Every channel over a span of boot time; `None` is a gap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// When it began, seconds since boot.
    pub from_s: f64,
    /// How long it is, seconds.
    pub span_s: f64,
    /// The channels, by [`Channel::ix`].
    pub stats: [Option<Stats>; Channel::ALL.len()],
}

impl Row {
    /// The channel's mean and extremes, if it was read at all in this row.
    #[must_use]
    pub const fn get(&self, channel: Channel) -> Option<Stats> {
        self.stats[channel.ix()]
    }

    /// When it ended, seconds since boot.
    #[must_use]
    pub fn to_s(&self) -> f64 {
        self.from_s + self.span_s
    }

    /// Whether its draw is only a lower bound.
    #[must_use]
    pub const fn is_at_least(&self) -> bool {
        self.get(Channel::OverRange).is_some()
    }

    /// The draw: measured if a sensor reads it, else modelled.
    #[must_use]
    pub fn draw_w(&self) -> Option<Stats> {
        self.get(Channel::Watts).or_else(|| self.get(Channel::Modelled))
    }
}

/// One second's values, before they are gathered into a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// When, boot time.
    pub at: Mono,
    /// The channels, by [`Channel::ix`].
    pub values: [Option<f64>; Channel::ALL.len()],
}

impl Sample {
    /// The values of a snapshot.
    #[must_use]
    pub fn from_snapshot(snapshot: &Snapshot) -> Self {
        let bound = snapshot.supply.at_least;
        let over_range = bound.map(|it| it.watts.si());
        let watts = snapshot.supply.power.ok().map(Watts::si).or(over_range);
        let modelled = match (watts, snapshot.draw.basis) {
            (None, Basis::Modelled | Basis::Gauge) => snapshot.draw.now.map(Watts::si),
            (Some(_), _) | (None, Basis::Measured | Basis::Expected) => None,
        };
        let counted = snapshot.supply.source.and_then(|source| {
            let reading = snapshot.supplies.iter().find(|reading| reading.source == source)?;
            reading.counted?.ok().map(Joules::wh)
        });
        let level = snapshot.gauges.iter().find_map(|gauge| gauge.level.ok()).map(Share::part);
        let values = [
            snapshot.supply.volts.ok().map(Volts::si),
            snapshot.supply.current.ok().or(bound.map(|it| it.amps)).map(Amps::si),
            watts,
            modelled,
            counted,
            snapshot.board.cpu_busy.ok().map(Share::part),
            snapshot.board.temp.ok().map(Celsius::si),
            level,
            over_range,
        ];
        Self { at: snapshot.at.mono, values }
    }
}
