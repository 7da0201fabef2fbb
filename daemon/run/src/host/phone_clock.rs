//! The board's clock against a phone's, and setting the one from the other.

use reckon::{
    time::{Mono, PHONE_MS, PHONE_WITHIN_S, Wall},
    words,
};
use web::ClockCompared;

use crate::host::clock::Clock;

/// Age of a comparison from which a worse one replaces it, s.
const GOOD_FOR_S: f64 = 600.0;
/// CAP_SYS_TIME: capabilities(7), linux/capability.h.
const SYS_TIME_BIT: u32 = 25;

/// What a phone said: at that moment, its wall time, right within so much.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Heard {
    pub(crate) at: Mono,
    pub(crate) phone_ms: i64,
    pub(crate) within_ms: u32,
}

impl Heard {
    /// What cannot be right is refused with a sentence.
    pub(crate) fn check(self, now: Mono) -> Result<Self, String> {
        if !PHONE_MS.contains(&self.phone_ms) {
            return Err(words::refusal::PHONE_CLOCK_WRONG.to_owned());
        }
        let within_s = f64::from(self.within_ms) / 1000.0;
        if !PHONE_WITHIN_S.contains(&within_s) || self.at > now {
            return Err(words::refusal::PHONE_TOO_SLOW.to_owned());
        }
        Ok(self)
    }

    /// The phone's wall time at the board's boot.
    pub(crate) fn wall_at_boot(self) -> Wall {
        Wall::from_unix_ms(self.phone_ms).of_boot(self.at)
    }

    /// The board's system clock beside it.
    pub(crate) fn beside(self, clock: &Clock) -> ClockCompared {
        let (mono, system) = clock.system_time();
        let system_at_boot = system.of_boot(mono).unix_ms();
        ClockCompared {
            at: self.at,
            board_ahead_ms: system_at_boot.saturating_sub(self.wall_at_boot().unix_ms()),
            within_ms: self.within_ms,
        }
    }

    /// Whether this says more than an earlier word.
    pub(crate) fn better_than(self, before: &Self) -> bool {
        self.within_ms <= before.within_ms || self.at.seconds_since(before.at).si() >= GOOD_FOR_S
    }
}

/// Whether the kernel lets this process set the clock: the effective set of proc_pid_status(5).
pub(crate) fn may_set() -> bool {
    let text = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let set = text.lines().find_map(|line| line.strip_prefix("CapEff:"));
    let bits = set.and_then(|hex| u64::from_str_radix(hex.trim(), 16).ok());
    bits.is_some_and(|bits| bits >> SYS_TIME_BIT & 1 == 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::host::clock::HandClock;
    use std::time::Duration;

    #[test]
    fn the_difference_does_not_depend_on_when_it_is_looked_at() {
        let hand = HandClock::at(Mono::at_s(100.0), Wall::from_unix_ms(1_700_000_000_000));
        let clock = Clock::by_hand(hand.clone());
        // The phone is 1.5 s ahead of the board.
        let at = Mono::at_s(100.0);
        let heard = Heard { at, phone_ms: 1_700_000_001_500, within_ms: 40 };
        for _ in 0..2 {
            assert_eq!(heard.beside(&clock).board_ahead_ms, -1500);
            hand.forward(Duration::from_secs(3600));
        }
        assert_eq!(heard.check(at), Ok(heard));
        assert!(Heard { phone_ms: 0, ..heard }.check(at).is_err());
        assert!(Heard { at: Mono::at_s(101.0), ..heard }.check(at).is_err());
        assert!(Heard { within_ms: 20, ..heard }.better_than(&heard));
        assert!(!Heard { within_ms: 90, ..heard }.better_than(&heard));
        let later = Heard { at: Mono::at_s(701.0), within_ms: 90, ..heard };
        assert!(later.better_than(&heard));
    }
}
