//! The processor's temperature.

use std::path::PathBuf;

use reckon::{
    reading::{Gap, Got, Via},
    time::Mono,
    units::Celsius,
    words,
};

use crate::{
    files::{self, Attr},
    root::Root,
    source::{BoardPart, Channel, Reading, Source},
};

/// No processor works outside this; a reading beyond it is a broken one.
const CELSIUS: std::ops::RangeInclusive<f64> = -60.0..=150.0;
/// The same, for cells.
pub(crate) const CELL_CELSIUS: std::ops::RangeInclusive<f64> = -50.0..=120.0;
/// Names of hardware monitors that mean the processor, best first.
const MONITORS: [&str; 6] =
    ["cpu_thermal", "soc_thermal", "coretemp", "k10temp", "zenpower", "cpu0_thermal"];

/// One temperature, found again when its number changes.
pub(crate) struct Thermal {
    root: Root,
    channel: [Channel; 1],
    name: String,
    attr: Option<Attr>,
}

impl Thermal {
    /// The best processor temperature of this machine. Zone and hardware monitor are often one
    /// sensor under two names, so only one is taken; the zone first.
    pub(crate) fn find(root: &Root) -> Option<Self> {
        let zones = zones(root);
        let best = zones.iter().enumerate().min_by_key(|(i, (kind, _))| (rank(kind), *i));
        let (name, title, path) = match best {
            Some((_, (kind, path))) => {
                (format!("zone:{kind}"), format!("Temperature zone {kind}"), path.clone())
            }
            None => {
                let (name, path) = monitor(root)?;
                (format!("hwmon:{name}"), format!("Temperature monitor {name}"), path)
            }
        };
        let mut channel = Channel::new(format!("temperature:{name}"), title, Via::Thermal);
        let others: Vec<&str> = zones
            .iter()
            .map(|(kind, _)| kind.as_str())
            .filter(|kind| name != format!("zone:{kind}"))
            .collect();
        if !others.is_empty() {
            channel.notes.push(words::sensor::others_there(&(others.join(", "))));
        }
        Some(Self { root: root.clone(), channel: [channel], name, attr: Some(Attr::new(path)) })
    }

    fn celsius(&mut self) -> Got<Celsius> {
        if self.attr.is_none() {
            self.attr = locate(&self.root, &self.name).map(Attr::new);
        }
        let answer = self.attr.as_mut().ok_or(Gap::Gone)?.number(&self.root);
        if answer == Err(Gap::Gone) {
            self.attr = None;
        }
        milli_celsius(answer?, &CELSIUS)
    }
}

impl Source for Thermal {
    fn channels(&self) -> &[Channel] {
        &self.channel
    }

    fn may_block(&self) -> bool {
        false
    }

    fn read(&mut self, _at: Mono, into: &mut Vec<Reading>) {
        into.push(Reading::Board(BoardPart { temp: Some(self.celsius()), ..BoardPart::NOTHING }));
    }
}

/// Thousandths of a degree, held against what can be.
pub(crate) fn milli_celsius(milli: i64, limits: &std::ops::RangeInclusive<f64>) -> Got<Celsius> {
    #[expect(clippy::cast_precision_loss, reason = "held against limits right after")]
    let celsius = milli as f64 / 1000.0;
    if limits.contains(&celsius) { Ok(Celsius::of(celsius)) } else { Err(Gap::Implausible) }
}

/// Lower is better.
fn rank(kind: &str) -> u8 {
    match kind {
        "cpu-thermal" | "cpu_thermal" => 0,
        _ if kind.contains("cpu") => 1,
        _ if kind.contains("soc") => 2,
        _ if kind.contains("package") || kind.contains("pkg") => 3,
        _ => 9,
    }
}

fn zones(root: &Root) -> Vec<(String, PathBuf)> {
    let dir = root.at("/sys/class/thermal");
    let names = files::names(&dir).unwrap_or_default();
    names
        .into_iter()
        .filter(|name| name.starts_with("thermal_zone"))
        .filter_map(|name| {
            let kind = files::line(root, &dir.join(&name).join("type"))?;
            Some((kind, dir.join(name).join("temp")))
        })
        .collect()
}

fn monitor(root: &Root) -> Option<(String, PathBuf)> {
    let dir = root.at("/sys/class/hwmon");
    let all: Vec<(String, PathBuf)> = files::names(&dir)
        .ok()?
        .into_iter()
        .filter_map(|entry| {
            let home = dir.join(entry);
            Some((files::line(root, &home.join("name"))?, home.join("temp1_input")))
        })
        .filter(|(_, path)| path.exists())
        .collect();
    MONITORS.iter().find_map(|want| all.iter().find(|(name, _)| name == want).cloned())
}

fn locate(root: &Root, name: &str) -> Option<PathBuf> {
    match name.split_once(':')? {
        ("zone", kind) => zones(root).into_iter().find(|(found, _)| found == kind),
        (_, want) => monitor(root).filter(|(found, _)| found == want),
    }
    .map(|(_, path)| path)
}
