//! Power monitors through the kernel's hardware-monitoring drivers.
//!
//! A chip is known by its driver's name and by the device it sits on (`ina226@1-0040`), never by
//! the number of its folder, which changes from boot to boot. When the folder vanishes (driver
//! unbound, numbers dealt anew) it is looked for again under that identity.
//!
//! Power is voltage times current: the drivers' own power attribute is coarser and never negative.
//! The shunt-voltage attribute has steps of 1 mV and is never used for a current.

use std::{
    path::{Path, PathBuf},
    time::Duration,
};

use reckon::{
    name,
    reading::{Role, Shunt, Via},
    time::Mono,
    units::Ohms,
    words,
};

use crate::{
    files,
    root::Root,
    source::{Channel, Found, Known, Reading, Source},
    want::{SensorWant, Want},
};

mod averaging;
mod models;
mod wire;

#[cfg(test)]
mod tests;

use averaging::Averaging;
use models::{Model, ShuntShown};
use wire::Wire;

/// Sweeps between two looks for a folder that has vanished.
const LOOK_AGAIN_SWEEPS: u32 = 2;
/// Sweeps between two looks at the shunt that the driver assumes: root may change it.
const SHUNT_SWEEPS: u32 = 60;
/// How far two shunts may differ and still be the same: older drivers hand back a rounded value.
/// Source: the kernel's `drivers/hwmon/ina2xx.c` before the fixed calibration, where a 100 mΩ
/// shunt reads as 99 902 µΩ on an INA219.
const SAME_SHUNT: f64 = 0.01;

/// One chip under one driver.
pub(super) struct Monitor {
    root: Root,
    model: &'static Model,
    device: String,
    home: Option<PathBuf>,
    about: Vec<SensorWant>,
    wires: Vec<Wire>,
    channels: Vec<Channel>,
    averaging: Averaging,
    version: u32,
    sweeps: u32,
}

/// All power monitors under drivers that are not known yet.
pub(crate) fn discover(root: &Root, want: &Want, known: &Known) -> Found {
    let mut found = Found::default();
    let mut seen: Vec<String> = Vec::new();
    for (name, device, home) in homes(root) {
        let base = format!("hwmon:{name}@{device}");
        let Some(model) = models::by_name(&name) else {
            found.left_alone.extend(stranger(&name, &base, &home));
            continue;
        };
        if seen.contains(&base) {
            found.notes.push(words::sensor::same_name(&base));
            continue;
        }
        seen.push(base.clone());
        for inlet in model.inlets() {
            if switched_off(root, &home, inlet) {
                found.left_alone.push(off_channel(root, model, &device, &home, inlet, &base));
            }
        }
        let inlets: Vec<Option<u8>> =
            model.inlets().filter(|inlet| !switched_off(root, &home, *inlet)).collect();
        let new = inlets.iter().any(|inlet| !known.has(&id(&base, *inlet)));
        if new && !inlets.is_empty() {
            found.sources.push(Box::new(Monitor::new(root, want, model, device, home, &inlets)));
        }
    }
    found
}

impl Monitor {
    fn new(
        root: &Root,
        want: &Want,
        model: &'static Model,
        device: String,
        home: PathBuf,
        inlets: &[Option<u8>],
    ) -> Self {
        let base = format!("hwmon:{}@{device}", model.name);
        let about: Vec<SensorWant> =
            inlets.iter().map(|inlet| want.about(&id(&base, *inlet))).collect();
        let wires = inlets.iter().map(|inlet| Wire::new(model, *inlet)).collect();
        let channels = inlets
            .iter()
            .zip(&about)
            .map(|(inlet, about)| {
                let mut channel =
                    Channel::new(id(&base, *inlet), title(model, &device, *inlet), Via::Hwmon);
                channel.power = true;
                channel.place = Some(inlet.map_or(device.clone(), |n| format!("{device}/{n}")));
                channel.told_role = about.role;
                channel
            })
            .collect();
        let mut monitor = Self {
            root: root.clone(),
            model,
            device,
            averaging: Averaging::read(root, &home),
            home: None,
            about,
            wires,
            channels,
            version: 0,
            sweeps: 0,
        };
        monitor.open(home);
        monitor
    }

    /// Moves in: the files of this folder are read from now on.
    fn open(&mut self, home: PathBuf) {
        for wire in &mut self.wires {
            wire.open(&home);
        }
        self.home = Some(home);
        self.describe();
    }

    /// Reads what the driver says about itself, and puts everything into words.
    fn describe(&mut self) {
        let Some(home) = &self.home else { return };
        for ((wire, channel), about) in
            self.wires.iter_mut().zip(&mut self.channels).zip(&self.about)
        {
            let label = channel_label(&self.root, home, wire.inlet);
            let told_name = about.name.clone();
            channel.label = told_name.or(label);
            channel.title = title(self.model, &self.device, wire.inlet);
            if let Some(label) = &channel.label {
                channel.title = format!("{label}: {}", channel.title);
            }
            let assumed = assumed_shunt(&self.root, self.model, home, wire.inlet);
            let (shunt, notes) = correction(self.model, assumed, about);
            channel.shunt = Some(shunt);
            channel.notes = notes;
            channel.notes.extend(self.model.remark.map(str::to_owned));
            if !wire.counts_energy() {
                channel.notes.extend(self.averaging.remark(self.model.snapshot));
            }
            channel.notes.extend(wire.suspicion(self.model, shunt));
            wire.set_shunt(self.model, shunt);
        }
        self.version += 1;
    }

    /// Looks for the folder under its new number.
    fn find_again(&mut self) {
        let home = homes(&self.root)
            .into_iter()
            .find(|(name, device, _)| name == self.model.name && *device == self.device);
        if let Some((_, _, home)) = home {
            // A driver that was bound anew has its own setting again.
            self.averaging = Averaging::read(&self.root, &home);
            self.open(home);
        }
    }
}

impl Source for Monitor {
    fn channels(&self) -> &[Channel] {
        &self.channels
    }

    fn version(&self) -> u32 {
        self.version
    }

    fn read(&mut self, _at: Mono, into: &mut Vec<Reading>) {
        self.sweeps = self.sweeps.wrapping_add(1);
        if self.home.is_none() && self.sweeps.is_multiple_of(LOOK_AGAIN_SWEEPS) {
            self.find_again();
        }
        if self.home.is_some() && self.sweeps.is_multiple_of(SHUNT_SWEEPS) {
            self.check_shunts();
        }
        let mut lost = false;
        let mut doubts = false;
        for wire in &mut self.wires {
            let supply = wire.read(&self.root, self.model);
            lost |= wire.is_lost();
            doubts |= wire.take_new_doubt();
            into.push(Reading::Supply(supply));
        }
        if lost {
            self.home = None;
            for wire in &mut self.wires {
                wire.close();
            }
        }
        if doubts {
            self.describe();
        }
    }

    fn sample_every(&self) -> Option<Duration> {
        self.model.snapshot.then_some(Duration::from_millis(200))
    }

    fn wander(&self) -> Option<Duration> {
        let ignored = |one: &SensorWant| one.role == Some(Role::NotCounted);
        let counts = self.wires.iter().all(Wire::counts_energy);
        if counts || self.about.iter().all(ignored) {
            return None;
        }
        self.averaging.wander(self.sample_every())
    }

    fn sample(&mut self) {
        for wire in &mut self.wires {
            wire.sample(&self.root, self.model);
        }
    }
}

impl Monitor {
    fn check_shunts(&mut self) {
        let Some(home) = &self.home else { return };
        let changed = self.wires.iter().zip(&self.channels).any(|(wire, channel)| {
            let now = assumed_shunt(&self.root, self.model, home, wire.inlet);
            channel.shunt.is_some_and(|shunt| shunt.assumed != now)
        });
        if changed {
            self.describe();
        }
    }
}

/// Every hardware monitor: its driver's name, the device it sits on, its folder.
fn homes(root: &Root) -> Vec<(String, String, PathBuf)> {
    let class = root.at("/sys/class/hwmon");
    let names = files::names(&class).unwrap_or_default();
    names
        .into_iter()
        .filter_map(|entry| {
            let home = class.join(entry);
            let name = files::line(root, &home.join("name"))?;
            let device = device(&home)?;
            Some((name, device, attributes_in(home)))
        })
        .collect()
}

/// A monitor of another kind that measures a current: perhaps of use, but its driver's meaning of
/// the channels is not known here. The twins of the power-supply class are read there.
fn stranger(name: &str, base: &str, home: &Path) -> Option<Channel> {
    let twin = home.join("device").canonicalize().ok()?;
    if twin.components().any(|part| part.as_os_str() == "power_supply") {
        return None;
    }
    if !home.join("curr1_input").exists() {
        return None;
    }
    let mut channel = Channel::new(base, format!("Monitor {name}"), Via::Hwmon);
    channel.notes.push(words::sensor::UNKNOWN_CHIP.into());
    Some(channel)
}

/// The device that a monitor sits on: `1-0040` is address 0x40 on bus 1.
fn device(home: &Path) -> Option<String> {
    let base = |path: &Path| path.file_name().map(|name| name.to_string_lossy().into_owned());
    if let Ok(device) = home.join("device").canonicalize() {
        return base(&device);
    }
    // Without the link: `.../1-0040/hwmon/hwmon2`.
    let real = home.canonicalize().ok()?;
    base(real.parent()?.parent()?)
}

/// Very old drivers put the attributes one folder further.
fn attributes_in(home: PathBuf) -> PathBuf {
    let further = home.join("device");
    let here = home.join("in1_input").exists() || home.join("curr1_input").exists();
    if !here && further.join("in1_input").exists() { further } else { home }
}

fn id(base: &str, inlet: Option<u8>) -> String {
    inlet.map_or_else(|| base.to_owned(), |n| format!("{base}/{n}"))
}

fn title(model: &Model, device: &str, inlet: Option<u8>) -> String {
    let place = device
        .split_once('-')
        .and_then(|(bus, address)| {
            let address = u16::from_str_radix(address, 16).ok()?;
            let bus: u32 = bus.parse().ok()?;
            Some(format!("at 0x{address:02x} on bus {bus}"))
        })
        .unwrap_or_else(|| format!("on {device}"));
    let inlet = inlet.map_or_else(String::new, |n| format!(", channel {n}"));
    format!("{} power monitor {place}{inlet}", model.name.to_uppercase())
}

/// Whether the driver says that a channel is switched off.
fn switched_off(root: &Root, home: &Path, inlet: Option<u8>) -> bool {
    inlet.is_some_and(|n| files::number_at(root, &home.join(format!("in{n}_enable"))) == Ok(0))
}

fn off_channel(
    root: &Root,
    model: &Model,
    device: &str,
    home: &Path,
    inlet: Option<u8>,
    base: &str,
) -> Channel {
    let mut title = title(model, device, inlet);
    if let Some(label) = channel_label(root, home, inlet) {
        title = format!("{label}: {title}");
    }
    let mut channel = Channel::new(id(base, inlet), title, Via::Hwmon);
    let n = inlet.unwrap_or(1);
    channel.notes.push(words::sensor::channel_off(&(home.join(format!("in{n}_enable")).display())));
    channel
}

fn channel_label(root: &Root, home: &Path, inlet: Option<u8>) -> Option<String> {
    let file = inlet.map_or_else(|| "label".to_owned(), |n| format!("in{n}_label"));
    let label = files::line(root, &home.join(file))?;
    Some(name::mended(&label, 40))
}

/// The shunt that the driver assumes, from the driver or from the device tree.
fn assumed_shunt(root: &Root, model: &Model, home: &Path, inlet: Option<u8>) -> Option<Ohms> {
    let micro = match (model.shunt, inlet) {
        (ShuntShown::Inside, _) => return None,
        (ShuntShown::File, Some(n)) => {
            files::number_at(root, &home.join(format!("shunt{n}_resistor"))).ok()?
        }
        (ShuntShown::File, None) => files::number_at(root, &home.join("shunt_resistor")).ok()?,
        (ShuntShown::Hidden, _) => {
            let tree = home.join("device/of_node/shunt-resistor");
            let bytes = files::bytes(root, &tree, 8).ok()?;
            i64::from(u32::from_be_bytes(bytes.try_into().ok()?))
        }
    };
    // What the drivers accept: 1 µΩ to 10 Ω.
    (1..=10_000_000).contains(&micro).then(|| {
        #[expect(clippy::cast_precision_loss, reason = "at most ten million")]
        Ohms::of(micro as f64 * 1e-6)
    })
}

/// What every current has to be multiplied by, and the sentences about it.
fn correction(model: &Model, assumed: Option<Ohms>, about: &SensorWant) -> (Shunt, Vec<String>) {
    let mut notes = Vec::new();
    let mut scale = about.scale.unwrap_or(1.0);
    match (model.shunt, assumed, about.shunt) {
        (ShuntShown::Inside, _, Some(_)) => notes.push(words::sensor::INNER_SHUNT_GIVEN.into()),
        (ShuntShown::Inside, ..) => {}
        (_, Some(assumed), Some(told)) => {
            let ratio = assumed.si() / told.si();
            if (ratio - 1.0).abs() > SAME_SHUNT {
                scale *= ratio;
                notes.push(words::sensor::shunt_corrected(
                    &milliohms(assumed),
                    &milliohms(told),
                    ratio,
                ));
            }
        }
        (_, Some(assumed), None) => notes.push(unconfirmed(assumed)),
        (_, None, Some(told)) => notes.push(words::sensor::shunt_unknown_given(&milliohms(told))),
        (_, None, None) => notes.push(words::sensor::SHUNT_UNKNOWN.into()),
    }
    if let Some(by) = about.scale {
        notes.push(words::sensor::scaled(&by));
    }
    if about.role == Some(Role::NotCounted) {
        notes.push(words::sensor::IGNORED.into());
    }
    (Shunt { assumed, told: about.shunt, scale }, notes)
}

fn unconfirmed(assumed: Ohms) -> String {
    let shown = milliohms(assumed);
    if (assumed.si() - 0.01).abs() < 1e-4 {
        words::sensor::shunt_by_default(&shown)
    } else {
        words::sensor::shunt_assumed(&shown)
    }
}

fn milliohms(ohms: Ohms) -> String {
    let text = format!("{:.3}", ohms.si() * 1000.0);
    format!("{} mΩ", text.trim_end_matches('0').trim_end_matches('.'))
}
