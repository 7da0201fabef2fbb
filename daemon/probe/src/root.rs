//! Where `/` is. Every file that is read lies below it, so that a folder of text files can stand
//! in for a board.

use std::{
    path::{Path, PathBuf},
    sync::Arc,
};

use crate::files::{Files, KernelFiles};

/// The folder that counts as `/`, and who opens files there.
#[derive(Clone)]
pub(crate) struct Root {
    base: PathBuf,
    real: bool,
    files: Arc<dyn Files>,
}

impl Root {
    /// The given folder, or the real `/`.
    pub(crate) fn new(sysroot: Option<&Path>) -> Self {
        let base = sysroot.unwrap_or_else(|| Path::new("/")).to_owned();
        let real = base == Path::new("/");
        Self { base, real, files: Arc::new(KernelFiles) }
    }

    /// The same folder, with somebody else opening the files.
    #[cfg(test)]
    pub(crate) fn with_files(mut self, files: Arc<dyn Files>) -> Self {
        self.files = files;
        self
    }

    /// The same folder, taken for the real machine: handles are kept.
    #[cfg(test)]
    pub(crate) fn taken_for_real(mut self) -> Self {
        self.real = true;
        self
    }

    /// The place of `/sys/...`, given with or without the leading slash.
    pub(crate) fn at(&self, path: &str) -> PathBuf {
        self.base.join(path.trim_start_matches('/'))
    }

    /// Whether this is the real machine. Kernel calls that cannot be re-rooted are made only then.
    pub(crate) const fn is_real(&self) -> bool {
        self.real
    }

    /// Who opens files.
    pub(crate) fn files(&self) -> &dyn Files {
        &*self.files
    }
}
