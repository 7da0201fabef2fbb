//! A run-down: what later forecasts of its bank learn from.

use alloc::{string::String, vec::Vec};

use crate::{
    engine::Start,
    estimator::{Ending, RunDown as Seen},
    time::Wall,
    units::Share,
};

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

impl From<&Seen> for RunDown {
    fn from(seen: &Seen) -> Self {
        let mean_power_w = (seen.lasted_s > 0.0).then(|| seen.energy_wh * 3600.0 / seen.lasted_s);
        Self {
            name: None,
            whole: seen.ending == Ending::Died,
            start_share: seen.start.middle().map(Share::part),
            lasted_s: seen.lasted_s,
            within_s: 0.0,
            before_s: 0.0,
            delivered_wh: Some(seen.energy_wh),
            bridged_wh: Some(seen.bridged_wh),
            mean_power_w,
            measured: seen.measured,
            ambient_c: seen.ambient_c,
            detail: Detail {
                rest_curve: seen.rest_curve.clone(),
                source_ohms: seen.source_ohms,
                peak_a: seen.peak_a,
                half_hours_w: seen.half_hours_w.clone(),
                work: seen.work.clone(),
                burst: seen.burst,
            },
        }
    }
}

impl RunDown {
    /// As the estimator learns from it; `None` where no energy is known (an imported list of time
    /// stamps says how long, not how much: whoever knows the draw fills `delivered_wh` in before).
    #[must_use]
    pub fn to_learn_from(&self) -> Option<Seen> {
        Some(Seen {
            ending: if self.whole { Ending::Died } else { Ending::Stopped },
            start: match self.start_share {
                Some(share) if share >= 1.0 => Start::Full,
                Some(share) => Start::Part(Share::nearest(share)),
                None => Start::Unknown,
            },
            lasted_s: self.lasted_s,
            energy_wh: self.delivered_wh?,
            bridged_wh: self.bridged_wh.unwrap_or(0.0),
            measured: self.measured,
            ambient_c: self.ambient_c,
            rest_curve: self.detail.rest_curve.clone(),
            source_ohms: self.detail.source_ohms,
            peak_a: self.detail.peak_a,
            half_hours_w: self.detail.half_hours_w.clone(),
            work: self.detail.work.clone(),
            burst: self.detail.burst,
        })
    }
}

/// See `reckon`'s run-down data; kept as JSON so that new figures need no new columns.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Detail {
    /// Rest voltage against energy delivered, `[Wh, V]`.
    pub rest_curve: Vec<[f64; 2]>,
    /// Resistance of bank and lead as seen by the sensor, ohms.
    pub source_ohms: Option<f64>,
    /// Typical peak current, A.
    pub peak_a: Option<f64>,
    /// Mean draw of each half hour, W.
    pub half_hours_w: Vec<f64>,
    /// Hours of each part of a modelled draw.
    pub work: Vec<f64>,
    /// Size and length of the processor's bursts in a timed mode.
    pub burst: Option<[f64; 2]>,
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
    /// Taken back by the operator: nothing learns from it.
    pub struck: bool,
    /// What was seen.
    pub data: RunDown,
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec;

    #[test]
    fn what_the_estimator_saw_comes_back_as_it_was() {
        for start in [Start::Full, Start::Part(Share::nearest(0.7)), Start::Unknown] {
            let seen = Seen {
                ending: Ending::Died,
                start,
                lasted_s: 70_800.0,
                energy_wh: 31.5,
                bridged_wh: 0.2,
                measured: true,
                ambient_c: Some(4.0),
                half_hours_w: vec![1.6, 1.61],
                burst: Some([0.4, 2.1]),
                ..Seen::default()
            };
            assert_eq!(RunDown::from(&seen).to_learn_from(), Some(seen));
        }
        assert_eq!(RunDown::default().to_learn_from(), None, "no energy, nothing to learn");
        // SI brochure, 9th ed.: 1 Wh = 3600 J; 31.5 Wh over 70 800 s are 1.602 W.
        let seen = Seen { lasted_s: 70_800.0, energy_wh: 31.5, ..Seen::default() };
        let mean_w = RunDown::from(&seen).mean_power_w.unwrap();
        assert!((mean_w - 1.602).abs() < 0.001, "{mean_w}");
        assert_eq!(RunDown::from(&Seen::default()).mean_power_w, None, "no time, no mean");
        // One that was only cut short says 'at least'; a share of 1 is full.
        let cut_short =
            RunDown { delivered_wh: Some(3.0), start_share: Some(1.0), ..RunDown::default() };
        let learned = cut_short.to_learn_from().unwrap();
        assert_eq!((learned.ending, learned.start), (Ending::Stopped, Start::Full));
    }
}
