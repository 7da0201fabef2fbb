//! Folding a whole outing with a ring of bounded length.

use alloc::{collections::VecDeque, vec::Vec};

use super::{Beat, Fold, Kind, Reads, count, fold};
use crate::units::{Joules, Seconds};

/// So many seconds are folded at a time: an hour, for slots of two minutes.
const RING_S: usize = 3600;
/// Where the whole ring shows no period, its thirds are tried.
const THIRD: usize = RING_S / 3;
/// No more than so many different slots are kept apart.
const MOST: usize = 8;

/// What a slot length has taken so far.
#[derive(Clone, Debug)]
pub struct Total {
    /// The latest fold with this slot.
    pub latest: Fold,
    /// Record that was folded with it.
    pub lasted: Seconds,
    /// All of it, and the parts of it.
    pub energy: Joules,
    /// Receiving.
    pub receive: Joules,
    /// The key down, on top.
    pub transmit: Joules,
    /// Decoding, on top.
    pub decode: Joules,
    /// Slots with the key down.
    pub sent: u32,
}

/// Folds summed by their slot.
#[derive(Clone, Debug, Default)]
pub struct Totals(Vec<Total>);

impl Totals {
    /// Adds a fold; `false` if there are too many different slots already.
    pub fn add(&mut self, found: Fold) -> bool {
        let energy = |kind| found.part(kind).map_or(Joules::ZERO, |part| part.energy);
        let (receive, transmit, decode) =
            (energy(Kind::Receive), energy(Kind::Transmit), energy(Kind::Decode));
        let lasted = Seconds::of(found.seconds);
        let room = self.0.len() < MOST;
        match self.0.iter_mut().find(|total| total.latest.slot_s == found.slot_s) {
            Some(total) => {
                total.lasted = total.lasted + lasted;
                total.energy = total.energy + found.energy;
                total.receive = total.receive + receive;
                total.transmit = total.transmit + transmit;
                total.decode = total.decode + decode;
                total.sent = total.sent.saturating_add(found.sent);
                total.latest = found;
            }
            None if room => {
                let (energy, sent) = (found.energy, found.sent);
                let latest = found;
                self.0.push(Total { latest, lasted, energy, receive, transmit, decode, sent });
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

/// Takes the readings of an outing one by one; never holds more than an hour of them.
#[derive(Clone, Debug)]
pub struct Keeper {
    reads: Reads,
    ring: VecDeque<Beat>,
    totals: Totals,
    unfolded_s: f64,
}

impl Keeper {
    /// With nothing in it.
    #[must_use]
    pub const fn new(reads: Reads) -> Self {
        Self { reads, ring: VecDeque::new(), totals: Totals(Vec::new()), unfolded_s: 0.0 }
    }

    /// One more reading. Every hour the ring is folded and emptied, which is the only costly call.
    pub fn take(&mut self, beat: Beat) {
        self.ring.push_back(beat);
        if self.ring.len() >= RING_S {
            self.close();
        }
    }

    /// Folds what is in the ring: at the end of an outing or of an activity, or when the clock was
    /// set (phases before and after do not belong together).
    pub fn close(&mut self) {
        let beats: Vec<Beat> = core::mem::take(&mut self.ring).into();
        if let Some(found) = fold(beats.iter().copied(), self.reads) {
            self.add(found);
            return;
        }
        // A mode that was on for a part of the time only.
        for third in beats.chunks(THIRD) {
            match fold(third.iter().copied(), self.reads) {
                Some(found) => self.add(found),
                None => self.unfolded_s += count(third.len()),
            }
        }
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

    fn add(&mut self, found: Fold) {
        let seconds = found.seconds;
        if !self.totals.add(found) {
            self.unfolded_s += seconds;
        }
    }
}
