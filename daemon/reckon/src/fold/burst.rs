//! The burst of decoding after a received slot: where it is, how long, what it takes.

use alloc::vec::Vec;

use super::bins::{Bin, count};

/// A bump on a flat curve.
#[derive(Clone, Copy, Debug)]
pub(super) struct Burst {
    /// The level that it stands on.
    pub(super) level: f64,
    /// Height times length.
    pub(super) area: f64,
    /// Where it has risen half way, and has fallen half way.
    pub(super) from_s: f64,
    pub(super) to_s: f64,
}

/// The largest bump of a curve that is flat elsewhere, `span_s` long in all; with an area of zero
/// if none stands out.
pub(super) fn burst(all: &[Bin], span_s: f64) -> Option<Burst> {
    let curve = &solid(all);
    let mut level = flat_level(curve)?;
    let noise = noise(curve);
    let (mut from, mut to) = bump(curve, level, 4.0 * noise)?;
    // Once more, with the level of everything outside the bump.
    for _ in 0..2 {
        level = mean(outside(curve, from, to)).unwrap_or(level);
        (from, to) = bump(curve, level, 3.0 * noise)?;
    }
    let (low, high) = (from.saturating_sub(2), (to + 2).min(curve.len() - 1));
    let inside = curve.get(low..=high)?;
    let (low_s, high_s) = (inside.first()?.phase_s - 0.25, inside.last()?.phase_s + 0.25);
    // Every reading counts alike, whatever bin it fell in.
    let readings: f64 = all.iter().map(|bin| bin.n).sum();
    let over: f64 = all
        .iter()
        .filter(|bin| bin.phase_s > low_s && bin.phase_s < high_s)
        .map(|bin| bin.n * (bin.mean - level))
        .sum();
    let area = over * span_s / readings.max(1.0);
    let peak = curve.get(from..=to)?.iter().map(|bin| bin.mean).fold(level, f64::max);
    if peak - level < 6.0 * noise || area <= 0.0 {
        let level = mean(all.iter())?;
        return Some(Burst { level, area: 0.0, from_s: 0.0, to_s: 0.0 });
    }
    let (from_s, to_s) = edges(inside, level + (peak - level) / 2.0);
    Some(Burst { level, area, from_s, to_s })
}

/// The bins that hold enough readings to be believed: where the readings come in step with the
/// slot, every other bin is nearly empty.
pub(super) fn solid(all: &[Bin]) -> Vec<Bin> {
    let usual = all.iter().map(|bin| bin.n).sum::<f64>() / count(all.len()).max(1.0);
    all.iter().filter(|bin| bin.n >= 0.4 * usual).copied().collect()
}

/// The middle of the shortest stretch that holds half of the values: blind to a bump that takes
/// less than half (Rousseeuw's least median of squares, JASA 79, 1984, for one dimension).
fn flat_level(curve: &[Bin]) -> Option<f64> {
    let mut values: Vec<f64> = curve.iter().map(|bin| bin.mean).collect();
    if values.len() < 6 {
        return None;
    }
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    let width = |part: &&[f64]| part.last().unwrap_or(&0.0) - part.first().unwrap_or(&0.0);
    let tightest = values.windows(half + 1).min_by(|a, b| width(a).total_cmp(&width(b)))?;
    Some(tightest.iter().sum::<f64>() / count(tightest.len()))
}

/// Standard error of a middling bin.
pub(super) fn noise(curve: &[Bin]) -> f64 {
    let mut errors: Vec<f64> = curve
        .iter()
        .filter(|bin| bin.n >= 2.0)
        .map(|bin| libm::sqrt(bin.scatter / (bin.n - 1.0) / bin.n))
        .collect();
    errors.sort_by(f64::total_cmp);
    errors.get(errors.len() / 2).copied().unwrap_or(0.0).max(1e-4)
}

/// The run of bins above the threshold that has the largest area; the run may have one hole.
fn bump(curve: &[Bin], level: f64, above: f64) -> Option<(usize, usize)> {
    let mut best: Option<(f64, usize, usize)> = None;
    let mut run: Option<(f64, usize, usize)> = None;
    for (at, bin) in curve.iter().enumerate() {
        let over = bin.mean - level;
        run = match run {
            Some((area, from, to)) if over > above && at <= to + 2 => Some((area + over, from, at)),
            _ if over > above => Some((over, at, at)),
            kept => kept,
        };
        if let Some(run) = run
            && best.is_none_or(|best| run.0 > best.0)
        {
            best = Some(run);
        }
    }
    best.map_or(Some((0, 0)), |(_, from, to)| Some((from, to)))
}

/// The bins away from the bump, with two bins of margin.
fn outside(curve: &[Bin], from: usize, to: usize) -> impl Iterator<Item = &Bin> {
    curve
        .iter()
        .enumerate()
        .filter(move |(at, _)| *at + 2 < from || *at > to + 2)
        .map(|(_, bin)| bin)
}

/// Mean over the readings of some bins.
pub(super) fn mean<'a>(bins: impl Iterator<Item = &'a Bin>) -> Option<f64> {
    let (sum, n) = bins.fold((0.0, 0.0), |(sum, n), bin| (sum + bin.mean * bin.n, n + bin.n));
    (n > 0.0).then(|| sum / n)
}

/// Where a curve passes a height, upwards first and downwards last, by straight lines between the
/// bins.
pub(super) fn edges(curve: &[Bin], height: f64) -> (f64, f64) {
    let pairs = || curve.windows(2).filter_map(|pair| <&[Bin; 2]>::try_from(pair).ok());
    let at = |a: &Bin, b: &Bin| {
        a.phase_s + (b.phase_s - a.phase_s) * (height - a.mean) / (b.mean - a.mean)
    };
    let first = curve.first().map_or(0.0, |bin| bin.phase_s);
    let last = curve.last().map_or(0.0, |bin| bin.phase_s);
    let rising = pairs().find(|[a, b]| a.mean < height && b.mean >= height);
    let falling = pairs().rfind(|[a, b]| a.mean >= height && b.mean < height);
    (rising.map_or(first, |[a, b]| at(a, b)), falling.map_or(last, |[a, b]| at(a, b)))
}
