//! The time since the outing before: whether its bank was charged or changed while the board was
//! off.

use alloc::vec::Vec;

use libm::exp;

use super::{
    carried::Carried,
    question::Answer,
    story::{SURE, Story},
};
use crate::{
    bank::Start,
    units::{Joules, Seconds},
};

/// Hours off after which a bank was as likely charged as not: a night comes out a little above
/// even, a week as good as certain (common practice, no source).
const CHARGE_H: f64 = 6.0;
/// The same chance where nobody knows how long the board was off.
const CHARGED_UNDATED: f64 = 0.4;
/// And after a restart in good order that nobody can date: it takes less than a minute.
const CHARGED_RESTART: f64 = 0.01;
/// Of banks that were charged within hours, those charged in part only, or changed for another; the
/// longer the time, the fewer: by e in a day (common practice, no source).
const CHARGED_IN_PART: f64 = 0.2;
const IN_PART_H: f64 = 24.0;
/// A bank that had run empty and runs a board again: recovered for a moment, charged full, or charged
/// in part or changed (common practice, no source).
const AFTER_EMPTY: [f64; 3] = [0.05, 0.6, 0.35];
/// Power that is back within so long, s, was rather a loose plug than an empty bank: by this factor
/// on the odds (common practice, no source).
const AT_ONCE_S: f64 = 600.0;
const LOOSE_PLUG: f64 = 0.4;
/// A bank that has given less than this share of its label is as full as it was.
const TOUCHED: f64 = 0.02;

/// The chance that a bank was charged while the board was off for so long.
#[must_use]
pub fn charged_chance(off: Seconds) -> f64 {
    let hours = off.si().max(0.0) / 3600.0;
    hours / (hours + CHARGE_H)
}

/// What is known of the outing before and of the time since.
#[derive(Clone, Debug, PartialEq)]
pub struct SinceLast {
    /// The record's number of that outing; `None` where no record tells of it.
    pub outing: Option<i64>,
    /// What it had used.
    pub carried: Carried,
    /// The chance that its bank had run empty, 0 to 1.
    pub died: f64,
    /// How long the board was off, where both ends can be dated.
    pub off: Option<Seconds>,
    /// The board was restarted in good order.
    pub restarted: bool,
    /// So many outings before that one are counted in with it: it may itself be the rest of them.
    pub older: usize,
    /// What a person says.
    pub answer: Option<Answer>,
    /// Nothing but that word speaks of it: with the answer taken back it is as if never told.
    pub by_word: bool,
}

impl SinceLast {
    /// Nothing is known but what the outing had used.
    #[must_use]
    pub const fn undated(carried: Carried) -> Self {
        Self {
            outing: None,
            carried,
            died: 0.0,
            off: None,
            restarted: false,
            older: 0,
            answer: None,
            by_word: false,
        }
    }

    /// Whether it matters what happened since: something worth mentioning had been taken from the
    /// bank, whose label promises so much.
    #[must_use]
    pub fn matters(&self, label: Joules) -> bool {
        self.carried.delivered.si() > TOUCHED * label.si() || self.carried.start != Start::Full
    }

    /// Whether the outing before goes on beyond reasonable doubt, before anything was seen of this
    /// one.
    #[must_use]
    pub fn goes_on(&self) -> bool {
        self.weights().first().is_some_and(|(_, weight)| *weight >= SURE)
    }

    /// The stories with their weights, before anything was seen of this outing.
    #[must_use]
    pub fn weights(&self) -> Vec<(Story, f64)> {
        let charged = match (self.off, self.restarted) {
            (Some(off), _) => charged_chance(off),
            (None, true) => CHARGED_RESTART,
            (None, false) => CHARGED_UNDATED,
        };
        let hours = self.off.map_or(0.0, |off| off.si().max(0.0) / 3600.0);
        let in_part = CHARGED_IN_PART * exp(-hours / IN_PART_H);
        let alive = [1.0 - charged, charged * (1.0 - in_part), charged * in_part];
        let back_at_once = self.off.is_some_and(|off| off.si() <= AT_ONCE_S);
        let odds = if back_at_once { LOOSE_PLUG } else { 1.0 };
        let died = self.died.clamp(0.0, 1.0);
        let died = odds * died / (odds * died + 1.0 - died).max(1e-9);
        let stories = [Story::GoesOn, Story::Charged, Story::AnyLevel];
        let weight = |k: usize| (1.0 - died) * alive[k] + died * AFTER_EMPTY[k];
        stories.into_iter().enumerate().map(|(k, story)| (story, weight(k))).collect()
    }

    /// Whether a person's word leaves this story standing.
    #[must_use]
    pub(super) fn allows(&self, story: Story) -> bool {
        match self.answer {
            Some(Answer::GoesOn) => story == Story::GoesOn,
            Some(Answer::Charged) => story == Story::Charged,
            Some(Answer::Another) => story == Story::AnyLevel,
            _ => true,
        }
    }
}

/// Joins two unfinished outings of one bank that was not charged in between.
pub(super) fn joined(first: &Carried, then: &Carried) -> Carried {
    Carried {
        outing: then.outing.clone().or_else(|| first.outing.clone()),
        start: first.start,
        span: first.span + then.span,
        delivered: first.delivered + then.delivered,
        bridged: first.bridged + then.bridged,
        over_range: first.over_range + then.over_range,
        steps: first.steps.iter().chain(&then.steps).copied().collect(),
    }
}
