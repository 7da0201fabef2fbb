//! A program of the owner's, told by environment variables: no shell, a time limit, bounded output.

use std::{
    path::{Path, PathBuf},
    process::{ExitStatus, Stdio},
    time::Duration,
};

use reckon::words;

use rustix::process::{Pid, Signal, kill_process_group};
use tokio::{
    io::{AsyncRead, AsyncReadExt},
    process::Child,
    time::timeout,
};

use crate::payload::Notification;

/// Upper limit of its output that is kept, bytes.
const MOST_PRINTED: usize = 2000;
/// How long its output is waited for after its end.
const LAST_WORDS: Duration = Duration::from_millis(300);

/// The program, as the settings tell, checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Command {
    program: PathBuf,
    arguments: Vec<String>,
    limit: Duration,
}

/// How it went.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CommandEnd {
    /// It ended well.
    Well {
        /// What it printed, cut.
        printed: String,
    },
    /// It ended badly.
    Badly {
        /// How, for a person.
        how: String,
        /// What it printed, cut.
        printed: String,
    },
    /// It was stopped at its time limit, with everything it had started.
    TooLong,
    /// It could not be started.
    NotStarted {
        /// Why.
        why: String,
    },
}

impl Command {
    /// A program with its arguments, handed over as they are.
    ///
    /// # Errors
    /// A sentence, where the path does not start at the root.
    pub fn new(program: &Path, arguments: &[String], limit: Duration) -> Result<Self, String> {
        if !program.is_absolute() {
            return Err(words::warning::program_without_path(&program.display()));
        }
        Ok(Self { program: program.to_owned(), arguments: arguments.to_vec(), limit })
    }

    /// For a person.
    #[must_use]
    pub fn title(&self) -> String {
        self.program.display().to_string()
    }

    /// Its time limit.
    #[must_use]
    pub const fn limit(&self) -> Duration {
        self.limit
    }

    /// Runs it for this notification and waits for its end.
    pub async fn run(&self, notification: &Notification) -> CommandEnd {
        let mut command = tokio::process::Command::new(&self.program);
        command
            .args(&self.arguments)
            // What our own service was given (sockets, watchdog) is none of its business.
            .env_clear()
            .env("PATH", "/usr/local/bin:/usr/bin:/bin")
            .envs(std::env::var_os("HOME").map(|home| ("HOME", home)))
            .envs(notification.variables())
            .current_dir("/")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .process_group(0)
            .kill_on_drop(true);
        match command.spawn() {
            Ok(child) => self.attend(child).await,
            Err(why) => CommandEnd::NotStarted { why: why.to_string() },
        }
    }

    async fn attend(&self, mut child: Child) -> CommandEnd {
        let group = child.id().and_then(|id| Pid::from_raw(id.cast_signed()));
        let (mut out, mut err) = (Printed::default(), Printed::default());
        let (mut stdout, mut stderr) = (child.stdout.take(), child.stderr.take());
        let ended = {
            let reading = async {
                tokio::join!(out.read(stdout.as_mut()), err.read(stderr.as_mut()));
                std::future::pending::<()>().await;
            };
            tokio::select! {
                ended = timeout(self.limit, child.wait()) => ended,
                () = reading => return CommandEnd::TooLong,
            }
        };
        let Ok(ended) = ended else {
            if let Some(group) = group {
                // It may have ended in this very moment.
                let _ = kill_process_group(group, Signal::KILL);
            }
            // Reaped, so that nothing is left of it; the kill above lets this end.
            let _ = timeout(LAST_WORDS, child.wait()).await;
            return CommandEnd::TooLong;
        };
        let rest = async { tokio::join!(out.read(stdout.as_mut()), err.read(stderr.as_mut())) };
        // Whatever it left running may hold the pipes open for ever.
        let _ = timeout(LAST_WORDS, rest).await;
        let printed = [out.text(), err.text()].join(" ").trim().to_owned();
        match ended {
            Ok(status) if status.success() => CommandEnd::Well { printed },
            Ok(status) => CommandEnd::Badly { how: how(status), printed },
            Err(why) => CommandEnd::Badly { how: why.to_string(), printed },
        }
    }
}

fn how(status: ExitStatus) -> String {
    use std::os::unix::process::ExitStatusExt;
    match (status.code(), status.signal()) {
        (Some(code), _) => words::warning::ended_with(&code),
        (None, Some(signal)) => words::warning::ended_by_signal(&signal),
        (None, None) => words::warning::ENDED_SOMEHOW.to_owned(),
    }
}

/// The beginning of what was printed; the rest is read and let go, so that the pipe never fills.
#[derive(Default)]
struct Printed(Vec<u8>);

impl Printed {
    async fn read(&mut self, from: Option<&mut (impl AsyncRead + Unpin)>) {
        let Some(from) = from else { return };
        let mut piece = [0_u8; 1024];
        while let Ok(n @ 1..) = from.read(&mut piece).await {
            let room = MOST_PRINTED.saturating_sub(self.0.len()).min(n);
            self.0.extend_from_slice(&piece[..room]);
        }
    }

    fn text(&self) -> String {
        let text = String::from_utf8_lossy(&self.0);
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }
}
