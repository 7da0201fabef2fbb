//! The parts of a plan that open: which fields each has, what stands in them, and what is wrong there. One table
//! of fields; what each may be is judged where plans are.

use reckon::{
    bank::{Cells, MeasuredAt},
    plan::{
        Answer, Known, Plan,
        keying::{Mode, RADIO_CLASSES},
    },
    units::Seconds,
    words::{self, PlanPage},
};

use crate::asks::plan_query::PlanQuery;

/// A choice of a field.
pub(crate) struct Choice {
    pub(crate) value: String,
    pub(crate) label: String,
    pub(crate) chosen: bool,
}

/// A field as its form shows it.
pub(crate) struct Field {
    pub(crate) name: String,
    pub(crate) label: &'static str,
    pub(crate) value: String,
    pub(crate) numeric: bool,
    /// Name and value of the second of two numbers.
    pub(crate) second: Option<(String, String)>,
    /// Empty: it is typed.
    pub(crate) options: Vec<Choice>,
    /// What is wanted instead of what stands there.
    pub(crate) fault: Option<String>,
}

pub(crate) struct Group {
    pub(crate) legend: Option<String>,
    pub(crate) fields: Vec<Field>,
}

pub(crate) struct Form {
    /// The rest of the plan.
    pub(crate) hidden: Vec<(String, String)>,
    pub(crate) groups: Vec<Group>,
}

pub(crate) struct Part {
    pub(crate) name: &'static str,
    pub(crate) title: &'static str,
    /// The assumption in force, as one figure.
    pub(crate) in_force: String,
    pub(crate) open: bool,
    pub(crate) forms: Vec<Form>,
}

/// What a field takes.
#[derive(Clone, Copy)]
enum Kind {
    Figure,
    Pair,
    Text,
    /// One of these, with their words; the first is what is usual, and not sent.
    One(&'static [&'static str], fn(&PlanPage) -> &'static [&'static str]),
    Cells,
    MeasuredAt,
    Known,
    Activity,
    Mode,
    RadioClass,
}

use Kind::{Activity, Figure, One, Pair, Text};

/// A field: its key, its label, and what it takes.
type Row = (&'static str, fn(&PlanPage, &words::BankForm) -> &'static str, Kind);

const OF_BANK: [Row; 10] = [
    ("known", |w, _| w.from_record, Kind::Known),
    ("start", |w, _| w.level, Text),
    ("depth", |w, _| w.depth, Figure),
    ("age_years", |w, _| w.age, Figure),
    ("cycles", |w, _| w.cycles, Figure),
    ("kept_at", |w, _| w.kept_at, Figure),
    ("kept_c", |w, _| w.kept_c, Figure),
    ("mass_g", |w, _| w.mass, Figure),
    ("feeds", |w, _| w.feeds, One(&["both", "board", "radio"], |w| w.fed)),
    ("together", |w, _| w.together, One(&["no", "yes"], |w| w.in_turn)),
];
/// Of a bank that the record does not know.
const OF_LABEL: [Row; 7] = [
    ("name", |_, b| b.name, Text),
    ("label_mah", |_, b| b.label_mah, Figure),
    ("label_v", |_, b| b.label_v_if_printed, Figure),
    ("cells", |_, b| b.cells, Kind::Cells),
    ("series", |_, b| b.series_if_known, Figure),
    ("measured_at", |_, b| b.sensor, Kind::MeasuredAt),
    ("cutoff_v", |_, b| b.cutoff, Figure),
];
const OF_STRETCH: [Row; 6] = [
    ("hours", |w, _| w.stretch_hours, Figure),
    ("activity", |w, _| w.activity, Activity),
    ("extra_w", |w, _| w.extra, Figure),
    ("radio", |w, _| w.radio, One(&["receive", "off"], |w| w.switched)),
    ("display", |w, _| w.display, One(&["on", "off"], |w| w.switched)),
    ("board", |w, _| w.board, One(&["on", "off"], |w| w.switched)),
];
/// Of a stretch with the board off.
const OF_NIGHT: [Row; 1] = [("connected", |w, _| w.connected, One(&["yes", "no"], |w| w.yes_no))];
/// Of a stretch without an activity.
const OF_SHARES: [Row; 4] = [
    ("busy", |w, _| w.busy, Figure),
    ("sent", |w, _| w.sent, Figure),
    ("mode", |w, _| w.mode, Kind::Mode),
    ("calling", |w, _| w.calling, Figure),
];
const OF_RADIO: [Row; 7] = [
    ("draw.radio", |w, _| w.radio_class, Kind::RadioClass),
    ("draw.radio_receive_a", |w, _| w.receive_a, Figure),
    ("draw.radio_transmit_a", |w, _| w.transmit_a, Figure),
    ("draw.radio_key_up_a", |w, _| w.key_up_a, Figure),
    ("draw.radio_v", |w, _| w.radio_v, Figure),
    ("draw.idle_w", |w, _| w.idle_w, Figure),
    ("draw.full_w", |w, _| w.full_w, Figure),
];
const OF_COLD: [Row; 1] = [("ambient_c", |w, _| w.ambient, Figure)];
const OF_SUN: [Row; 12] = [
    ("sun.panel_w", |w, _| w.panel, Figure),
    ("sun.full_sun_h", |w, _| w.full_sun, Pair),
    ("sun.noon_in_h", |w, _| w.noon, Figure),
    ("sun.latitude_deg", |w, _| w.latitude, Figure),
    ("sun.longitude_deg", |w, _| w.longitude, Figure),
    ("sun.from", |w, _| w.from, Text),
    ("sun.cloud", |w, _| w.cloud, Pair),
    ("sun.tilt_deg", |w, _| w.tilt, Figure),
    ("sun.facing_deg", |w, _| w.facing, Figure),
    ("sun.kept", |w, _| w.kept, Figure),
    ("sun.charge_efficiency", |w, _| w.charge_efficiency, Figure),
    ("sun.charge_limit_w", |w, _| w.charge_limit, Figure),
];
const OF_WIRE: [Row; 8] = [
    (
        "converter.kind",
        |w, _| w.converter,
        One(&["usual", "good", "poor", "linear"], |w| w.converters),
    ),
    ("converter.efficiency", |w, _| w.efficiency, Figure),
    ("lead.awg", |w, _| w.gauge, Figure),
    ("lead.mm2", |w, _| w.cross_section, Figure),
    ("lead.length_m", |w, _| w.length, Figure),
    ("lead.contacts_ohm", |w, _| w.contacts, Figure),
    ("lead.source_v", |w, _| w.source, Figure),
    ("lead.peak_a", |w, _| w.peak, Figure),
];
const OF_RESERVE: [Row; 3] = [
    ("at", |w, _| w.at, Text),
    ("finish_h", |w, _| w.finish, Figure),
    ("reserve_h", |w, _| w.reserve, Figure),
];
const OF_HOURS: [Row; 1] = [("hours", |w, _| w.in_all, Figure)];

/// So many banks and stretches are shown at most.
const MOST_BANKS: usize = 4;
const MOST_STRETCHES: usize = 40;

/// What the parts are made from.
pub(crate) struct Parts<'a> {
    pub(crate) query: &'a PlanQuery,
    pub(crate) known: &'a Known,
    /// Names of this station's activities.
    pub(crate) activities: &'a [String],
    /// What is wanted, by the names of fields.
    pub(crate) faults: &'a [(String, String)],
    pub(crate) words: &'a PlanPage,
    pub(crate) bank_words: &'a words::BankForm,
    pub(crate) worked: Option<(&'a Plan, &'a Answer)>,
}

impl Parts<'_> {
    pub(crate) fn all(&self) -> Vec<Part> {
        let forms = [
            vec![self.form(self.query, self.banks(), "bank.")],
            vec![
                self.form(
                    &self.query.clone().without("stretch."),
                    self.table("", &OF_HOURS, None),
                    "",
                ),
                self.form(self.query, self.stretches(), "stretch."),
            ],
            vec![self.form(self.query, self.table("", &OF_RADIO, None), "")],
            vec![self.form(self.query, self.table("", &OF_COLD, None), "")],
            vec![self.form(self.query, self.table("", &OF_SUN, None), "")],
            vec![self.form(self.query, self.table("", &OF_WIRE, None), "")],
            vec![self.form(self.query, self.table("", &OF_RESERVE, None), "")],
        ];
        let names = NAMES.into_iter().zip(self.words.parts).zip(self.in_force());
        names
            .zip(forms)
            .map(|(((name, title), in_force), forms)| {
                let open = self.query.get("open") == Some(name);
                let part = Part { name, title, in_force, open, forms };
                Part { open: open || part.is_faulty(), ..part }
            })
            .collect()
    }

    /// The assumptions in force; of a plan that cannot be worked out, none.
    fn in_force(&self) -> [String; 7] {
        let none = || words::plan_day::NONE.to_owned();
        let (banks, stretches, radio, cold) = match self.worked {
            Some((plan, answer)) => (
                words::plan_day::banks_in_force(answer),
                words::plan_day::stretches_in_force(plan),
                words::plan_day::radio_in_force(plan),
                words::plan_day::cold_in_force(plan),
            ),
            None => Default::default(),
        };
        let sun = self
            .query
            .get("sun.panel_w")
            .map_or_else(none, |watts| words::plan_day::panel_in_force(&watts));
        let reserve = self.worked.map(|it| it.0.reserve_h).filter(|hours| *hours > 0.0);
        let reserve =
            reserve.map_or_else(none, |hours| words::plan_day::hours(Seconds::of(3600.0 * hours)));
        let wire =
            self.worked.map_or_else(String::new, |it| words::plan_day::wire_in_force(it.0, it.1));
        [banks, stretches, radio, cold, sun, wire, reserve]
    }

    fn banks(&self) -> Vec<Group> {
        let first = |nth: usize| if nth == 0 { "bank.".to_owned() } else { format!("bank.{nth}.") };
        let is_there = |nth: &usize| {
            let begin = first(*nth);
            self.query.fields().iter().any(|(name, _)| {
                name.strip_prefix(begin.as_str()).is_some_and(|key| !key.contains('.'))
            })
        };
        let count = (0..MOST_BANKS).rev().find(is_there).map_or(0, |nth| nth + 1);
        let group = |nth: usize| {
            let legend = if nth < count || nth == 0 {
                self.words.nth_bank(nth + 1)
            } else {
                self.words.another_bank.to_owned()
            };
            let begin = first(nth);
            let is_known = self.query.get(&format!("{begin}known")).is_some();
            let (rows, of_label) = (&OF_BANK[..if nth == 0 { 9 } else { 10 }], &OF_LABEL[..]);
            let rows = if is_known { [rows, &[]] } else { [rows, of_label] };
            self.table(&begin, &rows.concat(), Some(legend))
        };
        (0..=count).take(MOST_BANKS).flat_map(group).collect()
    }

    /// Those that are written out, else those that the mix makes; and one more.
    fn stretches(&self) -> Vec<Group> {
        let written = self.query.written_out();
        let count = (0..MOST_STRETCHES)
            .rev()
            .find(|nth| {
                written
                    .fields()
                    .iter()
                    .any(|(name, _)| name.starts_with(&format!("stretch.{nth}.")))
            })
            .map_or(0, |nth| nth + 1);
        let parts = Parts { query: &written, ..*self };
        let group = |nth: usize| {
            let legend = if nth < count {
                self.words.nth_stretch(nth + 1)
            } else {
                self.words.another_stretch.to_owned()
            };
            let begin = format!("stretch.{nth}.");
            let has = |key: &str| written.get(&format!("{begin}{key}")).is_some();
            let mut rows = OF_STRETCH.to_vec();
            rows.extend(OF_NIGHT.iter().filter(|_| has("board")));
            let by_shares = !has("activity") || OF_SHARES.iter().any(|row| has(row.0));
            rows.extend(OF_SHARES.iter().filter(|_| by_shares));
            parts.table(&begin, &rows, Some(legend))
        };
        (0..=count).flat_map(group).collect()
    }

    fn table(&self, begin: &str, rows: &[Row], legend: Option<String>) -> Vec<Group> {
        vec![Group { legend, fields: rows.iter().map(|row| self.field(begin, row)).collect() }]
    }

    fn field(&self, begin: &str, (key, label, kind): &Row) -> Field {
        let name = format!("{begin}{key}");
        let of = |name: &str| self.query.get(name).unwrap_or_default().to_owned();
        let value = of(&name);
        let second = matches!(kind, Pair).then(|| format!("{name}.to"));
        Field {
            label: label(self.words, self.bank_words),
            numeric: matches!(kind, Figure | Pair),
            second: second.map(|name| (name.clone(), of(&name))),
            options: self.options(*kind, &value, begin == "bank."),
            fault: self.faults.iter().find(|(of, _)| *of == name).map(|(_, want)| want.clone()),
            value,
            name,
        }
    }

    fn options(&self, kind: Kind, value: &str, is_first: bool) -> Vec<Choice> {
        let choice = |of: &str, label: &str| Choice {
            value: of.to_owned(),
            label: label.to_owned(),
            chosen: of == value,
        };
        let usual = |name: &str, label: &str| Choice {
            chosen: value.is_empty() || value == name,
            ..choice("", label)
        };
        let some = |first: Choice, rest: Vec<Choice>| std::iter::once(first).chain(rest).collect();
        let mut all: Vec<Choice> = match kind {
            Figure | Pair | Text => return Vec::new(),
            One(values, labels) => {
                let mut each = values.iter().zip(labels(self.words));
                let first = each.next().map(|(of, label)| usual(of, label));
                first.into_iter().chain(each.map(|(of, label)| choice(of, label))).collect()
            }
            Kind::Cells => {
                let [first, rest @ ..] = Cells::ALL;
                let rest = rest.map(|it| choice(it.name(), words::cells_choice(it)));
                some(usual(first.name(), words::cells_choice(first)), rest.into())
            }
            Kind::MeasuredAt => {
                let rest =
                    MeasuredAt::ALL.map(|it| choice(it.name(), words::place_choice(Some(it))));
                some(usual("", words::place_choice(None)), rest.into())
            }
            Kind::Known => {
                let label = if is_first { self.words.by_label } else { self.words.no_other };
                let names = self.known.banks.iter().map(|(spec, _)| choice(&spec.name, &spec.name));
                some(usual("", label), names.collect())
            }
            Kind::Mode => {
                let names =
                    Mode::ALL.map(|it| choice(it.name(), &words::plan_day::mode(it.name())));
                some(usual("", self.words.no_mode), names.into())
            }
            Kind::RadioClass => {
                let names =
                    RADIO_CLASSES.map(|it| choice(it.name, &words::plan_day::kind_of(it.name)));
                some(usual("", self.words.by_figures), names.into())
            }
            Activity => {
                let names = self.activities.iter().map(|name| choice(name, name));
                some(usual("", self.words.no_activity), names.collect())
            }
        };
        // What was typed is not lost because no list has it.
        if !value.is_empty() && !all.iter().any(|it| it.chosen) {
            all.push(choice(value, value));
        }
        all
    }

    /// A form with these fields; the rest of the plan goes along. `own` begins the names that are its own.
    fn form(&self, query: &PlanQuery, groups: Vec<Group>, own: &str) -> Form {
        let shown = |name: &str| {
            let fields = groups.iter().flat_map(|group| &group.fields);
            let mut names =
                fields.flat_map(|it| [Some(&it.name), it.second.as_ref().map(|it| &it.0)]);
            names.any(|of| of.is_some_and(|of| of == name))
        };
        let is_own = |name: &str| {
            shown(name) || (!own.is_empty() && name.starts_with(own)) || name == "open"
        };
        let hidden = query.fields().iter().filter(|(name, _)| !is_own(name)).cloned().collect();
        Form { hidden, groups }
    }
}

/// The parts' names in addresses, in the order of the page.
const NAMES: [&str; 7] = ["banks", "stretches", "radio", "cold", "sun", "wire", "reserve"];

impl Part {
    /// Whether something in it cannot be right.
    pub(crate) fn is_faulty(&self) -> bool {
        let groups = self.forms.iter().flat_map(|form| &form.groups);
        groups.flat_map(|group| &group.fields).any(|field| field.fault.is_some())
    }
}
