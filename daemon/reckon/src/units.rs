//! Quantities. A broken number stops at the door: none of these is ever NaN or infinite.
//!
//! Everything is held in SI units (energy also read in watt-hours). Where a type cannot go
//! (JSON, TOML, a log field) the name ends in the unit instead.

use core::ops::{Add, Div, Mul, Neg, Sub};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Default)]
        pub struct $name(f64);

        impl $name {
            /// Nothing of it.
            pub const ZERO: Self = Self(0.0);

            /// The quantity, or `None` for NaN and the infinities.
            #[must_use]
            pub const fn new(si: f64) -> Option<Self> {
                if si.is_finite() { Some(Self(si)) } else { None }
            }

            /// The quantity for a number known to be finite; anything else becomes zero.
            /// For constants and for results of sums that cannot leave the finite range.
            #[must_use]
            pub const fn of(si: f64) -> Self {
                if si.is_finite() { Self(si) } else { Self(0.0) }
            }

            /// The bare number in the SI unit of the type.
            #[must_use]
            pub const fn si(self) -> f64 {
                self.0
            }

            /// The size without the sign.
            #[must_use]
            pub const fn abs(self) -> Self {
                Self(self.0.abs())
            }

            /// The smaller of the two.
            #[must_use]
            pub const fn min(self, other: Self) -> Self {
                if other.0 < self.0 { other } else { self }
            }

            /// The larger of the two.
            #[must_use]
            pub const fn max(self, other: Self) -> Self {
                if other.0 > self.0 { other } else { self }
            }
        }

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self::of(self.0 + other.0)
            }
        }

        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self::of(self.0 - other.0)
            }
        }

        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }

        impl Mul<f64> for $name {
            type Output = Self;
            fn mul(self, by: f64) -> Self {
                Self::of(self.0 * by)
            }
        }

        impl Div<f64> for $name {
            type Output = Self;
            fn div(self, by: f64) -> Self {
                Self::of(self.0 / by)
            }
        }
    };
}

quantity!(
    /// Electric potential, volts.
    Volts
);
quantity!(
    /// Current in amperes, out of the bank; charging is negative.
    Amps
);
quantity!(
    /// Power in watts, out of the bank; charging is negative.
    Watts
);
quantity!(
    /// Energy in joules, out of the bank.
    Joules
);
quantity!(
    /// Resistance, ohms.
    Ohms
);
quantity!(
    /// Temperature, degrees Celsius.
    Celsius
);
quantity!(
    /// Frequency, hertz.
    Hertz
);
quantity!(
    /// Charge in ampere-hours.
    AmpHours
);
quantity!(
    /// A span of time in seconds, for arithmetic; points in time are in [`crate::time`].
    Seconds
);

impl Mul<Amps> for Volts {
    type Output = Watts;
    fn mul(self, amps: Amps) -> Watts {
        Watts::of(self.0 * amps.0)
    }
}

impl Mul<Seconds> for Watts {
    type Output = Joules;
    fn mul(self, span: Seconds) -> Joules {
        Joules::of(self.0 * span.0)
    }
}

impl Joules {
    /// One watt-hour is 3600 J.
    #[must_use]
    pub const fn from_wh(wh: f64) -> Self {
        Self::of(wh * 3600.0)
    }

    /// The energy in watt-hours.
    #[must_use]
    pub const fn wh(self) -> f64 {
        self.0 / 3600.0
    }
}

/// A share of a whole, 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Default)]
pub struct Share(f64);

impl Share {
    /// All of it.
    pub const WHOLE: Self = Self(1.0);
    /// None of it.
    pub const NONE: Self = Self(0.0);

    /// The share, or `None` outside 0 to 1 (and for NaN).
    #[must_use]
    pub const fn new(part: f64) -> Option<Self> {
        if part >= 0.0 && part <= 1.0 { Some(Self(part)) } else { None }
    }

    /// The share nearest to the number; NaN becomes none.
    #[must_use]
    pub const fn nearest(part: f64) -> Self {
        if part >= 1.0 {
            Self(1.0)
        } else if part > 0.0 {
            Self(part)
        } else {
            Self(0.0)
        }
    }

    /// 0 to 1.
    #[must_use]
    pub const fn part(self) -> f64 {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn broken_numbers_stop_at_the_door() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(Volts::new(bad), None);
            assert_eq!(Volts::of(bad), Volts::ZERO);
        }
        assert_eq!(Share::new(1.000_001), None);
        assert_eq!(Share::new(f64::NAN), None);
        assert_eq!(Share::nearest(f64::NAN), Share::NONE);
    }

    #[test]
    fn energy_in_both_units() {
        // Source: SI brochure, 9th ed., table 8: 1 h = 3600 s, so 1 Wh = 3600 J.
        assert_eq!(Joules::from_wh(1.0).si(), 3600.0);
        assert_eq!((Volts::of(5.0) * Amps::of(2.0) * Seconds::of(1800.0)).wh(), 5.0);
    }
}
