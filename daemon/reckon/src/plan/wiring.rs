//! The lead from the bank: what it costs at peak load, and its fuse.

use super::{
    fuse::{Fuse, fuse},
    spec::{Feeds, Plan},
    wire::{BOARD_SUPPLY, LeadGrade, UNDERVOLTAGE, grade},
};
use crate::{
    draw::BoardModel,
    estimator::STEP_DOWN,
    units::{Amps, Celsius, Ohms, Volts},
};

/// What a lead costs at peak load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wiring {
    /// Peak current.
    pub peak: Amps,
    /// There and back.
    pub resistance: Ohms,
    /// Lost on the way.
    pub drop: Volts,
    /// At the far end.
    pub far_end: Volts,
    /// Whether a 5 V board would flag undervoltage there; `None` behind a pack, whose converter follows.
    pub undervoltage: Option<bool>,
    /// How good it is for a 5 V board; `None` behind a pack.
    pub grade: Option<LeadGrade>,
    /// The fuse at the battery; `None` behind a bank whose own electronics cut off.
    pub fuse: Option<Fuse>,
}

/// What the plan's lead from its first bank costs.
pub(super) fn wiring(plan: &Plan) -> Option<Wiring> {
    let (lead, bank) = (plan.lead.as_ref()?, plan.banks.first()?);
    let usb = bank.spec.series <= 1;
    let source = lead.source.unwrap_or(if usb { BOARD_SUPPLY } else { bank.spec.label_volts });
    let peak = lead.peak.unwrap_or_else(|| {
        let some_board = || BoardModel::new(None, None).full.si();
        let board_w = plan.load.full_w.unwrap_or_else(some_board) + most_extra_w(plan);
        let board_w = if bank.feeds == Feeds::Radio { 0.0 } else { board_w / through(plan, usb) };
        let radio_w = plan.load.radio_transmit_w.filter(|_| bank.feeds != Feeds::Board);
        Amps::of((board_w + radio_w.unwrap_or(0.0)) / source.si().max(0.1))
    });
    // A lead in the sun or under load is as warm as a room, or the outing if that is warmer.
    let warmth = bank.spec.ambient.map_or(ROOM, |ambient| ambient.max(ROOM));
    let resistance = lead.wire.loop_at(warmth);
    let far_end = lead.wire.volts_at_board(source, peak, warmth);
    Some(Wiring {
        peak,
        resistance,
        drop: lead.wire.drop(peak, warmth),
        far_end,
        undervoltage: usb.then_some(far_end < UNDERVOLTAGE),
        grade: usb.then(|| grade(resistance)),
        fuse: (!usb).then(|| fuse(peak, lead.wire.gauge)),
    })
}

const ROOM: Celsius = Celsius::of(20.0);

fn most_extra_w(plan: &Plan) -> f64 {
    plan.stretches.iter().map(|stretch| stretch.extra_w).fold(0.0, f64::max)
}

/// A pack's board hangs on a converter, by itself an ordinary one.
fn through(plan: &Plan, usb: bool) -> f64 {
    if usb { 1.0 } else { plan.through.unwrap_or(STEP_DOWN).max(0.05) }
}
