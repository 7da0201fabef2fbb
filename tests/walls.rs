//! The walls between the crates and the tidiness of the tree, held by reading them.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
    process::Command,
    sync::OnceLock,
};

use serde_json::Value;

use crate::support::tree;

mod arrows;

/// What each crate may use outside its tests. The walls of DEVELOPERS.md in one table.
const MAY_USE: &[(&str, &[&str])] = &[
    ("reckon", &["jiff", "libm"]),
    ("history", &["jiff", "reckon", "rusqlite", "serde_json"]),
    (
        "alert",
        &[
            "jiff",
            "reckon",
            "reqwest",
            "rustix",
            "rustls",
            "serde",
            "serde_json",
            "tokio",
            "tracing",
            "webpki-roots",
        ],
    ),
    ("probe", &["i2cdev", "libc", "reckon", "rustix", "sysinfo"]),
    (
        "web",
        &[
            "askama",
            "axum",
            "axum-extra",
            "base64",
            "flate2",
            "futures-util",
            "reckon",
            "serde",
            "serde_json",
            "sha2",
            "subtle",
            "tokio",
            "tower-http",
            "tracing",
        ],
    ),
    (
        "outlast",
        &[
            "alert",
            "axum",
            "clap",
            "history",
            "hyper",
            "hyper-util",
            "if-addrs",
            "jiff",
            "probe",
            "qrcodegen",
            "reckon",
            "reqwest",
            "rustix",
            "sd-notify",
            "serde",
            "serde_json",
            "strsim",
            "tokio",
            "toml",
            "tower",
            "tracing",
            "tracing-subscriber",
            "web",
        ],
    ),
];

#[test]
fn crates_use_only_what_they_may() {
    let out = Command::new(env!("CARGO"))
        .args(["metadata", "--no-deps", "--format-version", "1", "--offline"])
        .current_dir(tree())
        .output()
        .expect("cargo is there");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let all: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    let allowed: BTreeMap<&str, &[&str]> = MAY_USE.iter().copied().collect();
    let mut seen = BTreeSet::new();
    for package in all["packages"].as_array().expect("packages") {
        let name = package["name"].as_str().expect("a name");
        let Some(may) = allowed.get(name) else {
            panic!(
                "`{name}` is a new crate. If that is meant, add it to MAY_USE and to the walls in DEVELOPERS.md."
            );
        };
        seen.insert(name.to_owned());
        for dependency in package["dependencies"].as_array().expect("dependencies") {
            let used = dependency["name"].as_str().expect("a name");
            assert!(
                !dependency["kind"].is_null() || may.contains(&used),
                "`{name}` now uses `{used}`. If that is meant, add it to MAY_USE and to the walls in DEVELOPERS.md."
            );
        }
    }
    assert_eq!(seen.len(), MAY_USE.len(), "MAY_USE names a crate that is gone: {seen:?}");
}

/// A Rust file: its path from the top of the tree, its whole text, and its code: comments and the
/// inside of texts blanked out.
struct Source {
    path: String,
    text: String,
    code: String,
}

fn sources() -> Vec<Source> {
    let top = tree();
    let mut files = Vec::new();
    for folder in ["daemon", "web", "tests"] {
        collect(&top.join(folder), &mut files);
    }
    assert!(files.len() > 30, "only {} Rust files were found", files.len());
    let source = |file: PathBuf| {
        let text = fs::read_to_string(&file).expect("readable");
        let path = file.strip_prefix(&top).expect("in the tree").to_string_lossy().into_owned();
        Source { path, code: code_of(&text), text }
    };
    files.into_iter().map(source).collect()
}

fn collect(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder").flatten() {
        let path = entry.path();
        let skipped = ["target", "node_modules", "cache"].iter().any(|name| path.ends_with(name));
        if path.is_dir() && !path.is_symlink() && !skipped {
            collect(&path, into);
        } else if path.extension().is_some_and(|ext| ext == "rs") {
            into.push(path);
        }
    }
}

/// Blanks out comments and what stands between quotes, keeping every line break.
fn code_of(text: &str) -> String {
    let mut code = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let taken = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if let Some(hashes) = raw_text(rest) {
            let close = format!("\"{}", "#".repeat(hashes));
            let open = rest.find('"').expect("just seen") + 1;
            rest[open..].find(&close).map_or(rest.len(), |end| open + end + close.len())
        } else if first == '"' {
            quoted(rest)
        } else if let Some(len) = character(rest) {
            len
        } else {
            code.push(first);
            rest = &rest[first.len_utf8()..];
            continue;
        };
        code.extend(rest[..taken].chars().map(|c| if c == '\n' { '\n' } else { ' ' }));
        rest = &rest[taken..];
    }
    code
}

fn raw_text(rest: &str) -> Option<usize> {
    let after = rest.strip_prefix("br").or_else(|| rest.strip_prefix('r'))?;
    let hashes = after.chars().take_while(|c| *c == '#').count();
    after[hashes..].starts_with('"').then_some(hashes)
}

fn quoted(rest: &str) -> usize {
    let mut escaped = false;
    for (at, c) in rest.char_indices().skip(1) {
        match c {
            '"' if !escaped => return at + 1,
            '\\' => escaped = !escaped,
            _ => escaped = false,
        }
    }
    rest.len()
}

/// Length of a character literal; `None` for a lifetime.
fn character(rest: &str) -> Option<usize> {
    let inside = rest.strip_prefix('\'')?;
    if let Some(escape) = inside.strip_prefix('\\') {
        return escape.char_indices().skip(1).find(|(_, c)| *c == '\'').map(|(at, _)| at + 3);
    }
    let c = inside.chars().next()?;
    inside[c.len_utf8()..].starts_with('\'').then(|| c.len_utf8() + 2)
}

/// What goes into the binary: the code without test modules; `None` for files that are tests.
fn shipped(source: &Source) -> Option<String> {
    let is_test = source.path.starts_with("tests/")
        || source.path.contains("/tests/")
        || source.path.contains("/examples/")
        || test_modules().iter().any(|module| {
            source.path.strip_suffix(".rs").is_some_and(|path| path == module)
                || source.path.starts_with(&format!("{module}/"))
        });
    if is_test {
        return None;
    }
    let mut code = source.code.as_str();
    let mut kept = String::new();
    while let Some(at) = code.find("#[cfg(test)]") {
        kept.push_str(&code[..at]);
        code = &code[at + body_from(&code[at + 12..]).len() + 12..];
    }
    Some(kept + code)
}

/// Paths without `.rs` of modules that are declared for tests only.
fn test_modules() -> &'static BTreeSet<String> {
    static FOUND: OnceLock<BTreeSet<String>> = OnceLock::new();
    FOUND.get_or_init(|| {
        let all = sources();
        all.iter().flat_map(declared_for_tests).collect()
    })
}

fn declared_for_tests(source: &Source) -> Vec<String> {
    let path = Path::new(&source.path);
    let stem = path.file_stem().expect("a name").to_string_lossy().into_owned();
    let folder = path.parent().expect("a folder");
    let inside = if ["lib", "main", "mod"].contains(&stem.as_str()) {
        folder.to_owned()
    } else {
        folder.join(stem)
    };
    let after =
        source.code.match_indices("#[cfg(test)]").map(|(at, mark)| &source.code[at + mark.len()..]);
    let declared = after.filter_map(|after| {
        let line = body_from(after);
        let (_, name) = line.split_once("mod ")?;
        (!line.contains('{')).then(|| inside.join(name.trim()).to_string_lossy().into_owned())
    });
    declared.collect()
}

#[test]
fn only_the_clock_asks_the_system_the_time() {
    let asking = [
        "Instant::now",
        "SystemTime",
        "clock_gettime",
        "Timestamp::now",
        "Zoned::now",
        "UNIX_EPOCH",
    ];
    let mut clock_asks = false;
    for source in sources() {
        let Some(code) = shipped(&source) else { continue };
        for word in asking.iter().filter(|word| code.contains(**word)) {
            assert_eq!(
                source.path, "daemon/run/src/host/clock.rs",
                "{} asks the time with `{word}`; have a stamp handed in",
                source.path
            );
            clock_asks = true;
        }
    }
    assert!(clock_asks, "this search finds nothing any more");
}

#[test]
fn unsafe_code_is_in_one_small_place() {
    let mut there = false;
    for source in sources() {
        for (at, _) in
            source.code.match_indices("unsafe ").chain(source.code.match_indices("unsafe{"))
        {
            let line = source.code[..at].matches('\n').count() + 1;
            assert_eq!(
                source.path, "daemon/probe/src/kernel.rs",
                "{}:{line} is unsafe",
                source.path
            );
            there = true;
        }
    }
    assert!(there, "this search finds nothing any more");
}

/// The few places where two threads of one crate meet at a lock, each with the reason.
const MEETINGS: &[(&str, &str)] = &[
    ("daemon/probe/src/sweep.rs", "a source goes to a thread of its own and may be taken back"),
    ("daemon/probe/src/programs.rs", "a slow thread leaves the newest list for the sweep to take"),
    ("daemon/history/src/reader.rs", "the connection of one request, whose reader may be cloned"),
    ("web/src/http/streams.rs", "a stream gives its seat back when the phone goes"),
    ("daemon/run/src/host/seats.rs", "a connection gives its seat back when it ends"),
];

#[test]
fn no_lock_is_held_across_an_await_and_no_state_is_shared_by_lock() {
    for source in sources() {
        let Some(code) = shipped(&source) else { continue };
        let squeezed: String = code.split_whitespace().collect();
        for word in ["Arc<Mutex<", "Arc<RwLock<", "tokio::sync::Mutex", "tokio::sync::RwLock"] {
            let met = MEETINGS.iter().any(|(path, _)| *path == source.path);
            assert!(
                met || !squeezed.contains(word),
                "{} shares state by `{word}`; send an event instead",
                source.path
            );
        }
        for (at, _) in code.match_indices("async fn") {
            let body = body_from(&code[at..]);
            let locks = body.find(".lock()").is_some_and(|lock| body[lock..].contains(".await"));
            assert!(
                !locks,
                "{}: a lock is taken before an await in `{}`",
                source.path,
                body.lines().next().unwrap_or("")
            );
        }
    }
}

#[test]
fn reckon_is_never_serialised_and_stands_without_std() {
    for source in sources().iter().filter(|s| s.path.starts_with("daemon/reckon/src")) {
        let squeezed: String = source.code.split_whitespace().collect();
        assert!(!squeezed.contains("serde"), "{}: each border has structs of its own", source.path);
    }
    let lib = fs::read_to_string(tree().join("daemon/reckon/src/lib.rs")).expect("readable");
    assert!(lib.contains("no_std") && lib.contains("#![forbid(unsafe_code)]"));
}

#[test]
fn every_file_opens_with_its_job() {
    let all = sources();
    let silent: Vec<_> =
        all.iter().filter(|s| !s.text.starts_with("//! ")).map(|s| &s.path).collect();
    assert!(silent.is_empty(), "these do not open with `//!` and their job: {silent:?}");
}

/// Functions that are longer than sixty lines, each with the reason.
const LONG: &[(&str, &str, &str)] = &[];

#[test]
fn functions_are_short() {
    let mut long = Vec::new();
    for source in sources() {
        let Some(code) = shipped(&source) else { continue };
        for (at, _) in code.match_indices("fn ") {
            let starts_word =
                code[..at].chars().next_back().is_none_or(|c| c.is_whitespace() || c == '(');
            if !starts_word {
                continue;
            }
            let name: String =
                code[at + 3..].chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            let lines = body_from(&code[at..]).lines().count();
            let excused =
                LONG.iter().any(|(path, function, _)| *path == source.path && *function == name);
            if lines > 60 && !name.is_empty() && !excused {
                long.push(format!("{}: `{name}` has {lines} lines", source.path));
            }
        }
    }
    assert!(
        long.is_empty(),
        "split these by stage, or excuse them in LONG with a reason:\n{}",
        long.join("\n")
    );
}

/// From the start of an item to its closing brace (or to the semicolon of one without body).
fn body_from(code: &str) -> &str {
    let (mut braces, mut inner) = (0_usize, 0_usize);
    for (at, c) in code.char_indices() {
        match c {
            '{' => braces += 1,
            '}' => {
                braces = braces.saturating_sub(1);
                if braces == 0 {
                    return &code[..=at];
                }
            }
            '[' | '(' => inner += 1,
            ']' | ')' => inner = inner.saturating_sub(1),
            ';' if braces == 0 && inner == 0 => return &code[..at],
            _ => {}
        }
    }
    code
}

#[test]
fn every_path_in_the_developers_text_exists() {
    let text = fs::read_to_string(tree().join("DEVELOPERS.md")).expect("DEVELOPERS.md is there");
    let mut paths = 0;
    for word in text.split(|c: char| c.is_whitespace() || "`()[]<>\"',;".contains(c)) {
        let word = word.trim_end_matches(['.', ':']);
        let is_path = ["daemon/", "web/", "tests/", "systemd/", ".ci/"]
            .iter()
            .any(|top| word.starts_with(top));
        let is_pattern = word.contains(['*', '…', '{', '$']) || word.contains("...");
        if is_path && !is_pattern {
            paths += 1;
            assert!(tree().join(word).exists(), "DEVELOPERS.md names `{word}`, which is not there");
        }
    }
    assert!(paths >= 10, "only {paths} paths were found in DEVELOPERS.md");
}

#[test]
fn this_reader_of_code_can_tell_code_from_words() {
    let text = "let a = \"unsafe { // }\"; // unsafe {\nlet b = '\"'; let c: &'a str = r#\"x\"y\"#; fn f() { '{' }";
    let code = code_of(text);
    assert_eq!(code.lines().count(), text.lines().count());
    assert!(!code.contains("unsafe") && !code.contains('y') && code.contains("&'a str"), "{code}");
    assert_eq!(body_from("fn f() { a { b } } c"), "fn f() { a { b } }");
    assert_eq!(body_from("fn f(a: [u8; 4]); fn g() {}"), "fn f(a: [u8; 4])");
    assert!(test_modules().contains("daemon/run/src/settings/tests"), "{:?}", test_modules());
}
