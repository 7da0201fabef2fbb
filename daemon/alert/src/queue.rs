//! Deliveries for one webhook, in order: tried, tried again with growing patience, given up aloud.
//!
//! The list is bounded and kept in a small file, so that a restart loses no warning. The waits are
//! fixed (no chance in them): one station's deliveries cannot crowd a server, and a fixed wait can be
//! tested.

use std::{
    collections::VecDeque,
    fs, io,
    io::Write,
    path::{Path, PathBuf},
    time::Duration,
};

use reckon::{time::Mono, words};
use serde::{Deserialize, Serialize};

use crate::{payload::Notification, response::ResponseMeaning};

/// Deliveries kept at most; then the least urgent and oldest goes.
const MOST: usize = 64;
/// First wait after a failure; it doubles from try to try.
pub(crate) const FIRST_WAIT: Duration = Duration::from_secs(5);
/// And never grows beyond this.
const LONGEST_WAIT: Duration = Duration::from_secs(600);
/// Tries after which a delivery is given up: about four hours.
const MOST_TRIES: u32 = 30;
/// An urgent delivery that arrives shortens a long wait to this.
const URGENT_WAIT: Duration = Duration::from_secs(20);

/// A notification on its way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Delivery {
    /// Named so in the files of earlier versions, too.
    #[serde(rename = "note")]
    notification: Notification,
    tries: u32,
}

/// How a try ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Attempt {
    /// Nobody answered, or not in time; why, for a person.
    Unanswered(String),
    /// Somebody answered, judged.
    Answered(ResponseMeaning),
}

/// What became of a delivery, for the journal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Fate {
    /// Taken, after so many tries.
    Taken { tries: u32 },
    /// It waits.
    Waits { tries: u32, wait: Duration, why: String },
    /// Given up.
    GivenUp { tries: u32, why: String, text: String },
}

/// The deliveries of one webhook.
#[derive(Clone, Debug)]
pub struct Queue {
    deliveries: VecDeque<Delivery>,
    not_before: Option<Mono>,
    asked_to_wait: bool,
    file: Option<PathBuf>,
    /// Since the list was last handed out to be written.
    changed: bool,
    first_wait: Duration,
}

impl Default for Queue {
    fn default() -> Self {
        Self {
            deliveries: VecDeque::new(),
            not_before: None,
            asked_to_wait: false,
            file: None,
            changed: false,
            first_wait: FIRST_WAIT,
        }
    }
}

impl Queue {
    /// The deliveries kept in this file by an earlier run; a file that cannot be read is set aside
    /// under another name and said.
    #[must_use]
    pub fn spooled_in(file: Option<PathBuf>) -> Self {
        let mut queue = Self { file, ..Self::default() };
        let Some(file) = &queue.file else { return queue };
        match fs::read(file) {
            Ok(bytes) => match serde_json::from_slice::<VecDeque<Delivery>>(&bytes) {
                Ok(deliveries) => {
                    queue.deliveries = deliveries;
                    queue.deliveries.truncate(MOST);
                }
                Err(why) => {
                    let aside = file.with_extension("unreadable");
                    tracing::warn!("{}", words::warning::queue_set_aside(&why, &aside.display()));
                    // If even that fails the file is overwritten by the next delivery.
                    let _ = fs::rename(file, aside);
                }
            },
            Err(why) if why.kind() == io::ErrorKind::NotFound => {}
            Err(why) => {
                tracing::warn!("{}", words::warning::queue_unreadable(&file.display(), &why));
            }
        }
        queue
    }

    /// The same with another wait after the first failure.
    #[must_use]
    pub(crate) fn retrying_after(self, first_wait: Duration) -> Self {
        Self { first_wait, ..self }
    }

    /// How many wait.
    #[must_use]
    pub fn len(&self) -> usize {
        self.deliveries.len()
    }

    /// Whether none waits.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.deliveries.is_empty()
    }

    /// One more. When there is no room the oldest that can wait goes, else the oldest; that one is
    /// given back, to be said.
    pub fn push(&mut self, notification: Notification, now: Mono) -> Option<Notification> {
        let crowded = self.deliveries.len() >= MOST;
        let goes = crowded
            .then(|| {
                self.deliveries
                    .iter()
                    .position(|delivery| !delivery.notification.urgent)
                    .unwrap_or(0)
            })
            .and_then(|place| self.deliveries.remove(place));
        if notification.urgent && !self.asked_to_wait {
            self.not_before = self.not_before.map(|at| at.min(now.plus(URGENT_WAIT)));
        }
        self.deliveries.push_back(Delivery { notification, tries: 0 });
        self.changed = true;
        goes.map(|delivery| delivery.notification)
    }

    /// How long until the first delivery is to be tried; `None` while there is none.
    #[must_use]
    pub fn wait(&self, now: Mono) -> Option<Duration> {
        self.deliveries.front()?;
        Some(self.not_before.map_or(Duration::ZERO, |at| at.since(now)))
    }

    /// The first delivery.
    #[must_use]
    pub fn first(&self) -> Option<&Notification> {
        self.deliveries.front().map(|delivery| &delivery.notification)
    }

    /// Notes how the try of the delivery with this id ended (another may be first by now, when there
    /// was no room).
    pub(crate) fn tried(&mut self, id: &str, outcome: Attempt, now: Mono) -> Option<Fate> {
        let delivery =
            self.deliveries.front_mut().filter(|delivery| delivery.notification.id == id)?;
        delivery.tries += 1;
        let tries = delivery.tries;
        let (why, after) = match outcome {
            Attempt::Answered(ResponseMeaning::Taken) => {
                return Some(self.done(Fate::Taken { tries }));
            }
            Attempt::Answered(ResponseMeaning::Never { why }) => {
                let text = delivery.notification.text.clone();
                return Some(self.done(Fate::GivenUp { tries, why, text }));
            }
            Attempt::Answered(ResponseMeaning::Again { after }) => {
                (words::warning::NOT_JUST_NOW.to_owned(), after)
            }
            Attempt::Unanswered(why) => (why, None),
        };
        if tries >= MOST_TRIES {
            let text = delivery.notification.text.clone();
            return Some(self.done(Fate::GivenUp { tries, why, text }));
        }
        let wait = after.unwrap_or_else(|| patience(self.first_wait, tries));
        self.not_before = Some(now.plus(wait));
        self.asked_to_wait = after.is_some();
        self.changed = true;
        Some(Fate::Waits { tries, wait, why })
    }

    fn done(&mut self, fate: Fate) -> Fate {
        self.deliveries.pop_front();
        (self.not_before, self.asked_to_wait) = (None, false);
        self.changed = true;
        fate
    }

    /// The list, to be written where a slow card delays nobody; `None` while it has not changed.
    pub(crate) fn spool(&mut self) -> Option<SpoolFile> {
        let file = self.file.clone().filter(|_| core::mem::take(&mut self.changed))?;
        let text = (!self.deliveries.is_empty()).then(|| serde_json::to_vec(&self.deliveries));
        Some(SpoolFile { file, text: text.transpose().map_err(io::Error::from) })
    }
}

/// A list on its way to the card.
pub(crate) struct SpoolFile {
    file: PathBuf,
    /// Nothing when none waits.
    text: io::Result<Option<Vec<u8>>>,
}

impl SpoolFile {
    /// Writes it, whole or not at all; blocks.
    pub(crate) fn write(self) {
        let written = self.text.and_then(|text| match text {
            Some(text) => write_whole(&self.file, &text),
            None => match fs::remove_file(&self.file) {
                Err(why) if why.kind() != io::ErrorKind::NotFound => Err(why),
                _ => Ok(()),
            },
        });
        if let Err(why) = written {
            tracing::warn!("{}", words::warning::queue_not_kept(&self.file.display(), &why));
        }
    }
}

/// The wait after so many tries: 5 s, 10 s, 20 s … 10 min.
fn patience(first: Duration, tries: u32) -> Duration {
    let doubled = first.saturating_mul(1 << tries.saturating_sub(1).min(16));
    doubled.min(LONGEST_WAIT)
}

/// Writes a file so that after a power cut there is the old one or the new one: to a second name,
/// to the card, then renamed, and the folder to the card (rename(2), fsync(2)).
pub(crate) fn write_whole(file: &Path, bytes: &[u8]) -> io::Result<()> {
    let fresh = file.with_extension("new");
    let mut out = fs::File::create(&fresh)?;
    out.write_all(bytes)?;
    out.sync_all()?;
    fs::rename(&fresh, file)?;
    if let Some(folder) = file.parent() {
        fs::File::open(folder)?.sync_all()?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn notification(k: u32, urgent: bool) -> Notification {
        Notification { urgent, ..Notification::test("Heron", &format!("{k}"), None, f64::from(k)) }
    }

    fn fail(queue: &mut Queue, now: Mono) -> Fate {
        let id = queue.first().unwrap().id.clone();
        queue.tried(&id, Attempt::Unanswered("nobody is there".to_owned()), now).unwrap()
    }

    #[test]
    fn patience_grows_and_ends() {
        let mut queue = Queue::default();
        assert_eq!(queue.wait(Mono::BOOT), None);
        queue.push(notification(1, false), Mono::BOOT);
        assert_eq!(queue.wait(Mono::BOOT), Some(Duration::ZERO));
        let (mut now, mut waits) = (Mono::BOOT, Vec::new());
        let given_up = loop {
            match fail(&mut queue, now) {
                Fate::Waits { wait, .. } => {
                    assert_eq!(queue.wait(now), Some(wait));
                    waits.push(wait.as_secs());
                    now = now.plus(wait);
                }
                other => break other,
            }
        };
        assert_eq!(waits[..8], [5, 10, 20, 40, 80, 160, 320, 600]);
        assert!(waits.windows(2).all(|two| two[0] <= two[1]));
        assert_eq!(waits.len(), 29);
        assert!((3 * 3600..5 * 3600).contains(&waits.iter().sum::<u64>()));
        assert!(matches!(given_up, Fate::GivenUp { tries: 30, .. }));
        assert!(queue.is_empty());
    }

    #[test]
    fn what_waits_survives_a_restart_and_a_broken_file_is_set_aside() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("letters-0.json");
        let mut queue = Queue::spooled_in(Some(file.clone()));
        for k in 0..3 {
            queue.push(notification(k, k == 1), Mono::BOOT);
        }
        fail(&mut queue, Mono::BOOT);
        queue.spool().unwrap().write();
        assert!(queue.spool().is_none(), "nothing has changed since");
        let mut again = Queue::spooled_in(Some(file.clone()));
        assert_eq!(again.deliveries, queue.deliveries);
        // Boot time begins anew, so the first delivery is tried at once.
        assert_eq!(again.wait(Mono::BOOT), Some(Duration::ZERO));
        for _ in 0..3 {
            let id = again.first().unwrap().id.clone();
            again.tried(&id, Attempt::Answered(ResponseMeaning::Taken), Mono::BOOT);
        }
        again.spool().unwrap().write();
        assert!(!file.exists(), "nothing waits, nothing lies about");
        fs::write(&file, b"[{\"note\":").unwrap();
        assert!(Queue::spooled_in(Some(file.clone())).is_empty());
        assert!(!file.exists() && folder.path().join("letters-0.unreadable").exists());
    }

    #[test]
    fn a_full_list_keeps_what_is_urgent_and_says_what_goes() {
        let mut queue = Queue::default();
        for k in 0..64 {
            assert_eq!(queue.push(notification(k, k != 5), Mono::BOOT), None);
        }
        assert_eq!(queue.push(notification(64, true), Mono::BOOT).unwrap().text, "5");
        assert_eq!(queue.push(notification(65, true), Mono::BOOT).unwrap().text, "0");
        assert_eq!(queue.len(), 64);
    }

    #[test]
    fn an_urgent_letter_shortens_the_wait_unless_the_server_asked_for_it() {
        let mut queue = Queue::default();
        queue.push(notification(1, false), Mono::BOOT);
        for _ in 0..9 {
            fail(&mut queue, Mono::BOOT);
        }
        assert_eq!(queue.wait(Mono::BOOT), Some(Duration::from_secs(600)));
        queue.push(notification(2, false), Mono::BOOT);
        assert_eq!(queue.wait(Mono::BOOT), Some(Duration::from_secs(600)));
        queue.push(notification(3, true), Mono::BOOT);
        assert_eq!(queue.wait(Mono::BOOT), Some(Duration::from_secs(20)));
        let id = queue.first().unwrap().id.clone();
        let after = Some(Duration::from_secs(300));
        queue.tried(&id, Attempt::Answered(ResponseMeaning::Again { after }), Mono::BOOT);
        queue.push(notification(4, true), Mono::BOOT);
        assert_eq!(queue.wait(Mono::BOOT), Some(Duration::from_secs(300)));
    }
}
