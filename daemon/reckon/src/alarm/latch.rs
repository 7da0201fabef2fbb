//! One rule's memory: what stands, and since when the other state has been wanted.

use alloc::vec::Vec;

use super::{
    about::{About, Alarm},
    edge::{AlarmChange, Edge},
};
use crate::time::Mono;

/// How long a state must be wanted before it is taken, seconds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hold {
    /// Before the alarm is raised.
    pub(super) raise_s: f64,
    /// Before it is taken back.
    pub(super) clear_s: f64,
}

/// What a rule says of this second.
pub(super) enum Want {
    /// It should stand.
    Stand(About),
    /// It should not.
    Clear,
    /// Neither: between the two limits.
    Stay,
}

/// Raised once, cleared once.
#[derive(Clone, Debug, Default)]
pub(super) struct Latch {
    stands: Option<Alarm>,
    turning: Option<Mono>,
}

impl Latch {
    pub(super) const fn standing(&self) -> Option<&Alarm> {
        self.stands.as_ref()
    }

    pub(super) const fn standing_mut(&mut self) -> Option<&mut Alarm> {
        self.stands.as_mut()
    }

    /// Follows `want` once it has held for long enough.
    pub(super) fn follow(&mut self, want: Want, now: Mono, hold: Hold, edges: &mut Vec<Edge>) {
        match (self.stands.as_mut(), want) {
            (None, Want::Stand(about)) => {
                if self.held(now) >= hold.raise_s {
                    self.stand(about, AlarmChange::Raised, now, edges);
                }
            }
            (Some(alarm), Want::Stand(about)) => {
                self.turning = None;
                if alarm.about != about {
                    alarm.about = about;
                }
            }
            (Some(_), Want::Clear) => {
                if self.held(now) >= hold.clear_s {
                    self.end(now, edges);
                }
            }
            (None, Want::Clear) | (_, Want::Stay) => self.turning = None,
        }
    }

    /// Seconds since the other state was first wanted without a break.
    fn held(&mut self, now: Mono) -> f64 {
        now.seconds_since(*self.turning.get_or_insert(now)).si()
    }

    /// From now on this stands, awake.
    pub(super) fn stand(
        &mut self,
        about: About,
        change: AlarmChange,
        now: Mono,
        edges: &mut Vec<Edge>,
    ) {
        edges.push(Edge { at: now, about: about.clone(), change });
        self.stands = Some(Alarm { about, since: now, asleep_until: None });
        self.turning = None;
    }

    /// Over at once, whatever was wanted.
    pub(super) fn end(&mut self, now: Mono, edges: &mut Vec<Edge>) {
        if let Some(alarm) = self.stands.take() {
            let change = AlarmChange::Cleared { lasted: now.since(alarm.since) };
            edges.push(Edge { at: now, about: alarm.about, change });
        }
        self.turning = None;
    }
}
