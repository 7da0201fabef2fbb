//! The body of a webhook: our own JSON, or the owner's text with words in braces filled in.
//!
//! `{text}` and its kin are replaced; any other brace stays as it is, so a JSON body can be
//! written as JSON: `{"content": "{text} {advice}"}`. Texts are escaped for a JSON string (without
//! the quotes), numbers are written as they are and `null` where there is none.

use reckon::words;

use crate::payload::Notification;

/// Words that may stand in braces, with what they become.
pub const WORDS: [(&str, &str); 17] = [
    ("id", words::warning::FIELD_ID),
    ("event", words::warning::FIELD_EVENT),
    ("about", words::warning::FIELD_ABOUT),
    ("urgent", "true or false"),
    ("station", words::warning::FIELD_STATION),
    ("outing", words::warning::FIELD_OUTING),
    ("bank", words::warning::FIELD_BANK),
    ("text", words::warning::FIELD_TEXT),
    ("meaning", words::warning::FIELD_MEANING),
    ("advice", words::warning::FIELD_ADVICE),
    ("at", words::warning::FIELD_AT),
    ("uptime_s", words::warning::FIELD_UPTIME),
    ("remaining_p10_s", words::warning::FIELD_CAUTIOUS),
    ("remaining_p50_s", words::warning::FIELD_MIDDLE),
    ("remaining_p90_s", words::warning::FIELD_HOPEFUL),
    ("chance_of_finish", "0 to 1"),
    ("switch_off_in_s", words::warning::FIELD_SWITCH_OFF),
];

/// A checked body.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Template {
    text: Option<String>,
    json: bool,
}

impl Template {
    /// Our own JSON.
    #[must_use]
    pub const fn own() -> Self {
        Self { text: None, json: true }
    }

    /// The owner's body; `json` says that it has to be JSON once it is filled in.
    ///
    /// # Errors
    /// A sentence that names the word in braces that is not known, or says that no JSON comes out.
    pub fn parse(text: &str, json: bool) -> Result<Self, String> {
        for word in braced(text) {
            if !WORDS.iter().any(|(known, _)| *known == word) {
                let known: Vec<&str> = WORDS.iter().map(|(known, _)| *known).collect();
                return Err(words::warning::unknown_word(&word, &(known.join(", "))));
            }
        }
        let template = Self { text: Some(text.to_owned()), json };
        if json {
            let sample = Notification::test("Heron \"field\"", "Just a test.", None, 0.0);
            serde_json::from_str::<serde::de::IgnoredAny>(&template.fill(&sample))
                .map_err(|why| words::warning::not_json(&why))?;
        }
        Ok(template)
    }

    /// What the body is, for its header.
    #[must_use]
    pub const fn content_type(&self) -> &'static str {
        if self.json { "application/json" } else { "text/plain; charset=utf-8" }
    }

    /// The body for this notification.
    #[must_use]
    pub fn fill(&self, notification: &Notification) -> String {
        let Some(text) = &self.text else { return notification.json() };
        let mut filled = String::with_capacity(text.len() + 200);
        let mut rest = text.as_str();
        while let Some(open) = rest.find('{') {
            filled.push_str(&rest[..open]);
            rest = &rest[open..];
            if let Some(word) = word_at(rest) {
                filled.push_str(&self.value(notification, word));
                rest = &rest[word.len() + 2..];
            } else {
                filled.push('{');
                rest = &rest[1..];
            }
        }
        filled.push_str(rest);
        filled
    }

    fn value(&self, notification: &Notification, word: &str) -> String {
        match notification.value(word) {
            serde_json::Value::String(text) if self.json => {
                let quoted = serde_json::Value::String(text).to_string();
                quoted.get(1..quoted.len() - 1).unwrap_or_default().to_owned()
            }
            serde_json::Value::String(text) => text,
            serde_json::Value::Null if is_text(word) => String::new(),
            other => other.to_string(),
        }
    }
}

/// Words that are texts, so that a missing one is an empty text and not `null`.
fn is_text(word: &str) -> bool {
    !(word.ends_with("_s") || word == "chance_of_finish" || word == "urgent")
}

/// The word in braces at the very start, if there is one.
fn word_at(text: &str) -> Option<&str> {
    let (word, _) = text.strip_prefix('{')?.split_once('}')?;
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
    (!word.is_empty() && word.chars().all(plain)).then_some(word)
}

fn braced(text: &str) -> impl Iterator<Item = &str> {
    text.match_indices('{').filter_map(|(at, _)| word_at(&text[at..]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_filled_in_and_json_stays_json() {
        let notification = Notification::test("He said \"hi\"\nÖ", "It's {text}.", None, 12.0);
        let body = r#"{"content": "{station}: {text}", "n": {uptime_s}, "left": {remaining_p10_s}, "out": "{outing}", "x": {}}"#;
        let filled = Template::parse(body, true).unwrap().fill(&notification);
        let read: serde_json::Value = serde_json::from_str(&filled).unwrap();
        assert_eq!(read["content"], "He said \"hi\"\nÖ: It's {text}.");
        assert_eq!(read["n"], 12.0);
        assert_eq!(read["left"], serde_json::Value::Null);
        assert_eq!(read["out"], "");
        let plain =
            Template::parse("{station}|{advice}|{ not }|{", false).unwrap().fill(&notification);
        assert!(
            plain.starts_with("He said \"hi\"\nÖ|") && plain.ends_with("|{ not }|{"),
            "{plain}"
        );
        for (word, _) in WORDS {
            Template::parse(&format!("{{{word}}}"), false).unwrap_or_else(|why| panic!("{why}"));
        }
    }

    #[test]
    fn a_mistake_is_said_before_anything_is_sent() {
        let wrong = Template::parse("{\"a\": \"{txet}\"}", true).unwrap_err();
        assert!(wrong.contains("txet") && wrong.contains("text"), "{wrong}");
        assert!(Template::parse("{\"a\": {text}}", true).unwrap_err().contains("not JSON"));
    }
}
