//! Alarms as edges: raised once, cleared once, with a gap between the two and a time to hold.

use alloc::vec::Vec;
use core::time::Duration;

use crate::{
    reading::{Gap, SourceIx},
    snapshot::{About, Alarm},
    time::Mono,
};

/// Limits of the cautious remaining time, minutes, widest first.
pub(super) const LIMITS_MIN: [u32; 4] = [120, 60, 30, 10];

/// How long an alarm sleeps at most.
const LONGEST_SLEEP: Duration = Duration::from_secs(12 * 3600);

/// What happened to an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// It stands from now on.
    Raised,
    /// It stood already and has become something else (another limit, another reason).
    Changed,
    /// It no longer stands.
    Cleared {
        /// How long it stood.
        lasted: Duration,
    },
}

/// A change of an alarm, told once, for the log and for those who send it on.
#[derive(Clone, Debug, PartialEq)]
pub struct Edge {
    /// When.
    pub at: Mono,
    /// What about.
    pub about: About,
    /// What happened.
    pub change: Change,
}

/// What the rules look at.
#[derive(Clone, Debug, Default)]
pub(super) struct Seen {
    /// Cautious remaining time, seconds.
    pub(super) cautious_s: Option<f64>,
    pub(super) low_now: bool,
    pub(super) low_lately: u32,
    /// Flags of heat that hold now.
    pub(super) heat_flag: bool,
    pub(super) temp_c: Option<f64>,
    pub(super) silent: Option<(SourceIx, Gap)>,
    /// The sensor that may have the wrong shunt, when it looks like that in this sweep.
    pub(super) doubt: Option<SourceIx>,
}

/// One rule's memory.
#[derive(Clone, Debug, Default)]
struct Latch {
    stands: Option<Alarm>,
    /// Since when the other state has been wanted.
    turning: Option<Mono>,
}

/// What a rule says of this second.
enum Want {
    /// It should stand.
    Stand(About),
    /// It should not.
    Clear,
    /// Neither: between the two limits.
    Stay,
}

impl Latch {
    /// Follows `want` once it has held for `raise_s` or `clear_s`.
    fn follow(
        &mut self,
        want: Want,
        now: Mono,
        (raise_s, clear_s): (f64, f64),
        edges: &mut Vec<Edge>,
    ) {
        match (self.stands.as_mut(), want) {
            (None, Want::Stand(about)) => {
                let since = *self.turning.get_or_insert(now);
                if now.seconds_since(since).si() >= raise_s {
                    self.turning = None;
                    edges.push(Edge { at: now, about: about.clone(), change: Change::Raised });
                    self.stands = Some(Alarm { about, since: now, asleep_until: None });
                }
            }
            (Some(alarm), Want::Stand(about)) => {
                self.turning = None;
                if alarm.about != about {
                    alarm.about = about;
                }
            }
            (Some(alarm), Want::Clear) => {
                let since = *self.turning.get_or_insert(now);
                if now.seconds_since(since).si() >= clear_s {
                    let lasted = now.since(alarm.since);
                    let about = alarm.about.clone();
                    edges.push(Edge { at: now, about, change: Change::Cleared { lasted } });
                    *self = Self::default();
                }
            }
            (None, Want::Clear) | (_, Want::Stay) => self.turning = None,
        }
    }
}

/// All rules.
#[derive(Clone, Debug, Default)]
pub(super) struct Alarms {
    running_out: RunningOut,
    undervoltage: Latch,
    hot: Latch,
    silent: Latch,
    shunt: Latch,
    edges: Vec<Edge>,
}

/// Edges kept for whoever drains them; the oldest go first if nobody does.
const MOST_EDGES: usize = 256;

impl Alarms {
    /// Looks at one second.
    pub(super) fn take(&mut self, seen: &Seen, now: Mono) {
        let edges = &mut self.edges;
        self.running_out.follow(seen.cautious_s, now, edges);
        let low = if seen.low_now || seen.low_lately >= 2 {
            Want::Stand(About::Undervoltage { times: seen.low_lately })
        } else {
            Want::Clear
        };
        self.undervoltage.follow(low, now, (0.0, 60.0), edges);
        self.hot.follow(heat(seen), now, (10.0, 60.0), edges);
        let silent = seen
            .silent
            .map_or(Want::Clear, |(source, gap)| Want::Stand(About::SensorSilent { source, gap }));
        self.silent.follow(silent, now, (10.0, 5.0), edges);
        let doubt =
            seen.doubt.map_or(Want::Clear, |source| Want::Stand(About::ShuntDoubt { source }));
        self.shunt.follow(doubt, now, (60.0, 120.0), edges);
        if edges.len() > MOST_EDGES {
            edges.drain(..edges.len() - MOST_EDGES);
        }
    }

    /// Alarms that stand, most urgent first.
    pub(super) fn standing(&self) -> Vec<Alarm> {
        let mut all: Vec<Alarm> = [
            self.running_out.latch.stands.as_ref(),
            self.undervoltage.stands.as_ref(),
            self.silent.stands.as_ref(),
            self.hot.stands.as_ref(),
            self.shunt.stands.as_ref(),
        ]
        .into_iter()
        .flatten()
        .cloned()
        .collect();
        all.sort_by_key(|alarm| urgency(&alarm.about));
        all
    }

    /// Lets the alarm at this place sleep; `false` if another one stands there by now.
    pub(super) fn sleep(&mut self, place: usize, since: Mono, span: Duration, now: Mono) -> bool {
        let Some(about) = self
            .standing()
            .get(place)
            .filter(|alarm| alarm.since == since)
            .map(|alarm| alarm.about.clone())
        else {
            return false;
        };
        let all = [
            &mut self.running_out.latch,
            &mut self.undervoltage,
            &mut self.silent,
            &mut self.hot,
            &mut self.shunt,
        ];
        for alarm in all.into_iter().filter_map(|latch| latch.stands.as_mut()) {
            if alarm.about == about {
                alarm.asleep_until = Some(now.plus(span.min(LONGEST_SLEEP)));
            }
        }
        true
    }

    /// Ends the sleep of alarms whose time is over.
    pub(super) fn wake(&mut self, now: Mono) {
        let all = [
            &mut self.running_out.latch,
            &mut self.undervoltage,
            &mut self.silent,
            &mut self.hot,
            &mut self.shunt,
        ];
        for alarm in all.into_iter().filter_map(|latch| latch.stands.as_mut()) {
            if alarm.asleep_until.is_some_and(|until| until <= now) {
                alarm.asleep_until = None;
            }
        }
    }

    /// The bank was changed: what was said of the old one is over.
    pub(super) fn new_bank(&mut self, now: Mono) {
        for latch in [&mut self.running_out.latch, &mut self.shunt] {
            if let Some(alarm) = latch.stands.take() {
                let lasted = now.since(alarm.since);
                let change = Change::Cleared { lasted };
                self.edges.push(Edge { at: now, about: alarm.about, change });
            }
            *latch = Latch::default();
        }
    }

    /// Hands over what has changed since the last call.
    pub(super) fn drain(&mut self) -> Vec<Edge> {
        core::mem::take(&mut self.edges)
    }
}

fn urgency(about: &About) -> u8 {
    match about {
        About::RunningOut { limit_min: 0..=10 } => 0,
        About::Undervoltage { .. } => 1,
        About::RunningOut { limit_min: 11..=30 } => 2,
        About::SensorSilent { .. } => 3,
        About::Hot => 4,
        About::RunningOut { .. } => 5,
        About::ShuntDoubt { .. } => 6,
    }
}

/// The vendor throttles from 80 °C (Raspberry Pi documentation, frequency management).
fn heat(seen: &Seen) -> Want {
    let temp = seen.temp_c.unwrap_or(0.0);
    if seen.heat_flag || temp >= 80.0 {
        Want::Stand(About::Hot)
    } else if temp < 75.0 {
        Want::Clear
    } else {
        Want::Stay
    }
}

/// The limits of the remaining time: one alarm that becomes more urgent from limit to limit.
#[derive(Clone, Debug, Default)]
struct RunningOut {
    latch: Latch,
    deeper: Option<Mono>,
}

impl RunningOut {
    fn follow(&mut self, cautious_s: Option<f64>, now: Mono, edges: &mut Vec<Edge>) {
        // With nothing to go by an alarm stays as it is.
        let Some(minutes) = cautious_s.map(|seconds| seconds / 60.0) else { return };
        let tightest = LIMITS_MIN.iter().copied().filter(|limit| minutes < f64::from(*limit)).min();
        let standing = self.latch.stands.as_ref().map(|alarm| match alarm.about {
            About::RunningOut { limit_min } => limit_min,
            _ => u32::MAX,
        });
        let Some(limit) = standing else {
            self.deeper = None;
            let want = tightest
                .map_or(Want::Clear, |limit_min| Want::Stand(About::RunningOut { limit_min }));
            self.latch.follow(want, now, (10.0, 120.0), edges);
            return;
        };
        if let Some(tighter) = tightest.filter(|tighter| *tighter < limit) {
            self.latch.turning = None;
            self.tighten(tighter, now, edges);
            return;
        }
        self.deeper = None;
        // It takes a fifth and five minutes more than the limit, for two minutes, to take it back.
        let clear = minutes > f64::from(limit) * 1.2 + 5.0;
        self.latch.follow(if clear { Want::Clear } else { Want::Stay }, now, (10.0, 120.0), edges);
        // Taken back may mean that a wider limit stands.
        if self.latch.stands.is_none() {
            let want = tightest
                .map_or(Want::Clear, |limit_min| Want::Stand(About::RunningOut { limit_min }));
            self.latch.follow(want, now, (0.0, 120.0), edges);
        }
    }

    /// The next limit was passed: the same alarm, more urgent, awake again.
    fn tighten(&mut self, limit_min: u32, now: Mono, edges: &mut Vec<Edge>) {
        let since = *self.deeper.get_or_insert(now);
        if now.seconds_since(since).si() < 10.0 {
            return;
        }
        self.deeper = None;
        let about = About::RunningOut { limit_min };
        edges.push(Edge { at: now, about: about.clone(), change: Change::Changed });
        self.latch.stands = Some(Alarm { about, since: now, asleep_until: None });
    }
}
