//! The JSON of a plan: how one is described, and what it comes to. The command reads and prints the same.

use reckon::{
    plan::{Answer, Assumption, BankFound, Change, Description, Given, Place, PlanFault},
    plan::{
        Doing, Plan, Point, Smallest, Stretch, Wiring, air::Carriage, fuse::Fuse, wire::LeadGrade,
    },
    units::Seconds,
    words,
};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::object::{Object, list, three};

/// A plan as JSON describes it: tables are objects, several of a name are a list of them. `None`: it is
/// no object.
#[must_use]
pub fn described_plan(json: &Value) -> Option<Description> {
    let mut description = Description::default();
    for (key, value) in json.as_object()? {
        match (value, tables(value)) {
            (Value::Object(fields), _) => table(&mut description, (key, 0), fields),
            (_, Some(all)) => {
                // One more than is taken is told of; the rest is the same again.
                for (nth, fields) in all.into_iter().enumerate() {
                    if !table(&mut description, (key, nth), fields) {
                        break;
                    }
                }
                true
            }
            _ => take(&mut description, ("", 0), key, value),
        };
    }
    Some(description)
}

/// The objects of a list that has nothing else.
fn tables(value: &Value) -> Option<Vec<&Map<String, Value>>> {
    let all: Option<Vec<_>> = value.as_array()?.iter().map(Value::as_object).collect();
    all.filter(|all| !all.is_empty())
}

fn table(into: &mut Description, (name, nth): (&str, usize), fields: &Map<String, Value>) -> bool {
    let begun = into.begin(name, nth);
    if begun {
        for (key, value) in fields {
            take(into, (name, nth), key, value);
        }
    }
    begun
}

fn take(into: &mut Description, (name, nth): (&str, usize), key: &str, value: &Value) -> bool {
    // As in the rest of this API: what is null is not given.
    if !value.is_null() {
        into.take(Place { table: name.to_owned(), nth, key: key.to_owned() }, given(value));
    }
    true
}

fn given(value: &Value) -> Given {
    match value {
        Value::Bool(flag) => Given::Flag(*flag),
        Value::String(text) => Given::Text(text.clone()),
        Value::Number(number) => number.as_f64().map_or(Given::Else, Given::Number),
        Value::Array(all) => {
            let all: Option<Vec<f64>> = all.iter().map(Value::as_f64).collect();
            all.map_or(Given::Else, Given::Numbers)
        }
        Value::Null | Value::Object(_) => Given::Else,
    }
}

/// What cannot be right in a plan.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct PlanProblem {
    /// Its table, `""` at the top.
    pub table: String,
    /// Which of several tables of that name, from 0.
    pub nth: usize,
    /// Its key; `""`: the table itself.
    pub key: String,
    /// What is wanted instead, as a sentence.
    pub want: String,
}

impl PlanProblem {
    /// Its place in words: `finish_h`, `bank.series`, `stretch[2].hours`.
    #[must_use]
    pub fn at(&self) -> String {
        let Self { table, nth, key, .. } = self;
        let table = match (table.as_str(), nth) {
            ("", _) => String::new(),
            (name, 0) if name != "stretch" => table.clone(),
            _ => format!("{table}[{nth}]"),
        };
        let point = if table.is_empty() || key.is_empty() { "" } else { "." };
        format!("{table}{point}{key}")
    }

    /// In words.
    #[must_use]
    pub fn said(&self) -> String {
        words::plan::fault(&self.at(), &self.want)
    }
}

impl From<PlanFault> for PlanProblem {
    fn from(fault: PlanFault) -> Self {
        let Place { table, nth, key } = fault.place;
        Self { table, nth, key, want: fault.want }
    }
}

/// What a plan comes to, as JSON.
#[must_use]
pub fn plan_json(plan: &Plan, answer: &Answer, assumed: &[Assumption]) -> String {
    let told = told(plan, answer, assumed);
    serde_json::to_string(&told).unwrap_or_default()
}

fn told<'a>(plan: &Plan, answer: &'a Answer, assumed: &[Assumption]) -> Object<'a> {
    let [low, middle, high] = answer.beyond;
    let beyond = Object::new().with("p10", low).with("p50", middle).with("p90", high);
    Object::new()
        .with("lasts_s", three(answer.lasts.map(Seconds::si)))
        .with("beyond", beyond)
        .with("finish_s", 3600.0 * plan.finish_h)
        .with("reserve_s", 3600.0 * plan.reserve_h)
        .with("chance_of_finish", answer.chance_of_finish.part())
        .with("chance_with_reserve", answer.chance_with_reserve.part())
        .with("energy_wh", three(answer.energy_wh))
        .with("draw_w", answer.draw_w)
        .with("draw_range_w", three(log_normal(answer.draw_w, answer.draw_log_sd)))
        .with("points", list(answer.points.iter().map(point)))
        .with("stretches", list(plan.stretches.iter().zip(&answer.stretches).map(stretch)))
        .with("banks", list(answer.banks.iter().map(bank)))
        .with("smallest_bank", list(answer.smallest.iter().map(smallest)))
        .with("changes", list(answer.changes.iter().map(change)))
        .with("assumptions", list(assumed.iter().map(words::plan::assumption)))
        .with("lead", answer.wiring.as_ref().map(lead))
        .with("cautions", list(answer.cautions.iter().copied().map(words::plan::caution)))
}

/// 10 %, 50 %, 90 % of what has this mean and this deviation of its logarithm.
fn log_normal(mean: f64, log_sd: f64) -> [f64; 3] {
    let middle = mean * (-0.5 * log_sd * log_sd).exp();
    [-1.281_551_6, 0.0, 1.281_551_6].map(|z: f64| middle * (z * log_sd).exp())
}

fn lead(it: &Wiring) -> Object<'static> {
    let (fuse_a, too_thin) = match it.fuse {
        Some(Fuse::Size(amps)) => (Some(amps.si()), false),
        Some(Fuse::WireTooThin(_)) => (None, true),
        None => (None, false),
    };
    let grade = it.grade.map(|grade| match grade {
        LeadGrade::Good => "good",
        LeadGrade::Fair => "fair",
        LeadGrade::Poor => "poor",
    });
    Object::new()
        .with("peak_a", it.peak.si())
        .with("loop_ohm", it.resistance.si())
        .with("drop_v", it.drop.si())
        .with("far_end_v", it.far_end.si())
        .with("undervoltage", it.undervoltage)
        .with("grade", grade)
        .with("fuse_a", fuse_a)
        .with("wire_too_thin", too_thin)
}

fn point(it: &Point) -> Object<'static> {
    Object::new()
        .with("at_s", it.at.si())
        .with("left_wh", three(it.left_wh))
        .with("draw_w", it.draw_w)
        .with("sun_w", it.sun_w)
}

fn stretch((it, (draw_w, _)): (&Stretch, &(f64, f64))) -> Object<'static> {
    let activity = match &it.doing {
        Doing::Activity(name, _) => Some(name.clone()),
        Doing::Shares { .. } => None,
    };
    Object::new()
        .with("lasts_s", 3600.0 * it.hours)
        .with("activity", activity)
        .with("draw_w", *draw_w)
}

fn bank(it: &BankFound) -> Object<'_> {
    let by_air = match it.carriage {
        Carriage::Carried => "carried",
        Carriage::AfterAsking => "ask",
        Carriage::Refused => "refused",
    };
    Object::new()
        .with("name", &it.name)
        .with("learned_from", it.run_downs)
        .with("usable_wh", three(it.usable_wh))
        .with("label_wh", it.label_wh)
        .with("mass_g", it.mass_g)
        .with("by_air", by_air)
}

fn smallest(it: &Smallest) -> Object<'static> {
    Object::new()
        .with("chance", it.chance)
        .with("usable_wh", it.usable_wh)
        .with("label_mah", it.label_mah)
}

fn change(it: &Change) -> Object<'static> {
    Object::new()
        .with("what", words::plan::change(&it.what))
        .with("kind", it.what.name())
        .with("gains_s", it.gains.si())
}
