//! The drawings of Banks: what a bank gave beside what was believed of it, and the hours of every
//! outing, bank by bank. Values in, SVG out; pure.
//!
//! As in the day line only the shapes are stretched; letters and marks keep their size. The plot begins at
//! x = 0: what a height means stands to the left of it, outside.

use std::fmt::Write;

use reckon::{
    record::{BankYear, Ending, Outing},
    units::{Joules, Seconds},
    words::{self, Local, bank as said},
};

use crate::draw::{axis::scale_of, day_line::escaped};

/// The stretched shapes' own coordinates.
const WIDE: f64 = 1000.0;
const HIGH: f64 = 100.0;
/// Top and ground of a bank's plot, em from the top.
const TOP: f64 = 0.7;
const GROUND: f64 = 7.7;
/// Of the span that is drawn: before the first and behind the last.
const BEFORE: f64 = 0.06;
const BEHIND: f64 = 0.12;
/// A shorter span is drawn as one of ten days, ms.
const LEAST_MS: f64 = 10.0 * 86_400_000.0;
/// No bank holds as much, Wh: a record may hold anything.
const TOO_MANY_WH: f64 = 1e6;
/// Months that are named at most: at twice the letters no more have room.
const NAMES: usize = 4;
/// From here on a name would run into the one before.
const LAST_NAME: f64 = 93.0;

/// Where along x things lie, in per cent, and what is written there.
struct Along {
    at: Vec<f64>,
    names: Vec<(f64, String)>,
}

impl Along {
    /// By time, those without one between their neighbours; by order where fewer than half have one.
    fn of(when: &[Option<Local>]) -> Self {
        let known = when.iter().flatten().count();
        if known == 0 || known * 2 < when.len() {
            return Self::in_order(when.len());
        }
        Self::in_time(when)
    }

    fn in_order(count: usize) -> Self {
        let at: Vec<f64> = (0..count).map(|k| (k as f64 + 0.5) / count as f64 * 100.0).collect();
        let names = [0.0, 100.0].into_iter().zip(said::FIRST_LAST.map(str::to_owned));
        Self { at, names: names.take(count).collect() }
    }

    fn in_time(when: &[Option<Local>]) -> Self {
        let ms = |it: &Local| it.wall.unix_ms() as f64;
        let Some(first) = when.iter().flatten().min_by(|a, b| ms(a).total_cmp(&ms(b))).copied()
        else {
            return Self::in_order(when.len());
        };
        let last_ms = when.iter().flatten().map(ms).fold(f64::MIN, f64::max);
        let span_ms = (last_ms - ms(&first)).max(LEAST_MS);
        let (from_ms, all_ms) = (ms(&first) - span_ms * BEFORE, span_ms * (1.0 + BEFORE + BEHIND));
        let from = first.plus_s(-span_ms * BEFORE / 1000.0);
        let to = from.plus_s(all_ms / 1000.0);
        let x = |ms: f64| ((ms - from_ms) / all_ms * 100.0).clamp(0.0, 100.0);
        let months = words::calendar::months(from, to);
        let few = months.len().div_ceil(NAMES).max(1);
        let mut names = vec![(x(ms(&first)), first.day_month())];
        if months.len() >= 2 {
            names =
                months.iter().step_by(few).map(|(at, name)| (x(ms(at)), name.clone())).collect();
            if names.len() > 2 {
                names.retain(|(x, _)| *x <= LAST_NAME);
            }
        }
        let at = between(when.iter().map(|it| it.as_ref().map(ms)).collect());
        Self { at: at.into_iter().map(x).collect(), names }
    }

    /// The ground with what is written under it; at the ends it stays within the plot.
    fn ground(&self, svg: &mut String, y_em: f64) {
        let _ = write!(svg, "<line class=rule x1=0 x2=100% y1={y_em:.1}em y2={y_em:.1}em />");
        for (x, name) in &self.names {
            let anchor = match x {
                ..4.0 => "start",
                4.0..LAST_NAME => "middle",
                _ => "end",
            };
            let _ = write!(
                svg,
                "<line class=rule x1={x:.1}% x2={x:.1}% y1={y_em:.1}em y2={:.1}em />\
                 <text x={x:.1}% y={:.1}em text-anchor={anchor}>{}</text>",
                y_em + 0.35,
                y_em + 1.5,
                escaped(name)
            );
        }
    }
}

/// What is not known lies midway between its neighbours, or with the one it has.
fn between(mut ms: Vec<Option<f64>>) -> Vec<f64> {
    for k in 0..ms.len() {
        if ms[k].is_none() {
            let before = k.checked_sub(1).and_then(|k| ms[k]);
            let after = ms[k..].iter().flatten().next().copied();
            ms[k] = before.zip(after).map(|(a, b)| f64::midpoint(a, b)).or(before).or(after);
        }
    }
    ms.into_iter().flatten().collect()
}

/// A scale that does not begin at zero: its ends and its step, from values people count in.
fn scale(low: f64, high: f64) -> (f64, f64, f64) {
    let step = scale_of((high - low).max(high * 0.02).max(0.1)).1;
    let (bottom, top) = ((low / step).floor() * step, (high / step).ceil() * step);
    (bottom.max(0.0), if top > bottom { top } else { bottom + step }, step)
}

/// What each height means, to the left of the plot.
fn heights(
    svg: &mut String,
    (bottom, top, step): (f64, f64, f64),
    y: impl Fn(f64) -> f64,
    unit: &str,
) {
    let digits = usize::from(step < 1.0);
    let mut value = bottom;
    while value <= top + step * 0.01 {
        let y = y(value);
        let _ = write!(
            svg,
            "<line class=rule x1=-.35em x2=0 y1={y:.2}em y2={y:.2}em />\
             <text x=-.6em y={:.2}em text-anchor=end>{value:.digits$}</text>",
            y + 0.35
        );
        value += step;
    }
    let _ = write!(svg, "<text x=-.6em y={:.1}em text-anchor=end>{unit}</text>", y(bottom) + 1.5);
}

/// A bank over a year: each run-down on what was believed; `now_wh` is what is believed since the last.
/// `None` where it has given nothing yet.
pub(crate) fn held(
    id: i64,
    year: &BankYear,
    now_wh: Option<[f64; 3]>,
    local: impl Fn(Option<reckon::time::Wall>) -> Option<Local>,
) -> Option<String> {
    if year.given.is_empty() || year.given.iter().any(|it| it.wh > TOO_MANY_WH) {
        return None;
    }
    let sound = |it: &[f64; 3]| it.iter().all(|wh| (0.0..TOO_MANY_WH).contains(wh));
    let when: Vec<Option<Local>> = year.given.iter().map(|it| local(it.began)).collect();
    let along = Along::of(&when);
    let believed: Vec<Option<[f64; 3]>> = year
        .given
        .iter()
        .map(|it| it.before_wh)
        .chain([now_wh])
        .map(|it| it.filter(sound))
        .collect();
    let seen = year.given.iter().map(|it| it.wh);
    let all: Vec<f64> = seen.chain(believed.iter().flatten().flatten().copied()).collect();
    let least = all.iter().copied().fold(f64::INFINITY, f64::min);
    let most = all.iter().copied().fold(0.0, f64::max);
    let scale = scale(least, most);
    let share = |wh: f64| ((wh - scale.0) / (scale.1 - scale.0)).clamp(0.0, 1.0);
    let y = |wh: f64| GROUND - share(wh) * (GROUND - TOP);
    let mut svg = String::with_capacity(8 * 1024);
    let whole: Vec<Joules> =
        year.given.iter().filter(|it| it.is_all).map(|it| Joules::from_wh(it.wh)).collect();
    let told = said::year_drawn(year.given.len(), &whole, now_wh.map(|it| it.map(Joules::from_wh)));
    opened(&mut svg, &format!("held-{id}"), GROUND + 1.8, said::YEAR, &told);
    let _ = write!(
        svg,
        "<svg y={TOP}em width=100% height={:.1}em viewBox=\"0 0 {WIDE} {HIGH}\" preserveAspectRatio=none>",
        GROUND - TOP
    );
    let (band, middle) = steps(&along.at, &believed, |wh| HIGH - share(wh) * HIGH);
    let _ =
        write!(svg, "<path class=ahead d=\"{band}\"/><path class=middle d=\"{middle}\"/></svg>");
    let _ = write!(svg, "<line class=rule x1=0 x2=0 y1={TOP}em y2={GROUND}em />");
    along.ground(&mut svg, GROUND);
    heights(&mut svg, scale, y, "Wh");
    for (x, it) in along.at.iter().zip(&year.given) {
        let y = y(it.wh);
        if it.is_all {
            let _ = write!(svg, "<circle cx={x:.1}% cy={y:.2}em r=5 />");
        } else {
            let _ = write!(svg, "<svg x={x:.1}% y={y:.2}em overflow=visible>{AT_LEAST}</svg>");
        }
    }
    svg.push_str("</svg>");
    Some(svg)
}

/// Hollow, with an arrow upwards: the bank gives at least this.
const AT_LEAST: &str = "<path d=\"M0-6V-18M-4-13 0-18 4-13\"/><circle class=open r=5 />";

/// The band of what was believed, and its middle, from run-down to run-down.
fn steps(at: &[f64], believed: &[Option<[f64; 3]>], y: impl Fn(f64) -> f64) -> (String, String) {
    let (mut band, mut middle) = (String::new(), String::new());
    let from = std::iter::once(0.0).chain(at.iter().copied());
    let to = at.iter().copied().chain([100.0]);
    for ((from, to), believed) in from.zip(to).zip(believed) {
        let Some([low, mid, high]) = *believed else { continue };
        let (from, to) = (from / 100.0 * WIDE, to / 100.0 * WIDE);
        let _ = write!(band, "M{from:.0} {:.1}H{to:.0}V{:.1}H{from:.0}Z", y(high), y(low));
        let _ = write!(middle, "M{from:.0} {:.1}H{to:.0}", y(mid));
    }
    (band, middle)
}

/// Opens a drawing so many em high.
fn opened(svg: &mut String, id: &str, high_em: f64, title: &str, described: &str) {
    let _ = write!(
        svg,
        "<svg class=years height={high_em:.1}em role=img aria-labelledby=\"{id}-t {id}-d\">\
         <title id={id}-t>{title}</title><desc id={id}-d>{}</desc>",
        escaped(described)
    );
}

// ---- hours by bank ------------------------------------------------------------------------------

/// Top and ground of a strip's bars, em.
const BARS_TOP: f64 = 0.5;
const BARS_GROUND: f64 = 3.9;

/// A bank's outings, for its strip.
pub(crate) struct Strip<'a> {
    pub(crate) name: &'a str,
    pub(crate) outings: &'a [Outing],
}

/// How long every outing lasted: for each bank what it says above its strip, and the strip, all over one
/// time axis, which is named under the last.
pub(crate) fn hours(
    strips: &[Strip<'_>],
    local: impl Fn(Option<reckon::time::Wall>) -> Option<Local>,
) -> Vec<[String; 2]> {
    let mut all: Vec<&Outing> = strips.iter().flat_map(|it| it.outings).filter(drawable).collect();
    all.sort_by_key(|it| it.id);
    let Some(longest_h) = all.iter().map(|it| it.lasted_s / 3600.0).reduce(f64::max) else {
        return Vec::new();
    };
    let when: Vec<Option<Local>> = all.iter().map(|it| local(it.began)).collect();
    let along = Along::of(&when);
    let x = |id: i64| all.iter().position(|it| it.id == id).and_then(|k| along.at.get(k).copied());
    let top_h = scale_of(longest_h).0;
    let drawn = |(k, strip): (usize, &Strip<'_>)| {
        let last = k + 1 == strips.len();
        let said = strip_said(strip);
        let mut svg = String::with_capacity(8 * 1024);
        let high_em = BARS_GROUND + if last { 1.8 } else { 0.8 };
        opened(
            &mut svg,
            &format!("hours-{k}"),
            high_em,
            said::HOURS,
            &format!("{}, {said}", strip.name),
        );
        let y = |h: f64| BARS_GROUND - h / top_h * (BARS_GROUND - BARS_TOP);
        heights(&mut svg, (0.0, top_h, top_h), y, if last { said::HOUR } else { "" });
        for it in strip.outings.iter().filter(drawable) {
            let Some(x) = x(it.id) else { continue };
            bar(&mut svg, x, y((it.lasted_s / 3600.0).min(top_h)), it.ending);
        }
        if last {
            along.ground(&mut svg, BARS_GROUND);
        } else {
            let _ = write!(
                svg,
                "<line class=rule x1=0 x2=100% y1={BARS_GROUND}em y2={BARS_GROUND}em />"
            );
        }
        svg.push_str("</svg>");
        [said, svg]
    };
    strips.iter().enumerate().map(drawn).collect()
}

/// Whether an outing's hours can be drawn: a record may hold anything.
fn drawable(outing: &&Outing) -> bool {
    outing.lasted_s > 0.0 && outing.lasted_s < 1e9
}

fn strip_said(strip: &Strip<'_>) -> String {
    let all: f64 = strip.outings.iter().filter(drawable).map(|it| it.lasted_s).sum();
    said::strip(strip.outings.len(), Seconds::of(all))
}

/// A bar: full where the bank ran empty, else hollow.
fn bar(svg: &mut String, x: f64, top: f64, ending: Ending) {
    let top = top.min(BARS_GROUND - 0.25);
    let _ =
        write!(svg, "<line class=lasted x1={x:.1}% x2={x:.1}% y1={top:.2}em y2={BARS_GROUND}em />");
    if !ending.is_death() {
        let _ = write!(
            svg,
            "<line class=\"lasted open\" x1={x:.1}% x2={x:.1}% y1={:.2}em y2={BARS_GROUND}em />",
            top + 0.14
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use reckon::{
        record::{Ageing, Given},
        time::Wall,
    };

    const DAY_MS: i64 = 86_400_000;

    fn local(wall: Option<Wall>) -> Option<Local> {
        wall.map(|wall| Local { wall, utc_offset_s: 0 })
    }

    /// So many days after 1 May 2026, 08:00 UTC (GNU date).
    fn day(days: i64) -> Option<Wall> {
        Some(Wall::from_unix_ms(1_777_622_400_000 + days * DAY_MS))
    }

    fn year(days: [Option<Wall>; 2]) -> BankYear {
        let given =
            |began, wh, is_all| Given { began, wh, is_all, before_wh: Some([24.0, 28.0, 32.0]) };
        BankYear {
            usual_w: Some(3.1),
            given: vec![given(days[0], 28.0, true), given(days[1], 24.0, false)],
            ageing: Ageing::Once,
        }
    }

    #[test]
    fn a_run_down_stands_at_its_day_and_its_watt_hours() {
        let svg = held(1, &year([day(0), day(100)]), Some([25.0, 27.0, 29.0]), local).unwrap();
        // Six per cent before the first day and twelve behind the last: 6 and 106 of 118.
        assert!(svg.contains("<circle cx=5.1% cy="), "{svg}");
        assert!(svg.contains("<svg x=89.8% y="), "{svg}");
        // From 24 to 32 Wh: 28 lies in the middle of the plot, 24 on its ground.
        let middle = f64::midpoint(TOP, GROUND);
        assert!(svg.contains(&format!("cx=5.1% cy={middle:.2}em")), "{svg}");
        assert!(svg.contains(&format!("x=89.8% y={GROUND:.2}em")), "{svg}");
        // What was believed before holds until then, what is believed now from the last on.
        assert!(svg.contains("class=ahead d=\"M0 0.0H51V100.0H0Z"), "{svg}");
        assert!(svg.contains("M898 37.5H1000V87.5H898Z"), "{svg}");
        // The months that begin within it.
        for name in [">May<", ">Jun<", ">Jul<", ">Aug<"] {
            assert!(svg.contains(name), "{name} in {svg}");
        }
        assert!(!svg.contains(">Apr<") && !svg.contains(">Sep<"), "{svg}");
    }

    #[test]
    fn without_a_date_they_stand_in_order() {
        let svg = held(1, &year([None, None]), None, local).unwrap();
        assert!(svg.contains("<circle cx=25.0%") && svg.contains("<svg x=75.0%"), "{svg}");
        assert!(svg.contains(">first<") && svg.contains(">latest<"), "{svg}");
        let none = BankYear { given: Vec::new(), ..year([None, None]) };
        assert_eq!(held(1, &none, None, local), None);
    }

    #[test]
    fn a_bar_is_as_high_as_an_outing_was_long_and_full_where_the_bank_ran_empty() {
        let outing = |id, days, hours: f64, ending| Outing {
            id,
            began: day(days),
            lasted_s: hours * 3600.0,
            ending,
            ..Outing::default()
        };
        let one = [outing(3, 100, 8.0, Ending::Died), outing(1, 0, 4.0, Ending::SwitchedOff)];
        let other = [outing(2, 50, f64::NAN, Ending::Died)];
        let strips = [
            Strip { name: "Blue <ten>", outings: &one },
            Strip { name: "Long six", outings: &other },
        ];
        let drawn = hours(&strips, local);
        let [said, svg] = &drawn[0];
        let high = BARS_GROUND - BARS_TOP;
        let bar = |x: &str, hours: f64| {
            let top = BARS_GROUND - hours / 8.0 * high;
            format!("class=lasted x1={x}% x2={x}% y1={top:.2}em y2={BARS_GROUND}em")
        };
        assert!(svg.contains(&bar("89.8", 8.0)) && svg.contains(&bar("5.1", 4.0)), "{svg}");
        assert_eq!(svg.matches("lasted open").count(), 1, "only the one that was switched off");
        assert!(svg.contains("Blue &lt;ten&gt;") && !svg.contains("NaN"), "{svg}");
        assert_eq!(said, "2 outings, 12\u{a0}h");
        assert!(
            drawn[1][1].contains(">Jul<") && !svg.contains(">Jul<"),
            "the last one has the months"
        );
        let none = [Strip { name: "Long six", outings: &other }];
        assert!(hours(&none, local).is_empty());
    }

    #[test]
    fn what_has_no_date_lies_between_its_neighbours() {
        let some = [None, Some(10.0), None, None, Some(40.0), None];
        assert_eq!(between(some.into()), [10.0, 10.0, 25.0, 32.5, 40.0, 40.0]);
        let known = [local(day(0)), None, local(day(100))];
        // 0, 50 and 100 days, six before and twelve behind: 6, 56 and 106 of 118.
        let at: Vec<f64> = Along::of(&known).at.iter().map(|x| (x * 10.0).round() / 10.0).collect();
        assert_eq!(at, [5.1, 47.5, 89.8]);
    }
}
