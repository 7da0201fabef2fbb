//! Opens the record at the start: what it says of the last end, what it teaches, and where the
//! engine's own count of this boot can be taken further than the choices had it.

use std::{path::Path, sync::Arc};

use history::{Keep, Reader, Started, Who, Writer};
use reckon::{
    belief::last_end::BeforeStart,
    engine::Resume,
    estimator::Learned,
    record::TestLoad,
    time::{Mono, Wall},
    words,
};

use crate::{
    host::{clock::Clock, small_files::random},
    record::{
        run_downs, side_notes,
        update::{Outlet, RecordEvent},
    },
    settings::RecordWant,
};

/// What a start finds in the record.
pub(crate) struct Opened {
    /// Writes.
    pub(crate) writer: Arc<Writer>,
    /// Reads.
    pub(crate) reader: Reader,
    /// What it says of the last end.
    pub(crate) before: Option<BeforeStart>,
    /// There is a record, and it could not be read.
    pub(crate) unread: bool,
    /// This boot.
    pub(crate) boot: String,
    /// What it teaches of each bank.
    pub(crate) learned_by_bank: Vec<(String, Learned)>,
    /// The run-down test that was on: load and bank.
    pub(crate) test: Option<(TestLoad, String)>,
    /// When it was opened.
    pub(crate) at: Mono,
}

/// Opens the record in this folder.
///
/// # Errors
/// A sentence, when there can be no record at all.
pub(crate) fn open(
    folder: &Path,
    want: &RecordWant,
    boot: Option<&str>,
    clock: &Clock,
    outlet: Outlet,
) -> Result<Opened, String> {
    let at = clock.mono();
    // A kernel that does not name its boots has a new one with every start.
    let boot = boot
        .map_or_else(|| format!("unknown-{:032x}", u128::from_le_bytes(random())), str::to_owned);
    let keep = Keep {
        every_s: want.every_s,
        every_near_s: want.every_s_near_the_end,
        near_s: want.near_min * 60.0,
        fine_days: u32::from(want.fine_days),
        most_mib: u32::from(want.most_mib),
        ..Keep::here(folder.to_path_buf())
    };
    let who = Who {
        boot_uuid: boot.clone(),
        began_s: at.as_s(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
    };
    let tell = move |state| {
        // An event loop that is too busy hears of it with the next batch.
        outlet(RecordEvent::State(Box::new(state)));
    };
    let started =
        history::start(keep, who, tell).map_err(|why| words::journal::no_record_thread(&why))?;
    let Started { before, trouble, reader, writer, .. } = started;
    let (learned_by_bank, test) = if trouble.is_some() {
        (Vec::new(), None)
    } else {
        (learned_by_bank(&reader), side_notes::test_of(&reader))
    };
    let unread = trouble.is_some() && folder.join(history::FILE).exists();
    Ok(Opened { writer: Arc::new(writer), reader, before, unread, boot, learned_by_bank, test, at })
}

fn learned_by_bank(reader: &Reader) -> Vec<(String, Learned)> {
    run_downs::learned_by_bank(reader).unwrap_or_else(|trouble| {
        tracing::warn!("{trouble}");
        Vec::new()
    })
}

impl Opened {
    /// Takes the count of what was chosen up to the record's last row.
    pub(crate) fn catch_up(&self, resume: &mut Resume) {
        if let Some(before) = &self.before {
            resume.catch_up(before, &self.boot, self.at);
        }
    }

    /// Whether the record was last written in this boot.
    fn same_boot(&self) -> bool {
        self.before.as_ref().is_some_and(|before| before.boot_uuid == self.boot)
    }

    /// The wall time of this boot, if the record has it from before the restart.
    pub(crate) fn wall_at_boot(&self) -> Option<Wall> {
        let before = self.before.as_ref().filter(|_| self.same_boot())?;
        before.wall_at_boot_ms.map(Wall::from_unix_ms)
    }
}
