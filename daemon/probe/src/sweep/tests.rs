//! The promise of the sweep, held with files that hang.

use std::{sync::Arc, thread, time::Duration};

use reckon::{
    reading::{Gap, SourceState, Sweep},
    time::Mono,
    units::Amps,
};

use super::*;
use crate::trees::{Fault, FaultyFiles, Tree, real_now, still};

const CHIP: &str = "/sys/devices/platform/soc/fe804000.i2c/i2c-1/1-0040/hwmon/hwmon2";

fn faulty(tree: &Tree, files: &FaultyFiles, now: Now) -> Sweeper {
    let want = Want { sysroot: Some(tree.root().to_owned()), ..Want::default() };
    let root = Root::new(Some(tree.root())).with_files(Arc::new(files.clone()));
    let syscalls = Syscalls::for_root(&root);
    Sweeper::with(root, want, now, syscalls)
}

/// A sweep and how long it took, in seconds.
fn timed(sweeper: &mut Sweeper, now: &Now, at: f64) -> (Sweep, f64) {
    let began = now();
    let sweep = sweeper.sweep(Mono::at_s(at));
    let took = now().seconds_since(began).si();
    (sweep, took)
}

fn amps(sweep: &Sweep) -> Result<f64, Gap> {
    sweep.supplies[0].amps.map(Amps::si)
}

#[test]
fn a_dead_sensor_delays_nobody_neither_this_second_nor_the_next() {
    let (tree, files, now) = (Tree::of_board("4b-ina219"), FaultyFiles::default(), real_now());
    files.inject("curr1_input", Fault::Hangs);
    let mut sweeper = faulty(&tree, &files, now.clone());
    let (first, took) = timed(&mut sweeper, &now, 1.0);
    assert!(took < 0.9, "{took} s");
    assert!(first.board.temp.is_ok() && first.board.undervoltage.is_ok());
    assert_eq!(amps(&first), Err(Gap::Late));
    for s in 2..6 {
        let (sweep, took) = timed(&mut sweeper, &now, f64::from(s));
        assert!(took < 0.3, "nobody waits for what is known to be stuck: {took} s");
        assert!(sweep.board.temp.is_ok());
        assert_eq!(amps(&sweep), Err(Gap::Late));
        assert_eq!(files.hanging(), 1, "one thread for one dead sensor, not more");
        let silent = sweep.sources.iter().any(|source| {
            source.id == "hwmon:ina219@1-0040"
                && matches!(source.state, SourceState::Silent { gap: Gap::Late, .. })
        });
        assert!(silent);
    }
    files.lift("curr1_input");
    thread::sleep(Duration::from_millis(50));
    let (back, _) = timed(&mut sweeper, &now, 6.0);
    assert_eq!(amps(&back), Ok(0.64));
}

#[test]
fn a_trusted_sensor_that_hangs_in_line_is_left_behind() {
    let (tree, files, now) = (Tree::of_board("4b-ina219"), FaultyFiles::default(), real_now());
    let mut sweeper = faulty(&tree, &files, now.clone());
    for s in 0..u16::try_from(TRUSTED_AFTER).unwrap() + 2 {
        assert_eq!(amps(&sweeper.sweep(Mono::at_s(s.into()))), Ok(0.64));
    }
    let rescue = sweeper.rescue();
    assert!(rescue.overdue().is_none(), "nothing hangs");
    files.inject("curr1_input", Fault::Hangs);
    let stuck = thread::spawn(move || {
        let sweep = sweeper.sweep(Mono::at_s(20.0));
        (sweep, sweeper.retired())
    });
    thread::sleep(Duration::from_millis(650));
    let mut fresh = rescue.overdue().expect("half a second has passed");
    assert!(rescue.overdue().is_none(), "taken over once, not twice");
    for s in 20..23 {
        let (sweep, took) = timed(&mut fresh, &now, f64::from(s));
        assert!(took < 0.3, "{took} s");
        assert!(sweep.board.temp.is_ok());
        assert_eq!(amps(&sweep), Err(Gap::Late));
    }
    files.lift("curr1_input");
    let (_, retired) = stuck.join().unwrap();
    assert!(retired && !fresh.retired());
    assert_eq!(amps(&fresh.sweep(Mono::at_s(24.0))), Ok(0.64));
}

#[test]
fn a_slow_sensor_is_waited_for_apart_and_still_read() {
    let (tree, files, now) = (Tree::of_board("4b-ina219"), FaultyFiles::default(), real_now());
    let mut sweeper = faulty(&tree, &files, now.clone());
    for s in 0..u16::try_from(TRUSTED_AFTER).unwrap() + 2 {
        sweeper.sweep(Mono::at_s(s.into()));
    }
    files.inject("curr1_input", Fault::SlowMs(150));
    for s in 20..23 {
        let (sweep, took) = timed(&mut sweeper, &now, f64::from(s));
        assert!(took < 0.9, "{took} s");
        assert_eq!(amps(&sweep), Ok(0.64));
    }
    let sweep = sweeper.sweep(Mono::at_s(24.0));
    let report = sweep.sources.iter().find(|source| source.id == "hwmon:ina219@1-0040").unwrap();
    assert!(report.notes.iter().any(|note| note.contains("slow to answer")), "{:?}", report.notes);
}

#[test]
fn a_pipe_in_the_place_of_a_file_holds_nobody() {
    let (tree, now) = (Tree::of_board("4b-ina219"), real_now());
    tree.remove(&format!("{CHIP}/curr1_input"));
    let pipe = tree.at(&format!("{CHIP}/curr1_input"));
    let made = std::process::Command::new("mkfifo").arg(&pipe).status().unwrap();
    assert!(made.success());
    let mut sweeper = faulty(&tree, &FaultyFiles::default(), now.clone());
    for s in 1..4 {
        let (sweep, took) = timed(&mut sweeper, &now, f64::from(s));
        assert!(took < 0.9, "{took} s");
        assert_eq!(amps(&sweep), Err(Gap::Garbled));
        assert!(sweep.supplies[0].volts.is_ok() && sweep.board.temp.is_ok());
    }
}

#[test]
fn a_good_machine_needs_no_further_thread() {
    let tree = Tree::of_board("4b-ina219");
    let mut sweeper = faulty(&tree, &FaultyFiles::default(), still());
    for s in 0..u16::try_from(TRUSTED_AFTER).unwrap() + 1 {
        sweeper.sweep(Mono::at_s(s.into()));
    }
    assert!(sweeper.core.lock().slots.iter().all(|slot| slot.apart.is_none()));
    assert!(sweeper.core.send_out(Mono::at_s(50.0)).is_empty());
}

#[test]
fn extra_looks_are_averaged_and_power_is_the_mean_of_products() {
    let tree = Tree::of_board("4b-ina219");
    let mut sweeper = faulty(&tree, &FaultyFiles::default(), still());
    for s in 0..u16::try_from(TRUSTED_AFTER).unwrap() + 1 {
        sweeper.sweep(Mono::at_s(f64::from(s)));
    }
    for (milliamps, millivolts) in [(1000, 5000), (3000, 4600)] {
        tree.write(&format!("{CHIP}/curr1_input"), format!("{milliamps}\n"));
        tree.write(&format!("{CHIP}/in1_input"), format!("{millivolts}\n"));
        sweeper.sample();
    }
    tree.write(&format!("{CHIP}/curr1_input"), "500\n");
    tree.write(&format!("{CHIP}/in1_input"), "5100\n");
    let sweep = sweeper.sweep(Mono::at_s(20.0));
    let supply = sweep.supplies[0];
    assert_eq!(supply.looks, 3);
    let near = |got: f64, want: f64| assert!((got - want).abs() < 1e-9, "{got} is not {want}");
    near(supply.amps.unwrap().si(), 1.5);
    near(supply.volts.unwrap().si(), 4.9);
    near(supply.watts.unwrap().si(), (5.0 + 13.8 + 2.55) / 3.0);
}

#[test]
fn looks_are_spread_over_the_second_and_leave_the_sweep_alone() {
    let tree = Tree::of_board("4b-ina219");
    let now = still();
    let mut sweeper = faulty(&tree, &FaultyFiles::default(), now.clone());
    assert_eq!(sweeper.next_sample(now()), None, "no looks before the first sweep");
    sweeper.sweep(Mono::at_s(1000.0));
    assert_eq!(sweeper.next_sample(Mono::at_s(1000.01)), Some(Mono::at_s(1000.2)));
    assert_eq!(sweeper.next_sample(Mono::at_s(1000.81)), Some(Mono::at_s(1000.81)));
    assert_eq!(sweeper.next_sample(Mono::at_s(1000.95)), None);
    let no_snapshot = Tree::of_board("4b-ina226");
    let mut sweeper = faulty(&no_snapshot, &FaultyFiles::default(), now);
    sweeper.sweep(Mono::at_s(1000.0));
    assert_eq!(sweeper.next_sample(Mono::at_s(1000.01)), None);
}
