//! The plan that the outing was started with: how it begins, how the estimators hear of it, and how it goes on
//! after a restart.

use alloc::sync::Arc;
use core::time::Duration;

use super::{
    choices::PlanChoice, commands::FARTHEST_FINISH, plan_in_force::StartedPlan, setup::Refusal,
    state::Engine,
};
use crate::{
    bank::{BankSpec, Start},
    estimator::Estimator,
    record::OutingPlan,
    time::{Mono, Stamp},
};

impl Engine {
    /// The outing starts with a plan: its end becomes the finish, another known bank is put to use, and its
    /// stretches are expected.
    pub(super) fn start_plan(
        &mut self,
        plan: &OutingPlan,
        start: Option<Start>,
        at: Stamp,
    ) -> Result<(), Refusal> {
        let bank = self.planned_bank(&plan.bank);
        let faults = bank.as_ref().map(BankSpec::faults).unwrap_or_default();
        if !faults.is_empty() {
            return Err(Refusal::BankImplausible(faults));
        }
        let after = Duration::try_from_secs_f64(plan.finish_s).unwrap_or(Duration::MAX);
        if after > FARTHEST_FINISH {
            return Err(Refusal::FinishOutOfRange);
        }
        self.set_finish(Some(after), at)?;
        if let Some(bank) = bank {
            self.use_bank(&bank, start, at)?;
        }
        let plan = Arc::new(OutingPlan { began_s: at.mono.as_s(), ..plan.clone() });
        self.on.plan = Some(StartedPlan { plan, wall: at.believed(), placed: true, here: true });
        self.tell_plan(at.mono);
        Ok(())
    }

    /// The planned bank, where it is a known one and another than the connected one.
    fn planned_bank(&self, name: &str) -> Option<BankSpec> {
        let connected = self.on.bank.as_ref().is_some_and(|bank| bank.name == name);
        self.bank_choices.iter().find(|bank| bank.name == name && !connected).cloned()
    }

    /// The plan that this boot's outing was started with.
    pub(super) fn started_plan(&self) -> Option<Arc<OutingPlan>> {
        self.on.plan.as_ref().filter(|it| it.here).map(|it| Arc::clone(&it.plan))
    }

    /// The estimators follow the plan from now on.
    fn tell_plan(&mut self, now: Mono) {
        let Some(started) = &self.on.plan else { return };
        let Some(since_s) = started.since_s(now) else { return };
        for one in &mut self.on.following {
            one.estimator.follow_plan(&started.plan, since_s);
        }
        self.on.shown.hurry();
    }

    /// A fresh estimator that will be told `told_s` of the outing up to `now` follows it, too.
    pub(super) fn tell_plan_to(&self, estimator: &mut Estimator, told_s: f64) {
        let Some(started) = &self.on.plan else { return };
        if let Some(since_s) = started.since_s(self.accounted) {
            estimator.follow_plan(&started.plan, since_s - told_s);
        }
    }

    /// How far the plan has come, before a forecast.
    pub(super) fn mind_plan(&mut self, now: Mono) {
        let Some(since_s) = self.on.plan.as_ref().and_then(|it| it.since_s(now)) else { return };
        for one in &mut self.on.following {
            one.estimator.note_plan_time(since_s);
        }
    }

    /// What must survive a restart.
    pub(super) fn plan_choice(&self) -> Option<PlanChoice> {
        let started = self.on.plan.as_ref()?;
        Some(PlanChoice { plan: (*started.plan).clone(), wall: started.wall })
    }

    /// Goes on with it after a restart; where the board was off, once the calendar is believed.
    pub(super) fn resume_plan(&mut self, choice: Option<PlanChoice>, same_boot: bool) {
        self.on.plan = choice.filter(|it| same_boot || it.wall.is_some()).map(|it| StartedPlan {
            plan: Arc::new(it.plan),
            wall: it.wall,
            placed: same_boot,
            here: same_boot,
        });
    }

    /// Finds its beginning again by the calendar, once that is believed; lets go of one that is over.
    pub(super) fn find_plan(&mut self, at: Stamp) {
        let Some(started) = self.on.plan.as_mut().filter(|it| !it.placed) else { return };
        let (Some(wall), Some(now)) = (started.wall, at.believed()) else { return };
        #[expect(clippy::cast_precision_loss, reason = "milliseconds of some days")]
        let since_s = now.unix_ms().saturating_sub(wall.unix_ms()) as f64 / 1000.0;
        if !(0.0..started.lasts_s()).contains(&since_s) {
            self.on.plan = None;
            return;
        }
        let began_s = at.mono.as_s() - since_s;
        started.plan = Arc::new(OutingPlan { began_s, ..(*started.plan).clone() });
        started.placed = true;
        self.tell_plan(at.mono);
    }
}
