//! `outlast outing`: the list, one outing, its name, how it ended.

use serde_json::{Value, json};

use super::{figure, moment, pretty, span, table, text};
use crate::{
    Failed,
    cli::{How, Outing},
    reach::Record,
    welcome::print,
};

/// Does what was typed.
pub(crate) fn run(command: &Outing) -> Result<(), Failed> {
    match command {
        Outing::List { most, before, json, reach } => {
            let record = Record::find(reach)?;
            let before = before.map_or_else(String::new, |id| format!("&before={id}"));
            let page = record.read(&format!("/api/v1/outings?limit={most}{before}"))?;
            print(&if *json { pretty(&page) } else { list(&page) });
            Ok(())
        }
        Outing::Show { outing, json, reach } => {
            let record = Record::find(reach)?;
            let id = id(&record, outing)?;
            let told = record.read(&format!("/api/v1/outings/{id}"))?;
            print(&if *json { pretty(&told) } else { show(&told) });
            Ok(())
        }
        Outing::Name { outing, name, reach } => {
            let record = Record::find(reach)?;
            let id = id(&record, outing)?;
            record.post(&format!("/api/v1/outings/{id}/name"), &json!({ "name": name }))
        }
        Outing::GoesOn { outing, charged, reach } => {
            let record = Record::find(reach)?;
            let id = id(&record, outing)?;
            record.post(&format!("/api/v1/outings/{id}/goes-on"), &json!({ "goes_on": !charged }))
        }
        Outing::Ended { outing, how, reach } => {
            let record = Record::find(reach)?;
            let id = id(&record, outing)?;
            let died = matches!(how, How::Died);
            record.post(&format!("/api/v1/outings/{id}/ending"), &json!({ "died": died }))
        }
    }
}

/// An outing's number; `last` is the newest.
pub(super) fn id(record: &Record, typed: &str) -> Result<i64, Failed> {
    if typed == "last" {
        let page = record.read("/api/v1/outings?limit=1")?;
        let newest = page["outings"][0]["id"].as_i64();
        return newest.ok_or_else(|| Failed::from("There is no outing yet.".to_owned()));
    }
    typed.parse().map_err(|_| {
        Failed::from(format!(
            "'{typed}' is no outing. `outlast outing list` shows their numbers; `last` is the newest."
        ))
    })
}

fn list(page: &Value) -> String {
    let outings = page["outings"].as_array().map_or(&[][..], Vec::as_slice);
    if outings.is_empty() {
        return "There is no outing yet.\n".to_owned();
    }
    let mut rows = vec![
        ["", "began (UTC)", "lasted", "energy", "bank", "ending", "name"]
            .map(str::to_owned)
            .to_vec(),
    ];
    rows.extend(outings.iter().map(|one| {
        vec![
            one["id"].to_string(),
            moment(&one["began_at"]),
            span(&one["lasted_s"]),
            figure(&one["energy_wh"], 1, "Wh"),
            text(one, "bank").to_owned(),
            ending(one),
            text(one, "name").to_owned(),
        ]
    }));
    let mut said = table(&rows);
    if let Some(next) = page["next"].as_i64() {
        said.push_str(&format!("More: outlast outing list --before {next}\n"));
    }
    said
}

fn ending(one: &Value) -> String {
    match text(one, "ending") {
        "open" => "goes on".to_owned(),
        "switched_off" => "switched off".to_owned(),
        "died" => "the bank died".to_owned(),
        "swapped" => "bank changed".to_owned(),
        "power_lost" => match one["died_chance"].as_f64() {
            Some(chance) if chance > 0.0 => {
                format!("power lost ({:.0} % a dead bank)", chance * 100.0)
            }
            _ => "unplugged".to_owned(),
        },
        other => other.to_owned(),
    }
}

fn show(told: &Value) -> String {
    let name = Some(text(told, "name")).filter(|name| !name.is_empty());
    let bank = Some(text(told, "bank")).filter(|name| !name.is_empty());
    let mut lines = vec![
        format!("{} ({})", name.unwrap_or("An outing without a name"), told["id"]),
        format!("Bank: {}", bank.unwrap_or("not told")),
        format!("Began: {} UTC", moment(&told["began_at"])),
        format!("Lasted: {}", span(&told["lasted_s"])),
        format!("Ending: {}", ending(told)),
    ];
    if let Some(within) = told["ended_within_s"].as_f64().filter(|s| *s > 0.0) {
        let from = told["ended_at"].as_str().unwrap_or("its last row");
        lines.push(format!("It ended within {within:.0} s after {from}"));
    }
    lines.push(format!(
        "Energy: {}, mean {}, peak {}",
        figure(&told["energy_wh"], 2, "Wh"),
        figure(&told["mean_power_w"], 2, "W"),
        figure(&told["peak_power_w"], 2, "W")
    ));
    if let Some(id) = told["rundown"]["id"].as_i64() {
        let whole = told["rundown"]["whole"] == true;
        let what = if whole { "a whole run-down" } else { "a run-down cut short" };
        lines.push(format!("Credited as {what} (run-down {id})"));
    }
    for event in told["events"].as_array().into_iter().flatten() {
        let at = span(&event["at_s"]);
        let (kind, words) = (text(event, "kind").replace('_', " "), text(event, "text"));
        lines.push(format!(
            "  after {at}: {kind}{}{words}",
            if words.is_empty() { "" } else { ": " }
        ));
    }
    lines.join("\n") + "\n"
}
