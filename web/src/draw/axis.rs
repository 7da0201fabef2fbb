//! What the report's drawings have in common: a stretched shape with dotted levels, an axis under it
//! and a legend, so that no letter stands in a plot. Values in, SVG out; pure.

use std::fmt::Write;

use reckon::{
    record::{Channel, Series, Stats},
    units::{Celsius, Seconds, Volts},
    words::{self, Local, day as said},
};

use crate::draw::day_line::escaped;

/// The shapes' own coordinates.
pub(crate) const WIDE: f64 = 1000.0;
pub(crate) const HIGH: f64 = 100.0;
/// Named marks on an axis at most.
const MARKS: f64 = 6.0;
/// Steps that a drawing can be read in at most.
const MOST_STEPS: f64 = 1000.0;

/// A shape's beginning; `id` is its own on the page.
pub(crate) fn open(id: &str, class: &str, title: &str, described: &str) -> String {
    let mut svg = String::with_capacity(8 * 1024);
    let _ = write!(
        svg,
        "<svg class=\"{class}\" role=img aria-labelledby=\"{id}-t {id}-d\" viewBox=\"0 0 {WIDE} {HIGH}\" \
         preserveAspectRatio=none><title id={id}-t>{}</title><desc id={id}-d>{}</desc>",
        escaped(title),
        escaped(described)
    );
    svg
}

/// The top of the scale and its step, from values people count in.
pub(crate) fn scale_of(highest: f64) -> (f64, f64) {
    const STEPS: [f64; 9] = [0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0];
    let step = STEPS.into_iter().find(|step| highest / step <= 4.0);
    let step = step.unwrap_or_else(|| (highest / 4.0 / 50.0).ceil() * 50.0);
    ((highest / step).ceil().max(1.0) * step, step)
}

/// Dotted levels from one value to another, and what each is.
pub(crate) fn levels(
    svg: &mut String,
    [from, to, step]: [f64; 3],
    y: impl Fn(f64) -> f64,
    say: impl Fn(f64) -> String,
) -> Vec<String> {
    let mut said = Vec::new();
    let mut level = from;
    while level <= to + step * 0.001 && said.len() < 8 {
        let _ = write!(svg, "<path class=level d=\"M0 {:.1}H{WIDE}\"/>", y(level));
        said.push(say(level));
        level += step;
    }
    said
}

/// A legend: each with its swatch, if it has one.
pub(crate) fn key(parts: &[(&str, &str)]) -> String {
    let mut html = String::from("<p class=says>");
    for (swatch, text) in parts.iter().filter(|part| !part.1.is_empty()) {
        let _ = match *swatch {
            "" => write!(html, "<span>{}</span> ", escaped(text)),
            swatch => write!(html, "<span><i class={swatch}></i>{}</span> ", escaped(text)),
        };
    }
    html.push_str("</p>");
    html
}

/// An axis with marks at per cents of its width, those that have a name with it.
pub(crate) fn axis(marks: &[(f64, String)]) -> String {
    let mut svg = String::from("<svg class=axis aria-hidden=true><line x2=100% />");
    for (x, name) in marks {
        let _ = write!(svg, "<line x1={x:.1}% x2={x:.1}% y2=5 />");
        let anchor = match *x {
            ..4.0 => "start",
            ..96.0 => "middle",
            _ => "end",
        };
        let _ =
            write!(svg, "<text x={x:.1}% y=1.5em text-anchor={anchor}>{}</text>", escaped(name));
    }
    svg.push_str("</svg>");
    svg
}

/// The axis of an outing: full hours of the day where the wall time is known, else hours since it
/// began.
pub(crate) fn hours(span_s: f64, began: Option<Local>) -> String {
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
    let mut marks = Vec::new();
    let mut at_s = first_s;
    while at_s <= span_s {
        let name = said::mark(began, Seconds::of(at_s), step_h < 1.0);
        marks.push((at_s / span_s * 100.0, name));
        at_s += step_s;
    }
    axis(&marks)
}

/// How many steps of a series lie in an outing, as far as it can be read.
pub(crate) fn count(span_s: f64, step_s: f64) -> u32 {
    let count = (span_s / step_s).ceil().clamp(1.0, MOST_STEPS);
    (0..).find(|ix| f64::from(*ix) >= count).unwrap_or(1)
}

/// How long a series is, as far as it is drawn.
pub(crate) fn span_of(series: &Series) -> f64 {
    series.t_s.last().map_or(0.0, |t_s| t_s + series.step_s).clamp(1.0, 1e9)
}

/// A drawing's identity and its words.
pub(crate) struct Named<'a> {
    pub(crate) id: &'a str,
    pub(crate) title: &'a str,
    pub(crate) described: &'a str,
}

/// A channel's mean as a line over the band from its lowest to its highest look, and what its dotted
/// levels are; the scale runs over what was seen, not from zero.
pub(crate) fn line_of(
    series: &Series,
    channel: Channel,
    span_s: f64,
    named: &Named<'_>,
) -> Option<(String, Vec<String>)> {
    let steps = steps_of(series, channel);
    let step_s = Some(series.step_s).filter(|step_s| (0.1..1e9).contains(step_s))?;
    if steps.is_empty() {
        return None;
    }
    let low = steps.iter().map(|step| step.1[1]).fold(f64::INFINITY, f64::min);
    let high = steps.iter().map(|step| step.1[2]).fold(f64::NEG_INFINITY, f64::max);
    // A channel that stands still is no storm: the scale has a least height.
    let least = if channel == Channel::Temp { 10.0 } else { 0.2 };
    let lack = (least - (high - low)).max(0.0) / 2.0;
    let (low, high) = (low - lack, high + lack);
    let mut svg = open(named.id, "plot mid", named.title, named.described);
    let x = |s: f64| (s / span_s).clamp(0.0, 1.0) * WIDE;
    let y = |value: f64| HIGH - ((value - low) / (high - low)).clamp(0.0, 1.0) * HIGH;
    let say = |value: f64| match channel {
        Channel::Temp => words::celsius(Celsius::of(value)),
        _ => words::volts(Volts::of(value)),
    };
    let between = within(low, high);
    let told = levels(&mut svg, between, y, say);
    let (mut band, mut mean) = (String::new(), String::new());
    for run in steps.chunk_by(|one, next| next.0 - one.0 < step_s * 1.5) {
        let run: Vec<Traced> =
            run.iter().map(|(at_s, seen)| (x(*at_s), x(at_s + step_s), *seen)).collect();
        trace(&mut band, &mut mean, &run, y);
    }
    let _ = write!(svg, "<path class=band d=\"{band}\"/><path class=mean d=\"{mean}\"/></svg>");
    Some((svg, told))
}

/// The first and last value people count in that lie between two, and their step.
fn within(low: f64, high: f64) -> [f64; 3] {
    const STEPS: [f64; 12] = [0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0];
    let step = STEPS.into_iter().find(|step| (high - low) / step <= 3.0).unwrap_or(high - low);
    [(low / step - 1e-6).ceil() * step, (high / step + 1e-6).floor() * step, step]
}

/// When, and mean, smallest and largest value of what was read then.
type Step = (f64, [f64; 3]);
/// From, to, and mean, smallest and largest value.
type Traced = (f64, f64, [f64; 3]);

/// A channel's steps, those without a reading left out.
fn steps_of(series: &Series, channel: Channel) -> Vec<Step> {
    let seen = series.channel(channel);
    let sound = |value: f64| Some(value).filter(|it| it.abs() < 1e6);
    let step = |ix: usize| {
        let at_s = series.t_s.get(ix).copied().filter(|s| (0.0..1e9).contains(s))?;
        let seen: Stats = seen.get(ix).copied().flatten()?;
        let mean = sound(seen.mean)?;
        let low = sound(seen.min).unwrap_or(mean).min(mean);
        let high = sound(seen.max).unwrap_or(mean).max(mean);
        Some((at_s, [mean, low, high]))
    };
    (0..series.t_s.len()).filter_map(step).collect()
}

/// One unbroken stretch: along the tops, back along the bottoms; and the mean.
fn trace(band: &mut String, mean: &mut String, known: &[Traced], y: impl Fn(f64) -> f64) {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_channel_is_drawn_over_what_was_seen_and_broken_in_gaps() {
        let seen = [Some(5.1), None, Some(5.0), Some(4.6)].map(|value| value.map(Stats::one));
        let told = (Channel::Volts, seen.to_vec());
        let series =
            Series { step_s: 60.0, t_s: vec![0.0, 60.0, 120.0, 180.0], channels: vec![told] };
        let named = Named { id: "volts", title: "x", described: "x" };
        let drawn = |series: &Series| line_of(series, Channel::Volts, 240.0, &named);
        let (svg, levels) = drawn(&series).unwrap();
        let line = svg.split("class=mean d=\"").nth(1).unwrap().split('"').next().unwrap();
        // 5.1 V at the top, a break, 5.0 V at a fifth of 0.5 V under it, 4.6 V on the ground.
        assert_eq!(line, "M0 0V0H250M500 20V20H750V100H1000");
        assert_eq!(levels, ["4.60\u{a0}V", "4.80\u{a0}V", "5.00\u{a0}V"]);
        assert_eq!(svg.matches("class=level").count(), levels.len());
        assert!(!svg.contains("<text"), "no letter stands in a plot");
        assert_eq!(line_of(&series, Channel::Temp, 240.0, &named), None);
        let odd = |value: Option<f64>| {
            let nan = f64::NAN;
            let seen = value.map(|mean| Stats { mean, min: nan, max: nan });
            (Channel::Volts, vec![seen; 4])
        };
        for value in [None, Some(f64::NAN), Some(f64::INFINITY)] {
            let series = Series { channels: vec![odd(value)], ..series.clone() };
            assert_eq!(drawn(&series), None, "{value:?}");
        }
        let series = Series { channels: vec![odd(Some(5.0))], ..series };
        assert_eq!(drawn(&series).unwrap().1, ["4.90\u{a0}V", "5.00\u{a0}V", "5.10\u{a0}V"]);
    }

    #[test]
    fn marks_stand_at_full_hours_of_the_day() {
        // 2024-03-09T08:05:10 local (UTC+4): the first full hour is 3290 s later.
        let wall = reckon::time::Wall::from_unix_ms(1_709_957_110_000);
        let began = Some(Local { wall, utc_offset_s: 4 * 3600 });
        let svg = hours(5.0 * 3600.0, began);
        let first = 3290.0 / 18_000.0 * 100.0;
        assert!(
            svg.contains(&format!("<text x={first:.1}% y=1.5em text-anchor=middle>09<")),
            "{svg}"
        );
        assert_eq!(svg.matches("<text").count(), 5);
        assert!(hours(7200.0, None).contains(">30\u{a0}min<"), "{}", hours(7200.0, None));
    }
}
