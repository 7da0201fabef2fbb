//! Every programming example that the data sheets print, held against the table. Sheets: INA219
//! SBOS448G, INA226 SBOS547B, INA228 SLYS021A, INA260 SBOS656C, INA3221 SBOS576B.

use std::time::Duration;

use reckon::{
    reading::{Gap, Got},
    time::Mono,
    units::Watts,
};

use super::super::{energy_count::EnergyCount, *};
use crate::bus::fake::FakeChip;

const SHUNT: fn(Chip) -> Field = |chip| *facts(chip).inlets[0].sense.field();
const BUS: fn(Chip) -> Field = |chip| facts(chip).inlets[0].bus;

/// A field of a register that the program itself does not read.
const fn other(register: u8, bytes: u8, bits: u8, signed: bool, step: f64) -> Field {
    let whole = [-(1 << 40), 1 << 40];
    Field { register, bytes, low: 0, bits, signed, step, ends: whole, possible: whole }
}

fn near(got: f64, want: f64) -> bool {
    (got - want).abs() <= want.abs() * 1e-12 + 1e-15
}

#[test]
fn register_contents_become_the_printed_quantities() {
    use Chip::{Ina219, Ina226, Ina228, Ina260, Ina3221};
    let power_260 = other(3, 2, 16, false, 10e-3);
    let temperature_228 = other(6, 2, 16, true, 7.8125e-3);
    let rows: &[(Field, u64, f64, &str)] = &[
        (SHUNT(Ina219), 0x07D0, 20e-3, "INA219 table 8, shunt voltage"),
        (BUS(Ina219), 0x5D98, 11.98, "INA219 table 8, bus voltage 0BB3h shifted left by 3"),
        (BUS(Ina219), 0x7D00, 16.0, "INA219 section 8.6.3.2, 0FA0h is 16 V"),
        (BUS(Ina219), 0x2802, 5.12, "worked out from figure 24: bit 1 is a flag, not voltage"),
        (SHUNT(Ina226), 0x1F40, 20e-3, "INA226 table 6-1, shunt voltage"),
        (BUS(Ina226), 0x2570, 11.98, "INA226 table 6-1, bus voltage"),
        (SHUNT(Ina226), 0x8300, -80e-3, "INA226 shunt voltage register, example of -80 mV"),
        (SHUNT(Ina226), 0x7D00, 80e-3, "INA226 table 8-4, alert limit in the shunt's format"),
        (SHUNT(Ina228), 0x004B_F000, 0.0972, "INA228 table 8-4, VSHUNT 311040"),
        (SHUNT(Ina228), 0x00B4_1000, -97.2e-3, "INA228 section 8.2.2.5, VSHUNT B4100h"),
        (BUS(Ina228), 0x003C_0000, 48.0, "INA228 table 8-4, VBUS 245760"),
        (SHUNT(Ina228), 0x7E90 << 8, 162e-3, "INA228 section 8.2.2.4, SOVL: the upper 16 bits"),
        (BUS(Ina228), 0x4100 << 8, 52.0, "INA228 section 8.2.2.4, BOVL: the upper 16 bits"),
        (temperature_228, 3200, 25.0, "INA228 table 8-4, DIETEMP"),
        (SHUNT(Ina260), 0x2710, 12.5, "INA260 section 8.5.1, current"),
        (BUS(Ina260), 0x2570, 11.98, "INA260 section 8.5.1, bus voltage"),
        (power_260, 0x3A7F, 149.75, "INA260 section 8.5.1, power"),
        (power_260, 0xA3D7, 419.43, "INA260 section 8.6, the most that POWER holds"),
        (BUS(Ina260), 0x1130, 5.5, "INA260 tables 9 to 12, alert limit in the bus's format"),
        (SHUNT(Ina3221), 0xC180, -80e-3, "INA3221 section 8.6.2, -80 mV"),
        (
            SHUNT(Ina3221),
            0x3E80,
            80e-3,
            "INA3221 section 8.6.2, +80 mV; table 25 means the same \
                                         and prints the unshifted 7D0h",
        ),
        (SHUNT(Ina3221), 0x07D0, 10e-3, "what table 25's printed 7D0h would be if written raw"),
        (BUS(Ina3221), 0x2710, 10.0, "INA3221 register 10h at power-on, 10 V"),
        (BUS(Ina3221), 0x2328, 9.0, "INA3221 register 11h at power-on, 9 V"),
        (SHUNT(Ina3221), 0xFF10, -1.2e-3, "worked out from the register's format: -30 x 40 uV"),
    ];
    for (field, raw, want, source) in rows {
        let got = field.quantity(*raw).unwrap_or(f64::NAN);
        assert!(near(got, *want), "{source}: {raw:X}h gave {got}, want {want}");
    }
}

#[test]
fn full_scale_is_over_range_and_its_count_is_the_printed_one() {
    let rows: &[(Field, u64, f64, &str)] = &[
        (SHUNT(Chip::Ina219), 0x7D00, 0.32, "INA219 section 8.6.3.1, +320 mV"),
        (SHUNT(Chip::Ina219), 0x8300, -0.32, "INA219 section 8.6.3.1, -320 mV"),
        (BUS(Chip::Ina219), 0xFA00, 32.0, "INA219 section 8.6.3.2, 1F40h is 32 V"),
        (SHUNT(Chip::Ina3221), 0x7FF8, 0.1638, "INA3221 full scale, shunt"),
        (BUS(Chip::Ina3221), 0x7FF8, 32.76, "INA3221 full scale, bus"),
        (
            SHUNT(Chip::Ina226),
            0x8000,
            -81.92e-3,
            "INA226: two's complement; the sheet prints \
                                                  -81.9175 to +81.92 mV, which is turned round",
        ),
        (SHUNT(Chip::Ina226), 0x7FFF, 81.9175e-3, "INA226, the other end"),
        (SHUNT(Chip::Ina228), 0x80_0000, -163.84e-3, "INA228 at ADCRANGE 0"),
    ];
    for (field, raw, want, source) in rows {
        assert_eq!(field.quantity(*raw), Err(Gap::OverRange), "{source}");
        let value = field.count(*raw) as f64 * field.step;
        assert!(near(value, *want), "{source}: {value}");
    }
}

#[test]
fn the_ina219_clips_as_its_table_7_says() {
    // SBOS448G, section 8.6.3.1 and table 7 (rows of it): mV, then the register at PGA 8, 4, 2, 1.
    let rows: &[(f64, [u64; 4])] = &[
        (320.02, [0x7D00, 0x3E80, 0x1F40, 0x0FA0]),
        (320.0, [0x7D00, 0x3E80, 0x1F40, 0x0FA0]),
        (160.02, [0x3E82, 0x3E80, 0x1F40, 0x0FA0]),
        (160.0, [0x3E80, 0x3E80, 0x1F40, 0x0FA0]),
        (80.0, [0x1F40, 0x1F40, 0x1F40, 0x0FA0]),
        (79.99, [0x1F3F, 0x1F3F, 0x1F3F, 0x0FA0]),
        (40.0, [0x0FA0, 0x0FA0, 0x0FA0, 0x0FA0]),
        (0.01, [0x0001; 4]),
        (0.0, [0x0000; 4]),
        (-0.01, [0xFFFF; 4]),
        (-40.0, [0xF060, 0xF060, 0xF060, 0xF060]),
        (-40.01, [0xF05F, 0xF05F, 0xF05F, 0xF060]),
        (-80.0, [0xE0C0, 0xE0C0, 0xE0C0, 0xF060]),
        (-160.0, [0xC180, 0xC180, 0xE0C0, 0xF060]),
        (-160.02, [0xC17E, 0xC180, 0xE0C0, 0xF060]),
        (-320.0, [0x8300, 0xC180, 0xE0C0, 0xF060]),
        (-320.01, [0x8300, 0xC180, 0xE0C0, 0xF060]),
    ];
    for (mv, registers) in rows {
        for (gain, register) in (0_u16..4).rev().zip(registers) {
            let full = ina219_full_drop(0x399F & !0x1800 | gain << 11);
            let field =
                Field { ends: [-full, full], possible: [-full, full], ..SHUNT(Chip::Ina219) };
            let seen = (mv * 100.0).round().clamp(-(full as f64), full as f64);
            assert_eq!(field.raw(seen as i64), *register, "{mv} mV at gain code {gain}");
            let want = if (mv * 100.0).round().abs() < full as f64 {
                Ok(mv * 1e-3)
            } else {
                Err(Gap::OverRange)
            };
            let got = field.quantity(*register);
            let same = match (got, want) {
                (Ok(got), Ok(want)) => near(got, want),
                (got, want) => got == want,
            };
            assert!(same, "{mv} mV at gain code {gain}: {got:?}, want {want:?}");
        }
    }
    assert_eq!(ina219_full_drop(0x019F), 4000, "INA219 table 8: 019Fh is ±40 mV");
    assert_eq!(ina219_full_drop(INA219.tell().ours), 32000, "we use ±320 mV");
    assert_eq!(INA219.tell().ours >> 13 & 1, 1, "and 32 V");
}

#[test]
fn setting_words_mean_the_printed_times() {
    let pace = |averages, sense_us, bus_us, channels| Pace {
        averages,
        sense_us,
        bus_us,
        temperature_us: 0,
        channels,
        continuous: true,
    };
    let rows: &[(Chip, u16, Pace, &str)] = &[
        (Chip::Ina219, 0x019F, pace(1, 532, 532, 1), "INA219 table 8, configuration"),
        (Chip::Ina219, 0x399F, pace(1, 532, 532, 1), "INA219 figure 19, power-on"),
        (Chip::Ina226, 0x4127, pace(1, 1100, 1100, 1), "INA226 table 6-1, configuration"),
        (Chip::Ina226, 0x4025, pace(1, 1100, 0, 1), "INA226 tables 8-1 to 8-4: shunt alone"),
        (Chip::Ina226, 0x4005, pace(1, 140, 0, 1), "INA226 tables 8-1 to 8-4: shunt alone"),
        (
            Chip::Ina228,
            0xFB68,
            Pace { temperature_us: 1052, ..pace(1, 1052, 1052, 1) },
            "INA228 section 7.6.1.2, power-on of ADC_CONFIG",
        ),
        (Chip::Ina228, 0x9B68, pace(1, 0, 1052, 1), "INA228 ADC_CONFIG, MODE 9h: bus alone"),
        (Chip::Ina228, 0xAB68, pace(1, 1052, 0, 1), "INA228 ADC_CONFIG, MODE Ah: shunt alone"),
        (Chip::Ina260, 0x6006, pace(1, 0, 140, 1), "INA260 tables 9 to 12: bus alone"),
        (Chip::Ina260, 0x6126, pace(1, 0, 1100, 1), "INA260 tables 9 to 12: bus alone"),
        (Chip::Ina3221, 0x7127, pace(1, 1100, 1100, 3), "INA3221 power-on"),
        (
            Chip::Ina3221,
            0x4125,
            pace(1, 1100, 0, 1),
            "INA3221 figure 53; captioned 588 us, but \
                                                      the word says 1.1 ms",
        ),
        (Chip::Ina3221, 0x40DD, pace(1, 588, 0, 1), "INA3221 figure 54, 588 us"),
    ];
    for (chip, word, want, source) in rows {
        assert_eq!(Pace::from_config(*chip, *word), *want, "{source}");
    }
    let windows: &[(Chip, u16, u64, &str)] = &[
        (Chip::Ina226, 0x42DF, 4704, "INA226 section 6.4.1: 588 + 588 us, 4 averages"),
        (Chip::Ina226, 0x419F, 4744, "INA226 section 6.4.1: 4156 + 588 us"),
        (Chip::Ina260, 0x62DF, 4704, "INA260 section 8.4.1: 588 + 588 us, 4 averages"),
        (Chip::Ina3221, 0x7097, 1992, "INA3221 section 8.4: three channels of 332 + 332 us"),
        (Chip::Ina3221, 0x419F, 4744, "INA3221 section 8.4: 4156 + 588 us, true of one channel"),
        (Chip::Ina3221, 0x719F, 14232, "the same of three channels, worked out"),
    ];
    for (chip, word, want_us, source) in windows {
        assert_eq!(
            Pace::from_config(*chip, *word).window(),
            Duration::from_micros(*want_us),
            "{source}"
        );
    }
}

#[test]
fn the_chips_own_current_and_power_agree_with_ours() {
    // The calibration examples. Printed: INA219 table 8, INA226 table 6-1, both 2 mΩ and 1 mA.
    let scale = |scale: f64| (scale / (1e-3 * 2e-3)) as u64;
    assert_eq!(scale(0.04096), 0x5000, "INA219 equation 1: 20480");
    assert_eq!(scale(0.00512), 0x0A00, "INA226 equation 1: 2560");
    let rows = [
        // chip, calibration, shunt, bus, current, power, step of power, printed watts
        (Chip::Ina219, 0x5000, 2000, 2995, 0x2710, 0x1766, 20e-3, 119.80),
        // The sheet prints 119.82 W beside 12B8h = 4792, but 4792 x 25 mW = 119.80 W.
        (Chip::Ina226, 0x0A00, 8000, 9584, 0x2710, 0x12B8, 25e-3, 119.80),
    ];
    for (chip, calibration, shunt, bus, current, power, power_step, printed_w) in rows {
        let mut fake = FakeChip::new(chip);
        fake.registers.insert(5, calibration);
        fake.measure(shunt, bus);
        assert_eq!((fake.registers[&4], fake.registers[&3]), (current, power), "{chip:?}");
        let amps = SHUNT(chip).quantity(fake.registers[&1]).unwrap() / 2e-3;
        let watts = amps * BUS(chip).quantity(fake.registers[&2]).unwrap();
        assert!(near(amps, 10.0), "{chip:?}: {amps} A");
        assert!((watts - power as f64 * power_step).abs() <= power_step, "{chip:?}: {watts} W");
        assert!((watts - printed_w).abs() <= power_step, "{chip:?}: {watts} W");
    }
    // INA260 section 8.5.1: 12.5 A x 11.98 V = 149.75 W.
    let amps = SHUNT(Chip::Ina260).quantity(0x2710).unwrap();
    assert!((amps * BUS(Chip::Ina260).quantity(0x2570).unwrap() - 149.75).abs() < 5e-3);
}

#[test]
fn the_ina228_design_example_comes_out() {
    // SLYS021A section 8.2.2: 10 A, 16.2 mΩ, ±163.84 mV, 48 V, 6 A for an hour.
    let (most_a, ohms) = (10.0, 16.2e-3);
    let step_a = most_a / f64::from(1 << 19);
    let shunt_cal = |step_a: f64, ohms: f64| 13107.2e6 * step_a * ohms;
    assert!(near(163.84e-3 / most_a, 16.384e-3), "equation 8; prints 16.38 mΩ");
    assert!((step_a - 19.073_486e-6).abs() < 1e-12, "equation 3");
    assert!(near(shunt_cal(step_a, ohms), f64::from(0x0FD2)), "equation 2: 4050");
    // CURRENT = VSHUNT x 4096 / SHUNT_CAL, which gives the printed 314572.
    assert_eq!(311_040 * 4096 / 4050, 314_572, "table 8-4, CURRENT");
    let amps = SHUNT(Chip::Ina228).quantity(0x4B_F000).unwrap() / ohms;
    assert!(near(amps, 6.0), "table 8-4: 6 A, ours without the calibration: {amps}");
    let watts = amps * BUS(Chip::Ina228).quantity(0x3C_0000).unwrap();
    let power_step = 3.2 * step_a;
    // The sheet's 4718604 is neither 288 W exactly (4718592) nor 314572 x 15: within 20 counts.
    assert!((watts / power_step - 4_718_604.0).abs() <= 20.0, "table 8-4, POWER: {watts}");
    // ENERGY and CHARGE of the sheet.
    let energy = other(9, 5, 40, false, 16.0 * power_step);
    assert!(near(energy.quantity(1_061_683_200).unwrap(), 1_036_800.0), "table 8-4, ENERGY");
    let charge = other(10, 5, 40, true, step_a);
    assert!(near(charge.quantity(1_132_462_080).unwrap(), 21_600.0), "table 8-4, CHARGE");
    // Ours for every shunt: one count of CURRENT is one count of VSHUNT.
    for ohms in [0.0005, 0.002, 0.015, 0.0162, 0.1] {
        let cal = shunt_cal(0.163_84 / ohms / f64::from(1 << 19), ohms);
        assert!((cal - 4096.0).abs() < 1e-6, "{ohms} Ω: {cal}");
    }
    assert!(INA228.settings.contains(&Setting { register: 2, power_on: 0x1000, ours: 4096 }));
    // The same hour counted with our calibration: the count is smaller by 4050/4096, the step
    // larger, and the joules are the sheet's.
    let mut energy_count = EnergyCount::new(INA228.counter.unwrap(), ohms);
    let watts: Got<Watts> = Ok(Watts::of(watts));
    assert_eq!(energy_count.add(0, watts, Mono::at_s(0.0)).unwrap().si(), 0.0);
    let got =
        energy_count.add(1_061_683_200 * 4050 / 4096, watts, Mono::at_s(3600.0)).unwrap().si();
    assert!((got - 1_036_800.0).abs() < 0.01, "{got} J");
}

#[test]
fn our_settings_suit_one_reading_a_second() {
    for chip in ALL {
        let setting = chip.tell();
        let pace = Pace::from_config(chip.chip, setting.ours);
        assert!(pace.continuous && pace.sense_us > 0 && pace.bus_us > 0, "{}", chip.name);
        assert_ne!(setting.ours, setting.power_on, "{} can be told from reset", chip.name);
        let between = chip.sample_every.unwrap_or(Duration::from_secs(1));
        let window = chip.window();
        assert!(window + window / 10 < between, "{}: fresh for every look", chip.name);
        let least = if chip.sample_every.is_some() { 130 } else { 800 };
        assert!(window >= Duration::from_millis(least), "{}: {window:?}", chip.name);
        assert_eq!(pace.channels as usize, chip.inlets.len(), "{}", chip.name);
        assert_eq!(setting.ours >> 15 & 1, u16::from(chip.chip == Chip::Ina228), "no reset bit");
    }
}
