//! What only a terminal is shown: codes for a phone's camera.

use std::{
    fs::File,
    io::Read,
    os::unix::ffi::OsStrExt,
    path::Path,
    process::{Child, Command, Stdio},
    sync::{Arc, Mutex},
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

use crate::support::{Board, end_of, home, outlast};

/// A line of a code begins with its colours.
const INK: &str = "\u{1b}[0;30;47m";

/// Started with a terminal for its output, and what it has printed there so far.
fn on_terminal(command: &mut Command, term: &str) -> (Child, Arc<Mutex<String>>, JoinHandle<()>) {
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a terminal");
    grantpt(&master).and_then(|()| unlockpt(&master)).expect("a terminal");
    let name = ptsname(&master, Vec::new()).expect("its name");
    let name = Path::new(std::ffi::OsStr::from_bytes(name.as_bytes())).to_owned();
    let end = File::options().read(true).write(true).open(name).expect("its other end");
    let child = command.env("TERM", term).stdin(Stdio::null()).stdout(end).stderr(Stdio::null());
    let child = child.spawn().expect("the binary starts");
    let said = Arc::new(Mutex::new(String::new()));
    let (told, mut from, mut part) = (Arc::clone(&said), File::from(master), [0; 4096]);
    let reads = thread::spawn(move || {
        let mut bytes = Vec::new();
        // When the last writer has gone, reading fails.
        while let Ok(some @ 1..) = from.read(&mut part) {
            bytes.extend_from_slice(&part[..some]);
            *told.lock().expect("not poisoned") = String::from_utf8_lossy(&bytes).into_owned();
        }
    });
    (child, said, reads)
}

/// Killed when dropped.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        // It may have ended already, which is all that is wanted.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn wait_for(said: &Mutex<String>, holds: impl Fn(&str) -> bool) -> String {
    let began = Instant::now();
    loop {
        let told = said.lock().expect("not poisoned").clone();
        if holds(&told) {
            return told;
        }
        assert!(began.elapsed() < Duration::from_secs(30), "waited in vain; it said: {told}");
        thread::sleep(Duration::from_millis(50));
    }
}

/// The printed code's lines.
fn code(said: &str) -> Vec<&str> {
    said.lines().filter(|line| line.starts_with(INK)).collect()
}

fn run(board: &Board, home: &Path) -> Command {
    let mut command = outlast(home);
    let root = board.path("");
    command.args(["run", "--listen", "0.0.0.0:0", "--sysroot"]).arg(root);
    command
}

fn pin(home: &Path, term: &str) -> String {
    let mut command = outlast(home);
    let (mut child, said, reads) = on_terminal(command.arg("pin"), term);
    assert!(child.wait().expect("it ends").success());
    // The terminal goes with the last who writes to it.
    drop(command);
    reads.join().expect("it is read to its end");
    said.lock().expect("not poisoned").clone()
}

#[test]
fn a_terminal_shows_the_address_to_a_camera_and_a_journal_gets_no_drawing() {
    let (board, home) = (Board::bare(), home());
    let mut command = run(&board, home.path());
    let (child, said, _) = on_terminal(&mut command, "xterm");
    let _running = Running(child);
    let start = wait_for(&said, |said| said.contains("outlast check"));
    let reached = if_addrs::get_if_addrs().expect("interfaces");
    // A machine without a network has nothing that a phone could open.
    if reached.iter().any(|one| one.ip().is_ipv4() && !one.is_loopback()) {
        // Version 2 or 3 of ISO/IEC 18004 with its quiet zone, two modules a line.
        let start = wait_for(&said, |said| (17..=19).contains(&code(said).len()));
        let first = start.split("http://").nth(1).expect("an address");
        let first = first.split('/').next().expect("an address");
        assert!(start.contains(&format!("camera at this (http://{first}/):")), "{start}");
        let pin = pin(home.path(), "xterm");
        assert!(pin.contains(&format!("http://{first}/pair?code=")), "{pin}");
        assert!((17..=21).contains(&code(&pin).len()), "{pin}");
    } else {
        assert!(!start.contains("camera"), "{start}");
    }
    assert!(code(&pin(home.path(), "dumb")).is_empty());
    let piped = end_of(outlast(home.path()).arg("pin"));
    assert!(piped.code == Some(0) && !piped.out.contains('\u{1b}'), "{}{}", piped.out, piped.err);
}
