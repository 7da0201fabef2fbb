//! Watches whether the supply stays the same: an absence of voltage and current over many sweeps,
//! or a lasting step of the cells' voltage at like current.
//!
//! A single dip, and a transmission, are neither. Rest voltage is V + I·R, with R learned from the
//! steps of the current themselves (−Σ dv·di / Σ di²).

use alloc::collections::VecDeque;

use crate::time::Mono;

/// The supply counts as away below this share of its usual voltage.
const AWAY: f64 = 0.5;
/// And with no more current than this, A (offset of a small sensor).
const NO_AMPS: f64 = 0.03;
/// Sweeps in a row: nobody changes a bank in less time, and a plug that slips is put
/// back sooner (common practice, no source).
const SWEEPS: u32 = 10;
/// How long a step must last, s; it is compared with as much time before it.
const LASTS_S: f64 = 60.0;
/// Share by which the rest voltage of a pack must step. A fresh pack stands 3 to 6 % above a half
/// empty one; what is left of a transmission's sag after V + I·R is below 1.5 % (common practice,
/// no source).
const STEP: f64 = 0.03;
/// A step of the current that tells of the resistance, A.
const STEP_A: f64 = 0.3;
/// Resistance that is expected before any step, ohms, and its weight, A² (a short lead and a fuse;
/// common practice, no source).
const OHMS: f64 = 0.05;
const OHMS_A2: f64 = 0.25;

/// From when to when the supply was away, or in between which seconds it stepped.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Away {
    /// The last second of the supply before.
    pub from: Mono,
    /// The first second after.
    pub to: Mono,
    /// Whether the voltage stepped without having been away.
    pub stepped: bool,
}

impl Away {
    /// How long it was away, s.
    #[must_use]
    pub const fn lasted_s(&self) -> f64 {
        self.to.seconds_since(self.from).si()
    }
}

/// One second of volts and amperes.
#[derive(Clone, Copy, Debug)]
struct Second {
    at: Mono,
    volts: f64,
    amps: f64,
}

/// Watches one bank's terminals.
#[derive(Clone, Debug, Default)]
pub struct Presence {
    usual_v: Option<f64>,
    last: Option<Second>,
    missing: u32,
    /// Seconds of the last two minutes, where the cells' voltage is seen.
    lately: VecDeque<Second>,
    sum_vi: f64,
    sum_ii: f64,
}

impl Presence {
    /// Takes what was read at the terminals. A missing reading says nothing: the sensor may be at
    /// fault. `at_cells`: the voltage is that of the cells, so a step of it tells.
    pub fn observe(
        &mut self,
        at: Mono,
        volts: Option<f64>,
        amps: Option<f64>,
        at_cells: bool,
    ) -> Option<Away> {
        let volts = volts.filter(|volts| volts.is_finite())?;
        let amps = amps.filter(|amps| amps.is_finite()).unwrap_or(0.0);
        let usual = *self.usual_v.get_or_insert(volts);
        if volts < usual * AWAY {
            // Current without voltage contradicts itself and counts for nothing.
            self.missing += u32::from(amps <= NO_AMPS);
            return None;
        }
        let now = Second { at, volts, amps };
        let missing = core::mem::take(&mut self.missing);
        let before = self.last.replace(now);
        if missing >= SWEEPS {
            self.usual_v = Some(volts);
            self.lately.clear();
            return before.map(|before| Away { from: before.at, to: at, stepped: false });
        }
        self.usual_v = Some(usual + 0.02 * (volts - usual));
        if !at_cells || amps <= 0.0 {
            self.lately.clear();
            return None;
        }
        self.stepped(before, now)
    }

    /// Whether the minute till now stands apart from the minute before.
    fn stepped(&mut self, before: Option<Second>, now: Second) -> Option<Away> {
        if let Some(before) = before {
            let (dv, di) = (now.volts - before.volts, now.amps - before.amps);
            if di.abs() > STEP_A {
                self.sum_vi -= dv * di;
                self.sum_ii += di * di;
            }
        }
        self.lately.push_back(now);
        let span_s = |first: &Second| now.at.seconds_since(first.at).si();
        while self.lately.front().is_some_and(|first| span_s(first) > 2.0 * LASTS_S) {
            self.lately.pop_front();
        }
        if self.lately.front().is_none_or(|first| span_s(first) < 2.0 * LASTS_S - 3.0) {
            return None;
        }
        let place = self.lately.iter().position(|one| span_s(one) <= LASTS_S)?;
        // It must have come at once, between these two seconds, and not bit by bit.
        let (a, b) = (*self.lately.get(place.checked_sub(1)?)?, *self.lately.get(place)?);
        if (self.rest(&b) - self.rest(&a)).abs() < 0.5 * STEP * a.volts {
            return None;
        }
        let (old, new) = (self.middle(0, place)?, self.middle(place, self.lately.len())?);
        if (new - old).abs() < STEP * old {
            return None;
        }
        let away = Away { from: a.at, to: b.at, stepped: true };
        self.lately.clear();
        Some(away)
    }

    fn rest(&self, one: &Second) -> f64 {
        let ohms = (self.sum_vi + OHMS * OHMS_A2) / (self.sum_ii + OHMS_A2);
        one.volts + one.amps * ohms.clamp(0.0, 1.0)
    }

    /// Median of the rest voltage between two places.
    fn middle(&self, from: usize, to: usize) -> Option<f64> {
        let mut rest: alloc::vec::Vec<f64> =
            self.lately.range(from..to).map(|one| self.rest(one)).collect();
        rest.sort_by(f64::total_cmp);
        rest.get(rest.len() / 2).copied()
    }
}
