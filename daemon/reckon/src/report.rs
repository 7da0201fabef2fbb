//! The report of an outing: what was taken and when, how warm and at what voltage, what the timed
//! modes and the contacts took, and how good the forecasts were. From the record's plain rows;
//! nothing is asked or kept.

mod advice;
mod doing;
mod judged;
mod planned;
mod whole;

use alloc::{string::String, vec::Vec};

pub use advice::Advice;
pub use doing::ActivitySpan;
pub use judged::{ForecastOutcome, Forecasts, JudgedForecast, Truth};
pub use planned::{Assumed, PlanOutcome, StretchOutcome, Wrong};
pub use whole::{BankTally, LearnedStep, OutingReport, contact, since_zero_s};

use crate::{
    adif::Contact,
    contacts::{self, Reckoned, Stretch},
    energy_tally::{BeforeAfter, EnergyTally, LoadFit, OutingTally, PART_SENT, RegressionLine},
    engine::is_switch,
    fold::{Fold, Kind, Total, Totals},
    record::{
        Channel, Correction, EnergyPart, Event, EventKind, ForecastMade, LoadLine, OutingEnergy,
        Row, Stats, Unread,
    },
    time::Wall,
    units::{Celsius, Joules, Seconds, Share, Volts, Watts},
};

/// Mean and extremes of a quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MinMeanMax<Q> {
    /// Smallest look.
    pub low: Q,
    /// Mean.
    pub mean: Q,
    /// Largest look.
    pub high: Q,
}

/// All that a report is made from. Times count from the outing's beginning.
#[derive(Clone, Copy, Debug)]
pub struct ReportInputs<'a> {
    /// The record, oldest row first.
    pub rows: &'a [Row],
    /// What happened, oldest first: activities as they were told at the time, and marks.
    pub events: &'a [Event],
    /// What was said afterwards; later ones win.
    pub corrections: &'a [Correction],
    /// Contacts, with the outing's beginning as their clock's zero.
    pub contacts: &'a [Contact],
    /// Stretches that were folded.
    pub folds: &'a [Fold],
    /// What the processor's load takes, as the fit stood at the time; none in an old record.
    pub loads: &'a [LoadLine],
    /// Forecasts, oldest first.
    pub forecasts: &'a [ForecastMade],
    /// When the board was switched off within the outing: from, to, s. Nothing is drawn then, and a
    /// forecast does not count it.
    pub off_s: &'a [(f64, f64)],
    /// How it really went.
    pub truth: Truth,
}

/// The share of the draw that goes with the processor's load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoadShare {
    /// Draw against load.
    pub line: RegressionLine,
    /// What the load took, and its standard error.
    pub taken: Option<(Joules, Joules)>,
    /// It was not fitted at the time, second by second, but to rows of the record.
    pub from_rows: bool,
}

/// Before against after a mark.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkedChange {
    /// When.
    pub at: Seconds,
    /// The operator's words.
    pub text: String,
    /// What it draws more, and its standard error.
    pub more: (Watts, Watts),
}

/// An outing, taken apart.
///
/// ```
/// use reckon::{
///     record::{Channel, Event, EventKind, Row, Stats},
///     report::{Report, ReportInputs, Truth},
///     time::Mono,
///     units::{Seconds, Watts},
/// };
///
/// // Two hours in rows of ten seconds: listening at 3 W, from the second hour on in contact at 5 W.
/// let row = |k: u32| {
///     let mut stats = [None; Channel::ALL.len()];
///     stats[Channel::Watts.ix()] = Some(Stats::one(if k < 360 { 3.0 } else { 5.0 }));
///     Row { from_s: f64::from(k) * 10.0, span_s: 10.0, stats }
/// };
/// let rows: Vec<Row> = (0..720).map(row).collect();
/// let said = |hour: f64, doing: &str| {
///     let (at, text) = (Mono::at_s(hour * 3600.0), doing.into());
///     Event { at, kind: EventKind::Activity, text }
/// };
/// let report = Report::from_inputs(&ReportInputs {
///     rows: &rows,
///     events: &[said(0.0, "Receive"), said(1.0, "Contacts")],
///     corrections: &[],
///     contacts: &[],
///     folds: &[],
///     loads: &[],
///     forecasts: &[],
///     off_s: &[],
///     truth: Truth::Open { at: Seconds::of(7200.0) },
/// });
/// let wh: Vec<(&str, f64)> =
///     report.tally.activities().map(|(name, tally)| (name, tally.energy().wh().round())).collect();
/// assert_eq!(wh, [("Receive", 3.0), ("Contacts", 5.0)]);
/// assert_eq!(report.tally.whole().mean(), Some(Watts::of(4.0)));
/// ```
#[derive(Clone, Debug)]
pub struct Report {
    /// What was done when, corrections applied, without holes.
    pub done: Vec<ActivitySpan>,
    /// The longest row: ten seconds, or five minutes where fine rows were thinned.
    pub coarsest: Seconds,
    /// Energy by activity and by hour. The peaks in it are of single looks; its spread is of rows'
    /// means.
    pub tally: OutingTally,
    /// Part of the time and energy that is modelled, not measured.
    pub modelled: EnergyTally,
    /// Whether its energies are lower bounds, because the sensor was at the end of its range at times.
    pub at_least: bool,
    /// Time within the rows' reach in which no draw was known.
    pub silent: Seconds,
    /// The same rows, and what was taken while nobody read.
    pub energy: OutingEnergy,
    /// What every list names as the outing's energy; `None` where the record has none.
    pub named: Option<Joules>,
    /// What goes with the processor's load.
    pub load: Option<LoadShare>,
    /// The processor's temperature.
    pub temp: Option<MinMeanMax<Celsius>>,
    /// The supply.
    pub volts: Option<MinMeanMax<Volts>>,
    /// What was folded, by slot; the `latest` of each is its longest stretch.
    pub folds: Vec<Total>,
    /// Contacts against energy; `None` without any contact.
    pub contacts: Option<Reckoned>,
    /// Energy that the latest forecast still expects at this outing's draw, while it goes on.
    pub left: Option<Joules>,
    /// The forecasts against what came.
    pub forecasts: Forecasts,
    /// What marks switched, where half a minute lies undisturbed on both sides.
    pub switched: Vec<MarkedChange>,
}

impl Report {
    /// All energy of the outing, by the name that every list gives it. It is the sum of what was read
    /// ([`OutingTally::whole`]), [`Report::unread`] and [`Report::difference`].
    #[must_use]
    pub fn all(&self) -> Joules {
        self.named.unwrap_or_else(|| self.told_apart())
    }

    /// What was taken while nobody read, by the reason.
    pub fn unread(&self) -> impl Iterator<Item = (Unread, EnergyPart)> {
        self.energy.unread()
    }

    /// What the outing was said to have taken when it ended, beyond what can be told apart now: of
    /// five-minute rows, or by an older version.
    #[must_use]
    pub fn difference(&self) -> Joules {
        self.all() - self.told_apart()
    }

    fn told_apart(&self) -> Joules {
        self.tally.whole().energy() + Joules::from_wh(self.energy.bridged_wh())
    }

    /// Takes an outing apart.
    #[must_use]
    pub fn from_inputs(told: &ReportInputs<'_>) -> Self {
        let stretches = doing::stretches(told.events, told.corrections);
        let mut doing = doing::Along::new(&stretches);
        let mut tally = OutingTally::new();
        let mut modelled = EnergyTally::default();
        let (mut fit, mut silent) = (LoadFit::default(), Seconds::ZERO);
        let (mut temp, mut volts) = (Ranging::default(), Ranging::default());
        let sent = least_sent(told.folds);
        let (mut ends, mut coarsest) = (Seconds::ZERO, Seconds::ZERO);
        let mut record = Vec::with_capacity(told.rows.len());
        for row in told.rows.iter().filter(|row| is_sound(row)) {
            let span = Seconds::of(row.span_s);
            ends = ends.max(Seconds::of(row.to_s()));
            coarsest = coarsest.max(span);
            temp.add(span, seen(row.get(Channel::Temp)));
            volts.add(span, seen(row.get(Channel::Volts)));
            let Some(draw) = seen(row.draw_w()) else {
                silent = silent + span;
                continue;
            };
            enter(&mut tally, row, draw, &mut doing);
            let mean = Watts::of(draw.mean);
            if row.get(Channel::Watts).is_none() {
                modelled.add(span, mean);
            }
            // What is modelled follows the load by itself.
            let busy = row.get(Channel::Busy).filter(|_| row.get(Channel::Watts).is_some());
            if let Some(busy) = busy {
                let looks = [draw.min, draw.mean, draw.max].map(Watts::of);
                fit.add_below(
                    span,
                    Share::nearest(busy.mean),
                    looks,
                    sent.map(|it| it * PART_SENT),
                );
            }
            let from = zero_at(Seconds::of(row.from_s));
            record.push(Stretch { from, lasted: span, draw: mean });
        }
        let forecasts = Forecasts::judge(told.forecasts, told.truth, told.off_s);
        Self {
            done: doing::done(&stretches, ends),
            coarsest,
            load: load_of(told.loads, &fit),
            left: left(told, tally.whole()),
            tally,
            modelled,
            at_least: false,
            silent,
            energy: OutingEnergy::default(),
            named: None,
            temp: temp.spread(Celsius::of),
            volts: volts.spread(Volts::of),
            folds: by_slot(told.folds),
            contacts: (!told.contacts.is_empty()).then(|| contacts::reckon(told.contacts, &record)),
            forecasts,
            switched: switched(told),
        }
    }
}

/// By the surest fit that stood at the time; in an old record, by its rows. A run that ended before its
/// transmissions were known was moved by them, and tells nothing.
fn load_of(told: &[LoadLine], rows: &LoadFit) -> Option<LoadShare> {
    let told_then = told.iter().filter_map(|it| it.line).filter(RegressionLine::is_by_load);
    let line = match told.is_empty() {
        true => rows.line().filter(RegressionLine::is_possible_draw),
        false => told_then.min_by(|a, b| a.slope_se.total_cmp(&b.slope_se)),
    }?;
    Some(LoadShare { line, taken: rows.energy_by(&line), from_rows: told.is_empty() })
}

/// What was folded, by slot. The longest is added last: it is the one whose curve is shown.
fn by_slot(folds: &[Fold]) -> Vec<Total> {
    let mut by_length: Vec<&Fold> = folds.iter().collect();
    by_length.sort_by(|a, b| a.is_apart().cmp(&b.is_apart()).then(a.seconds.total_cmp(&b.seconds)));
    let mut totals = Totals::default();
    for fold in by_length {
        totals.add(fold.clone());
    }
    totals.into_vec()
}

/// What the weakest transmission takes that was found in the draw: rows that move by it tell of the
/// radio, not of the load.
fn least_sent(folds: &[Fold]) -> Option<Watts> {
    let sent = folds.iter().filter_map(|fold| fold.part(Kind::Transmit));
    sent.map(|part| part.watts).reduce(Watts::min)
}

/// The clock of a report: the outing's beginning is its zero.
#[must_use]
pub const fn zero_at(since: Seconds) -> Wall {
    Wall::from_unix_ms(0).plus_s(since.si())
}

/// Whether this can be a row at all: a damaged record may hold anything.
fn is_sound(row: &Row) -> bool {
    (0.0..1e9).contains(&row.from_s) && (0.0..86_400.0).contains(&row.span_s)
}

/// The same of what was seen in it.
fn seen(stats: Option<Stats>) -> Option<Stats> {
    stats.filter(|it| [it.min, it.mean, it.max].iter().all(|value| value.is_finite()))
}

/// A row goes into the tally in pieces, so that each falls into one hour and one activity.
fn enter(tally: &mut OutingTally, row: &Row, draw: Stats, doing: &mut doing::Along<'_>) {
    const HOUR_S: f64 = 3600.0;
    let (mut at_s, to_s) = (row.from_s, row.to_s());
    while at_s < to_s {
        let (now, until_s) = doing.at(at_s);
        let hour_s = (libm::floor(at_s / HOUR_S) + 1.0) * HOUR_S;
        let end_s = to_s.min(until_s).min(hour_s);
        // Beyond what a number can tell apart nothing goes on.
        if end_s <= at_s {
            return;
        }
        // Which piece of a row held its peak is not known: the larger one is taken.
        let most = (end_s - at_s) * 2.0 >= row.span_s;
        let peak = Watts::of(if most { draw.max } else { draw.mean });
        let lasted = Seconds::of(end_s - at_s);
        tally.enter_peak(Seconds::of(at_s), lasted, Watts::of(draw.mean), peak, now);
        at_s = end_s;
    }
}

/// At the mean draw so far, for as long as the latest forecast's middle says.
fn left(told: &ReportInputs<'_>, whole: &EnergyTally) -> Option<Joules> {
    let latest = told.forecasts.last()?;
    let Truth::Open { at } = told.truth else { return None };
    let middle_s = latest.remaining_s[1] - (at.si() - latest.at.as_s()).max(0.0);
    Some(whole.mean()? * Seconds::of(middle_s.max(0.0)))
}

/// Time on each side of a mark that is compared: longer, and something else changes.
const BESIDE_S: f64 = 300.0;
/// Fine rows only: in five minutes too much happens.
const FINE_S: f64 = 15.0;

fn switched(told: &ReportInputs<'_>) -> Vec<MarkedChange> {
    // Accessories were judged at the time, from single seconds: an event of its own says so.
    let said = |it: &&Event| {
        it.kind == EventKind::Mark && !it.text.trim().is_empty() && !is_switch(&it.text)
    };
    told.events.iter().filter(said).filter_map(|mark| beside(told, mark)).collect()
}

/// Compares the rows beside a mark, up to whatever else was said before and after it.
fn beside(told: &ReportInputs<'_>, mark: &Event) -> Option<MarkedChange> {
    let at_s = mark.at.as_s();
    let (mut from_s, mut to_s) = (at_s - BESIDE_S, at_s + BESIDE_S);
    let said = |it: &&Event| matches!(it.kind, EventKind::Mark | EventKind::Activity);
    for other_s in told.events.iter().filter(said).map(|it| it.at.as_s()) {
        if other_s < at_s {
            from_s = from_s.max(other_s);
        } else if other_s > at_s {
            to_s = to_s.min(other_s);
        }
    }
    let mut both = BeforeAfter::default();
    let first = told.rows.partition_point(|row| row.from_s < from_s);
    for row in told.rows.get(first..)?.iter().take_while(|row| row.from_s < to_s) {
        let fine = row.span_s <= FINE_S && row.to_s() <= to_s;
        let Some(draw) = seen(row.draw_w()).filter(|_| fine) else { continue };
        // A row is the mean of its seconds; the one that holds the mark is neither.
        for _ in 0..10 {
            if row.to_s() <= at_s {
                both.before(Watts::of(draw.mean));
            } else if row.from_s >= at_s {
                both.after(Watts::of(draw.mean));
            }
        }
    }
    let (at, more) = (Seconds::of(at_s), both.difference()?);
    Some(MarkedChange { at, text: String::from(mark.text.trim()), more })
}

/// Extremes, and the mean by time.
#[derive(Clone, Copy, Debug, Default)]
struct Ranging {
    range: Option<(f64, f64)>,
    sum: f64,
    lasted_s: f64,
}

impl Ranging {
    fn add(&mut self, span: Seconds, seen: Option<Stats>) {
        let (Some(Stats { mean, min, max }), true) = (seen, span.si() > 0.0) else { return };
        let (least, most) = self.range.unwrap_or((min, max));
        self.range = Some((least.min(min), most.max(max)));
        self.sum += mean * span.si();
        self.lasted_s += span.si();
    }

    fn spread<Q>(self, of: impl Fn(f64) -> Q) -> Option<MinMeanMax<Q>> {
        let (low, high) = self.range?;
        Some(MinMeanMax { low: of(low), mean: of(self.sum / self.lasted_s), high: of(high) })
    }
}

#[cfg(test)]
mod tests;
