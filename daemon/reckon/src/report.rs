//! The report of an outing: what was taken and when, how warm and at what voltage, what the timed
//! modes and the contacts took, and how good the forecasts were. From the record's plain rows;
//! nothing is asked or kept.

mod doing;
mod judged;
mod whole;

use alloc::{string::String, vec::Vec};

pub use doing::{ActivityChange, ActivityCorrection, ActivitySpan};
pub use judged::{ForecastOutcome, Forecasts, JudgedForecast, PlacedForecast, Truth};
pub use whole::{BankTally, LearnedStep, OutingReport, contact, since_zero_s};

use crate::{
    adif::Contact,
    contacts::{self, Reckoned, Stretch},
    energy_tally::{BeforeAfter, EnergyTally, LoadFit, OutingTally, PART_SENT, RegressionLine},
    engine::is_switch,
    fold::{Fold, Kind, Total, Totals},
    record::{EnergyPart, LoadLine, OutingEnergy, Unread},
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

/// A row of the record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReportRow {
    /// When it began, since the outing did.
    pub from: Seconds,
    /// Its length: ten seconds, or five minutes of an old outing.
    pub span: Seconds,
    /// The draw.
    pub draw: Option<MinMeanMax<Watts>>,
    /// Whether a sensor read it; else it was modelled.
    pub measured: bool,
    /// How busy the processor was.
    pub busy: Option<Share>,
    /// Its temperature.
    pub temp: Option<MinMeanMax<Celsius>>,
    /// The supply.
    pub volts: Option<MinMeanMax<Volts>>,
}

impl ReportRow {
    /// Whether this can be a row at all: a damaged record may hold anything.
    fn sound(&self) -> bool {
        (0.0..1e9).contains(&self.from.si()) && (0.0..86_400.0).contains(&self.span.si())
    }
}

/// What the operator wrote into the record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark<'a> {
    /// When, since the outing began.
    pub at: Seconds,
    /// In the operator's words.
    pub text: &'a str,
}

/// All that a report is made from. Times count from the outing's beginning.
#[derive(Clone, Copy, Debug)]
pub struct ReportInputs<'a> {
    /// The record, oldest row first.
    pub rows: &'a [ReportRow],
    /// What the operator was doing, as it was said at the time, oldest first.
    pub changes: &'a [ActivityChange<'a>],
    /// What was said afterwards; later ones win.
    pub corrections: &'a [ActivityCorrection<'a>],
    /// Contacts, with the outing's beginning as their clock's zero.
    pub contacts: &'a [Contact],
    /// Stretches that were folded.
    pub folds: &'a [Fold],
    /// What the processor's load takes, as the fit stood at the time; none in an old record.
    pub loads: &'a [LoadLine],
    /// Forecasts, oldest first.
    pub forecasts: &'a [PlacedForecast],
    /// Marks, oldest first.
    pub marks: &'a [Mark<'a>],
    /// When the board was switched off within the outing: from, to. Nothing is drawn then, and a
    /// forecast does not count it.
    pub off: &'a [(Seconds, Seconds)],
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
///     report::{ActivityChange, MinMeanMax, Report, ReportInputs, ReportRow, Truth},
///     units::{Seconds, Watts},
/// };
///
/// // Two hours in rows of ten seconds: listening at 3 W, from the second hour on in contact at 5 W.
/// let row = |k: u32| {
///     let from = Seconds::of(f64::from(k) * 10.0);
///     let draw = Watts::of(if from < Seconds::of(3600.0) { 3.0 } else { 5.0 });
///     let draw = Some(MinMeanMax { low: draw, mean: draw, high: draw });
///     let span = Seconds::of(10.0);
///     ReportRow { from, span, draw, measured: true, busy: None, temp: None, volts: None }
/// };
/// let rows: Vec<ReportRow> = (0..720).map(row).collect();
/// let said = |hour: f64, doing| ActivityChange { at: Seconds::of(hour * 3600.0), doing: Some(doing) };
/// let report = Report::from_inputs(&ReportInputs {
///     rows: &rows,
///     changes: &[said(0.0, "Receive"), said(1.0, "Contacts")],
///     corrections: &[],
///     contacts: &[],
///     folds: &[],
///     loads: &[],
///     forecasts: &[],
///     marks: &[],
///     off: &[],
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
        let stretches = doing::stretches(told.changes, told.corrections);
        let mut doing = doing::Along::new(&stretches);
        let mut tally = OutingTally::new();
        let mut modelled = EnergyTally::default();
        let (mut fit, mut silent) = (LoadFit::default(), Seconds::ZERO);
        let (mut temp, mut volts) = (Ranging::default(), Ranging::default());
        let sent = least_sent(told.folds);
        let (mut ends, mut coarsest) = (Seconds::ZERO, Seconds::ZERO);
        let mut record = Vec::with_capacity(told.rows.len());
        for row in told.rows.iter().filter(|row| row.sound()) {
            ends = ends.max(row.from + row.span);
            coarsest = coarsest.max(row.span);
            temp.add(row.span, row.temp.map(|it| [it.low.si(), it.mean.si(), it.high.si()]));
            volts.add(row.span, row.volts.map(|it| [it.low.si(), it.mean.si(), it.high.si()]));
            let Some(draw) = row.draw else {
                silent = silent + row.span;
                continue;
            };
            enter(&mut tally, row, draw, &mut doing);
            if !row.measured {
                modelled.add(row.span, draw.mean);
            }
            // What is modelled follows the load by itself.
            if let Some(busy) = row.busy.filter(|_| row.measured) {
                let moved = sent.map(|sent| sent * PART_SENT);
                fit.add_below(row.span, busy, [draw.low, draw.mean, draw.high], moved);
            }
            record.push(Stretch { from: zero_at(row.from), lasted: row.span, draw: draw.mean });
        }
        // The longest is added last: of each slot it is the one whose curve is shown.
        let mut by_length: Vec<&Fold> = told.folds.iter().collect();
        by_length.sort_by(|a, b| a.seconds.total_cmp(&b.seconds));
        let mut folds = Totals::default();
        for fold in by_length {
            folds.add(fold.clone());
        }
        let forecasts = Forecasts::judge(told.forecasts, told.truth, told.off);
        Self {
            done: doing::done(&stretches, ends),
            coarsest,
            load: load_of(told.loads, &fit),
            left: left(told, tally.whole()),
            tally,
            modelled,
            silent,
            energy: OutingEnergy::default(),
            named: None,
            temp: temp.spread(Celsius::of),
            volts: volts.spread(Volts::of),
            folds: folds.into_vec(),
            contacts: (!told.contacts.is_empty()).then(|| contacts::reckon(told.contacts, &record)),
            forecasts,
            switched: switched(told),
        }
    }
}

/// By the fit that stood at the time on most minutes; in an old record, by its rows.
fn load_of(told: &[LoadLine], rows: &LoadFit) -> Option<LoadShare> {
    let told_then = told.iter().filter_map(|it| it.line).filter(RegressionLine::is_possible_draw);
    let line = match told.is_empty() {
        true => rows.line().filter(RegressionLine::is_possible_draw),
        false => told_then.max_by(|a, b| a.pairs.total_cmp(&b.pairs)),
    }?;
    Some(LoadShare { line, taken: rows.energy_by(&line), from_rows: told.is_empty() })
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

/// A row goes into the tally in pieces, so that each falls into one hour and one activity.
fn enter(
    tally: &mut OutingTally,
    row: &ReportRow,
    draw: MinMeanMax<Watts>,
    doing: &mut doing::Along<'_>,
) {
    const HOUR_S: f64 = 3600.0;
    let (mut at_s, to_s) = (row.from.si(), row.from.si() + row.span.si());
    while at_s < to_s {
        let (now, until_s) = doing.at(at_s);
        let hour_s = (libm::floor(at_s / HOUR_S) + 1.0) * HOUR_S;
        let end_s = to_s.min(until_s).min(hour_s);
        // Beyond what a number can tell apart nothing goes on.
        if end_s <= at_s {
            return;
        }
        // Which piece of a row held its peak is not known: the larger one is taken.
        let most = (end_s - at_s) * 2.0 >= row.span.si();
        let peak = if most { draw.high } else { draw.mean };
        tally.enter_peak(Seconds::of(at_s), Seconds::of(end_s - at_s), draw.mean, peak, now);
        at_s = end_s;
    }
}

/// At the mean draw so far, for as long as the latest forecast's middle says.
fn left(told: &ReportInputs<'_>, whole: &EnergyTally) -> Option<Joules> {
    let latest = told.forecasts.last()?;
    let Truth::Open { at } = told.truth else { return None };
    let middle_s = latest.remaining[1].si() - (at.si() - latest.at.si()).max(0.0);
    Some(whole.mean()? * Seconds::of(middle_s.max(0.0)))
}

/// Time on each side of a mark that is compared: longer, and something else changes.
const BESIDE_S: f64 = 300.0;
/// Fine rows only: in five minutes too much happens.
const FINE_S: f64 = 15.0;

fn switched(told: &ReportInputs<'_>) -> Vec<MarkedChange> {
    // Accessories were judged at the time, from single seconds: an event of its own says so.
    let said = |mark: &&Mark<'_>| !mark.text.trim().is_empty() && !is_switch(mark.text);
    told.marks.iter().filter(said).filter_map(|mark| beside(told, mark)).collect()
}

/// Compares the rows beside a mark, up to whatever else was said before and after it.
fn beside(told: &ReportInputs<'_>, mark: &Mark<'_>) -> Option<MarkedChange> {
    let at_s = mark.at.si();
    let (mut from_s, mut to_s) = (at_s - BESIDE_S, at_s + BESIDE_S);
    let others = told.marks.iter().map(|it| it.at.si());
    for other_s in others.chain(told.changes.iter().map(|it| it.at.si())) {
        if other_s < at_s {
            from_s = from_s.max(other_s);
        } else if other_s > at_s {
            to_s = to_s.min(other_s);
        }
    }
    let mut both = BeforeAfter::default();
    let first = told.rows.partition_point(|row| row.from.si() < from_s);
    for row in told.rows.get(first..)?.iter().take_while(|row| row.from.si() < to_s) {
        let (row_s, end_s) = (row.from.si(), row.from.si() + row.span.si());
        let Some(draw) = row.draw.filter(|_| row.span.si() <= FINE_S && end_s <= to_s) else {
            continue;
        };
        // A row is the mean of its seconds; the one that holds the mark is neither.
        for _ in 0..10 {
            if end_s <= at_s {
                both.before(draw.mean);
            } else if row_s >= at_s {
                both.after(draw.mean);
            }
        }
    }
    let more = both.difference()?;
    Some(MarkedChange { at: mark.at, text: String::from(mark.text.trim()), more })
}

/// Extremes, and the mean by time.
#[derive(Clone, Copy, Debug, Default)]
struct Ranging {
    range: Option<(f64, f64)>,
    sum: f64,
    lasted_s: f64,
}

impl Ranging {
    fn add(&mut self, span: Seconds, seen: Option<[f64; 3]>) {
        let (Some([low, mean, high]), true) = (seen, span.si() > 0.0) else { return };
        let (least, most) = self.range.unwrap_or((low, high));
        self.range = Some((least.min(low), most.max(high)));
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
