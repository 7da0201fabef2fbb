//! Rules that warn: a state and a number go in, a state and an edge come out.
//!
//! An *edge* is told once; between the number that raises an alarm and the number that takes it
//! back lies a gap, and both have to hold for a while, so that a draw that flaps does not flap an
//! alarm. Nothing here knows who hears of it.

mod about;
mod draw_high;
mod edge;
mod graded;
mod latch;
mod over_range;

#[cfg(test)]
mod tests;

use alloc::{collections::VecDeque, string::String, vec::Vec};
use core::time::Duration;

use crate::{
    reading::{Gap, Shunt, SourceIx},
    time::Mono,
    units::{Amps, Share, Watts},
};
pub use about::{About, Alarm, EndedAlarm, Grade};
use draw_high::DrawHighWatch;
pub use edge::{AlarmChange, Edge};
use graded::Graded;
use latch::{Hold, Latch, Want};
use over_range::OverRangeWatch;

/// How long an alarm sleeps at most.
const LONGEST_SLEEP: Duration = Duration::from_secs(12 * 3600);
/// How long it sleeps when the cautious end has come, seconds.
const SHORT_SLEEP_S: f64 = 300.0;
/// The finish is safe from this chance on, and within reach from the other, per cent.
const TIGHT: u32 = 90;
pub(crate) const SHORT: u32 = 50;
/// Edges kept for whoever drains them; the oldest go first if nobody does.
const MOST_EDGES: usize = 256;
/// How long an alarm that is over stays visible, seconds.
const OVER_STAYS_S: f64 = 3600.0;
/// Upper limit of such alarms.
const MOST_OVER: usize = 8;

/// What the owner wants of the alarms.
#[derive(Clone, Debug, PartialEq)]
pub struct AlarmWants {
    /// Limits of the cautious remaining time, minutes. An empty list warns of none.
    pub limits_min: Vec<u32>,
    /// A USB bank may switch itself off below this current at its output.
    pub auto_off: Amps,
    /// Words that mark a timed mode in the name of an activity or a program, in small letters.
    pub timed: Vec<String>,
}

impl Default for AlarmWants {
    fn default() -> Self {
        Self {
            limits_min: [120, 60, 30, 10].to_vec(),
            // A common one-chip bank controller drops its output after 32 s below about 45 mA
            // (data-sheet figure as quoted by write-ups, one says 50 mA). 10 mA on top cover the
            // offset of a small sensor.
            auto_off: Amps::of(0.06),
            // Names of timed modes; the programs that decode them carry them in their names.
            timed: ["ft8", "ft4", "wspr", "jt65", "jt9", "js8", "fst4", "q65", "msk144", "timed"]
                .map(String::from)
                .to_vec(),
        }
    }
}

impl AlarmWants {
    /// Whether a name speaks of a mode whose periods hang on the time of day.
    #[must_use]
    pub fn is_timed(&self, name: &str) -> bool {
        let name = name.to_lowercase();
        self.timed.iter().any(|word| !word.is_empty() && name.contains(word.as_str()))
    }
}

/// What the rules look at.
#[derive(Clone, Debug, Default)]
pub(crate) struct AlarmInputs {
    /// Cautious remaining time, seconds.
    pub(crate) cautious_s: Option<f64>,
    /// What the bank outlives in 49 of 50 cases, seconds.
    pub(crate) deep_s: Option<f64>,
    /// Chance of reaching the finish.
    pub(crate) finish: FinishChance,
    /// How far ahead it is, seconds, if one is set and has not passed.
    pub(crate) finish_in_s: Option<f64>,
    /// Supply too low at this moment.
    pub(crate) low_now: bool,
    /// How often in the last ten minutes.
    pub(crate) low_lately: u32,
    /// Flags of heat that hold now.
    pub(crate) heat_flag: bool,
    /// Temperature of the processor.
    pub(crate) temp_c: Option<f64>,
    /// The bank's sensor, when it does not answer.
    pub(crate) silent: Option<(SourceIx, Gap)>,
    /// The sensor that may have the wrong shunt, when it looks like that in this sweep.
    pub(crate) doubt: Option<SourceIx>,
    /// The bank's sensor when it is at the end of its range, and where that is.
    pub(crate) over_range: Option<(SourceIx, Amps)>,
    /// What the currents of the bank's sensor are computed with.
    pub(crate) shunt: Option<Shunt>,
    /// Draw over the last seconds, and the load at which the board would brown out.
    pub(crate) load: Option<(Watts, Watts)>,
    /// Current at the output of a USB bank, where it is measured.
    pub(crate) output: Option<Amps>,
    /// The record is not being written.
    pub(crate) unwritten: bool,
    /// What was chosen cannot be put on the card.
    pub(crate) unkept: bool,
    /// A timed mode is on, and the clock is not to be believed.
    pub(crate) untimed: bool,
}

impl AlarmInputs {
    /// What the limits of the remaining time are held against: the cautious end, or twice the deep
    /// tail where that is less. One number, so that what takes a warning back fits what raised it.
    fn warning_s(&self) -> Option<f64> {
        let deep = self.deep_s.unwrap_or(f64::INFINITY);
        self.cautious_s.map(|cautious| cautious.min(2.0 * deep))
    }
}

/// The chance of the finish, for the rule.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) enum FinishChance {
    /// No finish is set, or it has passed.
    #[default]
    NoFinish,
    /// One is set, and nothing can be said now.
    Unknown,
    /// So much.
    Of(Share),
}

/// The rules that know two states only. The place in this list is the place of their latch.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Rule {
    Undervoltage,
    BrownOut,
    DrawHigh,
    AutoOff,
    Hot,
    Silent,
    Unwritten,
    Unkept,
    Clock,
    Shunt,
    OverRange,
}

impl Rule {
    const ALL: [Self; 11] = [
        Self::Undervoltage,
        Self::BrownOut,
        Self::DrawHigh,
        Self::AutoOff,
        Self::Hot,
        Self::Silent,
        Self::Unwritten,
        Self::Unkept,
        Self::Clock,
        Self::Shunt,
        Self::OverRange,
    ];

    /// How long it must hold before it is raised, and before it is taken back.
    const fn hold(self) -> Hold {
        let (raise_s, clear_s) = match self {
            Self::Undervoltage => (0.0, 60.0),
            Self::BrownOut => (3.0, 120.0),
            // These watches hold by themselves.
            Self::DrawHigh | Self::OverRange => (0.0, 0.0),
            // A third of the half minute that a common controller waits.
            Self::AutoOff => (10.0, 60.0),
            Self::Hot => (10.0, 60.0),
            Self::Silent => (10.0, 5.0),
            Self::Unwritten | Self::Unkept => (5.0, 5.0),
            Self::Clock => (30.0, 5.0),
            Self::Shunt => (60.0, 120.0),
        };
        Hold { raise_s, clear_s }
    }

    /// Whether it tells of the bank that is connected, rather than of the board.
    const fn of_bank(self) -> bool {
        matches!(
            self,
            Self::BrownOut | Self::DrawHigh | Self::AutoOff | Self::Shunt | Self::OverRange
        )
    }
}

/// All rules and what they remember.
#[derive(Clone, Debug, Default)]
pub(crate) struct Alarms {
    wants: AlarmWants,
    /// The remaining time against its limits, and what is told of it.
    running_out: Graded,
    told: Latch,
    /// A finish that is safe comes before the end.
    quiet: bool,
    finish: Graded,
    /// A person has changed what the finish is held against.
    asked: bool,
    two_state: [Latch; Rule::ALL.len()],
    usual: DrawHighWatch,
    over_range: OverRangeWatch,
    ended: VecDeque<EndedAlarm>,
    edges: Vec<Edge>,
}

impl Alarms {
    /// Rules as somebody wants them.
    pub(crate) fn new(wants: AlarmWants) -> Self {
        Self { wants, ..Self::default() }
    }

    /// A stretch with this draw, for the rule of what was left on.
    pub(crate) fn drew(&mut self, dt_s: f64, watts: Watts, activity: Option<&str>) {
        self.usual.add(dt_s, watts, activity);
    }

    /// Looks at one second.
    pub(crate) fn observe(&mut self, seen: &AlarmInputs, now: Mono) {
        let told = self.edges.len();
        self.watch_finish(seen, now);
        self.watch_time_left(seen, now);
        self.over_range.observe(seen.over_range, seen.shunt, now);
        for rule in Rule::ALL {
            let want = self.wanted(rule, seen);
            self.two_state[rule as usize].follow(want, now, rule.hold(), &mut self.edges);
        }
        self.remember_ended(told);
        self.edges.drain(..self.edges.len().saturating_sub(MOST_EDGES));
    }

    /// The remaining time is watched whatever the finish is; nobody is told of an end that comes after a
    /// finish that is safe.
    fn watch_time_left(&mut self, seen: &AlarmInputs, now: Mono) {
        let minutes = seen.warning_s().map(|seconds| seconds / 60.0);
        self.running_out.follow(
            minutes,
            &graded::Scale {
                limits: &self.wants.limits_min,
                about: |limit_min| About::RunningOut { limit_min },
                // It takes a quarter and five minutes more than the limit to take it back.
                clear: |limit| limit * 1.25 + 5.0,
                hold: Hold { raise_s: 10.0, clear_s: 180.0 },
            },
            now,
            &mut Vec::new(),
        );
        self.quiet = self.ends_after_finish(seen);
        let limit = |latch: &Latch| match latch.standing()?.about {
            About::RunningOut { limit_min } => Some(limit_min),
            _ => None,
        };
        let before = limit(&self.told);
        let Some(limit_min) = limit(self.running_out.latch()).filter(|_| !self.quiet) else {
            return self.told.end(now, &mut self.edges);
        };
        if before == Some(limit_min) {
            return;
        }
        let change = match before {
            Some(before) if before > limit_min => AlarmChange::Changed,
            _ => AlarmChange::Raised,
        };
        if change == AlarmChange::Raised {
            self.told.end(now, &mut self.edges);
        }
        self.told.stand(About::RunningOut { limit_min }, change, now, &mut self.edges);
    }

    /// Whether the finish is safe and the warning's time comes after it. A tenth of the way and a
    /// minute lie between beginning and ending to be so.
    fn ends_after_finish(&self, seen: &AlarmInputs) -> bool {
        let Some(finish_s) = seen.finish_in_s else { return false };
        let Some(warning_s) = seen.warning_s() else { return self.quiet };
        let safe = |share: Share| share.part() >= f64::from(TIGHT) / 100.0;
        let safe = matches!(seen.finish, FinishChance::Of(share) if safe(share));
        !self.is_finish_at_risk()
            && ((safe && warning_s >= finish_s)
                || (self.quiet && warning_s >= 0.9 * finish_s - 60.0))
    }

    fn watch_finish(&mut self, seen: &AlarmInputs, now: Mono) {
        if matches!(seen.finish, FinishChance::NoFinish) {
            // It passed, or was taken away: there is nothing left to miss.
            self.finish.latch_mut().end(now, &mut self.edges);
        }
        let percent = match seen.finish {
            FinishChance::NoFinish => Some(f64::INFINITY),
            FinishChance::Unknown => None,
            FinishChance::Of(share) => Some(share.part() * 100.0),
        };
        let scale = graded::Scale {
            limits: &[TIGHT, SHORT],
            about: |below_percent| About::FinishAtRisk { below_percent },
            clear: |limit| limit + (100.0 - limit) * 0.3,
            hold: Hold { raise_s: 60.0, clear_s: 300.0 },
        };
        if let Some(percent) = percent.filter(|_| core::mem::take(&mut self.asked)) {
            self.quiet = false;
            self.finish.settle(percent, &scale, now, &mut self.edges);
        }
        self.finish.follow(percent, &scale, now, &mut self.edges);
    }

    /// A person has moved the finish, or said which bank it is: that is no wavering of the forecast, so
    /// the finish is judged afresh.
    pub(crate) fn judge_finish(&mut self) {
        self.asked = true;
    }

    /// The limit below which the chance of the finish is said to be, per cent; `None` while no alarm of
    /// it stands.
    pub(crate) fn finish_below_percent(&self) -> Option<u32> {
        match self.finish.latch().standing()?.about {
            About::FinishAtRisk { below_percent } => Some(below_percent),
            _ => None,
        }
    }

    fn wanted(&self, rule: Rule, seen: &AlarmInputs) -> Want {
        let stand = |about: Option<About>| about.map_or(Want::Clear, Want::Stand);
        match rule {
            Rule::Undervoltage => stand(
                (seen.low_now || seen.low_lately >= 2)
                    .then_some(About::Undervoltage { times: seen.low_lately }),
            ),
            Rule::BrownOut => brown_out(seen),
            Rule::DrawHigh => stand(self.usual.standing()),
            Rule::AutoOff => auto_off(seen, self.wants.auto_off),
            Rule::Hot => heat(seen),
            Rule::Silent => {
                stand(seen.silent.map(|(source, gap)| About::SensorSilent { source, gap }))
            }
            Rule::Unwritten => stand(seen.unwritten.then_some(About::RecordNotWritten)),
            Rule::Unkept => stand(seen.unkept.then_some(About::ChoicesNotKept)),
            Rule::Clock => stand(seen.untimed.then_some(About::ClockNotTrusted)),
            Rule::OverRange => stand(self.over_range.standing()),
            Rule::Shunt => stand(seen.doubt.map(|source| About::ShuntDoubt { source })),
        }
    }

    fn remember_ended(&mut self, told: usize) {
        for edge in self.edges.get(told..).unwrap_or_default() {
            if let AlarmChange::Cleared { lasted } = edge.change {
                if self.ended.len() >= MOST_OVER {
                    self.ended.pop_front();
                }
                self.ended.push_back(EndedAlarm {
                    about: edge.about.clone(),
                    ended: edge.at,
                    lasted,
                });
            }
        }
    }

    fn latches(&self) -> impl Iterator<Item = &Latch> {
        [&self.told, self.finish.latch()].into_iter().chain(&self.two_state)
    }

    fn standing_mut(&mut self) -> impl Iterator<Item = &mut Alarm> {
        [&mut self.told, self.finish.latch_mut()]
            .into_iter()
            .chain(&mut self.two_state)
            .filter_map(Latch::standing_mut)
    }

    /// Alarms that stand, most urgent first.
    pub(crate) fn standing(&self) -> Vec<Alarm> {
        let mut all: Vec<Alarm> = self.latches().filter_map(Latch::standing).cloned().collect();
        all.sort_by_key(|alarm| urgency(&alarm.about));
        all
    }

    /// Alarms of the last hour that are over, the latest first.
    pub(crate) fn ended(&self, now: Mono) -> Vec<EndedAlarm> {
        let recent = |one: &&EndedAlarm| now.seconds_since(one.ended).si() < OVER_STAYS_S;
        self.ended.iter().rev().filter(recent).cloned().collect()
    }

    /// Lets the alarm at this place sleep; `false` if another one stands there by now.
    pub(crate) fn sleep(&mut self, place: usize, since: Mono, span: Duration, now: Mono) -> bool {
        let Some(about) = self
            .standing()
            .get(place)
            .filter(|alarm| alarm.since == since)
            .map(|alarm| alarm.about.clone())
        else {
            return false;
        };
        for alarm in self.standing_mut() {
            if alarm.about == about {
                alarm.asleep_until = Some(now.plus(span.min(LONGEST_SLEEP)));
            }
        }
        true
    }

    /// Ends the sleep of alarms whose time is over. None sleeps past the cautious end, seconds from now;
    /// once that has come, only for a few minutes.
    pub(crate) fn wake(&mut self, cautious_s: Option<f64>, now: Mono) {
        let longest_s =
            cautious_s.map_or(f64::INFINITY, |it| if it > 0.0 { it } else { SHORT_SLEEP_S });
        let latest = Mono::at_s(now.as_s() + longest_s.min(LONGEST_SLEEP.as_secs_f64()));
        for alarm in self.standing_mut() {
            let until = alarm.asleep_until.map(|until| until.min(latest));
            alarm.asleep_until = until.filter(|until| *until > now);
        }
    }

    /// Whether somebody is being told that the bank runs out.
    pub(crate) fn is_told_of_time_left(&self) -> bool {
        self.told.standing().is_some()
    }

    /// Whether little time is left, be it told or not.
    pub(crate) fn is_running_out(&self) -> bool {
        self.running_out.latch().standing().is_some()
    }

    /// Whether somebody is being warned that the finish may not be reached.
    pub(crate) fn is_finish_at_risk(&self) -> bool {
        self.finish.latch().standing().is_some()
    }

    /// The bank was changed: what was said of the old one is over.
    pub(crate) fn new_bank(&mut self, now: Mono) {
        let told = self.edges.len();
        self.running_out.end(now, &mut Vec::new());
        self.told.end(now, &mut self.edges);
        self.finish.end(now, &mut self.edges);
        self.quiet = false;
        for rule in Rule::ALL.into_iter().filter(|rule| rule.of_bank()) {
            self.two_state[rule as usize].end(now, &mut self.edges);
        }
        self.usual.begin_again();
        self.over_range = OverRangeWatch::default();
        self.remember_ended(told);
    }

    /// Hands over what has changed since the last call.
    pub(crate) fn drain(&mut self) -> Vec<Edge> {
        core::mem::take(&mut self.edges)
    }
}

/// Most urgent first.
pub(crate) fn urgency(about: &About) -> u8 {
    match about {
        About::RunningOut { limit_min: 0..=10 } => 0,
        About::AutoOff => 1,
        About::Undervoltage { .. } => 2,
        About::BrownOutNear => 3,
        About::RunningOut { limit_min: 11..=30 } => 4,
        About::RecordNotWritten => 5,
        About::ChoicesNotKept => 6,
        About::SensorSilent { .. } => 7,
        About::FinishAtRisk { below_percent: 0..=50 } => 8,
        About::Hot => 9,
        About::ClockNotTrusted => 10,
        About::RunningOut { .. } => 11,
        About::OverRange { .. } => 12,
        About::DrawHigh { .. } => 13,
        About::FinishAtRisk { .. } => 14,
        About::ShuntDoubt { .. } => 15,
    }
}

/// The vendor throttles from 80 °C (Raspberry Pi documentation, frequency management).
fn heat(seen: &AlarmInputs) -> Want {
    let temp = seen.temp_c.unwrap_or(0.0);
    if seen.heat_flag || temp >= 80.0 {
        Want::Stand(About::Hot)
    } else if temp < 75.0 {
        Want::Clear
    } else {
        Want::Stay
    }
}

/// A tenth of the load is left before the board's detector trips.
fn brown_out(seen: &AlarmInputs) -> Want {
    let Some((draw, limit)) = seen.load.filter(|(_, limit)| limit.si() > 0.0) else {
        return Want::Clear;
    };
    let part = draw.si() / limit.si();
    if part >= 0.9 {
        Want::Stand(About::BrownOutNear)
    } else if part < 0.8 {
        Want::Clear
    } else {
        Want::Stay
    }
}

/// A current that is out of the bank and small; none at all means that nothing hangs there.
fn auto_off(seen: &AlarmInputs, limit: Amps) -> Want {
    match seen.output {
        None => Want::Clear,
        Some(amps) if (0.0..limit.si()).contains(&amps.si()) => Want::Stand(About::AutoOff),
        Some(amps) if amps.si() > limit.si() * 1.4 => Want::Clear,
        Some(_) => Want::Stay,
    }
}
