//! Run-downs of one bank made comparable: what each would have given at the same draw and warmth, and
//! how far that is known.

use libm::{exp, sqrt};

use super::{
    capacity::Capacity,
    outing::{BRIDGED, OTHER_BASIS, has_converter},
};
use crate::{bank::BankSpec, record::RunDown, units::Celsius};

/// Energy of a run-down that went from full to empty, as it would have been at the mean draw `usual_w` and
/// the bank's usual warmth, and its standard deviation: Wh. `given_wh` is what it gave.
///
/// The line of `capacity` carries it over, with what is known of a bank of its kind. The deviation is that
/// of ε, of the way carried, and of what was bridged or modelled instead of measured.
pub(crate) fn comparable(
    bank: &BankSpec,
    run: &RunDown,
    given_wh: f64,
    usual_w: f64,
) -> (f64, f64) {
    let mut capacity = Capacity::from_label(bank, has_converter(bank));
    capacity.set_known();
    let usual = capacity.terms(usual_w, bank.ambient.map(Celsius::si), 0.0);
    let mean_w = given_wh * 3600.0 / run.lasted_s.max(1.0);
    let (ahead, var) = capacity.between(&usual, &capacity.terms(mean_w, run.ambient_c, 0.0));
    let bridged = BRIDGED * run.bridged_wh.unwrap_or(0.0) / given_wh;
    let modelled = if run.measured { 0.0 } else { OTHER_BASIS };
    let var = var + capacity.repeat_var(&usual) + bridged * bridged + modelled * modelled;
    let wh = given_wh * exp(ahead);
    (wh, wh * sqrt(var))
}
