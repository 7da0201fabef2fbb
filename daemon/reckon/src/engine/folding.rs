//! The fold of the measured draw, live: one is shown after ten minutes, and each is handed over
//! once it is closed, by the hour, or when the activity, the bank or the way of reading changes.
//!
//! What is not closed yet is lost with the power; while the end is near, a fold is closed as soon
//! as it is found.

use alloc::{string::String, sync::Arc, vec::Vec};

use super::source_select::counts_as_bank;
use crate::{
    fold::{Beat, FoldRing, Kind, Reads, Stretch},
    reading::{Sweep, Via},
    snapshot::Folded,
    time::Mono,
    units::Watts,
};

/// Readings between two looks at the ring.
const LOOK_EVERY: usize = 600;
/// A period without parts must move the draw by this share of its mean.
const LEAST_MOVED: f64 = 0.1;
/// Upper limit of folds kept until they are taken.
const MOST: usize = 16;

/// The ring, and what came of it.
#[derive(Clone, Debug)]
pub(super) struct Folding {
    ring: FoldRing,
    doing: Option<String>,
    latest: Option<Arc<Folded>>,
    closed: Vec<Arc<Folded>>,
    /// Whether the bank may end within the hour.
    pub(super) hurried: bool,
}

impl Default for Folding {
    fn default() -> Self {
        Self {
            ring: FoldRing::new(Reads::SecondMeans),
            doing: None,
            latest: None,
            closed: Vec::new(),
            hurried: false,
        }
    }
}

impl Folding {
    /// A reading of a second.
    pub(super) fn observe(&mut self, at: Mono, draw: Watts, reads: Reads, doing: Option<&str>) {
        if self.doing.as_deref() != doing || self.ring.reads() != reads {
            self.close();
            self.doing = doing.map(String::from);
        }
        if self.ring.reads() != reads {
            self.ring = FoldRing::new(reads);
        }
        let closed = self.ring.push(Beat { at_s: at.as_s(), watts: draw.si() });
        self.keep(closed);
        let due = self.ring.len().is_multiple_of(LOOK_EVERY) && !self.ring.is_full();
        if due && let Some(found) = self.ring.fold_so_far().filter(is_worth_it) {
            self.latest = Some(self.folded(found));
            if self.hurried {
                self.close();
            }
        }
    }

    /// Folds what is there: whatever is read next does not belong to it.
    pub(super) fn close(&mut self) {
        let closed = self.ring.close();
        self.keep(closed);
    }

    /// Another bank: what has been folded is handed over, and no longer shown.
    pub(super) fn new_bank(&mut self) {
        self.close();
        (self.latest, self.hurried) = (None, false);
    }

    /// The latest, closed or not.
    pub(super) fn latest(&self) -> Option<Arc<Folded>> {
        self.latest.clone()
    }

    /// What a transmission takes by the latest fold.
    pub(super) fn transmission(&self) -> Option<Watts> {
        Some(self.latest.as_ref()?.fold.part(Kind::Transmit)?.watts)
    }

    /// Those closed since the last call, oldest first.
    pub(super) fn drain(&mut self) -> Vec<Arc<Folded>> {
        core::mem::take(&mut self.closed)
    }

    fn keep(&mut self, closed: Vec<Stretch>) {
        for stretch in closed.into_iter().filter(is_worth_it) {
            let folded = self.folded(stretch);
            self.latest = Some(Arc::clone(&folded));
            if self.closed.len() >= MOST {
                self.closed.remove(0);
            }
            self.closed.push(folded);
        }
    }

    fn folded(&self, stretch: Stretch) -> Arc<Folded> {
        let Stretch { from_s, to_s, fold } = stretch;
        let (from, to) = (Mono::at_s(from_s), Mono::at_s(to_s));
        Arc::new(Folded { from, to, doing: self.doing.clone(), fold })
    }
}

/// Whether it tells something: a period that a board has of itself (files written every ten seconds)
/// hardly moves the draw, and has no parts.
fn is_worth_it(stretch: &Stretch) -> bool {
    let fold = &stretch.fold;
    let watts = || fold.curve.iter().map(|point| point.watts);
    let (low, high) = (watts().fold(f64::INFINITY, f64::min), watts().fold(0.0, f64::max));
    fold.parts.len() > 1 || high - low > LEAST_MOVED * fold.energy.si() / fold.seconds.max(1.0)
}

/// What this second's draw stands for. It is the mean of the second where the chip counts the energy
/// itself, where we have looked several times within it, and with our own settings, which average over
/// nearly all of it. A driver's average is an instant: it lasts a few hundredths, or ended nobody knows
/// when (over 1126 ms, and passed for the second, it made transmissions take 6.6 % too much).
pub(super) fn reads(sweep: &Sweep) -> Reads {
    let mean = |one: &crate::reading::SupplyReading| {
        let via = sweep.sources.get(usize::from(one.source.0)).map(|source| source.via);
        one.counted.is_some() || one.looks > 1 || matches!(via, Some(Via::I2c | Via::Invented))
    };
    let mut bank = sweep.supplies.iter().filter(|one| counts_as_bank(sweep, one.source)).peekable();
    let any = bank.peek().is_some();
    if any && bank.all(mean) { Reads::SecondMeans } else { Reads::Instants }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        fold::Point,
        units::{Joules, Share},
    };

    /// An hour at 4 W that moves by so many watts over 10 s and comes apart into nothing else.
    fn moved(by_w: f64) -> Stretch {
        let receive = crate::fold::Part {
            kind: Kind::Receive,
            watts: Watts::of(4.0),
            time: Share::WHOLE,
            share: Share::WHOLE,
            energy: Joules::of(14_400.0),
            begins_s: 0.0,
            lasts_s: 3600.0,
            bridged: false,
        };
        let point = |phase_s, watts| Point { phase_s, watts };
        let fold = crate::fold::Fold {
            period_s: 10.0,
            slot_s: 10.0,
            mode: None,
            chance: 1e-9,
            curve: alloc::vec![point(0.0, 4.0 - by_w / 2.0), point(5.0, 4.0 + by_w / 2.0)],
            parts: alloc::vec![receive],
            seconds: 3600.0,
            energy: Joules::of(14_400.0),
            sent: 0,
            slots: 360,
        };
        Stretch { from_s: 0.0, to_s: 3600.0, fold }
    }

    #[test]
    fn a_bare_period_is_told_from_a_tenth_of_the_draw_on() {
        // A board's own habits (a file written every ten seconds) move 4 W by less than 0.4 W; a
        // timed mode whose parts cannot be told apart moves it by more (common practice, no source).
        for (by_w, told) in [(0.2, false), (0.39, false), (0.41, true), (1.0, true), (3.5, true)] {
            assert_eq!(is_worth_it(&moved(by_w)), told, "{by_w} W");
        }
        // What comes apart is told however little it moves.
        let mut apart = moved(0.1);
        let decode = crate::fold::Part { kind: Kind::Decode, ..apart.fold.parts[0] };
        apart.fold.parts.push(decode);
        assert!(is_worth_it(&apart));
    }
}
