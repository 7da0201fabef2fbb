//! The settings file: as written, then as checked. Holding a [`Settings`] means that it is good;
//! a file with mistakes is refused whole, with every complaint at once.

use std::{
    collections::BTreeSet,
    env, fs, io,
    net::{Ipv4Addr, SocketAddr},
    path::{Path, PathBuf},
};

use probe::{Chip, SensorWant};
use reckon::{
    bank::{BankDescription, BankSpec, Start},
    draw::{self, BoardKind},
    engine::{Accessory, ActivityRule, Radio},
    name,
    reading::Role,
    units::{Ohms, Watts},
    words,
};

use crate::host::now_text::plain_spaces;

mod rules;
mod sheet;
mod warnings;

pub(crate) use sheet::{Complaint, line_of, number_of, written};
use sheet::{Limits, Sheet, Table};
pub(crate) use warnings::Warnings;

/// Everything the owner can tell outlast, checked.
#[derive(Clone, Debug)]
pub(crate) struct Settings {
    /// The station's name.
    pub(crate) station: String,
    /// Names of the activities.
    pub(crate) activities: Vec<String>,
    /// When they choose themselves.
    pub(crate) activity_rules: Vec<ActivityRule>,
    /// The board's row in the table of draws, where it is not to be found by itself.
    pub(crate) board: Option<BoardKind>,
    /// The bank that a start finds connected.
    pub(crate) bank: Option<BankSpec>,
    /// How full it is then.
    pub(crate) start: Start,
    /// Further banks offered for one tap.
    pub(crate) spare_banks: Vec<BankSpec>,
    /// Idle and full-load draw of the board.
    pub(crate) board_draw: Option<(Watts, Watts)>,
    /// A radio on the same bank.
    pub(crate) radio: Option<Radio>,
    /// What else hangs on the bank.
    pub(crate) accessories: Vec<Accessory>,
    /// Where the page is served.
    pub(crate) listen: SocketAddr,
    /// How many phones and programs may be connected at a time.
    pub(crate) connections: u16,
    /// Further names under which a browser may ask for the page.
    pub(crate) hosts: Vec<String>,
    /// What the owner knows better than the probes.
    pub(crate) sensors: Vec<SensorWant>,
    /// Alarms, ways out, the clean power-off.
    pub(crate) warnings: Warnings,
    /// How the record is kept.
    pub(crate) record: RecordWant,
    /// The contact log.
    pub(crate) contacts: ContactsWant,
    /// Whether a tap on a paired phone may set the system's clock.
    pub(crate) set_clock_from_phone: bool,
}

/// What is done with contact logs.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct ContactsWant {
    /// A log that is read whenever it changes.
    pub(crate) watch: Option<PathBuf>,
    /// Whether the other stations' calls are kept too.
    pub(crate) keep_calls: bool,
}

/// How the record is kept.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct RecordWant {
    /// A batch is put on the card this often, s.
    pub(crate) every_s: f64,
    /// The same when the end is near, s.
    pub(crate) every_s_near_the_end: f64,
    /// The end is near when the cautious remaining time is below this, min.
    pub(crate) near_min: f64,
    /// Days of record that keep ten-second rows.
    pub(crate) fine_days: u16,
    /// Largest size of the record, MiB.
    pub(crate) most_mib: u16,
}

impl Default for RecordWant {
    fn default() -> Self {
        Self {
            every_s: 60.0,
            every_s_near_the_end: 10.0,
            near_min: 60.0,
            fine_days: 60,
            most_mib: 256,
        }
    }
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            station: "Station".to_owned(),
            activities: ["receive", "contacts", "logging", "idle"].map(str::to_owned).to_vec(),
            activity_rules: Vec::new(),
            board: None,
            bank: None,
            start: Start::Full,
            spare_banks: BankSpec::common(),
            board_draw: None,
            radio: None,
            accessories: Vec::new(),
            listen: SocketAddr::from((Ipv4Addr::UNSPECIFIED, 8073)),
            connections: 64,
            hosts: Vec::new(),
            sensors: Vec::new(),
            record: RecordWant::default(),
            contacts: ContactsWant::default(),
            set_clock_from_phone: false,
            warnings: Warnings::default(),
        }
    }
}

/// Why there are no settings.
#[derive(Debug)]
pub(crate) enum Refused {
    /// The file could not be read.
    Unreadable(PathBuf, io::Error),
    /// The file has mistakes.
    Wrong(PathBuf, Vec<Complaint>),
}

impl std::fmt::Display for Refused {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Unreadable(path, why) => {
                write!(f, "{}", words::settings::unreadable(&path.display(), &why))
            }
            Self::Wrong(path, all) => {
                let many = if all.len() == 1 {
                    "1 complaint"
                } else {
                    &format!("{} complaints", all.len())
                };
                writeln!(f, "Settings refused, {many} about {}:", path.display())?;
                for one in all {
                    writeln!(f, "  {one}")?;
                }
                f.write_str(words::settings::NOT_STARTED)
            }
        }
    }
}

/// The settings and the file that they came from, if there was one.
pub(crate) fn find(told: Option<&Path>) -> Result<(Settings, Option<PathBuf>), Refused> {
    let Some(path) = told.map(Path::to_path_buf).or_else(usual_place) else {
        return Ok((Settings::default(), None));
    };
    match fs::read(&path) {
        Ok(bytes) => {
            let text = String::from_utf8_lossy(&bytes);
            let settings = read(&text).map_err(|all| Refused::Wrong(path.clone(), all))?;
            Ok((settings, Some(path)))
        }
        Err(why) => Err(Refused::Unreadable(path, why)),
    }
}

/// The first settings file that is there: the machine's, else the user's.
fn usual_place() -> Option<PathBuf> {
    let home = env::var_os("XDG_CONFIG_HOME")
        .map(PathBuf::from)
        .or_else(|| env::var_os("HOME").map(|h| Path::new(&h).join(".config")));
    let own = home.map(|h| h.join("outlast/outlast.toml"));
    [Some(PathBuf::from("/etc/outlast/outlast.toml")), own]
        .into_iter()
        .flatten()
        .find(|p| p.exists())
}

/// Reads settings from the text of a file.
///
/// # Errors
/// Every complaint, in the order of the file.
pub(crate) fn read(text: &str) -> Result<Settings, Vec<Complaint>> {
    let sheet = Sheet::new(text);
    let (root, broken) = toml::de::DeTable::parse_recoverable(text);
    for error in &broken {
        sheet.unreadable(error);
    }
    let settings = checked(sheet.top(root.get_ref()));
    let complaints = sheet.complaints();
    if complaints.is_empty() { Ok(settings) } else { Err(complaints) }
}

fn checked(mut top: Table<'_>) -> Settings {
    let mut s = Settings::default();
    if let Some(name) = top.text("station", words::settings::STATION) {
        s.station = name;
    }
    if let Some(list) = top.texts("activities", 12, words::settings::ACTIVITIES) {
        s.activities = list;
    }
    let rules = top.tables("activity_rule", 24).into_iter();
    s.activity_rules = rules.filter_map(|table| rules::read(table, &s.activities)).collect();
    if let Some(at) = top.parsed("listen", LISTEN_WANT, |t| t.parse().ok()) {
        s.listen = at;
    }
    if let Some(n) = top.whole("connections", 4, 512, words::settings::CONNECTIONS) {
        s.connections = n;
    }
    if let Some(list) = top.texts("hosts", 16, words::settings::HOSTS) {
        s.hosts = list;
    }
    let clock = words::settings::SET_CLOCK;
    if let Some(yes) = top.flag("set_clock_from_phone", clock) {
        s.set_clock_from_phone = yes;
    }
    if let Some(table) = top.table("record") {
        s.record = record(table);
    }
    if let Some(table) = top.table("contacts") {
        s.contacts = contacts(table);
    }
    if let Some(mut told) = top.table("bank") {
        s.board = told.parsed("board", BOARD_WANT, draw::board_named);
        let start = told.parsed("start", words::settings::START, Start::worded);
        s.start = start.unwrap_or_default();
        s.bank = bank(told);
    }
    let spare: Vec<_> = top.tables("spare_bank", 16).into_iter().filter_map(bank).collect();
    if !spare.is_empty() {
        s.spare_banks = spare;
    }
    if let Some(table) = top.table("draw") {
        draw(table, &mut s);
    }
    s.accessories = top.tables("accessory", 32).into_iter().map(accessory).collect();
    s.sensors = top.tables("sensor", 32).into_iter().map(sensor).collect();
    s.warnings = warnings::read(&mut top);
    top.done();
    names_differ(&mut s);
    s
}

const LISTEN_WANT: &str = words::settings::LISTEN;
const BOARD_WANT: &str = words::settings::BOARD;

/// Two banks of one name could not be told apart on the page; the later one gives way.
fn names_differ(s: &mut Settings) {
    let mut seen: BTreeSet<String> = s.bank.iter().map(|b| b.name.clone()).collect();
    s.spare_banks.retain(|b| seen.insert(b.name.clone()));
}

/// The bank of a table; where it cannot be right, something was complained about.
fn bank(mut t: Table<'_>) -> Option<BankSpec> {
    let described = BankDescription {
        name: t.any_text("name"),
        cells: t.any_text("cells"),
        series: t.any_number("series"),
        label_mah: t.any_number("label_mah"),
        label_v: t.any_number("label_v"),
        measured_at: t.any_text("measured_at"),
        ambient_c: t.any_number("ambient_c"),
        cutoff_v: t.any_number("cutoff_v"),
    };
    let found = described.complete();
    for fault in found.as_ref().err().into_iter().flatten() {
        t.complain(fault.key(), plain_spaces(&words::bank_fault(fault)));
    }
    t.done();
    found.ok()
}

fn draw(mut t: Table<'_>, s: &mut Settings) {
    let board = Limits::up_to(100.0, "W");
    let idle = t.number("idle_w", board, words::settings::IDLE_W);
    let full = t.number("full_w", board, words::settings::FULL_W);
    match (idle, full) {
        (Some(idle), Some(full)) if full < idle => {
            t.complain("full_w", words::settings::busy_draws_more(&idle));
        }
        (Some(idle), Some(full)) => s.board_draw = Some((Watts::of(idle), Watts::of(full))),
        (None, None) => {}
        _ if t.has("idle_w") && t.has("full_w") => {}
        _ => t.complain("idle_w", words::settings::IDLE_AND_FULL.to_owned()),
    }
    let amps = Limits::from(0.0, 100.0, "A");
    let receive = t.number("radio_receive_a", amps, words::settings::RADIO);
    let transmit = t.number("radio_transmit_a", amps, words::settings::RADIO);
    let volts = t.number("radio_v", Limits::up_to(60.0, "V"), words::settings::RADIO_V);
    t.done();
    if receive.is_some() || transmit.is_some() {
        let watts = |a: Option<f64>| Watts::of(a.unwrap_or(0.0) * volts.unwrap_or(13.8));
        s.radio = Some(Radio { receive: watts(receive), transmit: watts(transmit) });
    }
}

fn record(mut t: Table<'_>) -> RecordWant {
    let mut want = RecordWant::default();
    let pace = Limits::from(10.0, 3600.0, "s");
    let lost = words::settings::EVERY_S;
    want.every_s = t.number("every_s", pace, lost).unwrap_or(want.every_s);
    want.every_s_near_the_end =
        t.number("every_s_near_the_end", pace, lost).unwrap_or(want.every_s_near_the_end);
    let near = Limits::from(0.0, 1440.0, "min");
    let means = words::settings::NEAR_MIN;
    want.near_min = t.number("near_min", near, means).unwrap_or(want.near_min);
    let later = words::settings::FINE_DAYS;
    want.fine_days = t.whole("fine_days", 1, 3650, later).unwrap_or(want.fine_days);
    let full = words::settings::MOST_MIB;
    want.most_mib = t.whole("most_mib", 16, 16384, full).unwrap_or(want.most_mib);
    t.done();
    want
}

fn contacts(mut t: Table<'_>) -> ContactsWant {
    let want = words::settings::WATCH;
    let watch = t.parsed("watch", want, |text| {
        let sound = text.len() <= 4096 && text.chars().all(name::is_plain);
        Some(PathBuf::from(text)).filter(|path| sound && path.is_absolute())
    });
    let calls = words::settings::KEEP_CALLS;
    let keep_calls = t.flag("keep_calls", calls).unwrap_or(false);
    t.done();
    ContactsWant { watch, keep_calls }
}

fn accessory(mut t: Table<'_>) -> Accessory {
    let name = t.text("name", words::settings::ACCESSORY_NAME);
    let draw = t.number("draw_w", Limits::from(0.0, 1000.0, "W"), words::settings::ACCESSORY_W);
    if !t.has("draw_w") {
        t.complain("draw_w", words::settings::ACCESSORY_MISSING.to_owned());
    }
    t.done();
    Accessory {
        name: name.unwrap_or_else(|| "Accessory".to_owned()),
        draw: Watts::of(draw.unwrap_or(0.0)),
    }
}

fn sensor(mut t: Table<'_>) -> SensorWant {
    const ROLES: &[(&str, Role)] =
        &[("bank", Role::Bank), ("part", Role::Part), ("ignored", Role::NotCounted)];
    const CHIPS: &[(&str, Chip)] = &[
        ("ina219", Chip::Ina219),
        ("ina226", Chip::Ina226),
        ("ina228", Chip::Ina228),
        ("ina260", Chip::Ina260),
        ("ina3221", Chip::Ina3221),
    ];
    let matches = t.text("matches", words::settings::SENSOR);
    if !t.has("matches") {
        t.complain("matches", words::settings::SENSOR_MISSING.to_owned());
    }
    let name = t.text("name", words::settings::SENSOR_NAME);
    let role = t.one_of("role", ROLES, words::settings::ROLE);
    let shunt = t.number("shunt_ohm", Limits::up_to(10.0, "ohm"), words::settings::SHUNT_OHM);
    let scale = t.number("scale", Limits::from(-1000.0, 1000.0, ""), words::settings::SCALE);
    if scale == Some(0.0) {
        t.complain("scale", words::settings::SCALE_ZERO.to_owned());
    }
    let chip = t.one_of("chip", CHIPS, words::settings::CHIP);
    t.done();
    SensorWant {
        matches: matches.unwrap_or_default(),
        name,
        role,
        shunt: shunt.map(Ohms::of),
        scale,
        chip,
    }
}

#[cfg(test)]
mod tests;
