//! The day line: the draw so far as a silhouette, what lies ahead as a band that dissolves between
//! the 10 % and the 90 % point, the finish as a flag. Snapshot in, SVG out; pure.
//!
//! Times are given in per cent of the width and heights in per cent of the plot, which fills the box that
//! the page gives it; letters stand above and below the plot, outside it, and keep their size. Colours come
//! from the style sheet by class, since the policy allows no style in the markup.

use std::fmt::Write;

use reckon::{
    forecast::Outlook,
    snapshot::{DrawHistory, Snapshot},
    time::{Mono, Stamp},
    units::Watts,
    words,
};

use crate::draw::labels::{CLOTH_EM, GAP_EM, NARROWEST_EM, Side, bold_em, sides};

/// Columns of the silhouette at most: about one for each two dots of a small phone.
const COLUMNS: usize = 150;
/// The silhouette's own coordinates.
pub(super) const WIDE: f64 = 1000.0;
pub(super) const HIGH: f64 = 100.0;
/// What may end dissolves.
pub(super) const MIST: &str =
    "<defs><linearGradient id=mist><stop offset=0 /><stop offset=1 /></linearGradient></defs>";
pub(super) const GROUND: &str = "<line class=ground x1=0 x2=100% y1=100% y2=100% />";
/// Hour marks at most.
const MARKS: f64 = 6.0;

/// The drawing's time scale, boot seconds.
pub(super) struct Scale {
    pub(super) from_s: f64,
    pub(super) to_s: f64,
}

impl Scale {
    /// Per cent of the width.
    pub(super) fn x(&self, at_s: f64) -> f64 {
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

    let mut svg = opened(&words::day_line(snapshot));
    silhouette(&mut svg, snapshot, &scale, ends);
    if let Some([_, middle, _]) = ends {
        upright(&mut svg, "half", scale.x(middle), "15%");
    }
    for tick in &snapshot.draw_history.ticks {
        let x = scale.x(tick.as_s());
        let _ = write!(svg, "<line class=tick x1={x:.1}% x2={x:.1}% y1=-.5em y2=-.1em />");
    }
    svg.push_str(GROUND);
    signs(&mut svg, snapshot, &scale);
    svg.push_str("</g></svg>");
    legend(&mut svg, snapshot, ends.is_some());
    Some(svg)
}

/// Its beginning. What is drawn is said in words: its letters are not to be read out one by one.
pub(super) fn opened(described: &str) -> String {
    let mut svg = String::with_capacity(6 * 1024);
    let _ = write!(
        svg,
        "<svg class=line role=img aria-labelledby=\"day-t day-d\"><title id=day-t>{}</title><desc id=day-d>{}</desc><g aria-hidden=true>",
        words::drawing::TITLE,
        escaped(described)
    );
    svg
}

/// A line from so high down to the ground.
pub(super) fn upright(svg: &mut String, class: &str, x: f64, from: &str) {
    let _ = write!(svg, "<line class={class} x1={x:.1}% x2={x:.1}% y1={from} y2=100% />");
}

/// The lines of now and of the finish with their words, and the hours under the ground.
fn signs(svg: &mut String, snapshot: &Snapshot, scale: &Scale) {
    let now = (scale.x(snapshot.at.mono.as_s()), bold_em(words::drawing::NOW) + GAP_EM);
    let finish = snapshot.finish.map(|it| {
        let text = words::hour_mark(it.at, snapshot, true);
        (scale.x(it.at.as_s()), text)
    });
    let reach = finish.as_ref().map(|(x, text)| (*x, CLOTH_EM + bold_em(text)));
    let (now_side, finish_side) = sides(now, reach);
    let under = now_side == Side::Under;
    upright(svg, "now", now.0, if under { "0" } else { "-1.78em" });
    if !under {
        label(svg, now.0, -0.85, words::drawing::NOW, now_side == Side::Left, GAP_EM);
    }
    if let Some((x, text)) = &finish {
        flag(svg, *x, text, finish_side == Side::Left);
    }
    svg.push_str("<svg y=100% overflow=visible>");
    if under {
        let x = now.0.clamp(7.0, 93.0);
        let _ = write!(
            svg,
            "<text x={x:.1}% y=1.2em text-anchor=middle>{}</text>",
            words::drawing::NOW
        );
    }
    let _ = write!(svg, "<line class=now x1={0:.1}% x2={0:.1}% y1=0 y2=3 />", now.0);
    let zero_s = midnight_s(snapshot.at).unwrap_or(scale.from_s);
    let say = |at_s, with_minutes| words::hour_mark(Mono::at_s(at_s), snapshot, with_minutes);
    hours(svg, scale, zero_s, under.then_some(now.0), say);
    svg.push_str("</svg>");
}

/// What each shape means, as far as it is drawn.
fn legend(svg: &mut String, snapshot: &Snapshot, ahead: bool) {
    let drawn = !snapshot.draw_history.mean_w.is_empty();
    let event = !snapshot.draw_history.ticks.is_empty();
    key(svg, [drawn, ahead, event]);
}

/// The legend: what was drawn, what is ahead, and events.
pub(super) fn key(svg: &mut String, [drawn, ahead, event]: [bool; 3]) {
    svg.push_str("<p class=legend aria-hidden=true>");
    for (class, is_there, text) in [
        ("drawn", drawn, words::drawing::DRAWN),
        ("safe", ahead, words::drawing::SAFE),
        ("may", ahead, words::drawing::MAY_END),
        ("likely", ahead, words::drawing::LIKELY),
        ("event", event, words::drawing::EVENT),
    ] {
        if is_there {
            let _ = write!(svg, "<span><i class={class}></i>{text}</span> ");
        }
    }
    svg.push_str("</p>");
}

fn label(svg: &mut String, x: f64, y_em: f64, text: &str, leftwards: bool, gap_em: f64) {
    let (anchor, gap) = if leftwards { ("end", -gap_em) } else { ("start", gap_em) };
    let _ = write!(
        svg,
        "<text x={x:.1}% y={y_em}em dx={gap}em text-anchor={anchor}>{}</text>",
        escaped(text)
    );
}

pub(super) fn flag(svg: &mut String, x: f64, text: &str, leftwards: bool) {
    let cloth = if leftwards { "M0 0h-24l6 6-6 6H0" } else { "M0 0h24l-6 6 6 6H0" };
    svg.push_str("<g class=flag>");
    upright(svg, "pole", x, "-1.78em");
    let _ =
        write!(svg, "<svg x={x:.1}% y=-1.78em overflow=visible><path d=\"{cloth}z\"/></svg></g>");
    label(svg, x, -0.85, text, leftwards, CLOTH_EM);
}

/// Stretched coordinates, up to the end of this element.
pub(super) fn stretched(svg: &mut String) {
    let _ = write!(
        svg,
        "<svg width=100% height=100% viewBox=\"0 0 {WIDE} {HIGH}\" preserveAspectRatio=none>"
    );
}

/// Past and future, in stretched coordinates.
fn silhouette(svg: &mut String, snapshot: &Snapshot, scale: &Scale, ends: Option<[f64; 3]>) {
    let trail = &snapshot.draw_history;
    let ahead_w =
        snapshot.draw.lately.or(snapshot.draw.outing).or(snapshot.draw.now).map_or(0.0, Watts::si);
    let highest = whole(&trail.peak_w).chain(whole(&trail.mean_w)).fold(ahead_w, f64::max).max(0.1);
    let y = |watts: f64| HIGH - (watts / highest).clamp(0.0, 1.0) * (HIGH - 4.0);
    let now_s = snapshot.at.mono.as_s();
    stretched(svg);
    if let Some([sure_s, _, most_s]) = ends {
        let at = |s: f64| scale.x(s) * WIDE / 100.0;
        let (x0, x1, x2) = (at(now_s), at(sure_s), at(most_s));
        let top = y(ahead_w);
        let _ = write!(
            svg,
            "{MIST}<rect class=ahead x={x0:.0} y={top:.0} width={:.0} height={:.0} />\
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

/// Marks on the ground: full hours from `zero_s` on, which is a midnight where the time of day is known; none
/// where 'now' stands among them.
pub(super) fn hours(
    svg: &mut String,
    scale: &Scale,
    zero_s: f64,
    now: Option<f64>,
    say: impl Fn(f64, bool) -> String,
) {
    let span_h = (scale.to_s - scale.from_s) / 3600.0;
    let step_h = [0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 12.0, 24.0]
        .into_iter()
        .find(|step| span_h / step <= MARKS)
        .unwrap_or_else(|| (span_h / MARKS / 24.0).ceil() * 24.0);
    let step_s = step_h * 3600.0;
    let mut mark = ((scale.from_s - zero_s) / step_s).ceil();
    let per_em = 100.0 / NARROWEST_EM;
    let mut free_from = 0.0;
    while zero_s + mark * step_s <= scale.to_s {
        let at_s = zero_s + mark * step_s;
        let x = scale.x(at_s);
        let _ = write!(svg, "<line class=rule x1={x:.1}% x2={x:.1}% y1=0 y2=4 />");
        let text = say(at_s, step_h < 1.0);
        let half = bold_em(&text) / 2.0 * per_em;
        let beside_now =
            now.is_none_or(|now| (now.clamp(7.0, 93.0) - x).abs() > half + 1.7 * per_em);
        if x - half >= free_from && x + half <= 100.0 && beside_now {
            let _ = write!(
                svg,
                "<text class=hour x={x:.1}% y=1.2em text-anchor=middle>{}</text>",
                escaped(&text)
            );
            free_from = x + half + 0.3 * per_em;
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

/// As text, or within an attribute's double quotes.
pub(crate) fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::escaped;

    #[test]
    fn a_name_ends_neither_its_element_nor_its_attribute() {
        // HTML, section 13.1.2: what may not stand in text and in double-quoted attributes.
        let said = escaped("CQ \"slow\" <b> & more");
        assert_eq!(said, "CQ &quot;slow&quot; &lt;b&gt; &amp; more");
    }
}
