//! Where the sun stands, and what falls on a panel under it, cloudless or not.

use core::ops::RangeInclusive;

use libm::{acos, asin, atan2, cos, exp, pow, sin, tan};

/// Degrees north of the equator.
pub const LATITUDE_DEG: RangeInclusive<f64> = -90.0..=90.0;
/// Degrees east of Greenwich.
pub const LONGITUDE_DEG: RangeInclusive<f64> = -180.0..=180.0;

/// Seconds in a day.
pub(super) const DAY_S: f64 = 86_400.0;
/// Noon of 1 January 2000, from which the almanac counts, s since 1970.
const J2000_S: f64 = 946_728_000.0;
/// The sun's power above the air at its mean distance, W/m² (ASTM E490: 1366.1).
pub(super) const SOLAR_CONSTANT: f64 = 1366.1;
/// Share of the light that the ground throws back (grass, gravel; pvlib's default).
const GROUND: f64 = 0.25;
/// So low no beam is counted, cosine of 87° (as pvlib does: the split is not made for it).
const NO_BEAM_BELOW: f64 = 0.052_336;
/// The least cosine that the clearness is taken by (pvlib: 0.065).
const CLEARNESS_FROM: f64 = 0.065;
/// The least cosine by which light from about the sun is turned onto the panel (pvlib: that of 89°).
const TURNED_FROM: f64 = 0.017_45;
/// Below this nothing of its disc is lifted over the horizon.
const LIFTED_FROM_DEG: f64 = -0.833;

/// Where on the globe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// North of the equator, [`LATITUDE_DEG`].
    pub latitude_deg: f64,
    /// East of Greenwich, [`LONGITUDE_DEG`].
    pub longitude_deg: f64,
}

/// A direction as the share of each axis: its length is 1.
#[derive(Clone, Copy, Debug)]
pub(super) struct Direction {
    pub(super) east: f64,
    pub(super) north: f64,
    pub(super) up: f64,
}

impl Direction {
    /// The way a panel looks that leans so far from lying flat, towards so many degrees from north by east.
    pub(super) fn of_panel(tilt_deg: f64, azimuth_deg: f64) -> Self {
        let (tilt, azimuth) = (tilt_deg.to_radians(), azimuth_deg.to_radians());
        Self { east: sin(tilt) * sin(azimuth), north: sin(tilt) * cos(azimuth), up: cos(tilt) }
    }

    fn cosine_to(self, other: Self) -> f64 {
        self.east * other.east + self.north * other.north + self.up * other.up
    }
}

/// The sun of a moment, seen from a place. Angles in radians.
#[derive(Clone, Copy, Debug)]
struct Standing {
    declination: f64,
    /// Since it stood highest, -π to π.
    hour_angle: f64,
    /// Its power above the air, square to it, W/m².
    above_air: f64,
}

/// The sun by the Astronomical Almanac's low-precision formulae (0.01° from 1950 to 2050; printed in
/// Michalsky, Solar Energy 40 (1988) 227). As it stands, not as the air lifts it.
fn sun(place: Place, unix_s: f64) -> Standing {
    let days = (unix_s - J2000_S) / DAY_S;
    let anomaly = (357.528 + 0.985_600_3 * days).to_radians();
    let mean_longitude = 280.460 + 0.985_647_4 * days;
    let longitude =
        (mean_longitude + 1.915 * sin(anomaly) + 0.020 * sin(2.0 * anomaly)).to_radians();
    let obliquity = (23.439 - 0.000_000_4 * days).to_radians();
    let right_ascension = atan2(cos(obliquity) * sin(longitude), cos(longitude));
    let sidereal = (280.460_62 + 360.985_647_366 * days + place.longitude_deg).to_radians();
    let hour_angle = sidereal - right_ascension;
    let distance = 1.000_14 - 0.016_71 * cos(anomaly) - 0.000_14 * cos(2.0 * anomaly);
    Standing {
        declination: asin(sin(obliquity) * sin(longitude)),
        hour_angle: atan2(sin(hour_angle), cos(hour_angle)),
        above_air: SOLAR_CONSTANT / (distance * distance),
    }
}

/// The sine of the height at which a sun is seen that stands at this one: the air lifts it by
/// 1.02' / tan(h + 10.3 / (h + 5.11)), h in degrees (Sæmundsson, Sky and Telescope 72 (1986) 70; Meeus,
/// Astronomical Algorithms, ch. 16), 0.5° on the horizon. Below it nothing is lifted.
fn lifted(up: f64) -> f64 {
    let height_deg = asin(up.clamp(-1.0, 1.0)).to_degrees();
    if height_deg < LIFTED_FROM_DEG {
        return up;
    }
    let by_arcmin = 1.02 / tan((height_deg + 10.3 / (height_deg + 5.11)).to_radians());
    sin((height_deg + by_arcmin / 60.0).to_radians())
}

impl Place {
    /// Whether there is such a place.
    pub(super) fn is_sound(self) -> bool {
        LATITUDE_DEG.contains(&self.latitude_deg) && LONGITUDE_DEG.contains(&self.longitude_deg)
    }

    /// Seconds from this moment to the nearest noon by the sun (negative: it has passed), and the hours from
    /// sunrise to sunset (cos H = -tan φ tan δ): 24 in polar day, 0 in polar night.
    #[must_use]
    pub fn noon_and_daylight_h(self, unix_s: f64) -> (f64, f64) {
        let sun = sun(self, unix_s);
        let half_day =
            acos((-tan(self.latitude_deg.to_radians()) * tan(sun.declination)).clamp(-1.0, 1.0));
        let day = core::f64::consts::TAU;
        (-sun.hour_angle / day * DAY_S, 2.0 * half_day / day * 24.0)
    }
}

/// Light on level ground, and where it comes from.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sunlight {
    pub(super) sun: Direction,
    pub(super) above_air: f64,
    /// All of it on level ground, W/m².
    pub(super) level: f64,
}

impl Sunlight {
    /// Under a cloudless sky: G = 1098 cos z exp(-0.059 / cos z) (Haurwitz, Journal of Meteorology 2 (1945)
    /// 154) with the sun as the air lifts it. It does not ask for haze or height.
    pub(super) fn clear(place: Place, unix_s: f64) -> Self {
        let sun = sun(place, unix_s);
        let latitude = place.latitude_deg.to_radians();
        let (away, towards) = (sin(sun.declination), cos(sun.declination) * cos(sun.hour_angle));
        let up = sin(latitude) * away + cos(latitude) * towards;
        let north = cos(latitude) * away - sin(latitude) * towards;
        let east = -cos(sun.declination) * sin(sun.hour_angle);
        let seen = lifted(up);
        let level = if seen > 0.0 { 1098.0 * seen * exp(-0.059 / seen) } else { 0.0 };
        Self { sun: Direction { east, north, up }, above_air: sun.above_air, level }
    }

    /// The same dimmed.
    pub(super) fn dimmed(self, to: f64) -> Self {
        Self { level: self.level * to, ..self }
    }

    /// Straight from the sun (square to it) and from all of the sky (on level ground), W/m²: the share of
    /// the latter by clearness (Erbs, Klein & Duffie, Solar Energy 28 (1982) 293, eq. 1).
    pub(super) fn beam_and_diffuse(self) -> (f64, f64) {
        if self.sun.up < NO_BEAM_BELOW {
            return (0.0, self.level);
        }
        let k = (self.level / (self.above_air * self.sun.up.max(CLEARNESS_FROM))).clamp(0.0, 1.0);
        let diffuse = match k {
            k if k <= 0.22 => 1.0 - 0.09 * k,
            k if k <= 0.8 => 0.9511 + k * (-0.1604 + k * (4.388 + k * (-16.638 + k * 12.336))),
            _ => 0.165,
        } * self.level;
        ((self.level - diffuse) / self.sun.up, diffuse)
    }

    /// What falls on a panel that looks this way, W/m²: the beam, the sky's light, of which a part comes from
    /// about the sun (Hay & Davies 1980), and the ground's (Liu & Jordan 1963).
    pub(super) fn on(self, panel: Direction) -> f64 {
        if self.level <= 0.0 {
            return 0.0;
        }
        let (beam, diffuse) = self.beam_and_diffuse();
        let facing = panel.cosine_to(self.sun).max(0.0);
        let about_sun = beam / self.above_air;
        let turned = facing / self.sun.up.max(TURNED_FROM);
        let sky = about_sun * turned + (1.0 - about_sun) * 0.5 * (1.0 + panel.up);
        beam * facing + diffuse * sky + self.level * GROUND * 0.5 * (1.0 - panel.up)
    }
}

/// What this share of cloud leaves of a cloudless sky's light on level ground: 1 - 0.75 N^3.4 (Kasten &
/// Czeplak, Solar Energy 24 (1980) 177).
pub(super) fn left_by_cloud(share: f64) -> f64 {
    1.0 - 0.75 * pow(share, 3.4)
}
