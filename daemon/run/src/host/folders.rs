//! Where things are kept: the state folder survives a reboot, the runtime folder holds the socket.

use std::{
    env, fs,
    os::unix::fs::{DirBuilderExt, PermissionsExt},
    path::{Path, PathBuf},
};

use reckon::words;

/// The name of the socket in its folder.
pub(crate) const SOCKET: &str = "outlast.sock";

/// The folders of this run.
#[derive(Clone, Debug, Default)]
pub(crate) struct Folders {
    /// Kept across reboots; `None` when nobody says where. It is tried again if it could not be made.
    pub(crate) state: Option<PathBuf>,
    /// For the socket.
    pub(crate) runtime: Option<PathBuf>,
    /// What is wrong with them, for a person.
    pub(crate) trouble: Option<String>,
    /// Whether what is kept goes when the program does.
    pub(crate) scratch: bool,
}

impl Folders {
    /// The folders of a daemon, made if they are missing. A folder that cannot be had is said, and
    /// outlast runs without it till it can.
    pub(crate) fn of_daemon(told_state: Option<&Path>) -> Self {
        let mut trouble = None;
        let state = match told_state.map(Path::to_path_buf).or_else(usual_state) {
            None => {
                trouble = Some(words::journal::NO_HOME.to_owned());
                None
            }
            Some(folder) => match make(&folder) {
                Ok(()) => Some(folder),
                Err(why) => {
                    trouble = Some(words::journal::no_folder(&folder.display(), &why));
                    Some(folder)
                }
            },
        };
        let own = systemd("RUNTIME_DIRECTORY").or_else(session_runtime);
        let runtime = own.filter(|folder| make(folder).is_ok()).or_else(|| state.clone());
        Self { state, runtime, trouble, scratch: false }
    }

    /// Where things are kept for good.
    pub(crate) fn told(&self) -> Option<&Path> {
        self.state.as_deref().filter(|_| !self.scratch)
    }
}

/// Every place where a running outlast may have put its socket, likeliest first.
pub(crate) fn socket_places() -> Vec<PathBuf> {
    let system = Some(PathBuf::from("/run/outlast"));
    let folders = [systemd("RUNTIME_DIRECTORY"), session_runtime(), usual_state(), system];
    folders.into_iter().flatten().map(|folder| folder.join(SOCKET)).collect()
}

/// Every folder where a record may be: one's own first, then the service's.
pub(crate) fn record_places() -> Vec<PathBuf> {
    usual_state().into_iter().chain([PathBuf::from("/var/lib/outlast")]).collect()
}

fn usual_state() -> Option<PathBuf> {
    let own = || {
        own_folder("XDG_STATE_HOME").or_else(|| own_folder("HOME").map(|h| h.join(".local/state")))
    };
    systemd("STATE_DIRECTORY").or_else(|| own().map(|f| f.join("outlast")))
}

fn session_runtime() -> Option<PathBuf> {
    own_folder("XDG_RUNTIME_DIR").map(|f| f.join("outlast"))
}

/// A folder from the environment; relative paths are not meant (XDG Base Directory Specification).
fn own_folder(name: &str) -> Option<PathBuf> {
    env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute())
}

/// The first of the folders that systemd made for us: systemd.exec(5), `StateDirectory=`.
fn systemd(name: &str) -> Option<PathBuf> {
    let all = env::var_os(name)?;
    env::split_paths(&all).next().filter(|p| p.is_absolute())
}

/// Makes the folder, for us alone; one that is there keeps its permissions.
pub(crate) fn make(folder: &Path) -> std::io::Result<()> {
    if folder.is_dir() {
        return Ok(());
    }
    fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)
}

/// Lets the folder's group speak to the socket; who may enter is up to the folder.
pub(crate) fn open_socket_to_group(socket: &Path) -> std::io::Result<()> {
    fs::set_permissions(socket, fs::Permissions::from_mode(0o660))
}
