//! The watch for a current beyond the sensor's range: told once, however often it comes and goes.
//!
//! A transmitter passes the end with every over; what there is to do about it is done at home.

use super::about::About;
use crate::{
    reading::{Shunt, SourceIx},
    time::Mono,
    units::Amps,
};

/// So many seconds beyond the range make an alarm: a start-up surge is shorter.
const SOME_S: f64 = 10.0;
/// Seconds beyond the range that lie so far behind are forgotten while no alarm stands, s.
const FORGET_S: f64 = 600.0;
/// So long within the range takes the alarm back, s: a pause in the operating does not.
const LONG_S: f64 = 6.0 * 3600.0;

#[derive(Clone, Debug, Default)]
pub(super) struct OverRangeWatch {
    beyond_s: f64,
    /// The sensor, and the end of its range.
    sensor: Option<(SourceIx, Amps)>,
    /// What its currents are computed with.
    shunt: Option<Shunt>,
    last: Option<Mono>,
    looked: Option<Mono>,
}

impl OverRangeWatch {
    /// Looks at one second; with another shunt everything begins anew.
    pub(super) fn observe(
        &mut self,
        beyond: Option<(SourceIx, Amps)>,
        shunt: Option<Shunt>,
        now: Mono,
    ) {
        let dt_s = self.looked.replace(now).map_or(0.0, |then| now.seconds_since(then).si());
        let within_s = self.last.map_or(0.0, |last| now.seconds_since(last).si());
        let stays_s = if self.stands() { LONG_S } else { FORGET_S };
        if within_s >= stays_s || shunt != self.shunt {
            *self = Self { looked: self.looked, shunt, ..Self::default() };
        }
        if let Some(sensor) = beyond {
            // A silence in between counts as the one second that was looked at.
            self.beyond_s += dt_s.min(1.0);
            (self.sensor, self.last) = (Some(sensor), Some(now));
        }
    }

    fn stands(&self) -> bool {
        self.beyond_s >= SOME_S
    }

    /// The alarm that should stand.
    pub(super) fn standing(&self) -> Option<About> {
        let (source, end) = self.sensor.filter(|_| self.stands())?;
        Some(About::OverRange { source, end })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Ohms;

    #[test]
    fn a_surge_raises_none_and_a_pause_takes_none_back() {
        let mut watch = OverRangeWatch::default();
        let beyond = Some((SourceIx(0), Amps::of(0.819)));
        let mut at_s = 0.0;
        let mut pass = |watch: &mut OverRangeWatch, seconds: u32, seen| {
            for _ in 0..seconds {
                at_s += 1.0;
                watch.observe(seen, None, Mono::at_s(at_s));
            }
            watch.standing().is_some()
        };
        assert!(!pass(&mut watch, 5, beyond), "a start-up surge");
        assert!(!pass(&mut watch, 700, None));
        assert!(!pass(&mut watch, 5, beyond), "what was forgotten does not count");
        assert!(pass(&mut watch, 6, beyond));
        assert!(pass(&mut watch, 5 * 3600, None), "five hours of listening");
        assert!(!pass(&mut watch, 3601, None));
        assert!(pass(&mut watch, 11, beyond));
        let other = Shunt { assumed: None, told: Some(Ohms::of(0.02)), scale: 1.0 };
        watch.observe(None, Some(other), Mono::at_s(at_s + 1.0));
        assert_eq!(watch.standing(), None, "the shunt was changed");
    }
}
