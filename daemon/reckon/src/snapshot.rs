//! What a page, a command or a log may know: one instant, all of a piece.
//!
//! Numbers only; sentences are made from them by [`crate::words`] when somebody looks.

use alloc::{string::String, sync::Arc, vec::Vec};

pub use crate::{
    alarm::{About, Alarm, EndedAlarm, Grade},
    forecast::Basis,
};

use crate::{
    bank::{BankSpec, Start},
    belief::{Away, QuestionView, Story, last_end::HowEnded},
    energy_tally::RegressionLine,
    fold::Fold,
    forecast::Outlook,
    power_off::PowerOff,
    reading::{
        AtLeast, BoardFacts, BoardReading, GaugeReading, Got, Program, SourceIx, SourceReport,
        Strain, SupplyReading,
    },
    record::OutingPlan,
    time::{Mono, Stamp},
    units::{Amps, Joules, Seconds, Share, Volts, Watts},
};

/// The supply as it is read this second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Supply {
    /// Voltage: the bank sensor's, else the board input's.
    pub volts: Got<Volts>,
    /// Current out of the bank.
    pub current: Got<Amps>,
    /// Power out of the bank.
    pub power: Got<Watts>,
    /// Who measures, if anybody does.
    pub source: Option<SourceIx>,
    /// What the sensor still says at the end of its range, where that leaves current and power
    /// without a number; the sum of the bank's channels.
    pub at_least: Option<AtLeast>,
}

/// The draw, as the forecast sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Draw {
    /// Over the last seconds (modelled when there is no sensor).
    pub now: Option<Watts>,
    /// Over the last ten minutes.
    pub lately: Option<Watts>,
    /// What this outing has drawn on average.
    pub outing: Option<Watts>,
    /// What it stands on.
    pub basis: Basis,
}

/// The bank, as told and as counted.
#[derive(Clone, Debug, PartialEq)]
pub struct BankView {
    /// As told; `None` while nobody has told.
    pub spec: Option<Arc<BankSpec>>,
    /// Energy it has delivered in this outing, as measured or modelled.
    pub delivered: Joules,
    /// Of that, energy bridged over gaps rather than read.
    pub bridged: Joules,
    /// Of that, energy counted while a sensor was at the end of its range: the true energy is more.
    pub over_range: Joules,
    /// Time switched on in this outing, all its boots together.
    pub counted: Seconds,
    /// Usable energy of the whole bank as believed now: 10 %, 50 %, 90 %.
    pub usable: Option<[Joules; 3]>,
    /// How many run-downs it has learned from.
    pub learned_from: u32,
    /// How full it was when the outing began, as far as that is settled.
    pub start: Start,
    /// Another bank was put to use a moment ago, and can be taken back.
    pub changed: Option<BankChanged>,
    /// The supply was away in this outing, and when.
    pub away: Option<Away>,
    /// What is known of the time since the outing before.
    pub since: Option<Since>,
    /// How the outing before ended, where its power went away.
    pub last_ended: Option<HowEnded>,
}

impl BankView {
    /// Whether what it has delivered is a lower bound: a hundredth of it or more was counted at the
    /// end of a sensor's range (less would not show in the figures).
    #[must_use]
    pub fn delivered_at_least(&self) -> bool {
        self.over_range.si() > 0.0 && self.over_range.si() >= 0.01 * self.delivered.si()
    }
}

/// One of several remaining times, as long as it is not known which bank there is or how full it
/// was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Possibility {
    /// What would have happened.
    pub story: Story,
    /// How likely that is.
    pub weight: Share,
    /// Remaining time then: 10 %, 50 %, 90 %.
    pub remaining: [Seconds; 3],
}

/// What is known of the time since the outing before, on the same bank.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Since {
    /// The record's number of that outing; `None` where no record tells of it.
    pub outing: Option<i64>,
    /// Energy that it had taken from the bank.
    pub delivered: Joules,
    /// How long the board was off, where both ends can be dated.
    pub off: Option<Seconds>,
    /// The board was restarted in good order.
    pub restarted: bool,
    /// So many outings before that one are counted in with it.
    pub older: usize,
}

/// Another bank was put to use a moment ago.
#[derive(Clone, Debug, PartialEq)]
pub struct BankChanged {
    /// When.
    pub at: Mono,
    /// Till when it can be taken back.
    pub until: Mono,
    /// The bank before.
    pub before: Option<Arc<BankSpec>>,
}

/// Whether the bank reaches the finish.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// The chance is 90 % or more.
    Enough,
    /// 50 % to 90 %.
    Tight,
    /// Below 50 %.
    Short,
}

/// The finish and the chance of reaching it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FinishView {
    /// When, in boot time.
    pub at: Mono,
    /// Chance that the bank is alive then; `None` while it is too soon to say.
    pub chance: Option<Share>,
    /// The verdict that follows from the chance.
    pub verdict: Option<Verdict>,
    /// The middle of the forecast minus the finish; negative when it ends before.
    pub spare: Option<Seconds>,
}

/// What an activity would leave.
#[derive(Clone, Debug, PartialEq)]
pub struct ActivityView {
    /// Its name.
    pub name: String,
    /// Whether it is what the operator is doing now.
    pub current: bool,
    /// Its usual draw, as learned or as modelled; `None` while unknown.
    pub usual: Option<Watts>,
    /// Remaining time if one did only that from now on: 10 %, 50 %, 90 %.
    pub remaining: Option<[Seconds; 3]>,
}

/// What would help when the finish is tight or short.
#[derive(Clone, Debug, PartialEq)]
pub struct FinishAdvice {
    /// Doing only this from now on would reach the finish in nine of ten cases; of several the one
    /// that draws most. `None` where none would, or it is being done already.
    pub activity: Option<String>,
    /// What has been drawn lately.
    pub draw: Option<Watts>,
    /// The largest mean draw that would reach the finish in nine of ten cases; `None` where none
    /// would.
    pub at_most: Option<Watts>,
    /// Until then it lasts in nine of ten cases as things are.
    pub safe_until: Mono,
}

/// The outing's draw so far, in even steps, for the day line.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct DrawHistory {
    /// When the first step began.
    pub began: Mono,
    /// Length of one step, seconds.
    pub step_s: u32,
    /// Mean draw of each step, watts; `None` in a gap.
    pub mean_w: Vec<Option<f32>>,
    /// Peak draw of each step, watts.
    pub peak_w: Vec<Option<f32>>,
    /// Moments worth a tick (undervoltage, gaps, marks), boot time.
    pub ticks: Vec<Mono>,
}

/// A stretch of the measured draw, folded over the period of a timed mode.
#[derive(Clone, Debug, PartialEq)]
pub struct Folded {
    /// When its first reading was taken.
    pub from: Mono,
    /// When its last was.
    pub to: Mono,
    /// What the operator was doing.
    pub doing: Option<String>,
    /// What it folded into; phases are those of boot time.
    pub fold: Fold,
}

/// An accessory that a mark says was switched.
#[derive(Clone, Debug, PartialEq)]
pub struct Switched {
    /// The mark: 'fan on'.
    pub mark: String,
    /// When it was made.
    pub at: Mono,
    /// The draw after it less the draw before.
    pub difference: Watts,
    /// Its standard error.
    pub error: Watts,
}

/// How the record is doing.
#[derive(Clone, Debug, PartialEq)]
pub enum LogState {
    /// No record is kept by this build or these settings.
    Off,
    /// Kept; the last line reached the card then.
    Kept {
        /// When.
        last: Mono,
    },
    /// Not kept, for this reason.
    Stopped {
        /// A sentence for a person.
        why: String,
    },
}

/// What outlast itself costs.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Footprint {
    /// Processor time used, as a share of one core, over the last minute.
    pub cpu_share: Option<f64>,
    /// Resident memory, KiB.
    pub resident_kib: Option<u64>,
    /// Wake-ups (voluntary context switches) a second, over the last minute.
    pub wakeups_per_s: Option<f64>,
}

/// One instant.
#[derive(Clone, Debug)]
pub struct Snapshot {
    /// When it was made.
    pub at: Stamp,
    /// The station's name.
    pub station: String,
    /// The outing's name, if it was given one.
    pub outing: Option<String>,
    /// When the outing began.
    pub outing_began: Mono,
    /// The supply this second.
    pub supply: Supply,
    /// The draw.
    pub draw: Draw,
    /// The bank.
    pub bank: BankView,
    /// Banks that can be chosen with one tap.
    pub bank_choices: Arc<[BankSpec]>,
    /// The forecast, or why there is none.
    pub outlook: Outlook,
    /// The remaining times that it spans, where it is not known which of them is true.
    pub possibilities: Vec<Possibility>,
    /// What there is to ask, and what was answered.
    pub questions: Vec<QuestionView>,
    /// The record's number of the outing before, where this one is the rest of it.
    pub goes_on: Option<i64>,
    /// The plan that the outing was started with, in this boot.
    pub plan: Option<Arc<OutingPlan>>,
    /// The finish, if one is set.
    pub finish: Option<FinishView>,
    /// The named activities.
    pub activities: Vec<ActivityView>,
    /// Whether the rules choose the activity, or a tap has; `None` where there are no rules.
    pub activity_auto: Option<bool>,
    /// What would help, where the finish is tight or short.
    pub advice: Option<FinishAdvice>,
    /// Alarms that stand, most urgent first.
    pub alarms: Vec<Alarm>,
    /// Alarms of the last hour that are over, the latest first.
    pub ended_alarms: Vec<EndedAlarm>,
    /// Where the clean power-off stands.
    pub power_off: PowerOff,
    /// The board this second.
    pub board: BoardReading,
    /// How often the supply was too low in this outing.
    pub undervoltage_times: u32,
    /// Flags that have been seen in this outing.
    pub flags_seen: Strain,
    /// Board facts.
    pub facts: Arc<BoardFacts>,
    /// Every power sensor's channel.
    pub supplies: Vec<SupplyReading>,
    /// Every gauge.
    pub gauges: Vec<GaugeReading>,
    /// The busiest programs.
    pub programs: Arc<[Program]>,
    /// What was found.
    pub sources: Arc<[SourceReport]>,
    /// The draw so far.
    pub draw_history: Arc<DrawHistory>,
    /// The latest fold of the measured draw.
    pub fold: Option<Arc<Folded>>,
    /// What the processor's load takes, once that is known.
    pub load: Option<RegressionLine>,
    /// What outlast itself takes by that, with the standard error.
    pub own_draw: Option<(Watts, Watts)>,
    /// The last accessory that was switched by a mark and could be judged.
    pub switched: Option<Arc<Switched>>,
    /// The record.
    pub log: LogState,
    /// Why what was chosen is in memory only; `None`: it is on the card.
    pub unkept: Option<String>,
    /// Sweeps that came too late or not at all.
    pub missed_sweeps: u64,
    /// What outlast costs.
    pub footprint: Footprint,
    /// What is shown where all of it is made up, for a demonstration.
    pub demo: Option<DemoShown>,
}

/// What a demonstration shows at present.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DemoShown {
    /// Which part of its day.
    pub part: DemoPart,
    /// Whether it stands still.
    pub paused: bool,
}

/// The parts of a demonstration's day, in order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum DemoPart {
    /// The bank lasts beyond the finish.
    #[default]
    Enough,
    /// It may not.
    Tight,
    /// Half an hour is left, or less.
    Alarm,
    /// The countdown to switching off.
    Countdown,
    /// The bank is empty, and the board off.
    Empty,
    /// The next morning.
    Morning,
}

impl Snapshot {
    /// The remaining time that counts, 10 %, 50 %, 90 %: that of the forecast; as long as it is not
    /// known which of several is true, the least of each.
    #[must_use]
    pub fn cautious_case(&self) -> Option<[Seconds; 3]> {
        let Outlook::Lasts(forecast) = &self.outlook else { return None };
        let least = |a: [Seconds; 3], b: [Seconds; 3]| core::array::from_fn(|k| a[k].min(b[k]));
        let all = self.possibilities.iter().map(|one| one.remaining);
        Some(all.reduce(least).unwrap_or(forecast.remaining))
    }

    /// What that supposes: the possibility whose middle is the least.
    #[must_use]
    pub fn cautious_story(&self) -> Option<Story> {
        let middle = |one: &&Possibility| one.remaining[1].si();
        let all = self.possibilities.iter();
        all.min_by(|a, b| middle(a).total_cmp(&middle(b))).map(|one| one.story)
    }
}
