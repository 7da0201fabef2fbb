//! A plan as an address and a form have it: the plan's own keys (`bank.known`, `stretch.0.hours`), and four of
//! the page's: `doing` and `hours` make the stretches where none are written out, `at` is the time of day at
//! which it starts, `open` the part that is open.

use std::ops::RangeInclusive;

use axum::{
    extract::Query,
    http::{StatusCode, Uri},
};
use reckon::{
    bank::BankSpec,
    plan::{
        Description, Doing, Given, Place, Stretch,
        sun::{Light, Sun},
    },
    units::Volts,
};

use crate::http::problem::Problem;

/// The longest query that is read, bytes: a plan with forty stretches.
const QUERY_BYTES: usize = 8 * 1024;
/// The longest value, letters.
const VALUE_LETTERS: usize = 80;

/// What the page has besides the plan's keys.
const OF_PAGE: [&str; 4] = ["doing", "hours", "at", "open"];
/// Keys that hold texts, whatever they look like.
const TEXTS: [&str; 12] = [
    "kind",
    "mode",
    "known",
    "name",
    "cells",
    "measured_at",
    "board",
    "feeds",
    "activity",
    "radio",
    "display",
    "from",
];
/// Keys that hold yes or no.
const FLAGS: [&str; 2] = ["together", "connected"];
/// Of several tables of one name none is further back than this; a plan takes fewer.
const MOST_NTH: usize = 999;
/// Hours that are mixed; a plan's stretch takes no more.
const MIXED_H: RangeInclusive<f64> = 0.1..=1000.0;
/// Ends the name of the second of two numbers.
const TO: &str = ".to";

/// What is done most of the time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Mix {
    Receive,
    Half,
    Contacts,
}

impl Mix {
    pub(crate) const ALL: [Self; 3] = [Self::Receive, Self::Half, Self::Contacts];

    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Receive => "receive",
            Self::Half => "half",
            Self::Contacts => "contacts",
        }
    }

    /// Share of the time with contacts (common practice, no source).
    const fn contacts(self) -> f64 {
        match self {
            Self::Receive => 0.2,
            Self::Half => 0.5,
            Self::Contacts => 0.8,
        }
    }

    /// Hours and activities: a look round, contacts, a pause, contacts again.
    fn stretches(self, hours: f64) -> [(f64, &'static str); 4] {
        let contacts = 0.5 * self.contacts() * hours;
        let receive = 0.5 * hours - contacts;
        [(receive, "receive"), (contacts, "contacts"), (receive, "receive"), (contacts, "contacts")]
    }
}

/// The fields of a plan: each name once, none empty.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct PlanQuery {
    fields: Vec<(String, String)>,
}

impl PlanQuery {
    /// As an address has it.
    ///
    /// # Errors
    /// Where it is longer than any plan.
    pub(crate) fn read(query: &str) -> Result<Self, Problem> {
        if query.len() > QUERY_BYTES {
            return Err(Problem::from_status(StatusCode::URI_TOO_LONG));
        }
        let uri = Uri::try_from(format!("/?{query}"));
        let pairs =
            uri.ok().and_then(|uri| Query::<Vec<(String, String)>>::try_from_uri(&uri).ok());
        Ok(Self::of(pairs.map(|it| it.0).unwrap_or_default()))
    }

    /// Of a form's fields; the last of a name counts, and an empty one takes it back.
    pub(crate) fn of(pairs: impl IntoIterator<Item = (String, String)>) -> Self {
        let mut query = Self::default();
        for (name, value) in pairs {
            let name = name.replace("bank.0.", "bank.");
            query.set(&name, value.trim());
        }
        query.without_empty_stretches()
    }

    /// Rows of the form without hours are taken out.
    fn without_empty_stretches(mut self) -> Self {
        let written = self.stretches_written();
        if !written.iter().any(|nth| self.get(&format!("stretch.{nth}.hours")).is_some()) {
            return self;
        }
        let kept: Vec<usize> = written
            .into_iter()
            .filter(|nth| self.get(&format!("stretch.{nth}.hours")).is_some())
            .collect();
        let old = std::mem::take(&mut self.fields);
        for (name, value) in old {
            match stretch_of(&name) {
                Some((nth, key)) => {
                    if let Some(new) = kept.iter().position(|it| *it == nth) {
                        self.fields.push((format!("stretch.{new}.{key}"), value));
                    }
                }
                None => self.fields.push((name, value)),
            }
        }
        self
    }

    /// The stretches that are written out, in order.
    fn stretches_written(&self) -> Vec<usize> {
        let mut all: Vec<usize> =
            self.fields.iter().filter_map(|(name, _)| Some(stretch_of(name)?.0)).collect();
        all.sort_unstable();
        all.dedup();
        all
    }

    pub(crate) fn get(&self, name: &str) -> Option<&str> {
        self.fields.iter().find(|(of, _)| of == name).map(|(_, value)| value.as_str())
    }

    /// Empty: takes it out.
    pub(crate) fn set(&mut self, name: &str, value: &str) {
        let value: String = value.chars().take(VALUE_LETTERS).collect();
        match self.fields.iter().position(|(of, _)| of == name) {
            Some(at) if value.is_empty() => drop(self.fields.remove(at)),
            Some(at) => self.fields[at].1 = value,
            None if value.is_empty() => {}
            None => self.fields.push((name.to_owned(), value)),
        }
    }

    pub(crate) fn with(mut self, name: &str, value: &str) -> Self {
        self.set(name, value);
        self
    }

    /// Without the fields whose name begins so.
    pub(crate) fn without(mut self, begin: &str) -> Self {
        self.fields.retain(|(name, _)| !name.starts_with(begin));
        self
    }

    pub(crate) fn fields(&self) -> &[(String, String)] {
        &self.fields
    }

    pub(crate) fn mix(&self) -> Option<Mix> {
        let name = self.get("doing")?;
        Mix::ALL.into_iter().find(|mix| mix.name() == name)
    }

    /// Whether its stretches are written out.
    pub(crate) fn has_stretches(&self) -> bool {
        self.fields.iter().any(|(name, _)| name.starts_with("stretch."))
    }

    pub(crate) fn has_bank(&self) -> bool {
        self.fields.iter().any(|(name, _)| name.starts_with("bank."))
    }

    /// Whether nothing is missing without which there is no answer.
    pub(crate) fn is_whole(&self) -> bool {
        let quick = self.mix().is_some() && self.get("hours").is_some();
        self.has_bank() && (quick || self.has_stretches())
    }

    /// As an address: letters of RFC 3986 section 2.3, the rest in per cent, spaces as forms write them.
    pub(crate) fn text(&self) -> String {
        let pairs: Vec<String> = self
            .fields
            .iter()
            .map(|(name, value)| format!("{}={}", coded(name), coded(value)))
            .collect();
        pairs.join("&")
    }

    /// As `reckon` reads it.
    pub(crate) fn description(&self) -> Description {
        let mut described = Description::default();
        for (name, value) in
            self.fields.iter().filter(|(name, _)| !OF_PAGE.contains(&name.as_str()))
        {
            if name.ends_with(TO) || self.is_of_label(name) {
                continue;
            }
            let second = self.get(&format!("{name}{TO}"));
            let place = place(name);
            let given = given(&place.key, value, second);
            described.take(place, given);
        }
        if !self.has_stretches() {
            self.quick(&mut described);
        }
        described
    }

    /// Whether it tells of a bank that another field names.
    fn is_of_label(&self, name: &str) -> bool {
        const OF_LABEL: [&str; 8] = [
            "name",
            "cells",
            "series",
            "label_mah",
            "label_v",
            "measured_at",
            "ambient_c",
            "cutoff_v",
        ];
        let Some((table, key)) = name.rsplit_once('.') else { return false };
        table.starts_with("bank")
            && OF_LABEL.contains(&key)
            && self.get(&format!("{table}.known")).is_some()
    }

    /// With the stretches that its mix makes written out.
    pub(crate) fn written_out(&self) -> Self {
        let hours = self.get("hours").and_then(number).filter(|hours| MIXED_H.contains(hours));
        let (Some(hours), Some(mix), false) = (hours, self.mix(), self.has_stretches()) else {
            return self.clone();
        };
        let mut query = self.clone();
        for (nth, (hours, name)) in mix.stretches(hours).into_iter().enumerate() {
            query.set(&format!("stretch.{nth}.hours"), &typed(hours));
            query.set(&format!("stretch.{nth}.activity"), name);
        }
        query
    }

    /// With these stretches.
    pub(crate) fn with_stretches(self, stretches: &[Stretch]) -> Self {
        let mut query = self.without("stretch.");
        for (nth, stretch) in stretches.iter().enumerate() {
            let mut set =
                |key: &str, value: &str| query.set(&format!("stretch.{nth}.{key}"), value);
            set("hours", &typed(stretch.hours));
            match &stretch.doing {
                Doing::Activity(name, _) => set("activity", name),
                Doing::Shares { busy, sent } => {
                    set("busy", &typed(*busy));
                    set("sent", &typed(*sent));
                }
            }
            let off = |on: bool| if on { "" } else { "off" };
            set("radio", off(stretch.radio_on));
            set("display", off(stretch.display_on));
            set("board", off(stretch.board_on));
            set("connected", if stretch.connected { "" } else { "no" });
            set(
                "extra_w",
                &if stretch.extra_w > 0.0 { typed(stretch.extra_w) } else { String::new() },
            );
        }
        query
    }

    /// With another bank in this place: by its name where it is known, else by its label.
    pub(crate) fn with_nth_bank(self, nth: usize, bank: &BankSpec, is_known: bool) -> Self {
        let begin = if nth == 0 { "bank.".to_owned() } else { format!("bank.{nth}.") };
        let mut query = if nth == 0 { self.without_first_bank() } else { self.without(&begin) };
        let mut set = |key: &str, value: &str| query.set(&format!("{begin}{key}"), value);
        if is_known {
            set("known", &bank.name);
            return query;
        }
        set("name", &bank.name);
        set("cells", bank.cells.name());
        set("series", &bank.series.to_string());
        set("label_mah", &typed(bank.label.si() * 1000.0));
        set("label_v", &typed(bank.label_volts.si()));
        set("measured_at", bank.measured_at.name());
        query
    }

    /// With this panel, where hours of full sun say what it gets.
    pub(crate) fn with_sun(self, sun: &Sun) -> Option<Self> {
        let (panel, light) = sun.made_of();
        let Light::Hours { full_sun_h: (from, to), noon_s, .. } = light else { return None };
        let noon_h = typed(noon_s / 3600.0);
        let told = [
            ("sun.panel_w", typed(panel.rated_w)),
            ("sun.full_sun_h", typed(*from)),
            ("sun.full_sun_h.to", typed(*to)),
            ("sun.noon_in_h", noon_h),
        ];
        Some(told.into_iter().fold(self, |query, (name, value)| query.with(name, &value)))
    }

    /// A radio's amperes stay at the volts of the bank before, where nobody said at which they are.
    pub(crate) fn with_radio_at(self, volts: Volts) -> Self {
        let has_radio = self.fields.iter().any(|(name, _)| name.starts_with("draw.radio"));
        if !has_radio || self.get("draw.radio_v").is_some() {
            return self;
        }
        self.with("draw.radio_v", &typed(volts.si()))
    }

    /// Without the fields of its first bank.
    pub(crate) fn without_first_bank(mut self) -> Self {
        let of_first =
            |name: &str| name.strip_prefix("bank.").is_some_and(|key| !key.contains('.'));
        self.fields.retain(|(name, _)| !of_first(name));
        self
    }

    fn quick(&self, described: &mut Description) {
        let Some(text) = self.get("hours") else { return };
        let mut take = |nth, key: &str, given| {
            let (table, key) = ("stretch".to_owned(), key.to_owned());
            described.take(Place { table, nth, key }, given);
        };
        match (number(text).filter(|hours| MIXED_H.contains(hours)), self.mix()) {
            (Some(hours), Some(mix)) => {
                for (nth, (hours, name)) in mix.stretches(hours).into_iter().enumerate() {
                    take(nth, "hours", Given::Number(hours));
                    take(nth, "activity", Given::Text(name.to_owned()));
                }
            }
            _ => take(0, "hours", number(text).map_or(Given::Else, Given::Number)),
        }
    }
}

/// Number and key of `stretch.3.hours`.
fn stretch_of(name: &str) -> Option<(usize, &str)> {
    let (nth, key) = name.strip_prefix("stretch.")?.split_once('.')?;
    Some((nth.parse().ok().filter(|nth| *nth <= MOST_NTH)?, key))
}

/// Where a field of this name stands.
fn place(name: &str) -> Place {
    let mut parts = name.splitn(3, '.');
    let (first, second, third) = (parts.next().unwrap_or(""), parts.next(), parts.next());
    let (table, nth, key) = match (second, third) {
        (None, _) => ("", 0, first),
        (Some(key), None) => (first, 0, key),
        (Some(nth), Some(key)) => (first, nth.parse().unwrap_or(MOST_NTH).min(MOST_NTH), key),
    };
    Place { table: table.to_owned(), nth, key: key.to_owned() }
}

/// The name of the field at a place.
pub(crate) fn field_name(place: &Place) -> String {
    let Place { table, nth, key } = place;
    match (table.as_str(), nth) {
        ("", _) => key.clone(),
        ("stretch", nth) => format!("stretch.{nth}.{key}"),
        (table, 0) => format!("{table}.{key}"),
        (table, nth) => format!("{table}.{nth}.{key}"),
    }
}

/// What stands in a field, as the plan's keys want it. `second` is the other one of two numbers.
fn given(key: &str, value: &str, second: Option<&str>) -> Given {
    if TEXTS.contains(&key) || key == "start" {
        return Given::Text(value.to_owned());
    }
    if FLAGS.contains(&key) {
        return match value {
            "yes" | "true" => Given::Flag(true),
            "no" | "false" => Given::Flag(false),
            _ => Given::Else,
        };
    }
    match (number(value), second.map(number)) {
        (Some(one), None) if key == "cloud" || key == "full_sun_h" => {
            Given::Numbers(vec![one, one])
        }
        (Some(one), None) => Given::Number(one),
        (Some(one), Some(Some(other))) => Given::Numbers(vec![one, other]),
        _ => Given::Else,
    }
}

/// A number as people type it: with a point or a comma, or in per cent.
pub(crate) fn number(text: &str) -> Option<f64> {
    let text = text.trim().replace(',', ".");
    let (text, scale) = text.strip_suffix('%').map_or((text.as_str(), 1.0), |it| (it.trim(), 0.01));
    text.parse::<f64>().ok().filter(|number| number.is_finite()).map(|number| number * scale)
}

/// A number as a person would type it.
fn typed(number: f64) -> String {
    let text = format!("{number:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn coded(text: &str) -> String {
    let mut coded = String::with_capacity(text.len());
    for byte in text.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' => {
                coded.push(char::from(byte));
            }
            b' ' => coded.push('+'),
            _ => coded.push_str(&format!("%{byte:02X}")),
        }
    }
    coded
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(query: &str) -> PlanQuery {
        PlanQuery::read(query).unwrap()
    }

    #[test]
    fn an_address_is_read_and_written_again() {
        let query = read("bank.0.known=Blue+ten&doing=half&hours=7,5&stretch.0.hours=");
        assert_eq!(query.text(), "bank.known=Blue+ten&doing=half&hours=7%2C5");
        assert_eq!(read(&query.text()), query);
        assert!(query.is_whole() && !query.has_stretches());
        // The last of a name counts; an empty one takes it back.
        assert_eq!(read("hours=4&hours=6").get("hours"), Some("6"));
        assert_eq!(read("hours=4&hours=").get("hours"), None);
        assert_eq!(read("a=%ff%00&b").fields().len(), 1);
        assert!(PlanQuery::read(&"x".repeat(QUERY_BYTES + 1)).is_err());
    }

    #[test]
    fn a_stretch_without_hours_is_taken_out_and_the_others_move_up() {
        let query =
            read("stretch.0.hours=2&stretch.1.activity=idle&stretch.2.hours=3&stretch.2.sent=0.1");
        assert_eq!(query.text(), "stretch.0.hours=2&stretch.1.hours=3&stretch.1.sent=0.1");
        // Without hours anywhere nothing is lost: it is complained of.
        assert!(read("stretch.0.activity=idle").has_stretches());
    }

    #[test]
    fn a_mix_lasts_as_long_as_told() {
        for mix in Mix::ALL {
            let all = mix.stretches(8.0);
            assert!((all.iter().map(|it| it.0).sum::<f64>() - 8.0).abs() < 1e-9, "{mix:?}");
            let contacts: f64 = all.iter().filter(|it| it.1 == "contacts").map(|it| it.0).sum();
            assert!((contacts / 8.0 - mix.contacts()).abs() < 1e-9, "{mix:?}");
        }
    }

    #[test]
    fn numbers_are_read_as_people_type_them() {
        assert_eq!(number(" 7,5 "), Some(7.5));
        assert_eq!(number("30 %"), Some(0.3));
        assert_eq!(number("1e999"), None);
        assert_eq!(number("NaN"), None);
        assert_eq!(given("full_sun_h", "3", Some("5")), Given::Numbers(vec![3.0, 5.0]));
        assert_eq!(given("full_sun_h", "3", Some("x")), Given::Else);
        assert_eq!(given("known", "12", None), Given::Text("12".to_owned()));
        assert_eq!(given("together", "maybe", None), Given::Else);
    }
}
