//! Who may change things: a phone that once typed the code which only someone with access to the
//! board can read.
//!
//! *Window*: opened by `outlast pin`, and by a start; while it is open, a code is good ([`window`]).
//! *Ticket*: the signed cookie that a paired phone keeps. It is good while the phone stands in the
//! list ([`phones`]), which is kept in a file by whoever has files. This file never asks the time:
//! it is handed the moment of the snapshot.
//!
//! [`window`]: crate::http::window
//! [`phones`]: crate::http::phones

use std::{
    fmt,
    net::IpAddr,
    sync::{Mutex, MutexGuard, PoisonError},
    time::Duration,
};

use axum::http::HeaderMap;
use axum_extra::extract::cookie::{Cookie, Key, SameSite, SignedCookieJar};
use reckon::{
    time::{Mono, Stamp},
    words,
};

use crate::http::{
    group::Group,
    phones::{Listed, Phone, Phones, Seen, TICKET_LASTS, says},
    window::{CODE_LASTS, Rejected, Window},
};

/// The cookie that holds the ticket.
const TICKET: &str = "paired";
/// What a ticket's value begins with. The signature covers the value and not the cookie's name, so
/// the value itself must say what it is good for.
const TICKET_MARK: &str = "phone-";
/// After a list that could not be kept, the next attempt comes this much later, when a phone is used.
const TRY_AGAIN: Duration = Duration::from_mins(1);

/// A source of random bytes. `web` opens no files, so whoever wires it hands one in.
pub(crate) type Random = Box<dyn FnMut() -> [u8; 16] + Send>;

/// Who keeps the list of paired phones across restarts.
pub trait PhoneKeeper: Send + Sync {
    /// Keeps this list, the one unused for longest first, in place of the last. It may block.
    ///
    /// # Errors
    /// Sentences for a person: what could not be kept, and what a restart will bring.
    fn keep(&self, phones: &[Phone]) -> Result<(), String>;
}

/// Among the extensions of an answer to a phone whose ticket is good: the listener may keep a seat
/// for where it came from.
#[derive(Clone, Copy, Debug)]
pub struct TicketShown;

/// The keeper of the code, of the list of phones, and of the key that signs tickets.
pub struct Pairing {
    key: Key,
    inner: Mutex<Inner>,
    keeper: Option<Box<dyn PhoneKeeper>>,
    /// Held while the list is being kept, so that the newest is the last that is written.
    keeping: Mutex<()>,
}

struct Inner {
    random: Random,
    window: Option<Window>,
    phones: Phones,
    /// Why the list as it is has not been kept, and when that was last tried.
    not_kept: Option<(String, Mono)>,
}

/// A code for showing to the owner.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pin {
    /// Twelve digits.
    pub code: String,
    /// How long it can still be used.
    pub good_for: Duration,
}

impl Pin {
    /// The digits in groups of four.
    #[must_use]
    pub fn in_groups(&self) -> String {
        words::in_groups(&self.code)
    }
}

/// What a good ticket asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Used {
    pub(crate) number: u32,
    /// The cookie is to be sent anew.
    pub(crate) renew: bool,
    /// The list is to be kept.
    pub(crate) keep: bool,
}

impl Pairing {
    /// `secret` signs the tickets: keep it across restarts or every phone must pair anew. `random`
    /// gives 16 fresh bytes from the system's generator each time it is called.
    pub fn new(secret: [u8; 32], random: impl FnMut() -> [u8; 16] + Send + 'static) -> Self {
        // `Key` wants room for an encryption key too; only the signing half is ever used.
        let mut both = [0; 64];
        both[..32].copy_from_slice(&secret);
        both[32..].copy_from_slice(&secret);
        let (random, phones) = (Box::new(random), Phones::of(Vec::new()));
        let inner = Inner { random, window: None, phones, not_kept: None };
        let (key, keeping) = (Key::from(&both), Mutex::default());
        Self { key, inner: Mutex::new(inner), keeper: None, keeping }
    }

    /// With the phones that were kept, the one unused for longest first, and who keeps them.
    #[must_use]
    pub fn with_phones(self, kept: Vec<Phone>, keeper: impl PhoneKeeper + 'static) -> Self {
        self.lock().phones = Phones::of(kept);
        Self { keeper: Some(Box::new(keeper)), ..self }
    }

    /// The code that is good now. Where none is, or half its time is over, a window is opened with a
    /// new one.
    pub fn pin(&self, at: Mono) -> Pin {
        let mut inner = self.lock();
        let fresh = inner.window.take().filter(|it| it.is_open(at));
        let window = fresh.filter(|it| it.good_for(at) * 2 >= CODE_LASTS).unwrap_or_else(|| {
            tracing::info!(open_for_s = CODE_LASTS.as_secs(), "{}", words::journal::WINDOW_OPEN);
            Window::open((inner.random)(), at)
        });
        let pin = Pin { code: window.code(), good_for: window.good_for(at) };
        inner.window = Some(window);
        pin
    }

    /// Whether a code is good now.
    pub(crate) fn is_open(&self, at: Mono) -> bool {
        self.lock().window.as_ref().is_some_and(|window| window.is_open(at))
    }

    /// How long no code from there is looked at.
    pub(crate) fn wait(&self, from: Option<IpAddr>, at: Mono) -> Duration {
        let inner = self.lock();
        inner.window.as_ref().map_or(Duration::ZERO, |it| it.wait(Group::of(from), at))
    }

    /// Tries a code, for a phone that its owner calls `name`; gives the jar with the ticket in it.
    /// The list has changed then: see [`Self::keep`].
    ///
    /// # Errors
    /// When the code is not the good one, or when it is too early to try again.
    pub fn pair(
        &self,
        typed: &str,
        name: Option<String>,
        from: Option<IpAddr>,
        at: Stamp,
    ) -> Result<SignedCookieJar, Rejected> {
        let mut inner = self.lock();
        let window = inner.window.as_mut().ok_or(Rejected::Closed)?;
        window.try_code(typed, Group::of(from), at.mono)?;
        inner.window = None;
        let ticket = (inner.random)();
        inner.phones.add(ticket, name, Seen { at: at.mono, from }, at);
        drop(inner);
        tracing::info!("{}", words::journal::PAIRED);
        Ok(self.jar(&HeaderMap::new()).add(cookie(&ticket)))
    }

    /// Whether this request carries a good ticket of ours.
    #[must_use]
    pub(crate) fn knows(&self, headers: &HeaderMap, at: Stamp) -> bool {
        self.number(headers, at).is_some()
    }

    /// The number of the phone that sent this.
    pub(crate) fn number(&self, headers: &HeaderMap, at: Stamp) -> Option<u32> {
        let ticket = self.jar(headers).get(TICKET)?;
        let says = ticket.value().strip_prefix(TICKET_MARK)?;
        self.lock().phones.find(says, at).map(|it| it.phone.number)
    }

    /// Notes that the phone which sent this came from there.
    pub(crate) fn note_use(
        &self,
        headers: &HeaderMap,
        from: Option<IpAddr>,
        at: Stamp,
    ) -> Option<Used> {
        let number = self.number(headers, at)?;
        let mut inner = self.lock();
        let renew = inner.phones.use_now(number, Seen { at: at.mono, from }, at);
        let owes = |(_, tried): &mut (String, Mono)| {
            let due = at.mono.since(*tried) >= TRY_AGAIN;
            *tried = if due { at.mono } else { *tried };
            due
        };
        let owed = inner.not_kept.as_mut().is_some_and(owes);
        Some(Used { number, renew, keep: renew || owed })
    }

    /// The ticket of this phone anew, for the whole of its life.
    pub(crate) fn renewed(&self, number: u32) -> Option<SignedCookieJar> {
        let inner = self.lock();
        let phone = &inner.phones.all().iter().find(|it| it.phone.number == number)?.phone;
        Some(self.jar(&HeaderMap::new()).add(cookie(&phone.ticket)))
    }

    /// All paired phones, the one last used first, and what is wrong with keeping them.
    pub(crate) fn phones(&self) -> (Vec<Listed>, Option<String>) {
        let inner = self.lock();
        let listed = inner.phones.all().iter().rev().cloned().collect();
        (listed, inner.not_kept.as_ref().map(|(why, _)| why.clone()))
    }

    /// Ends the ticket of one phone; says whether there was such a phone. See [`Self::keep`].
    pub(crate) fn end(&self, number: u32) -> bool {
        let ended = self.lock().phones.end(number);
        if ended {
            tracing::info!(number, "{}", words::journal::TICKET_ENDED);
        }
        ended
    }

    /// Ends all tickets.
    pub(crate) fn end_all(&self) {
        self.lock().phones.end_all();
        tracing::info!("{}", words::journal::TICKETS_ENDED);
    }

    /// Has the list kept as it is now. It may block.
    ///
    /// # Errors
    /// What could not be kept, and what a restart will bring.
    pub fn keep(&self, at: Mono) -> Result<(), String> {
        let Some(keeper) = &self.keeper else { return Ok(()) };
        let _one_at_a_time = self.keeping.lock().unwrap_or_else(PoisonError::into_inner);
        let phones = self.lock().phones.kept();
        let kept = keeper.keep(&phones);
        if let Err(why) = &kept {
            tracing::warn!("{why}");
        }
        self.lock().not_kept = kept.as_ref().err().map(|why| (why.clone(), at));
        kept
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

fn cookie(ticket: &[u8; 16]) -> Cookie<'static> {
    Cookie::build((TICKET, format!("{TICKET_MARK}{}", says(ticket))))
        .http_only(true)
        .same_site(SameSite::Strict)
        .path("/")
        .max_age(TICKET_LASTS.try_into().unwrap_or_default())
        .build()
}
