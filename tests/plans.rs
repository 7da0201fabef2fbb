//! `outlast plan` from outside: what it says, what it refuses and where, what it learns, where it finds a bank.

use std::{
    fs,
    io::Write,
    path::Path,
    process::{Command, Stdio},
};

use serde_json::{Value, json};

use crate::support::{Board, Daemon, Ended, end_of, home, outlast, send, socket, tree};

/// A day on the ridge above the reservoir: Blue ten by its label.
const RIDGE: &str = r#"finish_h = 8
reserve_h = 1
ambient_c = 12

[bank]
name = "Blue ten"
label_mah = 10000

[draw]
idle_w = 1.6
full_w = 4.0

[[stretch]]
hours = 6
busy = 0.35

[[stretch]]
hours = 2
busy = 0.1
"#;

/// `outlast plan` of this text, with these words before it.
fn planned(home: &Path, words: &[&str], plan: &str) -> Ended {
    let path = home.join("PLAN.toml");
    fs::write(&path, plan).expect("a file");
    end_of(outlast(home).arg("plan").args(words).arg(path))
}

/// The answer's JSON.
fn answer(home: &Path, words: &[&str], plan: &str) -> Value {
    let ended = planned(home, &[&["--json"], words].concat(), plan);
    assert_eq!(ended.code, Some(0), "{plan}\n{}", ended.err);
    serde_json::from_str(&ended.out).expect("JSON")
}

fn three(of: &Value) -> [f64; 3] {
    ["p10", "p50", "p90"].map(|key| of[key].as_f64().unwrap_or_else(|| panic!("{key} of {of}")))
}

#[test]
fn a_plan_is_told_in_sentences_and_as_json() {
    let home = home();
    let ended = planned(home.path(), &[], RIDGE);
    assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""));
    for said in [
        "To last until the finish, 8 h from the start: about ",
        "With 1 h in reserve: about ",
        "It would end after about ",
        "Usable at the start: ",
        "Blue ten  its label ",
        "What buys the most time:",
        "Taken for granted:\n  The bank is full at the start.",
        "This is an estimate, and no safety device.",
    ] {
        assert!(ended.out.contains(said), "`{said}` is missing in:\n{}", ended.out);
    }
    let told = answer(home.path(), &[], RIDGE);
    for key in ["lasts_s", "energy_wh"] {
        let [low, middle, high] = three(&told[key]);
        assert!(0.0 < low && low < middle && middle < high, "{key}: {told}");
    }
    for key in ["chance_of_finish", "chance_with_reserve", "draw_w"] {
        assert!(told[key].as_f64().is_some_and(|it| it > 0.0), "{key}: {told}");
    }
    for (list, keys) in [
        ("points", &["at_s", "left_wh", "draw_w", "sun_w"][..]),
        ("banks", &["name", "learned_from", "usable_wh"]),
        ("smallest_bank", &["chance", "usable_wh", "label_mah"]),
        ("changes", &["what", "kind", "gains_s"]),
    ] {
        let all = told[list].as_array().unwrap_or_else(|| panic!("{list}"));
        assert!(!all.is_empty(), "{list}");
        for key in keys {
            assert!(all.iter().all(|it| !it[*key].is_null()), "{list}.{key}: {told}");
        }
    }
    assert!(told["assumptions"].is_array() && told["cautions"].is_array());
}

#[test]
fn a_plan_may_come_by_standard_input() {
    let home = home();
    let run = |plan: &str| {
        let mut child = outlast(home.path())
            .args(["plan", "--json", "-"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the binary starts");
        child.stdin.take().expect("piped").write_all(plan.as_bytes()).expect("it reads");
        child.wait_with_output().expect("it ends")
    };
    let told: Value = serde_json::from_slice(&run(RIDGE).stdout).expect("JSON");
    assert_eq!(told, answer(home.path(), &[], RIDGE));
    let refused = run("finish_h = 0\n");
    assert_eq!(refused.status.code(), Some(2));
    let said = String::from_utf8_lossy(&refused.stderr);
    assert!(said.contains("The plan from standard input cannot be worked out:"), "{said}");
}

#[test]
fn every_mistake_is_said_at_once_with_its_line() {
    let home = home();
    let wrong = "finsh_h = 8\nreserve_h = nan\nambient_c = \"cold\"\n[bank]\nlabel_mah = 5\nstart = \"half\"\n\
                 [wind]\nspeed = 3\n[sun]\ncloud = [0.9, 0.1]\n[[stretch]]\nbusy = 1.4\n[[stretch]]\nhours = 1e999\n\
                 activity = \"receive\"\nsent = 0.1\n";
    let ended = planned(home.path(), &[], wrong);
    assert_eq!((ended.code, ended.out.as_str()), (Some(2), ""), "{}", ended.err);
    for said in [
        "PLAN.toml cannot be worked out:\n",
        "line 1: finsh_h = 8: there is no such key. There are: finish_h, reserve_h, ambient_c, start.",
        "line 2: reserve_h = nan: want a number from 0 to 100 h.",
        "line 3: ambient_c = \"cold\": want a number from -40 to 60 °C.",
        "line 5: bank.label_mah = 5: The capacity must be a number from 100 to 2 000 000 mAh.",
        "line 6: bank.start = \"half\": want \"full\", \"unknown\" or a share such as \"70 %\".",
        "line 7: wind: a plan has no table of this name (wind).",
        "line 10: sun.cloud = [0.9, 0.1]: want two numbers from 0 to 1, the lesser first.",
        "line 11: stretch[0].hours: it is missing",
        "line 12: stretch[0].busy = 1.4: want a number from 0 to 1.",
        "line 14: stretch[1].hours = 1e999: want a number from 0.001 to 1000 h.",
        "Nothing was worked out.",
    ] {
        assert!(ended.err.contains(said), "`{said}` is missing in:\n{}", ended.err);
    }
}

#[test]
fn what_is_no_plan_is_refused_in_words() {
    let home = home();
    let deep = format!("finish_h = {}1{}", "[".repeat(500), "]".repeat(500));
    let many = "[[stretch]]\nhours = 1\n".repeat(201);
    for (plan, said) in [
        ("", "line 1: bank.label_mah: no bank is named."),
        ("finish_h == 8", "line 1: this line: this is not TOML: "),
        ("\u{0}", "line 1: this line: this is not TOML: "),
        ("[bank]\nlabel_mah = 10000\n", "stretch[0].hours: no stretch is named."),
        ("bank = 3\n[[stretch]]\nhours = 1", "line 1: bank = 3: want a table: [bank]"),
        (deep.as_str(), "line 1: this line: this is not TOML: "),
        (
            many.as_str(),
            "line 401: stretch[200]: that is more than a plan takes of them: 200 at most.",
        ),
    ] {
        let ended = planned(home.path(), &[], plan);
        assert_eq!(ended.code, Some(2), "{plan}\n{}", ended.err);
        assert!(ended.err.contains(said), "`{said}` is missing in:\n{}", ended.err);
    }
    let large = planned(home.path(), &[], &"# no plan\n".repeat(7000));
    assert_eq!(large.code, Some(2));
    assert!(large.err.contains("is larger than 64 KiB"), "{}", large.err);
    let missing = end_of(outlast(home.path()).args(["plan", "/nonexistent/PLAN.toml"]));
    assert_eq!(missing.code, Some(1));
    assert!(missing.err.contains("/nonexistent/PLAN.toml cannot be read"), "{}", missing.err);
}

/// The recorded outings of Blue ten: files of the reference set, each until the bank died.
fn recorded(numbers: std::ops::RangeInclusive<u32>) -> Vec<String> {
    let file = |n| tree().join(format!("tests/reference/blue_ten_{n}.csv"));
    let one = |n| format!("--learn={}:died:ambient=15", file(n).display());
    numbers.map(one).collect()
}

#[test]
fn recorded_outings_narrow_the_range_of_the_first_bank() {
    let home = home();
    let width = |told: &Value| {
        let [low, middle, high] = three(&told["banks"][0]["usable_wh"]);
        (high - low) / middle
    };
    let spare = format!("{RIDGE}[[bank]]\nname = \"Spare\"\nlabel_mah = 5000\n")
        .replace("[bank]\nname", "[[bank]]\nname");
    for plan in [RIDGE, &spare] {
        let mut before = width(&answer(home.path(), &[], plan));
        for runs in [1, 3] {
            let learn = recorded(1..=runs);
            let words: Vec<&str> = learn.iter().map(String::as_str).collect();
            let told = answer(home.path(), &words, plan);
            assert_eq!(told["banks"][0]["learned_from"], runs, "{told}");
            assert!(width(&told) < before, "{runs}: {} after {before}", width(&told));
            before = width(&told);
            assert!(
                told["banks"].as_array().unwrap()[1..].iter().all(|it| it["learned_from"] == 0)
            );
        }
        let told = planned(home.path(), &[&recorded(1..=1)[0]], plan).out;
        assert!(told.contains("Blue ten  1 run-down "), "{told}");
    }
    let known = RIDGE.replace("name =", "known =").replace("label_mah = 10000\n", "");
    let both = planned(home.path(), &[&recorded(1..=1)[0]], &known);
    assert_eq!(both.code, Some(2));
    assert!(both.err.contains("--learn teaches a bank that the plan describes"), "{}", both.err);
    let missing = planned(home.path(), &["--learn=/nonexistent.csv"], RIDGE);
    assert!(missing.code != Some(0) && missing.err.contains("/nonexistent.csv"), "{}", missing.err);
}

#[test]
fn a_bank_of_the_record_is_found_through_the_daemon_and_without_it() {
    let (board, home) = (Board::bare(), home());
    let mut daemon = Daemon::on(&board, home.path());
    let add = ["bank", "add", "Blue ten", "--label-mah", "10000"];
    assert_eq!(end_of(outlast(home.path()).args(add)).code, Some(0));
    let known = RIDGE.replace("name =", "known =").replace("label_mah = 10000\n", "");
    let through = answer(home.path(), &[], &known);
    assert_eq!(through["banks"][0]["name"], "Blue ten");
    // The same by its label: nobody has run it down yet, and the plan names board and bank.
    let alone = answer(home.path(), &[], RIDGE);
    assert_eq!(
        (&through["lasts_s"], &through["energy_wh"]),
        (&alone["lasts_s"], &alone["energy_wh"])
    );
    let wrong = known.replace("Blue ten", "Red one").replace("hours = 2", "hours = 0");
    let refused = |home: &Path| {
        let ended = planned(home, &[], &wrong);
        assert_eq!(ended.code, Some(2), "{}", ended.err);
        for said in [
            "line 6: bank.known = \"Red one\": there is no bank called Red one in the record.",
            "line 17: stretch[1].hours = 0: want a number from 0.001 to 1000 h.",
        ] {
            assert!(ended.err.contains(said), "`{said}` is missing in:\n{}", ended.err);
        }
    };
    refused(home.path());
    // The socket's door is the same as the network's.
    let body = json!({ "bank": { "known": "Blue ten" }, "stretch": { "hours": 3 } });
    let (status, said) =
        send(&socket(home.path()), "/api/v1/plan", "application/json", body.to_string());
    assert_eq!(status, 200, "{said}");
    daemon.end("TERM");
    assert_eq!(answer(home.path(), &[], &known)["banks"][0]["name"], "Blue ten");
    refused(home.path());
}

#[test]
fn without_a_record_a_bank_cannot_be_known_and_an_activity_is_assumed() {
    let home = home();
    let known = RIDGE.replace("name =", "known =").replace("label_mah = 10000\n", "");
    let ended = planned(home.path(), &[], &known);
    assert_eq!(ended.code, Some(1));
    assert!(ended.err.contains("record"), "{}", ended.err);
    let active = RIDGE.replace("busy = 0.35", "activity = \"contacts\"");
    let told = answer(home.path(), &[], &active);
    let assumed = told["assumptions"].to_string();
    assert!(assumed.contains("contacts draws what is usual"), "{assumed}");
    let unheard =
        planned(home.path(), &[], &RIDGE.replace("busy = 0.35", "activity = \"Sailing\""));
    assert_eq!(unheard.code, Some(2));
    assert!(
        unheard.err.contains("line 15: stretch[0].activity = \"Sailing\": "),
        "{}",
        unheard.err
    );
}

#[test]
fn the_documents_example_is_worked_out_and_every_key_is_in_it() {
    let home = home();
    let text = fs::read_to_string(tree().join("docs/plan.md")).expect("a text");
    let example = text.split("```toml\n").nth(1).and_then(|rest| rest.split("```").next());
    let told = answer(home.path(), &[], example.expect("an example"));
    assert_eq!((&told["finish_s"], &told["reserve_s"]), (&json!(28_800.0), &json!(3600.0)));
    // What is told of a key that is none names those there are.
    let tables = ["", "bank", "converter", "lead", "draw", "sun", "stretch"];
    let mut named = 0;
    for table in tables {
        let header = if table.is_empty() { String::new() } else { format!("[{table}]\n") };
        let said = planned(home.path(), &[], &format!("{header}no_such_key = 1\n")).err;
        let keys = said.split("There are: ").nth(1).and_then(|rest| rest.split('.').next());
        for key in keys.expect("the keys").split(", ") {
            named += 1;
            assert!(
                text.contains(&format!("`{key}`")),
                "docs/plan.md says nothing of {table}.{key}"
            );
        }
    }
    assert!(named > 50, "only {named} keys were met");
}

/// Whoever reads may have seen enough.
#[test]
fn a_pipe_that_closes_is_no_trouble() {
    let home = home();
    let path = home.path().join("PLAN.toml");
    fs::write(&path, RIDGE).expect("a file");
    let binary = crate::support::BINARY;
    let line = format!("'{binary}' plan '{}' | head -1", path.display());
    let out = Command::new("sh").args(["-c", &line]).output().expect("a shell");
    assert!(String::from_utf8_lossy(&out.stdout).starts_with("To last until the finish"));
    assert!(out.stderr.is_empty(), "{}", String::from_utf8_lossy(&out.stderr));
}
