//! What a board draws, where no sensor says: the vendor's tables, a straight line from idle to
//! full load, and how far such a figure may be off.

use alloc::{string::String, vec::Vec};

use crate::units::{Amps, Share, Volts, Watts};

/// Boards whose vendor publishes figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum BoardKind {
    /// 1A
    OneA,
    /// 1B
    OneB,
    /// 1A+
    OneAPlus,
    /// 1B+
    OneBPlus,
    /// 2B
    TwoB,
    /// 3B
    ThreeB,
    /// 3A+
    ThreeAPlus,
    /// 3B+
    ThreeBPlus,
    /// 4B
    FourB,
    /// 400
    FourHundred,
    /// 5
    Five,
    /// 500
    FiveHundred,
    /// Zero
    Zero,
    /// Zero W
    ZeroW,
    /// Zero 2 W
    ZeroTwoW,
}

/// The voltage that the vendor's currents are meant at (Raspberry Pi documentation, power
/// supplies: 5.1 V for every model).
pub const NOMINAL: Volts = Volts::of(5.1);

/// One row of the vendor's table of typical currents, with the idle and stress means where the
/// vendor's table of workloads has the board too.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BoardRow {
    /// Which board.
    pub kind: BoardKind,
    /// What the vendor recommends that the supply can give.
    pub supply: Amps,
    /// Typical current of the bare board, active.
    pub typical: Amps,
    /// Mean at idle and mean under stress, if published.
    pub idle_and_stress: Option<(Amps, Amps)>,
    /// Switched off but plugged in, if published.
    pub halted: Option<Amps>,
}

const fn row(
    kind: BoardKind,
    supply: f64,
    typical: f64,
    idle_and_stress: Option<(f64, f64)>,
    halted: Option<f64>,
) -> BoardRow {
    BoardRow {
        kind,
        supply: Amps::of(supply),
        typical: Amps::of(typical),
        idle_and_stress: match idle_and_stress {
            Some((idle, stress)) => Some((Amps::of(idle), Amps::of(stress))),
            None => None,
        },
        halted: match halted {
            Some(amps) => Some(Amps::of(amps)),
            None => None,
        },
    }
}

/// Source: Raspberry Pi documentation, 'Power supplies' (recommended supply, typical bare-board
/// current) and its table of workloads (monitor and keyboard attached; 4B: system of June 2019,
/// the others of February 2016).
pub const BOARDS: [BoardRow; 15] = [
    row(BoardKind::OneA, 0.7, 0.20, None, None),
    row(BoardKind::OneB, 1.2, 0.50, None, None),
    row(BoardKind::OneAPlus, 0.7, 0.18, None, None),
    row(BoardKind::OneBPlus, 1.8, 0.33, Some((0.20, 0.32)), None),
    row(BoardKind::TwoB, 1.8, 0.35, Some((0.22, 0.75)), None),
    row(BoardKind::ThreeB, 2.5, 0.40, Some((0.30, 0.85)), Some(0.10)),
    row(BoardKind::ThreeAPlus, 2.5, 0.35, None, None),
    row(BoardKind::ThreeBPlus, 2.5, 0.50, None, None),
    row(BoardKind::FourB, 3.0, 0.60, Some((0.60, 1.20)), Some(0.023)),
    row(BoardKind::FourHundred, 3.0, 0.80, None, None),
    row(BoardKind::Five, 5.0, 0.80, None, None),
    row(BoardKind::FiveHundred, 5.0, 0.80, None, None),
    row(BoardKind::Zero, 1.2, 0.10, Some((0.10, 0.23)), Some(0.055)),
    row(BoardKind::ZeroW, 1.2, 0.15, None, None),
    row(BoardKind::ZeroTwoW, 2.0, 0.35, None, None),
];

/// The vendor's row of a board.
#[must_use]
pub fn vendor_row(kind: BoardKind) -> BoardRow {
    // Every kind has a row (held by a test); the first one stands in so that nothing can panic.
    BOARDS.iter().find(|row| row.kind == kind).copied().unwrap_or(BOARDS[0])
}

/// The board of this name: short names as they are printed on the boards; the long form of the device tree will do too.
#[must_use]
pub fn board_named(text: &str) -> Option<BoardKind> {
    use BoardKind as K;
    let short = text.trim().trim_start_matches("Raspberry Pi").trim();
    let short = short.split(" Rev ").next()?.replace("Model ", "").replace("Plus", "+");
    let squeezed: String = short.chars().filter(|c| !c.is_whitespace()).collect();
    Some(match squeezed.to_ascii_uppercase().as_str() {
        "1A" | "A" => K::OneA,
        "1B" | "B" => K::OneB,
        "1A+" | "A+" => K::OneAPlus,
        "1B+" | "B+" => K::OneBPlus,
        "2B" => K::TwoB,
        "3B" => K::ThreeB,
        "3A+" => K::ThreeAPlus,
        "3B+" => K::ThreeBPlus,
        "4B" | "4" => K::FourB,
        "400" => K::FourHundred,
        "5" | "5B" => K::Five,
        "500" => K::FiveHundred,
        "ZERO" => K::Zero,
        "ZEROW" => K::ZeroW,
        "ZERO2W" | "ZERO2" => K::ZeroTwoW,
        _ => return None,
    })
}

/// Where a board's idle and full draw come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ModelFrom {
    /// The settings.
    Told,
    /// The vendor publishes idle and stress for this board.
    Workloads,
    /// The vendor publishes one typical current only; idle and full follow the ratios of its
    /// nearest kin that has both.
    Typical,
    /// The board is not in the table: the middle of the table, with a wide band.
    Generic,
}

/// A straight line from idle to full load: `P = idle + (full - idle) × busy`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BoardModel {
    /// With nothing to do.
    pub idle: Watts,
    /// With all cores busy.
    pub full: Watts,
    /// Standard deviation of the logarithm of true over modelled draw.
    pub log_sd: f64,
    /// Where the two come from.
    pub from: ModelFrom,
}

impl BoardModel {
    /// The best that is known of a board: what the settings say, else the vendor's workloads, else
    /// its typical current, else a board in general.
    #[must_use]
    pub fn new(kind: Option<BoardKind>, told: Option<(Watts, Watts)>) -> Self {
        if let Some((idle, full)) = told {
            return Self::between(idle, full, 0.10, ModelFrom::Told);
        }
        let Some(kind) = kind else {
            // Between a small board at idle (0.5 W) and the largest under stress (about 8 W); the
            // spread lets the truth be twice or half of it.
            return Self::between(Watts::of(2.5), Watts::of(5.5), 0.5, ModelFrom::Generic);
        };
        let row = vendor_row(kind);
        if let Some((idle, stress)) = row.idle_and_stress {
            // The published figures are with monitor and keyboard, and boards of one kind differ:
            // ±30 % at the ends of an 80 % range.
            return Self::between(NOMINAL * idle, NOMINAL * stress, 0.23, ModelFrom::Workloads);
        }
        let (idle, full) = kin_ratios(kind);
        let typical = NOMINAL * row.typical;
        Self::between(typical * idle, typical * full, 0.30, ModelFrom::Typical)
    }

    /// A line between two draws; the larger one is taken as full load.
    #[must_use]
    pub fn between(one: Watts, other: Watts, log_sd: f64, from: ModelFrom) -> Self {
        let (one, other) = (one.max(Watts::ZERO), other.max(Watts::ZERO));
        Self { idle: one.min(other), full: one.max(other), log_sd, from }
    }

    /// The draw with the cores this busy. An unknown load counts as a quarter: a logging program
    /// and a decoder that works in bursts (common practice, no source).
    #[must_use]
    pub fn at(&self, busy: Option<Share>) -> Watts {
        let busy = busy.map_or(0.25, Share::part);
        self.idle + (self.full - self.idle) * busy
    }

    /// The draw with the cores this busy, where the board measures its own rails.
    ///
    /// The rails are a lower bound: losses of the converters and everything fed straight from 5 V
    /// are missing. They are carried to the input by [`input_from_rails`], which is good to about
    /// a tenth for a bare board, and weighed with the model by their spreads in the logarithm; the
    /// result never falls below the rails' own sum.
    #[must_use]
    pub fn with_rails(&self, busy: Option<Share>, rails: Option<Watts>) -> Watts {
        let modelled = self.at(busy);
        let Some(rails) = rails.filter(|rails| rails.si() > 0.0) else { return modelled };
        let carried = input_from_rails(rails);
        if modelled.si() <= 0.0 {
            return carried;
        }
        let weight = |log_sd: f64| 1.0 / (log_sd * log_sd);
        let (by_rails, by_model) = (weight(RAILS_LOG_SD), weight(self.log_sd.max(0.05)));
        let log = (by_rails * libm::log(carried.si()) + by_model * libm::log(modelled.si()))
            / (by_rails + by_model);
        Watts::of(libm::exp(log)).max(rails)
    }
}

/// Spread of [`input_from_rails`]: two fits of one unit differ by under 2 %, units and what hangs
/// on the 5 V pins differ more (our judgement).
const RAILS_LOG_SD: f64 = 0.12;

/// Power at a board's input from the sum of its rails: `1.1451 × sum + 0.5879 W`.
///
/// Source: a public calibration of one board 5 against a USB-C meter; a second fit of the same
/// unit gives `1.1327 × sum + 0.6444 W`.
#[must_use]
pub fn input_from_rails(rails: Watts) -> Watts {
    rails * 1.1451 + Watts::of(0.5879)
}

/// Idle and full draw over the typical one, from the nearest kin in the table of workloads.
const fn kin_ratios(kind: BoardKind) -> (f64, f64) {
    match kind {
        // Single core, first generation: 1B+ has 0.20 and 0.32 A at 0.33 A typical.
        BoardKind::OneA | BoardKind::OneB | BoardKind::OneAPlus | BoardKind::OneBPlus => {
            (0.20 / 0.33, 0.32 / 0.33)
        }
        // Zero has 0.10 and 0.23 A at 0.10 A typical.
        BoardKind::Zero | BoardKind::ZeroW => (1.0, 2.3),
        // Four cores: 2B, 3B and 4B have 0.63, 0.75, 1.0 and 2.1, 2.1, 2.0.
        BoardKind::TwoB
        | BoardKind::ThreeB
        | BoardKind::ThreeAPlus
        | BoardKind::ThreeBPlus
        | BoardKind::FourB
        | BoardKind::FourHundred
        | BoardKind::Five
        | BoardKind::FiveHundred
        | BoardKind::ZeroTwoW => (0.8, 2.1),
    }
}

/// What hangs on the bank besides the board.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Besides {
    /// Accessories, summed.
    pub accessories: Watts,
    /// The radio while receiving.
    pub receive: Watts,
    /// The radio with the key down.
    pub transmit: Watts,
}

impl Besides {
    /// Everything with the radio on the air for this share of the time: transmit draw counts above
    /// the receive draw only, `receive + duty × (transmit - receive)`.
    #[must_use]
    pub fn at_duty(&self, duty: Share) -> Watts {
        self.accessories + self.receive + (self.transmit - self.receive) * duty.part()
    }
}

/// Sum of draws, none below zero.
#[must_use]
pub fn sum(draws: impl IntoIterator<Item = Watts>) -> Watts {
    draws.into_iter().fold(Watts::ZERO, |all, one| all + one.max(Watts::ZERO))
}

/// The boards of the table in order, for a list to choose from.
#[must_use]
pub fn kinds() -> Vec<BoardKind> {
    BOARDS.iter().map(|row| row.kind).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: Watts, want: f64, within: f64, source: &str) {
        assert!((got.si() - want).abs() <= within, "{source}: got {} W, want {want} W", got.si());
    }

    #[test]
    fn typical_draw_is_the_vendors() {
        // Source: Raspberry Pi documentation, power supplies: typical bare-board current in mA
        // and the recommended supply in A, retyped from the page.
        let page = [
            (BoardKind::OneA, 200.0, 0.7),
            (BoardKind::OneB, 500.0, 1.2),
            (BoardKind::OneAPlus, 180.0, 0.7),
            (BoardKind::OneBPlus, 330.0, 1.8),
            (BoardKind::TwoB, 350.0, 1.8),
            (BoardKind::ThreeB, 400.0, 2.5),
            (BoardKind::ThreeAPlus, 350.0, 2.5),
            (BoardKind::ThreeBPlus, 500.0, 2.5),
            (BoardKind::FourB, 600.0, 3.0),
            (BoardKind::FourHundred, 800.0, 3.0),
            (BoardKind::Five, 800.0, 5.0),
            (BoardKind::FiveHundred, 800.0, 5.0),
            (BoardKind::Zero, 100.0, 1.2),
            (BoardKind::ZeroW, 150.0, 1.2),
            (BoardKind::ZeroTwoW, 350.0, 2.0),
        ];
        for (kind, typical_ma, supply_a) in page {
            let row = vendor_row(kind);
            assert_eq!(row.kind, kind, "no row of its own");
            assert_eq!(row.typical.si() * 1000.0, typical_ma, "{kind:?}");
            assert_eq!(row.supply.si(), supply_a, "{kind:?}");
            let model = BoardModel::new(Some(kind), None);
            let at_typical = (NOMINAL * row.typical).si();
            assert!(model.idle.si() <= at_typical * 1.001, "{kind:?} idles above its typical draw");
            assert!(model.full.si() >= at_typical * 0.96, "{kind:?} is full below it");
            assert!((NOMINAL * row.supply).si() >= model.full.si(), "{kind:?} beyond its supply");
        }
        assert_eq!(page.len(), kinds().len());
    }

    #[test]
    fn idle_to_full_is_the_vendors_line() {
        // Source: Raspberry Pi documentation, power supplies, table of workloads ('idle' and
        // 'stress', means), times the 5.1 V it is meant at.
        let table = [
            (BoardKind::OneBPlus, 1.020, 1.632),
            (BoardKind::TwoB, 1.122, 3.825),
            (BoardKind::ThreeB, 1.530, 4.335),
            (BoardKind::Zero, 0.510, 1.173),
            (BoardKind::FourB, 3.060, 6.120),
        ];
        for (kind, idle, full) in table {
            let model = BoardModel::new(Some(kind), None);
            assert_eq!(model.from, ModelFrom::Workloads);
            near(model.at(Some(Share::NONE)), idle, 1e-9, "idle");
            near(model.at(Some(Share::WHOLE)), full, 1e-9, "stress");
            near(model.at(Some(Share::nearest(0.5))), (idle + full) / 2.0, 1e-9, "half way");
        }
        let halted = vendor_row(BoardKind::FourB).halted.unwrap();
        near(NOMINAL * halted, 0.117, 0.0005, "4B halted: 0.023 A × 5.1 V");
    }

    #[test]
    fn a_published_model_of_the_first_board() {
        // Source: Kaup, Gottschling, Hausheer, 'PowerPi', IEEE LCN 2014: a first-generation board
        // draws 1.5778 W + 0.181 W × busy, and 0.942 W more with Wi-Fi idle. (The slope is from
        // memory, in agreement with the range that the paper prints.)
        let idle = Watts::of(1.5778);
        let model = BoardModel::between(idle, idle + Watts::of(0.181), 0.033, ModelFrom::Told);
        let at_80 = model.at(Share::new(0.8));
        near(at_80, 1.7226, 1e-9, "80 % busy, no network");
        near(at_80 + Watts::of(0.942), 2.6646, 1e-9, "with Wi-Fi idle");
    }

    #[test]
    fn rails_are_a_lower_bound() {
        // Source: a public calibration of one unit (see `input_from_rails`); the second fit of
        // the same unit says 5.175 W and 2.343 W.
        near(input_from_rails(Watts::of(4.0)), 5.168, 0.0005, "rails 4.0 W");
        near(input_from_rails(Watts::of(1.5)), 2.306, 0.0005, "rails 1.5 W");
        for (rails, second) in [(4.0, 5.175), (1.5, 2.343)] {
            near(input_from_rails(Watts::of(rails)), second, 0.017 * second, "the second fit");
        }
        let five = BoardModel::new(Some(BoardKind::Five), None);
        for busy in [0.0, 0.5, 1.0] {
            for rails in [0.5, 2.0, 7.239_819, 20.0, 1e4] {
                let got = five.with_rails(Share::new(busy), Watts::new(rails));
                assert!(got.si() >= rails, "{rails} W of rails, {got:?}");
            }
        }
        let idle = five.with_rails(Share::new(0.0), Watts::new(1.5));
        assert!((2.25..2.6).contains(&idle.si()), "rails outweigh the table: {idle:?}");
        assert_eq!(five.with_rails(None, None), five.at(None));
        assert_eq!(five.with_rails(None, Some(Watts::ZERO)), five.at(None));
    }

    #[test]
    fn what_is_told_wins_and_what_is_unknown_is_wide() {
        let told = BoardModel::new(Some(BoardKind::FourB), Some((Watts::of(4.0), Watts::of(2.0))));
        assert_eq!((told.idle, told.full), (Watts::of(2.0), Watts::of(4.0)));
        assert_eq!(told.from, ModelFrom::Told);
        let generic = BoardModel::new(None, None);
        assert_eq!(generic.from, ModelFrom::Generic);
        let known = BoardModel::new(Some(BoardKind::FourB), None);
        assert!(generic.log_sd > known.log_sd && known.log_sd > told.log_sd);
    }

    #[test]
    fn radio_duty_counts_above_receive_only() {
        // Source: Franke, Somerville, Taylor, QEX Jul/Aug 2020: 79 symbols of 0.160 s in a 15 s
        // period; sending in every other period is a duty of 0.4213. Receive 0.25 A and transmit
        // 1.60 A are common practice for 5 W (no source); the mean is then 0.8188 A.
        let duty = Share::nearest(79.0 * 0.160 / 15.0 / 2.0);
        let radio = Besides {
            accessories: Watts::ZERO,
            receive: Volts::of(13.0) * Amps::of(0.25),
            transmit: Volts::of(13.0) * Amps::of(1.60),
        };
        near(radio.at_duty(duty), 13.0 * 0.8188, 0.001, "alternating periods");
        near(radio.at_duty(Share::NONE), 3.25, 1e-12, "receive only");
        near(sum([Watts::of(1.0), Watts::of(-3.0), Watts::of(0.5)]), 1.5, 1e-12, "none below zero");
    }
}
