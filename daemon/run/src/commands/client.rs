//! Reaches the record for a command: the running outlast over its Unix socket, else the store in
//! its folder, through the same routes served within this process.

use std::{
    path::{Path, PathBuf},
    sync::Arc,
    time::Duration,
};

use axum::{
    Router,
    body::{Body, to_bytes},
    http::{Method, Request, header},
};
use reckon::{
    engine::{Engine, Setup},
    record::RecordCommand,
    words,
};
use serde::Deserialize;
use serde_json::Value;
use tokio::{
    runtime::Runtime,
    sync::{mpsc, watch},
};
use tower::ServiceExt;
use web::{Pairing, PlanProblem, RecordStatus, Shown};

use crate::{
    commands::{cli::Reach, failed::Failed, now},
    host::{clock::Clock, folders, now_text::plain_spaces, small_files::random},
    record::{changes, store_reader::StoreReader},
};

/// A large export over a slow card takes its time.
const PATIENCE: Duration = Duration::from_secs(120);
/// An answer larger than this is not read: a year of record is smaller.
const MOST_BYTES: usize = 1 << 30;

/// The transport to the record.
pub(crate) struct Client {
    runtime: Runtime,
    transport: Transport,
}

enum Transport {
    Socket(PathBuf),
    Here(Router),
}

/// What came back.
struct Answer {
    good: bool,
    body: Vec<u8>,
}

/// What we read of a refusal: RFC 9457.
#[derive(Deserialize, Default)]
struct Problem {
    detail: Option<String>,
    title: Option<String>,
    #[serde(default)]
    problems: Vec<PlanProblem>,
}

fn refusal(answer: &Answer) -> Problem {
    serde_json::from_slice(&answer.body).unwrap_or_default()
}

impl From<Problem> for Failed {
    fn from(problem: Problem) -> Self {
        let said = problem.detail.or(problem.title);
        Self::from(said.unwrap_or_else(|| words::terminal::NOT_IN_RECORD.to_owned()))
    }
}

impl Client {
    /// Finds the running outlast, else opens the folder.
    ///
    /// # Errors
    /// When there is neither.
    pub(crate) fn find(reach: &Reach) -> Result<Self, Failed> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
        let runtime = runtime.map_err(|why| words::terminal::no_thread(&why))?;
        // A folder that is named may be a second daemon's, which then has its socket in there.
        let own = reach.state.as_ref().filter(|_| reach.socket.is_none());
        if let Some(Ok(socket)) = own.map(|dir| now::find(Some(&dir.join(folders::SOCKET)))) {
            return Ok(Self { runtime, transport: Transport::Socket(socket) });
        }
        let none = match now::find(reach.socket.as_deref()) {
            Ok(socket) => return Ok(Self { runtime, transport: Transport::Socket(socket) }),
            Err(none) => none,
        };
        if reach.socket.is_some() {
            return Err(none);
        }
        let told = reach.state.clone().map(|folder| vec![folder]);
        let places = told.unwrap_or_else(folders::record_places);
        let found = places.into_iter().find(|folder| folder.join(history::FILE).exists());
        let Some(folder) = found else {
            return Err(Failed::from(words::terminal::no_record_either(&none.say)));
        };
        let transport = Transport::Here(runtime.block_on(async { here(&folder) }));
        Ok(Self { runtime, transport })
    }

    /// Whether an outlast that runs is asked.
    pub(crate) const fn is_running(&self) -> bool {
        matches!(self.transport, Transport::Socket(_))
    }

    /// Asks for a page's bytes.
    ///
    /// # Errors
    /// What the other side says.
    pub(crate) fn get(&self, path: &str) -> Result<Vec<u8>, Failed> {
        self.ask(&Method::GET, path, Sent::Nothing)
    }

    /// Asks for a text, for a terminal.
    ///
    /// # Errors
    /// What the other side says.
    pub(crate) fn text(&self, path: &str) -> Result<String, Failed> {
        Ok(plain_spaces(&String::from_utf8_lossy(&self.get(path)?)))
    }

    /// Asks for JSON.
    ///
    /// # Errors
    /// What the other side says.
    pub(crate) fn read(&self, path: &str) -> Result<Value, Failed> {
        understood(&self.get(path)?)
    }

    /// Asks for a change.
    ///
    /// # Errors
    /// What the other side says.
    pub(crate) fn post(&self, path: &str, body: &Value) -> Result<(), Failed> {
        self.ask(&Method::POST, path, Sent::Json(body.to_string())).map(drop)
    }

    /// Hands a file over and reads the JSON that comes back.
    ///
    /// # Errors
    /// What the other side says.
    pub(crate) fn hand_over(&self, path: &str, file: Vec<u8>) -> Result<Value, Failed> {
        understood(&self.ask(&Method::POST, path, Sent::File(file))?)
    }

    /// Has a plan worked out: what it comes to, or what is wrong with it.
    ///
    /// # Errors
    /// What else the other side says.
    pub(crate) fn plan(&self, plan: &Value) -> Result<Result<Value, Vec<PlanProblem>>, Failed> {
        let answer = self.answer(&Method::POST, "/api/v1/plan", Sent::Json(plan.to_string()))?;
        if answer.good {
            return understood(&answer.body).map(Ok);
        }
        let problem = refusal(&answer);
        if problem.problems.is_empty() { Err(problem.into()) } else { Ok(Err(problem.problems)) }
    }

    fn ask(&self, method: &Method, path: &str, sent: Sent) -> Result<Vec<u8>, Failed> {
        let answer = self.answer(method, path, sent)?;
        if answer.good { Ok(answer.body) } else { Err(refusal(&answer).into()) }
    }

    fn answer(&self, method: &Method, path: &str, sent: Sent) -> Result<Answer, Failed> {
        match &self.transport {
            Transport::Socket(socket) => self.runtime.block_on(over(socket, method, path, sent)),
            Transport::Here(router) => self.runtime.block_on(within(router, method, path, sent)),
        }
    }
}

fn understood(body: &[u8]) -> Result<Value, Failed> {
    serde_json::from_slice(body).map_err(|why| Failed::from(words::terminal::not_understood(&why)))
}

/// What goes along with an ask.
enum Sent {
    Nothing,
    Json(String),
    File(Vec<u8>),
}

impl Sent {
    /// Its type, and itself.
    fn unpack(self) -> (&'static str, Vec<u8>) {
        match self {
            Self::Nothing => ("application/json", Vec::new()),
            Self::Json(text) => ("application/json", text.into_bytes()),
            Self::File(bytes) => ("application/octet-stream", bytes),
        }
    }
}

async fn over(socket: &Path, method: &Method, path: &str, sent: Sent) -> Result<Answer, Failed> {
    let client = alert::plain_client()?.unix_socket(socket).timeout(PATIENCE);
    let asked = async {
        let client = client.build()?;
        let request = client
            .request(method.clone(), format!("http://localhost{path}"))
            .header(header::ACCEPT, "application/json");
        let request = match sent {
            Sent::Nothing => request,
            sent => {
                let (kind, body) = sent.unpack();
                request.header(header::CONTENT_TYPE, kind).body(body)
            }
        };
        let answer = request.send().await?;
        let good = answer.status().is_success();
        Ok(Answer { good, body: answer.bytes().await?.to_vec() })
    };
    asked.await.map_err(|why: reqwest::Error| Failed::from(now::no_answer(socket, &why)))
}

async fn within(
    router: &Router,
    method: &Method,
    path: &str,
    sent: Sent,
) -> Result<Answer, Failed> {
    let (kind, body) = sent.unpack();
    let asked = Request::builder()
        .method(method.clone())
        .uri(path)
        .header(header::HOST, "localhost")
        .header(header::ACCEPT, "application/json")
        .header(header::CONTENT_TYPE, kind)
        .body(Body::from(body));
    let asked = asked.map_err(|why| words::terminal::cannot_ask(&why))?;
    let answer = match router.clone().oneshot(asked).await {
        Ok(answer) => answer,
        Err(never) => match never {},
    };
    let good = answer.status().is_success();
    let body = to_bytes(answer.into_body(), MOST_BYTES).await;
    let body = body.map_err(|why| words::terminal::not_to_its_end(&why))?;
    Ok(Answer { good, body: body.to_vec() })
}

/// The routes of the socket over the store in this folder, while no daemon runs.
fn here(folder: &Path) -> Router {
    let clock = Clock::system();
    let stamp = clock.stamp();
    let (_, now) = watch::channel(Engine::new(Setup::default(), stamp).tick(stamp));
    let (_, record_status) = watch::channel(Arc::new(RecordStatus::default()));
    // Nobody hears what would be asked of a running one, which answers 'stopping'.
    let (asks, _) = mpsc::channel(1);
    let (record, asked) = mpsc::channel(1);
    tokio::spawn(answer(folder.to_path_buf(), asked));
    web::socket(Shown {
        now,
        asks,
        pairing: Arc::new(Pairing::new(random(), random)),
        hosts: Vec::new(),
        past: Arc::new(StoreReader::new(Some(folder))),
        record,
        record_status,
        clock: Arc::new(clock),
        language: &words::ENGLISH,
        demo: None,
    })
}

async fn answer(folder: PathBuf, mut requests: mpsc::Receiver<web::Request<RecordCommand>>) {
    while let Some(web::Request { command, answer }) = requests.recv().await {
        let folder = folder.clone();
        let done = tokio::task::spawn_blocking(move || changes::offline(&folder, &command));
        let done = done.await.unwrap_or_else(|_| Err(words::terminal::CHANGE_FAILED.to_owned()));
        // The command waits for it.
        let _ = answer.send(done.map(|()| web::Kept::OnCard));
    }
}
