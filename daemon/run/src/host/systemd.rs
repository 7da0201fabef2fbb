//! The words that systemd hears: ready, alive, stopping, and how things stand in a sentence.

use std::time::Duration;

use reckon::{time::Mono, words};
use sd_notify::NotifyState;

/// How often the sentence may change: it is for `systemctl status`, not for a display.
const STATUS_EVERY: Duration = Duration::from_mins(1);

/// Says the words, if systemd listens.
pub(crate) struct Systemd {
    listened_to: bool,
    alive_every: Option<Duration>,
    alive_at: Mono,
    status_at: Option<Mono>,
}

impl Systemd {
    /// As the environment tells: sd_notify(3).
    pub(crate) fn from_environment() -> Self {
        let listened_to = std::env::var_os("NOTIFY_SOCKET").is_some();
        // Three words within the time limit: one may get lost in a busy minute.
        let alive_every =
            sd_notify::watchdog_enabled().filter(|_| listened_to).map(|limit| limit / 3);
        Self { listened_to, alive_every, alive_at: Mono::BOOT, status_at: None }
    }

    /// Everything runs.
    pub(crate) fn ready(&self) {
        self.say(&[NotifyState::Ready]);
    }

    /// It is going to end.
    pub(crate) fn stopping(&self) {
        self.say(&[NotifyState::Stopping]);
    }

    /// The loop still turns.
    pub(crate) fn alive(&mut self, at: Mono) {
        if let Some(every) = self.alive_every
            && at.since(self.alive_at) >= every
        {
            self.alive_at = at;
            self.say(&[NotifyState::Watchdog]);
        }
    }

    /// How things stand; asked for once a minute, and only if somebody listens.
    pub(crate) fn status(&mut self, at: Mono, sentence: impl FnOnce() -> String) {
        let due = self.status_at.is_none_or(|last| at.since(last) >= STATUS_EVERY);
        if self.listened_to && due {
            self.status_at = Some(at);
            self.say(&[NotifyState::Status(&sentence())]);
        }
    }

    fn say(&self, words: &[NotifyState<'_>]) {
        if self.listened_to
            && let Err(why) = sd_notify::notify(words)
        {
            tracing::warn!("{}", words::journal::systemd_untold(&why));
        }
    }
}
