//! What an outing's forecasts said against what came: each as the length of the whole outing that it
//! meant. Values in, SVG out; pure.

use std::fmt::Write;

use reckon::{
    record::ForecastMade,
    units::Seconds,
    words::{self, Local, ReportPage, day as said},
};

use crate::draw::axis::{self, HIGH, WIDE};

/// A forecast as the length of the whole outing that it meant, s: made when; 10 %, 50 %, 90 %.
type Meant = [f64; 4];

/// The band from the 10 % to the 90 % point, the middle as a line, and the truth as a level line where
/// it is known; `None` where there are fewer than two.
pub(crate) fn foresight(
    w: &ReportPage,
    forecasts: &[ForecastMade],
    truth_s: Option<f64>,
    lasted_s: f64,
    began: Option<Local>,
) -> Option<String> {
    let meant: Vec<Meant> = forecasts
        .iter()
        .map(|it| {
            let at_s = it.at.as_s();
            let [low, middle, high] = it.remaining_s.map(|left_s| at_s + left_s);
            [at_s, low, middle, high]
        })
        .filter(|it| it.iter().all(|s| (0.0..1e9).contains(s)))
        .collect();
    if meant.len() < 2 {
        return None;
    }
    let truth_s = truth_s.filter(|truth_s| (0.0..1e9).contains(truth_s));
    let span_s = meant.iter().map(|it| it[0]).fold(lasted_s, f64::max).clamp(60.0, 1e9);
    let [low_s, top_s, step_s] = scale(&meant, truth_s);
    let y = |s: f64| HIGH - ((s - low_s) / (top_s - low_s)).clamp(0.0, 1.0) * HIGH;
    let mut svg = axis::open("fore", "plot tall", w.forecasts, words::FORESIGHT);
    let levels = axis::levels(&mut svg, [low_s, top_s, step_s], y, |s| words::span(Seconds::of(s)));
    shapes(&mut svg, &meant, span_s, y);
    if let Some(truth_s) = truth_s {
        let _ = write!(svg, "<path class=truth d=\"M0 {:.1}H{WIDE}\"/>", y(truth_s));
    }
    svg.push_str("</svg>");
    svg.push_str(&axis::hours(span_s, began));
    let dotted = said::dotted(&[levels]);
    svg.push_str(&axis::key(&[
        ("k-band", w.cautious_to_hopeful),
        ("k-mean", w.likely_end),
        ("k-truth", if truth_s.is_some() { w.as_it_came } else { "" }),
        ("", &dotted),
        ("", said::hours(began.is_some())),
    ]));
    Some(svg)
}

/// Band and middle of what the forecasts meant.
fn shapes(svg: &mut String, meant: &[Meant], span_s: f64, y: impl Fn(f64) -> f64) {
    let x = |s: f64| (s / span_s).clamp(0.0, 1.0) * WIDE;
    let point = |it: &Meant, ix: usize| format!("{:.0} {:.0}", x(it[0]), y(it[ix]));
    let along = |ix: usize| meant.iter().map(|it| point(it, ix)).collect::<Vec<_>>().join("L");
    let back: Vec<String> = meant.iter().rev().map(|it| point(it, 1)).collect();
    let _ = write!(
        svg,
        "<path class=band d=\"M{}L{}z\"/><path class=mean d=\"M{}\"/>",
        along(3),
        back.join("L"),
        along(2)
    );
}

/// The lowest and the highest level, and the step between levels, s. The first guesses may be very wide:
/// what lies far from the truth is cut off.
fn scale(meant: &[Meant], truth_s: Option<f64>) -> [f64; 3] {
    const STEPS_H: [f64; 9] = [0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 12.0, 24.0];
    let around_s = truth_s.or_else(|| meant.last().map(|it| it[2])).unwrap_or(3600.0);
    let low_s = meant.iter().map(|it| it[1]).fold(around_s, f64::min).max(0.6 * around_s);
    let high_s = meant.iter().map(|it| it[3]).fold(around_s, f64::max).min(1.5 * around_s);
    let wide_h = (high_s - low_s) / 3600.0;
    let step_h = STEPS_H.into_iter().find(|step_h| wide_h / step_h <= 3.0);
    let step_s = 3600.0 * step_h.unwrap_or_else(|| (wide_h / 3.0 / 24.0).ceil() * 24.0);
    let (low, high) = ((low_s / step_s).floor(), (high_s / step_s).ceil());
    [low * step_s, high.max(low + 1.0) * step_s, step_s]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scale_keeps_to_the_truth_and_its_levels_are_whole_steps() {
        let h = 3600.0;
        // Of 9 h, told as 7 h to 11 h: levels at 6, 8, 10 and 12 h.
        let meant = [[0.0, 7.0 * h, 9.0 * h, 11.0 * h], [h, 8.0 * h, 9.0 * h, 10.0 * h]];
        assert_eq!(scale(&meant, Some(9.0 * h)), [6.0 * h, 12.0 * h, 2.0 * h]);
        // A first guess of 100 h is cut off at one and a half of the truth.
        let wide = [[0.0, 0.0, 50.0 * h, 100.0 * h], meant[1]];
        let [low, high, step] = scale(&wide, Some(9.0 * h));
        assert!(low >= 3.0 * h && high <= 18.0 * h && step >= 2.0 * h, "{low} {high} {step}");
        for level in [low, high] {
            assert!((level / step).fract() < 1e-9);
        }
    }
}
