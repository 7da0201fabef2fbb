//! Who may change things: a phone that once typed the code which only someone with access to the
//! board can read.
//!
//! *Code*: six digits, shown by `outlast pin` and in the journal; good for one phone and for ten
//! minutes. *Ticket*: the signed cookie that a paired phone keeps. Guessing is slowed for everyone
//! together, not only for one address, because addresses on a hotspot are free to take. This file
//! never asks the time: it is handed the boot time of the snapshot.

use std::{
    fmt,
    sync::{Mutex, MutexGuard, PoisonError},
    time::Duration,
};

use axum::http::HeaderMap;
use axum_extra::extract::cookie::{Cookie, Key, SameSite, SignedCookieJar};
use reckon::{time::Mono, words};
use subtle::ConstantTimeEq;

/// How long a code can be used.
pub const CODE_LASTS: Duration = Duration::from_mins(10);
/// Wrong codes that cost nothing but a sigh.
const FREE_TRIES: u32 = 5;
/// The first wait after those; each further wrong code doubles it.
const FIRST_WAIT: Duration = Duration::from_secs(30);
/// The longest wait. At one try each ten minutes a guesser needs years, and the owner is never
/// shut out for longer than a tea break.
const LONGEST_WAIT: Duration = Duration::from_mins(10);
/// Digits of a code.
const DIGITS: usize = 6;
/// The cookie that holds the ticket.
const TICKET: &str = "paired";
/// What a ticket's value begins with. The signature covers the value and not the cookie's name, so
/// the value itself must say what it is good for.
const TICKET_MARK: &str = "phone-";
/// The ticket's life: browsers cap it at about 400 days.
const TICKET_S: u64 = 400 * 24 * 3600;

/// A source of random bytes. `web` opens no files, so whoever wires it hands one in.
pub(crate) type Random = Box<dyn FnMut() -> [u8; 16] + Send>;

/// The keeper of the code and of the key that signs tickets.
pub struct Pairing {
    key: Key,
    inner: Mutex<Inner>,
}

struct Inner {
    random: Random,
    code: Option<Code>,
    wrong: u32,
    wait_until: Mono,
}

struct Code {
    digits: [u8; DIGITS],
    dies: Mono,
}

/// A code for showing to the owner.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pin {
    /// Six digits.
    pub code: String,
    /// How long it can still be used.
    pub good_for: Duration,
}

/// Why a phone was not paired.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rejected {
    /// The code is wrong, expired or used up.
    Wrong,
    /// Too many wrong codes; wait this long. The code was not looked at.
    Wait(Duration),
}

impl Pairing {
    /// `secret` signs the tickets: keep it across restarts or every phone must pair anew; a new one
    /// makes all phones strangers. `random` gives 16 fresh bytes from the system's generator each
    /// time it is called.
    pub fn new(secret: [u8; 32], random: impl FnMut() -> [u8; 16] + Send + 'static) -> Self {
        // `Key` wants room for an encryption key too; only the signing half is ever used.
        let mut both = [0; 64];
        both[..32].copy_from_slice(&secret);
        both[32..].copy_from_slice(&secret);
        let inner =
            Inner { random: Box::new(random), code: None, wrong: 0, wait_until: Mono::BOOT };
        Self { key: Key::from(&both), inner: Mutex::new(inner) }
    }

    /// The code that is good now. A new one is made, and told to the journal, when the last was
    /// used or has expired.
    pub fn pin(&self, at: Mono) -> Pin {
        let mut inner = self.lock();
        let code = inner.current(at);
        Pin {
            code: code.digits.iter().map(|digit| char::from(*digit)).collect(),
            good_for: code.dies.since(at),
        }
    }

    /// Tries a code; gives the jar with the ticket in it.
    ///
    /// # Errors
    /// When the code is not the good one, or when it is too early to try again.
    pub fn pair(
        &self,
        typed: &str,
        at: Mono,
        headers: &HeaderMap,
    ) -> Result<SignedCookieJar, Rejected> {
        let mut inner = self.lock();
        if at < inner.wait_until {
            return Err(Rejected::Wait(inner.wait_until.since(at)));
        }
        let digits: Vec<u8> =
            typed.bytes().filter(|byte| !matches!(byte, b' ' | b'-')).take(DIGITS + 1).collect();
        if !bool::from(inner.current(at).digits.as_slice().ct_eq(&digits)) {
            inner.wrong = inner.wrong.saturating_add(1);
            if let Some(wait) = wait_after(inner.wrong) {
                inner.wait_until = at.plus(wait);
                tracing::warn!(
                    wrong = inner.wrong,
                    wait_s = wait.as_secs(),
                    "{}",
                    words::journal::WRONG_CODE
                );
            }
            return Err(Rejected::Wrong);
        }
        inner.code = None;
        inner.wrong = 0;
        let name = inner.name();
        drop(inner);
        tracing::info!("{}", words::journal::PAIRED);
        let ticket = Cookie::build((TICKET, format!("{TICKET_MARK}{name}")))
            .http_only(true)
            .same_site(SameSite::Strict)
            .path("/")
            .max_age(Duration::from_secs(TICKET_S).try_into().unwrap_or_default());
        Ok(self.jar(headers).add(ticket))
    }

    /// Whether this request carries a ticket of ours.
    #[must_use]
    pub fn knows(&self, headers: &HeaderMap) -> bool {
        self.jar(headers).get(TICKET).is_some_and(|ticket| ticket.value().starts_with(TICKET_MARK))
    }

    fn jar(&self, headers: &HeaderMap) -> SignedCookieJar {
        SignedCookieJar::from_headers(headers, self.key.clone())
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        // A panic elsewhere cannot leave half a code behind, so the data are still good.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl fmt::Debug for Pairing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Pairing(kept secret)")
    }
}

impl Inner {
    fn current(&mut self, at: Mono) -> &Code {
        let fresh = self.code.take().filter(|code| at < code.dies);
        let code = fresh.unwrap_or_else(|| {
            let digits = digits_of((self.random)());
            let shown: String = digits.iter().map(|digit| char::from(*digit)).collect();
            tracing::info!(
                good_for_s = CODE_LASTS.as_secs(),
                "{}",
                words::journal::pairing_code(&shown)
            );
            Code { digits, dies: at.plus(CODE_LASTS) }
        });
        self.code.insert(code)
    }

    /// An unguessable name, so that two tickets are never alike.
    fn name(&mut self) -> String {
        (self.random)().iter().map(|byte| format!("{byte:02x}")).collect()
    }
}

/// Six digits out of random bytes: 2^128 leaves no bias worth the name.
fn digits_of(bytes: [u8; 16]) -> [u8; DIGITS] {
    let mut number = u128::from_le_bytes(bytes);
    let mut digits = [b'0'; DIGITS];
    for digit in &mut digits {
        *digit = b'0' + u8::try_from(number % 10).unwrap_or(0);
        number /= 10;
    }
    digits
}

/// The wait that follows the `wrong`th wrong code.
fn wait_after(wrong: u32) -> Option<Duration> {
    let doublings = wrong.checked_sub(FREE_TRIES)?.min(10);
    Some((FIRST_WAIT * 2_u32.pow(doublings)).min(LONGEST_WAIT))
}
