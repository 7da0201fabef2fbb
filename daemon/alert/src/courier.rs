//! Takes notes in and hands each to every way out; none waits for another.

use std::{future::Future, path::Path, pin::Pin, time::Duration};

use tokio::{
    sync::mpsc::{self, error::TrySendError},
    task::{JoinHandle, spawn_blocking},
    time::{sleep, timeout},
};

use crate::{
    Now,
    command::{Command, Ran},
    post::Note,
    queue::{Fate, Outcome, Queue},
    webhook::Webhook,
};

/// Notes on their way to one worker.
const ROOM: usize = 64;

/// Something that runs until the courier is dropped. Whoever owns the runtime starts it.
pub type Worker = Pin<Box<dyn Future<Output = ()> + Send>>;

/// How a try of one way out went, for `outlast check --alarms`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tried {
    /// Which way out.
    pub way: String,
    /// Whether a warning would arrive.
    pub well: bool,
    /// What happened, a sentence.
    pub said: String,
}

/// Where notes go in.
#[derive(Clone, Debug)]
pub struct Courier {
    ways: Vec<mpsc::Sender<Note>>,
    commands: Vec<Command>,
}

impl Courier {
    /// A courier and the workers that do the carrying. What waits for a webhook is kept in
    /// `state`, where there is one.
    #[must_use]
    pub fn new(
        webhooks: Vec<Webhook>,
        commands: Vec<Command>,
        state: Option<&Path>,
        now: &Now,
    ) -> (Self, Vec<Worker>) {
        let (mut ways, mut workers) = (Vec::new(), Vec::<Worker>::new());
        for (place, webhook) in webhooks.into_iter().enumerate() {
            let (way, notes) = mpsc::channel(ROOM);
            let file = state.map(|state| state.join(format!("letters-{place}.json")));
            let queue = Queue::kept_in(file).retrying_after(webhook.first_wait());
            ways.push(way);
            workers.push(Box::pin(deliver(webhook, queue, notes, now.clone())));
        }
        for command in &commands {
            let (way, notes) = mpsc::channel(ROOM);
            ways.push(way);
            workers.push(Box::pin(carry_out(command.clone(), notes)));
        }
        (Self { ways, commands }, workers)
    }

    /// Hands a note to every way out. Never waits; a way that has no room loses it, which is said.
    pub fn post(&self, note: &Note) {
        for way in &self.ways {
            if let Err(TrySendError::Full(lost)) = way.try_send(note.clone()) {
                tracing::warn!(
                    about = %lost.about,
                    "a warning is lost: a command or web server is too far behind. {}",
                    lost.text
                );
            }
        }
    }

    /// Runs every command for this note and waits for all of them, each within its time limit and
    /// all within `limit`: the last chance to save before the board is switched off.
    pub async fn save(&self, note: &Note, limit: Duration) {
        let mut running = tokio::task::JoinSet::new();
        for command in self.commands.clone() {
            let note = note.clone();
            running.spawn(async move {
                let ran = command.run(&note).await;
                said(&command, &ran);
            });
        }
        let all = async { while running.join_next().await.is_some() {} };
        if timeout(limit, all).await.is_err() {
            tracing::warn!("not every command has saved within {} s", limit.as_secs());
        }
    }

    /// Tries each way out once, without retries, and says what happened.
    pub async fn try_all(
        webhooks: &[Webhook],
        commands: &[Command],
        note: &Note,
        now: &Now,
    ) -> Vec<Tried> {
        let mut tried = Vec::new();
        for webhook in webhooks {
            let outcome = webhook.post(&mut None, note, now).await;
            tried.push(tried_webhook(webhook, outcome));
        }
        for command in commands {
            tried.push(tried_command(command, &command.run(note).await));
        }
        tried
    }
}

fn tried_webhook(webhook: &Webhook, outcome: Outcome) -> Tried {
    use crate::answer::Judged;
    let (well, said) = match outcome {
        Outcome::Answered(Judged::Taken) => (true, "It took the message.".to_owned()),
        Outcome::Answered(Judged::Again { .. }) => {
            (false, "It answers, but cannot take a message just now.".to_owned())
        }
        Outcome::Answered(Judged::Never { why }) => (false, sentence(&why)),
        Outcome::Unanswered(why) => (false, sentence(&why)),
    };
    Tried { way: webhook.title(), well, said }
}

fn tried_command(command: &Command, ran: &Ran) -> Tried {
    let well = matches!(ran, Ran::Well { .. });
    Tried { way: command.title(), well, said: sentence(&outcome_of(command, ran)) }
}

fn outcome_of(command: &Command, ran: &Ran) -> String {
    let printed = |text: &str| {
        if text.is_empty() { String::new() } else { format!("; it printed: {text}") }
    };
    match ran {
        Ran::Well { printed: text } => format!("it ended well{}", printed(text)),
        Ran::Badly { how, printed: text } => format!("{how}{}", printed(text)),
        Ran::TooLong => {
            format!("it was stopped after {} s, its time limit", command.limit().as_secs())
        }
        Ran::NotStarted { why } => format!("it could not be started: {why}"),
    }
}

/// Begins large and ends in a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str().trim_end_matches('.'))
}

fn said(command: &Command, ran: &Ran) {
    let (title, outcome) = (command.title(), outcome_of(command, ran));
    if matches!(ran, Ran::Well { .. }) {
        tracing::info!(command = %title, "told {title}: {outcome}");
    } else {
        tracing::warn!(command = %title, "told {title} of a warning, and {outcome}");
    }
}

/// One command after the other: two at once could fight over what they change.
async fn carry_out(command: Command, mut notes: mpsc::Receiver<Note>) {
    while let Some(note) = notes.recv().await {
        let ran = command.run(&note).await;
        said(&command, &ran);
    }
}

/// Sends the letters of one webhook, and sleeps while there is none. The list of those that wait
/// is written beside it, one writing at a time: a slow card delays neither a warning nor a page.
async fn deliver(webhook: Webhook, mut queue: Queue, mut notes: mpsc::Receiver<Note>, now: Now) {
    let (mut client, mut writing) = (None, None::<JoinHandle<()>>);
    loop {
        if writing.is_none() {
            writing = queue.changed_list().map(|kept| spawn_blocking(|| kept.write()));
        }
        let written = async {
            match &mut writing {
                // One that broke down has said so.
                Some(task) => drop(task.await),
                None => std::future::pending().await,
            }
        };
        let due = queue.wait(now().mono);
        let waiting = async {
            match due {
                Some(wait) => sleep(wait).await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            note = notes.recv() => {
                let Some(note) = note else { break };
                if let Some(lost) = queue.push(note, now().mono) {
                    tracing::warn!(
                        webhook = %webhook.title(),
                        "too many warnings wait for {}; this one is given up: {}",
                        webhook.title(), lost.text
                    );
                }
            }
            () = waiting => {
                let Some(note) = queue.first().cloned() else { continue };
                let outcome = webhook.post(&mut client, &note, &now).await;
                if let Some(fate) = queue.tried(&note.id, outcome, now().mono) {
                    tell(&webhook, &fate);
                }
            }
            () = written => writing = None,
        }
    }
    if let Some(task) = writing {
        let _ = task.await;
    }
    if let Some(kept) = queue.changed_list() {
        let _ = spawn_blocking(|| kept.write()).await;
    }
}

/// The journal hears of the first failure, of the delivery after one, and of giving up.
fn tell(webhook: &Webhook, fate: &Fate) {
    let title = webhook.title();
    match fate {
        Fate::Taken { tries: 1 } => tracing::info!(webhook = %title, "told {title}"),
        Fate::Taken { tries } => {
            tracing::info!(webhook = %title, tries, "told {title}, at the {tries}th try");
        }
        Fate::Waits { tries: 1, wait, why } => tracing::warn!(
            webhook = %title,
            "a warning did not reach {title}: {why}. It is tried again in {} s, then ever more \
             slowly",
            wait.as_secs()
        ),
        Fate::Waits { .. } => {}
        Fate::GivenUp { tries, why, text } => tracing::error!(
            webhook = %title,
            tries,
            "a warning for {title} is given up: {why}. It said: {text}"
        ),
    }
}
