//! The INA power monitors as a table: where each quantity lies in the registers, how a chip says
//! what it is, and the settings we write. Bits to quantities and back; no bus in here.
//!
//! *Field*: one number within a register. *Drop*: the voltage over the shunt. *Pace*: how long the
//! chip measures for one result.
//!
//! Sources, named in each row: the maker's data sheets INA219 SBOS448G, INA226 SBOS547B, INA228
//! SLYS021A, INA260 SBOS656C, INA3221 SBOS576B.
//!
//! Current is `drop / shunt`, worked out here for every chip with an outside shunt: it keeps the
//! sign and the full resolution and needs no calibration register. The settings average over
//! nearly the whole second between two sweeps, so that a load which comes and goes within the
//! second is weighed rightly; they leave room for a conversion clock that is 10 % slow (INA226
//! sheet, 'ADC conversion time': 1.1 ms typical, 1.21 ms at most; from memory for the others).

use std::time::Duration;

use reckon::reading::{Gap, Got};

use crate::want::Chip;

mod energy_count;
pub(crate) mod identify;
pub(crate) mod monitor;
#[cfg(test)]
mod tests;

/// One number within a register.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Field {
    /// The register's address.
    pub(crate) register: u8,
    /// Bytes of the register on the wire: 2, 3 or 5.
    pub(crate) bytes: u8,
    /// The field's lowest bit.
    pub(crate) low: u8,
    /// How many bits it has.
    pub(crate) bits: u8,
    /// Two's complement, or never negative.
    pub(crate) signed: bool,
    /// One count in SI units.
    pub(crate) step: f64,
    /// At or beyond either count the converter is at its end.
    pub(crate) ends: [i64; 2],
    /// The chip cannot give counts outside of these.
    pub(crate) possible: [i64; 2],
}

impl Field {
    /// A signed 16-bit field that fills its register and saturates at its ends.
    const fn whole_word(register: u8, step: f64) -> Self {
        Self {
            register,
            bytes: 2,
            low: 0,
            bits: 16,
            signed: true,
            step,
            ends: [-32767, 32767],
            possible: [-32768, 32767],
        }
    }

    /// The bits that the field has within its register.
    const fn mask(&self) -> u64 {
        (1 << self.bits) - 1
    }

    /// The count in a register's content; bits outside of the field are ignored.
    pub(crate) const fn count(&self, raw: u64) -> i64 {
        let inside = (raw >> self.low) & self.mask();
        let gone = 64 - self.bits as u32;
        if self.signed { (inside << gone).cast_signed() >> gone } else { inside.cast_signed() }
    }

    /// The mirror of [`Field::count`]: the register's content for a count, other bits 0.
    #[cfg(test)]
    pub(crate) const fn raw(&self, count: i64) -> u64 {
        (count.cast_unsigned() & self.mask()) << self.low
    }

    /// The quantity, or why the number is none: the converter at its end, or a count that this
    /// chip cannot give.
    pub(crate) fn quantity(&self, raw: u64) -> Got<f64> {
        let (value, beyond) = self.or_its_end(raw)?;
        if beyond { Err(Gap::OverRange) } else { Ok(value) }
    }

    /// The quantity, and whether the converter is at its end, so that the true one lies beyond.
    #[expect(clippy::cast_precision_loss, reason = "a field has at most 40 bits")]
    pub(crate) fn or_its_end(&self, raw: u64) -> Got<(f64, bool)> {
        let count = self.count(raw);
        if count < self.possible[0] || count > self.possible[1] {
            return Err(Gap::Implausible);
        }
        let beyond = count <= self.ends[0] || count >= self.ends[1];
        Ok((count as f64 * self.step, beyond))
    }
}

/// How a channel knows the current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Sense {
    /// From the drop over a shunt outside the chip, in volts.
    Drop(Field),
    /// Directly, in amperes; the shunt is inside.
    Current(Field),
}

impl Sense {
    /// The field, whichever it is.
    pub(crate) const fn field(&self) -> &Field {
        match self {
            Self::Drop(field) | Self::Current(field) => field,
        }
    }
}

/// One channel of a chip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Inlet {
    /// The current.
    pub(crate) sense: Sense,
    /// The voltage.
    pub(crate) bus: Field,
}

/// Registers by which a chip says what it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Identity {
    /// Register of the maker's number, [`MAKER`].
    pub(crate) maker: u8,
    /// Register of the chip's number.
    pub(crate) die: u8,
    /// Which bits of it count (the others are the revision).
    pub(crate) mask: u16,
    /// What they have to be.
    pub(crate) value: u16,
}

/// "TI" in ASCII: the maker's number in every one of these chips that has one.
pub(crate) const MAKER: u16 = 0x5449;

/// A register that we set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Setting {
    /// The register's address.
    pub(crate) register: u8,
    /// What it holds after power-on.
    pub(crate) power_on: u16,
    /// What we write.
    pub(crate) ours: u16,
}

/// A chip's own energy count: never negative, runs over at its top, cleared at power-on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Counter {
    /// Where it lies; the step is in joules for a shunt of one ohm.
    pub(crate) field: Field,
    /// More power than this cannot be measured through one ohm: full bus range times full drop.
    pub(crate) most_watts_at_one_ohm: f64,
}

/// Everything about one kind of chip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Facts {
    /// Which one.
    pub(crate) chip: Chip,
    /// The maker's name for it.
    pub(crate) name: &'static str,
    /// The name in identities and in the kernel's device list.
    pub(crate) slug: &'static str,
    /// How it proves what it is, if it can.
    pub(crate) identity: Option<Identity>,
    /// What we set, in this order. The first is read before every reading: its power-on content
    /// differs from ours, so it tells when the chip has lost its settings.
    pub(crate) settings: &'static [Setting],
    /// Its channels.
    pub(crate) inlets: &'static [Inlet],
    /// Ohms of the shunt that breakout boards usually carry; `None` where it is inside the chip.
    pub(crate) usual_shunt: Option<f64>,
    /// Its own energy count.
    pub(crate) counter: Option<Counter>,
    /// How often to look between two sweeps, where the longest averaging is much shorter than a
    /// second.
    pub(crate) sample_every: Option<Duration>,
    /// Register and bit that say 'a result is there since the last setting'.
    pub(crate) ready: (u8, u8),
}

impl Facts {
    /// The register that tells of a reset.
    pub(crate) const fn tell(&self) -> Setting {
        self.settings[0]
    }

    /// How long the chip takes for one result with our settings.
    pub(crate) fn window(&self) -> Duration {
        Pace::from_config(self.chip, self.tell().ours).window()
    }
}

/// The facts of a chip.
pub(crate) const fn facts(chip: Chip) -> &'static Facts {
    match chip {
        Chip::Ina219 => &INA219,
        Chip::Ina226 => &INA226,
        Chip::Ina228 => &INA228,
        Chip::Ina260 => &INA260,
        Chip::Ina3221 => &INA3221,
    }
}

/// Every chip of the table.
pub(crate) const ALL: [&Facts; 5] = [&INA219, &INA226, &INA228, &INA260, &INA3221];

// Breakout boards: 0.1 Ω on the INA219, 226 and 3221, 15 mΩ on the INA228 (common practice, no
// source). What is assumed is shown with a request to check it.
const TENTH_OHM: Option<f64> = Some(0.1);

/// SBOS448G. Longest averaging there is, 128 samples (68.1 ms, table 5) for each quantity, so one
/// result takes 136 ms; looked at three times a second. ±320 mV and 32 V: the widest ranges, which
/// with 0.1 Ω reach 3.2 A; the step is 10 µV in every range (table 7), only the offset is smaller
/// in a narrow one, and a board's start-up surge would saturate that.
const INA219: Facts = Facts {
    chip: Chip::Ina219,
    name: "INA219",
    slug: "ina219",
    identity: None, // section 8.6.1 lists registers 00 to 05 only
    settings: &[Setting { register: 0x00, power_on: 0x399F, ours: 0x3FFF }], // figure 19
    inlets: &[Inlet {
        // Section 8.6.3.1: 10 µV, ±320 mV reads 7D00h and 8300h; table 7: clipped there.
        sense: Sense::Drop(Field {
            ends: [-ina219_full_drop(0x3FFF), ina219_full_drop(0x3FFF)],
            possible: [-ina219_full_drop(0x3FFF), ina219_full_drop(0x3FFF)],
            ..Field::whole_word(0x01, 10e-6)
        }),
        // Section 8.6.3.2, figure 24: bits 15 to 3, 4 mV, full scale 32 V = 1F40h.
        bus: Field {
            register: 0x02,
            bytes: 2,
            low: 3,
            bits: 13,
            signed: false,
            step: 4e-3,
            ends: [-1, 8000],
            possible: [0, 8000],
        },
    }],
    usual_shunt: TENTH_OHM,
    counter: None,
    sample_every: Some(Duration::from_millis(333)),
    ready: (0x02, 1), // section 8.6.3.2: CNVR in the bus voltage register
};

/// Where the INA219's shunt register is clipped: ±40, 80, 160 or 320 mV by bits 12 and 11 of its
/// configuration (SBOS448G, section 8.6.3.1).
const fn ina219_full_drop(config: u16) -> i64 {
    4000 << (config >> 11 & 3)
}

/// SBOS547B. 512 averages of 1.1 ms (drop) and 588 µs (voltage), table 7-x of the configuration
/// register: 864 ms, 0.95 s with a slow clock. Many short conversions rather than a few of 8 ms:
/// each quantity is sampled every 1.7 ms, so a load that pulses at some hundred hertz does not
/// beat with the sampling; the drop gets two thirds of the time because it is the one that moves.
const INA226: Facts = Facts {
    chip: Chip::Ina226,
    name: "INA226",
    slug: "ina226",
    // Manufacturer ID and die ID registers; low four bits of the die ID are the revision.
    identity: Some(Identity { maker: 0xFE, die: 0xFF, mask: 0xFFF0, value: 0x2260 }),
    settings: &[Setting { register: 0x00, power_on: 0x4127, ours: 0x4CE7 }],
    inlets: &[Inlet {
        // Shunt voltage register: 2.5 µV.
        sense: Sense::Drop(Field::whole_word(0x01, 2.5e-6)),
        // Bus voltage register: 1.25 mV, D15 is always 0, full scale 40.96 V.
        bus: Field {
            signed: false,
            ends: [-1, 32767],
            possible: [0, 32767],
            ..Field::whole_word(0x02, 1.25e-3)
        },
    }],
    usual_shunt: TENTH_OHM,
    counter: None,
    sample_every: None,
    ready: (0x06, 3), // CVRF in the mask/enable register
};

/// SLYS021A. ADCRANGE 0 (±163.84 mV): its step of 0.31 µV is already below the chip's offset of
/// ±1 µV, so the narrow range would gain nothing and saturate at a quarter of the current.
/// 512 averages of 1052 µs (drop) and 540 µs (voltage), no temperature: 815 ms; the energy count
/// moves on with every result, so nothing between two sweeps is missed.
///
/// `SHUNT_CAL` 4096: equations 2 and 3 with the current's full scale taken as the drop's full
/// scale, I = 163.84 mV / R, give 13107.2e6 × (0.16384 / R / 2^19) × R = 4096 for every shunt.
/// One count of CURRENT then is one count of VSHUNT, and the energy count's step is
/// 16 × 3.2 × 312.5 nV / R (section 8.1.2).
const INA228: Facts = Facts {
    chip: Chip::Ina228,
    name: "INA228",
    slug: "ina228",
    // Registers 3Eh and 3Fh: maker, device 228h with revision in the low four bits.
    identity: Some(Identity { maker: 0x3E, die: 0x3F, mask: 0xFFF0, value: 0x2280 }),
    settings: &[
        Setting { register: 0x01, power_on: 0xFB68, ours: 0xB96E }, // ADC_CONFIG
        Setting { register: 0x00, power_on: 0x0000, ours: 0x0000 }, // CONFIG
        Setting { register: 0x02, power_on: 0x1000, ours: 0x1000 }, // SHUNT_CAL
    ],
    inlets: &[Inlet {
        // VSHUNT, 04h: bits 23 to 4, 312.5 nV at ADCRANGE 0.
        sense: Sense::Drop(Field {
            register: 0x04,
            bytes: 3,
            low: 4,
            bits: 20,
            signed: true,
            step: 312.5e-9,
            ends: [-524_288, 524_287],
            possible: [-524_288, 524_287],
        }),
        // VBUS, 05h: bits 23 to 4, 195.3125 µV, two's complement though never negative; -13 is
        // the offset error of 2.5 mV.
        bus: Field {
            register: 0x05,
            bytes: 3,
            low: 4,
            bits: 20,
            signed: true,
            step: 195.3125e-6,
            ends: [-524_288, 524_287],
            possible: [-13, 524_287],
        },
    }],
    usual_shunt: Some(0.015),
    counter: Some(Counter {
        // ENERGY, 09h: 40 bits, never negative (it adds up the size of the power).
        field: Field {
            register: 0x09,
            bytes: 5,
            low: 0,
            bits: 40,
            signed: false,
            step: 16.0 * 3.2 * 312.5e-9,
            ends: [-1, 1 << 40],
            possible: [0, (1 << 40) - 1],
        },
        most_watts_at_one_ohm: 102.4 * 0.163_84,
    }),
    sample_every: None,
    ready: (0x0B, 1), // CNVRF in DIAG_ALRT
};

/// SBOS656C. As the INA226 (the same codes): 864 ms. Its 2 mΩ shunt is inside and trimmed.
const INA260: Facts = Facts {
    chip: Chip::Ina260,
    name: "INA260",
    slug: "ina260",
    identity: Some(Identity { maker: 0xFE, die: 0xFF, mask: 0xFFF0, value: 0x2270 }),
    settings: &[Setting { register: 0x00, power_on: 0x6127, ours: 0x6CE7 }],
    inlets: &[Inlet {
        // Current register, 01h: 1.25 mA.
        sense: Sense::Current(Field::whole_word(0x01, 1.25e-3)),
        // Bus voltage register, 02h: 1.25 mV, D15 is always 0.
        bus: Field {
            signed: false,
            ends: [-1, 32767],
            possible: [0, 32767],
            ..Field::whole_word(0x02, 1.25e-3)
        },
    }],
    usual_shunt: None,
    counter: None,
    sample_every: None,
    ready: (0x06, 3), // CVRF in the mask/enable register
};

/// SBOS576B. Three channels share one converter: 64 averages of 4.156 ms (drop) and 332 µs
/// (voltage) for each take 862 ms, 0.95 s with a slow clock. The drop gets most of the time: its
/// step of 40 µV is coarse and only noise averaged within the chip refines it; the voltage's step
/// is 8 mV whatever the time.
const INA3221: Facts = Facts {
    chip: Chip::Ina3221,
    name: "INA3221",
    slug: "ina3221",
    // Manufacturer ID and die ID; the die ID has no revision bits.
    identity: Some(Identity { maker: 0xFE, die: 0xFF, mask: 0xFFFF, value: 0x3220 }),
    settings: &[Setting { register: 0x00, power_on: 0x7127, ours: 0x76B7 }],
    inlets: &[third(0x01), third(0x03), third(0x05)],
    usual_shunt: TENTH_OHM,
    counter: None,
    sample_every: None,
    ready: (0x0F, 0), // CVRF in the mask/enable register
};

/// One channel of the INA3221; its voltage register follows that of the drop (section 8.6.2).
const fn third(register: u8) -> Inlet {
    let field = Field {
        register,
        bytes: 2,
        low: 3,
        bits: 13,
        signed: true,
        step: 40e-6,
        ends: [-4096, 4095],
        possible: [-4096, 4095],
    };
    Inlet {
        sense: Sense::Drop(field),
        // Signed, though never negative; -2 is the offset error of 16 mV.
        bus: Field { register: register + 1, step: 8e-3, possible: [-2, 4095], ..field },
    }
}

/// How a chip measures, as its setting register says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Pace {
    /// Results averaged into one.
    pub(crate) averages: u32,
    /// Time for one conversion of the drop or current, µs; 0 where it is not measured.
    pub(crate) sense_us: u32,
    /// The same for the bus voltage.
    pub(crate) bus_us: u32,
    /// The same for the chip's temperature.
    pub(crate) temperature_us: u32,
    /// Channels taken in turn.
    pub(crate) channels: u32,
    /// Goes on by itself, or waits to be triggered.
    pub(crate) continuous: bool,
}

/// Averages by code: the same table in all but the INA219.
const AVERAGES: [u32; 8] = [1, 4, 16, 64, 128, 256, 512, 1024];
/// Conversion times of INA226, INA260 and INA3221, µs.
const TIMES: [u32; 8] = [140, 204, 332, 588, 1100, 2116, 4156, 8244];
/// Conversion times of the INA228, µs.
const TIMES_228: [u32; 8] = [50, 84, 150, 280, 540, 1052, 2074, 4120];
/// Conversion times of the INA219, µs: its averages are part of the code (SBOS448G, table 5).
const TIMES_219: [u32; 16] =
    [84, 148, 276, 532, 84, 148, 276, 532, 532, 1060, 2130, 4260, 8510, 17020, 34050, 68100];

impl Pace {
    /// Reads a setting register: CONFIG, for the INA228 ADC_CONFIG.
    pub(crate) fn from_config(chip: Chip, word: u16) -> Self {
        let code = |low: u32| (word >> low) as usize & 7;
        let (sense_on, bus_on, temperature_on, continuous) = match chip {
            Chip::Ina228 => {
                (word >> 13 & 1 == 1, word >> 12 & 1 == 1, word >> 14 & 1 == 1, word >> 15 == 1)
            }
            _ => (word & 1 == 1, word >> 1 & 1 == 1, false, word >> 2 & 1 == 1),
        };
        let (averages, sense_us, bus_us) = match chip {
            Chip::Ina219 => {
                let code = |low: u32| (word >> low) as usize & 15;
                (1, TIMES_219[code(3)], TIMES_219[code(7)])
            }
            Chip::Ina228 => (AVERAGES[code(0)], TIMES_228[code(6)], TIMES_228[code(9)]),
            _ => (AVERAGES[code(9)], TIMES[code(3)], TIMES[code(6)]),
        };
        Self {
            averages,
            sense_us: if sense_on { sense_us } else { 0 },
            bus_us: if bus_on { bus_us } else { 0 },
            temperature_us: if temperature_on { TIMES_228[code(3)] } else { 0 },
            channels: match chip {
                Chip::Ina3221 => (word >> 12 & 7).count_ones(),
                _ => 1,
            },
            continuous,
        }
    }

    /// How long one result takes.
    pub(crate) fn window(self) -> Duration {
        let one = self.sense_us + self.bus_us + self.temperature_us;
        Duration::from_micros(u64::from(one) * u64::from(self.averages * self.channels))
    }
}
