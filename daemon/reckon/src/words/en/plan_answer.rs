//! What a plan comes to, as a terminal prints it.

use alloc::{format, string::String};

use super::numbers::{amps, chance, energy, left, power, range, span, volts};
use crate::units::{AmpHours, Amps, Joules, Seconds, Share, Volts, Watts};

sentences! {
    too_large(file) = "{file} is larger than 64 KiB. Nothing was worked out. A plan is a few lines: \
        is this the right file?";
    refused(file, complaints) = "{file} cannot be worked out:{complaints}\nNothing was worked out.";
    LEARN_OR_KNOWN = "--learn teaches a bank that the plan describes, and this plan takes one from the \
        record. Describe it by its label, or teach the record with `outlast bank import`.";
    /// The first line.
    until_finish(finish: Seconds, odds: Share) = "To last until the finish, {} from the start: {}.",
        span(finish), chance(odds);
    with_reserve(reserve: Seconds, odds: Share) = "With {} in reserve: {}.", span(reserve), chance(odds);
    drawn(mean: Watts, low: Watts, high: Watts) = "Drawn until the finish: {} on average ({} to {}).",
        power(mean), power(low), power(high);
    usable(low, middle, high) = "{middle} (between {low} and {high})";
    held(usable) = "Usable at the start: {usable}.";
    INPUT = "The plan from standard input";
    USABLE_COLUMN = "usable at the start";
    BY_LABEL = "its label";
    smallest(odds: Share, label: AmpHours, usable: Joules) = "{:.0} mAh on its label ({} usable): {}.",
        100.0 * libm::ceil(label.si() * 10.0), energy(usable), chance(odds);
    NO_BANK_IS_ENOUGH = "No bank of this kind, however large, reaches the finish and the reserve.";
    gains(what, time: Seconds) = "{what} {} more.", span(time);
    lead(peak: Amps, drop: Volts, far_end: Volts) = "The lead: {} at its far end under the peak of {}, {} less \
        than at the bank.", volts(far_end), amps(peak), volts(drop);
    UNDERVOLTAGE = "That is below the 4.63 V at which a board flags undervoltage. Take a shorter or thicker lead.";
    fuse(size) = "Its fuse: {size} A.";
    WIRE_TOO_THIN = "No fuse fits this wire and this peak. Take a thicker wire.";
    BANKS = "Banks:";
    SMALLEST = "The smallest bank that would do:";
    CHANGES = "What buys the most time:";
    ASSUMED = "Taken for granted:";
    CAUTIONS = "Take care:";
}

/// When it would end; `beyond`: which of the three lie later than was followed.
#[must_use]
pub fn ends(lasts: [Seconds; 3], beyond: [bool; 3]) -> String {
    let [low, middle, high] = lasts;
    let width = high - low;
    match beyond {
        [false, false, false] => {
            format!("It would end after about {}: {}.", left(middle, width), range(lasts))
        }
        [false, false, true] => format!(
            "It would end after about {}. 1 in 10 it ends before {}, and 1 in 10 later than {}.",
            left(middle, width),
            left(low, width),
            left(high, width)
        ),
        [false, true, _] => format!(
            "It would last longer than {}. 1 in 10 it ends before {}.",
            left(middle, width),
            left(low, width)
        ),
        [true, ..] => format!("It would last longer than {}.", left(low, width)),
    }
}

/// What a bank is known from.
#[must_use]
pub fn known_from(run_downs: u64) -> String {
    match run_downs {
        0 => BY_LABEL.into(),
        1 => "1 run-down".into(),
        many => format!("{many} run-downs"),
    }
}
