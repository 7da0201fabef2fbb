//! What the engine knows of the plan that its outing was started with.

use alloc::sync::Arc;

use crate::{
    record::OutingPlan,
    time::{Mono, Wall},
};

/// A plan in force.
#[derive(Clone, Debug)]
pub(super) struct StartedPlan {
    pub(super) plan: Arc<OutingPlan>,
    /// When it was started by the calendar, where that was believed.
    pub(super) wall: Option<Wall>,
    /// Whether [`OutingPlan::began_s`] is of this boot's time; before a clock is believed it is not.
    pub(super) placed: bool,
    /// Whether it was started in this boot.
    pub(super) here: bool,
}

impl StartedPlan {
    /// How long ago, s.
    pub(super) fn since_s(&self, now: Mono) -> Option<f64> {
        self.placed.then(|| now.as_s() - self.plan.began_s)
    }

    /// How long it plans, s.
    pub(super) fn lasts_s(&self) -> f64 {
        self.plan.stretches.iter().map(|one| one.lasts_s).sum()
    }
}
