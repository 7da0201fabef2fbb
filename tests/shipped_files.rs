//! What is shipped beside the binary: units, users, rules, and the man pages.

use std::{fs, path::Path, process::Command};

use crate::support::{BINARY, tree};

/// Runs a tool that must be there; a missing one fails with how to get it.
fn tool(name: &str, package: &str, arguments: &[&str]) -> (bool, String) {
    let out = Command::new(name).args(arguments).output().unwrap_or_else(|why| {
        panic!("`{name}` is needed for this test and cannot be run ({why}). It comes with the package `{package}`.")
    });
    let said = [out.stdout, out.stderr].concat();
    (out.status.success(), String::from_utf8_lossy(&said).into_owned())
}

/// A copy of the unit that names the binary of this build, so that the verifier finds it.
fn unit_of_this_build(folder: &Path) -> String {
    let unit = fs::read_to_string(tree().join("systemd/outlast.service")).expect("the unit");
    assert!(unit.contains("/usr/bin/outlast"));
    let path = folder.join("outlast.service");
    fs::write(&path, unit.replace("/usr/bin/outlast", BINARY)).expect("a copy");
    path.to_str().expect("a path").to_owned()
}

#[test]
fn the_unit_passes_the_verifier() {
    let folder = tempfile::tempdir().expect("a folder");
    let unit = unit_of_this_build(folder.path());
    let (well, said) = tool("systemd-analyze", "systemd", &["verify", "--man=no", &unit]);
    let ours: Vec<&str> = said.lines().filter(|line| line.contains("outlast")).collect();
    assert!(well && ours.is_empty(), "{said}");
    // And the verifier is no rubber stamp.
    fs::write(
        &unit,
        "[Service]\nType=notify\nExecStart=/nonexistent/outlast run\nWatchdogSec=maybe\n",
    )
    .expect("a file");
    let (_, said) = tool("systemd-analyze", "systemd", &["verify", "--man=no", &unit]);
    assert!(said.contains("outlast"), "a broken unit passes: {said}");
}

#[test]
fn the_unit_promises_what_the_program_keeps() {
    let unit = fs::read_to_string(tree().join("systemd/outlast.service")).expect("the unit");
    for line in [
        "Type=notify",
        "RestartPreventExitStatus=78",
        "Restart=on-failure",
        "StateDirectory=outlast",
        "RuntimeDirectory=outlast",
        "User=outlast",
        // The bounds on its memory.
        "MemoryHigh=64M",
        "MemoryMax=96M",
        "OOMScoreAdjust=-500",
    ] {
        assert!(unit.lines().any(|l| l == line), "`{line}` is missing in the unit");
    }
    assert!(unit.lines().any(|l| l.starts_with("WatchdogSec=")));
    assert!(unit.lines().any(|l| l.starts_with("SupplementaryGroups=")
        && l.contains("i2c")
        && l.contains("video")));
    // A comment behind a value would become part of it: systemd.syntax(7).
    for line in unit.lines().filter(|l| !l.starts_with('#')) {
        assert!(!line.contains(" #"), "{line}");
    }
}

#[test]
fn the_units_that_switch_off_pass_the_verifier_and_can_do_nothing_else() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut paths = Vec::new();
    for name in ["outlast-poweroff.path", "outlast-poweroff.service"] {
        let text = fs::read_to_string(tree().join("systemd").join(name)).expect("the unit");
        let path = folder.path().join(name);
        fs::write(&path, text).expect("a copy");
        paths.push(path.to_str().expect("a path").to_owned());
    }
    let (well, said) =
        tool("systemd-analyze", "systemd", &["verify", "--man=no", &paths[0], &paths[1]]);
    let ours: Vec<&str> = said.lines().filter(|line| line.contains("outlast")).collect();
    assert!(well && ours.is_empty(), "{said}");
    let service = fs::read_to_string(&paths[1]).expect("the unit");
    let values = |key: &str| -> Vec<String> {
        let lines = service.lines().filter_map(|l| l.strip_prefix(key)?.strip_prefix('='));
        lines.map(str::to_owned).collect()
    };
    // One process, which removes the request; the service manager itself switches off.
    assert_eq!(values("ExecStart"), ["/usr/bin/rm -f /run/outlast/poweroff-request"]);
    assert_eq!(values("SuccessAction"), ["poweroff"]);
    assert_eq!(values("ReadWritePaths"), ["/run/outlast"]);
    for (key, value) in [
        ("NoNewPrivileges", "yes"),
        ("ProtectSystem", "strict"),
        ("RestrictAddressFamilies", "none"),
        ("CapabilityBoundingSet", ""),
        ("User", "outlast"),
    ] {
        assert_eq!(values(key), [value], "{key}");
    }
    let path = fs::read_to_string(&paths[0]).expect("the unit");
    assert!(path.lines().any(|l| l == "PathExists=/run/outlast/poweroff-request"));
    // The verifier knows these keys: a misspelt one is complained about.
    fs::write(&paths[1], service.replace("SuccessAction=", "SuccesAction=")).expect("a file");
    let (_, said) = tool("systemd-analyze", "systemd", &["verify", "--man=no", &paths[1]]);
    assert!(said.contains("SuccesAction"), "a misspelt key passes: {said}");
}

/// The exposure that systemd's own rating finds, 0 to 10, and what it finds open.
fn exposure(unit: &Path) -> (f64, Vec<String>) {
    let unit = unit.to_str().expect("a path");
    let told = ["security", "--offline=true", "--no-pager", unit];
    let (_, said) = tool("systemd-analyze", "systemd", &told);
    let overall = said.split("Overall exposure level for ").nth(1);
    let figure = overall.and_then(|rest| rest.split(": ").nth(1)?.split(' ').next()?.parse().ok());
    let open = said.lines().filter_map(|l| l.strip_prefix('✗')?.trim().split(['=', '/']).next());
    (figure.unwrap_or_else(|| panic!("no figure: {said}")), open.map(str::to_owned).collect())
}

#[test]
fn the_units_leave_little_open_and_say_why() {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, most) in [("outlast.service", 1.5), ("outlast-poweroff.service", 1.0)] {
        let path = tree().join("systemd").join(name);
        let (figure, open) = exposure(&path);
        assert!(figure <= most, "{name}: {figure}, open: {open:?}");
        let unit = fs::read_to_string(&path).expect("the unit");
        for key in open {
            assert!(unit.contains(&key), "{name}: {key} stays open without a word");
        }
        // The rating is no rubber stamp.
        let bare = folder.path().join(name);
        let without = unit.lines().filter(|l| !l.starts_with("SystemCallFilter="));
        fs::write(&bare, without.collect::<Vec<_>>().join("\n")).expect("a copy");
        assert!(exposure(&bare).0 > figure + 0.5, "{name}");
    }
}

#[test]
fn what_a_drop_in_opens_passes_the_verifier() {
    let folder = tempfile::tempdir().expect("a folder");
    let unit = unit_of_this_build(folder.path());
    let place = folder.path().join("outlast.service.d");
    fs::create_dir(&place).expect("a folder");
    for name in ["clock.conf", "commands.conf"] {
        let text = fs::read_to_string(tree().join("systemd").join(name)).expect("the drop-in");
        // Everything it offers, at once.
        let all: Vec<&str> = text
            .lines()
            .map(|l| l.strip_prefix('#').filter(|l| !l.starts_with(' ')).unwrap_or(l))
            .collect();
        assert!(all.len() > 6, "{name}");
        let verify = |text: &str| {
            fs::write(place.join(name), text).expect("a copy");
            tool("systemd-analyze", "systemd", &["verify", "--man=no", &unit])
        };
        let (well, said) = verify(&all.join("\n"));
        assert!(well && !said.contains(name), "{name}: {said}");
        let (_, said) = verify("[Service]\nProtectClok=no\n");
        assert!(said.contains("ProtectClok"), "a misspelt key passes: {said}");
        fs::remove_file(place.join(name)).expect("removed");
    }
}

#[test]
fn the_user_and_the_folders_are_as_systemd_wants_them() {
    let root = tempfile::tempdir().expect("a folder");
    fs::create_dir_all(root.path().join("etc")).expect("a folder");
    let at = format!("--root={}", root.path().display());
    let users = tree().join("systemd/outlast.sysusers");
    let (well, said) = tool("systemd-sysusers", "systemd", &[&at, users.to_str().expect("a path")]);
    assert!(well, "{said}");
    let passwd = fs::read_to_string(root.path().join("etc/passwd")).expect("users");
    let group = fs::read_to_string(root.path().join("etc/group")).expect("groups");
    assert!(
        passwd.lines().any(|l| l.starts_with("outlast:") && l.ends_with("nologin")),
        "{passwd}"
    );
    for name in ["outlast:", "i2c:", "video:"] {
        assert!(group.lines().any(|l| l.starts_with(name)), "{name} is missing in {group}");
    }
}

#[test]
fn the_rule_opens_the_buses_to_their_group_only() {
    let rules = fs::read_to_string(tree().join("systemd/outlast.rules")).expect("the rules");
    let lines: Vec<&str> =
        rules.lines().filter(|l| !l.starts_with('#') && !l.trim().is_empty()).collect();
    assert!(!lines.is_empty());
    // How a power monitor averages is its owner's.
    assert!(lines.iter().all(|l| !l.contains("ATTR{")), "{lines:?}");
    // What is run sees a device's name as a word of its own, never a shell; and only a plain name.
    let runs: Vec<&str> =
        lines.iter().filter_map(|l| l.split_once("RUN+=\"")).map(|it| it.1).collect();
    assert!(runs.len() >= 4, "{lines:?}");
    for run in runs {
        let mut words = run.trim_end_matches('"').split(' ');
        let what = (words.next(), words.next());
        assert!(
            matches!(what, (Some("/usr/bin/chgrp"), Some("outlast")))
                || matches!(what, (Some("/usr/bin/chmod"), Some("g+w"))),
            "{run}"
        );
        assert!(words.all(|word| word.starts_with("/sys%p/")), "{run}");
    }
    let guard = lines.iter().position(|l| l.starts_with("KERNEL==\"*[!0-9A-Za-z:_.-]*\", GOTO="));
    let first = lines.iter().position(|l| l.contains("RUN+="));
    assert!(guard.is_some() && guard < first, "{lines:?}");
    // The LEDs are no device nodes; the nodes go to a group and to nobody else.
    for line in lines.iter().filter(|l| l.starts_with("SUBSYSTEM==")) {
        assert!(line.contains("GROUP=\"") && line.contains("MODE=\"0660\""), "{line}");
    }
    assert!(lines.iter().any(|l| l.contains("SUBSYSTEM==\"i2c-dev\"")));
}

#[test]
fn the_service_speaks_to_systemd() {
    use std::{os::unix::net::UnixDatagram, time::Duration};
    let home = crate::support::home();
    let board = crate::support::Board::with_sensor();
    let socket = home.path().join("notify.sock");
    let heard = UnixDatagram::bind(&socket).expect("a socket");
    heard.set_read_timeout(Some(Duration::from_secs(10))).expect("a time limit");
    let mut command = crate::support::outlast(home.path());
    command
        .args(["run", "--listen", "127.0.0.1:0", "--sysroot"])
        .arg(board.path(""))
        .env("NOTIFY_SOCKET", &socket)
        .env("WATCHDOG_USEC", "6000000")
        .env("JOURNAL_STREAM", "8:1");
    let mut daemon = crate::support::Daemon::of(command);
    let mut words = String::new();
    let mut hear = |until: &str| {
        let mut buffer = [0; 4096];
        while !words.contains(until) {
            let n = heard
                .recv(&mut buffer)
                .unwrap_or_else(|why| panic!("no {until}: {why}; heard {words}"));
            words.push_str(&String::from_utf8_lossy(&buffer[..n]));
            words.push('\n');
        }
    };
    hear("READY=1");
    hear("WATCHDOG=1");
    hear("STATUS=");
    // Lines carry their weight as the journal reads it: sd-daemon(3), 6 is information.
    assert!(daemon.said().contains("<6>found: INA226"), "{}", daemon.said());
    assert_eq!(daemon.end("TERM").code(), Some(0));
    hear("STOPPING=1");
}

/// Runs a script of `systemd/`; gives what it printed.
fn script(name: &str, argument: &str, settings: &[(&str, &str)]) -> String {
    let out = Command::new(tree().join("systemd").join(name))
        .arg(argument)
        .env("CARGO", env!("CARGO"))
        .env("CARGO_NET_OFFLINE", "true")
        .envs(settings.iter().copied())
        .output()
        .expect("the script can be run");
    assert!(out.status.success(), "{name}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).expect("text")
}

fn files_below(folder: &Path) -> Vec<String> {
    let (mut open, mut found) = (vec![folder.to_owned()], Vec::new());
    while let Some(next) = open.pop() {
        for entry in fs::read_dir(next).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                open.push(path);
            } else {
                found.push(format!("/{}", path.strip_prefix(folder).expect("below").display()));
            }
        }
    }
    found.sort();
    found
}

#[test]
fn the_scripts_make_the_man_pages_and_lay_everything_out_for_a_package() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_str().expect("a path").to_owned();
    script("man-pages", &path("man"), &[]);
    for command in ["", "-run", "-now", "-check", "-pin", "-outing-show", "-bank-add", "-export"] {
        let page = folder.path().join(format!("man/outlast{command}.1"));
        let text = fs::read_to_string(&page).unwrap_or_else(|why| panic!("{page:?}: {why}"));
        assert!(text.contains(".TH outlast"), "{page:?}");
    }
    let (man, root) = (path("man"), path("root"));
    let told = [("BINARY", BINARY), ("MAN", man.as_str())];
    script("install", &root, &told);
    let there = files_below(Path::new(&root));
    let mut listed: Vec<_> =
        script("install", "--list", &told).lines().map(str::to_owned).collect();
    listed.sort();
    assert_eq!(there, listed);
    // Every file that is shipped has its place, and the unit finds its binary.
    for name in ["outlast.service", "outlast-poweroff.service", "outlast-poweroff.path"] {
        assert!(there.contains(&format!("/usr/lib/systemd/system/{name}")), "{name}: {there:?}");
    }
    for (name, place) in [
        ("outlast.sysusers", "/usr/lib/sysusers.d/outlast.conf"),
        ("outlast.rules", "/usr/lib/udev/rules.d/70-outlast.rules"),
        ("outlast.toml", "/usr/share/doc/outlast/outlast.toml"),
        ("clock.conf", "/usr/share/doc/outlast/clock.conf"),
        ("commands.conf", "/usr/share/doc/outlast/commands.conf"),
    ] {
        let ours = fs::read(tree().join("systemd").join(name)).expect("shipped");
        assert_eq!(fs::read(format!("{root}{place}")).expect("installed"), ours, "{name}");
    }
    assert!(there.contains(&"/usr/bin/outlast".to_owned()) && there.len() > 20, "{there:?}");
}
