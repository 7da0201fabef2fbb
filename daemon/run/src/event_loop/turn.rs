//! The event loop: one thread that owns all state and takes one event after the other. What comes out
//! is a snapshot for the pages and tasks for the record worker.

use std::{
    sync::{Arc, mpsc::RecvTimeoutError},
    time::Duration,
};

use reckon::{
    alarm::Edge,
    belief::{Answer, Question},
    engine::{Command, Refusal},
    reading::Sweep,
    snapshot::Snapshot,
    time::Stamp,
    words,
};
use tokio::sync::oneshot;
use web::{Kept, Request};

use crate::{
    event_loop::{alerts::Alerts, event::Event, state::EventLoop},
    host::now_text::plain_spaces,
    record::update::Task,
};

/// Without a sweep for this long the silence itself is looked at.
const PATIENCE: Duration = Duration::from_millis(2500);
/// How often what could not be put on the card is tried again.
const TRY_EVERY: Duration = Duration::from_mins(1);
/// How often the state of the outing is written without being asked while no record keeps it.
const WRITE_EVERY: Duration = Duration::from_mins(10);

impl EventLoop {
    /// Takes events until it is told to stop; then everything is written once more.
    pub(crate) fn run(mut self) {
        self.note_log();
        loop {
            let snapshot = match self.events.recv_timeout(PATIENCE) {
                Ok(Event::Stop) | Err(RecvTimeoutError::Disconnected) => break,
                Ok(event) => self.turn(event),
                Err(RecvTimeoutError::Timeout) => Some(self.silence()),
            };
            if let Some(snapshot) = snapshot {
                let edges = self.engine.edges();
                self.state.journal.observe(&snapshot, &edges);
                if let Some(session) = &mut self.record {
                    session.recorder.edges(&snapshot, &edges);
                }
                self.warn(&snapshot, &edges);
                self.systemd.status(snapshot.at.mono, || plain_spaces(&words::status(&snapshot)));
                self.show.send_replace(snapshot);
            }
            self.systemd.alive(self.clock.mono());
        }
        self.write_choices(None);
        self.end_fold();
        if let Some(mut session) = self.record.take() {
            session.recorder.end();
        }
    }

    pub(super) fn turn(&mut self, event: Event) -> Option<Arc<Snapshot>> {
        match event {
            Event::Sweep { sweep, at, missed } => Some(self.swept(&sweep, at, missed)),
            Event::Command(Request { command, answer }) => self.command(&command, answer),
            Event::Footprint(footprint) => {
                self.engine.note_footprint(footprint);
                // Once a minute, in a turn that comes anyway.
                if let Some(tasks) = self.tasks.as_ref().filter(|_| self.watches_log) {
                    let _ = tasks.send(Task::ReadContactLog);
                }
                None
            }
            Event::Record(event) => self.record_event(event),
            Event::RecordCommand(request) => self.record_command(request),
            Event::Saved => {
                let at = self.clock.stamp();
                self.engine.note_saved(at);
                Some(self.engine.tick(at))
            }
            Event::Demo(shown) => {
                self.engine.note_demo(shown);
                Some(self.engine.tick(self.moment()))
            }
            Event::Stop => None,
        }
    }

    /// Tells the ways out, and carries out what the clean power-off orders.
    pub(super) fn warn(&mut self, snapshot: &Snapshot, edges: &[Edge]) {
        let orders = self.engine.orders();
        let Some(alerts) = &self.alerts else { return };
        alerts.tell(snapshot, edges);
        let mut last = false;
        for order in orders {
            last |= alerts.carry_out(order, snapshot);
        }
        if last {
            // First what must survive, then the card, then the request.
            self.write_choices(None);
            self.end_fold();
            if let Some(session) = &mut self.record
                && let Err(why) = session.recorder.put_down(snapshot.at.mono)
            {
                tracing::warn!("{}", words::journal::record_not_closed(&why));
            }
            let outcome = self.alerts.as_ref().map_or(Ok(()), Alerts::switch_off);
            if let Err(why) = &outcome {
                tracing::error!(event = "power_off_failed", "{why}");
            }
            self.engine.note_switched_off(outcome, self.clock.stamp());
        }
    }

    fn swept(&mut self, sweep: &Sweep, at: Stamp, missed: u64) -> Arc<Snapshot> {
        if self.state.silent {
            let silent_s = at.mono.since(self.state.last_sweep).as_secs();
            tracing::info!("{}", words::journal::sensors_back(&silent_s));
            self.state.silent = false;
        }
        self.state.last_sweep = at.mono;
        self.engine.note_missed(missed);
        let snapshot = self.engine.observe(sweep, at);
        let snapshot = self.settle_last_end(snapshot);
        let snapshot = self.record_sweep(snapshot);
        // That the clock may be believed is worth a write: a restart must not forget it. What was
        // counted is in the record's rows; each write of its own costs the card some 50 KiB.
        let news = self.clock.is_believed() && !self.state.believed;
        let recorded = self.record.is_some() && self.state.record.stopped.is_none();
        let since = at.mono.since(self.state.written);
        let again = self.state.unkept && since >= TRY_EVERY;
        if news || again || (!recorded && since >= WRITE_EVERY) {
            self.state.believed = self.clock.is_believed();
            self.write_choices(None);
        }
        snapshot
    }

    /// Nothing came: the snapshot must say so rather than look fresh.
    fn silence(&mut self) -> Arc<Snapshot> {
        let at = self.clock.stamp();
        let freed = (self.free)();
        let silent_s = at.mono.since(self.state.last_sweep).as_secs();
        // While a demonstration is paused no time passes.
        if !self.state.silent && silent_s > 0 {
            self.state.silent = true;
            let what_now =
                if freed { words::journal::OTHERS_GO_ON } else { words::journal::FORECAST_GOES_ON };
            tracing::warn!("{}", words::journal::sensors_hang(&silent_s, &what_now));
        }
        self.engine.tick(at)
    }

    fn command(
        &mut self,
        command: &Command,
        answer: oneshot::Sender<Result<Kept, Refusal>>,
    ) -> Option<Arc<Snapshot>> {
        let at = self.moment();
        if let Err(refusal) = self.engine.ask(command, at) {
            // Whoever asked may have gone meanwhile.
            let _ = answer.send(Err(refusal));
            return None;
        }
        let snapshot = self.record_changes(at);
        // An outing that began, ended or was joined to another is credited anew.
        let tested = self.record_status.borrow().test.as_ref().map(|test| test.bank.clone());
        let connected = snapshot.bank.spec.as_ref().map(|bank| bank.name.clone());
        if matches!(
            command,
            Command::UseBank { start: Some(_), .. }
                | Command::Answer { question: Question::BankChanged, .. }
                | Command::Answer { question: Question::Swapped, answer: Some(Answer::Another) }
        ) || tested.is_some_and(|it| Some(it) != connected)
        {
            self.end_test();
        }
        if matches!(command, Command::UseBank { .. } | Command::Answer { .. }) {
            self.update_learning();
        }
        // Whoever is answered shall see the change at once.
        self.show.send_replace(Arc::clone(&snapshot));
        self.write_choices(Some(answer));
        Some(snapshot)
    }

    pub(super) fn choices_written(&mut self, trouble: Option<String>) {
        match (&self.trouble, &trouble) {
            (None, Some(why)) => tracing::warn!("{why}"),
            (Some(_), None) => tracing::info!("{}", words::journal::CHOICES_KEPT),
            _ => {}
        }
        let kept_again = self.state.unkept && trouble.is_none();
        self.state.unkept = trouble.is_some();
        self.engine.note_unkept(trouble.clone());
        self.trouble = trouble;
        self.note_log();
        if kept_again && self.state.record.stopped.is_some() {
            // The card is well: so the record need not wait for its own next try.
            self.update_learning();
        }
    }
}
