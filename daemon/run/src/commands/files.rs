//! Files that a command is given, and those it writes.

use std::{
    fs::{File, OpenOptions},
    io::{self, Read, Write},
    path::Path,
};

use reckon::words;

use crate::commands::failed::Failed;

/// The bytes of a file (`-`: of standard input); `None` if there are more than so many.
pub(super) fn file_of(file: &Path, most: usize) -> Result<Option<Vec<u8>>, Failed> {
    let limit = u64::try_from(most).unwrap_or(u64::MAX).saturating_add(1);
    let mut bytes = Vec::new();
    let done = if file == Path::new("-") {
        io::stdin().lock().take(limit).read_to_end(&mut bytes)
    } else {
        File::open(file).and_then(|file| file.take(limit).read_to_end(&mut bytes))
    };
    done.map_err(|why| words::terminal::unreadable(&file.display(), &why))?;
    Ok((bytes.len() <= most).then_some(bytes))
}

/// Never over a file that is there.
pub(super) fn write(file: &Path, body: &[u8]) -> Result<(), Failed> {
    let written = OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(file)
        .and_then(|mut to| to.write_all(body).and_then(|()| to.sync_all()));
    Ok(written.map_err(|why| match why.kind() {
        io::ErrorKind::AlreadyExists => words::terminal::file_exists(&file.display()),
        _ => words::terminal::unwritable(&file.display(), &why),
    })?)
}
