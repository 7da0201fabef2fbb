//! Prints what the clean power-off does to a bank over ten outings: the tables of the crate's README.
//!
//! ```sh
//! cargo run --release -p reckon --example unattended
//! ```
#![expect(clippy::expect_used, reason = "an example that cannot play must say so and stop")]

#[path = "../tests/unattended/mod.rs"]
mod unattended;

use unattended::{Case, believed_first, play};

fn main() {
    let cases = [
        ("good bank (30.2 Wh), nobody there", 30.2, Case::Nobody),
        ("half as good as usual (18.5 Wh), nobody there", 18.5, Case::Nobody),
        ("good bank, the sensor dies in the countdown", 30.2, Case::SensorDies),
        ("good bank, somebody always taps 'switch off now'", 30.2, Case::TapsAtOnce),
        ("half as good, somebody always taps", 18.5, Case::TapsAtOnce),
    ];
    let [low, middle, high] = believed_first();
    println!("Label 37 Wh; believed at first: {low:.1} {middle:.1} {high:.1} Wh.");
    for (name, true_wh, case) in cases {
        println!("\n{name}");
        for (k, it) in play(true_wh, case).iter().enumerate() {
            let [low, middle, high] = it.believed_wh;
            let end = match (it.died, it.silent) {
                (true, _) => "died",
                (false, true) => "switched off in the silence",
                (false, false) => "switched off",
            };
            println!(
                "{:2}: {end}, {:.0} min left, {:.1} Wh delivered; then believed {low:.1} \
                 {middle:.1} {high:.1} Wh",
                k + 1,
                it.left_h * 60.0,
                it.delivered_wh
            );
        }
    }
}
