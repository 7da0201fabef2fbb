//! What a plan comes to.

use alloc::{string::String, vec::Vec};

use super::{
    air::{Carriage, carriage},
    caution::{Caution, cautions},
    change::{self, Change, What},
    course::{Course, doings},
    energies::Energies,
    lasting::{LONGEST_H, Paths, SKIES, Skies, Supply},
    spec::{Doing, Feeds, Plan, PlanBank, Stretch},
    wiring::{Wiring, wiring},
};
use crate::{
    bank::{Cells, Start},
    estimator::{PartWatts, Planned},
    forecast::Spread,
    record::{OutingPlan, PlannedStretch},
    units::{Celsius, Seconds, Share},
};

/// Points along the outing.
const POINTS: usize = 48;
/// Changes that are told.
const CHANGES: usize = 3;
/// The chances for which the smallest bank is told.
const WANTED: [f64; 2] = [0.9, 0.95];

/// A moment of the outing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Since the start.
    pub at: Seconds,
    /// Left in all banks, Wh: 10 %, 50 %, 90 %.
    pub left_wh: [f64; 3],
    /// Drawn from all banks, W.
    pub draw_w: f64,
    /// What the sun gives the bank on average, W.
    pub sun_w: f64,
}

/// A bank of the plan as it is believed.
#[derive(Clone, Debug, PartialEq)]
pub struct BankFound {
    /// Its name.
    pub name: String,
    /// Run-downs that it is known from; 0: by its label.
    pub run_downs: u32,
    /// Usable at the start, Wh: 10 %, 50 %, 90 %.
    pub usable_wh: [f64; 3],
    /// By its label, Wh: what counts for an airline.
    pub label_wh: f64,
    /// What it weighs, g: as told, else as is usual of its kind.
    pub mass_g: f64,
    /// Whether it may fly.
    pub carriage: Carriage,
}

/// Watt-hours on the label of a kilogram (common practice, no source: a 10 000 mAh bank weighs about 210 g, a
/// 12.8 V pack of 6 Ah about 800 g, a sealed lead-acid battery of 7 Ah about 2.4 kg).
const fn usual_wh_per_kg(cells: Cells) -> f64 {
    match cells {
        Cells::LiIon => 175.0,
        Cells::LiFePo4 => 95.0,
        Cells::LeadAcid => 35.0,
    }
}

/// The smallest bank of the first one's kind that reaches finish and reserve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Smallest {
    /// With this chance.
    pub chance: f64,
    /// Usable, Wh.
    pub usable_wh: f64,
    /// On its label, mAh.
    pub label_mah: f64,
}

/// What a plan comes to.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// When the first supply ends, since the start: 10 %, 50 %, 90 %.
    pub lasts: [Seconds; 3],
    /// Which of the three lie beyond what was followed: it lasts at least so long.
    pub beyond: [bool; 3],
    /// The chance to last until the finish.
    pub chance_of_finish: Share,
    /// The chance to last until finish and reserve.
    pub chance_with_reserve: Share,
    /// Usable in all banks at the start, Wh: 10 %, 50 %, 90 %.
    pub energy_wh: [f64; 3],
    /// Mean draw until the finish from all banks, W.
    pub draw_w: f64,
    /// How well that is known: deviation of its logarithm.
    pub draw_log_sd: f64,
    /// Along the outing.
    pub points: Vec<Point>,
    /// Its banks.
    pub banks: Vec<BankFound>,
    /// Smallest banks that would do.
    pub smallest: Vec<Smallest>,
    /// What buys the most time.
    pub changes: Vec<Change>,
    /// What the lead costs at peak load, where one was told.
    pub wiring: Option<Wiring>,
    /// What can hurt somebody.
    pub cautions: Vec<Caution>,
    /// Mean draw of each stretch from all banks, W, and how well it is known.
    pub stretches: Vec<(f64, f64)>,
}

impl Answer {
    /// What an outing that is started with it keeps of it.
    #[must_use]
    pub fn kept(&self, plan: &Plan) -> OutingPlan {
        let first = plan.banks.first();
        let stretch = |(stretch, (draw_w, draw_log_sd)): (&Stretch, &(f64, f64))| PlannedStretch {
            name: match &stretch.doing {
                Doing::Activity(name, _) => name.clone(),
                Doing::Shares { .. } => String::new(),
            },
            lasts_s: 3600.0 * stretch.hours,
            draw_w: *draw_w,
            draw_log_sd: *draw_log_sd,
        };
        OutingPlan {
            began_s: 0.0,
            bank: first.map(|bank| bank.spec.name.clone()).unwrap_or_default(),
            finish_s: 3600.0 * plan.finish_h,
            reserve_s: 3600.0 * plan.reserve_h,
            lasts_s: self.lasts.map(Seconds::si),
            energy_wh: self.energy_wh,
            ambient_c: first.and_then(|bank| bank.spec.ambient).map(Celsius::si),
            stretches: plan.stretches.iter().zip(&self.stretches).map(stretch).collect(),
        }
    }
}

/// The supplies of a plan, and the banks behind them.
pub(super) struct Worked<'a> {
    supplies: Vec<Supply<'a>>,
    banks: Vec<BankFound>,
    paths: Paths,
}

/// Works a plan out; `others` are banks that could be taken instead.
#[must_use]
pub fn answer(plan: &Plan, others: &[PlanBank]) -> Answer {
    let skies = skies_of(plan);
    let worked = Worked::new(plan, skies.as_ref());
    let spread = worked.spread();
    let finish = Seconds::of(3600.0 * plan.finish_h);
    let reserve = Seconds::of(3600.0 * plan.reserve_h);
    let chance = |at| spread.chance_beyond(at).unwrap_or(Share::NONE);
    let lasts = quantiles(&spread);
    let followed = Seconds::of(3600.0 * worked.paths.hours.last().copied().unwrap_or(LONGEST_H));
    let changes = changes(plan, others, lasts[1], skies.as_ref());
    let (draw_w, draw_log_sd) = worked.draw(plan.finish_h);
    Answer {
        lasts,
        beyond: lasts.map(|at| at >= followed),
        chance_of_finish: chance(finish),
        chance_with_reserve: chance(finish + reserve),
        energy_wh: worked.energy_wh(),
        draw_w,
        draw_log_sd,
        points: worked.points(plan, lasts[2], skies.as_ref()),
        smallest: worked.smallest(plan),
        wiring: wiring(plan),
        cautions: cautions(plan),
        stretches: worked.stretches(),
        banks: worked.banks,
        changes,
    }
}

/// What buys the most time: of other banks the first that carries the outing in nine of ten cases, else the one that
/// gains most, so that there is room for what costs nothing.
fn changes(
    plan: &Plan,
    others: &[PlanBank],
    middle: Seconds,
    skies: Option<&Skies>,
) -> Vec<Change> {
    let wanted = Seconds::of(3600.0 * (plan.finish_h + plan.reserve_h));
    let tried = |(what, changed): (What, Plan)| {
        // The same sun need not be worked out again.
        let other = if changed.sun == plan.sun { None } else { skies_of(&changed) };
        let spread = Worked::new(&changed, other.as_ref().or(skies)).spread();
        let carries = spread.chance_beyond(wanted).is_some_and(|chance| chance.part() >= WANTED[0]);
        (Change { what, gains: quantiles(&spread)[1] - middle }, carries)
    };
    let all = change::possible(plan, others).into_iter().map(tried);
    let worth: Vec<(Change, bool)> = all.filter(|(change, _)| change.gains.si() > 60.0).collect();
    let (banks, free): (Vec<_>, Vec<_>) =
        worth.into_iter().partition(|(one, _)| one.what.is_bank());
    let carries = banks.iter().position(|(_, carries)| *carries);
    let most = || (0..banks.len()).max_by(|a, b| by_gain(&banks[*a].0, &banks[*b].0));
    let bank = carries.or_else(most).and_then(|k| banks.get(k));
    let mut told: Vec<Change> = bank.into_iter().chain(&free).map(|(one, _)| one.clone()).collect();
    told.sort_by(|a, b| by_gain(b, a));
    told.truncate(CHANGES);
    told
}

fn by_gain(a: &Change, b: &Change) -> core::cmp::Ordering {
    a.gains.si().total_cmp(&b.gains.si())
}

/// What the plan's panel gives its first supply.
fn skies_of(plan: &Plan) -> Option<Skies> {
    let sun = plan.sun?;
    let share = |n: usize| Share::nearest((n as f64 + 0.5) / SKIES as f64);
    Some(core::array::from_fn(|n| sun.shining(share(n), 3600.0 * SUN_H)))
}

/// So long a sun is worked out, h; after that its last day is repeated.
const SUN_H: f64 = 96.0;

fn quantiles(spread: &Spread) -> [Seconds; 3] {
    let last = Seconds::of(3600.0 * LONGEST_H);
    [0.1, 0.5, 0.9].map(|share| spread.quantile(Share::nearest(share)).unwrap_or(last))
}

impl<'a> Worked<'a> {
    fn new(plan: &Plan, skies: Option<&'a Skies>) -> Self {
        let mut banks = Vec::new();
        let mut supplies: Vec<(Feeds, Supply<'a>)> = Vec::new();
        for (nth, bank) in plan.banks.iter().enumerate() {
            let (at_start, full, watts) = believed(plan, nth, bank);
            banks.push(BankFound {
                name: bank.spec.name.clone(),
                run_downs: bank.learned.rundowns(),
                usable_wh: at_start.range(),
                label_wh: bank.spec.label_energy().wh(),
                mass_g: mass_g(bank),
                carriage: carriage(&bank.spec),
            });
            match supplies.iter_mut().find(|(feeds, _)| *feeds == bank.feeds) {
                Some((_, supply)) => {
                    supply.energies = supply.energies.and(&at_start);
                    supply.full = supply.full.and(&full);
                }
                None => supplies.push((
                    bank.feeds,
                    Supply {
                        energies: at_start,
                        full,
                        course: Course::new(plan, bank.feeds, &watts),
                        sun: skies.filter(|_| supplies.is_empty()),
                    },
                )),
            }
        }
        let supplies: Vec<Supply<'a>> = supplies.into_iter().map(|(_, supply)| supply).collect();
        let paths = Paths::new(&supplies, &[plan.finish_h, plan.finish_h + plan.reserve_h]);
        Self { supplies, banks, paths }
    }

    fn spread(&self) -> Spread {
        self.paths.lasts(&self.supplies)
    }

    fn energy_wh(&self) -> [f64; 3] {
        let all = self.supplies.iter().map(|supply| supply.energies.clone());
        all.reduce(|a, b| a.and(&b)).map_or([0.0; 3], |sum| sum.range())
    }

    fn draw(&self, finish_h: f64) -> (f64, f64) {
        let taken = self.supplies.iter().map(|supply| supply.course.taken(finish_h));
        let (wh, sd) = taken.fold((0.0, 0.0), |(wh, sd), t| (wh + t.wh, sd + t.wh * t.log_sd));
        (wh / finish_h.max(1e-6), sd / wh.max(1e-9))
    }

    fn stretches(&self) -> Vec<(f64, f64)> {
        let mut sums: Vec<(f64, f64)> = Vec::new();
        for supply in &self.supplies {
            for (k, (watts, log_sd)) in supply.course.each().enumerate() {
                match sums.get_mut(k) {
                    Some(sum) => {
                        let sd_w = sum.0 * sum.1 + watts * log_sd;
                        sum.0 += watts;
                        sum.1 = sd_w / sum.0.max(1e-9);
                    }
                    None => sums.push((watts, log_sd)),
                }
            }
        }
        sums
    }

    /// From the start to `end` or what is wanted, whichever is later.
    fn points(&self, plan: &Plan, end: Seconds, skies: Option<&Skies>) -> Vec<Point> {
        let last = plan.finish_h + plan.reserve_h;
        let until = last.max(end.si() / 3600.0).min(*self.paths.hours.last().unwrap_or(&last));
        (0..=POINTS)
            .map(|n| {
                let hour = until * n as f64 / POINTS as f64;
                let left_wh = if n == 0 {
                    self.energy_wh()
                } else {
                    self.paths.left_wh(&self.supplies, self.paths.place(hour))
                };
                let draw_w = self.supplies.iter().map(|s| s.course.watts_at(hour)).sum();
                let sun = skies
                    .map(|skies| skies.iter().map(|sky| sky.watts(3600.0 * hour)).sum::<f64>());
                let sun_w = sun.unwrap_or(0.0) / SKIES as f64;
                Point { at: Seconds::of(3600.0 * hour), left_wh, draw_w, sun_w }
            })
            .collect()
    }

    /// By how much the first supply would have to hold more, or could hold less (halving).
    fn smallest(&self, plan: &Plan) -> Vec<Smallest> {
        let k = self.paths.place(plan.finish_h + plan.reserve_h);
        let (Some(first), Some(bank)) = (self.supplies.first(), plan.banks.first()) else {
            return Vec::new();
        };
        let enough =
            |scale: f64, chance: f64| self.paths.ended(&self.supplies, k, scale) <= 1.0 - chance;
        WANTED
            .into_iter()
            .filter(|chance| enough(MOST_TIMES, *chance))
            .map(|chance| {
                let (mut low, mut high) = (1.0 / MOST_TIMES, MOST_TIMES);
                for _ in 0..40 {
                    let middle = libm::sqrt(low * high);
                    if enough(middle, chance) { high = middle } else { low = middle }
                }
                let usable_wh = high * first.energies.quantile(0.5);
                let label_mah = high * bank.spec.label.si() * 1000.0;
                Smallest { chance, usable_wh, label_mah }
            })
            .collect()
    }
}

/// The share of the draw that the n-th bank takes: by its label, of those that are side by side with it.
fn share_of(banks: &[PlanBank], nth: usize) -> f64 {
    let first = (0..=nth).rev().find(|k| !banks[*k].together).unwrap_or(0);
    let beside = banks.iter().skip(first + 1).take_while(|bank| bank.together);
    let label_wh = |bank: &PlanBank| bank.spec.label_energy().wh();
    let all: f64 = label_wh(&banks[first]) + beside.map(label_wh).sum::<f64>();
    (label_wh(&banks[nth]) / all.max(1e-9)).clamp(1e-3, 1.0)
}

fn mass_g(bank: &PlanBank) -> f64 {
    let usual = 1000.0 * bank.spec.label_energy().wh() / usual_wh_per_kg(bank.spec.cells);
    bank.mass_g.unwrap_or(usual)
}

/// No bank is looked for that holds more than so many times as much.
const MOST_TIMES: f64 = 50.0;

/// What the estimator takes for granted of a bank's age: two years, kept full at 25 °C (the mean of the capacity
/// models in `tests/published`; that banks in use are about so old is ours).
const USUALLY_LEFT: f64 = 0.92;

/// What a bank holds at the start and full, and the watts drawn from it.
fn believed(plan: &Plan, nth: usize, bank: &PlanBank) -> (Energies, Energies, PartWatts) {
    let mut doings = doings(plan, bank.feeds);
    // Side by side each bank gives its share, so that it lasts longer than its hours.
    doings.hours /= share_of(&plan.banks, nth);
    let planned = |start| Planned::new(&bank.spec, &plan.load, &bank.learned, start, &doings);
    let age = bank.aged.map_or((1.0, 0.0), |left| (left.share / USUALLY_LEFT, left.log_sd));
    let scaled = |left| Energies::new(left).times(bank.depth * age.0).blurred(age.1);
    let Planned { left, watts } = planned(bank.start);
    let at_start = scaled(left);
    let full = if bank.start == Start::Full {
        at_start.clone()
    } else {
        scaled(planned(Start::Full).left)
    };
    let watts = match plan.through {
        Some(through) => watts.with_converter(through),
        None => watts,
    };
    (at_start, full, watts)
}
