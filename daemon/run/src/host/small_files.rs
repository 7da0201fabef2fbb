//! Small files that must survive a restart, each written whole or not at all; and the secret.
//!
//! A1: after fsync returns, the bytes survive. A2: a rename within a folder is all or nothing.
//! P1: after a power cut each file is the old one or the new one, never a mixture.
//! P2: a file that cannot be understood is set aside under another name, and said; as long as the
//! folder lets us rename, it is never overwritten.

use std::{
    fs::{self, File, OpenOptions},
    io::{self, Read, Write},
    os::unix::fs::OpenOptionsExt,
    path::{Path, PathBuf},
};

use reckon::words;

use crate::host::folders::make;

const SECRET: &str = "secret";
/// Larger than any such file of ours; more is not read.
const MOST_BYTES: u64 = 64 * 1024;

/// Moves a damaged file out of the way under a name that is still free.
pub(crate) fn set_aside(path: &Path) -> String {
    let aside = (1..1000)
        .map(|n| PathBuf::from(format!("{}.damaged-{n}", path.display())))
        .find(|p| !p.exists());
    let moved = aside.as_ref().is_some_and(|aside| fs::rename(path, aside).is_ok());
    match aside.filter(|_| moved) {
        Some(aside) => words::journal::set_aside(&path.display(), &aside.display()),
        None => words::journal::stuck(&path.display()),
    }
}

pub(crate) fn read_some(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    open_file(path)?.take(MOST_BYTES).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Opens a file to read. A pipe or a device in its place would be waited for without end.
///
/// # Errors
/// What the system says, or that it is no file.
pub(crate) fn open_file(path: &Path) -> io::Result<File> {
    let nonblock = i32::try_from(rustix::fs::OFlags::NONBLOCK.bits()).unwrap_or(0);
    let file = OpenOptions::new().read(true).custom_flags(nonblock).open(path)?;
    if file.metadata()?.is_file() {
        Ok(file)
    } else {
        Err(io::Error::other(words::refusal::NO_FILE))
    }
}

/// The secret that signs the tickets of paired phones, made at the first start; and whether it is the
/// one from before.
///
/// # Errors
/// A sentence, with the secret of this run, which cannot be kept.
pub(crate) fn secret(folder: Option<&Path>) -> ([u8; 32], Result<bool, String>) {
    let Some(folder) = folder else { return (random(), Ok(false)) };
    let path = folder.join(SECRET);
    let trouble = match read_some(&path) {
        Ok(bytes) => match <[u8; 32]>::try_from(bytes.as_slice()) {
            Ok(secret) => return (secret, Ok(true)),
            Err(_) => Some(set_aside(&path)),
        },
        Err(why) if why.kind() == io::ErrorKind::NotFound => None,
        Err(why) => {
            let said = words::journal::keys_unreadable(&path.display(), &why);
            return (random(), Err(said));
        }
    };
    let fresh = random();
    let written = write_whole(folder, SECRET, &fresh)
        .map(|()| false)
        .map_err(|why| words::journal::keys_unwritable(&path.display(), &why));
    let said = trouble.map_or(written, |_| Err(words::journal::keys_damaged(&path.display())));
    (fresh, said)
}

/// Fresh bytes from the system's generator.
pub(crate) fn random<const N: usize>() -> [u8; N] {
    let mut bytes = [0; N];
    let mut filled = 0;
    while filled < N {
        match rustix::rand::getrandom(&mut bytes[filled..], rustix::rand::GetRandomFlags::empty()) {
            Ok(n) => filled += n,
            Err(rustix::io::Errno::INTR) => {}
            // A kernel without the call has the device.
            Err(_) => match File::open("/dev/urandom").and_then(|mut f| f.read_exact(&mut bytes)) {
                Ok(()) => filled = N,
                Err(why) => {
                    tracing::error!("{}", words::journal::no_randomness(&why));
                    std::process::exit(1);
                }
            },
        }
    }
    bytes
}

/// Whole or not at all: a new file is written aside, synced, and takes the old one's name; then
/// the folder is synced, so that the name survives too.
pub(crate) fn write_whole(folder: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    let aside = folder.join(format!(".{name}.new"));
    let written = || -> io::Result<()> {
        // It may have been taken away, or not been there yet.
        make(folder)?;
        match fs::remove_file(&aside) {
            Err(why) if why.kind() != io::ErrorKind::NotFound => return Err(why),
            _ => {}
        }
        let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&aside)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        fs::rename(&aside, folder.join(name))?;
        File::open(folder)?.sync_all()
    };
    written().inspect_err(|_| {
        // Half a file helps nobody; if it cannot go either, the next write takes it away.
        let _ = fs::remove_file(&aside);
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn a_pipe_in_a_files_place_holds_nobody_up() {
        let home = tempfile::tempdir().unwrap();
        let pipe = home.path().join(SECRET);
        let made = std::process::Command::new("mkfifo").arg(&pipe).status().unwrap();
        assert!(made.success());
        assert_eq!(read_some(&pipe).unwrap_err().to_string(), words::refusal::NO_FILE);
        assert!(secret(Some(home.path())).1.is_err(), "phones are told to pair anew");
    }

    #[test]
    fn the_secret_is_ours_alone_and_stays() {
        let home = tempfile::tempdir().unwrap();
        let (first, said) = secret(Some(home.path()));
        assert_eq!(said, Ok(false));
        assert_eq!(secret(Some(home.path())), (first, Ok(true)));
        let mode = fs::metadata(home.path().join(SECRET)).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        fs::write(home.path().join(SECRET), b"short").unwrap();
        let (second, said) = secret(Some(home.path()));
        assert!(second != first && said.unwrap_err().contains("damaged"));
        assert_eq!(secret(Some(home.path())).0, second);
        assert_ne!(secret(None).0, secret(None).0);
    }
}
