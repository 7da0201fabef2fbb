//! What a measured outing says of the parts of its draw: the board at rest with what always hangs on it, its
//! processor, and the transmitter. Plans are made of these parts, so that what was drawn in one mixture of
//! doings says what another would draw.

use alloc::vec::Vec;

use libm::sqrt;

use super::{LoadPrior, Observation, burst_rhythm::BurstRhythm};
use crate::{
    energy_tally::{Regression, RegressionLine},
    record::DrawLevels,
};

/// Readings that are kept: a day of ten-second rows. Beyond that every other one is dropped, again and again.
const MOST: usize = 8192;
/// Readings that are needed before anything is said: a quarter of an hour of ten-second rows.
const FEWEST: usize = 90;
/// Readings in a group whose means are compared: two minutes of ten-second rows, the window in which a mode's
/// rhythm is told.
const GROUP: usize = 12;
/// From group to group no processor moves the draw by this much, W (fit).
const JUMP_W: f64 = 0.35;
/// A step of the draw at rest counts from this on, W, if either heap's deviation is below this part of it, and
/// if either is at least this share of the time (fit).
const STEP_W: f64 = 0.3;
const CLEAR_STEP: f64 = 3.0;
const FEW: f64 = 0.05;
/// Here among all readings nothing is sent: even somebody who calls in every other slot listens for more than
/// half of the time. Of the readings that are not far above that, the draw of a receiving station lies about
/// here: the radio may be off for half of the time.
const SOME_RECEIVING_AT: f64 = 0.3;
const RECEIVING_AT: f64 = 0.75;
/// A radio that comes on adds no more than this times what is printed for receiving.
const RADIO_FROM_OFF: f64 = 1.3;
/// A reading is one of the transmitter from this part of what sending adds (as printed) on, and one without it
/// below that part.
const SENT_FROM: f64 = 0.5;
const NOT_SENT_BELOW: f64 = 0.2;
/// Among readings of the transmitter those in which it was on all the time lie about here: of a carrier of
/// 12.64 s (QEX Jul/Aug 2020) a quarter of the ten-second means are whole.
const WHOLLY_SENT_AT: f64 = 0.85;
/// So many readings of the transmitter are needed.
const FEWEST_SENT: usize = 20;
/// A transmitter is told apart from a busy board only if it adds more than this share of the printed work.
const CLEAR: f64 = 1.5;

/// Collects what is needed for [`DrawLevels`] while an outing is read.
#[derive(Clone, Debug)]
pub struct LevelWatch {
    rhythm: BurstRhythm,
    readings: Vec<Reading>,
    every: u32,
    passed: u32,
}

/// One reading: share of all cores, chance that somebody is there, draw.
#[derive(Clone, Copy, Debug)]
struct Reading {
    busy: f32,
    present: f32,
    watts: f32,
}

impl Default for LevelWatch {
    fn default() -> Self {
        let rhythm = BurstRhythm::new(None, None);
        Self { rhythm, readings: Vec::new(), every: 0, passed: 0 }
    }
}

impl LevelWatch {
    /// Takes one reading; one without watts or without the processor's load tells nothing.
    #[expect(clippy::cast_possible_truncation, reason = "single precision is more than a sensor's")]
    pub fn observe(&mut self, seen: &Observation) {
        self.rhythm.observe(seen.dt_s, seen.cpu_busy);
        let product = seen.volts.zip(seen.amps).map(|(v, a)| v * a);
        let (Some(watts), Some(busy)) = (seen.watts.or(product), seen.cpu_busy) else { return };
        if !(watts.is_finite() && watts >= super::FED_OTHERWISE_W && busy.is_finite()) {
            return;
        }
        self.passed += 1;
        if self.passed <= self.every {
            return;
        }
        self.passed = 0;
        let present = self.rhythm.seen().present as f32;
        self.readings.push(Reading {
            busy: busy.clamp(0.0, 1.0) as f32,
            present,
            watts: watts as f32,
        });
        if self.readings.len() >= MOST {
            let mut nth = 0_u32;
            self.readings.retain(|_| {
                nth += 1;
                nth % 2 == 1
            });
            self.every = 2 * self.every + 1;
        }
    }

    /// The levels, if enough was read.
    #[must_use]
    pub fn levels(&self, load: &LoadPrior) -> Option<DrawLevels> {
        if self.readings.len() < FEWEST {
            return None;
        }
        let mut all: Vec<f64> = self.readings.iter().map(|r| f64::from(r.watts)).collect();
        all.sort_by(f64::total_cmp);
        let adds = sending_adds_w(load);
        let low = quantile(&all, SOME_RECEIVING_AT);
        let radio_w = RADIO_FROM_OFF * load.radio_receive_w.unwrap_or(0.0);
        let above = |adds: f64| (NOT_SENT_BELOW * adds).max(radio_w);
        let quiet = all.partition_point(|w| adds.is_none_or(|adds| *w < low + above(adds)));
        let receiving = quantile(&all[..quiet], RECEIVING_AT);
        let is_sent = |watts: f64| adds.is_some_and(|adds| watts > receiving + SENT_FROM * adds);
        let is_not = |watts: f64| adds.is_none_or(|adds| watts < receiving + NOT_SENT_BELOW * adds);
        let groups: Vec<Group> = self
            .readings
            .chunks(GROUP)
            .filter_map(|all| Group::of(all.iter().filter(|r| is_not(f64::from(r.watts)))))
            .collect();
        if groups.is_empty() {
            return None;
        }
        let work = work_w(&groups, load);
        let slope = work.map_or(0.0, |line| line.slope);
        let mut rests: Vec<f64> = groups.iter().map(|g| g.watts - slope * g.busy).collect();
        rests.sort_by(f64::total_cmp);
        let (rest_w, step) = step(&rests);
        let mean = |of: fn(&Group) -> f64| groups.iter().map(of).sum::<f64>() / groups.len() as f64;
        let quiet_w = mean(|g| g.watts);
        let sent = &all[all.partition_point(|w| !is_sent(*w))..];
        let sending_w =
            (sent.len() >= FEWEST_SENT).then(|| quantile(sent, WHOLLY_SENT_AT) - quiet_w);
        Some(DrawLevels {
            rest_w,
            step,
            present: mean(|g| g.present),
            work_w: work.map(|line| [line.slope, line.slope_se]),
            sending_w: sending_w.filter(|w| *w > 0.0),
        })
    }
}

/// Means over a group of readings in which nothing was sent.
#[derive(Clone, Copy, Debug)]
struct Group {
    busy: f64,
    present: f64,
    watts: f64,
}

impl Group {
    fn of<'a>(all: impl Iterator<Item = &'a Reading>) -> Option<Self> {
        let (mut n, mut sum) = (0.0, [0.0; 3]);
        for r in all {
            n += 1.0;
            for (sum, more) in sum.iter_mut().zip([r.busy, r.present, r.watts]) {
                *sum += f64::from(more);
            }
        }
        let [busy, present, watts] = sum.map(|x| x / n);
        (n >= GROUP as f64 / 3.0).then_some(Self { busy, present, watts })
    }
}

/// What full work adds: from one group to the next, so that a display that comes on or a receiver that is
/// plugged in, which stays for a while, is left out as a jump.
fn work_w(groups: &[Group], load: &LoadPrior) -> Option<RegressionLine> {
    let mut slope = load.full_w.zip(load.idle_w).map_or(3.0, |(full, idle)| full - idle);
    let mut line = None;
    for _ in 0..3 {
        let mut fit = Regression::default();
        for pair in groups.windows(2) {
            let (busy, watts) = (pair[1].busy - pair[0].busy, pair[1].watts - pair[0].watts);
            if (watts - slope * busy).abs() < JUMP_W {
                // Both ways round, so that the line goes through nothing.
                fit.add(busy, watts);
                fit.add(-busy, -watts);
            }
        }
        line = fit.line();
        slope = line?.slope;
    }
    line.filter(|line| line.slope > 0.0)
}

/// The level at rest, and the step above it with the share of the time on it, if the levels fall into two
/// heaps (the threshold of most variance between the two: Otsu, IEEE Trans. SMC 9, 1979).
fn step(sorted_w: &[f64]) -> (f64, Option<[f64; 2]>) {
    let n = sorted_w.len();
    let total: f64 = sorted_w.iter().sum();
    let (mut best, mut at) = (0.0, 0);
    let mut below = 0.0;
    for k in 1..n {
        below += sorted_w[k - 1];
        let (a, b) = (below / k as f64, (total - below) / (n - k) as f64);
        let between = k as f64 * (n - k) as f64 * (b - a) * (b - a);
        if between > best {
            (best, at) = (between, k);
        }
    }
    let (low, high) = sorted_w.split_at(at);
    let share = high.len() as f64 / n as f64;
    let ((low_w, low_sd), (high_w, high_sd)) = (mean_sd(low), mean_sd(high));
    let adds = high_w - low_w;
    let clear = adds > STEP_W && low_sd.max(high_sd) < adds / CLEAR_STEP;
    if clear && (FEW..=1.0 - FEW).contains(&share) {
        (low_w, Some([adds, share]))
    } else {
        (total / n as f64, None)
    }
}

fn mean_sd(all: &[f64]) -> (f64, f64) {
    let n = all.len().max(1) as f64;
    let mean = all.iter().sum::<f64>() / n;
    (mean, sqrt(all.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / n))
}

/// What sending adds to receiving as printed, W, if that is clearly more than a board's own work.
fn sending_adds_w(load: &LoadPrior) -> Option<f64> {
    let adds = load.radio_transmit_w? - load.radio_receive_w.unwrap_or(0.0);
    let work = load.full_w.unwrap_or(0.0) - load.idle_w.unwrap_or(0.0);
    (adds > CLEAR * work).then_some(adds)
}

fn quantile(sorted: &[f64], share: f64) -> f64 {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a place in the list"
    )]
    let at = (share * (sorted.len().saturating_sub(1)) as f64) as usize;
    sorted.get(at).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::DrawLevels;

    /// A 4B: 3.06 W idle, 6.12 W under stress (Raspberry Pi documentation, 5.1 V). A radio of 5 W: 0.25 and 1.60 A at
    /// 13 V (common practice, no source).
    const LOAD: LoadPrior = LoadPrior {
        idle_w: Some(3.06),
        full_w: Some(6.12),
        accessories_w: 0.0,
        radio_receive_w: Some(3.25),
        radio_transmit_w: Some(20.8),
    };

    /// Ten-second means of so many hours: `watts` beside a board whose processor wanders.
    fn levels(hours: u32, load: &LoadPrior, watts: impl Fn(u32) -> f64) -> DrawLevels {
        let mut watch = LevelWatch::default();
        for row in 0..hours * 360 {
            let busy = 0.10 + 0.02 * f64::from(row / 12 % 5) + if row % 97 < 3 { 0.2 } else { 0.0 };
            let seen = Observation {
                dt_s: 10.0,
                watts: Some(3.06 + 3.06 * busy + watts(row)),
                cpu_busy: Some(busy),
                ..Observation::default()
            };
            watch.observe(&seen);
        }
        watch.levels(load).unwrap()
    }

    fn near(got: f64, want: f64, within: f64, what: &str) {
        assert!((got - want).abs() <= within * want, "{what}: got {got}, want {want}");
    }

    #[test]
    fn a_board_alone_is_its_line() {
        let seen = levels(6, &LoadPrior { radio_transmit_w: None, ..LOAD }, |_| 0.0);
        near(seen.rest_w, 3.06, 0.01, "at rest");
        near(seen.work_w.unwrap()[0], 3.06, 0.03, "full work");
        assert_eq!((seen.step, seen.sending_w), (None, None));
    }

    #[test]
    fn a_display_that_is_on_for_a_while_is_a_step_and_no_work() {
        let seen = levels(6, &LOAD, |row| if row / 180 % 3 == 0 { 0.9 } else { 0.0 });
        let [adds_w, share] = seen.step.unwrap();
        near(adds_w, 0.9, 0.03, "the display");
        near(share, 1.0 / 3.0, 0.05, "its share of the time");
        near(seen.rest_w, 3.06, 0.01, "at rest");
        near(seen.work_w.unwrap()[0], 3.06, 0.05, "full work");
    }

    #[test]
    fn a_radio_is_told_apart_by_what_it_sends() {
        // Every other slot of 15 s, 12.64 s of carrier (QEX Jul/Aug 2020), as ten-second means.
        let carrier = |row: u32| {
            let at = |tenth: u32| f64::from(row * 100 + tenth) / 10.0 % 30.0;
            f64::from((0..100_u32).filter(|t| at(*t) < 12.64).map(|_| 1).sum::<u32>()) / 100.0
        };
        let seen = levels(6, &LOAD, |row| 3.25 + 17.55 * carrier(row));
        near(seen.sending_w.unwrap(), 17.55, 0.05, "what sending adds");
        near(seen.rest_w, 3.06 + 3.25, 0.05, "at rest, receiving");
    }

    #[test]
    fn little_or_broken_tells_nothing() {
        let mut watch = LevelWatch::default();
        for k in 0..80 {
            let watts = if k % 2 == 0 { Some(3.0) } else { Some(f64::NAN) };
            watch.observe(&Observation {
                dt_s: 10.0,
                watts,
                cpu_busy: Some(0.1),
                ..Observation::default()
            });
        }
        assert_eq!(watch.levels(&LOAD), None);
        // A week of rows takes no more memory than a day.
        for _ in 0..60_480 {
            watch.observe(&Observation {
                dt_s: 10.0,
                watts: Some(3.0),
                cpu_busy: Some(0.1),
                ..Observation::default()
            });
        }
        assert!(watch.readings.len() <= MOST && watch.readings.capacity() <= 2 * MOST);
        near(watch.levels(&LOAD).unwrap().rest_w, 3.0, 0.01, "an even draw");
    }
}
