//! The day line: the draw so far as a silhouette, what lies ahead as a band that dissolves between
//! the 10 % and the 90 % point, the finish as a flag. Snapshot in, SVG out; pure.
//!
//! Times are given in per cent of the width and heights in `em`, so that the drawing fits any phone
//! while its letters keep their size; only the silhouette is stretched. Colours come from the style
//! sheet by class, since the policy allows no style in the markup.

use std::fmt::Write;

use reckon::{
    forecast::Outlook,
    snapshot::{DrawHistory, Snapshot},
    time::{Mono, Stamp},
    units::Watts,
    words,
};

/// Columns of the silhouette at most: about one for each two dots of a small phone.
const COLUMNS: usize = 150;
/// The silhouette's own coordinates.
const WIDE: f64 = 1000.0;
const HIGH: f64 = 100.0;
/// Lines of letters and the ground, in em from the top.
const GROUND: f64 = 7.2;
const TOP: f64 = 2.7;
/// Hour marks at most.
const MARKS: f64 = 6.0;

/// The drawing's time scale, boot seconds.
struct Scale {
    from_s: f64,
    to_s: f64,
}

impl Scale {
    /// Per cent of the width.
    fn x(&self, at_s: f64) -> f64 {
        ((at_s - self.from_s) / (self.to_s - self.from_s) * 100.0).clamp(0.0, 100.0)
    }
}

/// The day line, or nothing where there is neither past nor future to draw.
pub(crate) fn day_line(snapshot: &Snapshot) -> Option<String> {
    let now_s = snapshot.at.mono.as_s();
    let lasts = match &snapshot.outlook {
        Outlook::Lasts(forecast) => Some(forecast),
        _ => None,
    };
    let ends: Option<[f64; 3]> =
        lasts.map(|it| it.remaining.map(|left| it.made_at.as_s() + left.si().max(0.0)));
    let finish_s = snapshot.finish.map(|it| it.at.as_s());
    let from_s = snapshot.outing_began.as_s().min(now_s);
    let last_s = [ends.map(|it| it[2]), finish_s]
        .into_iter()
        .flatten()
        .fold(now_s + 0.15 * (now_s - from_s).max(600.0), f64::max);
    let scale = Scale { from_s, to_s: last_s + 0.03 * (last_s - from_s) };
    if snapshot.draw_history.mean_w.is_empty() && ends.is_none() {
        return None;
    }

    let mut svg = String::with_capacity(6 * 1024);
    let described = words::day_line(snapshot);
    let _ = write!(
        svg,
        "<svg class=day role=img aria-labelledby=\"day-t day-d\"><title id=day-t>The day line</title><desc id=day-d>{}</desc>",
        escaped(&described)
    );
    silhouette(&mut svg, snapshot, &scale, ends);
    if let Some([_, middle, _]) = ends {
        let x = scale.x(middle);
        let _ = write!(svg, "<line class=half x1={x:.1}% x2={x:.1}% y1=3.4em y2={GROUND}em />");
    }
    for tick in &snapshot.draw_history.ticks {
        let x = scale.x(tick.as_s());
        let _ = write!(svg, "<line class=tick x1={x:.1}% x2={x:.1}% y1={TOP}em y2=3.3em />");
    }
    let _ = write!(svg, "<line class=rule x1=0 x2=100% y1={GROUND}em y2={GROUND}em />");
    hours(&mut svg, snapshot, &scale);
    let x = scale.x(now_s);
    let _ = write!(svg, "<line class=now x1={x:.1}% x2={x:.1}% y1=1.6em y2=7.5em />");
    label(&mut svg, x, 2.5, "now", x > 80.0, 0.4);
    if let (Some(finish_s), Some(finish)) = (finish_s, snapshot.finish) {
        flag(&mut svg, scale.x(finish_s), &words::moment(finish.at, snapshot.at));
    }
    svg.push_str("</svg>");
    Some(svg)
}

pub(crate) fn label(svg: &mut String, x: f64, y_em: f64, text: &str, leftwards: bool, gap_em: f64) {
    let (anchor, gap) = if leftwards { ("end", -gap_em) } else { ("start", gap_em) };
    let _ = write!(
        svg,
        "<text x={x:.1}% y={y_em}em dx={gap}em text-anchor={anchor}>{}</text>",
        escaped(text)
    );
}

fn flag(svg: &mut String, x: f64, text: &str) {
    let leftwards = x > 45.0;
    let cloth = if leftwards { "M0 0h-24l6 6-6 6H0" } else { "M0 0h24l-6 6 6 6H0" };
    let _ = write!(
        svg,
        "<g class=flag><line x1={x:.1}% x2={x:.1}% y1=.1em y2={GROUND}em /><svg x={x:.1}% y=.1em overflow=visible><path d=\"{cloth}z\"/></svg></g>"
    );
    label(svg, x, 0.95, text, leftwards, 2.1);
}

/// Past and future, in stretched coordinates.
fn silhouette(svg: &mut String, snapshot: &Snapshot, scale: &Scale, ends: Option<[f64; 3]>) {
    let trail = &snapshot.draw_history;
    let ahead_w =
        snapshot.draw.lately.or(snapshot.draw.outing).or(snapshot.draw.now).map_or(0.0, Watts::si);
    let highest = whole(&trail.peak_w).chain(whole(&trail.mean_w)).fold(ahead_w, f64::max).max(0.1);
    let y = |watts: f64| HIGH - (watts / highest).clamp(0.0, 1.0) * (HIGH - 4.0);
    let now_s = snapshot.at.mono.as_s();
    let _ = write!(
        svg,
        "<svg y={TOP}em width=100% height={:.1}em viewBox=\"0 0 {WIDE} {HIGH}\" preserveAspectRatio=none>",
        GROUND - TOP
    );
    if let Some([sure_s, _, most_s]) = ends {
        let at = |s: f64| scale.x(s) * WIDE / 100.0;
        let (x0, x1, x2) = (at(now_s), at(sure_s), at(most_s));
        let top = y(ahead_w);
        let _ = write!(
            svg,
            "<defs><linearGradient id=mist><stop offset=0 /><stop offset=1 /></linearGradient></defs>\
             <rect class=ahead x={x0:.0} y={top:.0} width={:.0} height={:.0} />\
             <rect fill=url(#mist) x={x1:.0} y={top:.0} width={:.0} height={:.0} />",
            (x1 - x0).max(0.0),
            HIGH - top,
            (x2 - x1).max(0.0),
            HIGH - top
        );
    }
    let columns = columns(trail, now_s);
    for (class, peaks) in [("peak", true), ("past", false)] {
        let _ = write!(svg, "<path class={class} d=\"");
        path(svg, &columns, peaks, |s| scale.x(s) * WIDE / 100.0, y);
        svg.push_str("\"/>");
    }
    svg.push_str("</svg>");
}

/// A stretch of the past: from, to (boot seconds), mean and peak watts; no watts in a gap.
struct Column {
    from_s: f64,
    to_s: f64,
    watts: Option<(f64, f64)>,
}

/// The watts that are there, and numbers.
fn whole(watts: &[Option<f32>]) -> impl Iterator<Item = f64> {
    watts.iter().flatten().map(|watts| f64::from(*watts)).filter(|watts| watts.is_finite())
}

/// The trail in at most [`COLUMNS`] stretches; peaks stay peaks.
fn columns(trail: &DrawHistory, now_s: f64) -> Vec<Column> {
    let each = trail.mean_w.len().div_ceil(COLUMNS).max(1);
    let step_s = f64::from(trail.step_s.max(1));
    let mut from_s = trail.began.as_s();
    let mut made = Vec::with_capacity(COLUMNS);
    for (ix, means) in trail.mean_w.chunks(each).enumerate() {
        let known: Vec<f64> = whole(means).collect();
        let peaks = whole(trail.peak_w.chunks(each).nth(ix).unwrap_or_default());
        let count = u32::try_from(means.len()).unwrap_or(u32::MAX);
        let to_s = from_s + step_s * f64::from(count);
        let parts = u32::try_from(known.len()).unwrap_or(u32::MAX);
        let watts = (parts > 0).then(|| {
            let mean = known.iter().sum::<f64>() / f64::from(parts);
            (mean, peaks.fold(mean, f64::max))
        });
        made.push(Column { from_s, to_s: to_s.min(now_s).max(from_s), watts });
        from_s = to_s;
    }
    made
}

/// Steps along the columns, down to the ground at gaps.
fn path(
    svg: &mut String,
    columns: &[Column],
    peaks: bool,
    x: impl Fn(f64) -> f64,
    y: impl Fn(f64) -> f64,
) {
    let mut open = false;
    for column in columns {
        match column.watts {
            Some((mean, peak)) => {
                let top = y(if peaks { peak } else { mean });
                if !open {
                    let _ = write!(svg, "M{:.0} {HIGH}", x(column.from_s));
                }
                let _ = write!(svg, "V{top:.0}H{:.0}", x(column.to_s));
                open = true;
            }
            None if open => {
                let _ = write!(svg, "V{HIGH}z");
                open = false;
            }
            None => {}
        }
    }
    if open {
        let _ = write!(svg, "V{HIGH}z");
    }
}

/// Marks on the ground: full hours of the day where it is known, else hours of the outing.
fn hours(svg: &mut String, snapshot: &Snapshot, scale: &Scale) {
    let span_h = (scale.to_s - scale.from_s) / 3600.0;
    let step_h = [0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 12.0, 24.0]
        .into_iter()
        .find(|step| span_h / step <= MARKS)
        .unwrap_or_else(|| (span_h / MARKS / 24.0).ceil() * 24.0);
    let step_s = step_h * 3600.0;
    // Where the marks' zero lies, boot seconds.
    let zero_s = midnight_s(snapshot.at).unwrap_or(scale.from_s);
    let mut mark = ((scale.from_s - zero_s) / step_s).ceil();
    while zero_s + mark * step_s <= scale.to_s {
        let at_s = zero_s + mark * step_s;
        let x = scale.x(at_s);
        let _ = write!(svg, "<line class=rule x1={x:.1}% x2={x:.1}% y1={GROUND}em y2=7.5em />");
        if (3.0..=96.0).contains(&x) {
            let text = words::hour_mark(Mono::at_s(at_s), snapshot, step_h < 1.0);
            let _ = write!(
                svg,
                "<text class=hour x={x:.1}% y=8.5em text-anchor=middle>{}</text>",
                escaped(&text)
            );
        }
        mark += 1.0;
    }
}

/// The last local midnight in boot seconds (before boot is negative), where the clock is believed.
fn midnight_s(at: Stamp) -> Option<f64> {
    const DAY_MS: i64 = 86_400_000;
    let local_ms = at.believed()?.unix_ms().saturating_add(i64::from(at.utc_offset_s) * 1000);
    let into_day_ms = u32::try_from(local_ms.rem_euclid(DAY_MS)).ok()?;
    Some(at.mono.as_s() - f64::from(into_day_ms) / 1000.0)
}

pub(crate) fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
