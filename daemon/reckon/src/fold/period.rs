//! Is there a period at all? A test with a stated rate of false alarms.
//!
//! The record is cut into pieces of two periods or more; in each the wave of the sought period has
//! a strength and a phase. Without a period the phases of the pieces point anywhere; with one they
//! agree. Rayleigh's test of that agreement asks nothing of the noise but that its pieces are
//! independent. With `n` phases drawn at random the chance of a resultant longer than `R` is about
//! `exp(√(1 + 4n + 4(n² − R²)) − (1 + 2n))` (Zar, 'Biostatistical Analysis', chapter on circular
//! distributions; from memory). Pieces of unequal strength count as `n = (Σw²)² / Σw⁴` equal ones.
//! That the stated rate holds is tried on records without a period in the tests.

use alloc::vec::Vec;
use core::f64::consts::PI;

use super::{
    beat::{Beat, Reads, tidy},
    bins::{count, whole, wrap},
};

/// Looks at records without a period, one of which is taken for periodic.
pub const FALSE_ALARM: f64 = 1000.0;

/// Share of the scatter by which a wave of another period may leak in.
const LEAK: f64 = 0.005;

/// Fewer pieces than this cannot settle anything.
const FEWEST: usize = 8;

/// Periods looked for, longest first: piece length, period, and the waves that no shorter period
/// has (whole waves in a piece). Twice a slot is looked for as well: stations that take turns.
/// All waves of a piece length are two apart at least, where the window used here has its zeros,
/// so that neither a level nor a neighbouring period leaks in.
const SOUGHT: [(f64, f64, &[f64]); 9] = [
    (240.0, 120.0, &[2.0, 6.0, 10.0, 14.0]),
    (240.0, 60.0, &[4.0, 28.0, 44.0]),
    (120.0, 30.0, &[4.0, 28.0, 44.0, 52.0]),
    (120.0, 20.0, &[6.0, 18.0, 42.0]),
    (120.0, 15.0, &[8.0, 56.0]),
    (120.0, 12.0, &[10.0, 30.0, 50.0]),
    (120.0, 10.0, &[12.0, 36.0]),
    (120.0, 7.5, &[16.0, 32.0]),
    (120.0, 6.0, &[20.0]),
];

/// Where nothing stands out so: pieces of half the length, twice as many. Twelve and twenty
/// seconds cannot be told from their neighbours then.
const SOUGHT_AGAIN: [(f64, f64, &[f64]); 5] = [
    (60.0, 30.0, &[2.0, 14.0]),
    (60.0, 15.0, &[4.0, 28.0]),
    (60.0, 10.0, &[6.0, 18.0]),
    (60.0, 7.5, &[8.0, 16.0]),
    (60.0, 6.0, &[10.0]),
];

/// A period that stands out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// Seconds.
    pub period_s: f64,
    /// The chance of so much agreement in a record without any period.
    pub chance: f64,
}

/// The longest period of the table that stands out of a record.
#[must_use]
pub fn period(beats: impl IntoIterator<Item = Beat>, reads: Reads) -> Option<Found> {
    period_of(&tidy(beats, reads))
}

pub(super) fn period_of(beats: &[Beat]) -> Option<Found> {
    let steps = steps(beats);
    longest(&SOUGHT, beats, &steps).or_else(|| longest(&SOUGHT_AGAIN, beats, &steps))
}

/// The period that stands out most clearly, or the longest multiple of it that stands out too.
fn longest(sought: &[(f64, f64, &[f64])], beats: &[Beat], steps: &[Beat]) -> Option<Found> {
    let looks = count(SOUGHT.len() + SOUGHT_AGAIN.len()) * 2.0;
    let clear: Vec<(f64, f64, f64)> = sought
        .iter()
        .map(|(piece_s, period_s, waves)| {
            let clearest = [beats, steps]
                .map(|record| pieces(record, *piece_s))
                .iter()
                .filter(|pieces| pieces.len() >= FEWEST)
                .flat_map(|pieces| waves.iter().map(|wave| agreement(pieces, *piece_s, *wave)))
                .fold(0.0, f64::max);
            (*period_s, clearest - libm::log(count(waves.len()) * looks), *piece_s)
        })
        .filter(|found| found.1 > libm::log(FALSE_ALARM))
        .collect();
    // Longer pieces are fewer and cannot be as clear: what counts is the agreement of each.
    let each = |found: &&(f64, f64, f64)| found.1 * found.2;
    let clearest = clear.iter().max_by(|a, b| each(a).total_cmp(&each(b)))?.0;
    let (period_s, clear, _) = clear.iter().find(|found| wrap(found.0, clearest) == 0.0)?;
    Some(Found { period_s: *period_s, chance: libm::exp(-clear) })
}

/// How much the draw changes from one reading to the next, either way: transmissions in slots
/// chosen at random cancel in the draw itself, their edges do not.
fn steps(beats: &[Beat]) -> Vec<Beat> {
    beats
        .windows(2)
        .filter_map(|pair| <&[Beat; 2]>::try_from(pair).ok())
        .filter(|[a, b]| b.at_s - a.at_s < 1.9)
        .map(|[a, b]| Beat { at_s: b.at_s, watts: (b.watts - a.watts).abs() })
        .collect()
}

/// The readings of one piece: phase in it, window weight, draw without level and slope.
type Piece = Vec<(f64, f64, f64)>;

fn pieces(beats: &[Beat], piece_s: f64) -> Vec<Piece> {
    beats
        .chunk_by(|a, b| libm::floor(a.at_s / piece_s) == libm::floor(b.at_s / piece_s))
        .filter(|piece| piece.len() * 4 >= whole(piece_s) * 3)
        .map(|piece| flattened(piece, piece_s))
        .collect()
}

/// Takes level and slope away (weighted least squares): they would leak into every piece alike.
fn flattened(piece: &[Beat], piece_s: f64) -> Piece {
    let mut points: Piece = piece
        .iter()
        .map(|beat| {
            let phase = wrap(beat.at_s, piece_s);
            let sine = libm::sin(PI * phase / piece_s);
            (phase, sine * sine, beat.watts)
        })
        .collect();
    let all: f64 = points.iter().map(|point| point.1).sum();
    let mean = |of: fn(&(f64, f64, f64)) -> f64| -> f64 {
        points.iter().map(|point| point.1 * of(point)).sum::<f64>() / all.max(1e-12)
    };
    let (mid, level) = (mean(|point| point.0), mean(|point| point.2));
    let spread: f64 = points.iter().map(|p| p.1 * (p.0 - mid) * (p.0 - mid)).sum();
    let joint: f64 = points.iter().map(|p| p.1 * (p.0 - mid) * (p.2 - level)).sum();
    let slope = if spread > 0.0 { joint / spread } else { 0.0 };
    for point in &mut points {
        point.2 -= level + slope * (point.0 - mid);
    }
    points
}

/// Rayleigh's test of one wave over all pieces: minus the logarithm of the chance. A piece much
/// stronger than most (a step, a start-up) counts as three times the middle one, so that it cannot
/// speak for all.
fn agreement(pieces: &[Piece], piece_s: f64, waves: f64) -> f64 {
    let turns = 2.0 * PI * waves / piece_s;
    let arrows: Vec<(f64, f64, f64)> = pieces
        .iter()
        .map(|piece| {
            let (x, y) = piece.iter().fold((0.0, 0.0), |(x, y), (phase, weight, watts)| {
                let angle = turns * phase;
                (x + weight * watts * libm::cos(angle), y + weight * watts * libm::sin(angle))
            });
            (libm::hypot(x, y), x, y)
        })
        .collect();
    let mut sizes: Vec<f64> = arrows.iter().map(|arrow| arrow.0).collect();
    sizes.sort_by(f64::total_cmp);
    let most = 3.0 * sizes.get(sizes.len() / 2).copied().unwrap_or(0.0);
    let (mut x, mut y, mut squares, mut fourths) = (0.0, 0.0, 0.0, 0.0);
    for (size, across, up) in arrows {
        let held = if size > most { most / size } else { 1.0 };
        let square = (size * held) * (size * held);
        x += across * held;
        y += up * held;
        squares += square;
        fourths += square * square;
    }
    let all = || pieces.iter().flatten().map(|(_, _, watts)| watts * watts);
    let scatter_w = libm::sqrt(all().sum::<f64>() / count(all().count()).max(1.0));
    // A tenth of a milliwatt is rounding, however well it agrees with itself; and what is much less
    // than the scatter is another period's, leaked in where a slope was taken away.
    let strength_w = 4.0 * libm::hypot(x, y) / (piece_s * count(pieces.len()).max(1.0));
    if fourths <= 0.0 || strength_w < 1e-4 || strength_w < LEAK * scatter_w {
        return 0.0;
    }
    let n = squares * squares / fourths;
    let resultant = (n * (x * x + y * y) / squares).min(n * n);
    1.0 + 2.0 * n - libm::sqrt(1.0 + 4.0 * n + 4.0 * (n * n - resultant))
}
