//! The load of a run-down test: threads of the lowest priority that keep the processor busy in a
//! pattern, so that two tests can be compared.

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    thread,
    time::Duration,
};

use reckon::words;

use reckon::record::TestLoad;

use crate::host::clock::Clock;

/// The processor is given away at least this often.
const SLICE: Duration = Duration::from_millis(100);
/// More cores than this are left alone.
const MOST_THREADS: usize = 8;
/// Length of a step, s.
const STEP_S: f64 = 600.0;
/// The steps: share of the processor that is kept busy.
const STEPS: [f64; 4] = [0.0, 0.25, 0.5, 1.0];
/// A timed mode with periods of 15 s: the decoder works in the last two of each (common practice,
/// no source).
const PERIOD_S: f64 = 15.0;
const DECODES_FROM_S: f64 = 13.0;
const DECODER_SHARE: f64 = 0.8;

/// A load that is on; it ends when this is dropped.
#[derive(Debug)]
pub(crate) struct RunningLoad {
    stop: Arc<AtomicBool>,
}

impl Drop for RunningLoad {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}

/// Begins a load; `None` where none is made.
pub(crate) fn begin(load: TestLoad, clock: &Clock) -> Option<RunningLoad> {
    if matches!(load, TestLoad::AsItIs | TestLoad::Idle) {
        return None;
    }
    let stop = Arc::new(AtomicBool::new(false));
    let cores = thread::available_parallelism().map_or(1, usize::from).min(MOST_THREADS);
    let began_s = clock.mono().as_s();
    for _ in 0..cores {
        let (clock, stop) = (clock.clone(), Arc::clone(&stop));
        let body = move || burn(load, &clock, began_s, &stop);
        if let Err(why) = thread::Builder::new().name("load".to_owned()).spawn(body) {
            tracing::warn!("{}", words::journal::load_small(&why));
        }
    }
    Some(RunningLoad { stop })
}

fn burn(load: TestLoad, clock: &Clock, began_s: f64, stop: &AtomicBool) {
    // On Linux this is the thread's own; refused, the load competes with everything else.
    if let Err(why) = rustix::process::nice(19) {
        tracing::warn!("{}", words::journal::load_urgent(&why));
    }
    while !stop.load(Ordering::Relaxed) {
        let now = clock.mono();
        let busy = SLICE.mul_f64(busy_share(load, now.as_s() - began_s));
        while clock.mono().since(now) < busy {
            std::hint::spin_loop();
        }
        clock.sleep_until(now.plus(SLICE));
    }
}

/// Share of the processor that is kept busy so long after the beginning.
fn busy_share(load: TestLoad, at_s: f64) -> f64 {
    match load {
        TestLoad::AsItIs | TestLoad::Idle => 0.0,
        TestLoad::Receive if at_s.rem_euclid(PERIOD_S) >= DECODES_FROM_S => DECODER_SHARE,
        TestLoad::Receive => 0.0,
        TestLoad::Steps => {
            let step = at_s.rem_euclid(STEP_S * 4.0) / STEP_S;
            let at = (0_u8..4).rev().find(|k| f64::from(*k) <= step).unwrap_or(0);
            STEPS[usize::from(at)]
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_patterns_are_what_they_are_called() {
        let mean = |load| {
            (0..24_000).map(|k| busy_share(load, f64::from(k) / 10.0)).sum::<f64>() / 24_000.0
        };
        assert_eq!(mean(TestLoad::Idle), 0.0);
        // Two of fifteen seconds at 0.8.
        assert!((mean(TestLoad::Receive) - 0.8 * 2.0 / 15.0).abs() < 1e-3);
        // A quarter of the time each.
        assert!((mean(TestLoad::Steps) - 1.75 / 4.0).abs() < 1e-3);
        assert_eq!(busy_share(TestLoad::Receive, 12.9), 0.0);
        assert_eq!(busy_share(TestLoad::Receive, 14.9), 0.8);
        assert_eq!(busy_share(TestLoad::Steps, 3000.0), 0.25);
    }

    #[test]
    fn a_load_is_made_and_ends_when_it_is_let_go() {
        let threads = || {
            std::fs::read_dir("/proc/self/task")
                .unwrap()
                .flatten()
                .filter(|task| {
                    std::fs::read_to_string(task.path().join("comm")).unwrap_or_default()
                        == "load\n"
                })
                .count()
        };
        assert!(begin(TestLoad::Idle, &Clock::system()).is_none());
        let load = begin(TestLoad::Steps, &Clock::system()).unwrap();
        // Threads take their names when they begin, and end at their next look.
        let comes = |want: &dyn Fn(usize) -> bool| {
            (0..200).any(|_| {
                thread::sleep(Duration::from_millis(20));
                want(threads())
            })
        };
        assert!(comes(&|count| count > 0));
        drop(load);
        assert!(comes(&|count| count == 0));
    }
}
