//! The report's small drawings: what was done when, one channel over the outing, a fold. Values in,
//! SVG out; pure.
//!
//! As in the day line, only the shapes are stretched; letters and their places keep their size.

use std::fmt::Write;

use reckon::{
    fold::{Fold, Kind},
    record::{Channel, Series},
    report::Report,
    units::{Celsius, Seconds, Volts},
    words::{self, Local, report as said},
};

use crate::{
    draw::day_line::escaped,
    draw::fold::{Folded, curve},
    draw::series::{hours, on_level, open, trace},
};

/// The shapes' own coordinates.
const WIDE: f64 = 1000.0;
const HIGH: f64 = 100.0;
/// Top and ground of the shapes, in em from the top.
const TOP: f64 = 1.2;
const GROUND: f64 = 5.2;
/// Stretches drawn at most.
const STRETCHES: usize = 200;
/// Activities drawn at most (the style has a height for each number), and what one takes, em.
const LANES: usize = 6;
const LANE_EM: f64 = 1.9;

/// What was done when: a lane for each activity, from the beginning to the end; `None` where nobody
/// said.
pub(crate) fn done(report: &Report, lasted_s: f64, began: Option<Local>) -> Option<String> {
    let ends_s = report.done.last()?.to.si();
    let span_s = lasted_s.max(ends_s).clamp(1.0, 1e9);
    if report.done.iter().all(|it| it.doing.is_none()) {
        return None;
    }
    let described: Vec<String> = report
        .done
        .iter()
        .filter(|it| it.to.si() - it.from.si() >= 60.0)
        .take(STRETCHES)
        .map(|it| {
            let when = said::stretch(began, it.from, it.to);
            format!("{when}: {}", said::doing(it.doing.as_deref()))
        })
        .collect();
    // A lane for each activity, the one that took longest first.
    let mut lanes: Vec<(&str, f64)> = Vec::new();
    for it in &report.done {
        let (Some(doing), lasted_s) = (it.doing.as_deref(), it.to.si() - it.from.si()) else {
            continue;
        };
        match lanes.iter_mut().find(|lane| lane.0 == doing) {
            Some(lane) => lane.1 += lasted_s,
            None => lanes.push((doing, lasted_s)),
        }
    }
    lanes.sort_by(|a, b| b.1.total_cmp(&a.1));
    lanes.truncate(LANES);
    let mut svg = String::with_capacity(4 * 1024);
    let class = format!("day did n{}", lanes.len());
    open(&mut svg, "done", &class, words::report::WHAT_WHEN, &format!("{}.", described.join("; ")));
    let mut top_em = 0.0;
    for (doing, _) in lanes {
        let name = escaped(&said::doing(Some(doing)));
        let _ = write!(svg, "<text x=0 y={:.1}em>{name}</text>", top_em + 0.9);
        let y_em = top_em + 1.2;
        let _ = write!(svg, "<line class=level x1=0 x2=100% y1={y_em:.1}em y2={y_em:.1}em />");
        let own = report.done.iter().filter(|it| it.doing.as_deref() == Some(doing));
        for it in own.take(STRETCHES) {
            let x = (it.from.si() / span_s * 100.0).clamp(0.0, 100.0);
            let wide = (it.to.si() / span_s * 100.0).clamp(0.0, 100.0) - x;
            let _ = write!(
                svg,
                "<rect class=stretch x={x:.2}% width={wide:.2}% y={:.1}em height=0.45em />",
                y_em - 0.05
            );
        }
        top_em += LANE_EM;
    }
    hours(&mut svg, span_s, top_em + 0.1, began);
    svg.push_str("</svg>");
    Some(svg)
}

/// When, and mean, smallest and largest value of what was read then.
type Step = (f64, [f64; 3]);

/// A channel's steps, those without a reading left out.
fn steps_of(series: &Series, channel: Channel) -> Vec<Step> {
    let seen = series.channel(channel);
    let sound = |value: f64| Some(value).filter(|it| it.abs() < 1e6);
    (0..series.t_s.len())
        .filter_map(|ix| {
            let at_s = series.t_s.get(ix).copied().filter(|s| (0.0..1e9).contains(s))?;
            let seen = seen.get(ix).copied().flatten()?;
            let mean = sound(seen.mean)?;
            let low = sound(seen.min).unwrap_or(mean).min(mean);
            let high = sound(seen.max).unwrap_or(mean).max(mean);
            Some((at_s, [mean, low, high]))
        })
        .collect()
}

/// Mean and extremes of a channel; the scale runs over what was seen, not from zero.
pub(crate) fn small(
    series: &Series,
    channel: Channel,
    described: &str,
    began: Option<Local>,
) -> Option<String> {
    let steps = steps_of(series, channel);
    let step_s = Some(series.step_s).filter(|step_s| (0.1..1e9).contains(step_s))?;
    let span_s = series.t_s.last().map_or(0.0, |t_s| t_s + step_s).clamp(1.0, 1e9);
    let low = steps.iter().map(|step| step.1[1]).fold(f64::INFINITY, f64::min);
    let high = steps.iter().map(|step| step.1[2]).fold(f64::NEG_INFINITY, f64::max);
    if steps.is_empty() {
        return None;
    }
    // A channel that stands still is no storm: the scale has a least height.
    let (id, title, least) = match channel {
        Channel::Temp => ("temp", "The processor's temperature", 10.0),
        _ => ("volts", "The supply", 0.2),
    };
    let lack = (least - (high - low)).max(0.0) / 2.0;
    let (low, high) = (low - lack, high + lack);
    let mut svg = String::with_capacity(8 * 1024);
    open(&mut svg, id, "day fold", title, described);
    let _ = write!(
        svg,
        "<svg y={TOP}em width=100% height={:.1}em viewBox=\"0 0 {WIDE} {HIGH}\" preserveAspectRatio=none>",
        GROUND - TOP
    );
    let x = |s: f64| (s / span_s).clamp(0.0, 1.0) * WIDE;
    let y = |value: f64| HIGH - ((value - low) / (high - low)).clamp(0.0, 1.0) * HIGH;
    let (mut band, mut mean) = (String::new(), String::new());
    for run in steps.chunk_by(|one, next| next.0 - one.0 < step_s * 1.5) {
        let run: Vec<(f64, f64, [f64; 3])> =
            run.iter().map(|(at_s, seen)| (x(*at_s), x(at_s + step_s), *seen)).collect();
        trace(&mut band, &mut mean, &run, y);
    }
    let _ = write!(
        svg,
        "<path class=ahead d=\"{band}\"/><path class=mean d=\"{mean}\"/></svg>\
         <line class=rule x1=0 x2=100% y1={GROUND}em y2={GROUND}em />"
    );
    let said = |value: f64| match channel {
        Channel::Temp => words::celsius(Celsius::of(value)),
        _ => words::volts(Volts::of(value)),
    };
    let _ = write!(svg, "<line class=level x1=0 x2=100% y1={TOP}em y2={TOP}em />");
    on_level(&mut svg, TOP, &said(high));
    on_level(&mut svg, GROUND, &said(low));
    hours(&mut svg, span_s, GROUND, began);
    svg.push_str("</svg>");
    Some(svg)
}

/// A fold's curve; leftmost a moment before the key goes down, where it does.
pub(crate) fn fold(ix: usize, fold: &Fold) -> Option<String> {
    let points: Vec<(f64, f64)> = fold.curve.iter().map(|it| (it.phase_s, it.watts)).collect();
    let sends = fold.part(Kind::Transmit);
    let left_s = sends.map_or(0.0, |part| part.begins_s - Seconds::of(fold.slot_s / 15.0).si());
    let drawn = Folded { period_s: fold.period_s, slot_s: fold.slot_s, left_s, points: &points };
    curve(&format!("fold-{ix}"), &drawn)
}

#[cfg(test)]
mod tests {
    use super::*;
    use reckon::record::{Event, EventKind, Row as RecordRow, Stats};
    use reckon::report::{ReportInputs, Truth};
    use reckon::time::Mono;

    fn report(events: &[Event]) -> Report {
        let row = |ix: u32| RecordRow {
            from_s: f64::from(ix) * 10.0,
            span_s: 10.0,
            stats: [None; Channel::ALL.len()],
        };
        let rows: Vec<RecordRow> = (0..720).map(row).collect();
        Report::from_inputs(&ReportInputs {
            rows: &rows,
            events,
            corrections: &[],
            contacts: &[],
            folds: &[],
            loads: &[],
            forecasts: &[],
            off_s: &[],
            truth: Truth::Open { at: Seconds::of(7200.0) },
        })
    }

    #[test]
    fn what_was_done_has_a_lane_for_each_activity() {
        let change = |at_s, doing: &str| Event {
            at: Mono::at_s(at_s),
            kind: EventKind::Activity,
            text: doing.to_owned(),
        };
        let report =
            report(&[change(720.0, "receive"), change(3600.0, "a <b>"), change(3700.0, "")]);
        let svg = done(&report, 7200.0, None).unwrap();
        assert!(svg.contains("x=10.00% width=40.00% y=1.1em"), "{svg}");
        assert!(svg.contains("class=\"day did n2\""), "{svg}");
        assert!(svg.contains(">Receive</text>"), "{svg}");
        assert!(!svg.contains("<b>") && svg.contains("A &lt;b&gt;"), "{svg}");
        assert_eq!(svg.matches("class=stretch").count(), 2);
        assert_eq!(done(&self::report(&[]), 7200.0, None), None);
    }

    #[test]
    fn a_channel_is_drawn_over_what_was_seen_and_broken_in_gaps() {
        let seen = [Some(5.1), None, Some(5.0), Some(4.6)].map(|value| value.map(Stats::one));
        let told = (Channel::Volts, seen.to_vec());
        let series =
            Series { step_s: 60.0, t_s: vec![0.0, 60.0, 120.0, 180.0], channels: vec![told] };
        let svg = small(&series, Channel::Volts, "x", None).unwrap();
        let line = svg.split("class=mean d=\"").nth(1).unwrap().split('"').next().unwrap();
        // 5.1 V at the top, a break, 5.0 V at a fifth of 0.5 V under it, 4.6 V on the ground.
        assert_eq!(line, "M0 0V0H250M500 20V20H750V100H1000");
        assert_eq!(small(&series, Channel::Temp, "x", None), None);
        let odd = |value: Option<f64>| {
            let nan = f64::NAN;
            let seen = value.map(|mean| Stats { mean, min: nan, max: nan });
            (Channel::Volts, vec![seen; 4])
        };
        for value in [None, Some(f64::NAN), Some(f64::INFINITY)] {
            let series = Series { channels: vec![odd(value)], ..series.clone() };
            assert_eq!(small(&series, Channel::Volts, "x", None), None, "{value:?}");
        }
        let series = Series { channels: vec![odd(Some(5.0))], ..series };
        assert!(small(&series, Channel::Volts, "x", None).unwrap().contains("5.10"));
    }
}
