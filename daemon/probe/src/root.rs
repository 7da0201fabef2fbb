//! Where `/` is. Every file that is read lies below it, so that a folder of text files can stand
//! in for a board.

use std::{
    fs::{File, OpenOptions},
    io,
    os::unix::fs::{FileExt, OpenOptionsExt},
    path::{Path, PathBuf},
    sync::Arc,
};

/// Opens files. The kernel's in earnest; tests put their own in its place, because no ordinary
/// file answers with `ENODATA` or hangs for ever.
pub(crate) trait Files: Send + Sync {
    /// Opens for reading.
    fn open(&self, path: &Path) -> io::Result<Box<dyn Handle>>;
}

/// An open file.
pub(crate) trait Handle: Send {
    /// Fills `into` from the start of the file; the kernel makes a fresh value for each call.
    fn read_from(&self, into: &mut [u8], offset: u64) -> io::Result<usize>;
}

/// The files of the system.
pub(crate) struct KernelFiles;

impl Files for KernelFiles {
    fn open(&self, path: &Path) -> io::Result<Box<dyn Handle>> {
        // A device may begin to do something when it is opened, and a pipe is not read but emptied.
        if !std::fs::metadata(path)?.is_file() {
            return Err(io::Error::from_raw_os_error(libc::ESPIPE));
        }
        // Without O_NONBLOCK a pipe that comes just now would hold us for ever.
        let file = OpenOptions::new().read(true).custom_flags(libc::O_NONBLOCK).open(path)?;
        Ok(Box::new(file))
    }
}

impl Handle for File {
    fn read_from(&self, into: &mut [u8], offset: u64) -> io::Result<usize> {
        loop {
            match self.read_at(into, offset) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                done => return done,
            }
        }
    }
}

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
