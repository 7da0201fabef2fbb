//! Run-downs in the record: which outings are still to be recorded as one, and what all of them teach.

use history::{Change, Reader, Trouble};
use reckon::{
    estimator::{Learned, LoadPrior, Observation},
    record,
};

/// So many of the newest outings are looked through for some that are not recorded yet.
const LOOK_BACK: usize = 12;

/// Everything that the record teaches, by the bank's name.
///
/// # Errors
/// When the record cannot be read.
pub(crate) fn learned_by_bank(reader: &Reader) -> Result<Vec<(String, Learned)>, Trouble> {
    let mut all = Vec::new();
    for bank in reader.banks()? {
        let learned = record::learned(&bank.spec, &reader.rundowns(bank.id)?);
        if learned.rundowns() > 0 {
            all.push((bank.spec.name, learned));
        }
    }
    Ok(all)
}

/// Run-downs of closed outings that were not recorded yet, oldest first.
///
/// # Errors
/// When the record cannot be read.
pub(crate) fn uncredited(reader: &Reader, load: &LoadPrior) -> Result<Vec<Change>, Trouble> {
    let banks = reader.banks()?;
    let mut entries = Vec::new();
    for outing in reader.outings(None, LOOK_BACK)?.items.iter().rev() {
        let bank = banks.iter().find(|bank| Some(&bank.spec.name) == outing.bank.as_ref());
        let Some(bank) = bank.filter(|_| outing.teaches()) else { continue };
        if reader.rundowns(bank.id)?.iter().any(|one| one.outing == Some(outing.id)) {
            continue;
        }
        let Some(whole) = reader.outing_whole(outing.id)? else { continue };
        if let Some(data) = outing.run_down(&bank.spec, (&whole.on, &whole.rows), load) {
            entries.push(Change::RunDown {
                bank: bank.spec.name.clone(),
                outing: Some(outing.id),
                data,
            });
        }
    }
    Ok(entries)
}

/// What was seen in an outing, in few steps; nothing where the record cannot be read.
pub(crate) fn steps(reader: &Reader, outing: i64) -> Vec<Observation> {
    let seen = reader.rows(outing).map(|rows| record::steps(&rows));
    seen.inspect_err(|trouble| tracing::warn!("{trouble}")).unwrap_or_default()
}
