//! What each chip can deliver, and what its driver shows.

use reckon::words;

/// Where the shunt that the driver assumes can be seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum ShuntShown {
    /// In an attribute.
    File,
    /// Only in the device tree, if there.
    Hidden,
    /// It is part of the chip.
    Inside,
}

/// One chip.
#[derive(Debug)]
pub(super) struct Model {
    /// The driver's name for it.
    pub(super) name: &'static str,
    /// The highest voltage its bus register can mean on this chip; above it a reading is broken.
    pub(super) most_volts: f64,
    /// Shunt voltage at the end of its range; from there on the true current is unknown.
    pub(super) full_shunt_v: Option<f64>,
    /// Current at the end of its range, for chips with the shunt inside.
    pub(super) full_amps: Option<f64>,
    /// Where the assumed shunt is shown.
    pub(super) shunt: ShuntShown,
    /// Whether one reading is a single sample of half a millisecond.
    pub(super) snapshot: bool,
    /// Channels, each with its own attributes; 0 for chips with one.
    pub(super) channels: u8,
    /// Whether the driver's arithmetic can wrap, so that the shunt voltage has to vouch for the
    /// sign of the current.
    pub(super) may_wrap: bool,
    /// What the owner should know.
    pub(super) remark: Option<&'static str>,
}

impl Model {
    /// Its channels: numbered from 1, or one without a number.
    pub(super) fn inlets(&self) -> impl Iterator<Item = Option<u8>> + use<> {
        let (first, last) = if self.channels == 0 { (0, 0) } else { (1, self.channels) };
        (first..=last).map(|n| (n > 0).then_some(n))
    }
}

const PLAIN: Model = Model {
    name: "",
    most_volts: 0.0,
    full_shunt_v: None,
    full_amps: None,
    shunt: ShuntShown::File,
    snapshot: false,
    channels: 0,
    may_wrap: false,
    remark: None,
};

const SNAPSHOT: &str = words::sensor::ONE_SAMPLE;

/// INA219: bus register of 13 bits in steps of 4 mV up to 32.764 V, shunt ±320 mV.
/// Source: data sheet SBOS448G, sections 8.6.3.1 and 8.6.3.2.
const INA219: Model = Model {
    name: "ina219",
    most_volts: 32.77,
    full_shunt_v: Some(0.320),
    snapshot: true,
    remark: Some(SNAPSHOT),
    ..PLAIN
};

/// INA226: bus register of 15 bits in steps of 1.25 mV, shunt ±81.92 mV.
/// Source: data sheet SBOS547B, register descriptions 01h and 02h.
const INA226: Model =
    Model { name: "ina226", most_volts: 40.96, full_shunt_v: Some(0.081_917_5), ..PLAIN };

/// INA238: bus register of 16 bits with sign in steps of 3.125 mV, shunt ±163.84 mV. The driver's
/// product of current register and scale wraps in older kernels.
/// Source: data sheet SBOSA20, registers 4h and 5h; the kernel's `drivers/hwmon/ina238.c`, whose
/// calibration of 16384 makes one count of the current four of the shunt, 20 µV.
const INA238: Model = Model {
    name: "ina238",
    most_volts: 102.4,
    full_shunt_v: Some(0.163_82),
    shunt: ShuntShown::Hidden,
    may_wrap: true,
    ..PLAIN
};

/// INA700: shunt inside.
const INA700: Model = Model {
    name: "ina700",
    full_shunt_v: None,
    full_amps: Some(15.727),
    shunt: ShuntShown::Inside,
    may_wrap: false,
    ..INA238
};

/// All chips whose drivers are understood.
static MODELS: [Model; 16] = [
    INA219,
    // The same registers. Source: the kernel's `drivers/hwmon/ina2xx.c`, table of chips.
    Model { name: "ina220", ..INA219 },
    // Averages by itself. Source: data sheet SBOS403.
    Model { name: "ina209", snapshot: false, remark: None, ..INA219 },
    INA226,
    Model { name: "ina230", ..INA226 },
    Model { name: "ina231", ..INA226 },
    // 12 bits: bus in steps of 25.6 mV, shunt 40 µV, so that the last is 81.88 mV. Source: the
    // kernel's `ina2xx.c`.
    Model { name: "ina234", most_volts: 104.86, full_shunt_v: Some(0.081_88), ..INA226 },
    Model { name: "sy24655", full_shunt_v: None, ..INA226 },
    // Current in steps of 1.25 mA through an inner shunt of 2 mΩ. Source: data sheet SBOS656C,
    // registers 01h and 02h.
    Model {
        name: "ina260",
        full_shunt_v: None,
        full_amps: Some(40.958),
        shunt: ShuntShown::Inside,
        ..INA226
    },
    INA238,
    Model { name: "ina237", ..INA238 },
    Model { name: "ina228", ..INA238 },
    Model { name: "sq52206", ..INA238 },
    // 16 bits with sign in steps of 480 µA, and of 2.4 mA. Source: the kernel's `ina238.c`.
    INA700,
    Model { name: "ina780", full_amps: Some(78.63), ..INA700 },
    // Bus 13 bits with sign in steps of 8 mV, shunt ±163.8 mV. Source: data sheet SBOS576B,
    // registers 01h and 02h.
    Model { name: "ina3221", most_volts: 32.77, full_shunt_v: Some(0.1638), channels: 3, ..PLAIN },
];

/// The chip of this driver name.
pub(super) fn by_name(name: &str) -> Option<&'static Model> {
    MODELS.iter().find(|model| model.name == name)
}
