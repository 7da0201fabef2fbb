//! What a person answers, and taking it back.

use alloc::vec::Vec;

use super::{Engine, Refusal};
use crate::{
    belief::{Answer, Belief, Question, QuestionView, SinceLast, Standing},
    engine::Start,
    snapshot::BankChanged,
    time::Mono,
    units::{Seconds, Watts},
};

/// A change of the bank can be taken back for so long, s.
const UNDO_S: f64 = 600.0;

impl Engine {
    /// What was believed of how the outing before ended, for the question on it.
    pub fn note_last_ended(&mut self, last: Option<crate::belief::last_end::HowEnded>) {
        self.on.belief.last_ended = last;
        let Some(last) = last else { return };
        if let Some(since) = self.on.belief.since_mut().filter(|it| it.outing == Some(last.outing))
        {
            since.died = last.said.map_or(last.died, f64::from);
            self.on.shown.hurry();
        }
    }

    /// What is known of the time since the outing before on this bank; `None`: there is nothing to
    /// doubt.
    pub fn note_since(&mut self, since: Option<SinceLast>) {
        match since {
            Some(since) => self.on.belief.note_since(since),
            None if self.on.belief.since().is_none() => return,
            None => self.on.belief = self.on.belief.of_next_outing(),
        }
        self.take_over_name();
        self.on.shown.forget();
        self.follow_anew(true);
    }

    /// How long the board was off, as soon as both ends can be dated.
    pub fn note_off(&mut self, off: Seconds) {
        if let Some(since) = self.on.belief.since_mut().filter(|since| since.off.is_none()) {
            since.off = Some(off);
            self.on.shown.hurry();
        }
    }

    /// What is believed of the bank.
    #[must_use]
    pub const fn belief(&self) -> &Belief {
        &self.on.belief
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
                let Some(since) = self.on.belief.since_mut() else { return Err(Refusal::NotAsked) };
                since.answer = answer;
                // Another bank: how full it is was said of the one before, if at all.
                if answer.is_some() {
                    self.on.belief.say_level(None);
                }
                self.take_over_name();
            }
            Question::Swapped => self.say_another(answer, now),
            Question::HowFull => self.on.belief.say_level(answer.and_then(Answer::start)),
            Question::BankChanged => return self.undo_bank(now),
            // The record's business.
            Question::HowEnded => return Err(Refusal::NotAsked),
        }
        // What follows from the answer is built at once, from the outing so far.
        self.follow_anew(false);
        Ok(())
    }

    fn say_another(&mut self, answer: Option<Answer>, now: Mono) {
        let was = self.on.belief.is_another();
        self.on.belief.say_another(answer.map(|answer| answer == Answer::Another));
        if self.on.belief.is_another() && !was {
            self.alarms.new_bank(now);
            self.power_off.new_bank();
        }
        if self.on.belief.is_another() != was {
            self.on.belief.say_level(None);
        }
    }

    /// An outing that goes on goes on under its name.
    fn take_over_name(&mut self) {
        let name = self.on.belief.since().and_then(|since| since.carried.outing.clone());
        if self.on.belief.goes_on() {
            self.on.outing = name.or_else(|| self.on.outing.take());
        } else if self.on.outing == name {
            self.on.outing = None;
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
        if self.on.bank.is_some() {
            all.extend(self.on.belief.questions(self.on.start, !self.on.start_told));
        }
        all
    }

    /// A change of the bank that can still be taken back.
    pub(super) fn bank_changed(&self, now: Mono) -> Option<BankChanged> {
        let shelf = self.shelf.as_ref()?;
        let (at, before) = (shelf.changed, &shelf.on.bank);
        let until = Mono::at_s(at.as_s() + UNDO_S);
        (now < until).then(|| BankChanged { at, until, before: before.clone() })
    }

    /// Lets go of what can no longer be taken back.
    pub(super) fn mind_shelf(&mut self, now: Mono) {
        if self.bank_changed(now).is_none() {
            self.shelf = None;
        }
    }

    /// The bank before is the connected one after all: its outing goes on, and what was counted
    /// since is its own.
    fn undo_bank(&mut self, now: Mono) -> Result<(), Refusal> {
        self.mind_shelf(now);
        let Some(shelf) = self.shelf.take() else { return Err(Refusal::NotAsked) };
        let (before, since) = (shelf.on, shelf.since.meter);
        let undone = core::mem::replace(&mut self.on, before);
        self.on.activities.tag(undone.activities.current());
        // Where nobody measures, the mean of the model's words on those minutes.
        let mean = since.outing().unwrap_or(Watts::ZERO);
        for seen in since.history() {
            let watts = seen.watts.and_then(Watts::new).unwrap_or(mean);
            self.count(Seconds::of(seen.dt_s), watts, &seen);
            self.feed(&seen);
        }
        self.recall_usual();
        Ok(())
    }

    /// How full the connected bank was when the outing began, as far as that is settled.
    #[must_use]
    pub fn start(&self) -> Start {
        use crate::belief::{SETTLED, Story};
        let (story, weight) = self.on.belief.leading();
        match story {
            _ if weight < SETTLED => Start::Unknown,
            Story::Told => self.on.start,
            Story::GoesOn => {
                self.on.belief.since().map_or(self.on.start, |since| since.carried.start)
            }
            Story::Charged => Start::Full,
            Story::AnyLevel | Story::Swapped => Start::Unknown,
            Story::Said => self.on.belief.said().unwrap_or(self.on.start),
        }
    }
}
