//! The same contact in one file twice, or written by two programs: it counts once.
//!
//! Source: ADIF 3.1.6, 'Data Types', Time: six digits or four, so that one program's 1210 is another's
//! 121042; 'Mode and Submode': the one program's submode may be the other's mode. That nobody works the
//! same station twice within a minute, on the same band and in the same mode, is common practice.

use alloc::{string::String, vec::Vec};

use super::log::Contact;

/// Closer than this two records of one call are one contact.
const WITHIN_MS: u64 = 60_000;
/// Of one call so many are looked back on: a file that has more within a minute is no log.
const MOST_BACK: usize = 16;

/// A record that counts, before it is compared with others. Its contact carries the call.
#[derive(Clone, Debug)]
pub(super) struct Taken {
    pub(super) contact: Contact,
    /// Submode and mode as they stand there, capitals.
    pub(super) modes: [Option<String>; 2],
    /// Which record of the file it is.
    pub(super) place: usize,
}

/// Each contact once, in the order of the file. Records without a call cannot be compared.
pub(super) fn once(mut taken: Vec<Taken>) -> Vec<Contact> {
    for one in &mut taken {
        if let Some(call) = &mut one.contact.with {
            call.make_ascii_uppercase();
        }
    }
    taken.sort_by(|a, b| {
        let key = |one: &Taken| one.contact.began;
        a.contact.with.cmp(&b.contact.with).then(key(a).cmp(&key(b)))
    });
    let mut kept: Vec<Taken> = Vec::with_capacity(taken.len());
    for one in taken {
        let mut back = kept.iter_mut().rev().take(MOST_BACK);
        match back.find(|other| other.is_also(&one)) {
            Some(other) => other.merge(one),
            None => kept.push(one),
        }
    }
    kept.sort_by_key(|one| one.place);
    kept.into_iter().map(|one| one.contact).collect()
}

impl Taken {
    fn is_also(&self, other: &Self) -> bool {
        let (a, b) = (&self.contact, &other.contact);
        a.with.is_some()
            && a.with == b.with
            && a.began.unix_ms().abs_diff(b.began.unix_ms()) < WITHIN_MS
            && (a.band.is_none() || b.band.is_none() || a.band == b.band)
            && self.mode_fits(other)
    }

    fn mode_fits(&self, other: &Self) -> bool {
        let mut names = self.modes.iter().flatten().peekable();
        let none = names.peek().is_none() || other.modes.iter().flatten().next().is_none();
        none || names.any(|name| other.modes.iter().flatten().any(|theirs| theirs == name))
    }

    /// What either of them knows; the time with seconds goes before the one without.
    fn merge(&mut self, other: Self) {
        self.place = self.place.min(other.place);
        let (ours, theirs) = (&mut self.contact, other.contact);
        if whole_minute(ours) && !whole_minute(&theirs) {
            ours.began = theirs.began;
        }
        ours.ended = ours.ended.or(theirs.ended).filter(|ended| *ended >= ours.began);
        ours.band = ours.band.or(theirs.band);
        ours.mode = ours.mode.take().or(theirs.mode);
    }
}

const fn whole_minute(contact: &Contact) -> bool {
    contact.began.unix_ms() % 60_000 == 0
}
