//! What an outing has used so far, as the next one may have to count it.

use alloc::{string::String, vec::Vec};

use crate::{
    bank::Start,
    estimator::Observation,
    units::{Joules, Seconds},
};

/// What an outing had used before this boot, where it goes on over a time switched off.
#[derive(Clone, Debug, PartialEq)]
pub struct Carried {
    /// Its name.
    pub outing: Option<String>,
    /// How full the bank was when the outing began.
    pub start: Start,
    /// Time switched on before.
    pub span: Seconds,
    /// Energy delivered then.
    pub delivered: Joules,
    /// Of it, bridged over gaps.
    pub bridged: Joules,
    /// Of it, counted at the end of a sensor's range.
    pub over_range: Joules,
    /// What was seen then, in few steps; may be empty, or tell of less than all of it.
    pub steps: Vec<Observation>,
}

impl Carried {
    pub(crate) const fn nothing() -> Self {
        Self {
            outing: None,
            start: Start::Full,
            span: Seconds::ZERO,
            delivered: Joules::ZERO,
            bridged: Joules::ZERO,
            over_range: Joules::ZERO,
            steps: Vec::new(),
        }
    }

    /// As an estimator is told it: the steps that are known, and before them the rest as one.
    pub(crate) fn to_steps(&self) -> Vec<Observation> {
        let known_s: f64 = self.steps.iter().map(|step| step.dt_s).sum();
        let joules = |step: &Observation| step.watts.map_or(0.0, |watts| watts * step.dt_s);
        let known_j: f64 = self.steps.iter().map(joules).sum();
        let mean_w = self.delivered.si().max(0.0) / self.span.si().max(1.0);
        let rest_s = self.span.si() - known_s;
        let rest_w = (self.delivered.si() - known_j) / rest_s.max(1.0);
        let rest = (rest_s >= 1.0).then(|| Observation {
            dt_s: rest_s,
            // A rest that does not fit the sum is taken at the mean of all.
            watts: Some(if rest_w > 0.0 { rest_w } else { mean_w }),
            cpu_busy: Some(0.25),
            ..Observation::default()
        });
        rest.into_iter().chain(self.steps.iter().copied()).collect()
    }
}
