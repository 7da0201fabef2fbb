//! The mean of several looks at one channel; a look beyond the range counts as its end.

use reckon::{
    reading::{AtLeast, Gap, Got},
    units::{Amps, Volts, Watts},
};

use crate::source::Supply;

/// Upper limit of looks that go into one mean.
const MOST: u16 = 1000;

/// One look at a current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Look {
    /// The current, corrected, A; the end of the range where it lies beyond.
    pub(crate) amps: f64,
    /// Whether the true current lies beyond the range.
    pub(crate) beyond: bool,
}

impl Look {
    /// The current itself, A, where it is within the range.
    pub(crate) const fn within(self) -> Got<f64> {
        if self.beyond { Err(Gap::OverRange) } else { Ok(self.amps) }
    }
}

/// Sum of looks.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Looks {
    volts: f64,
    amps: f64,
    watts: f64,
    count: u16,
    /// The end of the range, where a look lay beyond it.
    end_a: Option<f64>,
}

impl Looks {
    pub(crate) fn add(&mut self, volts: f64, look: Look) {
        if self.count >= MOST {
            return;
        }
        self.volts += volts;
        self.amps += look.amps;
        self.watts += volts * look.amps;
        self.count += 1;
        if look.beyond {
            self.end_a = Some(self.end_a.unwrap_or(0.0).max(look.amps.abs()));
        }
    }

    /// What they say together. With one of them beyond the range the mean is only a bound.
    pub(crate) fn mean(&self) -> Supply {
        let n = f64::from(self.count.max(1));
        let amps = Amps::new(self.amps / n).ok_or(Gap::Implausible);
        let watts = Watts::new(self.watts / n).ok_or(Gap::Implausible);
        let bound = |end_a: f64| {
            Some(AtLeast { amps: amps.ok()?, watts: watts.ok()?, end: Amps::new(end_a)? })
        };
        let over = self.end_a.is_some();
        Supply {
            volts: Volts::new(self.volts / n).ok_or(Gap::Implausible),
            amps: if over { Err(Gap::OverRange) } else { amps },
            watts: if over { Err(Gap::OverRange) } else { watts },
            counted: None,
            looks: self.count,
            at_least: self.end_a.and_then(bound),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_look_beyond_makes_the_mean_a_bound() {
        let mut looks = Looks::default();
        for (amps, beyond) in [(0.4, false), (3.2, true), (0.4, false), (0.4, false)] {
            looks.add(5.0, Look { amps, beyond });
        }
        let seen = looks.mean();
        assert_eq!((seen.amps, seen.watts), (Err(Gap::OverRange), Err(Gap::OverRange)));
        let bound = seen.at_least.unwrap();
        // (3 × 0.4 + 3.2) A / 4; times 5 V.
        assert!((bound.amps.si() - 1.1).abs() < 1e-12 && (bound.watts.si() - 5.5).abs() < 1e-12);
        assert_eq!((bound.end, seen.looks), (Amps::of(3.2), 4));
        assert_eq!(Looks::default().mean().at_least, None);
    }
}
