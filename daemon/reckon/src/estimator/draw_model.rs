//! The draw of an outing without a sensor: what the board did, second by second, in watts.

use alloc::vec::Vec;

use libm::sqrt;

use super::{
    LoadPrior,
    burst_rhythm::BurstRhythm,
    capacity::Capacity,
    work_life::{Case, PARTS, Work, WorkLife},
};
use crate::{bank::BankSpec, record::RunDown};

/// Processor use that is bridged with when it is not read: its memory, s, and the first guess.
const BUSY_MEMORY_S: f64 = 600.0;
const BUSY: f64 = 0.15;
/// An earlier outing stands for this many hours of what is usual.
const OUTING_H: f64 = 6.0;
/// Length of an outing, and the least of it that is still to come, h, for weighing what was done
/// in this one against what is usual.
const WHOLE_H: f64 = 10.0;
const LEAST_H: f64 = 3.0;

/// Models one outing's draw.
#[derive(Clone, Debug)]
pub(super) struct DrawModel {
    pub(super) life: WorkLife,
    rhythm: BurstRhythm,
    work: Work,
    usual: Work,
    busy: f64,
}

impl DrawModel {
    pub(super) fn new(
        bank: &BankSpec,
        load: &LoadPrior,
        capacity: &Capacity,
        ambient_c: Option<f64>,
        runs: &[RunDown],
    ) -> Self {
        // Age and temperature move the energy between outings as the label's line says.
        let rated = capacity.rated_w();
        let (m, v) = capacity.expect(&capacity.terms(rated, ambient_c, runs.len() as f64));
        let drift =
            |run: &RunDown, k: f64| capacity.expect(&capacity.terms(rated, run.ambient_c, k)).0 - m;
        let mut usual = Work::USUAL;
        for work in runs.iter().filter_map(Work::from_run_down) {
            usual.add(&work, OUTING_H / work.hours().max(0.1));
        }
        let floor = runs.iter().rev().find_map(|r| r.detail.work.get(PARTS).copied());
        let burst = runs.iter().rev().find_map(|r| r.detail.burst);
        Self {
            life: WorkLife::new(bank, load, (m, sqrt(v)), drift, runs),
            rhythm: BurstRhythm::new(burst, floor),
            work: Work::NONE,
            usual,
            busy: BUSY,
        }
    }

    /// Takes processor use over the last `dt` seconds; gives the watts that follow, `None` where it
    /// was not read.
    pub(super) fn observe(&mut self, dt: f64, busy: Option<f64>) -> Option<f64> {
        let busy = busy.filter(|u| u.is_finite()).map(|u| u.clamp(0.0, 1.0));
        self.rhythm.observe(dt, busy);
        let u = busy.unwrap_or(self.busy);
        self.busy += (dt / BUSY_MEMORY_S).min(1.0) * (u - self.busy);
        let seen = self.rhythm.seen();
        let doing = Work {
            parts: [1.0, u, seen.present, 1.0, seen.sending],
            quiet: seen.quiet,
            unmarked: seen.unmarked,
        };
        self.work.add(&doing, dt / 3600.0);
        let watts = self.life.watts().iter().zip(&doing.parts).map(|(w, x)| w * x).sum();
        busy.map(|_| watts)
    }

    /// Takes that the outing will consist of this work and no other; gives the watts of its parts.
    pub(super) fn plan(&mut self, work: &Work) -> [f64; PARTS] {
        (self.usual, self.work) = (*work, Work::NONE);
        *self.life.watts()
    }

    /// Mean and variance of ln(usable Wh) in believed watts, for this outing's mixture of parts as
    /// it is and as it will probably become.
    pub(super) fn expect(&self) -> (f64, f64) {
        self.life.expect(&self.whole())
    }

    /// The case that something was sent without a mark, for the same mixture of parts.
    pub(super) fn unmarked(&self) -> Case {
        self.life.unmarked(&self.whole())
    }

    fn whole(&self) -> Work {
        let mut work = self.work;
        let ahead = (WHOLE_H - work.hours()).max(LEAST_H);
        work.add(&self.usual, ahead / self.usual.hours());
        work
    }

    /// What later outings learn from: [`Detail::work`](crate::record::Detail) and its `burst`.
    pub(super) fn sums(&self) -> (Vec<f64>, Option<[f64; 2]>) {
        let mut sums = self.work.parts.to_vec();
        sums.extend([self.rhythm.floor(), self.work.quiet, self.work.unmarked]);
        (sums, self.rhythm.burst())
    }
}
