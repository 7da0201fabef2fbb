//! Carries out what a person asks for.

use alloc::sync::Arc;
use core::time::Duration;

use super::{
    drain::Drain,
    latched_flags::LatchedFlags,
    loads::LoadWatch,
    setup::{Command, Refusal},
    state::{Engine, OnBank, Reason},
    switches::Switches,
};
use crate::{
    bank::{BankSpec, Start},
    name,
    time::{Mono, Stamp},
};

/// A finish may be this far away.
pub(super) const FARTHEST_FINISH: Duration = Duration::from_secs(14 * 24 * 3600);

impl Engine {
    /// Carries out what a person asks for.
    ///
    /// # Errors
    /// Refuses what cannot be right, with a reason that [`crate::words::refusal`] puts into words;
    /// nothing has changed then.
    pub fn ask(&mut self, ask: &Command, at: Stamp) -> Result<(), Refusal> {
        match ask {
            Command::UseBank { bank, start } => self.use_bank(bank, *start, at)?,
            Command::Answer { question, answer } => {
                self.answer(*question, *answer, at.mono)?;
                self.alarms.judge_finish();
            }
            Command::Finish { after } => {
                self.set_finish(*after, at)?;
                self.alarms.judge_finish();
            }
            Command::StartPlan { plan, start } => {
                self.start_plan(plan, *start, at)?;
                self.alarms.judge_finish();
            }
            Command::Activity { name } => {
                if !self.on.activities.tag(name.as_deref()) {
                    return Err(Refusal::NoSuchActivity);
                }
                let _ = self.by_rules.choose(false);
            }
            Command::ActivityAuto => {
                if self.by_rules.on().is_none() {
                    return Err(Refusal::NoRules);
                }
                let _ = self.by_rules.choose(true);
            }
            Command::Sleep { alarm, since, span } => {
                if !self.alarms.sleep(*alarm, *since, *span, at.mono) {
                    return Err(Refusal::AlarmGone);
                }
            }
            Command::PowerOff(wish) => {
                if !self.power_off.ask(*wish, at.mono) {
                    return Err(Refusal::NoCountdown);
                }
            }
            Command::NameOuting { name } => {
                let name = name::line(name, name::LONGEST).map_err(Refusal::BadName)?;
                self.on.outing = (!name.is_empty()).then_some(name);
            }
        }
        self.on.shown.hurry();
        self.usual_at = None;
        self.refresh(at);
        Ok(())
    }

    pub(super) fn use_bank(
        &mut self,
        bank: &BankSpec,
        start: Option<Start>,
        at: Stamp,
    ) -> Result<(), Refusal> {
        let faults = bank.faults();
        if !faults.is_empty() {
            return Err(Refusal::BankImplausible(faults));
        }
        let same = self.on.bank.as_ref().is_some_and(|known| known.name == bank.name);
        if same && start.is_none() {
            // It is connected already, and nobody says that it was charged.
            return Ok(());
        }
        // A bank that came in the middle of the outing is now told of: what was counted since is its
        // own.
        let came = if self.on.belief.is_another() {
            Some(self.on.count.clone())
        } else {
            self.on.since_away.clone().filter(|_| self.on.belief.doubted_away().is_some())
        };
        // The first bank that is told of is the one that has fed the board all along.
        if self.on.bank.is_some() {
            self.new_outing(at.mono);
        }
        if let Some(count) = came {
            self.on.count = count;
        }
        self.on.bank = Some(Arc::new(bank.clone()));
        self.on.start = start.unwrap_or_default();
        self.on.start_told = start.is_some();
        self.on.chosen = true;
        self.on.shown.forget();
        self.recall_usual();
        self.follow_anew(true);
        Ok(())
    }

    /// One outing ends and the next begins; the one that ends can be taken up again for a while.
    fn new_outing(&mut self, now: Mono) {
        let mut activities = self.on.activities.clone();
        activities.new_outing();
        let belief = self.on.belief.of_next_outing();
        let next = OnBank { belief, ..OnBank::new(activities, now) };
        let before = core::mem::replace(&mut self.on, next);
        self.shelve(before, Reason::BankUsed, now);
        self.accounted = self.accounted.max(now);
        self.finish = self.finish.filter(|at| *at > now);
        self.latched_flags = LatchedFlags::default();
        self.drain = Drain::default();
        self.folding.new_bank();
        // The next bank's draw may be seen elsewhere.
        self.loads = LoadWatch::default();
        self.switches = Switches::default();
        self.selector.forget();
        self.alarms.new_bank(now);
        self.power_off.new_bank();
        self.advice = None;
    }

    pub(super) fn set_finish(&mut self, after: Option<Duration>, at: Stamp) -> Result<(), Refusal> {
        let Some(after) = after else {
            (self.finish, self.finish_wall) = (None, None);
            return Ok(());
        };
        if after.is_zero() || after > FARTHEST_FINISH {
            return Err(Refusal::FinishOutOfRange);
        }
        self.finish = Some(at.mono.plus(after));
        self.finish_wall = at.believed().map(|wall| wall.plus_s(after.as_secs_f64()));
        Ok(())
    }
}
