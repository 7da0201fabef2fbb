//! The report of an outing, from the built program: with and without a running daemon it says the
//! sum of the recorded rows, can be put right afterwards, and leaves as one file.

use std::{fs, path::Path, time::Duration};

use serde_json::{Value, json};

use crate::support::{Daemon, Ended, end_of, get, home, outlast, socket};

fn cli(home: &Path, words: &[&str]) -> Ended {
    end_of(outlast(home).args(words))
}

fn done(home: &Path, words: &[&str]) -> String {
    let ended = cli(home, words);
    assert_eq!(ended.code, Some(0), "{words:?}: {}", ended.err);
    ended.out
}

fn report(home: &Path) -> Value {
    let told = done(home, &["outing", "show", "1", "--json"]);
    serde_json::from_str::<Value>(&told).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Energy and time of an activity; nothing where it was not done.
fn of(report: &Value, name: &str) -> (f64, f64) {
    let all = report["report"]["energy"]["activities"].as_array().expect("a list");
    let found = all.iter().find(|it| it["name"] == name);
    found.map_or((0.0, 0.0), |it| (number(&it["energy_wh"]), number(&it["lasted_s"])))
}

/// The rows of the export: when, how long, mean power.
fn rows(home: &Path) -> Vec<[f64; 3]> {
    let csv = done(home, &["export", "1", "--csv"]);
    let mut lines = csv.lines();
    let head: Vec<&str> = lines.next().expect("a head").split(',').collect();
    let column = |name: &str| head.iter().position(|it| *it == name).expect("a column");
    let wanted = ["t_s", "span_s", "power_w_mean"].map(column);
    let number = |text: &str| text.parse::<f64>().expect("a number");
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        wanted.map(|at| number(cells[at]))
    };
    lines.map(row).collect()
}

#[test]
fn a_report_is_the_sum_of_its_rows_and_can_be_put_right() {
    let home = home();
    let state = home.path().join(".local/state/outlast");
    // A demonstration that keeps its record: hours pass in seconds.
    let state = state.to_str().expect("a path");
    let mut daemon =
        Daemon::start(home.path(), &["--demo", "--demo-speed", "600", "--state", state]);
    daemon.wait_for(Duration::from_secs(90), |_| {
        let page = get("http://localhost/api/v1/outings/1/report", Some(&socket(home.path()))).1;
        let told: Value = serde_json::from_str(&page).ok()?;
        (told["lasted_s"].as_f64()? > 9000.0).then_some(())
    });
    let running = done(home.path(), &["outing", "show", "1"]);
    assert!(running.contains("Where the energy went") && running.contains("Receive"), "{running}");
    // The bank has had no other outing: its book is that outing's, as far as it had gone.
    let ask = |path: &str| -> Value {
        let page = get(&format!("http://localhost/api/v1/{path}"), Some(&socket(home.path()))).1;
        serde_json::from_str(&page).expect("JSON")
    };
    let [before, book, after] = ["outings/1/report", "banks/1/book", "outings/1/report"].map(ask);
    let so_far = |told: &Value| number(&told["report"]["energy"]["whole"]["energy_wh"]);
    let gave = number(&book["whole"]["energy_wh"]);
    assert!((so_far(&before)..=so_far(&after)).contains(&gave), "{gave} Wh: {book:#}");
    assert_eq!((&book["outings"], &book["of_outings"]), (&json!(1), &json!(1)));
    daemon.end("KILL");

    // Without a daemon the command reads the record itself. A row is a mean over its length, so the
    // energy is the sum of their products.
    let rows = rows(home.path());
    assert!(rows.len() > 800, "{} rows", rows.len());
    let told = report(home.path());
    let energy = &told["report"]["energy"];
    let sum: f64 = rows.iter().map(|[_, span_s, watts]| span_s * watts / 3600.0).sum();
    let whole = number(&energy["whole"]["energy_wh"]);
    assert!((whole / sum - 1.0).abs() < 1e-6, "{whole} Wh, the rows have {sum} Wh");
    let parts = ["activities", "hours"].map(|of| {
        energy[of].as_array().expect("a list").iter().map(|it| number(&it["energy_wh"])).sum()
    });
    let [activities, hours]: [f64; 2] = parts;
    let untold = number(&energy["untold"]["energy_wh"]);
    assert!(((activities + untold) / whole - 1.0).abs() < 1e-9);
    assert!((hours / whole - 1.0).abs() < 1e-9);
    assert!(told["report"]["forecasts"].as_array().expect("a list").len() > 5, "{told:#}");

    let bank = done(home.path(), &["bank", "show", "Blue ten"]);
    assert!(bank.contains("over one outing") && bank.contains("Receive"), "{bank}");

    // Ten to forty minutes in, it was logging: that much of the rows goes there.
    let before = of(&told, "logging");
    done(home.path(), &["outing", "doing", "1", "0:10", "0:40", "logging"]);
    let put_right = report(home.path());
    let moved = of(&put_right, "logging");
    let within = |[from_s, _, _]: &&[f64; 3]| (600.0..2400.0).contains(from_s);
    let want: f64 = rows.iter().filter(within).map(|[_, span, watts]| span * watts / 3600.0).sum();
    assert!((moved.1 - before.1 - 1800.0).abs() < 1.0, "{before:?} {moved:?}");
    assert!(((moved.0 - before.0) / want - 1.0).abs() < 0.01, "{before:?} {moved:?} {want}");
    let whole_then = number(&put_right["report"]["energy"]["whole"]["energy_wh"]);
    assert!((whole_then - whole).abs() < 1e-9, "nothing is made or lost");
    let corrections = put_right["report"]["corrections"].as_array().expect("a list");
    assert_eq!(corrections[0]["origin"], json!("operator"));
    let id = corrections[0]["id"].to_string();
    let shown = done(home.path(), &["outing", "show", "1"]);
    assert!(shown.contains("Corrections so far") && shown.contains("10 min to 40 min"), "{shown}");

    // Taken back, it is as it was; what makes no sense is refused.
    done(home.path(), &["outing", "doing-back", "1", &id]);
    assert_eq!(of(&report(home.path()), "logging"), before);
    for (words, why) in [
        (vec!["doing", "1", "99:00", "99:30", "idle"], "was over by then"),
        (vec!["doing", "1", "0:40", "0:10", "idle"], "must come after"),
        (vec!["doing-back", "1", id.as_str()], "no such correction"),
        (vec!["doing-by-contacts", "1", "contacts"], "No contact in a log"),
        (vec!["doing", "77", "0:10", "0:40", "idle"], "no such outing"),
    ] {
        let words: Vec<&str> = ["outing"].into_iter().chain(words).collect();
        let refused = cli(home.path(), &words);
        assert_eq!(refused.code, Some(1), "{words:?}");
        assert!(refused.err.contains(why), "{words:?}: {}", refused.err);
    }
    assert_eq!(cli(home.path(), &["outing", "doing", "1", "soon", "0:40", "idle"]).code, Some(2));

    // The report as one file; never over another.
    let file = home.path().join("report.html");
    let name = file.to_str().expect("a path");
    done(home.path(), &["outing", "show", "1", "--html", name]);
    let page = fs::read_to_string(&file).expect("the file");
    assert!(page.contains("Content-Security-Policy") && page.contains("Where the energy went"));
    assert!(!page.contains("<script") && !page.contains("<form") && !page.contains("href="));
    let again = cli(home.path(), &["outing", "show", "1", "--html", name]);
    assert!(again.code == Some(1) && again.err.contains("already exists"), "{}", again.err);
}
