//! What `outlast replay` prints, and how it refuses.

use std::fmt::Write as _;

use super::*;

fn scene(files: &[(&str, String)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

const BLUE_TEN: &str = "[bank]\nname = \"Blue ten\"\ncells = \"li-ion\"\nseries = 1\n\
                        label_mah = 10000\nlabel_v = 3.7\nmeasured_at = \"output\"\n\n\
                        [draw]\nidle_w = 1.9\nfull_w = 4.0\n";

/// Hours of an even draw at 5 V, a row each ten seconds.
fn even(hours: f64, amps: f64) -> String {
    let mut text = String::from("t_s,cpu_util,cpu_temp_c,bus_v,current_a,note\n");
    let mut t = 10.0;
    while t <= hours * 3600.0 {
        writeln!(text, "{t},0.1,35,5.0,{amps},x").unwrap();
        t += 10.0;
    }
    text
}

fn play(folder: &Path, files: &[&str]) -> Result<String, String> {
    let (bank, load) = bank_file(&folder.join("bank.toml")).map_err(|f| f.say)?;
    let mut player = Player { bank, load, every_s: 600, json: true, out: Vec::new() };
    let mut learned = Learned::default();
    for (number, text) in files.iter().enumerate() {
        let outing = told(&folder.join(text).display().to_string())?;
        match player.play(number, &outing, &learned) {
            Ok(rundown) => learned.credit(&rundown),
            Err(Trouble::Input(say)) => return Err(say),
            Err(Trouble::Print(why)) => return Err(why.to_string()),
        }
    }
    Ok(String::from_utf8(player.out).unwrap())
}

fn lines(text: &str) -> Vec<serde_json::Value> {
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

#[test]
fn the_second_outing_knows_what_the_first_one_taught() {
    let folder = scene(&[
        ("bank.toml", BLUE_TEN.into()),
        ("a.csv", even(12.0, 0.4)),
        ("b.csv", even(3.0, 0.4)),
    ]);
    let printed = lines(&play(folder.path(), &["a.csv:died", "b.csv:stopped:ambient=20"]).unwrap());
    // One forecast each ten minutes of 12 h and of 3 h.
    assert_eq!(printed.len(), 72 + 18);
    let at = |outing: u64, t: f64| {
        printed.iter().find(|p| p["outing"] == outing && p["t_s"] == t).unwrap()
    };
    let width = |p: &serde_json::Value| {
        let q = |k: &str| p["remaining_s"][k].as_f64().unwrap();
        assert!(q("p10") <= q("p50") && q("p50") <= q("p90"), "{p}");
        q("p90") - q("p10")
    };
    let (before, after) = (at(0, 7200.0), at(1, 7200.0));
    assert_eq!(after["basis"], "measured");
    assert!(width(after) < 0.6 * width(before), "{before} {after}");
    // The same bank at the same draw: 10 h are left after two.
    let middle = after["remaining_s"]["p50"].as_f64().unwrap() / 3600.0;
    assert!((9.0..11.0).contains(&middle), "{middle}");
}

#[test]
fn without_a_sensor_the_draw_is_modelled_whatever_the_bank_file_says() {
    let text: String = even(2.0, 0.4)
        .lines()
        .map(|l| l.split(',').take(2).collect::<Vec<_>>().join(",") + "\n")
        .collect();
    let folder = scene(&[("bank.toml", BLUE_TEN.into()), ("a.csv", text)]);
    let printed = lines(&play(folder.path(), &["a.csv"]).unwrap());
    assert!(printed.iter().all(|p| p["basis"] == "modelled" && p["remaining_s"]["p50"].is_f64()));
}

#[test]
fn a_hole_is_bridged_with_what_was_drawn_before() {
    let mut holed = even(1.0, 0.4);
    for t in (6600..=7200).step_by(10) {
        writeln!(holed, "{t},0.1,35,5.0,0.4,x").unwrap();
    }
    let folder =
        scene(&[("bank.toml", BLUE_TEN.into()), ("a.csv", even(2.0, 0.4)), ("b.csv", holed)]);
    let last = |file: &str| lines(&play(folder.path(), &[file]).unwrap()).pop().unwrap();
    let (whole, holed) = (last("a.csv"), last("b.csv"));
    let middle = |p: &serde_json::Value| p["remaining_s"]["p50"].as_f64().unwrap();
    assert!((middle(&whole) / middle(&holed) - 1.0).abs() < 0.05, "{whole} {holed}");
}

#[test]
fn a_bad_line_is_named_with_its_file() {
    let bad = even(0.1, 0.4) + "400,0.1,35,5.0,many,x\n";
    let folder = scene(&[("bank.toml", BLUE_TEN.into()), ("a.csv", bad)]);
    let said = play(folder.path(), &["a.csv:died"]).unwrap_err();
    assert!(said.contains("a.csv: line 38: current_a is `many`"), "{said}");
    let said = play(folder.path(), &["gone.csv"]).unwrap_err();
    assert!(said.contains("gone.csv cannot be read"), "{said}");
}

#[test]
fn the_banks_file_is_refused_with_every_complaint() {
    let text = "[bank]\ncells = \"coal\"\nlabel_mah = -5\ncolour = \"blue\"\n";
    let folder = scene(&[("bank.toml", text.into())]);
    let said = play(folder.path(), &[]).unwrap_err();
    for part in ["coal", "label_mah = -5", "colour"] {
        assert!(said.contains(part), "{part}: {said}");
    }
    let folder = scene(&[("bank.toml", "station = \"Heron\"\n".into())]);
    let said = play(folder.path(), &[]).unwrap_err();
    assert!(said.contains("names no bank"), "{said}");
}

#[test]
fn words_after_a_file() {
    let plain = told("a.csv").unwrap();
    assert_eq!((plain.died(), plain.start(), plain.ambient), (false, Start::Full, None));
    let all = told("some/day.csv:died:from=0.7:ambient=-3.5").unwrap();
    assert_eq!(all.path, PathBuf::from("some/day.csv"));
    assert!(all.died());
    assert_eq!(all.start(), Start::Part(Share::nearest(0.7)));
    assert_eq!(all.ambient, Some(Celsius::of(-3.5)));
    assert_eq!(told("a.csv:unknown:stopped").unwrap().start(), Start::Unknown);
    for (text, part) in [
        ("a.csv:dead", "`:dead` is not understood. A file's name may"),
        ("a.csv:from=70", "want a share"),
        ("a.csv:from=0", "want a share"),
        ("a.csv:ambient=hot", "want -40 to 60 °C"),
    ] {
        let said = told(text).unwrap_err();
        assert!(said.contains(part), "{said}");
    }
}
