//! What the made-up operator knows from before: two run-downs of the bank. Without them nobody could
//! say so well when it is empty, and the board would not switch itself off.

use std::path::Path;

use history::{Change, Trouble};
use reckon::record::RunDown;

use super::outing;

/// How long each lasted and what it gave.
const RUN_DOWNS: [(&str, f64, f64); 2] =
    [("Bench, in March", 23_900.0, 25.6), ("Old quarry", 21_700.0, 26.3)];

/// Puts them into a record that is still empty.
///
/// # Errors
/// When the record cannot be made.
pub(crate) fn remember(folder: &Path) -> Result<(), Trouble> {
    if folder.join(history::FILE).exists() {
        return Ok(());
    }
    let bank = outing().bank;
    let of = bank.name.clone();
    let run_down = |(name, lasted_s, delivered_wh): (&str, f64, f64)| {
        let data = RunDown {
            name: Some(name.to_owned()),
            whole: true,
            start_share: Some(1.0),
            lasted_s,
            within_s: 10.0,
            delivered_wh: Some(delivered_wh),
            mean_power_w: Some(delivered_wh * 3600.0 / lasted_s),
            measured: true,
            ..RunDown::default()
        };
        Change::RunDown { bank: of.clone(), outing: None, data }
    };
    let entries: Vec<Change> =
        std::iter::once(Change::Bank(bank)).chain(RUN_DOWNS.map(run_down)).collect();
    history::amend(folder, &entries)
}
