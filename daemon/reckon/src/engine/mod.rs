//! The only mutable state: takes sweeps and asks, gives snapshots.
//!
//! Everything that may change what the page shows comes in through [`Engine::observe`],
//! [`Engine::tick`] or [`Engine::ask`]; time is always an argument.

mod activities;
mod advice;
mod alarms;
mod answers;
mod build_snapshot;
mod draw_history;
mod folding;
mod latched_flags;
mod loads;
mod meter;
mod outing_count;
mod possible;
mod resume;
mod rules;
mod setup;
mod shown_forecast;
mod source_select;
mod switches;
mod tracked_bank;

pub use crate::alarm::{AlarmChange, Edge};
pub use crate::{bank::Start, belief::Carried};
pub use activities::{EarlierDraw, UsualDraw, UsualDraws, first_names, usual_draws};
pub use resume::{AwayChoice, Choices, FinishChoice, Resume, few_steps};
pub use rules::{ActivityRule, DayTime, ProgramBusy};
pub use setup::{Accessory, Command, Radio, Refusal, Setup};

use alloc::{boxed::Box, string::String, sync::Arc, vec::Vec};
use core::time::Duration;

use crate::{
    alarm::Alarms,
    bank::{BankSpec, MeasuredAt},
    belief::{Belief, Presence},
    draw::{Besides, BoardModel},
    estimator::{FED_OTHERWISE_W, Learned, Observation},
    forecast::Outlook,
    power_off,
    reading::{
        BoardReading, Gap, GaugeReading, Program, SourceIx, SourceReport, SupplyReading, Sweep,
    },
    snapshot::{Basis, FinishAdvice, Folded, Footprint, LogState, Snapshot, Supply, Switched},
    time::{Mono, Stamp, Wall},
    units::{Celsius, Seconds, Share, Watts},
};
use activities::Activities;
use folding::Folding;
use latched_flags::LatchedFlags;
use loads::LoadWatch;
use outing_count::OutingCount;
use rules::ByRules;
use shown_forecast::{ShownForecast, Silence};
use source_select::{MeasuredBy, SelectedSource, SourceSelector};
use switches::Switches;
pub(crate) use switches::is_switch;
use tracked_bank::{Drain, TrackedBank};

/// Names of outings, activities and banks are held to this many characters.
const LONGEST_NAME: usize = 64;
/// A finish may be this far away.
const FARTHEST_FINISH: Duration = Duration::from_secs(14 * 24 * 3600);
/// A finish that has passed stays for this long.
const FINISH_STAYS_S: f64 = 1800.0;
/// Sweeps further apart than this leave a gap: a reading tells of its own second only.
const GAP_S: f64 = 3.0;
/// A reading tells of one second; after a longer time it is left out of the fold.
const BEAT_S: f64 = 1.6;
/// The bank may end before the fold of an hour is closed.
const NEAR_END_S: f64 = 3600.0;

/// The part of the last sweep that is shown until the next.
#[derive(Clone, Debug)]
struct Latest {
    supply: Supply,
    by: MeasuredBy,
    silent: Option<(SourceIx, Gap)>,
    draw_now: Option<Watts>,
    board: BoardReading,
    supplies: Vec<SupplyReading>,
    gauges: Vec<GaugeReading>,
    programs: Arc<[Program]>,
    sources: Arc<[SourceReport]>,
}

impl Default for Latest {
    fn default() -> Self {
        let none = Err(Gap::NotReady);
        Self {
            supply: Supply {
                volts: none,
                current: Err(Gap::NotReady),
                power: Err(Gap::NotReady),
                source: None,
            },
            by: MeasuredBy::Nobody,
            silent: None,
            draw_now: None,
            board: BoardReading::UNKNOWN,
            supplies: Vec::new(),
            gauges: Vec::new(),
            programs: Arc::from([]),
            sources: Arc::from([]),
        }
    }
}

/// The bank that is connected, and what belongs to the outing on it.
#[derive(Clone, Debug)]
struct OnBank {
    bank: Option<Arc<BankSpec>>,
    /// How full it was told to be, or is taken to be where nobody told.
    start: Start,
    start_told: bool,
    /// A person chose it; else the settings name it.
    chosen: bool,
    /// The outing's name.
    outing: Option<String>,
    /// What the outing has counted; and the same since the supply was away in the middle of it.
    count: OutingCount,
    since_away: Option<OutingCount>,
    belief: Belief,
    presence: Presence,
    /// The estimator of each story.
    following: Vec<TrackedBank>,
    shown: ShownForecast,
    activities: Activities,
    /// Which earlier outing it is the rest of, as of the last look.
    joined: Option<i64>,
    /// The outing before, which may be taken up again.
    before: Option<Box<Shelf>>,
}

impl OnBank {
    fn new(activities: Activities, began: Mono) -> Self {
        Self {
            bank: None,
            start: Start::Full,
            start_told: false,
            chosen: false,
            outing: None,
            count: OutingCount::new(began),
            since_away: None,
            belief: Belief::default(),
            presence: Presence::default(),
            following: Vec::new(),
            shown: ShownForecast::default(),
            activities,
            joined: None,
            before: None,
        }
    }
}

/// The outing before a word that another one began.
#[derive(Clone, Debug)]
struct Shelf {
    /// When the word was given, and which.
    changed: Mono,
    by: Reason,
    on: OnBank,
    /// Counted since the word.
    since: OutingCount,
}

/// What ends one outing and begins the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Reason {
    /// A bank was put to use.
    BankUsed,
    /// Another bank had come when the supply was away.
    BankCame,
}

/// The state of everything: one outing after another.
#[derive(Clone, Debug)]
pub struct Engine {
    setup: Setup,
    bank_choices: Arc<[BankSpec]>,
    board: BoardModel,
    besides: Besides,
    /// The bank that is connected, and the outing on it.
    on: OnBank,
    /// Energy is counted up to here.
    accounted: Mono,
    last_sweep: Option<Mono>,
    late_sweeps: u64,
    finish: Option<Mono>,
    finish_wall: Option<Wall>,
    selector: SourceSelector,
    latched_flags: LatchedFlags,
    /// What activities drew on earlier outings, by the bank's name.
    usual_before: Vec<(String, UsualDraws)>,
    by_rules: ByRules,
    folding: Folding,
    loads: LoadWatch,
    switches: Switches,
    drain: Drain,
    usual: Vec<build_snapshot::ActivityLeft>,
    usual_at: Option<Mono>,
    alarms: Alarms,
    power_off: power_off::Watch,
    brown_out: Option<Watts>,
    testing: bool,
    advice: Option<FinishAdvice>,
    latest: Latest,
    log: LogState,
    footprint: Footprint,
    missed: u64,
    silence: Option<Silence>,
    /// What earlier run-downs taught of each bank, by its name.
    taught: Vec<(String, Learned)>,
}

impl Engine {
    /// An engine that has seen nothing yet. The outing begins now, or goes on where
    /// [`Setup::resume`] left it.
    #[must_use]
    pub fn new(mut setup: Setup, at: Stamp) -> Self {
        let resume = setup.resume.take();
        if setup.activities.is_empty() {
            setup.activities = first_names();
        }
        let choices = if setup.bank_choices.is_empty() {
            BankSpec::common()
        } else {
            setup.bank_choices.clone()
        };
        let board = BoardModel::new(setup.facts.kind, setup.board_draw);
        let besides = besides(&setup);
        let mut engine = Self {
            bank_choices: choices.into(),
            board,
            besides,
            on: OnBank {
                bank: setup.bank.clone().map(Arc::new),
                start: setup.start,
                ..OnBank::new(Activities::new(&setup.activities), at.mono)
            },
            accounted: at.mono,
            last_sweep: None,
            late_sweeps: 0,
            finish: None,
            finish_wall: None,
            selector: SourceSelector::default(),
            latched_flags: LatchedFlags::default(),
            usual_before: Vec::new(),
            by_rules: ByRules::new(setup.activity_rules.clone()),
            folding: Folding::default(),
            loads: LoadWatch::default(),
            switches: Switches::default(),
            drain: Drain::default(),
            usual: Vec::new(),
            usual_at: None,
            alarms: Alarms::new(setup.alarms.clone()),
            power_off: power_off::Watch::new(setup.power_off),
            brown_out: None,
            testing: false,
            advice: None,
            latest: Latest::default(),
            log: LogState::Off,
            footprint: Footprint::default(),
            missed: 0,
            silence: None,
            taught: Vec::new(),
            setup,
        };
        if let Some(resume) = resume {
            engine.go_on(resume, at);
        }
        engine
    }

    /// Takes a sweep. One that is not later than what is accounted for already (handed over twice,
    /// out of order, or after its time) costs nothing and is counted as missed.
    pub fn observe(&mut self, sweep: &Sweep, at: Stamp) -> Arc<Snapshot> {
        let when = sweep.at.min(at.mono);
        let first = self.last_sweep.is_none();
        if !first && when <= self.accounted {
            self.late_sweeps = self.late_sweeps.saturating_add(1);
            return self.snapshot(at);
        }
        let dt = when.seconds_since(self.accounted);
        let picked = self.selector.pick(sweep, when);
        // What a chip has counted itself holds for the whole gap.
        let gap = dt.si() > GAP_S && !picked.counted;
        let (unseen, seen) = if gap { (dt.si() - 1.0, 1.0) } else { (0.0, dt.si()) };
        self.unseen(unseen);
        self.accounted = when.max(self.accounted);
        self.last_sweep = Some(when);
        if self.latched_flags.observe(&sweep.board, when) {
            self.tick_at(when);
        }
        self.watch_supply(&picked, when);
        self.draw_of(&picked, sweep, Seconds::of(seen), when);
        self.remember(&picked, sweep);
        if let Some(name) = self.by_rules.choose_activity(&sweep.programs, at)
            && name != self.on.activities.current()
        {
            // An activity that the settings do not name is none.
            let _ = self.on.activities.tag(name);
            self.usual_at = None;
        }
        self.refresh(at);
        self.snapshot(at)
    }

    /// No sweep arrived: the silence ages.
    pub fn tick(&mut self, at: Stamp) -> Arc<Snapshot> {
        let silent = at.mono.seconds_since(self.accounted).si();
        if silent > GAP_S && self.last_sweep.is_some() {
            // The last second is left to a sweep that may be on its way.
            self.unseen(silent - 1.0);
            self.accounted = Mono::at_s(at.mono.as_s() - 1.0).max(self.accounted);
            self.latest.draw_now = None;
            self.latest.supply.power = Err(Gap::Late);
            self.latest.supply.current = Err(Gap::Late);
            if let Some(source) = self.latest.supply.source {
                self.latest.silent = Some((source, Gap::Late));
            }
        }
        self.refresh(at);
        self.snapshot(at)
    }

    /// Carries out what a person asks for.
    ///
    /// # Errors
    /// Refuses what cannot be right, with a reason that [`crate::words::refusal`] puts into words;
    /// nothing has changed then.
    pub fn ask(&mut self, ask: &Command, at: Stamp) -> Result<(), Refusal> {
        match ask {
            Command::UseBank { bank, start } => self.use_bank(bank, *start, at)?,
            Command::Answer { question, answer } => self.answer(*question, *answer, at.mono)?,
            Command::Finish { after } => self.set_finish(*after, at)?,
            Command::Activity { name } => {
                if !self.on.activities.tag(name.as_deref()) {
                    return Err(Refusal::NoSuchActivity);
                }
                let _ = self.by_rules.choose(false);
            }
            Command::ActivityAuto => {
                if self.by_rules.on().is_none() {
                    return Err(Refusal::NoRules);
                }
                let _ = self.by_rules.choose(true);
            }
            Command::Sleep { alarm, since, span } => {
                if !self.alarms.sleep(*alarm, *since, *span, at.mono) {
                    return Err(Refusal::AlarmGone);
                }
            }
            Command::PowerOff(wish) => {
                if !self.power_off.ask(*wish, at.mono) {
                    return Err(Refusal::NoCountdown);
                }
            }
            Command::NameOuting { name } => {
                let name = name.trim();
                if name.chars().count() > LONGEST_NAME {
                    return Err(Refusal::NameTooLong);
                }
                self.on.outing = (!name.is_empty()).then(|| String::from(name));
            }
        }
        self.on.shown.hurry();
        self.usual_at = None;
        self.refresh(at);
        Ok(())
    }

    /// Changes of alarms since the last call, oldest first.
    #[must_use]
    pub fn edges(&mut self) -> Vec<Edge> {
        self.alarms.drain()
    }

    /// Folds closed since the last call, oldest first. They belong to the outing that was on, so
    /// they are to be kept before a change of the bank is.
    #[must_use]
    pub fn folds(&mut self) -> Vec<Arc<Folded>> {
        self.folding.drain()
    }

    /// The readings end here: the fold that is being filled is closed.
    pub fn close_fold(&mut self) {
        self.folding.close();
    }

    /// Somebody marked this moment. 'Fan on' or 'fan off' is judged by the draw of the minutes
    /// before and after; others change nothing.
    pub fn note_mark(&mut self, text: &str, at: Mono) {
        self.switches.mark(text, at);
    }

    /// Switched accessories judged since the last call.
    #[must_use]
    pub fn switched(&mut self) -> Vec<Arc<Switched>> {
        self.switches.drain()
    }

    /// What each activity drew on earlier outings of each bank, by the bank's name: in place of all
    /// that was told before.
    pub fn note_usual(&mut self, usual: Vec<(String, UsualDraws)>) {
        self.usual_before = usual;
        self.recall_usual();
    }

    /// Takes what is known of the connected bank's outings.
    fn recall_usual(&mut self) {
        let bank = self.on.bank.as_ref().map(|bank| bank.name.as_str());
        let of_bank = self.usual_before.iter().find(|(name, _)| Some(name.as_str()) == bank);
        self.on.activities.note_before(of_bank.map(|(_, usual)| usual.clone()).unwrap_or_default());
        self.usual_at = None;
    }

    /// How the record is doing, for the snapshots from now on.
    pub fn note_log(&mut self, log: LogState) {
        self.log = log;
    }

    /// What outlast itself costs, for the snapshots from now on.
    pub fn note_footprint(&mut self, footprint: Footprint) {
        self.footprint = footprint;
    }

    /// Sweeps that never came, as whoever schedules them counts; late ones are counted here.
    pub fn note_missed(&mut self, sweeps: u64) {
        self.missed = sweeps;
    }

    /// Banks offered for one tap, for the snapshots from now on.
    pub fn note_bank_choices(&mut self, banks: Vec<BankSpec>) {
        self.bank_choices = banks.into();
    }

    fn use_bank(
        &mut self,
        bank: &BankSpec,
        start: Option<Start>,
        at: Stamp,
    ) -> Result<(), Refusal> {
        if let Some(why) = bank.implausible() {
            return Err(Refusal::BankImplausible(why));
        }
        let same = self.on.bank.as_ref().is_some_and(|known| known.name == bank.name);
        if same && start.is_none() {
            // It is connected already, and nobody says that it was charged.
            return Ok(());
        }
        // A bank that came in the middle of the outing is now told of: what was counted since is its
        // own.
        let came = if self.on.belief.is_another() {
            Some(self.on.count.clone())
        } else {
            self.on.since_away.clone().filter(|_| self.on.belief.doubted_away().is_some())
        };
        // The first bank that is told of is the one that has fed the board all along.
        if self.on.bank.is_some() {
            self.new_outing(at.mono);
        }
        if let Some(count) = came {
            self.on.count = count;
        }
        self.on.bank = Some(Arc::new(bank.clone()));
        self.on.start = start.unwrap_or_default();
        self.on.start_told = start.is_some();
        self.on.chosen = true;
        self.on.shown.forget();
        self.recall_usual();
        self.follow_anew(true);
        Ok(())
    }

    /// One outing ends and the next begins; the one that ends can be taken up again for a while.
    fn new_outing(&mut self, now: Mono) {
        let mut activities = self.on.activities.clone();
        activities.new_outing();
        let belief = self.on.belief.of_next_outing();
        let next = OnBank { belief, ..OnBank::new(activities, now) };
        let before = core::mem::replace(&mut self.on, next);
        self.shelve(before, Reason::BankUsed, now);
        self.accounted = self.accounted.max(now);
        self.finish = self.finish.filter(|at| *at > now);
        self.latched_flags = LatchedFlags::default();
        self.drain = Drain::default();
        self.folding.new_bank();
        // The next bank's draw may be seen elsewhere.
        self.loads = LoadWatch::default();
        self.switches = Switches::default();
        self.selector.forget();
        self.alarms.new_bank(now);
        self.power_off.new_bank();
        self.advice = None;
    }

    fn set_finish(&mut self, after: Option<Duration>, at: Stamp) -> Result<(), Refusal> {
        let Some(after) = after else {
            (self.finish, self.finish_wall) = (None, None);
            return Ok(());
        };
        if after.is_zero() || after > FARTHEST_FINISH {
            return Err(Refusal::FinishOutOfRange);
        }
        self.finish = Some(at.mono.plus(after));
        self.finish_wall = at.believed().map(|wall| wall.plus_s(after.as_secs_f64()));
        Ok(())
    }

    /// A stretch that nobody saw: bridged with the draw before it.
    fn unseen(&mut self, dt_s: f64) {
        if dt_s <= 0.0 {
            return;
        }
        if self.drain.stopped() {
            self.blank(dt_s);
            return;
        }
        let seen = Observation { dt_s, ..Observation::default() };
        self.bridge(Seconds::of(dt_s), self.modelled(None), &seen);
        self.feed(&seen);
    }

    /// Takes the draw of one sweep into the count, the estimate, the trail and the activities.
    fn draw_of(&mut self, picked: &SelectedSource, sweep: &Sweep, dt: Seconds, when: Mono) {
        self.drain.observe(picked, when);
        let modelled = self.modelled(Some(&sweep.board));
        self.latest.draw_now = match picked.measured {
            Some(measured) => measured.ok(),
            None => Some(modelled),
        };
        if self.drain.stopped() || fed_otherwise(picked) {
            self.rest(dt, self.latest.draw_now.unwrap_or(Watts::ZERO));
            return;
        }
        if let Some(watts) = self.latest.draw_now {
            self.alarms.drew(dt.si(), watts.max(Watts::ZERO), self.on.activities.current());
        }
        let seen = self.observation(picked, &sweep.board, modelled, dt);
        // Before the meter notes this second: an estimator that is built here is told the history.
        self.track_bank(picked, &sweep.board);
        self.feed(&seen);
        match picked.measured {
            Some(Ok(watts)) => {
                self.count(dt, watts, &seen);
                self.on.activities.add(dt.si(), watts.max(Watts::ZERO), modelled);
                self.take_apart(sweep, watts, dt, when);
            }
            Some(Err(_)) => self.bridge(dt, modelled, &seen),
            None => self.count(dt, modelled, &seen),
        }
    }

    /// Whether the supply stays the same, where a sensor sees it.
    fn watch_supply(&mut self, picked: &SelectedSource, when: Mono) {
        if picked.by != MeasuredBy::Sensor || self.on.bank.is_none() {
            return;
        }
        let at_cells = self.on.bank.as_ref().is_some_and(|it| it.measured_at == MeasuredAt::Cells);
        let volts = picked.supply.volts.ok().map(crate::units::Volts::si);
        let amps = picked.supply.current.ok().map(crate::units::Amps::si);
        if let Some(away) = self.on.presence.observe(when, volts, amps, at_cells) {
            self.doubt_supply(away);
        }
    }

    /// A measured second, for what is told of the draw besides its sum.
    fn take_apart(&mut self, sweep: &Sweep, watts: Watts, dt: Seconds, when: Mono) {
        if dt.si() <= BEAT_S {
            let reads = folding::reads(sweep);
            self.folding.observe(when, watts, reads, self.on.activities.current());
            if let Some(sent) = self.folding.transmission() {
                self.loads.sends(sent);
            }
            self.switches.observe(watts);
        }
        if let Ok(busy) = sweep.board.cpu_busy {
            self.loads.observe(dt, busy, watts, &self.board);
        }
    }

    /// The model's word on the draw of this second: board, accessories, radio on receive.
    fn modelled(&self, board: Option<&BoardReading>) -> Watts {
        let busy = board.and_then(|board| board.cpu_busy.ok());
        let rails = board.and_then(|board| board.rails_at_least.ok());
        self.board.with_rails(busy, rails) + self.besides.at_duty(Share::NONE)
    }

    fn observation(
        &self,
        picked: &SelectedSource,
        board: &BoardReading,
        modelled: Watts,
        dt: Seconds,
    ) -> Observation {
        let measured = picked.measured.and_then(Result::ok);
        // A board that measures its rails has a draw worth taking as read; another one's is left to
        // the estimator, which needs to know how busy the cores are.
        let by_rails = picked.measured.is_none() && board.rails_at_least.is_ok();
        let watts = measured.or(by_rails.then_some(modelled));
        Observation {
            dt_s: dt.si(),
            watts: watts.map(|watts| watts.si().max(0.0)),
            volts: measured.and(picked.supply.volts.ok()).map(crate::units::Volts::si),
            amps: measured.and(picked.supply.current.ok()).map(crate::units::Amps::si),
            cpu_busy: Some(board.cpu_busy.map_or(0.25, Share::part)),
            cpu_temp_c: board.temp.ok().map(Celsius::si),
        }
    }

    fn remember(&mut self, picked: &SelectedSource, sweep: &Sweep) {
        let latest = &mut self.latest;
        latest.supply = picked.supply;
        latest.by = picked.by;
        latest.silent = picked.silent;
        latest.board = sweep.board;
        latest.supplies.clone_from(&sweep.supplies);
        latest.gauges.clone_from(&sweep.gauges);
        latest.programs = Arc::clone(&sweep.programs);
        latest.sources = Arc::clone(&sweep.sources);
    }

    /// Forecast and alarms of this moment.
    fn refresh(&mut self, at: Stamp) {
        let now = at.mono;
        self.mind_silence(now);
        self.find_finish(at);
        self.mind_shelf(now);
        let mut anew = false;
        if self.on.shown.due(now) {
            if self.on.following.len() > 1 {
                self.weigh_stories();
                self.mind_name();
            }
            let possible = self.remaining();
            let possible = match &self.silence {
                Some(silence) => possible.map(|spread| silence.doubted(spread, now)),
                None => possible,
            };
            let wants_s = self.leading().map_or(0.0, |it| it.estimator.wants_s());
            let basis = if wants_s > 0.0 { Basis::Expected } else { self.basis() };
            self.on.shown.update(possible, now, basis);
            anew = self.look_at_activities(now);
        }
        let outlook = self.outlook(now);
        if let Outlook::Lasts(forecast) = &outlook {
            self.folding.hurried = forecast.cautious().si() < NEAR_END_S;
        }
        if anew {
            self.update_advice(now, &outlook);
        }
        self.warn(at, &outlook);
    }

    /// Notes since when the sensor has been silent; the forecast is made anew when that begins and
    /// when it ends.
    fn mind_silence(&mut self, now: Mono) {
        if self.latest.silent.is_some() == self.silence.is_some() {
            return;
        }
        self.silence =
            self.latest.silent.map(|_| Silence::begins(now, self.on.shown.forecast(now)));
        self.on.shown.hurry();
    }

    fn basis(&self) -> Basis {
        if self.leading().is_some_and(TrackedBank::by_gauge) {
            return Basis::Gauge;
        }
        match self.latest.by {
            MeasuredBy::Sensor => Basis::Measured,
            MeasuredBy::Gauge => Basis::Gauge,
            MeasuredBy::Nobody => Basis::Modelled,
        }
    }
}

/// The board is fed by something else: next to nothing comes out of the bank.
fn fed_otherwise(picked: &SelectedSource) -> bool {
    picked.measured.and_then(Result::ok).is_some_and(|watts| watts.si() < FED_OTHERWISE_W)
}

fn besides(setup: &Setup) -> Besides {
    let radio = setup.radio.unwrap_or(Radio { receive: Watts::ZERO, transmit: Watts::ZERO });
    Besides {
        accessories: crate::draw::sum(setup.accessories.iter().map(|one| one.draw)),
        receive: radio.receive.max(Watts::ZERO),
        transmit: radio.transmit.max(radio.receive).max(Watts::ZERO),
    }
}

#[cfg(test)]
mod tests;
