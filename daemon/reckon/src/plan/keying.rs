//! What is sent: the share of the time with the key down, by mode; and what radios draw, by class.

use crate::{
    fold::MODES,
    units::{Amps, Share},
};

/// A mode, as far as a battery can tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mode {
    /// FT8.
    Ft8,
    /// FT4.
    Ft4,
    /// WSPR, a beacon.
    Wspr,
    /// JS8 at its normal speed.
    Js8,
    /// JS8, fast.
    Js8Fast,
    /// JS8, turbo.
    Js8Turbo,
    /// JS8, slow.
    Js8Slow,
    /// Morse.
    Cw,
    /// Voice, single sideband.
    Ssb,
    /// The same with a speech processor.
    SsbProcessed,
    /// Voice, frequency modulation.
    Fm,
    /// Teletype.
    Rtty,
}

impl Mode {
    /// All of them.
    pub const ALL: [Self; 12] = [
        Self::Ft8,
        Self::Ft4,
        Self::Wspr,
        Self::Js8,
        Self::Js8Fast,
        Self::Js8Turbo,
        Self::Js8Slow,
        Self::Cw,
        Self::Ssb,
        Self::SsbProcessed,
        Self::Fm,
        Self::Rtty,
    ];

    /// Its name in settings and plans.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ft8 => "ft8",
            Self::Ft4 => "ft4",
            Self::Wspr => "wspr",
            Self::Js8 => "js8",
            Self::Js8Fast => "js8-fast",
            Self::Js8Turbo => "js8-turbo",
            Self::Js8Slow => "js8-slow",
            Self::Cw => "cw",
            Self::Ssb => "ssb",
            Self::SsbProcessed => "ssb-processed",
            Self::Fm => "fm",
            Self::Rtty => "rtty",
        }
    }

    /// The mode of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.name() == name)
    }

    /// Share of full transmit power, in the mean over an own transmission; of a timed mode over an own slot.
    ///
    /// Timed modes: by their published timing, see [`MODES`]. Morse: the word PARIS. Voice and teletype: FCC OET 65
    /// Supplement B (as restated): 20 % in conversation, 40 % with a processor, 100 % for a steady carrier.
    #[must_use]
    pub fn duty(self) -> Share {
        let timed = |name: &str| {
            let mode = MODES.iter().find(|mode| mode.name == name);
            Share::nearest(mode.map_or(1.0, |mode| mode.on_air_s() / mode.slot_s))
        };
        match self {
            Self::Ft8 | Self::Js8 => timed("FT8 or JS8"),
            Self::Ft4 => timed("FT4"),
            Self::Wspr => timed("WSPR"),
            Self::Js8Fast => timed("JS8 fast"),
            Self::Js8Turbo => timed("JS8 turbo"),
            Self::Js8Slow => timed("JS8 slow"),
            Self::Cw => paris(),
            Self::Ssb => Share::nearest(0.20),
            Self::SsbProcessed => Share::nearest(0.40),
            Self::Fm | Self::Rtty => Share::WHOLE,
        }
    }

    /// Share of the time in own transmissions of somebody who calls steadily: every other slot where two stations
    /// take turns, a fifth of them for a beacon; else a quarter to two fifths, as operators do (common practice,
    /// no source).
    #[must_use]
    pub const fn usual_turn(self) -> Share {
        Share::nearest(match self {
            Self::Ft8 | Self::Ft4 => 0.5,
            Self::Wspr => 0.2,
            Self::Js8 | Self::Js8Fast | Self::Js8Turbo | Self::Js8Slow | Self::Fm => 0.25,
            Self::Cw | Self::Rtty => 0.4,
            Self::Ssb | Self::SsbProcessed => 0.3,
        })
    }

    /// Share of all time with the key down: the mode's duty in this share of own transmissions.
    #[must_use]
    pub fn sent(self, turn: Share) -> Share {
        Share::nearest(self.duty().part() * turn.part())
    }
}

/// Share of a Morse text with the key down, from the word by which its speed is counted: a dot is one unit, a dash
/// three; one unit between them, three between letters, seven after the word (ITU-R M.1677-1).
fn paris() -> Share {
    let (mut down, mut all) = (0_u8, 0_u8);
    for letter in [".--.", ".-", ".-.", "..", "..."] {
        for sign in letter.chars() {
            let units = if sign == '-' { 3 } else { 1 };
            down += units;
            all += units + 1;
        }
        all += 2;
    }
    all += 4;
    Share::nearest(f64::from(down) / f64::from(all))
}

/// What a radio draws, amperes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Radio {
    /// Receiving.
    pub receive: Amps,
    /// At full power, key down.
    pub transmit: Amps,
    /// In an own transmission of Morse or voice with the key up; `None`: as when receiving.
    pub key_up: Option<Amps>,
}

impl Radio {
    /// Mean current. In an own transmission `key_up + duty × (transmit − key_up)`: duty factors are of power, and
    /// count above what the transmitter draws at rest.
    #[must_use]
    pub fn mean(&self, mode: Mode, turn: Share) -> Amps {
        let voice = matches!(mode, Mode::Cw | Mode::Ssb | Mode::SsbProcessed);
        let rest = self.key_up.filter(|_| voice).unwrap_or(self.receive);
        let own = rest + (self.transmit - rest) * mode.duty().part();
        self.receive + (own - self.receive) * turn.part()
    }

    /// The share of the time at full power that draws the same as this mode does.
    #[must_use]
    pub fn sent(&self, mode: Mode, turn: Share) -> Share {
        let above = (self.transmit - self.receive).si();
        let mean = (self.mean(mode, turn) - self.receive).si();
        if above > 0.0 { Share::nearest(mean / above) } else { mode.sent(turn) }
    }
}

/// A class of radios for somebody without its papers: currents at 12 to 13 V, from the least to the most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RadioClass {
    /// Its name in plans.
    pub name: &'static str,
    /// Receiving, A.
    pub receive_a: (f64, f64),
    /// At full power, A.
    pub transmit_a: (f64, f64),
}

/// Common practice, no source, but for two transmit rows: with an amplifier, one operator's reading at 12.1 V and
/// 30 W out; a big set turned down to 5 W, 6.85 A (C. Preston, 'HF Transceivers and Battery Operation', 2009).
pub const RADIO_CLASSES: [RadioClass; 6] = [
    class("one-band-morse", (0.02, 0.06), (0.4, 1.0)),
    class("small", (0.08, 0.25), (0.8, 1.6)),
    class("small-with-display", (0.3, 0.6), (1.2, 3.0)),
    class("small-with-amplifier", (0.95, 0.95), (7.7, 7.7)),
    class("big-turned-down", (1.0, 1.5), (6.85, 6.85)),
    class("big", (1.0, 1.5), (18.0, 23.0)),
];

const fn class(name: &'static str, receive_a: (f64, f64), transmit_a: (f64, f64)) -> RadioClass {
    RadioClass { name, receive_a, transmit_a }
}

impl RadioClass {
    /// The class of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<&'static Self> {
        RADIO_CLASSES.iter().find(|class| class.name == name)
    }

    /// A radio in its middle: as many times the least as the most is of it.
    #[must_use]
    pub fn middle(&self) -> Radio {
        let middle = |(low, high): (f64, f64)| Amps::of(libm::sqrt(low * high));
        let (receive, transmit) = (middle(self.receive_a), middle(self.transmit_a));
        Radio { receive, transmit, key_up: None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, want: f64, within: f64, what: &str) {
        assert!((got - want).abs() <= within, "{what}: got {got}, want {want}");
    }

    fn part(of: f64) -> Share {
        Share::new(of).unwrap()
    }

    /// 5 W: common practice, no source.
    const SMALL: Radio =
        Radio { receive: Amps::of(0.25), transmit: Amps::of(1.60), key_up: Some(Amps::of(0.6)) };

    #[test]
    fn a_name_leads_back_to_its_mode() {
        for mode in Mode::ALL {
            assert_eq!(Mode::named(mode.name()), Some(mode));
        }
        assert_eq!(Mode::named("FT8"), None);
        for class in RADIO_CLASSES {
            assert_eq!(RadioClass::named(class.name), Some(&class));
        }
    }

    #[test]
    fn timed_modes_send_what_their_timing_says() {
        // Franke, Somerville, Taylor, 'The FT4 and FT8 Communication Protocols', QEX Jul/Aug 2020: 12.64 s of 15, 5.04
        // of 7.5; user guide of the reference program, protocols: 110.6 s of 120; JS8's public ports: 7.90 of 10, 3.95
        // of 6, 25.28 of 30.
        let every_slot = [
            (Mode::Ft8, 12.64 / 15.0, 0.8427),
            (Mode::Ft4, 5.04 / 7.5, 0.672),
            (Mode::Wspr, 110.592 / 120.0, 0.9216),
            (Mode::Js8, 12.64 / 15.0, 0.8427),
            (Mode::Js8Fast, 7.90 / 10.0, 0.790),
            (Mode::Js8Turbo, 3.95 / 6.0, 0.658),
            (Mode::Js8Slow, 25.28 / 30.0, 0.8427),
        ];
        for (mode, exact, printed) in every_slot {
            near(mode.duty().part(), exact, 1e-9, mode.name());
            near(mode.duty().part(), printed, 0.000_5, mode.name());
        }
        // Every other slot, and a beacon in a fifth of them.
        for (mode, sent) in [(Mode::Ft8, 0.4213), (Mode::Ft4, 0.336), (Mode::Wspr, 0.184)] {
            near(mode.sent(mode.usual_turn()).part(), sent, 0.000_5, mode.name());
        }
    }

    #[test]
    fn morse_is_counted_by_the_word() {
        // ITU-R M.1677-1: 1, 3 and 7 units; PARIS has 50, the standard word, of which 22 are down.
        assert_eq!(paris().part(), 22.0 / 50.0);
        assert_eq!(Mode::Cw.duty().part(), 0.44);
    }

    #[test]
    fn voice_and_teletype_have_the_published_factors() {
        // FCC OET Bulletin 65, Supplement B, as two amateur worksheets restate it.
        let factors =
            [(Mode::Ssb, 0.2), (Mode::SsbProcessed, 0.4), (Mode::Fm, 1.0), (Mode::Rtty, 1.0)];
        for (mode, factor) in factors {
            assert_eq!(mode.duty().part(), factor, "{}", mode.name());
        }
    }

    #[test]
    fn the_mean_current_is_that_of_the_worked_examples() {
        // FT8 in alternating slots (QEX 2020): 0.4213·1.60 + 0.5787·0.25 = 0.8188 A; calling half of that: 0.5335 A.
        near(SMALL.mean(Mode::Ft8, part(0.5)).si(), 0.8188, 0.000_05, "FT8");
        near(SMALL.mean(Mode::Ft8, part(0.21 / 0.842_666)).si(), 0.5335, 0.000_05, "FT8, half");
        // 40 % of the time in own overs, 0.6 A with the key up: 0.6·0.25 + 0.4·(0.44·1.6 + 0.56·0.6) (PARIS); the same
        // with OET 65 B's 0.20 for voice.
        near(SMALL.mean(Mode::Cw, part(0.4)).si(), 0.566, 0.000_5, "CW");
        near(SMALL.mean(Mode::Ssb, part(0.4)).si(), 0.470, 0.000_5, "SSB");
        // Without a key-up current the transmitter at rest draws what the receiver does.
        let plain = Radio { key_up: None, ..SMALL };
        near(plain.mean(Mode::Cw, part(0.4)).si(), 0.25 + 0.176 * 1.35, 1e-9, "CW, plain");
        assert_eq!(plain.sent(Mode::Cw, part(0.4)), Mode::Cw.sent(part(0.4)));
        // As a share at full power: what draws the same.
        let sent = SMALL.sent(Mode::Cw, part(0.4)).part();
        near(0.25 + sent * 1.35, 0.566, 0.000_5, "the same at full power");
    }

    #[test]
    fn whole_outings_worked_by_hand() {
        use super::super::converter::Converter;
        use crate::units::{Volts, Watts};
        let through = |share: f64, watts: f64| {
            let five = Volts::of(5.0);
            Converter::Share(share).input(Watts::of(watts), five, five).si()
        };
        let radio_a = SMALL.mean(Mode::Ft8, part(0.5)).si();
        // Arithmetic: 12.8 V 6 Ah are 76.8 Wh, 90 % of it used (common practice, no source). FT8 as above at 13.0 V,
        // 10.64 W, and a 3 W board through 90 %, 3.33 W: 13.98 W, 4.95 h.
        let both = radio_a * 13.0 + through(0.90, 3.0);
        near(both, 13.98, 0.005, "W");
        near(12.8 * 6.0 * 0.9 / both, 4.95, 0.006, "h");
        // A 4B at idle, 3.06 W (Raspberry Pi documentation), from 10 000 mAh at 3.7 V, health 0.90, converter 0.88, cold
        // 0.97: 28.42 Wh at 5 V, 9.29 h; 24.16 Wh after 15 % of reserve carry three hours 2.6 times.
        let hours = 37.0 * 0.90 * 0.97 / through(0.88, 3.06);
        near(hours * 3.06, 28.42, 0.01, "Wh at 5 V");
        near(hours, 9.29, 0.005, "h");
        near(hours * 0.85 / 3.0, 2.6, 0.05, "times over");
        // The radio at 13.1 V from the 6 Ah at 0.95 health: 32.2 of 65.7 Wh in three hours, 6.12 h.
        let usable = 12.8 * 6.0 * 0.95 * 0.9;
        near(radio_a * 13.1 * 3.0, 32.2, 0.05, "Wh needed");
        near(usable, 65.7, 0.05, "Wh");
        near(usable / (radio_a * 13.1), 6.12, 0.005, "h");
    }

    #[test]
    fn classes_are_in_order_and_their_middles_within() {
        for class in RADIO_CLASSES {
            let radio = class.middle();
            let within = |amps: Amps, (low, high): (f64, f64)| {
                (low - 1e-9..=high + 1e-9).contains(&amps.si())
            };
            assert!(within(radio.receive, class.receive_a), "{}", class.name);
            assert!(within(radio.transmit, class.transmit_a), "{}", class.name);
            assert!(radio.receive < radio.transmit, "{}", class.name);
        }
    }

    #[test]
    fn nothing_breaks_on_a_hostile_number() {
        for bad in [f64::MAX, -f64::MAX, f64::NAN, 0.0, -1.0].map(Amps::of) {
            let radio = Radio { receive: bad, transmit: -bad, key_up: Some(bad) };
            for mode in Mode::ALL {
                assert!(radio.sent(mode, Share::WHOLE).part() <= 1.0);
            }
        }
    }
}
