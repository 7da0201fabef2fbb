//! A site with a scene behind it and someone who hears the asks.

use std::sync::{Arc, Mutex};

use axum::{
    Router,
    body::{Body, to_bytes},
    http::{HeaderMap, Method, Request, StatusCode, header},
    response::Response,
};
use reckon::{
    belief::Question,
    engine::{Command, Refusal},
    record::RecordCommand,
    snapshot::Snapshot,
};
use tokio::sync::{mpsc, watch};
use tower::ServiceExt;
use web::{Pairing, RecordStatus, Shown};

use crate::{
    past::{self, Invented, Mood},
    scenes,
};

pub(crate) const HOST: &str = "heron.local:8073";

/// The site under test.
pub(crate) struct Rig {
    pub(crate) app: Router,
    pub(crate) pairing: Arc<Pairing>,
    pub(crate) now: watch::Sender<Arc<Snapshot>>,
    pub(crate) heard: Arc<Mutex<Vec<Command>>>,
    pub(crate) heard_record: Arc<Mutex<Vec<RecordCommand>>>,
}

/// An answer, read to its end.
pub(crate) struct Got {
    pub(crate) status: StatusCode,
    pub(crate) headers: HeaderMap,
    pub(crate) text: String,
}

impl Got {
    pub(crate) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.text).unwrap_or_else(|error| panic!("{error}: {}", self.text))
    }
}

pub(crate) fn secret() -> [u8; 32] {
    *b"an invented secret of 32 bytes.."
}

pub(crate) fn pairing() -> Arc<Pairing> {
    let mut count = 0_u8;
    Arc::new(Pairing::new(secret(), move || {
        count = count.wrapping_add(1);
        [count; 16]
    }))
}

/// Everything that pages need besides a scene, for a test of its own.
pub(crate) fn shown_with(
    now: watch::Receiver<Arc<Snapshot>>,
    asks: mpsc::Sender<web::Request<Command, Refusal>>,
    pairing: &Arc<Pairing>,
) -> (Shown, mpsc::Receiver<web::Request<RecordCommand>>) {
    let (record, asked) = mpsc::channel(8);
    let shown = Shown {
        now,
        asks,
        pairing: Arc::clone(pairing),
        hosts: vec!["heron".to_owned(), "heron.local".to_owned()],
        past: Invented::new(Mood::Well, false),
        record,
        record_status: watch::channel(Arc::new(past::record_status(false))).1,
        clock: Arc::new(past::Still),
        language: &reckon::words::ENGLISH,
        demo: None,
    };
    (shown, asked)
}

fn shown(scene: Snapshot, pairing: &Arc<Pairing>) -> (Shown, Rig0) {
    let (keep, now) = watch::channel(Arc::new(scene));
    let (asks, mut asked) = mpsc::channel::<web::Request<Command, Refusal>>(8);
    let heard = Arc::new(Mutex::new(Vec::new()));
    let ears = Arc::clone(&heard);
    tokio::spawn(async move {
        while let Some(web::Request { command: ask, answer }) = asked.recv().await {
            let word = match &ask {
                Command::Activity { name: Some(name) } if name == "Sleeping" => {
                    Err(Refusal::NoSuchActivity)
                }
                _ => Ok(web::Kept::OnCard),
            };
            ears.lock().unwrap().push(ask);
            drop(answer.send(word));
        }
    });
    let (shown, mut asked) = shown_with(now, asks, pairing);
    let heard_record = Arc::new(Mutex::new(Vec::new()));
    let ears = Arc::clone(&heard_record);
    tokio::spawn(async move {
        while let Some(web::Request { command: ask, answer }) = asked.recv().await {
            let word = match &ask {
                RecordCommand::Import { text, .. } if text.starts_with("no") => {
                    Err("0 lines are time stamps and 1 are not.".to_owned())
                }
                _ => Ok(web::Kept::OnCard),
            };
            ears.lock().unwrap().push(ask);
            drop(answer.send(word));
        }
    });
    (shown, Rig0 { now: keep, heard, heard_record })
}

struct Rig0 {
    now: watch::Sender<Arc<Snapshot>>,
    heard: Arc<Mutex<Vec<Command>>>,
    heard_record: Arc<Mutex<Vec<RecordCommand>>>,
}

impl Rig {
    pub(crate) fn of(scene: &str) -> Self {
        Self::with(scene, |_| ())
    }

    /// A question is open no more.
    pub(crate) fn answered(&self, question: Question) {
        let mut next = Snapshot::clone(&self.now.borrow());
        next.questions.retain(|view| view.question != question);
        self.now.send_replace(Arc::new(next));
    }

    /// The same with something changed in what is shown.
    pub(crate) fn with(scene: &str, change: impl FnOnce(&mut Shown)) -> Self {
        let pairing = pairing();
        let (mut shown, Rig0 { now, heard, heard_record }) =
            shown(scenes::scene(scene).unwrap(), &pairing);
        change(&mut shown);
        Self { app: web::pages(shown), pairing, now, heard, heard_record }
    }

    /// With this record.
    pub(crate) fn record_status(scene: &str, record_status: RecordStatus) -> Self {
        Self::with(scene, |shown| shown.record_status = watch::channel(Arc::new(record_status)).1)
    }

    /// With this past.
    pub(crate) fn past(mood: Mood) -> Self {
        Self::with("fine", |shown| shown.past = Invented::new(mood, false))
    }

    /// With these phones, and who keeps them.
    pub(crate) fn phones(kept: Vec<web::Phone>, keeper: impl web::PhoneKeeper + 'static) -> Self {
        let fresh = Arc::into_inner(pairing()).unwrap();
        let pairing = Arc::new(fresh.with_phones(kept, keeper));
        let (shown, Rig0 { now, heard, heard_record }) =
            shown(scenes::scene("fine").unwrap(), &pairing);
        Self { app: web::pages(shown), pairing, now, heard, heard_record }
    }

    pub(crate) fn socket(scene: &str) -> Self {
        let pairing = pairing();
        let (shown, Rig0 { now, heard, heard_record }) =
            shown(scenes::scene(scene).unwrap(), &pairing);
        Self { app: web::socket(shown), pairing, now, heard, heard_record }
    }

    pub(crate) async fn raw(&self, request: Request<Body>) -> Response {
        self.app.clone().oneshot(request).await.unwrap()
    }

    pub(crate) async fn send(&self, request: Request<Body>) -> Got {
        let response = self.raw(request).await;
        let (parts, body) = response.into_parts();
        let bytes = to_bytes(body, 1 << 20).await.unwrap();
        let text = String::from_utf8_lossy(&bytes).into_owned();
        Got { status: parts.status, headers: parts.headers, text }
    }

    pub(crate) async fn get(&self, path: &str) -> Got {
        self.send(get(path).body(Body::empty()).unwrap()).await
    }

    /// The cookie of a phone that has just been paired.
    pub(crate) async fn ticket(&self) -> String {
        let code = self.pairing.pin(self.now.borrow().at.mono).code;
        let got = self.send(form("/pair", &format!("code={code}"), "")).await;
        assert_eq!(got.status, StatusCode::SEE_OTHER, "{}", got.text);
        got.header("set-cookie").split(';').next().unwrap().to_owned()
    }

    pub(crate) fn heard(&self) -> Vec<Command> {
        std::mem::take(&mut *self.heard.lock().unwrap())
    }

    pub(crate) fn heard_record(&self) -> Vec<RecordCommand> {
        std::mem::take(&mut *self.heard_record.lock().unwrap())
    }
}

pub(crate) fn get(path: &str) -> axum::http::request::Builder {
    Request::builder().uri(path).header(header::HOST, HOST)
}

/// A form as the page's own would send it.
pub(crate) fn form(path: &str, body: &str, cookie: &str) -> Request<Body> {
    post(path, "application/x-www-form-urlencoded", body, cookie)
}

/// JSON from a paired program.
pub(crate) fn json(path: &str, body: &str, cookie: &str) -> Request<Body> {
    post(path, "application/json", body, cookie)
}

pub(crate) fn post(path: &str, kind: &str, body: &str, cookie: &str) -> Request<Body> {
    Request::builder()
        .method(Method::POST)
        .uri(path)
        .header(header::HOST, HOST)
        .header(header::ORIGIN, format!("http://{HOST}"))
        .header(header::CONTENT_TYPE, kind)
        .header(header::COOKIE, cookie)
        .body(Body::from(body.to_owned()))
        .unwrap()
}
