//! Where `/` is. Every file that is read lies below it, so that a folder of text files can stand
//! in for a board.

use std::path::{Path, PathBuf};

/// The folder that counts as `/`.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Root {
    base: PathBuf,
    real: bool,
}

impl Root {
    /// The given folder, or the real `/`.
    pub(crate) fn new(sysroot: Option<&Path>) -> Self {
        match sysroot {
            Some(base) => Self { base: base.to_owned(), real: base == Path::new("/") },
            None => Self { base: PathBuf::from("/"), real: true },
        }
    }

    /// The place of `/sys/...`, given with or without the leading slash.
    pub(crate) fn at(&self, path: &str) -> PathBuf {
        self.base.join(path.trim_start_matches('/'))
    }

    /// Whether this is the real machine. Kernel calls that cannot be re-rooted are made only then.
    pub(crate) const fn is_real(&self) -> bool {
        self.real
    }
}
