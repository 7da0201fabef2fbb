//! Over which time a chip averages under its driver, made longer where we may.
//!
//! A short mean looked at once a second, always on the whole second, beats with everything that has
//! its own whole seconds: slots of timed modes, decoders, files that are written every ten seconds.

use std::{fs::OpenOptions, io::Write as _, path::Path, time::Duration};

use reckon::words;

use crate::{files, root::Root};

/// What is asked for, ms: the driver takes the nearest that the chip has, 1126 ms for an INA226.
/// Source: the kernel's `drivers/hwmon/ina2xx.c` (averages of 1, 4, 16 … times 2.2 ms); readings of
/// it in `tests/fixtures/driver_readings.csv`.
const WANTED_MS: i64 = 1000;
/// A mean over so much of the second and more is as good as over all of it, ms.
const ENOUGH_MS: i64 = 800;
/// How far the look wanders over the second where the mean is short: all of it, but for the time
/// that a reading takes.
const OVER_THE_SECOND: Duration = Duration::from_millis(950);

/// A driver's averaging.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Averaging {
    /// Over which time, ms; `None` where the driver does not show it.
    shown_ms: Option<i64>,
    /// What it was before we asked for more.
    before_ms: Option<i64>,
}

impl Averaging {
    /// What the driver shows, after it was asked for a mean over the second where that is allowed.
    pub(super) fn settle(root: &Root, home: &Path) -> Self {
        let file = home.join("update_interval");
        let shown = |at: &Path| files::number_at(root, at).ok();
        let found_ms = shown(&file);
        let short = found_ms.is_some_and(|ms| ms < ENOUGH_MS);
        if short && ask(&file).is_ok() {
            let now_ms = shown(&file);
            return Self { shown_ms: now_ms, before_ms: found_ms.filter(|_| now_ms != found_ms) };
        }
        Self { shown_ms: found_ms, before_ms: None }
    }

    /// Whether a reading is the mean over the second.
    pub(super) fn is_long(self) -> bool {
        self.shown_ms.is_some_and(|ms| ms >= ENOUGH_MS)
    }

    /// Over which part of the second the look should wander, so that instants do not beat with what
    /// they look at; `None` where a reading is a mean.
    pub(super) fn wander(self, between_looks: Option<Duration>) -> Option<Duration> {
        (!self.is_long()).then(|| between_looks.unwrap_or(OVER_THE_SECOND))
    }

    /// What there is to say of it.
    pub(super) fn remark(self, one_sample: bool) -> Option<String> {
        match (self.shown_ms, self.before_ms) {
            (Some(now), Some(before)) => Some(words::sensor::averaging_set(&now, &before)),
            (Some(ms), None) if self.is_long() => Some(words::sensor::averages_long(&ms)),
            (Some(ms), None) => Some(words::sensor::averages_short(&ms)),
            (None, _) if one_sample => None,
            (None, _) => Some(words::sensor::AVERAGING_UNKNOWN.into()),
        }
    }
}

fn ask(file: &Path) -> std::io::Result<()> {
    let mut open = OpenOptions::new().write(true).truncate(true).open(file)?;
    open.write_all(format!("{WANTED_MS}\n").as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_may_not_be_set_is_looked_at_all_over_the_second() {
        let of = |shown_ms| Averaging { shown_ms, before_ms: None };
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
