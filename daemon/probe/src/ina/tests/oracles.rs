//! The same register file read by us and by the driver crates of others: both must agree, whatever
//! the registers hold. Oracles: crates `ina219` 0.2.1, `ina226` 0.3.0, `ina228` 0.2.0.

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use proptest::prelude::*;
use reckon::{reading::Gap, time::Mono};

use super::super::{
    monitor::{Correction, INLETS, Monitor},
    *,
};
use crate::{
    bus::{
        Bus, Trouble,
        fake::{FakeBus, FakeChip},
    },
    source::Supply,
};

/// The fake bus as the driver crates want it: the first byte written is the register's number,
/// and stays so for reads that follow.
struct Hal {
    bus: FakeBus,
    pointer: u8,
}

impl Hal {
    fn on(bus: &FakeBus) -> Self {
        Self { bus: bus.clone(), pointer: 0 }
    }
}

impl ErrorType for Hal {
    type Error = ErrorKind;
}

impl I2c for Hal {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), ErrorKind> {
        let kind = |trouble: Trouble| match trouble {
            Trouble::NoAcknowledge => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            _ => ErrorKind::Other,
        };
        for operation in operations {
            match operation {
                Operation::Write([register]) => self.pointer = *register,
                Operation::Write([register, high, low]) => {
                    let word = u16::from_be_bytes([*high, *low]);
                    self.pointer = *register;
                    self.bus.write_word(address, *register, word).map_err(kind)?;
                }
                Operation::Write(_) => return Err(ErrorKind::Other),
                Operation::Read(into) => {
                    self.bus.bytes(address, self.pointer, into).map_err(kind)?;
                }
            }
        }
        Ok(())
    }
}

/// Our reading of a chip, after it has been set up and `change` has been done to it.
pub(super) fn ours(
    bus: &FakeBus,
    chip: Chip,
    ohms: f64,
    change: impl FnOnce(&mut FakeChip),
) -> [Supply; INLETS] {
    let mut wire = bus.clone();
    let by = [Correction { ohms, scale: 1.0 }; INLETS];
    let mut monitor = Monitor::new(facts(chip), 0x40, by, false);
    assert_eq!(monitor.read(&mut wire, Mono::at_s(0.0))[0].volts, Err(Gap::NotReady));
    bus.chip(0x40, |fake| {
        change(fake);
        fake.ready();
    });
    monitor.read(&mut wire, Mono::at_s(1.0))
}

proptest! {
    #[test]
    fn ina226(shunt in -32766_i16..32767, bus in 0_u16..32767, milliohm in 1_u32..200) {
        let ohms = f64::from(milliohm) * 1e-3;
        let wire = FakeBus::with([(0x40, FakeChip::new(Chip::Ina226))]);
        let mut oracle = ina226::INA226::new(Hal::on(&wire), 0x40);
        oracle.callibrate(ohms, 0.08192 / ohms).unwrap();
        let got = ours(&wire, Chip::Ina226, ohms, |fake| fake.measure(shunt, bus))[0];
        let (volts, amps) = (got.volts.unwrap().si(), got.amps.unwrap().si());
        prop_assert!((volts * 1e3 - oracle.bus_voltage_millivolts().unwrap()).abs() < 1e-9);
        prop_assert!(
            (amps * ohms * 1e6 - oracle.shunt_voltage_microvolts().unwrap()).abs() < 1e-6
        );
        // Its current went through the chip's calibration, which rounds twice: down to a whole
        // calibration (2048 here, or one less) and down to a whole count.
        let step = 0.08192 / ohms / 32768.0;
        let theirs = oracle.current_amps().unwrap().unwrap();
        prop_assert!((amps - theirs).abs() <= amps.abs() / 2047.0 + step, "{amps} {theirs}");
        let theirs = oracle.power_watts().unwrap().unwrap();
        let watts = got.watts.unwrap().si().abs();
        let allowed = watts / 2047.0 + step * volts + 25.0 * step;
        if 0.08192 / ohms * volts < 65535.0 * 25.0 * step {
            prop_assert!((watts - theirs).abs() <= allowed, "{watts} {theirs}");
        }
    }

    #[test]
    fn ina219(shunt in -31999_i16..32000, bus in 0_u16..8000) {
        use ina219::{address::Address, calibration::{IntCalibration, MicroAmpere}};
        let wire = FakeBus::with([(0x40, FakeChip::new(Chip::Ina219))]);
        // 0.1 Ω and 100 µA: calibration 4096.
        let calibration = IntCalibration::new(MicroAmpere(100), 100_000).unwrap();
        let mut oracle = ina219::SyncIna219::new_unchecked(
            Hal::on(&wire),
            Address::from_byte(0x40).unwrap(),
            calibration,
        );
        oracle.calibrate(calibration).unwrap();
        let got = ours(&wire, Chip::Ina219, 0.1, |fake| fake.measure(shunt, bus))[0];
        let theirs = oracle.next_measurement().unwrap().expect("the ready bit is set");
        let (volts, amps) = (got.volts.unwrap().si(), got.amps.unwrap().si());
        prop_assert!((volts * 1e3 - f64::from(theirs.bus_voltage.voltage_mv())).abs() < 1e-9);
        let drop_uv = f64::from(theirs.shunt_voltage.shunt_voltage_uv());
        prop_assert!((amps * 0.1e6 - drop_uv).abs() < 1e-6);
        prop_assert!((amps * 1e6 - theirs.current.0 as f64).abs() < 1e-3);
        // Power truncates to 2 mW; the crate takes the register as signed, so keep below its half.
        let watts = got.watts.unwrap().si().abs();
        if watts < 65.0 {
            prop_assert!((watts * 1e6 - theirs.power.0 as f64).abs() <= 2001.0);
        }
    }

    #[test]
    fn ina228(
        shunt in -524_287_i32..524_287,
        bus in 0_u32..524_287,
        low in 0_u64..16,
        energy in 0_u64..1 << 40,
        milliohm in 1_u32..200,
    ) {
        let ohms = f64::from(milliohm) * 1e-3;
        let wire = FakeBus::with([(0x40, FakeChip::new(Chip::Ina228))]);
        let mut oracle = ina228::Ina228::new(Hal::on(&wire), 0x40);
        let got = ours(&wire, Chip::Ina228, ohms, |fake| {
            let shunt = u64::from(shunt.cast_unsigned() & 0xF_FFFF);
            fake.registers.insert(4, shunt << 4 | low);
            fake.registers.insert(7, shunt << 4 | low); // CURRENT, with SHUNT_CAL 4096
            fake.registers.insert(5, u64::from(bus) << 4 | low);
            fake.registers.insert(9, energy);
        })[0];
        let (volts, amps) = (got.volts.unwrap().si(), got.amps.unwrap().si());
        // The crate works in 32-bit floats: seven digits.
        let same = |ours: f64, theirs: f64| (ours - theirs).abs() <= ours.abs() * 4e-7 + 1e-12;
        prop_assert!(same(volts, f64::from(oracle.bus_voltage().unwrap())));
        prop_assert!(same(amps * ohms, f64::from(oracle.shunt_voltage().unwrap())));
        oracle.calibrate((0.163_84 / ohms) as f32, ohms as f32).unwrap();
        prop_assert!(same(amps, f64::from(oracle.current().unwrap())));
        let step = facts(Chip::Ina228).counter.unwrap().field.step / ohms;
        prop_assert!(same(energy as f64 * step, oracle.energy().unwrap()));
    }
}

#[test]
fn identification_agrees() {
    let wire =
        FakeBus::with([(0x40, FakeChip::new(Chip::Ina226)), (0x41, FakeChip::new(Chip::Ina228))]);
    let mut oracle = ina226::INA226::new(Hal::on(&wire), 0x40);
    let identity = INA226.identity.unwrap();
    assert_eq!(oracle.manufacturer_id().unwrap(), MAKER);
    assert_eq!(oracle.die_id().unwrap() & identity.mask, identity.value);
    let mut oracle = ina228::Ina228::new(Hal::on(&wire), 0x41);
    assert_eq!((ina228::MANUFACTURER_ID, ina228::DEVICE_ID), (MAKER, 0x228));
    assert_eq!(oracle.manufacturer_id().unwrap(), MAKER);
    assert_eq!(oracle.device_id().unwrap() << 4, INA228.identity.unwrap().value);
}

#[test]
fn our_setting_words_say_the_same_to_the_crates() {
    let wire = FakeBus::with([(0x40, FakeChip::new(Chip::Ina226))]);
    wire.chip(0x40, |fake| _ = fake.registers.insert(0, u64::from(INA226.tell().ours)));
    let config = ina226::INA226::new(Hal::on(&wire), 0x40).configuration().unwrap().unwrap();
    assert_eq!(
        config,
        ina226::Config {
            avg: ina226::AVG::_512,
            vbusct: ina226::VBUSCT::_588us,
            vshct: ina226::VSHCT::_1100us,
            mode: ina226::MODE::ShuntBusVoltageContinuous,
        }
    );
    let wire = FakeBus::with([(0x40, FakeChip::new(Chip::Ina228))]);
    ina228::Ina228::new(Hal::on(&wire), 0x40)
        .configure(
            ina228::OperatingMode::ContinuousBusShunt,
            ina228::ConversionTime::Us540,
            ina228::ConversionTime::Us1052,
            ina228::ConversionTime::Us1052,
            ina228::AveragingCount::N512,
        )
        .unwrap();
    assert_eq!(wire.lock().writes, [(0x40, 1, INA228.tell().ours)]);
    let config = ina219::configuration::Configuration::from_bits(INA219.tell().ours);
    assert_eq!(config.shunt_voltage_range, ina219::configuration::ShuntVoltageRange::Fsr320mv);
    assert_eq!(config.bus_voltage_range, ina219::configuration::BusVoltageRange::Fsr32v);
    assert_eq!(config.shunt_resolution, ina219::configuration::Resolution::Avg128);
    assert_eq!(config.bus_resolution, ina219::configuration::Resolution::Avg128);
}
