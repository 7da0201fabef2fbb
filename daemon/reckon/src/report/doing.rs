//! What the operator was doing when: as said at the time, and as corrected afterwards.

use alloc::{borrow::ToOwned, string::String, vec::Vec};

use crate::{
    record::{Correction, Event, EventKind},
    units::Seconds,
};

/// What the operator was doing in a stretch.
#[derive(Clone, Debug, PartialEq)]
pub struct ActivitySpan {
    /// From, since the outing began.
    pub from: Seconds,
    /// To.
    pub to: Seconds,
    /// What; `None`: nobody said.
    pub doing: Option<String>,
}

/// From there on, until the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct From<'a> {
    at_s: f64,
    doing: Option<&'a str>,
}

/// The stretches that come of both, in order; before the first nothing was said.
pub(super) fn stretches<'a>(events: &'a [Event], corrections: &'a [Correction]) -> Vec<From<'a>> {
    let changes = events.iter().filter(|it| it.kind == EventKind::Activity);
    let doing = |text: &'a str| Some(text).filter(|name| !name.is_empty());
    let mut all: Vec<From<'a>> =
        changes.map(|it| From { at_s: it.at.as_s(), doing: doing(&it.text) }).collect();
    // Of two at one moment the later said counts: the sort keeps their order.
    all.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    for it in corrections {
        let (from_s, to_s) = (Seconds::of(it.from_s).si(), Seconds::of(it.to_s).si());
        if to_s <= from_s {
            continue;
        }
        let after = all.iter().rev().find(|one| one.at_s <= to_s).and_then(|one| one.doing);
        all.retain(|one| !(from_s..=to_s).contains(&one.at_s));
        let at = all.partition_point(|one| one.at_s < from_s);
        let doing = it.activity.as_deref();
        let both = [From { at_s: from_s, doing }, From { at_s: to_s, doing: after }];
        all.splice(at..at, both);
    }
    all
}

/// The same from the beginning to the end, neighbours that say the same in one.
pub(super) fn done(stretches: &[From<'_>], ends: Seconds) -> Vec<ActivitySpan> {
    let mut along = Along::new(stretches);
    let mut all: Vec<ActivitySpan> = Vec::new();
    let mut at_s = 0.0;
    while at_s < ends.si() {
        let (doing, until_s) = along.at(at_s);
        let to = Seconds::of(until_s.min(ends.si()));
        match all.last_mut().filter(|last| last.doing.as_deref() == doing) {
            Some(last) => last.to = to,
            None => {
                let doing = doing.map(ToOwned::to_owned);
                all.push(ActivitySpan { from: Seconds::of(at_s), to, doing });
            }
        }
        at_s = to.si();
    }
    all
}

/// Walks along the stretches; moments must not run backwards.
pub(super) struct Along<'a> {
    stretches: &'a [From<'a>],
    next: usize,
}

impl<'a> Along<'a> {
    pub(super) const fn new(stretches: &'a [From<'a>]) -> Self {
        Self { stretches, next: 0 }
    }

    /// What was done at this moment, and until when.
    pub(super) fn at(&mut self, at_s: f64) -> (Option<&'a str>, f64) {
        while self.stretches.get(self.next).is_some_and(|one| one.at_s <= at_s) {
            self.next += 1;
        }
        let now = self.next.checked_sub(1).and_then(|ix| self.stretches.get(ix));
        let until_s = self.stretches.get(self.next).map_or(f64::INFINITY, |one| one.at_s);
        (now.and_then(|one| one.doing), until_s)
    }
}
