//! What the probes hand over: readings, and for every missing number the reason why.
//!
//! A sweep is every source asked once. Nothing here knows how a value was obtained; `probe` turns
//! bits and text into these types, the engine takes them from there.

use alloc::{string::String, sync::Arc, vec::Vec};

use crate::{
    time::Mono,
    units::{Amps, Celsius, Hertz, Joules, Ohms, Share, Volts, Watts},
};

/// A value, or why there is none. No stale value is ever dressed up as fresh.
pub type Got<T> = Result<T, Gap>;

/// Why a number is missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Gap {
    /// This board has no such thing.
    Absent,
    /// There is no detector for it on this board, so silence does not mean 'fine'.
    NotMeasurable,
    /// The channel is switched off in the chip or its driver.
    SwitchedOff,
    /// The first value is still to come.
    NotReady,
    /// The bus or the driver reported an error.
    NoAnswer,
    /// It was there and has vanished (unplugged, driver unbound).
    Gone,
    /// The system does not let us read it.
    Denied,
    /// What came back could not be understood.
    Garbled,
    /// A number that this hardware cannot deliver.
    Implausible,
    /// The sensor is at the end of its range; the true value lies beyond.
    OverRange,
    /// The chip had lost its settings and is being set up again.
    Resetting,
    /// No answer within this second.
    Late,
}

/// Index of a source in [`Sweep::sources`]. The same source keeps its index when it vanishes and
/// comes back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct SourceIx(pub u16);

/// Every source asked once.
#[derive(Clone, Debug)]
pub struct Sweep {
    /// When the sweep began.
    pub at: Mono,
    /// Current and voltage sensors, one entry a channel.
    pub supplies: Vec<SupplyReading>,
    /// Fuel gauges.
    pub gauges: Vec<GaugeReading>,
    /// The board itself.
    pub board: BoardReading,
    /// The kernel's word on whether its wall clock is synchronised.
    pub clock_synchronised: Got<bool>,
    /// The busiest programs, at their own slow rate (the same list is handed over until a new one
    /// is taken).
    pub programs: Arc<[Program]>,
    /// What was found; replaced when something appears, vanishes, falls silent or comes back.
    pub sources: Arc<[SourceReport]>,
}

/// One current and voltage sensor channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SupplyReading {
    /// Who reads.
    pub source: SourceIx,
    /// Voltage at the sensor.
    pub volts: Got<Volts>,
    /// Current, already corrected for the true shunt; out of the bank is positive.
    pub amps: Got<Amps>,
    /// Voltage times current (mean of the products where several looks are averaged).
    pub watts: Got<Watts>,
    /// The chip's own energy count since outlast started counting it, if it keeps one.
    pub counted: Option<Got<Joules>>,
    /// How many looks this is the mean of.
    pub looks: u16,
    /// What it still says of the current where that was beyond the end of its range
    /// ([`Gap::OverRange`]).
    pub at_least: Option<AtLeast>,
}

/// A sensor at the end of its range: the true current is this or larger, in the same direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtLeast {
    /// Mean current, looks beyond the range taken at its end; out of the bank is positive.
    pub amps: Amps,
    /// The same for the power.
    pub watts: Watts,
    /// The largest current that the sensor can give, whatever the direction.
    pub end: Amps,
}

/// Which way a gauge says the energy flows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flow {
    /// Out of the bank.
    Draining,
    /// Into the bank.
    Charging,
    /// Full, or on mains and neither.
    Resting,
    /// The gauge does not say.
    Unknown,
}

/// One fuel gauge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GaugeReading {
    /// Who reads.
    pub source: SourceIx,
    /// Cell or pack voltage.
    pub volts: Got<Volts>,
    /// Current out of the bank, sign put right whatever the driver's convention.
    pub amps: Got<Amps>,
    /// How full the gauge thinks the bank is.
    pub level: Got<Share>,
    /// Energy left as the gauge states it (from charge × voltage where it states charge).
    pub energy_left: Got<Joules>,
    /// Direction of flow.
    pub flow: Flow,
    /// Cell temperature.
    pub temp: Got<Celsius>,
}

/// The vendor's flags about supply and heat.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Strain {
    /// Supply below the board's limit.
    pub undervoltage: bool,
    /// Clock capped.
    pub capped: bool,
    /// Clock throttled.
    pub throttled: bool,
    /// Soft temperature limit.
    pub soft_hot: bool,
}

/// The flags of one look: what holds now, and what has happened since the look before. The kernel
/// clears its sticky bits every 2 s, so 'lately' is all that can be read; the engine latches.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Flags {
    /// Holds at this moment.
    pub now: Strain,
    /// Has happened since the last look (or holds now).
    pub lately: Strain,
}

/// The board's own readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BoardReading {
    /// Share of all cores that was busy since the last sweep.
    pub cpu_busy: Got<Share>,
    /// Clock of the first core's frequency group; does not show the firmware's throttling.
    pub cpu_clock: Got<Hertz>,
    /// Processor temperature.
    pub temp: Got<Celsius>,
    /// Undervoltage; [`Gap::NotMeasurable`] where the board has no detector.
    pub undervoltage: Got<bool>,
    /// All vendor flags, where they can be read.
    pub flags: Got<Flags>,
    /// Supply voltage at the board's input, where the board measures it.
    pub input_volts: Got<Volts>,
    /// Power summed over the board's own rails: a lower bound of what it draws.
    pub rails_at_least: Got<Watts>,
}

impl BoardReading {
    /// A board of which nothing is known.
    pub const UNKNOWN: Self = Self {
        cpu_busy: Err(Gap::Absent),
        cpu_clock: Err(Gap::Absent),
        temp: Err(Gap::Absent),
        undervoltage: Err(Gap::NotMeasurable),
        flags: Err(Gap::Absent),
        input_volts: Err(Gap::Absent),
        rails_at_least: Err(Gap::Absent),
    };
}

/// A running program and how busy it kept one core.
#[derive(Clone, Debug, PartialEq)]
pub struct Program {
    /// The program's name as the kernel gives it (15 bytes at most).
    pub name: String,
    /// Share of one core over the last interval; above 1 when it used several.
    pub cores_busy: f64,
}

/// What a source is read through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Via {
    /// The kernel's hardware-monitoring drivers.
    Hwmon,
    /// Registers over I²C, no kernel driver bound.
    I2c,
    /// The kernel's power-supply class.
    PowerSupply,
    /// The vendor firmware's flags.
    BoardFlags,
    /// The board's own power-management ADC.
    PowerAdc,
    /// Thermal zones.
    Thermal,
    /// Processor accounting and frequency.
    Processor,
    /// The list of running programs.
    Programs,
    /// Made up for a demonstration or a test.
    Invented,
}

/// What a power sensor's reading counts as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// It sees what the bank delivers; several such channels add up.
    Bank,
    /// It sees a part of it; shown, not counted.
    Part,
    /// Not a power sensor, or told to be ignored.
    NotCounted,
}

/// How a source is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SourceState {
    /// It answers.
    Live,
    /// It does not, since then, for that reason.
    Silent {
        /// When it last answered or was first missed.
        since: Mono,
        /// Why.
        gap: Gap,
    },
    /// Found, and deliberately left alone; the notes say why.
    LeftAlone,
}

/// The shunt a current was computed with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shunt {
    /// What the driver (or our own set-up) assumes; `None` where the driver does not show it.
    pub assumed: Option<Ohms>,
    /// What the settings say is really there.
    pub told: Option<Ohms>,
    /// What every current is multiplied by.
    pub scale: f64,
}

/// A plain-words account of one source.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceReport {
    /// Stable identity, such as `hwmon:ina226@1-0040`; the same after a reboot.
    pub id: String,
    /// For a person: `INA226 power monitor at 0x40 on bus 1`.
    pub title: String,
    /// What it is read through.
    pub via: Via,
    /// What it counts as.
    pub role: Role,
    /// How it is doing.
    pub state: SourceState,
    /// The shunt, for current sensors.
    pub shunt: Option<Shunt>,
    /// Sentences: what was found, what could not be, what to do.
    pub notes: Vec<String>,
}

/// Facts about the board that do not change while it runs.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct BoardFacts {
    /// `Raspberry Pi 4 Model B Rev 1.4`, or whatever the device tree says.
    pub model: Option<String>,
    /// The row of the board table, if it is a known board.
    pub kind: Option<crate::draw::BoardKind>,
    /// Processor cores.
    pub cores: Option<u16>,
    /// Memory, MiB.
    pub memory_mib: Option<u32>,
    /// What the board believes its supply can give, where it negotiates.
    pub input_limit: Option<Amps>,
    /// Whether its USB ports are held to 600 mA.
    pub usb_held_low: Option<bool>,
    /// Whether there is a hardware clock.
    pub has_rtc: bool,
    /// Names of the on-board LEDs.
    pub leds: Vec<String>,
    /// The kernel's release.
    pub kernel: Option<String>,
    /// This boot's identity.
    pub boot_id: Option<String>,
    /// Sentences about what was looked for and not found.
    pub notes: Vec<String>,
}
