//! Small cards to fill or to make read-only: file systems in memory. Mounting needs root; as anybody
//! else a test runs itself again in a user namespace, and fails where that cannot be had.

use std::{
    fs,
    os::unix::fs::MetadataExt,
    path::{Path, PathBuf},
    process::Command,
};

/// A mounted file system, for the life of this.
pub(crate) struct Card(PathBuf);

fn run(program: &str, words: &[&str]) {
    let done = Command::new(program).args(words).output().expect("the program is there");
    assert!(
        done.status.success(),
        "{program} {words:?}: {}",
        String::from_utf8_lossy(&done.stderr)
    );
}

impl Card {
    /// Mounts one of so many KiB there.
    pub(crate) fn mount(place: &Path, kib: u32) -> Self {
        let options = format!("size={kib}k");
        run("mount", &["-t", "tmpfs", "-o", &options, "card", place.to_str().expect("a path")]);
        Self(place.to_owned())
    }

    /// Fills it to the last byte.
    pub(crate) fn fill(&self) {
        let full = fs::write(self.0.join("ballast"), vec![0; 64 << 20]);
        assert!(full.is_err(), "the card cannot be filled");
    }

    /// Takes away what filled it.
    pub(crate) fn free(&self) {
        fs::remove_file(self.0.join("ballast")).expect("the ballast");
    }

    /// `ro` or `rw`.
    pub(crate) fn remount(&self, how: &str) {
        run("mount", &["-o", &format!("remount,{how}"), self.0.to_str().expect("a path")]);
    }
}

impl Drop for Card {
    fn drop(&mut self) {
        // Whatever still uses it keeps it till then.
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

/// Whether this process is root; if not, the named test has been run by another one that is, and has
/// passed.
pub(crate) fn as_root(test: &str) -> bool {
    if fs::metadata("/proc/self").is_ok_and(|me| me.uid() == 0) {
        return true;
    }
    let me = std::env::current_exe().expect("this test");
    let done = Command::new("unshare")
        .args(["--user", "--map-root-user", "--mount"])
        .arg(me)
        .args(["--exact", test, "--nocapture"])
        .status()
        .expect("unshare is there");
    assert!(done.success(), "as root in a namespace of its own, the test fails");
    false
}
