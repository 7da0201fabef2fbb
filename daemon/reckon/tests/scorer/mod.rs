//! Figures by which forecasts of a remaining time are judged, each as published.
//!
//! Saxena et al., 'Metrics for evaluating performance of prognostic techniques' (PHM 2008) and
//! 'Metrics for offline evaluation of prognostic performance' (IJPHM 1, 2010); Gneiting & Raftery,
//! 'Strictly proper scoring rules, prediction, and estimation' (J. Am. Stat. Assoc. 102, 2007).

/// A forecast: when it was made, and the remaining time at 10 %, 50 %, 90 %. All in one unit.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Said {
    /// When.
    pub(crate) t: f64,
    /// Remaining time.
    pub(crate) left: [f64; 3],
}

/// Relative accuracy of a predicted remaining time.
pub(crate) fn relative_accuracy(said: f64, true_left: f64) -> f64 {
    1.0 - (true_left - said).abs() / true_left
}

/// Cumulative relative accuracy, equal weights.
pub(crate) fn cumulative_accuracy(all: &[(f64, f64)], end: f64) -> f64 {
    let sum: f64 = all.iter().map(|&(t, r)| relative_accuracy(r, end - t)).sum();
    sum / all.len() as f64
}

/// α–λ: is the prediction within ±α of the true remaining time?
pub(crate) fn alpha_lambda(said: f64, true_left: f64, alpha: f64) -> bool {
    ((1.0 - alpha) * true_left..=(1.0 + alpha) * true_left).contains(&said)
}

/// Prognostic horizon: remaining time from which predictions stay within ±α·end for good.
pub(crate) fn horizon(all: &[(f64, f64)], end: f64, alpha: f64) -> f64 {
    let bad = all.iter().rposition(|&(t, r)| (r - (end - t)).abs() > alpha * end);
    let first = bad.map_or(0, |k| k + 1);
    all.get(first).map_or(0.0, |&(t, _)| end - t)
}

/// Convergence: centroid of the absolute error over time, and its distance from the first
/// prediction's place on the axis.
pub(crate) fn convergence(all: &[(f64, f64)], end: f64) -> (f64, f64, f64) {
    let (mut area, mut x, mut y) = (0.0, 0.0, 0.0);
    for two in all.windows(2) {
        let ((t0, r0), (t1, _)) = (two[0], two[1]);
        let m = (r0 - (end - t0)).abs();
        area += (t1 - t0) * m;
        x += 0.5 * (t1 * t1 - t0 * t0) * m;
        y += 0.5 * (t1 - t0) * m * m;
    }
    let (x, y) = (x / area, y / area);
    (x, y, (x - all[0].0).hypot(y))
}

/// CRPS of a normal law.
pub(crate) fn crps_normal(mean: f64, sd: f64, truth: f64) -> f64 {
    let z = (truth - mean) / sd;
    let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let below = 0.5 * libm::erfc(-z / std::f64::consts::SQRT_2);
    sd * (z * (2.0 * below - 1.0) + 2.0 * density - 1.0 / std::f64::consts::PI.sqrt())
}

/// CRPS of an ensemble.
pub(crate) fn crps_ensemble(members: &[f64], truth: f64) -> f64 {
    let n = members.len() as f64;
    let off: f64 = members.iter().map(|x| (x - truth).abs()).sum::<f64>() / n;
    let apart: f64 = members.iter().flat_map(|x| members.iter().map(move |y| (x - y).abs())).sum();
    off - 0.5 * apart / (n * n)
}

/// Interval score of a central interval that holds a share 1 − α.
pub(crate) fn interval_score(low: f64, high: f64, alpha: f64, truth: f64) -> f64 {
    let miss = (low - truth).max(truth - high).max(0.0);
    high - low + 2.0 / alpha * miss
}

/// Pinball loss of three quantiles, mean of 2[q(r−x)+ + (1−q)(x−r)+]: the discrete form of the
/// CRPS.
pub(crate) fn pinball(left: [f64; 3], truth: f64) -> f64 {
    let one =
        |q: f64, x: f64| 2.0 * if truth >= x { q * (truth - x) } else { (1.0 - q) * (x - truth) };
    (one(0.1, left[0]) + one(0.5, left[1]) + one(0.9, left[2])) / 3.0
}

/// Figures of one outing: shares and means over 5 to 95 % of its life.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Figures {
    /// Share of forecasts whose 80 % range held the truth.
    pub(crate) cover: f64,
    /// Share whose 10 % point was later than the truth.
    pub(crate) unsafe_: f64,
    /// Mean width over the true remaining time.
    pub(crate) width: f64,
    /// Pinball loss as a share of life.
    pub(crate) crps: f64,
    /// True remaining time at the first forecast whose 10 % point was within the alarm's.
    pub(crate) alarm: Option<f64>,
}

/// Judges an outing's forecasts.
pub(crate) fn judge(said: &[Said], end: f64, alarm: f64) -> Figures {
    let fired = said.iter().find(|s| s.left[0] <= alarm).map(|s| end - s.t);
    let span: Vec<&Said> = said.iter().filter(|s| (0.05..=0.95).contains(&(s.t / end))).collect();
    let mean = |f: &dyn Fn(&Said, f64) -> f64| {
        span.iter().map(|s| f(s, end - s.t)).sum::<f64>() / span.len() as f64
    };
    Figures {
        cover: mean(&|s, r| f64::from(s.left[0] <= r && r <= s.left[2])),
        unsafe_: mean(&|s, r| f64::from(s.left[0] > r)),
        width: mean(&|s, r| (s.left[2] - s.left[0]) / r),
        crps: mean(&|s, r| pinball(s.left, r) / end),
        alarm: fired,
    }
}

/// Judges what was said of a whole life before it began.
pub(crate) fn judge_plan(left: [f64; 3], end: f64) -> Figures {
    Figures {
        cover: f64::from(left[0] <= end && end <= left[2]),
        unsafe_: f64::from(left[0] > end),
        width: (left[2] - left[0]) / end,
        crps: pinball(left, end) / end,
        alarm: None,
    }
}
