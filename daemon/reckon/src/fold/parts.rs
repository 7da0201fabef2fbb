//! The parts that a folded draw comes apart into.

use crate::units::{Joules, Share, Watts};

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

/// A part before it is set against the whole.
#[derive(Clone, Copy, Debug)]
pub(super) struct Raw {
    pub(super) kind: Kind,
    pub(super) energy_j: f64,
    pub(super) busy_s: f64,
    pub(super) begins_s: f64,
    pub(super) lasts_s: f64,
    pub(super) bridged: bool,
}

impl Raw {
    pub(super) fn finish(&self, whole_j: f64, seconds: f64) -> Part {
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
