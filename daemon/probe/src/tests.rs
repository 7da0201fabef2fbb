//! Whole boards made of files: what a correct reader finds on each.

use std::sync::Arc;

use proptest::prelude::*;
use reckon::{
    draw::BoardKind,
    reading::{Flow, Gap, Role, SourceReport, SourceState, Strain, SupplyReading, Sweep},
    time::Mono,
    units::{Amps, Celsius, Hertz, Joules, Ohms, Share, Volts, Watts},
};

use crate::{
    SensorWant, Sweeper, Want,
    root::Root,
    syscalls::{Firmware, Syscalls},
    trees::{Fault, FaultyFiles, Tree, boards, still},
};

fn sweeper(tree: &Tree, want: Want) -> Sweeper {
    let want = Want { sysroot: Some(tree.root().to_owned()), ..want };
    Sweeper::new(want, still())
}

fn faulty(tree: &Tree, files: &FaultyFiles) -> Sweeper {
    let want = Want { sysroot: Some(tree.root().to_owned()), ..Want::default() };
    let root = Root::new(Some(tree.root())).with_files(Arc::new(files.clone()));
    let syscalls = Syscalls::for_root(&root);
    Sweeper::with(root, want, still(), syscalls)
}

fn one_sweep(board: &str) -> Sweep {
    sweeper(&Tree::of_board(board), Want::default()).sweep(Mono::at_s(1000.0))
}

fn shunt_of(ohms: f64) -> Want {
    let sensor =
        SensorWant { matches: "1-0040".into(), shunt: Ohms::new(ohms), ..SensorWant::default() };
    Want { sensors: vec![sensor], ..Want::default() }
}

fn report<'a>(sweep: &'a Sweep, id: &str) -> &'a SourceReport {
    sweep.sources.iter().find(|source| source.id == id).unwrap_or_else(|| {
        panic!("no {id} in {:?}", sweep.sources.iter().map(|s| &s.id).collect::<Vec<_>>())
    })
}

fn supply<'a>(sweep: &'a Sweep, id: &str) -> &'a SupplyReading {
    let at = sweep.sources.iter().position(|source| source.id == id);
    let at = at.unwrap_or_else(|| panic!("no {id}"));
    sweep.supplies.iter().find(|supply| usize::from(supply.source.0) == at).unwrap()
}

fn near(got: Option<f64>, want: f64) {
    assert!(got.is_some_and(|got| (got - want).abs() < 1e-9), "{got:?} is not {want}");
}

/// Volts, amperes and watts of one sensor.
fn check(sweep: &Sweep, id: &str, [volts, amps, watts]: [f64; 3]) {
    let supply = supply(sweep, id);
    near(supply.volts.ok().map(Volts::si), volts);
    near(supply.amps.ok().map(Amps::si), amps);
    near(supply.watts.ok().map(Watts::si), watts);
}

fn says(report: &SourceReport, words: &str) -> bool {
    report.notes.iter().any(|note| note.contains(words))
}

#[test]
fn a_zero_2_w_has_no_undervoltage_detector() {
    let tree = Tree::of_board("zero-2-w");
    let mut sweeper = sweeper(&tree, Want::default());
    let facts = sweeper.facts();
    assert_eq!(facts.model.as_deref(), Some("Raspberry Pi Zero 2 W Rev 1.0"));
    assert_eq!(facts.kind, Some(BoardKind::ZeroTwoW));
    assert_eq!((facts.memory_mib, facts.cores), (Some(512), Some(4)));
    assert!(!facts.has_rtc);
    assert_eq!(facts.leds, ["ACT"]);
    assert_eq!(facts.boot_id.map(|id| id.len()), Some(36));
    assert!(facts.notes.iter().any(|note| note.contains("programs")));

    let sweep = sweeper.sweep(Mono::at_s(1000.0));
    assert_eq!(sweep.board.temp, Ok(Celsius::of(44.008)));
    // The zone and its mirror are one sensor.
    let zones = sweep.sources.iter().filter(|source| source.id.starts_with("temperature:"));
    assert_eq!(zones.count(), 1);
    assert_eq!(sweep.board.flags.map(|flags| flags.now), Ok(Strain::default()));
    assert_eq!(sweep.board.undervoltage, Err(Gap::NotMeasurable));
    assert_eq!(sweep.board.cpu_clock.map(Hertz::si), Ok(600e6));
    assert!(sweep.supplies.is_empty() && sweep.programs.is_empty());
    assert!(says(report(&sweep, "board-flags"), "no undervoltage detector"));
}

#[test]
fn a_3b_with_undervoltage_now() {
    let tree = Tree::of_board("3b-undervoltage");
    let mut sweeper = sweeper(&tree, Want::default());
    assert_eq!(sweeper.facts().kind, Some(BoardKind::ThreeB));
    assert_eq!(sweeper.facts().memory_mib, Some(1024));
    let sweep = sweeper.sweep(Mono::at_s(1000.0));
    let flags = sweep.board.flags.unwrap();
    let both = Strain { undervoltage: true, throttled: true, ..Strain::default() };
    assert_eq!((flags.now, flags.lately), (both, both));
    assert_eq!(sweep.board.undervoltage, Ok(true));
}

#[test]
fn load_follows_between_two_sweeps() {
    let tree = Tree::of_board("3b-undervoltage");
    let mut sweeper = sweeper(&tree, Want::default());
    assert_eq!(sweeper.sweep(Mono::at_s(1000.0)).board.cpu_busy, Err(Gap::NotReady));
    tree.write("/proc/stat", "cpu  4965 150 1180 16330 520 0 45 0 0 0\n");
    assert_eq!(sweeper.sweep(Mono::at_s(1001.0)).board.cpu_busy.map(Share::part), Ok(0.8));
}

#[test]
fn an_ina219_with_the_right_shunt() {
    let tree = Tree::of_board("4b-ina219");
    let mut sweeper = sweeper(&tree, shunt_of(0.1));
    let sweep = sweeper.sweep(Mono::at_s(1000.0));
    check(&sweep, "hwmon:ina219@1-0040", [5.12, 0.64, 3.2768]);
    let report = report(&sweep, "hwmon:ina219@1-0040");
    assert_eq!(report.title, "INA219 power monitor at 0x40 on bus 1");
    assert_eq!((report.role, report.state), (Role::Bank, SourceState::Live));
    let shunt = report.shunt.unwrap();
    assert_eq!(shunt.scale, 1.0);
    assert!((shunt.assumed.unwrap().si() - 0.1).abs() < 1e-9);
    assert!(!says(report, "multiplied"));
    assert!(sweeper.next_sample(Mono::at_s(1000.1)).is_some(), "a snapshot chip wants more looks");
}

#[test]
fn numbers_dealt_anew_change_nothing() {
    let tree = Tree::of_board("4b-ina219");
    let mut sweeper = sweeper(&tree, Want::default());
    let first = sweeper.sweep(Mono::at_s(1000.0));
    let ix = supply(&first, "hwmon:ina219@1-0040").source;
    let chip = "/sys/devices/platform/soc/fe804000.i2c/i2c-1/1-0040/hwmon";
    std::fs::rename(tree.at(&format!("{chip}/hwmon2")), tree.at(&format!("{chip}/hwmon5")))
        .unwrap();
    tree.remove("/sys/class/hwmon/hwmon2");
    let gone = sweeper.sweep(Mono::at_s(1001.0));
    assert_eq!(supply(&gone, "hwmon:ina219@1-0040").amps, Err(Gap::Gone));
    assert_eq!(
        report(&gone, "hwmon:ina219@1-0040").state,
        SourceState::Silent { since: Mono::at_s(1001.0), gap: Gap::Gone }
    );
    tree.link(
        "/sys/class/hwmon/hwmon5",
        "../../devices/platform/soc/fe804000.i2c/i2c-1/1-0040/hwmon/hwmon5",
    );
    let back: Vec<Sweep> = (1002..1005).map(|s| sweeper.sweep(Mono::at_s(s.into()))).collect();
    let last = back.last().unwrap();
    check(last, "hwmon:ina219@1-0040", [5.12, 0.64, 3.2768]);
    assert_eq!(supply(last, "hwmon:ina219@1-0040").source, ix);
    assert_eq!(report(last, "hwmon:ina219@1-0040").role, Role::Bank);
    assert_eq!(last.sources.len(), first.sources.len());
}

#[test]
fn a_sensor_that_comes_later_is_found_and_takes_the_next_index() {
    let tree = Tree::of_board("4b-ina219");
    tree.remove("/sys/class/hwmon/hwmon2");
    let mut sweeper = sweeper(&tree, Want::default());
    let before = sweeper.sweep(Mono::at_s(1000.0));
    assert!(before.supplies.is_empty());
    tree.link(
        "/sys/class/hwmon/hwmon2",
        "../../devices/platform/soc/fe804000.i2c/i2c-1/1-0040/hwmon/hwmon2",
    );
    for s in 1..40 {
        let sweep = sweeper.sweep(Mono::at_s(1000.0 + f64::from(s)));
        // The search runs on a thread of its own.
        std::thread::sleep(std::time::Duration::from_millis(5));
        if !sweep.supplies.is_empty() {
            assert!((10..=30).contains(&s), "found after {s} s");
            check(&sweep, "hwmon:ina219@1-0040", [5.12, 0.64, 3.2768]);
            assert_eq!(usize::from(sweep.supplies[0].source.0), before.sources.len());
            return;
        }
    }
    panic!("never found");
}

#[test]
fn a_tenfold_error_is_put_right_by_the_shunt_in_the_settings() {
    let tree = Tree::of_board("4b-ina219-default-shunt");
    let sweep = sweeper(&tree, shunt_of(0.1)).sweep(Mono::at_s(1000.0));
    check(&sweep, "hwmon:ina219@1-0040", [5.12, 0.64, 3.2768]);
    let told = report(&sweep, "hwmon:ina219@1-0040");
    assert!(says(told, "assumes a shunt of 10 mΩ, the settings say 100 mΩ"), "{:?}", told.notes);

    // Without the settings it is shown as it is, and doubted.
    let mut sweeper = sweeper(&tree, Want::default());
    let sweeps: Vec<Sweep> = (0..4).map(|s| sweeper.sweep(Mono::at_s(s.into()))).collect();
    check(&sweeps[3], "hwmon:ina219@1-0040", [5.12, 6.4, 32.768]);
    assert!(says(report(&sweeps[0], "hwmon:ina219@1-0040"), "R100"));
    assert!(says(report(&sweeps[3], "hwmon:ina219@1-0040"), "no USB bank gives that"));
}

#[test]
fn an_old_drivers_rounded_shunt_is_the_same_shunt() {
    let tree = Tree::of_board("4b-ina219-old-kernel");
    let sweep = sweeper(&tree, shunt_of(0.1)).sweep(Mono::at_s(1000.0));
    check(&sweep, "hwmon:ina219@1-0040", [5.12, 0.64, 3.2768]);
    let report = report(&sweep, "hwmon:ina219@1-0040");
    assert_eq!(report.shunt.unwrap().scale, 1.0);
    assert!(!says(report, "multiplied"));
}

#[test]
fn a_scale_turns_the_sign() {
    let tree = Tree::of_board("4b-ina219");
    let sensor = SensorWant {
        matches: "ina219@1-0040".into(),
        scale: Some(-2.0),
        name: Some("Blue ten".into()),
        ..SensorWant::default()
    };
    let want = Want { sensors: vec![sensor], ..Want::default() };
    let sweep = sweeper(&tree, want).sweep(Mono::at_s(1000.0));
    check(&sweep, "hwmon:ina219@1-0040", [5.12, -1.28, -6.5536]);
    assert!(report(&sweep, "hwmon:ina219@1-0040").title.starts_with("Blue ten: "));
}

#[test]
fn a_current_that_cannot_be_read_is_a_gap_and_never_nought() {
    let sweep = one_sweep("4b-ina219-current-fails");
    let supply = supply(&sweep, "hwmon:ina219@1-0040");
    assert_eq!(supply.volts, Ok(Volts::of(5.12)));
    assert_eq!((supply.amps, supply.watts), (Err(Gap::NoAnswer), Err(Gap::NoAnswer)));
}

#[test]
fn a_5_on_a_bank_that_promises_3_amperes() {
    let tree = Tree::of_board("five-bare");
    let mut sweeper = sweeper(&tree, Want::default());
    let facts = sweeper.facts();
    assert_eq!((facts.kind, facts.memory_mib), (Some(BoardKind::Five), Some(4096)));
    assert_eq!(facts.input_limit, Some(Amps::of(3.0)));
    assert_eq!(facts.usb_held_low, Some(true));
    assert!(facts.has_rtc);
    assert_eq!(facts.leds, ["ACT", "PWR"]);
    let sweep = sweeper.sweep(Mono::at_s(1000.0));
    // The node is not there, the mailbox is shut below another root, the alarm file is left.
    assert_eq!((sweep.board.flags, sweep.board.undervoltage), (Err(Gap::Absent), Ok(false)));
    assert!(sweep.supplies.is_empty(), "the I/O chip's ADC is no supply");
}

#[test]
fn an_ina226_beside_the_undervoltage_alarm() {
    let sweep = one_sweep("4b-ina226");
    check(&sweep, "hwmon:ina226@1-0041", [4.62, 1.2, 5.544]);
    assert_eq!(sweep.board.undervoltage, Ok(true));
}

#[test]
fn three_channels_are_three_sensors_and_one_is_the_bank() {
    let sweep = one_sweep("4b-ina3221");
    check(&sweep, "hwmon:ina3221@1-0040/1", [12.64, 0.452, 5.71328]);
    check(&sweep, "hwmon:ina3221@1-0040/2", [5.12, 0.88, 4.5056]);
    check(&sweep, "hwmon:ina3221@1-0040/3", [3.304, -0.012, -0.039_648]);
    assert_eq!(sweep.supplies.len(), 3, "the sum over rails is no sensor");
    let roles: Vec<Role> =
        (1..=3).map(|n| report(&sweep, &format!("hwmon:ina3221@1-0040/{n}")).role).collect();
    assert_eq!(roles, [Role::Bank, Role::Part, Role::Part]);
    let pack = report(&sweep, "hwmon:ina3221@1-0040/1");
    assert!(says(pack, "its label is \"pack\""), "{:?}", pack.notes);
    assert!(pack.title.starts_with("pack: INA3221 power monitor at 0x40 on bus 1, channel 1"));
}

#[test]
fn without_a_telling_label_the_highest_voltage_is_the_bank() {
    let tree = Tree::of_board("4b-ina3221");
    let dir = "/sys/devices/platform/soc/fe804000.i2c/i2c-1/1-0040/hwmon/hwmon1";
    for n in 1..=3 {
        tree.remove(&format!("{dir}/in{n}_label"));
    }
    tree.write(&format!("{dir}/in1_input"), "5104\n");
    tree.write(&format!("{dir}/in3_input"), "12800\n");
    let mut first = sweeper(&tree, Want::default());
    let sweep = first.sweep(Mono::at_s(1000.0));
    let third = report(&sweep, "hwmon:ina3221@1-0040/3");
    assert_eq!(third.role, Role::Bank);
    assert!(says(third, "highest voltage of 3"), "{:?}", third.notes);
    // The choice stays when voltages change.
    tree.write(&format!("{dir}/in3_input"), "4000\n");
    let later = first.sweep(Mono::at_s(1001.0));
    assert_eq!(report(&later, "hwmon:ina3221@1-0040/3").role, Role::Bank);

    // The settings overrule.
    let sensor =
        SensorWant { matches: "1-0040/2".into(), role: Some(Role::Bank), ..SensorWant::default() };
    let want = Want { sensors: vec![sensor], ..Want::default() };
    let sweep = sweeper(&tree, want).sweep(Mono::at_s(1000.0));
    assert_eq!(report(&sweep, "hwmon:ina3221@1-0040/2").role, Role::Bank);
    assert_eq!(report(&sweep, "hwmon:ina3221@1-0040/3").role, Role::Part);
}

#[test]
fn a_channel_that_is_switched_off_is_left_alone() {
    let sweep = one_sweep("4b-ina3221-channel-off");
    check(&sweep, "hwmon:ina3221@1-0040/1", [12.64, 0.452, 5.71328]);
    check(&sweep, "hwmon:ina3221@1-0040/2", [5.12, 0.88, 4.5056]);
    assert_eq!(sweep.supplies.len(), 2);
    let off = report(&sweep, "hwmon:ina3221@1-0040/3");
    assert_eq!(off.state, SourceState::LeftAlone);
    assert!(says(off, "switched off"));
}

#[test]
fn a_fuel_gauge_and_not_the_mouse() {
    let tree = Tree::of_board("handheld-gauge");
    let mut sweeper = sweeper(&tree, Want::default());
    let facts = sweeper.facts();
    assert_eq!((facts.model.as_deref(), facts.kind), (Some("Example Handheld Board"), None));
    let sweep = sweeper.sweep(Mono::at_s(1000.0));
    let [gauge] = sweep.gauges.as_slice() else { panic!("{:?}", sweep.gauges) };
    let (volts, amps) = (gauge.volts.unwrap().si(), gauge.amps.unwrap().si());
    near(Some(volts), 3.842);
    near(Some(amps), 0.612);
    near(Some(volts * amps), 2.351_304);
    near(gauge.level.ok().map(Share::part), 0.71);
    near(gauge.energy_left.ok().map(Joules::wh), 1.704 * 3.842);
    assert_eq!(gauge.flow, Flow::Draining);
    near(gauge.temp.ok().map(Celsius::si), 25.4);
    // The naive time left by charge and current, worked by hand: 10 023.5 s.
    let naive_s = gauge.energy_left.unwrap().si() / (volts * amps);
    assert!((naive_s - 10_023.5).abs() < 0.1, "{naive_s}");
    assert!(sweep.supplies.is_empty(), "its hardware-monitor twin is dropped");
    assert_eq!(report(&sweep, "power_supply:hidpp_battery_0").state, SourceState::LeftAlone);
    assert_eq!(report(&sweep, "power_supply:usb").state, SourceState::LeftAlone);
    assert_eq!(report(&sweep, "power_supply:bq27441-0").role, Role::Bank);
}

#[test]
fn a_gauge_without_current() {
    let sweep = one_sweep("handheld-gauge-no-current");
    let [gauge] = sweep.gauges.as_slice() else { panic!("{:?}", sweep.gauges) };
    near(gauge.volts.ok().map(Volts::si), 3.905);
    near(gauge.level.ok().map(Share::part), 0.78);
    assert_eq!((gauge.amps, gauge.flow), (Err(Gap::Absent), Flow::Unknown));
    assert_eq!(gauge.energy_left, Err(Gap::Absent));
    assert!(says(report(&sweep, "power_supply:battery"), "measures no current"));
}

#[test]
fn a_battery_that_is_taken_out_is_gone() {
    let tree = Tree::of_board("handheld-gauge");
    let mut sweeper = sweeper(&tree, Want::default());
    assert!(sweeper.sweep(Mono::at_s(1000.0)).gauges[0].volts.is_ok());
    tree.write("/sys/class/power_supply/bq27441-0/present", "0\n");
    let gone = sweeper.sweep(Mono::at_s(1001.0)).gauges[0];
    assert_eq!((gone.volts, gone.level), (Err(Gap::Gone), Err(Gap::Gone)));
    tree.write("/sys/class/power_supply/bq27441-0/present", "1\n");
    assert!(sweeper.sweep(Mono::at_s(1002.0)).gauges[0].volts.is_ok());
}

#[test]
fn another_board_says_unknown_and_not_fine() {
    let tree = Tree::of_board("other-board");
    let mut sweeper = sweeper(&tree, Want::default());
    assert_eq!(sweeper.facts().model.as_deref(), Some("Example SBC Rev 2"));
    assert!(sweeper.facts().notes.iter().any(|note| note.contains("undervoltage")));
    let board = sweeper.sweep(Mono::at_s(1000.0)).board;
    assert_eq!(board.temp, Ok(Celsius::of(51.111)));
    assert_eq!((board.flags, board.undervoltage), (Err(Gap::Absent), Err(Gap::NotMeasurable)));
}

#[test]
fn a_machine_with_nothing_starts_all_the_same() {
    let tree = Tree::of_board("bare-minimum");
    let mut sweeper = sweeper(&tree, Want::default());
    assert_eq!((sweeper.facts().model, sweeper.facts().cores), (None, Some(1)));
    let sweep = sweeper.sweep(Mono::at_s(1000.0));
    assert_eq!(sweep.board.temp, Err(Gap::Absent));
    assert_eq!(sweep.board.cpu_clock, Err(Gap::Absent));
    assert_eq!(sweep.clock_synchronised, Ok(false));
    assert!(sweep.supplies.is_empty() && sweep.gauges.is_empty());

    let nothing = Tree::empty();
    let sweep = self::sweeper(&nothing, Want::default()).sweep(Mono::at_s(1.0));
    assert!(sweep.sources.is_empty());
}

/// Source: INA260 data sheet SBOS656C, section 8.4.1: 11.98 V and 12.5 A.
#[test]
fn an_ina260_at_the_values_of_its_data_sheet() {
    let sweep = sweeper(&Tree::of_board("4b-ina260"), shunt_of(0.1)).sweep(Mono::at_s(1000.0));
    check(&sweep, "hwmon:ina260@1-0040", [11.98, 12.5, 149.75]);
    let report = report(&sweep, "hwmon:ina260@1-0040");
    assert_eq!(report.shunt.unwrap().assumed, None);
    assert!(says(report, "inside it"));
}

#[test]
fn a_rail_of_the_processor_is_no_supply() {
    let sweep = one_sweep("4b-soc-rails");
    assert_eq!(sweep.supplies.len(), 1);
    check(&sweep, "hwmon:ina219@1-0040", [5.12, 0.64, 3.2768]);
    assert_eq!(sweep.board.input_volts, Err(Gap::Absent));
    assert_eq!((sweep.board.flags, sweep.board.undervoltage), (Err(Gap::Absent), Ok(false)));
}

#[test]
fn the_time_servers_flag_counts_below_another_root() {
    let tree = Tree::of_board("other-board");
    let mut sweeper = sweeper(&tree, Want::default());
    assert_eq!(sweeper.sweep(Mono::at_s(1000.0)).clock_synchronised, Ok(false));
    tree.write("/run/systemd/timesync/synchronized", "");
    assert_eq!(sweeper.sweep(Mono::at_s(1001.0)).clock_synchronised, Ok(true));
}

/// Source: Linux `Documentation/hwmon/sysfs-interface.rst`, `Documentation/i2c/fault-codes.rst`,
/// `drivers/hwmon/ina3221.c` and `ina2xx.c` for who answers with what.
#[test]
fn each_error_number_of_a_driver_has_its_reason() {
    for (errno, want) in [
        (libc::ENODATA, Gap::SwitchedOff),
        (libc::EAGAIN, Gap::NotReady),
        (libc::EIO, Gap::NoAnswer),
        (libc::EREMOTEIO, Gap::NoAnswer),
        (libc::ENXIO, Gap::NoAnswer),
        (libc::ETIMEDOUT, Gap::NoAnswer),
        (libc::ENODEV, Gap::Gone),
        (libc::EOPNOTSUPP, Gap::Absent),
        (libc::EACCES, Gap::Denied),
    ] {
        let (tree, files) = (Tree::of_board("4b-ina219"), FaultyFiles::default());
        let mut sweeper = faulty(&tree, &files);
        check(&sweeper.sweep(Mono::at_s(1.0)), "hwmon:ina219@1-0040", [5.12, 0.64, 3.2768]);
        files.inject("curr1_input", Fault::Errno(errno));
        let sweep = sweeper.sweep(Mono::at_s(2.0));
        let bad = supply(&sweep, "hwmon:ina219@1-0040");
        assert_eq!((bad.amps, bad.watts), (Err(want), Err(want)), "errno {errno}");
        assert_eq!(bad.volts, Ok(Volts::of(5.12)), "errno {errno}");
        files.lift("curr1_input");
        let back = (3..20).any(|s| {
            let sweep = sweeper.sweep(Mono::at_s(f64::from(s)));
            supply(&sweep, "hwmon:ina219@1-0040").amps.is_ok()
        });
        // What the driver cannot serve is not asked again.
        assert_eq!(back, errno != libc::EOPNOTSUPP, "errno {errno}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// Arbitrary bytes in any file: no panic, nothing beyond what the hardware can deliver.
    #[test]
    fn garbage_in_a_file_never_becomes_a_number(
        board in 0..16_usize,
        hits in prop::collection::vec((any::<prop::sample::Index>(), garbage()), 1..6),
    ) {
        let tree = Tree::of_board(boards()[board]);
        let files = tree.files();
        for (which, text) in &hits {
            std::fs::write(which.get(&files), text).unwrap();
        }
        let mut sweeper = sweeper(&tree, Want::default());
        for s in 0..3 {
            in_bounds(&sweeper.sweep(Mono::at_s(f64::from(s))));
        }
    }

    /// The same while it runs.
    #[test]
    fn garbage_that_comes_later_never_becomes_a_number(
        board in 0..16_usize,
        hits in prop::collection::vec((any::<prop::sample::Index>(), garbage()), 1..6),
    ) {
        let tree = Tree::of_board(boards()[board]);
        let files = tree.files();
        let mut sweeper = sweeper(&tree, Want::default());
        in_bounds(&sweeper.sweep(Mono::at_s(0.0)));
        for (n, (which, text)) in hits.iter().enumerate() {
            std::fs::write(which.get(&files), text).unwrap();
            in_bounds(&sweeper.sweep(Mono::at_s(n as f64 + 1.0)));
        }
    }
}

fn garbage() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        prop::collection::vec(any::<u8>(), 0..64),
        any::<i64>().prop_map(|n| format!("{n}\n").into_bytes()),
        (-200_000_i64..200_000).prop_map(|n| format!("{n}\n").into_bytes()),
        Just(Vec::new()),
        Just(vec![b'9'; 100_000]),
        Just(b"NaN\n".to_vec()),
        Just(b"-inf\n".to_vec()),
    ]
}

fn in_bounds(sweep: &Sweep) {
    let within = |got: Option<f64>, low: f64, high: f64| {
        assert!(got.is_none_or(|value| (low..=high).contains(&value)), "{got:?} in {sweep:?}");
    };
    for supply in &sweep.supplies {
        within(supply.volts.ok().map(Volts::si), -0.5, 104.9);
        within(supply.amps.ok().map(Amps::si), -300.0, 300.0);
        within(supply.watts.ok().map(Watts::si), -31_470.0, 31_470.0);
    }
    for gauge in &sweep.gauges {
        within(gauge.volts.ok().map(Volts::si), 0.5, 120.0);
        within(gauge.amps.ok().map(Amps::si), -300.0, 300.0);
        within(gauge.level.ok().map(Share::part), 0.0, 1.0);
        within(gauge.energy_left.ok().map(Joules::wh), 0.0, 100_000.0);
        within(gauge.temp.ok().map(Celsius::si), -50.0, 120.0);
    }
    let board = &sweep.board;
    within(board.cpu_busy.ok().map(Share::part), 0.0, 1.0);
    within(board.cpu_clock.ok().map(Hertz::si), 1e6, 1e10);
    within(board.temp.ok().map(Celsius::si), -60.0, 150.0);
}

/// A firmware that answers as written here.
struct PaperFirmware {
    flags: u32,
    text: &'static str,
}

impl Firmware for PaperFirmware {
    fn throttled(&self) -> std::io::Result<u32> {
        Ok(self.flags)
    }

    fn command(&self, command: &str) -> std::io::Result<String> {
        assert_eq!(command, "pmic_read_adc");
        Ok(self.text.to_owned())
    }
}

fn with_firmware(tree: &Tree, firmware: PaperFirmware) -> Sweeper {
    let want = Want { sysroot: Some(tree.root().to_owned()), ..Want::default() };
    let root = Root::new(Some(tree.root()));
    let syscalls = Syscalls { firmware: Ok(Arc::new(firmware)), clock: None };
    Sweeper::with(root, want, still(), syscalls)
}

#[test]
fn a_5_measures_its_own_input_and_rails_and_tells_its_flags_by_mail() {
    let tree = Tree::of_board("five-bare");
    let firmware = PaperFirmware { flags: 0x5_0000, text: crate::adc::CAPTURE };
    let sweep = with_firmware(&tree, firmware).sweep(Mono::at_s(1.0));
    near(sweep.board.input_volts.ok().map(Volts::si), 5.09066);
    let rails = sweep.board.rails_at_least.unwrap().si();
    assert!((rails - 7.239_819).abs() < 1e-5, "{rails}");
    let flags = sweep.board.flags.unwrap();
    assert!(!flags.now.undervoltage && flags.lately.undervoltage && flags.lately.throttled);
    assert_eq!(sweep.board.undervoltage, Ok(false));
    assert!(says(report(&sweep, "power-adc"), "the least that the board draws"));
    assert!(sweep.supplies.is_empty(), "a lower bound is no supply reading");
}

#[test]
fn the_node_is_preferred_to_the_mailbox() {
    let tree = Tree::of_board("3b-undervoltage");
    let firmware = PaperFirmware { flags: 0, text: "" };
    let sweep = with_firmware(&tree, firmware).sweep(Mono::at_s(1.0));
    assert_eq!(sweep.board.undervoltage, Ok(true));
}

/// Both spellings stand in the vendor's documentation of `/proc/device-tree/chosen/power`.
#[test]
fn why_the_board_restarted_is_said_in_either_spelling() {
    for name in ["power_reset", "reset_event"] {
        let tree = Tree::of_board("five-bare");
        tree.remove("/proc/device-tree/chosen/power/power_reset");
        tree.write(&format!("/proc/device-tree/chosen/power/{name}"), [0, 0, 0, 2]);
        let notes = sweeper(&tree, Want::default()).facts().notes;
        assert!(notes.iter().any(|note| note.contains("too low a supply voltage")), "{name}");
    }
}

#[test]
fn the_longer_path_of_the_newest_boards_is_found() {
    let tree = Tree::of_board("five-bare");
    tree.write("/sys/devices/platform/soc@107c000000/soc@107c000000:firmware/get_throttled", "4\n");
    let sweep = sweeper(&tree, Want::default()).sweep(Mono::at_s(1.0));
    assert!(sweep.board.flags.unwrap().now.throttled);
}

/// Source: the kernel's `drivers/power/supply/test_power.c` (names `test_ac`, `test_battery`,
/// `test_usb`; voltage 3300 as it stands, which the class means in microvolts).
#[test]
fn the_kernels_test_gauge_is_read_and_called_made_up() {
    let tree = Tree::of_board("other-board");
    let battery = "/sys/class/power_supply/test_battery";
    for (file, text) in [
        ("type", "Battery\n"),
        ("status", "Discharging\n"),
        ("present", "1\n"),
        ("capacity", "50\n"),
        ("charge_full", "100\n"),
        ("charge_now", "50\n"),
        ("voltage_now", "3300\n"),
        ("current_now", "1600\n"),
        ("temp", "26\n"),
    ] {
        tree.write(&format!("{battery}/{file}"), text);
    }
    tree.write("/sys/class/power_supply/test_ac/type", "Mains\n");
    tree.write("/sys/class/power_supply/test_ac/online", "1\n");
    let sweep = sweeper(&tree, Want::default()).sweep(Mono::at_s(1.0));
    let gauge = sweep.gauges[0];
    near(gauge.level.ok().map(Share::part), 0.5);
    near(gauge.amps.ok().map(Amps::si), 0.0016);
    assert_eq!(gauge.volts, Err(Gap::Implausible), "3.3 mV is no cell");
    assert!(says(report(&sweep, "power_supply:test_battery"), "test_power"));
    assert!(says(report(&sweep, "power_supply:test_ac"), "Something was plugged in"));
}

#[test]
fn a_machine_without_sensors_is_told_what_would_help() {
    let facts = sweeper(&Tree::of_board("zero-2-w"), Want::default()).facts();
    assert!(facts.notes.iter().any(|note| note.contains("can only be modelled")));
    let facts = sweeper(&Tree::of_board("4b-ina219"), Want::default()).facts();
    assert!(!facts.notes.iter().any(|note| note.contains("can only be modelled")));
}

#[test]
fn a_monitor_of_another_kind_is_named_and_left_alone() {
    let tree = Tree::of_board("other-board");
    tree.write("/sys/class/hwmon/hwmon0/name", "ltc2945\n");
    tree.write("/sys/class/hwmon/hwmon0/curr1_input", "500\n");
    tree.write("/sys/devices/1-006f/name", "ltc2945\n");
    tree.link("/sys/class/hwmon/hwmon0/device", "../../../devices/1-006f");
    let sweep = sweeper(&tree, Want::default()).sweep(Mono::at_s(1.0));
    assert!(sweep.supplies.is_empty());
    assert_eq!(report(&sweep, "hwmon:ltc2945@1-006f").state, SourceState::LeftAlone);
}

#[test]
fn on_the_real_machine_files_stay_open_until_the_device_goes() {
    let (tree, files) = (Tree::of_board("4b-ina219"), FaultyFiles::default());
    let root = Root::new(Some(tree.root())).with_files(Arc::new(files.clone())).taken_for_real();
    let syscalls = Syscalls { firmware: Err(Gap::Absent), clock: None };
    let mut sweeper = Sweeper::with(root, Want::default(), still(), syscalls);
    for s in 0..5 {
        check(
            &sweeper.sweep(Mono::at_s(f64::from(s))),
            "hwmon:ina219@1-0040",
            [5.12, 0.64, 3.2768],
        );
    }
    assert_eq!(files.opened("curr1_input"), 1, "kept");
    assert_eq!(files.opened("/proc/stat"), 2, "once to count the cores, once to stay");
    // The driver is unbound: open handles answer ENODEV (kernfs, Linux fs/kernfs/file.c).
    files.inject("curr1_input", Fault::Errno(libc::ENODEV));
    let gone = sweeper.sweep(Mono::at_s(5.0));
    assert_eq!(supply(&gone, "hwmon:ina219@1-0040").amps, Err(Gap::Gone));
    files.lift("curr1_input");
    sweeper.sweep(Mono::at_s(6.0));
    let back = sweeper.sweep(Mono::at_s(7.0));
    check(&back, "hwmon:ina219@1-0040", [5.12, 0.64, 3.2768]);
    assert_eq!(files.opened("curr1_input"), 2, "opened anew, once");
}
