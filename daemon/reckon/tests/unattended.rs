//! What the clean power-off may cost a bank that is not known yet, and that it is learned all the same.
//! The limits below are what the rule is meant to hold; the figures are printed by
//! `cargo run --release -p reckon --example unattended`.
#![expect(clippy::expect_used, reason = "a simulation that cannot go on must fail")]

#[path = "unattended/mod.rs"]
mod outings;

use outings::{Case, OUTINGS, Went, play};

fn deaths(all: &[Went]) -> Vec<usize> {
    (1..).zip(all).filter(|(_, it)| it.died).map(|(k, _)| k).collect()
}

/// An unknown bank is left alone and runs out once; then it is known, and switched off with less than
/// an hour left. (The old rule, on the cautious end alone, left 2 h 27, 2 h 13 and 2 h 05.)
#[test]
fn a_good_bank_is_not_switched_off_hours_before_its_end() {
    let all = play(30.2, Case::Nobody);
    assert_eq!(all.len(), OUTINGS);
    for (k, it) in (1..).zip(&all) {
        assert!(it.left_h < 1.0, "outing {k}: {it:?}");
    }
    assert_eq!(deaths(&all), [1], "it dies once, and never again");
}

/// One that holds half of its label dies on the first outing, whatever the rule; never again.
#[test]
fn a_poor_bank_dies_once() {
    let all = play(18.5, Case::Nobody);
    assert_eq!(deaths(&all), [1], "{all:?}");
    let [low, _, high] = all[OUTINGS - 1].believed_wh;
    assert!(low < 18.5 && 18.5 < high, "{low} {high}");
}

/// Silence calls nothing off: the board is switched off as announced.
#[test]
fn a_sensor_that_dies_in_the_countdown_changes_nothing() {
    let all = play(30.2, Case::SensorDies);
    assert_eq!(deaths(&all), [1], "{all:?}");
    assert!(all[1..].iter().all(|it| it.silent && it.left_h < 1.0), "{all:?}");
}

/// Always switched off before it cuts out: what it gave alive is the least that is believed, and each
/// outing comes nearer to the end.
#[test]
fn a_bank_that_is_always_switched_off_is_learned_slowly() {
    let all = play(30.2, Case::TapsAtOnce);
    let mut most_wh: f64 = 0.0;
    for (k, it) in (1..).zip(&all) {
        // Never less than was delivered alive, but for what outings differ by.
        if !it.died {
            most_wh = most_wh.max(it.delivered_wh);
        }
        let [low, middle, _] = it.believed_wh;
        assert!(middle > 0.985 * most_wh && low > 0.95 * most_wh, "outing {k}: {it:?}, {most_wh}");
    }
    let mean = |some: &[Went]| some.iter().map(|it| it.left_h).sum::<f64>() / some.len() as f64;
    let (first, last) = (mean(&all[..3]), mean(&all[OUTINGS - 3..]));
    assert!(first > 1.5, "the first three are cut off early: {first} h");
    assert!(last < 0.75, "the last three are not: {last} h");
    let [low, _, high] = all[OUTINGS - 1].believed_wh;
    assert!(low < 30.2 && 30.2 < high, "{low} {high}");
}
