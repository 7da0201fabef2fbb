//! What would help when the finish is out of reach, worked out rather than guessed.

use alloc::string::String;

use super::state::Engine;
use crate::{
    forecast::Outlook,
    snapshot::{FinishAdvice, Verdict},
    time::Mono,
    units::{Seconds, Watts},
};

/// How well a draw that somebody means to keep to is kept (deviation of its logarithm).
const KEPT_LOG_SD: f64 = 0.1;
/// Good enough: the share of what is needed within which the cautious end may lie.
const NEAR: f64 = 0.01;
/// No station lives on less.
const LEAST_W: f64 = 0.05;

impl Engine {
    /// The advice for a finish that is tight or short; `None` where none is needed.
    pub(super) fn update_advice(&mut self, now: Mono, outlook: &Outlook) {
        self.advice = self.finish_advice(now, outlook);
    }

    fn finish_advice(&self, now: Mono, outlook: &Outlook) -> Option<FinishAdvice> {
        let Outlook::Lasts(forecast) = outlook else { return None };
        let finish = self.finish.filter(|finish| *finish > now)?;
        if self.finish_view(finish, now, outlook).verdict? == Verdict::Enough {
            return None;
        }
        let needed = finish.seconds_since(now);
        let draw = self.outing_count().meter.lately().or(self.latest.draw_now);
        let at_most = self.draw_that_lasts(needed, draw?);
        Some(FinishAdvice {
            activity: self.activity_that_lasts(needed),
            draw,
            at_most,
            safe_until: now.plus(duration(forecast.cautious())),
        })
    }

    /// Of the activities that would reach the finish in nine of ten cases, the one that gives up
    /// least: the one that draws most.
    fn activity_that_lasts(&self, needed: Seconds) -> Option<String> {
        self.usual
            .iter()
            .filter(|one| !self.on.activities.is_current(&one.name))
            .filter(|one| one.left.is_some_and(|[cautious, ..]| cautious >= needed))
            .filter_map(|one| Some((one.name.as_str(), one.usual?.si())))
            .max_by(|one, other| one.1.total_cmp(&other.1))
            .map(|(name, _)| String::from(name))
    }

    /// The largest mean draw at which the cautious end reaches that far. The remaining time is
    /// nearly the energy over the draw, so a few steps in proportion find it.
    fn draw_that_lasts(&self, needed: Seconds, from: Watts) -> Option<Watts> {
        let cautious = |watts: f64| self.remaining_at(watts, KEPT_LOG_SD).lowest(0.1);
        let mut watts = from.si().max(LEAST_W);
        for _ in 0..8 {
            let ratio = cautious(watts)?.si() / needed.si().max(1.0);
            if (1.0..1.0 + NEAR).contains(&ratio) {
                return Some(Watts::of(watts));
            }
            // A little less than in proportion, so that it ends on the safe side.
            watts *= ratio.clamp(0.2, 5.0) * (1.0 - NEAR / 4.0);
            if watts < LEAST_W {
                return None;
            }
        }
        (cautious(watts)? >= needed).then(|| Watts::of(watts))
    }
}

fn duration(span: Seconds) -> core::time::Duration {
    core::time::Duration::try_from_secs_f64(span.si()).unwrap_or_default()
}
