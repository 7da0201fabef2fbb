//! The three sentences that a report opens with: how long it lasted, what it took, what is worth doing
//! next time. Each begins with the words that matter most.

use alloc::{format, string::String};

use super::{
    calendar::Local,
    numbers::{TIE, celsius, energy, left, or_more, power, range, span, volts},
    outing::OutingEnd,
};
use crate::{
    record::Ending,
    report::{Advice, OutingReport},
    units::{Joules, Seconds, Watts},
};

/// A sentence: its first words, and the rest.
pub type Opening = (String, String);

/// A moment of an outing: the time of day where that is known, else how far into it.
fn moment(began: Option<Local>, at: Seconds) -> String {
    let Some(began) = began else { return span(at) };
    let then = began.plus_s(at.si());
    let day = if then.same_day(began) { String::new() } else { format!(" on {}", then.weekday()) };
    format!("{}{day}", then.hour_minute())
}

/// How long it lasted, against the finish: `It lasted 8 h 39`, `, to 17:49; the finish at 17:45 was
/// reached.`
pub fn how_long(told: &OutingReport, began: Option<Local>) -> Opening {
    let line = &told.whole.outing;
    let (lasted, ended) = (span(Seconds::of(line.lasted_s)), told.ended());
    let open = line.ending == Ending::Open;
    let to = match (open, began) {
        (false, Some(_)) => format!(", to {}", moment(began, ended)),
        _ => String::new(),
    };
    let begin = if open { "It has lasted " } else { "It lasted " };
    let finish = told.finish().map_or_else(String::new, |finish| {
        let at = match began {
            Some(_) => format!("at {}", moment(began, finish)),
            None => format!("after {}", span(finish)),
        };
        let short = match began {
            Some(began) => began.printed_between(ended, finish),
            None => finish - ended,
        };
        match (open, line.ending) {
            (true, _) => format!("; the finish is {at}"),
            _ if short.si() < 60.0 => format!("; the finish {at} was reached"),
            (_, Ending::Died) => format!(", {} short of the finish {at}", span(short)),
            _ => format!(", {} before the finish {at}", span(short)),
        }
    });
    let so_far = if open { " so far" } else { "" };
    (format!("{begin}{lasted}{so_far}"), format!("{to}{finish}."))
}

/// What it took, and from what: `It took 26.6 Wh`, ` from Blue ten, which then was empty.`
pub fn what_it_took(told: &OutingReport, end: OutingEnd) -> Opening {
    let line = &told.whole.outing;
    let from = line.bank.as_ref().map_or_else(String::new, |bank| format!(" from {bank}"));
    let the_bank = line.bank.is_some();
    let then = match end {
        OutingEnd::Open => " so far",
        OutingEnd::Died if the_bank => ", which then was empty",
        OutingEnd::Died => "; then the bank was empty",
        OutingEnd::SwitchedOff => "; then the board was switched off",
        OutingEnd::PowerLost(_) => "; then the power was lost",
        OutingEnd::Unplugged => "; then the plug was pulled",
        OutingEnd::Swapped => "; then another bank took over",
    };
    let Some(wh) = line.energy_wh else {
        return ("What it took is not known".into(), format!("{then}."));
    };
    let least = or_more(line.is_at_least());
    let took = if end == OutingEnd::Open { "It has taken" } else { "It took" };
    (format!("{took} {least}{}", energy(Joules::from_wh(wh))), format!("{from}{then}."))
}

/// What is worth doing next time.
pub fn next_time(advice: &Advice, bank: Option<&str>, began: Option<Local>) -> Opening {
    let bank = bank.unwrap_or("the bank");
    let said = match *advice {
        Advice::Short { finish, drew, enough, more } => {
            let to = match began {
                Some(_) => format!("until {}", moment(began, finish)),
                None => span(finish),
            };
            lasts(&to, &two_digits(enough), &two_digits(drew), &energy(more))
        }
        Advice::SupplyTooLow { times, lowest } => {
            let times = match times {
                1 => "once".into(),
                times => format!("{times} times"),
            };
            let to = lowest.map_or_else(String::new, |low| format!(", to {}", volts(low)));
            better_cable(&times, &to)
        }
        Advice::Hot { reached } => cooler(&celsius(reached)),
        Advice::Learned { wh, at } => {
            let hours = wh.map(|wh| Seconds::of(Joules::from_wh(wh).si() / at.si()));
            let (low, high) = (energy(Joules::from_wh(wh[0])), energy(Joules::from_wh(wh[2])));
            count_on(&range(hours), &bank, &power(at), &low, &high)
        }
        Advice::Spare(remaining) => {
            let width = remaining[2] - remaining[0];
            room(&left(remaining[1], width), &bank, &range(remaining))
        }
        Advice::Silent(silent) => plug(&span(silent)),
    };
    (NEXT_TIME.into(), said)
}

/// Watts to two digits and more: what is asked for must differ from what was.
fn two_digits(watts: Watts) -> String {
    if watts.si() < 9.995 { format!("{:.2}{TIE}W", watts.si()) } else { power(watts) }
}

sentences! {
    NEXT_TIME = "Next time";
    lasts(to, enough, drew, more) = " draw {enough} on average where it was {drew}, or bring \
        {more} more, to last {to}.";
    better_cable(times, to) = " use a shorter or thicker supply cable: the supply was too low \
        {times}{to}.";
    cooler(reached) = " give the board shade and air: its processor reached {reached} and slowed \
        down.";
    count_on(hours, bank, at, low, high) = " expect {hours} from a full {bank} at {at}: it gives \
        {low} to {high}.";
    room(middle, bank, range) = " there is room for about {middle} more: {bank} still had \
        {range}.";
    plug(silent) = " check the sensor's plug: nothing was read for {silent}.";
}
