//! Banks: their labels, run-downs and tests, and what is known of each.

use alloc::{format, string::String, vec::Vec};

use super::{
    calendar::{Local, lasted},
    numbers::{TIE, celsius, energy, or_more, power, span},
};
use crate::{
    bank::{BankSpec, Cells, MeasuredAt},
    record::TestLoad,
    report::BankTally,
    units::{Celsius, Joules, Seconds, Share, Watts},
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

/// What a bank has been seen to deliver: the energies of its whole run-downs and the most of those
/// cut short, struck ones left out; and how many run-downs count in all.
pub fn seen_to_deliver(whole: &[Joules], at_least: Option<Joules>, counted: usize) -> String {
    let low = whole.iter().copied().reduce(|low, it| if it.si() < low.si() { it } else { low });
    let high = whole.iter().copied().reduce(|high, it| if it.si() > high.si() { it } else { high });
    match (low.zip(high), at_least) {
        (None, None) if counted > 0 => ENERGY_UNKNOWN.into(),
        (None, None) => "Not run down yet: the forecast goes by its label.".into(),
        (None, Some(most)) => never_whole(&energy(most)),
        (Some((low, high)), _) => {
            let counted = run_downs(whole.len()).to_lowercase();
            let (low, high) = (energy(low), energy(high));
            let gave = if low == high { low } else { format!("between {low} and {high}") };
            format!("It delivered {gave} in {counted} until it cut out.")
        }
    }
}

sentences! {
    ENERGY_UNKNOWN = "How long it lasted is known, how much it delivered is not.";
    never_whole(most) = "It has delivered at least {most}; no run-down until it cut out was counted in \
        full.";
}

/// What is believed of a bank: `Believed to hold between 26 and 31 Wh`.
pub fn believed_to_hold(usable: [Joules; 3]) -> String {
    format!("Expected to hold between {} and {} when full.", energy(usable[0]), energy(usable[2]))
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
    fn what_a_bank_delivered() {
        let wh = Joules::from_wh;
        assert_eq!(
            plain(&seen_to_deliver(&[wh(27.0), wh(31.2)], None, 2)),
            "It delivered between 27.0 Wh and 31.2 Wh in 2 run-downs until it cut out."
        );
        assert!(seen_to_deliver(&[], Some(wh(12.0)), 1).contains("at least"));
        assert!(seen_to_deliver(&[], None, 0).contains("label"));
    }
}
