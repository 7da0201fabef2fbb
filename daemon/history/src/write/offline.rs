//! Changes what belongs to no running boot (banks, run-downs, names, answers, contact logs,
//! corrections of what was done) while no daemon runs.

use std::path::Path;

use rusqlite::Connection;

use crate::{
    schema,
    trouble::Trouble,
    write::{
        apply::{Place, Work},
        change::Change,
    },
};

/// Changes banks, run-downs, names, answers, contacts and corrections in the store of this folder,
/// which no daemon may have open; anything else among the entries is left out. It leaves no sign of a run, so the
/// account of the last end stays what it was.
///
/// # Errors
/// When the store cannot be opened or written to.
pub fn amend(folder: &Path, entries: &[Change]) -> Result<(), Trouble> {
    let (mut connection, _) = schema::open(folder)?;
    put(&mut connection, entries).map_err(Trouble::writing)
}

fn put(connection: &mut Connection, entries: &[Change]) -> rusqlite::Result<()> {
    let transaction = connection.transaction()?;
    let mut work = Work { on: &transaction, boot: 0, run: 0, at: Place::default() };
    for entry in entries {
        if matches!(
            entry,
            Change::Bank(_)
                | Change::BankRenamed { .. }
                | Change::BankForgotten { .. }
                | Change::RunDown { .. }
                | Change::Struck { .. }
                | Change::Answered { .. }
                | Change::OutingRenamed { .. }
                | Change::Contacts(_)
                | Change::ContactsForgotten { .. }
                | Change::Correction { .. }
                | Change::CorrectionForgotten { .. }
        ) {
            work.entry(entry)?;
        }
    }
    transaction.commit()
}
