//! What a start says: where the page is, how a phone is paired, where things are kept, what was
//! found; and what it says when it cannot start.

use std::{
    fmt::Write as _,
    io::{self, ErrorKind, Write as _},
    net::{IpAddr, SocketAddr},
    path::Path,
};

use reckon::{
    reading::{Role, SourceState},
    snapshot::Snapshot,
    words,
};
use web::Pin;

use crate::host::qr;

/// What there is to say.
pub(crate) struct Banner<'a> {
    /// Where the page is served.
    pub(crate) listen: SocketAddr,
    /// The settings file, if there was one.
    pub(crate) settings: Option<&'a Path>,
    /// Where choices and the record are kept.
    pub(crate) state: Option<&'a Path>,
    /// What was found.
    pub(crate) snapshot: &'a Snapshot,
    /// The pairing code.
    pub(crate) pin: &'a Pin,
    /// What is wrong with the folders.
    pub(crate) trouble: Option<&'a str>,
}

/// Says it on standard output; on a terminal, the address as a code for a phone's camera comes last,
/// where nothing pushes it away.
pub(crate) fn say(welcome: &Banner<'_>) {
    print(&text(welcome, &addresses(welcome.listen)));
    if qr::shown_here()
        && let Some(address) = for_phones(welcome.listen)
    {
        print(&scanned(&address));
    }
}

/// An address as a code, and what to do with it.
pub(crate) fn scanned(address: &str) -> String {
    let drawn = qr::drawn(address).unwrap_or_default();
    format!("{}\n{drawn}", words::terminal::scan(&address))
}

/// The address of the page that a phone can most likely use; `None` if it is served to this board only.
pub(crate) fn for_phones(listen: SocketAddr) -> Option<String> {
    let first = addresses(listen).into_iter().next()?;
    let reached = first.parse().is_ok_and(|it: SocketAddr| !it.ip().is_loopback());
    reached.then(|| format!("http://{first}/"))
}

/// Writes to standard output; a reader who has gone is no reason to stop.
pub(crate) fn print(text: &str) {
    let mut out = io::stdout().lock();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

fn text(w: &Banner<'_>, addresses: &[String]) -> String {
    let mut said = String::new();
    let mut line = |text: &str| {
        // Writing to a string cannot fail.
        let _ = writeln!(said, "{text}");
    };
    if w.snapshot.demo.is_some() {
        line(words::terminal::PLAYS);
    }
    line(words::terminal::OPEN_PAGE);
    for address in addresses {
        line(&format!("  http://{address}/"));
    }
    if w.snapshot.demo.is_some() {
        line(words::terminal::ALL_MAY_CHANGE);
    }
    let minutes = w.pin.good_for.as_secs().div_ceil(60);
    if w.snapshot.demo.is_none() {
        line(&words::terminal::code(&w.pin.in_groups(), &minutes));
    }
    match w.settings {
        Some(path) => line(&format!("Settings: {}", path.display())),
        None => line(words::terminal::NO_SETTINGS),
    }
    match (w.state, w.trouble) {
        (Some(folder), _) => {
            line(&words::terminal::kept_in(&folder.display()));
        }
        (None, None) => line(words::terminal::NOTHING_KEPT),
        (None, Some(why)) => line(&words::terminal::lost_at_restart(&why)),
    }
    for found in found(w.snapshot) {
        line(&found);
    }
    said
}

/// The board and the sensors that count, in a line each.
fn found(snapshot: &Snapshot) -> Vec<String> {
    let mut lines = vec![format!(
        "Board: {}",
        snapshot.facts.model.as_deref().unwrap_or(words::terminal::UNKNOWN_BOARD)
    )];
    let power = snapshot.sources.iter().filter(|s| s.role != Role::NotCounted);
    lines.extend(power.map(|source| match source.state {
        SourceState::Live => format!("Sensor: {}", source.title),
        SourceState::Silent { .. } => words::terminal::sensor_silent(&source.title),
        SourceState::LeftAlone => words::terminal::sensor_left_alone(&source.title),
    }));
    if lines.len() == 1 {
        lines.push(words::terminal::NO_SENSOR.to_owned());
    }
    lines.push(words::terminal::SEE_CHECK.to_owned());
    lines
}

/// Every address under which the page can be asked for.
fn addresses(listen: SocketAddr) -> Vec<String> {
    let port = listen.port();
    if !listen.ip().is_unspecified() {
        return vec![listen.to_string()];
    }
    let mut all: Vec<(String, IpAddr)> = if_addrs::get_if_addrs()
        .unwrap_or_default()
        .into_iter()
        .map(|one| (one.name.clone(), one.ip()))
        .filter(|(_, ip)| listen.is_ipv6() || ip.is_ipv4())
        .filter(|(_, ip)| !matches!(ip, IpAddr::V6(v6) if v6.is_unicast_link_local()))
        .collect();
    all.sort_by_key(|(name, ip)| likely_last(name, *ip));
    all.into_iter().map(|(_, ip)| SocketAddr::new(ip, port).to_string()).collect()
}

/// In the order in which a phone can likely use them: by radio (systemd.net-naming-scheme(7) has such
/// names begin with `wl`; `ap` is common practice for a second one), by wire, the board itself.
fn likely_last(name: &str, ip: IpAddr) -> (bool, bool, bool) {
    (ip.is_loopback(), !name.starts_with("wl") && !name.starts_with("ap"), ip.is_ipv6())
}

/// The board's own names, under which a browser may ask for the page.
pub(crate) fn own_names(mut told: Vec<String>) -> Vec<String> {
    let name = rustix::system::uname();
    let name = name.nodename().to_string_lossy().to_ascii_lowercase();
    if !name.is_empty() {
        told.push(format!("{name}.local"));
        told.push(name);
    }
    told
}

/// Why the port cannot be had.
pub(crate) fn port_refused(listen: SocketAddr, why: &io::Error) -> String {
    let port = listen.port();
    match why.kind() {
        ErrorKind::AddrInUse => words::terminal::port_taken(
            &port,
            &(SocketAddr::new(listen.ip(), port.checked_add(1).unwrap_or(8073))),
        ),
        ErrorKind::PermissionDenied => {
            words::terminal::port_denied(&port, &(SocketAddr::new(listen.ip(), 8073)))
        }
        ErrorKind::AddrNotAvailable => words::terminal::no_such_address(&listen.ip()),
        _ => words::terminal::not_served(&listen, &why),
    }
}

/// Another outlast answers on the socket.
pub(crate) fn already_runs(socket: &Path) -> String {
    words::terminal::runs_already(&socket.display())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    use reckon::{
        engine::{Engine, Setup},
        time::{Mono, Stamp, Trust, Wall},
    };

    #[test]
    fn a_start_says_where_the_page_is_and_what_is_missing() {
        let wall = Wall::from_unix_ms(0);
        let at = Stamp { mono: Mono::at_s(9.0), wall, trust: Trust::Unset, utc_offset_s: 0 };
        let snapshot = Engine::new(Setup::default(), at).tick(at);
        let pin = Pin { code: "004711000815".into(), good_for: Duration::from_secs(299) };
        let listen = SocketAddr::from(([0, 0, 0, 0], 8073));
        let trouble = Some("There is no home folder to keep anything in");
        let w =
            Banner { listen, settings: None, state: None, snapshot: &snapshot, pin: &pin, trouble };
        let said = text(&w, &["192.0.2.7:8073".to_owned(), "127.0.0.1:8073".to_owned()]);
        for line in [
            "  http://192.0.2.7:8073/\n  http://127.0.0.1:8073/\n",
            "enter this code on it: 0047 1100 0815 (valid for 5 min;",
            "no home folder to keep anything in; your choices are lost at a restart",
            "No sensor sees the bank",
        ] {
            assert!(said.contains(line), "`{line}` is missing in:\n{said}");
        }
    }

    #[test]
    fn every_network_is_named_and_the_board_itself_last() {
        let all = addresses(SocketAddr::from(([0, 0, 0, 0], 80)));
        assert!(all.last().is_some_and(|last| last.starts_with("127.")), "{all:?}");
        let here = SocketAddr::from(([127, 0, 0, 1], 81));
        assert_eq!((addresses(here), for_phones(here)), (vec!["127.0.0.1:81".to_owned()], None));
        let there = SocketAddr::from(([192, 0, 2, 7], 8073));
        assert_eq!(for_phones(there).as_deref(), Some("http://192.0.2.7:8073/"));
        let ip = |text: &str| text.parse::<IpAddr>().unwrap();
        let mut all = [
            ("lo", ip("127.0.0.1")),
            ("eth0", ip("192.0.2.7")),
            ("wlan0", ip("2001:db8::7")),
            ("wlan0", ip("198.51.100.1")),
        ];
        all.sort_by_key(|(name, ip)| likely_last(name, *ip));
        let order = all.map(|(_, ip)| ip.to_string());
        assert_eq!(order, ["198.51.100.1", "2001:db8::7", "192.0.2.7", "127.0.0.1"]);
    }

    #[test]
    fn a_port_that_cannot_be_had_is_said_with_a_way_out() {
        let listen = SocketAddr::from(([0, 0, 0, 0], 80));
        let said = |kind: ErrorKind| port_refused(listen, &io::Error::from(kind));
        assert!(said(ErrorKind::AddrInUse).contains("--listen 0.0.0.0:81"));
        assert!(said(ErrorKind::PermissionDenied).contains("--listen 0.0.0.0:8073"));
        assert!(said(ErrorKind::AddrNotAvailable).contains("0.0.0.0"));
    }
}
