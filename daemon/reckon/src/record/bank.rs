//! A bank in the record.

use alloc::vec::Vec;

use super::run_down::RecordedRunDown;
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

/// A bank with its run-downs.
#[derive(Clone, Debug, PartialEq)]
pub struct BankWhole {
    /// The bank.
    pub bank: RecordedBank,
    /// Its run-downs, oldest first, struck ones too.
    pub run_downs: Vec<RecordedRunDown>,
}
