//! The outing in words: folds, energy book, contact log and its faults.

use alloc::{
    format,
    string::{String, ToString},
};

use super::numbers::{TIE, ago, clock_time, energy, percent, power, span};
use crate::{
    adif::{Complaint, Fault, Log, MOST_BYTES, MOST_KEPT, MOST_RECORDS},
    contacts::Reckoned,
    energy_tally::{EnergyTally, RegressionLine},
    fold::{Fold, Kind, Part},
    snapshot::{Folded, Switched},
    time::Stamp,
    units::{Joules, Seconds, Share, Watts},
};

/// `A period of 15 s stands out, as FT8 or JS8 have it; 42 of 240 slots were sent in.`
#[must_use]
pub fn fold(found: &Fold) -> String {
    let slot = seconds(found.slot_s);
    let turns = found.period_s > found.slot_s * 1.5;
    let period = if turns {
        format!("A period of {} stands out, two slots of {slot}", seconds(found.period_s))
    } else {
        format!("A period of {slot} stands out")
    };
    let mode = found.mode.map_or_else(String::new, |mode| format!(", as {} has it", mode.name));
    let sent = match found.sent {
        _ if found.parts.len() < 2 => "; what it is made of cannot be told".to_string(),
        0 => "; no transmission can be seen on this sensor".to_string(),
        sent => format!("; {sent} of {} slots were sent in", found.slots),
    };
    format!("{period}{mode}{sent}.")
}

/// `Transmit: 10.2 W on top for 12.7 s a time, 21 % of the time, 34 % of the energy (2.1 Wh)`.
#[must_use]
pub fn part(part: &Part) -> String {
    let share = percent(part.share);
    let taken = energy(part.energy);
    match part.kind {
        Kind::Receive => {
            format!("Receive: {} all the time, {share} of the energy ({taken})", power(part.watts))
        }
        Kind::Transmit | Kind::Decode => {
            let name = if part.kind == Kind::Transmit { "Transmit" } else { "Decode" };
            let about = if part.bridged { "about " } else { "" };
            format!(
                "{name}: {about}{} on top for {} a time, {} of the time, {share} of the energy \
                 ({taken})",
                power(part.watts),
                seconds(part.lasts_s),
                percent(part.time),
            )
        }
    }
}

/// `12.4 Wh in 3 h 20, mean 3.7 W, below 8.1 W for 95 % of the time, peak 14.2 W`.
#[must_use]
pub fn page(page: &EnergyTally) -> String {
    let (Some(mean), Some(p95)) = (page.mean(), page.p95()) else {
        return "nothing was measured".to_string();
    };
    format!(
        "{} in {}, mean {}, below {} for 95{TIE}% of the time, peak {}",
        energy(page.energy()),
        span(page.lasted()),
        power(mean),
        power(p95),
        power(page.peak()),
    )
}

/// `With idle cores 2.4 W would be drawn; all of them busy take 3.0 W more, give or take 0.1 W.`
#[must_use]
pub fn load(line: &RegressionLine) -> String {
    if line.slope <= 2.0 * line.slope_se {
        return "The load changed too little to say what it takes.".to_string();
    }
    format!(
        "With idle cores {} would be drawn; all of them busy take {} more, give or take {}.",
        power(Watts::of(line.intercept)),
        power(Watts::of(line.slope)),
        power(Watts::of(line.slope_se * 2.0)),
    )
}

/// `Fan: 0.62 W more, give or take 0.05 W`, or that no difference can be told.
#[must_use]
pub fn marked(name: &str, difference: Watts, error: Watts) -> String {
    let give = power(error * 2.0);
    if difference.abs() <= error * 2.0 {
        return format!("{name}: no difference that can be told from chance (under {give})");
    }
    let way = if difference.si() > 0.0 { "more" } else { "less" };
    format!("{name}: {} {way}, give or take {give}", power(difference.abs()))
}

/// `31 contacts, 0.42 Wh each with all the listening, 0.11 Wh in the minutes of contact.`
#[must_use]
pub fn contacts(all: &Reckoned) -> String {
    let (Some(each), Some(own)) = (all.energy_each(), all.own_energy_each()) else {
        return "No contact of the log falls into this outing.".to_string();
    };
    let plural = if all.contacts == 1 { "contact" } else { "contacts" };
    let elsewhere = match all.elsewhere {
        0 => String::new(),
        1 => " One more in the log falls outside it.".to_string(),
        more => format!(" {more} more in the log fall outside it."),
    };
    format!(
        "{} {plural}, {} each with all the listening, {} in the minutes of contact.{elsewhere}",
        all.contacts,
        energy(each),
        energy(own),
    )
}

/// `In contact 8.1 W, in between 3.2 W`.
#[must_use]
pub fn contact_draw(all: &Reckoned) -> Option<String> {
    let (within, between) = (all.draw_in_contact()?, all.draw_between()?);
    Some(format!("In contact {}, in between {}", power(within), power(between)))
}

/// `At this rate the bank carries 40 to 60 more contacts.`
#[must_use]
pub fn contacts_left(all: &Reckoned, left: Joules) -> Option<String> {
    let [low, _, high] = all.still_possible(left)?;
    let (low, high) = (libm::floor(low), libm::ceil(high));
    if high < 1.0 {
        return Some(String::from("At this rate the bank carries no more contacts."));
    }
    Some(format!("At this rate the bank carries {low:.0} to {high:.0} more contacts."))
}

/// `31 contacts read, 2 records left out.`
#[must_use]
pub fn log_read(log: &Log) -> String {
    let read = contacts_read(log.contacts.len(), log.bad);
    if log.contacts.len() <= MOST_KEPT {
        return read;
    }
    format!("{read} Only the newest {MOST_KEPT} of them are kept: export this outing alone.")
}

/// The same, of how many were read and how many left out.
#[must_use]
pub fn contacts_read(contacts: usize, bad: usize) -> String {
    let plural = |n: usize, one: &str, many: &str| {
        if n == 1 { format!("1 {one}") } else { format!("{n} {many}") }
    };
    let read = plural(contacts, "contact", "contacts");
    match bad {
        0 => format!("{read} read."),
        bad => format!("{read} read, {} left out.", plural(bad, "record", "records")),
    }
}

/// `Line 12, record 3: the date '20240532' is no day. It is left out; put it right in the log
/// program and read the file again.`
#[must_use]
pub fn complaint(complaint: &Complaint) -> String {
    let place = match complaint.record {
        Some(record) => format!("Line {}, record {record}", complaint.line),
        None => format!("Line {}", complaint.line),
    };
    let what = match &complaint.fault {
        Fault::NoTime => "there is no date or no time of beginning".to_string(),
        Fault::BadDate(text) => format!("the date '{text}' is no day"),
        Fault::BadTime(text) => format!("the time '{text}' is no time of day"),
        Fault::BadTag(tag) => format!("the field '{tag}' cannot be read"),
        Fault::CutOff(tag) => format!("the field '{tag}' is shorter than it says"),
        Fault::Unfinished => "it ends in the middle".to_string(),
        Fault::TooMany => {
            return format!("{place}: only the first {MOST_RECORDS} records were read.");
        }
        Fault::NotALog => {
            return "This is no contact log. Nothing was read; export it as ADIF (.adi or .adx)."
                .to_string();
        }
        Fault::TooLarge => {
            return format!(
                "The file is larger than {} MB. Nothing was read; export this outing alone.",
                MOST_BYTES >> 20
            );
        }
    };
    format!(
        "{place}: {what}. This contact is not counted; put it right in the log program and read \
         the file again."
    )
}

/// The daemon's own draw: `outlast itself takes 1.5 mW`.
#[must_use]
pub fn own_draw(own: Watts, of_all: Share) -> String {
    let milliwatts = own.si() * 1000.0;
    let digits = usize::from(milliwatts < 9.95);
    format!("outlast itself takes {milliwatts:.digits$}{TIE}mW, {} of the draw", tenths(of_all))
}

fn tenths(share: Share) -> String {
    let part = share.part() * 100.0;
    if part < 0.05 { format!("under 0.1{TIE}%") } else { format!("{part:.1}{TIE}%") }
}

/// Of which stretch a fold is: `Folded from 10:10 to 11:10, doing contacts.`
#[must_use]
pub fn folded_from(folded: &Folded, at: Stamp) -> String {
    let doing = folded
        .doing
        .as_ref()
        .map_or_else(String::new, |name| format!(", doing {}", name.to_lowercase()));
    match (clock_time(folded.from, at), clock_time(folded.to, at)) {
        (Some(from), Some(to)) => format!("Folded from {from} to {to}{doing}."),
        _ => {
            let (long, since) = (folded.to.seconds_since(folded.from), ago(folded.to, at.mono));
            format!("Folded over {}, {since}{doing}.", span(long))
        }
    }
}

/// What lies under this: `How the draw goes in 15 s`.
#[must_use]
pub fn fold_title(found: &Fold) -> String {
    format!("How the draw goes in {}", seconds(found.period_s))
}

/// An accessory switched by a mark: `Fan on: 0.62 W more, give or take 0.05 W`.
#[must_use]
pub fn switched(one: &Switched) -> String {
    let mut letters = one.mark.chars();
    let first = letters.next().into_iter().flat_map(char::to_uppercase);
    let name: String = first.chain(letters).collect();
    marked(&name, one.difference, one.error)
}

/// What the curve of a fold shows: `The draw over one period of 15 s, between 2.9 W and 4.5 W.`
#[must_use]
pub fn fold_curve(period: Seconds, low: Watts, high: Watts) -> String {
    let period = seconds(period.si());
    format!("The draw over one period of {period}, between {} and {}.", power(low), power(high))
}

/// Seconds of a slot or a part of it: `15 s`, `7.5 s`, `12.6 s`.
#[must_use]
pub fn seconds(time_s: f64) -> String {
    let tenths = libm::round(time_s * 10.0) / 10.0;
    if tenths >= 60.0 && libm::fmod(tenths, 60.0) == 0.0 {
        return span(Seconds::of(tenths));
    }
    let digits = usize::from(libm::fmod(tenths, 1.0) != 0.0);
    format!("{tenths:.digits$}{TIE}s")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        adif::{Keep, read},
        fold::MODES,
    };

    fn said(text: &str) -> String {
        text.replace(TIE, " ")
    }

    #[test]
    fn a_fold_is_said() {
        let transmit = Part {
            kind: Kind::Transmit,
            watts: Watts::of(10.24),
            time: Share::nearest(0.21),
            share: Share::nearest(0.34),
            energy: Joules::from_wh(2.1),
            begins_s: 0.5,
            lasts_s: 12.66,
            bridged: false,
        };
        let receive = Part { kind: Kind::Receive, ..transmit };
        let found = Fold {
            period_s: 30.0,
            slot_s: 15.0,
            mode: MODES.iter().find(|mode| mode.slot_s == 15.0),
            chance: 1e-9,
            curve: alloc::vec![],
            parts: alloc::vec![receive, transmit],
            seconds: 3600.0,
            energy: Joules::from_wh(6.2),
            sent: 42,
            slots: 240,
        };
        assert_eq!(
            said(&fold(&found)),
            "A period of 30 s stands out, two slots of 15 s, as FT8 or JS8 has it; 42 of 240 \
             slots were sent in."
        );
        let untold = Fold { sent: 0, mode: None, parts: alloc::vec![receive], ..found };
        assert!(said(&fold(&untold)).ends_with("15 s; what it is made of cannot be told."));
        assert_eq!(
            said(&part(&transmit)),
            "Transmit: 10.2 W on top for 12.7 s a time, 21 % of the time, 34 % of the energy \
             (2.10 Wh)"
                .replace("2.10", "2.1")
        );
        assert_eq!(said(&seconds(7.5)), "7.5 s");
        assert_eq!(said(&seconds(120.0)), "2 min");
    }

    #[test]
    fn accessories_and_load_are_said_with_their_error() {
        let of = Watts::of;
        assert_eq!(
            said(&marked("Fan", of(0.62), of(0.025))),
            "Fan: 0.62 W more, give or take 0.05 W"
        );
        assert!(marked("Fan", of(0.02), of(0.025)).contains("no difference"));
        assert!(said(&marked("Display", of(-1.2), of(0.1))).contains("1.2 W less"));
        assert_eq!(
            said(&own_draw(of(0.0015), Share::nearest(0.0005))),
            "outlast itself takes 1.5 mW, 0.1 % of the draw"
        );
    }

    #[test]
    fn a_log_is_said_with_its_faults() {
        let log = read(
            b"<QSO_DATE:8>20240532<TIME_ON:4>1201<EOR>\n<QSO_DATE:8>20240501<TIME_ON:4>1201<EOR>",
            Keep::default(),
        );
        assert_eq!(log_read(&log), "1 contact read, 1 record left out.");
        assert_eq!(
            complaint(&log.complaints[0]),
            "Line 1, record 1: the date '20240532' is no day. This contact is not counted; put it \
             right in the log program and read the file again."
        );
        assert!(complaint(&read(b"x", Keep::default()).complaints[0]).contains("no contact log"));
        assert_eq!(contacts(&Reckoned::default()), "No contact of the log falls into this outing.");
    }

    #[test]
    fn a_page_is_said() {
        let mut sheet = EnergyTally::default();
        assert_eq!(page(&sheet), "nothing was measured");
        sheet.add(Seconds::of(12_000.0), Watts::of(3.72));
        assert_eq!(
            said(&page(&sheet)).split(", below").next(),
            Some("12.4 Wh in 3 h 20, mean 3.7 W")
        );
    }
}
