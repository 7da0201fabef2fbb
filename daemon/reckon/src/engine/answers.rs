//! What a person answers, and taking it back.

use alloc::{boxed::Box, sync::Arc, vec::Vec};

use super::{Engine, Refusal, follow::Following, outlook::Shown, tally::Tally};
use crate::{
    bank::BankSpec,
    belief::{Answer, Belief, Presence, Question, QuestionView, SinceLast, Standing},
    engine::Start,
    snapshot::BankChanged,
    time::Mono,
    units::{Seconds, Watts},
};

/// A change of the bank can be taken back for so long, s.
const UNDO_S: f64 = 600.0;

/// The outing on the bank before, put aside when another was put to use.
#[derive(Clone, Debug)]
pub(super) struct Shelf {
    changed: Mono,
    bank: Option<Arc<BankSpec>>,
    start: Start,
    start_told: bool,
    chosen: bool,
    outing: Option<alloc::string::String>,
    finish: Option<Mono>,
    tally: Tally,
    since_away: Option<Tally>,
    belief: Belief,
    presence: Presence,
    following: Vec<Following>,
    shown: Shown,
    activities: super::Activities,
}

impl Engine {
    /// What was believed of how the outing before ended, for the question on it.
    pub fn note_last_ended(&mut self, last: Option<crate::belief::last_end::HowEnded>) {
        self.belief.last_ended = last;
        let Some(last) = last else { return };
        if let Some(since) = self.belief.since_mut().filter(|it| it.outing == Some(last.outing)) {
            since.died = last.said.map_or(last.died, f64::from);
            self.shown.hurry();
        }
    }

    /// What is known of the time since the outing before on this bank; `None`: there is nothing to
    /// doubt.
    pub fn note_since(&mut self, since: Option<SinceLast>) {
        match since {
            Some(since) => self.belief.note_since(since),
            None if self.belief.since().is_none() => return,
            None => self.belief = self.belief.of_next_outing(),
        }
        self.take_over_name();
        self.shown.forget();
        self.follow_anew(true);
    }

    /// How long the board was off, as soon as both ends can be dated.
    pub fn note_off(&mut self, off: Seconds) {
        if let Some(since) = self.belief.since_mut().filter(|since| since.off.is_none()) {
            since.off = Some(off);
            self.shown.hurry();
        }
    }

    /// What is believed of the bank.
    #[must_use]
    pub const fn belief(&self) -> &Belief {
        &self.belief
    }

    pub(super) fn answer(
        &mut self,
        question: Question,
        answer: Option<Answer>,
        now: Mono,
    ) -> Result<(), Refusal> {
        if answer.is_some_and(|answer| !question.takes(answer)) {
            return Err(Refusal::NoSuchAnswer);
        }
        let asked = self.questions(now).into_iter().any(|one| one.question == question);
        // An answer that took its own question away can be taken back all the same.
        if !asked && answer.is_some() {
            return Err(Refusal::NotAsked);
        }
        match question {
            Question::SinceLast => {
                let Some(since) = self.belief.since_mut() else { return Err(Refusal::NotAsked) };
                since.answer = answer;
                // Another bank: how full it is was said of the one before, if at all.
                if answer.is_some() {
                    self.belief.say_level(None);
                }
                self.take_over_name();
            }
            Question::Swapped => self.say_another(answer, now),
            Question::HowFull => self.belief.say_level(answer.and_then(Answer::start)),
            Question::BankChanged => return self.undo_bank(now),
            // The record's business.
            Question::HowEnded => return Err(Refusal::NotAsked),
        }
        // What follows from the answer is built at once, from the outing so far.
        self.follow_anew(false);
        Ok(())
    }

    fn say_another(&mut self, answer: Option<Answer>, now: Mono) {
        let was = self.belief.is_another();
        self.belief.say_another(answer.map(|answer| answer == Answer::Another));
        if self.belief.is_another() && !was {
            self.alarms.new_bank(now);
            self.power_off.new_bank();
        }
        if self.belief.is_another() != was {
            self.belief.say_level(None);
        }
    }

    /// An outing that goes on goes on under its name.
    fn take_over_name(&mut self) {
        let name = self.belief.since().and_then(|since| since.carried.outing.clone());
        if self.belief.goes_on() {
            self.outing = name.or_else(|| self.outing.take());
        } else if self.outing == name {
            self.outing = None;
        }
    }

    /// What there is to ask now.
    pub(super) fn questions(&self, now: Mono) -> Vec<QuestionView> {
        let mut all = Vec::new();
        if self.bank_changed(now).is_some() {
            all.push(QuestionView {
                question: Question::BankChanged,
                answers: alloc::vec![Answer::Undo],
                answer: None,
                standing: Standing::Inferred,
            });
        }
        if self.bank.is_some() {
            all.extend(self.belief.questions(self.start, !self.start_told));
        }
        all
    }

    /// A change of the bank that can still be taken back.
    pub(super) fn bank_changed(&self, now: Mono) -> Option<BankChanged> {
        let shelf = self.shelf.as_ref()?;
        let until = Mono::at_s(shelf.changed.as_s() + UNDO_S);
        (now < until).then(|| BankChanged { at: shelf.changed, until, before: shelf.bank.clone() })
    }

    /// Lets go of what can no longer be taken back.
    pub(super) fn mind_shelf(&mut self, now: Mono) {
        if self.bank_changed(now).is_none() {
            self.shelf = None;
        }
    }

    /// Puts the outing on the bank of till now aside.
    pub(super) fn shelve(&mut self, now: Mono) {
        self.shelf = Some(Box::new(Shelf {
            changed: now,
            bank: self.bank.clone(),
            start: self.start,
            start_told: self.start_told,
            chosen: self.chosen,
            outing: self.outing.clone(),
            finish: self.finish,
            tally: self.tally.clone(),
            since_away: self.since_away.clone(),
            belief: self.belief.clone(),
            presence: self.presence.clone(),
            following: self.following.clone(),
            shown: self.shown.clone(),
            activities: self.activities.clone(),
        }));
    }

    /// The bank before is the connected one after all: its outing goes on, and what was counted
    /// since is its own.
    fn undo_bank(&mut self, now: Mono) -> Result<(), Refusal> {
        self.mind_shelf(now);
        let Some(shelf) = self.shelf.take() else { return Err(Refusal::NotAsked) };
        let since = core::mem::replace(&mut self.tally, shelf.tally);
        let current = self.activities.current().map(alloc::string::String::from);
        self.bank = shelf.bank;
        self.start = shelf.start;
        self.start_told = shelf.start_told;
        self.chosen = shelf.chosen;
        self.outing = shelf.outing;
        self.finish = shelf.finish.or(self.finish);
        self.since_away = shelf.since_away;
        self.belief = shelf.belief;
        self.presence = shelf.presence;
        self.following = shelf.following;
        self.shown = shelf.shown;
        self.activities = shelf.activities;
        self.activities.tag(current.as_deref());
        for seen in since.meter.history() {
            let dt = Seconds::of(seen.dt_s);
            match seen.watts.and_then(Watts::new) {
                Some(watts) => self.count(dt, watts, &seen),
                None => self.bridge(dt, self.modelled(None), &seen),
            }
            self.feed(&seen);
        }
        self.recall_usual();
        Ok(())
    }

    /// How full the connected bank was when the outing began, as far as that is settled.
    #[must_use]
    pub fn start(&self) -> Start {
        use crate::belief::{SETTLED, Story};
        let (story, weight) = self.belief.leading();
        match story {
            _ if weight < SETTLED => Start::Unknown,
            Story::Told => self.start,
            Story::GoesOn => self.belief.since().map_or(self.start, |since| since.carried.start),
            Story::Charged => Start::Full,
            Story::AnyLevel | Story::Swapped => Start::Unknown,
            Story::Said => self.belief.said().unwrap_or(self.start),
        }
    }
}
