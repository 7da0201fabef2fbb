//! Whether a passenger may carry a battery in an aircraft, by the watt-hours of its label.

use crate::bank::{BankSpec, Cells};

/// What airlines do with a battery. The rules change every year: ask the airline.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Carriage {
    /// In the cabin without asking, its terminals protected.
    Carried,
    /// With the airline's approval, two spares at most.
    AfterAsking,
    /// Not by a passenger.
    Refused,
}

/// Without approval up to this, Wh.
const CARRIED_WH: f64 = 100.0;
/// With approval up to this, Wh.
const AFTER_ASKING_WH: f64 = 160.0;
/// Sealed lead-acid up to this, V (and 100 Wh).
const LEAD_ACID_V: f64 = 12.0;

/// How a bank may travel. ICAO Technical Instructions and IATA guidance, as airlines restate them.
#[must_use]
pub fn carriage(bank: &BankSpec) -> Carriage {
    // A hair for the last bit of volts times ampere-hours.
    let within = |value: f64, most: f64| value <= most * (1.0 + 1e-9);
    let wh = bank.label_energy().wh();
    let lead_acid = bank.cells == Cells::LeadAcid;
    if within(wh, CARRIED_WH) && (!lead_acid || within(bank.label_volts.si(), LEAD_ACID_V)) {
        Carriage::Carried
    } else if within(wh, AFTER_ASKING_WH) && !lead_acid {
        Carriage::AfterAsking
    } else {
        Carriage::Refused
    }
}

#[cfg(test)]
mod tests {
    use alloc::string::String;

    use super::*;
    use crate::{
        bank::MeasuredAt,
        units::{AmpHours, Volts},
    };

    fn of(cells: Cells, volts: f64, amp_hours: f64) -> Carriage {
        carriage(&BankSpec {
            name: String::new(),
            cells,
            series: 1,
            label: AmpHours::of(amp_hours),
            label_volts: Volts::of(volts),
            measured_at: MeasuredAt::Output,
            ambient: None,
            cutoff: None,
        })
    }

    #[test]
    fn the_limits_are_100_and_160_watt_hours() {
        // ICAO Technical Instructions and IATA guidance, as restated: 100 Wh are 27 027 mAh at 3.7 V, 27 778 at 3.6 V,
        // 25 974 at 3.85 V and 7.81 Ah at 12.8 V (to the last digit); 160 Wh are 12.5 Ah at 12.8 V.
        let hundred =
            [(3.7, 27.027, 0.001), (3.6, 27.778, 0.001), (3.85, 25.974, 0.001), (12.8, 7.81, 0.01)];
        for (volts, ah, digit) in hundred {
            assert_eq!(of(Cells::LiIon, volts, ah - digit), Carriage::Carried, "{volts} V");
            assert_eq!(of(Cells::LiIon, volts, ah + digit), Carriage::AfterAsking, "{volts} V");
        }
        assert_eq!(of(Cells::LiFePo4, 12.8, 12.5), Carriage::AfterAsking);
        assert_eq!(of(Cells::LiFePo4, 12.8, 12.51), Carriage::Refused);
        assert_eq!(of(Cells::LiIon, 10.0, 10.0), Carriage::Carried);
    }

    #[test]
    fn lead_acid_flies_up_to_12_volts_and_100_watt_hours() {
        // The same: non-spillable batteries, 12 V and 100 Wh at most.
        assert_eq!(of(Cells::LeadAcid, 12.0, 7.0), Carriage::Carried);
        assert_eq!(of(Cells::LeadAcid, 12.0, 9.0), Carriage::Refused);
        assert_eq!(of(Cells::LeadAcid, 24.0, 1.3), Carriage::Refused);
    }

    #[test]
    fn nothing_breaks_on_a_hostile_number() {
        for bad in [f64::MAX, -f64::MAX, f64::NAN, 0.0] {
            let _ = of(Cells::LiIon, bad, bad);
        }
        assert_eq!(of(Cells::LiIon, 1e100, 1e100), Carriage::Refused);
    }
}
