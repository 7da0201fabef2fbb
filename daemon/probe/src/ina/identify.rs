//! What sits at an address? Found out by reads only: at these addresses there may as well be a
//! PWM driver, a humidity sensor or a clock, and to some of them a written byte is a command.
//!
//! Even a read sends the register's number first, so the first question is register 0, which no
//! neighbour we know of takes for a command; the numbers FEh and 3Eh (FEh resets some humidity
//! sensors) follow only where the answer fits.

use super::{MAKER, facts};
use crate::{
    bus::{Bus, BusResult, Trouble},
    want::Chip,
};

/// What an address turned out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// This chip.
    Is(Chip),
    /// Something that is none of our chips, or not the one that the settings name.
    Stranger,
    /// Named an INA219, but its settings are neither those of power-on nor ours.
    Unlike {
        /// What its configuration register holds.
        config: u16,
    },
}

/// Asks. `told` is the chip that the owner names; without it an INA219 is never found.
pub(crate) fn ask(bus: &mut dyn Bus, at: u8, told: Option<Chip>) -> BusResult<Verdict> {
    let config = bus.read_word(at, 0x00)?;
    // Bit 15 of register 0 is 'reset' in all five and reads 0.
    if config >> 15 == 1 {
        return Ok(Verdict::Stranger);
    }
    match told {
        Some(Chip::Ina219) if like_ina219(bus, at, config)? => Ok(Verdict::Is(Chip::Ina219)),
        Some(Chip::Ina219) => Ok(Verdict::Unlike { config }),
        Some(chip) => Ok(match proves(bus, at, chip)? {
            true => Verdict::Is(chip),
            false => Verdict::Stranger,
        }),
        None => unprompted(bus, at),
    }
}

/// Asks again whether it is still this chip, before anything is written to it. `tell` is the
/// content of the register that tells of a reset.
pub(crate) fn still(bus: &mut dyn Bus, at: u8, chip: Chip, tell: u16) -> BusResult<bool> {
    match chip {
        Chip::Ina219 => like_ina219(bus, at, tell),
        _ => proves(bus, at, chip),
    }
}

/// Goes through the chips that can say what they are.
fn unprompted(bus: &mut dyn Bus, at: u8) -> BusResult<Verdict> {
    for chip in [Chip::Ina226, Chip::Ina260, Chip::Ina3221, Chip::Ina228] {
        if proves(bus, at, chip)? {
            return Ok(Verdict::Is(chip));
        }
    }
    Ok(Verdict::Stranger)
}

/// Whether the identification registers name this chip.
fn proves(bus: &mut dyn Bus, at: u8, chip: Chip) -> BusResult<bool> {
    let Some(identity) = facts(chip).identity else { return Ok(false) };
    Ok(number(bus, at, identity.maker)? == Some(MAKER)
        && number(bus, at, identity.die)?.is_some_and(|die| die & identity.mask == identity.value))
}

/// A register that a stranger may refuse; a bus that is in trouble stays an error.
fn number(bus: &mut dyn Bus, at: u8, register: u8) -> BusResult<Option<u16>> {
    match bus.read_word(at, register) {
        Ok(word) => Ok(Some(word)),
        Err(Trouble::NoAcknowledge | Trouble::Failed(_)) => Ok(None),
        Err(other) => Err(other),
    }
}

/// Whether it may be an INA219: settings as after power-on (which are also those that its kernel
/// driver leaves behind) or as we write them, and 0 where the chip has no bit.
/// Source: SBOS448G figure 19 (399Fh), figure 24 (bus voltage, bit 2), figure 27 (calibration,
/// bit 0 always 0).
fn like_ina219(bus: &mut dyn Bus, at: u8, config: u16) -> BusResult<bool> {
    let setting = facts(Chip::Ina219).tell();
    Ok((config == setting.power_on || config == setting.ours)
        && number(bus, at, 0x05)?.is_some_and(|calibration| calibration & 1 == 0)
        && number(bus, at, 0x02)?.is_some_and(|volts| volts >> 2 & 1 == 0))
}
