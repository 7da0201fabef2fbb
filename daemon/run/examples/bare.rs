//! The least that can be done once a second: opens and reads the same files, and nothing else. The
//! measure for `tests/footprint.sh`.
//!
//! `bare FILE…` runs until it is ended.

#[path = "../src/host/clock.rs"]
#[expect(dead_code, reason = "only the sleep is needed here")]
mod clock;

use std::{hint::black_box, time::Duration};

fn main() {
    let files: Vec<_> = std::env::args_os().skip(1).collect();
    let clock = clock::Clock::system();
    loop {
        let next = Duration::from_secs(clock.mono().span().as_secs() + 1);
        clock.sleep_until(reckon::time::Mono::since_boot(next));
        for file in &files {
            // What cannot be read costs about as much as what can.
            let _ = black_box(std::fs::read_to_string(file));
        }
    }
}
