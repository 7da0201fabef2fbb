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
/// Upper limit of those who are not paired, in all; beyond it they are told to come back.
const STRANGERS: usize = 16;
/// An asker who is not paired rests this many times as long as its reading took, so that nobody keeps
/// the processor busy by asking on and on; never longer than that.
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
        Ok(Turn {
            own: Some(own),
            _shared: (one, stranger),
            rests: !paired,
            began,
            clock: Arc::clone(clock),
        })
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

/// A turn, for as long as it is held; then the asker rests.
pub(crate) struct Turn {
    own: Option<OwnedSemaphorePermit>,
    _shared: (OwnedSemaphorePermit, Option<OwnedSemaphorePermit>),
    rests: bool,
    began: Mono,
    clock: Arc<dyn Clock>,
}

impl Drop for Turn {
    fn drop(&mut self) {
        let took = self.clock.stamp().mono.since(self.began);
        let rest = took.saturating_mul(REST).min(LONGEST_REST);
        if let (Some(own), Ok(runtime), true) = (self.own.take(), Handle::try_current(), self.rests)
        {
            runtime.spawn(async move {
                sleep(rest).await;
                drop(own);
            });
        }
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
    async fn a_stranger_rests_for_thrice_its_reading_and_nobody_else_does() {
        let (turns, hand) = (Turns::default(), Arc::new(Hand(Mutex::new(5.0))));
        let clock: Arc<dyn Clock> = Arc::clone(&hand) as _;
        let group = |last| Group::V4(Ipv4Addr::new(192, 0, 2, last));
        let within = async |asker, ms| {
            let turn = timeout(Duration::from_millis(ms), turns.turn(asker, &clock));
            turn.await.ok().map(Result::unwrap)
        };
        for (asker, rests) in [((group(1), false), true), ((group(2), true), false)] {
            let turn = within(asker, 1).await.unwrap();
            *hand.0.lock().unwrap() += 0.1;
            drop(turn);
            assert_eq!(within(asker, 290).await.is_none(), rests, "{asker:?}");
            assert!(within((group(3), false), 1).await.is_some(), "another need not rest");
            assert!(within(asker, 20).await.is_some(), "{asker:?}");
        }
    }
}
