//! Rest voltage against the share of a bank's energy that was taken: from published tables at
//! first, from the bank's own run-downs as soon as there is one.

use crate::{
    bank::{BankSpec, Cells},
    record::RunDown,
    units::Volts,
};

const KNOTS: usize = 41;
/// Earlier run-downs that a curve is drawn from, and what each older one counts against the newer.
const RUNS: usize = 4;
const OLDER: f64 = 0.5;

/// Knots in the last tenth of the depth.
const LAST_TENTH: usize = (KNOTS - 1) / 10;
/// Deviation of the depths at which a bank's run-downs end (fit).
const ENDS_DIFFER: f64 = 0.05;

/// A table of (share of the energy taken, volts a cell at rest).
type Table = &'static [(f64, f64)];

/// LiFePO4 26650 cell at C/30 and 25 °C, mean of charge and discharge, from open measurements; the
/// SimSES 1.3 table after Naumann lies within 25 mV. The full end is lowered to what rests after
/// charging (from memory).
const LIFEPO4: Table = &[
    (0.0, 3.42),
    (0.052, 3.365),
    (0.104, 3.352),
    (0.206, 3.346),
    (0.308, 3.33),
    (0.409, 3.317),
    (0.511, 3.308),
    (0.612, 3.302),
    (0.712, 3.28),
    (0.811, 3.245),
    (0.86, 3.218),
    (0.909, 3.183),
    (0.957, 3.037),
    (0.984, 2.853),
    (1.0, 2.16),
];

/// NMC 18650 cells at C/20 and 25 °C, mean of four, from the open measurements to L. Wang et al.,
/// 'AI-Enhanced Digital Twin Modeling of Cell-Level Lithium-Ion Batteries' (IEEE Trans. Industrial
/// Informatics, 2025; MIT licence).
const LI_ION: Table = &[
    (0.0, 4.169),
    (0.056, 4.087),
    (0.111, 4.027),
    (0.218, 3.914),
    (0.323, 3.813),
    (0.425, 3.724),
    (0.525, 3.649),
    (0.623, 3.611),
    (0.721, 3.578),
    (0.817, 3.521),
    (0.865, 3.475),
    (0.911, 3.424),
    (0.957, 3.362),
    (0.984, 3.159),
    (1.0, 2.5),
];

/// Lead-acid at rest, from trade tables (12.8, 12.4, 12.1, 11.85, 11.4 V for six cells; from memory).
const LEAD_ACID: Table = &[(0.0, 2.13), (0.25, 2.07), (0.5, 2.02), (0.75, 1.975), (1.0, 1.9)];

/// How far readings stray from a curve, V per pack of the usual size: white noise, and an offset
/// that all readings of an outing share. Table first, then a curve of the bank's own (fit).
struct Stray {
    table: (f64, f64),
    own: (f64, f64),
    /// Pack that these are for, cells in series.
    cells: f64,
    /// Usual cut-off, V a cell.
    cut: f64,
}

const fn stray(cells: Cells) -> Stray {
    match cells {
        // The table's two figures cover the hysteresis of 0.11 to 0.23 V a pack.
        Cells::LiFePo4 => Stray { table: (0.15, 0.15), own: (0.015, 0.03), cells: 4.0, cut: 2.5 },
        Cells::LiIon => Stray { table: (0.15, 0.20), own: (0.025, 0.05), cells: 3.0, cut: 3.0 },
        Cells::LeadAcid => Stray { table: (0.10, 0.20), own: (0.08, 0.05), cells: 6.0, cut: 1.75 },
    }
}

/// Rest voltage against depth: the share of the full bank's energy that is gone.
#[derive(Clone, Debug)]
pub(super) struct Curve {
    volts: [f64; KNOTS],
    /// Rest voltage at which the load was cut off when the curve was taken.
    pub(super) end_v: f64,
    /// Peak current × resistance then, V: the loaded cut-off lies so far below `end_v`.
    pub(super) sag_v: f64,
    /// White noise of a reading, V.
    pub(super) noise: f64,
    /// Deviation of the shared offset, V.
    pub(super) offset: f64,
    /// Deviation of the place along the depth.
    pub(super) loose: f64,
    /// One independent reading per this much depth.
    pub(super) apart: f64,
    /// Whether it is the bank's own.
    pub(super) own: bool,
}

impl Curve {
    /// The best that is known of this bank.
    pub(super) fn best_known<'a>(
        bank: &BankSpec,
        runs: impl DoubleEndedIterator<Item = &'a RunDown>,
    ) -> Self {
        Self::own(bank, runs).unwrap_or_else(|| Self::table(bank))
    }

    fn table(bank: &BankSpec) -> Self {
        let rows = match bank.cells {
            Cells::LiFePo4 => LIFEPO4,
            Cells::LiIon => LI_ION,
            Cells::LeadAcid => LEAD_ACID,
        };
        let n = f64::from(bank.series.max(1));
        let stray = stray(bank.cells);
        let size = n / stray.cells;
        Self {
            volts: core::array::from_fn(|k| n * look_up(rows, depth_at(k))),
            end_v: bank.cutoff.map_or(n * stray.cut, Volts::si),
            sag_v: 0.0,
            noise: stray.table.0 * size,
            offset: stray.table.1 * size,
            loose: 0.1,
            apart: 0.8,
            own: false,
        }
    }

    /// From this bank's own run-downs. The latest says what depth one means; older ones are laid on
    /// it by where their rest voltage ended.
    fn own<'a>(
        bank: &BankSpec,
        runs: impl DoubleEndedIterator<Item = &'a RunDown>,
    ) -> Option<Self> {
        let stray = stray(bank.cells);
        let size = f64::from(bank.series.max(1)) / stray.cells;
        let mut curve: Option<Self> = None;
        let (mut sum, mut weight, mut w) = ([0.0; KNOTS], 0.0, 1.0);
        for run in runs.rev().filter(|r| r.detail.rest_curve.len() >= 8).take(RUNS) {
            let end_v = run.detail.rest_curve[run.detail.rest_curve.len() - 1][1];
            let part = curve.as_ref().map_or(1.0, |known| known.run_end_of(end_v));
            for (k, s) in sum.iter_mut().enumerate() {
                *s += w * read(&run.detail.rest_curve, run.energy_wh() / part * depth_at(k));
            }
            weight += w;
            w *= OLDER;
            let sag = run.detail.peak_a.unwrap_or(0.0) * run.detail.source_ohms.unwrap_or(0.0);
            let (end_v, sag_v) = curve.as_ref().map_or((end_v, sag), |c| (c.end_v, c.sag_v));
            curve = Some(Self {
                volts: sum.map(|s| s / weight),
                end_v,
                sag_v,
                noise: stray.own.0 * size,
                offset: stray.own.1 * size,
                loose: 0.015,
                apart: 0.2,
                own: true,
            });
        }
        curve
    }

    /// Volts at a depth, and their slope along it.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a place among the knots, clamped to their range"
    )]
    pub(super) fn at(&self, depth: f64) -> (f64, f64) {
        let place = depth * (KNOTS - 1) as f64;
        let k = (place.max(0.0) as usize).min(KNOTS - 2);
        let slope = self.volts[k + 1] - self.volts[k];
        (self.volts[k] + slope * (place - k as f64), slope * (KNOTS - 1) as f64)
    }

    /// Depth at which an outing ends whose rest voltage is `v` then: read from the curve's end, and
    /// beyond it along its last slope; kept within reason.
    pub(super) fn end_of(&self, v: f64) -> f64 {
        let mut k = KNOTS - 1;
        while k > KNOTS / 2 && self.volts[k - 1] < v {
            k -= 1;
        }
        let slope = (self.volts[k] - self.volts[k - 1]).min(-1e-3);
        let depth = depth_at(k - 1) + (v - self.volts[k - 1]) / slope / (KNOTS - 1) as f64;
        if self.own { depth.clamp(0.85, 1.1) } else { depth.clamp(0.6, 1.05) }
    }

    /// How far a depth is believed that was read off the curve's end, where the voltage is blurred by
    /// `part` of an outing's offset: as far as depths are known to differ more than that moves them
    /// (Wiener's filter of one number). A flat end tells nothing.
    pub(super) fn believed(&self, part: f64) -> f64 {
        let slope = (self.volts[KNOTS - 1] - self.volts[KNOTS - 1 - LAST_TENTH]) * 10.0;
        let blur = part * self.offset / slope.abs().max(1e-3);
        ENDS_DIFFER * ENDS_DIFFER / (ENDS_DIFFER * ENDS_DIFFER + blur * blur)
    }

    /// Depth to which an earlier run-down took the bank whose rest voltage was `v` at its end.
    pub(super) fn run_end_of(&self, v: f64) -> f64 {
        1.0 + (self.end_of(v) - 1.0) * self.believed(1.0)
    }
}

const fn depth_at(k: usize) -> f64 {
    k as f64 / (KNOTS - 1) as f64
}

/// Straight lines between the rows of a table.
fn look_up(rows: Table, x: f64) -> f64 {
    let j = rows.iter().position(|r| r.0 >= x).unwrap_or(rows.len() - 1).max(1);
    let (a, b) = (rows[j - 1], rows[j]);
    a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0)
}

/// Reads a run-down's curve at an energy; beyond its ends along its last slope.
fn read(c: &[[f64; 2]], wh: f64) -> f64 {
    let j = c.iter().position(|p| p[0] >= wh).unwrap_or(c.len() - 1).max(1);
    let (a, b) = (c[j - 1], c[j]);
    let part = if b[0] > a[0] { ((wh - a[0]) / (b[0] - a[0])).clamp(-2.0, 4.0) } else { 0.0 };
    a[1] + part * (b[1] - a[1])
}
