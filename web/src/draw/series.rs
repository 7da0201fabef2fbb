//! The drawings of a past outing: its draw with the band from the smallest to the largest value,
//! and what its forecasts said against what came. Values in, SVG out; pure.
//!
//! As in the day line, only the shapes are stretched; letters and their places keep their size.

use std::fmt::Write;

use reckon::{
    record::{Channel, Event, EventKind, ForecastMade, Outing, Series, Stats},
    units::{Seconds, Watts},
    words::{self, Local},
};

use crate::draw::day_line::{escaped, label};

/// The shapes' own coordinates.
const WIDE: f64 = 1000.0;
const HIGH: f64 = 200.0;
/// The ground and the top of the shapes, in em from the top.
const TOP: f64 = 1.4;
const GROUND: f64 = 10.4;
/// Marks on the ground at most.
const MARKS: f64 = 6.0;

/// Mean, smallest and largest value of a step.
type Step = Option<[f64; 3]>;

/// The draw of each step: measured where it was, else modelled.
fn steps(series: &Series) -> Vec<Step> {
    let at = |stats: &[Option<Stats>], ix: usize| -> Step {
        let seen = stats.get(ix).copied().flatten().filter(|it| it.mean.is_finite())?;
        let or_mean = |value: f64| if value.is_finite() { value } else { seen.mean };
        Some([seen.mean, or_mean(seen.min).min(seen.mean), or_mean(seen.max).max(seen.mean)])
    };
    let (measured, modelled) = (series.channel(Channel::Watts), series.channel(Channel::Modelled));
    let told = |(ix, t_s): (usize, &f64)| -> Step {
        if !t_s.is_finite() {
            return None;
        }
        at(measured, ix).or_else(|| at(modelled, ix))
    };
    series.t_s.iter().enumerate().map(told).collect()
}

/// The draw over the outing; `None` where nothing was read.
pub(crate) fn draw(
    series: &Series,
    line: &Outing,
    events: &[Event],
    began: Option<Local>,
) -> Option<String> {
    let steps = steps(series);
    let highest = steps.iter().flatten().map(|step| step[2]).fold(0.0_f64, f64::max).max(0.1);
    if steps.iter().all(Option::is_none) || !series.step_s.is_finite() || series.step_s <= 0.0 {
        return None;
    }
    let last_s = series.t_s.last().map_or(0.0, |t_s| t_s + series.step_s);
    // A record may hold anything: some thirty years are the most that is drawn.
    let span_s = last_s.max(line.lasted_s).max(series.step_s).min(1e9);
    let (top_w, step_w) = scale_of(highest);
    let x = |s: f64| (s / span_s * 100.0).clamp(0.0, 100.0);
    let mut svg = String::with_capacity(16 * 1024);
    let described = words::draw_line(
        Seconds::of(line.lasted_s),
        line.mean_power_w.map(Watts::of),
        line.known_peak_w().map(Watts::of),
    );
    open(&mut svg, "draw", "day report", "The draw", &described);
    shapes(&mut svg, series, &steps, span_s, top_w);
    levels(&mut svg, top_w, step_w);
    for event in events.iter().filter(|it| matters(it.kind)) {
        let x = x(event.at.as_s());
        let _ = write!(svg, "<line class=tick x1={x:.1}% x2={x:.1}% y1={TOP}em y2=2.2em />");
    }
    hours(&mut svg, span_s, GROUND, began);
    svg.push_str("</svg>");
    Some(svg)
}

/// Events worth a tick on the drawing.
const fn matters(kind: EventKind) -> bool {
    matches!(
        kind,
        EventKind::Undervoltage | EventKind::Strain | EventKind::Mark | EventKind::AlarmRaised
    )
}

pub(crate) fn open(svg: &mut String, id: &str, class: &str, title: &str, described: &str) {
    let _ = write!(
        svg,
        "<svg class=\"{class}\" role=img aria-labelledby=\"{id}-t {id}-d\"><title id={id}-t>{title}</title><desc id={id}-d>{}</desc>",
        escaped(described)
    );
}

/// The top of the scale and its step, from values people count in.
pub(crate) fn scale_of(highest: f64) -> (f64, f64) {
    const STEPS: [f64; 9] = [0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0];
    let step = STEPS.into_iter().find(|step| highest / step <= 4.0);
    let step = step.unwrap_or_else(|| (highest / 4.0 / 50.0).ceil() * 50.0);
    ((highest / step).ceil().max(1.0) * step, step)
}

/// Level lines with their watts.
fn levels(svg: &mut String, top_w: f64, step_w: f64) {
    let mut level = step_w;
    while level <= top_w * 1.001 {
        let y = GROUND - level / top_w * (GROUND - TOP);
        let _ = write!(svg, "<line class=level x1=0 x2=100% y1={y:.2}em y2={y:.2}em />");
        on_level(svg, y, &words::power(Watts::of(level)));
        level += step_w;
    }
}

/// What a level line means, standing on it, with a rim that parts it from the shapes behind.
pub(crate) fn on_level(svg: &mut String, y_em: f64, text: &str) {
    // Its letters are smaller, and so is their em.
    let y_em = (y_em - 0.2) / 0.85;
    let _ = write!(svg, "<text class=onlevel x=0 y={y_em:.2}em>{}</text>", escaped(text));
}

/// Band and mean, broken where there is a gap.
fn shapes(svg: &mut String, series: &Series, steps: &[Step], span_s: f64, top_w: f64) {
    let x = |s: f64| (s / span_s).clamp(0.0, 1.0) * WIDE;
    let y = |w: f64| HIGH - (w / top_w).clamp(0.0, 1.0) * HIGH;
    let _ = write!(
        svg,
        "<svg y={TOP}em width=100% height={:.1}em viewBox=\"0 0 {WIDE} {HIGH}\" preserveAspectRatio=none>",
        GROUND - TOP
    );
    let (mut band, mut mean) = (String::new(), String::new());
    let mut ix = 0;
    while ix < steps.len() {
        let run = steps[ix..].iter().take_while(|step| step.is_some()).count();
        if run == 0 {
            ix += 1;
            continue;
        }
        let known: Vec<(f64, f64, [f64; 3])> = series.t_s[ix..ix + run]
            .iter()
            .zip(steps[ix..ix + run].iter().flatten())
            .map(|(from_s, step)| (x(*from_s), x(from_s + series.step_s), *step))
            .collect();
        trace(&mut band, &mut mean, &known, y);
        ix += run;
    }
    let _ = write!(
        svg,
        "<path class=band d=\"{band}\"/><path class=mean d=\"{mean}\"/></svg>\
         <line class=rule x1=0 x2=100% y1={GROUND}em y2={GROUND}em />"
    );
}

/// One unbroken stretch: along the tops, back along the bottoms; and the mean.
pub(crate) fn trace(
    band: &mut String,
    mean: &mut String,
    known: &[(f64, f64, [f64; 3])],
    y: impl Fn(f64) -> f64,
) {
    let Some(first) = known.first() else { return };
    let _ = write!(band, "M{:.0} {:.0}", first.0, y(first.2[2]));
    let _ = write!(mean, "M{:.0} {:.0}", first.0, y(first.2[0]));
    for (_, to, [middle, _, high]) in known {
        let _ = write!(band, "V{:.0}H{to:.0}", y(*high));
        let _ = write!(mean, "V{:.0}H{to:.0}", y(*middle));
    }
    for (from, _, [_, low, _]) in known.iter().rev() {
        let _ = write!(band, "V{:.0}H{from:.0}", y(*low));
    }
    band.push('z');
}

/// Marks on the ground: full hours of the day where the wall time is known, else hours of the
/// outing.
pub(crate) fn hours(svg: &mut String, span_s: f64, ground_em: f64, began: Option<Local>) {
    let span_h = span_s / 3600.0;
    let step_h = [0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 12.0, 24.0]
        .into_iter()
        .find(|step| span_h / step <= MARKS)
        .unwrap_or_else(|| (span_h / MARKS / 24.0).ceil() * 24.0);
    let step_s = step_h * 3600.0;
    // Seconds from the outing's beginning to the first mark.
    let first_s = began.map_or(step_s, |began| {
        let local_s =
            (began.wall.unix_ms().div_euclid(1000)).saturating_add(i64::from(began.utc_offset_s));
        let into_day_s = u32::try_from(local_s.rem_euclid(86_400)).map_or(0.0, f64::from);
        step_s - into_day_s % step_s
    });
    let mut at_s = first_s;
    while at_s <= span_s {
        let x = at_s / span_s * 100.0;
        let _ = write!(
            svg,
            "<line class=rule x1={x:.1}% x2={x:.1}% y1={ground_em}em y2={:.1}em />",
            ground_em + 0.3
        );
        if (4.0..=95.0).contains(&x) {
            let text = began.map_or_else(
                || words::span(Seconds::of(at_s)),
                |began| began.plus_s(at_s + 0.5).hour_minute(),
            );
            let _ = write!(
                svg,
                "<text class=hour x={x:.1}% y={:.1}em text-anchor=middle>{}</text>",
                ground_em + 1.4,
                escaped(&text)
            );
        }
        at_s += step_s;
    }
}

/// A forecast as the length of the whole outing that it meant, s: made when; 10 %, 50 %, 90 %.
type Meant = [f64; 4];

/// What the forecasts said, drawn as the length of the whole outing that each meant: the band from
/// its 10 % to its 90 % point, the middle as a line, and the truth as a level line where it is known.
pub(crate) fn foresight(
    forecasts: &[ForecastMade],
    truth_s: Option<f64>,
    lasted_s: f64,
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
    // The first guesses may be very wide: what lies far above the truth is cut off.
    let most_s = meant.iter().map(|it| it[3]).fold(span_s, f64::max);
    let top_s = most_s.min(1.75 * truth_s.unwrap_or(most_s)).max(span_s);
    let (top_h, step_h) = hour_scale(top_s / 3600.0);
    let mut svg = String::with_capacity(8 * 1024);
    open(&mut svg, "fore", "day report", "The forecasts", words::FORESIGHT);
    let _ = write!(
        svg,
        "<svg y={TOP}em width=100% height={:.1}em viewBox=\"0 0 {WIDE} {HIGH}\" preserveAspectRatio=none>",
        GROUND - TOP
    );
    meant_shapes(&mut svg, &meant, span_s, top_h * 3600.0);
    let _ = write!(svg, "</svg><line class=rule x1=0 x2=100% y1={GROUND}em y2={GROUND}em />");
    let y = |s: f64| GROUND - (s / 3600.0 / top_h).clamp(0.0, 1.0) * (GROUND - TOP);
    let mut level_s = step_h * 3600.0;
    while level_s <= top_h * 3603.0 {
        let at = y(level_s);
        let _ = write!(svg, "<line class=level x1=0 x2=100% y1={at:.2}em y2={at:.2}em />");
        // A name that the line of the truth would run through helps nobody.
        if truth_s.is_none_or(|truth_s| (y(truth_s) - at).abs() > 0.9) {
            on_level(&mut svg, at, &words::span(Seconds::of(level_s)));
        }
        level_s += step_h * 3600.0;
    }
    if let Some(truth_s) = truth_s {
        let at = y(truth_s);
        let _ = write!(svg, "<line class=truth x1=0 x2=100% y1={at:.2}em y2={at:.2}em />");
        label(&mut svg, 100.0, at - 0.3, "as it came", true, 0.0);
    }
    hours(&mut svg, span_s, GROUND, None);
    svg.push_str("</svg>");
    Some(svg)
}

/// Band and middle of what the forecasts meant.
fn meant_shapes(svg: &mut String, meant: &[Meant], span_s: f64, top_s: f64) {
    let x = |s: f64| (s / span_s).clamp(0.0, 1.0) * WIDE;
    let y = |s: f64| HIGH - (s / top_s).clamp(0.0, 1.0) * HIGH;
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

fn hour_scale(highest_h: f64) -> (f64, f64) {
    const STEPS: [f64; 9] = [0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 12.0, 24.0];
    let step = STEPS.into_iter().find(|step| highest_h / step <= 5.0);
    let step = step.unwrap_or_else(|| (highest_h / 4.0 / 24.0).ceil().max(1.0) * 24.0);
    ((highest_h / step).ceil().max(1.0) * step, step)
}
