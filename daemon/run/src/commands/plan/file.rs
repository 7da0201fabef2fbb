//! A plan file: TOML into the JSON that is worked out, and where each key stands, for complaints.

use std::{collections::BTreeMap, ops::Range};

use reckon::words;
use serde_json::{Map, Value, json};
use toml::{
    Spanned,
    de::{DeTable, DeValue},
};
use web::PlanProblem;

use crate::settings::{Complaint, line_of, number_of, written};

/// A plan file as it was read.
pub(super) struct PlanFile {
    text: String,
    /// The same as JSON.
    pub(super) json: Value,
    places: Places,
}

/// Where a table or a key of it stands.
type Places = BTreeMap<(String, usize, String), Range<usize>>;

impl PlanFile {
    /// Reads a plan.
    ///
    /// # Errors
    /// What is no TOML, with its line.
    pub(super) fn read(text: String) -> Result<Self, Complaint> {
        let mut places = Places::new();
        let json = {
            let root = DeTable::parse(&text).map_err(|why| unreadable(&text, &why))?;
            top(root.get_ref(), &mut places)
        };
        Ok(Self { text, json, places })
    }

    /// What is wrong, with its line and what stands there.
    pub(super) fn complaints(&self, problems: Vec<PlanProblem>) -> Vec<Complaint> {
        let mut all: Vec<Complaint> = problems.into_iter().map(|it| self.complaint(it)).collect();
        all.sort_by_key(|one| one.line);
        all
    }

    fn complaint(&self, problem: PlanProblem) -> Complaint {
        let key = problem.at();
        let PlanProblem { table, nth, key: of, want } = problem;
        let own = self.places.get(&(table.clone(), nth, of.clone())).filter(|_| !of.is_empty());
        let table = self.places.get(&(table, nth, String::new()));
        let line = line_of(&self.text, own.or(table).map_or(0, |at| at.start));
        Complaint { line, key, value: own.map(|at| written(&self.text, at)), want }
    }
}

fn unreadable(text: &str, why: &toml::de::Error) -> Complaint {
    let line = line_of(text, why.span().map_or(0, |at| at.start));
    let want = words::settings::not_toml(&why.message());
    Complaint { line, key: "this line".to_owned(), value: None, want }
}

fn top(root: &DeTable<'_>, places: &mut Places) -> Value {
    let mut all = Map::new();
    for (key, value) in root {
        let name = key.get_ref().to_string();
        let json = match value.get_ref() {
            DeValue::Table(rows) => {
                places.insert((name.clone(), 0, String::new()), key.span());
                table(&name, 0, rows, places)
            }
            DeValue::Array(rows) if rows.iter().all(|row| row.get_ref().is_table()) => {
                let each = rows.iter().enumerate().filter_map(|(nth, row)| {
                    places.insert((name.clone(), nth, String::new()), row.span());
                    Some(table(&name, nth, row.get_ref().as_table()?, places))
                });
                Value::Array(each.collect())
            }
            _ => {
                places.insert((String::new(), 0, name.clone()), value.span());
                plain(value)
            }
        };
        all.insert(name, json);
    }
    Value::Object(all)
}

fn table(name: &str, nth: usize, rows: &DeTable<'_>, places: &mut Places) -> Value {
    let mut all = Map::new();
    for (key, value) in rows {
        let key = key.get_ref().to_string();
        places.insert((name.to_owned(), nth, key.clone()), value.span());
        all.insert(key, plain(value));
    }
    Value::Object(all)
}

/// A value of a key; what no key takes is an empty list, which is refused wherever it stands.
fn plain(value: &Spanned<DeValue<'_>>) -> Value {
    match value.get_ref() {
        DeValue::Boolean(flag) => json!(flag),
        DeValue::String(text) => json!(text),
        DeValue::Datetime(moment) => json!(moment.to_string()),
        DeValue::Array(all) => all.iter().map(plain).collect(),
        DeValue::Float(_) | DeValue::Integer(_) => {
            number_of(value).filter(|x| x.is_finite()).map_or_else(|| json!([]), |x| json!(x))
        }
        DeValue::Table(_) => json!([]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn toml_becomes_the_json_of_the_same_plan_and_no_number_is_lost_in_silence() {
        let file = PlanFile::read(
            "finish_h = 8\nreserve_h = nan\n[bank]\nlabel_mah = 0x2710\n[sun]\nfrom = 2026-06-21T08:00:00Z\n\
             cloud = [0.2, 1]\n[[stretch]]\nhours = inf\n[[stretch]]\n"
                .to_owned(),
        );
        let file = file.unwrap_or_else(|why| panic!("{why}"));
        let want = json!({
            "finish_h": 8.0, "reserve_h": [], "bank": { "label_mah": 10_000.0 },
            "sun": { "from": "2026-06-21T08:00:00Z", "cloud": [0.2, 1.0] },
            "stretch": [{ "hours": [] }, {}],
        });
        assert_eq!(file.json, want);
        let problem = |table: &str, nth, key: &str| PlanProblem {
            table: table.to_owned(),
            nth,
            key: key.to_owned(),
            want: "want more.".to_owned(),
        };
        let said = file.complaints(vec![
            problem("stretch", 1, "hours"),
            problem("stretch", 0, "hours"),
            problem("", 0, "reserve_h"),
            problem("bank", 0, "label_mah"),
        ]);
        let said: Vec<String> = said.iter().map(ToString::to_string).collect();
        assert_eq!(
            said,
            [
                "line 2: reserve_h = nan: want more.",
                "line 4: bank.label_mah = 0x2710: want more.",
                "line 9: stretch[0].hours = inf: want more.",
                "line 10: stretch[1].hours: want more.",
            ]
        );
    }
}
