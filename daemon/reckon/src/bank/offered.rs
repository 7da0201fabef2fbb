//! Which banks are offered for one tap.

use alloc::{string::String, vec::Vec};

use super::spec::BankSpec;

/// Banks for one tap: those of the settings first, then those of the record, none that was forgotten.
/// Of two with one name the record's is the newer word.
#[must_use]
pub fn banks_offered(
    own: &[BankSpec],
    recorded: &[BankSpec],
    forgotten: &[String],
) -> Vec<BankSpec> {
    let newest = |bank: &BankSpec| recorded.iter().find(|one| one.name == bank.name).cloned();
    let own = own.iter().map(|bank| newest(bank).unwrap_or_else(|| bank.clone()));
    let mut all: Vec<BankSpec> = Vec::new();
    for bank in own.chain(recorded.iter().cloned()) {
        if !forgotten.contains(&bank.name) && all.iter().all(|one| one.name != bank.name) {
            all.push(bank);
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_settings_come_first_and_the_record_has_the_newer_word() {
        let bank = |name: &str, series| BankSpec {
            name: name.into(),
            series,
            ..BankSpec::common()[0].clone()
        };
        let own = [bank("Blue ten", 1), bank("Long six", 4)];
        let recorded = [bank("Old one", 2), bank("Long six", 3), bank("Gone", 1)];
        let all = banks_offered(&own, &recorded, &["Gone".into(), "Blue ten".into()]);
        let names: Vec<_> = all.iter().map(|bank| (bank.name.as_str(), bank.series)).collect();
        assert_eq!(names, [("Long six", 3), ("Old one", 2)]);
    }
}
