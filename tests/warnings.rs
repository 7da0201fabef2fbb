//! Warnings from outside: the built binary tells a command and an LED, and tries every way out.

use std::{fs, path::Path, time::Duration};

use crate::support::{Board, Daemon, end_of, home, outlast};

const LED: &str = "sys/class/leds/ACT";

/// An LED as the kernel's LED class shows one (Documentation/ABI/testing/sysfs-class-led), with the
/// timer's files already there. Plain files: brackets do not move by themselves.
fn with_led(board: &Board) {
    for (name, text) in [
        ("trigger", "none [mmc0] timer default-on\n"),
        ("brightness", "0\n"),
        ("max_brightness", "255\n"),
        ("delay_on", "500\n"),
        ("delay_off", "500\n"),
    ] {
        board.put(&format!("{LED}/{name}"), text);
    }
}

fn trigger(board: &Board) -> String {
    fs::read_to_string(board.path(&format!("{LED}/trigger"))).expect("the trigger")
}

fn settings(home: &Path, more: &str) -> std::path::PathBuf {
    let file = home.join("outlast.toml");
    let log = home.join("told");
    let text = format!(
        "station = \"Heron\"\n[alarms]\nled = \"ACT\"\n[[command]]\nprogram = \"/bin/sh\"\n\
         arguments = [\"-c\", \"echo $OUTLAST_STATION $OUTLAST_EVENT $OUTLAST_ABOUT >> $0\", {log:?}]\n{more}"
    );
    fs::write(&file, text).expect("a file");
    file
}

#[test]
fn a_lost_sensor_reaches_the_command_and_the_led_which_is_put_back() {
    let (home, board) = (home(), Board::with_sensor());
    with_led(&board);
    let file = settings(home.path(), "");
    let sysroot = board.path("");
    let mut command = outlast(home.path());
    command
        .args(["run", "--listen", "127.0.0.1:0", "--settings"])
        .arg(&file)
        .arg("--sysroot")
        .arg(&sysroot);
    let mut daemon = Daemon::of(command);
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    board.unbind();
    daemon.wait_until(|now| now["alarms"][0]["about"] == "sensor_silent");
    let told = || fs::read_to_string(home.path().join("told")).unwrap_or_default();
    for _ in 0..100 {
        if told().contains("raised") && trigger(&board) == "timer" {
            break;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    assert_eq!(told(), "Heron raised sensor_silent\n");
    assert_eq!(trigger(&board), "timer");
    assert_eq!(daemon.end("TERM").code(), Some(0));
    assert_eq!(trigger(&board), "mmc0", "as it was before");
}

#[test]
fn check_tries_every_way_out_and_says_what_happened() {
    let (home, board) = (home(), Board::bare());
    with_led(&board);
    let check = |file: &Path| {
        let mut command = outlast(home.path());
        command.args(["check", "--alarms", "--settings"]).arg(file);
        command.arg("--sysroot").arg(board.path(""));
        end_of(&mut command)
    };
    let ended = check(&settings(home.path(), ""));
    assert_eq!(ended.code, Some(0), "{}{}", ended.out, ended.err);
    for said in [
        "/bin/sh: It ended normally.",
        "LED ACT: It blinked",
        "unit is not enabled",
        "screen is off",
    ] {
        assert!(ended.out.contains(said), "{said} is missing in {}", ended.out);
    }
    assert_eq!(fs::read_to_string(home.path().join("told")).expect("told"), "Heron test\n");
    assert_eq!(trigger(&board), "mmc0");
    // A server that is not there: said, and the exit code tells.
    let nobody = std::net::TcpListener::bind("127.0.0.1:0").and_then(|it| it.local_addr());
    let hook = format!("[[webhook]]\nurl = \"http://{}/warn\"\n", nobody.expect("a port"));
    let ended = check(&settings(home.path(), &hook));
    assert_eq!(ended.code, Some(1), "{}", ended.out);
    assert!(ended.out.contains("It cannot be reached."), "{}", ended.out);
    assert!(ended.err.contains("1 of "), "{}", ended.err);
}

/// A web server that answers with these codes, one a request.
fn server(codes: &'static [&'static str]) -> std::net::SocketAddr {
    use std::io::{Read as _, Write as _};
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = listener.local_addr().expect("its address");
    std::thread::spawn(move || {
        for code in codes {
            let Ok((mut stream, _)) = listener.accept() else { return };
            let _ = stream.read(&mut [0; 8192]);
            let answer =
                format!("HTTP/1.1 {code}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n");
            let _ = stream.write_all(answer.as_bytes());
        }
    });
    address
}

#[test]
fn a_warning_that_took_two_attempts_says_so() {
    let (home, board) = (home(), Board::with_sensor());
    // RFC 9110, section 15.6.4: 503 says that it may be tried again.
    let address = server(&["503 Service Unavailable", "200 OK"]);
    let file = home.path().join("outlast.toml");
    fs::write(&file, format!("[[webhook]]\nurl = \"http://{address}/warn\"\n")).expect("a file");
    let mut command = outlast(home.path());
    command.args(["run", "--listen", "127.0.0.1:0", "--settings"]).arg(&file);
    command.arg("--sysroot").arg(board.path(""));
    let mut daemon = Daemon::of(command);
    daemon.wait_until(|now| now["supply"]["power_w"].is_number());
    board.unbind();
    for _ in 0..600 {
        if daemon.said().contains("after 2 attempts") {
            break;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    let said = daemon.said();
    assert!(said.contains("did not reach http://127.0.0.1"), "{said}");
    assert!(
        said.contains("delivered to http://127.0.0.1") && said.contains(" after 2 attempts"),
        "{said}"
    );
}
