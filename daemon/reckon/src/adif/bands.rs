//! The standard's bands.

/// One band of the enumeration; both edges belong to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Name as the standard writes it, small letters.
    pub name: &'static str,
    /// Lower edge, MHz.
    pub low_mhz: f64,
    /// Upper edge, MHz.
    pub high_mhz: f64,
}

const fn band(name: &'static str, low_mhz: f64, high_mhz: f64) -> Band {
    Band { name, low_mhz, high_mhz }
}

/// Source: ADIF 3.1.6, enumeration 'Band' (read as several public programs restate it; they
/// agree). The edges are the widest of all countries: what one may use there is another matter.
pub const BANDS: [Band; 33] = [
    band("2190m", 0.1357, 0.1378),
    band("630m", 0.472, 0.479),
    band("560m", 0.501, 0.504),
    band("160m", 1.8, 2.0),
    band("80m", 3.5, 4.0),
    band("60m", 5.06, 5.45),
    band("40m", 7.0, 7.3),
    band("30m", 10.1, 10.15),
    band("20m", 14.0, 14.35),
    band("17m", 18.068, 18.168),
    band("15m", 21.0, 21.45),
    band("12m", 24.89, 24.99),
    band("10m", 28.0, 29.7),
    band("8m", 40.0, 45.0),
    band("6m", 50.0, 54.0),
    band("5m", 54.000_001, 69.9),
    band("4m", 70.0, 71.0),
    band("2m", 144.0, 148.0),
    band("1.25m", 222.0, 225.0),
    band("70cm", 420.0, 450.0),
    band("33cm", 902.0, 928.0),
    band("23cm", 1240.0, 1300.0),
    band("13cm", 2300.0, 2450.0),
    band("9cm", 3300.0, 3500.0),
    band("6cm", 5650.0, 5925.0),
    band("3cm", 10_000.0, 10_500.0),
    band("1.25cm", 24_000.0, 24_250.0),
    band("6mm", 47_000.0, 47_200.0),
    band("4mm", 75_500.0, 81_000.0),
    band("2.5mm", 119_980.0, 123_000.0),
    band("2mm", 134_000.0, 149_000.0),
    band("1mm", 241_000.0, 250_000.0),
    band("submm", 300_000.0, 7_500_000.0),
];

/// The band of a name, whatever its case.
#[must_use]
pub fn band_named(name: &str) -> Option<&'static Band> {
    BANDS.iter().find(|band| band.name.eq_ignore_ascii_case(name.trim()))
}

/// The band that a frequency in MHz lies in.
#[must_use]
pub fn band_of(mhz: f64) -> Option<&'static Band> {
    BANDS.iter().find(|band| band.low_mhz <= mhz && mhz <= band.high_mhz)
}
