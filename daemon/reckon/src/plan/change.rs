//! Changes of a plan that may buy time.

use alloc::{string::String, vec::Vec};

use super::{
    spec::{Doing, Plan, PlanBank, Stretch},
    sun::{Charge, DAYLIGHT_UNSAID_H, Light, Panel, Sun},
};
use crate::{
    estimator::Learned,
    units::{AmpHours, Celsius, Seconds},
};

/// A change.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// Another bank instead of the first.
    Take(String),
    /// Another bank after the others.
    Bring(String),
    /// A bank of twice the label.
    Double,
    /// Half of what draws more given to this activity.
    Quieter(String),
    /// Half as much sent.
    SendHalf,
    /// The processor slowed down, so that its work takes a little more than half.
    SlowDown,
    /// The display off.
    DisplayOff,
    /// The radio off where nothing is sent and nothing decoded.
    RadioOff,
    /// The bank kept at about 15 °C.
    KeepWarm,
    /// A small panel in middling sun.
    Panel,
}

impl What {
    /// Its name for programs.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Take(_) => "take",
            Self::Bring(_) => "bring",
            Self::Double => "double",
            Self::Quieter(_) => "quieter",
            Self::SendHalf => "send_half",
            Self::SlowDown => "slow_down",
            Self::DisplayOff => "display_off",
            Self::RadioOff => "radio_off",
            Self::KeepWarm => "keep_warm",
            Self::Panel => "panel",
        }
    }

    /// Whether it is another bank; of these only one is told.
    pub(super) const fn is_bank(&self) -> bool {
        matches!(self, Self::Take(_) | Self::Bring(_) | Self::Double)
    }
}

/// A change and what it gains.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// What.
    pub what: What,
    /// By so much the middle of the end is later.
    pub gains: Seconds,
}

/// What is left of the processor's draw when it is slowed down (ours: boards halve their clock, and a decoder
/// then takes longer).
const SLOWED: f64 = 0.6;
/// A bank is kept as warm as this in a pocket, where it is colder by so many degrees.
const WARM: Celsius = Celsius::of(15.0);
const COLDER_K: f64 = 5.0;
/// Less of the cores is busy where nothing is decoded.
const QUIET_BUSY: f64 = 0.05;

/// Each change that this plan allows, with the plan changed.
pub(super) fn possible(plan: &Plan, others: &[PlanBank]) -> Vec<(What, Plan)> {
    let mut all: Vec<(What, Plan)> = Vec::new();
    for bank in others {
        let mut taken = plan.clone();
        let mut bank = bank.clone();
        if let Some(first) = taken.banks.first_mut() {
            // It goes into the same cold, and feeds the same.
            bank.spec.ambient = first.spec.ambient.or(bank.spec.ambient);
            bank.feeds = first.feeds;
            *first = bank.clone();
        }
        all.push((What::Take(bank.spec.name.clone()), taken));
        let mut brought = plan.clone();
        let name = bank.spec.name.clone();
        brought.banks.push(bank);
        all.push((What::Bring(name), brought));
    }
    let mut add = |what, change: &dyn Fn(&mut Plan)| {
        let mut changed = plan.clone();
        change(&mut changed);
        if changed != *plan {
            all.push((what, changed));
        }
    };
    if let Some((name, _)) = &plan.quietest {
        add(What::Quieter(name.clone()), &half_quieter);
    }
    add(What::Double, &double);
    add(What::SendHalf, &|plan| each_share(plan, |_, sent| *sent *= 0.5));
    add(What::SlowDown, &|plan| each_share(plan, |busy, _| *busy *= SLOWED));
    add(What::DisplayOff, &|plan| plan.stretches.iter_mut().for_each(|one| one.display_on = false));
    add(What::RadioOff, &radio_off);
    add(What::KeepWarm, &keep_warm);
    add(What::Panel, &panel);
    all
}

/// Every stretch of an activity that draws more is halved, and its second half given to the quietest.
fn half_quieter(plan: &mut Plan) {
    let Some((name, usual)) = &plan.quietest else { return };
    let halved = |stretch: &Stretch| {
        let more = matches!(&stretch.doing, Doing::Activity(_, of) if of.watts > usual.watts);
        if !more {
            return Vec::from([stretch.clone()]);
        }
        let half = Stretch { hours: 0.5 * stretch.hours, ..stretch.clone() };
        let doing = Doing::Activity(name.clone(), *usual);
        Vec::from([half.clone(), Stretch { doing, ..half }])
    };
    plan.stretches = plan.stretches.iter().flat_map(halved).collect();
}

/// The plan with this change, where it allows it.
#[must_use]
pub fn changed(plan: &Plan, others: &[PlanBank], what: &What) -> Option<Plan> {
    possible(plan, others).into_iter().find(|(one, _)| one == what).map(|(_, plan)| plan)
}

fn double(plan: &mut Plan) {
    if let Some(first) = plan.banks.first_mut() {
        first.spec.label = AmpHours::of(2.0 * first.spec.label.si());
        first.learned = Learned::default();
    }
}

fn each_share(plan: &mut Plan, change: impl Fn(&mut f64, &mut f64)) {
    for stretch in &mut plan.stretches {
        if let Doing::Shares { busy, sent } = &mut stretch.doing {
            change(busy, sent);
        }
    }
}

fn radio_off(plan: &mut Plan) {
    if plan.load.radio_receive_w.is_none() {
        return;
    }
    for stretch in &mut plan.stretches {
        if matches!(stretch.doing, Doing::Shares { busy, sent } if sent == 0.0 && busy <= QUIET_BUSY)
        {
            stretch.radio_on = false;
        }
    }
}

/// A panel of 20 W, three hours of full sun a day (ours: a hand-sized panel on a fair day), the middle of them
/// three hours after the start.
fn panel(plan: &mut Plan) {
    let Some(bank) = plan.banks.first().filter(|_| plan.sun.is_none()) else { return };
    let air = bank.spec.ambient.unwrap_or(WARM);
    let light = Light::Hours {
        full_sun_h: (3.0, 3.0),
        noon_s: 3.0 * 3600.0,
        daylight_h: DAYLIGHT_UNSAID_H,
    };
    let charge = Charge::usual(bank.spec.cells, bank.spec.label_energy(), air, None);
    plan.sun = Sun::new(Panel::flat(20.0), light, charge, air);
}

fn keep_warm(plan: &mut Plan) {
    for bank in &mut plan.banks {
        if bank.spec.ambient.is_some_and(|c| c.si() <= WARM.si() - COLDER_K) {
            bank.spec.ambient = Some(WARM);
        }
    }
}
