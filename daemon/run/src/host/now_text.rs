//! One instant as sentences for a terminal: alarms first, then the answer, then what it rests on.

use std::time::Duration;

use reckon::{forecast::Outlook, snapshot::Snapshot, units::Seconds, words};

/// The whole glance; ends with a line break.
pub(crate) fn text(snapshot: &Snapshot) -> String {
    let mut lines = Vec::new();
    if snapshot.demo.is_some() {
        lines.push(words::terminal::DEMONSTRATION.to_owned());
    }
    lines.extend(alarms(snapshot));
    let answer = words::answer(snapshot);
    lines.push(format!("{} {}", answer.big, answer.after).trim_end().to_owned());
    lines.extend(answer.lines);
    lines.extend(questions(snapshot));
    if matches!(snapshot.outlook, Outlook::NoBank) {
        lines.push(words::terminal::CHOOSE_BANK.to_owned());
    }
    lines.extend(words::verdict(snapshot));
    lines.extend([
        words::draw(snapshot),
        words::supply(snapshot),
        words::bank(snapshot),
        words::board(snapshot),
        words::clock(snapshot.at),
        words::log(snapshot),
    ]);
    lines.retain(|line| !line.is_empty());
    plain_spaces(&lines.join("\n")) + "\n"
}

fn alarms(snapshot: &Snapshot) -> impl Iterator<Item = String> {
    snapshot.alarms.iter().filter(|alarm| alarm.asleep_until.is_none()).map(|alarm| {
        let said = words::alarm(alarm, snapshot);
        format!("! {} {} {}", said.text, said.meaning, said.advice)
    })
}

/// What is asked, and the command that answers.
fn questions(snapshot: &Snapshot) -> impl Iterator<Item = String> {
    snapshot.questions.iter().filter(|view| view.is_open()).map(|view| {
        let asked = words::asked(view, snapshot);
        let name = view.question.name();
        words::terminal::question(&asked.text, &asked.why, &name)
    })
}

/// A known span, for the journal.
pub(crate) fn span(span: Duration) -> String {
    plain_spaces(&words::span(Seconds::of(span.as_secs_f64())))
}

/// The words tie numbers to their units with spaces that a page must not break; a terminal's
/// reader wants to search and copy.
pub(crate) fn plain_spaces(text: &str) -> String {
    text.replace(['\u{a0}', '\u{202f}'], " ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spaces_can_be_typed() {
        assert_eq!(plain_spaces("6\u{a0}h\u{202f}40"), "6 h 40");
        assert_eq!(span(Duration::from_secs(240)), "4 min");
    }
}
