//! A run-down that was not recorded here: a recorded outing, or a list of time stamps.

use history::time_stamp_import;
use reckon::{
    bank::BankSpec,
    estimator::LoadPrior,
    name,
    record::{RecordedRunDown, RunDown},
    units::Celsius,
    words,
};

use crate::recording::import::{self, Recorded};

/// What a recording or a list teaches about a bank.
///
/// # Errors
/// What is wrong with it, as a sentence, with the line where there is one.
pub(crate) fn run_down(
    bank: &BankSpec,
    name: &str,
    text: &str,
    load: &LoadPrior,
) -> Result<RunDown, String> {
    if import::is_recording(text.as_bytes()) {
        return recorded(bank, name, text, load);
    }
    listed(name, text, load)
}

/// A list of time stamps says how long, not how much: the energy is what the board draws when it
/// does nothing, which is what most such tests did. It counts as modelled.
fn listed(name: &str, text: &str, load: &LoadPrior) -> Result<RunDown, String> {
    let marks = time_stamp_import::read(text).map_err(|why| why.0)?;
    let mut data = marks.rundown(if name.is_empty() { "time stamps" } else { name });
    let watts = load.idle_w.map(|idle| idle + load.accessories_w).filter(|watts| *watts > 0.0);
    data.mean_power_w = watts;
    data.delivered_wh = watts.map(|watts| watts * data.lasted_s / 3600.0);
    Ok(data)
}

/// A recorded outing teaches what it would have taught if it had been recorded here.
fn recorded(bank: &BankSpec, name: &str, text: &str, load: &LoadPrior) -> Result<RunDown, String> {
    let Recorded { outing, on, rows, ambient_c } = import::outing(text.as_bytes())?;
    if !outing.teaches() {
        return Err(words::record::TOO_SHORT.to_owned());
    }
    let own = outing.name.as_deref().filter(|_| name.is_empty()).unwrap_or(name);
    let name = name::line(own, name::LONGEST);
    let name = name.map_err(|fault| words::unchanged(&words::name_fault("The name", fault)))?;
    let bank = BankSpec { ambient: ambient_c.map(Celsius::of).or(bank.ambient), ..bank.clone() };
    let seen = outing.run_down(&bank, (&on, &rows), load);
    let seen = seen.ok_or_else(|| words::record::NO_ENERGY.to_owned())?;
    Ok(RunDown { name: Some(name).filter(|name| !name.is_empty()), ..seen })
}

/// Whether a run-down is this one, imported again. What was modelled depends on what the board is
/// known to draw, which may have changed since.
pub(crate) fn is_same(kept: &RecordedRunDown, data: &RunDown) -> bool {
    let near = |a: f64, b: f64, within: f64| (a - b).abs() < within;
    let energies = kept.delivered_wh().zip(data.delivered_wh);
    let measured = kept.data.measured && data.measured;
    kept.data.measured == data.measured
        && near(kept.data.lasted_s, data.lasted_s, 0.5)
        && (!measured || energies.is_some_and(|(a, b)| near(a, b, 0.001 + 1e-4 * b)))
        && (kept.data.name == data.name || (measured && kept.outing.is_some()))
}

#[cfg(test)]
mod tests;
