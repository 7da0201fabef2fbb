//! What the event loop owns, and what every part of it does with that.

use std::sync::{
    Arc,
    mpsc::{Receiver, Sender},
};

use history::RecordState;
use reckon::{
    bank::BankSpec,
    engine::{Engine, Refusal},
    record::TestLoad,
    snapshot::Snapshot,
    time::{Mono, Stamp},
};
use tokio::sync::{oneshot, watch};
use web::{Kept, RecordStatus};

use crate::{
    event_loop::{alerts::Alerts, event::Event, journal::Journal},
    host::{clock::Clock, phone_clock::Heard, systemd::Systemd, test_load::RunningLoad},
    record::{choices_file::ChoicesFile, last_end, recorder::Recorder, update::Task},
};

/// What the event loop is made of.
pub(crate) struct EventLoop {
    /// Works everything out.
    pub(crate) engine: Engine,
    /// The time.
    pub(crate) clock: Clock,
    /// What happens.
    pub(crate) events: Receiver<Event>,
    /// Where the pages look.
    pub(crate) show: watch::Sender<Arc<Snapshot>>,
    /// Where tasks for the card go; `None` where nothing is kept.
    pub(crate) tasks: Option<Sender<Task>>,
    /// Whether a contact log is watched.
    pub(crate) watches_log: bool,
    /// What warns besides the page.
    pub(crate) alerts: Option<Alerts>,
    /// What systemd hears.
    pub(crate) systemd: Systemd,
    /// Frees the sampling from a sensor that hangs.
    pub(crate) free: Box<dyn FnMut() -> bool + Send>,
    /// This boot.
    pub(crate) boot_id: Option<String>,
    /// Why choices are not kept, or why nothing can be.
    pub(crate) trouble: Option<String>,
    /// The record; `None` where nothing is kept.
    pub(crate) record: Option<RecordSession>,
    /// Where the pages look for how the record is doing.
    pub(crate) record_status: watch::Sender<Arc<RecordStatus>>,
    /// What it remembers from turn to turn.
    pub(crate) state: LoopState,
}

/// What the event loop remembers from turn to turn besides the engine.
pub(crate) struct LoopState {
    /// When the choices were written last.
    pub(crate) written: Mono,
    /// Whether the wall clock was believed then.
    pub(crate) believed: bool,
    /// When the last sweep came.
    pub(crate) last_sweep: Mono,
    /// Whether what was chosen could not be put on the card.
    pub(crate) unkept: bool,
    /// Whether the silence since was said.
    pub(crate) silent: bool,
    /// What the journal heard.
    pub(crate) journal: Journal,
    /// How the record was doing.
    pub(crate) record: RecordState,
}

/// What the event loop holds of the record.
pub(crate) struct RecordSession {
    /// Makes the entries.
    pub(crate) recorder: Recorder,
    /// Reads the record.
    pub(crate) reader: history::Reader,
    /// What is known of the last end, until the first sweep.
    pub(crate) last_end: last_end::Start,
    /// The test that was on before the start: its load.
    pub(crate) test: Option<TestLoad>,
    /// Whether a tap on a phone may set the clock.
    pub(crate) may_set_clock: bool,
    /// When the record was opened.
    pub(crate) opened: Mono,
    /// The phone's last word.
    pub(crate) heard: Option<Heard>,
    /// The load of the test that is on.
    pub(crate) load: Option<RunningLoad>,
    /// Banks of the settings, always offered unless forgotten.
    pub(crate) own_banks: Vec<BankSpec>,
}

impl LoopState {
    /// At the start.
    fn new(clock: &Clock) -> Self {
        let now = clock.mono();
        Self {
            written: now,
            believed: clock.is_believed(),
            last_sweep: now,
            unkept: false,
            silent: false,
            journal: Journal::default(),
            record: RecordState::default(),
        }
    }
}

impl EventLoop {
    /// One that keeps nothing and warns nobody yet.
    pub(crate) fn new(
        engine: Engine,
        clock: Clock,
        events: Receiver<Event>,
        show: watch::Sender<Arc<Snapshot>>,
    ) -> Self {
        Self {
            engine,
            state: LoopState::new(&clock),
            clock,
            events,
            show,
            tasks: None,
            watches_log: false,
            alerts: None,
            systemd: Systemd::from_environment(),
            free: Box::new(|| false),
            boot_id: None,
            trouble: None,
            record: None,
            record_status: watch::channel(Arc::default()).0,
        }
    }

    /// This moment; in a demonstration, whose clock runs ahead of what is taken in, that of the
    /// last sweep.
    pub(crate) fn moment(&self) -> Stamp {
        let shown = self.show.borrow();
        if shown.demo.is_some() { shown.at } else { self.clock.stamp() }
    }

    /// Hands what must survive to the record worker, who answers when it is on the card.
    pub(crate) fn write_choices(&mut self, answer: Option<oneshot::Sender<Result<Kept, Refusal>>>) {
        self.state.written = self.clock.mono();
        let choices = ChoicesFile::from_choices(
            &self.engine.choices(),
            self.boot_id.as_deref(),
            self.clock.is_believed(),
        );
        let waiting = match &self.tasks {
            Some(tasks) => {
                let task = Task::WriteChoices { choices: Box::new(choices), answer };
                tasks.send(task).err().and_then(|task| match task.0 {
                    Task::WriteChoices { answer, .. } => answer,
                    _ => None,
                })
            }
            None => answer,
        };
        if let Some(answer) = waiting {
            // Carried out, though it will not survive a restart.
            let _ = answer.send(Ok(self.without_a_card()));
        }
    }

    /// Where a change is that nobody can put on a card; a demonstration promised no card.
    pub(crate) fn without_a_card(&self) -> Kept {
        if self.show.borrow().demo.is_some() { Kept::OnCard } else { Kept::InMemory }
    }

    /// Lets the record worker record the run-downs that are due and tell what the record teaches.
    pub(crate) fn update_learning(&self) {
        if let Some(tasks) = &self.tasks {
            // A record worker that has gone has ended the process.
            let _ = tasks.send(Task::UpdateLearning);
        }
    }
}
