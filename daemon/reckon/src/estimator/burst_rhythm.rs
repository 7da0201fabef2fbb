//! What the processor's rhythm tells about the radio.
//!
//! A timed digital mode works in slots of 15 s and a station sends every other slot at most. While
//! it sends it receives nothing, so the burst of work that decodes a slot is missing at the end of
//! every slot that was sent. Two minutes of processor use are folded on 30 s and compared with
//! patterns: bursts after both slots (listening), after one of them (sending every other slot, or
//! some of them), or none (no such program). Neither the phase of the bursts against our clock nor
//! their size is known at first; both stay the same through an outing, so that every window
//! sharpens them. The middle of the four repeats is taken, so that a program that starts, or a
//! two-minute beacon mode, does not look like a burst.

use alloc::vec::Vec;

use libm::{exp, floor, log, sqrt};

/// Two slots, s.
const FOLD_S: f64 = 30.0;
/// Phases that are told apart.
const BINS: usize = 30;
/// Length of a window, s: four folds.
const WINDOW_S: f64 = 120.0;
/// A longer step tells nothing of the phase, s.
const LONGEST_STEP_S: f64 = 15.0;
/// Longest that one and the same number is taken for one reading, s.
const SAME_S: f64 = 10.01;
/// Repeats of one phase that are kept in a window.
const REPEATS: usize = 6;
/// Carrier within a 15 s slot: 79 symbols of 0.16 s (the FT8 protocol as published by Franke,
/// Somerville and Taylor, QEX July/August 2020).
const CARRIER: f64 = 12.64 / 15.0;
/// Length of a burst, s: its size and place matter, its length hardly.
const LENGTH_S: f64 = 3.0;
/// Sizes that are tried: seconds of full processor use in a burst.
const SIZES: [f64; 6] = [0.7, 1.1, 1.6, 2.3, 3.3, 4.7];
/// Deviation (ln) of the size from one outing of a board to the next.
const SIZE_KEEPS: f64 = 0.35;
/// Share of the bursts that are left after each of the two slots, and how likely beforehand.
const PATTERNS: [(f64, f64, f64); 5] =
    [(1.0, 1.0, 0.56), (0.5, 1.0, 0.06), (1.0, 0.5, 0.06), (0.0, 1.0, 0.16), (1.0, 0.0, 0.16)];
/// How likely no timed mode is, against one of the patterns.
const NONE: f64 = 1.5;
/// Deviation of one ten-second reading of the processor's use between the bursts.
const NOISE: f64 = 0.05;
/// Use above the floor: without a timed mode, listening, sending (somebody works the program), and
/// how well each is known (fit on simulated boards).
const IDLES: (f64, f64) = (0.04, 0.05);
const LISTENS: (f64, f64) = (0.09, 0.05);
const SENDS: (f64, f64) = (0.16, 0.05);
/// Somebody works at the board where use lies this much above the floor without bursts; how softly.
const RAISED: (f64, f64) = (0.025, 0.008);
/// What a guess's past merits are worth one window later, and the least it may fall to (ln).
const MEMORY: f64 = 0.99;
const LEAST: f64 = -16.0;
/// Use at rest of a board that nothing is known of.
const FLOOR: f64 = 0.035;
/// Share of the time that a two-minute beacon mode sends (common practice: every fifth slot).
const BEACON_SENDS: f64 = 0.2;
/// Windows with bursts that make a size worth keeping.
const SURE_WINDOWS: f64 = 5.0;

/// What the last window looked like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct WindowSeen {
    /// Share of the time that was sent, 0 to 1.
    pub(super) sending: f64,
    /// Chance that somebody works at the board.
    pub(super) present: f64,
    /// Chance that no timed mode runs.
    pub(super) quiet: f64,
    /// Chance that somebody is there, or a beacon runs, whose sending leaves no mark.
    pub(super) unmarked: f64,
}

/// One way the bursts may lie.
#[derive(Clone, Copy, Debug)]
struct Guess {
    phase: usize,
    size: usize,
    log_w: f64,
}

/// Follows one outing's processor use.
#[derive(Clone, Debug)]
pub(super) struct BurstRhythm {
    clock_s: f64,
    /// A reading that may still go on: its length, s, and processor use.
    same: Option<(f64, f64)>,
    window: Window,
    guesses: Vec<Guess>,
    seen: WindowSeen,
    last_peak: [f64; 2],
    /// How surely one burst every two minutes is all there is: a beacon mode.
    beacon: f64,
    floor: f64,
    bursts_seen: f64,
}

impl BurstRhythm {
    /// `burst`: size and length from an earlier outing; `floor`: processor use at rest then.
    pub(super) fn new(burst: Option<[f64; 2]>, floor: Option<f64>) -> Self {
        let mut guesses = Vec::with_capacity(BINS / 2 * SIZES.len());
        for phase in 0..BINS / 2 {
            for (size, seconds) in SIZES.iter().enumerate() {
                let off = burst.map_or(0.0, |b| log(seconds / b[0]) / SIZE_KEEPS);
                guesses.push(Guess { phase, size, log_w: -0.5 * off * off });
            }
        }
        Self {
            clock_s: 0.0,
            same: None,
            window: Window::default(),
            guesses,
            // Before the first window: what is usual.
            seen: WindowSeen { sending: 0.06, present: 0.3, quiet: 0.5, unmarked: 0.3 },
            last_peak: [0.0; 2],
            beacon: 0.0,
            floor: floor.unwrap_or(FLOOR),
            bursts_seen: 0.0,
        }
    }

    pub(super) const fn seen(&self) -> &WindowSeen {
        &self.seen
    }

    /// Processor use at rest.
    pub(super) const fn floor(&self) -> f64 {
        self.floor
    }

    /// Size and length of the burst, once it was seen for a while.
    pub(super) fn burst(&self) -> Option<[f64; 2]> {
        let best = self.guesses.iter().max_by(|a, b| a.log_w.total_cmp(&b.log_w))?;
        (self.bursts_seen > SURE_WINDOWS).then_some([SIZES[best.size], LENGTH_S])
    }

    /// Takes processor use over the last `dt` seconds.
    pub(super) fn observe(&mut self, dt: f64, busy: Option<f64>) {
        // A number that is handed over again is not a new reading: whoever reads the processor may
        // be slower than our steps.
        match (busy, &mut self.same) {
            (Some(u), Some((s, last))) if u == *last && *s + dt <= SAME_S => *s += dt,
            _ => {
                self.flush();
                self.same = busy.map(|u| (dt, u));
            }
        }
        self.clock_s += dt;
        self.window.s += dt;
        if self.window.s >= WINDOW_S {
            self.flush();
            let mut window = core::mem::take(&mut self.window);
            self.judge(&mut window);
        }
    }

    /// Takes the pending reading into the window.
    fn flush(&mut self) {
        if let Some((s, u)) = self.same.take().filter(|r| r.0 <= LONGEST_STEP_S) {
            self.window.observe(s, self.clock_s - 0.5 * s, u);
        }
    }

    fn judge(&mut self, window: &mut Window) {
        let (mut cells, n) = window.cells();
        if n < 3 {
            return;
        }
        let fold = FoldedWindow::from_cells(&mut cells[..n], window.noise2());
        let mean = window.lower_mean();
        let (by_pattern, none) = self.weigh(&fold);
        let total = none + by_pattern.iter().sum::<f64>();
        let quiet = none / total;
        self.bursts_seen += 1.0 - quiet;
        let (mut sending, mut working) = (0.0, 0.0);
        for (w, &(a, b, _)) in by_pattern.iter().zip(&PATTERNS) {
            sending += w / total * (1.0 - 0.5 * (a + b)) * CARRIER;
            if a + b < 2.0 {
                working += w / total;
            }
        }
        if quiet > 0.5 && mean < self.floor + 0.015 {
            self.floor += 0.1 * (mean - self.floor);
        }
        // A beacon: the same place in every two minutes stands out, and nothing else does.
        let peak = window.peak;
        let alike = (peak[1] - self.last_peak[1]).abs() < 11.0 && peak[0] > mean + 0.12;
        self.last_peak = peak;
        self.beacon += 0.2 * (if alike { quiet } else { 0.0 } - self.beacon);
        let away = ((self.beacon - 0.2) / 0.15).clamp(0.0, 1.0);
        let raised = 1.0 / (1.0 + exp(-(mean - self.floor - RAISED.0) / RAISED.1));
        self.seen = WindowSeen {
            sending: sending + BEACON_SENDS * away * quiet,
            present: working + quiet * raised * (1.0 - away),
            quiet,
            unmarked: quiet * raised.max(away),
        };
    }

    /// Weight of each pattern and of none, over all guesses; sharpens the guesses.
    fn weigh(&mut self, fold: &FoldedWindow) -> ([f64; PATTERNS.len()], f64) {
        let none = NONE * fold.score(0.0, 0.0, 0.0, self.floor + IDLES.0, IDLES.1);
        let mut by_pattern = [0.0; PATTERNS.len()];
        let mut all = 0.0;
        let mut best = f64::NEG_INFINITY;
        for g in &mut self.guesses {
            let (f, s) = (fold.places[g.phase], fold.places[g.phase + BINS / 2]);
            let across = fold.across[g.phase];
            let h = SIZES[g.size] / LENGTH_S;
            let weight = exp(g.log_w);
            let mut like = 0.0;
            for (out, &(a, b, prior)) in by_pattern.iter_mut().zip(&PATTERNS) {
                let (ha, hb) = (h * a, h * b);
                let sum = ha * f.sum + hb * s.sum;
                let with_mean = ha * f.with_mean + hb * s.with_mean;
                let square = ha * ha * f.square + hb * hb * s.square + 2.0 * ha * hb * across;
                let base = if a + b < 2.0 { SENDS } else { LISTENS };
                let score = fold.score(sum, with_mean, square, self.floor + base.0, base.1);
                let l = prior * score / none;
                *out += weight * l;
                like += l;
            }
            all += weight;
            g.log_w = MEMORY * g.log_w + log(1.0 + like);
            best = best.max(g.log_w);
        }
        for g in &mut self.guesses {
            g.log_w = (g.log_w - best).max(LEAST);
        }
        (by_pattern, all)
    }
}

/// Readings of one phase.
#[derive(Clone, Copy, Debug, Default)]
struct Bin {
    busy: [f32; REPEATS],
    n: usize,
    s: f64,
    mid: f64,
}

/// Two minutes of processor use.
#[derive(Clone, Copy, Debug)]
struct Window {
    s: f64,
    bins: [Bin; BINS],
    /// Ten-second means.
    tens: [f64; 16],
    n: usize,
    part: [f64; 2],
    /// Highest of them, and where in the window it ended, s.
    peak: [f64; 2],
}

impl Default for Window {
    fn default() -> Self {
        Self {
            s: 0.0,
            bins: [Bin::default(); BINS],
            tens: [0.0; 16],
            n: 0,
            part: [0.0; 2],
            peak: [0.0; 2],
        }
    }
}

impl Window {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a phase lies between 0 and 30; single precision is meant"
    )]
    fn observe(&mut self, dt: f64, mid_s: f64, busy: f64) {
        let phase = mid_s - FOLD_S * floor(mid_s / FOLD_S);
        let bin = &mut self.bins[(phase as usize).min(BINS - 1)];
        if bin.n < REPEATS {
            bin.busy[bin.n] = busy as f32;
            bin.s += dt;
            bin.mid += phase;
            bin.n += 1;
        }
        self.part[0] += busy * dt;
        self.part[1] += dt;
        if self.part[1] >= 9.9 && self.n < self.tens.len() {
            let ten = self.part[0] / self.part[1];
            if ten > self.peak[0] {
                self.peak = [ten, self.s];
            }
            self.tens[self.n] = ten;
            self.n += 1;
            self.part = [0.0; 2];
        }
    }

    /// Centre, length and use of every phase that was seen at least twice.
    fn cells(&mut self) -> ([Cell; BINS], usize) {
        let mut cells = [Cell::default(); BINS];
        let mut n = 0;
        for b in self.bins.iter_mut().filter(|b| b.n >= 2) {
            let count = b.n as f64;
            let kept = &mut b.busy[..b.n];
            kept.sort_by(f32::total_cmp);
            let middle = &kept[kept.len() / 4..kept.len() - kept.len() / 4];
            let busy = f64::from(middle.iter().sum::<f32>()) / middle.len() as f64;
            cells[n] = Cell { mid: b.mid / count, width: b.s / count, busy };
            n += 1;
        }
        (cells, n)
    }

    /// Variance of a cell: shorter readings scatter more, repeats less.
    fn noise2(&self) -> f64 {
        let (mut sum, mut n) = (0.0, 0.0);
        for b in self.bins.iter().filter(|b| b.n >= 2) {
            let count = b.n as f64;
            sum += NOISE * NOISE * (10.0 * count / b.s).min(4.0) / count;
            n += 1.0;
        }
        sum / f64::max(n, 1.0)
    }

    /// Mean of the lower two thirds: bursts and starting programs left out.
    fn lower_mean(&mut self) -> f64 {
        let tens = &mut self.tens[..self.n];
        if tens.is_empty() {
            return FLOOR;
        }
        tens.sort_by(f64::total_cmp);
        let kept = (tens.len() * 2 / 3).max(1);
        tens[..kept].iter().sum::<f64>() / kept as f64
    }
}

/// One phase of the fold: centre and width, s; use.
#[derive(Clone, Copy, Debug, Default)]
struct Cell {
    mid: f64,
    width: f64,
    busy: f64,
}

impl Cell {
    /// Share of it that a burst beginning at `begin` covers, on a circle of one fold.
    fn share(&self, begin: f64) -> f64 {
        let (low, high) = (self.mid - 0.5 * self.width, self.mid + 0.5 * self.width);
        let covered = |b: f64| (high.min(b + LENGTH_S) - low.max(b)).max(0.0);
        (covered(begin - FOLD_S) + covered(begin) + covered(begin + FOLD_S)) / self.width
    }
}

/// What a burst at one place does to the sums over the cells.
#[derive(Clone, Copy, Debug, Default)]
struct Place {
    sum: f64,
    square: f64,
    with_mean: f64,
}

/// Sums over the cells of one window, and over every place of a burst.
struct FoldedWindow {
    n: f64,
    first: f64,
    second: f64,
    noise2: f64,
    places: [Place; BINS],
    /// Product of the places of the two slots.
    across: [f64; BINS / 2],
}

impl FoldedWindow {
    fn from_cells(cells: &mut [Cell], noise2: f64) -> Self {
        let (first, second) =
            cells.iter().fold((0.0, 0.0), |(a, b), c| (a + c.busy, b + c.busy * c.busy));
        let mut places = [Place::default(); BINS];
        let mut across = [0.0; BINS / 2];
        for c in cells.iter() {
            let shares: [f64; BINS] = core::array::from_fn(|begin| c.share(begin as f64));
            for (place, x) in places.iter_mut().zip(shares) {
                place.sum += x;
                place.square += x * x;
                place.with_mean += x * c.busy;
            }
            for (k, x) in across.iter_mut().enumerate() {
                *x += shares[k] * shares[k + BINS / 2];
            }
        }
        Self { n: cells.len() as f64, first, second, noise2, places, across }
    }

    /// Likelihood, up to a factor, of what remains after bursts are taken away (their sum over the
    /// cells, their product with the readings, their square), with a base that is only roughly
    /// known. Student's law with four degrees of freedom and three cells' worth of evidence, so
    /// that one odd burst decides nothing.
    fn score(&self, sum: f64, with_mean: f64, square: f64, base: f64, base_sd: f64) -> f64 {
        let tau2 = base_sd * base_sd;
        let r1 = self.first - sum;
        let r2 = self.second - 2.0 * with_mean + square;
        let e1 = r1 - self.n * base;
        let e2 = r2 - 2.0 * base * r1 + self.n * base * base;
        let chi2 = (e2 - e1 * e1 / (self.n + self.noise2 / tau2)) / self.noise2;
        let x = 1.0 + 0.75 * chi2.max(0.0) / self.n;
        1.0 / (x * x * x * sqrt(x * (1.0 + self.n * tau2 / self.noise2)))
    }
}
