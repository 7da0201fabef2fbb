//! Readings as the fold takes them.

use alloc::vec::Vec;

/// One reading of a second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beat {
    /// When it was taken, seconds on any steady clock (of the mean: the end of its second).
    pub at_s: f64,
    /// The draw, watts.
    pub watts: f64,
}

/// What one reading stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reads {
    /// The mean over the second before `at_s`. Energies hold.
    SecondMeans,
    /// One look at `at_s`, or a mean that ended somewhat before. A part that lasts a few seconds is
    /// then known to a second only, and what it took just as badly; the length of a transmission
    /// comes from the mode's table.
    Instants,
}

impl Reads {
    /// From the time stamp back to the middle of what the reading stands for, seconds.
    const fn lag_s(self) -> f64 {
        match self {
            Self::SecondMeans => 0.5,
            Self::Instants => 0.0,
        }
    }
}

/// Finite readings in order, stamped with the middle of what they stand for.
pub(super) fn tidy(beats: impl IntoIterator<Item = Beat>, reads: Reads) -> Vec<Beat> {
    let mut last = f64::NEG_INFINITY;
    let in_order = |beat: &Beat| {
        let good = beat.at_s.is_finite()
            && beat.watts.is_finite()
            && beat.at_s.abs() < 1e12
            && beat.watts.abs() < 1e6
            && beat.at_s > last;
        if good {
            last = beat.at_s;
        }
        good
    };
    let lag = reads.lag_s();
    beats
        .into_iter()
        .filter(in_order)
        .map(|beat| Beat { at_s: beat.at_s - lag, watts: beat.watts })
        .collect()
}
