//! Over which time a chip averages under its driver.
//!
//! A short mean looked at once a second, always on the whole second, beats with everything that has
//! its own whole seconds: slots of timed modes, decoders, files that are written every ten seconds. So
//! the look wanders. The driver is not asked for longer means: it does not tell when one ended, which
//! may be as long ago as it lasts, and what goes with what within seconds would be lost.

use std::{path::Path, time::Duration};

use reckon::words;

use crate::{files, root::Root};

/// A mean over so much of the second and more meets all of it, ms.
const LONG_MS: i64 = 800;
/// How far the look wanders over the second where the mean is short: all of it, but for the time
/// that a reading takes.
const OVER_THE_SECOND: Duration = Duration::from_millis(950);

/// A driver's averaging.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Averaging {
    /// Over which time, ms; `None` where the driver does not show it.
    shown_ms: Option<i64>,
}

impl Averaging {
    /// What the driver shows. Source: the kernel's `Documentation/hwmon/ina2xx.rst`.
    pub(super) fn read(root: &Root, home: &Path) -> Self {
        Self { shown_ms: files::number_at(root, &home.join("update_interval")).ok() }
    }

    fn is_long(self) -> bool {
        self.shown_ms.is_some_and(|ms| ms >= LONG_MS)
    }

    /// Over which part of the second the look should wander, so that instants do not beat with what
    /// they look at; `None` where a reading is a mean.
    pub(super) fn wander(self, between_looks: Option<Duration>) -> Option<Duration> {
        (!self.is_long()).then(|| between_looks.unwrap_or(OVER_THE_SECOND))
    }

    /// What there is to say of it.
    pub(super) fn remark(self, one_sample: bool) -> Option<String> {
        match self.shown_ms {
            Some(ms) if self.is_long() => Some(words::sensor::averages_long(&ms)),
            Some(ms) => Some(words::sensor::averages_short(&ms)),
            None if one_sample => None,
            None => Some(words::sensor::AVERAGING_UNKNOWN.into()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_short_mean_is_looked_at_all_over_the_second() {
        let of = |shown_ms| Averaging { shown_ms };
        let every = Some(Duration::from_millis(200));
        for (averaging, between, wander) in [
            (of(Some(35)), None, Some(OVER_THE_SECOND)),
            (of(Some(799)), None, Some(OVER_THE_SECOND)),
            (of(Some(1126)), None, None),
            (of(None), None, Some(OVER_THE_SECOND)),
            (of(None), every, every),
        ] {
            assert_eq!(averaging.wander(between), wander, "{averaging:?}");
        }
        assert!(of(Some(35)).remark(false).unwrap().contains("at another moment of each second"));
        assert_eq!(of(None).remark(true), None, "its model says it");
    }
}
