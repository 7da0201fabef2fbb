//! What the settings overrule. Without any of it everything is found by itself.

use std::path::PathBuf;

use reckon::{reading::Role, units::Ohms, words};

/// What to read, and what the owner knows better than the drivers.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Want {
    /// Read `/sys`, `/proc`, `/run` and `/dev` below this folder instead of `/`.
    pub sysroot: Option<PathBuf>,
    /// What the owner says about single sensors.
    pub sensors: Vec<SensorWant>,
}

/// What the owner says about one sensor.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SensorWant {
    /// A source's identity or a part of it that fits no other: `1-0040`, `ina3221@1-0040/2`.
    pub matches: String,
    /// The owner's name for it.
    pub name: Option<String>,
    /// What it counts as.
    pub role: Option<Role>,
    /// The shunt that is really soldered there.
    pub shunt: Option<Ohms>,
    /// Multiply every current by this. Size above 0 and at most 1000; a negative number turns the
    /// sign round. Where both this and `shunt` are given, both count.
    pub scale: Option<f64>,
    /// Which chip sits at this bus and address (`1-0040`), for chips that cannot say so themselves.
    pub chip: Option<Chip>,
}

/// Power-monitor chips that are read without a kernel driver.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Chip {
    /// INA219: has no identification; has to be named in the settings.
    Ina219,
    /// INA226.
    Ina226,
    /// INA228: counts energy by itself.
    Ina228,
    /// INA260: its shunt is inside.
    Ina260,
    /// INA3221: three channels.
    Ina3221,
}

impl Want {
    /// What the settings say about the source of this identity: all entries that fit, later ones
    /// filling what earlier ones left open.
    pub(crate) fn about(&self, id: &str) -> SensorWant {
        let mut all = SensorWant { matches: id.to_owned(), ..SensorWant::default() };
        for entry in self.sensors.iter().filter(|entry| fits(&entry.matches, id)) {
            all.name = all.name.or_else(|| entry.name.clone());
            all.role = all.role.or(entry.role);
            all.shunt = all.shunt.or(entry.shunt.filter(|ohms| ohms.si() > 0.0));
            all.scale = all.scale.or(entry.scale.filter(|by| good_scale(*by)));
            all.chip = all.chip.or(entry.chip);
        }
        all
    }
}

impl Want {
    /// Sentences about entries that fit no source, and about corrections that are not taken.
    pub(crate) fn unmet(&self, ids: &[&str]) -> Vec<String> {
        let mut notes = Vec::new();
        for entry in &self.sensors {
            let matches = &entry.matches;
            if !ids.iter().any(|id| fits(matches, id)) {
                notes.push(words::sensor::not_found(&matches));
            }
            if entry.shunt.is_some_and(|ohms| ohms.si() <= 0.0) {
                notes.push(words::sensor::bad_shunt(&matches));
            }
            if entry.scale.is_some_and(|by| !good_scale(by)) {
                notes.push(words::sensor::bad_scale(&matches));
            }
        }
        notes
    }
}

/// Whether a scale is one that can be meant.
fn good_scale(by: f64) -> bool {
    by.is_finite() && by != 0.0 && by.abs() <= 1000.0
}

/// Whether what the owner wrote names this identity. A part has to end where a word of the
/// identity ends, so that `1-0040/1` does not also fit `1-0040/10`, nor `1-004` fit `1-0040`.
fn fits(written: &str, id: &str) -> bool {
    let written = written.trim();
    if written.is_empty() {
        return false;
    }
    let edge = |c: Option<char>| c.is_none_or(|c| !c.is_ascii_alphanumeric() && c != '-');
    id.match_indices(written).any(|(at, _)| {
        edge(id[..at].chars().next_back()) && edge(id[at + written.len()..].chars().next())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_of_an_identity_names_it_only_at_word_ends() {
        let id = "hwmon:ina3221@1-0040/2";
        for (written, want) in [
            ("hwmon:ina3221@1-0040/2", true),
            ("ina3221@1-0040/2", true),
            ("1-0040", true),
            ("1-0040/2", true),
            ("ina3221", true),
            ("1-0040/1", false),
            ("1-004", false),
            ("0040", false),
            ("", false),
            (" ", false),
        ] {
            assert_eq!(fits(written, id), want, "{written}");
        }
        assert!(!fits("1-0040", "hwmon:ina226@11-0040"));
    }

    #[test]
    fn entries_that_fit_nothing_are_named() {
        let entry = |matches: &str| SensorWant { matches: matches.into(), ..SensorWant::default() };
        let want = Want { sensors: vec![entry("1-0040"), entry("1-0041")], ..Want::default() };
        let notes = want.unmet(&["hwmon:ina226@1-0040"]);
        assert_eq!(notes.len(), 1);
        assert!(notes[0].contains("'1-0041'"), "{notes:?}");
    }

    #[test]
    fn broken_corrections_are_not_taken() {
        let want = Want {
            sensors: vec![SensorWant {
                matches: "1-0040".into(),
                shunt: Some(Ohms::of(-0.1)),
                scale: Some(f64::NAN),
                ..SensorWant::default()
            }],
            ..Want::default()
        };
        let about = want.about("hwmon:ina226@1-0040");
        assert_eq!((about.shunt, about.scale), (None, None));
    }
}
