//! What must survive a restart, and how the engine goes on from it.

use alloc::{string::String, vec::Vec};

use super::{
    choices::{AwayChoice, Choices, FinishChoice, Resume},
    commands::FARTHEST_FINISH,
    outing_count::OutingCount,
    state::Engine,
};
use crate::{
    belief::{Carried, SinceLast},
    estimator::Observation,
    time::Stamp,
    units::{Joules, Seconds},
};

/// A finish that has passed stays for this long.
const FINISH_STAYS_S: f64 = 1800.0;

impl Engine {
    /// The outing on this bank began in an earlier boot: what it used there counts, before whatever
    /// was counted in this one. Its beginning in the snapshot stays that of this boot, since boot
    /// time knows nothing of the one before.
    pub fn carry_on(&mut self, carried: &Carried) {
        self.on.outing = carried.outing.clone().or_else(|| self.on.outing.take());
        self.on.start = carried.start;
        self.on.start_told = true;
        self.on.shown.forget();
        self.on.count.before(carried);
        self.follow_anew(true);
    }

    /// The record's number of the outing before, where this one is the rest of it.
    #[must_use]
    pub fn goes_on(&self) -> Option<i64> {
        self.on.belief.since().filter(|_| self.on.belief.goes_on()).and_then(|since| since.outing)
    }

    /// What must survive a restart.
    #[must_use]
    pub fn choices(&self) -> Choices {
        let bank = self.on.bank.as_ref().filter(|_| self.on.chosen);
        Choices {
            bank: bank.map(|bank| ((**bank).clone(), self.start())),
            start: Some(self.start()).filter(|start| self.on.start_told || *start != self.on.start),
            finish: self.finish.map(|at| FinishChoice { at, wall: self.finish_wall }),
            plan: self.plan_choice(),
            activity: self.on.activities.current().map(String::from),
            activity_tapped: self.by_rules.on() == Some(false)
                || (self.by_rules.on().is_none() && self.on.activities.current().is_some()),
            outing: self.on.outing.clone(),
            began: self.outing_count().began,
            counted_to: self.accounted,
            counted: Seconds::of(self.counted_s()),
            delivered: self.delivered(),
            bridged: self.bridged(),
            over_range: self.over_range(),
            away: self.away_choice(),
        }
    }

    fn away_choice(&self) -> Option<AwayChoice> {
        let meter = &self.on.since_away.as_ref()?.meter;
        let before = (self.delivered() - meter.delivered).max(Joules::ZERO);
        Some(AwayChoice { away: self.on.belief.doubted_away()?, before })
    }

    pub(super) fn go_on(&mut self, resume: Resume, at: Stamp) {
        let Resume { choices, same_boot } = resume;
        if let Some((bank, start)) = &choices.bank
            && bank.faults().is_empty()
        {
            (self.on.start, self.on.start_told) = (*start, true);
            self.on.bank = Some(alloc::sync::Arc::new(bank.clone()));
            self.on.chosen = true;
        }
        if let Some(start) = choices.start.filter(|_| same_boot) {
            (self.on.start, self.on.start_told) = (start, true);
        }
        if !same_boot {
            self.doubt_start(&choices);
        }
        self.on.activities.tag(choices.activity.as_deref());
        let _ = self.by_rules.choose(!choices.activity_tapped);
        self.finish_wall = choices.finish.and_then(|finish| finish.wall);
        let goes_on =
            same_boot && choices.began <= choices.counted_to && choices.counted_to <= at.mono;
        self.resume_plan(choices.plan, goes_on);
        if !goes_on {
            self.find_finish(at);
            return;
        }
        self.on.outing = choices.outing;
        self.finish = choices.finish.map(|finish| finish.at);
        self.accounted = choices.counted_to;
        self.on.count = OutingCount::new(choices.began);
        let span = choices.counted_to.seconds_since(choices.began);
        self.on.count.draw_history.add(span.si(), None);
        self.on.count.before(&Carried {
            span: span.max(choices.counted),
            delivered: choices.delivered,
            bridged: choices.bridged,
            over_range: choices.over_range,
            ..Carried::nothing()
        });
        if let Some(doubted) = choices.away {
            self.doubt_supply(doubted.away);
            let span = choices.counted_to.seconds_since(doubted.away.to);
            let delivered = choices.delivered - doubted.before;
            if let Some(count) = &mut self.on.since_away {
                count.before(&Carried { span, delivered, ..Carried::nothing() });
            }
        }
    }

    /// What was seen in this outing before a restart of the daemon alone, step by step, in the place
    /// of the mere sum.
    pub fn recall_steps(&mut self, steps: &[Observation]) {
        if self.on.count.meter.recall(steps) {
            self.follow_anew(true);
        }
    }

    /// Time switched on till now, with what the outing had before this boot where it goes on.
    pub(super) fn counted_s(&self) -> f64 {
        let since = self.on.belief.since().filter(|_| self.on.belief.goes_on());
        self.outing_count().meter.counted_s + since.map_or(0.0, |since| since.carried.span.si())
    }

    /// After a boot nobody knows whether the bank was charged in between, unless next to nothing had
    /// been taken from it. A record that tells more is heard later.
    fn doubt_start(&mut self, choices: &Choices) {
        let Some(bank) = &self.on.bank else { return };
        let since = SinceLast::undated(Carried {
            outing: choices.outing.clone(),
            start: self.on.start,
            span: choices.counted,
            delivered: choices.delivered,
            bridged: choices.bridged,
            over_range: choices.over_range,
            steps: Vec::new(),
        });
        if since.matters(bank.label_energy()) {
            self.on.belief.note_since(since);
        }
    }

    /// Finds the finish again by the calendar, once that is believed; lets go of one long past.
    pub(super) fn find_finish(&mut self, at: Stamp) {
        if self.finish.is_some_and(|finish| at.mono.seconds_since(finish).si() > FINISH_STAYS_S) {
            (self.finish, self.finish_wall) = (None, None);
        }
        if self.finish.is_some() {
            return;
        }
        let (Some(wall), Some(now)) = (self.finish_wall, at.believed()) else { return };
        let ahead = wall.unix_ms().saturating_sub(now.unix_ms());
        let ahead = u64::try_from(ahead).ok().map(core::time::Duration::from_millis);
        match ahead.filter(|ahead| *ahead <= FARTHEST_FINISH) {
            Some(ahead) => self.finish = Some(at.mono.plus(ahead)),
            None => self.finish_wall = None,
        }
    }
}
