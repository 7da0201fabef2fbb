//! Banks and run-downs as the store keeps them; the border to [`reckon::bank`].

use reckon::{
    bank::{BankSpec, Cells, MeasuredAt},
    engine::Start,
    estimator::{Ending, RunDown as Seen},
    units::{AmpHours, Celsius, Share, Volts},
};
use serde_json::{Map, Value, json};

/// A bank in the store.
#[derive(Clone, Debug, PartialEq)]
pub struct Bank {
    /// Its id.
    pub id: i64,
    /// What its owner told.
    pub spec: BankSpec,
    /// Not offered any more; its outings and run-downs stay.
    pub forgotten: bool,
}

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
    /// The true duration may be so much longer, s.
    pub within_s: f64,
    /// Or so much shorter, s.
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

impl Detail {
    pub(crate) fn to_text(&self) -> String {
        json!({
            "rest_curve": self.rest_curve,
            "source_ohms": self.source_ohms,
            "peak_a": self.peak_a,
            "half_hours_w": self.half_hours_w,
            "work": self.work,
            "burst": self.burst,
        })
        .to_string()
    }

    /// What can be understood of it; the rest is left empty, as in a record of an older version.
    pub(crate) fn from_text(text: &str) -> Self {
        let all: Map<String, Value> = serde_json::from_str(text).unwrap_or_default();
        let number = |key: &str| all.get(key).and_then(Value::as_f64);
        let list = |key: &str| -> Vec<f64> {
            let list = all.get(key).and_then(Value::as_array);
            list.into_iter().flatten().filter_map(Value::as_f64).collect()
        };
        let pair = |value: &Value| -> Option<[f64; 2]> {
            let two = value.as_array()?;
            Some([two.first()?.as_f64()?, two.get(1)?.as_f64()?])
        };
        let curve = all.get("rest_curve").and_then(Value::as_array);
        Self {
            rest_curve: curve.into_iter().flatten().filter_map(pair).collect(),
            source_ohms: number("source_ohms"),
            peak_a: number("peak_a"),
            half_hours_w: list("half_hours_w"),
            work: list("work"),
            burst: all.get("burst").and_then(pair),
        }
    }
}

/// A run-down in the store.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptRunDown {
    /// Its id.
    pub id: i64,
    /// Its bank's id.
    pub bank: i64,
    /// The outing it was; `None` for an imported one.
    pub outing: Option<i64>,
    /// Taken back by the operator: nothing learns from it.
    pub struck: bool,
    /// What was seen.
    pub data: RunDown,
}

pub(crate) const fn cells_name(cells: Cells) -> &'static str {
    match cells {
        Cells::LiIon => "li-ion",
        Cells::LiFePo4 => "lifepo4",
        Cells::LeadAcid => "lead-acid",
    }
}

pub(crate) fn cells_from(name: &str) -> Option<Cells> {
    [Cells::LiIon, Cells::LiFePo4, Cells::LeadAcid]
        .into_iter()
        .find(|cells| cells_name(*cells) == name)
}

pub(crate) const fn place_name(place: MeasuredAt) -> &'static str {
    match place {
        MeasuredAt::Output => "output",
        MeasuredAt::Cells => "cells",
        MeasuredAt::Nowhere => "nowhere",
    }
}

pub(crate) fn place_from(name: &str) -> Option<MeasuredAt> {
    [MeasuredAt::Output, MeasuredAt::Cells, MeasuredAt::Nowhere]
        .into_iter()
        .find(|place| place_name(*place) == name)
}

/// A bank from a row of the table, columns in the order of [`BANK_COLUMNS`]; `None` for words of a
/// newer version.
pub(crate) fn bank_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Option<Bank>> {
    let (cells, place): (String, String) = (row.get(2)?, row.get(6)?);
    let (Some(cells), Some(measured_at)) = (cells_from(&cells), place_from(&place)) else {
        return Ok(None);
    };
    Ok(Some(Bank {
        id: row.get(0)?,
        spec: BankSpec {
            name: row.get(1)?,
            cells,
            series: row.get(3)?,
            label: AmpHours::of(row.get(4)?),
            label_volts: Volts::of(row.get(5)?),
            measured_at,
            ambient: row.get::<_, Option<f64>>(7)?.and_then(Celsius::new),
            cutoff: row.get::<_, Option<f64>>(8)?.and_then(Volts::new),
        },
        forgotten: row.get(9)?,
    }))
}

pub(crate) const BANK_COLUMNS: &str = "id, name, cells, series, label_ah, label_v, measured_at, \
                                       ambient_c, cutoff_v, forgotten";

/// A run-down from a row, columns in the order of [`RUNDOWN_COLUMNS`].
pub(crate) fn rundown_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<KeptRunDown> {
    let basis: String = row.get(13)?;
    let detail: Option<String> = row.get(15)?;
    Ok(KeptRunDown {
        id: row.get(0)?,
        bank: row.get(1)?,
        outing: row.get(2)?,
        struck: row.get(5)?,
        data: RunDown {
            name: row.get(3)?,
            whole: row.get(4)?,
            lasted_s: row.get(6)?,
            within_s: row.get(7)?,
            before_s: row.get(8)?,
            delivered_wh: row.get(9)?,
            bridged_wh: row.get(10)?,
            mean_power_w: row.get(11)?,
            ambient_c: row.get(12)?,
            measured: basis == "measured",
            start_share: row.get(14)?,
            detail: detail.map(|text| Detail::from_text(&text)).unwrap_or_default(),
        },
    })
}

pub(crate) const RUNDOWN_COLUMNS: &str = "id, bank, outing, name, whole, struck, lasted_s, \
                                          within_s, before_s, delivered_wh, bridged_wh, \
                                          mean_power_w, ambient_c, basis, start_share, detail";

#[cfg(test)]
mod tests {
    use super::*;

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
    }

    #[test]
    fn detail_survives_and_damage_empties_it() {
        let detail = Detail {
            rest_curve: vec![[0.0, 13.3], [40.5, 12.9]],
            source_ohms: Some(0.08),
            peak_a: None,
            half_hours_w: vec![3.1, 3.3],
            work: vec![],
            burst: Some([0.4, 2.1]),
        };
        assert_eq!(Detail::from_text(&detail.to_text()), detail);
        assert_eq!(Detail::from_text("{\"rest_curve\":[[1]],\"peak_a\":\"x\""), Detail::default());
    }
}
