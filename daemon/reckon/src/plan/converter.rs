//! What stands between the cells and a 5 V board, or a pack and the board: watts in for watts out.

use alloc::vec::Vec;

use super::lookup::between;
use crate::units::{Volts, Watts};

/// The least efficiency that is counted with, so that no input is without bounds.
const LEAST: f64 = 0.01;

/// A converter. Every number is taken; what cannot be is taken for the nearest that can.
#[derive(Clone, Debug, PartialEq)]
pub enum Converter {
    /// Always this share of the input comes out (0.01 to 1).
    Share(f64),
    /// A loss of its own at rest, one in proportion to the output current, and one by its square:
    /// `loss = rest_w + per_amp_v·I + ohms·I²`, I at the output (any text on converters); each 0 or more.
    Loss {
        /// Watts with nothing drawn.
        rest_w: f64,
        /// Watts for each ampere.
        per_amp_v: f64,
        /// Watts for each square ampere.
        ohms: f64,
    },
    /// Share (0.01 to 1) by output amperes, from a data sheet's curve: points in rising order of amperes.
    Curve(Vec<(f64, f64)>),
    /// A linear regulator: the same current at input and output.
    Linear,
}

impl Converter {
    /// A good boost converter: 94 to 95 % between 0.4 and 1 A (our own set, within what makers print of
    /// synchronous ones).
    pub const GOOD: Self = Self::Loss { rest_w: 0.05, per_amp_v: 0.15, ohms: 0.08 };
    /// A poor one: 87 to 89 % there, 60 % at 50 mA (our own set, within what makers print of small
    /// modules).
    pub const POOR: Self = Self::Loss { rest_w: 0.15, per_amp_v: 0.30, ohms: 0.20 };

    /// Watts at the input for `output` watts at `output_v`; `input_v` matters to a linear regulator only,
    /// which cannot give more volts than it gets. Nothing drawn is nothing, but for the loss at rest.
    #[must_use]
    pub fn input(&self, output: Watts, output_v: Volts, input_v: Volts) -> Watts {
        let output = output.max(Watts::ZERO);
        let amps = Watts::of(output.si() / output_v.si()).max(Watts::ZERO).si();
        match self {
            Self::Share(share) => output / sound(*share),
            Self::Loss { rest_w, per_amp_v, ohms } => {
                let loss = rest_w.max(0.0) + (per_amp_v.max(0.0) + ohms.max(0.0) * amps) * amps;
                output + Watts::of(loss)
            }
            Self::Curve(points) => output / sound(between(points, amps).unwrap_or(1.0)),
            Self::Linear => output.max(input_v * crate::units::Amps::of(amps)),
        }
    }

    /// What becomes heat, watts.
    #[must_use]
    pub fn heat(&self, output: Watts, output_v: Volts, input_v: Volts) -> Watts {
        self.input(output, output_v, input_v) - output.max(Watts::ZERO)
    }
}

fn sound(share: f64) -> f64 {
    if share.is_nan() { 1.0 } else { share.clamp(LEAST, 1.0) }
}

#[cfg(test)]
mod tests {
    use alloc::vec;

    use super::*;
    use crate::units::Joules;

    const FIVE: Volts = Volts::of(5.0);

    fn near(got: f64, want: f64, within: f64, what: &str) {
        assert!((got - want).abs() <= within, "{what}: got {got}, want {want}");
    }

    fn efficiency(converter: &Converter, amps: f64) -> f64 {
        let output = Watts::of(5.0 * amps);
        output.si() / converter.input(output, FIVE, Volts::of(3.7)).si()
    }

    #[test]
    fn a_label_in_milliampere_hours_is_meant_at_the_cells() {
        // Arithmetic on a label: 10 000 mAh at 3.7 V through 85 % are 31.45 Wh, 6290 mAh at 5 V; reading
        // them as if they were at 5 V overstates that by 59 %.
        let cells = Joules::from_wh(10.0 * 3.7);
        let hours = cells.wh() / Converter::Share(0.85).input(Watts::of(1.0), FIVE, FIVE).si();
        near(hours, 31.45, 1e-9, "Wh at 5 V");
        near(hours / 5.0 * 1000.0, 6290.0, 1e-6, "mAh at 5 V");
        near(50.0 / hours - 1.0, 0.59, 0.005, "as if at 5 V");
        // The same over the nominal voltages that labels mean (3.6 to 3.85 V: IEC 61960 and makers' sheets).
        for (volts, share, wh) in [(3.6, 0.75, 27.00), (3.6, 0.90, 32.40), (3.85, 0.85, 32.73)] {
            let input = Converter::Share(share).input(Watts::of(1.0), FIVE, FIVE).si();
            near(10.0 * volts / input, wh, 0.006, "Wh at 5 V");
        }
    }

    #[test]
    fn efficiency_is_a_ratio_of_powers() {
        // Bench series of a TPS6109x board, TI user forum: 5.2 V at 0.500 A out took 0.776 A at 3.7 V. The
        // poster divided the currents; the powers make it 0.906.
        let share = Converter::Share(0.906);
        let input = share.input(Watts::of(5.2 * 0.5), Volts::of(5.2), Volts::of(3.7));
        near(input.si() / 3.7, 0.776, 0.0005, "A in");
        // Our two sets hold that converter between them as long as its cells are above 3.2 V.
        let (poor, good) = (efficiency(&Converter::POOR, 0.5), efficiency(&Converter::GOOD, 0.5));
        for (volts, amps) in [(4.2, 0.665), (4.0, 0.705), (3.8, 0.751), (3.7, 0.776), (3.6, 0.800)]
        {
            let measured = 5.2 * 0.5 / (volts * amps);
            assert!(
                (poor..good).contains(&measured),
                "{volts} V: {measured}, ours {poor} to {good}"
            );
        }
    }

    #[test]
    fn the_two_sets_are_what_they_say() {
        // Worked by hand from loss = P0 + a·I + R·I² at 5 V: efficiency at so many amperes.
        let amps = [0.05, 0.1, 0.2, 0.4, 0.6, 1.0, 2.0, 3.0];
        let good = [0.812, 0.884, 0.923, 0.942, 0.947, 0.947, 0.937, 0.925];
        let poor = [0.602, 0.733, 0.821, 0.869, 0.882, 0.885, 0.866, 0.840];
        for (k, amps) in amps.into_iter().enumerate() {
            near(efficiency(&Converter::GOOD, amps), good[k], 0.000_6, "good");
            near(efficiency(&Converter::POOR, amps), poor[k], 0.000_6, "poor");
        }
        // Makers: a synchronous boost 94.7 % from 3.6 V at 3 A (TI TPS61022 product page), bank controllers up
        // to 92 % (Injoinic IP5306 data sheet), small modules 80 to 90 % (Pololu).
        assert!((0.84..0.947).contains(&efficiency(&Converter::GOOD, 3.0)));
        assert!((0.80..0.92).contains(&efficiency(&Converter::POOR, 1.0)));
        let rest = Converter::POOR.input(Watts::ZERO, FIVE, FIVE);
        near(rest.si(), 0.15, 1e-12, "nothing drawn, and it still takes");
    }

    #[test]
    fn twelve_volts_down_to_five() {
        // Arithmetic: 3.0 W through 90 % from 13.2 V is 3.333 W, 0.2525 A; a linear regulator takes 0.600 A,
        // 7.92 W, of which 4.92 W are heat. TI LM2596, electrical characteristics: 80 % from 12 V to 5 V at 3 A.
        let (board, pack) = (Watts::of(3.0), Volts::of(13.2));
        let switched = Converter::Share(0.90).input(board, FIVE, pack).si();
        near(switched, 3.333, 0.000_5, "W");
        near(switched / 13.2, 0.2525, 0.000_05, "A");
        near(Converter::Linear.input(board, FIVE, pack).si(), 7.92, 1e-9, "linear, W");
        near(Converter::Linear.input(board, FIVE, pack).si() / 13.2, 0.600, 1e-9, "linear, A");
        near(Converter::Linear.heat(board, FIVE, pack).si(), 4.92, 1e-9, "heat, W");
        let share = 3.0 / Converter::Linear.input(board, FIVE, Volts::of(12.0)).si();
        near(share, 0.417, 0.000_5, "5 V of 12 V");
        near(Converter::Share(0.80).input(Watts::of(15.0), FIVE, pack).si(), 18.75, 1e-9, "LM2596");
    }

    #[test]
    fn a_curve_is_read_between_its_points_and_not_beyond() {
        let curve = Converter::Curve(vec![(0.1, 0.80), (0.5, 0.90), (2.0, 0.84)]);
        for (amps, share) in [(0.01, 0.80), (0.1, 0.80), (0.3, 0.85), (1.25, 0.87), (9.0, 0.84)] {
            near(efficiency(&curve, amps), share, 1e-12, "share");
        }
    }

    #[test]
    fn nothing_breaks_on_a_hostile_number() {
        let bad = [f64::MAX, -f64::MAX, f64::NAN, f64::INFINITY, 0.0, -1.0, 1e-300];
        for a in bad {
            let converters = [
                Converter::Share(a),
                Converter::Loss { rest_w: a, per_amp_v: a, ohms: a },
                Converter::Curve(vec![(a, a), (1.0, 0.5), (a, a)]),
                Converter::Curve(vec![]),
                Converter::Linear,
            ];
            for converter in converters {
                for b in bad {
                    let input = converter.input(Watts::of(3.0), Volts::of(b), Volts::of(a)).si();
                    assert!(input >= 0.0, "{converter:?} from {b} V: {input}");
                    assert!(converter.input(Watts::of(b), FIVE, Volts::of(a)).si() >= 0.0);
                }
            }
        }
    }
}
