//! What is usual for the draw of a bank's outings: printed figures first, earlier outings later.

use libm::log;

use super::{LoadPrior, draw::DrawPrior, maths::correct};
use crate::{bank::BankSpec, record::RunDown};

/// A 12 V pack feeds the board through a step-down converter of about this efficiency (trade
/// figure for 0.5 to 3 A at 5 V; common practice, no source).
pub(crate) const STEP_DOWN: f64 = 0.89;
/// A board in use draws more than its printed idle figure: radio link, hotspot, display, what is
/// plugged in. Taken as this share of what full work adds (fit).
const IN_USE: f64 = 0.5;
/// Share of the time that is sent, over all kinds of operating (fit; trade figures reach from 10 %
/// hunting to 50 % contest).
const SENT: f64 = 0.08;
/// Deviation (ln) of the mean draw about such printed figures, and about nothing but a guess.
const PRINTED: f64 = 0.18;
const GUESSED: f64 = 0.8;
/// Deviation (ln) of one outing's level from the mean of its bank's outings (fit).
const BETWEEN: f64 = 0.14;
/// Deviation (ln) of a new regime from that mean, and mean time between changes, h (fit): a USB
/// bank, which carries no radio; a pack, which does.
const CHANGE_USB: (f64, f64) = (0.13, 10.0);
const CHANGE_PACK: (f64, f64) = (0.30, 8.0);

/// What a board draws that nobody has told of, W: a middling one.
pub(crate) const SOME_BOARD_W: f64 = 2.5;
/// Full work against idle for such a board (the vendors' tables: about two to two and a half).
pub(super) const FULL_TO_IDLE: f64 = 2.2;

/// From the printed figures and the earlier outings; `mean_w` gives an outing's mean draw.
pub(super) fn draw_prior(
    bank: &BankSpec,
    load: &LoadPrior,
    converter: bool,
    runs: &[RunDown],
    mean_w: impl Fn(&RunDown) -> f64,
) -> DrawPrior {
    let (mut log_w, mut var) = printed(bank, load, converter);
    for run in runs {
        let seen = correct(var, 1.0, BETWEEN * BETWEEN);
        log_w += seen.gain * (log(mean_w(run).max(1e-3)) - log_w);
        var = seen.var;
    }
    let (change_sd, change_h) = if converter { CHANGE_USB } else { CHANGE_PACK };
    let radio = load.radio_receive_w.is_some() || load.radio_transmit_w.is_some();
    let printed = runs.is_empty() && !radio;
    DrawPrior { log_w, var, between: BETWEEN, change_sd, change_h, printed }
}

/// ln of the mean draw (W) and its variance, from what is printed.
fn printed(bank: &BankSpec, load: &LoadPrior, converter: bool) -> (f64, f64) {
    let idle = load.idle_w.unwrap_or(SOME_BOARD_W);
    let work = (load.full_w.unwrap_or(idle * FULL_TO_IDLE) - idle).max(0.0);
    let receive = load.radio_receive_w.unwrap_or(0.0);
    let transmit = load.radio_transmit_w.unwrap_or(receive).max(receive);
    let through = if converter || bank.series <= 1 { 1.0 } else { STEP_DOWN };
    let board = (idle + IN_USE * work + load.accessories_w.max(0.0)) / through;
    let radio = receive + SENT * (transmit - receive);
    let sd = if load.idle_w.is_some() { PRINTED } else { GUESSED };
    (log((board + radio).max(0.05)), sd * sd)
}
