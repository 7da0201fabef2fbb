//! What the Station page, the drawing and the buttons say.

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::time::Duration;

use super::{
    alarms::gap,
    numbers::{TIE, celsius, clock_time, left, moment, power, range, span, volts},
    report,
    sentences::{answer, verdict},
};
use crate::{
    bank::{BankSpec, Cells},
    forecast::Outlook,
    reading::{Shunt, SourceIx, SourceReport, SourceState},
    snapshot::{ActivityView, Footprint, Snapshot},
    time::Mono,
    units::{Amps, Ohms, Seconds, Share, Watts},
};

/// The page's title: the answer, then the station.
#[must_use]
pub fn title(snapshot: &Snapshot) -> String {
    let answer = answer(snapshot);
    format!("{} · {}", followed(&answer.big, &answer.after), snapshot.station)
}

/// The answer and the verdict in one breath, for a screen reader to say when they change.
#[must_use]
pub fn spoken(snapshot: &Snapshot) -> String {
    let answer = answer(snapshot);
    let big = followed(&answer.big, &answer.after);
    let stop = if big.ends_with(['.', '?']) { "" } else { "." };
    let verdict = verdict(snapshot).map_or_else(String::new, |said| format!(" {said}"));
    format!("{big}{stop}{verdict}")
}

fn followed(big: &str, after: &str) -> String {
    if after.is_empty() { big.to_string() } else { format!("{big} {after}") }
}

/// The day line, for those who do not see it.
#[must_use]
pub fn day_line(snapshot: &Snapshot) -> String {
    let at = snapshot.at;
    let mut said = format!("The draw since {}", moment(snapshot.outing_began, at));
    match snapshot.draw_history.ticks.len() {
        0 => {}
        1 => said.push_str(", with one event"),
        many => said.push_str(&format!(", with {many} events")),
    }
    if let Some(finish) = snapshot.finish {
        said.push_str(&format!("; the finish, {}", moment(finish.at, at)));
    }
    if let Outlook::Lasts(forecast) = &snapshot.outlook {
        let [low, middle, high] = forecast.remaining;
        let about = left(middle, high - low);
        said.push_str(&format!("; the end, in about {about}, {}", range(forecast.remaining)));
    }
    said.push('.');
    said
}

/// A mark on the day line: `09`, or `09:30`, or `2 h` of the outing while no clock is believed.
#[must_use]
pub fn hour_mark(then: Mono, snapshot: &Snapshot, with_minutes: bool) -> String {
    match clock_time(then, snapshot.at) {
        Some(time) if with_minutes => time.chars().take(5).collect(),
        Some(time) => time.chars().take(2).collect(),
        None => span(then.seconds_since(snapshot.outing_began)),
    }
}

/// Beside an activity that a rule chose.
pub const BY_RULE: &str = "by a rule";

/// What one activity would leave, for its button.
#[must_use]
pub fn activity_left(one: &ActivityView) -> String {
    match (one.remaining, one.usual) {
        (Some([low, middle, high]), _) => format!("{} left", left(middle, high - low)),
        (None, Some(usual)) => format!("draws {}", power(usual)),
        (None, None) => "not known yet".to_string(),
    }
}

/// A button that moves the finish: `−30 min`.
#[must_use]
pub fn shift(minutes: i32) -> String {
    let sign = if minutes < 0 { '\u{2212}' } else { '+' };
    format!("{sign}{}{TIE}min", minutes.unsigned_abs())
}

/// A bank's label: `10000 mAh lithium-ion`, `6 Ah LiFePO4, 12.8 V`.
#[must_use]
pub fn bank_label(bank: &BankSpec) -> String {
    let cells = match bank.cells {
        Cells::LiIon => "lithium-ion",
        Cells::LiFePo4 => "LiFePO4",
        Cells::LeadAcid => "lead-acid",
    };
    if bank.series <= 1 {
        return format!("{:.0}{TIE}mAh {cells}", bank.label.si() * 1000.0);
    }
    let tenths = libm::round(bank.label.si() * 10.0);
    let digits = usize::from(libm::fmod(tenths, 10.0) != 0.0);
    format!("{:.digits$}{TIE}Ah {cells}, {:.1}{TIE}V", bank.label.si(), bank.label_volts.si())
}

/// How long to wait before the next pairing code.
#[must_use]
pub fn wait(time: Duration) -> String {
    let seconds = Seconds::of(time.as_secs_f64() + 1.0);
    format!(
        "Too many wrong codes were typed, here or on another phone. Try again in {}.",
        span(seconds)
    )
}

/// The board: names and what they are.
#[must_use]
pub fn board_facts(snapshot: &Snapshot) -> Vec<(&'static str, String)> {
    let (facts, board) = (&snapshot.facts, &snapshot.board);
    let model = facts.model.clone().unwrap_or_else(|| "does not say what it is".to_string());
    let mut said = alloc::vec![("Model", model)];
    said.extend(facts.cores.map(|cores| ("Cores", cores.to_string())));
    said.extend(facts.memory_mib.map(|mib| ("Memory", format!("{mib}{TIE}MiB"))));
    said.push(("Temperature", board.temp.map_or_else(|why| gap(why).to_string(), celsius)));
    said.push(("Supply", undervoltage(snapshot)));
    if let Ok(input) = board.input_volts {
        said.push(("At its input", volts(input)));
    }
    if let Ok(rails) = board.rails_at_least {
        said.push(("Its own rails", format!("at least {}", power(rails))));
    }
    said.extend(snapshot.load.as_ref().map(|line| ("Load", report::load(line))));
    said.extend(facts.input_limit.map(|limit| ("Supply can give", current(limit))));
    if facts.usb_held_low == Some(true) {
        said.push(("USB sockets", format!("held to 600{TIE}mA")));
    }
    let rtc = if facts.has_rtc { "keeps time while off" } else { "none: time is lost while off" };
    said.push(("Clock battery", rtc.to_string()));
    said.extend(facts.kernel.clone().map(|kernel| ("Kernel", kernel)));
    said
}

fn undervoltage(snapshot: &Snapshot) -> String {
    match (snapshot.board.undervoltage, snapshot.undervoltage_times) {
        (Ok(true), _) => "too low right now".to_string(),
        (Ok(false), 0) => "high enough in this outing".to_string(),
        (_, 1) => "was too low once in this outing".to_string(),
        (Err(why), 0) => format!("undervoltage {}", gap(why)),
        (_, times) => format!("was too low {times} times in this outing"),
    }
}

fn current(amps: Amps) -> String {
    let size = amps.si().abs();
    let sign = if amps.si() < 0.0 { "\u{2212}" } else { "" };
    if size < 0.9995 {
        format!("{sign}{:.0}{TIE}mA", size * 1000.0)
    } else {
        format!("{sign}{size:.2}{TIE}A")
    }
}

/// How a source is doing.
#[must_use]
pub fn source_state(report: &SourceReport, now: Mono) -> String {
    match report.state {
        SourceState::Live => "It answers.".to_string(),
        SourceState::Silent { since, gap: why } => {
            format!("It {}, for {}.", gap(why), span(now.seconds_since(since)))
        }
        SourceState::LeftAlone => "It was found and is left alone.".to_string(),
    }
}

/// What a power sensor or gauge reads this second; `None` for other sources.
#[must_use]
pub fn source_reads(source: SourceIx, snapshot: &Snapshot) -> Option<String> {
    let (level, amps, watts) =
        if let Some(read) = snapshot.supplies.iter().find(|read| read.source == source) {
            (read.volts, read.amps, read.watts.ok())
        } else {
            let read = snapshot.gauges.iter().find(|read| read.source == source)?;
            (read.volts, read.amps, None)
        };
    let parts = [level.ok().map(volts), amps.ok().map(current), watts.map(power)];
    let said: Vec<String> = parts.into_iter().flatten().collect();
    (!said.is_empty()).then(|| format!("{}.", said.join(", ")))
}

/// The shunt that a current is worked out with.
#[must_use]
pub fn shunt(shunt: &Shunt) -> String {
    let assumed = match shunt.assumed {
        Some(assumed) => format!("The driver takes the shunt for {}", ohms(assumed)),
        None => "The driver does not show which shunt it takes for granted".to_string(),
    };
    match shunt.told {
        Some(told) => format!("{assumed}; the settings say {}, and that counts.", ohms(told)),
        None if shunt.scale != 1.0 => {
            format!(
                "{assumed}; every current is multiplied by {} as the settings say.",
                shunt.scale
            )
        }
        None => {
            format!("{assumed}. If the resistor on the sensor is another, say so in the settings.")
        }
    }
}

fn ohms(ohms: Ohms) -> String {
    let milli = ohms.si() * 1000.0;
    let digits = if milli < 9.995 { 2 } else { usize::from(milli < 99.95) };
    format!("{milli:.digits$}{TIE}m\u{3a9}")
}

/// What outlast itself costs, in watts where it is known what load takes.
#[must_use]
pub fn costs(snapshot: &Snapshot) -> Vec<String> {
    let mut said = footprint(&snapshot.footprint);
    let own = snapshot.own_draw;
    said.extend(own.map(|(own, error)| own_cost(own, error, snapshot.draw.outing)));
    said
}

/// What outlast itself draws: `outlast itself takes 1.5 mW, 0.1 % of the draw; give or take 0.1 mW,
/// by what load takes here.`
#[must_use]
pub fn own_cost(own: Watts, error: Watts, of: Option<Watts>) -> String {
    let share = of.map_or(0.0, |all| own.si() / all.si().max(1e-9));
    let own = report::own_draw(own, Share::nearest(share));
    let give = (error.si() * 2000.0).max(0.1);
    format!("{own}; give or take {give:.1}{TIE}mW, by what load takes here.")
}

/// What outlast itself costs.
#[must_use]
pub fn footprint(cost: &Footprint) -> Vec<String> {
    let cpu = cost.cpu_share.map(|share| {
        format!("{:.1}{TIE}% of one processor core over the last minute.", share * 100.0)
    });
    let memory = cost.resident_kib.map(|kib| {
        let mib = f64::from(u32::try_from(kib).unwrap_or(u32::MAX)) / 1024.0;
        format!("{mib:.1}{TIE}MiB of memory.")
    });
    let wakes = cost.wakeups_per_s.map(|rate| format!("{rate:.1} wake-ups a second."));
    let said: Vec<String> = [cpu, memory, wakes].into_iter().flatten().collect();
    if said.is_empty() { alloc::vec!["Not measured yet.".to_string()] } else { said }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{AmpHours, Volts};

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
    fn a_tenfold_shunt_is_plain_to_see() {
        // INA226 breakout boards carry R100 (0.1 ohm) or R010 (0.01 ohm): common practice, no source.
        let wrong = Shunt { assumed: Some(Ohms::of(0.01)), told: Some(Ohms::of(0.1)), scale: 0.1 };
        let said = shunt(&wrong);
        assert!(said.contains("10.0\u{a0}mΩ") && said.contains("100\u{a0}mΩ"), "{said}");
    }

    #[test]
    fn nothing_measured_is_said() {
        assert_eq!(footprint(&Footprint::default()), ["Not measured yet."]);
        assert_eq!(shift(-30), "\u{2212}30\u{a0}min");
    }
}
