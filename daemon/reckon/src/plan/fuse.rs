//! The fuse at the battery: it must outlast the radio's peaks and blow before the wire burns.

use super::wire::Gauge;
use crate::units::Amps;

/// Sizes of blade fuses, A (common practice, no source).
const BLADES_A: [f64; 13] =
    [1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0];

/// The most that protects a small conductor, A: NEC 240.4(D) (from memory), copper of AWG 18 to 10.
const MOST_A: [(u8, f64); 5] = [(18, 7.0), (16, 10.0), (14, 15.0), (12, 20.0), (10, 30.0)];

/// What a fuse must be above, over the peak (ABYC E-11 and common practice).
const ABOVE_PEAK: f64 = 1.25;

/// A fuse for a load on a wire.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fuse {
    /// The smallest size that holds.
    Size(Amps),
    /// None is above 1.25 × the peak and within the limit of the wire, which is this; `None` where none is
    /// published, for wire thinner than AWG 18 (0.82 mm²).
    WireTooThin(Option<Amps>),
}

/// The most that a fuse on this wire may be; `None` for wire thinner than the table has. Thicker wire than that
/// is taken for its thickest.
#[must_use]
pub fn most(gauge: Gauge) -> Option<Amps> {
    // A hundredth for rounding of what is printed.
    let carries = |number| gauge.mm2() * 1.01 >= Gauge::Awg(number).mm2();
    let row = MOST_A.iter().rev().find(|(number, _)| carries(*number));
    row.map(|(_, amps)| Amps::of(*amps))
}

/// The fuse for a peak current on a wire.
#[must_use]
pub fn fuse(peak: Amps, gauge: Gauge) -> Fuse {
    let Some(most) = most(gauge) else { return Fuse::WireTooThin(None) };
    let least = peak.max(Amps::ZERO).si() * ABOVE_PEAK;
    let size = BLADES_A.into_iter().find(|size| *size >= least && *size <= most.si());
    size.map_or(Fuse::WireTooThin(Some(most)), |size| Fuse::Size(Amps::of(size)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fuse_is_above_the_peak_and_below_the_wire() {
        // A radio that peaks at 2.0 A on AWG 18: at least 2.5 A, at most 7 A (NEC 240.4(D)), so 3 A will do.
        assert_eq!(fuse(Amps::of(2.0), Gauge::Awg(18)), Fuse::Size(Amps::of(3.0)));
        // 100 W of radio, 20 A: 25 A on AWG 10, nothing on AWG 12.
        assert_eq!(fuse(Amps::of(20.0), Gauge::Awg(10)), Fuse::Size(Amps::of(25.0)));
        let thin = Fuse::WireTooThin(Some(Amps::of(20.0)));
        assert_eq!(fuse(Amps::of(20.0), Gauge::Awg(12)), thin);
        // 5.6 × 1.25 = 7.0 A, but 5 A is the largest size within 7 A.
        assert_eq!(fuse(Amps::of(5.6), Gauge::Awg(18)), Fuse::WireTooThin(Some(Amps::of(7.0))));
        assert_eq!(fuse(Amps::of(4.0), Gauge::Awg(18)), Fuse::Size(Amps::of(5.0)));
        assert_eq!(fuse(Amps::of(1.0), Gauge::Awg(22)), Fuse::WireTooThin(None));
    }

    #[test]
    fn the_limit_goes_by_the_copper() {
        // The NEC's small conductors, by number and by their area in mm² as printed on metric wire.
        for (number, amps) in [(18, 7.0), (16, 10.0), (14, 15.0), (12, 20.0), (10, 30.0)] {
            assert_eq!(most(Gauge::Awg(number)), Some(Amps::of(amps)), "AWG {number}");
        }
        for (mm2, amps) in [
            (0.75, None),
            (0.82, Some(7.0)),
            (1.5, Some(10.0)),
            (2.5, Some(15.0)),
            (4.0, Some(20.0)),
            (16.0, Some(30.0)),
        ] {
            assert_eq!(most(Gauge::Mm2(mm2)), amps.map(Amps::of), "{mm2} mm²");
        }
    }

    #[test]
    fn nothing_breaks_on_a_hostile_number() {
        for bad in [f64::MAX, -f64::MAX, f64::NAN, 0.0, -1.0] {
            let (_, _) =
                (fuse(Amps::of(bad), Gauge::Awg(18)), fuse(Amps::of(1.0), Gauge::Mm2(bad)));
        }
        assert_eq!(
            fuse(Amps::of(f64::MAX), Gauge::Awg(0)),
            Fuse::WireTooThin(Some(Amps::of(30.0)))
        );
    }
}
