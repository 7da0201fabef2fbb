//! What is believed of the bank: which one it is, how full it was, whether it is still the same,
//! whether it was charged, and how the outing before ended.
//!
//! A belief is a handful of *stories*, each with a weight. Evidence moves the weights: how long the
//! power was off, how the last run ended, that the bank is still alive, the cells' voltage. A
//! person's word settles them, and can be taken back. A default is a belief like any other, never
//! knowledge. Nothing here touches a clock or a file; the engine feeds it and asks it.

pub mod last_end;
mod presence;
mod question;
mod since;

#[cfg(test)]
mod tests;

pub use presence::{Away, Presence};
pub use question::{Answer, Question, QuestionView, Standing};
pub use since::{SinceLast, charged_chance};

use alloc::vec::Vec;

use libm::{exp, log};

use crate::{engine::Start, units::Seconds};

/// Below this weight a story is left out of what is shown.
pub const PLAUSIBLE: f64 = 0.05;
/// From this weight on a story is taken for what happened, until somebody says otherwise.
pub const SETTLED: f64 = 0.9;
/// Chance that a supply which was away for a short while came back as another bank. A plug that
/// slipped and a bank that was changed are thought equally likely (common practice, no source).
const ANOTHER_BANK: f64 = 0.5;

/// One way in which things may stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Story {
    /// As told, or as taken at the very first start.
    Told,
    /// The same bank as in the outing before, not charged since.
    GoesOn,
    /// The same bank, charged full since.
    Charged,
    /// Charged in part since, or another bank: nobody knows how full.
    AnyLevel,
    /// Another bank since the supply was away in the middle of this outing.
    Swapped,
    /// As full as a person has said.
    Said,
}

impl Story {
    /// Every story.
    pub const ALL: [Self; 6] =
        [Self::Told, Self::GoesOn, Self::Charged, Self::AnyLevel, Self::Swapped, Self::Said];

    /// Its name outside.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Told => "as-told",
            Self::GoesOn => "goes-on",
            Self::Charged => "charged",
            Self::AnyLevel => "any-level",
            Self::Swapped => "another-bank",
            Self::Said => "as-said",
        }
    }
}

/// The supply was away in the middle of an outing and came back.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Swap {
    away: Away,
    /// ln of how well the other stories stood when it came back, all together.
    before: f64,
    /// A person says that it is another bank (or is not).
    another: Option<bool>,
}

/// What is believed.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Belief {
    since: Option<SinceLast>,
    swap: Option<Swap>,
    /// How full a person says that the bank was when its outing began.
    said: Option<Start>,
    /// ln of how likely each story makes what was seen.
    evidence: [f64; Story::ALL.len()],
    /// How the outing before ended, as far as the record can tell.
    pub last_ended: Option<last_end::HowEnded>,
}

impl Belief {
    /// What stays of it when another outing begins.
    #[must_use]
    pub fn of_next_outing(&self) -> Self {
        Self { last_ended: self.last_ended, ..Self::default() }
    }

    /// The board was off, or another outing went before: this is known of it.
    pub fn note_since(&mut self, since: SinceLast) {
        self.since = Some(since);
        self.evidence = Default::default();
    }

    /// What is known of the time since the outing before.
    #[must_use]
    pub const fn since(&self) -> Option<&SinceLast> {
        self.since.as_ref()
    }

    /// The same, to tell it more.
    pub const fn since_mut(&mut self) -> Option<&mut SinceLast> {
        self.since.as_mut()
    }

    /// The supply was away and is back: perhaps as another bank. One doubt at a time: a second
    /// absence leaves the first one's beginning standing.
    pub fn note_away(&mut self, away: Away) {
        let undecided = self.swap.is_some_and(|swap| swap.another.is_none());
        if undecided {
            return;
        }
        let before = log(self.roots().iter().map(|(_, weight)| weight).sum::<f64>().max(1e-300));
        self.evidence[Story::Swapped as usize] = 0.0;
        self.swap = Some(Swap { away, before, another: None });
    }

    /// When the supply was away, if that is still of interest.
    #[must_use]
    pub fn away(&self) -> Option<Away> {
        self.swap.map(|swap| swap.away)
    }

    /// The same, as long as nobody has said whether another bank came.
    #[must_use]
    pub fn doubted_away(&self) -> Option<Away> {
        self.swap.filter(|swap| swap.another.is_none()).map(|swap| swap.away)
    }

    /// A person says that the supply came back as another bank, or did not; `None` takes it back.
    pub fn say_another(&mut self, another: Option<bool>) {
        if let Some(swap) = &mut self.swap {
            swap.another = another;
        }
    }

    /// Whether a person has said that another bank came in the middle of this outing.
    #[must_use]
    pub fn is_another(&self) -> bool {
        self.swap.is_some_and(|swap| swap.another == Some(true))
    }

    /// A person says how full the bank was when its outing began; `None` takes it back.
    pub const fn say_level(&mut self, said: Option<Start>) {
        self.said = said;
    }

    /// How full a person has said that it was.
    #[must_use]
    pub const fn said(&self) -> Option<Start> {
        self.said
    }

    /// ln of how likely a story makes what was seen since it was first told.
    pub fn note_evidence(&mut self, story: Story, log_likelihood: f64) {
        if log_likelihood.is_finite() {
            self.evidence[story as usize] = log_likelihood;
        }
    }

    /// Every story that anything speaks for, also those that a person has ruled out: an answer may
    /// be taken back.
    #[must_use]
    pub fn stories(&self) -> Vec<Story> {
        let mut all: Vec<Story> = self.roots().iter().map(|(story, _)| *story).collect();
        all.extend(self.swap.map(|_| Story::Swapped));
        all.extend(self.said.map(|_| Story::Said));
        all
    }

    /// The stories that no word has ruled out, with their weights, which add up to one.
    #[must_use]
    pub fn cases(&self) -> Vec<(Story, f64)> {
        if self.said.is_some() {
            return alloc::vec![(Story::Said, 1.0)];
        }
        let mut cases = self.roots();
        if let Some(since) = &self.since {
            cases.retain(|(story, _)| since.allows(*story));
        }
        if let Some(swap) = self.swap {
            let another = swap.chance_of_another();
            for (_, weight) in &mut cases {
                *weight *= 1.0 - another;
            }
            let seen = self.evidence[Story::Swapped as usize];
            cases.push((Story::Swapped, another * exp(swap.before + seen)));
            cases.retain(|(_, weight)| *weight > 0.0);
        }
        level(cases)
    }

    /// The cases worth showing: nearly impossible ones left out.
    #[must_use]
    pub fn plausible(&self) -> Vec<(Story, f64)> {
        let mut cases = self.cases();
        cases.retain(|(_, weight)| *weight >= PLAUSIBLE);
        level(cases)
    }

    /// The likeliest case and its weight.
    #[must_use]
    pub fn leading(&self) -> (Story, f64) {
        let cases = self.cases();
        cases.into_iter().max_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((Story::Told, 1.0))
    }

    /// The weight of one story among the cases.
    #[must_use]
    pub fn weight_of(&self, story: Story) -> f64 {
        self.cases().iter().find(|(one, _)| *one == story).map_or(0.0, |(_, weight)| *weight)
    }

    /// Whether the outing before goes on, by a person's word or beyond reasonable doubt.
    #[must_use]
    pub fn goes_on(&self) -> bool {
        let Some(since) = &self.since else { return false };
        // An absence later in the outing, or a word on the level, does not part what was joined.
        match since.answer {
            Some(answer) => answer == Answer::GoesOn,
            None => {
                let mut roots = level(self.roots());
                roots.retain(|(story, _)| *story == Story::GoesOn);
                self.said.is_none() && roots.first().is_some_and(|(_, weight)| *weight >= SETTLED)
            }
        }
    }

    /// What there is to ask, and what has been answered.
    #[must_use]
    pub fn questions(&self, start: Start, by_default: bool) -> Vec<QuestionView> {
        question::of(self, start, by_default)
    }

    /// The stories about how this outing began, with unnormalised weights.
    fn roots(&self) -> Vec<(Story, f64)> {
        let Some(since) = &self.since else { return alloc::vec![(Story::Told, 1.0)] };
        since
            .weights()
            .into_iter()
            .map(|(story, prior)| (story, prior * exp(self.evidence[story as usize])))
            .collect()
    }
}

impl Swap {
    fn chance_of_another(&self) -> f64 {
        match self.another {
            Some(true) => 1.0,
            Some(false) => 0.0,
            None => {
                let charged = charged_chance(Seconds::of(self.away.lasted_s()));
                1.0 - (1.0 - ANOTHER_BANK) * (1.0 - charged)
            }
        }
    }
}

/// Makes the weights add up to one; nothing at all stays nothing.
fn level(mut cases: Vec<(Story, f64)>) -> Vec<(Story, f64)> {
    let total: f64 = cases.iter().map(|(_, weight)| weight).sum();
    if total > 0.0 {
        for (_, weight) in &mut cases {
            *weight /= total;
        }
    } else if let Some((_, weight)) = cases.first_mut() {
        // Everything seen speaks against all of them: the first is as good as any.
        *weight = 1.0;
    }
    cases
}
