//! The state of everything: one outing after another.

use alloc::{boxed::Box, string::String, sync::Arc, vec::Vec};

use super::{
    activities::{Activities, ActivityLeft, UsualDraws, first_names},
    drain::Drain,
    folding::Folding,
    latched_flags::LatchedFlags,
    loads::LoadWatch,
    outing_count::OutingCount,
    plan_in_force::StartedPlan,
    rules::ByRules,
    setup::{Radio, Setup},
    shown_forecast::{ShownForecast, Silence},
    source_select::{MeasuredBy, SourceSelector},
    switches::Switches,
    tracked_bank::TrackedBank,
};
use crate::{
    alarm::Alarms,
    bank::{BankSpec, Start},
    belief::{Belief, Presence},
    draw::{Besides, BoardModel},
    estimator::Learned,
    power_off,
    reading::{BoardReading, Gap, GaugeReading, Program, SourceIx, SourceReport, SupplyReading},
    snapshot::{FinishAdvice, Footprint, LogState, Supply},
    time::{Mono, Stamp, Wall},
    units::{Amps, Watts},
};

/// The part of the last sweep that is shown until the next.
#[derive(Clone, Debug)]
pub(super) struct Latest {
    pub(super) supply: Supply,
    pub(super) by: MeasuredBy,
    pub(super) silent: Option<(SourceIx, Gap)>,
    pub(super) over_range: Option<(SourceIx, Amps)>,
    pub(super) draw_now: Option<Watts>,
    pub(super) board: BoardReading,
    pub(super) supplies: Vec<SupplyReading>,
    pub(super) gauges: Vec<GaugeReading>,
    pub(super) programs: Arc<[Program]>,
    pub(super) sources: Arc<[SourceReport]>,
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
                at_least: None,
            },
            by: MeasuredBy::Nobody,
            silent: None,
            over_range: None,
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
pub(super) struct OnBank {
    pub(super) bank: Option<Arc<BankSpec>>,
    /// How full it was told to be, or is taken to be where nobody told.
    pub(super) start: Start,
    pub(super) start_told: bool,
    /// A person chose it; else the settings name it.
    pub(super) chosen: bool,
    /// The outing's name.
    pub(super) outing: Option<String>,
    /// What the outing has counted; and the same since the supply was away in the middle of it.
    pub(super) count: OutingCount,
    pub(super) since_away: Option<OutingCount>,
    pub(super) belief: Belief,
    pub(super) presence: Presence,
    /// The estimator of each story.
    pub(super) following: Vec<TrackedBank>,
    pub(super) shown: ShownForecast,
    pub(super) activities: Activities,
    /// Which earlier outing it is the rest of, as of the last look.
    pub(super) joined: Option<i64>,
    /// The plan that it was started with.
    pub(super) plan: Option<StartedPlan>,
    /// The outing before, which may be taken up again.
    pub(super) before: Option<Box<Shelf>>,
}

impl OnBank {
    pub(super) fn new(activities: Activities, began: Mono) -> Self {
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
            plan: None,
            before: None,
        }
    }
}

/// The outing before a word that another one began.
#[derive(Clone, Debug)]
pub(super) struct Shelf {
    /// When the word was given, and which.
    pub(super) changed: Mono,
    pub(super) by: Reason,
    pub(super) on: OnBank,
    /// Counted since the word.
    pub(super) since: OutingCount,
}

/// What ends one outing and begins the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reason {
    /// A bank was put to use.
    BankUsed,
    /// Another bank had come when the supply was away.
    BankCame,
}

/// The state of everything: one outing after another.
///
/// ```
/// use reckon::{bank::BankSpec, engine::{Engine, Setup}, forecast::Outlook, reading::*};
/// # use reckon::{time::{Mono, Stamp, Trust, Wall}, units::{Amps, Volts}};
/// # fn at(second: u32) -> Stamp {
/// #     let (mono, wall) = (Mono::at_s(f64::from(second)), Wall::from_unix_ms(0));
/// #     Stamp { mono, wall, trust: Trust::Unset, utc_offset_s: 0 }
/// # }
/// # fn sweep(second: u32, volts: f64, amps: f64) -> Sweep {
/// #     let reading = SupplyReading {
/// #         source: SourceIx(0),
/// #         volts: Ok(Volts::of(volts)),
/// #         amps: Ok(Amps::of(amps)),
/// #         watts: Ok(Volts::of(volts) * Amps::of(amps)),
/// #         counted: None,
/// #         looks: 1,
/// #         at_least: None,
/// #     };
/// #     let report = SourceReport {
/// #         id: "hwmon:ina226@1-0040".into(),
/// #         title: "INA226 power monitor".into(),
/// #         via: Via::Hwmon,
/// #         role: Role::Bank,
/// #         state: SourceState::Live,
/// #         shunt: None,
/// #         notes: Vec::new(),
/// #     };
/// #     Sweep {
/// #         at: at(second).mono,
/// #         supplies: vec![reading],
/// #         gauges: Vec::new(),
/// #         board: BoardReading::UNKNOWN,
/// #         clock_synchronised: Err(Gap::NotReady),
/// #         programs: [].into(),
/// #         sources: [report].into(),
/// #     }
/// # }
/// let bank = BankSpec { name: "Blue ten".into(), ..BankSpec::common()[0].clone() };
/// let mut engine = Engine::new(Setup { bank: Some(bank), ..Setup::default() }, at(0));
/// // Ten minutes, a sweep a second: 0.8 A at 5 V out of the bank.
/// for second in 1..=600 {
///     engine.observe(&sweep(second, 5.0, 0.8), at(second));
/// }
/// let snapshot = engine.tick(at(600));
/// // 4 W for ten minutes are two thirds of a watt-hour.
/// assert!((snapshot.bank.delivered.wh() - 4.0 / 6.0).abs() < 0.01);
/// // 10 000 mAh at 3.7 V promise 37 Wh at the cells; at 4 W that is six to eight hours.
/// let Outlook::Lasts(forecast) = &snapshot.outlook else { panic!("{:?}", snapshot.outlook) };
/// let hours = forecast.remaining.map(|time| time.si() / 3600.0);
/// assert!(hours[0] < hours[1] && hours[1] < hours[2], "10 %, 50 %, 90 %");
/// assert!((5.0..9.0).contains(&hours[1]), "{hours:?}");
/// ```
#[derive(Clone, Debug)]
pub struct Engine {
    pub(super) setup: Setup,
    pub(super) bank_choices: Arc<[BankSpec]>,
    pub(super) board: BoardModel,
    pub(super) besides: Besides,
    /// The bank that is connected, and the outing on it.
    pub(super) on: OnBank,
    /// Energy is counted up to here.
    pub(super) accounted: Mono,
    pub(super) last_sweep: Option<Mono>,
    pub(super) late_sweeps: u64,
    pub(super) finish: Option<Mono>,
    pub(super) finish_wall: Option<Wall>,
    pub(super) selector: SourceSelector,
    pub(super) latched_flags: LatchedFlags,
    /// What activities drew on earlier outings, by the bank's name.
    pub(super) usual_before: Vec<(String, UsualDraws)>,
    pub(super) by_rules: ByRules,
    pub(super) folding: Folding,
    pub(super) loads: LoadWatch,
    pub(super) switches: Switches,
    pub(super) drain: Drain,
    pub(super) usual: Vec<ActivityLeft>,
    pub(super) usual_at: Option<Mono>,
    pub(super) alarms: Alarms,
    pub(super) power_off: power_off::Watch,
    pub(super) brown_out: Option<Watts>,
    pub(super) testing: bool,
    pub(super) advice: Option<FinishAdvice>,
    pub(super) latest: Latest,
    pub(super) log: LogState,
    /// Why what was chosen cannot be put on the card.
    pub(super) unkept: Option<String>,
    pub(super) footprint: Footprint,
    pub(super) missed: u64,
    pub(super) silence: Option<Silence>,
    /// What earlier run-downs taught of each bank, by its name.
    pub(super) taught: Vec<(String, Learned)>,
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
            unkept: None,
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
}

fn besides(setup: &Setup) -> Besides {
    let radio = setup.radio.unwrap_or(Radio { receive: Watts::ZERO, transmit: Watts::ZERO });
    Besides {
        accessories: crate::draw::sum(setup.accessories.iter().map(|one| one.draw)),
        receive: radio.receive.max(Watts::ZERO),
        transmit: radio.transmit.max(radio.receive).max(Watts::ZERO),
    }
}
