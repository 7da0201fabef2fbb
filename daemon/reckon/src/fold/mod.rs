//! The fold: the draw averaged over the period of a timed mode, phase by phase, so that receiving,
//! transmitting and decoding come apart.
//!
//! *Period*: after so many seconds the draw repeats. *Slot*: the stretch in which one station
//! sends; where two take turns the period is two slots. Nobody needs to say which mode is on, and
//! the clock may be off: phases are measured against the times that come with the readings.
//!
//! The caller holds the ring of readings, so memory is bounded by it. Half an hour is plenty for
//! slots up to 30 s; slots of two minutes need an hour.

mod burst;
mod period;
mod ring;
mod rows;
mod slots;

use alloc::vec::Vec;

pub use period::{FALSE_ALARM, Found, period};
pub use ring::{FoldRing, Stretch, Total, Totals};

use crate::units::{Joules, Share, Watts};

/// One reading of a second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beat {
    /// When it was taken, seconds on any steady clock (of the mean: the end of its second).
    pub at_s: f64,
    /// The draw, watts.
    pub watts: f64,
}

/// What one reading stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reads {
    /// The mean over the second before `at_s`. Energies hold.
    SecondMeans,
    /// One look at `at_s`. A part that lasts a few seconds is then known to a second only, and
    /// what it took just as badly; the length of a transmission comes from the mode's table.
    Instants,
}

impl Reads {
    /// From the time stamp back to the middle of what the reading stands for, seconds.
    const fn lag_s(self) -> f64 {
        match self {
            Self::SecondMeans => 0.5,
            Self::Instants => 0.0,
        }
    }
}

/// A timed mode: so many symbols of one length in a slot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mode {
    /// Its name in the trade.
    pub name: &'static str,
    /// A slot, seconds.
    pub slot_s: f64,
    /// Symbols in a transmission.
    pub symbols: u16,
    /// Length of one, seconds.
    pub symbol_s: f64,
}

impl Mode {
    /// How long the key is down in a slot, seconds.
    #[must_use]
    pub fn on_air_s(&self) -> f64 {
        f64::from(self.symbols) * self.symbol_s
    }
}

/// The timed modes with a slot of their own. All keep the carrier at one strength while it is on.
///
/// Sources: Franke, Somerville, Taylor, 'The FT4 and FT8 Communication Protocols', QEX Jul/Aug
/// 2020 (15 s: 79 symbols of 0.160 s; 7.5 s: 105 symbols of 0.048 s, ramps included); the protocol
/// chapter of the reference user guide (120 s: 162 symbols of 8192/12000 s); public ports of the
/// keyboard mode's protocol (79 symbols of 0.100, 0.050 and 0.320 s; one port disagrees on the two
/// fast ones).
pub const MODES: [Mode; 6] = [
    Mode { name: "JS8 turbo", slot_s: 6.0, symbols: 79, symbol_s: 0.050 },
    Mode { name: "FT4", slot_s: 7.5, symbols: 105, symbol_s: 0.048 },
    Mode { name: "JS8 fast", slot_s: 10.0, symbols: 79, symbol_s: 0.100 },
    // The keyboard mode's normal speed has the same timing and cannot be told apart by its draw.
    Mode { name: "FT8 or JS8", slot_s: 15.0, symbols: 79, symbol_s: 0.160 },
    Mode { name: "JS8 slow", slot_s: 30.0, symbols: 79, symbol_s: 0.320 },
    Mode { name: "WSPR", slot_s: 120.0, symbols: 162, symbol_s: 8192.0 / 12_000.0 },
];

/// The three things that a timed mode spends on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Board and radio listening: what is always there.
    Receive,
    /// The key down, on top of receiving.
    Transmit,
    /// The burst of reckoning after a received slot, on top of receiving.
    Decode,
}

/// One part of the draw.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Which.
    pub kind: Kind,
    /// Its draw while it lasts, on top of receiving (for receiving: the whole).
    pub watts: Watts,
    /// The share of the time that it lasts.
    pub time: Share,
    /// Its share of the energy.
    pub share: Share,
    /// What it took.
    pub energy: Joules,
    /// Where in the slot it begins, seconds of the readings' clock modulo the slot (zero for
    /// receiving, which never stops).
    pub begins_s: f64,
    /// How long it lasts each time, seconds.
    pub lasts_s: f64,
    /// A piece of it hides under the rise of a transmission, because every received slot was
    /// followed by a sent one: that second was bridged by a straight line. The part may then be
    /// off by half and more, the transmissions by 4 %; any few slots of plain listening in the
    /// same stretch cure it.
    pub bridged: bool,
}

/// A point of the curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Seconds of the readings' clock modulo the period.
    pub phase_s: f64,
    /// Mean draw there.
    pub watts: f64,
}

/// A stretch of record, folded.
#[derive(Clone, Debug, PartialEq)]
pub struct Fold {
    /// After this the draw repeats, seconds.
    pub period_s: f64,
    /// One slot, seconds; half the period where stations take turns.
    pub slot_s: f64,
    /// The mode, where a transmission or a period that only one mode has gives it away.
    pub mode: Option<&'static Mode>,
    /// The chance that a record without any period looks as periodic as this one.
    pub chance: f64,
    /// Mean draw by phase over one period, for drawing; 120 points at most.
    pub curve: Vec<Point>,
    /// Receive first; then what else was found.
    pub parts: Vec<Part>,
    /// Seconds that the fold rests on.
    pub seconds: f64,
    /// Everything taken in that time; the parts add up to it.
    pub energy: Joules,
    /// Slots with the key down.
    pub sent: u32,
    /// Slots in all.
    pub slots: u32,
}

impl Fold {
    /// One part, if it was found.
    #[must_use]
    pub fn part(&self, kind: Kind) -> Option<&Part> {
        self.parts.iter().find(|part| part.kind == kind)
    }
}

/// Folds a stretch of record, oldest reading first; `None` if no period stands out.
///
/// A record without a period is folded all the same at most once in [`FALSE_ALARM`] looks.
/// Readings that are not finite or run backwards are left out.
#[must_use]
pub fn fold(beats: impl IntoIterator<Item = Beat>, reads: Reads) -> Option<Fold> {
    let beats = tidy(beats, reads);
    let found = period::period_of(&beats)?;
    let (sender, sliced) = slots::best(&beats, found.period_s, reads)?;
    let seconds = count(beats.len());
    let energy_j: f64 = beats.iter().map(|beat| beat.watts).sum();
    let period_s = found.period_s.max(sliced.slot_s);
    // A period in which nothing can be told apart may be anything's.
    let listened = || if sliced.parts.is_empty() { None } else { only_mode(period_s) };
    let mode = sender.or_else(listened);
    let mut parts = alloc::vec![receive(energy_j, seconds, &sliced.parts)];
    parts.extend(sliced.parts.iter().map(|raw| raw.finish(energy_j, seconds)));
    Some(Fold {
        period_s,
        slot_s: sliced.slot_s,
        mode,
        chance: found.chance,
        curve: curve(&beats, period_s),
        parts,
        seconds,
        energy: Joules::of(energy_j),
        sent: sliced.sent,
        slots: sliced.slots,
    })
}

/// A part before it is set against the whole.
#[derive(Clone, Copy, Debug)]
struct Raw {
    kind: Kind,
    energy_j: f64,
    busy_s: f64,
    begins_s: f64,
    lasts_s: f64,
    bridged: bool,
}

impl Raw {
    fn finish(&self, whole_j: f64, seconds: f64) -> Part {
        Part {
            kind: self.kind,
            watts: Watts::of(if self.busy_s > 0.0 { self.energy_j / self.busy_s } else { 0.0 }),
            time: Share::nearest(self.busy_s / seconds),
            share: Share::nearest(self.energy_j / whole_j),
            energy: Joules::of(self.energy_j),
            begins_s: self.begins_s,
            lasts_s: self.lasts_s,
            bridged: self.bridged,
        }
    }
}

fn receive(whole_j: f64, seconds: f64, others: &[Raw]) -> Part {
    let rest = whole_j - others.iter().map(|raw| raw.energy_j).sum::<f64>();
    let raw = Raw {
        kind: Kind::Receive,
        energy_j: rest,
        busy_s: seconds,
        begins_s: 0.0,
        lasts_s: seconds,
        bridged: false,
    };
    raw.finish(whole_j, seconds)
}

/// The mode that a bare period gives away: one whose slot no other mode's two slots equal.
fn only_mode(period_s: f64) -> Option<&'static Mode> {
    let mut fitting =
        MODES.iter().filter(|mode| mode.slot_s == period_s || mode.slot_s * 2.0 == period_s);
    let first = fitting.next()?;
    if fitting.next().is_some() { None } else { Some(first) }
}

/// Finite readings in order, stamped with the middle of what they stand for.
fn tidy(beats: impl IntoIterator<Item = Beat>, reads: Reads) -> Vec<Beat> {
    let mut last = f64::NEG_INFINITY;
    let in_order = |beat: &Beat| {
        let good = beat.at_s.is_finite()
            && beat.watts.is_finite()
            && beat.at_s.abs() < 1e12
            && beat.watts.abs() < 1e6
            && beat.at_s > last;
        if good {
            last = beat.at_s;
        }
        good
    };
    let lag = reads.lag_s();
    beats
        .into_iter()
        .filter(in_order)
        .map(|beat| Beat { at_s: beat.at_s - lag, watts: beat.watts })
        .collect()
}

/// Mean by phase in half seconds (whole seconds beyond 60 s); empty phases are left out.
fn curve(beats: &[Beat], period_s: f64) -> Vec<Point> {
    let width = if period_s > 60.0 { 1.0 } else { 0.5 };
    let bins = binned(
        beats.iter().map(|beat| (wrap(beat.at_s, period_s), beat.watts)),
        width,
        0.0,
        period_s,
    );
    bins.iter().map(|bin| Point { phase_s: bin.phase_s, watts: bin.mean }).collect()
}

/// One filled bin of a mean curve.
#[derive(Clone, Copy, Debug)]
struct Bin {
    phase_s: f64,
    mean: f64,
    n: f64,
    scatter: f64,
}

/// Means over bins of a width from `from` to `to`, at the mean phase of what fell in.
fn binned(points: impl Iterator<Item = (f64, f64)>, width: f64, from: f64, to: f64) -> Vec<Bin> {
    let n = whole((to - from) / width).clamp(1, 512);
    let empty = Bin { phase_s: 0.0, mean: 0.0, n: 0.0, scatter: 0.0 };
    let mut bins = alloc::vec![empty; n];
    for (phase, value) in points {
        if phase < from || phase >= to {
            continue;
        }
        if let Some(bin) = bins.get_mut(whole(libm::floor((phase - from) / width)).min(n - 1)) {
            bin.n += 1.0;
            let off = value - bin.mean;
            bin.mean += off / bin.n;
            bin.scatter += off * (value - bin.mean);
            bin.phase_s += (phase - bin.phase_s) / bin.n;
        }
    }
    bins.retain(|bin| bin.n > 0.0);
    bins
}

/// Remainder in `0..by`.
fn wrap(value: f64, by: f64) -> f64 {
    let rest = value - libm::floor(value / by) * by;
    if rest >= by { 0.0 } else { rest }
}

#[expect(clippy::cast_precision_loss, reason = "counts of readings are far below 2^52")]
const fn count(n: usize) -> f64 {
    n as f64
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a float cast saturates, which is meant"
)]
fn whole(number: f64) -> usize {
    libm::round(number) as usize
}

#[cfg(test)]
pub(crate) mod tests;
