//! A past outing's report in words: the energy book, ranges, folds summed, forecasts against what
//! came, what was learned, and what was put right afterwards.

use super::{
    calendar::{Local, capital},
    fold::{load, marked},
    numbers::{
        TIE, bare, celsius, energy, energy_parts, left, percent, power, range, shows_beside, span,
        volts,
    },
    outing::moment_of,
};
use crate::{
    contacts::Reckoned,
    energy_tally::EnergyTally,
    fold::{Fold, Total},
    record::{EnergyPart, Unread},
    report::{
        ForecastOutcome, Forecasts, JudgedForecast, LoadShare, MarkedChange, MinMeanMax, Report,
        Truth,
    },
    units::{Celsius, Joules, Seconds, Share, Volts, Watts},
};
use alloc::{format, string::String, vec::Vec};

/// The heads of the energy book's columns.
pub const BOOK_HEAD: [&str; 5] = ["Wh", "time", "mean W", "95 % W", "peak W"];

/// A page of the energy book, a cell for each column; the units stand in the head.
pub fn book_row(page: &EnergyTally) -> [String; 5] {
    let watts = |watts: Option<_>| watts.map_or("–".into(), |it| bare(&power(it)).into());
    [
        bare(&energy(page.energy())).into(),
        span(page.lasted()),
        watts(page.mean()),
        watts(page.p95()),
        watts(page.mean().map(|_| page.peak())),
    ]
}

/// The energy book: its pages, what was taken while nobody read, and all of it last. What is said of
/// the parts adds up to what is said of all.
pub fn book(
    pages: Vec<(String, &EnergyTally)>,
    besides: &[(String, EnergyPart)],
    read: &EnergyTally,
    all: Joules,
) -> Vec<(String, [String; 5])> {
    let joules = |part: &EnergyPart| Joules::from_wh(part.energy_wh);
    let parts: Vec<Joules> = pages
        .iter()
        .map(|(_, page)| page.energy())
        .chain(besides.iter().map(|(_, part)| joules(part)))
        .collect();
    let mut lines: Vec<(String, [String; 5])> = pages
        .into_iter()
        .map(|(name, page)| (name, book_row(page)))
        .chain(besides.iter().map(|(name, part)| (name.clone(), unread_row(part))))
        .collect();
    for ((_, cells), energy) in lines.iter_mut().zip(energy_parts(all, &parts)) {
        cells[0] = energy;
    }
    let lasted_s = read.lasted().si() + besides.iter().map(|it| it.1.lasted_s).sum::<f64>();
    let mut cells = book_row(read);
    cells[0] = bare(&energy(all)).into();
    cells[1] = span(Seconds::of(lasted_s));
    cells[2] = mean_w(all, lasted_s);
    lines.push((ALL.into(), cells));
    lines
}

fn unread_row(part: &EnergyPart) -> [String; 5] {
    let none = || "–".into();
    let lasted = span(Seconds::of(part.lasted_s));
    let mean = mean_w(Joules::from_wh(part.energy_wh), part.lasted_s);
    [none(), if part.lasted_s > 0.0 { lasted } else { none() }, mean, none(), none()]
}

fn mean_w(energy: Joules, lasted_s: f64) -> String {
    let mean = Watts::new(energy.si() / lasted_s);
    mean.map_or_else(|| "–".into(), |mean| bare(&power(mean)).into())
}

/// What an outing took while nobody read, and what it was once said to have taken beyond that.
pub fn besides(report: &Report) -> Vec<(String, EnergyPart)> {
    let named = |why| match why {
        Unread::Starting => "board starting",
        Unread::NotRunning => "outlast not running",
        Unread::NoReading => "no reading",
        Unread::NotKept => "not on the card",
    };
    let mut parts: Vec<(String, EnergyPart)> =
        report.unread().map(|(why, part)| (named(why).into(), part)).collect();
    if shows_beside(report.difference(), report.all()) {
        let energy_wh = report.difference().wh();
        parts.push((NO_LONGER_TOLD.into(), EnergyPart { lasted_s: 0.0, energy_wh }));
    }
    parts
}

/// Whether a part is more than nothing, to as many digits as the whole is said with.
pub fn is_worth_a_line(part: Joules, all: Joules) -> bool {
    shows_beside(part, all)
}

/// What the columns mean.
pub fn book_note(coarsest: Seconds) -> String {
    columns_mean(&if coarsest.si() <= 15.0 { "ten-second".into() } else { span(coarsest) })
}

/// An hour of the outing: the time of day it began at, where that is known.
pub fn book_hour(began: Option<Local>, hour: usize) -> String {
    let after = u32::try_from(hour).map_or(0.0, f64::from) * 3600.0;
    match began {
        Some(began) => began.plus_s(after).hour_minute(),
        None => format!("hour {}", hour + 1),
    }
}

/// What of the book was not measured.
pub fn not_measured(report: &Report) -> Vec<String> {
    let modelled = &report.modelled;
    let all = modelled.lasted().si() >= 0.999 * report.tally.whole().lasted().si();
    match (modelled.lasted().si() > 0.0, all) {
        (false, _) => Vec::new(),
        (_, true) => Vec::from([ALL_ESTIMATED.into()]),
        (_, false) => Vec::from([estimated(&energy(modelled.energy()), &span(modelled.lasted()))]),
    }
}

/// `31 to 58 °C, 44 °C on average`.
pub fn temperatures(seen: &MinMeanMax<Celsius>) -> String {
    low_to_high(&celsius(seen.low), &celsius(seen.high), &celsius(seen.mean))
}

/// `4.92 to 5.14 V, 5.08 V on average`.
pub fn supplies(seen: &MinMeanMax<Volts>) -> String {
    low_to_high(&volts(seen.low), &volts(seen.high), &volts(seen.mean))
}

/// A slot's folds summed: `Over 3 h 10: 12.4 Wh, of that receive 8.0 Wh, transmit 3.1 Wh, decode
/// 1.3 Wh`.
pub fn folded(total: &Total) -> String {
    let parts: Vec<(&str, Joules)> = [
        ("receive", total.receive),
        ("transmit", total.transmit),
        ("decode", total.decode),
        ("not told apart", total.untold),
    ]
    .into_iter()
    .filter(|(_, part)| part.si() > 0.0 && total.is_apart())
    .collect();
    let energies: Vec<Joules> = parts.iter().map(|part| part.1).collect();
    let said: Vec<String> = parts
        .iter()
        .zip(energy_parts(total.energy, &energies))
        .map(|((name, _), energy)| format!("{name} {energy}{TIE}Wh"))
        .collect();
    let of = if said.is_empty() { String::new() } else { format!(", of that {}", said.join(", ")) };
    format!("Over {}: {}{of}.", span(total.lasted), energy(total.energy))
}

/// How good the forecasts were, and what the truth is that they are held against.
pub fn foretold(all: &Forecasts) -> Vec<String> {
    if all.all.is_empty() {
        return Vec::new();
    }
    match all.truth {
        Truth::Open { .. } => Vec::from([TOLD_WHEN_EMPTY.into()]),
        Truth::Died { within, .. } => {
            let miss = all.middle_off.zip(all.middle_off_share);
            let known = (within.si() >= 1.0).then(|| end_known_to(&span(within)));
            [forecasts(all.held, all.judged, miss)].into_iter().chain(known).collect()
        }
        Truth::AtLeast { .. } => {
            let told = match (all.judged, all.all.len()) {
                (0, _) => "That proves no forecast wrong.".into(),
                (1, count) => format!("Even so, one of {count} forecasts was too short."),
                (short, count) => format!("Even so, {short} of {count} forecasts were too short."),
            };
            Vec::from([AT_LEAST_KNOWN.into(), told])
        }
    }
}

/// One forecast against what came: `between 5 h 50 and 7 h 30; it was 6 h 40: held, its middle
/// 10 min too long`.
pub fn forecast_came(it: &JudgedForecast) -> String {
    let known = it.came.filter(|_| it.off.is_some());
    let said = forecast_then(it.made.remaining_s.map(Seconds::of), known);
    let outcome = match it.outcome {
        ForecastOutcome::Held => ": held",
        ForecastOutcome::Sooner => ": missed, it came sooner",
        ForecastOutcome::Later if known.is_some() => ": missed, it came later",
        ForecastOutcome::Later => "; it was more than that",
        ForecastOutcome::Open => "",
    };
    let off = it.off.map_or_else(String::new, |off| {
        let size = span(off.abs());
        let way = if off.si() > 0.0 { "long" } else { "short" };
        let share = it.off_share.map_or_else(String::new, |part| format!(" ({})", percent(part)));
        format!(", its middle {size}{share} too {way}")
    });
    format!("{said}{outcome}{off}")
}

/// The same as cells: said when, safe until, likely end, and how far the likely end was off.
pub fn forecast_cells(it: &JudgedForecast, began: Option<Local>) -> [String; 4] {
    let made = Seconds::of(it.made.at.as_s());
    let time = |after: Seconds| match began {
        Some(began) => began.plus_s(after.si()).hour_minute(),
        None => span(after),
    };
    let end = |ix: usize| time(made + Seconds::of(it.made.remaining_s[ix]));
    [time(made), end(0), end(1), it.off.map_or_else(|| "–".into(), off_way)]
}

fn off_way(off: Seconds) -> String {
    let way = if off.si() > 0.0 { "late" } else { "early" };
    format!("{} {way}", span(off.abs()))
}

/// How far off they were, in view over what they said.
pub fn off_by(all: &Forecasts) -> String {
    match (all.truth, all.middle_off) {
        (Truth::Died { .. }, Some(off)) => half_within(&span(off)),
        (Truth::Open { .. }, _) => GOES_ON.into(),
        _ => BANK_NOT_EMPTY.into(),
    }
}

/// What a full bank gives: `26.9 Wh, 25.6 to 28.2`.
pub fn holds(wh: [Joules; 3]) -> String {
    let [low, middle, high] = wh.map(energy);
    format!("{middle}, {} to {}", bare(&low), bare(&high))
}

/// How many contacts, and the energy of each: `87, 0.20 Wh each`.
pub fn contacts_each(all: &Reckoned) -> String {
    let each = all.energy_each().map_or_else(String::new, |each| each_takes(&energy(each)));
    format!("{}{each}", all.contacts)
}

/// What the timed modes took: `12.4 Wh`.
pub fn timed(folds: &[Total]) -> String {
    energy(folds.iter().fold(Joules::ZERO, |sum, it| sum + it.energy))
}

/// Whether a run-down counts.
pub const fn counts(yes: bool) -> &'static str {
    if yes { "it counts" } else { "not counted" }
}

/// What a run-down taught about its bank.
pub fn learned(before: [Joules; 3], after: [Joules; 3]) -> String {
    let range = |of: [Joules; 3]| format!("between {} and {}", energy(of[0]), energy(of[2]));
    let width = |of: [Joules; 3]| (of[2].si() - of[0].si()).max(0.0);
    let no = if width(after) < 0.97 * width(before) { "" } else { "no " };
    full_delivers(&range(before), &range(after), no)
}

/// A stretch of an outing: `10:20 to 11:05`, or `2 h 10 to 2 h 55 into it`.
pub fn stretch(began: Option<Local>, from: Seconds, to: Seconds) -> String {
    match began {
        Some(began) => {
            let time = |at: Seconds| began.plus_s(at.si()).hour_minute();
            format!("{} to {}", time(from), time(to))
        }
        None => format!("{} to {} into it", span(from), span(to)),
    }
}

/// `Contacts`, or that nothing with a name was done.
pub fn doing(activity: Option<&str>) -> String {
    activity.map_or_else(|| "No activity".into(), capital)
}

/// What a mark switched: `Fan on: 0.62 W more, give or take 0.05 W (10:20:05, after 2 h).`
pub fn switched(it: &MarkedChange, began: Option<Local>) -> String {
    let said = marked(&capital(&it.text), it.more.0, it.more.1);
    format!("{said} ({}).", moment_of(began, it.at))
}

/// What the processor's load drew, in one or two sentences.
pub fn load_took(found: &LoadShare, whole: Joules) -> String {
    let less_sure = if found.from_rows { FROM_ROWS } else { "" };
    let line = load(&found.line) + less_sure;
    let Some((taken, error)) = found.taken else { return line };
    let share = percent(Share::nearest(taken.si() / whole.si().max(1e-9)));
    let (taken, give) = (energy(taken), energy(error * 2.0));
    format!("{line} Above idle, work took {taken}, {share} of the energy (±{TIE}{give}).")
}

sentences! {
    half_within(off) = "half within {off}";
    GOES_ON = "not known yet";
    BANK_NOT_EMPTY = "the bank was not empty";
    each_takes(energy) = ", {energy} each";
    lowest(low: Volts) = "lowest {}", volts(low);
    lines(count: usize) = "{count} {}", if count == 1 { "line" } else { "lines" };
    columns_mean(means: &str) = "95{TIE}%: the draw was below this for 95{TIE}% of the time \
        ({means} means). Peak: the highest single reading.";
    ALL_ESTIMATED = "All of it is estimated from the board's load: no sensor measured it.";
    estimated(energy, time) = "Of that, {energy} in {time} is estimated: no sensor measured it.";
    low_to_high(low: &str, high, mean) = "{} to {high}, {mean} on average", bare(low);
    TOLD_WHEN_EMPTY = "How good they were can be told once the bank is empty.";
    end_known_to(width) = "The end is known to within {width}; the middle of that is used.";
    AT_LEAST_KNOWN = "It ended before the bank was known to be empty, so the true time is only \
        known as 'at least'.";
    full_delivers(before, now, no: &str) = "Before this outing the full bank was expected to \
        deliver {before}; now {now}. The range is {no}narrower than before.";
    /// Nobody said what was being done.
    UNTOLD = "not said";
    /// Behind what load took.
    FROM_ROWS = " That is worked out from ten-second means, and less sure than what Station shows.";
    /// What was counted when the outing ended and cannot be told apart now.
    NO_LONGER_TOLD = "no longer told apart";
    /// What a bank's outings took while nobody read.
    UNREAD = "no reading";
    /// All of the activities together.
    ALL = "All";
    /// Whose curve and parts are shown: `In its longest stretch, 1 h:`
    longest(found: &Fold) = "In its longest stretch, {}:", span(Seconds::of(found.seconds));
    /// What a log that cannot be laid beside all of an outing means.
    undated(undated: Seconds) = "For {} of it the time of day is not known, so contacts cannot be \
        matched to that part. Open this page on a paired phone while the board still runs, or let \
        the board set its clock.", span(undated);
    /// What the drawing of an outing's forecasts shows.
    FORESIGHT = "Each forecast as the total length of the outing that it predicted, against what \
        came.";
}

/// One forecast against what came: `between 5 h 50 and 7 h 30; it was 6 h 40`.
pub fn forecast_then(remaining: [Seconds; 3], truth: Option<Seconds>) -> String {
    let said = range(remaining);
    let width = Seconds::of(remaining[2].si() - remaining[0].si());
    match truth {
        Some(truth) => format!("{said}; it was {}", left(truth, width)),
        None => said,
    }
}

/// The forecasts of an outing as a whole. `held` of `all` had the true end between their ends; the
/// middle one of them missed it by `miss`, as a share of what then remained by the other.
pub fn forecasts(held: usize, all: usize, miss: Option<(Seconds, Share)>) -> String {
    let held = match (held, all) {
        (_, 0) => return "No forecast was made.".into(),
        (1, 1) => "The one forecast made included the true end.".into(),
        (0, 1) => "The one forecast made missed the true end.".into(),
        (held, all) if held == all => format!("All {all} forecasts included the true end."),
        (held, all) => format!("{held} of {all} forecasts included the true end."),
    };
    let miss = miss.map(|(miss, share)| {
        let (miss, share) = (span(miss), percent(share));
        format!(
            " Half of the middle estimates were within {miss} of it, {share} of the time then left."
        )
    });
    format!("{held}{} The aim is 8 in 10.", miss.unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{forecast::Basis, record::ForecastMade, time::Mono};

    fn said(text: &str) -> String {
        text.replace(TIE, " ")
    }

    fn s(seconds: f64) -> Seconds {
        Seconds::of(seconds)
    }

    #[test]
    fn a_page_of_the_book_is_numbers_under_heads_with_units() {
        let mut page = EnergyTally::default();
        assert_eq!(
            book_row(&page),
            ["0", "0 s", "–", "–", "–"].map(|it| it.replace(' ', "\u{a0}"))
        );
        page.add(s(12_000.0), Watts::of(3.72));
        let row = book_row(&page).map(|it| said(&it));
        assert_eq!(row, ["12.4", "3 h 20", "3.7", "3.7", "3.7"]);
        page.raise_peak(Watts::of(14.21));
        assert_eq!(said(&book_row(&page)[4]), "14.2");
        assert!(said(&book_note(s(10.0))).contains("ten-second means"));
        assert!(said(&book_note(s(300.0))).contains("(5 min means)"));
    }

    fn judged(remaining: [f64; 3], truth: Truth) -> Forecasts {
        let made = ForecastMade {
            at: Mono::BOOT,
            remaining_s: remaining,
            basis: Basis::Measured,
            delivered_wh: 0.0,
            bridged_wh: 0.0,
            usable_wh: None,
        };
        Forecasts::judge(&[made], truth, &[])
    }

    #[test]
    fn a_forecast_is_said_with_what_came() {
        let died = Truth::Died { at: s(23_995.0), within: s(10.0) };
        let all = judged([21_000.0, 24_600.0, 27_000.0], died);
        assert_eq!(
            said(&forecast_came(&all.all[0])),
            "between 5 h 50 and 7 h 30; it was 6 h 40: held, its middle 10 min (2 %) too long"
        );
        let lines: Vec<String> = foretold(&all).iter().map(|it| said(it)).collect();
        assert!(lines[0].starts_with("The one forecast made included the true end."), "{lines:?}");
        assert_eq!(lines[1], "The end is known to within 10 s; the middle of that is used.");
        let all = judged([25_000.0, 26_000.0, 27_000.0], died);
        assert!(said(&forecast_came(&all.all[0])).contains("missed, it came sooner"));
        let open = judged([25_000.0, 26_000.0, 27_000.0], Truth::AtLeast { at: s(20_000.0) });
        assert!(!said(&forecast_came(&open.all[0])).contains("it was"));
        assert!(foretold(&open)[1].contains("That proves no forecast wrong"));
        let short = judged([5000.0, 6000.0, 7000.0], Truth::AtLeast { at: s(20_000.0) });
        assert!(said(&forecast_came(&short.all[0])).ends_with("it was more than that"));
        assert!(foretold(&short)[1].starts_with("Even so, one of 1 forecasts was too short"));
        assert!(foretold(&Forecasts::judge(&[], died, &[])).is_empty());
    }

    #[test]
    fn ranges_and_learning_are_said() {
        let temp = |low, mean, high| MinMeanMax {
            low: Celsius::of(low),
            mean: Celsius::of(mean),
            high: Celsius::of(high),
        };
        assert_eq!(
            said(&temperatures(&temp(-3.2, 14.4, 31.0))),
            "\u{2212}3 to 31 °C, 14 °C on average"
        );
        let wh = |low, middle, high| [low, middle, high].map(Joules::from_wh);
        assert_eq!(
            said(&learned(wh(24.0, 29.0, 34.0), wh(29.0, 30.5, 32.0))),
            "Before this outing the full bank was expected to deliver between 24.0 Wh and 34.0 Wh; \
             now between 29.0 Wh and 32.0 Wh. The range is narrower than before."
        );
        assert!(learned(wh(1.0, 2.0, 3.0), wh(1.0, 2.0, 3.0)).contains("no narrower"));
        assert_eq!(said(&stretch(None, s(7800.0), s(10_500.0))), "2 h 10 to 2 h 55 into it");
        assert_eq!((doing(None), doing(Some("receive"))), ("No activity".into(), "Receive".into()));
        let share = Share::nearest(0.5);
        assert_eq!(said(&percent(share)), "50 %");
    }
}
