//! A sweep comes in, or none does: what is counted, estimated and shown after it.

use alloc::sync::Arc;

use super::{
    folding::reads,
    meter::GAP_S,
    shown_forecast::{Silence, doubted},
    source_select::{MeasuredBy, SelectedSource},
    state::Engine,
    tracked_bank::TrackedBank,
};
use crate::{
    bank::MeasuredAt,
    estimator::{FED_OTHERWISE_W, Observation},
    fold::Reads,
    forecast::Outlook,
    reading::{BoardReading, Gap, Sweep},
    snapshot::{Basis, Snapshot},
    time::{Mono, Stamp},
    units::{Celsius, Seconds, Share, Watts},
};

/// A reading tells of one second; after a longer time it is left out of the fold.
const BEAT_S: f64 = 1.6;
/// What is expected beyond a sensor's range, in ends of the range, where nobody told of a
/// transmitter; and the deviation of its logarithm. Together they span, from 10 % to 90 %, 0.96 to
/// 2.7 ends: small transmitters beside a board on a 0.1 Ω sensor take 1.2 to 2.5 (common practice,
/// no source).
const BEYOND: f64 = 1.6;
const BEYOND_LOG_SD: f64 = 0.4;
/// The bank may end before the fold of an hour is closed.
const NEAR_END_S: f64 = 3600.0;

impl Engine {
    /// Takes a sweep. One that is not later than what is accounted for already (handed over twice,
    /// out of order, or after its time) costs nothing and is counted as missed.
    pub fn observe(&mut self, sweep: &Sweep, at: Stamp) -> Arc<Snapshot> {
        let when = sweep.at.min(at.mono);
        let first = self.last_sweep.is_none();
        if !first && when <= self.accounted {
            self.late_sweeps = self.late_sweeps.saturating_add(1);
            return self.snapshot(at);
        }
        let dt = when.seconds_since(self.accounted);
        let picked = self.selector.pick(sweep, when);
        // What a chip has counted itself holds for the whole gap.
        let gap = dt.si() > GAP_S && !picked.counted;
        let (unseen, seen) = if gap { (dt.si() - 1.0, 1.0) } else { (0.0, dt.si()) };
        self.unseen(unseen);
        self.accounted = when.max(self.accounted);
        self.last_sweep = Some(when);
        if self.latched_flags.observe(&sweep.board, when) {
            self.tick_at(when);
        }
        self.watch_supply(&picked, when);
        self.draw_of(&picked, sweep, Seconds::of(seen), at.mono);
        self.remember(&picked, sweep);
        if let Some(name) = self.by_rules.choose_activity(&sweep.programs, at)
            && name != self.on.activities.current()
        {
            // An activity that the settings do not name is none.
            let _ = self.on.activities.tag(name);
            self.usual_at = None;
        }
        self.refresh(at);
        self.snapshot(at)
    }

    /// No sweep arrived: the silence ages.
    pub fn tick(&mut self, at: Stamp) -> Arc<Snapshot> {
        let silent = at.mono.seconds_since(self.accounted).si();
        if silent > GAP_S && self.last_sweep.is_some() {
            // The last second is left to a sweep that may be on its way.
            self.unseen(silent - 1.0);
            self.accounted = Mono::at_s(at.mono.as_s() - 1.0).max(self.accounted);
            self.latest.draw_now = None;
            self.latest.supply.at_least = None;
            self.latest.over_range = None;
            self.latest.supply.power = Err(Gap::Late);
            self.latest.supply.current = Err(Gap::Late);
            if let Some(source) = self.latest.supply.source {
                self.latest.silent = Some((source, Gap::Late));
            }
        }
        self.refresh(at);
        self.snapshot(at)
    }

    /// A stretch that nobody saw: bridged with the draw before it.
    fn unseen(&mut self, dt_s: f64) {
        if dt_s <= 0.0 {
            return;
        }
        if self.drain.stopped() {
            self.blank(dt_s);
            return;
        }
        let seen = Observation { dt_s, ..Observation::default() };
        self.bridge(Seconds::of(dt_s), self.modelled(None), &seen);
        self.feed(&seen);
    }

    /// Takes the draw of one sweep into the count, the estimate, the draw history and the activities.
    fn draw_of(&mut self, picked: &SelectedSource, sweep: &Sweep, dt: Seconds, at: Mono) {
        let when = sweep.at.min(at);
        self.drain.observe(picked, when);
        let modelled = self.modelled(Some(&sweep.board));
        self.latest.draw_now = match picked.measured {
            Some(_) => picked.watts(),
            None => Some(modelled),
        };
        if self.drain.stopped() || fed_otherwise(picked) {
            self.rest(dt, self.latest.draw_now.unwrap_or(Watts::ZERO));
            return;
        }
        if let Some(watts) = self.latest.draw_now {
            self.alarms.drew(dt.si(), watts.max(Watts::ZERO), self.on.activities.current());
        }
        let seen = self.observation(picked, &sweep.board, modelled, dt);
        // Before the meter notes this second: an estimator that is built here is told the history.
        self.track_bank(picked, &sweep.board);
        self.feed(&seen);
        match picked.measured {
            Some(Ok(watts)) => {
                self.count(dt, watts, &seen);
                self.on.activities.add(dt.si(), watts.max(Watts::ZERO), modelled);
                self.take_apart(sweep, watts, dt, at);
            }
            Some(Err(_)) if let Some(bound) = picked.supply.at_least => {
                self.count_at_least(dt, bound.watts, &seen);
                self.leave_out(dt);
            }
            Some(Err(_)) => self.bridge(dt, modelled, &seen),
            None => self.count(dt, modelled, &seen),
        }
    }

    /// Whether the supply stays the same, where a sensor sees it.
    fn watch_supply(&mut self, picked: &SelectedSource, when: Mono) {
        if picked.by != MeasuredBy::Sensor || self.on.bank.is_none() {
            return;
        }
        let at_cells = self.on.bank.as_ref().is_some_and(|it| it.measured_at == MeasuredAt::Cells);
        let volts = picked.supply.volts.ok().map(crate::units::Volts::si);
        let amps = picked.supply.current.ok().map(crate::units::Amps::si);
        if let Some(away) = self.on.presence.observe(when, volts, amps, at_cells) {
            self.doubt_supply(away);
        }
    }

    /// A measured second, for what is told of the draw besides its sum.
    /// Taken `at` this moment, which for a mean is when its second was over.
    fn take_apart(&mut self, sweep: &Sweep, watts: Watts, dt: Seconds, at: Mono) {
        if dt.si() <= BEAT_S {
            let reads = reads(sweep);
            let when = if reads == Reads::Instants { at } else { sweep.at.min(at) };
            self.folding.observe(when, watts, reads, self.on.activities.current());
            if let Some(sent) = self.folding.transmission() {
                self.loads.sends(sent);
            }
            self.switches.observe(watts);
        }
        if let Ok(busy) = sweep.board.cpu_busy {
            self.loads.observe(dt, busy, watts, &self.board);
        }
    }

    /// A second whose draw is known as a bound only: nothing is learned from what lies around it.
    fn leave_out(&mut self, dt: Seconds) {
        self.on.activities.leave_out(dt.si());
        self.folding.close();
        self.loads.leave_out();
        self.switches.leave_out();
    }

    /// The model's word on the draw of this second: board, accessories, radio on receive.
    fn modelled(&self, board: Option<&BoardReading>) -> Watts {
        let busy = board.and_then(|board| board.cpu_busy.ok());
        let rails = board.and_then(|board| board.rails_at_least.ok());
        self.board.with_rails(busy, rails) + self.besides.at_duty(Share::NONE)
    }

    fn observation(
        &self,
        picked: &SelectedSource,
        board: &BoardReading,
        modelled: Watts,
        dt: Seconds,
    ) -> Observation {
        let measured = picked.measured.and_then(Result::ok);
        // A board that measures its rails has a draw worth taking as read; another one's is left to
        // the estimator, which needs to know how busy the cores are.
        let by_rails = picked.measured.is_none() && board.rails_at_least.is_ok();
        let beyond = picked.supply.at_least.map(|bound| self.expected_beyond(bound.watts, board));
        let watts = measured.or(beyond).or(by_rails.then_some(modelled));
        Observation {
            dt_s: dt.si(),
            watts: watts.map(|watts| watts.si().max(0.0)),
            volts: measured.and(picked.supply.volts.ok()).map(crate::units::Volts::si),
            amps: measured.and(picked.supply.current.ok()).map(crate::units::Amps::si),
            cpu_busy: Some(board.cpu_busy.map_or(0.25, Share::part)),
            cpu_temp_c: board.temp.ok().map(Celsius::si),
        }
    }

    /// What is expected of a draw beyond the sensor's range: what the station would take with the
    /// transmitter on, where the settings tell, else [`BEYOND`] of the range's end.
    fn expected_beyond(&self, end: Watts, board: &BoardReading) -> Watts {
        if self.besides.transmit <= self.besides.receive {
            return end * BEYOND;
        }
        let besides = self.besides.at_duty(Share::WHOLE);
        end.max(self.board.at(board.cpu_busy.ok()) + besides)
    }

    fn remember(&mut self, picked: &SelectedSource, sweep: &Sweep) {
        let latest = &mut self.latest;
        latest.supply = picked.supply;
        latest.by = picked.by;
        latest.silent = picked.silent;
        latest.over_range = picked.over_range;
        latest.board = sweep.board;
        latest.supplies.clone_from(&sweep.supplies);
        latest.gauges.clone_from(&sweep.gauges);
        latest.programs = Arc::clone(&sweep.programs);
        latest.sources = Arc::clone(&sweep.sources);
    }

    /// Forecast and alarms of this moment.
    pub(super) fn refresh(&mut self, at: Stamp) {
        let now = at.mono;
        self.mind_silence(now);
        self.find_finish(at);
        self.find_plan(at);
        self.mind_shelf(now);
        let mut anew = false;
        if self.on.shown.due(now) {
            self.mind_plan(now);
            if self.on.following.len() > 1 {
                self.weigh_stories();
                self.mind_name();
            }
            let possible = self.remaining();
            let possible = match &self.silence {
                Some(silence) => possible.map(|spread| silence.doubted(spread, now)),
                None => possible,
            };
            let beyond = self.beyond_log_sd();
            let possible = if beyond > 0.0 {
                possible.map(|spread| doubted(spread, beyond))
            } else {
                possible
            };
            let wants_s = self.leading().map_or(0.0, |it| it.estimator.wants_s());
            let basis = if wants_s > 0.0 { Basis::Expected } else { self.basis() };
            self.on.shown.update(possible, now, basis);
            anew = self.look_at_activities(now);
        }
        let outlook = self.outlook(now);
        if let Outlook::Lasts(forecast) = &outlook {
            self.folding.hurried = forecast.cautious().si() < NEAR_END_S;
        }
        let before = self.alarms.finish_below_percent();
        self.warn(at, &outlook);
        if anew || before != self.alarms.finish_below_percent() {
            self.update_advice(now, &outlook);
        }
    }

    /// The doubt in the remaining time for what lay beyond the sensor's range, by the share that is
    /// expected of it in all the energy.
    fn beyond_log_sd(&self) -> f64 {
        let (bound, all) = (self.over_range().si(), self.delivered().si());
        let expected = bound * BEYOND;
        BEYOND_LOG_SD * expected / (all - bound + expected).max(1.0)
    }

    /// Notes since when the sensor has been silent; the forecast is made anew when that begins and
    /// when it ends.
    fn mind_silence(&mut self, now: Mono) {
        if self.latest.silent.is_some() == self.silence.is_some() {
            return;
        }
        self.silence =
            self.latest.silent.map(|_| Silence::begins(now, self.on.shown.forecast(now)));
        self.on.shown.hurry();
    }

    pub(super) fn basis(&self) -> Basis {
        if self.leading().is_some_and(TrackedBank::by_gauge) {
            return Basis::Gauge;
        }
        match self.latest.by {
            MeasuredBy::Sensor => Basis::Measured,
            MeasuredBy::Gauge => Basis::Gauge,
            MeasuredBy::Nobody => Basis::Modelled,
        }
    }
}

/// The board is fed by something else: next to nothing comes out of the bank.
fn fed_otherwise(picked: &SelectedSource) -> bool {
    picked.watts().is_some_and(|watts| watts.si() < FED_OTHERWISE_W)
}
