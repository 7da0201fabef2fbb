//! The fold: the draw averaged over the period of a timed mode, phase by phase, so that receiving,
//! transmitting and decoding come apart.
//!
//! *Period*: after so many seconds the draw repeats. *Slot*: the stretch in which one station
//! sends; where two take turns the period is two slots. Nobody needs to say which mode is on, and
//! the clock may be off: phases are measured against the times that come with the readings.
//!
//! The caller holds the ring of readings, so memory is bounded by it. Half an hour is plenty for
//! slots up to 30 s; slots of two minutes need an hour.

mod beat;
mod bins;
mod burst;
mod modes;
mod parts;
mod period;
mod ring;
mod rows;
mod slot_view;
mod slots;

use alloc::vec::Vec;

use bins::{binned, count, wrap};
use modes::only_mode;
use parts::Raw;

pub use beat::{Beat, Reads};
pub use modes::{MODES, Mode};
pub use parts::{Kind, Part};
pub use period::{FALSE_ALARM, Found, period};
pub use ring::{FoldRing, Stretch, Total, Totals};

use crate::units::Joules;

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
    /// Whether it came apart: what is only said to be receiving is all of it, told apart from nothing.
    #[must_use]
    pub fn is_apart(&self) -> bool {
        self.parts.len() > 1
    }

    /// The parts that may be shown; none where they cannot be told apart.
    #[must_use]
    pub fn parts_apart(&self) -> &[Part] {
        if self.is_apart() { &self.parts } else { &[] }
    }

    /// Slots with the key down, where that can be told.
    #[must_use]
    pub fn slots_sent(&self) -> Option<u32> {
        self.is_apart().then_some(self.sent)
    }

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
    let beats = beat::tidy(beats, reads);
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

#[cfg(test)]
pub(crate) mod tests;
