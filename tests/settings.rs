//! The settings file as an owner meets it.

use std::fs;

use crate::support::{Board, Daemon, end_of, home, outlast, tree};

#[test]
fn five_mistakes_are_five_complaints_and_exit_code_78() {
    let home = home();
    let file = home.path().join("five.toml");
    let five = "station = 7\nlistn = \"0.0.0.0:8073\"\n[bank]\nlabel_mah = -5\nseries = 0\n\n\
                [[sensor]]\nmatches = \"1-0040\"\nscale = 0\n";
    fs::write(&file, five).unwrap();
    for command in ["run", "check"] {
        let ended = end_of(outlast(home.path()).args([command, "--settings"]).arg(&file));
        assert_eq!(ended.code, Some(78), "{command}: {}", ended.err);
        assert!(ended.err.contains("5 complaints"), "{}", ended.err);
        for said in [
            "line 1: station = 7",
            "line 2: listn: no such key. Did you mean `listen`?",
            "line 4: bank.label_mah = -5: The capacity must be a number from 100 to 2 000 000 mAh. It is printed on the bank's label.",
            "line 5: bank.series = 0: Cells in series must be a whole number from 1 to 16",
            "line 9: sensor[0].scale = 0",
        ] {
            assert!(ended.err.contains(said), "`{said}` is missing in:\n{}", ended.err);
        }
    }
}

#[test]
fn a_file_that_is_not_there_is_refused_and_a_usual_one_is_found() {
    let (board, home) = (Board::bare(), home());
    let missing =
        end_of(outlast(home.path()).args(["run", "--settings", "/nonexistent/outlast.toml"]));
    assert_eq!(missing.code, Some(78));
    assert!(missing.err.contains("/nonexistent/outlast.toml cannot be read"), "{}", missing.err);
    // $XDG_CONFIG_HOME, else ~/.config: XDG Base Directory Specification.
    let folder = home.path().join(".config/outlast");
    fs::create_dir_all(&folder).unwrap();
    fs::write(
        folder.join("outlast.toml"),
        "station = \"Heron\"\n[bank]\nname = \"Long six\"\ncells = \"lifepo4\"\nlabel_mah = 6000\n",
    )
    .unwrap();
    let daemon = Daemon::on(&board, home.path());
    let now = daemon.now();
    assert_eq!(
        (&now["station"], &now["bank"]["connected"]["name"]),
        (&"Heron".into(), &"Long six".into())
    );
    assert_eq!(now["bank"]["connected"]["label_v"], 12.8);
}

#[test]
fn the_shipped_file_runs() {
    let (board, home) = (Board::bare(), home());
    let root = board.path("");
    let file = tree().join("systemd/outlast.toml");
    let daemon = Daemon::start(
        home.path(),
        &["--sysroot", root.to_str().unwrap(), "--settings", file.to_str().unwrap()],
    );
    assert_eq!(daemon.now()["station"], "Station");
}
