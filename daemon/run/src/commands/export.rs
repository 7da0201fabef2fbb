//! `outlast export`: an outing for other programs, or the whole record.

use std::io::{self, Write};

use crate::commands::{cli::Export, client::Client, failed::Failed, files::write, outing::id};

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
