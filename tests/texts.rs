//! What README and docs/ promise can be followed: links lead somewhere, commands are understood.

use std::{fs, path::PathBuf, process::Command};

use crate::support::{BINARY, tree};

/// README and what stands in docs/, each with its path.
fn texts() -> Vec<(PathBuf, String)> {
    let docs = fs::read_dir(tree().join("docs")).expect("docs/ is there");
    let mut paths: Vec<_> = docs.map(|entry| entry.expect("an entry").path()).collect();
    paths.retain(|path| path.extension().is_some_and(|it| it == "md"));
    for other in ["README.md", "DEVELOPERS.md", "CHANGELOG.md", "daemon/reckon/README.md"] {
        paths.push(tree().join(other));
    }
    let read = |path: PathBuf| {
        let text = fs::read_to_string(&path).unwrap_or_else(|why| panic!("{path:?}: {why}"));
        (path, text)
    };
    paths.into_iter().map(read).collect()
}

/// The anchor of a heading, as code hosts make it: small letters, hyphens for spaces, no points.
fn anchor(heading: &str) -> String {
    let kept = heading.trim().chars().filter(|c| c.is_alphanumeric() || " -_".contains(*c));
    kept.collect::<String>().to_lowercase().replace(' ', "-")
}

#[test]
fn every_link_leads_somewhere() {
    let mut links = 0;
    for (path, text) in texts() {
        for (_, after) in text.match_indices("](").map(|(at, it)| text.split_at(at + it.len())) {
            let target = after.split(')').next().unwrap_or("");
            if target.starts_with("http") {
                continue;
            }
            links += 1;
            let (file, heading) = target.split_once('#').unwrap_or((target, ""));
            let there = match file {
                "" => path.clone(),
                file => path.parent().expect("a folder").join(file),
            };
            assert!(there.exists(), "{path:?} links to `{target}`, which is not there");
            if !heading.is_empty() {
                let found = fs::read_to_string(&there).expect("a text");
                let mut headings = found.lines().filter(|line| line.starts_with('#'));
                assert!(
                    headings.any(|line| anchor(line.trim_start_matches('#')) == heading),
                    "{path:?} links to `{target}`; there is no such heading"
                );
            }
        }
    }
    assert!(links > 30, "only {links} links were found");
}

#[test]
fn every_file_that_is_named_is_there() {
    let rooms = ["", "daemon/reckon", "daemon/reckon/src", "daemon/reckon/src/estimator"];
    let mut files = 0;
    for (path, text) in texts() {
        // History names what was there then.
        if path.ends_with("CHANGELOG.md") {
            continue;
        }
        for word in text.split('`').skip(1).step_by(2) {
            let word = word.split(char::is_whitespace).next().unwrap_or("");
            let from_the_top = ["daemon/", "web/", "tests/", "systemd/", "docs/"];
            let is_path = from_the_top.iter().any(|top| word.starts_with(top));
            let in_the_model = path.starts_with(tree().join("daemon")) && word.ends_with(".rs");
            if is_path || in_the_model {
                files += 1;
                let there = rooms.iter().any(|room| tree().join(room).join(word).exists());
                assert!(there, "{path:?} names `{word}`, which is not there");
            }
        }
    }
    assert!(files > 30, "only {files} files were found");
}

/// Help is printed where all that stands before it is understood, and only there.
fn is_understood(command: &str) -> bool {
    let out = Command::new("sh")
        .args(["-c", &format!("outlast() {{ '{BINARY}' \"$@\" --help; }}\n{command}")])
        .output()
        .expect("a shell");
    out.status.success()
}

#[test]
fn every_command_is_understood() {
    let mut commands = 0;
    for (path, text) in texts() {
        let blocks = text.split("```sh\n").skip(1).filter_map(|rest| rest.split("```").next());
        for line in blocks.flat_map(str::lines).filter(|line| line.starts_with("outlast ")) {
            commands += 1;
            assert!(
                is_understood(line),
                "{path:?} has `{line}`, which outlast does not understand"
            );
        }
    }
    assert!(commands > 15, "only {commands} commands were found");
    assert!(!is_understood("outlast export --no-such-thing"), "anything passes");
}
