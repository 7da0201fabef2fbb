//! The day line of a day that has not been yet: the draw as planned, solid as long as it is safe, dissolving where
//! it may end, the finish as a flag. A plan and its answer in, SVG out; pure.

use std::fmt::Write;

use reckon::{
    plan::{Answer, Plan},
    units::Seconds,
    words::{self, Local},
};

use crate::draw::{
    day_line::{GROUND, HIGH, MIST, Scale, WIDE, flag, hours, key, opened, stretched, upright},
    labels::{CLOTH_EM, bold_em, is_left_of_flag},
};

/// The draw from one hour to another, W.
type Step = (f64, f64, f64);

/// The drawing; `starts` where the time of day of the start is known.
pub(crate) fn plan_day(plan: &Plan, answer: &Answer, starts: Option<Local>) -> String {
    let finish = Seconds::of(3600.0 * plan.finish_h);
    let last_s = answer.lasts[2].si().min(4.0 * finish.si()).max(finish.si());
    let scale = Scale { from_s: 0.0, to_s: last_s * 1.03 };
    let mut svg = opened(&words::plan_day::drawn(answer, starts, finish));
    silhouette(&mut svg, &steps(plan, answer, last_s / 3600.0), answer.lasts, &scale);
    if answer.lasts[1].si() <= scale.to_s {
        upright(&mut svg, "half", scale.x(answer.lasts[1].si()), "15%");
    }
    svg.push_str(GROUND);
    let (x, text) = (scale.x(finish.si()), words::plan_day::flag(starts, finish));
    flag(&mut svg, x, &text, is_left_of_flag(x, CLOTH_EM + bold_em(&text)));
    svg.push_str("<svg y=100% overflow=visible>");
    let say = |at_s, minutes| words::plan_day::mark(starts, Seconds::of(at_s), minutes);
    hours(&mut svg, &scale, -starts.map_or(0.0, of_day_s), None, say);
    svg.push_str("</svg></g></svg>");
    key(&mut svg, [false, true, false]);
    svg
}

/// Seconds since midnight.
fn of_day_s(starts: Local) -> f64 {
    let local_ms = starts.wall.unix_ms().saturating_add(i64::from(starts.utc_offset_s) * 1000);
    let of_day_ms = u32::try_from(local_ms.rem_euclid(86_400_000)).unwrap_or(0);
    f64::from(of_day_ms) / 1000.0
}

/// The draw of each stretch; after the last one the outing goes on as in that.
fn steps(plan: &Plan, answer: &Answer, until_h: f64) -> Vec<Step> {
    let mut from_h = 0.0;
    let mut steps: Vec<Step> = Vec::new();
    for (stretch, (watts, _)) in plan.stretches.iter().zip(&answer.stretches) {
        let to_h = from_h + stretch.hours;
        steps.push((from_h, to_h.min(until_h), *watts));
        from_h = to_h;
    }
    steps.retain(|step| step.0 < until_h);
    if let Some(last) = steps.last_mut() {
        last.1 = until_h;
    }
    steps
}

/// Solid up to the cautious end, dissolving up to the hopeful one.
fn silhouette(svg: &mut String, steps: &[Step], lasts: [Seconds; 3], scale: &Scale) {
    let highest = steps.iter().map(|step| step.2).fold(0.1, f64::max);
    let y = |watts: f64| HIGH - (watts / highest).clamp(0.0, 1.0) * 0.7 * HIGH;
    let x = |hour: f64| scale.x(3600.0 * hour) * WIDE / 100.0;
    let [safe_h, _, most_h] = lasts.map(|at| at.si() / 3600.0);
    stretched(svg);
    svg.push_str(MIST);
    for (of, from_h, to_h) in [("class=ahead", 0.0, safe_h), ("fill=url(#mist)", safe_h, most_h)] {
        let inside: Vec<Step> = steps
            .iter()
            .map(|step| (step.0.max(from_h), step.1.min(to_h), step.2))
            .filter(|step| step.1 > step.0)
            .collect();
        let Some(first) = inside.first() else { continue };
        let _ = write!(svg, "<path {of} d=\"M{:.0} {HIGH}", x(first.0));
        for (_, to_h, watts) in &inside {
            let _ = write!(svg, "V{:.0}H{:.0}", y(*watts), x(*to_h));
        }
        let _ = write!(svg, "V{HIGH}z\"/>");
    }
    svg.push_str("</svg>");
}
