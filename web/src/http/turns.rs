//! Whose turn it is to read the record. A reading takes the bank's energy and the card's time: each asker
//! has one at a time, all who are not paired have one between them, and of two at once one is kept for
//! phones that are.

use std::{
    collections::HashMap,
    sync::{Arc, Mutex, PoisonError},
    time::Duration,
};

use reckon::{time::Mono, words};
use tokio::{
    runtime::Handle,
    sync::{OwnedSemaphorePermit, Semaphore},
    time::sleep,
};

use crate::{
    http::{
        group::Group,
        problem::{Problem, busy},
    },
    record::Clock,
};

/// Upper limit of readings at once.
const AT_ONCE: usize = 2;
/// Of these, the last is kept for phones that are paired.
const FOR_ALL: usize = AT_ONCE - 1;
/// Upper limit of an asker's requests that wait or are answered: a browser opens six connections to a
/// host at most (common practice, no source).
const EACH: usize = 6;
/// Upper limit of those who wait and are not paired, in all; beyond it they are told to come back.
const STRANGERS: usize = 16;
/// After a reading for one who is not paired, all of them rest this many times as long as it took, so
/// that a crowd that asks on and on keeps a quarter of a core busy: more only where one reading takes so
/// long that the longest rest is no three times as long.
const REST: u32 = 3;
const LONGEST_REST: Duration = Duration::from_secs(2);

/// Who asks, and whether paired.
type Asker = (Group, bool);

/// Who reads, and who waits.
pub(crate) struct Turns {
    all: Arc<Semaphore>,
    strangers: Arc<Semaphore>,
    line: Arc<Semaphore>,
    own: Mutex<HashMap<Asker, Arc<Semaphore>>>,
}

impl Default for Turns {
    fn default() -> Self {
        let of = |count| Arc::new(Semaphore::new(count));
        let (all, strangers, line) = (of(AT_ONCE), of(FOR_ALL), of(STRANGERS));
        Self { all, strangers, line, own: Mutex::default() }
    }
}

impl Turns {
    /// What strangers take to read, one at a time.
    pub(crate) fn of_strangers(&self) -> Arc<Semaphore> {
        Arc::clone(&self.strangers)
    }

    /// Waits for a turn.
    pub(crate) async fn turn(&self, asker: Asker, clock: &Arc<dyn Clock>) -> Result<Turn, Problem> {
        let crowded = || busy(words::refusal::TOO_MANY_READERS);
        let paired = asker.1;
        let own = self.own(asker).ok_or_else(crowded)?;
        let line =
            if paired { None } else { Some(self.line.try_acquire().map_err(|_| crowded())?) };
        let taken = async |of: Arc<Semaphore>| of.acquire_owned().await.map_err(|_| crowded());
        let own = taken(own).await?;
        let stranger = if paired { None } else { Some(taken(Arc::clone(&self.strangers)).await?) };
        let one = taken(Arc::clone(&self.all)).await?;
        drop(line);
        let began = clock.stamp().mono;
        let clock = Arc::clone(clock);
        Ok(Turn { _one: one, own: Some((own, stranger)), began, clock })
    }

    /// What an asker's own requests wait for; `None` when too many do already.
    fn own(&self, asker: Asker) -> Option<Arc<Semaphore>> {
        let mut all = self.own.lock().unwrap_or_else(PoisonError::into_inner);
        all.retain(|_, own| Arc::strong_count(own) > 1);
        let own = all.entry(asker).or_insert_with(|| Arc::new(Semaphore::new(1)));
        // One is the map's.
        (Arc::strong_count(own) <= EACH).then(|| Arc::clone(own))
    }
}

/// A turn, for as long as it is held; then strangers rest.
pub(crate) struct Turn {
    _one: OwnedSemaphorePermit,
    /// The asker's own, and the strangers' if it is one.
    own: Option<(OwnedSemaphorePermit, Option<OwnedSemaphorePermit>)>,
    began: Mono,
    clock: Arc<dyn Clock>,
}

impl Drop for Turn {
    fn drop(&mut self) {
        if let Some((own, Some(stranger))) = self.own.take() {
            let took = self.clock.stamp().mono.since(self.began);
            rest(std::future::ready((own, stranger)), took, LONGEST_REST);
        }
    }
}

/// Keeps permits, once they are had, for as long as those rest whose reading took so long.
pub(crate) fn rest<P: Send + 'static>(
    permits: impl Future<Output = P> + Send + 'static,
    took: Duration,
    longest: Duration,
) {
    // Without a runtime the program ends.
    if let Ok(runtime) = Handle::try_current() {
        runtime.spawn(async move {
            let permits = permits.await;
            sleep(took.saturating_mul(REST).min(longest)).await;
            drop(permits);
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use reckon::time::{Stamp, Trust, Wall};
    use std::net::Ipv4Addr;
    use tokio::time::timeout;

    /// A clock that is set by hand, s.
    struct Hand(Mutex<f64>);

    impl Clock for Hand {
        fn stamp(&self) -> Stamp {
            let mono = Mono::at_s(*self.0.lock().unwrap());
            let wall = Wall::from_unix_ms(0);
            Stamp { mono, wall, trust: Trust::Synchronised, utc_offset_s: 0 }
        }
    }

    #[tokio::test(start_paused = true)]
    async fn after_a_strangers_reading_strangers_rest_for_thrice_as_long_and_nobody_else() {
        let (turns, hand) = (Turns::default(), Arc::new(Hand(Mutex::new(5.0))));
        let clock: Arc<dyn Clock> = Arc::clone(&hand) as _;
        let group = |last| Group::V4(Ipv4Addr::new(192, 0, 2, last));
        let within = async |asker, ms| {
            let turn = timeout(Duration::from_millis(ms), turns.turn(asker, &clock));
            turn.await.ok().map(Result::unwrap)
        };
        let (stranger, paired) = ((group(1), false), (group(2), true));
        for asker in [paired, stranger] {
            let turn = within(asker, 1).await.unwrap();
            *hand.0.lock().unwrap() += 0.1;
            drop(turn);
            assert!(within(paired, 1).await.is_some(), "a paired phone need not rest");
        }
        assert!(within(stranger, 140).await.is_none(), "the asker");
        assert!(within((group(3), false), 140).await.is_none(), "a crowd is no better");
        assert!(within((group(3), false), 30).await.is_some(), "300 ms are over");
    }
}
