//! The sampler: one thread that asks every source on whole seconds of boot time, and looks more
//! often at those that only give snapshots.

use std::{
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
        mpsc::{SyncSender, TrySendError},
    },
    time::Duration,
};

use probe::Sweeper;
use reckon::{reading::Sweep, time::Mono};

use crate::{
    event_loop::event::Event,
    host::{clock::Clock, footprint::FootprintMeter},
};

const SECOND: Duration = Duration::from_secs(1);
/// More extra looks than this in a second are a mistake, not a wish.
const MOST_LOOKS: u32 = 50;
/// How often our own footprint is taken.
const COSTS_EVERY_S: u64 = 60;

/// What the sampler needs, besides the sweeper.
#[derive(Clone)]
pub(crate) struct Sampler {
    /// The time.
    pub(crate) clock: Clock,
    /// Where sweeps go.
    pub(crate) events: SyncSender<Event>,
    /// Sweeps that came too late or not at all; goes on when another sampler takes over.
    pub(crate) missed: Arc<AtomicU64>,
}

impl Sampler {
    /// Sweeps until nobody listens any more, or another sweeper has taken over.
    pub(crate) fn run(&self, mut sweeper: Sweeper) {
        let mut footprint = FootprintMeter::default();
        let mut next = whole_second_after(self.clock.mono());
        for turn in 0_u64.. {
            look_until(&mut sweeper, &self.clock, next);
            self.clock.sleep_until(next);
            let sweep = sweeper.sweep(self.clock.mono());
            if sweeper.retired() || !self.hand_over(sweep) {
                return;
            }
            if turn.is_multiple_of(COSTS_EVERY_S) {
                // A full queue loses a footprint that nobody will miss.
                let _ =
                    self.events.try_send(Event::Footprint(footprint.measure(self.clock.mono())));
            }
            let after = whole_second_after(self.clock.mono());
            self.miss(after.since(next).as_secs().saturating_sub(1));
            next = after;
        }
    }

    /// Whether anybody still listens.
    fn hand_over(&self, sweep: Sweep) -> bool {
        if sweep.clock_synchronised == Ok(true) {
            self.clock.was_synchronised();
        }
        let missed = self.missed.load(Ordering::Relaxed);
        let event = Event::Sweep { sweep: Box::new(sweep), at: self.clock.stamp(), missed };
        match self.events.try_send(event) {
            Ok(()) => true,
            // The event loop is busy; the next sweep will do, and the page says that one is missing.
            Err(TrySendError::Full(_)) => {
                self.miss(1);
                true
            }
            Err(TrySendError::Disconnected(_)) => false,
        }
    }

    fn miss(&self, sweeps: u64) {
        if sweeps > 0 {
            self.missed.fetch_add(sweeps, Ordering::Relaxed);
        }
    }
}

fn look_until(sweeper: &mut Sweeper, clock: &Clock, next: Mono) {
    for _ in 0..MOST_LOOKS {
        match sweeper.next_sample(clock.mono()) {
            Some(look) if look < next => {
                clock.sleep_until(look);
                sweeper.sample();
            }
            _ => return,
        }
    }
}

fn whole_second_after(at: Mono) -> Mono {
    Mono::since_boot(Duration::from_secs(at.span().as_secs())).plus(SECOND)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn deadlines_are_whole_seconds() {
        assert_eq!(whole_second_after(Mono::at_s(4.0)), Mono::at_s(5.0));
        assert_eq!(whole_second_after(Mono::at_s(4.999)), Mono::at_s(5.0));
        assert_eq!(whole_second_after(Mono::BOOT), Mono::at_s(1.0));
    }
}
