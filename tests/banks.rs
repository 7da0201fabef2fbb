//! The same banks through every door: settings, command, form, JSON, the bank file of `replay`, and
//! back from the record. Each door must make the same bank of the same words, or refuse it with the
//! same sentence. The same for names of anything.

use std::{fs, path::Path};

use serde_json::{Map, Value, json};

use crate::support::{Board, Daemon, end_of, get, home, outlast, send, socket, tree};

/// What somebody says of a bank, and what follows.
struct Case {
    /// Keys and values as the settings have them.
    said: &'static [(&'static str, &'static str)],
    /// Series, label's volts, place of the sensor; or a part of each sentence of the refusal.
    want: Result<(u8, f64, &'static str), &'static [&'static str]>,
}

const MAH: &str = "The capacity must be a number from 100 to 2 000 000 mAh.";
const SERIES: &str = "Cells in series must be a whole number from 1 to 16";
const AMBIENT: &str = "The temperature around the bank must be a number from -40 to 60 °C.";

/// 3.7 V for a lithium-ion cell: IEC 61960-3. Four LiFePO4 cells are sold as 12.8 V, six of lead as
/// 12 V, and the sensor of a USB bank lies behind its converter, that of a pack at its terminals:
/// common practice, no source.
const CASES: [Case; 18] = [
    Case { said: &[("label_mah", "10000")], want: Ok((1, 3.7, "output")) },
    Case { said: &[("cells", "\"lifepo4\""), ("label_mah", "6000")], want: Ok((4, 12.8, "cells")) },
    Case {
        said: &[("cells", "\"lead-acid\""), ("label_mah", "7000"), ("label_v", "12")],
        want: Ok((6, 12.0, "cells")),
    },
    Case {
        said: &[("series", "3"), ("label_mah", "3400"), ("label_v", "11.1")],
        want: Ok((3, 11.1, "cells")),
    },
    Case { said: &[("series", "3"), ("label_mah", "3400")], want: Ok((3, 11.1, "cells")) },
    Case { said: &[("label_mah", "3400"), ("label_v", "3.6")], want: Ok((1, 3.6, "output")) },
    Case {
        said: &[("label_mah", "10000"), ("measured_at", "\"cells\"")],
        want: Ok((1, 3.7, "cells")),
    },
    Case {
        said: &[
            ("cells", "\"lifepo4\""),
            ("label_mah", "6000"),
            ("measured_at", "\"output\""),
            ("cutoff_v", "5"),
        ],
        want: Ok((4, 12.8, "output")),
    },
    Case {
        said: &[("cells", "\"lead-acid\""), ("label_mah", "7000"), ("measured_at", "\"nowhere\"")],
        want: Ok((6, 12.0, "nowhere")),
    },
    Case {
        said: &[
            ("cells", "\"lifepo4\""),
            ("series", "4"),
            ("label_mah", "6000"),
            ("label_v", "12.8"),
            ("measured_at", "\"cells\""),
            ("ambient_c", "-12.5"),
            ("cutoff_v", "10"),
        ],
        want: Ok((4, 12.8, "cells")),
    },
    // Volts of a pack, and nothing that says it is one.
    Case {
        said: &[("label_mah", "3400"), ("label_v", "11.1")],
        want: Err(&["1 lithium-ion cell in series make 3.3 to 4.4 V, not 11.1 V."]),
    },
    Case {
        said: &[
            ("cells", "\"lifepo4\""),
            ("series", "3"),
            ("label_mah", "6000"),
            ("label_v", "12.8"),
        ],
        want: Err(&["3 LiFePO4 cells in series make"]),
    },
    Case {
        said: &[("cells", "\"lifepo4\""), ("label_mah", "6000"), ("cutoff_v", "13.5")],
        want: Err(&["The cut-off of this bank must be a number from 5.9 to 12.8 V"]),
    },
    Case { said: &[("label_mah", "99")], want: Err(&[MAH]) },
    Case { said: &[("label_mah", "2000001")], want: Err(&[MAH]) },
    Case { said: &[("label_mah", "10000"), ("series", "0")], want: Err(&[SERIES]) },
    Case {
        said: &[("label_mah", "10"), ("series", "17"), ("ambient_c", "61")],
        want: Err(&[MAH, SERIES, AMBIENT]),
    },
    Case {
        said: &[("label_mah", "10000"), ("label_v", "61"), ("ambient_c", "-41")],
        want: Err(&["The voltage that the label's capacity is for", AMBIENT]),
    },
];

/// A name that no bank of another case has.
fn name(number: usize) -> String {
    format!("Bank {number} of the shelf")
}

fn bare(value: &str) -> &str {
    value.trim_matches('"')
}

fn toml(table: &str, case: &Case, number: usize) -> String {
    let keys = case.said.iter().map(|(key, value)| format!("{key} = {value}\n"));
    format!("{table}\nname = \"{}\"\n{}", name(number), keys.collect::<String>())
}

/// What is wanted, as the JSON of a bank has it.
fn wanted(case: &Case, number: usize) -> Option<Value> {
    let (series, label_v, measured_at) = case.want.ok()?;
    let said = |key: &str| case.said.iter().find(|(one, _)| *one == key).map(|(_, v)| bare(v));
    let figure = |key| said(key).map(|text| text.parse::<f64>().expect("a number"));
    Some(json!({
        "name": name(number), "cells": said("cells").unwrap_or("li-ion"), "series": series,
        "label_mah": figure("label_mah"), "label_v": label_v, "measured_at": measured_at,
        "ambient_c": figure("ambient_c"), "cutoff_v": figure("cutoff_v"),
    }))
}

/// The bank of this name among these, without what is not of its description.
fn among(banks: &Value, number: usize) -> Option<Value> {
    let keys = ["name", "cells", "series", "label_mah", "label_v", "measured_at"];
    let keys = keys.into_iter().chain(["ambient_c", "cutoff_v"]);
    let bank = banks.as_array()?.iter().find(|bank| bank["name"] == name(number).as_str())?;
    Some(keys.map(|key| (key.to_owned(), rounded(&bank[key]))).collect::<Map<_, _>>().into())
}

/// Three times 3.7 is not quite 11.1.
fn rounded(value: &Value) -> Value {
    value.as_f64().map_or_else(
        || value.clone(),
        |x| if value.is_u64() { value.clone() } else { json!((x * 1e6).round() / 1e6) },
    )
}

/// A text without ties and without what a page puts in the place of signs.
fn plain(text: &str) -> String {
    text.replace('\u{a0}', " ").replace("&#39;", "'").replace("&quot;", "\"")
}

fn refused(said: &str, case: &Case, door: &str) {
    let said = plain(said);
    for want in case.want.err().into_iter().flatten() {
        assert!(said.contains(want), "{door} of {:?}: '{want}' is missing in: {said}", case.said);
    }
}

/// A door to the record of the running outlast: whether it took the bank, and what it said.
type RecordDoor = fn(&Path, &Case, usize) -> (bool, String);

fn by_command(home: &Path, case: &Case, number: usize) -> (bool, String) {
    let mut command = outlast(home);
    command.args(["bank", "add", &name(number)]);
    for (key, value) in case.said {
        command.arg(format!("--{}={}", key.replace('_', "-"), bare(value)));
    }
    let ended = end_of(&mut command);
    (ended.code == Some(0), ended.err)
}

fn by_json(home: &Path, case: &Case, number: usize) -> (bool, String) {
    let said = case.said.iter().map(|(key, value)| {
        ((*key).to_owned(), serde_json::from_str::<Value>(value).expect("a value"))
    });
    let name = ("name".to_owned(), name(number).into());
    let spec: Map<String, Value> = said.chain([name]).collect();
    let body = json!({ "spec": spec }).to_string();
    sent(home, "/api/v1/banks", "application/json", body)
}

fn by_form(home: &Path, case: &Case, number: usize) -> (bool, String) {
    let mut body = format!("name={}", name(number).replace(' ', "+"));
    for key in ["cells", "series", "label_mah", "label_v", "measured_at", "ambient_c", "cutoff_v"] {
        // A browser sends every field, the empty ones too.
        let value = case.said.iter().find(|(one, _)| *one == key).map_or("", |(_, v)| bare(v));
        body += &format!("&{key}={value}");
    }
    sent(home, "/banks", "application/x-www-form-urlencoded", body)
}

fn sent(home: &Path, path: &str, kind: &str, body: String) -> (bool, String) {
    let (status, said) = send(&socket(home), path, kind, body);
    assert!(status < 500, "{path}: {status} {said}");
    (status < 400, said)
}

const RECORD_DOORS: [(&str, RecordDoor); 3] =
    [("command", by_command), ("JSON", by_json), ("form", by_form)];

#[test]
fn the_same_bank_through_every_door_to_the_record() {
    let (board, home) = (Board::bare(), home());
    let _daemon = Daemon::on(&board, home.path());
    for (number, case) in CASES.iter().enumerate() {
        for (door, put) in RECORD_DOORS {
            let (taken, said) = put(home.path(), case, number);
            assert_eq!(taken, case.want.is_ok(), "{door} of {:?}: {said}", case.said);
            refused(&said, case, door);
            let banks = get("http://localhost/api/v1/banks", Some(&socket(home.path()))).1;
            let banks: Value = serde_json::from_str(&banks).expect("JSON");
            let kept = among(&banks["banks"], number);
            assert_eq!(kept, wanted(case, number), "{door} of {:?}", case.said);
            if taken {
                // What the next door finds is then its own.
                let gone = end_of(outlast(home.path()).args([
                    "bank",
                    "rename",
                    &name(number),
                    &format!("{door} {number}"),
                ]));
                assert_eq!(gone.code, Some(0), "{}", gone.err);
            }
        }
    }
}

#[test]
fn the_same_bank_in_the_settings() {
    let (board, home) = (Board::bare(), home());
    let file = home.path().join("banks.toml");
    let good = CASES.iter().enumerate().filter(|(_, case)| case.want.is_ok());
    let spare: String = good.map(|(n, case)| toml("[[spare_bank]]", case, n)).collect();
    fs::write(&file, spare).unwrap();
    let root = board.path("");
    let [root, path] = [&root, &file].map(|path| path.to_str().expect("a path"));
    let daemon = Daemon::start(home.path(), &["--sysroot", root, "--settings", path]);
    let now = daemon.now();
    for (number, case) in CASES.iter().enumerate() {
        let offered = among(&now["bank"]["choices"], number);
        assert_eq!(offered, wanted(case, number), "{:?}", case.said);
        if case.want.is_err() {
            for table in ["[bank]", "[[spare_bank]]"] {
                fs::write(&file, toml(table, case, number)).unwrap();
                let ended = end_of(outlast(home.path()).args(["check", "--settings"]).arg(&file));
                assert_eq!(ended.code, Some(78), "{:?}: {}", case.said, ended.err);
                refused(&ended.err, case, table);
            }
        }
    }
}

#[test]
fn the_same_bank_in_the_bank_file_of_replay() {
    let home = home();
    let played = |file: &str| {
        let path = home.path().join("BANK.toml");
        fs::write(&path, file).unwrap();
        let outing = tree().join("tests/reference/long_six_1.csv");
        let words = ["replay", "--json", "--every", "1800", "--bank"];
        end_of(outlast(home.path()).args(words).arg(&path).arg(outing))
    };
    let mut seen = Vec::new();
    for (number, case) in CASES.iter().enumerate() {
        let short = played(&toml("[bank]", case, number));
        let Some(want) = wanted(case, number) else {
            assert_eq!(short.code, Some(78), "{:?}: {}", case.said, short.err);
            refused(&short.err, case, "replay");
            continue;
        };
        // In full, as it is wanted.
        let keys = want.as_object().expect("an object").iter().filter(|(_, v)| !v.is_null());
        let full: String = keys.map(|(key, value)| format!("{key} = {value}\n")).collect();
        let full = played(&format!("[bank]\n{full}"));
        assert_eq!((short.code, full.code), (Some(0), Some(0)), "{}{}", short.err, full.err);
        assert_eq!(short.out, full.out, "{:?}", case.said);
        seen.push(short.out);
    }
    // The forecasts tell banks apart: where the sensor sits is no small matter.
    assert_ne!(seen[1], seen[7], "at the cells and at the output");
}

#[test]
fn the_same_bank_in_a_plan() {
    let home = home();
    let path = home.path().join("PLAN.toml");
    let mut said = Vec::new();
    for (number, case) in CASES.iter().enumerate() {
        let bank = toml("[bank]", case, number);
        fs::write(&path, format!("{bank}[[stretch]]\nhours = 4\n")).unwrap();
        let ended = end_of(outlast(home.path()).args(["plan", "--json"]).arg(&path));
        let Some(want) = wanted(case, number) else {
            assert_eq!(ended.code, Some(2), "{:?}: {}", case.said, ended.err);
            refused(&ended.err, case, "plan");
            continue;
        };
        let told: Value = serde_json::from_str(&ended.out).expect("JSON");
        let label_wh =
            want["label_mah"].as_f64().unwrap() * want["label_v"].as_f64().unwrap() / 1e3;
        let found = told["banks"][0]["label_wh"].as_f64().unwrap();
        assert!((found - label_wh).abs() < 1e-6, "{:?}: {found}", case.said);
        said.push(ended.out);
    }
    assert_eq!(said.len(), CASES.iter().filter(|case| case.want.is_ok()).count());
}

/// Each with a character that turns the direction of writing (Unicode Standard Annex #9, section
/// 2) or a control character (Unicode general category Cc).
const NOT_PLAIN: [char; 6] = ['\u{202e}', '\u{2066}', '\u{200f}', '\u{61c}', '\u{7}', '\u{9b}'];
const NOT_PLAIN_SAID: &str = "must be one line of plain text";

#[test]
fn no_door_takes_a_name_that_is_not_plain() {
    let (board, home) = (Board::bare(), home());
    let daemon = Daemon::on(&board, home.path());
    let marks = home.path().join("marks.txt");
    fs::write(&marks, "2025-02-08 10:00:00\n2025-02-08 10:10:00\n").unwrap();
    let marks = marks.to_str().expect("a path");
    let add = ["bank", "add", "Blue ten", "--label-mah", "10000"];
    assert_eq!(end_of(outlast(home.path()).args(add)).code, Some(0));
    for c in NOT_PLAIN {
        let bad = format!("Blue{c}ten");
        let escaped = format!("Blue\\u{:04X}ten", u32::from(c));
        for settings in [
            format!("station = \"{escaped}\""),
            format!("activities = [\"{escaped}\"]"),
            format!("[bank]\nname = \"{escaped}\"\nlabel_mah = 10000"),
            format!("[[accessory]]\nname = \"{escaped}\"\ndraw_w = 1"),
            format!("[[sensor]]\nmatches = \"x\"\nname = \"{escaped}\""),
        ] {
            let file = home.path().join("names.toml");
            fs::write(&file, &settings).unwrap();
            let ended = end_of(outlast(home.path()).args(["check", "--settings"]).arg(&file));
            assert_eq!(ended.code, Some(78), "{settings}: {}", ended.err);
            assert!(ended.err.contains("plain"), "{settings}: {}", ended.err);
        }
        for command in [
            &["bank", "add", &bad, "--label-mah", "10000"][..],
            &["bank", "rename", "Blue ten", &bad],
            &["bank", "import", "Blue ten", marks, "--name", &bad],
            &["outing", "name", "1", &bad],
            &["outing", "doing", "1", "0:00", "0:01", &bad],
        ] {
            let ended = end_of(outlast(home.path()).args(command));
            assert_eq!(ended.code, Some(1), "{command:?}: {}", ended.err);
            assert!(ended.err.contains(NOT_PLAIN_SAID), "{command:?}: {}", ended.err);
        }
        let coded: String = bad.bytes().map(|byte| format!("%{byte:02X}")).collect();
        for (path, key, more) in [
            ("/bank", "name", "&label_mah=10000"),
            ("/banks", "name", "&label_mah=10000"),
            ("/banks/1/name", "name", ""),
            ("/outing", "name", ""),
            ("/outings/1/name", "name", ""),
            ("/outings/1/doing", "activity", "&from=0:00&to=0:01"),
            ("/mark", "text", ""),
        ] {
            let kind = "application/x-www-form-urlencoded";
            let (taken, said) = sent(home.path(), path, kind, format!("{key}={coded}{more}"));
            assert!(!taken && said.contains(NOT_PLAIN_SAID), "{path} {c:?}: {said}");
        }
        for (path, body) in [
            ("/api/v1/bank", json!({ "spec": { "name": bad, "label_mah": 10000 } })),
            ("/api/v1/banks", json!({ "spec": { "name": bad, "label_mah": 10000 } })),
            ("/api/v1/banks/1/name", json!({ "name": bad })),
            ("/api/v1/outing", json!({ "name": bad })),
            ("/api/v1/outings/1/name", json!({ "name": bad })),
            ("/api/v1/outings/1/doings", json!({ "from_s": 0, "to_s": 60, "activity": bad })),
            ("/api/v1/mark", json!({ "text": bad })),
        ] {
            let (taken, said) = sent(home.path(), path, "application/json", body.to_string());
            assert!(!taken && said.contains(NOT_PLAIN_SAID), "{path} {c:?}: {said}");
        }
    }
    let banks = daemon.get("/api/v1/banks").1;
    let banks: Value = serde_json::from_str(&banks).expect("JSON");
    assert_eq!(banks["banks"].as_array().map(Vec::len), Some(1), "{banks}");
}
