//! A bus of made-up chips for tests: register files with the power-on contents of the data sheets,
//! the chips' own arithmetic, missing acknowledges, resets behind our back. It keeps a record of
//! everything that was written, and to whom.

use std::{
    collections::BTreeMap,
    sync::{Arc, Mutex, MutexGuard},
};

use super::{Bus, BusResult, Trouble};
use crate::want::Chip;

/// One register file. Registers are held as numbers, as wide as the chip's.
#[derive(Clone, Debug)]
pub(crate) struct FakeChip {
    /// `None`: something that is none of ours.
    pub(crate) chip: Option<Chip>,
    pub(crate) registers: BTreeMap<u8, u64>,
    /// Whether it acknowledges its address.
    pub(crate) answers: bool,
    /// Whether registers that are not in the file are refused, or read as all ones.
    pub(crate) refuses_unknown: bool,
}

impl FakeChip {
    /// Just switched on. Contents: the register maps of the data sheets (see [`crate::ina`]).
    pub(crate) fn new(chip: Chip) -> Self {
        let registers: &[(u8, u64)] = match chip {
            Chip::Ina219 => &[(0, 0x399F), (1, 0), (2, 0), (3, 0), (4, 0), (5, 0)],
            Chip::Ina226 => &[
                (0, 0x4127),
                (1, 0),
                (2, 0),
                (3, 0),
                (4, 0),
                (5, 0),
                (6, 0),
                (7, 0),
                (0xFE, 0x5449),
                (0xFF, 0x2260),
            ],
            Chip::Ina228 => &[
                (0, 0),
                (1, 0xFB68),
                (2, 0x1000),
                (3, 0),
                (4, 0),
                (5, 0),
                (6, 0),
                (7, 0),
                (8, 0),
                (9, 0),
                (0x0A, 0),
                (0x0B, 1),
                (0x3E, 0x5449),
                (0x3F, 0x2281),
            ],
            Chip::Ina260 => &[
                (0, 0x6127),
                (1, 0),
                (2, 0),
                (3, 0),
                (6, 0),
                (7, 0),
                (0xFE, 0x5449),
                (0xFF, 0x2270),
            ],
            Chip::Ina3221 => &[
                (0, 0x7127),
                (1, 0),
                (2, 0),
                (3, 0),
                (4, 0),
                (5, 0),
                (6, 0),
                (0x0F, 2),
                (0xFE, 0x5449),
                (0xFF, 0x3220),
            ],
        };
        Self {
            chip: Some(chip),
            registers: registers.iter().copied().collect(),
            answers: true,
            refuses_unknown: false,
        }
    }

    /// Something else, with these registers.
    pub(crate) fn stranger(registers: &[(u8, u64)], refuses_unknown: bool) -> Self {
        Self {
            chip: None,
            registers: registers.iter().copied().collect(),
            answers: true,
            refuses_unknown,
        }
    }

    /// Bytes of a register on the wire.
    /// Source: SLYS021A, register map: 24 bits in 04, 05, 07, 08; 40 bits in 09, 0A.
    fn width(&self, register: u8) -> usize {
        match (self.chip, register) {
            (Some(Chip::Ina228), 4 | 5 | 7 | 8) => 3,
            (Some(Chip::Ina228), 9 | 0x0A) => 5,
            _ => 2,
        }
    }

    /// Takes a measurement: sets shunt and bus registers (bus without the INA219's status bits)
    /// and works out current and power as the chip does.
    /// Source: SBOS448G equations 4 and 5; SBOS547B equations 3 and 4. Both truncate.
    pub(crate) fn measure(&mut self, shunt: i16, bus: u16) {
        let (shift, status, current_by, power_by) = match self.chip {
            Some(Chip::Ina219) => (3, 2, 4096, 5000),
            Some(Chip::Ina226) => (0, 0, 2048, 20000),
            _ => panic!("only for chips with a calibration register"),
        };
        let calibration = i64::try_from(self.registers[&5]).unwrap();
        let current = i64::from(shunt) * calibration / current_by;
        let power = current.abs() * i64::from(bus) / power_by;
        let word = |value: i64| (value & 0xFFFF).cast_unsigned();
        self.registers.insert(1, word(i64::from(shunt)));
        self.registers.insert(2, u64::from(bus) << shift | status);
        self.registers.insert(3, word(power));
        self.registers.insert(4, word(current));
    }

    /// Says that a result is there.
    pub(crate) fn ready(&mut self) {
        let (register, bit) = crate::ina::facts(self.chip.unwrap()).ready;
        *self.registers.entry(register).or_default() |= 1 << bit;
    }
}

/// The bus and its record. Clones share both.
#[derive(Clone, Default)]
pub(crate) struct FakeBus {
    inner: Arc<Mutex<Inner>>,
}

/// What a [`FakeBus`] holds.
#[derive(Default)]
pub(crate) struct Inner {
    pub(crate) chips: BTreeMap<u8, FakeChip>,
    /// Every write: address, register, word.
    pub(crate) writes: Vec<(u8, u8, u16)>,
    /// Every register number sent: address, register.
    pub(crate) reads: Vec<(u8, u8)>,
    /// Fails every transfer.
    pub(crate) trouble: Option<Trouble>,
    /// Lacks transfers longer than a word.
    pub(crate) words_only: bool,
}

impl FakeBus {
    pub(crate) fn with(chips: impl IntoIterator<Item = (u8, FakeChip)>) -> Self {
        let bus = Self::default();
        bus.lock().chips.extend(chips);
        bus
    }

    pub(crate) fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap()
    }

    /// Changes one chip.
    pub(crate) fn chip(&self, at: u8, change: impl FnOnce(&mut FakeChip)) {
        change(self.lock().chips.get_mut(&at).unwrap());
    }

    /// Takes its supply away for a moment.
    pub(crate) fn power_cycle(&self, at: u8) {
        self.chip(at, |fake| *fake = FakeChip::new(fake.chip.unwrap()));
    }

    /// The bytes of a register as they cross the wire.
    pub(crate) fn bytes(&self, at: u8, register: u8, into: &mut [u8]) -> BusResult<()> {
        let mut inner = self.lock();
        inner.reads.push((at, register));
        if let Some(trouble) = inner.trouble {
            return Err(trouble);
        }
        let chip =
            inner.chips.get(&at).filter(|chip| chip.answers).ok_or(Trouble::NoAcknowledge)?;
        if chip.refuses_unknown && !chip.registers.contains_key(&register) {
            return Err(Trouble::NoAcknowledge);
        }
        let value = chip.registers.get(&register).copied().unwrap_or(u64::MAX);
        let width = chip.width(register);
        let wire = value.to_be_bytes();
        for (index, byte) in into.iter_mut().enumerate() {
            // Past the register's end a chip lets the line float high.
            *byte = if index < width { wire[8 - width + index] } else { 0xFF };
        }
        Ok(())
    }
}

impl Bus for FakeBus {
    fn read_word(&mut self, at: u8, register: u8) -> BusResult<u16> {
        let mut bytes = [0; 2];
        self.bytes(at, register, &mut bytes)?;
        Ok(u16::from_be_bytes(bytes))
    }

    fn read_block(&mut self, at: u8, register: u8, into: &mut [u8]) -> BusResult<()> {
        if self.lock().words_only {
            return Err(Trouble::Unsupported);
        }
        self.bytes(at, register, into)
    }

    fn write_word(&mut self, at: u8, register: u8, word: u16) -> BusResult<()> {
        let mut inner = self.lock();
        inner.writes.push((at, register, word));
        if let Some(trouble) = inner.trouble {
            return Err(trouble);
        }
        let chip =
            inner.chips.get_mut(&at).filter(|chip| chip.answers).ok_or(Trouble::NoAcknowledge)?;
        // Bit 15 of register 0 is 'reset' in all five.
        if let (Some(kind), 0, 1) = (chip.chip, register, word >> 15) {
            *chip = FakeChip::new(kind);
            return Ok(());
        }
        // Bit 0 of the INA219's calibration is always 0 (SBOS448G, figure 27).
        let kept = if chip.chip == Some(Chip::Ina219) && register == 5 { word & !1 } else { word };
        chip.registers.insert(register, u64::from(kept));
        Ok(())
    }
}
