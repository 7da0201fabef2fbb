//! The report of an outing as the record has it: its facts, laid out as the report wants them.

use alloc::{string::String, vec::Vec};

use super::{PlanOutcome, Report, ReportInputs, Truth, zero_at};
use crate::{
    adif::{Contact, band_named},
    energy_tally::{EnergyTally, OutingTally},
    engine::EarlierDraw,
    record::{
        BankWhole, Ending, EnergyPart, Outing, OutingEnergy, OutingWhole, PeriodFold,
        PlacedContact, RecordedRunDown, is_at_least, learned, usable_wh,
    },
    time::Wall,
    units::{Joules, Seconds},
};

/// An outing, its report and what its run-down taught.
#[derive(Clone, Debug)]
pub struct OutingReport {
    /// All that the record has of it.
    pub whole: OutingWhole,
    /// What was taken when, and how good the forecasts were.
    pub report: Report,
    /// What its run-down taught, where it was credited and counts.
    pub learned: Option<LearnedStep>,
    /// The plan that it was started with, against what came.
    pub planned: Option<PlanOutcome>,
}

/// Usable energy of a full bank as believed, Wh: 10 %, 50 %, 90 %.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LearnedStep {
    /// From all that was learned before.
    pub before_wh: [f64; 3],
    /// With this run-down.
    pub after_wh: [f64; 3],
}

/// What a bank gave by activity, over its newest outings.
#[derive(Clone, Debug)]
pub struct BankTally {
    /// The bank's name.
    pub bank: String,
    /// So many of its outings are counted, the newest.
    pub outings: usize,
    /// Of so many.
    pub of: usize,
    /// The longest row, s: five minutes where fine rows were thinned.
    pub coarsest_s: f64,
    /// By activity.
    pub tally: OutingTally,
    /// Besides, what was taken while nobody read.
    pub unread: EnergyPart,
    /// Of all, counted while a sensor was at the end of its range, Wh.
    pub over_range_wh: f64,
}

impl OutingReport {
    /// Of an outing as the record has it. Its rows, most of its size, are let go.
    #[must_use]
    pub fn from_whole(mut whole: OutingWhole) -> Self {
        let (report, learned) = (Report::from_outing(&whole), LearnedStep::of_outing(&whole));
        let planned = PlanOutcome::of_outing(&whole, report.forecasts.truth, report.all());
        whole.rows = Vec::new();
        Self { report, learned, planned, whole }
    }
}

impl LearnedStep {
    fn of_outing(whole: &OutingWhole) -> Option<Self> {
        let BankWhole { bank, run_downs } = whole.bank.as_ref()?;
        let is_own = |one: &RecordedRunDown| one.outing == Some(whole.outing.id) && !one.struck;
        let own = run_downs.iter().position(is_own)?;
        let usable = |count: usize| {
            let known = run_downs.get(..count).unwrap_or(run_downs);
            usable_wh(&bank.spec, &learned(&bank.spec, known))
        };
        let (before_wh, after_wh) = usable(own).zip(usable(own + 1))?;
        Some(Self { before_wh, after_wh })
    }
}

impl BankTally {
    /// Nothing yet, of a bank with so many outings.
    #[must_use]
    pub fn new(bank: String, of: usize) -> Self {
        Self {
            bank,
            outings: 0,
            of,
            coarsest_s: 0.0,
            tally: OutingTally::new(),
            unread: EnergyPart::default(),
            over_range_wh: 0.0,
        }
    }

    /// Whether [`Self::all`] is a lower bound, as of an outing.
    #[must_use]
    pub fn is_at_least(&self) -> bool {
        is_at_least(self.over_range_wh, self.all().wh())
    }

    /// All energy of these outings, by the name that every list gives it.
    #[must_use]
    pub fn all(&self) -> Joules {
        self.tally.whole().energy() + Joules::from_wh(self.unread.energy_wh)
    }

    /// Counts an outing in.
    pub fn add(&mut self, report: &Report) {
        self.outings += 1;
        self.coarsest_s = self.coarsest_s.max(report.coarsest.si());
        self.tally.merge(&report.tally);
        let besides = report.all() - report.tally.whole().energy();
        let unread_s: f64 = report.unread().map(|(_, part)| part.lasted_s).sum();
        self.unread.lasted_s += unread_s;
        self.unread.energy_wh += besides.wh();
        self.over_range_wh += report.energy.over_range_wh;
    }
}

impl Report {
    /// What activities drew; nothing where a tenth or more was modelled, which says what is assumed and
    /// not what is usual, or where the sensor was at the end of its range.
    #[must_use]
    pub fn measured_draws(&self) -> Vec<EarlierDraw> {
        let whole_s = self.tally.whole().lasted().si();
        let measured = self.modelled.lasted().si() * 10.0 < whole_s && !self.at_least;
        let draw = |(name, tally): (&str, &EnergyTally)| {
            Some(EarlierDraw { name: name.into(), lasted: tally.lasted(), mean: tally.mean()? })
        };
        self.tally.activities().filter(|_| measured).filter_map(draw).collect()
    }

    /// Takes an outing apart.
    #[must_use]
    pub fn from_outing(whole: &OutingWhole) -> Self {
        let energy = OutingEnergy::of_rows(&whole.on, &whole.rows);
        let report = Self::from_inputs(&ReportInputs {
            rows: &whole.rows,
            events: &whole.events,
            corrections: &whole.corrections,
            contacts: &whole.contacts.contacts.iter().map(contact).collect::<Vec<_>>(),
            folds: &whole.folds.iter().map(PeriodFold::fold).collect::<Vec<_>>(),
            loads: &whole.loads,
            forecasts: &whole.forecasts,
            off_s: &whole.off_s,
            truth: truth(&whole.outing, &whole.off_s),
        });
        let named = whole.outing.energy_wh.map(Joules::from_wh);
        Self { energy, named, at_least: whole.outing.is_at_least(), ..report }
    }
}

/// The contacts of an outing as the report wants them: on the outing's own axis.
pub fn contact(placed: &PlacedContact) -> Contact {
    let kept = &placed.contact;
    // Logs in whole minutes may begin a little before the outing.
    let began = zero_at(Seconds::of(placed.t_s).max(Seconds::ZERO));
    let lasted_ms = kept.ended_ms.map(|ended| ended.saturating_sub(kept.began_ms));
    let end_ms =
        lasted_ms.map(|lasted| zero_at(Seconds::of(placed.t_s)).unix_ms().saturating_add(lasted));
    Contact {
        began,
        ended: end_ms.map(Wall::from_unix_ms),
        band: kept.band.as_deref().and_then(band_named),
        mode: kept.mode.clone(),
        with: None,
    }
}

/// Where the power was lost and nobody said how, only 'at least' is known: the chance that stands
/// in the record is the forecast's own, which cannot judge itself.
fn truth(outing: &Outing, off: &[(f64, f64)]) -> Truth {
    let off_s: f64 = off.iter().map(|(from_s, to_s)| to_s - from_s).sum();
    let at = Seconds::of(outing.lasted_s + off_s);
    match outing.ending {
        Ending::Open => Truth::Open { at },
        Ending::Died => {
            Truth::Died { at, within: Seconds::of(outing.ended_within_s.unwrap_or(0.0)) }
        }
        Ending::PowerLost { .. } | Ending::SwitchedOff | Ending::Swapped => Truth::AtLeast { at },
    }
}

/// A moment of the report's clock, seconds since the outing began.
#[expect(clippy::cast_precision_loss, reason = "milliseconds of an outing are exact in a double")]
pub fn since_zero_s(at: Wall) -> f64 {
    at.unix_ms() as f64 / 1000.0
}
