//! Folding a whole outing with a ring of bounded length.

use alloc::vec::Vec;

use super::{Beat, Fold, Kind, Reads, bins::count, fold};
use crate::units::{Joules, Seconds};

/// Length of one fold, seconds: an hour, for slots of two minutes.
const RING_S: usize = 3600;
/// Where the whole ring shows no period, its thirds are tried.
const THIRD: usize = RING_S / 3;
/// Upper limit of different slots that are kept apart.
const MOST: usize = 8;
/// A reading so long after the first cannot be told in the ring: it is closed before.
const FARTHEST_S: f64 = 30.0 * 24.0 * 3600.0;

/// What a slot length has taken so far.
#[derive(Clone, Debug)]
pub struct Total {
    /// The latest fold with this slot.
    pub latest: Fold,
    /// Record that was folded with it.
    pub lasted: Seconds,
    /// All of it, and the parts of it.
    pub energy: Joules,
    /// Of stretches whose parts cannot be told apart.
    pub untold: Joules,
    /// Receiving.
    pub receive: Joules,
    /// The key down, on top.
    pub transmit: Joules,
    /// Decoding, on top.
    pub decode: Joules,
    /// Slots with the key down.
    pub sent: u32,
}

impl Total {
    /// Whether any of it came apart.
    #[must_use]
    pub fn is_apart(&self) -> bool {
        self.untold.si() < self.energy.si()
    }
}

/// Folds summed by their slot.
#[derive(Clone, Debug, Default)]
pub struct Totals(Vec<Total>);

impl Totals {
    /// Adds a fold; `false` if there are too many different slots already.
    pub fn add(&mut self, found: Fold) -> bool {
        let apart = |kind| found.parts_apart().iter().find(|part| part.kind == kind);
        let energy = |kind| apart(kind).map_or(Joules::ZERO, |part| part.energy);
        let untold = if found.is_apart() { Joules::ZERO } else { found.energy };
        let sent = found.slots_sent().unwrap_or(0);
        let (receive, transmit, decode) =
            (energy(Kind::Receive), energy(Kind::Transmit), energy(Kind::Decode));
        let lasted = Seconds::of(found.seconds);
        let room = self.0.len() < MOST;
        match self.0.iter_mut().find(|total| total.latest.slot_s == found.slot_s) {
            Some(total) => {
                total.lasted = total.lasted + lasted;
                total.energy = total.energy + found.energy;
                total.untold = total.untold + untold;
                total.receive = total.receive + receive;
                total.transmit = total.transmit + transmit;
                total.decode = total.decode + decode;
                total.sent = total.sent.saturating_add(sent);
                total.latest = found;
            }
            None if room => {
                let (energy, latest) = (found.energy, found);
                self.0.push(Total {
                    latest,
                    lasted,
                    energy,
                    untold,
                    receive,
                    transmit,
                    decode,
                    sent,
                });
            }
            None => return false,
        }
        true
    }

    /// What was added so far, by slot.
    #[must_use]
    pub fn as_slice(&self) -> &[Total] {
        &self.0
    }

    /// The same, to keep.
    #[must_use]
    pub fn into_vec(self) -> Vec<Total> {
        self.0
    }
}

/// A fold and the stretch that it was made of, by the readings' clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// When the first reading was taken, seconds.
    pub from_s: f64,
    /// When the last one was.
    pub to_s: f64,
    /// What it folded into.
    pub fold: Fold,
}

/// A reading as it is kept: 8 bytes, so that an hour takes 28 KiB.
#[derive(Clone, Copy, Debug)]
struct RingReading {
    /// Milliseconds after the first one.
    after_ms: u32,
    watts: f32,
}

/// Takes the readings of an outing one by one; never holds more than an hour of them.
#[derive(Clone, Debug)]
pub struct FoldRing {
    reads: Reads,
    first_s: f64,
    ring: Vec<RingReading>,
    totals: Totals,
    unfolded_s: f64,
}

impl FoldRing {
    /// With nothing in it.
    #[must_use]
    pub const fn new(reads: Reads) -> Self {
        Self { reads, first_s: 0.0, ring: Vec::new(), totals: Totals(Vec::new()), unfolded_s: 0.0 }
    }

    /// What its readings stand for.
    #[must_use]
    pub const fn reads(&self) -> Reads {
        self.reads
    }

    /// Readings in the ring.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.ring.len()
    }

    /// Whether the ring holds nothing.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.ring.is_empty()
    }

    /// Whether the ring holds all that it may: the next reading closes it.
    #[must_use]
    pub const fn is_full(&self) -> bool {
        self.ring.len() >= RING_S
    }

    /// One more reading; what is not finite or not later than the one before is left out. Every
    /// hour the ring is folded and emptied, which is the only costly call.
    pub fn push(&mut self, beat: Beat) -> Vec<Stretch> {
        if !(beat.at_s.is_finite() && beat.watts.is_finite()) {
            return Vec::new();
        }
        let after_s = beat.at_s - self.first_s;
        let last = self.ring.last().map(|last| last.after_ms);
        if last.is_some_and(|last| after_s * 1000.0 <= f64::from(last)) {
            return Vec::new();
        }
        let full = self.is_full() || (last.is_some() && after_s > FARTHEST_S);
        let closed = if full { self.close() } else { Vec::new() };
        if self.ring.is_empty() {
            self.first_s = beat.at_s;
        }
        self.ring.push(kept(beat, self.first_s));
        closed
    }

    /// What the ring would fold into by now, or the last third of an hour in it; it goes on being
    /// filled.
    #[must_use]
    pub fn fold_so_far(&self) -> Option<Stretch> {
        let last = self.ring.get(self.ring.len().saturating_sub(THIRD)..).unwrap_or_default();
        self.folded(&self.ring)
            .or_else(|| if last.len() < self.ring.len() { self.folded(last) } else { None })
    }

    /// Folds what is in the ring and empties it: at the end of an outing or of an activity.
    pub fn close(&mut self) -> Vec<Stretch> {
        let ring = core::mem::take(&mut self.ring);
        if let Some(found) = self.folded(&ring) {
            self.add(&found.fold);
            return alloc::vec![found];
        }
        // A mode that was on for a part of the time only.
        let mut closed = Vec::new();
        for third in ring.chunks(THIRD) {
            match self.folded(third) {
                Some(found) => {
                    self.add(&found.fold);
                    closed.push(found);
                }
                None => self.unfolded_s += count(third.len()),
            }
        }
        closed
    }

    /// What was found so far, by slot.
    #[must_use]
    pub fn totals(&self) -> &[Total] {
        self.totals.as_slice()
    }

    /// Record in which no period stood out.
    #[must_use]
    pub const fn without(&self) -> Seconds {
        Seconds::of(self.unfolded_s)
    }

    fn folded(&self, part: &[RingReading]) -> Option<Stretch> {
        let beat = |kept: &RingReading| Beat {
            at_s: self.first_s + f64::from(kept.after_ms) / 1000.0,
            watts: f64::from(kept.watts),
        };
        let (first, last) = (part.first()?, part.last()?);
        let fold = fold(part.iter().map(beat), self.reads)?;
        Some(Stretch { from_s: beat(first).at_s, to_s: beat(last).at_s, fold })
    }

    fn add(&mut self, found: &Fold) {
        if !self.totals.add(found.clone()) {
            self.unfolded_s += found.seconds;
        }
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a float cast saturates; milliseconds of a month fit"
)]
fn kept(beat: Beat, first_s: f64) -> RingReading {
    let after_ms = libm::round((beat.at_s - first_s) * 1000.0) as u32;
    RingReading { after_ms, watts: beat.watts as f32 }
}
