//! What a person answers, and taking it back.

use alloc::{boxed::Box, vec::Vec};

use super::{
    outing_count::OutingCount,
    setup::Refusal,
    state::{Engine, OnBank, Reason, Shelf},
    tracked_bank::TrackedBank,
};
use crate::{
    bank::Start,
    belief::{Answer, Belief, Question, QuestionView, SURE, SinceLast, Standing, Story},
    snapshot::BankChanged,
    time::Mono,
    units::{Seconds, Watts},
};

/// How long a change of the bank can be undone, s.
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
        self.mind_name();
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
                self.on.belief.say_since(answer);
                self.mind_name();
            }
            Question::Swapped => self.say_swapped(answer, now)?,
            Question::HowFull => self.on.belief.say_level(answer.and_then(Answer::start)),
            Question::BankChanged if answer.is_none() => return Err(Refusal::NoSuchAnswer),
            Question::BankChanged => {
                self.mind_shelf(now);
                self.unshelve(Reason::BankUsed)?;
                self.recall_usual();
            }
            // The record's business.
            Question::HowEnded => return Err(Refusal::NotAsked),
        }
        // What follows from the answer is built at once, from the outing so far.
        self.follow_anew(false);
        Ok(())
    }

    fn say_swapped(&mut self, answer: Option<Answer>, now: Mono) -> Result<(), Refusal> {
        match (self.on.belief.is_another(), answer) {
            (true, Some(Answer::Another)) => return Ok(()),
            (true, _) => self.unshelve(Reason::BankCame)?,
            (false, Some(Answer::Another)) => return self.another_came(now),
            (false, _) if self.on.belief.away().is_none() => return Err(Refusal::NotAsked),
            (false, _) => {}
        }
        self.on.belief.say_same(answer.is_some());
        Ok(())
    }

    /// Another bank came when the supply was away: its outing began then.
    fn another_came(&mut self, now: Mono) -> Result<(), Refusal> {
        let on = &self.on;
        let (Some(away), Some(count)) = (on.belief.doubted_away(), &on.since_away) else {
            return Err(Refusal::NotAsked);
        };
        let mut activities = on.activities.clone();
        activities.new_outing();
        let next = OnBank {
            bank: on.bank.clone(),
            start: Start::Unknown,
            start_told: true,
            chosen: on.chosen,
            count: count.clone(),
            belief: on.belief.of_another(away),
            presence: on.presence.clone(),
            following: self
                .following(Story::Swapped)
                .map(TrackedBank::as_told)
                .into_iter()
                .collect(),
            ..OnBank::new(activities, away.to)
        };
        let before = core::mem::replace(&mut self.on, next);
        self.shelve(before, Reason::BankCame, now);
        self.alarms.new_bank(now);
        self.power_off.new_bank();
        Ok(())
    }

    /// Keeps the outing before for when the word is taken back.
    pub(super) fn shelve(&mut self, before: OnBank, by: Reason, now: Mono) {
        self.on.before =
            Some(Box::new(Shelf { changed: now, by, on: before, since: OutingCount::new(now) }));
    }

    /// The word is taken back: the outing before goes on, and what was counted since is its own.
    fn unshelve(&mut self, by: Reason) -> Result<(), Refusal> {
        let Some(shelf) = self.on.before.take_if(|shelf| shelf.by == by) else {
            return Err(Refusal::NotAsked);
        };
        let since = shelf.since.meter;
        let undone = core::mem::replace(&mut self.on, shelf.on);
        self.on.activities.tag(undone.activities.current());
        // Where nobody measures, the mean of the model's words on those minutes.
        let mean = since.outing().unwrap_or(Watts::ZERO);
        let measured = since.history().iter().any(|seen| seen.watts.is_some());
        for seen in since.history() {
            let read = seen.watts.and_then(Watts::new).or_else(|| (!measured).then_some(mean));
            self.count_here(Seconds::of(seen.dt_s), &seen, read, mean);
            self.feed(&seen);
        }
        Ok(())
    }

    /// An outing that goes on goes on under its name.
    pub(super) fn mind_name(&mut self) {
        let joined = self.goes_on();
        if core::mem::replace(&mut self.on.joined, joined) == joined {
            return;
        }
        let name = self.on.belief.since().and_then(|since| since.carried.outing.clone());
        if joined.is_some() {
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
        let shelf = self.on.before.as_ref().filter(|shelf| shelf.by == Reason::BankUsed)?;
        let (at, before) = (shelf.changed, shelf.on.bank.clone());
        let until = Mono::at_s(at.as_s() + UNDO_S);
        (now < until).then_some(BankChanged { at, until, before })
    }

    /// Lets go of what can no longer be taken back.
    pub(super) fn mind_shelf(&mut self, now: Mono) {
        let used = self.on.before.as_ref().is_some_and(|shelf| shelf.by == Reason::BankUsed);
        if used && self.bank_changed(now).is_none() {
            self.on.before = None;
        }
    }

    /// How full the connected bank was when the outing began, as far as that is settled. Whether another
    /// one came later is left aside.
    #[must_use]
    pub fn start(&self) -> Start {
        let (story, weight) = self.on.belief.root();
        if weight >= SURE { self.start_of_story(story) } else { Start::Unknown }
    }

    /// The same by one story.
    pub(super) fn start_of_story(&self, story: Story) -> Start {
        match story {
            Story::Told => self.on.start,
            Story::GoesOn => {
                self.on.belief.since().map_or(self.on.start, |since| since.carried.start)
            }
            Story::Charged => Start::Full,
            Story::AnyLevel | Story::Swapped => Start::Unknown,
            Story::Said => self.on.belief.said_level().unwrap_or(self.on.start),
        }
    }
}
