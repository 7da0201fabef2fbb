//! Webhooks over https, against a real server with certificates of the test's own (made by rcgen,
//! served by rustls), at times of the test's own.

use std::{
    io::{Read, Write},
    net::{SocketAddr, TcpListener, TcpStream},
    sync::{Arc, Mutex, PoisonError},
    time::Duration,
};

use alert::{ChannelTest, Dispatcher, Now, Template, Webhook};
use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, IsCa, KeyPair, date_time_ymd};
use reckon::time::{Mono, Stamp, Trust, Wall};
use rustls::{
    ServerConfig, ServerConnection, StreamOwned,
    crypto::ring,
    pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer},
};

use crate::{
    notification, runtime,
    server::{Does, Server},
    until,
};

/// Seconds since 1970, as `date -u -d` gives them. The certificates count in the year 2026.
const MIDDLE_OF_2026: i64 = 1_781_524_800;
/// 2027-03-01 08:30 UTC.
const AFTER: i64 = 1_803_889_800;
/// 2000-01-01 00:07 UTC: a board without a clock battery, seven minutes after it was switched on.
const BOARD_WAKES: i64 = 946_685_220;

const TAKES: &[Does] = &[Does::Answers(204, "")];

/// A clock that is set by hand.
#[derive(Clone)]
struct Hand(Arc<Mutex<(i64, Trust)>>);

impl Hand {
    fn at(unix_s: i64, trust: Trust) -> Self {
        Self(Arc::new(Mutex::new((unix_s, trust))))
    }

    fn set(&self, unix_s: i64, trust: Trust) {
        *self.0.lock().unwrap() = (unix_s, trust);
    }

    /// Boot time goes on by itself, so that patience ends.
    fn now(&self) -> Now {
        let (hand, boot) = (self.clone(), crate::now());
        Arc::new(move || {
            let (unix_s, trust) = *hand.0.lock().unwrap_or_else(PoisonError::into_inner);
            let mono: Mono = boot().mono;
            Stamp { mono, wall: Wall::from_unix_ms(unix_s * 1000), trust, utc_offset_s: 0 }
        })
    }
}

/// A server whose certificate counts in 2026 for this name, and the root that signed it.
fn server(name: &str) -> (Server, String) {
    server_that(name, false)
}

/// The same; `signs` makes it a certificate that may sign others, as some tools make it.
fn server_that(name: &str, signs: bool) -> (Server, String) {
    let this_year = |params: &mut CertificateParams| {
        params.not_before = date_time_ymd(2026, 1, 1);
        params.not_after = date_time_ymd(2027, 1, 1);
    };
    let mut root = CertificateParams::new([]).unwrap();
    this_year(&mut root);
    root.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    let root = CertifiedIssuer::self_signed(root, KeyPair::generate().unwrap()).unwrap();
    let key = KeyPair::generate().unwrap();
    let mut leaf = CertificateParams::new([name.to_owned()]).unwrap();
    this_year(&mut leaf);
    if signs {
        leaf.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    }
    let leaf = leaf.signed_by(&key, &root).unwrap();
    let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
    let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(vec![leaf.der().clone()], key)
        .unwrap();
    let config = Arc::new(config);
    let wrap = move |guest: TcpStream| {
        StreamOwned::new(ServerConnection::new(Arc::clone(&config)).unwrap(), guest)
    };
    (Server::through("127.0.0.1:0".parse().unwrap(), TAKES, wrap), root.pem())
}

fn hook(address: SocketAddr, root: Option<&str>) -> Webhook {
    let url = format!("https://{address}/warn?key=secret");
    let hook = Webhook::new(&url, Template::own(), &[], Duration::from_secs(5)).unwrap();
    assert!(hook.is_encrypted());
    match root {
        Some(pem) => hook.believing_only(pem.as_bytes()).unwrap(),
        None => hook,
    }
}

fn attempt(address: SocketAddr, root: Option<&str>, unix_s: i64, trust: Trust) -> ChannelTest {
    let now = Hand::at(unix_s, trust).now();
    let hooks = [hook(address, root)];
    let mut tried =
        runtime().block_on(Dispatcher::test_all(&hooks, &[], &notification("a test"), &now));
    let tried = tried.remove(0);
    assert!(!tried.channel.contains("secret") && !tried.said.contains("secret"), "{tried:?}");
    tried
}

#[test]
fn a_server_with_a_good_certificate_takes_the_message() {
    let (server, root) = server("127.0.0.1");
    let tried = attempt(server.address, Some(&root), MIDDLE_OF_2026, Trust::Synchronised);
    assert!(tried.well, "{tried:?}");
    assert!(tried.channel.starts_with("https://127.0.0.1:"), "{tried:?}");
    let heard = server.heard();
    assert_eq!(heard.len(), 1);
    assert!(heard[0].head.starts_with("POST /warn?key=secret HTTP/1.1\r\n"), "{}", heard[0].head);
    assert!(heard[0].body.contains("a test"), "{}", heard[0].body);
}

#[test]
fn a_certificate_that_cannot_be_believed_hears_nothing_and_the_reason_is_said() {
    let (good, root) = server("127.0.0.1");
    let (other_name, other_root) = server("heron.example");
    let (signs, signs_root) = server_that("127.0.0.1", true);
    let whole = Trust::Synchronised;
    let cases = [
        (&good, Some(&root), AFTER, whole, "expired on 2027-01-01 00:00 UTC, and it is 2027-03-01"),
        (&good, Some(&root), AFTER, Trust::Unset, "which has not been set, says 2027-03-01 08:30"),
        (&good, Some(&root), BOARD_WAKES, whole, "only from 2026-01-01 00:00 UTC, and it is 2000"),
        (&good, Some(&root), BOARD_WAKES, Trust::Unset, "has not been set, says 2000-01-01 00:07"),
        (
            &good,
            Some(&root),
            BOARD_WAKES,
            Trust::Phone,
            "either this board's clock or the server's",
        ),
        (&other_name, Some(&other_root), MIDDLE_OF_2026, whole, "is for another name"),
        (&good, Some(&other_root), MIDDLE_OF_2026, whole, "what ca_file in the settings names"),
        (&signs, Some(&signs_root), MIDDLE_OF_2026, whole, "is for signing others"),
        // The roots of the public web have not signed it.
        (&good, None, MIDDLE_OF_2026, whole, "signed by an unknown authority"),
    ];
    for (server, root, at, trust, want) in cases {
        let tried = attempt(server.address, root.map(String::as_str), at, trust);
        assert!(!tried.well && tried.said.contains(want), "{want}: {tried:?}");
    }
    assert!(good.heard().is_empty() && other_name.heard().is_empty(), "the key was given away");
}

#[test]
fn one_that_does_not_speak_encryption_is_said() {
    // A web server that takes the greeting for a broken request answers 400 (RFC 9112, 2.2).
    let door = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = door.local_addr().unwrap();
    std::thread::spawn(move || {
        let (mut guest, _) = door.accept().unwrap();
        let _ = guest.read(&mut [0; 4096]).unwrap();
        guest.write_all(b"HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n").unwrap();
    });
    let tried = attempt(address, None, MIDDLE_OF_2026, Trust::Synchronised);
    assert!(!tried.well && tried.said.contains("encryption cannot be agreed on"), "{tried:?}");
}

#[test]
fn what_waited_for_the_clock_is_delivered_once_somebody_has_set_it() {
    let (server, root) = server("127.0.0.1");
    let hand = Hand::at(BOARD_WAKES, Trust::Unset);
    runtime().block_on(async {
        let hook = hook(server.address, Some(&root)).retrying_after(Duration::from_millis(40));
        let (dispatcher, workers) = Dispatcher::new(vec![hook], Vec::new(), None, &hand.now());
        for worker in workers {
            tokio::spawn(worker);
        }
        dispatcher.send(&notification("early"));
        tokio::time::sleep(Duration::from_millis(300)).await;
        assert!(server.heard().is_empty());
        hand.set(MIDDLE_OF_2026, Trust::Phone);
        until("the letter", || server.heard().len() == 1).await;
    });
}

#[test]
fn a_file_that_holds_no_certificate_is_refused() {
    let (server, _) = server("127.0.0.1");
    let broken = "-----BEGIN CERTIFICATE-----\naGVyb24=\n-----END CERTIFICATE-----\n";
    for (pem, want) in [("", "no certificate"), ("Heron", "no certificate"), (broken, "broken")] {
        let why = hook(server.address, None).believing_only(pem.as_bytes()).unwrap_err();
        assert!(why.contains(want), "{pem}: {why}");
    }
}
