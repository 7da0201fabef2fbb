//! Takes notifications in and hands each to every channel; none waits for another.

use std::{future::Future, path::Path, pin::Pin, time::Duration};

use reckon::words;

use tokio::{
    sync::mpsc::{self, error::TrySendError},
    task::{JoinHandle, spawn_blocking},
    time::{sleep, timeout},
};

use crate::{
    Now,
    command::{Command, CommandEnd},
    payload::Notification,
    queue::{Attempt, Fate, Queue},
    webhook::Webhook,
};

/// Notifications on their way to one worker.
const ROOM: usize = 64;

/// Something that runs until the dispatcher is dropped. Whoever owns the runtime starts it.
pub type Worker = Pin<Box<dyn Future<Output = ()> + Send>>;

/// How a try of one channel went, for `outlast check --alarms`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChannelTest {
    /// Which channel.
    pub channel: String,
    /// Whether a warning would arrive.
    pub well: bool,
    /// What happened, a sentence.
    pub said: String,
}

/// Where notifications go in.
#[derive(Clone, Debug)]
pub struct Dispatcher {
    channels: Vec<mpsc::Sender<Notification>>,
    commands: Vec<Command>,
}

impl Dispatcher {
    /// A dispatcher and the workers that do the carrying. What waits for a webhook is kept in
    /// `state`, where there is one.
    #[must_use]
    pub fn new(
        webhooks: Vec<Webhook>,
        commands: Vec<Command>,
        state: Option<&Path>,
        now: &Now,
    ) -> (Self, Vec<Worker>) {
        let (mut channels, mut workers) = (Vec::new(), Vec::<Worker>::new());
        for (place, webhook) in webhooks.into_iter().enumerate() {
            let (channel, notifications) = mpsc::channel(ROOM);
            let file = state.map(|state| state.join(format!("letters-{place}.json")));
            let queue = Queue::spooled_in(file).retrying_after(webhook.first_wait());
            channels.push(channel);
            workers.push(Box::pin(deliver(webhook, queue, notifications, now.clone())));
        }
        for command in &commands {
            let (channel, notifications) = mpsc::channel(ROOM);
            channels.push(channel);
            workers.push(Box::pin(carry_out(command.clone(), notifications)));
        }
        (Self { channels, commands }, workers)
    }

    /// Hands a notification to every channel. Never waits; a channel that has no room loses it,
    /// which the journal is told.
    pub fn send(&self, notification: &Notification) {
        for channel in &self.channels {
            if let Err(TrySendError::Full(lost)) = channel.try_send(notification.clone()) {
                tracing::warn!(
                    about = %lost.about,
                    "{}", words::warning::lost(&lost.text));
            }
        }
    }

    /// Runs every command for this notification and waits for all of them, each within its time
    /// limit and all within `limit`: the last chance to save before the board is switched off.
    pub async fn save(&self, notification: &Notification, limit: Duration) {
        let mut running = tokio::task::JoinSet::new();
        for command in self.commands.clone() {
            let notification = notification.clone();
            running.spawn(async move {
                let ran = command.run(&notification).await;
                log_end(&command, &ran);
            });
        }
        let all = async { while running.join_next().await.is_some() {} };
        if timeout(limit, all).await.is_err() {
            tracing::warn!("{}", words::warning::not_all_saved(&limit.as_secs()));
        }
    }

    /// Tries each channel once, without retries, and says what happened.
    pub async fn test_all(
        webhooks: &[Webhook],
        commands: &[Command],
        notification: &Notification,
        now: &Now,
    ) -> Vec<ChannelTest> {
        let mut tried = Vec::new();
        for webhook in webhooks {
            let outcome = webhook.post(&mut None, notification, now).await;
            tried.push(test_of_webhook(webhook, outcome));
        }
        for command in commands {
            tried.push(test_of_command(command, &command.run(notification).await));
        }
        tried
    }
}

fn test_of_webhook(webhook: &Webhook, outcome: Attempt) -> ChannelTest {
    use crate::response::ResponseMeaning;
    let (well, said) = match outcome {
        Attempt::Answered(ResponseMeaning::Taken) => (true, words::warning::ACCEPTED.to_owned()),
        Attempt::Answered(ResponseMeaning::Again { .. }) => {
            (false, words::warning::CANNOT_JUST_NOW.to_owned())
        }
        Attempt::Answered(ResponseMeaning::Never { why }) => (false, sentence(&why)),
        Attempt::Unanswered(why) => (false, sentence(&why)),
    };
    ChannelTest { channel: webhook.title(), well, said }
}

fn test_of_command(command: &Command, ran: &CommandEnd) -> ChannelTest {
    let well = matches!(ran, CommandEnd::Well { .. });
    ChannelTest { channel: command.title(), well, said: sentence(&outcome_of(command, ran)) }
}

fn outcome_of(command: &Command, ran: &CommandEnd) -> String {
    let printed = |text: &str| {
        if text.is_empty() { String::new() } else { format!("; it printed: {text}") }
    };
    match ran {
        CommandEnd::Well { printed: text } => words::warning::ended_well(&printed(text)),
        CommandEnd::Badly { how, printed: text } => format!("{how}{}", printed(text)),
        CommandEnd::TooLong => words::warning::over_its_time(&command.limit().as_secs()),
        CommandEnd::NotStarted { why } => words::warning::not_started(&why),
    }
}

/// Begins large and ends in a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str().trim_end_matches('.'))
}

fn log_end(command: &Command, ran: &CommandEnd) {
    let (title, outcome) = (command.title(), outcome_of(command, ran));
    if matches!(ran, CommandEnd::Well { .. }) {
        tracing::info!(command = %title, "told {title}: {outcome}");
    } else {
        tracing::warn!(command = %title, "{}", words::warning::told(&title, &outcome));
    }
}

/// One command after the other: two at once could fight over what they change.
async fn carry_out(command: Command, mut notifications: mpsc::Receiver<Notification>) {
    while let Some(notification) = notifications.recv().await {
        let ran = command.run(&notification).await;
        log_end(&command, &ran);
    }
}

/// Sends the deliveries of one webhook, and sleeps while there is none. The list of those that wait
/// is written beside it, one writing at a time: a slow card delays neither a warning nor a page.
async fn deliver(
    webhook: Webhook,
    mut queue: Queue,
    mut notifications: mpsc::Receiver<Notification>,
    now: Now,
) {
    let (mut client, mut writing) = (None, None::<JoinHandle<()>>);
    loop {
        if writing.is_none() {
            writing = queue.spool().map(|file| spawn_blocking(|| file.write()));
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
            notification = notifications.recv() => {
                let Some(notification) = notification else { break };
                if let Some(lost) = queue.push(notification, now().mono) {
                    tracing::warn!(
                        webhook = %webhook.title(),
                        "{}", words::warning::too_many_wait(&webhook.title(), &lost.text));
                }
            }
            () = waiting => {
                let Some(notification) = queue.first().cloned() else { continue };
                let outcome = webhook.post(&mut client, &notification, &now).await;
                if let Some(fate) = queue.tried(&notification.id, outcome, now().mono) {
                    log_fate(&webhook, &fate);
                }
            }
            () = written => writing = None,
        }
    }
    if let Some(task) = writing {
        let _ = task.await;
    }
    if let Some(file) = queue.spool() {
        let _ = spawn_blocking(|| file.write()).await;
    }
}

/// The journal hears of the first failure, of the delivery after one, and of giving up.
fn log_fate(webhook: &Webhook, fate: &Fate) {
    let title = webhook.title();
    match fate {
        Fate::Taken { tries: 1 } => tracing::info!(webhook = %title, "told {title}"),
        Fate::Taken { tries } => {
            tracing::info!(webhook = %title, tries, "{}", words::warning::delivered(&title, &tries));
        }
        Fate::Waits { tries: 1, wait, why } => tracing::warn!(
            webhook = %title,
            "{}", words::warning::not_delivered(&title, &why, &wait.as_secs())),
        Fate::Waits { .. } => {}
        Fate::GivenUp { tries, why, text } => tracing::error!(
            webhook = %title,
            tries,
            "{}", words::warning::given_up(&title, &why, &text)),
    }
}
