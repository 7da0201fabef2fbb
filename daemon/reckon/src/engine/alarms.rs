//! What the rules of [`crate::alarm`] and the watch of [`crate::power_off`] are shown of a second.

use super::{
    latched_flags,
    shown_forecast::{DEEP, verdict},
    source_select::MeasuredBy,
    state::Engine,
};
use crate::{
    alarm::{AlarmInputs, FinishChance, SHORT},
    bank::{Cells, MeasuredAt},
    draw::ModelFrom,
    forecast::{Forecast, Outlook},
    power_off,
    reading::{Flow, SourceIx},
    snapshot::{Basis, FinishView, LogState, Verdict},
    time::{Mono, Stamp, Trust},
    units::{Amps, Celsius, Share, Watts},
};

/// A record whose last line is older than this is not being written, seconds.
const UNWRITTEN_S: f64 = 300.0;

/// The share of outcomes below the cautious end.
const CAUTIOUS: f64 = 0.1;

/// A forecast that warnings may go by: what is expected before the first reading raises none and
/// takes none back.
fn warnable(outlook: &Outlook) -> Option<&Forecast> {
    match outlook {
        Outlook::Lasts(forecast) => Some(forecast).filter(|it| it.basis != Basis::Expected),
        _ => None,
    }
}

impl Engine {
    /// Alarms and the clean power-off of this moment.
    pub(super) fn warn(&mut self, at: Stamp, outlook: &Outlook) {
        let now = at.mono;
        let seen = self.alarm_inputs(at, outlook);
        self.alarms.observe(&seen, now);
        self.alarms.wake(seen.cautious_s, now);
        let forecast = warnable(outlook);
        let seen = power_off::PowerOffInputs {
            cautious_s: forecast.and(self.wary_s(now, outlook, CAUTIOUS)),
            hopeful_s: forecast.map(|forecast| forecast.hopeful().si()),
            run_s: self.counted_s(),
            draining: self.is_draining() && !self.drain.is_fed_otherwise(now),
            measured: self.latest.by != MeasuredBy::Nobody && self.latest.silent.is_none(),
            testing: self.testing,
        };
        self.power_off.observe(&seen, now);
    }

    /// The remaining time, s, that is outlived in all but this share of cases. While somebody is being
    /// warned, or a countdown is on, it is that of the most cautious story that no word has ruled
    /// out: nothing that was merely inferred takes a warning back.
    fn wary_s(&self, now: Mono, outlook: &Outlook, share: f64) -> Option<f64> {
        let Outlook::Lasts(forecast) = outlook else { return None };
        let shown = if share < CAUTIOUS { self.on.shown.deep(now)? } else { forecast.cautious() };
        let warned = self.alarms.is_running_out() || self.power_off.is_under_way();
        let wary = if warned { self.on.shown.wary(now, share) } else { None };
        Some(wary.map_or(shown, |wary| wary.min(shown)).si())
    }

    fn alarm_inputs(&self, at: Stamp, outlook: &Outlook) -> AlarmInputs {
        let now = at.mono;
        let board = &self.latest.board;
        let flags = board.flags.unwrap_or_default().now;
        let low = latched_flags::is_low(board);
        AlarmInputs {
            cautious_s: match outlook {
                Outlook::NotDraining => Some(f64::INFINITY),
                _ => warnable(outlook).and(self.wary_s(now, outlook, CAUTIOUS)),
            },
            deep_s: warnable(outlook).and(self.wary_s(now, outlook, DEEP)),
            finish: self.finish_chance(now, outlook),
            finish_in_s: self
                .finish
                .filter(|finish| *finish > now)
                .map(|finish| finish.seconds_since(now).si()),
            low_now: low,
            low_lately: self.latched_flags.lately(now),
            // Throttled together with too low a supply is the supply's doing.
            heat_flag: flags.soft_hot || (flags.throttled && !low),
            temp_c: board.temp.ok().map(Celsius::si),
            silent: self.latest.silent,
            doubt: self.shunt_doubt(),
            over_range: self.latest.over_range,
            shunt: self.latest.supply.source.and_then(|source| {
                self.latest.sources.get(usize::from(source.0)).and_then(|report| report.shunt)
            }),
            load: self.outing_count().meter.now().zip(self.brown_out),
            output: self.usb_output(),
            unwritten: match &self.log {
                LogState::Off => false,
                // A demonstration outruns the card: its hours pass in minutes.
                _ if self.setup.demo.is_some() => false,
                LogState::Kept { last } => now.seconds_since(*last).si() > UNWRITTEN_S,
                LogState::Stopped { .. } => true,
            },
            unkept: self.unkept.is_some(),
            untimed: at.trust == Trust::Unset && self.in_timed_mode(),
        }
    }

    fn finish_chance(&self, now: Mono, outlook: &Outlook) -> FinishChance {
        let Some(finish) = self.finish.filter(|finish| *finish > now) else {
            return FinishChance::NoFinish;
        };
        match outlook {
            Outlook::NotDraining => FinishChance::Of(Share::WHOLE),
            Outlook::Lasts(_) if warnable(outlook).is_some() => {
                self.chance_of(finish, now).map_or(FinishChance::Unknown, FinishChance::Of)
            }
            _ => FinishChance::Unknown,
        }
    }

    /// The chance of reaching the finish. As with the remaining time: what was merely inferred takes no
    /// warning back.
    fn chance_of(&self, finish: Mono, now: Mono) -> Option<Share> {
        if self.alarms.is_finish_at_risk() {
            self.on.shown.wary_chance(finish, now)
        } else {
            self.on.shown.chance(finish, now)
        }
    }

    /// The finish against the forecast: the verdict is the alarm's, so that the two are one.
    pub(super) fn finish_view(&self, at: Mono, now: Mono, outlook: &Outlook) -> FinishView {
        let Outlook::Lasts(forecast) = outlook else {
            return FinishView { at, chance: None, verdict: None, spare: None };
        };
        let chance = self.chance_of(at, now);
        let verdict = if at > now && warnable(outlook).is_some() {
            chance.map(|_| self.alarmed_verdict())
        } else {
            chance.map(verdict)
        };
        let spare = Some(forecast.middle() - at.seconds_since(now));
        FinishView { at, chance, verdict, spare }
    }

    fn alarmed_verdict(&self) -> Verdict {
        match self.alarms.finish_below_percent() {
            None => Verdict::Enough,
            Some(0..=SHORT) => Verdict::Short,
            Some(_) => Verdict::Tight,
        }
    }

    /// Whether what is shown goes by every story that no word has ruled out, as warnings do.
    pub(super) fn is_warned(&self) -> bool {
        let told = self.alarms.is_told_of_time_left() || self.alarms.is_finish_at_risk();
        told || self.power_off.is_under_way()
    }

    /// Energy is really being taken from the bank: neither a charging current nor a gauge's word
    /// says otherwise.
    fn is_draining(&self) -> bool {
        let charging = |flow: Flow| matches!(flow, Flow::Charging | Flow::Resting);
        !self.drain.stopped() && !self.latest.gauges.iter().any(|gauge| charging(gauge.flow))
    }

    /// Current at the output of a bank that may switch itself off: a lithium bank behind its own
    /// converter, with a reading that this board can be living on.
    fn usb_output(&self) -> Option<Amps> {
        let bank = self.on.bank.as_deref()?;
        let usb = bank.cells == Cells::LiIon && bank.measured_at == MeasuredAt::Output;
        if !usb
            || self.latest.by != MeasuredBy::Sensor
            || self.drain.stopped()
            || self.implausibly_low()
        {
            return None;
        }
        self.latest.supply.current.ok()
    }

    fn implausibly_low(&self) -> bool {
        let least = self.board.idle.si() / 4.0;
        self.board.from != ModelFrom::Generic
            && self.outing_count().meter.now().is_some_and(|watts| watts.si() < least)
    }

    fn in_timed_mode(&self) -> bool {
        let wants = &self.setup.alarms;
        self.on.activities.current().is_some_and(|name| wants.is_timed(name))
            || self.latest.programs.iter().any(|program| wants.is_timed(&program.name))
    }

    /// The sensor whose current this board cannot draw: far above its full load at a voltage where
    /// nothing else is usual on the same sensor, or far below its idle draw.
    fn shunt_doubt(&self) -> Option<SourceIx> {
        if self.latest.by != MeasuredBy::Sensor || self.board.from == ModelFrom::Generic {
            return None;
        }
        let watts = self.outing_count().meter.now()?.si();
        let volts = self.latest.supply.volts.ok()?.si();
        let most = (self.board.full + self.besides.at_duty(Share::WHOLE)).si();
        let wrong = (watts > 3.5 * most && volts < 6.0) || self.implausibly_low();
        self.latest.supply.source.filter(|_| wrong && !self.drain.stopped())
    }

    /// The load at which the board's supply would fall below its limit, where cable and supply
    /// have been measured; `None` takes it back.
    pub fn note_brown_out(&mut self, load: Option<Watts>) {
        self.brown_out = load;
    }

    /// Whether a run-down test is on: the bank is meant to run empty then.
    pub fn note_run_down_test(&mut self, on: bool) {
        self.testing = on;
    }

    /// What the clean power-off wants done, in order, since the last call.
    #[must_use]
    pub fn orders(&mut self) -> alloc::vec::Vec<power_off::Order> {
        self.power_off.orders()
    }

    /// Whoever saves on command has done so, or has had its time.
    pub fn note_saved(&mut self, at: Stamp) {
        self.power_off.saved(at.mono);
    }

    /// The request to switch off lies there, or could not be made and why.
    pub fn note_switched_off(&mut self, outcome: Result<(), alloc::string::String>, at: Stamp) {
        self.power_off.switched_off(outcome, at.mono);
    }
}
