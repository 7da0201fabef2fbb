//! Power monitors read over I²C where no kernel driver is bound: which buses are asked, which
//! addresses, and each chip found as a source of readings.
//!
//! What keeps the neighbours safe:
//! - a chip that a driver owns is left to the driver: its folder in `/sys` is looked at first, and
//!   the kernel refuses the address once more at every transfer;
//! - an address that the kernel knows as something else is not asked at all;
//! - only addresses 0x40 to 0x4F are asked, the only ones these chips can have, by reads alone;
//! - nothing is written before a chip has proved what it is, and then only to that chip;
//! - whole buses are asked only where a device tree describes them as part of a board, and not
//!   those of screens. On a PC the bus of the memory modules and those of the graphics card are
//!   left alone unless the settings name a chip there.

use std::{
    fs,
    ops::RangeInclusive,
    path::{Path, PathBuf},
    time::Duration,
};

use reckon::{
    reading::{Shunt, Via},
    time::Mono,
    units::Ohms,
    words,
};

use crate::{
    bus::{Bus, LinuxBus, Trouble},
    ina::{
        self, Facts, Sense,
        identify::{self, Verdict},
        monitor::{Correction, INLETS, Monitor},
    },
    looks::{Look, Looks},
    root::Root,
    source::{Channel, Found, Known, Reading, Source, Supply},
    want::{Chip, Want},
};

#[cfg(test)]
mod tests;

/// Where these chips can sit: 40h plus four times one pin's choice plus the other's.
/// Source: INA226 data sheet SBOS547B, table of address pins; the others have the same.
const ADDRESSES: RangeInclusive<u8> = 0x40..=0x4F;

/// What the kernel calls its emulated adapter (Linux kernel, drivers/i2c/i2c-stub.c).
const STUB: &str = "SMBus stub driver";

/// Parts of adapter names that speak of screens and graphics cards, or of a switch behind which
/// more buses lie. Common practice, no source.
const NOT_SEARCHED: [&str; 10] =
    ["ddc", "hdmi", "i915", "nvidia", "nouveau", "amdgpu", "radeon", "aux", "gmbus", "mux"];

/// Device-tree nodes of the screen connectors' buses on Raspberry Pi boards: BCM2835 to 2837,
/// BCM2711 (two), BCM2712 (two). From the vendor's device trees, the last pair from memory.
const SCREEN_NODES: [&str; 5] =
    ["i2c@7e805000", "i2c@7ef04500", "i2c@7ef09500", "i2c@7d508200", "i2c@7d508280"];

/// Looks for chips that no driver owns. `known` holds what has a source already.
pub(crate) fn discover(root: &Root, want: &Want, known: &Known) -> Found {
    if !root.is_real() {
        // The files of /sys may be made up; the buses behind them are not.
        let mut found = Found::default();
        if !named_places(want).is_empty() {
            found.notes.push(words::sensor::BUSES_NOT_READ.into());
        }
        return found;
    }
    search(root, want, known, &mut |number| {
        Box::new(LinuxBus::at(root.at(&format!("/dev/i2c-{number}"))))
    })
}

/// An adapter that the kernel knows.
#[derive(Clone, Debug, PartialEq)]
struct Adapter {
    number: u32,
    name: String,
    /// The last part of its place in the device tree, if a device tree describes it.
    node: Option<String>,
}

impl Adapter {
    /// Whether all its addresses may be asked, or only those that the settings name.
    fn may_be_searched(&self) -> bool {
        let name = self.name.to_lowercase();
        let screen = self.node.as_deref().is_some_and(|node| SCREEN_NODES.contains(&node));
        self.name.starts_with(STUB)
            || (self.node.is_some()
                && !screen
                && !NOT_SEARCHED.iter().any(|part| name.contains(part)))
    }
}

/// All adapters, by number.
fn adapters(root: &Root) -> Vec<Adapter> {
    let devices = root.at("/sys/bus/i2c/devices");
    let mut found: Vec<Adapter> = fs::read_dir(&devices)
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| {
            let number = entry.file_name().to_str()?.strip_prefix("i2c-")?.parse().ok()?;
            let node = fs::read_link(entry.path().join("of_node"))
                .ok()
                .and_then(|node| Some(node.file_name()?.to_string_lossy().into_owned()));
            let name = line(&entry.path().join("name")).unwrap_or_default();
            Some(Adapter { number, name, node })
        })
        .collect();
    found.sort_by_key(|adapter| adapter.number);
    found
}

/// The first line of a small file.
fn line(path: &Path) -> Option<String> {
    let text = fs::read(path).ok()?;
    let text = String::from_utf8_lossy(&text);
    let first = text.lines().next()?.trim();
    (!first.is_empty()).then(|| first.chars().take(80).collect())
}

/// A bus and an address, written `1-0040`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Place {
    bus: u32,
    address: u8,
}

impl Place {
    /// Reads `1-0040`, `ina219@1-0040` or `i2c:ina3221@1-0040/2`.
    fn read(written: &str) -> Option<Self> {
        let place = written.trim().rsplit('@').next()?.split('/').next()?;
        let (bus, address) = place.split_once('-')?;
        let address = u8::try_from(u16::from_str_radix(address, 16).ok()?).ok()?;
        Some(Self { bus: bus.parse().ok()?, address })
    }
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}-{:04x}", self.bus, self.address)
    }
}

/// Chips that the settings name, with their places.
fn named_places(want: &Want) -> Vec<(Place, Chip)> {
    want.sensors
        .iter()
        .filter_map(|entry| Some((Place::read(&entry.matches)?, entry.chip?)))
        .collect()
}

/// The chip that the settings name at this place.
fn named_at(named: &[(Place, Chip)], place: Place) -> Option<Chip> {
    named.iter().find(|(at, _)| *at == place).map(|(_, chip)| *chip)
}

/// The search, over buses from wherever.
fn search(
    root: &Root,
    want: &Want,
    known: &Known,
    open: &mut dyn FnMut(u32) -> Box<dyn Bus>,
) -> Found {
    let mut found = Found::default();
    let named = named_places(want);
    let adapters = adapters(root);
    note_missing_buses(root, want, &named, &adapters, &mut found);
    for adapter in &adapters {
        search_bus(root, want, known, adapter, &named, open, &mut found);
    }
    let passed_over: Vec<String> = adapters
        .iter()
        .filter(|adapter| !adapter.may_be_searched())
        .map(|adapter| format!("{} ({})", adapter.number, adapter.name))
        .collect();
    if !passed_over.is_empty() {
        found.notes.push(words::sensor::buses_not_searched(&(passed_over.join(", "))));
    }
    found.notes.dedup();
    found
}

/// Says what keeps a bus, or a chip that the settings name, from being asked at all.
fn note_missing_buses(
    root: &Root,
    want: &Want,
    named: &[(Place, Chip)],
    adapters: &[Adapter],
    found: &mut Found,
) {
    let described = root.at("/proc/device-tree").exists();
    if adapters.is_empty() && (described || !named.is_empty()) {
        found.notes.push(words::sensor::NO_BUS.into());
    }
    for entry in want.sensors.iter().filter(|entry| entry.chip.is_some()) {
        match Place::read(&entry.matches) {
            None => found.notes.push(words::sensor::bad_place(&entry.matches)),
            Some(place) if !ADDRESSES.contains(&place.address) => {
                found.notes.push(words::sensor::bad_address(&place.address));
            }
            Some(place) if !adapters.iter().any(|adapter| adapter.number == place.bus) => {
                found.notes.push(Trouble::NoBus.says(place.bus));
            }
            Some(_) => {}
        }
    }
}

/// Asks the addresses of one bus.
fn search_bus(
    root: &Root,
    want: &Want,
    known: &Known,
    adapter: &Adapter,
    named: &[(Place, Chip)],
    open: &mut dyn FnMut(u32) -> Box<dyn Bus>,
    found: &mut Found,
) {
    for address in ADDRESSES {
        let place = Place { bus: adapter.number, address };
        let told = named_at(named, place);
        let neighbour = Neighbour::at(root, place);
        if has_source(known, place) || !neighbour.may_be_asked(adapter, told) {
            found.left_alone.extend(neighbour.left_to_driver(place));
            continue;
        }
        let told = told.or_else(|| neighbour.chip());
        if told.is_none() && known.has(&stranger_id(place)) {
            continue; // asked once, and not a second time
        }
        let mut bus = open(adapter.number);
        match identify::ask(bus.as_mut(), address, told) {
            Ok(Verdict::Is(chip)) => {
                let shortened = adapter.name.starts_with(STUB);
                found.sources.push(Box::new(Wired::new(bus, place, chip, want, known, shortened)));
            }
            Ok(verdict) => found.left_alone.push(stranger(place, told, verdict)),
            // Some controllers say 'input/output error' where nobody acknowledges.
            Err(
                Trouble::NoAcknowledge
                | Trouble::DriverOwns
                | Trouble::Arbitration
                | Trouble::Failed(_),
            ) => {
                if let Some(chip) = told {
                    found.notes.push(words::sensor::nobody_at(
                        &address,
                        &adapter.number,
                        &ina::facts(chip).name,
                    ));
                }
            }
            // The others would fail alike, and on a bus that hangs each of them for a second.
            Err(trouble) => {
                found.notes.push(trouble.says(adapter.number));
                return;
            }
        }
    }
}

/// Whether a chip at this place has a source already.
fn has_source(known: &Known, place: Place) -> bool {
    ina::ALL.iter().any(|facts| {
        let whole = format!("i2c:{}@{place}", facts.slug);
        known.has(&whole) || known.has(&format!("{whole}/1"))
    })
}

/// The identity of something that is left alone.
fn stranger_id(place: Place) -> String {
    format!("i2c:unknown@{place}")
}

/// What the kernel says about an address.
#[derive(Clone, Debug, PartialEq)]
struct Neighbour {
    /// Under which name the device tree or the owner has registered a device.
    registered: Option<String>,
    /// The driver that owns it.
    driver: Option<String>,
}

impl Neighbour {
    fn at(root: &Root, place: Place) -> Self {
        let folder = root.at(&format!("/sys/bus/i2c/devices/{place}"));
        let link: PathBuf = folder.join("driver");
        let driver = match fs::read_link(&link) {
            Ok(target) => target.file_name().map(|name| name.to_string_lossy().into_owned()),
            Err(_) => link.symlink_metadata().is_ok().then(|| "unknown".to_owned()),
        };
        Self { registered: line(&folder.join("name")), driver }
    }

    /// The chip, if it is registered as one of ours.
    fn chip(&self) -> Option<Chip> {
        match self.registered.as_deref()? {
            "ina220" => Some(Chip::Ina219), // the same registers
            name => ina::ALL.iter().find(|facts| facts.slug == name).map(|facts| facts.chip),
        }
    }

    /// Whether we may talk to the address.
    fn may_be_asked(&self, adapter: &Adapter, told: Option<Chip>) -> bool {
        if self.driver.is_some() {
            return false;
        }
        match (&self.registered, self.chip()) {
            (Some(_), None) => false, // registered as something else
            (Some(_), Some(_)) => true,
            (None, _) => told.is_some() || adapter.may_be_searched(),
        }
    }

    /// A power monitor that a driver owns which gives no readings that we read.
    fn left_to_driver(&self, place: Place) -> Option<Channel> {
        let driver = self.driver.as_deref()?;
        let name = self.registered.as_deref().filter(|name| name.starts_with("ina"))?;
        if ["ina2xx", "ina238", "ina3221", "ina209", "ina233"].contains(&driver) {
            return None; // read through its driver
        }
        let mut channel = Channel::new(
            format!("i2c:driver@{place}"),
            title(&name.to_uppercase(), place, None),
            Via::I2c,
        );
        channel.notes.push(words::sensor::driver_without_readings(&driver));
        Some(channel)
    }
}

/// The title of a chip, or of one of its channels.
fn title(name: &str, place: Place, inlet: Option<usize>) -> String {
    let inlet = inlet.map_or_else(String::new, |inlet| format!(", channel {inlet}"));
    words::sensor::monitor_at(&name, &place.address, &place.bus, &inlet)
}

/// Something that answers and is left alone.
fn stranger(place: Place, told: Option<Chip>, verdict: Verdict) -> Channel {
    let title = words::sensor::something_at(&place.address, &place.bus);
    let mut channel = Channel::new(stranger_id(place), title, Via::I2c);
    channel.notes.push(match (told, verdict) {
        (Some(chip), Verdict::Unlike { config }) => {
            words::sensor::other_register(&ina::facts(chip).name, &config)
        }
        (Some(chip), _) => words::sensor::not_that_chip(&ina::facts(chip).name),
        (None, _) => words::sensor::NOT_A_MONITOR.into(),
    });
    channel
}

/// A chip on a bus, as a source.
struct Wired {
    bus: Box<dyn Bus>,
    place: Place,
    facts: &'static Facts,
    monitor: Monitor,
    channels: Vec<Channel>,
    /// Sentences that stay, channel by channel.
    standing: Vec<Vec<String>>,
    /// What the changing sentences were last made from.
    said: (Option<Trouble>, u32, bool),
    version: u32,
    /// The looks since the last reading.
    between: Looks,
}

/// The mean of the looks since the last reading and that one; a reading that failed stands alone.
fn with(mut looks: Looks, last: Supply) -> Supply {
    let look = match (last.amps, last.at_least) {
        (Ok(amps), _) => Look { amps: amps.si(), beyond: false },
        (Err(_), Some(bound)) => Look { amps: bound.amps.si(), beyond: true },
        (Err(_), None) => return last,
    };
    let Ok(volts) = last.volts else { return last };
    looks.add(volts.si(), look);
    Supply { counted: last.counted, ..looks.mean() }
}

impl Wired {
    fn new(
        bus: Box<dyn Bus>,
        place: Place,
        chip: Chip,
        want: &Want,
        known: &Known,
        words_only: bool,
    ) -> Self {
        let facts = ina::facts(chip);
        let mut corrections = [Correction { ohms: 1.0, scale: 1.0 }; INLETS];
        let mut channels = Vec::new();
        let many = facts.inlets.len() > 1;
        for (index, correction) in corrections.iter_mut().enumerate().take(facts.inlets.len()) {
            let inlet = many.then_some(index + 1);
            let (channel, by) = describe(facts, place, inlet, want, known);
            *correction = by;
            channels.push(channel);
        }
        let standing = channels.iter().map(|channel| channel.notes.clone()).collect();
        let mut wired = Self {
            bus,
            place,
            facts,
            monitor: Monitor::new(facts, place.address, corrections, words_only),
            channels,
            standing,
            said: (None, 0, false),
            version: 0,
            between: Looks::default(),
        };
        wired.say();
        wired
    }

    /// Brings the changing sentences up to date.
    fn say(&mut self) {
        let now = (self.monitor.trouble(), self.monitor.resets(), self.monitor.words_only());
        if now == self.said {
            return;
        }
        self.said = now;
        self.version = self.version.wrapping_add(1);
        let (trouble, resets, words_only) = now;
        for (channel, standing) in self.channels.iter_mut().zip(&self.standing) {
            channel.notes.clone_from(standing);
            if words_only && self.facts.counter.is_some() {
                channel.notes.push(words::sensor::SHORT_TRANSFERS.into());
            }
            if resets > 0 {
                channel.notes.push(words::sensor::set_up_again(
                    &(if resets == 1 { "once".into() } else { format!("{resets} times") }),
                ));
            }
            channel.notes.extend(trouble.map(|trouble| trouble.says(self.place.bus)));
        }
    }
}

impl Source for Wired {
    fn channels(&self) -> &[Channel] {
        &self.channels
    }

    fn version(&self) -> u32 {
        self.version
    }

    fn read(&mut self, at: Mono, into: &mut Vec<Reading>) {
        let mut seen = self.monitor.read(self.bus.as_mut(), at);
        seen[0] = with(std::mem::take(&mut self.between), seen[0]);
        into.extend(seen.into_iter().take(self.channels.len()).map(Reading::Supply));
        self.say();
    }

    fn sample_every(&self) -> Option<Duration> {
        self.facts.sample_every
    }

    fn wander(&self) -> Option<Duration> {
        self.facts.sample_every
    }

    fn sample(&mut self) {
        if self.facts.sample_every.is_none() {
            return; // the chip averages over the whole second by itself
        }
        if let Some((volts, look)) = self.monitor.glance(self.bus.as_mut()) {
            self.between.add(volts, look);
        }
    }
}

/// One channel in words, and what its current is computed with.
fn describe(
    facts: &'static Facts,
    place: Place,
    inlet: Option<usize>,
    want: &Want,
    known: &Known,
) -> (Channel, Correction) {
    let suffix = inlet.map_or_else(String::new, |inlet| format!("/{inlet}"));
    let id = format!("i2c:{}@{place}{suffix}", facts.slug);
    let told = want.about(&id);
    let mut channel = Channel::new(id, title(facts.name, place, inlet), Via::I2c);
    channel.power = true;
    channel.place = Some(format!("{place}{suffix}"));
    channel.label = told.name;
    channel.told_role = told.role;
    channel.notes.push(words::sensor::READ_DIRECTLY.into());
    if facts.counter.is_some() {
        channel.notes.push(words::sensor::COUNTS_ENERGY.into());
    }
    let scale = told.scale.unwrap_or(1.0);
    let Some(usual) = facts.usual_shunt else {
        channel.notes.push(words::sensor::INNER_SHUNT.into());
        return (channel, Correction { ohms: 1.0, scale });
    };
    let drivers = channel.place.as_ref().and_then(|place| known.shunts.get(place)).copied();
    let ohms = told.shunt.or(drivers).map_or(usual, Ohms::si);
    channel.shunt = Some(Shunt { assumed: Ohms::new(ohms), told: told.shunt, scale });
    if let (None, Some(drivers)) = (told.shunt, drivers) {
        channel.notes.push(words::sensor::shunt_of_driver(&drivers.si()));
    } else if told.shunt.is_none() {
        channel.notes.push(words::sensor::shunt_usual(&usual));
    }
    channel.notes.push(reach(facts, ohms));
    (channel, Correction { ohms, scale })
}

/// How much current can be measured with this shunt.
fn reach(facts: &Facts, ohms: f64) -> String {
    let sense = &facts.inlets[0].sense;
    let field = sense.field();
    #[expect(clippy::cast_precision_loss, reason = "a count of at most 20 bits")]
    let full = field.ends[1] as f64 * field.step;
    let amps = match sense {
        Sense::Drop(_) => full / ohms,
        Sense::Current(_) => full,
    };
    let small = if amps < 3.0 { words::sensor::MAY_EXCEED } else { "" };
    words::sensor::measures_up_to(amps, &small)
}
