//! Every key of a plan, and what each may be: one table for every door.

use alloc::{
    borrow::ToOwned,
    string::{String, ToString},
    vec::Vec,
};

use super::{
    given::{Given, Place},
    keying::{Mode, RADIO_CLASSES},
    sun::{AZIMUTH_DEG, CHARGE_W, FULL_SUN_H, LATITUDE_DEG, LONGITUDE_DEG, RATED_W, TILT_DEG},
};
use crate::{
    bank::{AMBIENT_C, Start},
    time::PHONE_MS,
    words,
};

/// What a key takes.
#[derive(Clone, Copy, Debug)]
enum Want {
    /// A number from the one to the other, in a unit.
    Number(f64, f64, &'static str),
    /// Two such numbers, the lesser first.
    Pair(f64, f64, &'static str),
    /// Amperes and efficiency in turn, the amperes rising.
    Curve,
    /// One of these words.
    Word(&'static [&'static str]),
    Flag,
    Text,
    /// How full.
    Level,
    /// A date and time with its offset from UTC.
    Moment,
    /// Judged where banks are.
    OfBank,
}

use Want::{Curve, Flag, Level, Moment, Number, OfBank, Pair, Text, Word};

const RADIO_NAMES: [&str; RADIO_CLASSES.len()] = {
    let mut names = [""; RADIO_CLASSES.len()];
    let mut k = 0;
    while k < names.len() {
        names[k] = RADIO_CLASSES[k].name;
        k += 1;
    }
    names
};
const MODE_NAMES: [&str; Mode::ALL.len()] = {
    let mut names = [""; Mode::ALL.len()];
    let mut k = 0;
    while k < names.len() {
        names[k] = Mode::ALL[k].name();
        k += 1;
    }
    names
};

/// Every key of a plan.
const KEYS: &[(&str, &str, Want)] = &[
    ("", "finish_h", Number(0.1, 1000.0, "h")),
    ("", "reserve_h", Number(0.0, 100.0, "h")),
    ("", "ambient_c", Number(*AMBIENT_C.start(), *AMBIENT_C.end(), "°C")),
    ("", "start", Level),
    ("bank", "known", Text),
    ("bank", "name", OfBank),
    ("bank", "cells", OfBank),
    ("bank", "series", OfBank),
    ("bank", "label_mah", OfBank),
    ("bank", "label_v", OfBank),
    ("bank", "measured_at", OfBank),
    ("bank", "ambient_c", OfBank),
    ("bank", "cutoff_v", OfBank),
    ("bank", "start", Level),
    ("bank", "board", Text),
    ("bank", "feeds", Word(&["both", "board", "radio"])),
    ("bank", "together", Flag),
    ("bank", "depth", Number(0.05, 1.0, "")),
    ("bank", "age_years", Number(0.0, 30.0, "years")),
    ("bank", "cycles", Number(0.0, 10_000.0, "")),
    ("bank", "kept_at", Number(0.0, 1.0, "")),
    ("bank", "kept_c", Number(-20.0, 60.0, "°C")),
    ("bank", "mass_g", Number(1.0, 200_000.0, "g")),
    ("converter", "kind", Word(&["good", "poor", "linear"])),
    ("converter", "curve", Curve),
    ("converter", "efficiency", Number(0.05, 1.0, "")),
    ("lead", "awg", Number(0.0, 40.0, "")),
    ("lead", "mm2", Number(0.01, 100.0, "mm²")),
    ("lead", "length_m", Number(0.0, 100.0, "m")),
    ("lead", "contacts_ohm", Number(0.0, 10.0, "Ω")),
    ("lead", "source_v", Number(1.0, 60.0, "V")),
    ("lead", "peak_a", Number(0.0, 200.0, "A")),
    ("draw", "radio", Word(&RADIO_NAMES)),
    ("draw", "idle_w", Number(0.05, 100.0, "W")),
    ("draw", "full_w", Number(0.05, 100.0, "W")),
    ("draw", "radio_receive_a", Number(0.0, 100.0, "A")),
    ("draw", "radio_transmit_a", Number(0.0, 100.0, "A")),
    ("draw", "radio_key_up_a", Number(0.0, 100.0, "A")),
    ("draw", "radio_v", Number(1.0, 60.0, "V")),
    ("sun", "panel_w", Number(*RATED_W.start(), *RATED_W.end(), "W")),
    ("sun", "tilt_deg", Number(*TILT_DEG.start(), *TILT_DEG.end(), "°")),
    ("sun", "facing_deg", Number(*AZIMUTH_DEG.start(), *AZIMUTH_DEG.end(), "°")),
    ("sun", "full_sun_h", Pair(*FULL_SUN_H.start(), *FULL_SUN_H.end(), "h")),
    ("sun", "latitude_deg", Number(*LATITUDE_DEG.start(), *LATITUDE_DEG.end(), "°")),
    ("sun", "longitude_deg", Number(*LONGITUDE_DEG.start(), *LONGITUDE_DEG.end(), "°")),
    ("sun", "from", Moment),
    ("sun", "noon_in_h", Number(-24.0, 24.0, "h")),
    ("sun", "cloud", Pair(0.0, 1.0, "")),
    ("sun", "kept", Number(0.0, 1.0, "")),
    ("sun", "charge_efficiency", Number(0.05, 1.0, "")),
    ("sun", "charge_limit_w", Number(*CHARGE_W.start(), *CHARGE_W.end(), "W")),
    ("stretch", "hours", Number(0.001, 1000.0, "h")),
    ("stretch", "activity", Text),
    ("stretch", "busy", Number(0.0, 1.0, "")),
    ("stretch", "sent", Number(0.0, 1.0, "")),
    ("stretch", "mode", Word(&MODE_NAMES)),
    ("stretch", "calling", Number(0.0, 1.0, "")),
    ("stretch", "radio", Word(&["off", "receive"])),
    ("stretch", "extra_w", Number(0.0, 1000.0, "W")),
    ("stretch", "board", Word(&["on", "off"])),
    ("stretch", "connected", Flag),
    ("stretch", "display", Word(&["on", "off"])),
];
/// So many tables of one name are taken at most.
const MOST: &[(&str, usize)] = &[
    ("", 1),
    ("bank", 4),
    ("converter", 1),
    ("lead", 1),
    ("draw", 1),
    ("sun", 1),
    ("stretch", 200),
];

/// Whether these are points of a converter's curve: at most 32, amperes rising, efficiencies within 1.
fn is_curve(all: &[f64]) -> bool {
    let (points, rest) = all.as_chunks::<2>();
    let rising = points.windows(2).all(|two| two[0][0] < two[1][0]);
    let sound = points.iter().all(|[amps, share]| *amps >= 0.0 && (0.05..=1.0).contains(share));
    rest.is_empty() && (1..=32).contains(&points.len()) && rising && sound
}

/// Seconds since 1970 of a moment as RFC 3339 writes it; `None` for other texts and other centuries.
pub(super) fn moment_s(text: &str) -> Option<f64> {
    let moment: jiff::Timestamp = text.parse().ok()?;
    PHONE_MS.contains(&moment.as_millisecond()).then(|| moment.as_millisecond() as f64 / 1000.0)
}

/// The keys of a table, for whoever mistook one.
fn keys_of(table: &str) -> String {
    let keys: Vec<&str> = KEYS.iter().filter(|k| k.0 == table).map(|k| k.1).collect();
    keys.join(", ")
}

impl Want {
    /// What is wanted instead, if this is not it.
    fn refuses(self, given: &Given) -> Option<String> {
        let fits = |x: &f64, low: f64, high: f64| (low..=high).contains(x);
        let ok = match (self, given) {
            (Number(low, high, _), Given::Number(x)) => fits(x, low, high),
            (Pair(low, high, _), Given::Numbers(all)) => {
                matches!(all[..], [a, b] if a <= b && fits(&a, low, high) && fits(&b, low, high))
            }
            (Curve, Given::Numbers(all)) => is_curve(all),
            (Word(words), Given::Text(text)) => words.contains(&text.as_str()),
            (Level, Given::Text(text)) => Start::worded(text).is_some(),
            (Level, Given::Number(x)) => Start::worded(&x.to_string()).is_some(),
            (Moment, Given::Text(text)) => moment_s(text).is_some(),
            (Flag, Given::Flag(_)) | (Text, Given::Text(_)) | (OfBank, _) => true,
            _ => false,
        };
        (!ok).then(|| match self {
            Number(low, high, unit) => words::plan::want_number(&low, &high, unit),
            Pair(low, high, unit) => words::plan::want_pair(&low, &high, unit),
            Curve => words::plan::WANT_CURVE.to_owned(),
            Word(all) => words::plan::want_word(&all.join(", ")),
            Flag => words::plan::WANT_FLAG.to_owned(),
            Level => words::plan::WANT_LEVEL.to_owned(),
            Moment => words::plan::WANT_MOMENT.to_owned(),
            Text | OfBank => words::plan::WANT_TEXT.to_owned(),
        })
    }
}

/// So many tables of this name are taken at most; 0: there is none.
pub(super) fn most(table: &str) -> usize {
    MOST.iter().find(|(name, _)| *name == table).map_or(0, |(_, most)| *most)
}

/// What is wanted instead of a table; `None` where it may stand.
pub(super) fn refuses_table(table: &str, nth: usize) -> Option<String> {
    match most(table) {
        0 => Some(words::plan::unknown_table(&table)),
        most => (nth >= most).then(|| words::plan::too_many(&most)),
    }
}

/// What is wanted instead of what stands at a place; `None` where it may stand.
pub(super) fn refuses(place: &Place, given: &Given) -> Option<String> {
    let known = KEYS.iter().find(|(table, key, _)| *table == place.table && *key == place.key);
    match (refuses_table(&place.table, place.nth), known) {
        (Some(want), _) => Some(want),
        (_, None) if place.table.is_empty() && most(&place.key) > 0 => {
            Some(words::plan::want_table(&place.key))
        }
        (_, None) => Some(words::plan::unknown_key(&keys_of(&place.table))),
        (_, Some((_, _, want))) => want.refuses(given),
    }
}
