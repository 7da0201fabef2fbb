//! Banks: their labels, run-downs and tests, and what is known of each.

use alloc::{format, string::String, vec::Vec};

use super::{
    calendar::{Local, lasted},
    numbers::{TIE, bare, celsius, energy, left, or_more, power, range, span, volts},
};
use crate::{
    bank::{BankSpec, Cells, MeasuredAt},
    record::{Ageing, TestLoad},
    report::BankTally,
    units::{Celsius, Joules, Seconds, Share, Volts, Watts},
};

/// What the cells are made of.
pub const fn chemistry(cells: Cells) -> &'static str {
    match cells {
        Cells::LiIon => "lithium-ion",
        Cells::LiFePo4 => "LiFePO4",
        Cells::LeadAcid => "lead-acid",
    }
}

/// The run-downs of a bank, on Banks.
pub fn run_downs(count: usize) -> String {
    if count == 1 { "One run-down".into() } else { format!("{count} run-downs") }
}

/// Cells, where one of them is to be chosen.
pub const fn cells_hint(cells: Cells) -> &'static str {
    match cells {
        Cells::LiIon => "Lithium-ion",
        Cells::LiFePo4 => "Lithium iron phosphate",
        Cells::LeadAcid => "Sealed lead-acid",
    }
}

/// Cells, as a choice of a form.
pub const fn cells_choice(cells: Cells) -> &'static str {
    match cells {
        Cells::LiIon => "lithium-ion (USB banks)",
        Cells::LiFePo4 | Cells::LeadAcid => chemistry(cells),
    }
}

/// A sensor's place, as a choice of a form; nothing: whatever is usual.
pub const fn place_choice(place: Option<MeasuredAt>) -> &'static str {
    match place {
        None => "where it usually is with these cells",
        Some(MeasuredAt::Output) => "behind a converter (USB)",
        Some(MeasuredAt::Cells) => "at the bank's own terminals",
        Some(MeasuredAt::Nowhere) => "there is no sensor",
    }
}

/// A sensor's place, where one of them is to be chosen.
pub const fn place_hint(place: MeasuredAt) -> &'static str {
    match place {
        MeasuredAt::Output => "Behind the bank's converter",
        MeasuredAt::Cells => "At the cells or the pack's terminals",
        MeasuredAt::Nowhere => "There is none",
    }
}

/// A bank's label: `10000 mAh lithium-ion`, `6 Ah LiFePO4, 12.8 V`.
pub fn bank_label(bank: &BankSpec) -> String {
    let cells = chemistry(bank.cells);
    if bank.series <= 1 {
        return format!("{:.0}{TIE}mAh {cells}", bank.label.si() * 1000.0);
    }
    let tenths = libm::round(bank.label.si() * 10.0);
    let digits = usize::from(libm::fmod(tenths, 10.0) != 0.0);
    format!("{:.digits$}{TIE}Ah {cells}, {:.1}{TIE}V", bank.label.si(), bank.label_volts.si())
}

/// A run-down: how much came out and how long it took.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RunDownSaid<'a> {
    /// The imported list's name, if it has one.
    pub name: Option<&'a str>,
    /// When it began.
    pub began: Option<Local>,
    /// Whether the bank cut out.
    pub whole: bool,
    /// Whether what it gave is a lower bound.
    pub at_least: bool,
    /// How full it was.
    pub start: Option<Share>,
    /// The shortest duration that fits, and by how much it may be longer and shorter.
    pub lasted: [Seconds; 3],
    /// Energy delivered.
    pub delivered: Option<Joules>,
    /// Mean draw.
    pub mean: Option<Watts>,
    /// Whether the draw was measured.
    pub measured: bool,
    /// Temperature around it.
    pub ambient: Option<Celsius>,
}

/// A run-down's two lines: what came out, and under which conditions.
pub fn rundown(it: &RunDownSaid<'_>) -> [String; 2] {
    let [shortest, longer, shorter] = it.lasted;
    let lasted = lasted(shortest, longer, shorter);
    let how = if it.whole { "Whole" } else { "Cut short" };
    let at_least = or_more(it.at_least);
    let gave = match it.delivered {
        Some(delivered) => format!("{how}: {at_least}{} in {lasted}", energy(delivered)),
        None => format!("{how}: {at_least}{lasted}, draw not known"),
    };
    let mut lines: Vec<String> = Vec::new();
    lines.extend(it.name.map(Into::into));
    lines.extend(it.began.map(Local::date));
    lines.push(match it.start.map(Share::part) {
        Some(part) if part >= 0.995 => "from full".into(),
        Some(part) => format!("from {:.0}{TIE}%", part * 100.0),
        None => "start not known".into(),
    });
    let basis = if it.measured { "" } else { ", modelled" };
    lines.extend(it.mean.map(|mean| format!("{} on average{basis}", power(mean))));
    lines.extend(it.ambient.map(celsius));
    [gave, lines.join(" · ")]
}

/// The load, as a choice.
pub const fn test_load(load: TestLoad) -> &'static str {
    match load {
        TestLoad::AsItIs => "None: the board as it is",
        TestLoad::Idle => "Idle: as little as possible",
        TestLoad::Receive => "Bursts, like receiving a timed digital mode",
        TestLoad::Steps => "Steps, from idle to all cores and back",
    }
}

/// A run-down test that is on, given its bank and how long it has been so.
pub fn test_on(bank: &str, since: &str, load: TestLoad) -> String {
    let load = match load {
        TestLoad::AsItIs => "",
        TestLoad::Idle => " The board is kept idle.",
        TestLoad::Receive => " The processor works as if receiving a timed mode.",
        TestLoad::Steps => " The processor's load goes up and down in steps.",
    };
    format!("{bank} is being run down, {since} so far. The board will not switch itself off.{load}")
}

/// What a bank's book is summed over.
pub fn bank_over(told: &BankTally) -> String {
    let over = match (told.outings, told.of) {
        (0, _) => return "The record has no outing with it yet.".into(),
        (1, 1) => "one outing".into(),
        (some, all) if some == all => format!("{all} outings"),
        (some, all) => format!("the newest {some} of {all} outings"),
    };
    let lasted = told.tally.whole().lasted() + Seconds::of(told.unread.lasted_s);
    let at_least = or_more(told.is_at_least());
    format!("It delivered {at_least}{} in {}, over {over}.", energy(told.all()), span(lasted))
}

// ---- a bank on Banks ----------------------------------------------------------------------------

/// How long a bank lasts when full: `8 h 40 when full,` and `at your usual 3.1 W.`; with the name of
/// another bank where the draw is that one's.
pub fn when_full(usable: [Joules; 3], usual: Watts, as_on: Option<&str>) -> [String; 2] {
    let [low, middle, high] = usable.map(|it| Seconds::of(it.si() / usual.si()));
    let at = match as_on {
        None => format!("at your usual {}.", power(usual)),
        Some(other) => format!("at {} as on {other}.", power(usual)),
    };
    [format!("{} when full,", left(middle, high - low)), at]
}

/// What a bank holds, and whether that stands on its label alone.
pub fn holds(usable: Option<[Joules; 3]>, by_label: bool) -> String {
    let Some(usable) = usable else { return HOLDS_UNKNOWN.into() };
    let [low, middle, high] = usable.map(energy);
    let range = format!("{}\u{a0}to\u{a0}{}", bare(&low), bare(&high));
    if by_label { by_its_label(&middle, &range) } else { format!("Holds {middle}, {range}.") }
}

/// How many run-downs, and how many of them until the bank cut out.
pub fn to_the_end(count: usize, whole: usize) -> String {
    match (count, whole) {
        (0, _) => "none counts".into(),
        (1, 1) => "1, to the end".into(),
        (1, _) => "1, stopped before".into(),
        (_, 0) => format!("{count}, all stopped before"),
        (_, _) if count == whole => format!("{count}, all to the end"),
        _ => format!("{count}, {whole} of them to the end"),
    }
}

/// Whether a bank ages: what it gives less from the first run-down to the last, with its range. `between`
/// is when these two were.
pub fn ageing(of: &Ageing, between: Option<[Local; 2]>) -> String {
    let (run_downs, change_wh) = match of {
        Ageing::NeverEmpty => return NEVER_EMPTY.into(),
        Ageing::Once => return EMPTY_ONCE.into(),
        Ageing::Seen { run_downs, change_wh, .. } => (run_downs, change_wh),
    };
    let since = match between {
        Some([first, last]) => format!("since {}", first.month_or_day(last)),
        None => format!("over {run_downs} run-downs"),
    };
    let [low, middle, high] = *change_wh;
    let said = |wh: f64| format!("{:.1}", wh.abs());
    let change = |word: &str, near: f64, far: f64| {
        format!("{}{TIE}Wh {word} {since}, {} to {}.", said(middle), said(near), said(far))
    };
    if high < 0.0 {
        change("less", high, low)
    } else if low > 0.0 {
        change("more", low, high)
    } else {
        format!("none to be seen {since}: from {}{TIE}Wh less to {} more.", said(low), said(high))
    }
}

/// What the drawing of a bank's year shows, for a screen reader: run-downs, what those to the end gave, and
/// what is believed now.
pub fn year_drawn(count: usize, whole: &[Joules], usable: Option<[Joules; 3]>) -> String {
    let ends = |of: fn(f64, f64) -> f64| whole.iter().map(|it| it.wh()).reduce(of);
    let gave = match ends(f64::min).zip(ends(f64::max)) {
        Some((low, high)) => format!(
            " {} from full to empty: {} to {}.",
            whole.len(),
            energy(Joules::from_wh(low)),
            energy(Joules::from_wh(high))
        ),
        None => String::new(),
    };
    let holds = usable.map_or_else(String::new, |it| format!(" {}", holds(Some(it), false)));
    format!("{}.{gave}{holds}", run_downs(count))
}

/// What a bank's strip in the drawing of hours comes to: `12 outings, 96 h`.
pub fn strip(outings: usize, all: Seconds) -> String {
    let outings = if outings == 1 { "1 outing".into() } else { format!("{outings} outings") };
    let hours = libm::round(all.si() / 3600.0);
    format!("{outings}, {hours:.0}{TIE}h")
}

/// The ends of a drawing whose run-downs bear no dates.
pub const FIRST_LAST: [&str; 2] = ["first", "latest"];

sentences! {
    YEAR = "What it gave over a year";
    HOURS = "Hours of each outing, by bank";
    HOUR = "h";
    HOLDS_UNKNOWN = "What it holds is not known.";
    by_its_label(middle, range) = "By its label alone it holds {middle}, {range}: nothing has been learned \
        from it yet.";
    NEVER_EMPTY = "it never ran from full to empty here; nothing can be said.";
    EMPTY_ONCE = "it ran from full to empty once; the next time will tell.";
}

/// What a run-down test will do, before it does it: how long it takes (seconds at the usual draw, where that
/// is known), what happens, what is written, how it is stopped.
pub fn test_will(
    bank: &str,
    takes: Option<([Seconds; 3], Watts)>,
    cutoff: Option<Volts>,
) -> Vec<String> {
    let takes = takes.map_or_else(
        || TAKES_UNKNOWN.into(),
        |(takes, usual)| test_takes(&range(takes), &power(usual)),
    );
    let cuts_out = cutoff.map_or_else(String::new, |it| format!(", at about {}", volts(it)));
    [takes, test_empties(&bank, &cuts_out), TEST_WRITES.into(), TEST_STOPS.into()].into()
}

sentences! {
    test_takes(range, usual) = "It takes {range} at your usual {usual}. A load of the board's own makes it \
        shorter.";
    TAKES_UNKNOWN = "How long it takes is not known yet: nobody has seen what you draw.";
    test_empties(bank, cuts_out) = "It empties {bank} until the bank cuts out{cuts_out}. The board then \
        goes off at once, without being shut down.";
    TEST_WRITES = "The draw goes on the card at least once a minute, near the end every ten seconds. At the \
        next start the run-down counts, and every later forecast is sharper.";
    TEST_STOPS = "To stop: 'Stop the test' on Banks, at any time. What was given until then counts as 'at \
        least', and the board looks after itself again.";
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{AmpHours, Volts};

    fn plain(text: &str) -> String {
        text.replace(TIE, " ")
    }

    #[test]
    fn labels_read_like_labels() {
        let usb = BankSpec {
            name: "Blue ten".to_string(),
            cells: Cells::LiIon,
            series: 1,
            label: AmpHours::of(10.0),
            label_volts: Volts::of(3.7),
            measured_at: crate::bank::MeasuredAt::Output,
            ambient: None,
            cutoff: None,
        };
        assert_eq!(bank_label(&usb), "10000\u{a0}mAh lithium-ion");
        let pack = BankSpec {
            cells: Cells::LiFePo4,
            series: 4,
            label: AmpHours::of(6.0),
            label_volts: Volts::of(12.8),
            ..usb
        };
        assert_eq!(bank_label(&pack), "6\u{a0}Ah LiFePO4, 12.8\u{a0}V");
    }

    #[test]
    fn how_long_a_bank_lasts_and_what_it_holds() {
        let wh = [25.6, 26.9, 28.2].map(Joules::from_wh);
        let said = |on| when_full(wh, Watts::of(3.1), on).map(|it| plain(&it));
        // 26.9 Wh at 3.1 W are 8.68 h.
        assert_eq!(said(None), ["8 h 40 when full,", "at your usual 3.1 W."]);
        assert_eq!(said(Some("Long six"))[1], "at 3.1 W as on Long six.");
        assert_eq!(plain(&holds(Some(wh), false)), "Holds 26.9 Wh, 25.6 to 28.2.");
        assert_eq!(
            plain(&holds(Some(wh), true)),
            "By its label alone it holds 26.9 Wh, 25.6 to 28.2: nothing has been learned from it yet."
        );
        assert!(holds(None, true).contains("not known"));
        let ends = [(0, 0), (1, 1), (1, 0), (2, 0), (3, 3), (6, 4)].map(|(n, w)| to_the_end(n, w));
        assert_eq!(ends[5], "6, 4 of them to the end");
        assert_eq!(ends[3], "2, all stopped before");
    }

    #[test]
    fn ageing_is_one_sentence_with_its_range() {
        let at = |unix_s: i64| Local {
            wall: crate::time::Wall::from_unix_ms(unix_s * 1000),
            utc_offset_s: 0,
        };
        // 1 May, 1 October and 20 May 2026 by GNU date.
        let (may, october, late) = (at(1_777_593_600), at(1_790_812_800), at(1_779_235_200));
        let said = |change_wh, between| {
            plain(&ageing(&Ageing::Seen { between: None, run_downs: 4, change_wh }, between))
        };
        for (change_wh, between, want) in [
            ([-3.5, -2.0, -0.5], Some([may, october]), "2.0 Wh less since May, 0.5 to 3.5."),
            ([-3.5, -2.0, -0.5], Some([may, late]), "2.0 Wh less since 1 May, 0.5 to 3.5."),
            ([0.2, 1.0, 1.8], None, "1.0 Wh more over 4 run-downs, 0.2 to 1.8."),
            (
                [-1.5, -0.3, 0.9],
                Some([may, october]),
                "none to be seen since May: from 1.5 Wh less to 0.9 more.",
            ),
        ] {
            assert_eq!(said(change_wh, between), want);
        }
        assert!(ageing(&Ageing::NeverEmpty, None).ends_with("nothing can be said."));
    }

    #[test]
    fn a_test_says_what_it_will_do() {
        let hours = [8.0, 8.7, 9.1].map(|it| Seconds::of(it * 3600.0));
        let will = test_will("Long six", Some((hours, Watts::of(3.1))), Some(Volts::of(10.0)));
        assert_eq!(
            plain(&will[0]),
            "It takes between 8 h and 9 h 10 at your usual 3.1 W. A load of the board's own makes it \
             shorter."
        );
        assert!(plain(&will[1]).contains("until the bank cuts out, at about 10.00 V."));
        assert!(test_will("Long six", None, None)[0].contains("not known"));
    }
}
