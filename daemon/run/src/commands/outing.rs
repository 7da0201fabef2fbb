//! `outlast outing`: the list, one outing, its name, how it ended, its contacts.

use std::path::Path;

use reckon::{units::Seconds, words};
use serde_json::{Value, json};

use super::{export::write, figure, file_of, moment, pretty, span, table, text};
use crate::{
    Failed,
    commands::{
        cli::{How, Outing, Reach},
        client::Client,
    },
    host::{banner::print, now_text::plain_spaces},
};

/// Does what was typed.
pub(crate) fn run(command: &Outing) -> Result<(), Failed> {
    match command {
        Outing::List { most, before, json, reach } => {
            let record = Client::find(reach)?;
            let before = before.map_or_else(String::new, |id| format!("&before={id}"));
            let page = record.read(&format!("/api/v1/outings?limit={most}{before}"))?;
            print(&if *json { pretty(&page) } else { list(&page, record.is_running()) });
            Ok(())
        }
        Outing::Show { outing, json, html, reach } => {
            shown(&Client::find(reach)?, outing, *json, html.as_deref())
        }
        Outing::Doing { outing, from, to, activity, reach } => {
            let record = Client::find(reach)?;
            let id = id(&record, outing)?;
            let body = json!({ "from_s": from, "to_s": to, "activity": activity });
            record.post(&format!("/api/v1/outings/{id}/doings"), &body)
        }
        Outing::DoingByContacts { outing, activity, reach } => {
            let record = Client::find(reach)?;
            let id = id(&record, outing)?;
            let body = json!({ "activity": activity });
            record.post(&format!("/api/v1/outings/{id}/doings/contacts"), &body)
        }
        Outing::DoingBack { outing, correction, reach } => doing_back(outing, correction, reach),
        Outing::Name { outing, name, reach } => {
            let record = Client::find(reach)?;
            let id = id(&record, outing)?;
            record.post(&format!("/api/v1/outings/{id}/name"), &json!({ "name": name }))
        }
        Outing::GoesOn { outing, charged, reach } => {
            goes_on(&Client::find(reach)?, outing, *charged)
        }
        Outing::Ended { outing, how, reach } => {
            let record = Client::find(reach)?;
            let id = id(&record, outing)?;
            let died = matches!(how, How::Died);
            record.post(&format!("/api/v1/outings/{id}/ending"), &json!({ "died": died }))
        }
        Outing::Contacts { take_back: Some(outing), reach, .. } => {
            let record = Client::find(reach)?;
            let id = id(&record, outing)?;
            record.post(&format!("/api/v1/outings/{id}/contacts/forget"), &json!({}))
        }
        Outing::Contacts { file, json, reach, .. } => {
            let record = Client::find(reach)?;
            let file = file.as_deref().unwrap_or_else(|| Path::new("-"));
            let log = file_of(file, web::LOG_BYTES)?;
            let log = log.ok_or_else(|| words::contact_log::log_too_large(web::LOG_BYTES))?;
            let told = record.hand_over("/api/v1/contacts", log)?;
            print(&if *json { pretty(&told) } else { log_read(&told) });
            Ok(())
        }
    }
}

/// The operator's word counts whether it is asked for or not; where it is, `last` needs no number.
fn goes_on(record: &Client, outing: &str, charged: bool) -> Result<(), Failed> {
    if outing == "last" && record.is_running() {
        let now = record.read("/api/v1/now")?;
        let asked = |one: &Value| text(one, "id") == "since-last";
        if now["questions"].as_array().is_some_and(|all| all.iter().any(asked)) {
            let answer = if charged { "charged" } else { "goes-on" };
            let body = json!({ "question": "since-last", "answer": answer });
            return record.post("/api/v1/answer", &body);
        }
    }
    let id = match outing {
        "last" => {
            let page = record.read("/api/v1/outings?limit=2")?;
            let before = page["outings"][1]["id"].as_i64();
            before.ok_or_else(|| Failed::from("There is no outing before.".to_owned()))?
        }
        typed => id(record, typed)?,
    };
    record.post(&format!("/api/v1/outings/{id}/goes-on"), &json!({ "goes_on": !charged }))
}

fn shown(record: &Client, outing: &str, json: bool, html: Option<&Path>) -> Result<(), Failed> {
    let id = id(record, outing)?;
    if let Some(file) = html {
        return write(file, &record.get(&format!("/outings/{id}.html"))?);
    }
    let told = record.read(&format!("/api/v1/outings/{id}/report"))?;
    print(&if json { pretty(&told) } else { show(&told, record.is_running()) });
    Ok(())
}

fn doing_back(outing: &str, correction: &str, reach: &Reach) -> Result<(), Failed> {
    let body = match correction.parse::<i64>() {
        Ok(id) => json!({ "id": id }),
        Err(_) if correction == "contacts" => json!({ "contacts": true }),
        Err(_) => {
            return Err(Failed::from(format!(
                "'{correction}' is no number of a correction. `outlast outing show` lists \
                 them; `contacts` takes back all that came from the contact log."
            )));
        }
    };
    let record = Client::find(reach)?;
    let id = id(&record, outing)?;
    record.post(&format!("/api/v1/outings/{id}/doings/back"), &body)
}

/// An outing's number; `last` is the newest.
pub(super) fn id(record: &Client, typed: &str) -> Result<i64, Failed> {
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

/// What was read of a log, and where it went.
fn log_read(told: &Value) -> String {
    let count = |of: &Value, key: &str| {
        usize::try_from(of[key].as_u64().unwrap_or(0)).unwrap_or(usize::MAX)
    };
    let mut lines =
        vec![words::contact_log::contacts_read(count(told, "contacts"), count(told, "left_out"))];
    let complaints = told["complaints"].as_array().map_or(&[][..], Vec::as_slice);
    lines.extend(complaints.iter().map(|one| format!("  {}", text(one, "text"))));
    for one in told["outings"].as_array().into_iter().flatten() {
        let name = Some(text(one, "name")).filter(|name| !name.is_empty());
        let contacts = words::contact_log::contacts_in(count(one, "contacts"));
        let id = &one["outing_id"];
        lines.push(format!("{} ({id}): {contacts}", name.unwrap_or("An outing without a name")));
        if let Some(part_s) = one["undated_s"].as_f64() {
            let undated = words::contact_log::undated(Seconds::of(part_s), false);
            lines.push(format!("  {}", plain_spaces(&undated)));
        }
    }
    lines.join("\n") + "\n"
}

fn list(page: &Value, running: bool) -> String {
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
            ending(one, running),
            text(one, "name").to_owned(),
        ]
    }));
    let mut said = table(&rows);
    if let Some(next) = page["next"].as_i64() {
        said.push_str(&format!("More: outlast outing list --before {next}\n"));
    }
    said
}

/// How it ended; one that is open goes on only while an outlast runs that writes it.
fn ending(one: &Value, running: bool) -> String {
    match text(one, "ending") {
        "open" if running => "goes on".to_owned(),
        "open" => "was open when outlast last ran".to_owned(),
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

fn show(told: &Value, running: bool) -> String {
    let name = Some(text(told, "name")).filter(|name| !name.is_empty());
    let bank = Some(text(told, "bank")).filter(|name| !name.is_empty());
    let mut lines = vec![
        format!("{} ({})", name.unwrap_or("An outing without a name"), told["id"]),
        format!("Bank: {}", bank.unwrap_or("not told")),
        format!("Began: {} UTC", moment(&told["began_at"])),
        format!("Lasted: {}", span(&told["lasted_s"])),
        format!("Ending: {}", ending(told, running)),
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
    taken_apart(&mut lines, &told["report"]);
    for event in told["events"].as_array().into_iter().flatten() {
        let at = span(&event["at_s"]);
        let (kind, words) = (text(event, "kind").replace('_', " "), text(event, "text"));
        let told = match (kind.as_str(), words) {
            ("activity", "") => "no activity from now on".to_owned(),
            ("other", words) => words.to_owned(),
            (kind, "") => kind.to_owned(),
            (kind, words) => format!("{kind}: {words}"),
        };
        lines.push(format!("  after {at}: {told}"));
    }
    lines.join("\n") + "\n"
}

fn list_of<'a>(of: &'a Value, key: &str) -> &'a [Value] {
    of[key].as_array().map_or(&[][..], Vec::as_slice)
}

pub(super) fn put_table(
    lines: &mut Vec<String>,
    title: &str,
    head: &[&str],
    rows: Vec<Vec<String>>,
) {
    if rows.is_empty() {
        return;
    }
    let head = head.iter().map(|it| (*it).to_owned()).collect();
    let rows: Vec<Vec<String>> = [head].into_iter().chain(rows).collect();
    lines.push(format!("\n{title}"));
    lines.extend(table(&rows).lines().map(|line| format!("  {line}")));
}

/// The heads of an energy book's columns.
pub(super) const BOOK_HEAD: [&str; 6] = ["", "energy", "time", "mean", "95 %", "peak"];

/// A page of an energy book as a row.
pub(super) fn page(name: String, page: &Value) -> Vec<String> {
    let watts = |key: &str| figure(&page[key], 2, "W");
    vec![
        name,
        figure(&page["energy_wh"], 2, "Wh"),
        span(&page["lasted_s"]),
        watts("mean_power_w"),
        watts("p95_power_w"),
        watts("peak_power_w"),
    ]
}

/// The rows of an energy book by activity, and all of it.
pub(super) fn by_activity(book: &Value) -> Vec<Vec<String>> {
    let read = |it: &&Value| it["lasted_s"].as_f64() > Some(0.0);
    let activities = list_of(book, "activities").iter();
    let mut rows: Vec<Vec<String>> =
        activities.map(|it| page(text(it, "name").to_owned(), it)).collect();
    rows.extend(Some(&book["untold"]).filter(read).map(|it| page("not said".to_owned(), it)));
    rows.extend(Some(&book["whole"]).filter(read).map(|it| page("all".to_owned(), it)));
    rows
}

/// The report proper.
fn taken_apart(lines: &mut Vec<String>, report: &Value) {
    let energy = &report["energy"];
    let read = |it: &&Value| it["lasted_s"].as_f64() > Some(0.0);
    let means = span(&energy["means_of_s"]);
    let title = format!("Where the energy went (95 % of the time below, of means over {means})");
    put_table(lines, &title, &BOOK_HEAD, by_activity(energy));
    let hour = |it: &Value| {
        page(format!("hour {}", it["from_s"].as_u64().unwrap_or_default() / 3600 + 1), it)
    };
    let hours = list_of(energy, "hours").iter().filter(read).map(hour);
    put_table(lines, "Hour by hour", &BOOK_HEAD, hours.collect());
    for (key, what) in [("silent_s", "nothing was read"), ("modelled_s", "the draw is modelled")] {
        if energy[key].as_f64() >= Some(10.0) {
            lines.push(format!("For {} {what}.", span(&energy[key])));
        }
    }
    if report["load"].is_object() {
        let load = &report["load"];
        let (idle, more) = (&load["idle_w"], &load["full_load_more_w"]);
        let (idle, more) = (figure(idle, 2, "W"), figure(more, 2, "W"));
        lines.push(format!("\nIdle it would draw {idle}; all cores busy take {more} more."));
        if load["taken_wh"].is_number() {
            lines.push(format!("Work took {} above idle.", figure(&load["taken_wh"], 2, "Wh")));
        }
    }
    for (key, what, unit) in [("temp", "Temperature", "c"), ("volts", "Supply", "v")] {
        let seen = |which: &str| report[key][format!("{which}_{unit}")].as_f64();
        if let (Some(low), Some(mean), Some(high)) = (seen("min"), seen("mean"), seen("max")) {
            let unit = if unit == "c" { "°C" } else { "V" };
            lines.push(format!("{what}: {low:.2} to {high:.2} {unit}, mean {mean:.2} {unit}"));
        }
    }
    folds_and_contacts(lines, report);
    foretold(lines, report);
    put_right(lines, report);
}

fn folds_and_contacts(lines: &mut Vec<String>, report: &Value) {
    let fold = |it: &Value| {
        let wh = |key: &str| figure(&it[key], 2, "Wh");
        let slot = it["slot_s"].as_f64().map_or_else(|| "-".to_owned(), |s| format!("{s} s"));
        let mode = Some(text(it, "mode")).filter(|mode| !mode.is_empty()).unwrap_or("-");
        vec![
            slot,
            mode.to_owned(),
            span(&it["lasted_s"]),
            wh("receive_wh"),
            wh("transmit_wh"),
            wh("decode_wh"),
        ]
    };
    let head = ["slot", "mode", "time", "receive", "transmit", "decode"];
    let rows = list_of(report, "folds").iter().map(fold).collect();
    put_table(lines, "Timed modes", &head, rows);
    let contacts = &report["contacts"];
    if !contacts.is_object() {
        return;
    }
    lines.push(format!(
        "\nContacts: {}, {} each with all the listening, {} in the minutes of contact, {} an hour",
        contacts["contacts"],
        figure(&contacts["energy_each_wh"], 2, "Wh"),
        figure(&contacts["own_energy_each_wh"], 2, "Wh"),
        figure(&contacts["contacts_per_h"], 1, "").trim_end()
    ));
    let group = |it: &Value| {
        vec![
            format!("{} {}", text(it, "band"), text(it, "mode")).trim().to_owned(),
            it["contacts"].to_string(),
            span(&it["in_contact_s"]),
            figure(&it["in_contact_wh"], 2, "Wh"),
            figure(&it["in_contact_w"], 2, "W"),
        ]
    };
    let rows = list_of(contacts, "groups").iter().map(group).collect();
    put_table(lines, "By band and mode", &["", "contacts", "time", "energy", "mean"], rows);
}

fn foretold(lines: &mut Vec<String>, report: &Value) {
    let all = list_of(report, "forecasts");
    if all.is_empty() {
        return;
    }
    let judged = &report["forecasts_judged"];
    let known = text(&report["truth"], "known");
    lines.push(match known {
        "died" => format!(
            "\nForecasts: {} of {judged} held the true end; half of their middles were within {}",
            report["forecasts_held"],
            span(&report["middle_off_s"])
        ),
        "at_least" => format!(
            "\nForecasts: {}, of which {judged} ended before the outing did; what came is only \
             'at least'",
            all.len()
        ),
        _ => format!("\nForecasts: {}; how good they are shows at the end", all.len()),
    });
    let each = all.len().div_ceil(12).max(1);
    let row = |it: &Value| {
        let three = &it["remaining_s"];
        let came = if it["came_s"].is_number() {
            span(&it["came_s"])
        } else if it["came_at_least_s"].is_number() {
            format!("at least {}", span(&it["came_at_least_s"]))
        } else {
            "-".to_owned()
        };
        vec![
            format!("after {}", span(&it["at_s"])),
            span(&three["p10"]),
            span(&three["p50"]),
            span(&three["p90"]),
            came,
            text(it, "outcome").to_owned(),
        ]
    };
    let rows = all.iter().step_by(each).map(row).collect();
    put_table(lines, "Said and came", &["", "10 %", "50 %", "90 %", "came", ""], rows);
}

fn put_right(lines: &mut Vec<String>, report: &Value) {
    let learned = &report["learned"];
    if learned.is_object() {
        let wh = |key: &str, end: &str| figure(&learned[key][end], 1, "Wh");
        lines.push(format!(
            "\nThe full bank was believed to give {} to {} before, {} to {} with this run-down",
            wh("before_wh", "p10"),
            wh("before_wh", "p90"),
            wh("after_wh", "p10"),
            wh("after_wh", "p90")
        ));
    }
    let correction = |it: &Value| {
        vec![
            it["id"].to_string(),
            format!("{} to {}", span(&it["from_s"]), span(&it["to_s"])),
            Some(text(it, "activity")).filter(|it| !it.is_empty()).unwrap_or("none").to_owned(),
            text(it, "origin").to_owned(),
        ]
    };
    let rows = list_of(report, "corrections").iter().map(correction).collect();
    put_table(lines, "Put right", &["", "when", "activity", "by"], rows);
}
