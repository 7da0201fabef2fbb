//! Reading small kernel files: bounded, with kept handles, and with every way it can go wrong put
//! into one of the reasons a person understands.
//!
//! The kernel's files have no size worth trusting, give their whole value in one read, and answer
//! a broken bus with an error number. Never more than [`MOST`] bytes are taken.

use std::{
    io,
    path::{Path, PathBuf},
};

use reckon::reading::{Gap, Got};

use crate::root::{Handle, Root};

/// The most that is read of any file but the processor accounts.
pub(crate) const MOST: usize = 4096;
/// The most that is read of `/proc/stat`: a line for each interrupt makes it long.
pub(crate) const MOST_STAT: usize = 65_536;
/// The longest number: a sign, 19 digits, and room for blanks.
const LONGEST_NUMBER: usize = 32;

/// One file that is read again and again.
pub(crate) struct Attr {
    path: PathBuf,
    handle: Option<Box<dyn Handle>>,
}

impl Attr {
    /// The file at this path; nothing is opened yet.
    pub(crate) const fn new(path: PathBuf) -> Self {
        Self { path, handle: None }
    }

    /// One read from the start. The handle is kept on the real machine, where the kernel says
    /// `ENODEV` when the device is gone; a folder of ordinary files never says that it was
    /// replaced, so there it is opened afresh.
    pub(crate) fn read<'a>(&mut self, root: &Root, into: &'a mut [u8]) -> io::Result<&'a [u8]> {
        let handle = match self.handle.take() {
            Some(handle) => handle,
            None => root.files().open(&self.path)?,
        };
        let got = handle.read_from(into, 0)?;
        if root.is_real() {
            self.handle = Some(handle);
        }
        Ok(&into[..got.min(into.len())])
    }

    /// The whole number in the file.
    pub(crate) fn number(&mut self, root: &Root) -> Got<i64> {
        let mut buffer = [0; LONGEST_NUMBER + 1];
        match self.read(root, &mut buffer) {
            Ok(text) => number(text),
            Err(error) => Err(gap(&error)),
        }
    }
}

/// A whole file as text, at most [`MOST`] bytes; bytes that are no text become the replacement
/// character.
pub(crate) fn text(root: &Root, path: &Path) -> io::Result<String> {
    bytes(root, path, MOST).map(|all| String::from_utf8_lossy(&all).into_owned())
}

/// A whole file, at most `most` bytes of it.
pub(crate) fn bytes(root: &Root, path: &Path, most: usize) -> io::Result<Vec<u8>> {
    let handle = root.files().open(path)?;
    let mut all = vec![0; most];
    let mut filled = 0;
    while filled < most {
        let got = handle.read_from(&mut all[filled..], u64::try_from(filled).unwrap_or(0))?;
        if got == 0 {
            break;
        }
        filled = (filled + got).min(most);
    }
    all.truncate(filled);
    Ok(all)
}

/// A file's only line, trimmed of blanks and of the device tree's closing zero; `None` when it
/// cannot be read or is empty.
pub(crate) fn line(root: &Root, path: &Path) -> Option<String> {
    let text = text(root, path).ok()?;
    let line = text.trim_matches(|c: char| c == '\0' || c.is_whitespace());
    (!line.is_empty()).then(|| line.to_owned())
}

/// The whole number in a file that is read once.
pub(crate) fn number_at(root: &Root, path: &Path) -> Got<i64> {
    Attr::new(path.to_owned()).number(root)
}

/// A whole number as the kernel prints it: an optional sign, digits, a line's end.
pub(crate) fn number(text: &[u8]) -> Got<i64> {
    if text.len() > LONGEST_NUMBER {
        return Err(Gap::Garbled);
    }
    let text = text.trim_ascii();
    if text.first() == Some(&b'+') {
        return Err(Gap::Garbled);
    }
    std::str::from_utf8(text).ok().and_then(|text| text.parse().ok()).ok_or(Gap::Garbled)
}

/// What an error number means here.
///
/// Source: the kernel's `Documentation/i2c/fault-codes.rst`, `Documentation/hwmon/
/// sysfs-interface.rst` and `drivers/power/supply/power_supply_sysfs.c`; `EREMOTEIO` for an
/// unacknowledged address from memory of the BCM2835 controller's driver.
pub(crate) fn gap(error: &io::Error) -> Gap {
    match error.raw_os_error() {
        // A channel that is switched off.
        Some(libc::ENODATA) => Gap::SwitchedOff,
        Some(libc::EAGAIN) => Gap::NotReady,
        // Unbound while open; a chip that could not be set up again; a battery taken out.
        // A path that is not there any more: the numbers were dealt anew.
        Some(libc::ENODEV | libc::ENOENT | libc::ENOTDIR) => Gap::Gone,
        // The attribute is there, the driver cannot serve it.
        Some(libc::EOPNOTSUPP) => Gap::Absent,
        Some(libc::EACCES | libc::EPERM) => Gap::Denied,
        // A folder or a pipe where a file should be.
        Some(libc::EISDIR | libc::ESPIPE | libc::ELOOP) => Gap::Garbled,
        // EIO, EREMOTEIO, ENXIO, ETIMEDOUT and whatever else a bus can say.
        _ => Gap::NoAnswer,
    }
}

/// Names in a folder, sorted with numbers in their natural order (`hwmon2` before `hwmon10`).
pub(crate) fn names(dir: &Path) -> io::Result<Vec<String>> {
    let mut names: Vec<String> = std::fs::read_dir(dir)?
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .take(MOST)
        .collect();
    names.sort_by(|a, b| a.len().cmp(&b.len()).then_with(|| a.cmp(b)));
    Ok(names)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_as_the_kernel_prints_them_and_nothing_else() {
        for (text, want) in [
            (&b"5120\n"[..], Ok(5120)),
            (b"-12\n", Ok(-12)),
            (b"0", Ok(0)),
            (b"  7\n", Ok(7)),
            (b"9223372036854775807\n", Ok(i64::MAX)),
            (b"9223372036854775808\n", Err(Gap::Garbled)),
            (b"", Err(Gap::Garbled)),
            (b"\n", Err(Gap::Garbled)),
            (b"+5", Err(Gap::Garbled)),
            (b"5 6", Err(Gap::Garbled)),
            (b"0x10", Err(Gap::Garbled)),
            (b"12.5", Err(Gap::Garbled)),
            (b"nan", Err(Gap::Garbled)),
            (b"\xff\xfe", Err(Gap::Garbled)),
            (b"000000000000000000000000000000000000001", Err(Gap::Garbled)),
        ] {
            assert_eq!(number(text), want, "{}", String::from_utf8_lossy(text));
        }
    }

    /// Source of the meanings: Linux `Documentation/i2c/fault-codes.rst`,
    /// `Documentation/hwmon/sysfs-interface.rst`, `power_supply_sysfs.c`.
    #[test]
    fn every_error_number_has_its_reason() {
        for (errno, want) in [
            (libc::ENODATA, Gap::SwitchedOff),
            (libc::EAGAIN, Gap::NotReady),
            (libc::EIO, Gap::NoAnswer),
            (libc::EREMOTEIO, Gap::NoAnswer),
            (libc::ENXIO, Gap::NoAnswer),
            (libc::ETIMEDOUT, Gap::NoAnswer),
            (libc::ENODEV, Gap::Gone),
            (libc::EOPNOTSUPP, Gap::Absent),
            (libc::ENOENT, Gap::Gone),
            (libc::EACCES, Gap::Denied),
            (libc::EISDIR, Gap::Garbled),
        ] {
            assert_eq!(gap(&io::Error::from_raw_os_error(errno)), want, "errno {errno}");
        }
    }
}
