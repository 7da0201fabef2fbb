//! The only file that asks the system the time. Everyone else is handed a [`Clock`] or a stamp.
//!
//! Durations come from the kernel's boot-time clock, which counts sleep and never jumps. The wall
//! clock is attached to it and believed only if the kernel's clock is synchronised, or was in this
//! boot: a board without a clock battery wakes up in some other year.

use std::{
    sync::{
        Arc, Condvar, Mutex, PoisonError,
        atomic::{AtomicBool, AtomicI64, Ordering},
    },
    time::Duration,
};

use jiff::{Timestamp, tz::TimeZone};
use reckon::time::{Mono, Stamp, Trust, Wall};
use rustix::{
    io::Errno,
    thread::clock_nanosleep_absolute,
    time::{ClockId, Timespec, clock_gettime, clock_settime},
};

/// Where the time comes from.
#[derive(Clone)]
pub(crate) struct Clock {
    source: Source,
    zone: Arc<TimeZone>,
    was_synchronised: Arc<AtomicBool>,
    /// Wall time of boot as a phone has it, ms since 1970; [`NO_PHONE`] while none has told.
    phone: Arc<AtomicI64>,
}

const NO_PHONE: i64 = i64::MIN;

#[derive(Clone)]
enum Source {
    System,
    Hand(HandClock),
}

impl Clock {
    /// The machine's own time.
    pub(crate) fn system() -> Self {
        Self::from_source(Source::System)
    }

    /// A clock that goes as somebody sets it.
    pub(crate) fn by_hand(hand: HandClock) -> Self {
        Self::from_source(Source::Hand(hand))
    }

    fn from_source(source: Source) -> Self {
        let zone = Arc::new(TimeZone::system());
        let phone = Arc::new(AtomicI64::new(NO_PHONE));
        Self { source, zone, was_synchronised: Arc::default(), phone }
    }

    /// Time since boot.
    pub(crate) fn mono(&self) -> Mono {
        match &self.source {
            Source::System => system_mono(),
            Source::Hand(hand) => hand.mono(),
        }
    }

    /// This moment.
    pub(crate) fn stamp(&self) -> Stamp {
        let (mono, system) = self.system_time();
        let trust = self.trust();
        let phone_at_boot = self.phone.load(Ordering::Relaxed);
        let wall = match trust {
            Trust::Phone => Wall::from_unix_ms(phone_at_boot).plus_s(mono.as_s()),
            Trust::Synchronised | Trust::Unset => system,
        };
        let utc_offset_s = Timestamp::from_millisecond(wall.unix_ms())
            .map_or(0, |at| self.zone.to_offset(at).seconds());
        Stamp { mono, wall, trust, utc_offset_s }
    }

    /// Boot time and what the system's own wall clock says, believed or not.
    pub(crate) fn system_time(&self) -> (Mono, Wall) {
        match &self.source {
            Source::System => (system_mono(), system_wall()),
            Source::Hand(hand) => (hand.mono(), hand.wall()),
        }
    }

    fn trust(&self) -> Trust {
        if self.is_believed() {
            Trust::Synchronised
        } else if self.phone.load(Ordering::Relaxed) != NO_PHONE {
            Trust::Phone
        } else {
            Trust::Unset
        }
    }

    /// A phone says what the wall time of boot was. From now on that is the wall time, unless the
    /// kernel's clock is synchronised.
    pub(crate) fn phone_says(&self, wall_at_boot: Wall) {
        self.phone.store(wall_at_boot.unix_ms(), Ordering::Relaxed);
    }

    /// Sets the system's wall clock.
    ///
    /// # Errors
    /// When the system does not let us.
    pub(crate) fn set_system(&self, wall: Wall) -> std::io::Result<()> {
        let (s, ms) = (wall.unix_ms().div_euclid(1000), wall.unix_ms().rem_euclid(1000));
        match &self.source {
            Source::System => {
                let at = Timespec { tv_sec: s, tv_nsec: ms * 1_000_000 };
                Ok(clock_settime(ClockId::Realtime, at)?)
            }
            Source::Hand(_) => {
                Err(std::io::Error::other("the demonstration has a clock of its own"))
            }
        }
    }

    /// The kernel says that its clock is synchronised, or it was earlier in this boot. That is
    /// remembered: a clock once set runs on within seconds a day when the network is gone.
    pub(crate) fn was_synchronised(&self) {
        self.was_synchronised.store(true, Ordering::Relaxed);
    }

    /// Whether the wall clock is believed.
    pub(crate) fn is_believed(&self) -> bool {
        self.was_synchronised.load(Ordering::Relaxed)
    }

    /// Sleeps until that moment; at once if it has passed. A sleep by hand ends when the hand says.
    pub(crate) fn sleep_until(&self, until: Mono) {
        match &self.source {
            Source::System => system_sleep(until),
            Source::Hand(hand) => hand.sleep_until(until),
        }
    }
}

fn system_mono() -> Mono {
    let t = clock_gettime(ClockId::Boottime);
    Mono::since_boot(Duration::new(
        u64::try_from(t.tv_sec).unwrap_or(0),
        u32::try_from(t.tv_nsec).unwrap_or(0),
    ))
}

fn system_wall() -> Wall {
    let t = clock_gettime(ClockId::Realtime);
    Wall::from_unix_ms(t.tv_sec.saturating_mul(1000).saturating_add(t.tv_nsec / 1_000_000))
}

fn system_sleep(until: Mono) {
    let span = until.span();
    let until = Timespec {
        tv_sec: i64::try_from(span.as_secs()).unwrap_or(i64::MAX),
        tv_nsec: i64::from(span.subsec_nanos()),
    };
    // A signal may end the sleep early; the deadline is absolute, so it is simply taken up again.
    while clock_nanosleep_absolute(ClockId::Boottime, &until) == Err(Errno::INTR) {}
}

/// A clock that stands still until it is moved: for demonstrations, which run faster than life,
/// and for tests.
#[derive(Clone)]
pub(crate) struct HandClock {
    inner: Arc<(Mutex<Mono>, Condvar)>,
    /// ms since 1970.
    wall_at_boot: Arc<AtomicI64>,
}

impl HandClock {
    /// Stands at `start`; the wall clock said `wall` then.
    pub(crate) fn at(start: Mono, wall: Wall) -> Self {
        let wall_at_boot = Arc::new(AtomicI64::new(wall.plus_s(-start.as_s()).unix_ms()));
        Self { inner: Arc::new((Mutex::new(start), Condvar::new())), wall_at_boot }
    }

    /// Somebody sets its wall clock forward, or back by a negative number of seconds.
    #[cfg(test)]
    pub(crate) fn step_wall(&self, by_s: i64) {
        self.wall_at_boot.fetch_add(by_s * 1000, Ordering::Relaxed);
    }

    /// Moves it on.
    pub(crate) fn forward(&self, by: Duration) {
        let (now, moved) = &*self.inner;
        let mut now = now.lock().unwrap_or_else(PoisonError::into_inner);
        *now = now.plus(by);
        moved.notify_all();
    }

    fn mono(&self) -> Mono {
        *self.inner.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn wall(&self) -> Wall {
        let at_boot = Wall::from_unix_ms(self.wall_at_boot.load(Ordering::Relaxed));
        at_boot.plus_s(self.mono().as_s())
    }

    fn sleep_until(&self, until: Mono) {
        let (now, moved) = &*self.inner;
        let mut now = now.lock().unwrap_or_else(PoisonError::into_inner);
        while *now < until {
            now = moved.wait(now).unwrap_or_else(PoisonError::into_inner);
        }
    }
}

impl web::Clock for Clock {
    fn stamp(&self) -> Stamp {
        Self::stamp(self)
    }
}

/// Lets real time pass, for a player that runs a made-up clock.
pub(crate) fn pause(span: Duration) {
    std::thread::sleep(span);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sleeping_ends_at_the_deadline_and_not_before() {
        let clock = Clock::system();
        let until = clock.mono().plus(Duration::from_millis(30));
        clock.sleep_until(until);
        assert!(clock.mono() >= until);
        clock.sleep_until(Mono::BOOT);
    }

    #[test]
    fn boot_time_is_what_the_kernel_tells_everyone() {
        // Source: proc(5), /proc/uptime: seconds since boot, suspend included.
        let text = std::fs::read_to_string("/proc/uptime").expect("a Linux kernel");
        let uptime: f64 = text.split(' ').next().unwrap().parse().unwrap();
        let ours = Clock::system().mono().as_s();
        assert!((ours - uptime).abs() < 2.0, "{ours} against {uptime}");
    }

    #[test]
    fn trust_comes_once_and_stays_for_this_boot() {
        let clock = Clock::system();
        assert_eq!(clock.stamp().trust, Trust::Unset);
        assert_eq!(clock.stamp().believed(), None);
        clock.clone().was_synchronised();
        assert_eq!(clock.stamp().trust, Trust::Synchronised);
    }

    #[test]
    fn a_phone_is_believed_until_the_kernel_knows_better() {
        let hand = HandClock::at(Mono::at_s(60.0), Wall::from_unix_ms(1_000_000));
        let clock = Clock::by_hand(hand.clone());
        clock.phone_says(Wall::from_unix_ms(5_000_000));
        hand.forward(Duration::from_secs(10));
        let stamp = clock.stamp();
        assert_eq!((stamp.trust, stamp.wall), (Trust::Phone, Wall::from_unix_ms(5_070_000)));
        assert_eq!(clock.system_time().1, Wall::from_unix_ms(1_010_000));
        clock.was_synchronised();
        let stamp = clock.stamp();
        assert_eq!((stamp.trust, stamp.wall), (Trust::Synchronised, Wall::from_unix_ms(1_010_000)));
    }

    #[test]
    fn a_hand_clock_goes_as_it_is_moved() {
        let hand = HandClock::at(Mono::at_s(60.0), Wall::from_unix_ms(1_000_000));
        let clock = Clock::by_hand(hand.clone());
        hand.forward(Duration::from_millis(1500));
        assert_eq!(clock.mono(), Mono::at_s(61.5));
        assert_eq!(clock.stamp().wall, Wall::from_unix_ms(1_001_500));
        let waker = std::thread::spawn(move || hand.forward(Duration::from_secs(9)));
        clock.sleep_until(Mono::at_s(70.0));
        waker.join().unwrap();
    }
}
