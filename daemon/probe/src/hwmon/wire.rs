//! One channel of a chip: its files, its corrections, its sum of looks.

use std::path::Path;

use reckon::{
    reading::{Gap, Got, Shunt},
    units::{Amps, Joules, Ohms, Volts},
    words,
};

use super::models::Model;
use crate::{
    files::Attr,
    looks::{Look, Looks},
    root::Root,
    source::Supply,
};

/// No current beyond this is believed: no bank that one carries gives it, and no wire at such a
/// sensor would live.
const MOST_AMPS: f64 = 300.0;
/// Below the ground by more than an offset: broken or wired the wrong way round.
const LEAST_VOLTS: f64 = -0.5;
/// A shunt voltage below this, in mV, has no sign worth trusting.
const SIGN_MV: i64 = 2;
/// A 5 V bank gives 3 A, at most 5 A to a board that asks for it. Source: USB Type-C
/// specification 2.0, section 4.6 (5 V at 3 A); the board vendor's 5 V 5 A supply.
const USB_MOST_AMPS: f64 = 5.5;
const USB_VOLTS: std::ops::RangeInclusive<f64> = 4.4..=5.5;
/// Readings in a row that make a suspicion.
const SUSPICIOUS_TIMES: u8 = 3;

/// One channel.
pub(super) struct Wire {
    pub(super) inlet: Option<u8>,
    volts: Option<Line>,
    amps: Option<Line>,
    shunt_mv: Option<Line>,
    energy: Option<Line>,
    scale: f64,
    /// Current, as the driver gives it, at the end of the range.
    full_amps: Option<f64>,
    /// The shunt that the driver reckons with.
    assumed_ohms: Option<f64>,
    looks: Looks,
    tally: Tally,
    lost: bool,
    too_strong: u8,
}

impl Wire {
    pub(super) fn new(model: &Model, inlet: Option<u8>) -> Self {
        Self {
            inlet,
            volts: None,
            amps: None,
            shunt_mv: None,
            energy: None,
            scale: 1.0,
            full_amps: model.full_amps,
            assumed_ohms: None,
            looks: Looks::default(),
            tally: Tally::default(),
            lost: true,
            too_strong: 0,
        }
    }

    /// Reads from this folder from now on. A file that is not there stays absent.
    pub(super) fn open(&mut self, home: &Path) {
        let line = |name: &str| {
            let path = home.join(name);
            path.exists().then(|| Line::new(Attr::new(path)))
        };
        let n = self.inlet.unwrap_or(1);
        self.volts = line(&format!("in{n}_input"));
        self.amps = line(&format!("curr{n}_input"));
        if self.inlet.is_none() {
            self.shunt_mv = line("in0_input");
            self.energy = line("energy1_input");
        }
        self.lost = false;
    }

    pub(super) fn close(&mut self) {
        self.volts = None;
        self.amps = None;
        self.shunt_mv = None;
        self.energy = None;
        self.looks = Looks::default();
        self.lost = true;
    }

    /// Whether the chip counts the energy by itself, so that no look matters.
    pub(super) const fn counts_energy(&self) -> bool {
        self.energy.is_some()
    }

    pub(super) const fn is_lost(&self) -> bool {
        self.lost
    }

    pub(super) fn set_shunt(&mut self, model: &Model, shunt: Shunt) {
        self.scale = shunt.scale;
        self.assumed_ohms = shunt.assumed.map(Ohms::si);
        self.full_amps = model.full_amps.or_else(|| {
            let full = model.full_shunt_v?;
            // The last step of the range is rounded to whole milliamperes by the driver.
            Some(full / shunt.assumed?.si() - 0.001)
        });
    }

    /// The reading of this second: the mean of the looks since the last one and of this one.
    pub(super) fn read(&mut self, root: &Root, model: &Model) -> Supply {
        if self.volts.is_none() && self.amps.is_none() {
            let gap = if self.lost { Gap::Gone } else { Gap::Absent };
            return Supply::missing(gap);
        }
        let volts = self.volts_now(root, model);
        let look = self.look(root, model);
        self.lost |= volts == Err(Gap::Gone) || look == Err(Gap::Gone);
        let mut supply = match (volts, look) {
            (Ok(volts), Ok(look)) => {
                self.looks.add(volts.si(), look);
                self.doubt(volts, look);
                self.looks.mean()
            }
            (volts, look) => Supply {
                volts,
                amps: look.and_then(Look::within).map(Amps::of),
                watts: Err(look.err().or(volts.err()).unwrap_or(Gap::NoAnswer)),
                looks: 1,
                ..Supply::missing(Gap::NoAnswer)
            },
        };
        self.looks = Looks::default();
        if let Some(energy) = &mut self.energy {
            let joules = energy.number(root);
            let amps = look.ok().map(|look| Amps::of(look.amps));
            supply.counted =
                Some(joules.and_then(|micro| self.tally.count(micro, self.scale.abs(), amps)));
        }
        supply
    }

    /// One extra look; if it fails, the next reading does without it.
    pub(super) fn sample(&mut self, root: &Root, model: &Model) {
        if let (Ok(volts), Ok(look)) = (self.volts_now(root, model), self.look(root, model)) {
            self.looks.add(volts.si(), look);
        }
    }

    fn volts_now(&mut self, root: &Root, model: &Model) -> Got<Volts> {
        let milli = self.volts.as_mut().ok_or(Gap::Absent)?.number(root)?;
        let volts = thousandths(milli);
        if (LEAST_VOLTS..=model.most_volts).contains(&volts) {
            Ok(Volts::of(volts))
        } else {
            Err(Gap::Implausible)
        }
    }

    fn look(&mut self, root: &Root, model: &Model) -> Got<Look> {
        let milli = self.amps.as_mut().ok_or(Gap::Absent)?.number(root)?;
        let shunt_mv = self.shunt_mv_now(root, model);
        let shown = thousandths(milli);
        // The driver's product has wrapped round: the shunt voltage has the sign and the size.
        if let Some(mv) = shunt_mv.filter(|mv| wrapped(*mv, milli)) {
            let ohms = self.assumed_ohms.ok_or(Gap::OverRange)?;
            return Ok(Look { amps: thousandths(mv) / ohms * self.scale, beyond: true });
        }
        let beyond = match self.full_amps {
            Some(full) => shown.abs() >= full,
            None => shunt_mv.zip(model.full_shunt_v).is_some_and(|(mv, full)| ends(mv, full)),
        };
        let amps = shown * self.scale;
        if amps.abs() > MOST_AMPS {
            return Err(if beyond { Gap::OverRange } else { Gap::Implausible });
        }
        Ok(Look { amps, beyond })
    }

    /// The shunt voltage in whole millivolts, where it is needed to judge the current.
    fn shunt_mv_now(&mut self, root: &Root, model: &Model) -> Option<i64> {
        let needed = model.may_wrap || (self.full_amps.is_none() && model.full_shunt_v.is_some());
        self.shunt_mv.as_mut().filter(|_| needed)?.number(root).ok()
    }

    /// Counts readings that no 5 V bank can deliver.
    fn doubt(&mut self, volts: Volts, look: Look) {
        if USB_VOLTS.contains(&volts.si()) && look.amps.abs() > USB_MOST_AMPS {
            self.too_strong = self.too_strong.saturating_add(1);
        } else if self.too_strong < SUSPICIOUS_TIMES {
            self.too_strong = 0;
        }
    }

    /// Whether a suspicion has just arisen.
    pub(super) fn take_new_doubt(&mut self) -> bool {
        let new = self.too_strong == SUSPICIOUS_TIMES;
        if new {
            self.too_strong += 1;
        }
        new
    }

    /// The suspicion, in words.
    pub(super) fn suspicion(&self, model: &Model, shunt: Shunt) -> Option<String> {
        if self.too_strong < SUSPICIOUS_TIMES {
            return None;
        }
        let cure = match (shunt.assumed, shunt.told) {
            (Some(_), None) => words::sensor::SET_SHUNT,
            (_, Some(_)) => words::sensor::CHECK_SHUNT,
            _ if model.full_amps.is_some() => "check the wiring",
            _ => words::sensor::SET_SCALE,
        };
        Some(words::sensor::too_much_current(&USB_MOST_AMPS, &cure))
    }
}

/// One file with patience: what fails again and again is asked less often.
struct Line {
    attr: Attr,
    fails: u16,
    rest: u16,
    last: Gap,
}

impl Line {
    const fn new(attr: Attr) -> Self {
        Self { attr, fails: 0, rest: 0, last: Gap::NotReady }
    }

    fn number(&mut self, root: &Root) -> Got<i64> {
        if self.rest > 0 {
            self.rest = self.rest.saturating_sub(u16::from(self.rest < u16::MAX));
            return Err(self.last);
        }
        let answer = self.attr.number(root);
        match answer {
            Ok(_) => self.fails = 0,
            Err(gap) => {
                self.fails = self.fails.saturating_add(1);
                self.last = gap;
                self.rest = pause(gap, self.fails);
            }
        }
        answer
    }
}

/// For how many sweeps a file is left in peace after it has failed so often.
const fn pause(gap: Gap, fails: u16) -> u16 {
    match gap {
        Gap::SwitchedOff | Gap::Denied => 9,
        // The driver cannot serve it: not asked again before it comes back anew.
        Gap::Absent => u16::MAX,
        // A bus that hangs costs up to a second each time.
        Gap::NoAnswer if fails >= 5 => 4,
        _ => 0,
    }
}

/// The chip's own energy count, made steady: it starts at nought, and neither a chip that was
/// reset nor a driver that came back throws it.
#[derive(Default)]
struct Tally {
    last_micro: Option<i64>,
    joules: f64,
    /// Direction at the last reading; the chip counts the size of the power only.
    charging: bool,
}

impl Tally {
    fn count(&mut self, micro: i64, scale: f64, amps: Option<Amps>) -> Got<Joules> {
        if micro < 0 {
            return Err(Gap::Garbled);
        }
        let grown = match self.last_micro {
            None => 0,
            // Smaller than before: set to nought meanwhile, and all of it is new.
            Some(last) if micro < last => micro,
            Some(last) => micro - last,
        };
        self.last_micro = Some(micro);
        let charging = amps.map_or(self.charging, |amps| amps.si() < 0.0);
        // When the direction has just turned, the two halves of the interval cancel out.
        let sign = match (self.charging, charging) {
            (false, false) => 1.0,
            (true, true) => -1.0,
            _ => 0.0,
        };
        self.charging = charging;
        #[expect(clippy::cast_precision_loss, reason = "exact up to 2.5 kWh a second")]
        let joules = grown as f64 * 1e-6 * scale;
        // More than any bank gives in a second, even after a gap of a day: a broken count.
        if joules > 1e8 {
            return Err(Gap::Implausible);
        }
        self.joules += sign * joules;
        Ok(Joules::of(self.joules))
    }
}

/// Whether the shunt voltage says the opposite of the current.
const fn wrapped(shunt_mv: i64, milliamps: i64) -> bool {
    shunt_mv.unsigned_abs() >= SIGN_MV.unsigned_abs() && milliamps.signum() * shunt_mv.signum() < 0
}

/// Whether a shunt voltage in whole millivolts, rounded or cut off, is at the end of the range.
fn ends(shunt_mv: i64, full_shunt_v: f64) -> bool {
    thousandths(shunt_mv).abs() >= (full_shunt_v * 1000.0).floor() / 1000.0
}

fn thousandths(milli: i64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "held against limits right after")]
    let whole = milli as f64;
    whole / 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_count_that_falls_back_goes_on_from_there() {
        let mut tally = Tally::default();
        let draw = Some(Amps::of(1.0));
        for (micro, want) in
            [(7_000_000, 0.0), (9_500_000, 2.5), (9_500_000, 2.5), (500_000, 3.0), (1_500_000, 4.0)]
        {
            assert_eq!(tally.count(micro, 1.0, draw), Ok(Joules::of(want)), "at {micro}");
        }
        assert_eq!(tally.count(-1, 1.0, draw), Err(Gap::Garbled));
    }

    /// The chip adds up the size of the power. Source: INA228 data sheet SLYS021A, ENERGY register:
    /// POWER is never negative.
    #[test]
    fn charging_counts_backwards() {
        let mut tally = Tally::default();
        let (draw, charge) = (Some(Amps::of(1.0)), Some(Amps::of(-1.0)));
        for (micro, amps, want) in [
            (0, draw, 0.0),
            (5_000_000, draw, 5.0),
            (5_100_000, charge, 5.0),
            (7_100_000, charge, 3.0),
        ] {
            assert_eq!(tally.count(micro, 1.0, amps), Ok(Joules::of(want)), "at {micro}");
        }
    }
}
