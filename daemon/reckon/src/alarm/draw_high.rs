//! Notices that an activity draws more than it usually does: something was left on.
//!
//! Looked at in whole minutes, since a minute holds two pairs of quarter-minute periods and a
//! transmission must not count. What is usual is learned from the minutes that are not in doubt,
//! and stands still while they are.

use alloc::{string::String, vec::Vec};

use super::about::About;
use crate::units::Watts;

/// Minutes of an activity that must have been seen before anything is called unusual.
const KNOWN_MIN: f64 = 15.0;
/// Minutes in a row above before it is said.
const ABOVE_MIN: u32 = 10;
/// Minutes in a row below before it is taken back.
const BELOW_MIN: u32 = 3;

/// Mean and scatter of an activity's minutes, by Welford's running sums (Technometrics 4, 1962).
#[derive(Clone, Debug)]
struct Kind {
    name: String,
    minutes: f64,
    mean_w: f64,
    scatter: f64,
}

impl Kind {
    fn learn(&mut self, minute_w: f64) {
        self.minutes += 1.0;
        let off = minute_w - self.mean_w;
        self.mean_w += off / self.minutes;
        self.scatter += off * (minute_w - self.mean_w);
    }

    /// Above this a minute is unusual: a third more, half a watt more, and four deviations more.
    fn limit_w(&self) -> f64 {
        let sd = libm::sqrt(self.scatter / (self.minutes - 1.0).max(1.0));
        self.mean_w + (self.mean_w / 3.0).max(0.5).max(4.0 * sd)
    }
}

/// Limits that stand still while minutes are in doubt.
#[derive(Clone, Copy, Debug)]
struct Doubt {
    usual_w: f64,
    limit_w: f64,
    above: u32,
    below: u32,
    stands: bool,
}

/// What is known, minute by minute.
#[derive(Clone, Debug, Default)]
pub(super) struct DrawHighWatch {
    kinds: Vec<Kind>,
    now: Option<usize>,
    open_s: f64,
    open_j: f64,
    doubt: Option<Doubt>,
}

impl DrawHighWatch {
    /// A stretch with this draw while doing this; nothing is learned while nothing is tagged.
    pub(super) fn add(&mut self, dt_s: f64, watts: Watts, activity: Option<&str>) {
        let now = activity.map(|name| self.place(name));
        if now != self.now {
            self.now = now;
            self.begin_again();
        }
        if now.is_none() {
            return;
        }
        self.open_s += dt_s;
        self.open_j += watts.si() * dt_s;
        if self.open_s >= 59.5 {
            let minute = self.open_j / self.open_s;
            (self.open_s, self.open_j) = (0.0, 0.0);
            self.minute(minute);
        }
    }

    /// The minute that has begun and every doubt are forgotten; what was learned is not.
    pub(super) fn begin_again(&mut self) {
        (self.open_s, self.open_j) = (0.0, 0.0);
        self.doubt = None;
    }

    fn place(&mut self, name: &str) -> usize {
        if let Some(place) = self.kinds.iter().position(|kind| kind.name == name) {
            return place;
        }
        let name = String::from(name);
        self.kinds.push(Kind { name, minutes: 0.0, mean_w: 0.0, scatter: 0.0 });
        self.kinds.len() - 1
    }

    fn minute(&mut self, minute_w: f64) {
        let Some(kind) = self.now.and_then(|place| self.kinds.get_mut(place)) else { return };
        let Some(doubt) = &mut self.doubt else {
            let limit_w = kind.limit_w();
            if kind.minutes >= KNOWN_MIN && minute_w > limit_w {
                let usual_w = kind.mean_w;
                self.doubt = Some(Doubt { usual_w, limit_w, above: 1, below: 0, stands: false });
            } else {
                kind.learn(minute_w);
            }
            return;
        };
        // Taken back only when most of the surplus has gone.
        let clear_w = doubt.usual_w + 0.6 * (doubt.limit_w - doubt.usual_w);
        let below = minute_w < if doubt.stands { clear_w } else { doubt.limit_w };
        if !below {
            doubt.above += 1;
            doubt.below = 0;
            doubt.stands |= doubt.above >= ABOVE_MIN;
            return;
        }
        doubt.below += 1;
        if !doubt.stands || doubt.below >= BELOW_MIN {
            self.doubt = None;
            kind.learn(minute_w);
        }
    }

    /// The alarm, while it stands.
    pub(super) fn standing(&self) -> Option<About> {
        let doubt = self.doubt.filter(|doubt| doubt.stands)?;
        let kind = self.now.and_then(|place| self.kinds.get(place))?;
        Some(About::DrawHigh { activity: kind.name.clone(), usual: Watts::of(doubt.usual_w) })
    }
}
