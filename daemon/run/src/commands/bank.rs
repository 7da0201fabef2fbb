//! `outlast bank`: what banks there are, what each was seen to deliver, and what changes that.

use clap::ValueEnum;
use serde_json::{Value, json};

use reckon::{
    units::{Celsius, Share},
    words,
};

use crate::{
    commands::{
        cli::{Bank, Label},
        client::Client,
        failed::Failed,
        files::file_of,
        replay::{self, Told},
        text::{energy, energy_or_more, figure, moment, pretty, span, table, text},
    },
    host::banner::print,
    recording::import::{self, Said, Shortened},
};

/// A longer list is refused by the other side as well.
const MOST_BYTES: usize = 2 * 1024 * 1024;
/// As text of JSON, in which each line's end is two bytes, beside a name.
const MOST_TEXT_BYTES: usize = MOST_BYTES - 128 * 1024;
/// A week of seconds in an export's columns is larger; a recording is shortened before it is sent.
const MOST_FILE_BYTES: usize = 64 * 1024 * 1024;

/// What a test takes for given, and how to take it back.
fn assumed(bank: &str) -> String {
    words::terminal::connected_now(&bank)
}

/// Does what was typed.
pub(crate) fn run(command: &Bank) -> Result<(), Failed> {
    match command {
        Bank::List { json, reach } => {
            let banks = Client::find(reach)?.read("/api/v1/banks")?;
            print(&if *json { pretty(&banks) } else { list(&banks) });
            Ok(())
        }
        Bank::Show { bank, json, reach } => {
            let record = Client::find(reach)?;
            let told = told(&record, bank)?;
            if *json {
                print(&pretty(&told));
                return Ok(());
            }
            let book = record.text(&format!("/banks/{}/book.txt", told["id"]))?;
            print(&(show(&told) + &book));
            Ok(())
        }
        Bank::Add { name, label, reach } => {
            Client::find(reach)?.post("/api/v1/banks", &json!({ "spec": spec(name, label) }))
        }
        Bank::Rename { bank, name, reach } => {
            change(&Client::find(reach)?, bank, "name", &json!({ "name": name }))
        }
        Bank::Forget { bank, undo, reach } => {
            change(&Client::find(reach)?, bank, "forget", &json!({ "forgotten": !undo }))
        }
        Bank::Rundown { bank, load, stop, reach } => {
            let record = Client::find(reach)?;
            match bank {
                Some(bank) if !stop => {
                    let load = load.to_possible_value().map(|value| value.get_name().to_owned());
                    change(&record, bank, "test", &json!({ "load": load }))?;
                    print(&format!("{BEGUN}{}", assumed(bank)));
                    Ok(())
                }
                _ => record.post("/api/v1/test/stop", &json!({})),
            }
        }
        Bank::Strike { rundown, undo, reach } => {
            let path = format!("/api/v1/rundowns/{rundown}/strike");
            Client::find(reach)?.post(&path, &json!({ "struck": !undo }))
        }
        Bank::Import { bank, file, name, reach } => {
            let file = replay::told(file).map_err(Failed::wrong_use)?;
            let sent = to_import(&file, name.as_deref())?;
            let bank = bank.clone().or(sent.bank);
            let bank = bank.ok_or_else(|| words::terminal::bank_not_said(&file.path.display()))?;
            let record = Client::find(reach)?;
            let body = json!({ "name": sent.name, "text": sent.text });
            change(&record, &bank, "import", &body)?;
            print(&show(&told(&record, &bank)?));
            Ok(())
        }
    }
}

const BEGUN: &str = words::terminal::TEST_BEGUN;

fn change(record: &Client, bank: &str, what: &str, body: &Value) -> Result<(), Failed> {
    let id = &told(record, bank)?["id"];
    record.post(&format!("/api/v1/banks/{id}/{what}"), body)
}

/// The bank of this name or number.
fn told(record: &Client, typed: &str) -> Result<Value, Failed> {
    let banks = record.read("/api/v1/banks")?;
    let all = banks["banks"].as_array().map_or(&[][..], Vec::as_slice);
    let by_name = all.iter().find(|bank| name(bank) == typed);
    let number: Option<i64> = typed.parse().ok();
    let by_number = || all.iter().find(|bank| number.is_some() && bank["id"].as_i64() == number);
    by_name
        .or_else(by_number)
        .cloned()
        .ok_or_else(|| Failed::from(words::terminal::no_such_bank(&typed)))
}

fn name(bank: &Value) -> &str {
    text(bank, "name")
}

/// As it was typed; what was left out is filled in where it is read.
fn spec(name: &str, label: &Label) -> Value {
    json!({
        "name": name,
        "cells": label.cells,
        "series": label.series,
        "label_mah": label.label_mah,
        "label_v": label.label_v,
        "measured_at": label.measured_at,
        "ambient_c": label.ambient_c,
        "cutoff_v": label.cutoff_v,
    })
}

/// A file as it is sent: a list of time stamps as it is, a recording in what is looked at of it.
fn to_import(file: &Told, name: Option<&str>) -> Result<Shortened, Failed> {
    let path = file.path.display();
    let bytes = file_of(&file.path, MOST_FILE_BYTES)?.ok_or_else(|| {
        words::terminal::recording_too_large(&path, &(MOST_FILE_BYTES / 1024 / 1024))
    })?;
    let stem = file.path.file_stem().map(|stem| stem.to_string_lossy().into_owned());
    let stem = stem.filter(|stem| stem != "-");
    let given = name.map(str::to_owned);
    if !import::is_recording(&bytes) {
        if file.ended.is_some() || file.from.is_some() || file.ambient.is_some() {
            return Err(Failed::wrong_use(words::terminal::WORDS_AFTER_LIST.to_owned()));
        }
        if bytes.len() > MOST_BYTES {
            return Err(words::terminal::list_too_large(&path).into());
        }
        let text = String::from_utf8_lossy(&bytes).into_owned();
        return Ok(Shortened { text, bank: None, name: given.or(stem) });
    }
    let said = Said {
        died: file.ended,
        start_share: file.from.map(|start| start.middle().map(Share::part)),
        ambient_c: file.ambient.map(Celsius::si),
    };
    let sent = import::shortened(&bytes, &said, MOST_TEXT_BYTES);
    let sent = sent.map_err(|say| format!("{path}: {say}"))?;
    Ok(Shortened { name: given.or(sent.name).or(stem), ..sent })
}

fn list(banks: &Value) -> String {
    let all = banks["banks"].as_array().map_or(&[][..], Vec::as_slice);
    if all.is_empty() {
        return words::terminal::NO_BANK.to_owned();
    }
    let mut rows =
        vec![["", "name", "label", words::terminal::HOLDS_COLUMN, ""].map(str::to_owned).to_vec()];
    rows.extend(all.iter().map(|bank| {
        vec![
            bank["id"].to_string(),
            name(bank).to_owned(),
            format!(
                "{} at {}",
                figure(&bank["label_mah"], 0, "mAh"),
                figure(&bank["label_v"], 1, "V")
            ),
            believed(bank),
            if bank["forgotten"] == true { "forgotten".to_owned() } else { String::new() },
        ]
    }));
    table(&rows)
}

fn believed(bank: &Value) -> String {
    let of = &bank["usable_wh"];
    if of["p50"].is_null() {
        return "-".to_owned();
    }
    format!("{} (between {} and {})", energy(&of["p50"]), energy(&of["p10"]), energy(&of["p90"]))
}

fn show(bank: &Value) -> String {
    let mut lines = vec![
        format!("{} ({})", name(bank), bank["id"]),
        words::terminal::label(
            &(figure(&bank["label_mah"], 0, "mAh")),
            &(figure(&bank["label_v"], 1, "V")),
            &(text(bank, "cells")),
            &bank["series"],
        ),
        words::terminal::holds(&believed(bank)),
    ];
    let runs = bank["rundowns"].as_array().map_or(&[][..], Vec::as_slice);
    if runs.is_empty() {
        lines.push(words::terminal::NO_RUNDOWN.to_owned());
    } else {
        lines.push("Run-downs:".to_owned());
    }
    let rows: Vec<Vec<String>> = runs.iter().map(rundown).collect();
    lines.join("\n") + "\n" + &table(&rows)
}

fn rundown(one: &Value) -> Vec<String> {
    let whole = if one["whole"] == true { "whole" } else { "cut short" };
    let imported = one["outing_id"].is_null();
    let when = if imported { text(one, "name").to_owned() } else { moment(&one["began_at"]) };
    vec![
        format!("  {}", one["id"]),
        when,
        whole.to_owned(),
        format!("{}{}", span(&one["lasted_s"]), bound(one)),
        energy_or_more(&one["delivered_wh"], &one["delivered_is_at_least"]),
        if one["measured"] == true { "measured" } else { "modelled" }.to_owned(),
        if one["struck"] == true { "struck out".to_owned() } else { String::new() },
    ]
}

fn bound(one: &Value) -> String {
    match (one["shorter_s"].as_f64(), one["longer_s"].as_f64()) {
        (Some(shorter), Some(longer)) if shorter > 0.0 && (shorter - longer).abs() < 1.0 => {
            format!(" ± {}", span(&one["longer_s"]))
        }
        _ => String::new(),
    }
}
