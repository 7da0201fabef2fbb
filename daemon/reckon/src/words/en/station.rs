//! The Station page: board, sensors, clock, record, and what outlast itself costs.

use super::{
    alarm::gap,
    fold,
    numbers::{TIE, ago, celsius, power, span, volts},
};
use crate::{
    reading::{Shunt, SourceIx, SourceReport, SourceState},
    snapshot::{Footprint, Snapshot},
    time::Mono,
    units::{Amps, Ohms, Seconds, Share, Watts},
};
use alloc::{format, string::String, vec::Vec};

/// The board: names and what they are.
pub fn board_facts(snapshot: &Snapshot) -> Vec<(&'static str, String)> {
    let (facts, board) = (&snapshot.facts, &snapshot.board);
    let rtc = if facts.has_rtc { "yes: it keeps time" } else { "no: the time is lost" };
    let said = [
        ("Model", Some(facts.model.clone().unwrap_or("does not say what it is".into()))),
        ("Cores", facts.cores.map(|cores| format!("{cores}"))),
        ("Memory", facts.memory_mib.map(|mib| format!("{mib}{TIE}MiB"))),
        ("Temperature", Some(board.temp.map_or_else(|why| gap(why).into(), celsius))),
        ("Supply", Some(undervoltage(snapshot))),
        ("At its input", board.input_volts.ok().map(volts)),
        ("Its own rails", board.rails_at_least.ok().map(|it| format!("at least {}", power(it)))),
        ("Load", snapshot.load.as_ref().map(fold::load)),
        ("Supply can deliver", facts.input_limit.map(current)),
        (
            "USB ports",
            facts.usb_held_low.filter(|it| *it).map(|_| format!("limited to 600{TIE}mA")),
        ),
        ("Clock battery", Some(format!("{rtc} while the board is off"))),
        ("Kernel", facts.kernel.clone()),
    ];
    said.into_iter().filter_map(|(name, what)| Some((name, what?))).collect()
}

fn undervoltage(snapshot: &Snapshot) -> String {
    match (snapshot.board.undervoltage, snapshot.undervoltage_times) {
        (Ok(true), _) => "too low right now".into(),
        (Ok(false), 0) => "high enough in this outing".into(),
        (_, 1) => "was too low once in this outing".into(),
        (Err(why), 0) => format!("undervoltage {}", gap(why)),
        (_, times) => format!("was too low {times} times in this outing"),
    }
}

/// A current: `412 mA`, `1.25 A`.
pub fn current(amps: Amps) -> String {
    let size = amps.si().abs();
    let sign = if amps.si() < 0.0 { "\u{2212}" } else { "" };
    if size < 0.9995 {
        format!("{sign}{:.0}{TIE}mA", size * 1000.0)
    } else {
        format!("{sign}{size:.2}{TIE}A")
    }
}

/// How a source is doing.
pub fn source_state(report: &SourceReport, now: Mono) -> String {
    match report.state {
        SourceState::Live => "It answers.".into(),
        SourceState::Silent { since, gap: why } => {
            format!("It {}, for {}.", gap(why), span(now.seconds_since(since)))
        }
        SourceState::LeftAlone => "It was found and is left alone.".into(),
    }
}

/// What a power sensor or gauge reads this second; `None` for other sources.
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
pub fn shunt(shunt: &Shunt) -> String {
    let assumed = match shunt.assumed.map(ohms) {
        Some(assumed) => format!("The driver assumes a shunt of {assumed}"),
        None => "The driver does not say which shunt it assumes".into(),
    };
    match shunt.told.map(ohms) {
        Some(told) => format!("{assumed}; the settings say {told}, and that is used."),
        None if shunt.scale != 1.0 => {
            format!("{assumed}; the settings multiply every current by {}.", shunt.scale)
        }
        None => format!(
            "{assumed}. If the resistor on the sensor is a different one, give it in the settings."
        ),
    }
}

fn ohms(ohms: Ohms) -> String {
    let milli = ohms.si() * 1000.0;
    let digits = if milli < 9.995 { 2 } else { usize::from(milli < 99.95) };
    format!("{milli:.digits$}{TIE}m\u{3a9}")
}

/// What outlast itself costs, in watts where it is known what load takes.
pub fn costs(snapshot: &Snapshot) -> Vec<String> {
    let mut said = footprint(&snapshot.footprint);
    let own = snapshot.own_draw;
    said.extend(own.map(|(own, error)| own_cost(own, error, snapshot.draw.outing)));
    said
}

/// What outlast itself draws: `outlast itself takes 1.5 mW, 0.1 % of the draw; give or take 0.1 mW,
/// by what load takes here.`
pub fn own_cost(own: Watts, error: Watts, of: Option<Watts>) -> String {
    let share = of.map_or(0.0, |all| own.si() / all.si().max(1e-9));
    let own = own_draw(own, Share::nearest(share));
    let give = (error.si() * 2000.0).max(0.1);
    format!("{own} (±{TIE}{give:.1}{TIE}mW, from what processor load draws here).")
}

/// What outlast itself costs.
pub fn footprint(cost: &Footprint) -> Vec<String> {
    let cpu = cost.cpu_share.map(|share| {
        format!("{:.1}{TIE}% of one processor core over the last minute.", share * 100.0)
    });
    let mib = |kib| f64::from(u32::try_from(kib).unwrap_or(u32::MAX)) / 1024.0;
    let memory = cost.resident_kib.map(|kib| format!("{:.1}{TIE}MiB of memory.", mib(kib)));
    let wakes = cost.wakeups_per_s.map(|rate| format!("{rate:.1} wake-ups per second."));
    let said: Vec<String> = [cpu, memory, wakes].into_iter().flatten().collect();
    if said.is_empty() { Vec::from(["Not measured yet.".into()]) } else { said }
}

/// The board's clock against the phone's: `0.42 s behind this phone's clock (± 0.03 s)`.
fn clock_off(board_ahead: Seconds, within: Seconds) -> String {
    let (off, within) = (board_ahead.si(), within.si());
    let (size, bound) = (off.abs(), seconds_said(within.max(0.001)));
    if size <= within {
        return format!("The board's clock agrees with the phone's within {bound}.");
    }
    let way = if off > 0.0 { "ahead of" } else { "behind" };
    let said = if size < 60.0 { seconds_said(size) } else { far(size) };
    let modes = " Timed digital modes need it within about a second.";
    let modes = if size + within > 1.0 { modes } else { "" };
    format!("The board's clock is {said} {way} the phone's (±{TIE}{bound}).{modes}")
}

/// The same, and when the two were compared.
pub fn clock_compared(board_ahead: Seconds, within: Seconds, at: Mono, now: Mono) -> String {
    format!("{} Compared {}.", clock_off(board_ahead, within), ago(at, now))
}

fn seconds_said(seconds: f64) -> String {
    let digits = if seconds < 0.1 { 3 } else { 2 };
    format!("{seconds:.digits$}{TIE}s")
}

/// Clocks without a battery may be off by years.
fn far(seconds: f64) -> String {
    let days = seconds / 86_400.0;
    if days < 60.0 {
        span(Seconds::of(seconds))
    } else if days < 730.0 {
        format!("{days:.0}{TIE}days")
    } else {
        format!("about {:.0}{TIE}years", days / 365.2425)
    }
}

/// The size of the record: `The record uses 12.4 MiB.`
pub fn record_size(bytes: u64) -> String {
    let kib = bytes / 1024;
    if kib < 10_240 {
        return format!("The record uses {kib}{TIE}KiB on the card.");
    }
    format!("The record uses {}{TIE}MiB on the card.", kib / 1024)
}

/// What was not kept, or not yet.
pub fn record_owes(waiting: usize, missed: u64, stopped: bool) -> Vec<String> {
    let waits = (stopped && waiting > 0).then(|| entries_wait(&waiting));
    waits.into_iter().chain((missed > 0).then(|| entries_lost(&missed))).collect()
}

sentences! {
    entries_wait(count) = "{count} entries are waiting in memory until the card can be written.";
    entries_lost(count) = "{count} entries were lost because they could not be written in time.";
}

/// The daemon's own draw: `outlast itself takes 1.5 mW`.
pub fn own_draw(own: Watts, of_all: Share) -> String {
    let milliwatts = own.si() * 1000.0;
    let digits = usize::from(milliwatts < 9.95);
    format!("outlast itself draws {milliwatts:.digits$}{TIE}mW, {} of all", tenths(of_all))
}

fn tenths(share: Share) -> String {
    let part = share.part() * 100.0;
    if part < 0.05 { format!("under 0.1{TIE}%") } else { format!("{part:.1}{TIE}%") }
}

#[cfg(test)]
mod tests {
    use super::*;

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
    }

    fn plain(text: &str) -> String {
        text.replace(TIE, " ")
    }

    #[test]
    fn the_own_draw_is_a_part_of_all() {
        assert_eq!(
            plain(&own_draw(Watts::of(0.0015), Share::nearest(0.0005))),
            "outlast itself draws 1.5 mW, 0.1 % of all"
        );
    }

    #[test]
    fn clocks_that_are_off_are_said_with_their_bound() {
        let said = |off, within| plain(&clock_off(Seconds::of(off), Seconds::of(within)));
        let (at, now) = (Mono::at_s(58.0), Mono::at_s(100.0));
        let compared = clock_compared(Seconds::of(0.01), Seconds::of(0.03), at, now);
        assert!(plain(&compared).ends_with(" within 0.030 s. Compared 42 s ago."), "{compared}");
        assert_eq!(
            said(-0.42, 0.03),
            "The board's clock is 0.42 s behind the phone's (± 0.030 s)."
        );
        assert_eq!(said(0.02, 0.03), "The board's clock agrees with the phone's within 0.030 s.");
        assert!(said(1.4, 0.1).ends_with("within about a second."));
        assert!(said(-54.0 * 365.2425 * 86_400.0, 0.1).contains("about 54 years behind"));
    }
}
