//! What happened on the way: events, and sources that fell silent.

use alloc::{format, string::String};

use crate::time::Mono;

/// Something that happened.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// When, boot time.
    pub at: Mono,
    /// What sort of thing.
    pub kind: EventKind,
    /// In words; for a mark the operator's, for an activity its name (empty: none).
    pub text: String,
}

impl Event {
    /// The finish was set, or taken back.
    #[must_use]
    pub fn finish_set(at: Mono, finish: Option<Mono>) -> Self {
        let ahead = finish.map(|finish| format!("in {:.0} s", finish.as_s() - at.as_s()));
        Self { at, kind: EventKind::Finish, text: ahead.unwrap_or_default() }
    }

    /// The finish that it set, on the clock that the event's own time is on; `None`: none from then
    /// on.
    #[must_use]
    pub fn finish(&self) -> Option<Mono> {
        let ahead = self.text.strip_prefix("in ")?.strip_suffix(" s")?;
        let ahead_s: f64 = ahead.parse().ok().filter(|ahead_s: &f64| ahead_s.abs() < 1e9)?;
        Some(Mono::at_s((self.at.as_s() + ahead_s).max(0.0)))
    }
}

/// Sorts of events.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventKind {
    /// The supply fell below the board's limit.
    Undervoltage,
    /// The board was throttled, capped or hot.
    Strain,
    /// Sweeps came too late or not at all.
    MissedSweeps,
    /// The operator's mark.
    Mark,
    /// The operator's activity from now on.
    Activity,
    /// The operator's finish from now on: how far off it is, see [`Event::finish_set`].
    Finish,
    /// An alarm was raised.
    AlarmRaised,
    /// An alarm has cleared.
    AlarmCleared,
    /// The wall clock was stepped.
    ClockStep,
    /// Anything else worth a line.
    Other,
}

impl EventKind {
    /// All of them.
    pub const ALL: [Self; 10] = [
        Self::Undervoltage,
        Self::Strain,
        Self::MissedSweeps,
        Self::Mark,
        Self::Activity,
        Self::Finish,
        Self::AlarmRaised,
        Self::AlarmCleared,
        Self::ClockStep,
        Self::Other,
    ];

    /// As stored.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Undervoltage => "undervoltage",
            Self::Strain => "strain",
            Self::MissedSweeps => "missed_sweeps",
            Self::Mark => "mark",
            Self::Activity => "activity",
            Self::Finish => "finish",
            Self::AlarmRaised => "alarm_raised",
            Self::AlarmCleared => "alarm_cleared",
            Self::ClockStep => "clock_step",
            Self::Other => "other",
        }
    }

    /// From its stored name; a name of a newer version counts as [`Self::Other`].
    #[must_use]
    pub fn from_name(name: &str) -> Self {
        Self::ALL.into_iter().find(|kind| kind.name() == name).unwrap_or(Self::Other)
    }

    /// Whether it must reach the card at once rather than with the next batch.
    #[must_use]
    pub const fn urgent(self) -> bool {
        matches!(self, Self::Undervoltage | Self::AlarmRaised | Self::Mark)
    }
}

/// A source's state has changed.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceChange {
    /// When, boot time.
    pub at: Mono,
    /// The source's stable identity.
    pub id: String,
    /// For a person.
    pub title: String,
    /// Why it is silent from now on; `None`: it answers.
    pub gap: Option<String>,
}

/// A gap of a source.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceGap {
    /// The source's identity.
    pub id: String,
    /// The source, for a person.
    pub title: String,
    /// From, seconds since the outing began.
    pub from_s: f64,
    /// To, if it came back.
    pub to_s: Option<f64>,
    /// Why.
    pub why: String,
}
