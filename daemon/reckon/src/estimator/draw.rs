//! The draw as a process: a level that the outing keeps, a slow and a fast wandering about it, and
//! now and then a new level.
//!
//! Works on logarithms of five-minute means. Four Kalman filters with the same level but a quiet,
//! an ordinary, a lively and a wild wandering run side by side (Magill 1965); how well each
//! foretold the readings says how far to believe it, so an idle board gets a narrow range and a
//! busy station a wide one, within an hour and without being told.

use libm::{exp, log, sqrt};

use super::maths::{Wandering, mean_fade};

/// Length of one mean, s.
pub(super) const BUCKET_S: f64 = 300.0;
/// Least part of a mean that is looked at before it is complete, s.
const GLANCE_S: f64 = 20.0;

const MODELS: usize = 4;
/// Deviation of the slow and of the fast wandering (ln) and the time constant of the fast one, h:
/// quiet, ordinary, lively; and one for loads that jump every few minutes.
const TEMPERS: [(f64, f64, f64); MODELS] =
    [(0.02, 0.015, 0.1), (0.05, 0.20, 0.1), (0.18, 0.30, 0.1), (0.10, 0.80, 0.03)];
/// Time constant of the slow wandering, h.
const SLOW_H: f64 = 1.0;
/// Deviation of a complete mean from the process (ln).
const READING: f64 = 0.02;
/// Deviation of the draw within a mean (ln) and the part of a mean over which it holds on: what an
/// incomplete mean may still change.
const WITHIN: (f64, f64) = (0.5, 0.1);
/// Variance that the level gains an hour.
const CREEP: f64 = 0.0003;
/// Variance of the future mean that no model explains.
const UNTOLD: f64 = 0.0004;
/// Degrees of freedom with which a reading judges the models: one jump does not decide.
pub(super) const JUDGE: f64 = 4.0;
/// What a model's past merits are worth one mean later.
pub(super) const MEMORY: f64 = 0.96;
/// Means that are compared for a change of regime: half an hour.
const HALF_HOUR: u8 = 6;
/// A change of regime is two half hours that differ by this much (ln), and how softly (fit).
const DIFFERS: (f64, f64) = (0.12, 0.02);
/// Weight of what is usual, in changes seen (fit).
const CHANGES_USUAL: f64 = 2.0;
/// Degrees of freedom of what is printed: a board that draws otherwise is believed, not averaged.
const PRINTED_TAIL: f64 = 1.0;

/// What is usual for this bank's outings before this one shows its own level.
#[derive(Clone, Copy, Debug)]
pub(super) struct DrawPrior {
    /// ln W, mean over the bank's outings.
    pub(super) log_w: f64,
    /// What is unknown of that mean (variance).
    pub(super) var: f64,
    /// Deviation of one outing's level from that mean (ln).
    pub(super) between: f64,
    /// Deviation of a new level after a change of regime from that mean (ln).
    pub(super) change_sd: f64,
    /// Mean time between such changes, h.
    pub(super) change_h: f64,
    /// Whether it is nothing but a board's printed figures, which may simply not be this board's.
    pub(super) printed: bool,
}

impl DrawPrior {
    /// Deviation of an outing's level (variance).
    const fn before(&self) -> f64 {
        self.var + self.between * self.between
    }

    /// How much wider what is printed is taken than it says, when it is off by so many deviations
    /// (squared): Student's law as a scale mixture.
    fn wider(&self, off2: f64) -> f64 {
        if self.printed { ((PRINTED_TAIL + off2) / (PRINTED_TAIL + 1.0)).max(1.0) } else { 1.0 }
    }
}

/// One part of a mixture: weight, mean, deviation.
pub(super) type Part = (f64, f64, f64);

/// ln of the mean draw over a span ahead, as a mixture.
pub(super) type Future = [Part; 3];

/// One filter: level, slow and fast wandering.
#[derive(Clone, Copy, Debug)]
struct Track {
    x: [f64; 3],
    p: [[f64; 3]; 3],
    slow: f64,
    fast: f64,
    /// Time constant of the fast wandering, h.
    fast_h: f64,
    log_merit: f64,
}

/// Half hours of this outing, side by side: how often its regime changes.
#[derive(Clone, Copy, Debug, Default)]
struct Regimes {
    /// Open half hour: sum of its means, W, and their number.
    open_w: f64,
    open: u8,
    /// ln W of the half hour before.
    before: Option<f64>,
    changes: f64,
    watched_h: f64,
}

impl Regimes {
    /// Takes a complete mean; a half hour with a hole in it is compared with nothing.
    fn observe(&mut self, mean_w: Option<f64>) {
        let Some(mean_w) = mean_w else {
            (self.open_w, self.open, self.before) = (0.0, 0, None);
            return;
        };
        self.open_w += mean_w;
        self.open += 1;
        if self.open < HALF_HOUR {
            return;
        }
        let now = log((self.open_w / f64::from(HALF_HOUR)).max(1e-3));
        if let Some(before) = self.before.replace(now) {
            let beyond = ((now - before).abs() - DIFFERS.0) / DIFFERS.1;
            self.changes += 1.0 / (1.0 + exp(-beyond));
            self.watched_h += f64::from(HALF_HOUR) * BUCKET_S / 3600.0;
        }
        (self.open_w, self.open) = (0.0, 0);
    }

    /// Changes an hour: what is usual, and what was seen (a Poisson rate with a gamma prior).
    fn rate(&self, usual_h: f64) -> f64 {
        (CHANGES_USUAL + self.changes) / (CHANGES_USUAL * usual_h + self.watched_h)
    }
}

/// The draw of one outing.
#[derive(Clone, Debug)]
pub(super) struct Draw {
    usual: DrawPrior,
    regimes: Regimes,
    tracks: [Track; MODELS],
    sum_ws: f64,
    sum_s: f64,
    clock_s: f64,
    buckets: u32,
}

impl Draw {
    pub(super) fn new(usual: DrawPrior) -> Self {
        let tracks = TEMPERS.map(|(slow, fast, fast_h)| {
            let mut p = [[0.0; 3]; 3];
            p[0][0] = usual.before();
            p[1][1] = slow * slow;
            p[2][2] = fast * fast;
            Track { x: [usual.log_w, 0.0, 0.0], p, slow, fast, fast_h, log_merit: 0.0 }
        });
        let regimes = Regimes::default();
        Self { usual, regimes, tracks, sum_ws: 0.0, sum_s: 0.0, clock_s: 0.0, buckets: 0 }
    }

    /// Takes `dt` seconds at `watts` (`None` in a gap).
    pub(super) fn observe(&mut self, dt: f64, watts: Option<f64>) {
        if let Some(w) = watts {
            self.sum_ws += w * dt;
            self.sum_s += dt;
        }
        self.clock_s += dt;
        if self.clock_s >= BUCKET_S {
            self.tracks = self.now();
            self.buckets += u32::from(self.sum_s > 0.0);
            self.regimes.observe((self.sum_s > 0.0).then(|| self.sum_ws / self.sum_s));
            self.sum_ws = 0.0;
            self.sum_s = 0.0;
            self.clock_s = 0.0;
        }
    }

    /// The filters as of now, the open mean included.
    fn now(&self) -> [Track; MODELS] {
        let mut tracks = self.tracks;
        if self.clock_s < BUCKET_S && self.sum_s <= GLANCE_S {
            return tracks;
        }
        let part = (self.sum_s / BUCKET_S).min(1.0);
        let mean = log((self.sum_ws / self.sum_s.max(1.0)).max(1e-3));
        let open = WITHIN.0 * WITHIN.0 * (1.0 - part) * (WITHIN.1 / part.max(1e-3)).min(1.0);
        let mut best = f64::NEG_INFINITY;
        for t in &mut tracks {
            t.predict(self.clock_s / 3600.0);
            if self.sum_s > 0.0 {
                let noise = READING * READING + open;
                if self.buckets == 0 {
                    t.p[0][0] *= self.usual.wider(t.surprise(mean, noise));
                }
                t.update(mean, noise);
            }
            best = best.max(t.log_merit);
        }
        for t in &mut tracks {
            t.log_merit -= best;
        }
        tracks
    }

    /// The draw seen from now.
    pub(super) fn ahead(&self) -> Ahead {
        let tracks = self.now();
        let w = tracks.map(|t| exp(t.log_merit));
        let total: f64 = w.iter().sum();
        let rate = self.regimes.rate(self.usual.change_h);
        Ahead { usual: self.usual, rate, tracks, weights: w.map(|x| x / total) }
    }

    /// What to bridge a gap with: the draw as believed at the last complete mean, W.
    pub(super) fn bridge_w(&self) -> f64 {
        mixed_w(&self.tracks)
    }
}

fn mixed_w(tracks: &[Track; MODELS]) -> f64 {
    let (mut sum, mut total) = (0.0, 0.0);
    for t in tracks {
        let w = exp(t.log_merit);
        sum += w * (t.x[0] + t.x[1] + t.x[2]);
        total += w;
    }
    exp(sum / total)
}

/// The draw seen from now.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ahead {
    usual: DrawPrior,
    /// Changes of regime an hour.
    rate: f64,
    tracks: [Track; MODELS],
    weights: [f64; MODELS],
}

/// The present regime over a span: ln of its mean draw with the variance of that, and its level
/// with the variance of that.
struct Present {
    mean: f64,
    var: f64,
    level: f64,
    level_var: f64,
}

impl Ahead {
    /// ln of the mean draw over `h` hours from now.
    ///
    /// A change of regime comes with chance 1 − exp(−λ), λ = h × rate. It leaves [`kept`] of the span
    /// to the present regime on average; half and one and a half times that stand for the spread. The
    /// watts before and after are averaged, not their logarithms.
    pub(super) fn over(&self, h: f64) -> Future {
        let present = self.present(h);
        let lambda = h * self.rate;
        let (none, fade) = (exp(-lambda), mean_fade(lambda));
        let (new, new_var) = self.changed(&present, fade);
        let chance = 1.0 - none;
        let kept = kept(lambda);
        let ratio = exp(new - present.level);
        let after = |late: f64| {
            let mix = late + (1.0 - late) * ratio;
            let of_new = (1.0 - late) * ratio / mix;
            let var = present.var + of_new * of_new * new_var;
            (0.5 * chance, present.mean + log(mix), sqrt(var))
        };
        [(none, present.mean, sqrt(present.var)), after(0.5 * kept), after(1.5 * kept)]
    }

    /// The mean over `h` hours without a change. A wandering that fades with time constant τ still
    /// has (1 − e⁻ˣ)/x of its present value in the mean over x = h/τ; half of its variance within
    /// the span is what the mean of the watts lies above the mean of their logarithms.
    fn present(&self, h: f64) -> Present {
        let (mut mean, mut square, mut level, mut level_var) = (0.0, 0.0, 0.0, 0.0);
        let slow = Wandering::over(h / SLOW_H);
        // Worked out afresh only where the time constant is another.
        let (mut fast_h, mut fast) = (SLOW_H, slow);
        for (t, w) in self.tracks.iter().zip(self.weights) {
            if t.fast_h != fast_h {
                (fast_h, fast) = (t.fast_h, Wandering::over(h / t.fast_h));
            }
            let g = [1.0, slow.fade, fast.fade];
            let (slow2, fast2) = (t.slow * t.slow, t.fast * t.fast);
            let m: f64 = (0..3).map(|i| g[i] * t.x[i]).sum::<f64>()
                + 0.5 * (slow2 * slow.within + fast2 * fast.within);
            let mut var = slow2 * slow.spread + fast2 * fast.spread;
            for i in 0..3 {
                for j in 0..3 {
                    var += g[i] * t.p[i][j] * g[j];
                }
            }
            mean += w * m;
            square += w * (var + m * m);
            level += w * t.x[0];
            level_var += w * t.p[0][0];
        }
        let var = (square - mean * mean).max(1e-6) + UNTOLD;
        Present { mean, var, level, level_var }
    }

    /// The level after a change, with its variance: drawn from what is usual, of which the present
    /// regime is one more reading as far as its own level is known. Several changes average out:
    /// `fade` of the variance is left, and half of the rest lifts the mean of the watts.
    fn changed(&self, present: &Present, fade: f64) -> (f64, f64) {
        let usual = &self.usual;
        let change2 = usual.change_sd * usual.change_sd;
        let known = (1.0 - present.level_var / usual.before()).max(0.0);
        let off = present.level - usual.log_w;
        let var = usual.var * usual.wider(known * off * off / usual.before());
        let tells = known * var / (var + usual.between * usual.between + change2);
        let new = usual.log_w + tells * off + 0.5 * change2 * (1.0 - fade);
        (new, change2 * fade + var * (1.0 - tells))
    }

    /// The mean draw over `h` hours as one number, W.
    pub(super) fn mean_w(&self, h: f64) -> f64 {
        self.over(h).iter().map(|p| p.0 * exp(p.1)).sum::<f64>().max(1e-3)
    }
}

/// Share of a span that lies before the first of the changes in it, on average, if there is any and
/// λ are expected: half where they are rare, 1/λ where they are many.
fn kept(lambda: f64) -> f64 {
    let none = exp(-lambda);
    if lambda < 1e-6 { 0.5 } else { (mean_fade(lambda) - none) / (1.0 - none) }
}

impl Track {
    /// How far a mean lies from what was foretold, in deviations, squared.
    fn surprise(&self, y: f64, noise: f64) -> f64 {
        let r = y - self.x.iter().sum::<f64>();
        r * r / (self.p.iter().flatten().sum::<f64>() + noise)
    }

    fn predict(&mut self, h: f64) {
        let a = [1.0, exp(-h / SLOW_H), exp(-h / self.fast_h)];
        for i in 0..3 {
            self.x[i] *= a[i];
            for j in 0..3 {
                self.p[i][j] *= a[i] * a[j];
            }
        }
        self.p[0][0] += CREEP * h;
        self.p[1][1] += self.slow * self.slow * (1.0 - a[1] * a[1]);
        self.p[2][2] += self.fast * self.fast * (1.0 - a[2] * a[2]);
    }

    fn update(&mut self, y: f64, noise: f64) {
        let c: [f64; 3] = core::array::from_fn(|i| self.p[i].iter().sum());
        let s = c.iter().sum::<f64>() + noise;
        let r = y - self.x.iter().sum::<f64>();
        self.log_merit = MEMORY * self.log_merit
            - 0.5 * log(s)
            - 0.5 * (JUDGE + 1.0) * log(1.0 + r * r / (s * JUDGE));
        for i in 0..3 {
            self.x[i] += c[i] * r / s;
            for j in 0..3 {
                self.p[i][j] -= c[i] * c[j] / s;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const USUAL: DrawPrior = DrawPrior {
        log_w: 1.0,
        var: 0.03,
        between: 0.14,
        change_sd: 0.3,
        change_h: 8.0,
        printed: false,
    };

    fn after(half_hours_w: &[f64]) -> Draw {
        let mut draw = Draw::new(USUAL);
        for watts in half_hours_w {
            for _ in 0..180 {
                draw.observe(10.0, Some(*watts));
            }
        }
        draw
    }

    /// Rate of events with a gamma prior (Gelman et al., Bayesian Data Analysis, 2.6): Gamma(2, 16 h)
    /// and seven events in 3.5 h have the mean 9 / 19.5 h; none in 3.5 h 2 / 19.5 h.
    #[test]
    fn how_often_the_regime_changes_is_learned() {
        let restless = after(&[2.0, 4.0, 2.0, 4.0, 2.0, 4.0, 2.0, 4.0]).ahead().rate;
        assert!((restless - 9.0 / 19.5).abs() < 1e-3, "{restless}");
        let even = after(&[3.0; 8]).ahead().rate;
        assert!((even - 2.0 / 19.5).abs() < 1e-3, "{even}");
    }

    /// Against the exponential law of the first change itself, summed up.
    #[test]
    fn what_a_change_leaves_of_the_span() {
        for lambda in [0.01, 0.5, 2.0, 8.0] {
            let (mut sum, mut weight) = (0.0, 0.0);
            for k in 0..100_000 {
                let at = (f64::from(k) + 0.5) / 100_000.0;
                sum += at * exp(-lambda * at);
                weight += exp(-lambda * at);
            }
            assert!((kept(lambda) - sum / weight).abs() < 1e-5, "{lambda}");
        }
        assert!((kept(1e-9) - 0.5).abs() < 1e-6);
    }

    /// Watts are averaged: what is half at 2 W and half at 8 W is 5 W in the mean, not 4 W; and with
    /// changes without number the mean draw is that of the law they are drawn from, e^(μ + σ²/2) for a
    /// log-normal one (any text on it), with nothing left of its scatter.
    #[test]
    fn watts_are_averaged_over_changes() {
        let present = Present { mean: log(2.0), var: 1e-4, level: log(2.0), level_var: 1e-4 };
        let mut ahead = after(&[2.0; 6]).ahead();
        ahead.usual = DrawPrior { log_w: log(8.0), var: 0.0, ..USUAL };
        let (new, var) = ahead.changed(&present, 1.0);
        assert!((exp(new) - 8.0).abs() < 1e-9 && (sqrt(var) - 0.3).abs() < 1e-9, "{new} {var}");
        let (new, var) = ahead.changed(&present, 0.0);
        assert!((new - (log(8.0) + 0.045)).abs() < 1e-9 && var < 1e-9, "{new} {var}");
        // One change for certain, somewhere in the span: a quarter or three quarters at 2 W.
        ahead.rate = 1e-3;
        let future = ahead.over(1.0);
        for ((_, m, _), want) in
            future[1..].iter().zip([0.25, 0.75].map(|s| 2.0 * s + 8.0 * (1.0 - s)))
        {
            assert!((exp(*m) / want - 1.0).abs() < 0.02, "{} {want}", exp(*m));
        }
    }
}
