//! A panel in the sun: watts into the bank along an outing.
//!
//! Light comes from place, date and cloud ([`Light::Sky`]), or from a person's hours of full sun
//! ([`Light::Hours`]). A day's energy is rated watts × hours of full sun × what the panel's losses leave ×
//! what charging leaves (the sizing rule of Sandia SAND87-7023); here for every quarter of an hour, with
//! the panel's heat and the bank's charge limit.

mod sky;
#[cfg(test)]
mod tests;

use alloc::vec::Vec;
use core::{f64::consts::PI, ops::RangeInclusive};

use libm::{ceil, cos, fabs, floor};

use crate::{
    bank::Cells,
    time::PHONE_MS,
    units::{Celsius, Joules, Share},
};
use sky::DAY_S;
pub use sky::{LATITUDE_DEG, LONGITUDE_DEG, Place};

/// Rated watts that a panel may have.
pub const RATED_W: RangeInclusive<f64> = 0.1..=5000.0;
/// Degrees that it may lean: 0 lies flat, 90 stands.
pub const TILT_DEG: RangeInclusive<f64> = 0.0..=90.0;
/// Degrees from north by east: 90 east, 180 south.
pub const AZIMUTH_DEG: RangeInclusive<f64> = 0.0..=360.0;
/// Hours of full sun in a day: no clear midsummer day on earth has 14 on any panel that stands still.
pub const FULL_SUN_H: RangeInclusive<f64> = 0.0..=14.0;
/// Watts that a bank may be charged with.
pub const CHARGE_W: RangeInclusive<f64> = 0.0..=10_000.0;

/// The share of cloud where nobody says, from and to (ours: wide, and rather dull; land has 0.55 on average,
/// King et al., IEEE Trans. Geosci. Remote Sensing 51 (2013) 3826).
pub const CLOUD_UNSAID: (Share, Share) = (Share::nearest(0.2), Share::WHOLE);
/// Hours from sunrise to sunset where no place is told (an equinox).
pub const DAYLIGHT_UNSAID_H: f64 = 12.0;

/// What is lost between rating and panel lead: soiling, shading, mismatch, wiring, connections, light-induced
/// ageing, name-plate, availability (PVWatts version 5 manual, NREL/TP-6A20-62641, table 6).
const LOSSES: [f64; 8] = [0.02, 0.03, 0.02, 0.02, 0.005, 0.015, 0.01, 0.03];
/// Watts for each degree of the cells over 25 °C, as a share (makers' sheets: -0.35 to -0.45 %; from memory).
const HEAT_PER_K: f64 = -0.004;
/// Degrees over the air for each W/m²: (NOCT - 20) / 800 with NOCT 45 °C (rule: Ross 1981; 45 °C: from memory).
const WARMED_K: f64 = 25.0 / 800.0;

/// A panel, put up once and left so.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Panel {
    /// At 1000 W/m² and 25 °C, [`RATED_W`].
    pub rated_w: f64,
    /// [`TILT_DEG`].
    pub tilt_deg: f64,
    /// [`AZIMUTH_DEG`]; nothing to a flat one.
    pub azimuth_deg: f64,
    /// Share that dirt, shade and leads leave, 0 to 1.
    pub kept: f64,
    /// Change of its watts for each degree over 25 °C, as a share, -0.01 to 0.
    pub heat_per_k: f64,
}

impl Panel {
    /// Flat on the ground, with the usual losses.
    #[must_use]
    pub fn flat(rated_w: f64) -> Self {
        let kept = LOSSES.iter().map(|lost| 1.0 - lost).product();
        Self { rated_w, tilt_deg: 0.0, azimuth_deg: 0.0, kept, heat_per_k: HEAT_PER_K }
    }

    fn is_sound(&self) -> bool {
        RATED_W.contains(&self.rated_w)
            && TILT_DEG.contains(&self.tilt_deg)
            && AZIMUTH_DEG.contains(&self.azimuth_deg)
            && (0.0..=1.0).contains(&self.kept)
            && (-0.01..=0.0).contains(&self.heat_per_k)
    }

    /// What it gives for this light on it (PVWatts: rated × light / 1000 × losses × heat).
    fn watts(&self, w_m2: f64, air: Celsius) -> f64 {
        let over = air.si() + WARMED_K * w_m2 - 25.0;
        (self.rated_w * w_m2 / 1000.0 * self.kept * (1.0 + self.heat_per_k * over)).max(0.0)
    }
}

/// Where the light comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Light {
    /// Worked out.
    Sky {
        /// Where the outing is.
        place: Place,
        /// When it begins, s since 1970, UTC; 2020 to 2100.
        start_unix_s: f64,
        /// Share of the sky under cloud, from and to.
        cloud: (Share, Share),
    },
    /// A person's word, spread over each day as half a sine.
    Hours {
        /// On the panel as it stands, from and to, [`FULL_SUN_H`].
        full_sun_h: (f64, f64),
        /// Seconds from the start of the outing to a noon; a day more or less is the same.
        noon_s: f64,
        /// From sunrise to sunset, 0 to 24.
        daylight_h: f64,
    },
}

impl Light {
    fn is_sound(&self) -> bool {
        match self {
            Self::Sky { place, start_unix_s, cloud } => {
                let may_start = PHONE_MS.start as f64 / 1000.0..PHONE_MS.end as f64 / 1000.0;
                place.is_sound() && may_start.contains(start_unix_s) && cloud.0 <= cloud.1
            }
            Self::Hours { full_sun_h: (from, to), noon_s, daylight_h } => {
                FULL_SUN_H.contains(from)
                    && FULL_SUN_H.contains(to)
                    && from <= to
                    && noon_s.is_finite()
                    && (0.0..=24.0).contains(daylight_h)
            }
        }
    }

    /// W/m² on this panel, so long after the start, on a day so clear within what was told.
    fn on(&self, panel: &Panel, clear: Share) -> impl Fn(f64) -> f64 {
        let between = |(from, to): (f64, f64), share: f64| from + (to - from) * share;
        let (light, looks) = (*self, sky::Direction::of_panel(panel.tilt_deg, panel.azimuth_deg));
        let left = match light {
            Self::Sky { cloud, .. } => {
                sky::left_by_cloud(between((cloud.1.part(), cloud.0.part()), clear.part()))
            }
            Self::Hours { full_sun_h, .. } => between(full_sun_h, clear.part()),
        };
        move |elapsed_s| match light {
            Self::Sky { place, start_unix_s, .. } => {
                sky::Sunlight::clear(place, start_unix_s + elapsed_s).dimmed(left).on(looks)
            }
            Self::Hours { noon_s, daylight_h, .. } => {
                half_sine(left, daylight_h, (elapsed_s - noon_s) / 3600.0)
            }
        }
    }
}

/// W/m² so many hours after a noon, which add up to these hours at 1000 W/m² a day; never more than above
/// the air.
fn half_sine(full_sun_h: f64, daylight_h: f64, after_noon_h: f64) -> f64 {
    let from_noon_h = fabs(after_noon_h - 24.0 * floor(after_noon_h / 24.0 + 0.5));
    if from_noon_h >= 0.5 * daylight_h {
        return 0.0;
    }
    let highest = (1000.0 * full_sun_h * PI / (2.0 * daylight_h)).min(sky::SOLAR_CONSTANT);
    highest * cos(PI * from_noon_h / daylight_h)
}

/// Whether cells may be charged at this temperature: lithium plates below 0 °C (makers' sheets: charge from 0 °C
/// up), lead-acid does not.
#[must_use]
pub fn charges_at(cells: Cells, bank: Celsius) -> bool {
    cells == Cells::LeadAcid || bank.si() >= 0.0
}

/// What a bank takes of what the panel gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Charge {
    /// Watts that the cells take at most; none where they must not be charged.
    pub limit_w: f64,
    /// What the charger leaves, 0 to 1.
    pub charger: f64,
    /// What comes out again of what the cells took, 0 to 1.
    pub stored: f64,
}

impl Charge {
    /// As is usual for these cells, this label and the bank's temperature, or limited to these watts.
    ///
    /// Unsaid, the limit is the label's energy in 2 h for lithium, in 5 h for lead-acid (common practice, no
    /// source). The charger leaves 0.90 (a maker's sheet of a bank's own: 0.91 at best). Lithium gives back 0.95
    /// (common practice; 0.987 was measured at C/30). Lead-acid gives back 0.91 of the charge up to 80 % full,
    /// about 0.53 above (Stevens & Corey 1996, from memory), so 0.83 over a whole charge, at 12.4 V instead of
    /// 14.4 V (common practice): 0.72 of the energy.
    #[must_use]
    pub fn usual(cells: Cells, label: Joules, bank: Celsius, limit_w: Option<f64>) -> Self {
        let (hours, stored) = match cells {
            Cells::LiIon | Cells::LiFePo4 => (2.0, 0.95),
            Cells::LeadAcid => (5.0, 0.72),
        };
        let limit_w = limit_w.unwrap_or(label.wh() / hours);
        let limit_w = if charges_at(cells, bank) { limit_w } else { 0.0 };
        Self { limit_w, charger: 0.90, stored }
    }

    fn is_sound(&self) -> bool {
        CHARGE_W.contains(&self.limit_w)
            && [self.charger, self.stored].iter().all(|share| (0.0..=1.0).contains(share))
    }

    /// Watts gained by the bank.
    fn gained_w(&self, panel_w: f64) -> f64 {
        (panel_w * self.charger).min(self.limit_w) * self.stored
    }
}

/// A panel, its light, the bank behind it and the air about it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sun {
    panel: Panel,
    light: Light,
    charge: Charge,
    air: Celsius,
}

/// From one reckoned moment to the next, s.
const STEP_S: f64 = 900.0;
const STEPS_A_DAY: usize = 96;
/// So many days are reckoned; after them the last is repeated.
const MOST_DAYS: usize = 10;

impl Sun {
    /// `None` where a number is outside of its range, or a range runs backwards.
    #[must_use]
    pub fn new(panel: Panel, light: Light, charge: Charge, air: Celsius) -> Option<Self> {
        let sound = panel.is_sound() && light.is_sound() && charge.is_sound();
        sound.then_some(Self { panel, light, charge, air })
    }

    /// What it was made of.
    #[must_use]
    pub const fn made_of(&self) -> (&Panel, &Light) {
        (&self.panel, &self.light)
    }

    /// The outing's sun where the sky is so clear: none stands for the dullest told of, the whole for the
    /// clearest, half for the middle of the range of cloud or hours. One sky for all days. So many seconds
    /// are reckoned, 10 days at most.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a cast saturates")]
    pub fn shining(&self, clear: Share, span_s: f64) -> Sunshine {
        let days = (ceil(span_s / DAY_S).max(1.0) as usize).min(MOST_DAYS);
        let light = self.light.on(&self.panel, clear);
        let gained =
            |elapsed_s: f64| self.charge.gained_w(self.panel.watts(light(elapsed_s), self.air));
        let mut shining = Sunshine { points: Vec::with_capacity(days * STEPS_A_DAY + 1) };
        let mut last = Point { watts: gained(0.0), wh: 0.0 };
        shining.points.push(last);
        for step in 1..=days * STEPS_A_DAY {
            let watts = gained(step as f64 * STEP_S);
            last = Point { watts, wh: last.wh + 0.5 * (last.watts + watts) * STEP_S / 3600.0 };
            shining.points.push(last);
        }
        shining
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Point {
    watts: f64,
    /// Since the start.
    wh: f64,
}

/// What the bank gains along the outing.
#[derive(Clone, Debug, PartialEq)]
pub struct Sunshine {
    points: Vec<Point>,
}

impl Sunshine {
    /// Watts into the bank so long after the start; before it, and for a broken number, as at the start.
    #[must_use]
    pub fn watts(&self, elapsed_s: f64) -> f64 {
        self.at(elapsed_s).watts
    }

    /// Watt-hours gained by then.
    #[must_use]
    pub fn wh(&self, elapsed_s: f64) -> f64 {
        self.at(elapsed_s).wh
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a cast saturates")]
    fn at(&self, elapsed_s: f64) -> Point {
        let last = self.points.len() - 1;
        let end_s = last as f64 * STEP_S;
        let elapsed_s = if elapsed_s.is_finite() { elapsed_s.max(0.0) } else { 0.0 };
        let days_past = ceil(((elapsed_s - end_s) / DAY_S).max(0.0));
        let steps = (elapsed_s - days_past * DAY_S) / STEP_S;
        let before = (steps as usize).min(last - 1);
        let (a, b) = (self.points[before], self.points[before + 1]);
        let past = (steps - before as f64).clamp(0.0, 1.0);
        let watts = a.watts + (b.watts - a.watts) * past;
        let last_day_wh = self.points[last].wh - self.points[last - STEPS_A_DAY].wh;
        let since_a_wh = 0.5 * (a.watts + watts) * past * STEP_S / 3600.0;
        Point { watts, wh: a.wh + since_a_wh + days_past * last_day_wh }
    }
}
