//! What happened at the last end, and whether the same outing goes on. Pure decisions: everything
//! that is known, and the time, comes as an argument.
//!
//! Words: the *last sign* is the end of the last row that reached the card; the *next sign was due*
//! when the commit after it should have reached the card. A board that lost its power did so
//! between the two, and that interval is all that is claimed.

use alloc::{string::String, vec::Vec};

use libm::{erfc, exp, log, sqrt};

use super::{
    carried::Carried,
    since::{SinceLast, joined},
};
use crate::{
    bank::Start,
    estimator::Observation,
    units::{Joules, Seconds, Share},
};

/// How the daemon said that it ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StopHow {
    /// It was told to stop; the board may have gone on.
    Stopped,
    /// The board was restarting.
    Restarting,
    /// The board was being switched off.
    SwitchingOff,
}

impl StopHow {
    /// As stored.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Stopped => "stopped",
            Self::Restarting => "restarting",
            Self::SwitchingOff => "switching_off",
        }
    }

    /// From its stored name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::Stopped, Self::Restarting, Self::SwitchingOff]
            .into_iter()
            .find(|how| how.name() == name)
    }
}

/// What the record says about the end before this start.
#[derive(Clone, Debug, PartialEq)]
pub struct BeforeStart {
    /// The boot of the last run, as the kernel names it.
    pub boot_uuid: String,
    /// The last sign, seconds of that boot.
    pub last_sign_s: f64,
    /// So long after the last sign the next one was due, s.
    pub due_s: f64,
    /// The clean-stop mark, if there is one: when, and how.
    pub stopped: Option<(f64, StopHow)>,
    /// The last forecast before it: made when (seconds of that boot), and 10 %, 50 %, 90 %, s.
    pub forecast: Option<(f64, [f64; 3])>,
    /// Wall time of that boot's first moment, ms since 1970 UTC, if it could be believed.
    pub wall_at_boot_ms: Option<i64>,
    /// The outing that was open, if any.
    pub outing: Option<OpenOuting>,
    /// Outings right before that one, newest first, that the open one may itself be the rest of: on
    /// the same bank, which was not seen to be charged in between.
    pub earlier_parts: Vec<EarlierPart>,
    /// Earlier outings of that bank whose power went away, newest first.
    pub losses: Vec<Loss>,
}

/// An outing that the next one may be the rest of.
#[derive(Clone, Debug, PartialEq)]
pub struct EarlierPart {
    /// The outing.
    pub outing: OpenOuting,
    /// The chance that its bank had run empty, 0 to 1.
    pub died: f64,
}

/// An earlier outing whose power went away.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loss {
    /// Its id.
    pub outing: i64,
    /// Energy delivered till then, Wh.
    pub energy_wh: f64,
    /// The chance that its bank had run empty, 0 to 1.
    pub died: f64,
    /// Whether a person has said so, or a run-down test showed it.
    pub known: bool,
    /// Whether its bank is known to have begun full.
    pub from_full: bool,
}

/// How the outing before ended, as far as can be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HowEnded {
    /// Its id.
    pub outing: i64,
    /// The chance that its bank had run empty, 0 to 1.
    pub died: f64,
    /// Whether it had, by a person's word.
    pub said: Option<bool>,
}

/// An outing that has no end yet.
#[derive(Clone, Debug, PartialEq)]
pub struct OpenOuting {
    /// Its id.
    pub id: i64,
    /// The bank's name, if one was told.
    pub bank: Option<String>,
    /// The outing's name, if it was given one.
    pub name: Option<String>,
    /// How full the bank was when it began, 0 to 1, if known.
    pub start_share: Option<f64>,
    /// Time switched on till the last sign, s, all its boots together.
    pub lasted_s: f64,
    /// Energy in it till the last sign, Wh.
    pub energy_wh: f64,
    /// Of that, bridged where no row was kept, Wh.
    pub bridged_wh: f64,
    /// Of that, counted at the end of a sensor's range, Wh.
    pub over_range_wh: f64,
    /// What was seen in it, in few steps; may be empty.
    pub steps: Vec<Observation>,
}

impl OpenOuting {
    /// What it had used.
    #[must_use]
    pub fn carried(&self) -> Carried {
        Carried {
            outing: self.name.clone(),
            start: start_of(self.start_share),
            span: Seconds::of(self.lasted_s),
            delivered: Joules::from_wh(self.energy_wh),
            bridged: Joules::from_wh(self.bridged_wh),
            over_range: Joules::from_wh(self.over_range_wh),
            steps: self.steps.clone(),
        }
    }
}

/// How full a bank was, as a record has it: 1 is full, nothing is unknown.
#[must_use]
pub fn start_of(share: Option<f64>) -> Start {
    share.map_or(Start::Unknown, |share| Start::of_level(Share::nearest(share)))
}

impl BeforeStart {
    /// What the open outing had used together with those that it may be the rest of.
    #[must_use]
    pub fn carried(&self) -> Option<Carried> {
        let open = self.outing.as_ref()?.carried();
        Some(
            self.earlier_parts
                .iter()
                .fold(open, |then, first| joined(&first.outing.carried(), &then)),
        )
    }

    /// The outings that the open one may be the rest of, as one.
    fn older(&self) -> Option<SinceLast> {
        let (newest, others) = self.earlier_parts.split_first()?;
        let carried = others
            .iter()
            .fold(newest.outing.carried(), |then, first| joined(&first.outing.carried(), &then));
        Some(SinceLast {
            outing: Some(newest.outing.id),
            died: newest.died,
            older: others.len(),
            ..SinceLast::undated(carried)
        })
    }
}

/// The start that asks.
#[derive(Clone, Debug, PartialEq)]
pub struct ThisStart {
    /// This boot, as the kernel names it.
    pub boot_uuid: String,
    /// Seconds since boot now.
    pub at_s: f64,
    /// Wall time of this boot's first moment, if it can be believed already.
    pub wall_at_boot_ms: Option<i64>,
}

/// How the last run ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ended {
    /// Told to stop, and started again in the same boot: nothing has ended.
    DaemonStopped,
    /// It vanished without a word, and was started again in the same boot.
    DaemonCrashed,
    /// The board was restarted in good order.
    Restarted,
    /// The board was switched off in good order.
    SwitchedOff,
    /// The power went away.
    PowerLost {
        /// The chance that the bank died (rather than that somebody pulled the plug), 0 to 1.
        died: f64,
    },
}

/// What is known of the last end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LastEnd {
    /// What happened.
    pub ended: Ended,
    /// It ended no earlier than this, seconds of that boot.
    pub from_s: f64,
    /// And no later than this, seconds of that boot.
    pub to_s: f64,
    /// How long the power was off, s, where both boots' wall times are believed.
    pub off_s: Option<f64>,
    /// An earlier outing whose power went away: the chance that its bank had run empty is now this.
    pub revised: Option<(i64, f64)>,
    /// The bank began full, which was not known: it ran empty after what a full one had given before.
    pub began_full: bool,
}

impl LastEnd {
    /// Whether the board has not been switched off since.
    #[must_use]
    pub const fn is_same_boot(&self) -> bool {
        matches!(self.ended, Ended::DaemonStopped | Ended::DaemonCrashed)
    }

    /// The chance that the bank had run empty.
    #[must_use]
    pub const fn died(&self) -> f64 {
        match self.ended {
            Ended::PowerLost { died } => died,
            _ => 0.0,
        }
    }
}

/// What a start makes of the outing that was open.
#[derive(Clone, Debug, PartialEq)]
pub struct AtStart {
    /// It goes on by itself: nothing was switched off, or not for long.
    pub goes_on: bool,
    /// What is known of the time since the outing before: since the open one, or, where that goes on,
    /// since the one that it may itself be the rest of.
    pub since: Option<SinceLast>,
}

/// Decides whether the open outing goes on, and what there is to doubt.
#[must_use]
pub fn at_start(before: &BeforeStart, last_end: &LastEnd) -> AtStart {
    let older = before.older();
    if last_end.is_same_boot() {
        return AtStart { goes_on: before.outing.is_some(), since: older };
    }
    let since = before.outing.as_ref().zip(before.carried()).map(|(open, carried)| SinceLast {
        outing: Some(open.id),
        died: last_end.died(),
        off: last_end.off_s.map(Seconds::of),
        restarted: last_end.ended == Ended::Restarted,
        older: before.earlier_parts.len(),
        ..SinceLast::undated(carried)
    });
    let goes_on = since.as_ref().is_some_and(SinceLast::goes_on);
    AtStart { goes_on, since: if goes_on && older.is_some() { older } else { since } }
}

/// What the decisions go by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rules {
    /// Plugs pulled an hour, on average, against which the forecast's chance is weighed. Common
    /// practice, no source: it happens about once in a long day.
    pub pulls_an_hour: f64,
    /// A cut may come while the commit itself is on its way to the card, s.
    pub commit_slack_s: f64,
    /// Deviation of the logarithm of the energies at which one bank runs empty: two outings that
    /// each repeat to 3 %.
    pub repeats: f64,
}

impl Default for Rules {
    fn default() -> Self {
        Self { pulls_an_hour: 0.1, commit_slack_s: 2.0, repeats: 0.04 }
    }
}

/// Decides what happened before this start.
#[must_use]
pub fn judge_last_end(before: &BeforeStart, start: &ThisStart, rules: &Rules) -> LastEnd {
    let sign = before.last_sign_s.max(0.0);
    if before.boot_uuid == start.boot_uuid {
        return same_boot(before, start, sign);
    }
    let off_after = |end_s: f64| off_s(before, start, end_s);
    match before.stopped {
        Some((at_s, how)) => {
            let at_s = at_s.max(sign);
            let off = off_after(at_s);
            let ended =
                if how == StopHow::Restarting { Ended::Restarted } else { Ended::SwitchedOff };
            LastEnd { off_s: off, ..known(ended, at_s, at_s) }
        }
        None => {
            let to_s = sign + before.due_s.max(0.0) + rules.commit_slack_s;
            let weighed = weigh_loss(before, sign, to_s, rules);
            LastEnd {
                off_s: off_after(sign),
                revised: weighed.earlier,
                began_full: weighed.began_full,
                ..known(Ended::PowerLost { died: weighed.died }, sign, to_s)
            }
        }
    }
}

fn same_boot(before: &BeforeStart, start: &ThisStart, sign: f64) -> LastEnd {
    let (ended, from_s, to_s) = match before.stopped {
        Some((at_s, _)) => (Ended::DaemonStopped, at_s.max(sign), at_s.max(sign)),
        None => (Ended::DaemonCrashed, sign, start.at_s.max(sign)),
    };
    LastEnd { off_s: Some(0.0), ..known(ended, from_s, to_s) }
}

const fn known(ended: Ended, from_s: f64, to_s: f64) -> LastEnd {
    LastEnd { ended, from_s, to_s, off_s: None, revised: None, began_full: false }
}

/// Longer than this no bank lies unused: one of the clocks was wrong, s (three years).
const LONGEST_OFF_S: f64 = 3.0 * 365.0 * 86_400.0;

/// Time without power between the two boots; only from wall times that were believed in both, and
/// only if they make sense.
#[expect(clippy::cast_precision_loss, reason = "milliseconds since 1970 are exact in a double")]
fn off_s(before: &BeforeStart, start: &ThisStart, end_s: f64) -> Option<f64> {
    let ended_ms = before.wall_at_boot_ms? as f64 + end_s * 1000.0;
    let off_s = (start.wall_at_boot_ms? as f64 - ended_ms) / 1000.0;
    (0.0..=LONGEST_OFF_S).contains(&off_s).then_some(off_s)
}

/// What a loss of power says: of itself, and of an earlier one that it is like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighed {
    /// The chance that the bank had run empty.
    pub died: f64,
    /// The earlier outing that it is held against, and the chance that its bank had run empty, now
    /// that this one is known.
    pub earlier: Option<(i64, f64)>,
    /// It ran empty after what a full bank had given before, so it began full itself.
    pub began_full: bool,
}

/// From this chance on two banks that ran empty at the same energy began full both.
const BOTH: f64 = 0.75;

/// Weighs a loss of power between two seconds of the boot before.
///
/// Own derivation (Bayes' rule for two causes with known rates): given that the power went away in a
/// short interval, the causes' chances stand to each other as their rates at that moment: plugs
/// pulled an hour against the deaths an hour that the forecast expected there. An earlier loss of
/// the same bank is a second witness, whatever the forecast said: if its bank had run empty after
/// E₀, this one runs empty after about E₀ too, ln E being normal about ln E₀.
#[must_use]
pub fn weigh_loss(before: &BeforeStart, from_s: f64, to_s: f64, rules: &Rules) -> Weighed {
    let lasted_s = before.outing.as_ref().map(|open| open.lasted_s);
    let expected = deaths_an_hour(before.forecast, lasted_s, from_s, to_s);
    let pulls = rules.pulls_an_hour.max(1e-6);
    let died = expected.map_or(0.5, |deaths| deaths / (deaths + pulls));
    let alone = Weighed { died, earlier: None, began_full: false };
    let Some(open) = before.outing.as_ref().filter(|open| open.energy_wh > 0.0) else {
        return alone;
    };
    // So early no bank is empty twice: a habit, or a plug that slips.
    if part_of_life(before.forecast, open.lasted_s, f64::midpoint(from_s, to_s)) < FIRST_PART {
        return alone;
    }
    let best = before
        .losses
        .iter()
        .map(|loss| (loss, Likeness::compare(open, loss, to_s - from_s, rules)))
        .filter(|(loss, _)| loss.died > 0.0)
        .max_by(|(a, x), (b, y)| (a.died * x.deaths).total_cmp(&(b.died * y.deaths)));
    let Some((loss, like)) = best else { return alone };
    // Where nothing was expected, a death is as likely as a pulled plug.
    let expected = expected.unwrap_or(pulls);
    let both_died = loss.died * like.deaths;
    let only_this = (1.0 - loss.died) * expected;
    let pulled_after_death = loss.died * like.alive * pulls;
    let both_pulled = (1.0 - loss.died) * pulls;
    let all = (both_died + only_this + pulled_after_death + both_pulled).max(1e-12);
    let revised = (loss.outing, (both_died + pulled_after_death) / all);
    Weighed {
        died: (both_died + only_this) / all,
        earlier: (!loss.known).then_some(revised),
        began_full: open.start_share.is_none() && loss.from_full && both_died / all >= BOTH,
    }
}

/// How an outing compares with an earlier one of the same bank, if that had run it empty.
struct Likeness {
    /// Deaths an hour to be expected after the energy that was delivered.
    deaths: f64,
    /// The chance to have come so far.
    alive: f64,
}

impl Likeness {
    /// `within_s`: how far the end is not known; the other one's is taken to be no better.
    fn compare(open: &OpenOuting, loss: &Loss, within_s: f64, rules: &Rules) -> Self {
        let watts = open.energy_wh * 3600.0 / open.lasted_s.max(1.0);
        let unknown = within_s.max(0.0) / open.lasted_s.max(1.0);
        let sd = sqrt(rules.repeats * rules.repeats + 2.0 * unknown * unknown);
        let z = log(open.energy_wh / loss.energy_wh.max(1e-6)) / sd;
        let sd_wh = sd * open.energy_wh;
        let density = exp(-0.5 * z * z) / (sd_wh * sqrt(2.0 * core::f64::consts::PI));
        Self { deaths: density * watts, alive: 0.5 * erfc(z / core::f64::consts::SQRT_2) }
    }
}

/// Deaths an hour that no forecast sees coming: one bank in six holds far less than its owner thinks,
/// and then ends at some moment of an outing of eight hours; hardly in the first part of what it was
/// thought to last, where the rate falls with the cube (common practice, no source).
const UNFORESEEN_AN_HOUR: f64 = 0.02;
const FIRST_PART: f64 = 0.15;

/// The share of the time it was thought to last that an outing had lasted at a moment; 1 without a
/// forecast.
fn part_of_life(forecast: Option<(f64, [f64; 3])>, lasted_s: f64, at_s: f64) -> f64 {
    let Some((made_s, remaining)) = forecast else { return 1.0 };
    let lasted_s = lasted_s.max(0.0);
    lasted_s / (lasted_s - (at_s - made_s) + remaining[1]).max(lasted_s).max(1.0)
}

/// Deaths an hour that a forecast (made when, and its three points) of an outing that lasted so long
/// expects between two seconds:
/// the share of outcomes that end in the hour around them, divided by the share alive at its
/// beginning. `None` without a forecast.
fn deaths_an_hour(
    forecast: Option<(f64, [f64; 3])>,
    lasted_s: Option<f64>,
    from_s: f64,
    to_s: f64,
) -> Option<f64> {
    let (made_s, remaining) = forecast?;
    let half_hour = 1800.0_f64;
    let middle = f64::midpoint(from_s, to_s) - made_s;
    let part = part_of_life(forecast, lasted_s.unwrap_or(middle), f64::midpoint(from_s, to_s));
    let early_on = (part / FIRST_PART).min(1.0);
    let unforeseen = UNFORESEEN_AN_HOUR * early_on * early_on * early_on;
    let early = ended_by(&remaining, (middle - half_hour).max(0.0));
    let late = ended_by(&remaining, middle + half_hour);
    let alive = (1.0 - early).max(1e-6);
    let foreseen = (late - early).max(0.0) / alive;
    Some(if middle > remaining[2] { 10.0 } else { foreseen + unforeseen })
}

/// Share of outcomes that have ended so long after the forecast: straight lines through its three
/// points, to all at as far beyond the last as the last is beyond the middle. Before the first, where
/// the curve is still bending up, the cube of the time.
fn ended_by(remaining: &[f64; 3], after_s: f64) -> f64 {
    let [p10, p50, p90] = *remaining;
    if after_s < p10 {
        let part = after_s.max(0.0) / p10;
        return 0.1 * part * part * part;
    }
    let points = [(p10, 0.1), (p50, 0.5), (p90, 0.9), (p90 + (p90 - p50).max(1.0), 1.0)];
    for pair in points.windows(2) {
        let ((t0, p0), (t1, p1)) = (pair[0], pair[1]);
        if after_s <= t1 {
            return if t1 > t0 {
                p0 + (p1 - p0) * ((after_s - t0) / (t1 - t0)).max(0.0)
            } else {
                p1
            };
        }
    }
    1.0
}

#[cfg(test)]
mod tests;
