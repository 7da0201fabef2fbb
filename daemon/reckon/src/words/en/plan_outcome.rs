//! A plan beside what came, in an outing's report.

use super::{
    calendar::{Local, capital},
    numbers::{TIE, bare, celsius, energy, percent, power, range, span},
    report::stretch,
};
use crate::{
    report::{Assumed, PlanOutcome, StretchOutcome, Wrong},
    units::{Celsius, Seconds, Share},
};
use alloc::{format, string::String, vec::Vec};

/// Hours, energy and temperature, and which assumption was most wrong; a sentence each.
pub fn said(told: &PlanOutcome) -> Vec<String> {
    let planned = range(told.lasts);
    let came = span(told.came);
    let hours = match (told.died, told.open) {
        (true, _) => lasted(&planned, &came),
        (false, true) => lasts_so_far(&planned, &came),
        (false, false) => lasted_at_least(&planned, &came),
    };
    let [low, _, high] = told.usable.map(energy);
    let between = format!("{} to {high}", bare(&low));
    let gave = told.gave.map(|gave| match told.died {
        true => gave_all(&between, &energy(gave)),
        false => gave_at_least(&between, &energy(gave)),
    });
    [Some(hours), gave, told.ambient.map(around_bank), wrong(told)].into_iter().flatten().collect()
}

/// In view over that: `planned 8 h, lasted 7 h 20`.
pub fn brief(told: &PlanOutcome) -> String {
    let (planned, came) = (span(told.lasts[1]), span(told.came));
    match told.died {
        true => brief_died(&planned, &came),
        false => brief_at_least(&planned, &came),
    }
}

/// The heads of the columns beside a stretch.
pub const HEAD: [&str; 3] = ["planned W", "drawn W", "off by"];

/// A stretch, and a cell for each column.
pub fn row(one: &StretchOutcome, nth: usize, began: Option<Local>) -> (String, [String; 3]) {
    let name = named(&one.name, nth);
    let head = format!("{}, {}", capital(&name), stretch(began, one.from, one.to));
    let none = || "–".into();
    let drew = one.drew.map_or_else(none, |drew| bare(&power(drew)).into());
    // Against next to nothing no share says anything.
    let ratio = one.drew.map(|drew| drew.si() / one.planned.si());
    let ratio = ratio.filter(|ratio| one.planned.si() > 0.0 && *ratio < MOST_TIMES);
    let off = ratio.map_or_else(none, |ratio| off_by(ratio - 1.0));
    (head, [bare(&power(one.planned)).into(), drew, off])
}

/// From here on no `×` is told.
const MOST_TIMES: f64 = 1000.0;

/// `+25 %`.
fn off_by(off: f64) -> String {
    let size = percent(Share::nearest(off.abs()));
    let sign = match () {
        () if size == percent(Share::NONE) => "",
        () if off < 0.0 => "−",
        () => "+",
    };
    // Beyond twice as much a share says it no more.
    if off >= 1.0 { format!("×{TIE}{:.1}", off + 1.0) } else { format!("{sign}{size}") }
}

fn named(name: &str, nth: usize) -> String {
    if name.is_empty() { nth_stretch(&nth) } else { name.into() }
}

fn wrong(told: &PlanOutcome) -> Option<String> {
    let Some(Wrong { what, moved }) = &told.most_wrong else {
        return told.died.then(|| NONE_WRONG.into());
    };
    let moved = effect(*moved);
    Some(match what {
        Assumed::Energy(believed, gave) => {
            let at_least = if told.died { "" } else { "at least " };
            energy_wrong(&energy(*believed), &energy(*gave), &at_least, &moved)
        }
        Assumed::Draw { name, nth, watts: [planned, drew] } => {
            draw_wrong(&named(name, *nth), &power(*planned), &power(*drew), &moved)
        }
    })
}

/// `took 1 h 20 off the time`.
fn effect(moved: Seconds) -> String {
    let size = span(moved.abs());
    if moved.si() < 0.0 { took_off(&size) } else { added(&size) }
}

sentences! {
    lasted(planned, came) = "Planned to last {planned}; it lasted {came}.";
    lasted_at_least(planned, came) = "Planned to last {planned}; it ended after {came} with the bank not \
        known to be empty, so it would have lasted at least that.";
    lasts_so_far(planned, came) = "Planned to last {planned}; {came} of that have passed.";
    gave_all(believed, gave) = "The bank was expected to give {believed}; it gave {gave}.";
    gave_at_least(believed, gave) = "The bank was expected to give {believed}; it has given {gave}, and had \
        at least that.";
    around_bank(planned: Celsius) = "Planned for {} around the bank, which no sensor reads.", celsius(planned);
    brief_died(planned, came) = "planned {planned}, lasted {came}";
    brief_at_least(planned, came) = "planned {planned}, {came} used";
    nth_stretch(nth) = "stretch {nth}";
    NONE_WRONG = "No assumption was far off: none moved the end by ten minutes.";
    energy_wrong(believed, gave, at_least, moved) = "Most wrong was what the bank holds: {at_least}{gave} \
        where {believed} were expected, which {moved}.";
    draw_wrong(name, planned, drew, moved) = "Most wrong was the draw of {name}: {drew} where {planned} \
        were planned, which {moved}.";
    took_off(size) = "took {size} off the time";
    added(size) = "added {size} to the time";
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Joules, Watts};

    fn plain(lines: &[String]) -> Vec<String> {
        lines.iter().map(|line| line.replace('\u{a0}', " ")).collect()
    }

    fn outcome(died: bool, most_wrong: Option<Wrong>) -> PlanOutcome {
        PlanOutcome {
            began: Seconds::ZERO,
            lasts: [18_000.0, 21_600.0, 25_200.0].map(Seconds::of),
            came: Seconds::of(14_400.0),
            died,
            open: false,
            usable: [17.0, 20.0, 23.0].map(Joules::from_wh),
            gave: Some(Joules::from_wh(12.0)),
            ambient: Some(Celsius::of(-4.0)),
            stretches: Vec::new(),
            most_wrong,
        }
    }

    #[test]
    fn a_plan_is_said_beside_what_came() {
        let what = Assumed::Energy(Joules::from_wh(20.0), Joules::from_wh(12.0));
        let wrong = Wrong { what, moved: Seconds::of(-7200.0) };
        let lines = plain(&said(&outcome(true, Some(wrong))));
        assert_eq!(lines[0], "Planned to last between 5 h and 7 h; it lasted 4 h.");
        assert_eq!(lines[1], "The bank was expected to give 17.0 to 23.0 Wh; it gave 12.0 Wh.");
        assert_eq!(lines[2], "Planned for −4 °C around the bank, which no sensor reads.");
        assert_eq!(
            lines[3],
            "Most wrong was what the bank holds: 12.0 Wh where 20.0 Wh were expected, which took 2 h off the time."
        );
        let watts = [4.0, 3.0].map(Watts::of);
        let what = Assumed::Draw { name: "Contacts".into(), nth: 2, watts };
        let wrong = Wrong { what, moved: Seconds::of(4800.0) };
        let lines = plain(&said(&outcome(false, Some(wrong))));
        assert!(lines[0].ends_with("it would have lasted at least that."), "{lines:?}");
        assert!(lines[1].ends_with("it has given 12.0 Wh, and had at least that."), "{lines:?}");
        assert_eq!(
            lines[3],
            "Most wrong was the draw of Contacts: 3.0 W where 4.0 W were planned, which added 1 h 20 to the time."
        );
        // Stopped early and nothing far off: nothing is claimed.
        assert_eq!(said(&outcome(false, None)).len(), 3);
        assert_eq!(plain(&said(&outcome(true, None)))[3], NONE_WRONG);
    }

    #[test]
    fn a_stretch_has_its_watts_side_by_side() {
        let one = StretchOutcome {
            name: String::new(),
            from: Seconds::ZERO,
            to: Seconds::of(7200.0),
            planned: Watts::of(2.0),
            drew: Some(Watts::of(2.5)),
        };
        let (head, cells) = row(&one, 1, None);
        assert_eq!(head.replace('\u{a0}', " "), "Stretch 1, 0 s to 2 h into it");
        assert_eq!(cells.map(|it| it.replace('\u{a0}', " ")), ["2.0", "2.5", "+25 %"]);
        let off = |drew| {
            let one = StretchOutcome { drew: Some(Watts::of(drew)), ..one.clone() };
            row(&one, 1, None).1[2].replace('\u{a0}', " ")
        };
        assert_eq!([2.001, 1.5, 5.0].map(off), ["0 %", "−25 %", "× 2.5"]);
        assert_eq!(off(1e300), "–");
        let unread = StretchOutcome { drew: None, ..one };
        assert_eq!(row(&unread, 1, None).1[1..], ["–", "–"]);
    }
}
