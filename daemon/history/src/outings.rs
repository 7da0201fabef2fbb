//! What happened at the last end, and whether the same outing goes on. Pure decisions: everything
//! that is known, and the time, comes as an argument.
//!
//! Words: the *last sign* is the end of the last row that reached the card; the *next sign was due*
//! when the commit after it should have reached the card. A board that lost its power did so
//! between the two, and that interval is all that is claimed.

use crate::entry::{End, Ending, Entry};

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
pub struct Before {
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

/// The account of the last end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Account {
    /// What happened.
    pub ended: Ended,
    /// It ended no earlier than this, seconds of that boot.
    pub from_s: f64,
    /// And no later than this, seconds of that boot.
    pub to_s: f64,
    /// How long the power was off, s, where both boots' wall times are believed.
    pub off_s: Option<f64>,
    /// Whether the same outing goes on.
    pub goes_on: bool,
    /// Whether to ask the operator on the next visit.
    pub ask: bool,
}

/// What the decisions go by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rules {
    /// A board restarted or pulled and put back within so long goes on with its outing, s.
    pub short_off_s: f64,
    /// Plugs pulled an hour, on average, against which the forecast's chance is weighed. Common
    /// practice, no source: it happens about once in a long day.
    pub pulls_an_hour: f64,
    /// A cut may come while the commit itself is on its way to the card, s.
    pub commit_slack_s: f64,
}

impl Default for Rules {
    fn default() -> Self {
        Self { short_off_s: 600.0, pulls_an_hour: 0.1, commit_slack_s: 2.0 }
    }
}

/// Decides what happened before this start.
#[must_use]
pub fn account(before: &Before, start: &ThisStart, rules: &Rules) -> Account {
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
            Account {
                ended,
                from_s: at_s,
                to_s: at_s,
                off_s: off,
                goes_on: before.outing.is_some()
                    && off.map_or(how == StopHow::Restarting, |off| off <= rules.short_off_s),
                ask: false,
            }
        }
        None => {
            let to_s = sign + before.due_s.max(0.0) + rules.commit_slack_s;
            let died = died_chance(before.forecast, sign, to_s, rules);
            let off = off_after(sign);
            Account {
                ended: Ended::PowerLost { died },
                from_s: sign,
                to_s,
                off_s: off,
                // Power that came back at once was a loose plug, not a dead bank.
                goes_on: before.outing.is_some()
                    && died < 0.5
                    && off.is_some_and(|off| off <= rules.short_off_s),
                ask: before.outing.is_some(),
            }
        }
    }
}

fn same_boot(before: &Before, start: &ThisStart, sign: f64) -> Account {
    let (ended, from_s, to_s) = match before.stopped {
        Some((at_s, _)) => (Ended::DaemonStopped, at_s.max(sign), at_s.max(sign)),
        None => (Ended::DaemonCrashed, sign, start.at_s.max(sign)),
    };
    Account { ended, from_s, to_s, off_s: Some(0.0), goes_on: before.outing.is_some(), ask: false }
}

/// Time without power between the two boots; only from wall times that were believed in both, and
/// only if they make sense.
#[expect(clippy::cast_precision_loss, reason = "milliseconds since 1970 are exact in a double")]
fn off_s(before: &Before, start: &ThisStart, end_s: f64) -> Option<f64> {
    let ended_ms = before.wall_at_boot_ms? as f64 + end_s * 1000.0;
    let off_s = (start.wall_at_boot_ms? as f64 - ended_ms) / 1000.0;
    (off_s >= 0.0).then_some(off_s)
}

/// The chance that the bank died in the interval rather than that its plug was pulled: the
/// forecast's deaths an hour around then against the plugs pulled an hour.
///
/// Own derivation (Bayes' rule for two causes with known rates): given that the power went away in
/// a short interval, the causes' chances stand to each other as their rates at that moment. The
/// forecast's rate is the share of outcomes that end in the hour around the interval, divided by
/// the share alive at its beginning.
#[must_use]
pub fn died_chance(
    forecast: Option<(f64, [f64; 3])>,
    from_s: f64,
    to_s: f64,
    rules: &Rules,
) -> f64 {
    let Some((made_s, remaining)) = forecast else {
        // Nothing is known of the bank: a power loss is as likely the one as the other.
        return 0.5;
    };
    let half_hour = 1800.0_f64;
    let middle = f64::midpoint(from_s, to_s) - made_s;
    let early = ended_by(&remaining, (middle - half_hour).max(0.0));
    let late = ended_by(&remaining, middle + half_hour);
    let alive = (1.0 - early).max(1e-6);
    let deaths = if middle > remaining[2] { 10.0 } else { (late - early).max(0.0) / alive };
    deaths / (deaths + rules.pulls_an_hour.max(1e-6))
}

/// Share of outcomes that have ended so long after the forecast: straight lines through its three
/// points, from nought at nought, to all at as far beyond the last as the last is beyond the middle.
fn ended_by(remaining: &[f64; 3], after_s: f64) -> f64 {
    let [p10, p50, p90] = *remaining;
    let points =
        [(0.0, 0.0), (p10, 0.1), (p50, 0.5), (p90, 0.9), (p90 + (p90 - p50).max(1.0), 1.0)];
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

/// What is to be put into the record at a start: the open outing goes on, or is ended as the account
/// says. The caller then lets a new one begin unless [`Account::goes_on`].
#[must_use]
pub fn entries_at_start(before: &Before, account: &Account, at_s: f64) -> Vec<Entry> {
    let Some(open) = &before.outing else { return Vec::new() };
    if account.goes_on {
        return vec![Entry::OutingGoesOn { outing: open.id, at_s, off_before_s: account.off_s }];
    }
    let ending = match account.ended {
        Ended::PowerLost { died } => Ending::PowerLost { died },
        Ended::DaemonStopped | Ended::DaemonCrashed | Ended::Restarted | Ended::SwitchedOff => {
            Ending::SwitchedOff
        }
    };
    let end = End { from_s: account.from_s, to_s: account.to_s, ending };
    vec![Entry::OutingEnds { outing: Some(open.id), end }]
}

/// A bank that was probably swapped for another while the board ran on (on a second feed, or
/// through the seconds that a buffer lasts).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swap {
    /// The last second with the old bank, seconds since boot.
    pub from_s: f64,
    /// The first second with the new one.
    pub to_s: f64,
    /// Voltage before and after, V.
    pub volts: [f64; 2],
}

/// Watches the voltage for a bank being swapped: it falls away to less than half for some seconds
/// and comes back; or, where the cells' voltage is seen, it steps up by more than a load change can
/// do.
#[derive(Clone, Debug)]
pub struct SwapWatch {
    at_cells: bool,
    usual: Option<f64>,
    last_good_s: f64,
    away: bool,
}

/// A gap longer than this is no swap but an absence, s.
const LONGEST_SWAP_S: f64 = 600.0;

/// A step of this share between neighbouring seconds is no load change at the terminals of a pack:
/// with 0.1 ohm and 3 A on 12.8 V the load makes 2.3 %. Common practice, no source.
const STEP_SHARE: f64 = 0.05;

impl SwapWatch {
    /// For a bank whose cells' voltage is seen, or one behind a converter.
    #[must_use]
    pub const fn new(at_cells: bool) -> Self {
        Self { at_cells, usual: None, last_good_s: 0.0, away: false }
    }

    /// Takes a reading; a missing one says nothing (the sensor may be at fault), a low one does.
    pub fn push(&mut self, at_s: f64, volts: Option<f64>) -> Option<Swap> {
        let volts = volts.filter(|volts| volts.is_finite())?;
        let Some(usual) = self.usual else {
            self.usual = Some(volts);
            self.last_good_s = at_s;
            return None;
        };
        if volts < usual * 0.5 {
            self.away = true;
            return None;
        }
        let gap_s = at_s - self.last_good_s;
        let stepped = self.at_cells && gap_s <= 5.0 && volts > usual * (1.0 + STEP_SHARE);
        let swapped = (self.away && gap_s <= LONGEST_SWAP_S) || stepped;
        let swap =
            swapped.then_some(Swap { from_s: self.last_good_s, to_s: at_s, volts: [usual, volts] });
        // The usual voltage follows slowly down and up, and at once after a swap or an absence.
        self.usual = Some(if swapped || self.away { volts } else { usual + 0.2 * (volts - usual) });
        self.away = false;
        self.last_good_s = at_s;
        swap
    }
}

#[cfg(test)]
mod tests;
