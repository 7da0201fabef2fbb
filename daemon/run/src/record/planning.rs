//! What a plan may take from the record.

use history::{Reader, Trouble};
use reckon::{plan::Known, record};

use crate::record::report::Drawn;

/// The banks that are offered, with what they taught, and what activities drew on each.
///
/// # Errors
/// When the record cannot be read.
pub(crate) fn known(reader: &Reader) -> Result<Known, Trouble> {
    let offered = reader.banks()?.into_iter().filter(|bank| !bank.forgotten);
    let banks = offered
        .map(|bank| {
            let learned = record::learned(&bank.spec, &reader.rundowns(bank.id)?);
            Ok((bank.spec, learned))
        })
        .collect::<Result<_, Trouble>>()?;
    Ok(Known { banks, usual: Drawn::default().usual(reader)?, ..Known::default() })
}
