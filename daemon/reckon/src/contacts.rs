//! Contacts against energy: what a contact took, what the minutes of contact drew, how many more.

use alloc::{string::String, vec::Vec};

use crate::{
    adif::Contact,
    time::Wall,
    units::{Joules, Seconds, Watts},
};

/// A contact without an end in the log counts as so long: the exchange and the answer to it
/// (common practice, no source).
pub const USUAL: Seconds = Seconds::of(120.0);
/// No contact counts for longer: an end that was logged late would claim the listening after it.
pub const LONGEST: Seconds = Seconds::of(1800.0);
/// No more groups than bands times the modes of one outing.
const MOST_GROUPS: usize = 64;

/// A stretch of the record: from when, for how long, at what mean draw.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Beginning, on a clock that is believed.
    pub from: Wall,
    /// Length.
    pub lasted: Seconds,
    /// Mean draw over it.
    pub draw: Watts,
}

/// What one band and mode took.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// The band, if known.
    pub band: Option<&'static str>,
    /// The mode, if known.
    pub mode: Option<String>,
    /// Contacts.
    pub contacts: u32,
    /// Time in contact; where two overlap it is shared.
    pub lasted: Seconds,
    /// Taken in that time.
    pub energy: Joules,
}

impl Group {
    /// Mean draw while in contact.
    #[must_use]
    pub fn draw(&self) -> Option<Watts> {
        let lasted = self.lasted.si();
        if lasted > 0.0 { Watts::new(self.energy.si() / lasted) } else { None }
    }
}

/// Contacts laid beside the record of an outing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reckoned {
    /// Contacts that fall into the record.
    pub contacts: u32,
    /// Contacts before or after it: another outing, or a clock that was wrong.
    pub elsewhere: u32,
    /// All of the record.
    pub energy: Joules,
    /// How long it is, gaps left out.
    pub lasted: Seconds,
    /// Time in contact.
    pub in_contact: Seconds,
    /// Energy in contact.
    pub in_contact_energy: Joules,
    /// By band and mode, most contacts first.
    pub groups: Vec<Group>,
}

impl Reckoned {
    /// Energy of the whole outing for each contact, listening and calling included.
    #[must_use]
    pub fn energy_each(&self) -> Option<Joules> {
        if self.contacts == 0 { None } else { Some(self.energy / f64::from(self.contacts)) }
    }

    /// Energy in the minutes of contact for each contact.
    #[must_use]
    pub fn own_energy_each(&self) -> Option<Joules> {
        if self.contacts == 0 {
            None
        } else {
            Some(self.in_contact_energy / f64::from(self.contacts))
        }
    }

    /// Mean draw in the minutes of contact.
    #[must_use]
    pub fn draw_in_contact(&self) -> Option<Watts> {
        let lasted = self.in_contact.si();
        if lasted > 0.0 { Watts::new(self.in_contact_energy.si() / lasted) } else { None }
    }

    /// Mean draw in the rest of the time.
    #[must_use]
    pub fn draw_between(&self) -> Option<Watts> {
        let lasted = self.lasted.si() - self.in_contact.si();
        let energy = self.energy.si() - self.in_contact_energy.si();
        if lasted > 0.0 { Watts::new(energy / lasted) } else { None }
    }

    /// Contacts an hour so far.
    #[must_use]
    pub fn an_hour(&self) -> Option<f64> {
        let hours = self.lasted.si() / 3600.0;
        (hours > 0.0).then(|| f64::from(self.contacts) / hours)
    }

    /// Contacts that the remaining energy still carries at the energy of each so far; a middle
    /// and an 80 % range that comes from counting alone: with `n` contacts seen, the rate is
    /// gamma-distributed with shape `n + 1/2` (Jeffreys), here by Wilson and Hilferty's cube root
    /// (PNAS 17, 1931). `None` below three contacts.
    #[must_use]
    pub fn still_possible(&self, left: Joules) -> Option<[f64; 3]> {
        if self.contacts < 3 || self.energy.si() <= 0.0 || left.si() < 0.0 {
            return None;
        }
        let shape = f64::from(self.contacts) + 0.5;
        let at = |z: f64| {
            let cube = 1.0 - 1.0 / (9.0 * shape) + z / (3.0 * libm::sqrt(shape));
            shape * cube * cube * cube / self.energy.si() * left.si()
        };
        Some([at(-1.281_551_565_5), at(0.0), at(1.281_551_565_5)])
    }
}

/// Lays a log beside a record whose stretches are in order of time and do not overlap.
#[must_use]
pub fn reckon(contacts: &[Contact], record: &[Stretch]) -> Reckoned {
    let mut spans: Vec<Span<'_>> = contacts.iter().map(Span::from_contact).collect();
    spans.sort_by_key(|span| span.from_ms);
    let mut all = Reckoned::default();
    let (Some(first), Some(last)) = (record.first(), record.last()) else {
        all.elsewhere = u32::try_from(contacts.len()).unwrap_or(u32::MAX);
        return all;
    };
    let (from_ms, to_ms) = (first.from.unix_ms(), last.from.plus_s(last.lasted.si()).unix_ms());
    for span in &spans {
        if span.from_ms < from_ms || span.from_ms >= to_ms {
            all.elsewhere = all.elsewhere.saturating_add(1);
            continue;
        }
        all.contacts = all.contacts.saturating_add(1);
        if let Some(group) = group_of(&mut all.groups, span.contact) {
            group.contacts = group.contacts.saturating_add(1);
        }
    }
    share_out(&mut all, &spans, record);
    all.groups.sort_by_key(|group| core::cmp::Reverse(group.contacts));
    all.groups.retain(|group| group.contacts > 0);
    all
}

/// The stretches in which at least one contact was on, in order; those that meet are one.
#[must_use]
pub fn stretches(contacts: &[Contact]) -> Vec<(Wall, Wall)> {
    let mut spans: Vec<Span<'_>> = contacts.iter().map(Span::from_contact).collect();
    spans.sort_by_key(|span| span.from_ms);
    let mut all: Vec<(Wall, Wall)> = Vec::new();
    for span in spans {
        let (from, to) = (Wall::from_unix_ms(span.from_ms), Wall::from_unix_ms(span.to_ms));
        match all.last_mut().filter(|last| from <= last.1) {
            Some(last) => last.1 = last.1.max(to),
            None => all.push((from, to)),
        }
    }
    all
}

/// When a contact begins and ends, milliseconds.
struct Span<'a> {
    from_ms: i64,
    to_ms: i64,
    contact: &'a Contact,
}

impl<'a> Span<'a> {
    fn from_contact(contact: &'a Contact) -> Self {
        let usual = contact.began.plus_s(USUAL.si());
        // A log in whole minutes often has the same minute twice.
        let ended = contact.ended.filter(|ended| *ended > contact.began).unwrap_or(usual);
        let longest = contact.began.plus_s(LONGEST.si());
        Self { from_ms: contact.began.unix_ms(), to_ms: ended.min(longest).unix_ms(), contact }
    }
}

/// Gives each stretch's energy to the contacts that are on in it, in equal parts.
fn share_out(all: &mut Reckoned, spans: &[Span<'_>], record: &[Stretch]) {
    let mut next = 0;
    let mut on: Vec<&Span<'_>> = Vec::new();
    for stretch in record {
        let lasted_s = stretch.lasted.si();
        if lasted_s <= 0.0 {
            continue;
        }
        all.lasted = all.lasted + stretch.lasted;
        all.energy = all.energy + stretch.draw * stretch.lasted;
        // Long stretches are cut in seconds, so that a contact may begin inside one.
        let mut done_s = 0.0;
        while done_s < lasted_s {
            let piece_s = (lasted_s - done_s).min(1.0);
            let middle = stretch.from.plus_s(done_s + piece_s / 2.0).unix_ms();
            while let Some(span) = spans.get(next).filter(|span| span.from_ms <= middle) {
                on.push(span);
                next += 1;
            }
            on.retain(|span| span.to_ms > middle);
            give(all, &on, piece_s, stretch.draw);
            done_s += piece_s;
        }
    }
}

#[expect(clippy::cast_precision_loss, reason = "contacts at one moment are few")]
fn give(all: &mut Reckoned, on: &[&Span<'_>], piece_s: f64, draw: Watts) {
    if on.is_empty() {
        return;
    }
    let piece = Seconds::of(piece_s);
    all.in_contact = all.in_contact + piece;
    all.in_contact_energy = all.in_contact_energy + draw * piece;
    let part = piece / on.len() as f64;
    for span in on {
        if let Some(group) = group_of(&mut all.groups, span.contact) {
            group.lasted = group.lasted + part;
            group.energy = group.energy + draw * part;
        }
    }
}

fn group_of<'a>(groups: &'a mut Vec<Group>, contact: &Contact) -> Option<&'a mut Group> {
    let band = contact.band.map(|band| band.name);
    let found = groups.iter().position(|group| group.band == band && group.mode == contact.mode);
    let at = match found {
        Some(at) => at,
        None if groups.len() < MOST_GROUPS => {
            groups.push(Group {
                band,
                mode: contact.mode.clone(),
                contacts: 0,
                lasted: Seconds::ZERO,
                energy: Joules::ZERO,
            });
            groups.len() - 1
        }
        None => return None,
    };
    groups.get_mut(at)
}

#[cfg(test)]
mod tests;
