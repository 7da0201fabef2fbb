//! The snapshot for collectors: OpenMetrics 1.0 text. Units stand in the names as that standard
//! wants them (`_volts`, `_seconds`), and a missing value is a missing sample, never a zero.

use std::fmt::Write;

use reckon::{
    forecast::Outlook,
    snapshot::Snapshot,
    units::{Amps, Celsius, Share, Volts, Watts},
    words,
};

/// OpenMetrics 1.0, 'Overall structure': the content type with its version.
pub(crate) const KIND: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Name without prefix, unit (part of the name), help.
type Family = (&'static str, &'static str, &'static str);

struct Text(String);

impl Text {
    /// A family and its samples; one without a value is left out.
    fn family(&mut self, (name, unit, help): Family, kind: &str, samples: &[(&str, Option<f64>)]) {
        let known: Vec<_> =
            samples.iter().filter_map(|(of, value)| Some((of, (*value)?))).collect();
        if known.is_empty() {
            return;
        }
        let full = if unit.is_empty() {
            format!("outlast_{name}")
        } else {
            format!("outlast_{name}_{unit}")
        };
        let _ = writeln!(self.0, "# TYPE {full} {kind}");
        if !unit.is_empty() {
            let _ = writeln!(self.0, "# UNIT {full} {unit}");
        }
        let _ = writeln!(self.0, "# HELP {full} {help}");
        let suffix = if kind == "counter" { "_total" } else { "" };
        for (labels, value) in known {
            let _ = writeln!(self.0, "{full}{suffix}{labels} {value}");
        }
    }

    fn gauge(&mut self, family: Family, value: Option<f64>) {
        self.family(family, "gauge", &[("", value)]);
    }
}

pub(crate) fn exposition(snapshot: &Snapshot) -> String {
    let mut text = Text(String::with_capacity(4096));
    let up_s = snapshot.at.mono.as_s();
    text.gauge(("up", "seconds", words::metrics::UPTIME), Some(up_s));
    supply(&mut text, snapshot);
    outlook(&mut text, snapshot);
    board(&mut text, snapshot);
    text.0.push_str("# EOF\n");
    text.0
}

fn supply(text: &mut Text, snapshot: &Snapshot) {
    let supply = &snapshot.supply;
    text.gauge(("supply", "volts", "Supply voltage."), supply.volts.ok().map(Volts::si));
    text.gauge(("supply", "amperes", words::metrics::CURRENT), supply.current.ok().map(Amps::si));
    text.gauge(("supply", "watts", words::metrics::POWER), supply.power.ok().map(Watts::si));
    text.gauge(("draw", "watts", words::metrics::DRAW), snapshot.draw.now.map(Watts::si));
    text.gauge(
        ("bank_delivered", "joules", words::metrics::ENERGY),
        Some(snapshot.bank.delivered.si()),
    );
}

fn outlook(text: &mut Text, snapshot: &Snapshot) {
    let [p10, p50, p90] = match &snapshot.outlook {
        Outlook::Lasts(forecast) => forecast.remaining.map(|left| Some(left.si())),
        Outlook::TooSoon { .. }
        | Outlook::NoBank
        | Outlook::NotDraining
        | Outlook::Blind { .. } => [None; 3],
    };
    text.family(
        ("remaining", "seconds", words::metrics::REMAINING),
        "gauge",
        &[("{share=\"0.1\"}", p10), ("{share=\"0.5\"}", p50), ("{share=\"0.9\"}", p90)],
    );
    text.gauge(
        ("finish_chance", "ratio", words::metrics::FINISH),
        snapshot.finish.and_then(|finish| finish.chance).map(Share::part),
    );
    let standing = u32::try_from(snapshot.alarms.len()).unwrap_or(u32::MAX);
    text.gauge(("alarms", "", words::metrics::ALARMS), Some(f64::from(standing)));
}

fn board(text: &mut Text, snapshot: &Snapshot) {
    let board = &snapshot.board;
    text.gauge(("board", "celsius", "Processor temperature."), board.temp.ok().map(Celsius::si));
    text.gauge(("board_busy", "ratio", words::metrics::CPU), board.cpu_busy.ok().map(Share::part));
    text.gauge(
        ("undervoltage", "", words::metrics::UNDERVOLTAGE),
        board.undervoltage.ok().map(|low| f64::from(u8::from(low))),
    );
    text.gauge(
        ("undervoltage_seen", "", words::metrics::UNDERVOLTAGE_TIMES),
        Some(f64::from(snapshot.undervoltage_times)),
    );
    let missed = u32::try_from(snapshot.missed_sweeps).unwrap_or(u32::MAX);
    text.family(
        ("missed_sweeps", "", words::metrics::SWEEPS),
        "counter",
        &[("", Some(f64::from(missed)))],
    );
    let resident = snapshot.footprint.resident_kib.and_then(|kib| u32::try_from(kib).ok());
    text.gauge(
        ("resident", "bytes", words::metrics::MEMORY),
        resident.map(|kib| f64::from(kib) * 1024.0),
    );
}
