//! `outlast export`: an outing for other programs, or the whole record.

use std::{
    fs::OpenOptions,
    io::{self, Write},
    path::Path,
};

use super::outing::id;
use crate::{
    Failed,
    commands::{cli::Export, client::Client},
};

/// Does what was typed.
pub(crate) fn run(options: &Export) -> Result<(), Failed> {
    let record = Client::find(&options.reach)?;
    if let Some(store) = &options.store {
        return write(store, &record.get("/api/v1/copy")?);
    }
    let id = id(&record, options.outing.as_deref().unwrap_or("last"))?;
    let kind = match (options.csv, options.close_ups) {
        (true, _) => "csv",
        (false, true) => "close-ups.csv",
        (false, false) => "json",
    };
    let body = record.get(&format!("/outings/{id}.{kind}"))?;
    match &options.out {
        Some(file) => write(file, &body),
        None => {
            let mut out = io::stdout().lock();
            // A reader who has gone wants no more.
            let _ = out.write_all(&body).and_then(|()| out.flush());
            Ok(())
        }
    }
}

/// Never over a file that is there.
pub(super) fn write(file: &Path, body: &[u8]) -> Result<(), Failed> {
    let written = OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(file)
        .and_then(|mut to| to.write_all(body).and_then(|()| to.sync_all()));
    Ok(written.map_err(|why| match why.kind() {
        io::ErrorKind::AlreadyExists => {
            format!("{} is there already; nothing was written over it.", file.display())
        }
        _ => format!("{} cannot be written: {why}.", file.display()),
    })?)
}
