//! What is handed over to be kept: plain rows, stamped with seconds since boot.
//!
//! Nothing here knows of SQL. Every time in it is boot time; wall time is attached to a whole
//! boot, elsewhere. Quantities carry their unit in the name of their field or channel.

use reckon::{
    snapshot::{Basis, Snapshot},
    time::{Mono, Stamp, Trust},
    units::{Amps, Share, Volts, Watts},
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
}

impl Channel {
    /// All of them, in the order of their index.
    pub const ALL: [Self; 8] = [
        Self::Volts,
        Self::Amps,
        Self::Watts,
        Self::Modelled,
        Self::Counted,
        Self::Busy,
        Self::Temp,
        Self::Level,
    ];

    /// Place in [`Row::folds`].
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
        }
    }

    /// The smallest step that is kept of it: a whole number of these is stored.
    pub(crate) const fn step(self) -> f64 {
        match self {
            Self::Temp => 0.1,
            Self::Volts
            | Self::Amps
            | Self::Watts
            | Self::Modelled
            | Self::Counted
            | Self::Busy
            | Self::Level => 0.001,
        }
    }
}

/// Mean and extremes of a channel over a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fold {
    /// Mean of the looks.
    pub mean: f64,
    /// Smallest look.
    pub min: f64,
    /// Largest look.
    pub max: f64,
}

impl Fold {
    /// One look.
    #[must_use]
    pub const fn one(value: f64) -> Self {
        Self { mean: value, min: value, max: value }
    }

    /// Two folds in one, `a` and `b` weighing as told.
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
    pub folds: [Option<Fold>; Channel::ALL.len()],
}

impl Row {
    /// The channel's fold, if it was read at all in this row.
    #[must_use]
    pub const fn get(&self, channel: Channel) -> Option<Fold> {
        self.folds[channel.ix()]
    }

    /// When it ended, seconds since boot.
    #[must_use]
    pub fn to_s(&self) -> f64 {
        self.from_s + self.span_s
    }

    /// The draw: measured if a sensor reads it, else modelled.
    #[must_use]
    pub fn draw_w(&self) -> Option<Fold> {
        self.get(Channel::Watts).or_else(|| self.get(Channel::Modelled))
    }
}

/// One second's values, before they are folded.
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
    pub fn of(snapshot: &Snapshot) -> Self {
        let watts = snapshot.supply.power.ok().map(Watts::si);
        let modelled = match (watts, snapshot.draw.basis) {
            (None, Basis::Modelled | Basis::Gauge) => snapshot.draw.now.map(Watts::si),
            (Some(_), _) | (None, Basis::Measured | Basis::Expected) => None,
        };
        let counted = snapshot.supply.source.and_then(|source| {
            let reading = snapshot.supplies.iter().find(|reading| reading.source == source)?;
            reading.counted?.ok().map(reckon::units::Joules::wh)
        });
        let level = snapshot.gauges.iter().find_map(|gauge| gauge.level.ok()).map(Share::part);
        let values = [
            snapshot.supply.volts.ok().map(Volts::si),
            snapshot.supply.current.ok().map(Amps::si),
            watts,
            modelled,
            counted,
            snapshot.board.cpu_busy.ok().map(Share::part),
            snapshot.board.temp.ok().map(reckon::units::Celsius::si),
            level,
        ];
        Self { at: snapshot.at.mono, values }
    }
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// When, boot time.
    pub at: Mono,
    /// What sort of thing.
    pub kind: EventKind,
    /// In words; for a mark the operator's, for an activity its name (empty: none).
    pub text: String,
}

/// Sorts of events.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventKind {
    /// The supply fell below the board's limit.
    Undervoltage,
    /// The board was throttled, capped or hot.
    Strain,
    /// Sweeps came too late or not at all.
    MissedSweeps,
    /// The operator's mark.
    Mark,
    /// The operator's activity from now on.
    Activity,
    /// An alarm was raised.
    AlarmRaised,
    /// An alarm has cleared.
    AlarmCleared,
    /// The wall clock was stepped.
    ClockStep,
    /// Anything else worth a line.
    Other,
}

impl EventKind {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Undervoltage,
        Self::Strain,
        Self::MissedSweeps,
        Self::Mark,
        Self::Activity,
        Self::AlarmRaised,
        Self::AlarmCleared,
        Self::ClockStep,
        Self::Other,
    ];

    /// As stored.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Undervoltage => "undervoltage",
            Self::Strain => "strain",
            Self::MissedSweeps => "missed_sweeps",
            Self::Mark => "mark",
            Self::Activity => "activity",
            Self::AlarmRaised => "alarm_raised",
            Self::AlarmCleared => "alarm_cleared",
            Self::ClockStep => "clock_step",
            Self::Other => "other",
        }
    }

    /// From its stored name; a name of a newer version counts as [`Self::Other`].
    #[must_use]
    pub fn from_name(name: &str) -> Self {
        Self::ALL.into_iter().find(|kind| kind.name() == name).unwrap_or(Self::Other)
    }

    /// Whether it must reach the card at once rather than with the next batch.
    #[must_use]
    pub const fn urgent(self) -> bool {
        matches!(self, Self::Undervoltage | Self::AlarmRaised | Self::Mark)
    }
}

/// A source's state has changed.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceChange {
    /// When, boot time.
    pub at: Mono,
    /// The source's stable identity.
    pub id: String,
    /// For a person.
    pub title: String,
    /// Why it is silent from now on; `None`: it answers.
    pub gap: Option<String>,
}

/// A forecast, kept to be judged later.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForecastRow {
    /// When it was made, boot time.
    pub at: Mono,
    /// Remaining time at 10 %, 50 %, 90 %, s.
    pub remaining_s: [f64; 3],
    /// What it stood on.
    pub basis: Basis,
    /// Energy delivered in the outing till then, Wh.
    pub delivered_wh: f64,
    /// Of that, bridged over gaps, Wh.
    pub bridged_wh: f64,
    /// Usable energy as believed, Wh: 10 %, 50 %, 90 %.
    pub usable_wh: Option<[f64; 3]>,
}

/// A wall time that could be believed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClockRow {
    /// When it was learned, boot time.
    pub at: Mono,
    /// The wall time of that moment, ms since 1970 UTC.
    pub wall_ms: i64,
    /// It is right within so much, ms.
    pub within_ms: u32,
    /// Who told.
    pub from: ClockFrom,
}

/// Who told the wall time. Later ones in this list win over earlier ones of the same boot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ClockFrom {
    /// A paired phone.
    Phone,
    /// The kernel's synchronised clock.
    Synchronised,
}

impl ClockFrom {
    /// As stored.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Phone => "phone",
            Self::Synchronised => "synchronised",
        }
    }
}

impl ClockRow {
    /// The clock of a stamp, if it may be believed; `within_ms` is the caller's bound.
    #[must_use]
    pub const fn of(stamp: &Stamp, within_ms: u32) -> Option<Self> {
        let from = match stamp.trust {
            Trust::Synchronised => ClockFrom::Synchronised,
            Trust::Phone => ClockFrom::Phone,
            Trust::Unset => return None,
        };
        Some(Self { at: stamp.mono, wall_ms: stamp.wall.unix_ms(), within_ms, from })
    }

    /// The wall time of this boot's first moment, ms since 1970 UTC.
    #[must_use]
    pub fn wall_at_boot_ms(&self) -> i64 {
        let boot_ms = i64::try_from(self.at.span().as_millis()).unwrap_or(i64::MAX);
        self.wall_ms.saturating_sub(boot_ms)
    }
}
