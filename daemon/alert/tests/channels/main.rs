//! The channels against real things: a web server on the loopback address, real programs, and a
//! folder that keeps to the ABI of the kernel's LED class.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod commands;
mod lamps;
mod server;
mod switch;
#[cfg(feature = "tls")]
mod tls;
mod webhooks;

use std::{
    sync::Arc,
    time::{Duration, Instant},
};

use alert::{Notification, Now};
use reckon::time::{Mono, Stamp, Trust, Wall};

/// The time of a test: real, from its start.
fn now() -> Now {
    let began = Instant::now();
    Arc::new(move || Stamp {
        mono: Mono::since_boot(began.elapsed()),
        wall: Wall::from_unix_ms(0),
        trust: Trust::Unset,
        utc_offset_s: 0,
    })
}

fn notification(text: &str) -> Notification {
    Notification { id: text.to_owned(), ..Notification::test("Heron", text, None, 1.0) }
}

fn urgent(text: &str) -> Notification {
    Notification { urgent: true, ..notification(text) }
}

/// Waits for something, and says what was missing.
async fn until(what: &str, mut holds: impl FnMut() -> bool) {
    let began = Instant::now();
    while !holds() {
        assert!(began.elapsed() < Duration::from_secs(20), "{what} did not come");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap()
}
