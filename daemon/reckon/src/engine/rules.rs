//! Activities that choose themselves: by what runs on the board and by the time of day.

use alloc::{string::String, vec::Vec};

use crate::{
    reading::Program,
    time::{Mono, Stamp},
};

/// The rules are looked at this often, s: as often as there is a new list of programs.
const EVERY_S: f64 = 55.0;
/// Looks in a row that must agree before the tag changes.
const LOOKS: u8 = 2;

/// A stretch of the local day, minutes after midnight; one that ends before it begins goes over
/// midnight.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DayTime {
    /// The first minute.
    pub from_min: u16,
    /// The first minute after it.
    pub to_min: u16,
}

impl DayTime {
    const fn holds(self, minute: u16) -> bool {
        let (after, before) = (minute >= self.from_min, minute < self.to_min);
        if self.from_min <= self.to_min { after && before } else { after || before }
    }
}

/// A program that must be running.
#[derive(Clone, Debug, PartialEq)]
pub struct ProgramBusy {
    /// Its name contains this word, in whatever letters.
    pub word: String,
    /// It keeps one core busy for this share of the time at least.
    pub cores_busy: f64,
}

impl ProgramBusy {
    fn holds(&self, programs: &[Program]) -> bool {
        let word = self.word.to_lowercase();
        programs.iter().any(|program| {
            program.cores_busy >= self.cores_busy && program.name.to_lowercase().contains(&word)
        })
    }
}

/// When an activity chooses itself: while all that it names holds.
#[derive(Clone, Debug, PartialEq)]
pub struct ActivityRule {
    /// The activity's name.
    pub activity: String,
    /// A program that must be running.
    pub program: Option<ProgramBusy>,
    /// The time of day; never holds while the clock is not believed.
    pub time: Option<DayTime>,
}

impl ActivityRule {
    /// Whether it holds. `minute` is that of the local day, where the clock is believed.
    #[must_use]
    pub fn holds(&self, programs: &[Program], minute: Option<u16>) -> bool {
        let busy = self.program.as_ref().map(|program| program.holds(programs));
        let time = self.time.map(|time| minute.is_some_and(|minute| time.holds(minute)));
        (busy.is_some() || time.is_some()) && busy != Some(false) && time != Some(false)
    }
}

/// The rules, and whether they or a tap choose.
#[derive(Clone, Debug)]
pub(super) struct ByRules {
    rules: Vec<ActivityRule>,
    on: bool,
    looked: Option<Mono>,
    /// What the last looks said, and how many of them in a row.
    said: (Option<usize>, u8),
}

impl ByRules {
    pub(super) const fn new(rules: Vec<ActivityRule>) -> Self {
        Self { rules, on: true, looked: None, said: (None, 0) }
    }

    /// Whether the rules choose; `None` where there are none.
    pub(super) fn on(&self) -> Option<bool> {
        (!self.rules.is_empty()).then_some(self.on)
    }

    /// A tap chooses from now on, or the rules do; `false` if there are none.
    pub(super) fn choose(&mut self, on: bool) -> bool {
        (self.on, self.looked, self.said) = (on, None, (None, 0));
        !on || !self.rules.is_empty()
    }

    /// What is being done by the rules, once they are sure: `Some(None)` where none of them holds.
    pub(super) fn choose_activity(
        &mut self,
        programs: &[Program],
        at: Stamp,
    ) -> Option<Option<&str>> {
        let due = self.looked.is_none_or(|then| at.mono.seconds_since(then).si() >= EVERY_S);
        if self.on() != Some(true) || !due {
            return None;
        }
        self.looked = Some(at.mono);
        let minute = minute_of_day(at);
        let holds = self.rules.iter().position(|rule| rule.holds(programs, minute));
        let (before, times) = self.said;
        // Two rules for one activity are one word.
        let name = |at: Option<usize>| at.and_then(|at| self.rules.get(at)).map(|r| &r.activity);
        let times = if name(before) == name(holds) { times.saturating_add(1) } else { 1 };
        self.said = (holds, times);
        (times >= LOOKS).then(|| name(holds).map(String::as_str))
    }
}

/// Minutes after the local midnight, where the clock is believed.
fn minute_of_day(at: Stamp) -> Option<u16> {
    let local_ms = at.believed()?.unix_ms().saturating_add(i64::from(at.utc_offset_s) * 1000);
    u16::try_from(local_ms.rem_euclid(86_400_000) / 60_000).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn program(name: &str, cores_busy: f64) -> Program {
        Program { name: name.into(), cores_busy }
    }

    fn rule(word: Option<&str>, time: Option<(u16, u16)>) -> ActivityRule {
        ActivityRule {
            activity: "Receive".into(),
            program: word.map(|word| ProgramBusy { word: word.into(), cores_busy: 0.05 }),
            time: time.map(|(from_min, to_min)| DayTime { from_min, to_min }),
        }
    }

    #[test]
    fn a_rule_holds_while_all_that_it_names_holds() {
        let busy = [program("logbook", 0.4), program("MyDecoder", 0.06)];
        let idle = [program("mydecoder", 0.04)];
        let both = rule(Some("decode"), Some((480, 720)));
        assert!(rule(Some("Decode"), None).holds(&busy, None));
        assert!(!rule(Some("decode"), None).holds(&idle, None), "not busy enough");
        assert!(both.holds(&busy, Some(480)) && both.holds(&busy, Some(719)));
        assert!(!both.holds(&busy, Some(720)) && !both.holds(&idle, Some(500)));
        assert!(!both.holds(&busy, None), "nobody believes the clock");
        assert!(!rule(None, None).holds(&busy, Some(1)), "a rule without a condition");
    }

    #[test]
    fn a_night_goes_over_midnight() {
        let night = rule(None, Some((22 * 60, 6 * 60)));
        for (minute, want) in [(1319, false), (1320, true), (1439, true), (0, true), (359, true)] {
            assert_eq!(night.holds(&[], Some(minute)), want, "{minute}");
        }
        assert!(!night.holds(&[], Some(360)));
    }
}
