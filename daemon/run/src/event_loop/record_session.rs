//! The event loop's part in the record: what it says of it, and what a person may ask of it.

use std::sync::Arc;

use history::RecordState;
use reckon::{
    bank::{self, BankSpec},
    belief::{Answer, Question, SinceLast},
    engine::{Command, Start},
    name,
    record::{Ending, EventKind, RecordCommand, TestLoad},
    snapshot::{LogState, Snapshot},
    time::{Mono, Stamp},
    words,
};
use web::{FileSetAside, RecordStatus, Request, RunningTest};

use crate::{
    event_loop::state::EventLoop,
    host::{phone_clock::Heard, test_load},
    record::{
        last_end::decide,
        side_notes::TEST,
        update::{RecordEvent, RecordUpdate, Task},
    },
};

impl EventLoop {
    /// The first sweep has come: what happened before is decided.
    pub(crate) fn settle_last_end(&mut self, snapshot: Arc<Snapshot>) -> Arc<Snapshot> {
        let Some(session) = self.record.as_mut().filter(|session| !session.recorder.begun()) else {
            return snapshot;
        };
        session.last_end.recall(&session.reader);
        let decided = decide(&session.last_end, &mut self.engine, &snapshot);
        session.last_end.forget();
        if let Some(say) = &decided.say {
            tracing::info!("{say}");
        }
        let snapshot = self.engine.tick(snapshot.at);
        let start = self.engine.start();
        session.recorder.begin(&snapshot, start, decided.entries, decided.end);
        let test = session.test.zip(session.last_end.test.clone());
        match test {
            Some((load, bank)) if decided.goes_on => {
                self.test_is_on(bank, load, snapshot.outing_began);
            }
            Some(_) => session.recorder.choose(TEST, ""),
            None => {}
        }
        // What was chosen before the start speaks of the last outing.
        self.write_choices(None);
        self.update_learning();
        snapshot
    }

    /// The recorder takes a sweep.
    pub(crate) fn record_sweep(&mut self, snapshot: Arc<Snapshot>) -> Arc<Snapshot> {
        let Some(session) = &mut self.record else { return snapshot };
        let undated = snapshot.bank.since.filter(|since| since.off.is_none());
        let off = undated.and_then(|since| session.last_end.off(since.outing, snapshot.at));
        if let Some(off) = off {
            // The time of day is known only now: decided by again.
            self.engine.note_off(off);
        }
        let start = self.engine.start();
        session.recorder.taken_apart(&mut self.engine);
        let before = session.recorder.doubted();
        session.recorder.swept(&snapshot, start);
        if session.recorder.doubted() != before {
            // A crash must not forget the doubt, and what was joined is credited as a whole.
            self.write_choices(None);
            self.update_learning();
        }
        snapshot
    }

    /// Puts another bank to use and closes the outing till now.
    fn use_bank(&mut self, bank: BankSpec, start: Start, at: Stamp) {
        let start = Some(start);
        if let Err(refusal) = self.engine.ask(&Command::UseBank { bank, start }, at) {
            tracing::warn!("{}", words::refusal(&refusal));
        }
        self.record_changes(at);
    }

    /// What a person changed goes into the record; a closed outing is credited.
    pub(crate) fn record_changes(&mut self, at: Stamp) -> Arc<Snapshot> {
        let (snapshot, start) = (self.engine.tick(at), self.engine.start());
        if let Some(session) = &mut self.record {
            session.recorder.taken_apart(&mut self.engine);
            session.recorder.changes(&snapshot, start);
        }
        snapshot
    }

    /// The readings end: what is still being folded is recorded as far as it has come.
    pub(crate) fn end_fold(&mut self) {
        self.engine.close_fold();
        if let Some(session) = &mut self.record {
            session.recorder.taken_apart(&mut self.engine);
        }
    }

    /// How the record is doing has changed.
    pub(crate) fn record_state(&mut self, state: RecordState) {
        match (&self.state.record.stopped, &state.stopped) {
            (None, Some(why)) => tracing::warn!("{why}"),
            (Some(_), None) => tracing::info!("{}", words::journal::RECORD_GOES_ON),
            _ => {}
        }
        let put_back = state.put_back > self.state.record.put_back;
        if put_back {
            tracing::warn!("{}", words::journal::RECORD_PUT_BACK);
        }
        let well = self.state.record.stopped.is_some() && state.stopped.is_none();
        if state.missed > self.state.record.missed {
            tracing::warn!("{}", words::journal::entries_lost(&state.missed));
        }
        for aside in state.set_aside.iter().skip(self.state.record.set_aside.len()) {
            tracing::warn!(
                "{}",
                words::journal::record_set_aside(&aside.why, &aside.path.display())
            );
        }
        if let Some(warning) =
            state.warning.as_ref().filter(|_| self.state.record.warning.is_none())
        {
            tracing::warn!("{warning}");
        }
        self.tell(|record_status| {
            record_status.last = state.last_s.map(Mono::at_s);
            record_status.stopped.clone_from(&state.stopped);
            record_status.waiting = state.waiting;
            record_status.missed = state.missed;
            record_status.used_bytes = state.bytes;
            record_status.warning.clone_from(&state.warning);
            record_status.set_aside = state
                .set_aside
                .iter()
                .map(|aside| FileSetAside {
                    path: aside.path.display().to_string(),
                    why: sentence(&aside.why),
                })
                .collect();
        });
        self.state.record = state;
        self.note_log();
        // What was chosen lies beside the record: it is as well, or as much gone.
        if put_back || (well && self.state.unkept) {
            self.write_choices(None);
        }
    }

    /// Changes what the pages see of the record.
    pub(crate) fn tell(&self, change: impl FnOnce(&mut RecordStatus)) {
        self.record_status.send_modify(|shown| {
            let mut next = RecordStatus::clone(shown);
            change(&mut next);
            *shown = Arc::new(next);
        });
    }

    /// How the record is doing, for the snapshot.
    pub(crate) fn note_log(&mut self) {
        let record_status = self.record_status.borrow();
        let record = self.record.as_ref();
        let stopped = match record {
            Some(_) => record_status.stopped.as_ref(),
            None => self.trouble.as_ref(),
        };
        let log = match (stopped, record) {
            (Some(why), _) => LogState::Stopped { why: why.clone() },
            (None, None) => LogState::Off,
            // The start itself was put on the card.
            (None, Some(session)) => {
                LogState::Kept { last: record_status.last.unwrap_or(session.opened) }
            }
        };
        drop(record_status);
        self.engine.note_log(log);
    }

    /// The record has something to say.
    pub(crate) fn record_event(&mut self, event: RecordEvent) -> Option<Arc<Snapshot>> {
        match event {
            RecordEvent::ChoicesWritten(outcome) => self.choices_written(outcome.err()),
            RecordEvent::State(state) => self.record_state(*state),
            RecordEvent::ContactLog(say) => self.tell(|status| status.contact_log = Some(say)),
            RecordEvent::Update(update) => return Some(self.record_update(*update)),
        }
        None
    }

    /// Somebody wants something of the record that the running state has a part in.
    pub(crate) fn record_command(
        &mut self,
        request: Request<RecordCommand>,
    ) -> Option<Arc<Snapshot>> {
        let Request { command, answer } = request;
        let at = self.moment();
        let done = match command {
            RecordCommand::Mark { text } => self.mark(&text, at.mono),
            RecordCommand::PhoneClock { at: then, phone_ms, within_ms } => {
                self.phone(Heard { at: then, phone_ms, within_ms }, at.mono)
            }
            RecordCommand::SetClock => self.set_clock(),
            RecordCommand::StopTest => self.stop_test(at),
            RecordCommand::GoesOn { earlier, goes_on } if self.is_doubted(earlier) => {
                self.answer_since(goes_on, at)
            }
            command => {
                Task::hand_over(self.tasks.as_ref(), Request { command, answer });
                return None;
            }
        };
        // Whoever asked may have gone meanwhile.
        match (done, &self.tasks) {
            (Err(why), _) => {
                let _ = answer.send(Err(why));
                return None;
            }
            (Ok(()), Some(tasks)) => drop(tasks.send(Task::Settle(answer))),
            (Ok(()), None) => drop(answer.send(Ok(self.without_a_card()))),
        }
        Some(self.engine.tick(at))
    }

    fn mark(&mut self, text: &str, at: Mono) -> Result<(), String> {
        let text = name::mended(text, name::LONGEST_MARK);
        let Some(session) = &mut self.record else {
            return Err(words::refusal::NO_RECORD.to_owned());
        };
        self.engine.note_mark(&text, at);
        session.recorder.event(at, EventKind::Mark, text);
        Ok(())
    }

    fn phone(&mut self, heard: Heard, now: Mono) -> Result<(), String> {
        let heard = heard.check(now)?;
        let Some(session) = &mut self.record else { return Ok(()) };
        if session.heard.as_ref().is_some_and(|before| !heard.better_than(before)) {
            return Ok(());
        }
        session.heard = Some(heard);
        self.clock.phone_says(heard.wall_at_boot());
        session.recorder.phone(heard.at, heard.phone_ms, heard.within_ms);
        let told = heard.beside(&self.clock);
        self.tell(|record_status| record_status.phone = Some(told));
        Ok(())
    }

    fn set_clock(&mut self) -> Result<(), String> {
        let Some(session) = &mut self.record else {
            return Err(words::refusal::NO_RECORD.to_owned());
        };
        if !session.may_set_clock {
            return Err(words::refusal::CLOCK_LOCKED.to_owned());
        }
        let Some(heard) = session.heard else {
            return Err(words::refusal::NO_PHONE_TIME.to_owned());
        };
        let (mono, _) = self.clock.system_time();
        self.clock
            .set_system(heard.wall_at_boot().plus_s(mono.as_s()))
            .map_err(|why| words::refusal::clock_refused(&why))?;
        tracing::info!("{}", words::journal::CLOCK_SET);
        let told = heard.beside(&self.clock);
        self.tell(|record_status| record_status.phone = Some(told));
        Ok(())
    }

    /// What the record worker found in the record.
    fn record_update(&mut self, update: RecordUpdate) -> Arc<Snapshot> {
        let at = self.moment();
        if let Some((name, spec)) = update.told {
            self.engine.note_bank_told(&name, spec);
        }
        self.engine.note_learned(update.learned_by_bank);
        self.engine.note_usual(update.usual);
        if let Some(session) = &self.record {
            let all = bank::banks_offered(&session.own_banks, &update.offered, &update.forgotten);
            self.engine.note_bank_choices(all);
        }
        if let Some(name) = update.named
            && let Err(refusal) = self.engine.ask(&Command::NameOuting { name }, at)
        {
            tracing::warn!("{}", words::refusal(&refusal));
        }
        if let Some((bank, load)) = update.test {
            self.begin_test(&bank, load, at);
        }
        self.engine.note_last_ended(update.last_ended);
        if let Some((since, answer)) = update.since {
            self.goes_on(since, answer, at);
        }
        self.record_changes(at)
    }

    /// Whether it is this outing of which it is asked whether the open one is the rest of it.
    fn is_doubted(&self, outing: i64) -> bool {
        self.engine.belief().since().is_some_and(|since| since.outing == Some(outing))
    }

    fn answer_since(&mut self, goes_on: bool, at: Stamp) -> Result<(), String> {
        let answer = Some(if goes_on { Answer::GoesOn } else { Answer::Charged });
        let ask = Command::Answer { question: Question::SinceLast, answer };
        self.engine.ask(&ask, at).map_err(|why| words::refusal(&why))?;
        self.record_changes(at);
        self.write_choices(None);
        self.update_learning();
        Ok(())
    }

    /// The operator says of an earlier outing whether this one is the rest of it, asked or not.
    fn goes_on(&mut self, since: SinceLast, answer: Answer, at: Stamp) {
        self.engine.note_since(Some(since));
        if let Err(why) = self.answer_since(answer == Answer::GoesOn, at) {
            tracing::warn!("{why}");
        }
    }

    fn begin_test(&mut self, bank: &BankSpec, load: TestLoad, at: Stamp) {
        // The very first bank takes up the outing that is on; a test begins one of its own.
        if self.engine.tick(at).bank.spec.is_none() {
            self.use_bank(bank.clone(), Start::Full, at);
        }
        self.use_bank(bank.clone(), Start::Full, at);
        let name = name::mended(&format!("Run-down of {}", bank.name), name::LONGEST);
        if let Err(refusal) = self.engine.ask(&Command::NameOuting { name }, at) {
            tracing::warn!("{}", words::refusal(&refusal));
        }
        self.test_is_on(bank.name.clone(), load, at.mono);
        self.write_choices(None);
        self.update_learning();
    }

    fn test_is_on(&mut self, bank: String, load: TestLoad, began: Mono) {
        tracing::info!("{}", words::journal::test_runs(&bank));
        let Some(session) = &mut self.record else { return };
        session.load = test_load::begin(load, &self.clock);
        self.engine.note_run_down_test(true);
        self.tell(|record_status| record_status.test = Some(RunningTest { bank, began, load }));
    }

    fn stop_test(&mut self, at: Stamp) -> Result<(), String> {
        if self.record_status.borrow().test.is_none() {
            return Err(words::refusal::NO_TEST.to_owned());
        }
        let bank = self.engine.tick(at).bank.spec.as_deref().cloned();
        if let (Some(session), Some(bank)) = (&mut self.record, bank) {
            session.recorder.close_as(at.mono.as_s(), at.mono.as_s(), Ending::SwitchedOff);
            self.use_bank(bank, Start::Unknown, at);
        }
        self.end_test();
        self.write_choices(None);
        self.update_learning();
        Ok(())
    }

    /// Another bank is in use, or the test was given up.
    pub(crate) fn end_test(&mut self) {
        if self.record_status.borrow().test.is_none() {
            return;
        }
        if let Some(session) = &mut self.record {
            session.load = None;
            session.recorder.choose(TEST, "");
        }
        self.engine.note_run_down_test(false);
        self.tell(|record_status| record_status.test = None);
    }
}

/// A reason of the record's, which begins small and ends open, as a sentence.
fn sentence(why: &str) -> String {
    let mut letters = why.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str().trim_end_matches('.'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reasons_become_sentences() {
        let said = sentence("the record's file is damaged (file is not a database)");
        assert_eq!(said, "The record's file is damaged (file is not a database).");
        assert_eq!(sentence("Ärger."), "Ärger.");
    }
}
