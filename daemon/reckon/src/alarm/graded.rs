//! A number against several limits: one alarm that grows more urgent from limit to limit.

use alloc::vec::Vec;

use super::{
    about::About,
    edge::{AlarmChange, Edge},
    latch::{Hold, Latch, Want},
};
use crate::time::Mono;

/// Limits and what they mean.
pub(super) struct Scale<'a> {
    /// The alarm stands while the number is below one of these.
    pub(super) limits: &'a [u32],
    /// What it is about at such a limit.
    pub(super) about: fn(u32) -> About,
    /// The number above which it is taken back.
    pub(super) clear: fn(f64) -> f64,
    /// How long each has to hold.
    pub(super) hold: Hold,
}

impl Scale<'_> {
    /// The tightest limit that the number is below.
    fn tightest(&self, value: f64) -> Option<u32> {
        self.limits.iter().copied().filter(|limit| value < f64::from(*limit)).min()
    }
}

/// The alarm, the limit it stands at, and since when a tighter one has been passed.
#[derive(Clone, Debug, Default)]
pub(super) struct Graded {
    latch: Latch,
    limit: u32,
    deeper: Option<Mono>,
}

impl Graded {
    pub(super) const fn latch(&self) -> &Latch {
        &self.latch
    }

    pub(super) const fn latch_mut(&mut self) -> &mut Latch {
        &mut self.latch
    }

    /// Follows the number; with nothing to go by an alarm stays as it is.
    pub(super) fn follow(
        &mut self,
        value: Option<f64>,
        scale: &Scale<'_>,
        now: Mono,
        edges: &mut Vec<Edge>,
    ) {
        let Some(value) = value else { return };
        let tightest = scale.tightest(value);
        if self.latch.standing().is_none() {
            self.raise(tightest, scale, now, edges);
            return;
        }
        if let Some(tighter) = tightest.filter(|tighter| *tighter < self.limit) {
            self.latch.follow(Want::Stay, now, scale.hold, edges);
            self.tighten(tighter, scale, now, edges);
            return;
        }
        self.deeper = None;
        let clear = value > (scale.clear)(f64::from(self.limit));
        self.latch.follow(if clear { Want::Clear } else { Want::Stay }, now, scale.hold, edges);
        if self.latch.standing().is_some() {
            return;
        }
        // Taken back may mean that a wider limit stands.
        if let Some(limit) = tightest {
            self.limit = limit;
            self.latch.stand((scale.about)(limit), AlarmChange::Raised, now, edges);
        }
    }

    fn raise(
        &mut self,
        tightest: Option<u32>,
        scale: &Scale<'_>,
        now: Mono,
        edges: &mut Vec<Edge>,
    ) {
        self.deeper = None;
        let want = tightest.map_or(Want::Clear, |limit| Want::Stand((scale.about)(limit)));
        self.latch.follow(want, now, scale.hold, edges);
        if let (Some(_), Some(limit)) = (self.latch.standing(), tightest) {
            self.limit = limit;
        }
    }

    /// The next limit was passed: the same alarm, more urgent, awake again.
    fn tighten(&mut self, limit: u32, scale: &Scale<'_>, now: Mono, edges: &mut Vec<Edge>) {
        let since = *self.deeper.get_or_insert(now);
        if now.seconds_since(since).si() < scale.hold.raise_s {
            return;
        }
        self.deeper = None;
        self.limit = limit;
        self.latch.stand((scale.about)(limit), AlarmChange::Changed, now, edges);
    }

    /// Judged afresh, without margin or hold: what stands at this limit goes on, asleep or awake.
    pub(super) fn settle(
        &mut self,
        value: f64,
        scale: &Scale<'_>,
        now: Mono,
        edges: &mut Vec<Edge>,
    ) {
        let Some(limit) = scale.tightest(value) else { return self.end(now, edges) };
        let stood = self.latch.standing().is_some();
        if stood && limit == self.limit {
            return;
        }
        let change = if stood { AlarmChange::Changed } else { AlarmChange::Raised };
        *self = Self { limit, ..Self::default() };
        self.latch.stand((scale.about)(limit), change, now, edges);
    }

    /// Over at once.
    pub(super) fn end(&mut self, now: Mono, edges: &mut Vec<Edge>) {
        self.latch.end(now, edges);
        *self = Self::default();
    }
}
