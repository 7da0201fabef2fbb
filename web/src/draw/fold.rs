//! The drawing of a fold: the mean draw over one period of a timed mode. Values in, SVG out; pure.
//!
//! Only the shape is stretched; letters stand outside it, and keep their size.

use std::fmt::Write;

use reckon::{
    fold::{Fold, Kind},
    units::{Seconds, Watts},
    words::{self, day as said},
};

use crate::draw::axis::{self, HIGH, WIDE, scale_of};

/// A fold's curve; leftmost a moment before the key goes down, where it does.
pub(crate) fn fold(ix: usize, fold: &Fold) -> Option<String> {
    let points: Vec<(f64, f64)> = fold.curve.iter().map(|it| (it.phase_s, it.watts)).collect();
    let sends = fold.part(Kind::Transmit);
    let left_s = sends.map_or(0.0, |part| part.begins_s - Seconds::of(fold.slot_s / 15.0).si());
    let drawn = Folded { period_s: fold.period_s, slot_s: fold.slot_s, left_s, points: &points };
    curve(&format!("fold-{ix}"), &drawn)
}

/// A fold, as far as it is drawn.
pub(crate) struct Folded<'a> {
    /// After this the draw repeats, seconds.
    pub(crate) period_s: f64,
    /// One slot of it, seconds.
    pub(crate) slot_s: f64,
    /// The phase that is drawn leftmost, seconds; zero where nothing better is known.
    pub(crate) left_s: f64,
    /// Phase (seconds) and mean draw (watts), in any order.
    pub(crate) points: &'a [(f64, f64)],
}

/// The curve over one period; `None` where there are no points to draw. `id` is the drawing's own
/// on its page.
pub(crate) fn curve(id: &str, fold: &Folded<'_>) -> Option<String> {
    let period_s = fold.period_s;
    let points = closed(fold)?;
    let watts = || points.iter().map(|point| point.1);
    let (low, high) =
        (watts().fold(f64::INFINITY, f64::min), watts().fold(0.0_f64, f64::max).min(1e6));
    let (top_w, step_w) = scale_of(high.max(0.01));
    let x = |s: f64| s / period_s;
    let y = |w: f64| (w / top_w).clamp(0.0, 1.0);
    let described = words::fold::fold_curve(
        Seconds::of(period_s),
        Watts::of(low.clamp(-1e6, 1e6)),
        Watts::of(high),
    );
    let mut svg = axis::open(id, "plot mid", words::fold::ONE_PERIOD, &described);
    let levels = axis::levels(
        &mut svg,
        [step_w, top_w, step_w],
        |w| (1.0 - y(w)) * HIGH,
        |w| words::power(Watts::of(w)),
    );
    let line: Vec<String> = points
        .iter()
        .map(|(s, w)| format!("{:.0} {:.0}", x(*s) * WIDE, (1.0 - y(*w)) * HIGH))
        .collect();
    let line = line.join("L");
    let _ = write!(
        svg,
        "<path class=ahead d=\"M0 {HIGH}L{line}V{HIGH}z\"/><path class=mean d=\"M{line}\"/>"
    );
    let parted = (0.5..period_s * 0.75).contains(&fold.slot_s);
    if parted {
        let _ = write!(svg, "<path class=slot d=\"M{:.0} 0V{HIGH}\"/>", x(fold.slot_s) * WIDE);
    }
    svg.push_str("</svg>");
    svg.push_str(&axis::axis(&marks(period_s)));
    let slot = if parted { said::slot(fold.slot_s) } else { String::new() };
    svg.push_str(&axis::key(&[
        ("k-mean", said::MEAN_DRAW),
        ("", &said::dotted(&[levels])),
        ("k-slot", &slot),
        ("", said::SECONDS_OF_PERIOD),
    ]));
    Some(svg)
}

/// The points from the left edge on, in order. The period closes: the curve enters and leaves at
/// one height.
fn closed(fold: &Folded<'_>) -> Option<Vec<(f64, f64)>> {
    let period_s = fold.period_s;
    if !(0.5..=3600.0).contains(&period_s) || !fold.left_s.is_finite() {
        return None;
    }
    let mut points: Vec<(f64, f64)> = fold
        .points
        .iter()
        .filter(|(phase_s, watts)| phase_s.is_finite() && watts.is_finite())
        .map(|(phase_s, watts)| ((phase_s - fold.left_s).rem_euclid(period_s), *watts))
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (first, last) = (*points.first()?, *points.last()?);
    let gap_s = first.0 + period_s - last.0;
    let seam_w = last.1 + (first.1 - last.1) * ((period_s - last.0) / gap_s.max(1e-9));
    points.insert(0, (0.0, seam_w));
    points.push((period_s, seam_w));
    Some(points)
}

/// Seconds under it.
fn marks(period_s: f64) -> Vec<(f64, String)> {
    const STEPS: [f64; 8] = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 60.0, 300.0];
    let step_s = STEPS.into_iter().find(|step| period_s / step <= 6.0).unwrap_or(900.0);
    let mut all = Vec::new();
    let mut at_s = step_s;
    while at_s < period_s * 0.97 {
        all.push((at_s / period_s * 100.0, words::fold::seconds(at_s)));
        at_s += step_s;
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_period_closes_and_begins_where_it_was_told() {
        let points: Vec<(f64, f64)> = (0..30)
            .map(|k| f64::from(k) / 2.0)
            .map(|s| (s, if s < 5.0 { 8.0 } else { 3.0 }))
            .collect();
        let fold = Folded { period_s: 15.0, slot_s: 15.0, left_s: 12.0, points: &points };
        let svg = curve("f", &fold).unwrap();
        // Low until the phase has come round (3 s of 15), then high for 5 s.
        let line = svg.split("class=mean d=\"M").nth(1).unwrap().split('"').next().unwrap();
        let at: Vec<(f64, f64)> = line
            .split('L')
            .map(|point| point.split_once(' ').unwrap())
            .map(|(x, y)| (x.parse().unwrap(), y.parse().unwrap()))
            .collect();
        assert_eq!((at[0].0, at[at.len() - 1].0), (0.0, 1000.0));
        assert_eq!(at[0].1, at[at.len() - 1].1, "it enters and leaves at one height");
        for (x, y) in at {
            let high = (200.0..533.0).contains(&x);
            assert_eq!(y < 50.0, high, "{x} {y}");
        }
        assert!(svg.contains("The draw over one period of 15"), "{svg}");
        let plot = svg.split("</svg>").next().unwrap();
        assert!(!plot.contains("<text"), "no letter stands in the plot");
        for level in ["2", "4", "6", "8\u{a0}W"] {
            assert!(svg.split("dotted: ").nth(1).unwrap().contains(level), "{svg}");
        }
    }

    #[test]
    fn nothing_to_draw_draws_nothing() {
        let of =
            |period_s, points| curve("f", &Folded { period_s, slot_s: 15.0, left_s: 0.0, points });
        assert_eq!(of(15.0, &[]), None);
        assert_eq!(of(15.0, &[(f64::NAN, 1.0), (1.0, f64::INFINITY)]), None);
        assert_eq!(of(f64::NAN, &[(1.0, 1.0)]), None);
        assert!(of(15.0, &[(1.0, -1e300), (2.0, 1e300)]).is_some());
    }
}
