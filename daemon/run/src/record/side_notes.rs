//! What outlast notes for itself among the record's choices: the run-down test that is on, and what was
//! believed before an answer.

use history::Reader;
use reckon::record::TestLoad;

/// The run-down test that is on, in the record's choices.
pub(crate) const TEST: &str = "rundown_test";
/// How likely an empty bank had seemed before the operator said how an outing ended, in the record's
/// choices: the chance, under this and the outing's number.
const ENDING_BEFORE: &str = "ending_before";

/// The test that the record's choices speak of: its load and the bank's name.
pub(crate) fn test_of(reader: &Reader) -> Option<(TestLoad, String)> {
    let choices = reader.choices().ok()?;
    let (_, value) = choices.into_iter().find(|(key, _)| key == TEST)?;
    let (load, bank) = value.split_once('\n')?;
    let load = TestLoad::ALL.into_iter().find(|one| one.name() == load)?;
    Some((load, bank.to_owned()))
}

/// How likely an empty bank had seemed before the operator said how this outing ended.
pub(crate) fn ending_before(reader: &Reader, outing: i64) -> Option<f64> {
    let (choices, wanted) = (reader.choices().ok()?, ending_key(outing));
    let (_, chance) = choices.into_iter().find(|(key, _)| *key == wanted)?;
    chance.parse().ok().filter(|chance| (0.0..=1.0).contains(chance))
}

pub(crate) fn ending_key(outing: i64) -> String {
    format!("{ENDING_BEFORE}_{outing}")
}
