//! When the forecast is made anew, and what of it is shown in between.

use alloc::vec::Vec;
use core::time::Duration;

use super::possible::{Possible, at};
use crate::{
    forecast::{Forecast, Spread},
    snapshot::{Basis, Possibility, Verdict},
    time::Mono,
    units::{Seconds, Share},
    words::stands_s,
};

/// A forecast is worked out anew after this many seconds.
const ANEW_S: f64 = 5.0;
/// A new one that says nearly the same is shown after this many seconds at the latest.
const SHOW_S: f64 = 120.0;
/// 'Nearly the same': each of the three points within this share, or within 45 s.
const NEARLY: f64 = 0.03;
/// A number that was shown less than a minute ago stands unless the new one is this much off.
const FRESH_S: f64 = 60.0;
const NEARLY_FRESH: f64 = 0.10;
/// Share of outcomes in the deep tail, which warnings look at beside the cautious end.
pub(super) const DEEP: f64 = 0.02;
/// Time without a sweep after which there is no forecast any more.
pub(super) const BLIND_S: f64 = 600.0;

/// The shown forecast and the distribution behind it.
#[derive(Clone, Debug, Default)]
pub(super) struct ShownForecast {
    shown: Option<MadeForecast>,
    looked: Option<Mono>,
}

#[derive(Clone, Debug)]
struct MadeForecast {
    possible: Possible,
    points: [Seconds; 3],
    at: Mono,
    basis: Basis,
}

impl MadeForecast {
    fn new(possible: Possible, at: Mono, basis: Basis) -> Option<Self> {
        Some(Self { points: possible.points()?, at, basis, possible })
    }

    fn left(&self, now: Mono) -> [Seconds; 3] {
        let gone = now.seconds_since(self.at);
        self.points.map(|point| (point - gone).max(Seconds::ZERO))
    }

    /// A number that would be printed one step lower within the next minute is shown so at once: up
    /// to a minute on the cautious side, and no number that goes up and comes straight down again.
    fn steadied(mut self) -> Self {
        let [low, middle, high] = self.points;
        let stands = stands_s(middle, high - low);
        if stands < FRESH_S && middle.si() > 2.0 * FRESH_S {
            let less = Seconds::of(stands + 1.0);
            self.points = self.points.map(|point| (point - less).max(Seconds::ZERO));
        }
        self
    }

    fn nearly(&self, other: &Self, now: Mono) -> bool {
        let fresh = now.seconds_since(self.at).si() < FRESH_S;
        let share = if fresh { NEARLY_FRESH } else { NEARLY };
        self.basis == other.basis
            && self.left(now).iter().zip(other.left(now)).all(|(mine, fresh)| {
                let off = (fresh - *mine).abs().si();
                off <= 45.0 || off <= share * fresh.si()
            })
    }
}

impl ShownForecast {
    /// Whether a new forecast is due.
    pub(super) fn due(&self, now: Mono) -> bool {
        self.looked.is_none_or(|looked| now.seconds_since(looked).si() >= ANEW_S)
    }

    /// The next call of [`ShownForecast::due`] says yes, and what comes then is shown at once.
    pub(super) fn hurry(&mut self) {
        self.looked = None;
    }

    /// Everything is forgotten, for a new outing.
    pub(super) fn forget(&mut self) {
        *self = Self::default();
    }

    /// Takes new distributions. What follows is shown at once where it says something else, and
    /// within two minutes anyway; until then the old one counts down, so that the last digit stands
    /// still.
    pub(super) fn update(&mut self, possible: Possible, now: Mono, basis: Basis) {
        let at_once = self.looked.is_none();
        self.looked = Some(now);
        let Some(made) = MadeForecast::new(possible, now, basis) else { return };
        let hold = !at_once
            && self.shown.as_ref().is_some_and(|old| {
                now.seconds_since(old.at).si() < SHOW_S && old.nearly(&made, now)
            });
        if !hold {
            self.shown = Some(made.steadied());
        }
    }

    /// The forecast as it stands now, counted down since it was made.
    pub(super) fn forecast(&self, now: Mono) -> Option<Forecast> {
        let made = self.shown.as_ref()?;
        // As of now: whoever adds the remaining time to `made_at` gets the same end all along.
        Some(Forecast { remaining: made.left(now), basis: made.basis, made_at: now })
    }

    /// What the bank outlives in 49 of 50 cases, as it stands now.
    pub(super) fn deep(&self, now: Mono) -> Option<Seconds> {
        let made = self.shown.as_ref()?;
        let deep = made.possible.lowest(DEEP)?;
        Some((deep - now.seconds_since(made.at)).max(Seconds::ZERO))
    }

    /// The last forecast as it was made, for somebody who has been blind since.
    pub(super) fn last(&self) -> Option<Forecast> {
        let made = self.shown.as_ref()?;
        Some(Forecast { remaining: made.points, basis: made.basis, made_at: made.at })
    }

    /// Chance that the bank is alive at `at`, given that it is alive now.
    pub(super) fn chance(&self, at: Mono, now: Mono) -> Option<Share> {
        self.chance_of(at, now, false)
    }

    /// The same by the most cautious story that no word has ruled out, however unlikely.
    pub(super) fn wary_chance(&self, at: Mono, now: Mono) -> Option<Share> {
        self.chance_of(at, now, true)
    }

    fn chance_of(&self, at: Mono, now: Mono, all: bool) -> Option<Share> {
        let made = self.shown.as_ref()?;
        let (then, so_far) = (at.seconds_since(made.at), now.seconds_since(made.at));
        let chance = made.possible.chance(then, so_far, all)?;
        Some(if at <= now { Share::WHOLE } else { chance })
    }

    /// What the most cautious story that no word has ruled out, however unlikely, makes of a share.
    pub(super) fn wary(&self, now: Mono, share: f64) -> Option<Seconds> {
        let made = self.shown.as_ref()?;
        let left = made.possible.lowest_of_all(share)? - now.seconds_since(made.at);
        Some(left.max(Seconds::ZERO))
    }

    /// The remaining times behind the forecast, counted down, where there is more than one: those worth
    /// showing, or `all` that no word has ruled out.
    pub(super) fn possibilities(&self, now: Mono, all: bool) -> Vec<Possibility> {
        let Some(made) = &self.shown else { return Vec::new() };
        let gone = now.seconds_since(made.at);
        let left = |span: Option<Seconds>| Some((span? - gone).max(Seconds::ZERO));
        let all: Vec<Possibility> = made
            .possible
            .those(all)
            .filter_map(|one| {
                let point = |share| left(at(&one.spread, share));
                Some(Possibility {
                    story: one.story,
                    weight: Share::nearest(one.weight),
                    remaining: [point(0.1)?, point(0.5)?, point(0.9)?],
                })
            })
            .collect();
        if all.len() > 1 { all } else { Vec::new() }
    }
}

/// 'Enough' from 90 %, 'tight' from 50 %, else 'short'.
pub(super) fn verdict(chance: Share) -> Verdict {
    if chance.part() >= 0.9 {
        Verdict::Enough
    } else if chance.part() >= 0.5 {
        Verdict::Tight
    } else {
        Verdict::Short
    }
}

/// A span in whole seconds, as it stands in an outlook.
pub(super) fn wants(seconds: f64) -> Duration {
    Duration::try_from_secs_f64(libm::ceil(seconds.clamp(0.0, 1e7))).unwrap_or(Duration::ZERO)
}

/// All times of a distribution multiplied by `factor`.
pub(super) fn stretched(spread: &Spread, factor: f64) -> Spread {
    let steps = (1..200).map(|step| f64::from(step) / 200.0);
    Spread::from_points(steps.filter_map(|share| {
        spread.quantile(Share::nearest(share)).map(|at| (at.si() * factor, share))
    }))
}

/// A silence of the sensor, and how wide the forecast was when it began.
#[derive(Clone, Copy, Debug)]
pub(super) struct Silence {
    since: Mono,
    /// From 10 % to 90 %, and the middle, s.
    before: Option<(f64, f64)>,
}

impl Silence {
    pub(super) fn begins(since: Mono, shown: Option<Forecast>) -> Self {
        let before = shown.map(|forecast| {
            let [low, middle, high] = forecast.remaining.map(Seconds::si);
            (high - low, middle)
        });
        Self { since, before }
    }

    /// The forecast in the silence: wider by what cannot be seen, and never narrower than the one
    /// before it was (which shrinks as its time runs off), whatever the estimator still makes of
    /// the readings that it had.
    pub(super) fn doubted(&self, spread: &Spread, now: Mono) -> Spread {
        let silent_s = now.seconds_since(self.since).si();
        let mut log_sd = doubt(silent_s);
        let mut wide = doubted(spread, log_sd);
        let Some((width, middle)) = self.before.filter(|(_, middle)| *middle > 0.0) else {
            return wide;
        };
        // A twentieth more, so that it is seen to be wider.
        let least = 1.05 * width * (1.0 - silent_s / middle).max(0.0);
        while width_of(&wide) < least && log_sd < 1.5 {
            log_sd = log_sd * 1.2 + 0.02;
            wide = doubted(spread, log_sd);
        }
        wide
    }
}

fn width_of(spread: &Spread) -> f64 {
    let at = |share| spread.quantile(Share::nearest(share)).map_or(0.0, Seconds::si);
    at(0.9) - at(0.1)
}

/// How much is added to the deviation of the remaining time's logarithm while the sensor is silent:
/// a twentieth at once, since what changed in that second was not seen, growing within half an
/// hour to what the draw usually wanders in an outing (about 0.15; chosen with the wander of the
/// reference histories in mind, not fitted).
fn doubt(silent_s: f64) -> f64 {
    0.05 + 0.10 * (1.0 - libm::exp(-silent_s.max(0.0) / 1800.0))
}

/// A distribution made wider by an independent log-normal doubt, its middle kept. Deviations add as
/// squares; the normal quantile is taken as 0.5833 times the logit, exact at 10 % and 90 %.
pub(super) fn doubted(spread: &Spread, log_sd: f64) -> Spread {
    let Some(middle) = spread.quantile(Share::nearest(0.5)).filter(|middle| middle.si() > 0.0)
    else {
        return spread.clone();
    };
    let middle = middle.si();
    let steps = (1..200).map(|step| f64::from(step) / 200.0);
    Spread::from_points(steps.filter_map(|share| {
        let at = spread.quantile(Share::nearest(share))?.si().max(middle * 1e-3);
        let own = libm::log(at / middle);
        let more = 0.5833 * libm::log(share / (1.0 - share)) * log_sd;
        let wide = libm::sqrt(own * own + more * more);
        Some((middle * libm::exp(if share < 0.5 { -wide } else { wide }), share))
    }))
}
