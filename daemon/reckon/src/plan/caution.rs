//! What can hurt somebody in a plan.

use alloc::vec::Vec;

use super::{
    air::{Carriage, carriage},
    spec::{Doing, Plan},
    sun::charges_at,
};
use crate::{bank::Cells, units::Celsius};

/// A caution; [`crate::words::plan::caution`] says it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Caution {
    /// A fuse at the battery.
    Fuse,
    /// No charging of lithium below freezing.
    Freezing,
    /// Heat, and banks that are swollen.
    Heat,
    /// Lead-acid gives off gas.
    Gas,
    /// Banks side by side.
    SideBySide,
    /// Two supplies on one board.
    FeedingBack,
    /// By air only with the airline's approval.
    AskAirline,
    /// Not by air.
    NotByAir,
    /// The licence, and exposure to fields.
    Licence,
    /// No safety device.
    Estimate,
}

/// It is warm enough in the sun to harm a bank from here on, °C (makers' sheets: charge up to 45 °C, and a closed
/// bag or car adds more than 10 K: common practice, no source).
const WARM: Celsius = Celsius::of(30.0);

/// Those that apply.
pub(super) fn cautions(plan: &Plan) -> Vec<Caution> {
    let any = |of: fn(Cells) -> bool| plan.banks.iter().any(|bank| of(bank.spec.cells));
    let sunny = plan.sun.is_some();
    let ambient = plan.banks.iter().filter_map(|bank| bank.spec.ambient);
    let cold = plan
        .banks
        .iter()
        .any(|bank| bank.spec.ambient.is_none_or(|c| !charges_at(bank.spec.cells, c)));
    let air = |of| plan.banks.iter().any(|bank| carriage(&bank.spec) == of);
    let sends = |doing: &Doing| match doing {
        Doing::Activity(..) => plan.load.radio_transmit_w.is_some(),
        Doing::Shares { sent, .. } => *sent > 0.0,
    };
    let all = [
        (Caution::Fuse, plan.banks.iter().any(|bank| bank.spec.series > 1)),
        (Caution::Freezing, sunny && cold && any(|cells| cells != Cells::LeadAcid)),
        (Caution::Heat, sunny || ambient.into_iter().any(|c| c >= WARM)),
        (Caution::Gas, sunny && any(|cells| cells == Cells::LeadAcid)),
        (Caution::SideBySide, plan.banks.iter().skip(1).any(|bank| bank.together)),
        (Caution::FeedingBack, plan.banks.len() > 1 || sunny),
        (Caution::AskAirline, air(Carriage::AfterAsking)),
        (Caution::NotByAir, air(Carriage::Refused)),
        (Caution::Licence, plan.stretches.iter().any(|stretch| sends(&stretch.doing))),
        (Caution::Estimate, true),
    ];
    all.into_iter().filter_map(|(caution, applies)| applies.then_some(caution)).collect()
}
