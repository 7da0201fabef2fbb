//! The drawing of an outing's day: strips under one axis of time, their names and sums above them.
//! Values in, SVG out; pure.
//!
//! Only shapes are stretched over the page's width; letters stand outside, and keep their size.

use std::fmt::Write;

use reckon::{
    energy_tally::EnergyTally,
    record::{Channel, EventKind, Series, Stats},
    report::{ActivitySpan, OutingReport},
    units::{Celsius, Seconds, Volts, Watts},
    words::{self, Local, ReportPage, day as said},
};

use crate::draw::{
    axis::{self, HIGH, WIDE, scale_of},
    day_line::escaped,
};

/// Activities that have a strip at most, those of most time first, and stretches drawn of each.
const LANES: usize = 6;
const STRETCHES: usize = 200;
/// Shorter gaps and estimates have no strip, s.
const WORTH_S: f64 = 60.0;
/// A mark's width, in parts of [`WIDE`].
const MARK: f64 = 8.0;

/// What stands above a strip, and the strip.
pub(crate) struct Strip {
    pub(crate) name: String,
    pub(crate) sum: String,
    pub(crate) svg: String,
}

/// The drawing.
pub(crate) struct WholeDay {
    pub(crate) strips: Vec<Strip>,
    pub(crate) axis: String,
    /// What the dotted lines are, and the marks on the axis.
    pub(crate) legend: [String; 2],
    /// What was read in each step: time, a tab, values; a line for each.
    pub(crate) reads: String,
}

/// What the drawing is made from.
struct Told<'a> {
    w: &'a ReportPage,
    told: &'a OutingReport,
    series: &'a Series,
    began: Option<Local>,
    span_s: f64,
}

/// The day of an outing; `None` where nothing was read.
pub(crate) fn whole_day(
    w: &ReportPage,
    told: &OutingReport,
    series: &Series,
    began: Option<Local>,
) -> Option<WholeDay> {
    let step_s = Some(series.step_s).filter(|step_s| (0.1..1e9).contains(step_s))?;
    let last_s = series.t_s.last().map_or(0.0, |t_s| t_s + step_s);
    // A record may hold anything: some thirty years are the most that is drawn.
    let span_s = last_s.max(told.ended().si()).clamp(step_s, 1e9);
    let it = Told { w, told, series, began, span_s };
    let (draw, levels_w) = it.draw()?;
    let (warm, levels_c) = it.processor().map_or((None, Vec::new()), |it| (Some(it.0), it.1));
    let strips = [draw].into_iter().chain(it.activities()).chain(it.gaps()).chain(it.marks());
    Some(WholeDay {
        strips: strips.chain(warm).collect(),
        axis: axis::hours(span_s, began),
        legend: [said::dotted(&[levels_w, levels_c]), said::hours(began.is_some()).to_owned()],
        reads: it.reads(),
    })
}

impl Told<'_> {
    fn x(&self, at_s: f64) -> f64 {
        (at_s / self.span_s).clamp(0.0, 1.0) * WIDE
    }

    /// Mean as a filled shape, the peaks behind it.
    fn draw(&self) -> Option<(Strip, Vec<String>)> {
        let steps = drawn(self.series);
        let highest = steps.iter().flatten().map(|step| step.most).fold(0.0_f64, f64::max).max(0.1);
        if steps.iter().all(Option::is_none) {
            return None;
        }
        let (top_w, step_w) = scale_of(highest);
        let line = &self.told.whole.outing;
        let (mean, peak) = (line.mean_power_w.map(Watts::of), line.known_peak_w().map(Watts::of));
        let described = words::draw_line(Seconds::of(line.lasted_s), mean, peak);
        let mut svg = axis::open("draw", "plot tall", self.w.draw, &described);
        let y = |watts: f64| HIGH - (watts / top_w).clamp(0.0, 1.0) * HIGH;
        let levels =
            axis::levels(&mut svg, [step_w, top_w, step_w], y, |it| words::power(Watts::of(it)));
        for (class, value) in
            [("peak", (|it: &Drawn| it.most) as fn(&Drawn) -> f64), ("past", |it: &Drawn| it.mean)]
        {
            let _ = write!(svg, "<path class={class} d=\"");
            for (ix, step) in steps.iter().enumerate() {
                let Some(step) = step else { continue };
                let from_s = self.series.t_s.get(ix).copied().unwrap_or(0.0);
                let (from, to) = (self.x(from_s), self.x(from_s + self.series.step_s));
                let _ = write!(svg, "M{from:.1} {HIGH}V{:.0}H{to:.1}V{HIGH}", y(value(step)));
            }
            svg.push_str("\"/>");
        }
        svg.push_str("</svg>");
        Some((Strip { name: self.w.draw.to_owned(), sum: said::drawn(mean, peak), svg }, levels))
    }

    /// A strip for each activity, the one that took longest first.
    fn activities(&self) -> Vec<Strip> {
        let done = &self.told.report.done;
        let mut lanes: Vec<(&str, f64)> = Vec::new();
        for it in done {
            let (Some(doing), lasted_s) = (it.doing.as_deref(), it.to.si() - it.from.si()) else {
                continue;
            };
            match lanes.iter_mut().find(|lane| lane.0 == doing) {
                Some(lane) => lane.1 += lasted_s,
                None => lanes.push((doing, lasted_s)),
            }
        }
        lanes.sort_by(|a, b| b.1.total_cmp(&a.1));
        let strip = |(doing, lasted_s): (&str, f64)| {
            let own = done.iter().filter(|it| it.doing.as_deref() == Some(doing));
            let stretches: Vec<(f64, f64)> =
                own.take(STRETCHES).map(|it| (it.from.si(), it.to.si())).collect();
            let name = words::report::doing(Some(doing));
            let sum = said::done(self.tally(doing), Seconds::of(lasted_s));
            self.stretches(name, sum, "stretch", &stretches)
        };
        lanes.into_iter().take(LANES).map(strip).collect()
    }

    fn tally(&self, doing: &str) -> Option<&EnergyTally> {
        self.told.report.tally.activities().find(|(name, _)| *name == doing).map(|it| it.1)
    }

    fn stretches(&self, name: String, sum: String, class: &str, all: &[(f64, f64)]) -> Strip {
        let when: Vec<String> = all
            .iter()
            .map(|(from, to)| {
                words::report::stretch(self.began, Seconds::of(*from), Seconds::of(*to))
            })
            .collect();
        let mut svg = strip(&format!("{name}: {}", when.join("; ")));
        for (from_s, to_s) in all {
            let (from, to) = (self.x(*from_s), self.x(*to_s));
            let wide = (to - from).max(1.0);
            let _ = write!(svg, "<rect class={class} x={from:.1} width={wide:.1} y=1 height=8 />");
        }
        svg.push_str("</svg>");
        Strip { name, sum, svg }
    }

    /// What nobody measured: estimated, not read at all, switched off.
    fn gaps(&self) -> Vec<Strip> {
        let (estimated, silent) = gaps(self.series);
        let long = |all: &[(f64, f64)]| all.iter().map(|(from, to)| to - from).sum::<f64>();
        let mut strips = Vec::new();
        let report = &self.told.report;
        if report.modelled.lasted().si() >= WORTH_S && !estimated.is_empty() {
            let sum = said::was_estimated(report);
            strips.push(self.stretches(self.w.estimated.to_owned(), sum, "guess", &estimated));
        }
        if long(&silent) >= WORTH_S {
            let sum = words::span(Seconds::of(long(&silent)));
            strips.push(self.stretches(self.w.no_reading.to_owned(), sum, "guess", &silent));
        }
        let off = &self.told.whole.off_s;
        if long(off) >= WORTH_S {
            let sum = words::span(Seconds::of(long(off)));
            strips.push(self.stretches(self.w.board_off.to_owned(), sum, "guess", off));
        }
        strips
    }

    /// Moments: supply too low, alarms, the operator's marks.
    fn marks(&self) -> Vec<Strip> {
        let volts = self.told.report.volts.map(|seen| seen.low);
        let kinds = [
            (self.w.supply_low, EventKind::Undervoltage, volts),
            (self.w.alarms, EventKind::AlarmRaised, None),
            (self.w.marks, EventKind::Mark, None),
        ];
        kinds.into_iter().filter_map(|(name, kind, lowest)| self.mark(name, kind, lowest)).collect()
    }

    fn mark(&self, name: &str, kind: EventKind, lowest: Option<Volts>) -> Option<Strip> {
        let events = self.told.whole.events.iter().filter(|it| it.kind == kind);
        let at_s: Vec<f64> = events.map(|it| it.at.as_s()).collect();
        if at_s.is_empty() {
            return None;
        }
        let when: Vec<String> = at_s
            .iter()
            .take(STRETCHES)
            .map(|at_s| words::moment_of(self.began, Seconds::of(*at_s)))
            .collect();
        let mut svg = strip(&format!("{name}: {}", when.join("; ")));
        for at_s in at_s.iter().take(STRETCHES) {
            let x = (self.x(*at_s) - MARK / 2.0).clamp(0.0, WIDE - MARK);
            let _ = write!(svg, "<rect class=mark x={x:.1} width={MARK} y=0 height=10 />");
        }
        svg.push_str("</svg>");
        Some(Strip { name: name.to_owned(), sum: said::so_often(at_s.len(), lowest), svg })
    }

    /// The processor's temperature as a line, with the levels it has between its ends.
    fn processor(&self) -> Option<(Strip, Vec<String>)> {
        let seen = self.told.report.temp?;
        let sum = said::warm(&seen);
        let (svg, levels) = axis::line_of(
            self.series,
            Channel::Temp,
            self.span_s,
            &axis::Named { id: "temp", title: self.w.temperature, described: &sum },
        )?;
        Some((Strip { name: self.w.processor.to_owned(), sum, svg }, levels))
    }

    fn reads(&self) -> String {
        let step_s = self.series.step_s;
        let steps = drawn(self.series);
        let measured = self.series.channel(Channel::Watts);
        let mean = |channel: Channel, ix: usize| {
            self.series.channel(channel).get(ix).copied().flatten().map(|it| it.mean)
        };
        let mut lines = String::new();
        let mut at = 0;
        for slot in 0..axis::count(self.span_s, step_s) {
            let from_s = f64::from(slot) * step_s;
            while self.series.t_s.get(at).is_some_and(|t_s| *t_s < from_s - step_s / 2.0) {
                at += 1;
            }
            let here = self.series.t_s.get(at).is_some_and(|t_s| *t_s < from_s + step_s / 2.0);
            let ix = if here { at } else { usize::MAX };
            let moment = said::Moment {
                at: Seconds::of(from_s),
                draw: steps.get(ix).and_then(Option::as_ref).map(|it| Watts::of(it.mean)),
                estimated: measured.get(ix).copied().flatten().is_none(),
                doing: doing_at(&self.told.report.done, from_s + step_s / 2.0),
                supply: mean(Channel::Volts, ix).and_then(Volts::new),
                processor: mean(Channel::Temp, ix).and_then(Celsius::new),
            };
            let time = said::moment_at(&moment, self.began);
            let _ = writeln!(lines, "{time}\t{}", said::read(&moment).replace(['\n', '\t'], " "));
        }
        lines.truncate(lines.trim_end_matches('\n').len());
        lines
    }
}

fn doing_at(done: &[ActivitySpan], at_s: f64) -> Option<&str> {
    let here = done.iter().find(|it| (it.from.si()..it.to.si()).contains(&at_s))?;
    here.doing.as_deref()
}

/// A flat strip, described for who cannot see it.
fn strip(described: &str) -> String {
    format!(
        "<svg class=plot role=img aria-label=\"{}\" viewBox=\"0 0 {WIDE} 10\" preserveAspectRatio=none><path class=base d=\"M0 5H{WIDE}\"/>",
        escaped(described)
    )
}

/// The draw of a step.
struct Drawn {
    mean: f64,
    most: f64,
}

/// Of each step: measured where it was, else modelled.
fn drawn(series: &Series) -> Vec<Option<Drawn>> {
    let at = |stats: &[Option<Stats>], ix: usize| {
        let seen = stats.get(ix).copied().flatten().filter(|it| it.mean.is_finite())?;
        let most = if seen.max.is_finite() { seen.max.max(seen.mean) } else { seen.mean };
        Some(Drawn { mean: seen.mean, most })
    };
    let (measured, modelled) = (series.channel(Channel::Watts), series.channel(Channel::Modelled));
    let told = |(ix, t_s): (usize, &f64)| {
        let sound = t_s.is_finite();
        at(measured, ix).or_else(|| at(modelled, ix)).filter(|_| sound)
    };
    series.t_s.iter().enumerate().map(told).collect()
}

type Stretches = Vec<(f64, f64)>;

/// Where the draw was only modelled, and where the record has rows and no draw.
fn gaps(series: &Series) -> (Stretches, Stretches) {
    let (measured, modelled) = (series.channel(Channel::Watts), series.channel(Channel::Modelled));
    let known = |of: &[Option<Stats>], ix: usize| of.get(ix).copied().flatten().is_some();
    let (mut estimated, mut silent) = (Stretches::new(), Stretches::new());
    for (ix, from_s) in series.t_s.iter().copied().enumerate().filter(|it| it.1.is_finite()) {
        let all = match (known(measured, ix), known(modelled, ix)) {
            (true, _) => continue,
            (false, true) => &mut estimated,
            (false, false) => &mut silent,
        };
        let to_s = from_s + series.step_s;
        match all.last_mut() {
            Some(last) if from_s - last.1 < series.step_s / 2.0 => last.1 = to_s,
            _ => all.push((from_s, to_s)),
        }
    }
    (estimated, silent)
}
