//! Fuel gauges and other batteries of the kernel's power-supply class.
//!
//! Drivers do not agree on the sign of the current, so the size is taken from the current and the
//! direction from the status. The same gauge often appears a second time as a hardware monitor
//! under its name with underscores; that one is never read.

use std::{io, ops::RangeInclusive, path::PathBuf};

use reckon::{
    reading::{Flow, Gap, Got, Role, Via},
    time::Mono,
    units::{Amps, Celsius, Joules, Share, Volts},
    words,
};

use crate::{
    files::{self, Attr},
    root::Root,
    source::{Channel, Found, Gauge, Known, Reading, Source},
    thermal::{CELL_CELSIUS, milli_celsius},
    want::{SensorWant, Want},
};

/// One flat cell to a large stack; the kernel's test gauge with its 3.3 mV falls out.
const VOLTS: RangeInclusive<f64> = 0.5..=120.0;
/// As for power monitors.
const MOST_AMPS: f64 = 300.0;
/// More than any bank that is carried, in watt-hours.
const MOST_WH: f64 = 100_000.0;

/// One battery.
pub(crate) struct FuelGauge {
    root: Root,
    home: PathBuf,
    channel: [Channel; 1],
    scale: f64,
    volts: [Attr; 2],
    amps: [Attr; 2],
    power: Attr,
    capacity: Attr,
    status: Attr,
    present: Attr,
    charge: [Attr; 2],
    energy: [Attr; 2],
    temp: Attr,
}

/// All batteries that are not known yet.
pub(crate) fn discover(root: &Root, want: &Want, known: &Known) -> Found {
    let mut found = Found::default();
    let class = root.at("/sys/class/power_supply");
    for name in files::names(&class).unwrap_or_default() {
        let home = class.join(&name);
        let id = format!("power_supply:{name}");
        let kind = files::line(root, &home.join("type")).unwrap_or_else(|| "Unknown".into());
        let scope = files::line(root, &home.join("scope"));
        if known.has(&id) {
            continue;
        }
        let battery = kind == "Battery" || kind == "UPS";
        if battery && scope.as_deref() != Some("Device") {
            let about = want.about(&id);
            found.sources.push(Box::new(FuelGauge::new(root, home, &name, about)));
        } else {
            found.left_alone.push(other_supply(root, &home, &name, &kind, battery));
        }
    }
    found
}

/// Something of the class that is no battery of this board.
fn other_supply(
    root: &Root,
    home: &std::path::Path,
    name: &str,
    kind: &str,
    battery: bool,
) -> Channel {
    let title =
        if battery { format!("Battery {name}") } else { format!("Supply input {name} ({kind})") };
    let mut channel = Channel::new(format!("power_supply:{name}"), title, Via::PowerSupply);
    channel.notes.push(if battery {
        words::sensor::OTHER_DEVICE.into()
    } else {
        let plugged = match files::number_at(root, &home.join("online")) {
            Ok(0) => words::sensor::WAS_UNPLUGGED,
            Ok(_) => words::sensor::WAS_PLUGGED_IN,
            Err(_) => "",
        };
        words::sensor::feeds_board(&plugged)
    });
    channel
}

impl FuelGauge {
    fn new(root: &Root, home: PathBuf, name: &str, about: SensorWant) -> Self {
        let attr = |file: &str| Attr::new(home.join(file));
        let mut channel = Channel::new(
            format!("power_supply:{name}"),
            format!("Fuel gauge {name}"),
            Via::PowerSupply,
        );
        channel.power = true;
        channel.told_role = about.role;
        channel.notes = notes(root, &home, name);
        if let Some(label) = about.name {
            channel.title = format!("{label}: {}", channel.title);
            channel.label = Some(label);
        }
        if about.role == Some(Role::NotCounted) {
            channel.notes.push(words::sensor::IGNORED.into());
        }
        Self {
            root: root.clone(),
            channel: [channel],
            scale: about.scale.unwrap_or(1.0),
            volts: [attr("voltage_now"), attr("voltage_avg")],
            amps: [attr("current_now"), attr("current_avg")],
            power: attr("power_now"),
            capacity: attr("capacity"),
            status: attr("status"),
            present: attr("present"),
            charge: [attr("charge_now"), attr("charge_full")],
            energy: [attr("energy_now"), attr("energy_full")],
            temp: attr("temp"),
            home,
        }
    }

    fn gauge(&mut self) -> Gauge {
        if !self.home.exists() || number(&mut self.present, &self.root) == Ok(0) {
            return Gauge::missing(Gap::Gone);
        }
        let root = &self.root;
        let volts = first_number(&mut self.volts, root).and_then(volts);
        let flow = flow(&mut self.status, root);
        let micro_amps = first_number(&mut self.amps, root);
        let size = match (micro_amps, number(&mut self.power, root), volts) {
            (Ok(micro), ..) => Ok(micro_of(micro)),
            (Err(Gap::Absent), Ok(micro), Ok(volts)) => Ok(micro_of(micro) / volts.si()),
            (Err(gap), ..) => Err(gap),
        };
        let amps = size.and_then(|size| amps(size * self.scale, flow));
        let charge = number(&mut self.charge[0], root);
        let energy = number(&mut self.energy[0], root);
        let level = number(&mut self.capacity, root).and_then(percent).or_else(|gap| {
            part_of(energy, &mut self.energy[1], root)
                .or_else(|_| part_of(charge, &mut self.charge[1], root))
                .map_err(|_| gap)
        });
        Gauge {
            volts,
            amps,
            level,
            energy_left: energy_left(energy, charge, volts),
            flow,
            temp: number(&mut self.temp, root).and_then(cell_temp),
        }
    }
}

impl Source for FuelGauge {
    fn channels(&self) -> &[Channel] {
        &self.channel
    }

    fn read(&mut self, _at: Mono, into: &mut Vec<Reading>) {
        into.push(Reading::Gauge(self.gauge()));
    }
}

fn notes(root: &Root, home: &std::path::Path, name: &str) -> Vec<String> {
    let mut notes = Vec::new();
    let has = |file: &str| home.join(file).exists();
    if name.starts_with("test_") {
        notes.push(words::sensor::MADE_UP.into());
    }
    if !has("current_now") && !has("current_avg") && !has("power_now") {
        notes.push(words::sensor::NO_CURRENT.into());
    }
    let text = |file: &str| files::line(root, &home.join(file));
    if let (Some(full), Some(design)) = (text("charge_full"), text("charge_full_design"))
        && let (Ok(full), Ok(design)) = (full.parse::<u32>(), design.parse::<u32>())
        && design > 0
    {
        let share = f64::from(full) / f64::from(design) * 100.0;
        notes.push(words::sensor::worn_cells(share));
    }
    notes
}

/// A number of this class. Here the kernel's 'no data' means no value at the moment, and 'invalid'
/// that the driver has no such property; a missing file is a missing property as long as the
/// gauge itself is there.
///
/// Source: the kernel's `drivers/power/supply/power_supply_sysfs.c`.
fn number(attr: &mut Attr, root: &Root) -> Got<i64> {
    let mut buffer = [0; 64];
    attr.read(root, &mut buffer).map_err(|error| class_gap(&error)).and_then(files::number)
}

fn class_gap(error: &io::Error) -> Gap {
    match error.raw_os_error() {
        Some(libc::ENODATA) => Gap::NotReady,
        Some(libc::EINVAL | libc::ENOENT) => Gap::Absent,
        _ => files::gap(error),
    }
}

/// The first that has a value; else why the one that is there has none.
fn first_number(attrs: &mut [Attr; 2], root: &Root) -> Got<i64> {
    let [now, average] = attrs;
    number(now, root).or_else(|gap| {
        let second = number(average, root);
        if second == Err(Gap::Absent) { Err(gap) } else { second }
    })
}

fn flow(status: &mut Attr, root: &Root) -> Flow {
    let mut buffer = [0; 64];
    match status.read(root, &mut buffer).map(<[u8]>::trim_ascii) {
        Ok(b"Discharging") => Flow::Draining,
        Ok(b"Charging") => Flow::Charging,
        Ok(b"Full" | b"Not charging") => Flow::Resting,
        _ => Flow::Unknown,
    }
}

fn micro_of(micro: i64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "held against limits afterwards")]
    let whole = micro as f64;
    whole * 1e-6
}

fn volts(micro: i64) -> Got<Volts> {
    let volts = micro_of(micro);
    if VOLTS.contains(&volts) { Ok(Volts::of(volts)) } else { Err(Gap::Implausible) }
}

/// Out of the bank is positive. Without a word about the direction the rule of the class holds:
/// negative is discharging.
///
/// Source: the kernel's `Documentation/ABI/testing/sysfs-class-power`.
fn amps(size: f64, flow: Flow) -> Got<Amps> {
    if size.abs() > MOST_AMPS {
        return Err(Gap::Implausible);
    }
    Ok(Amps::of(match flow {
        Flow::Draining => size.abs(),
        Flow::Charging => -size.abs(),
        Flow::Resting | Flow::Unknown => -size,
    }))
}

fn percent(percent: i64) -> Got<Share> {
    // A few gauges count up to a little beyond full.
    if !(0..=110).contains(&percent) {
        return Err(Gap::Implausible);
    }
    Ok(Share::nearest(micro_of(percent * 10_000)))
}

fn part_of(now: Got<i64>, full: &mut Attr, root: &Root) -> Got<Share> {
    let (now, full) = (micro_of(now?), micro_of(number(full, root)?));
    if full <= 0.0 {
        return Err(Gap::Implausible);
    }
    Share::new(now / full).ok_or(Gap::Implausible)
}

fn energy_left(energy: Got<i64>, charge: Got<i64>, volts: Got<Volts>) -> Got<Joules> {
    let wh = match energy {
        Ok(micro_wh) => micro_of(micro_wh),
        Err(_) => micro_of(charge?) * volts?.si(),
    };
    if (0.0..=MOST_WH).contains(&wh) { Ok(Joules::from_wh(wh)) } else { Err(Gap::Implausible) }
}

/// Tenths of a degree.
fn cell_temp(tenths: i64) -> Got<Celsius> {
    milli_celsius(tenths.saturating_mul(100), &CELL_CELSIUS)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: `Documentation/ABI/testing/sysfs-class-power` (negative is discharging) and
    /// `drivers/power/supply/bq27xxx_battery.c` (positive is charging), both of the kernel;
    /// other drivers print the size only.
    #[test]
    fn the_status_gives_the_direction_and_the_current_the_size() {
        for (size, flow, want) in [
            (-0.612, Flow::Draining, 0.612),
            (0.612, Flow::Draining, 0.612),
            (0.5, Flow::Charging, -0.5),
            (-0.5, Flow::Charging, -0.5),
            (-0.3, Flow::Unknown, 0.3),
            (0.01, Flow::Resting, -0.01),
        ] {
            assert_eq!(amps(size, flow), Ok(Amps::of(want)), "{size} {flow:?}");
        }
    }

    /// Source: the kernel's `power_supply_sysfs.c`.
    #[test]
    fn errors_of_this_class() {
        for (errno, want) in [
            (libc::ENODATA, Gap::NotReady),
            (libc::ENODEV, Gap::Gone),
            (libc::EAGAIN, Gap::NotReady),
            (libc::EINVAL, Gap::Absent),
        ] {
            assert_eq!(class_gap(&io::Error::from_raw_os_error(errno)), want, "errno {errno}");
        }
    }
}
