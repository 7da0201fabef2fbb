//! A run-down: what later forecasts of its bank learn from.

use alloc::{string::String, vec::Vec};

use crate::{bank::Start, time::Wall, units::Share};

/// With a larger share of its energy counted at the end of a sensor's range, a run-down is a lower
/// bound: a draw of twice the end would be short by as much again, and a usual sensor's gain with its
/// shunt is not known better (common practice, no source).
const MOST_OVER_RANGE: f64 = 0.02;

/// A run-down: what later forecasts of its bank learn from.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct RunDown {
    /// A name, such as the imported file's.
    pub name: Option<String>,
    /// Whether it went on until the bank cut out; else we only learn 'at least'.
    pub whole: bool,
    /// Full at its start is 1; `None` is unknown.
    pub start_share: Option<f64>,
    /// From connected to the end, s: the shortest that fits what is known.
    pub lasted_s: f64,
    /// By how much the true duration may be longer, s.
    pub within_s: f64,
    /// By how much it may be shorter, s.
    pub before_s: f64,
    /// Energy delivered at the sensor, Wh; `None` where nothing measured or modelled it.
    pub delivered_wh: Option<f64>,
    /// Of that, bridged over gaps, Wh.
    pub bridged_wh: Option<f64>,
    /// Mean power, W.
    pub mean_power_w: Option<f64>,
    /// Whether the draw was measured (else modelled).
    pub measured: bool,
    /// Temperature around it, °C.
    pub ambient_c: Option<f64>,
    /// Lists and figures that only the estimator knows the use of.
    pub detail: Detail,
}

impl RunDown {
    /// How full it began.
    #[must_use]
    pub fn start(&self) -> Start {
        match self.start_share {
            Some(share) if share >= 1.0 => Start::Full,
            Some(share) => Start::Part(Share::nearest(share)),
            None => Start::Unknown,
        }
    }

    /// Energy delivered, Wh; zero where none is known: an imported list of time stamps says how long,
    /// not how much, and nothing is learned from it.
    #[must_use]
    pub fn energy_wh(&self) -> f64 {
        self.delivered_wh.unwrap_or(0.0)
    }

    /// Whether the bank gave this energy and no more: it was run down until it cut out, and next to
    /// none of it was beyond what the sensor could measure. Else it gave at least this.
    #[must_use]
    pub fn is_exact(&self) -> bool {
        let over_range_wh = self.detail.over_range_wh.unwrap_or(0.0);
        self.whole && over_range_wh <= MOST_OVER_RANGE * self.energy_wh()
    }

    /// Mean draw, W.
    #[must_use]
    pub fn mean_w(&self) -> f64 {
        self.energy_wh() * 3600.0 / self.lasted_s.max(1.0)
    }

    /// Whether there is energy in it, and every number can be reckoned with.
    pub(crate) fn is_sound(&self) -> bool {
        let Detail { rest_curve, source_ohms, peak_a, work, burst, .. } = &self.detail;
        self.energy_wh() > 0.0
            && self.lasted_s > 0.0
            && [self.energy_wh(), self.lasted_s]
                .iter()
                .chain(&self.bridged_wh)
                .chain(&self.ambient_c)
                .chain(rest_curve.iter().flatten())
                .chain(work)
                .chain(source_ohms)
                .chain(peak_a)
                .chain(burst.iter().flatten())
                .all(|x| x.is_finite())
            && burst.is_none_or(|b| b[0] > 0.0)
    }
}

/// What only the estimator makes and reads; kept as JSON so that new figures need no new columns.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Detail {
    /// Rest voltage against energy delivered, `[Wh, V]`, rising in Wh; empty where the cells' voltage
    /// is not seen. At most 64 points.
    pub rest_curve: Vec<[f64; 2]>,
    /// Resistance of bank and lead as seen by the sensor, ohms.
    pub source_ohms: Option<f64>,
    /// Typical peak current, A.
    pub peak_a: Option<f64>,
    /// Mean draw of each half hour, W. At most 256.
    pub half_hours_w: Vec<f64>,
    /// What a modelled draw was made of: hours of each part, in an order that only the estimator
    /// knows. At most 16.
    pub work: Vec<f64>,
    /// The processor's rhythm in a timed mode: size (seconds of full processor use) and length (s) of
    /// the burst that follows a slot that was listened to.
    pub burst: Option<[f64; 2]>,
    /// What the measured draw was made of; `None` where it was not measured, or too short.
    pub draw_levels: Option<DrawLevels>,
    /// Of the energy, counted while a sensor was at the end of its range, Wh: the true energy is more.
    pub over_range_wh: Option<f64>,
}

/// What an outing's measured draw was made of, as later plans take it apart.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct DrawLevels {
    /// Draw with nothing to do and nothing sent, W.
    pub rest_w: f64,
    /// A lasting step above that, such as a display that is on for a while: W, and its share of the time.
    pub step: Option<[f64; 2]>,
    /// Mean chance that somebody was there, as far as the processor showed it, 0 to 1.
    pub present: f64,
    /// What full work of the processor adds, W, and the standard error of that.
    pub work_w: Option<[f64; 2]>,
    /// What sending adds, W; `None` where nothing was seen to be sent.
    pub sending_w: Option<f64>,
}

/// A run-down in the store.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordedRunDown {
    /// Its id.
    pub id: i64,
    /// Its bank's id.
    pub bank: i64,
    /// The outing it was; `None` for an imported one.
    pub outing: Option<i64>,
    /// When that outing began, if the wall time is known.
    pub began: Option<Wall>,
    /// What that outing delivered, as every list names it, Wh.
    pub outing_wh: Option<f64>,
    /// Taken back by the operator: nothing learns from it.
    pub struck: bool,
    /// What was seen.
    pub data: RunDown,
}

impl RecordedRunDown {
    /// What it delivered, Wh: as its outing is said to have, wherever that is known.
    #[must_use]
    pub fn delivered_wh(&self) -> Option<f64> {
        self.outing_wh.or(self.data.delivered_wh)
    }

    /// Its mean draw by that, W.
    #[must_use]
    pub fn mean_power_w(&self) -> Option<f64> {
        let by_outing = self.outing_wh.filter(|_| self.data.lasted_s > 0.0);
        by_outing.map(|wh| wh * 3600.0 / self.data.lasted_s).or(self.data.mean_power_w)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_outing_has_one_energy_wherever_it_is_named() {
        let data = RunDown { lasted_s: 36_000.0, delivered_wh: Some(35.0), ..RunDown::default() };
        let of = |outing_wh| RecordedRunDown {
            id: 1,
            bank: 1,
            outing: Some(1),
            began: None,
            outing_wh,
            struck: false,
            data: data.clone(),
        };
        let seen = of(Some(32.4));
        assert_eq!((seen.delivered_wh(), seen.mean_power_w()), (Some(32.4), Some(3.24)));
        assert_eq!(of(None).delivered_wh(), Some(35.0), "an imported one has no outing");
    }

    #[test]
    fn one_without_energy_or_with_a_broken_number_teaches_nothing() {
        let some = RunDown { lasted_s: 70_800.0, delivered_wh: Some(31.5), ..RunDown::default() };
        // SI brochure, 9th ed.: 1 Wh = 3600 J; 31.5 Wh over 70 800 s are 1.602 W.
        assert!((some.mean_w() - 1.602).abs() < 0.001, "{}", some.mean_w());
        assert!(some.is_sound() && !RunDown::default().is_sound());
        let burst = |size| Detail { burst: Some([size, 2.1]), ..Detail::default() };
        let bad = f64::NAN;
        for broken in [
            RunDown { delivered_wh: None, ..some.clone() },
            RunDown { lasted_s: 0.0, ..some.clone() },
            RunDown { bridged_wh: Some(bad), ..some.clone() },
            RunDown { ambient_c: Some(bad), ..some.clone() },
            RunDown { detail: Detail { peak_a: Some(bad), ..Detail::default() }, ..some.clone() },
            RunDown { detail: burst(0.0), ..some.clone() },
        ] {
            assert!(!broken.is_sound(), "{broken:?}");
        }
        assert!(RunDown { detail: burst(0.4), ..some }.is_sound());
    }

    #[test]
    fn a_share_of_one_is_full_and_none_is_unknown() {
        let start = |start_share| RunDown { start_share, ..RunDown::default() }.start();
        assert_eq!([start(Some(1.0)), start(None)], [Start::Full, Start::Unknown]);
        assert_eq!(start(Some(0.7)), Start::Part(Share::nearest(0.7)));
    }
}
