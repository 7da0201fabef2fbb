//! `outlast outing`: the list, one outing, its name, how it ended, its contacts.

use std::path::Path;

use reckon::{
    adif,
    units::{Seconds, Share},
    words,
};
use serde_json::{Value, json};

use crate::{
    commands::{
        cli::{How, Outing, Reach},
        client::Client,
        failed::Failed,
        files::{file_of, write},
        text::{energy_or_more, moment, pretty, span, table, text},
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
            let body = json!({ "from_s": from, "to_s": to, "activity": activity });
            change(reach, outing, "doings", &body)
        }
        Outing::DoingByContacts { outing, activity, reach } => {
            change(reach, outing, "doings/contacts", &json!({ "activity": activity }))
        }
        Outing::DoingBack { outing, correction, reach } => doing_back(outing, correction, reach),
        Outing::Name { outing, name, reach } => {
            change(reach, outing, "name", &json!({ "name": name }))
        }
        Outing::GoesOn { outing, charged, reach } => {
            goes_on(&Client::find(reach)?, outing, *charged)
        }
        Outing::Ended { outing, how, reach } => {
            let died = matches!(how, How::Died);
            change(reach, outing, "ending", &json!({ "died": died }))
        }
        Outing::Contacts { take_back: Some(outing), reach, .. } => {
            change(reach, outing, "contacts/forget", &json!({}))
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

fn change(reach: &Reach, outing: &str, what: &str, body: &Value) -> Result<(), Failed> {
    let record = Client::find(reach)?;
    let id = id(&record, outing)?;
    record.post(&format!("/api/v1/outings/{id}/{what}"), body)
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
            before.ok_or_else(|| Failed::from(words::terminal::NO_EARLIER_OUTING.to_owned()))?
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
    print(&if json {
        pretty(&record.read(&format!("/api/v1/outings/{id}/report"))?)
    } else {
        record.text(&format!("/outings/{id}.txt"))?
    });
    Ok(())
}

fn doing_back(outing: &str, correction: &str, reach: &Reach) -> Result<(), Failed> {
    let body = match correction.parse::<i64>() {
        Ok(id) => json!({ "id": id }),
        Err(_) if correction == "contacts" => json!({ "contacts": true }),
        Err(_) => {
            return Err(Failed::from(words::terminal::not_a_correction(&correction)));
        }
    };
    change(reach, outing, "doings/back", &body)
}

/// An outing's number; `last` is the newest.
pub(super) fn id(record: &Client, typed: &str) -> Result<i64, Failed> {
    if typed == "last" {
        let page = record.read("/api/v1/outings?limit=1")?;
        let newest = page["outings"][0]["id"].as_i64();
        return newest.ok_or_else(|| Failed::from(words::terminal::NO_OUTING.to_owned()));
    }
    typed.parse().map_err(|_| Failed::from(words::terminal::not_an_outing(&typed)))
}

/// What was read of a log, and where it went.
fn log_read(told: &Value) -> String {
    let count = |of: &Value, key: &str| {
        usize::try_from(of[key].as_u64().unwrap_or(0)).unwrap_or(usize::MAX)
    };
    let read = count(told, "contacts");
    let said = words::contact_log::contacts_read(read, count(told, "left_out"));
    let mut lines =
        vec![if read > adif::MOST_KEPT { words::contact_log::too_many(&said) } else { said }];
    lines.extend(words::contact_log::met_again(count(told, "again")));
    let (in_no_outing, new) = (count(told, "in_no_outing"), count(told, "new"));
    lines.push(words::contact_log::placed(read.min(adif::MOST_KEPT), in_no_outing, new));
    let complaints = told["complaints"].as_array().map_or(&[][..], Vec::as_slice);
    lines.extend(complaints.iter().map(|one| format!("  {}", text(one, "text"))));
    for one in told["outings"].as_array().into_iter().flatten() {
        let name = Some(text(one, "name")).filter(|name| !name.is_empty());
        let contacts = words::contact_log::contacts_in(count(one, "contacts"));
        let id = &one["outing_id"];
        lines.push(format!(
            "{} ({id}): {contacts}",
            name.unwrap_or(words::terminal::UNNAMED_OUTING)
        ));
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
        return words::terminal::NO_OUTINGS.to_owned();
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
            energy_or_more(&one["energy_wh"], &one["energy_is_at_least"]),
            text(one, "bank").to_owned(),
            ending(one, running),
            text(one, "name").to_owned(),
        ]
    }));
    let mut said = table(&rows);
    if let Some(next) = page["next"].as_i64() {
        said.push_str(&words::terminal::more_outings(&next));
    }
    said
}

/// How it ended; one that is open goes on only while an outlast runs that writes it.
fn ending(one: &Value, running: bool) -> String {
    match text(one, "ending") {
        "open" if running => "goes on".to_owned(),
        "open" => words::terminal::OPEN_AT_LAST_RUN.to_owned(),
        "switched_off" => "switched off".to_owned(),
        "died" => words::terminal::RAN_EMPTY.to_owned(),
        "swapped" => "bank changed".to_owned(),
        "power_lost" => match one["died_chance"].as_f64() {
            Some(chance) if chance > 0.0 => {
                words::terminal::lost_power(&plain_spaces(&words::percent(Share::nearest(chance))))
            }
            _ => "unplugged".to_owned(),
        },
        other => other.to_owned(),
    }
}
