//! What folding an hour costs, which the engine does in the turn of one sweep: alternating 15 s
//! slots, 120 s slots, and a draw without any period. Run it with
//! `cargo run --release -p reckon --example fold_cost`.

use std::time::{Duration, Instant};

use reckon::fold::{Beat, FoldRing, Reads};

fn main() {
    for (name, slot_s, on_s) in
        [("15 s slots", 15.0, 12.64), ("120 s slots", 120.0, 110.592), ("no period", 7.3, 0.0)]
    {
        let mut ring = FoldRing::new(Reads::SecondMeans);
        let mut looks: Vec<Duration> = Vec::new();
        for second in 0..3600_u32 {
            let _ = ring.push(beat(second, slot_s, on_s));
            if second % 600 == 599 {
                let began = Instant::now();
                let _ = ring.fold_so_far();
                looks.push(began.elapsed());
            }
        }
        let began = Instant::now();
        let found = ring.close();
        let millis = |span: Duration| span.as_secs_f64() * 1000.0;
        let looks: Vec<String> = looks.iter().map(|it| format!("{:.1}", millis(*it))).collect();
        println!(
            "{name}: {} folds, closing an hour {:.1} ms, looks every 10 min {} ms",
            found.len(),
            millis(began.elapsed()),
            looks.join(", "),
        );
    }
}

/// A reading: 3 W, sending in every other slot, half a second of noise-like ripple.
fn beat(second: u32, slot_s: f64, on_s: f64) -> Beat {
    let at_s = f64::from(second);
    let phase = at_s.rem_euclid(2.0 * slot_s);
    let on = (on_s.min(phase) - (phase - 1.0).clamp(0.0, on_s)).clamp(0.0, 1.0);
    let mut x = second.wrapping_mul(2_654_435_761);
    x ^= x >> 15;
    x = x.wrapping_mul(2_246_822_519);
    x ^= x >> 13;
    let ripple = f64::from(x) / f64::from(u32::MAX) - 0.5;
    Beat { at_s, watts: 3.0 + 8.0 * on + 0.1 * ripple }
}
