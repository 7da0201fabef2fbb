//! The forecast against run-downs with a known time of death: `tests/reference/` at the top of the
//! project, made by its `make.py` from published cell models (provenance and seeds are there). The
//! limits hold both ways: a range that always holds the truth fails as one that misses it does.
//!
//! The scorer itself is held against published worked examples first.
#![expect(clippy::unwrap_used, reason = "a test that cannot read its data must fail")]

mod in_time;
mod scorer;

use std::{fs, path::PathBuf};

use reckon::{
    bank::{BankSpec, Cells, MeasuredAt},
    engine::Start,
    estimator::{Estimator, Learned, LevelWatch, LoadPrior, Observation},
    plan::{Plan, PlanBank, Stretch, answer},
    record::RunDown,
    units::{AmpHours, Celsius, Seconds, Share, Volts},
};
use scorer::{Figures, Said};

fn near(got: f64, want: f64, within: f64, what: &str) {
    assert!((got - want).abs() <= within, "{what}: {got}, want {want}");
}

/// Worked example in the terms of Saxena et al.: end of discharge at 240 min, five predictions.
/// (The figures follow from the published definitions; each can be done by hand.)
#[test]
fn prognostic_metrics() {
    let all = [(60.0, 150.0), (120.0, 130.0), (150.0, 100.0), (180.0, 58.0), (210.0, 31.0)];
    for ((t, r), want) in all.iter().zip([0.8333, 0.9167, 0.8889, 0.9667, 0.9667]) {
        near(scorer::relative_accuracy(*r, 240.0 - t), want, 5e-5, "relative accuracy");
    }
    near(scorer::cumulative_accuracy(&all, 240.0), 0.9144, 5e-5, "cumulative");
    near(scorer::horizon(&all, 240.0, 0.1), 120.0, 1e-9, "prognostic horizon");
    assert!(scorer::alpha_lambda(130.0, 120.0, 0.1) && !scorer::alpha_lambda(150.0, 180.0, 0.1));
    let (x, y, distance) = scorer::convergence(&all, 240.0);
    near(x, 107.195, 5e-4, "centroid, time");
    near(y, 12.2195, 5e-4, "centroid, error");
    near(distance, 48.75, 5e-3, "convergence");
}

/// CRPS and interval score as the Python packages properscoring 0.1 and scoringrules 0.10 (both
/// Apache-2.0) give them.
#[test]
fn scoring_rules() {
    near(scorer::crps_normal(4.0, 0.5, 4.6), 0.374_008, 5e-7, "normal law");
    near(scorer::crps_ensemble(&[3.5, 4.0, 4.2, 5.0], 4.6), 0.331_250, 5e-7, "ensemble");
    near(scorer::interval_score(3.5, 4.5, 0.2, 4.6), 2.0, 1e-12, "interval score");
    // Pinball loss of the quantiles of a law tends to its CRPS; with three quantiles of a normal
    // law it lies within a quarter of it.
    let q = [4.0 - 0.5 * 1.281_552, 4.0, 4.0 + 0.5 * 1.281_552];
    near(scorer::pinball(q, 4.6) / 0.374_008, 1.0, 0.25, "three quantiles");
}

/// One line of the manifest.
struct Outing {
    file: PathBuf,
    bank: String,
    cells: Cells,
    series: u8,
    numbers: Vec<Option<f64>>,
}

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference")
}

fn manifest() -> Vec<Outing> {
    let text = fs::read_to_string(folder().join("manifest.csv")).unwrap();
    let all: Vec<Outing> = text
        .lines()
        .skip(1)
        .map(|line| {
            let f: Vec<&str> = line.split(',').collect();
            Outing {
                file: folder().join(f[0]),
                bank: f[1].to_owned(),
                cells: if f[2] == "lifepo4" { Cells::LiFePo4 } else { Cells::LiIon },
                series: f[3].parse().unwrap(),
                numbers: f[4..].iter().map(|x| x.parse().ok()).collect(),
            }
        })
        .collect();
    assert_eq!(all.len(), 24, "six banks of four outings");
    all
}

impl Outing {
    fn spec(&self, sensor: bool) -> (BankSpec, LoadPrior) {
        let n = &self.numbers;
        let place = if self.series == 1 { MeasuredAt::Output } else { MeasuredAt::Cells };
        let volts = n[1].unwrap();
        let radio = |k: usize| n[k].filter(|a| *a > 0.0).map(|a| a * volts);
        (
            BankSpec {
                name: self.bank.clone(),
                cells: self.cells,
                series: self.series,
                label: AmpHours::of(n[0].unwrap() / 1000.0),
                label_volts: Volts::of(volts),
                measured_at: if sensor { place } else { MeasuredAt::Nowhere },
                ambient: n[7].map(Celsius::of),
                cutoff: n[2].map(Volts::of),
            },
            LoadPrior {
                idle_w: n[3],
                full_w: n[4],
                accessories_w: 0.0,
                radio_receive_w: radio(5),
                radio_transmit_w: radio(6),
            },
        )
    }

    /// Seconds, processor share, its temperature, volts, amperes.
    fn rows(&self) -> Vec<Vec<Option<f64>>> {
        let text = fs::read_to_string(&self.file).unwrap();
        text.lines().skip(1).map(|l| l.split(',').map(|x| x.parse().ok()).collect()).collect()
    }

    fn lasted_s(&self) -> f64 {
        self.numbers[8].unwrap()
    }
}

/// Plays every bank's outings in order; figures with the number of earlier outings.
fn play(sensor: bool) -> Vec<(usize, Figures)> {
    let mut figures = Vec::new();
    let (mut bank, mut learned) = (String::new(), Learned::default());
    for outing in manifest() {
        if outing.bank != bank {
            (bank, learned) = (outing.bank.clone(), Learned::default());
        }
        let (spec, load) = outing.spec(sensor);
        let mut estimator = Estimator::new(&spec, &load, &learned, Start::Full);
        let mut said = Vec::new();
        let mut before = 0.0;
        for f in outing.rows() {
            let t = f[0].unwrap();
            estimator.step(&Observation {
                dt_s: t - before,
                watts: None,
                volts: f[3].filter(|_| sensor),
                amps: f[4].filter(|_| sensor),
                cpu_busy: f[1],
                cpu_temp_c: f[2],
            });
            before = t;
            if t % 300.0 == 0.0
                && let Some(spread) = estimator.remaining()
            {
                let left =
                    [0.1, 0.5, 0.9].map(|q| spread.quantile(Share::nearest(q)).unwrap().si());
                said.push(Said { t, left });
            }
        }
        figures
            .push((learned.rundowns_data().len(), scorer::judge(&said, outing.lasted_s(), 3600.0)));
        learned.credit(&estimator.close(true));
    }
    figures
}

fn mean(all: &[(usize, Figures)], f: impl Fn(&Figures) -> f64) -> f64 {
    all.iter().map(|(_, x)| f(x)).sum::<f64>() / all.len() as f64
}

/// What a group of outings must reach.
struct Limits {
    cover: std::ops::RangeInclusive<f64>,
    unsafe_: f64,
    width: f64,
    crps: f64,
}

fn hold(name: &str, all: &[(usize, Figures)], limits: &Limits) {
    let (cover, unsafe_) = (mean(all, |f| f.cover), mean(all, |f| f.unsafe_));
    let (width, crps) = (mean(all, |f| f.width), mean(all, |f| f.crps));
    println!("{name}: cover {cover:.2} unsafe {unsafe_:.2} width {width:.2} crps {crps:.3}");
    assert!(limits.cover.contains(&cover), "{name}: cover {cover}");
    assert!(unsafe_ <= limits.unsafe_, "{name}: unsafe {unsafe_}");
    assert!(width <= limits.width, "{name}: width {width}");
    assert!(crps <= limits.crps, "{name}: crps {crps}");
}

/// Of 24 true 80 % ranges 15 to 23 hold the truth in 19 of 20 cases (binomial law), so the mean share
/// may lie between .62 and .96; shares within an outing hang together, hence a little more room.
#[test]
fn with_a_sensor() {
    let all = play(true);
    let limits = Limits { cover: 0.60..=0.94, unsafe_: 0.18, width: 0.55, crps: 0.065 };
    hold("sensor, all", &all, &limits);
    let known: Vec<_> = all.iter().copied().filter(|(n, _)| *n > 0).collect();
    let limits = Limits { cover: 0.58..=0.94, unsafe_: 0.22, width: 0.45, crps: 0.060 };
    hold("sensor, known banks", &known, &limits);
    // The alarm at a cautious hour: in time, never missed, not all day long.
    let mut alarms: Vec<f64> =
        all.iter().map(|(_, f)| f.alarm.expect("an alarm before the end") / 60.0).collect();
    alarms.sort_by(f64::total_cmp);
    println!("alarm, true minutes left: {alarms:.0?}");
    assert!(alarms[0] >= 20.0, "latest alarm {}", alarms[0]);
    let middle = alarms[alarms.len() / 2];
    assert!((60.0..100.0).contains(&middle), "usual alarm {middle}");
}

#[test]
fn without_a_sensor() {
    let all = play(false);
    let limits = Limits { cover: 0.60..=0.94, unsafe_: 0.16, width: 1.00, crps: 0.075 };
    hold("no sensor, all", &all, &limits);
    let known: Vec<_> = all.iter().copied().filter(|(n, _)| *n > 0).collect();
    let limits = Limits { cover: 0.58..=0.94, unsafe_: 0.17, width: 0.90, crps: 0.075 };
    hold("no sensor, known banks", &known, &limits);
}

/// Before each outing a plan is asked, told what its owner knows: how busy the processor will be and how much
/// will be sent (both as they then were, in steps of .05), and the earlier outings of the bank.
fn plan(sensor: bool) -> Vec<(usize, Figures)> {
    let mut figures = Vec::new();
    let (mut bank, mut learned) = (String::new(), Learned::default());
    for outing in manifest() {
        if outing.bank != bank {
            (bank, learned) = (outing.bank.clone(), Learned::default());
        }
        let (spec, load) = outing.spec(sensor);
        let rows = outing.rows();
        let said = planned(&spec, &load, &learned, &rows);
        figures.push((learned.rundowns_data().len(), scorer::judge_plan(said, outing.lasted_s())));
        learned.credit(&run_down(&spec, &load, &learned, &rows, sensor));
    }
    figures
}

fn planned(
    spec: &BankSpec,
    load: &LoadPrior,
    learned: &Learned,
    rows: &[Vec<Option<f64>>],
) -> [f64; 3] {
    let steps = |x: f64| (x * 20.0).round() / 20.0;
    let all = rows.len() as f64;
    let busy = rows.iter().filter_map(|row| row[1]).sum::<f64>() / all;
    // Sent: what lies halfway from the lower fifth of the draw to what sending adds, as printed.
    let mut watts: Vec<f64> = rows.iter().filter_map(|row| Some(row[3]? * row[4]?)).collect();
    watts.sort_by(f64::total_cmp);
    let adds = load.radio_transmit_w.unwrap_or(f64::INFINITY) - load.radio_receive_w.unwrap_or(0.0);
    let from = watts[watts.len() / 5] + 0.5 * adds;
    let sent = watts.iter().filter(|w| **w > from).count() as f64 / watts.len() as f64;
    let plan = Plan {
        banks: vec![PlanBank {
            spec: spec.clone(),
            start: Start::Full,
            learned: learned.clone(),
            ..PlanBank::default()
        }],
        load: *load,
        stretches: vec![Stretch::of_shares(8.0, steps(busy), steps(sent))],
        finish_h: 8.0,
        ..Plan::default()
    };
    answer(&plan, &[]).lasts.map(Seconds::si)
}

fn run_down(
    spec: &BankSpec,
    load: &LoadPrior,
    learned: &Learned,
    rows: &[Vec<Option<f64>>],
    sensor: bool,
) -> RunDown {
    let mut estimator = Estimator::new(spec, load, learned, Start::Full);
    let mut levels = LevelWatch::default();
    let mut before = 0.0;
    for f in rows {
        let t = f[0].unwrap();
        let seen = Observation {
            dt_s: t - before,
            watts: None,
            volts: f[3].filter(|_| sensor),
            amps: f[4].filter(|_| sensor),
            cpu_busy: f[1],
            cpu_temp_c: f[2],
        };
        estimator.step(&seen);
        levels.observe(&seen);
        before = t;
    }
    let mut run = estimator.close(true);
    run.detail.draw_levels = levels.levels(load);
    run
}

/// Of 18 true 80 % ranges 11 or more hold the truth in 19 of 20 cases, of six 3 or more (binomial law).
#[test]
fn before_leaving() {
    for (name, sensor, first, known) in
        [("plan, sensor", true, 0.13, 0.075), ("plan, no sensor", false, 0.13, 0.09)]
    {
        let all = plan(sensor);
        let (firsts, rest): (Vec<_>, Vec<_>) = all.iter().copied().partition(|(n, _)| *n == 0);
        let limits = |cover, crps| Limits { cover: cover..=1.0, unsafe_: 0.35, width: 0.8, crps };
        hold(&format!("{name}, first"), &firsts, &limits(0.33, first));
        hold(&format!("{name}, known"), &rest, &limits(0.55, known));
    }
}
