//! The sampler: one thread that asks every source once in every whole second of boot time, and looks
//! more often at those that only give snapshots.
//!
//! Where a source gives instants, the moment of the look wanders over the second: always on the whole
//! second it would beat with slots, decoders and whatever else keeps whole seconds. A sweep belongs
//! to its whole second all the same, so that each counts as one second.

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
/// A sweep that takes this much longer than its second costs the next one its place.
const GRACE: Duration = Duration::from_millis(500);
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
            let look = next.plus(moment_within(turn, sweeper.wander()));
            look_until(&mut sweeper, &self.clock, look);
            self.clock.sleep_until(look);
            let began = self.clock.mono();
            let mut sweep = sweeper.sweep(began);
            sweep.at = next.max(whole_second_of(began));
            if sweeper.retired() || !self.hand_over(sweep) {
                return;
            }
            if turn.is_multiple_of(COSTS_EVERY_S) {
                // A full queue loses a footprint that nobody will miss.
                let _ =
                    self.events.try_send(Event::Footprint(footprint.measure(self.clock.mono())));
            }
            let after = second_after(next, self.clock.mono());
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

fn whole_second_of(at: Mono) -> Mono {
    Mono::since_boot(Duration::from_secs(at.span().as_secs()))
}

fn whole_second_after(at: Mono) -> Mono {
    whole_second_of(at).plus(SECOND)
}

/// The second after this one, or the next that is still to come.
fn second_after(this: Mono, now: Mono) -> Mono {
    let next = this.plus(SECOND);
    if now < next.plus(GRACE) { next } else { whole_second_after(now) }
}

/// When to look within a second: multiples of the golden section spread over it more evenly than any
/// others, and whatever comes back after so many whole seconds meets all of them in turn. Source:
/// Kuipers and Niederreiter, Uniform Distribution of Sequences, 1974, chapter 2, section 3.
fn moment_within(turn: u64, wander: Duration) -> Duration {
    // The section's fraction in units of 2^-64; multiples run over of themselves.
    let fraction = turn.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 32;
    let nanos = u64::try_from(wander.as_nanos()).unwrap_or(0);
    Duration::from_nanos((nanos.saturating_mul(fraction)) >> 32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn deadlines_are_whole_seconds() {
        assert_eq!(whole_second_after(Mono::at_s(4.0)), Mono::at_s(5.0));
        assert_eq!(whole_second_after(Mono::at_s(4.999)), Mono::at_s(5.0));
        assert_eq!(whole_second_after(Mono::BOOT), Mono::at_s(1.0));
        // A look late in its second, or one that takes its time, costs the next second nothing.
        assert_eq!(second_after(Mono::at_s(4.0), Mono::at_s(4.97)), Mono::at_s(5.0));
        assert_eq!(second_after(Mono::at_s(4.0), Mono::at_s(5.4)), Mono::at_s(5.0));
        assert_eq!(second_after(Mono::at_s(4.0), Mono::at_s(6.6)), Mono::at_s(7.0));
    }

    /// The share of six hours' looks that meet the key down, against the share of the time that it is.
    fn met(slot_s: f64, of: u32, begins_s: f64, lasts_s: f64, wander: Duration) -> f64 {
        let down = |at_s: f64| {
            let into_s = at_s.rem_euclid(slot_s * f64::from(of)) - begins_s;
            (0.0..lasts_s).contains(&into_s)
        };
        let seconds = 6 * 3600_u32;
        let looks = (0..seconds).filter(|second| {
            let moment = moment_within(u64::from(*second), wander);
            down(f64::from(*second) + moment.as_secs_f64())
        });
        let share = f64::from(u32::try_from(looks.count()).unwrap()) / f64::from(seconds);
        share / (lasts_s / (slot_s * f64::from(of))) - 1.0
    }

    /// Slots of 7.5, 15, 60 and 120 s with their times on the air (QEX Jul/Aug 2020; the modes' user
    /// guide), every second one sent, some beginning a fraction off the whole second.
    #[test]
    fn looks_that_wander_meet_every_part_of_a_slot_as_often_as_it_lasts() {
        for (slot_s, lasts_s) in [(7.5, 5.04), (15.0, 12.64), (60.0, 46.8), (120.0, 110.6)] {
            for begins_s in [0.0, 0.37, 0.5, 1.0] {
                let wanders = met(slot_s, 2, begins_s, lasts_s, Duration::from_millis(950));
                assert!(wanders.abs() < 0.003, "{slot_s} s from {begins_s}: {wanders:+.4}");
            }
        }
        // On whole seconds: 13 of 12.64 s and 5 or 6 of 5.04 s.
        assert!(met(15.0, 2, 0.0, 12.64, Duration::ZERO) > 0.02);
        assert!(met(7.5, 2, 0.5, 5.04, Duration::ZERO).abs() > 0.005);
    }

    #[test]
    fn without_a_wish_the_look_is_on_the_whole_second() {
        for turn in [0, 1, 2, 1_000_000] {
            assert_eq!(moment_within(turn, Duration::ZERO), Duration::ZERO);
        }
        let most = Duration::from_millis(950);
        assert!((0..10_000).all(|turn| moment_within(turn, most) < most));
    }
}
