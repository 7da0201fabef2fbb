//! Webhooks against a server that refuses, fails, hangs, closes and comes back.

use std::{net::TcpListener, path::Path, time::Duration};

use alert::{Dispatcher, Template, Webhook};

use crate::{
    notification, now, runtime,
    server::{Does, Server},
    until, urgent,
};

const FAST: Duration = Duration::from_millis(40);

fn hook(url: &str) -> Webhook {
    Webhook::new(url, Template::own(), &[], Duration::from_millis(500))
        .unwrap()
        .retrying_after(FAST)
}

fn start(hooks: Vec<Webhook>, state: Option<&Path>) -> Dispatcher {
    let (dispatcher, workers) = Dispatcher::new(hooks, Vec::new(), state, &now());
    for worker in workers {
        tokio::spawn(worker);
    }
    dispatcher
}

fn bodies(server: &Server) -> Vec<String> {
    server
        .heard()
        .iter()
        .map(|heard| {
            let read: serde_json::Value = serde_json::from_str(&heard.body).unwrap();
            read["text"].as_str().unwrap().to_owned()
        })
        .collect()
}

#[test]
fn a_letter_outlives_every_trouble_and_arrives_once() {
    let server = Server::doing(&[
        Does::Answers(500, ""),
        Does::Hangs,
        Does::Answers(429, "Retry-After: 1\r\n"),
        Does::Closes,
        Does::Answers(503, ""),
        Does::Answers(204, ""),
    ]);
    runtime().block_on(async {
        let dispatcher = start(vec![hook(&server.url())], None);
        dispatcher.send(&notification("first"));
        dispatcher.send(&notification("second"));
        until("the second letter", || bodies(&server).contains(&"second".to_owned())).await;
        tokio::time::sleep(Duration::from_millis(300)).await;
    });
    // Six tries of the first, in order before the second; then nothing more.
    let want: Vec<&str> = std::iter::repeat_n("first", 6).chain(["second"]).collect();
    assert_eq!(bodies(&server), want);
    let heard = server.heard();
    let head = heard[0].head.to_lowercase();
    assert!(head.starts_with("post /warn?key=secret http/1.1\r\n"), "{head}");
    assert!(head.contains("content-type: application/json\r\n"), "{head}");
    // A receiver can tell a repeat by its id (RFC 9110, 9.2.2: a POST may arrive twice).
    assert!(heard[..6].iter().all(|one| one.body == heard[0].body));
}

#[test]
fn what_a_server_will_never_take_is_given_up_at_once() {
    let server = Server::doing(&[
        Does::Answers(404, ""),
        Does::Answers(307, "Location: http://127.0.0.1:9/\r\n"),
        Does::Answers(200, ""),
    ]);
    runtime().block_on(async {
        let dispatcher = start(vec![hook(&server.url())], None);
        for text in ["gone", "moved", "taken"] {
            dispatcher.send(&notification(text));
        }
        until("the third letter", || bodies(&server).len() == 3).await;
    });
    assert_eq!(bodies(&server), ["gone", "moved", "taken"]);
}

#[test]
fn a_server_that_is_not_there_yet_gets_what_waited_even_after_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    // A port that was free a moment ago: connections are refused.
    let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let url = format!("http://{address}/");
    let file = folder.path().join("letters-0.json");
    runtime().block_on(async {
        let dispatcher = start(vec![hook(&url)], Some(folder.path()));
        dispatcher.send(&notification("one"));
        dispatcher.send(&urgent("two"));
        until("both on the card", || {
            std::fs::read_to_string(&file).is_ok_and(|text| text.contains("two"))
        })
        .await;
        tokio::time::sleep(Duration::from_millis(200)).await;
    });
    // That run is over; the server comes up, and a new run delivers in order.
    let server = Server::at(address, &[Does::Answers(200, "")]);
    runtime().block_on(async {
        let dispatcher = start(vec![hook(&url)], Some(folder.path()));
        dispatcher.send(&notification("three"));
        until("all three", || bodies(&server).len() == 3).await;
        until("an empty list", || !file.exists()).await;
    });
    assert_eq!(bodies(&server), ["one", "two", "three"]);
}

#[test]
fn a_card_that_hangs_delays_no_warning_and_nothing_else_on_the_runtime() {
    use rustix::fs::{CWD, FileType, Mode, mknodat};
    let (folder, server) = (tempfile::tempdir().unwrap(), Server::doing(&[Does::Answers(200, "")]));
    // Stands in for the card: opening a pipe to write waits until somebody reads (fifo(7)).
    let hangs = folder.path().join("letters-0.new");
    mknodat(CWD, &hangs, FileType::Fifo, Mode::RUSR | Mode::WUSR, 0).unwrap();
    let release = hangs.clone();
    runtime().block_on(async {
        let dispatcher = start(vec![hook(&server.url())], Some(folder.path()));
        let began = std::time::Instant::now();
        for text in ["one", "two", "three"] {
            dispatcher.send(&notification(text));
        }
        until("all three", || bodies(&server).len() == 3).await;
        assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
        assert!(!folder.path().join("letters-0.json").exists(), "it hangs still");
        // Let go, so that the test can end.
        tokio::task::spawn_blocking(move || std::fs::read(release)).await.unwrap().unwrap();
    });
}

#[test]
fn one_that_hangs_delays_no_other() {
    let (slow, quick) = (Server::doing(&[Does::Hangs]), Server::doing(&[Does::Answers(200, "")]));
    runtime().block_on(async {
        let dispatcher = start(vec![hook(&slow.url()), hook(&quick.url())], None);
        let began = std::time::Instant::now();
        dispatcher.send(&notification("now"));
        until("the quick one", || bodies(&quick).len() == 1).await;
        assert!(began.elapsed() < Duration::from_millis(400), "{:?}", began.elapsed());
    });
}

#[test]
fn the_owners_body_and_headers_are_sent() {
    let server = Server::doing(&[Does::Answers(200, "")]);
    let body = Template::parse("{\"content\": \"{text} {advice}\"}", true).unwrap();
    let key = [("Authorization".to_owned(), "Bearer abc".to_owned())];
    let hook = Webhook::new(&server.url(), body, &key, Duration::from_secs(2)).unwrap();
    assert!(!hook.title().contains("secret"), "a log never shows a key: {}", hook.title());
    assert!(!format!("{hook:?}").contains("abc"), "{hook:?}");
    let tried = runtime().block_on(Dispatcher::test_all(
        &[hook],
        &[],
        &notification("He said \"now\""),
        &now(),
    ));
    assert!(tried[0].well, "{tried:?}");
    let heard = server.heard();
    let read: serde_json::Value = serde_json::from_str(&heard[0].body).unwrap();
    assert_eq!(read["content"], "He said \"now\" There is nothing to do.");
    assert!(heard[0].head.to_lowercase().contains("authorization: bearer abc"));
}

#[test]
fn a_try_says_what_happened() {
    let refused = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let cases = [
        (Server::doing(&[Does::Answers(403, "")]).url(), "refused access"),
        (Server::doing(&[Does::Answers(503, "")]).url(), "just now"),
        (Server::doing(&[Does::Hangs]).url(), "in time"),
        (format!("http://{refused}/"), "cannot be reached"),
    ];
    for (url, want) in cases {
        let tried = runtime().block_on(Dispatcher::test_all(
            &[hook(&url)],
            &[],
            &notification("a test"),
            &now(),
        ));
        assert!(!tried[0].well && tried[0].said.contains(want), "{tried:?}");
        assert!(tried[0].said.ends_with('.') && !tried[0].said.contains("secret"), "{tried:?}");
    }
}

#[cfg(not(feature = "tls"))]
#[test]
fn without_encryption_an_address_that_needs_it_is_refused_with_what_to_build() {
    let why = Webhook::new("https://host.example/", Template::own(), &[], FAST).unwrap_err();
    assert!(why.contains("--features tls"), "{why}");
}

#[test]
fn addresses_that_cannot_be_are_refused() {
    for (url, want) in [("heron", "not a web address"), ("ftp://host/", "not http")] {
        let why = Webhook::new(url, Template::own(), &[], FAST).unwrap_err();
        assert!(why.contains(want), "{url}: {why}");
    }
    let header = [("Bad name".to_owned(), "x".to_owned())];
    assert!(Webhook::new("http://host/", Template::own(), &header, FAST).is_err());
}
