//! The plan that an outing was started with, laid beside what came: hours, energy, draw by stretch, and which
//! assumption moved the end the most.

use alloc::{string::String, vec::Vec};

use super::Truth;
use crate::{
    record::{OutingPlan, OutingWhole, PlannedStretch, Row},
    units::{Celsius, Joules, Seconds, Watts},
};

/// A plan against what came.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanOutcome {
    /// When the outing was started with it, since it began.
    pub began: Seconds,
    /// When it would end, since then: 10 %, 50 %, 90 %.
    pub lasts: [Seconds; 3],
    /// When it ended or how far it has come, since then.
    pub came: Seconds,
    /// Whether the bank was empty then; else it would have lasted at least so long.
    pub died: bool,
    /// Whether it goes on.
    pub open: bool,
    /// Believed usable at the start: 10 %, 50 %, 90 %.
    pub usable: [Joules; 3],
    /// Delivered since then; at least that was in it.
    pub gave: Option<Joules>,
    /// Temperature around the bank that was planned with.
    pub ambient: Option<Celsius>,
    /// Stretches that had begun, in order.
    pub stretches: Vec<StretchOutcome>,
    /// The assumption that moved the end the most; `None` where none did by ten minutes, or it goes on.
    pub most_wrong: Option<Wrong>,
}

/// A stretch as it was planned, and as it was.
#[derive(Clone, Debug, PartialEq)]
pub struct StretchOutcome {
    /// Its activity; empty where only shares were told.
    pub name: String,
    /// When it begins, since the outing began.
    pub from: Seconds,
    /// When it ends or the outing did.
    pub to: Seconds,
    /// Planned mean draw.
    pub planned: Watts,
    /// Mean draw of what was read in it; `None` where that was too little.
    pub drew: Option<Watts>,
}

/// What was assumed otherwise than it was.
#[derive(Clone, Debug, PartialEq)]
pub struct Wrong {
    /// What.
    pub what: Assumed,
    /// By how much it moved the end; less than 0: the end came sooner.
    pub moved: Seconds,
}

/// An assumption of a plan, with what was assumed and what was.
#[derive(Clone, Debug, PartialEq)]
pub enum Assumed {
    /// What the bank holds.
    Energy(Joules, Joules),
    /// The draw of a stretch, or of all stretches with the same activity.
    Draw {
        /// The activity; empty where there is none.
        name: String,
        /// Where there is none: which stretch, from 1.
        nth: usize,
        /// Planned and real.
        watts: [Watts; 2],
    },
}

/// What moved the end by less is not worth naming, s.
const WORTH_S: f64 = 600.0;
/// So much of a stretch must have been read, s, or half of it if that is less.
const READ_S: f64 = 600.0;
/// No plan is followed further, h.
const LONGEST_H: f64 = 1000.0;

/// A stretch in hours, for working the end out.
#[derive(Clone, Copy)]
struct Leg {
    hours: f64,
    watts: f64,
}

impl PlanOutcome {
    /// Of an outing that was started with a plan; `all` is all the energy it took.
    #[must_use]
    pub fn of_outing(whole: &OutingWhole, truth: Truth, all: Joules) -> Option<Self> {
        let plan = whole.plan.as_ref()?;
        let (ended_s, died, open) = match truth {
            Truth::Died { at, within } => (at.si() + 0.5 * within.si().max(0.0), true, false),
            Truth::AtLeast { at } => (at.si(), false, false),
            Truth::Open { at } => (at.si(), false, true),
        };
        let came_s = ended_s - plan.began_s;
        if !came_s.is_finite() || came_s <= 0.0 {
            return None;
        }
        let before_wh = read(&whole.rows, 0.0, plan.began_s).1;
        let gave =
            whole.outing.energy_wh.map(|_| (all - Joules::from_wh(before_wh)).max(Joules::ZERO));
        let stretches = stretches(plan, &whole.rows, ended_s);
        let usable = plan.energy_wh.map(Joules::from_wh);
        let held = gave.filter(|gave| died || *gave > usable[1]);
        Some(Self {
            began: Seconds::of(plan.began_s),
            lasts: plan.lasts_s.map(Seconds::of),
            came: Seconds::of(came_s),
            died,
            open,
            usable,
            gave,
            ambient: plan.ambient_c.and_then(Celsius::new),
            most_wrong: if open { None } else { most_wrong(plan, &stretches, usable[1], held) },
            stretches,
        })
    }
}

/// The stretches that had begun when the outing ended; the last one goes on.
fn stretches(plan: &OutingPlan, rows: &[Row], ended_s: f64) -> Vec<StretchOutcome> {
    let mut from_s = plan.began_s;
    let last = plan.stretches.len().saturating_sub(1);
    let outcome = |(k, one): (usize, &PlannedStretch)| {
        let to_s = if k == last { ended_s } else { ended_s.min(from_s + one.lasts_s.max(0.0)) };
        let begins_s = core::mem::replace(&mut from_s, to_s);
        let span_s = to_s - begins_s;
        let (read_s, wh) = read(rows, begins_s, to_s);
        let known = read_s > 0.0 && read_s >= READ_S.min(0.5 * span_s);
        (span_s > 0.0).then(|| StretchOutcome {
            name: one.name.clone(),
            from: Seconds::of(begins_s),
            to: Seconds::of(to_s),
            planned: Watts::of(one.draw_w),
            drew: known.then(|| Watts::of(wh * 3600.0 / read_s)),
        })
    };
    plan.stretches.iter().enumerate().filter_map(outcome).collect()
}

/// Seconds and watt-hours that were read between two moments.
fn read(rows: &[Row], from_s: f64, to_s: f64) -> (f64, f64) {
    let part = |row: &Row| {
        let within_s = row.to_s().min(to_s) - row.from_s.max(from_s);
        let mean = row.draw_w().map(|draw| draw.mean).filter(|mean| mean.is_finite())?;
        (within_s > 0.0).then_some((within_s, mean * within_s / 3600.0))
    };
    rows.iter().filter_map(part).fold((0.0, 0.0), |(s, wh), part| (s + part.0, wh + part.1))
}

/// Each assumption is put right by itself, with all others as planned: which moves the end the most?
fn most_wrong(
    plan: &OutingPlan,
    stretches: &[StretchOutcome],
    usable: Joules,
    held: Option<Joules>,
) -> Option<Wrong> {
    let legs: Vec<Leg> = plan
        .stretches
        .iter()
        .map(|one| Leg { hours: one.lasts_s / 3600.0, watts: one.draw_w })
        .collect();
    let planned_h = end_h(usable.wh(), &legs)?;
    let mut all: Vec<Wrong> = Vec::new();
    let mut put_right = |what, end_h: Option<f64>| {
        let moved = end_h.map(|end_h| Seconds::of(3600.0 * (end_h - planned_h)));
        all.extend(moved.map(|moved| Wrong { what, moved }));
    };
    if let Some(held) = held {
        put_right(Assumed::Energy(usable, held), end_h(held.wh(), &legs));
    }
    for (k, one) in stretches.iter().enumerate() {
        let same = |other: &StretchOutcome| !one.name.is_empty() && other.name == one.name;
        if stretches.iter().take(k).any(same) {
            continue;
        }
        let mut changed = legs.clone();
        let mut sums = [0.0; 3];
        for (j, (leg, other)) in changed.iter_mut().zip(stretches).enumerate() {
            let Some(drew) = other.drew.filter(|_| j == k || same(other)) else { continue };
            let span = (other.to - other.from).si();
            sums = [sums[0] + span, sums[1] + span * leg.watts, sums[2] + span * drew.si()];
            leg.watts = drew.si();
        }
        if sums[0] > 0.0 {
            let watts = [sums[1], sums[2]].map(|ws| Watts::of(ws / sums[0]));
            let what = Assumed::Draw { name: one.name.clone(), nth: k + 1, watts };
            put_right(what, end_h(usable.wh(), &changed));
        }
    }
    let size = |wrong: &Wrong| wrong.moved.si().abs();
    all.into_iter().filter(|it| size(it) >= WORTH_S).max_by(|a, b| size(a).total_cmp(&size(b)))
}

/// When so much energy is used up; the last stretch goes on. `None` where nothing is drawn.
fn end_h(mut wh: f64, legs: &[Leg]) -> Option<f64> {
    let (last, before) = legs.split_last()?;
    let mut at_h = 0.0;
    for leg in before {
        let takes_wh = leg.hours * leg.watts;
        if takes_wh >= wh {
            return Some(at_h + wh / leg.watts);
        }
        wh -= takes_wh;
        at_h += leg.hours;
    }
    Some((at_h + wh / last.watts).min(LONGEST_H)).filter(|end_h| end_h.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{Channel, Ending, Outing, Stats};

    /// Ten-second rows, and a plan that was started ten minutes into the outing: two hours of Receive
    /// at 2 W, then Contacts at 4 W, of 20 Wh. By arithmetic it lasts 2 h and (20 − 4)/4 h: 6 h.
    fn outing(lasted_h: f64, ending: Ending, watts: impl Fn(f64) -> f64) -> OutingWhole {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "some rows")]
        let count = (lasted_h * 360.0) as u32 + 60;
        let row = |k: u32| {
            let from_s = f64::from(k) * 10.0;
            let mut stats = [None; Channel::ALL.len()];
            stats[Channel::Watts.ix()] = Some(Stats::one(watts((from_s - 600.0) / 3600.0)));
            Row { from_s, span_s: 10.0, stats }
        };
        let rows: Vec<Row> = (0..count).map(row).collect();
        let energy_wh = Some(read(&rows, 0.0, f64::INFINITY).1);
        let lasted_s = 600.0 + 3600.0 * lasted_h;
        let stretch = |name: &str, hours: f64, draw_w| PlannedStretch {
            name: name.into(),
            lasts_s: 3600.0 * hours,
            draw_w,
            draw_log_sd: 0.1,
        };
        let plan = OutingPlan {
            began_s: 600.0,
            lasts_s: [18_000.0, 21_600.0, 25_200.0],
            energy_wh: [17.0, 20.0, 23.0],
            ambient_c: Some(-4.0),
            stretches: alloc::vec![stretch("Receive", 2.0, 2.0), stretch("Contacts", 4.0, 4.0)],
            ..OutingPlan::default()
        };
        OutingWhole {
            outing: Outing { ending, lasted_s, energy_wh, ..Outing::default() },
            on: Vec::new(),
            rows,
            events: Vec::new(),
            gaps: Vec::new(),
            off_s: Vec::new(),
            forecasts: Vec::new(),
            contacts: crate::record::OutingContacts::default(),
            corrections: Vec::new(),
            folds: Vec::new(),
            loads: Vec::new(),
            plan: Some(plan),
            bank: None,
        }
    }

    fn of(whole: OutingWhole) -> PlanOutcome {
        crate::report::OutingReport::from_whole(whole).planned.unwrap()
    }

    fn near(got: f64, want: f64, within: f64) {
        assert!((got - want).abs() <= within, "{got}, want {want}");
    }

    #[test]
    fn a_draw_that_was_higher_is_named_with_what_it_cost() {
        // Contacts took 8 W: 4 Wh in two hours, and 16 Wh in two more.
        let told = of(outing(4.0, Ending::Died, |h| if h < 2.0 { 2.0 } else { 8.0 }));
        assert!(told.died && told.stretches.len() == 2);
        near(told.came.si(), 4.0 * 3600.0, 1.0);
        near(told.gave.unwrap().wh(), 20.0, 0.05);
        near(told.stretches[1].drew.unwrap().si(), 8.0, 1e-6);
        let wrong = told.most_wrong.unwrap();
        near(wrong.moved.si(), -2.0 * 3600.0, 60.0);
        let Assumed::Draw { name, watts: [planned, real], .. } = wrong.what else { panic!() };
        assert_eq!((name.as_str(), planned), ("Contacts", Watts::of(4.0)));
        near(real.si(), 8.0, 1e-6);
    }

    #[test]
    fn a_bank_that_gave_less_is_named_with_what_it_cost() {
        // As planned, but it was empty after 2 h and 2 h: it gave 12 Wh, two hours less.
        let told = of(outing(4.0, Ending::Died, |h| if h < 2.0 { 2.0 } else { 4.0 }));
        let wrong = told.most_wrong.unwrap();
        let Assumed::Energy(believed, gave) = wrong.what else { panic!("{wrong:?}") };
        near(believed.wh(), 20.0, 1e-9);
        near(gave.wh(), 12.0, 0.05);
        near(wrong.moved.si(), -2.0 * 3600.0, 60.0);
    }

    #[test]
    fn one_that_was_stopped_early_tells_of_its_draws_alone() {
        let told = of(outing(3.0, Ending::SwitchedOff, |h| if h < 2.0 { 2.2 } else { 8.0 }));
        assert!(!told.died && !told.open);
        assert!(matches!(told.most_wrong.unwrap().what, Assumed::Draw { nth: 2, .. }));
        // Stopped in the first stretch, as planned: nothing can be told, and nothing is said.
        let told = of(outing(1.0, Ending::SwitchedOff, |_| 2.0));
        assert_eq!((told.stretches.len(), told.most_wrong), (1, None));
        // It gave more than was believed: that much at least was wrong.
        let told = of(outing(8.0, Ending::SwitchedOff, |h| if h < 2.0 { 2.0 } else { 4.0 }));
        assert!(matches!(told.most_wrong.unwrap().what, Assumed::Energy(..)));
        // While it goes on nothing is judged.
        assert_eq!(of(outing(3.0, Ending::Open, |_| 8.0)).most_wrong, None);
    }

    #[test]
    fn a_plan_of_nothing_and_one_without_rows_are_no_panic() {
        let mut whole = outing(1.0, Ending::Died, |_| 2.0);
        whole.rows = Vec::new();
        assert!(of(whole.clone()).stretches.iter().all(|one| one.drew.is_none()));
        for draw_w in [0.0, f64::NAN, -1.0, f64::INFINITY] {
            if let Some(plan) = &mut whole.plan {
                plan.stretches[0].draw_w = draw_w;
                plan.stretches[1].draw_w = draw_w;
            }
            let _ = of(whole.clone());
        }
        if let Some(plan) = &mut whole.plan {
            plan.stretches.clear();
        }
        assert!(of(whole.clone()).stretches.is_empty());
        whole.plan = None;
        assert!(crate::report::OutingReport::from_whole(whole).planned.is_none());
    }
}
