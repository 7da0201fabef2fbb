//! What the real drivers printed for known register contents, held against the data sheets'
//! formulas; and the chip's own energy count.

use std::{collections::BTreeMap, sync::Arc};

use reckon::{
    reading::{Gap, Got},
    time::Mono,
    units::Joules,
};

use super::*;
use crate::{
    source::Supply,
    trees::{Fault, FaultyFiles, Tree},
};

const READINGS: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/fixtures/driver_readings.csv"));
const HOME: &str = "/sys/class/hwmon/hwmon3";

/// Rows of one chip in one state.
#[derive(Default)]
struct Point {
    driver: String,
    chip: String,
    shunt_ohms: f64,
    what: String,
    registers: BTreeMap<u8, i64>,
    attributes: BTreeMap<String, String>,
}

/// The readings through `hwmon`, point by point; and how many rows belong to other interfaces.
fn points() -> (Vec<Point>, usize) {
    let mut points: Vec<Point> = Vec::new();
    let mut key = String::new();
    let mut others = 0;
    let rows = READINGS.lines().filter(|line| !line.starts_with('#')).skip(1);
    for row in rows {
        let cells: Vec<&str> = row.split(',').collect();
        let [kernels, archs, driver, chip, shunt, what, registers, attribute, value] = cells[..]
        else {
            panic!("{row}")
        };
        let reading = attribute.ends_with("_input") && !shunt.is_empty();
        if !reading || driver == "ina2xx-adc" {
            others += 1;
            continue;
        }
        let this = [kernels, archs, chip, shunt, what, registers].join(",");
        if this != key {
            key = this;
            points.push(Point {
                driver: driver.to_owned(),
                chip: chip.to_owned(),
                shunt_ohms: shunt.parse::<f64>().unwrap() * 1e-6,
                what: format!("{kernels} {chip} {shunt} {what}"),
                registers: registers
                    .split(';')
                    .map(|pair| {
                        let (register, value) = pair.split_once('=').unwrap();
                        let hex = |text| i64::from_str_radix(text, 16).unwrap();
                        (u8::try_from(hex(register)).unwrap(), hex(value))
                    })
                    .collect(),
                attributes: BTreeMap::new(),
            });
        }
        points.last_mut().unwrap().attributes.insert(attribute.to_owned(), value.to_owned());
    }
    (points, others)
}

impl Point {
    /// A register with sign.
    fn signed(&self, register: u8) -> Option<f64> {
        let raw = u16::try_from(*self.registers.get(&register)?).ok()?;
        Some(f64::from(raw.cast_signed()))
    }

    fn unsigned(&self, register: u8) -> Option<f64> {
        Some(*self.registers.get(&register)? as f64)
    }

    /// Voltage, current and shunt voltage that the registers mean, by the data sheets:
    /// INA219 SBOS448G, equations 1 and 4 and table of bus register bits; INA226 SBOS547B,
    /// equations 1 to 3; INA260 SBOS656C, registers 01h and 02h; INA238 SBOSA20, equations 1 to 3;
    /// INA3221 SBOS576B, registers 01h to 06h.
    fn meant(&self, channel: u8) -> (Option<f64>, Option<f64>, Option<f64>) {
        let ohms = self.shunt_ohms;
        // A chip that was just reset has none yet, and a current register of 0.
        let calibration = |usual| self.unsigned(0x05).filter(|raw| *raw > 0.0).unwrap_or(usual);
        // The newer driver takes the current from the shunt register, the older from the current
        // register; where the two disagree the table has a row for each kernel.
        let from_shunt = |step: f64| {
            let newer_only = self.what.starts_with("6.12");
            newer_only.then(|| self.signed(1).map(|raw| raw * step / ohms)).flatten()
        };
        match self.chip.as_str() {
            "ina219" => (
                self.unsigned(2).map(|raw| (raw / 8.0).floor() * 0.004),
                from_shunt(10e-6).or_else(|| {
                    self.signed(4).map(|raw| raw * 0.04096 / (calibration(4096.0) * ohms))
                }),
                self.signed(1).map(|raw| raw * 10e-6),
            ),
            "ina226" => (
                self.unsigned(2).map(|raw| raw * 0.00125),
                from_shunt(2.5e-6).or_else(|| {
                    self.signed(4).map(|raw| raw * 0.00512 / (calibration(2048.0) * ohms))
                }),
                self.signed(1).map(|raw| raw * 2.5e-6),
            ),
            "ina260" => (
                self.unsigned(2).map(|raw| raw * 0.00125),
                self.signed(1).map(|raw| raw * 0.00125),
                self.signed(1).map(|raw| raw * 2.5e-6),
            ),
            "ina238" => (
                self.signed(5).map(|raw| raw * 0.003_125),
                self.signed(7).map(|raw| raw * 16384.0 / (819.2e6 * ohms)),
                self.signed(4).map(|raw| raw * 5e-6),
            ),
            "ina3221" => (
                self.signed(2 * channel).map(|raw| (raw / 8.0).floor() * 0.008),
                self.signed(2 * channel - 1).map(|raw| (raw / 8.0).floor() * 40e-6 / ohms),
                self.signed(2 * channel - 1).map(|raw| (raw / 8.0).floor() * 40e-6),
            ),
            other => panic!("no formula for {other}"),
        }
    }

    /// What the driver may lose: a millivolt or milliampere by rounding or cutting off, and half
    /// a microampere of each step of the current register.
    fn slack(&self, amps: f64) -> (f64, f64) {
        let step = match self.chip.as_str() {
            "ina219" => 0.04096 / (4096.0 * self.shunt_ohms),
            "ina226" => 0.00512 / (2048.0 * self.shunt_ohms),
            _ => f64::INFINITY,
        };
        (0.001 + 1e-9, 0.001 + 1e-9 + amps.abs() * 0.5e-6 / step)
    }

    /// Reads this point as the probe would.
    fn read(&self) -> Vec<Supply> {
        let (tree, files) = (Tree::empty(), FaultyFiles::default());
        tree.write(&format!("{HOME}/name"), format!("{}\n", self.chip));
        tree.write("/sys/devices/1-0040/name", format!("{}\n", self.chip));
        tree.link(&format!("{HOME}/device"), "../../../devices/1-0040");
        let micro = (self.shunt_ohms * 1e6).round();
        match self.driver.as_str() {
            "ina2xx" if self.chip != "ina260" => {
                tree.write(&format!("{HOME}/shunt_resistor"), format!("{micro}\n"));
            }
            "ina3221" => {
                for n in 1..=3 {
                    tree.write(&format!("{HOME}/shunt{n}_resistor"), format!("{micro}\n"));
                }
            }
            _ => {}
        }
        for (attribute, value) in &self.attributes {
            let errno = match value.strip_prefix("ERR:") {
                None => None,
                Some("ENODATA") => Some(libc::ENODATA),
                Some(other) => panic!("{other}"),
            };
            if let Some(errno) = errno {
                files.inject(attribute, Fault::Errno(errno));
            }
            tree.write(&format!("{HOME}/{attribute}"), format!("{value}\n"));
        }
        let root = Root::new(Some(tree.root())).with_files(Arc::new(files));
        let mut found = discover(&root, &Want::default(), &Known::default());
        assert_eq!(found.sources.len(), 1, "{}", self.what);
        let mut readings = Vec::new();
        found.sources[0].read(Mono::BOOT, &mut readings);
        readings
            .iter()
            .map(|reading| match reading {
                Reading::Supply(supply) => *supply,
                other => panic!("{other:?}"),
            })
            .collect()
    }
}

/// What has been held against the table.
#[derive(Debug, Default)]
struct Count {
    volts: u32,
    amps: u32,
    watts: u32,
    over_range: u32,
    implausible: u32,
    switched_off: u32,
    register_not_listed: u32,
}

#[test]
fn every_reading_of_the_real_drivers_means_what_the_registers_hold() {
    let (points, others) = points();
    let mut count = Count::default();
    for point in &points {
        for (n, supply) in (1..).zip(point.read()) {
            check_channel(point, n, &supply, &mut count);
        }
    }
    // So many that the table cannot have been skipped over.
    assert!(count.volts > 240, "{}", count.volts);
    assert!(count.amps > 200, "{}", count.amps);
    assert!(count.watts > 190, "{}", count.watts);
    assert!(count.over_range > 20, "ends of the ranges: {count:?}");
    // One of the older driver's products that wraps.
    assert_eq!(count.implausible, 1);
    assert_eq!(count.switched_off, 4, "two voltages and two currents of channels switched off");
    // One neighbour of a channel that was switched off, whose register an earlier row has.
    assert_eq!(count.register_not_listed, 1);
    // Names, limits, settings and the other driver family's files.
    assert_eq!(others + points.iter().map(|p| p.attributes.len()).sum::<usize>(), 1144);
}

fn check_channel(point: &Point, n: u8, supply: &Supply, count: &mut Count) {
    let what = format!("{} channel {n}", point.what);
    let (volts, amps, shunt_v) = point.meant(n);
    let (slack_v, slack_a) = point.slack(amps.unwrap_or(0.0));
    let shown = |attribute: String| point.attributes.get(&attribute).map(String::as_str);
    let most_volts = models::by_name(&point.chip).unwrap().most_volts;
    match (shown(format!("in{n}_input")), volts, supply.volts) {
        (None, _, got) => assert_eq!(got, Err(Gap::Absent), "{what}"),
        (Some("ERR:ENODATA"), _, got) => {
            assert_eq!(got, Err(Gap::SwitchedOff), "{what}");
            count.switched_off += 1;
        }
        (_, Some(want), Err(gap)) => {
            assert_eq!(gap, Gap::Implausible, "{what}");
            assert!(want < -0.5 || want >= most_volts - slack_v, "{what}: {want} V refused");
            count.implausible += 1;
        }
        (_, Some(want), Ok(got)) => {
            assert!((got.si() - want).abs() <= slack_v, "{what}: {got:?} for {want} V");
            count.volts += 1;
        }
        (Some(_), None, _) => count.register_not_listed += 1,
    }
    match (shown(format!("curr{n}_input")), amps, supply.amps) {
        (None, _, got) => assert_eq!(got, Err(Gap::Absent), "{what}"),
        (Some("ERR:ENODATA"), _, got) => {
            assert_eq!(got, Err(Gap::SwitchedOff), "{what}");
            count.switched_off += 1;
        }
        (_, Some(want), Err(gap)) => {
            check_refused(point, gap, want, shunt_v, &what, count);
            // At the end of the range the end is still told, unless no wire carries that much;
            // where the driver's product wraps and the shunt is not shown, nothing is.
            let told = supply.at_least.map(|it| it.amps.si());
            let near = told.is_some_and(|told| (told - want).abs() <= slack_a);
            let untold = point.chip == "ina238" || want.abs() > 300.0;
            assert!(gap != Gap::OverRange || near || untold, "{what}: {told:?}");
        }
        (_, Some(want), Ok(got)) => {
            assert!((got.si() - want).abs() <= slack_a, "{what}: {got:?} for {want} A");
            count.amps += 1;
        }
        (Some(_), None, _) => panic!("{what}: a current without a register"),
    }
    if let (Ok(watts), Some(volts), Some(amps)) = (supply.watts, volts, amps) {
        let slack = amps.abs() * slack_v + volts.abs() * slack_a + slack_v * slack_a;
        assert!((watts.si() - volts * amps).abs() <= slack, "{what}: {watts:?}");
        count.watts += 1;
    }
}

/// A current may be refused only at the end of the range, or beyond what any wire carries.
fn check_refused(
    point: &Point,
    gap: Gap,
    want: f64,
    shunt_v: Option<f64>,
    what: &str,
    count: &mut Count,
) {
    let full = match point.chip.as_str() {
        "ina219" => 0.320,
        "ina226" | "ina260" => 0.0819,
        "ina3221" => 0.1637,
        // From here on the older driver's product wraps round: 2^31 / 80 000 steps of 5 µV.
        "ina238" => 26_843.0 * 5e-6,
        other => panic!("{other}"),
    };
    match gap {
        Gap::OverRange => {
            let shunt_v = shunt_v.unwrap_or(want * point.shunt_ohms);
            let by_register = (want * point.shunt_ohms).abs();
            assert!(shunt_v.abs().max(by_register) >= full, "{what}: {want} A refused");
            count.over_range += 1;
        }
        Gap::Implausible => {
            // One older driver's product wraps at the smallest shunt it accepts.
            assert!(want.abs() > 315.0, "{what}: {want} A refused");
            count.implausible += 1;
        }
        other => panic!("{what}: {other:?}"),
    }
}

/// Names that the drivers of these kernels give their chips.
#[test]
fn every_chip_that_a_driver_was_bound_to_is_known() {
    let mut bound = 0;
    for row in READINGS.lines().filter(|line| !line.starts_with('#')) {
        let cells: Vec<&str> = row.split(',').collect();
        if cells[7] == "name" && cells[8] != "no driver bound" {
            assert!(models::by_name(cells[8]).is_some(), "{}", cells[8]);
            bound += 1;
        }
    }
    assert!(bound >= 5, "{bound}");
}

fn ina228(tree: &Tree) -> Box<dyn Source> {
    tree.write(&format!("{HOME}/name"), "ina228\n");
    tree.write("/sys/devices/3-0041/name", "ina228\n");
    tree.link(&format!("{HOME}/device"), "../../../devices/3-0041");
    tree.write(&format!("{HOME}/in0_input"), "10\n");
    tree.write(&format!("{HOME}/in1_input"), "12800\n");
    tree.write(&format!("{HOME}/curr1_input"), "1000\n");
    tree.write(&format!("{HOME}/energy1_input"), "70000000\n");
    let root = Root::new(Some(tree.root()));
    let sensor = SensorWant { matches: "3-0041".into(), scale: Some(0.5), ..SensorWant::default() };
    let want = Want { sensors: vec![sensor], ..Want::default() };
    discover(&root, &want, &Known::default()).sources.remove(0)
}

fn counted(source: &mut dyn Source) -> Got<f64> {
    let mut readings = Vec::new();
    source.read(Mono::BOOT, &mut readings);
    match readings[0] {
        Reading::Supply(supply) => supply.counted.unwrap().map(Joules::si),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_chip_that_counts_energy_is_believed_and_scaled() {
    let tree = Tree::empty();
    let mut source = ina228(&tree);
    assert_eq!(source.channels()[0].id, "hwmon:ina228@3-0041");
    assert_eq!(counted(&mut *source), Ok(0.0));
    tree.write(&format!("{HOME}/energy1_input"), "82800000\n");
    let near = |got: Got<f64>, want: f64| {
        assert!(got.is_ok_and(|got| (got - want).abs() < 1e-9), "{got:?} is not {want}");
    };
    near(counted(&mut *source), 6.4); // 12.8 J at half the current
    // The chip was reset: what it shows is new.
    tree.write(&format!("{HOME}/energy1_input"), "2000000\n");
    near(counted(&mut *source), 7.4);
    tree.write(&format!("{HOME}/energy1_input"), "garbage\n");
    assert_eq!(counted(&mut *source), Err(Gap::Garbled));
    tree.write(&format!("{HOME}/energy1_input"), "4000000\n");
    near(counted(&mut *source), 8.4);
}

/// 16 averages of 2.2 ms are what the driver begins with (Linux, `Documentation/hwmon/ina2xx.rst`).
#[test]
fn a_driver_that_averages_over_less_than_the_second_is_looked_at_all_over_it() {
    let tree = Tree::empty();
    let find = |tree: &Tree| {
        let root = Root::new(Some(tree.root()));
        discover(&root, &Want::default(), &Known::default()).sources.remove(0)
    };
    for (name, text) in [
        ("name", "ina226\n"),
        ("in1_input", "5000\n"),
        ("curr1_input", "500\n"),
        ("shunt_resistor", "100000\n"),
        ("update_interval", "35\n"),
    ] {
        tree.write(&format!("{HOME}/{name}"), text);
    }
    tree.write("/sys/devices/1-0040/name", "ina226\n");
    tree.link(&format!("{HOME}/device"), "../../../devices/1-0040");
    let source = find(&tree);
    // The owner's setting stays; what it means is said.
    let interval = tree.root().join(&HOME[1..]).join("update_interval");
    assert_eq!(std::fs::read_to_string(&interval).unwrap(), "35\n");
    assert_eq!(source.wander(), Some(Duration::from_millis(950)));
    assert!(source.channels()[0].notes.iter().any(|note| note.contains("averages over 35 ms")));
    std::fs::write(&interval, "1126\n").unwrap();
    let mut source = find(&tree);
    assert_eq!(source.wander(), None);
    assert!(source.channels()[0].notes.iter().any(|note| note.contains("shows late")));
    // When such a mean began and ended is not told: it is no mean of the second of its reading.
    let mut readings = Vec::new();
    source.read(Mono::BOOT, &mut readings);
    assert!(matches!(&readings[0], Reading::Supply(one) if one.looks == 1), "{readings:?}");
    // A driver that shows no such setting.
    std::fs::remove_file(tree.root().join(&HOME[1..]).join("update_interval")).unwrap();
    assert_eq!(find(&tree).wander(), Some(Duration::from_millis(950)));
    assert_eq!(ina228(&Tree::empty()).wander(), None, "it counts the energy by itself");
    // Five looks a second wander over the fifth between them.
    tree.write(&format!("{HOME}/name"), "ina219\n");
    tree.write("/sys/devices/1-0040/name", "ina219\n");
    assert_eq!(find(&tree).wander(), Some(Duration::from_millis(200)));
}

/// The driver hides the shunt; the device tree may tell it.
/// Source: the kernel's `Documentation/devicetree/bindings/hwmon/ti,ina2xx.yaml`: property
/// `shunt-resistor`, micro-ohms; every cell of a device tree is big-endian (Devicetree
/// Specification 0.4, section 2.2.4).
#[test]
fn the_device_tree_tells_the_shunt_that_the_driver_hides() {
    let tree = Tree::empty();
    tree.write("/sys/devices/3-0041/of_node/shunt-resistor", [0x00, 0x00, 0x27, 0x10]);
    let source = ina228(&tree);
    let shunt = source.channels()[0].shunt.unwrap();
    assert!((shunt.assumed.unwrap().si() - 0.01).abs() < 1e-9);

    let bare = Tree::empty();
    let source = ina228(&bare);
    assert_eq!(source.channels()[0].shunt.unwrap().assumed, None);
    let notes = &source.channels()[0].notes;
    assert!(notes.iter().any(|note| note.contains("does not show which shunt")), "{notes:?}");
}
