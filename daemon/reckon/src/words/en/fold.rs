//! The period of a timed mode, and what load and accessories draw.

use alloc::{format, string::String};

use super::numbers::{TIE, ago, clock_time, energy, percent, power, span};
use crate::{
    energy_tally::RegressionLine,
    fold::{Fold, Kind, Part},
    snapshot::{Folded, Switched},
    time::Stamp,
    units::{Seconds, Watts},
};

/// `A period of 15 s stands out, as FT8 or JS8 have it; 42 of 240 slots were sent in.`
pub fn fold(found: &Fold) -> String {
    let slot = seconds(found.slot_s);
    let turns = found.period_s > found.slot_s * 1.5;
    let period = if turns {
        format!("The draw repeats every {}, two slots of {slot}", seconds(found.period_s))
    } else {
        format!("The draw repeats every {slot}")
    };
    let mode = found.mode.map_or_else(String::new, |mode| format!(", like {}", mode.name));
    let sent = match found.sent {
        _ if !found.is_apart() => "; its parts cannot be told apart".into(),
        0 => "; this sensor shows no transmission".into(),
        sent => format!("; you transmitted in {sent} of {} slots", found.slots),
    };
    format!("{period}{mode}{sent}.")
}

/// `Transmit: 10.2 W on top for 12.7 s a time, 21 % of the time, 34 % of the energy (2.1 Wh)`.
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
                "{name}: {about}{} more for {} at a time, {} of the time, {share} of the energy \
                 ({taken})",
                power(part.watts),
                seconds(part.lasts_s),
                percent(part.time),
            )
        }
    }
}

/// `With idle cores 2.4 W would be drawn; all of them busy take 3.0 W more, give or take 0.1 W.`
pub fn load(line: &RegressionLine) -> String {
    if !line.is_possible_draw() {
        return "The processor load changed too little to tell what it draws.".into();
    }
    format!(
        "With its cores idle the board would draw {}; all of them busy draw {} more (±{TIE}{}).",
        power(Watts::of(line.intercept)),
        power(Watts::of(line.slope)),
        power(Watts::of(line.slope_se * 2.0)),
    )
}

/// `Fan: 0.62 W more, give or take 0.05 W`, or that no difference can be told.
pub fn marked(name: &str, difference: Watts, error: Watts) -> String {
    let give = power(error * 2.0);
    if difference.abs() <= error * 2.0 {
        return format!("{name}: no measurable difference (under {give})");
    }
    let way = if difference.si() > 0.0 { "more" } else { "less" };
    format!("{name}: {} {way} (±{TIE}{give})", power(difference.abs()))
}

/// Of which stretch a fold is: `Folded from 10:10 to 11:10, doing contacts.`
pub fn folded_from(folded: &Folded, at: Stamp) -> String {
    let doing = folded
        .doing
        .as_ref()
        .map_or_else(String::new, |name| format!(", doing {}", name.to_lowercase()));
    match (clock_time(folded.from, at), clock_time(folded.to, at)) {
        (Some(from), Some(to)) => format!("Averaged from {from} to {to}{doing}."),
        _ => {
            let (long, since) = (folded.to.seconds_since(folded.from), ago(folded.to, at.mono));
            format!("Averaged over {}, until {since}{doing}.", span(long))
        }
    }
}

sentences! {
    /// What lies under this: `How the draw goes in 15 s`.
    fold_title(found: &Fold) = "The draw over one period of {}", seconds(found.period_s);
    /// The title of the drawing of a period.
    ONE_PERIOD = "The draw over one period";
}

/// An accessory switched by a mark: `Fan on: 0.62 W more, give or take 0.05 W`.
pub fn switched(one: &Switched) -> String {
    let mut letters = one.mark.chars();
    let first = letters.next().into_iter().flat_map(char::to_uppercase);
    let name: String = first.chain(letters).collect();
    marked(&name, one.difference, one.error)
}

/// What the curve of a fold shows: `The draw over one period of 15 s, between 2.9 W and 4.5 W.`
pub fn fold_curve(period: Seconds, low: Watts, high: Watts) -> String {
    let period = seconds(period.si());
    format!("The draw over one period of {period}, between {} and {}.", power(low), power(high))
}

/// Seconds of a slot or a part of it: `15 s`, `7.5 s`, `12.6 s`.
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
        fold::MODES,
        units::{Joules, Share},
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
            "The draw repeats every 30 s, two slots of 15 s, like FT8 or JS8; you transmitted in \
             42 of 240 slots."
        );
        let untold = Fold { sent: 0, mode: None, parts: alloc::vec![receive], ..found };
        assert!(said(&fold(&untold)).ends_with("15 s; its parts cannot be told apart."));
        assert_eq!(
            said(&part(&transmit)),
            "Transmit: 10.2 W more for 12.7 s at a time, 21 % of the time, 34 % of the energy \
             (2.10 Wh)"
                .replace("2.10", "2.1")
        );
        assert_eq!(said(&seconds(7.5)), "7.5 s");
        assert_eq!(said(&seconds(120.0)), "2 min");
    }

    #[test]
    fn accessories_and_load_are_said_with_their_error() {
        let of = Watts::of;
        assert_eq!(said(&marked("Fan", of(0.62), of(0.025))), "Fan: 0.62 W more (± 0.05 W)");
        assert!(marked("Fan", of(0.02), of(0.025)).contains("no measurable difference"));
        assert!(said(&marked("Display", of(-1.2), of(0.1))).contains("1.2 W less"));
    }
}
