//! The request to switch off: a file that a path unit of systemd waits for. What answers it can do
//! nothing else, and this daemon can do nothing more than ask.

use std::{fs, io, path::Path};

use crate::queue::write_whole;

/// The request's name in the runtime folder; the path unit names the same.
pub const REQUEST: &str = "poweroff-request";

/// Where systemd keeps what is enabled: systemd.unit(5).
const WANTED: [&str; 2] = [
    "etc/systemd/system/multi-user.target.wants/outlast-poweroff.path",
    "run/systemd/system/multi-user.target.wants/outlast-poweroff.path",
];

/// Whether the unit that answers requests is enabled on the system below this root.
#[must_use]
pub fn unit_is_enabled(root: &Path) -> bool {
    WANTED.iter().any(|wanted| root.join(wanted).symlink_metadata().is_ok())
}

/// Lets everything that was written to the file system of this folder reach the card (syncfs(2)).
///
/// # Errors
/// As the system says.
pub fn sync_card(folder: &Path) -> io::Result<()> {
    let folder = fs::File::open(folder)?;
    Ok(rustix::fs::syncfs(&folder)?)
}

/// Makes the request, whole or not at all.
///
/// # Errors
/// As the system says; nothing has been asked for then.
pub fn make_request(runtime: &Path, why: &str) -> io::Result<()> {
    write_whole(&runtime.join(REQUEST), format!("{why}\n").as_bytes())
}

/// Takes a request back that an earlier run left, so that a start never switches off.
///
/// # Errors
/// As the system says.
pub fn take_request_back(runtime: &Path) -> io::Result<()> {
    match fs::remove_file(runtime.join(REQUEST)) {
        Err(why) if why.kind() != io::ErrorKind::NotFound => Err(why),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_request_is_there_whole_and_can_be_taken_back() {
        let folder = tempfile::tempdir().unwrap();
        take_request_back(folder.path()).unwrap();
        sync_card(folder.path()).unwrap();
        make_request(folder.path(), "The bank is nearly empty.").unwrap();
        let names: Vec<_> = fs::read_dir(folder.path()).unwrap().flatten().collect();
        assert_eq!(names.len(), 1, "no half of a request lies about: {names:?}");
        assert_eq!(names[0].file_name(), REQUEST);
        take_request_back(folder.path()).unwrap();
        assert!(!folder.path().join(REQUEST).exists());
        assert!(make_request(&folder.path().join("gone"), "").is_err());
    }

    #[test]
    fn an_enabled_unit_is_a_link_in_the_target() {
        let root = tempfile::tempdir().unwrap();
        assert!(!unit_is_enabled(root.path()));
        let link = root.path().join(WANTED[0]);
        fs::create_dir_all(link.parent().unwrap()).unwrap();
        // The link may point into a system that is not below this root.
        std::os::unix::fs::symlink("/usr/lib/systemd/system/outlast-poweroff.path", link).unwrap();
        assert!(unit_is_enabled(root.path()));
    }
}
