//! The estimators that follow the bank: one for each story that the belief holds possible, all fed
//! with the same readings, and where their draw is seen.

use super::{shown_forecast::stretched, source_select::Gauge};
use crate::{
    bank::{BankSpec, MeasuredAt, Start},
    belief::Story,
    estimator::Estimator,
    forecast::Spread,
    units::Joules,
};

/// Where the draw is seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Site {
    /// By a sensor or gauge, at the place that the bank's owner told, or that fits.
    Seen(MeasuredAt),
    /// By the board's own rails.
    Rails,
    /// Nowhere: modelled.
    Nowhere,
}

/// The estimator of one story and what it was built on.
#[derive(Clone, Debug)]
pub(super) struct TrackedBank {
    pub(super) story: Story,
    pub(super) estimator: Estimator,
    pub(super) site: Site,
    pub(super) start: Start,
    /// ln of how well the story stood before anything of this outing was seen.
    pub(super) stood: f64,
    /// The gauge's last word on the energy left, where it speaks for this bank, and what had been
    /// delivered then.
    pub(super) left: Option<(Joules, f64)>,
    /// The bank is the gauge's own; nobody has told of one.
    pub(super) untold: bool,
    /// Run-downs that it has learned from.
    pub(super) learned_from: u32,
}

impl TrackedBank {
    /// The remaining time, drawn to what the gauge says is left where one speaks for this bank.
    pub(super) fn remaining(&self) -> Option<Spread> {
        let spread = self.estimator.remaining()?;
        Some(self.gauged(spread))
    }

    /// The same if from now on the draw were this.
    pub(super) fn remaining_at(&self, watts: f64, log_sd: f64) -> Option<Spread> {
        let spread = self.estimator.remaining_at(watts, log_sd)?;
        Some(self.gauged(spread))
    }

    fn gauged(&self, spread: Spread) -> Spread {
        match self.gauge_factor() {
            Some(factor) => stretched(&spread, factor),
            None => spread,
        }
    }

    /// How much more is left by the gauge than by the count.
    fn gauge_factor(&self) -> Option<f64> {
        let (left, then_wh) = self.left?;
        let delivered = self.estimator.delivered_wh();
        let left = (left.wh() - (delivered - then_wh)).max(0.0);
        let [_, usable, _] = self.estimator.usable_wh()?;
        let counted = usable - delivered;
        if counted <= 0.0 {
            return None;
        }
        Some((left / counted).clamp(0.02, 20.0))
    }

    /// The same, as what an outing of its own is told, which no plan was made for.
    pub(super) fn as_told(&self) -> Self {
        let mut told = Self { story: Story::Told, ..self.clone() };
        told.estimator.forget_plan();
        told
    }

    /// Whether it follows this story.
    pub(super) fn is_of(&self, story: Story) -> bool {
        self.story == story
    }

    pub(super) const fn by_gauge(&self) -> bool {
        self.left.is_some()
    }

    /// Takes what the gauge says, where it sits at the cells of the bank that is followed.
    pub(super) fn hear(&mut self, gauge: Option<Gauge>, spec: &BankSpec) {
        if !self.untold && spec.measured_at != MeasuredAt::Cells {
            self.left = None;
            return;
        }
        // A gauge that does not answer leaves its last word standing, less what was drawn since.
        let Some(gauge) = gauge else { return };
        let left = gauge.left.or_else(|| {
            // A level alone: that share of what was believed to be in the full bank.
            let began_at = self.start.middle().filter(|share| share.part() > 0.01)?;
            let [_, usable, _] = self.estimator.usable_wh()?;
            Some(Joules::from_wh(usable * gauge.level?.part() / began_at.part()))
        });
        if let Some(left) = left {
            self.left = Some((left, self.estimator.delivered_wh()));
        }
    }
}
