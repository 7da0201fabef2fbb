//! Sentences stand in `reckon::words`: long literals elsewhere are held down, file by file.

use std::{fs, path::Path};

use crate::support::tree;

/// A literal of so many words is a sentence, or part of one.
const LONG: usize = 4;

/// How many long literals a file outside the words may have, and why. The list may shrink.
const MAY_HAVE: &[(&str, usize, &str)] = &[
    ("daemon/history/src/tables/banks.rs", 1, "columns of SQL"),
    ("daemon/history/src/tables/outings.rs", 1, "columns and tables of SQL"),
    ("daemon/probe/src/kernel.rs", 3, "causes of an error, in brackets behind a sentence"),
    ("daemon/probe/src/trees.rs", 2, "boards made for the tests"),
    (
        "daemon/run/src/commands/cli.rs",
        2,
        "help of the command line, from which the man pages come",
    ),
    ("daemon/run/src/commands/replay/mod.rs", 2, "output that is held byte for byte"),
    ("daemon/run/src/event_loop/demo.rs", 6, "names of the demonstration's made-up things"),
    ("daemon/run/src/host/clock.rs", 1, "why a call that nobody makes fails"),
    ("daemon/run/src/host/log.rs", 1, "why a second call fails, for a contributor"),
    ("daemon/run/src/host/phones_file.rs", 1, "head of a file"),
    ("daemon/run/src/record/choices_file.rs", 1, "head of a file"),
    ("web/src/asks/plan.rs", 1, "a fault's place in the journal, for a contributor"),
    ("web/src/http/assets.rs", 2, "content security policies"),
    ("web/src/http/site.rs", 1, "a fault's place in the journal, for a contributor"),
    ("web/src/http/finish.rs", 1, "a fault's place in the journal, for a contributor"),
    ("web/src/pages/contacts.rs", 1, "a fault's place in the journal, for a contributor"),
    ("web/src/pages/frame.rs", 1, "a fault's place in the journal, for a contributor"),
];

/// The string literals of a source file outside its tests, continued lines joined.
fn literals(source: &str) -> Vec<String> {
    let (mut found, mut rest) = (Vec::new(), without_tests(source));
    while let Some(at) = rest.find(['"', '/', '\'']) {
        let (before, here) = rest.split_at(at);
        let raw = before.ends_with(['r', '#']) && here.starts_with('"');
        if here.starts_with("//") {
            rest = here.split_once('\n').map_or("", |(_, next)| next).to_owned();
        } else if raw {
            let hashes = "#".repeat(before.len() - before.trim_end_matches('#').len());
            let (text, next) = here[1..].split_once(&format!("\"{hashes}")).expect("it ends");
            found.push(text.to_owned());
            rest = next.to_owned();
        } else if here.starts_with('"') {
            let mut letters = here.char_indices().skip(1);
            let mut end = here.len();
            while let Some((ix, letter)) = letters.next() {
                match letter {
                    '\\' => drop(letters.next()),
                    '"' => {
                        end = ix;
                        break;
                    }
                    _ => {}
                }
            }
            if !before.trim_end().ends_with("reason =") {
                found.push(joined(&here[1..end]));
            }
            rest = here.get(end + 1..).unwrap_or_default().to_owned();
        } else {
            // A quote or a slash: a character such as '"' is stepped over whole.
            let step = ["'\"'", "'\\''", "'\\\"'", "'/'"].iter().find(|it| here.starts_with(**it));
            rest = here[step.map_or(1, |it| it.len())..].to_owned();
        }
    }
    found
}

fn without_tests(source: &str) -> String {
    let mut kept = String::new();
    let mut rest = source;
    while let Some((before, tests)) = rest.split_once("\n#[cfg(test)]\nmod tests {") {
        kept.push_str(before);
        rest = tests.split_once("\n}").map_or("", |(_, after)| after);
    }
    kept + rest
}

/// A literal continued by a backslash, on one line.
fn joined(text: &str) -> String {
    let mut parts = text.split("\\\n");
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |all, part| all + part.trim_start())
}

/// Whether a person would read it as a sentence: words between spaces, no SQL and no markup.
fn is_sentence(text: &str) -> bool {
    const SQL: [&str; 12] = [
        "SELECT", "INSERT", "UPDATE", "DELETE", "PRAGMA", "CREATE", "BEGIN", "WITH", "FROM",
        "WHERE", "JOIN", "DROP",
    ];
    let begins = |word: &&str| {
        let rest = text.trim_start().strip_prefix(*word);
        rest.is_some_and(|rest| !rest.starts_with(|it: char| it.is_ascii_alphanumeric()))
    };
    let sql = SQL.iter().any(begins);
    let markup = text.contains('<') && text.contains('=');
    let is_word = |word: &&str| {
        let bare = word.trim_matches(|it: char| "\"'(`.,:;!?)".contains(it));
        !bare.is_empty() && bare.chars().all(|it| it.is_ascii_alphabetic() || "'-".contains(it))
    };
    !sql && !markup && text.split([' ', '\n']).filter(is_word).count() >= LONG
}

fn sources(folder: &Path, found: &mut Vec<String>) {
    for entry in fs::read_dir(folder).expect("a folder of the tree") {
        let path = entry.expect("an entry").path();
        let name = path.to_str().expect("UTF-8").to_owned();
        if path.is_dir() && !["/tests", "/words"].iter().any(|own| name.ends_with(own)) {
            sources(&path, found);
        } else if name.ends_with(".rs")
            && !name.ends_with("tests.rs")
            && !name.ends_with("/fake.rs")
        {
            found.push(name);
        }
    }
}

#[test]
fn sentences_stand_in_the_words() {
    let tree = tree();
    let mut files = Vec::new();
    for part in ["alert", "history", "probe", "reckon", "run"] {
        sources(&tree.join("daemon").join(part).join("src"), &mut files);
    }
    sources(&tree.join("web/src"), &mut files);
    assert!(files.len() > 100, "{} files", files.len());
    let mut wrong = Vec::new();
    for file in &files {
        let source = fs::read_to_string(file).expect("a source file");
        let long: Vec<String> =
            literals(&source).into_iter().filter(|it| is_sentence(it)).collect();
        let name = file.strip_prefix(tree.to_str().expect("UTF-8")).expect("in the tree");
        let name = name.trim_start_matches('/');
        let may = MAY_HAVE.iter().find(|(it, ..)| *it == name).map_or(0, |(_, may, _)| *may);
        if long.len() > may {
            wrong.push(format!("{name}: {} long literals, {may} allowed: {long:#?}", long.len()));
        }
    }
    for (name, ..) in MAY_HAVE {
        assert!(
            files.iter().any(|file| file.ends_with(name)),
            "{name} is gone: strike it out here"
        );
    }
    assert!(wrong.is_empty(), "move them to reckon::words, or shrink the list: {wrong:#?}");
}

/// The words of a template that stand between its tags, or in what a tag shows or tells.
fn own_words(template: &str) -> Vec<String> {
    let mut text = template.to_owned();
    for (open, close, instead) in [("{%", "%}", " "), ("{{", "}}", " "), ("&", ";", "")] {
        while let Some(at) = text.find(open) {
            let end = text[at..].find(close).map_or(text.len(), |end| at + end + close.len());
            text.replace_range(at..end, instead);
        }
    }
    let mut shown = String::new();
    for part in text.split('<') {
        let (tag, behind) = part.split_once('>').unwrap_or(("", part));
        for label in ["aria-label=", "placeholder=", "title=", "alt="] {
            let told = tag.split(label).nth(1).unwrap_or_default();
            let ends = if told.starts_with('"') { '"' } else { ' ' };
            shown.push_str(told.trim_start_matches('"').split(ends).next().unwrap_or_default());
            shown.push(' ');
        }
        shown.push_str(behind);
    }
    // What holds a digit is an example or an address.
    let is_word = |word: &&str| {
        let letters = word.chars().filter(char::is_ascii_alphabetic).count();
        letters > 1 && !word.contains(|it: char| it.is_ascii_digit())
    };
    shown.split_whitespace().filter(is_word).map(str::to_owned).collect()
}

#[test]
fn templates_leave_the_words_to_the_language() {
    let mut templates = 0;
    for entry in fs::read_dir(tree().join("web/pages")).expect("the templates") {
        let entry = entry.expect("an entry");
        let name = entry.file_name().into_string().expect("UTF-8");
        let own = own_words(&fs::read_to_string(entry.path()).expect("a template"));
        assert_eq!(own, Vec::<String>::new(), "{name}: these belong to the page's language");
        templates += 1;
    }
    assert!(templates > 30, "{templates} templates");
    let words =
        own_words("<p class=a>{{ told }} Two words{% if a %}.{% endif %}<i alt=\"A third\">");
    assert_eq!(words, ["Two", "words", "third"]);
}

#[test]
fn a_sentence_is_told_from_other_literals() {
    let source = "fn a() {\n    // \"This is a comment only.\"\n    b('\"', \"Nothing was \\\n        \
                  changed here.\", \"SELECT one FROM two WHERE three\", r#\"a raw \"text\" of five \
                  words\"#);\n}\n\n#[cfg(test)]\nmod tests {\n    \"Nothing of this is shipped.\"\n}\n";
    let long: Vec<String> = literals(source).into_iter().filter(|it| is_sentence(it)).collect();
    assert_eq!(long, ["Nothing was changed here.", "a raw \"text\" of five words"]);
}
