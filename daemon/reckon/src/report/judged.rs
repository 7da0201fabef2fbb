//! The forecasts made on the way, each against what came.

use alloc::vec::Vec;

use crate::{
    record::ForecastMade,
    units::{Seconds, Share},
};

/// How an outing really went, as far as that is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Truth {
    /// It goes on.
    Open {
        /// It has lasted so long.
        at: Seconds,
    },
    /// The bank was empty then.
    Died {
        /// The shortest that fits what is known.
        at: Seconds,
        /// It may have been so much later.
        within: Seconds,
    },
    /// It ended before the bank was empty, or nobody knows: the bank would have lasted at least
    /// till then.
    AtLeast {
        /// When it ended.
        at: Seconds,
    },
}

/// What became of a forecast.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ForecastOutcome {
    /// The true end lay between its ends.
    Held,
    /// It came before the cautious end.
    Sooner,
    /// It came after the hopeful end.
    Later,
    /// Not known.
    Open,
}

/// A forecast against what came.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JudgedForecast {
    /// As it was made.
    pub made: ForecastMade,
    /// What really remained then (the middle of an interval); where only 'at least' is known, that.
    pub came: Option<Seconds>,
    /// What became of it.
    pub outcome: ForecastOutcome,
    /// Its middle minus what came, where that is known.
    pub off: Option<Seconds>,
    /// The size of that as a share of what remained.
    pub off_share: Option<Share>,
}

/// All forecasts of an outing.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecasts {
    /// Each.
    pub all: Vec<JudgedForecast>,
    /// How it went.
    pub truth: Truth,
    /// How many can be judged.
    pub judged: usize,
    /// Of those, how many held the truth.
    pub held: usize,
    /// Half of the middles were no further off.
    pub middle_off: Option<Seconds>,
    /// The same as a share of what remained.
    pub middle_off_share: Option<Share>,
}

impl Forecasts {
    /// Lays each against the truth, times switched off left out. What was made at or after the end foretold nothing.
    #[must_use]
    pub fn judge(made: &[ForecastMade], truth: Truth, off: &[(f64, f64)]) -> Self {
        let end_s = match truth {
            Truth::Open { .. } => f64::INFINITY,
            Truth::Died { at, within } => at.si() + within.si().max(0.0) / 2.0,
            Truth::AtLeast { at } => at.si(),
        };
        let before = made.iter().filter(|it| it.at.as_s() < end_s);
        let all: Vec<JudgedForecast> = before.map(|it| judge(it, truth, end_s, off)).collect();
        let off = |pick: fn(&JudgedForecast) -> Option<f64>| {
            middle(all.iter().filter_map(pick).collect())
        };
        Self {
            judged: all.iter().filter(|it| it.outcome != ForecastOutcome::Open).count(),
            held: all.iter().filter(|it| it.outcome == ForecastOutcome::Held).count(),
            middle_off: off(|it| it.off.map(|off| off.si().abs())).and_then(Seconds::new),
            middle_off_share: off(|it| it.off_share.map(Share::part)).map(Share::nearest),
            all,
            truth,
        }
    }
}

fn judge(made: &ForecastMade, truth: Truth, end_s: f64, off: &[(f64, f64)]) -> JudgedForecast {
    let made_s = made.at.as_s();
    let since = |at_s: f64| Seconds::of(at_s).si().clamp(made_s, end_s.max(made_s));
    let off_s: f64 =
        off.iter().map(|(from_s, to_s)| (since(*to_s) - since(*from_s)).max(0.0)).sum();
    let came = Seconds::new(end_s - made_s - off_s).filter(|came| came.si() > 0.0);
    let [low, middle, high] = made.remaining_s.map(Seconds::of);
    let (outcome, known) = match (truth, came) {
        (Truth::Open { .. }, _) | (_, None) => (ForecastOutcome::Open, None),
        (Truth::Died { .. }, Some(came)) if came < low => (ForecastOutcome::Sooner, Some(came)),
        (_, Some(came)) if came > high => {
            let died = matches!(truth, Truth::Died { .. });
            (ForecastOutcome::Later, died.then_some(came))
        }
        (Truth::Died { .. }, Some(came)) => (ForecastOutcome::Held, Some(came)),
        (Truth::AtLeast { .. }, Some(_)) => (ForecastOutcome::Open, None),
    };
    let off = known.map(|came| middle - came);
    JudgedForecast {
        made: *made,
        came,
        outcome,
        off,
        off_share: off.zip(known).map(|(off, came)| Share::nearest(off.si().abs() / came.si())),
    }
}

/// The middle one (the upper of two).
fn middle(mut all: Vec<f64>) -> Option<f64> {
    all.sort_by(f64::total_cmp);
    all.get(all.len() / 2).copied()
}
