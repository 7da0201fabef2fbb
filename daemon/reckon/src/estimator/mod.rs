//! What is believed of the bank and the draw, and the remaining time that follows.
//!
//! One [`Estimator`] follows one outing of one bank. [`Estimator::step`] is cheap and is called for
//! every reading; [`Estimator::remaining`] does the work of a forecast when somebody asks. When the
//! outing is over, [`Estimator::close`] gives a [`RunDown`], from which [`Learned`] learns.
//!
//! The model, its assumptions and the source of every constant are written out in the crate's
//! README. In one breath: `capacity` says how much the bank holds, `energy_left` cuts that by being
//! still alive, `volts` weighs it by the cells' voltage where that is seen, `draw` says what will be
//! drawn (`planned_course` where the outing was started with a plan), `time_to_empty` puts the two together; without a sensor `burst_rhythm`, `work_life` and
//! `draw_model` stand in for it.

mod burst_rhythm;
mod capacity;
mod comparable;
mod curve;
mod draw;
mod draw_levels;
mod draw_model;
mod draw_prior;
mod energy_left;
mod learned;
mod load_prior;
mod maths;
mod observation;
mod outing;
mod planned;
mod planned_course;
mod time_to_empty;
mod volts;
mod work_life;

pub(crate) use comparable::comparable;
pub use draw_levels::LevelWatch;
pub(crate) use draw_prior::{SOME_BOARD_W, STEP_DOWN};
pub use learned::Learned;
pub use load_prior::LoadPrior;
pub use observation::{FED_OTHERWISE_W, Observation};
pub use planned::{Doings, PartShares, PartWatts, Planned};

use alloc::boxed::Box;

use libm::log;

use crate::{
    bank::{BankSpec, MeasuredAt, Start},
    forecast::Spread,
    record::{OutingPlan, RunDown},
    units::{Seconds, Share},
};
use outing::Outing;

/// Seconds of draw that must have been seen before a number stands on readings: one quarter-minute radio slot
/// sent and one heard. What is not known yet is in the width of the range.
pub const READINGS_WANTED_S: f64 = 30.0;

/// Follows one outing of one bank.
#[derive(Clone, Debug)]
pub struct Estimator {
    outing: Outing,
    /// Stands in as long as a sensor that was told of has given nothing at all.
    spare: Option<Box<Outing>>,
}

impl Estimator {
    /// A fresh outing.
    #[must_use]
    pub fn new(bank: &BankSpec, load: &LoadPrior, learned: &Learned, start: Start) -> Self {
        let load = load.sound();
        if bank.measured_at == MeasuredAt::Nowhere {
            return Self { outing: Outing::modelled(bank, &load, learned, start), spare: None };
        }
        let blind = BankSpec { measured_at: MeasuredAt::Nowhere, ..bank.clone() };
        Self {
            outing: Outing::measured(bank, &load, learned, start),
            spare: Some(Box::new(Outing::modelled(&blind, &load, learned, start))),
        }
    }

    /// Takes in what was seen.
    pub fn step(&mut self, seen: &Observation) {
        if !(seen.dt_s > 0.0 && seen.dt_s.is_finite()) {
            return;
        }
        self.outing.step(seen);
        if self.outing.read_s() > 0.0 || self.outing.is_fed_otherwise(seen) {
            self.spare = None;
        }
        if let Some(spare) = &mut self.spare {
            spare.step(seen);
        }
    }

    /// The outing was started with a plan, `since_s` ago (less than 0: will be, after so many seconds of steps).
    pub fn follow_plan(&mut self, plan: &OutingPlan, since_s: f64) {
        for outing in self.outings() {
            outing.follow_plan(plan, since_s);
        }
    }

    /// No plan holds any more.
    pub fn forget_plan(&mut self) {
        for outing in self.outings() {
            outing.forget_plan();
        }
    }

    /// The plan was started `since_s` ago: time in which nothing was seen has passed as well.
    pub fn note_plan_time(&mut self, since_s: f64) {
        for outing in self.outings() {
            outing.note_plan_time(since_s);
        }
    }

    fn outings(&mut self) -> impl Iterator<Item = &mut Outing> {
        core::iter::once(&mut self.outing).chain(self.spare.as_deref_mut())
    }

    /// The one that can speak.
    fn speaker(&self) -> &Outing {
        self.spare.as_deref().unwrap_or(&self.outing)
    }

    /// The remaining time. While [`Self::wants_s`] is more than 0 it is what label, board and earlier
    /// outings alone let expect. `None` where nothing can be said at all.
    #[must_use]
    pub fn remaining(&self) -> Option<Spread> {
        let outing = self.speaker();
        let ahead = outing.ahead();
        let spread = match outing.planned_ahead() {
            Some(planned) => {
                time_to_empty::lasts(&outing.left(), |h| planned.over(h, ahead.over(h)))
            }
            None => time_to_empty::lasts(&outing.left(), |h| ahead.over(h)),
        };
        (spread != Spread::default()).then_some(spread)
    }

    /// Whether the draw is measured: a sensor was told of and has given something. Else it is
    /// modelled.
    #[must_use]
    pub fn is_measured(&self) -> bool {
        self.speaker().is_measured()
    }

    /// How many more seconds of draw it wants to read before what it says stands on readings; 0 when
    /// it does.
    #[must_use]
    pub fn wants_s(&self) -> f64 {
        (READINGS_WANTED_S - self.speaker().read_s()).max(0.0)
    }

    /// The remaining time if from now on the mean draw were `mean_w`, known to `log_sd`
    /// (standard deviation of its natural logarithm). `None` for a draw that is not positive.
    #[must_use]
    pub fn remaining_at(&self, mean_w: f64, log_sd: f64) -> Option<Spread> {
        if !(mean_w > 0.0 && mean_w.is_finite() && log_sd >= 0.0 && log_sd.is_finite()) {
            return None;
        }
        let known = [(1.0, log(mean_w), log_sd), (0.0, 0.0, 1.0), (0.0, 0.0, 1.0)];
        Some(time_to_empty::lasts(&self.speaker().left(), |_| known))
    }

    /// Usable energy of the whole bank as seen at the sensor, watt-hours: 10 %, 50 %, 90 %.
    #[must_use]
    pub fn usable_wh(&self) -> Option<[f64; 3]> {
        let used = self.delivered_wh();
        let mut left = self.speaker().left();
        left.sort_by(|a, b| a.0.total_cmp(&b.0));
        let total: f64 = left.iter().map(|p| p.1).sum();
        let mut before = 0.0;
        let middles = left.iter().map(|&(e, w)| {
            let middle = before + 0.5 * w;
            before += w;
            (e + used, middle / total)
        });
        let spread = Spread::from_points(core::iter::once((used, 0.0)).chain(middles));
        let at = |share| spread.quantile(Share::nearest(share)).map(Seconds::si);
        Some([at(0.1)?, at(0.5)?, at(0.9)?])
    }

    /// ln of how likely what is believed of the bank makes it that it is still alive, and the cells'
    /// voltages that were seen.
    #[must_use]
    pub fn log_evidence(&self) -> f64 {
        self.speaker().log_evidence()
    }

    /// Energy delivered in this outing, as measured or modelled, watt-hours.
    #[must_use]
    pub fn delivered_wh(&self) -> f64 {
        self.speaker().delivered_wh()
    }

    /// Of that, what was bridged over gaps rather than read.
    #[must_use]
    pub fn bridged_wh(&self) -> f64 {
        self.speaker().bridged_wh()
    }

    /// Closes the outing; `whole` if the bank cut out.
    #[must_use]
    pub fn close(self, whole: bool) -> RunDown {
        self.spare.map_or(self.outing, |spare| *spare).close(whole)
    }
}

#[cfg(test)]
mod tests;
