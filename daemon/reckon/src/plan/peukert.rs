//! Peukert's law: how long a lead-acid battery lasts at a current, and what its makers' tables say of the same.

use libm::pow;

use super::lookup::between_powers;
use crate::units::{AmpHours, Amps};

/// Why a battery cannot be reckoned by Peukert's law.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PeukertFault {
    /// The capacity is not above 0.
    Capacity,
    /// The hours in which that capacity was delivered are not above 0. Without them the law says nothing: the short
    /// form `C/I^k` means a capacity at 1 A, and is wrong by a quarter for one of 20 h.
    RatedHours,
    /// The exponent is not within 1 to 2.
    Exponent,
}

/// A battery that obeys `t = H·(C/(I·H))^k` (Peukert 1897, in the form with rated hours).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peukert {
    rated: Amps,
    rated_h: f64,
    exponent: f64,
}

impl Peukert {
    /// A battery of a rated capacity, the hours that it was rated over (20 for sealed lead-acid: JIS C 8702), and its
    /// exponent: 1.05 to 1.15 for AGM, 1.20 to 1.30 for flooded ones (published ranges).
    ///
    /// # Errors
    /// A capacity or hours that are not above 0, an exponent outside 1 to 2.
    pub fn new(rated: AmpHours, rated_h: f64, exponent: f64) -> Result<Self, PeukertFault> {
        if rated <= AmpHours::ZERO {
            return Err(PeukertFault::Capacity);
        }
        let current = Amps::of(rated.si() / rated_h);
        if !(rated_h > 0.0 && rated_h.is_finite() && current > Amps::ZERO) {
            return Err(PeukertFault::RatedHours);
        }
        if !(1.0..=2.0).contains(&exponent) {
            return Err(PeukertFault::Exponent);
        }
        Ok(Self { rated: current, rated_h, exponent })
    }

    /// The share of it that is used in an hour at a current; shares of different currents add up. Nothing for a
    /// current of 0 or less: the law knows no recovery.
    #[must_use]
    pub fn used_per_h(&self, amps: Amps) -> f64 {
        let times = amps.max(Amps::ZERO).si() / self.rated.si();
        (pow(times, self.exponent) / self.rated_h).min(f64::MAX)
    }

    /// Hours until it is empty, from full, if this share of the time goes at each current, in short turns. `None` if
    /// it is never empty.
    #[must_use]
    pub fn lasts_h(&self, parts: &[(f64, Amps)]) -> Option<f64> {
        let used: f64 = parts.iter().map(|(share, amps)| share * self.used_per_h(*amps)).sum();
        (used > 0.0).then(|| 1.0 / used).filter(|hours| hours.is_finite())
    }
}

/// Share of the 20 h capacity that is delivered at so many times the 20 h current, mean of makers' sheets for sealed
/// batteries of 12 V 4 Ah, 12 V 40 Ah and 6 V 1.3 Ah at 25 °C over 20, 10, 5 and 1 h.
const BY_CURRENT: [(f64, f64); 4] = [(1.0, 1.0), (1.87, 0.934), (3.38, 0.844), (12.1, 0.605)];

/// Share of a sealed lead-acid label that is delivered at so many times its 20 h current. Below that current all of
/// it and no more; beyond twelve times it the law of the last stretch goes on.
#[must_use]
pub fn lead_acid_share(times_20h_current: f64) -> f64 {
    let [.., before, last] = BY_CURRENT;
    if times_20h_current > last.0 {
        let slope = libm::log(last.1 / before.1) / libm::log(last.0 / before.0);
        return last.1 * pow(times_20h_current / last.0, slope);
    }
    between_powers(&BY_CURRENT, times_20h_current.max(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, want: f64, within: f64, what: &str) {
        assert!((got - want).abs() <= within, "{what}: got {got}, want {want}");
    }

    fn battery(ah: f64, hours: f64, exponent: f64) -> Peukert {
        Peukert::new(AmpHours::of(ah), hours, exponent).unwrap()
    }

    fn hours(battery: &Peukert, amps: f64) -> f64 {
        battery.lasts_h(&[(1.0, Amps::of(amps))]).unwrap()
    }

    #[test]
    fn the_form_with_rated_hours_keeps_the_rated_point() {
        // Peukert 1897; 100 Ah over 20 h, k 1.2: 20.00 h at 5 A, 8.71 h at 10 A, 3.79 h (75.8 Ah) at 20 A.
        let hundred = battery(100.0, 20.0, 1.2);
        for (amps, want) in [(5.0, 20.00), (10.0, 8.71), (20.0, 3.79)] {
            near(hours(&hundred, amps), want, 0.005, "hours");
        }
        near(hours(&hundred, 20.0) * 20.0, 75.8, 0.05, "Ah delivered");
        // 12 V 7 Ah at 1.2 A: 5.03 h (6.04 Ah) with k 1.12, 4.56 h (5.47 Ah) with k 1.20.
        for (exponent, want, ah) in [(1.12, 5.03, 6.04), (1.20, 4.56, 5.47)] {
            let got = hours(&battery(7.0, 20.0, exponent), 1.2);
            near(got, want, 0.005, "hours");
            near(got * 1.2, ah, 0.005, "Ah");
        }
        // At 0 °C, 0.85 of that (from memory, no source), used to half its depth.
        let cold = hours(&battery(7.0, 20.0, 1.12), 1.2) * 0.85;
        near(cold, 4.28, 0.005, "cold");
        near(cold * 0.5, 2.14, 0.005, "cold, half used");
    }

    #[test]
    fn a_20_h_capacity_in_the_short_form_is_refused() {
        // electrotechnik.net prints 5 A for 14.5 hours, from t = C/I^k with 100 Ah and k 1.2; a tutorial 5.0886 h, from 250
        // Ah, 20 A, k 1.3. The short form means a battery rated at 1 A, so over C hours. For one rated over
        // 20 h it denies the label's own point: 14.50 against 20.00 h.
        near(hours(&battery(100.0, 100.0, 1.2), 5.0), 14.50, 0.005, "short form");
        near(hours(&battery(250.0, 250.0, 1.3), 20.0), 5.0886, 0.000_05, "short form");
        near(hours(&battery(100.0, 20.0, 1.2), 5.0), 20.00, 1e-9, "with its rated hours");
        let without = |hours: f64| Peukert::new(AmpHours::of(100.0), hours, 1.2);
        for none in [0.0, -20.0, f64::NAN, f64::INFINITY] {
            assert_eq!(without(none), Err(PeukertFault::RatedHours), "{none}");
        }
        for exponent in [0.99, 2.01, f64::NAN] {
            let got = Peukert::new(AmpHours::of(100.0), 20.0, exponent);
            assert_eq!(got, Err(PeukertFault::Exponent), "{exponent}");
        }
        assert_eq!(Peukert::new(AmpHours::ZERO, 20.0, 1.2), Err(PeukertFault::Capacity));
    }

    #[test]
    fn a_varying_load_uses_more_than_its_mean() {
        // Shares used add up: 7 Ah, k 1.12, 57.87 % of the time 0.25 A and 42.13 % 1.6 A: 7.38 h. The mean current,
        // 0.8188 A, would give 7.72 h.
        let seven = battery(7.0, 20.0, 1.12);
        let parts = [(0.5787, Amps::of(0.25)), (0.4213, Amps::of(1.6))];
        near(seven.lasts_h(&parts).unwrap(), 7.38, 0.005, "hours");
        near(hours(&seven, 0.8188), 7.72, 0.005, "by the mean");
        assert_eq!(seven.lasts_h(&[(1.0, Amps::ZERO)]), None);
        assert_eq!(seven.lasts_h(&[]), None);
    }

    #[test]
    fn the_table_is_that_of_the_makers() {
        // Sheets: 12 V 4.0 Ah (NP series, to 1.75 V a cell), 12 V 40 Ah, 6 V 1.3 Ah (LC-R061R3): amperes and ampere-hours.
        let sheets: [&[(f64, f64)]; 3] = [
            &[(0.20, 4.0), (0.38, 3.8), (0.70, 3.5), (1.00, 3.0), (2.25, 2.25)],
            &[(2.0, 40.0), (3.72, 37.2), (6.8, 34.0), (24.0, 24.0)],
            &[(0.065, 1.30), (0.12, 1.20), (0.21, 1.05), (0.85, 0.85)],
        ];
        for sheet in sheets {
            let (amps_20h, label) = sheet[0];
            for (amps, ah) in sheet {
                let got = lead_acid_share(amps / amps_20h);
                near(got, ah / label, 0.065, "share of the label; sheets differ as much");
            }
        }
        // One exponent does not do: fits of these sheets give 1.08 to 1.13 for 10 h and 1.17 to 1.24 for 1 h.
        let exponent = |times: f64| {
            let share = lead_acid_share(times);
            1.0 / (1.0 + libm::log(share) / libm::log(times))
        };
        assert!((1.08..1.135).contains(&exponent(1.87)), "{}", exponent(1.87));
        assert!((1.165..1.27).contains(&exponent(12.1)), "{}", exponent(12.1));
        let (twelve, twenty) = (lead_acid_share(12.1), lead_acid_share(20.0));
        assert!(twenty < twelve && twenty > 0.5, "{twenty}");
    }

    #[test]
    fn nothing_breaks_on_a_hostile_number() {
        for bad in [f64::MAX, -f64::MAX, f64::NAN, f64::INFINITY, 0.0, -1.0, 1e-300] {
            let share = lead_acid_share(bad);
            assert!((0.0..=1.0).contains(&share), "{bad}: {share}");
            let Ok(battery) = Peukert::new(AmpHours::of(bad), 20.0, 2.0) else { continue };
            assert!(battery.used_per_h(Amps::of(1.0)) >= 0.0);
            assert!(battery.lasts_h(&[(bad, Amps::of(bad))]).is_none_or(|hours| hours >= 0.0));
        }
    }
}
