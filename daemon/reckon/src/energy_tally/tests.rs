//! The tally against figures of general-purpose libraries.

use super::*;
use crate::units::Share;

/// Made by `tests/reference/energy_book.py` with numpy 2.4.6 and scipy 1.17.1.
const REFERENCE: &str = include_str!("../../../../tests/reference/energy_book.txt");

/// First, second and third column of the lines of a kind.
fn reference(kind: &str) -> Vec<[Vec<f64>; 3]> {
    let rows: Vec<_> = REFERENCE
        .lines()
        .filter_map(|line| line.strip_prefix(kind)?.strip_prefix(" | "))
        .map(|line| {
            let mut columns = line
                .split(" | ")
                .map(|column| column.split(' ').map(|n| n.parse().unwrap()).collect::<Vec<f64>>());
            [columns.next().unwrap(), columns.next().unwrap(), columns.next().unwrap()]
        })
        .collect();
    assert!(!rows.is_empty(), "no line of kind {kind}");
    rows
}

fn near(got: f64, want: f64, within: f64, what: &str) {
    assert!((got - want).abs() <= within * want.abs(), "{what}: got {got}, want {want}");
}

#[test]
fn line_is_scipys() {
    for [x, y, want] in reference("line") {
        let mut whole = Regression::default();
        let mut halves = [Regression::default(), Regression::default()];
        for (at, (x, y)) in x.iter().zip(&y).enumerate() {
            whole.add(*x, *y);
            halves[usize::from(at > 4)].add(*x, *y);
        }
        let [mut merged, other] = halves;
        merged.merge(&other);
        for regression in [whole, merged] {
            let line = regression.line().unwrap();
            // Source: scipy.stats.linregress. The ill-conditioned set keeps six digits.
            near(line.slope, want[0], 1e-6, "slope");
            near(line.intercept, want[1], 1e-9, "intercept");
            near(line.slope_se, want[2], 1e-6, "standard error of the slope");
            near(line.intercept_se, want[3], 1e-6, "standard error of the intercept");
            near(line.explained.part(), want[4], 1e-6, "r squared");
        }
    }
    let mut flat = Regression::default();
    for y in 0..100 {
        flat.add(0.3, f64::from(y));
    }
    assert_eq!(flat.line(), None, "a load that never changed tells nothing");
}

#[test]
fn energy_is_numpys_trapezoid() {
    for [t, y, want] in reference("trapezoid") {
        let (mut between, mut page) = (Between::new(Seconds::of(2.0)), EnergyTally::default());
        for (t, y) in t.iter().zip(&y) {
            if let Some((lasted, draw)) = between.step(Seconds::of(*t), Watts::of(*y)) {
                page.add(lasted, draw);
            }
        }
        near(page.energy().si(), want[0], 1e-12, "energy");
        near(page.lasted().si(), t.last().unwrap() - t[0], 1e-12, "time");
    }
}

#[test]
fn a_gap_is_no_measurement() {
    let mut between = Between::new(Seconds::of(5.0));
    let mut step = |at: f64, watts: f64| {
        between.step(Seconds::of(at), Watts::of(watts)).map(|(dt, w)| dt.si() * w.si())
    };
    assert_eq!(step(0.0, 2.0), None);
    assert_eq!(step(5.0, 4.0), Some(15.0));
    assert_eq!(step(11.0, 4.0), None, "six seconds");
    assert_eq!(step(10.0, 4.0), None, "backwards");
    assert_eq!(step(12.0, 4.0), Some(8.0));
}

#[test]
fn quantiles_are_numpys_within_the_stated_error() {
    for [weights, values, want] in reference("quantiles") {
        let mut sketch = QuantileSketch::default();
        let mut parts =
            [QuantileSketch::default(), QuantileSketch::default(), QuantileSketch::default()];
        for (at, (weight, value)) in weights.iter().zip(&values).enumerate() {
            sketch.add(*value, *weight);
            parts[at % 3].add(*value, *weight);
        }
        let mut merged = QuantileSketch::default();
        for part in &parts {
            merged.merge(part);
        }
        for (share, want) in [0.05, 0.50, 0.95].into_iter().zip(want) {
            near(sketch.quantile(share).unwrap(), want, RELATIVE_ERROR, "quantile");
            assert_eq!(merged.quantile(share), sketch.quantile(share), "merged in another order");
        }
    }
}

#[test]
fn a_sketch_stays_small_and_takes_anything() {
    let mut sketch = QuantileSketch::default();
    for power in -400..400 {
        sketch.add(10_f64.powf(f64::from(power) / 10.0), 1.0);
    }
    for odd in [f64::NAN, f64::INFINITY, -3.0, 0.0] {
        sketch.add(odd, 1.0);
        sketch.add(1.0, odd);
    }
    assert!(sketch.bins() <= 807, "{} bins", sketch.bins());
    assert_eq!(QuantileSketch::default().quantile(0.5), None);
    assert_eq!(sketch.quantile(1.5), None);
    assert_eq!(sketch.quantile(0.0), Some(0.0));
}

#[test]
fn a_sum_keeps_the_small_terms() {
    // A year of seconds at 2.1 W on top of a large beginning, as a plain sum would lose them.
    let mut page = EnergyTally::default();
    page.add(Seconds::of(1.0), Watts::of(1e12));
    for _ in 0..1_000_000 {
        page.add(Seconds::of(0.001), Watts::of(0.1));
    }
    assert!((page.energy().si() - 1e12 - 100.0).abs() < 1e-3, "{}", page.energy().si() - 1e12);
}

#[test]
fn the_difference_at_a_mark_is_scipys() {
    for [before, after, want] in reference("difference") {
        // Each number stands for ten equal seconds; the numbers follow one another at random, and
        // what little they seem to resemble each other may only widen the error.
        let mut marked = BeforeAfter::default();
        for value in &before {
            (0..10).for_each(|_| marked.before(Watts::of(*value)));
        }
        for value in &after {
            (0..10).for_each(|_| marked.after(Watts::of(*value)));
        }
        let (difference, error) = marked.difference().unwrap();
        near(difference.si(), want[0], 1e-9, "difference");
        assert!(error.si() >= want[1] * 0.999 && error.si() < want[1] * 1.6, "{error:?}, {want:?}");
        assert!(marked.luck().unwrap().part() < 1e-6, "0.6 W are no luck");
    }
    assert_eq!(BeforeAfter::default().difference(), None);
}

#[test]
fn the_load_takes_its_part() {
    // Two hours; 2.4 W idle, 3.0 W more with all cores busy, a decoder in every 15 s.
    let mut fit = LoadFit::default();
    let mut true_j = 0.0;
    for row in 0..720 {
        let seconds = (0..10).map(|second| (row * 10 + second) % 15 > 12);
        let decodes = seconds.fold(0.0, |n, on| n + f64::from(u8::from(on))) / 10.0;
        let busy = 0.1 + 0.3 * f64::from((row / 6) % 7) / 6.0 + 0.5 * decodes;
        true_j += 30.0 * busy;
        // Where the cores are busier a receiver hangs on a socket as well; it is not the load's.
        let receiver_w = 0.2 * f64::from((row / 6) % 7);
        let draw = Watts::of(2.4 + 3.0 * busy + receiver_w);
        fit.add(Seconds::of(10.0), Share::nearest(busy), draw);
    }
    let line = fit.line().unwrap();
    near(line.slope, 3.0, 0.001, "watts by load");
    // Seven sorts of minute, in turn: 0.6 W of receiver in the mean.
    near(line.intercept, 2.4 + 0.6, 0.01, "idle");
    let (taken, error) = fit.energy_of_load().unwrap();
    near(taken.si(), true_j, 0.01, "taken by the load");
    assert!(error.si() < 0.01 * true_j);
    // 0.2 % of one core of four: 3 W × 0.002 / 4 = 1.5 mW.
    let (own, _) = footprint(&line, 0.002, 4).unwrap();
    near(own.si(), 0.0015, 0.001, "own footprint");
    assert_eq!(footprint(&line, 0.002, 0), None);
}

#[test]
fn tallies_add_up() {
    let mut tally = OutingTally::new();
    for second in 0..9000 {
        let at = Seconds::of(f64::from(second));
        let doing = match second / 3000 {
            0 => Some("Receive"),
            1 => Some("Contacts"),
            _ => None,
        };
        let draw = if second / 3000 == 1 { 8.0 } else { 2.0 };
        tally.enter(at, Seconds::of(1.0), Watts::of(draw), doing);
    }
    let names: Vec<&str> = tally.activities().map(|(name, _)| name).collect();
    assert_eq!(names, ["Receive", "Contacts"]);
    let parts: f64 = tally.activities().map(|(_, page)| page.energy().wh()).sum();
    near(parts + tally.untagged().energy().wh(), tally.whole().energy().wh(), 1e-12, "activities");
    // 6000 s at 2 W and 3000 s at 8 W: 36 kJ, 10 Wh.
    near(tally.whole().energy().wh(), 10.0, 1e-12, "whole");
    let hours: f64 = tally.hours().iter().map(|page| page.energy().wh()).sum();
    near(hours, 10.0, 1e-12, "hours");
    assert_eq!(tally.hours().len(), 3);
    near(tally.whole().mean().unwrap().si(), 4.0, 1e-12, "mean by time");
    near(tally.whole().p95().unwrap().si(), 8.0, RELATIVE_ERROR, "p95");
    assert_eq!(tally.whole().peak(), Watts::of(8.0));
    let mut bank = EnergyTally::default();
    for hour in tally.hours() {
        bank.merge(hour);
    }
    assert_eq!(bank.p95(), tally.whole().p95());
    tally.rename("Contacts", "Receive");
    assert_eq!(tally.activities().count(), 1);
}

#[test]
fn too_many_names_are_not_kept() {
    let mut tally = OutingTally::new();
    for name in 0..1000 {
        let name = format!("Activity {name}");
        tally.enter(Seconds::of(1e12), Seconds::of(1.0), Watts::of(1.0), Some(&name));
    }
    assert!(tally.activities().count() <= 64 && tally.hours().is_empty());
    near(tally.whole().energy().si(), 1000.0, 1e-12, "nothing is lost");
    near(tally.untagged().energy().si(), 936.0, 1e-12, "the rest is untold");
}

#[test]
fn a_bank_is_the_sum_of_its_outings() {
    let (s, w) = (Seconds::of, Watts::of);
    let [mut first, mut second, mut both] =
        [OutingTally::new(), OutingTally::new(), OutingTally::new()];
    for (at, lasted, draw, doing) in [
        (0.0, 600.0, 3.0, Some("receive")),
        (600.0, 60.0, 9.0, Some("contacts")),
        (660.0, 30.0, 2.0, None),
    ] {
        first.enter(s(at), s(lasted), w(draw), doing);
        second.enter(s(at), s(lasted), w(draw * 1.5), doing.filter(|it| *it != "receive"));
        both.enter(s(at), s(lasted), w(draw), doing);
        both.enter(s(at), s(lasted), w(draw * 1.5), doing.filter(|it| *it != "receive"));
    }
    let mut bank = OutingTally::new();
    bank.merge(&first);
    bank.merge(&second);
    near(bank.whole().energy().si(), both.whole().energy().si(), 1e-12, "all");
    near(bank.untagged().energy().si(), both.untagged().energy().si(), 1e-12, "untold");
    assert_eq!(bank.whole().p95(), both.whole().p95());
    let pages = |tally: &OutingTally| {
        tally.activities().map(|(name, page)| (name.to_string(), page.energy())).collect::<Vec<_>>()
    };
    assert_eq!(pages(&bank), pages(&both));
    assert!(bank.hours().is_empty());
}
