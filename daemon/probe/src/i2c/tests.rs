//! Which buses and addresses are asked, and what is said about the rest. The trees of /sys are
//! made here; the buses are fake ones that record every write.

use std::{
    fs,
    os::unix::fs::symlink,
    path::PathBuf,
    sync::atomic::{AtomicU32, Ordering},
};

use reckon::reading::{Gap, Role};

use super::*;
use crate::{
    bus::fake::{FakeBus, FakeChip},
    want::SensorWant,
};

/// A folder that stands in for `/`, removed in the end.
struct Tree(PathBuf);

impl Tree {
    fn new() -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let name =
            format!("outlast-i2c-{}-{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed));
        let base = std::env::temp_dir().join(name);
        fs::create_dir_all(base.join("sys/bus/i2c/devices")).unwrap();
        Self(base)
    }

    fn root(&self) -> Root {
        Root::new(Some(&self.0))
    }

    fn device(&self, name: &str) -> PathBuf {
        self.0.join("sys/bus/i2c/devices").join(name)
    }

    /// An adapter; `node` puts it into the device tree.
    fn adapter(self, number: u32, name: &str, node: Option<&str>) -> Self {
        let folder = self.device(&format!("i2c-{number}"));
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join("name"), format!("{name}\n")).unwrap();
        if let Some(node) = node {
            let target = format!("../../../../firmware/devicetree/base/soc/{node}");
            symlink(target, folder.join("of_node")).unwrap();
        }
        self
    }

    /// A registered device, with its driver if it has one.
    fn registered(self, place: &str, name: &str, driver: Option<&str>) -> Self {
        let folder = self.device(place);
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join("name"), format!("{name}\n")).unwrap();
        if let Some(driver) = driver {
            symlink(format!("../../../../bus/i2c/drivers/{driver}"), folder.join("driver"))
                .unwrap();
        }
        self
    }

    /// A board's header bus, as on the Raspberry Pi 4.
    fn board() -> Self {
        Self::new().adapter(1, "bcm2835 (i2c@7e804000)", Some("i2c@7e804000"))
    }
}

impl Drop for Tree {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn named(matches: &str, chip: Chip) -> Want {
    let sensor = SensorWant { matches: matches.into(), chip: Some(chip), ..SensorWant::default() };
    Want { sensors: vec![sensor], ..Want::default() }
}

fn find(tree: &Tree, want: &Want, known: &Known, bus: &FakeBus) -> Found {
    search(&tree.root(), want, known, &mut |_| Box::new(bus.clone()))
}

fn ids(found: &Found) -> Vec<String> {
    let channels = found.sources.iter().flat_map(|source| source.channels());
    channels.map(|channel| channel.id.clone()).collect()
}

/// Every kind of chip, and neighbours of other kinds, on one bus.
fn crowd() -> FakeBus {
    FakeBus::with([
        (0x40, FakeChip::new(Chip::Ina226)),
        (0x41, FakeChip::new(Chip::Ina3221)),
        (0x44, FakeChip::stranger(&[(0, 0x0040)], true)),
        (0x45, FakeChip::new(Chip::Ina219)),
        (0x46, FakeChip::new(Chip::Ina228)),
        (0x48, FakeChip::stranger(&[], false)),
        // Of the same maker, but no power monitor (a humidity sensor's device ID: from memory).
        (0x4A, FakeChip::stranger(&[(0, 0x1000), (0xFE, 0x5449), (0xFF, 0x1050)], true)),
        (0x4F, FakeChip::new(Chip::Ina260)),
    ])
}

#[test]
fn chips_that_say_what_they_are_are_found_and_nobody_is_written_to() {
    let (tree, bus) = (Tree::board(), crowd());
    let found = find(&tree, &Want::default(), &Known::default(), &bus);
    assert_eq!(
        ids(&found),
        [
            "i2c:ina226@1-0040",
            "i2c:ina3221@1-0041/1",
            "i2c:ina3221@1-0041/2",
            "i2c:ina3221@1-0041/3",
            "i2c:ina228@1-0046",
            "i2c:ina260@1-004f",
        ]
    );
    let left: Vec<_> = found.left_alone.iter().map(|channel| channel.id.as_str()).collect();
    assert_eq!(
        left,
        ["i2c:unknown@1-0044", "i2c:unknown@1-0045", "i2c:unknown@1-0048", "i2c:unknown@1-004a",]
    );
    assert!(found.left_alone[1].notes[0].contains("INA219"), "how to add one is said");
    assert_eq!(bus.lock().writes, [], "looking for chips writes to nobody");
    let asked: Vec<u8> = bus.lock().reads.iter().map(|(at, _)| *at).collect();
    assert!(asked.iter().all(|at| (0x40..=0x4F).contains(at)));
}

#[test]
fn readings_write_only_to_chips_that_were_found() {
    let (tree, bus) = (Tree::board(), crowd());
    let want = named("1-0045", Chip::Ina219);
    let mut found = find(&tree, &want, &Known::default(), &bus);
    for second in 0..4 {
        for source in &mut found.sources {
            let mut into = Vec::new();
            source.read(Mono::at_s(f64::from(second)), &mut into);
            assert_eq!(into.len(), source.channels().len());
            source.sample();
        }
    }
    let written: std::collections::BTreeSet<u8> =
        bus.lock().writes.iter().map(|(at, ..)| *at).collect();
    assert_eq!(written.into_iter().collect::<Vec<_>>(), [0x40, 0x41, 0x45, 0x46, 0x4F]);
}

#[test]
fn what_is_known_is_not_asked_again() {
    let (tree, bus) = (Tree::board(), crowd());
    let first = find(&tree, &Want::default(), &Known::default(), &bus);
    let left = first.left_alone.iter().map(|channel| channel.id.clone());
    let known = Known { ids: ids(&first).into_iter().chain(left).collect(), ..Known::default() };
    bus.lock().reads.clear();
    let second = find(&tree, &Want::default(), &known, &bus);
    assert!(second.sources.is_empty() && second.left_alone.is_empty());
    let asked: Vec<u8> = bus.lock().reads.iter().map(|(at, _)| *at).collect();
    for at in [0x40, 0x41, 0x44, 0x45, 0x46, 0x48, 0x4A, 0x4F] {
        assert!(!asked.contains(&at), "{at:x}");
    }
    // A stranger that the settings then name is asked.
    let third = find(&tree, &named("1-0045", Chip::Ina219), &known, &bus);
    assert_eq!(ids(&third), ["i2c:ina219@1-0045"]);
}

#[test]
fn a_chip_that_loses_its_driver_keeps_the_drivers_shunt() {
    let (tree, bus) = (Tree::board(), FakeBus::with([(0x40, FakeChip::new(Chip::Ina226))]));
    let shunts = [("1-0040".to_owned(), Ohms::of(0.01))].into();
    let known = Known { shunts, ..Known::default() };
    let shunt_of = |want: &Want| {
        let found = find(&tree, want, &known, &bus);
        found.sources[0].channels()[0].shunt.unwrap()
    };
    assert_eq!(shunt_of(&Want::default()).assumed, Some(Ohms::of(0.01)));
    let told = SensorWant {
        matches: "1-0040".into(),
        shunt: Some(Ohms::of(0.02)),
        ..SensorWant::default()
    };
    let want = Want { sensors: vec![told], ..Want::default() };
    assert_eq!(shunt_of(&want).assumed, Some(Ohms::of(0.02)), "what was told comes first");
}

#[test]
fn a_chip_that_a_driver_owns_is_not_even_asked() {
    let tree = Tree::board().registered("1-0040", "ina226", Some("ina2xx"));
    let bus = FakeBus::with([(0x40, FakeChip::new(Chip::Ina226))]);
    let found = find(&tree, &named("1-0040", Chip::Ina226), &Known::default(), &bus);
    assert!(found.sources.is_empty() && found.left_alone.is_empty());
    assert!(bus.lock().reads.iter().all(|(at, _)| *at != 0x40));
}

#[test]
fn a_driver_that_gives_no_readings_is_named() {
    let tree = Tree::board().registered("1-0040", "ina226", Some("ina2xx-adc"));
    let bus = FakeBus::with([(0x40, FakeChip::new(Chip::Ina226))]);
    let found = find(&tree, &Want::default(), &Known::default(), &bus);
    assert!(found.sources.is_empty());
    assert!(found.left_alone[0].notes[0].contains("ina2xx-adc"));
    assert!(bus.lock().reads.iter().all(|(at, _)| *at != 0x40));
}

#[test]
fn registered_as_something_else_is_not_asked_and_registered_as_ina219_is_enough() {
    let tree =
        Tree::board().registered("1-0040", "24c32", None).registered("1-0045", "ina219", None);
    let bus =
        FakeBus::with([(0x40, FakeChip::new(Chip::Ina226)), (0x45, FakeChip::new(Chip::Ina219))]);
    let found = find(&tree, &Want::default(), &Known::default(), &bus);
    assert_eq!(ids(&found), ["i2c:ina219@1-0045"]);
    assert!(bus.lock().reads.iter().all(|(at, _)| *at != 0x40));
}

#[test]
fn an_ina219_needs_its_entry_and_its_power_on_settings() {
    let tree = Tree::board();
    let want = named("ina219@1-0045", Chip::Ina219);
    for (config, accepted) in
        [(0x399F, true), (0x3FFF, true), (0x019F, false), (0x0000, false), (0xFFFF, false)]
    {
        let bus = FakeBus::with([(0x45, FakeChip::new(Chip::Ina219))]);
        bus.chip(0x45, |fake| _ = fake.registers.insert(0, config));
        let found = find(&tree, &want, &Known::default(), &bus);
        assert_eq!(!found.sources.is_empty(), accepted, "{config:04x}");
        assert_eq!(found.left_alone.is_empty(), accepted, "{config:04x}");
        assert_eq!(bus.lock().writes, []);
    }
    // SBOS448G figures 24 and 27: bits that always read 0.
    for (register, value) in [(5, 1), (2, 4)] {
        let bus = FakeBus::with([(0x45, FakeChip::new(Chip::Ina219))]);
        bus.chip(0x45, |fake| _ = fake.registers.insert(register, value));
        assert!(find(&tree, &want, &Known::default(), &bus).sources.is_empty());
    }
}

#[test]
fn buses_of_screens_and_of_a_pc_are_left_alone_unless_named() {
    for (name, node, searched) in [
        ("bcm2835 (i2c@7e804000)", Some("i2c@7e804000"), true),
        ("1f00074000.i2c", Some("i2c@74000"), true),
        ("SMBus stub driver", None, true),
        ("bcm2835 (i2c@7e805000)", Some("i2c@7e805000"), false),
        ("fef04500.i2c", Some("i2c@7ef04500"), false),
        ("i2c-1-mux (chan_id 0)", Some("i2c@0"), false),
        ("SMBus I801 adapter at efa0", None, false),
        ("SMBus PIIX4 adapter port 0 at 0b00", None, false),
        ("i915 gmbus dpb", None, false),
        ("NVIDIA i2c adapter 1 at 1:00.0", None, false),
        ("AMDGPU DM i2c hw bus 0", None, false),
        ("AUX A/DDI A/PHY A", None, false),
    ] {
        let tree = Tree::new().adapter(3, name, node);
        let bus = FakeBus::with([(0x40, FakeChip::new(Chip::Ina226))]);
        let found = find(&tree, &Want::default(), &Known::default(), &bus);
        assert_eq!(!found.sources.is_empty(), searched, "{name}");
        assert_eq!(bus.lock().reads.is_empty(), !searched, "{name}");
        assert_eq!(found.notes.iter().any(|note| note.contains(name)), !searched, "{name}");
        let found = find(&tree, &named("3-0040", Chip::Ina226), &Known::default(), &bus);
        assert_eq!(ids(&found), ["i2c:ina226@3-0040"], "{name}");
        assert!(bus.lock().reads.iter().all(|(at, _)| searched || *at == 0x40), "{name}");
    }
}

#[test]
fn what_keeps_a_bus_from_being_asked_is_said_once() {
    let tree = Tree::board();
    for (trouble, part) in [
        (Trouble::Denied, "group i2c"),
        (Trouble::NoBus, "i2c-dev"),
        (Trouble::HeldLow, "held low"),
    ] {
        let bus = crowd();
        bus.lock().trouble = Some(trouble);
        let found = find(&tree, &Want::default(), &Known::default(), &bus);
        assert_eq!(found.notes.iter().filter(|note| note.contains(part)).count(), 1, "{part}");
        assert_eq!(bus.lock().reads.len(), 1, "a hanging bus is asked once, not sixteen times");
    }
    let refusing = crowd();
    refusing.lock().trouble = Some(Trouble::Failed(5));
    assert!(find(&tree, &Want::default(), &Known::default(), &refusing).notes.is_empty());
    let asked: Vec<u8> = refusing.lock().reads.iter().map(|(at, _)| *at).collect();
    assert_eq!(asked, ADDRESSES.collect::<Vec<_>>(), "one error does not end the search");
    let nothing = FakeBus::default();
    let found = find(&tree, &named("1-0045", Chip::Ina219), &Known::default(), &nothing);
    assert!(found.notes.iter().any(|note| note.contains("0x45") && note.contains("INA219")));
    let empty = Tree::new();
    let found = find(&empty, &named("1-0045", Chip::Ina219), &Known::default(), &nothing);
    assert!(found.notes.iter().any(|note| note.contains("dtparam=i2c_arm=on")));
    for (written, part) in [("nonsense", "1-0040"), ("1-0070", "0x40 to 0x4f")] {
        let found = find(&tree, &named(written, Chip::Ina226), &Known::default(), &nothing);
        assert!(found.notes.iter().any(|note| note.contains(part)), "{written}");
    }
}

#[test]
fn a_made_up_root_opens_no_bus() {
    let tree = Tree::board();
    let found = discover(&tree.root(), &named("1-0040", Chip::Ina226), &Known::default());
    assert!(found.sources.is_empty() && found.left_alone.is_empty());
    assert!(found.notes[0].contains("real board"));
}

/// The only source on the bus of a board.
fn source(bus: &FakeBus, want: &Want) -> Box<dyn Source> {
    let tree = Tree::board();
    let mut found = find(&tree, want, &Known::default(), bus);
    assert_eq!(found.sources.len(), 1);
    found.sources.remove(0)
}

#[test]
fn the_assumed_shunt_is_shown_until_the_owner_says_better() {
    let bus = FakeBus::with([(0x40, FakeChip::new(Chip::Ina226))]);
    let channel = source(&bus, &Want::default()).channels()[0].clone();
    assert_eq!(channel.title, "INA226 power monitor at 0x40 on bus 1");
    let shunt = channel.shunt.unwrap();
    assert_eq!((shunt.assumed, shunt.told, shunt.scale), (Some(Ohms::of(0.1)), None, 1.0));
    let notes = channel.notes.join(" ");
    assert!(notes.contains("0.1 Ω is assumed") && notes.contains("0.819 A"), "{notes}");
    let sensor = SensorWant {
        matches: "1-0040".into(),
        name: Some("Long six".into()),
        role: Some(Role::Bank),
        shunt: Some(Ohms::of(0.01)),
        scale: Some(-1.0),
        chip: None,
    };
    let told = Want { sensors: vec![sensor], ..Want::default() };
    let mut source = source(&bus, &told);
    let channel = source.channels()[0].clone();
    let shunt = channel.shunt.unwrap();
    assert_eq!(shunt.told, Some(Ohms::of(0.01)));
    assert_eq!((shunt.assumed, shunt.scale), (Some(Ohms::of(0.01)), -1.0));
    assert_eq!((channel.label.as_deref(), channel.told_role), (Some("Long six"), Some(Role::Bank)));
    assert!(!channel.notes.join(" ").contains("assumed"));
    let mut into = Vec::new();
    source.read(Mono::at_s(0.0), &mut into);
    bus.chip(0x40, |fake| {
        fake.measure(8000, 9584); // 20 mV and 11.98 V (INA226 SBOS547B, table 6-1)
        fake.ready();
    });
    into.clear();
    source.read(Mono::at_s(1.0), &mut into);
    let Reading::Supply(look) = into[0] else { panic!("a supply") };
    assert!((look.amps.unwrap().si() + 2.0).abs() < 1e-9, "20 mV over 10 mΩ, turned round");
    assert!((look.watts.unwrap().si() + 23.96).abs() < 1e-9);
}

#[test]
fn looks_between_two_readings_are_averaged() {
    let bus = FakeBus::with([(0x45, FakeChip::new(Chip::Ina219))]);
    let mut source = source(&bus, &named("1-0045", Chip::Ina219));
    assert_eq!(source.sample_every(), Some(Duration::from_millis(333)));
    let mut into = Vec::new();
    source.sample();
    source.read(Mono::at_s(0.0), &mut into);
    source.sample();
    let measure = |shunt: i16, bus_4mv: u16| bus.chip(0x45, |fake| fake.measure(shunt, bus_4mv));
    measure(1000, 1250); // 10 mV: 0.1 A; 5 V
    source.read(Mono::at_s(1.0), &mut into);
    measure(2000, 1250);
    source.sample();
    measure(6000, 1000);
    source.sample();
    measure(1000, 1250);
    source.read(Mono::at_s(2.0), &mut into);
    let looks: Vec<Supply> = into
        .iter()
        .map(|reading| match reading {
            Reading::Supply(supply) => *supply,
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!((looks[0].volts, looks[0].looks), (Err(Gap::NotReady), 0));
    assert_eq!(looks[1].looks, 1, "looks before the first result do not count");
    assert_eq!(looks[2].looks, 3);
    assert!((looks[2].amps.unwrap().si() - 0.3).abs() < 1e-9);
    assert!((looks[2].volts.unwrap().si() - (5.0 + 4.0 + 5.0) / 3.0).abs() < 1e-9);
    let mean_of_products = (5.0 * 0.2 + 4.0 * 0.6 + 5.0 * 0.1) / 3.0;
    assert!((looks[2].watts.unwrap().si() - mean_of_products).abs() < 1e-9);
}

#[test]
fn notes_follow_what_happens() {
    let bus = FakeBus::with([(0x40, FakeChip::new(Chip::Ina226))]);
    let mut source = source(&bus, &Want::default());
    let mut second = 0.0;
    let mut read = |source: &mut Box<dyn Source>| {
        second += 1.0;
        let mut into = Vec::new();
        source.read(Mono::at_s(second), &mut into);
        (source.channels()[0].notes.join(" "), source.version())
    };
    let (calm, version) = read(&mut source);
    bus.chip(0x40, |fake| fake.answers = false);
    let (silent, changed) = read(&mut source);
    assert!(silent.contains("Check its plug") && changed != version);
    bus.power_cycle(0x40);
    let (reset, _) = read(&mut source);
    assert!(reset.contains("set up again, once"), "{reset}");
    assert!(!reset.contains("does not answer") && !calm.contains("set up again"));
}

#[test]
fn an_emulated_adapter_is_read_by_words() {
    let tree = Tree::new().adapter(0, "SMBus stub driver", None);
    let bus = FakeBus::with([(0x40, FakeChip::new(Chip::Ina228))]);
    let found = find(&tree, &Want::default(), &Known::default(), &bus);
    let notes = found.sources[0].channels()[0].notes.join(" ");
    assert!(notes.contains("sixteen times coarser"), "{notes}");
}

#[test]
fn places_are_read_as_written() {
    let place = |bus, address| Some(Place { bus, address });
    for (written, want) in [
        ("1-0040", place(1, 0x40)),
        (" i2c:ina3221@13-004f/2 ", place(13, 0x4F)),
        ("ina219@1-45", place(1, 0x45)),
        ("1-0140", None),
        ("1-", None),
        ("", None),
        ("-0040", None),
        ("1-00400000", None),
        ("one-0040", None),
    ] {
        assert_eq!(Place::read(written), want, "{written}");
    }
    assert_eq!(Place { bus: 1, address: 0x40 }.to_string(), "1-0040");
}
