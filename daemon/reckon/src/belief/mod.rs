//! What is believed of the bank: which one it is, how full it was, whether it is still the same,
//! whether it was charged, and how the outing before ended.
//!
//! A belief is a handful of *stories*, each with a weight. Evidence moves the weights: how long the
//! power was off, how the last run ended, that the bank is still alive, the cells' voltage. A
//! person's word settles them, and can be taken back. A default is a belief like any other, never
//! knowledge. Nothing here touches a clock or a file; the engine feeds it and asks it.

mod carried;
pub mod last_end;
mod open_questions;
mod presence;
mod question;
mod recorded;
mod since;
mod story;

#[cfg(test)]
mod tests;

pub use carried::Carried;
pub use presence::{Away, Presence};
pub use question::{Answer, Question, QuestionView, Standing};
pub use recorded::{AfterStart, after_start};
pub use since::{SinceLast, charged_chance};
pub use story::{PLAUSIBLE, SURE, Story};

use alloc::vec::Vec;

use libm::exp;

use crate::{bank::Start, units::Seconds};

/// Chance that a supply which was away for a short while came back as another bank. A plug that
/// slipped and a bank that was changed are thought equally likely (common practice, no source).
const ANOTHER_BANK: f64 = 0.5;

/// The supply was away in the middle of an outing and came back.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Swap {
    away: Away,
    /// What each story had for itself when it came back.
    evidence: [f64; Story::ALL.len()],
    /// A person says that it is the same bank all along.
    same: bool,
}

/// What is believed.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Belief {
    since: Option<SinceLast>,
    swap: Option<Swap>,
    /// A person says that this outing's bank came when the supply was away like this.
    came: Option<Away>,
    /// How full a person says that the bank was when its outing began.
    said: Option<Start>,
    /// The same, put aside by a later answer about the outing before.
    said_before: Option<Start>,
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

    /// The supply was away and is back: perhaps as another bank. One doubt at a time: while one is
    /// undecided, a second absence leaves its beginning standing.
    pub fn note_away(&mut self, away: Away) {
        if self.doubted_away().is_some() {
            return;
        }
        self.evidence[Story::Swapped as usize] = 0.0;
        self.swap = Some(Swap { away, evidence: self.evidence, same: false });
    }

    /// When the supply was away, if that is still of interest.
    #[must_use]
    pub fn away(&self) -> Option<Away> {
        self.swap.map(|swap| swap.away).or(self.came)
    }

    /// The same, as long as nobody has said whether another bank came.
    #[must_use]
    pub fn doubted_away(&self) -> Option<Away> {
        self.swap.filter(|swap| !swap.same).map(|swap| swap.away)
    }

    /// A person says that it is the same bank all along, or takes that back.
    pub const fn say_same(&mut self, same: bool) {
        if let Some(swap) = &mut self.swap {
            swap.same = same;
        }
    }

    /// What is believed of the outing of another bank, which came when the supply was away.
    #[must_use]
    pub fn of_another(&self, away: Away) -> Self {
        Self { came: Some(away), ..self.of_next_outing() }
    }

    /// Whether this outing's bank came when the supply was away, as a person has said.
    #[must_use]
    pub const fn is_another(&self) -> bool {
        self.came.is_some()
    }

    /// A person says how full the bank was when its outing began; `None` takes it back.
    pub const fn say_level(&mut self, said: Option<Start>) {
        self.said = said;
        self.said_before = None;
    }

    /// A person answers what happened since the outing before; `None` takes it back. The later word
    /// holds: a level that was said before comes back with the answer taken back.
    pub fn say_since(&mut self, answer: Option<Answer>) {
        let Some(since) = &mut self.since else { return };
        if answer.is_none() && since.by_word {
            self.since = None;
        } else {
            since.answer = answer;
        }
        if answer.is_some() {
            self.said_before = self.said.take().or(self.said_before);
        } else {
            self.said = self.said.or(self.said_before.take());
        }
    }

    /// How full a person has said that it was.
    #[must_use]
    pub const fn said_level(&self) -> Option<Start> {
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
        let roots = self.roots(&self.evidence);
        let mut all: Vec<Story> = roots.iter().map(|(story, _)| *story).collect();
        all.extend(self.swap.map(|_| Story::Swapped));
        all.extend(self.said.map(|_| Story::Said));
        all
    }

    /// The stories that no word has ruled out, with their weights, which add up to one.
    #[must_use]
    pub fn cases(&self) -> Vec<(Story, f64)> {
        let mut cases = self.standing(&self.evidence);
        if let Some(swap) = self.swap.filter(|swap| !swap.same) {
            let another = swap.chance_of_another();
            for (_, weight) in &mut cases {
                *weight *= 1.0 - another;
            }
            let then: f64 = self.standing(&swap.evidence).iter().map(|(_, weight)| weight).sum();
            let seen = self.evidence[Story::Swapped as usize];
            cases.push((Story::Swapped, another * then * exp(seen)));
        }
        level(cases)
    }

    /// The likeliest story of how this outing began, and its weight among those that no word has ruled
    /// out; whether another bank came later is left aside.
    #[must_use]
    pub fn root(&self) -> (Story, f64) {
        let roots = level(self.standing(&self.evidence));
        roots.into_iter().max_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((Story::Told, 1.0))
    }

    /// The stories of how this outing began that no word has ruled out.
    fn standing(&self, evidence: &[f64; Story::ALL.len()]) -> Vec<(Story, f64)> {
        if self.said.is_some() {
            return alloc::vec![(Story::Said, exp(evidence[Story::Said as usize]))];
        }
        let mut roots = self.roots(evidence);
        roots.retain(|(story, _)| self.since.as_ref().is_none_or(|since| since.allows(*story)));
        roots
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

    /// Whether the outing before goes on, by a person's word or beyond reasonable doubt. An absence
    /// later in the outing does not part what was joined; a word on the level does.
    #[must_use]
    pub fn goes_on(&self) -> bool {
        let (story, weight) = self.root();
        story == Story::GoesOn && weight >= SURE
    }

    /// The stories about how this outing began, with unnormalised weights.
    fn roots(&self, evidence: &[f64; Story::ALL.len()]) -> Vec<(Story, f64)> {
        let told = || alloc::vec![(Story::Told, 1.0)];
        let priors = self.since.as_ref().map_or_else(told, SinceLast::weights);
        let of = |(story, prior): (Story, f64)| (story, prior * exp(evidence[story as usize]));
        priors.into_iter().map(of).collect()
    }
}

impl Swap {
    fn chance_of_another(&self) -> f64 {
        let charged = charged_chance(Seconds::of(self.away.lasted_s()));
        1.0 - (1.0 - ANOTHER_BANK) * (1.0 - charged)
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
