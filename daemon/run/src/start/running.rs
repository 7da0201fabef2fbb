//! What runs: what its pages are made from, and its threads.

use std::{
    net::SocketAddr,
    path::Path,
    sync::{
        Arc,
        mpsc::{self, SyncSender},
    },
    thread::JoinHandle,
};

use axum::routing::get;
use reckon::{
    belief::last_end::StopHow,
    engine::{Command, Refusal},
    record::RecordCommand,
    snapshot::Snapshot,
    words,
};
use tokio::sync::{mpsc as tokio_mpsc, watch};
use web::{Pairing, RecordStatus, Request, Shown};

use crate::{
    commands::now::{FOR_PHONES, GLANCE},
    event_loop::event::Event,
    host::{banner, clock::Clock, now_text},
    record::{store_reader::StoreReader, update::Task},
};

/// What the pages are made from.
pub(super) struct Parts {
    pub(super) clock: Clock,
    pub(super) now: watch::Receiver<Arc<Snapshot>>,
    pub(super) asks: tokio_mpsc::Sender<Request<Command, Refusal>>,
    pub(super) asked: Option<tokio_mpsc::Receiver<Request<Command, Refusal>>>,
    pub(super) record_asks: tokio_mpsc::Sender<Request<RecordCommand>>,
    pub(super) record_asked: Option<tokio_mpsc::Receiver<Request<RecordCommand>>>,
    pub(super) record_status: watch::Receiver<Arc<RecordStatus>>,
    pub(super) past: Arc<StoreReader>,
    pub(super) pairing: Arc<Pairing>,
    pub(super) trouble: Option<String>,
    pub(super) hosts: Vec<String>,
    pub(super) demo: Option<Arc<dyn web::Demonstration>>,
}

impl Parts {
    /// Says where the page is and what was found.
    pub(super) fn say_banner(
        &self,
        listen: SocketAddr,
        settings: Option<&Path>,
        state: Option<&Path>,
    ) {
        banner::say(&banner::Banner {
            listen,
            settings,
            state,
            snapshot: &self.now.borrow().clone(),
            pin: &self.pairing.pin(self.clock.mono()),
            trouble: self.trouble.as_deref(),
        });
    }

    /// `own`: for the socket, whose users may change everything. `listen`: where phones are served.
    pub(super) fn pages(&self, own: bool, listen: SocketAddr) -> axum::Router {
        let shown = Shown {
            now: self.now.clone(),
            asks: self.asks.clone(),
            pairing: Arc::clone(&self.pairing),
            hosts: self.hosts.clone(),
            past: self.past.clone(),
            record: self.record_asks.clone(),
            record_status: self.record_status.clone(),
            clock: Arc::new(self.clock.clone()),
            language: &words::ENGLISH,
            demo: self.demo.clone(),
        };
        if !own {
            return web::pages(shown);
        }
        let now = self.now.clone();
        let glance = move || std::future::ready(now_text::text(&now.borrow()));
        // Asked for anew each time: a hotspot may come up after outlast.
        let address = move || std::future::ready(banner::for_phones(listen).unwrap_or_default());
        web::socket(shown).route(GLANCE, get(glance)).route(FOR_PHONES, get(address))
    }
}

/// The running threads.
pub(super) struct Started {
    pub(super) events: SyncSender<Event>,
    pub(super) tasks: Option<mpsc::Sender<Task>>,
    pub(super) event_loop: JoinHandle<()>,
    /// The record worker and the lamp.
    pub(super) others: [Option<JoinHandle<()>>; 2],
    pub(super) writer: Option<Arc<history::Writer>>,
}

impl Started {
    /// Ends the event loop, then the record worker and the lamp (which lets the LED be as before), then the
    /// record, marked as ended like this; the sampler ends with the process.
    pub(super) fn stop(self, clock: &Clock, how: impl FnOnce() -> Option<StopHow>) {
        // If the event loop has gone the process has ended already.
        let _ = self.events.send(Event::Stop);
        for thread in std::iter::once(self.event_loop).chain(self.others.into_iter().flatten()) {
            // A thread that broke down has ended the process.
            let _ = thread.join();
        }
        let Some(writer) = self.writer.and_then(Arc::into_inner) else { return };
        let Some(how) = how() else { return writer.break_off() };
        if let Err(trouble) = writer.stop(clock.mono().as_s(), how) {
            tracing::warn!("{}", words::journal::end_not_marked(&trouble));
        }
    }
}
