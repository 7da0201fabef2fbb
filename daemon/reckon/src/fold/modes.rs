//! The timed modes that are known by their slots.

/// A timed mode: symbols of one length, a given number in a slot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mode {
    /// Its name in the trade.
    pub name: &'static str,
    /// A slot, seconds.
    pub slot_s: f64,
    /// Symbols in a transmission.
    pub symbols: u16,
    /// Length of one, seconds.
    pub symbol_s: f64,
}

impl Mode {
    /// How long the key is down in a slot, seconds.
    #[must_use]
    pub fn on_air_s(&self) -> f64 {
        f64::from(self.symbols) * self.symbol_s
    }
}

/// The timed modes with a slot of their own. All keep the carrier at one strength while it is on.
///
/// Sources: Franke, Somerville, Taylor, 'The FT4 and FT8 Communication Protocols', QEX Jul/Aug
/// 2020 (15 s: 79 symbols of 0.160 s; 7.5 s: 105 symbols of 0.048 s, ramps included); the protocol
/// chapter of the reference user guide (120 s: 162 symbols of 8192/12000 s; 60 s: 126 of 4096/11025 s,
/// 85 of 6912/12000 s, 85 of 7200/12000 s, 160 of 3888/12000 s); public ports of the
/// keyboard mode's protocol (79 symbols of 0.100, 0.050 and 0.320 s; one port disagrees on the two
/// fast ones).
pub const MODES: [Mode; 10] = [
    Mode { name: "JS8 turbo", slot_s: 6.0, symbols: 79, symbol_s: 0.050 },
    Mode { name: "FT4", slot_s: 7.5, symbols: 105, symbol_s: 0.048 },
    Mode { name: "JS8 fast", slot_s: 10.0, symbols: 79, symbol_s: 0.100 },
    // The keyboard mode's normal speed has the same timing and cannot be told apart by its draw.
    Mode { name: "FT8 or JS8", slot_s: 15.0, symbols: 79, symbol_s: 0.160 },
    Mode { name: "JS8 slow", slot_s: 30.0, symbols: 79, symbol_s: 0.320 },
    Mode { name: "JT65", slot_s: 60.0, symbols: 126, symbol_s: 4096.0 / 11_025.0 },
    Mode { name: "JT9", slot_s: 60.0, symbols: 85, symbol_s: 6912.0 / 12_000.0 },
    // A second apart: too close to be told by the draw.
    Mode { name: "Q65 or FST4", slot_s: 60.0, symbols: 85, symbol_s: 7200.0 / 12_000.0 },
    Mode { name: "Q65 or FST4", slot_s: 60.0, symbols: 160, symbol_s: 3888.0 / 12_000.0 },
    Mode { name: "WSPR", slot_s: 120.0, symbols: 162, symbol_s: 8192.0 / 12_000.0 },
];

/// The mode that a bare period gives away: one whose slot no other mode's two slots equal.
pub(super) fn only_mode(period_s: f64) -> Option<&'static Mode> {
    let mut fitting =
        MODES.iter().filter(|mode| mode.slot_s == period_s || mode.slot_s * 2.0 == period_s);
    let first = fitting.next()?;
    if fitting.next().is_some() { None } else { Some(first) }
}
