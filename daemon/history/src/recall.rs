//! Changes what belongs to no running boot (banks, run-downs, names, answers, contact logs,
//! corrections of what was done) while no daemon runs.

use std::path::Path;

use rusqlite::Connection;

use crate::{
    entry::Entry,
    schema,
    trouble::Trouble,
    work::{Place, Work},
};

/// Changes banks, run-downs, names, answers, contacts and corrections in the store of this folder,
/// which no daemon may have open; anything else among the entries is left out. It leaves no sign of a run, so the
/// account of the last end stays what it was.
///
/// # Errors
/// When the store cannot be opened or written to.
pub fn amend(folder: &Path, entries: &[Entry]) -> Result<(), Trouble> {
    let (mut connection, _) = schema::open(folder)?;
    put(&mut connection, entries).map_err(Trouble::writing)
}

fn put(connection: &mut Connection, entries: &[Entry]) -> rusqlite::Result<()> {
    let transaction = connection.transaction()?;
    let mut work = Work { on: &transaction, boot: 0, run: 0, at: Place::default() };
    for entry in entries {
        if matches!(
            entry,
            Entry::Bank(_)
                | Entry::BankRenamed { .. }
                | Entry::BankForgotten { .. }
                | Entry::RunDown { .. }
                | Entry::Struck { .. }
                | Entry::Answered { .. }
                | Entry::OutingRenamed { .. }
                | Entry::Contacts(_)
                | Entry::ContactsForgotten { .. }
                | Entry::Doing { .. }
                | Entry::DoingForgotten { .. }
        ) {
            work.entry(entry)?;
        }
    }
    transaction.commit()
}
