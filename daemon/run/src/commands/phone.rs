//! `outlast phone`: the paired phones, and how a pairing is ended.

use reckon::words;
use serde_json::{Value, json};

use crate::{
    commands::{
        cli::{Phone, Reach},
        client::Client,
        failed::Failed,
        text::{moment, pretty, table, text},
    },
    host::banner::print,
    record::changes::NEEDS_RUNNING,
};

/// Does what was typed.
pub(crate) fn run(command: &Phone) -> Result<(), Failed> {
    match command {
        Phone::List { look } => {
            let told = running(look.socket.clone())?.read("/api/v1/phones")?;
            print(&if look.json { pretty(&told) } else { list(&told) });
            Ok(())
        }
        Phone::End { phone, socket, .. } => {
            let outlast = running(socket.clone())?;
            let which = phone.map_or_else(String::new, |number| format!("/{number}"));
            outlast.post(&format!("/api/v1/phones{which}/end"), &json!({}))
        }
    }
}

/// The list is in the hands of the running outlast.
fn running(socket: Option<std::path::PathBuf>) -> Result<Client, Failed> {
    let client = Client::find(&Reach { socket, state: None })?;
    if client.is_running() { Ok(client) } else { Err(Failed::from(format!("{NEEDS_RUNNING}."))) }
}

fn list(told: &Value) -> String {
    let row = |phone: &Value| {
        let number = phone["id"].to_string();
        let paired = words::terminal::phone_paired(&moment(&phone["paired_at"]));
        let used = words::terminal::phone_used(&moment(&phone["renewed_at"]));
        vec![
            number,
            text(phone, "name").to_owned(),
            paired,
            used,
            text(phone, "seen_from").to_owned(),
        ]
    };
    let rows: Vec<Vec<String>> = told["phones"].as_array().into_iter().flatten().map(row).collect();
    let shown = if rows.is_empty() { words::terminal::NO_PHONES.to_owned() } else { table(&rows) };
    match told["not_kept"].as_str() {
        Some(why) => format!("{shown}{why}\n"),
        None => shown,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn phones_stand_in_a_table_and_trouble_under_it() {
        let phone = |number: u32, name: Option<&str>, from: Option<&str>| {
            json!({ "id": number, "name": name, "paired_at": "2026-05-16T07:30:00Z",
                    "renewed_at": null, "seen_up_s": null, "seen_from": from, "this_phone": false })
        };
        let phones = [phone(12, Some("Blue cover"), Some("192.0.2.7")), phone(3, None, None)];
        assert_eq!(
            list(&json!({ "phones": phones, "not_kept": "The card is full." })),
            "12  Blue cover  paired 2026-05-16 07:30  used time unknown  192.0.2.7\n\
             3               paired 2026-05-16 07:30  used time unknown\nThe card is full.\n"
        );
        assert_eq!(list(&json!({ "phones": [], "not_kept": null })), "No phone is paired.\n");
    }
}
