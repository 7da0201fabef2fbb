//! The phones that are paired. A ticket is good while its phone stands in this list, and no longer:
//! who is taken out is a stranger at once, and so is whoever has a copy of that ticket.

use std::{net::IpAddr, time::Duration};

use reckon::time::{Mono, Stamp, Trust, Wall};

/// How long a ticket is good without being used.
pub(crate) const TICKET_LASTS: Duration = Duration::from_hours(30 * 24);
/// A ticket in use is renewed, and its use written down, once in this time: one small file a day for
/// each phone.
const RENEWED_EVERY: Duration = Duration::from_hours(24);
/// Phones that can be paired at once. One more takes the place of the one unused for longest.
pub const MOST_PHONES: usize = 32;

/// A paired phone, as it is kept across restarts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Phone {
    /// Its number, by which people call it; 1 and up.
    pub number: u32,
    /// What its ticket says: nobody can guess it.
    pub ticket: [u8; 16],
    /// What its owner calls it.
    pub name: Option<String>,
    /// When it was paired, if the time was known.
    pub paired: Option<Wall>,
    /// When its ticket was last renewed, if the time was known.
    pub renewed: Option<Wall>,
}

/// A phone of the list, with what is known of it since the start.
#[derive(Clone, Debug)]
pub(crate) struct Listed {
    pub(crate) phone: Phone,
    pub(crate) seen: Option<Seen>,
    renewed: Option<Mono>,
}

/// When and from where a phone last came.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Seen {
    pub(crate) at: Mono,
    pub(crate) from: Option<IpAddr>,
}

/// The list, the one unused for longest first.
pub(crate) struct Phones {
    list: Vec<Listed>,
    last_number: u32,
}

impl Phones {
    /// As they were kept, the one unused for longest first.
    pub(crate) fn of(kept: Vec<Phone>) -> Self {
        let last_number = kept.iter().map(|phone| phone.number).max().unwrap_or(0);
        let listed = |phone| Listed { phone, seen: None, renewed: None };
        Self { list: kept.into_iter().map(listed).collect(), last_number }
    }

    /// As they are to be kept.
    pub(crate) fn kept(&self) -> Vec<Phone> {
        self.list.iter().map(|it| it.phone.clone()).collect()
    }

    pub(crate) fn all(&self) -> &[Listed] {
        &self.list
    }

    /// One more.
    pub(crate) fn add(&mut self, ticket: [u8; 16], name: Option<String>, seen: Seen, at: Stamp) {
        if self.list.len() >= MOST_PHONES {
            self.list.remove(0);
        }
        self.last_number = self.last_number.saturating_add(1);
        let (paired, renewed) = (at.believed(), at.believed());
        let phone = Phone { number: self.last_number, ticket, name, paired, renewed };
        self.list.push(Listed { phone, seen: Some(seen), renewed: Some(at.mono) });
    }

    /// Whose ticket says this, if it is still good.
    pub(crate) fn find(&self, says: &str, at: Stamp) -> Option<&Listed> {
        let ticket = ticket_of(says)?;
        self.list.iter().find(|it| it.phone.ticket == ticket && !is_over(it.phone.renewed, at))
    }

    /// It was used; says whether it is time to renew it.
    pub(crate) fn use_now(&mut self, number: u32, seen: Seen, at: Stamp) -> bool {
        let Some(ix) = self.list.iter().position(|it| it.phone.number == number) else {
            return false;
        };
        self.list[ix].seen = Some(seen);
        if self.list[ix].renewed.is_some_and(|then| at.mono.since(then) < RENEWED_EVERY) {
            return false;
        }
        let mut it = self.list.remove(ix);
        it.renewed = Some(at.mono);
        it.phone.renewed = at.believed();
        self.list.push(it);
        true
    }

    /// Takes one out; says whether it was there.
    pub(crate) fn end(&mut self, number: u32) -> bool {
        let before = self.list.len();
        self.list.retain(|it| it.phone.number != number);
        self.list.len() < before
    }

    /// Takes all out.
    pub(crate) fn end_all(&mut self) {
        self.list.clear();
    }
}

/// Whether a ticket's life is over. Only a clock that was set by a time service is believed in this:
/// a phone whose own clock is wrong by years would end all of them. Where no clock is, the browsers
/// count.
fn is_over(renewed: Option<Wall>, at: Stamp) -> bool {
    let lasts_ms = i64::try_from(TICKET_LASTS.as_millis()).unwrap_or(i64::MAX);
    at.trust == Trust::Synchronised
        && renewed
            .is_some_and(|renewed| at.wall.unix_ms().saturating_sub(renewed.unix_ms()) > lasts_ms)
}

/// What stands in the cookie of this ticket.
pub(crate) fn says(ticket: &[u8; 16]) -> String {
    format!("{:032x}", u128::from_be_bytes(*ticket))
}

fn ticket_of(says: &str) -> Option<[u8; 16]> {
    let well_formed = says.len() == 32 && says.bytes().all(|it| it.is_ascii_hexdigit());
    well_formed.then(|| u128::from_str_radix(says, 16).ok().map(u128::to_be_bytes)).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    const DAY_S: f64 = 86_400.0;

    fn at(days: f64, trust: Trust) -> Stamp {
        let wall = Wall::from_unix_ms(1_700_000_000_000).plus_s(days * DAY_S);
        Stamp { mono: Mono::at_s(100.0 + days * DAY_S), wall, trust, utc_offset_s: 0 }
    }

    fn seen(at: Stamp) -> Seen {
        Seen { at: at.mono, from: None }
    }

    fn with(count: u8) -> Phones {
        let mut phones = Phones::of(Vec::new());
        let now = at(0.0, Trust::Synchronised);
        (1..=count).for_each(|n| phones.add([n; 16], None, seen(now), now));
        phones
    }

    fn knows(phones: &Phones, ticket: u8, at: Stamp) -> bool {
        phones.find(&says(&[ticket; 16]), at).is_some()
    }

    #[test]
    fn a_ticket_lives_for_thirty_days_after_its_last_use() {
        let mut phones = with(1);
        assert!(knows(&phones, 1, at(29.9, Trust::Synchronised)));
        assert!(!knows(&phones, 1, at(30.1, Trust::Synchronised)));
        // Whose word is not good enough for that.
        assert!(knows(&phones, 1, at(30.1, Trust::Phone)));
        assert!(knows(&phones, 1, at(30.1, Trust::Unset)));
        assert!(phones.use_now(
            1,
            seen(at(20.0, Trust::Synchronised)),
            at(20.0, Trust::Synchronised)
        ));
        assert!(knows(&phones, 1, at(49.9, Trust::Synchronised)));
        assert!(!knows(&phones, 1, at(50.1, Trust::Synchronised)));
    }

    #[test]
    fn it_is_renewed_once_a_day_and_once_a_start() {
        let mut phones = with(2);
        let renew = |phones: &mut Phones, days| {
            let now = at(days, Trust::Unset);
            phones.use_now(1, seen(now), now)
        };
        assert!(!renew(&mut phones, 0.9));
        assert!(renew(&mut phones, 1.1));
        assert!(!renew(&mut phones, 1.2));
        let mut again = Phones::of(phones.kept());
        assert!(renew(&mut again, 1.3));
        assert!(!renew(&mut again, 1.3));
        let order: Vec<u32> = again.kept().iter().map(|phone| phone.number).collect();
        assert_eq!(order, [2, 1], "the one unused for longest is first");
    }

    #[test]
    fn one_more_than_there_is_room_for_takes_the_place_of_the_one_unused_for_longest() {
        let mut phones = with(32);
        let now = at(2.0, Trust::Synchronised);
        assert!(phones.use_now(1, seen(now), now));
        phones.add([99; 16], None, seen(now), now);
        assert_eq!(phones.all().len(), MOST_PHONES);
        assert!(knows(&phones, 1, now) && !knows(&phones, 2, now) && knows(&phones, 99, now));
    }

    #[test]
    fn who_is_taken_out_is_a_stranger() {
        let mut phones = with(3);
        let now = at(0.0, Trust::Unset);
        assert!(phones.end(2) && !phones.end(2));
        assert!(knows(&phones, 1, now) && !knows(&phones, 2, now));
        assert!(!phones.use_now(2, seen(now), now));
        phones.end_all();
        assert!(!knows(&phones, 1, now));
        phones.add([4; 16], None, seen(now), now);
        assert_eq!(phones.all()[0].phone.number, 4, "a number is not given twice");
    }

    #[test]
    fn what_is_no_ticket_finds_nobody() {
        let phones = with(1);
        let good = says(&[1; 16]);
        let long = format!("{good}0");
        for wrong in ["", &good[1..], &long, "+1010101010101010101010101010101"] {
            assert!(phones.find(wrong, at(0.0, Trust::Unset)).is_none(), "{wrong}");
        }
    }
}
