//! Boards made of files, and files that fail in ways no ordinary file does. For tests.

use std::{
    collections::BTreeMap,
    fs, io,
    os::unix::fs::symlink,
    path::{Path, PathBuf},
    sync::{
        Arc, Condvar, Mutex,
        atomic::{AtomicU32, Ordering},
    },
};

use reckon::time::Mono;

use crate::{
    Now,
    root::{Files, Handle, KernelFiles},
};

const BOARDS: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/fixtures/boards.txt"));

/// A folder that goes away with the value.
pub(crate) struct Tree {
    dir: PathBuf,
}

impl Tree {
    pub(crate) fn empty() -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let n = COUNT.fetch_add(1, Ordering::Relaxed);
        let dir = std::env::temp_dir().join(format!("outlast-tree-{}-{n}", std::process::id()));
        fs::create_dir_all(&dir).unwrap();
        Self { dir }
    }

    /// One of the boards in the fixture file.
    pub(crate) fn of_board(board: &str) -> Self {
        let tree = Self::empty();
        for (path, entry) in entries(board) {
            tree.make(&path, &entry);
        }
        tree
    }

    pub(crate) fn root(&self) -> &Path {
        &self.dir
    }

    pub(crate) fn at(&self, path: &str) -> PathBuf {
        self.dir.join(path.trim_start_matches('/'))
    }

    pub(crate) fn write(&self, path: &str, text: impl AsRef<[u8]>) {
        self.make(path, &Entry::Bytes(text.as_ref().to_vec()));
    }

    pub(crate) fn remove(&self, path: &str) {
        let at = self.at(path);
        if at.is_dir() && !at.is_symlink() {
            fs::remove_dir_all(at).unwrap();
        } else {
            fs::remove_file(at).unwrap();
        }
    }

    pub(crate) fn link(&self, path: &str, target: &str) {
        self.make(path, &Entry::Link(target.to_owned()));
    }

    fn make(&self, path: &str, entry: &Entry) {
        let at = self.at(path);
        fs::create_dir_all(at.parent().unwrap()).unwrap();
        match entry {
            Entry::Bytes(bytes) => fs::write(at, bytes).unwrap(),
            Entry::Link(target) => symlink(target, at).unwrap(),
            Entry::Folder => fs::create_dir_all(at).unwrap(),
        }
    }

    /// Every ordinary file of the tree.
    pub(crate) fn files(&self) -> Vec<PathBuf> {
        fn walk(dir: &Path, into: &mut Vec<PathBuf>) {
            for entry in fs::read_dir(dir).unwrap().flatten() {
                let kind = entry.file_type().unwrap();
                if kind.is_dir() {
                    walk(&entry.path(), into);
                } else if kind.is_file() {
                    into.push(entry.path());
                }
            }
        }
        let mut all = Vec::new();
        walk(&self.dir, &mut all);
        all.sort();
        all
    }
}

impl Drop for Tree {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.dir);
    }
}

/// What stands at a path.
#[derive(Clone)]
enum Entry {
    Bytes(Vec<u8>),
    Link(String),
    Folder,
}

/// The names of all boards.
pub(crate) fn boards() -> Vec<&'static str> {
    BOARDS
        .lines()
        .filter_map(|line| line.strip_prefix("== ")?.split_ascii_whitespace().next())
        .collect()
}

fn entries(board: &str) -> BTreeMap<String, Entry> {
    let mut all = BTreeMap::new();
    let mut lines = BOARDS.lines().skip_while(|line| {
        line.strip_prefix("== ").and_then(|rest| rest.split_ascii_whitespace().next())
            != Some(board)
    });
    assert!(lines.next().is_some(), "no board named {board}");
    let mut folder = "";
    while let Some(line) = lines.next() {
        if line.starts_with("== ") {
            break;
        }
        if let Some(base) = line.strip_prefix("<< ") {
            all.extend(entries(base));
        } else if let Some(dir) = line.strip_prefix("@ ") {
            folder = dir;
        } else if let Some((name, rest)) = line.split_once(' ') {
            let path = format!("{folder}/{name}");
            let (kind, text) = rest.split_at(1);
            let text = text.strip_prefix(' ').unwrap_or(text);
            let entry = match kind {
                "=" => Entry::Bytes(format!("{text}\n").into_bytes()),
                "~" => Entry::Bytes(text.replace("\\0", "\0").into_bytes()),
                "%" => Entry::Bytes(
                    text.split(' ').map(|hex| u8::from_str_radix(hex, 16).unwrap()).collect(),
                ),
                ">" => Entry::Link(text.to_owned()),
                "/" => Entry::Folder,
                "x" => {
                    assert!(all.remove(&path).is_some(), "{path} is not there to be removed");
                    continue;
                }
                "{" => Entry::Bytes(lines.by_ref().take_while(|line| *line != "}").fold(
                    Vec::new(),
                    |mut bytes, line| {
                        bytes.extend_from_slice(line.as_bytes());
                        bytes.push(b'\n');
                        bytes
                    },
                )),
                other => panic!("{other} is no kind of entry: {line}"),
            };
            all.insert(path, entry);
        }
    }
    all
}

/// How a file behaves instead of being read.
#[derive(Clone, Copy)]
pub(crate) enum Fault {
    /// Fails with this error number.
    Errno(i32),
    /// Answers after this many milliseconds.
    SlowMs(u64),
    /// Does not answer before it is let go.
    Hangs,
}

/// Spells by the ending of a path, and the bell that rings when one is lifted.
type Faults = (Mutex<Vec<(String, Fault)>>, Condvar);

/// The system's files, some of them under a spell. Clones share the spells.
#[derive(Clone, Default)]
pub(crate) struct FaultyFiles {
    faults: Arc<Faults>,
    hanging: Arc<AtomicU32>,
    opened: Arc<Mutex<Vec<PathBuf>>>,
}

impl FaultyFiles {
    /// Every file whose path ends like this.
    pub(crate) fn inject(&self, ending: &str, fault: Fault) {
        let mut faults = self.faults.0.lock().unwrap();
        faults.retain(|(other, _)| other != ending);
        faults.push((ending.to_owned(), fault));
    }

    pub(crate) fn lift(&self, ending: &str) {
        self.faults.0.lock().unwrap().retain(|(other, _)| other != ending);
        self.faults.1.notify_all();
    }

    /// How often files with this ending were opened.
    pub(crate) fn opened(&self, ending: &str) -> usize {
        let opened = self.opened.lock().unwrap();
        opened.iter().filter(|path| path.to_string_lossy().ends_with(ending)).count()
    }

    /// How many threads hang at this moment.
    pub(crate) fn hanging(&self) -> u32 {
        self.hanging.load(Ordering::SeqCst)
    }

    fn on(&self, path: &Path) -> Option<Fault> {
        let faults = self.faults.0.lock().unwrap();
        let text = path.to_string_lossy();
        faults.iter().find(|(ending, _)| text.ends_with(ending)).map(|(_, fault)| *fault)
    }
}

struct FaultyHandle {
    inner: Box<dyn Handle>,
    path: PathBuf,
    files: FaultyFiles,
}

impl Files for FaultyFiles {
    fn open(&self, path: &Path) -> io::Result<Box<dyn Handle>> {
        let inner = KernelFiles.open(path)?;
        self.opened.lock().unwrap().push(path.to_owned());
        Ok(Box::new(FaultyHandle { inner, path: path.to_owned(), files: self.clone() }))
    }
}

impl Handle for FaultyHandle {
    fn read_from(&self, into: &mut [u8], offset: u64) -> io::Result<usize> {
        match self.files.on(&self.path) {
            Some(Fault::Errno(errno)) => return Err(io::Error::from_raw_os_error(errno)),
            Some(Fault::SlowMs(ms)) => std::thread::sleep(std::time::Duration::from_millis(ms)),
            Some(Fault::Hangs) => {
                let (faults, lifted) = &*self.files.faults;
                self.files.hanging.fetch_add(1, Ordering::SeqCst);
                let mut guard = faults.lock().unwrap();
                while guard.iter().any(|(ending, fault)| {
                    matches!(fault, Fault::Hangs) && self.path.to_string_lossy().ends_with(ending)
                }) {
                    guard = lifted.wait(guard).unwrap();
                }
                self.files.hanging.fetch_sub(1, Ordering::SeqCst);
            }
            None => {}
        }
        self.inner.read_from(into, offset)
    }
}

/// Boot time as the kernel prints it, in hundredths of a second; tests need no more.
pub(crate) fn real_now() -> Now {
    Arc::new(|| {
        let text = fs::read_to_string("/proc/uptime").unwrap();
        Mono::at_s(text.split(' ').next().unwrap().parse().unwrap())
    })
}

/// A clock that stands still.
pub(crate) fn still() -> Now {
    Arc::new(|| Mono::at_s(1000.0))
}
