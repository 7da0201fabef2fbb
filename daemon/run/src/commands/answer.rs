//! `outlast answer`: what only the operator knows, asked and answered in the terminal.

use serde_json::{Value, json};

use reckon::words;

use crate::commands::text::{pretty, table, text};
use crate::{
    commands::{
        cli::{Answer, Reach},
        client::Client,
        failed::Failed,
    },
    host::{banner::print, now_text::plain_spaces},
    record::changes::NEEDS_RUNNING,
};

/// Does what was typed.
pub(crate) fn run(typed: &Answer) -> Result<(), Failed> {
    let reach = Reach { socket: typed.look.socket.clone(), state: None };
    let record = Client::find(&reach)?;
    if !record.is_running() {
        return Err(Failed::from(format!("{NEEDS_RUNNING}.")));
    }
    if let Some(question) = typed.question.as_ref().filter(|_| typed.back || typed.answer.is_some())
    {
        let body = json!({ "question": question, "answer": typed.answer });
        return record.post("/api/v1/answer", &body);
    }
    let now = record.read("/api/v1/now")?;
    let all = now["questions"].as_array().cloned().unwrap_or_default();
    let wanted = |one: &&Value| typed.question.as_ref().is_none_or(|it| text(one, "id") == it);
    let some: Vec<Value> = all.iter().filter(wanted).cloned().collect();
    if typed.look.json {
        print(&pretty(&Value::from(some)));
    } else {
        print(&list(&some));
    }
    Ok(())
}

/// Open questions first, each with its answers.
fn list(questions: &[Value]) -> String {
    if questions.is_empty() {
        return words::terminal::NOTHING_ASKED.to_owned();
    }
    let (open, settled): (Vec<&Value>, Vec<&Value>) =
        questions.iter().partition(|one| text(one, "standing") == "open");
    open.into_iter().chain(settled).map(one).collect::<Vec<String>>().join("\n")
}

fn one(question: &Value) -> String {
    let holds = question["holds"].as_str().map(|holds| format!("{holds}\n")).unwrap_or_default();
    let answers: Vec<Vec<String>> = question["answers"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|one| vec![format!("  {}", text(one, "answer")), text(one, "label").to_owned()])
        .collect();
    let (id, asks, why) = (text(question, "id"), text(question, "text"), text(question, "why"));
    plain_spaces(&format!("{id}: {asks} {why}\n{holds}{}", table(&answers)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_open_comes_first_with_what_can_be_answered() {
        let question = |id: &str, standing: &str, holds: Option<&str>| {
            json!({ "id": id, "text": "Another bank?", "why": "The supply was away.",
                    "answers": [{ "answer": "same", "label": "Still Blue ten" }],
                    "standing": standing, "holds": holds })
        };
        let some = [
            question("how-full", "inferred", Some("It began full.")),
            question("swapped", "open", None),
        ];
        assert_eq!(
            list(&some),
            "swapped: Another bank? The supply was away.\n  same  Still Blue ten\n\n\
             how-full: Another bank? The supply was away.\nIt began full.\n  same  Still Blue ten\n"
        );
        assert_eq!(list(&[]), "There is no open question.\n");
    }
}
