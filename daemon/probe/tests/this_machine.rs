//! The machine that the tests run on, read as it is: whatever it has, nothing may break.

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    thread,
    time::Duration,
};

use probe::{Sweeper, Want, footprint};
use reckon::time::Mono;

/// Boot time in hundredths of a second, as the kernel prints it.
fn now() -> Mono {
    let text = std::fs::read_to_string("/proc/uptime").expect("Linux has it");
    let seconds = text.split(' ').next().and_then(|word| word.parse().ok());
    Mono::at_s(seconds.expect("it begins with seconds"))
}

#[test]
fn a_few_seconds_on_the_machine_at_hand() {
    let mut sweeper = Sweeper::new(Want::default(), Arc::new(now));
    let facts = sweeper.facts();
    assert!(facts.kernel.is_some() && facts.cores.is_some_and(|cores| cores >= 1));
    assert_eq!(facts.boot_id.map(|id| id.len()), Some(36));
    let first = sweeper.sweep(Mono::at_s(100.0));
    assert!(first.clock_synchronised.is_ok(), "the kernel tells everybody");
    // The second walk through the programs comes five seconds after the first; to them it is
    // only told that the time has passed.
    let stop = Arc::new(AtomicBool::new(false));
    let told = Arc::clone(&stop);
    let busy = thread::spawn(move || {
        while !told.load(Ordering::Relaxed) {
            std::hint::spin_loop();
        }
    });
    thread::sleep(Duration::from_millis(400));
    let second = sweeper.sweep(Mono::at_s(106.0));
    let share = second.board.cpu_busy.expect("accounts have moved on").part();
    assert!(share > 0.0, "one thread was busy");
    // The walk runs beside the sweeps, and takes its time on a machine with much to do.
    let mut programs = second.programs;
    for k in 0..200 {
        if !programs.is_empty() {
            break;
        }
        thread::sleep(Duration::from_millis(100));
        programs = sweeper.sweep(Mono::at_s(107.0 + f64::from(k))).programs;
    }
    stop.store(true, Ordering::Relaxed);
    busy.join().unwrap();
    assert!(!programs.is_empty(), "this very test is busy");
    assert!(programs.windows(2).all(|two| two[0].cores_busy >= two[1].cores_busy));
    assert!(footprint(None).is_some_and(|print| print.cpu_s > 0.0));
}
