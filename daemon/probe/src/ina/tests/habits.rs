//! How a chip is treated: set up only when it has proved itself, believed only when it has a
//! result, watched for resets, and never a reason to panic.

use proptest::prelude::*;
use reckon::{
    reading::Gap,
    time::Mono,
    units::{Joules, Volts, Watts},
};

use super::{
    super::{
        energy_count::EnergyCount,
        identify::{Verdict, ask},
        monitor::{Correction, INLETS, Monitor},
        *,
    },
    oracles::ours,
};
use crate::{
    bus::{
        Trouble,
        fake::{FakeBus, FakeChip},
    },
    source::Supply,
};

const EVERY: [Chip; 5] = [Chip::Ina219, Chip::Ina226, Chip::Ina228, Chip::Ina260, Chip::Ina3221];

/// A chip at 40h with its monitor.
struct Bench {
    bus: FakeBus,
    monitor: Monitor,
    second: f64,
}

impl Bench {
    fn new(chip: Chip) -> Self {
        let by = [Correction { ohms: 0.1, scale: 1.0 }; INLETS];
        Self {
            bus: FakeBus::with([(0x40, FakeChip::new(chip))]),
            monitor: Monitor::new(facts(chip), 0x40, by, false),
            second: 0.0,
        }
    }

    /// Set up and with a first result.
    fn running(chip: Chip) -> Self {
        let mut bench = Self::new(chip);
        bench.next();
        bench.bus.chip(0x40, FakeChip::ready);
        assert!(bench.next().volts.is_ok(), "{chip:?}");
        bench
    }

    /// The next second's reading of the first channel.
    fn next(&mut self) -> Supply {
        self.second += 1.0;
        self.monitor.read(&mut self.bus.clone(), Mono::at_s(self.second))[0]
    }

    fn set(&self, register: u8, value: u64) {
        self.bus.chip(0x40, |fake| _ = fake.registers.insert(register, value));
    }
}

#[test]
fn every_chip_is_set_up_once_and_read_when_it_has_a_result() {
    for chip in EVERY {
        let mut bench = Bench::new(chip);
        let first = bench.next();
        assert_eq!(first.volts, Err(Gap::NotReady), "{chip:?}");
        assert_eq!(bench.next().amps, Err(Gap::NotReady), "{chip:?}: no result yet");
        bench.bus.chip(0x40, FakeChip::ready);
        for _ in 0..5 {
            let look = bench.next();
            assert_eq!((look.volts.map(Volts::si), look.looks), (Ok(0.0), 1), "{chip:?}");
        }
        let want: Vec<_> =
            facts(chip).settings.iter().map(|set| (0x40, set.register, set.ours)).collect();
        assert_eq!(bench.bus.lock().writes, want, "{chip:?}: written once, and nothing else");
        assert_eq!(bench.monitor.resets(), 0);
    }
}

#[test]
fn a_chip_that_never_says_ready_is_believed_after_three_times_its_time() {
    // The kernel's emulated adapter has no conversions and sets no such bit.
    let mut bench = Bench::new(Chip::Ina226);
    let seconds = (1..=6).position(|_| bench.next().volts.is_ok());
    assert_eq!(seconds, Some(3));
}

#[test]
fn a_mark_that_stands_too_early_is_not_believed() {
    // The INA226 takes 864 ms for a result with our settings.
    let mut bench = Bench::new(Chip::Ina226);
    bench.next();
    bench.bus.chip(0x40, FakeChip::ready);
    bench.second -= 0.5;
    assert_eq!(bench.next().volts, Err(Gap::NotReady));
    assert!(bench.next().volts.is_ok());
}

#[test]
fn a_reset_behind_our_back_is_noticed_within_the_same_second() {
    for chip in EVERY {
        let mut bench = Bench::running(chip);
        bench.bus.power_cycle(0x40);
        let reset = bench.next();
        assert_eq!((reset.volts, reset.amps), (Err(Gap::Resetting), Err(Gap::Resetting)));
        assert_eq!(bench.next().volts, Err(Gap::Resetting), "{chip:?}: first result to come");
        bench.bus.chip(0x40, FakeChip::ready);
        assert!(bench.next().volts.is_ok(), "{chip:?}");
        assert_eq!(bench.monitor.resets(), 1);
        let tell = facts(chip).tell();
        let held = bench.bus.lock().chips[&0x40].registers[&tell.register];
        assert_eq!(held, u64::from(tell.ours), "{chip:?}");
    }
}

#[test]
fn a_second_costs_one_word_more_than_the_measurement() {
    for chip in EVERY {
        let mut bench = Bench::running(chip);
        bench.next();
        bench.bus.lock().reads.clear();
        bench.next();
        let channels = facts(chip).inlets.len();
        let counter = usize::from(facts(chip).counter.is_some());
        assert_eq!(bench.bus.lock().reads.len(), 1 + 2 * channels + counter, "{chip:?}");
    }
}

#[test]
fn settings_of_all_zero_are_set_up_again_where_the_chip_proves_itself() {
    for chip in [Chip::Ina226, Chip::Ina228, Chip::Ina260, Chip::Ina3221] {
        let mut bench = Bench::running(chip);
        bench.set(facts(chip).tell().register, 0);
        assert_eq!(bench.next().volts, Err(Gap::Resetting), "{chip:?}");
        bench.bus.chip(0x40, FakeChip::ready);
        assert!(bench.next().volts.is_ok(), "{chip:?}");
    }
}

#[test]
fn another_chip_in_its_place_is_not_written_to() {
    for chip in EVERY {
        let mut bench = Bench::running(chip);
        bench.bus.lock().writes.clear();
        let stranger = FakeChip::stranger(&[(0, 0), (1, 7), (2, 0x1234)], false);
        bench.bus.lock().chips.insert(0x40, stranger);
        for _ in 0..3 {
            assert_eq!(bench.next().volts, Err(Gap::Garbled), "{chip:?}");
        }
        assert_eq!(bench.bus.lock().writes, [], "{chip:?}");
        bench.bus.lock().chips.insert(0x40, FakeChip::new(chip));
        assert_eq!(bench.next().volts, Err(Gap::Resetting), "{chip:?}: it is back");
    }
}

#[test]
fn trouble_on_the_bus_has_its_reason_and_passes() {
    for (trouble, gap) in [
        (Trouble::NoAcknowledge, Gap::NoAnswer),
        (Trouble::HeldLow, Gap::NoAnswer),
        (Trouble::NoBus, Gap::Gone),
        (Trouble::Denied, Gap::Denied),
    ] {
        let mut bench = Bench::running(Chip::Ina226);
        bench.bus.lock().trouble = Some(trouble);
        let look = bench.next();
        assert_eq!((look.volts, look.amps, look.watts), (Err(gap), Err(gap), Err(gap)));
        assert_eq!(bench.monitor.trouble(), Some(trouble));
        bench.bus.lock().trouble = None;
        assert!(bench.next().volts.is_ok(), "{trouble:?} passes");
        assert_eq!(bench.monitor.trouble(), None);
    }
}

#[test]
fn a_driver_that_had_the_chip_for_a_while_is_no_reset() {
    let mut bench = Bench::running(Chip::Ina226);
    bench.bus.lock().trouble = Some(Trouble::DriverOwns);
    assert_eq!(bench.next().volts, Err(Gap::Gone));
    bench.bus.lock().trouble = None;
    bench.set(0, 0x4527); // what the kernel's driver writes (Linux, drivers/hwmon/ina2xx.c)
    assert_eq!(bench.next().volts, Err(Gap::NotReady));
    bench.bus.chip(0x40, FakeChip::ready);
    assert!(bench.next().volts.is_ok());
    assert_eq!(bench.monitor.resets(), 0);
}

/// Full scales at 0.1 Ω (the INA260's shunt is inside): 320 mV by SBOS448G section 8.6.3.1; 81.92 mV
/// by SBOS547B, shunt voltage register; 163.84 mV by SLYS021A table 7-9; 32767 steps of 1.25 mA by
/// SBOS656C, current register; 163.8 and -163.84 mV by SBOS576B section 8.6.2.
#[test]
fn saturation_marks_the_current_and_leaves_voltage_and_bound() {
    for (chip, register, raw, end_a) in [
        (Chip::Ina219, 1, 0x7D00, 3.2),
        (Chip::Ina226, 1, 0x7FFF, 0.8192),
        (Chip::Ina226, 1, 0x8001, -0.8192),
        (Chip::Ina228, 4, 0x7F_FFF0, 1.6384),
        (Chip::Ina228, 4, 0x80_0000, -1.6384),
        (Chip::Ina260, 1, 0x7FFF, 40.958_75),
        (Chip::Ina3221, 1, 0x7FF8, 1.638),
        (Chip::Ina3221, 1, 0x8000, -1.6384),
    ] {
        let mut bench = Bench::running(chip);
        bench.set(register, raw);
        let look = bench.next();
        assert_eq!((look.amps, look.watts), (Err(Gap::OverRange), Err(Gap::OverRange)));
        let (volts, bound) = (look.volts.unwrap(), look.at_least.unwrap());
        assert!((bound.amps.si() - end_a).abs() < 5e-5, "{chip:?}: {bound:?} at {end_a} A");
        assert_eq!(bound.watts, volts * bound.amps, "{chip:?}");
        assert_eq!(bound.end.si(), bound.amps.si().abs(), "{chip:?}");
    }
    // INA226 at 0.1 Ω: 81.92 mV / 0.1 Ω, the range of its data sheet.
    let full = facts(Chip::Ina226).inlets[0].sense.field();
    assert!((full.ends[1] as f64 * full.step / 0.1 - 0.819).abs() < 1e-3);
}

#[test]
fn channels_of_the_ina3221_are_kept_apart_and_scaled_apart() {
    let by = [1.0, -2.0, 1.0].map(|scale| Correction { ohms: 0.1, scale });
    let bus = FakeBus::with([(0x40, FakeChip::new(Chip::Ina3221))]);
    let mut monitor = Monitor::new(&INA3221, 0x40, by, false);
    monitor.read(&mut bus.clone(), Mono::at_s(0.0));
    bus.chip(0x40, |fake| {
        // 40 µV and 8 mV a count, in bits 15 to 3 (SBOS576B section 8.6.2).
        for (register, count) in [(1, 100_i16), (2, 625), (3, 50), (4, 626), (5, -30), (6, 627)] {
            fake.registers.insert(register, u64::from((count * 8).cast_unsigned()));
        }
        fake.ready();
    });
    let looks = monitor.read(&mut bus.clone(), Mono::at_s(1.0));
    for (look, (volts, amps)) in looks.iter().zip([(5.0, 0.04), (5.008, -0.04), (5.016, -0.012)]) {
        assert!((look.volts.unwrap().si() - volts).abs() < 1e-9);
        assert!((look.amps.unwrap().si() - amps).abs() < 1e-9);
        assert!((look.watts.unwrap().si() - volts * amps).abs() < 1e-9);
    }
}

#[test]
fn a_bus_without_long_transfers_gives_the_upper_bytes_and_no_count() {
    let bus = FakeBus::with([(0x40, FakeChip::new(Chip::Ina228))]);
    bus.lock().words_only = true;
    // SLYS021A table 8-4: 48 V, 97.2 mV. A word is the upper 16 of 24 bits: 5 µV a count.
    let look = ours(&bus, Chip::Ina228, 16.2e-3, |fake| {
        fake.registers.insert(4, 0x4B_F000);
        fake.registers.insert(5, 0x3C_0000);
        fake.registers.insert(9, 1_061_683_200);
    })[0];
    assert!((look.amps.unwrap().si() - 6.0).abs() < 5e-6 / 16.2e-3);
    assert!((look.volts.unwrap().si() - 48.0).abs() < 3.2e-3);
    assert_eq!(look.counted, None);
}

/// Energy of an INA228 with 0.1 Ω, in counts.
fn counts(joules: f64) -> u64 {
    (joules / (INA228.counter.unwrap().field.step / 0.1)).round() as u64
}

#[test]
fn the_chips_own_energy_count_is_believed_across_wrap_and_reset() {
    let mut bench = Bench::running(Chip::Ina228);
    let top = 1_u64 << 40;
    let joules = |look: Supply| look.counted.unwrap().map(Joules::si);
    // 1 V over 0.1 Ω would not fit; 10 mV is 0.1 A, at 48 V: 4.8 W.
    bench.set(4, 32_000 << 4);
    bench.set(5, 245_760 << 4);
    assert_eq!(joules(bench.next()), Ok(0.0));
    bench.set(9, counts(4.8));
    let one = joules(bench.next()).unwrap();
    assert!((one - 4.8).abs() < 1e-3, "{one}");
    // A reset: the count starts anew, what came before stays.
    bench.bus.power_cycle(0x40);
    assert!(joules(bench.next()).is_err());
    bench.bus.chip(0x40, FakeChip::ready);
    bench.set(4, 32_000 << 4);
    bench.set(5, 245_760 << 4);
    bench.set(9, counts(4.8));
    let two = joules(bench.next()).unwrap();
    assert!((two - 9.6).abs() < 2e-3, "{two}");
    // Over the top (SLYS021A: ENERGY runs over at 2^40).
    let mut energy_count = EnergyCount::new(INA228.counter.unwrap(), 0.1);
    let watts = Ok(Watts::of(4.8));
    energy_count.add(top - counts(2.4), watts, Mono::at_s(0.0)).unwrap();
    let over = energy_count.add(counts(2.4), watts, Mono::at_s(1.0)).unwrap().si();
    assert!((over - 4.8).abs() < 1e-3, "{over}");
}

#[test]
fn energy_that_flows_back_counts_against() {
    // ENERGY adds up the size of the power (SLYS021A: POWER is never negative).
    let mut energy_count = EnergyCount::new(INA228.counter.unwrap(), 0.1);
    let mut at = |second: f64, joules: f64, watts: f64| {
        energy_count.add(counts(joules), Ok(Watts::of(watts)), Mono::at_s(second)).unwrap().si()
    };
    at(0.0, 0.0, 5.0);
    assert!((at(1.0, 5.0, 5.0) - 5.0).abs() < 1e-3);
    assert!((at(2.0, 9.0, -3.0) - 6.0).abs() < 1e-3, "turned round: mean of both powers");
    assert!((at(3.0, 12.0, -3.0) - 3.0).abs() < 1e-3);
}

#[test]
fn a_count_that_no_power_explains_is_not_added() {
    let mut energy_count = EnergyCount::new(INA228.counter.unwrap(), 0.1);
    let watts = Ok(Watts::of(4.8));
    energy_count.add(0, watts, Mono::at_s(0.0)).unwrap();
    assert_eq!(energy_count.add(counts(1e6), watts, Mono::at_s(1.0)), Err(Gap::Implausible));
    let next = energy_count.add(counts(1e6 + 4.8), watts, Mono::at_s(2.0)).unwrap().si();
    assert!((next - 4.8).abs() < 1e-3, "{next}");
}

#[test]
fn identification_by_reads_alone() {
    for chip in EVERY {
        let bus = FakeBus::with([(0x40, FakeChip::new(chip))]);
        let told = ask(&mut bus.clone(), 0x40, Some(chip));
        assert_eq!(told, Ok(Verdict::Is(chip)));
        let unprompted = ask(&mut bus.clone(), 0x40, None);
        let want = if chip == Chip::Ina219 { Verdict::Stranger } else { Verdict::Is(chip) };
        assert_eq!(unprompted, Ok(want));
        assert_eq!(bus.lock().writes, [], "{chip:?}");
    }
    // The wrong chip in the settings.
    let bus = FakeBus::with([(0x40, FakeChip::new(Chip::Ina226))]);
    assert_eq!(ask(&mut bus.clone(), 0x40, Some(Chip::Ina260)), Ok(Verdict::Stranger));
    assert_eq!(
        ask(&mut bus.clone(), 0x40, Some(Chip::Ina219)),
        Ok(Verdict::Unlike { config: 0x4127 })
    );
    assert_eq!(bus.lock().writes, []);
}

#[test]
fn an_answer_that_no_such_chip_gives_ends_the_questions() {
    // Bit 15 of register 0 is 'reset' in all five sheets and reads 0.
    let all_ones = FakeBus::with([(0x40, FakeChip::stranger(&[], false))]);
    assert_eq!(ask(&mut all_ones.clone(), 0x40, None), Ok(Verdict::Stranger));
    assert_eq!(all_ones.lock().reads, [(0x40, 0x00)]);
}

#[test]
fn a_humidity_sensor_is_not_asked_its_reset_command() {
    // At 40h: command FEh is 'soft reset' there (HTU21D and Si7021 data sheets: from memory).
    let bus = FakeBus::with([(0x40, FakeChip::stranger(&[(0xE7, 0x3A)], true))]);
    assert_eq!(ask(&mut bus.clone(), 0x40, None), Err(Trouble::NoAcknowledge));
    assert_eq!(bus.lock().reads, [(0x40, 0x00)]);
}

fn a_chip() -> impl Strategy<Value = Chip> {
    prop::sample::select(EVERY.to_vec())
}

proptest! {
    #[test]
    fn what_is_encoded_is_decoded(chip in a_chip(), which in 0_usize..3, seed: i64, noise: u64) {
        let inlets = facts(chip).inlets;
        let inlet = &inlets[which % inlets.len()];
        for field in [inlet.sense.field(), &inlet.bus] {
            let span = field.possible[1] - field.possible[0] + 1;
            let count = field.possible[0] + seed.rem_euclid(span);
            let raw = field.raw(count);
            prop_assert_eq!(field.count(raw), count);
            // Bits outside of the field change nothing.
            let outside = noise & !(((1 << field.bits) - 1) << field.low);
            prop_assert_eq!(field.count(raw | outside), count);
            prop_assert!(raw >> (8 * field.bytes) == 0, "fits its register");
        }
    }

    #[test]
    fn nothing_is_written_to_what_has_not_proved_itself(
        registers in prop::collection::btree_map(any::<u8>(), any::<u16>(), 0..300),
        refuses: bool,
        chip in a_chip(),
    ) {
        let registers: Vec<(u8, u64)> =
            registers.into_iter().map(|(at, word)| (at, u64::from(word))).collect();
        let fake = FakeChip::stranger(&registers, refuses);
        let word = |at: u8| fake.registers.get(&at).copied();
        let identity = |chip: Chip| facts(chip).identity.is_some_and(|identity| {
            word(identity.maker) == Some(u64::from(MAKER))
                && word(identity.die).is_some_and(|die| {
                    die & u64::from(identity.mask) == u64::from(identity.value)
                })
        });
        let proved = identity(chip)
            || chip == Chip::Ina219 && [Some(0x399F), Some(0x3FFF)].contains(&word(0));
        prop_assume!(!proved);
        let bus = FakeBus::with([(0x40, fake)]);
        let verdict = ask(&mut bus.clone(), 0x40, Some(chip));
        prop_assert_ne!(verdict, Ok(Verdict::Is(chip)));
        // Even a monitor that is put on it wrongly writes nothing.
        let by = [Correction { ohms: 0.1, scale: 1.0 }; INLETS];
        let mut monitor = Monitor::new(facts(chip), 0x40, by, false);
        for second in 0..4 {
            let look = monitor.read(&mut bus.clone(), Mono::at_s(f64::from(second)))[0];
            prop_assert!(look.volts.is_err());
        }
        prop_assert_eq!(&bus.lock().writes, &Vec::new());
    }

    #[test]
    fn garbage_never_panics_and_never_leaves_the_range(
        chip in a_chip(),
        changes in prop::collection::vec((0_u8..0x10, any::<u64>(), 0_u8..8), 1..60),
        ohms in 1e-6_f64..10.0,
        scale in -1000.0_f64..1000.0,
    ) {
        let bus = FakeBus::with([(0x40, FakeChip::new(chip))]);
        let by = [Correction { ohms, scale }; INLETS];
        let mut monitor = Monitor::new(facts(chip), 0x40, by, false);
        for (second, (register, value, event)) in changes.into_iter().enumerate() {
            match event {
                0 => bus.power_cycle(0x40),
                1 => bus.lock().trouble = Some(Trouble::Failed(5)),
                2 => bus.lock().trouble = None,
                3 => bus.chip(0x40, |fake| fake.answers = !fake.answers),
                _ => bus.chip(0x40, |fake| {
                    fake.registers.insert(register, value);
                    fake.ready();
                }),
            }
            let looks = monitor.read(&mut bus.clone(), Mono::at_s(second as f64));
            for look in looks {
                // No chip of the table can see more than 102.4 V.
                prop_assert!(look.volts.is_err() || look.volts.unwrap().si().abs() <= 102.5);
            }
            let _ = monitor.glance(&mut bus.clone());
        }
    }

    #[test]
    fn every_setting_word_has_a_pace(word: u16, chip in a_chip()) {
        let pace = Pace::from_config(chip, word);
        prop_assert!(pace.window() <= Duration::from_secs(60));
    }
}
