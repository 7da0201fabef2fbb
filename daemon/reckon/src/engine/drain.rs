//! Whether anything is taken from the bank at all.

use super::source_select::{MeasuredBy, SelectedSource};
use crate::{estimator::FED_OTHERWISE_W, reading::Flow, time::Mono};

/// Below this the bank is being charged rather than noise being read, W.
const CHARGING_W: f64 = -0.05;

/// How long something else must have fed the board before a countdown is called off, s.
const FED_HOLD_S: f64 = 20.0;

/// Below this there is no supply at all, V.
const SOME_VOLTS: f64 = 0.5;

/// Notices that the bank is being charged, or that the board runs from the mains.
#[derive(Clone, Debug, Default)]
pub(super) struct Drain {
    stopped: bool,
    turning: Option<Mono>,
    /// Since when something else has fed the board.
    fed_since: Option<Mono>,
}

impl Drain {
    /// Looks at one sweep.
    pub(super) fn observe(&mut self, picked: &SelectedSource, now: Mono) {
        let measured = picked.watts();
        // Volts without a draw: the board runs from something else. Without volts the lead is off.
        let there = picked.supply.volts.is_ok_and(|volts| volts.si() > SOME_VOLTS);
        let fed = there && measured.is_some_and(|watts| watts.si() < FED_OTHERWISE_W);
        self.fed_since = if fed { self.fed_since.or(Some(now)) } else { None };
        let into_bank = measured.is_some_and(|watts| watts.si() < CHARGING_W);
        let by_flow = picked.by != MeasuredBy::Sensor
            && picked.gauge.is_some_and(|g| matches!(g.flow, Flow::Charging | Flow::Resting));
        // A missing reading changes nothing.
        if measured.is_none() && picked.measured.is_some() && !by_flow {
            return;
        }
        let want = into_bank || by_flow;
        if want == self.stopped {
            self.turning = None;
            return;
        }
        let since = *self.turning.get_or_insert(now);
        let hold_s = if by_flow || !want { 5.0 } else { 20.0 };
        if now.seconds_since(since).si() >= hold_s {
            self.stopped = want;
            self.turning = None;
        }
    }

    /// Whether something else has fed the board for a while.
    pub(super) fn is_fed_otherwise(&self, now: Mono) -> bool {
        self.fed_since.is_some_and(|since| now.seconds_since(since).si() >= FED_HOLD_S)
    }

    /// Whether nothing is taken from the bank.
    pub(super) const fn stopped(&self) -> bool {
        self.stopped
    }
}
