//! A bank in the record.

use crate::bank::BankSpec;

/// A bank in the store.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordedBank {
    /// Its id.
    pub id: i64,
    /// What its owner told.
    pub spec: BankSpec,
    /// Not offered any more; its outings and run-downs stay.
    pub forgotten: bool,
}
