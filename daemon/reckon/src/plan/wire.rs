//! The lead: what its copper drops under load, and whether the board at its end gets enough volts.

use libm::pow;

use crate::units::{Amps, Celsius, Ohms, Volts};

/// Below this at its input a board of the Raspberry Pi kind calls it undervoltage, give or take 5 %
/// (Raspberry Pi documentation).
pub const UNDERVOLTAGE: Volts = Volts::of(4.63);
/// What a board's supply gives (the same).
pub const BOARD_SUPPLY: Volts = Volts::of(5.1);
/// The least that a USB source may give and be within its standard (USB 2.0, as restated).
pub const LEAST_SOURCE: Volts = Volts::of(4.75);
/// What a Type-C lead may drop at its rated current, 500 mV in VBUS and 250 mV in ground, contacts
/// included (USB Type-C specification 4.4.1, as restated).
pub const TYPE_C_DROP: Volts = Volts::of(0.75);
/// The current that every Type-C lead is rated for at least (the same).
pub const TYPE_C_RATED: Amps = Amps::of(3.0);

/// How thick a wire is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Gauge {
    /// American wire gauge, 0 to 40.
    Awg(u8),
    /// Area of the copper, mm², above 0.
    Mm2(f64),
}

impl Gauge {
    /// Area of the copper, mm². AWG: `d = 0.127 mm × 92^((36 − n)/39)` (ASTM B258).
    #[must_use]
    pub fn mm2(self) -> f64 {
        match self {
            Self::Awg(number) => {
                let d_mm = 0.127 * pow(92.0, (36.0 - f64::from(number)) / 39.0);
                core::f64::consts::FRAC_PI_4 * d_mm * d_mm
            }
            Self::Mm2(area) => area.max(1e-6),
        }
    }

    /// Ohms of one metre of one conductor: annealed copper of 17.241 mΩ·mm²/m at 20 °C (IACS), and 0.393 %
    /// more for each degree above.
    #[must_use]
    pub fn ohms_per_m(self, at: Celsius) -> f64 {
        let warmth = 1.0 + 0.003_93 * (at.si() - 20.0);
        17.241e-3 / self.mm2() * warmth.max(0.05)
    }
}

/// A lead of two conductors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wire {
    /// How thick each conductor is.
    pub gauge: Gauge,
    /// From end to end, m, 0 or more; the current goes it twice.
    pub length_m: f64,
    /// Plugs and sockets, both conductors together.
    pub contacts: Ohms,
}

impl Wire {
    /// Resistance there and back, contacts included.
    #[must_use]
    pub fn loop_at(&self, warmth: Celsius) -> Ohms {
        let copper = 2.0 * self.length_m.max(0.0) * self.gauge.ohms_per_m(warmth);
        Ohms::of(copper) + self.contacts.max(Ohms::ZERO)
    }

    /// Volts lost on the way.
    #[must_use]
    pub fn drop(&self, amps: Amps, warmth: Celsius) -> Volts {
        Volts::of(amps.si() * self.loop_at(warmth).si())
    }

    /// Volts at the board while it draws so much, never below 0. Undervoltage is below [`UNDERVOLTAGE`].
    #[must_use]
    pub fn volts_at_board(&self, source: Volts, peak: Amps, warmth: Celsius) -> Volts {
        (source - self.drop(peak, warmth)).max(Volts::ZERO)
    }
}

/// A lead as it was told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lead {
    /// Its conductors.
    pub wire: Wire,
    /// Volts of the source while it is loaded; `None`: as usual.
    pub source: Option<Volts>,
    /// Peak current; `None`: by what is printed of board and radio.
    pub peak: Option<Amps>,
}

/// The largest loop that leaves `least` volts at the far end: `(source − least) / peak`. None where the source
/// gives less than that, or nothing flows.
#[must_use]
pub fn largest_loop(source: Volts, least: Volts, peak: Amps) -> Option<Ohms> {
    let spare = source - least;
    let fits = spare >= Volts::ZERO && peak > Amps::ZERO;
    if fits { Ohms::new(spare.si() / peak.si()) } else { None }
}

/// How good a loop is for a board that peaks at 1.2 to 1.5 A.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeadGrade {
    /// Below 150 mΩ.
    Good,
    /// 150 to 300 mΩ.
    Fair,
    /// Above: undervoltage at peaks is likely.
    Poor,
}

/// The grade of a loop (our own limits, from what leaves 4.63 V of 5.0 and 5.1 V).
#[must_use]
pub fn grade(of: Ohms) -> LeadGrade {
    match of.si() {
        ohms if ohms < 0.150 => LeadGrade::Good,
        ohms if ohms <= 0.300 => LeadGrade::Fair,
        _ => LeadGrade::Poor,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROOM: Celsius = Celsius::of(20.0);

    fn near(got: f64, want: f64, within: f64, what: &str) {
        assert!((got - want).abs() <= within, "{what}: got {got}, want {want}");
    }

    fn awg(number: u8, length_m: f64) -> Wire {
        Wire { gauge: Gauge::Awg(number), length_m, contacts: Ohms::ZERO }
    }

    #[test]
    fn copper_by_gauge_is_that_of_the_tables() {
        // ASTM B258, areas; a maker's table (Cirris), ohms for 1000 ft of solid copper at 20 °C.
        let area = [
            (10, 5.261),
            (12, 3.309),
            (14, 2.081),
            (16, 1.309),
            (18, 0.823),
            (20, 0.518),
            (22, 0.326),
            (24, 0.205),
            (26, 0.129),
            (28, 0.081),
        ];
        for (number, mm2) in area {
            near(Gauge::Awg(number).mm2(), mm2, 0.000_6, "mm²");
        }
        for (number, ohms) in [(24, 25.67), (20, 10.15), (18, 6.385), (14, 2.525)] {
            let got = Gauge::Awg(number).ohms_per_m(ROOM) * 304.8;
            near(got / ohms, 1.0, 0.01, "ohms for 1000 ft, against the table");
        }
        // NEC chapter 9, table 8 (as restated): uncoated stranded copper at 75 °C, mΩ for 1000 ft. Strands are
        // laid in a twist: 2 % longer than the wire.
        let hot = Celsius::of(75.0);
        for (number, ohms) in [(18, 7950.0), (16, 4990.0), (14, 3140.0), (12, 1980.0), (10, 1240.0)]
        {
            let got = Gauge::Awg(number).ohms_per_m(hot) * 304_800.0 * 1.02;
            near(got / ohms, 1.0, 0.01, "ohms for 1000 ft, against the code's table");
        }
        let cold = Gauge::Awg(18).ohms_per_m(Celsius::ZERO) / Gauge::Awg(18).ohms_per_m(ROOM);
        near(cold, 0.921, 0.000_5, "at 0 °C");
        near(Gauge::Mm2(0.823).ohms_per_m(ROOM), 0.020_95, 0.000_005, "a metre of 0.823 mm²");
    }

    #[test]
    fn a_lead_drops_what_both_its_conductors_drop() {
        // Ohm's law on the table above: gauge, run, amperes, loop in mΩ, drop in V.
        let worked = [
            (14, 2.0, 10.0, 33.1, 0.331),
            (18, 2.0, 2.0, 83.8, 0.168),
            (28, 1.0, 1.0, 426.0, 0.426),
            (24, 1.0, 3.0, 168.4, 0.505),
            (20, 1.0, 3.0, 66.6, 0.200),
            (12, 3.0, 20.0, 31.3, 0.625),
        ];
        for (number, run, amps, mohms, drop) in worked {
            let wire = awg(number, run);
            near(wire.loop_at(ROOM).si() * 1000.0 / mohms, 1.0, 0.002, "loop");
            near(wire.drop(Amps::of(amps), ROOM).si(), drop, 0.000_6, "drop");
        }
        near(awg(14, 2.0).drop(Amps::of(10.0), ROOM).si() / 12.0, 0.028, 0.000_5, "of 12 V");
        let plugs = Wire { contacts: Ohms::of(0.06), ..awg(20, 1.0) };
        near(plugs.drop(Amps::of(3.0), ROOM).si(), 0.200 + 0.18, 0.000_6, "with contacts");
    }

    #[test]
    fn a_lead_within_its_standard_can_still_starve_a_board() {
        // USB Type-C 4.4.1 (as restated): 750 mV at 3 A is a loop of 250 mΩ. A source at the 4.75 V that USB allows
        // leaves 4.00 V: legal, and undervoltage.
        let legal = Ohms::of(TYPE_C_DROP.si() / TYPE_C_RATED.si());
        near(legal.si(), 0.250, 1e-12, "loop");
        let lead = Wire { contacts: legal, ..awg(20, 0.0) };
        let board = lead.volts_at_board(LEAST_SOURCE, TYPE_C_RATED, ROOM);
        near(board.si(), 4.00, 1e-9, "at the board");
        assert!(board < UNDERVOLTAGE);
        assert_eq!(grade(legal), LeadGrade::Fair);
    }

    #[test]
    fn the_largest_loop_leaves_the_least_volts() {
        // (source − 4.63 V) / peak, with the threshold and the 5.1 V of the Raspberry Pi documentation; mΩ.
        let amps = [0.6, 1.2, 2.0, 3.0];
        for (source, mohms) in
            [(5.10, [783.0, 392.0, 235.0, 157.0]), (5.00, [617.0, 308.0, 185.0, 123.0])]
        {
            for (amps, mohms) in amps.into_iter().zip(mohms) {
                let most = largest_loop(Volts::of(source), UNDERVOLTAGE, Amps::of(amps)).unwrap();
                near(most.si() * 1000.0, mohms, 0.5, "mΩ");
            }
        }
        assert_eq!(largest_loop(Volts::of(4.5), UNDERVOLTAGE, Amps::of(1.0)), None);
        assert_eq!(largest_loop(BOARD_SUPPLY, UNDERVOLTAGE, Amps::ZERO), None);
        // USB 2.0 allows a 28 gauge power pair of 0.81 m, and so on (as restated): for its 0.5 A all are good
        // for the same loop of about 0.35 Ω.
        for (number, m) in [(28, 0.81), (26, 1.31), (24, 2.08), (22, 3.33), (20, 5.00)] {
            near(awg(number, m).loop_at(ROOM).si(), 0.345, 0.015, "USB 2.0's longest leads");
        }
    }

    #[test]
    fn a_grade_has_its_limits() {
        let grades = [
            (149, LeadGrade::Good),
            (150, LeadGrade::Fair),
            (300, LeadGrade::Fair),
            (301, LeadGrade::Poor),
        ];
        for (mohms, want) in grades {
            assert_eq!(grade(Ohms::of(f64::from(mohms) / 1000.0)), want, "{mohms} mΩ");
        }
    }

    #[test]
    fn nothing_breaks_on_a_hostile_number() {
        for bad in [f64::MAX, -f64::MAX, f64::NAN, f64::INFINITY, 0.0, -1.0, 1e-300] {
            for gauge in [Gauge::Mm2(bad), Gauge::Awg(0), Gauge::Awg(u8::MAX)] {
                let wire = Wire { gauge, length_m: bad, contacts: Ohms::of(bad) };
                assert!(wire.loop_at(Celsius::of(bad)) >= Ohms::ZERO);
                let left = wire.volts_at_board(Volts::of(bad), Amps::of(bad), Celsius::of(bad));
                assert!(left >= Volts::ZERO);
            }
        }
    }
}
