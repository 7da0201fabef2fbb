//! The window in which a phone can be paired. The person at the board opens it; while it is open, one
//! code is good, for one phone; while it is closed, there is nothing to guess.
//!
//! **Waits are for each group of addresses.** Somebody who tries codes without end makes nobody wait
//! but himself: from anywhere else the right code pairs at its first try.
//!
//! **Odds of guessing.** A code is one of 10^12. In the five minutes of a window one address gets 8
//! tries: five at once, then after waits of 30, 60 and 120 s; the next would come after 450 s. All
//! 254 addresses of a usual hotspot have 2 032 tries: 1 in 490 million. All 65 534 of the largest
//! private network with a 16-bit prefix have 524 272: 1 in 1.9 million. Whoever has addresses
//! without end is stopped after a million tries, when the window closes: never more than 1 in a
//! million, whatever the board's speed. With a code of six digits the first would be 1 in 490.

use std::{collections::HashMap, time::Duration};

use reckon::{time::Mono, words};
use subtle::ConstantTimeEq;

use crate::http::group::Group;

/// How long a window is open: from the terminal to the phone, with a slip in the typing.
pub const CODE_LASTS: Duration = Duration::from_mins(5);
/// Digits of a code: three groups of four, on the number keys of a phone.
const DIGITS: usize = 12;
/// Wrong codes of one group that cost nothing but a sigh.
const FREE_TRIES: u32 = 5;
/// The first wait after those; each further wrong code doubles it.
const FIRST_WAIT: Duration = Duration::from_secs(30);
/// Wrong codes in all, after which a window closes by itself.
const MOST_WRONG: u32 = 1_000_000;
/// Groups that are told apart. Of more, the one whose wait is over first is forgotten, which gives it
/// new free tries; they count towards [`MOST_WRONG`] like all others.
const MOST_GROUPS: usize = 1024;

/// Why a phone was not paired.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rejected {
    /// Nobody has asked for a code, or the last one is used or too old.
    Closed,
    /// The code is wrong.
    Wrong,
    /// Too many wrong codes from there; wait this long. The code was not looked at.
    Wait(Duration),
}

/// One window.
pub(crate) struct Window {
    digits: [u8; DIGITS],
    closes: Mono,
    wrong: u32,
    guessers: HashMap<Group, Guesser>,
}

/// Somebody who typed a wrong code in this window.
struct Guesser {
    wrong: u32,
    waits_until: Mono,
}

impl Window {
    pub(crate) fn open(random: [u8; 16], at: Mono) -> Self {
        let (digits, closes) = (digits_of(random), at.plus(CODE_LASTS));
        Self { digits, closes, wrong: 0, guessers: HashMap::new() }
    }

    pub(crate) fn is_open(&self, at: Mono) -> bool {
        at < self.closes && self.wrong < MOST_WRONG
    }

    /// How long it stays open.
    pub(crate) const fn good_for(&self, at: Mono) -> Duration {
        self.closes.since(at)
    }

    /// Digits without spaces.
    pub(crate) fn code(&self) -> String {
        self.digits.iter().map(|digit| char::from(*digit)).collect()
    }

    /// How long nothing from there is looked at.
    pub(crate) fn wait(&self, from: Group, at: Mono) -> Duration {
        self.guessers.get(&from).map_or(Duration::ZERO, |it| it.waits_until.since(at))
    }

    /// Looks at a code; spaces and dashes in it do not count.
    ///
    /// # Errors
    /// It is not the code, or nothing is looked at now.
    pub(crate) fn try_code(&mut self, typed: &str, from: Group, at: Mono) -> Result<(), Rejected> {
        if !self.is_open(at) {
            return Err(Rejected::Closed);
        }
        let wait = self.wait(from, at);
        if !wait.is_zero() {
            return Err(Rejected::Wait(wait));
        }
        let typed = typed.chars().filter(|it| !it.is_whitespace() && *it != '-');
        let typed: String = typed.take(DIGITS + 1).collect();
        if self.digits.as_slice().ct_eq(typed.as_bytes()).into() {
            return Ok(());
        }
        self.note_wrong(from, at);
        Err(Rejected::Wrong)
    }

    fn note_wrong(&mut self, from: Group, at: Mono) {
        self.wrong += 1;
        if self.wrong == MOST_WRONG {
            tracing::warn!("{}", words::journal::WINDOW_CLOSED);
        }
        if self.guessers.len() >= MOST_GROUPS && !self.guessers.contains_key(&from) {
            let first = self.guessers.iter().min_by_key(|(_, it)| it.waits_until);
            let first = first.map(|(group, _)| *group);
            first.map(|group| self.guessers.remove(&group));
        }
        let none = Guesser { wrong: 0, waits_until: at };
        let guesser = self.guessers.entry(from).or_insert(none);
        guesser.wrong = guesser.wrong.saturating_add(1);
        guesser.waits_until = at.plus(wait_after(guesser.wrong));
        if guesser.wrong == FREE_TRIES {
            tracing::warn!(?from, "{}", words::journal::WRONG_CODE);
        }
    }
}

/// The wait that follows the `wrong`th wrong code of a group.
fn wait_after(wrong: u32) -> Duration {
    let doublings = wrong.checked_sub(FREE_TRIES);
    doublings.map_or(Duration::ZERO, |n| FIRST_WAIT * 2_u32.pow(n.min(8)))
}

/// Digits out of random bytes: 2^128 leaves no bias worth the name.
fn digits_of(bytes: [u8; 16]) -> [u8; DIGITS] {
    let mut number = u128::from_le_bytes(bytes);
    let mut digits = [b'0'; DIGITS];
    for digit in &mut digits {
        *digit = b'0' + u8::try_from(number % 10).unwrap_or(0);
        number /= 10;
    }
    digits
}

#[cfg(test)]
mod tests {
    use super::*;

    fn window() -> Window {
        Window::open([7; 16], Mono::at_s(100.0))
    }

    fn group(number: u64) -> Group {
        Group::V6(number)
    }

    /// Tries of one group that are looked at before the window closes.
    fn tries(window: &mut Window, from: Group) -> u32 {
        let (mut at, mut looked_at) = (Mono::at_s(100.0), 0);
        loop {
            match window.try_code("000000000000", from, at) {
                Err(Rejected::Wrong) => looked_at += 1,
                Err(Rejected::Wait(wait)) => at = at.plus(wait),
                Err(Rejected::Closed) => return looked_at,
                Ok(()) => panic!("a wrong code is taken"),
            }
        }
    }

    #[test]
    fn the_odds_are_those_of_the_text_above() {
        assert_eq!(tries(&mut window(), group(1)), 8);
        let codes = 10_f64.powi(i32::try_from(DIGITS).unwrap());
        assert!((4.8e8..5.0e8).contains(&(codes / (254.0 * 8.0))));
        assert!((1.9e6..2.0e6).contains(&(codes / (65_534.0 * 8.0))));
        assert!(codes / f64::from(MOST_WRONG) >= 1e6);
    }

    #[test]
    fn somebody_who_guesses_makes_nobody_wait_but_himself() {
        let mut window = window();
        let code = window.code();
        for number in 0..3000 {
            tries(&mut window, group(number));
        }
        assert!(window.guessers.len() <= MOST_GROUPS);
        let at = Mono::at_s(399.0);
        assert!(matches!(window.try_code(&code, group(2999), at), Err(Rejected::Wait(_))));
        assert_eq!(window.try_code(&code, group(3000), at), Ok(()));
        assert_eq!(window.try_code(&code, group(3000), Mono::at_s(400.0)), Err(Rejected::Closed));
    }

    #[test]
    fn addresses_without_end_close_the_window() {
        let mut window = window();
        let code = window.code();
        let at = Mono::at_s(101.0);
        // The first of them are counted without being tried, to save the time.
        window.wrong = MOST_WRONG - 20_000;
        for number in 0..20_000 {
            assert!(window.is_open(at));
            window.note_wrong(group(number / 5), at);
        }
        assert_eq!(window.try_code(&code, group(u64::MAX), at), Err(Rejected::Closed));
    }

    #[test]
    fn a_code_may_be_typed_in_groups() {
        let mut window = window();
        let code = window.code();
        let grouped = format!("{} {}-{}", &code[..4], &code[4..8], &code[8..]);
        assert_eq!(window.try_code(&grouped, group(1), Mono::at_s(100.0)), Ok(()));
        // As a terminal or a message may hand it over.
        let pasted = format!(" {}\u{a0}{}\t{}\n", &code[..4], &code[4..8], &code[8..]);
        assert_eq!(window.try_code(&pasted, group(1), Mono::at_s(100.0)), Ok(()));
        for wrong in ["", &code[1..], &format!("{code}0"), "１２３４"] {
            let tried = window.try_code(wrong, group(2), Mono::at_s(100.0));
            assert_eq!(tried, Err(Rejected::Wrong), "{wrong}");
        }
    }
}
