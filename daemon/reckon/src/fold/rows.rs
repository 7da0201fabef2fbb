//! A record cut into slots, and which of them were sent in.

use alloc::vec::Vec;
use core::ops::Range;

use super::{
    beat::Beat,
    bins::{count, wrap},
};

/// The record on its own floor: what drifts or switches over minutes is taken off, so that only
/// what happens inside the slots is left.
pub(super) fn levelled(beats: &[Beat], period_s: f64) -> Vec<Beat> {
    let block_s = (period_s * 8.0).max(120.0);
    let knots: Vec<(f64, f64)> = beats
        .chunk_by(|a, b| libm::floor(a.at_s / block_s) == libm::floor(b.at_s / block_s))
        // A short block at either end may be all transmission.
        .filter(|block| count(block.len()) > 0.6 * block_s)
        .map(|block| {
            let middle = block.iter().map(|beat| beat.at_s).sum::<f64>() / count(block.len());
            (middle, lowest_quarter(block))
        })
        .collect();
    let mut after = 0;
    beats
        .iter()
        .map(|beat| {
            while knots.get(after).is_some_and(|knot| knot.0 < beat.at_s) {
                after += 1;
            }
            let floor = match (after.checked_sub(1).and_then(|at| knots.get(at)), knots.get(after))
            {
                (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (beat.at_s - a.0) / (b.0 - a.0).max(1e-9),
                (Some(one), None) | (None, Some(one)) => one.1,
                (None, None) => 0.0,
            };
            Beat { at_s: beat.at_s, watts: beat.watts - floor }
        })
        .collect()
}

/// The draw that a quarter of the readings stay below.
pub(super) fn lowest_quarter(beats: &[Beat]) -> f64 {
    let mut watts: Vec<f64> = beats.iter().map(|beat| beat.watts).collect();
    watts.sort_by(f64::total_cmp);
    watts.get(watts.len() / 4).copied().unwrap_or(0.0)
}

/// One slot of the record.
pub(super) struct SlotRow {
    /// Slots since the clock's zero.
    pub(super) index: f64,
    pub(super) beats: Range<usize>,
    mean: f64,
    /// Most of the seconds that the mean is made of are there.
    covered: bool,
    pub(super) sent: bool,
}

/// Cuts the record into slots, so that slots begin at `cut` of the clock modulo the slot. Their
/// means leave out half a pause at either end, where decoding may be.
pub(super) fn rows(beats: &[Beat], slot_s: f64, cut_s: f64, pause_s: f64) -> Vec<SlotRow> {
    let within = |beat: &&Beat| {
        let phase = wrap(beat.at_s - cut_s, slot_s);
        phase >= pause_s / 2.0 && phase <= slot_s - pause_s / 2.0
    };
    let index = |beat: &Beat| libm::floor((beat.at_s - cut_s) / slot_s);
    let mut from = 0;
    beats
        .chunk_by(|a, b| index(a) == index(b))
        .map(|row| {
            let range = from..from + row.len();
            from = range.end;
            SlotRow {
                index: row.first().map_or(0.0, index),
                beats: range,
                mean: mean_of(row.iter().filter(within)),
                covered: count(row.iter().filter(within).count()) >= 0.6 * (slot_s - pause_s),
                sent: false,
            }
        })
        .collect()
}

/// Phase in its own slot and draw, of every reading of a row.
pub(super) fn points<'a>(
    beats: &'a [Beat],
    row: &SlotRow,
    slot_s: f64,
    cut_s: f64,
) -> impl Iterator<Item = (f64, f64)> + 'a {
    let begins = cut_s + row.index * slot_s;
    beats
        .get(row.beats.clone())
        .unwrap_or_default()
        .iter()
        .map(move |beat| (beat.at_s - begins, beat.watts))
}

fn mean_of<'a>(beats: impl Iterator<Item = &'a Beat>) -> f64 {
    let (sum, n) = beats.fold((0.0, 0.0), |(sum, n), beat| (sum + beat.watts, n + 1.0));
    if n > 0.0 { sum / n } else { 0.0 }
}

/// Where to cut so that no transmission is cut in two: the slots' means then differ most.
pub(super) fn best_cut(beats: &[Beat], slot_s: f64, pause_s: f64) -> f64 {
    const CUTS: usize = 60;
    let step = slot_s / count(CUTS);
    let spread: Vec<f64> = (0..CUTS)
        .map(|at| {
            let means: Vec<f64> = rows(beats, slot_s, step * count(at), pause_s)
                .iter()
                .filter(|row| row.covered)
                .map(|row| row.mean)
                .collect();
            let mean = means.iter().sum::<f64>() / count(means.len()).max(1.0);
            means.iter().map(|one| (one - mean) * (one - mean)).sum::<f64>()
                / count(means.len()).max(1.0)
        })
        .collect();
    let most = spread.iter().copied().fold(0.0, f64::max);
    let top = spread.iter().position(|one| *one >= most).unwrap_or(0);
    // The middle of the plateau around the top: the pause between transmissions.
    let on_plateau = |at: usize| spread.get(at % CUTS).is_some_and(|one| *one >= 0.97 * most);
    let right = (0..CUTS).take_while(|more| on_plateau(top + more)).count();
    let left = (0..CUTS).take_while(|less| on_plateau(top + CUTS - less)).count();
    let middle = count(top) + (count(right) - count(left)) / 2.0;
    wrap(middle * step, slot_s)
}

/// Splits the slots in two by their means (Otsu, IEEE Trans. SMC 9, 1979) and marks the upper ones;
/// `false` if the two are not well apart.
pub(super) fn mark_sent(rows: &mut [SlotRow]) -> bool {
    let mut means: Vec<f64> = rows.iter().filter(|row| row.covered).map(|row| row.mean).collect();
    means.sort_by(f64::total_cmp);
    let whole: f64 = means.iter().sum();
    let mut below = 0.0;
    let mut best: Option<(f64, f64, f64)> = None;
    for (at, mean) in means.iter().enumerate().take(means.len().saturating_sub(1)) {
        below += mean;
        let (n, m) = (count(at + 1), count(means.len() - at - 1));
        let (low, high) = (below / n, (whole - below) / m);
        let between = n * m * (high - low) * (high - low);
        if best.is_none_or(|best| between > best.0) {
            best = Some((between, low, high));
        }
    }
    let Some((_, low, high)) = best else { return false };
    let limit = low + (high - low) / 2.0;
    let within: f64 = means
        .iter()
        .map(|mean| mean - if *mean > limit { high } else { low })
        .map(|off| off * off)
        .sum();
    for row in rows.iter_mut() {
        row.sent = row.mean > limit;
    }
    high - low > 4.0 * libm::sqrt(within / count(means.len()))
}
