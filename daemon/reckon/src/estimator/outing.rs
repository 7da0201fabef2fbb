//! Follows one outing of one bank, with a sensor or without.

use alloc::vec::Vec;

use libm::{exp, log, sqrt};

use super::{
    FED_OTHERWISE_W, LoadPrior, Observation,
    capacity::{Capacity, Terms},
    draw::{Ahead, BUCKET_S, Draw},
    draw_model::DrawModel,
    draw_prior::draw_prior,
    energy_left::{Grid, Node},
    learned::Learned,
    planned_course::{PlannedAhead, PlannedCourse},
    volts::Volts,
    work_life::{Case, PARTS, Work},
};
use crate::{
    bank::{BankSpec, MeasuredAt, Start},
    record::{Detail, OutingPlan, RunDown},
    units::{Celsius, Share},
};

/// No portable station draws this much, W: such a reading is treated as missing.
const TOO_MANY_W: f64 = 1e5;
const TOO_MANY_A: f64 = 1e4;
/// Length of the means that a run-down keeps, s, and how many.
const HALF_HOUR_S: f64 = 1800.0;
const HALF_HOURS: usize = 256;
/// Half the width of the grid, in deviations of ln energy.
const REACH: f64 = 4.5;
/// Deviation (ln) of energy that was bridged over gaps (fit).
pub(super) const BRIDGED: f64 = 0.15;
/// Deviation (ln) between modelled and measured energy, for a bank that got or lost its sensor.
pub(super) const OTHER_BASIS: f64 = 0.15;

/// Whether a sensor measures this bank behind a converter of its own.
pub(super) fn has_converter(bank: &BankSpec) -> bool {
    bank.series <= 1 && bank.measured_at != MeasuredAt::Cells
}

/// One outing.
#[derive(Clone, Debug)]
pub(super) struct Outing {
    bank: BankSpec,
    start: Start,
    ambient_c: Option<f64>,
    outings: f64,
    capacity: Capacity,
    grid: Grid,
    draw: Draw,
    plan: Option<PlannedCourse>,
    volts: Option<Volts>,
    modelled: Option<DrawModel>,
    elapsed_s: f64,
    bucket_s: f64,
    read_s: f64,
    delivered_wh: f64,
    bridged_wh: f64,
    /// Mean draw that is expected of the whole outing, W.
    expected_w: f64,
    /// Open half hour: Wh, s.
    half_hour: (f64, f64),
    half_hours_w: Vec<f64>,
}

impl Outing {
    /// An outing whose draw is measured.
    pub(super) fn measured(
        bank: &BankSpec,
        load: &LoadPrior,
        learned: &Learned,
        start: Start,
    ) -> Self {
        let runs = learned.rundowns_data();
        let converter = has_converter(bank);
        let mut capacity = Capacity::from_label(bank, converter);
        let volts = (bank.measured_at == MeasuredAt::Cells)
            .then(|| Volts::new(bank, learned.full_curves()));
        for (k, run) in runs.iter().enumerate() {
            let blur = if run.measured { 0.0 } else { OTHER_BASIS };
            let depth = volts.as_ref().map_or(1.0, |v| v.own_end_depth_of(run));
            capacity.learn(run, k as f64, blur, depth);
        }
        let prior = draw_prior(bank, load, converter, runs, RunDown::mean_w);
        let ambient_c = bank.ambient.map(Celsius::si);
        let x = capacity.terms(exp(prior.log_w), ambient_c, runs.len() as f64);
        let belief = capacity.expect(&x);
        Self::new(bank, start, runs.len(), capacity, Draw::new(prior), exp(prior.log_w), belief)
            .with(volts, None)
    }

    /// An outing whose draw nobody measures.
    pub(super) fn modelled(
        bank: &BankSpec,
        load: &LoadPrior,
        learned: &Learned,
        start: Start,
    ) -> Self {
        let runs = learned.rundowns_data();
        // A board that lives on a single lithium cell has a converter before it.
        let converter = bank.series <= 1;
        let mut capacity = Capacity::from_label(bank, converter);
        if learned.full_curves().any(|run| Work::from_run_down(run).is_some()) {
            capacity.set_known();
        }
        let ambient_c = bank.ambient.map(Celsius::si);
        let model = DrawModel::new(bank, load, &capacity, ambient_c, runs);
        let mean_w = |run: &RunDown| {
            Work::from_run_down(run).map_or_else(|| run.mean_w(), |work| model.life.mean_w(&work))
        };
        let prior = draw_prior(bank, load, converter, runs, mean_w);
        let belief = model.expect();
        Self::new(bank, start, runs.len(), capacity, Draw::new(prior), exp(prior.log_w), belief)
            .with(None, Some(model))
    }

    /// The same before an outing that is known in advance: its mean draw, W, is expected.
    pub(super) fn expecting(mut self, mean_w: f64) -> Self {
        self.expected_w = mean_w;
        self
    }

    /// An outing of such work, whose draw nobody measures, and the watts of the parts as believed.
    pub(super) fn planned(
        bank: &BankSpec,
        load: &LoadPrior,
        learned: &Learned,
        start: Start,
        work: &Work,
    ) -> (Self, [f64; PARTS]) {
        let mut outing = Self::modelled(bank, load, learned, start);
        let watts = outing.modelled.as_mut().map(|model| model.plan(work)).unwrap_or_default();
        (outing, watts)
    }

    fn new(
        bank: &BankSpec,
        start: Start,
        outings: usize,
        capacity: Capacity,
        draw: Draw,
        expected_w: f64,
        belief: (f64, f64),
    ) -> Self {
        let ambient_c = bank.ambient.map(Celsius::si);
        let terms = capacity.terms(expected_w, ambient_c, outings as f64);
        let half = REACH * sqrt(belief.1 + capacity.repeat_var(&terms)) + capacity.draw_reach();
        Self {
            bank: bank.clone(),
            start,
            ambient_c,
            outings: outings as f64,
            grid: Grid::new(belief.0, half, start),
            capacity,
            draw,
            plan: None,
            volts: None,
            modelled: None,
            elapsed_s: 0.0,
            bucket_s: 0.0,
            read_s: 0.0,
            delivered_wh: 0.0,
            bridged_wh: 0.0,
            expected_w,
            half_hour: (0.0, 0.0),
            half_hours_w: Vec::new(),
        }
    }

    fn with(mut self, volts: Option<Volts>, modelled: Option<DrawModel>) -> Self {
        let usual_wh = exp(self.belief(&modelled).0);
        self.volts = volts;
        self.modelled = modelled;
        if let Some(volts) = &mut self.volts {
            volts.lay_out(self.grid.nodes().len(), usual_wh);
        }
        self
    }

    /// Takes in what was seen.
    pub(super) fn step(&mut self, seen: &Observation) {
        if self.is_fed_otherwise(seen) {
            // Neither drained nor usual: as if these seconds had not been. What follows must not
            // be taken for a step of the current.
            if let Some(volts) = &mut self.volts {
                volts.gap();
            }
            return;
        }
        let dt = seen.dt_s;
        let watts = match &mut self.modelled {
            Some(model) => model.observe(dt, seen.cpu_busy),
            None => self.measured_w(seen),
        };
        if let Some(plan) = &mut self.plan {
            plan.observe(dt, watts, &self.draw);
        }
        self.draw.observe(dt, watts);
        let wh = watts.unwrap_or_else(|| self.draw.bridge_w()) * dt / 3600.0;
        self.elapsed_s += dt;
        self.delivered_wh += wh;
        if watts.is_some() {
            self.read_s += dt;
        } else {
            self.bridged_wh += wh;
        }
        self.keep_half_hour(wh, dt);
        if let Some(volts) = &mut self.volts {
            match (seen.volts, seen.amps) {
                (Some(v), Some(a)) if v.abs() < TOO_MANY_W && a.abs() < TOO_MANY_A => {
                    volts.observe(dt, v, a);
                }
                _ => volts.gap(),
            }
        }
        self.bucket_s += dt;
        if self.bucket_s >= BUCKET_S {
            self.bucket_s = 0.0;
            if let Some(volts) = &mut self.volts {
                volts.close_bucket(self.delivered_wh, self.grid.nodes());
            }
            self.expected_w = self.expect_mean_w();
        }
    }

    /// Whether a sensor says that the board does not live on this bank now.
    pub(super) fn is_fed_otherwise(&self, seen: &Observation) -> bool {
        self.measured_w(seen).is_some_and(|watts| watts < FED_OTHERWISE_W)
    }

    fn measured_w(&self, seen: &Observation) -> Option<f64> {
        if self.bank.measured_at == MeasuredAt::Nowhere {
            return None;
        }
        let product = seen.volts.zip(seen.amps).map(|(v, a)| v * a);
        seen.watts.or(product).filter(|w| w.abs() < TOO_MANY_W).map(|w| w.max(0.0))
    }

    fn keep_half_hour(&mut self, wh: f64, dt: f64) {
        self.half_hour.0 += wh;
        self.half_hour.1 += dt;
        if self.half_hour.1 >= HALF_HOUR_S {
            let (wh, s) = core::mem::take(&mut self.half_hour);
            if self.half_hours_w.len() < HALF_HOURS {
                self.half_hours_w.push(wh * 3600.0 / s);
            }
        }
    }

    /// Mean and variance of ln(usable Wh) as believed now, ε and voltage apart.
    fn belief(&self, modelled: &Option<DrawModel>) -> (f64, f64) {
        match modelled {
            Some(model) => model.expect(),
            None => self.capacity.expect(&self.terms()),
        }
    }

    fn terms(&self) -> Terms {
        self.capacity.terms(self.expected_w, self.ambient_c, self.outings)
    }

    /// Energy that is left, as weighted possibilities (Wh, weight).
    pub(super) fn left(&self) -> Vec<(f64, f64)> {
        let density = self.density();
        let mut left = Vec::with_capacity(self.grid.nodes().len());
        self.grid.left(
            self.delivered_wh,
            |k, node| density(node) + node.log_level + self.volts_tell(k),
            &mut left,
        );
        left
    }

    /// ln of how likely the belief makes being alive after so much, and the voltages seen.
    pub(super) fn log_evidence(&self) -> f64 {
        let density = self.density();
        self.grid.log_evidence(
            self.delivered_wh,
            |node| density(node) + node.log_level,
            |k| self.volts_tell(k),
        )
    }

    /// ln of the belief in a bank of this energy, survival and voltage apart.
    fn density(&self) -> impl Fn(&Node) -> f64 + use<> {
        let (m, v) = self.belief(&self.modelled);
        let bridged = BRIDGED * self.bridged_wh / self.delivered_wh.max(1e-9);
        let sooner = self.volts.as_ref().map_or(0.0, |volts| log(volts.own_end_depth()));
        let other = self.modelled.as_ref().map(DrawModel::unmarked).unwrap_or_default();
        let plain = Case { chance: 1.0 - other.chance, ..Case::default() };
        let cases = [plain, other];
        let parts = cases.iter().filter(|case| case.chance > 0.0).flat_map(|case| {
            self.capacity.parts(&self.terms()).map(|p| {
                let var = v + bridged * bridged + p.var + case.sd * case.sd;
                let at = m + sooner + p.off + case.shift;
                (case.chance * p.weight / sqrt(var), at, -0.5 / var)
            })
        });
        let parts: Vec<(f64, f64, f64)> = parts.collect();
        move |node| {
            let density: f64 = parts
                .iter()
                .map(|&(w, at, h)| w * exp(h * (node.log_e - at) * (node.log_e - at)))
                .sum();
            log(density.max(1e-300))
        }
    }

    /// ln of the likelihood of the voltages seen, for a node.
    fn volts_tell(&self, k: usize) -> f64 {
        self.volts.as_ref().map_or(0.0, |volts| volts.log_likelihood(k))
    }

    /// Mean draw of the whole outing as expected now, W: what was used and what will be.
    fn expect_mean_w(&self) -> f64 {
        let left = self.left();
        let total: f64 = left.iter().map(|p| p.1).sum();
        let wh = left.iter().map(|p| p.0 * p.1).sum::<f64>() / total.max(1e-300);
        let (ahead, planned) = (self.draw.ahead(), self.planned_ahead());
        let mean_w = |h: f64| match &planned {
            Some(planned) => planned.mean_w(h, ahead.over(h)),
            None => ahead.mean_w(h),
        };
        let mut h = 1.0;
        for _ in 0..4 {
            h = wh / mean_w(h);
        }
        (self.delivered_wh + wh) / (self.elapsed_s / 3600.0 + h).max(1e-6)
    }

    pub(super) fn ahead(&self) -> Ahead {
        self.draw.ahead()
    }

    /// The draw as planned, where the outing was started with a plan.
    pub(super) fn planned_ahead(&self) -> Option<PlannedAhead> {
        self.plan.as_ref().map(PlannedCourse::ahead)
    }

    pub(super) fn follow_plan(&mut self, plan: &OutingPlan, since_s: f64) {
        self.plan = PlannedCourse::new(plan, since_s);
        self.expected_w = self.expect_mean_w();
    }

    pub(super) fn forget_plan(&mut self) {
        self.plan = None;
    }

    pub(super) const fn note_plan_time(&mut self, since_s: f64) {
        if let Some(plan) = &mut self.plan {
            plan.set_clock(since_s);
        }
    }

    pub(super) const fn is_measured(&self) -> bool {
        self.modelled.is_none()
    }

    pub(super) const fn read_s(&self) -> f64 {
        self.read_s
    }

    pub(super) const fn delivered_wh(&self) -> f64 {
        self.delivered_wh
    }

    pub(super) const fn bridged_wh(&self) -> f64 {
        self.bridged_wh
    }

    pub(super) fn close(self, whole: bool) -> RunDown {
        let (work, burst) = self.modelled.as_ref().map(DrawModel::sums).unwrap_or_default();
        let source_ohms = self.volts.as_ref().and_then(Volts::seen_ohms);
        let mean_w = self.delivered_wh * 3600.0 / self.elapsed_s;
        RunDown {
            name: None,
            whole,
            start_share: self.start.middle().map(Share::part),
            lasted_s: self.elapsed_s,
            within_s: 0.0,
            before_s: 0.0,
            delivered_wh: Some(self.delivered_wh),
            bridged_wh: Some(self.bridged_wh),
            mean_power_w: Some(mean_w).filter(|_| self.elapsed_s > 0.0),
            measured: self.is_measured(),
            ambient_c: self.ambient_c,
            detail: Detail {
                over_range_wh: None,
                peak_a: source_ohms.and(self.volts.as_ref().map(Volts::peak_a)),
                rest_curve: self.volts.map(|v| v.into_curve(self.delivered_wh)).unwrap_or_default(),
                source_ohms,
                half_hours_w: self.half_hours_w,
                work,
                burst,
                draw_levels: None,
            },
        }
    }
}
