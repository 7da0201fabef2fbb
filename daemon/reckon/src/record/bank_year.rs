//! A bank over a year: what it gave each time, what was believed of it meanwhile, and whether it ages.

use alloc::vec::Vec;

use super::{BankWhole, Outing, RecordedRunDown, learning::taught, learning::usable_wh};
use crate::{
    estimator::{Learned, comparable},
    time::Wall,
    trend::{Reading, slope},
};

const DAY_S: f64 = 86_400.0;
/// A year, s.
const YEAR_S: f64 = 365.0 * DAY_S;
/// A normal quantity lies within so many deviations of its middle in 8 of 10 cases.
const RANGE_80: f64 = 1.2816;
/// From so much of its charge on a bank began full.
const FULL: f64 = 0.995;

/// What a bank gave in a run-down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given {
    /// When it began, if the wall time is known.
    pub began: Option<Wall>,
    /// Energy, Wh.
    pub wh: f64,
    /// It went from full to empty; else the bank, full, gives at least this.
    pub is_all: bool,
    /// What was believed of the full bank before: 10 %, 50 %, 90 %, Wh.
    pub before_wh: Option<[f64; 3]>,
}

/// Whether a bank gives less than it did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ageing {
    /// It never went from full to empty.
    NeverEmpty,
    /// It did once, or more often at one time.
    Once,
    /// It did several times.
    Seen {
        /// When the first and the last of them began, if all times are known.
        between: Option<[Wall; 2]>,
        /// How many.
        run_downs: usize,
        /// Change from the first to the last: 10 %, 50 %, 90 %, Wh; less is negative.
        change_wh: [f64; 3],
    },
}

/// A bank over a year.
#[derive(Clone, Debug, PartialEq)]
pub struct BankYear {
    /// Its mean draw over the run-downs of that year, W.
    pub usual_w: Option<f64>,
    /// Its run-downs that count and whose energy is known, oldest first.
    pub given: Vec<Given>,
    /// Whether it ages.
    pub ageing: Ageing,
}

/// The beginning of the year that ends with the newest of these outings.
#[must_use]
pub fn year_before(outings: &[Outing]) -> Option<Wall> {
    let newest = outings.iter().filter_map(|it| it.began).max_by_key(|it| it.unix_ms());
    newest.map(|newest| newest.plus_s(-YEAR_S))
}

impl BankWhole {
    /// It over the year that began `since`; what bears no time is taken to lie within.
    #[must_use]
    pub fn year(&self, since: Option<Wall>) -> BankYear {
        let within = |it: &&Counted<'_>| match (it.one.began, since) {
            (Some(began), Some(since)) => began.unix_ms() >= since.unix_ms(),
            _ => true,
        };
        let counted = counted(&self.run_downs);
        let of_year: Vec<&Counted<'_>> = counted.iter().filter(within).collect();
        let usual_w = mean_w(&of_year);
        BankYear { usual_w, given: self.given(&of_year), ageing: self.ageing(&of_year, usual_w) }
    }

    fn given(&self, of_year: &[&Counted<'_>]) -> Vec<Given> {
        let mut learned = Learned::default();
        let mut to_learn = self.run_downs.iter().enumerate().peekable();
        let given = |it: &&Counted<'_>| {
            while let Some((_, one)) = to_learn.next_if(|(ix, _)| *ix < it.ix) {
                if let Some(one) = taught(one) {
                    learned.credit(&one);
                }
            }
            let before_wh = usable_wh(&self.bank.spec, &learned);
            Given { began: it.one.began, wh: it.wh, is_all: it.is_all(), before_wh }
        };
        of_year.iter().map(given).collect()
    }

    fn ageing(&self, of_year: &[&Counted<'_>], usual_w: Option<f64>) -> Ageing {
        let whole: Vec<&&Counted<'_>> = of_year.iter().filter(|it| it.is_all()).collect();
        let (Some(first), Some(usual_w)) = (whole.first(), usual_w) else {
            return Ageing::NeverEmpty;
        };
        // By time where all have one, else by order.
        let since = first.one.began.filter(|_| whole.iter().all(|it| it.one.began.is_some()));
        let x = |k: usize, it: &Counted<'_>| match (since, it.one.began) {
            (Some(since), Some(began)) => {
                (began.unix_ms().saturating_sub(since.unix_ms())) as f64 / (1000.0 * DAY_S)
            }
            _ => k as f64,
        };
        let reading = |(k, it): (usize, &&&Counted<'_>)| {
            let (y, sd) = comparable(&self.bank.spec, &it.one.data, it.wh, usual_w);
            Reading { x: x(k, it), y, sd }
        };
        let readings: Vec<Reading> = whole.iter().enumerate().map(reading).collect();
        let Some(slope) = slope(&readings) else { return Ageing::Once };
        let reaches = |of: fn(f64, f64) -> f64| readings.iter().map(|it| it.x).fold(0.0, of);
        let (begins, ends) = (reaches(f64::min), reaches(f64::max));
        let span = ends - begins;
        let between = since.map(|since| [begins, ends].map(|days| since.plus_s(days * DAY_S)));
        let (change, range) = (slope.per_x * span, RANGE_80 * slope.sd * span);
        let change_wh = [change - range, change, change + range];
        if !change_wh.iter().all(|it| it.is_finite()) {
            return Ageing::Once;
        }
        Ageing::Seen { between, run_downs: whole.len(), change_wh }
    }
}

/// A run-down that counts, with its place among all and its energy.
struct Counted<'a> {
    ix: usize,
    one: &'a RecordedRunDown,
    wh: f64,
}

impl Counted<'_> {
    fn is_all(&self) -> bool {
        let data = &self.one.data;
        data.is_exact() && data.start_share.is_some_and(|share| share >= FULL)
    }
}

fn mean_w(some: &[&Counted<'_>]) -> Option<f64> {
    let hours: f64 = some.iter().map(|it| it.one.data.lasted_s / 3600.0).sum();
    (hours > 0.0).then(|| some.iter().map(|it| it.wh).sum::<f64>() / hours)
}

fn counted<'a>(all: &'a [RecordedRunDown]) -> Vec<Counted<'a>> {
    let sound = |(ix, one): (usize, &'a RecordedRunDown)| {
        let wh = one.delivered_wh().filter(|wh| *wh > 0.0 && wh.is_finite())?;
        (!one.struck && one.data.is_sound()).then_some(Counted { ix, one, wh })
    };
    all.iter().enumerate().filter_map(sound).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        bank::BankSpec,
        record::{Detail, RecordedBank, RunDown},
    };

    /// 1 May 2026, 08:00 UTC, by GNU date.
    const MAY: i64 = 1_777_622_400_000;

    /// A run-down so many days after the first of May, at 3.1 W.
    fn gave(id: i64, days: Option<i64>, wh: f64, whole: bool) -> RecordedRunDown {
        let data = RunDown {
            whole,
            start_share: Some(1.0),
            lasted_s: wh / 3.1 * 3600.0,
            delivered_wh: Some(wh),
            measured: true,
            ..RunDown::default()
        };
        let began = days.map(|days| Wall::from_unix_ms(MAY + days * 86_400_000));
        RecordedRunDown {
            id,
            bank: 1,
            outing: Some(id),
            began,
            outing_wh: None,
            struck: false,
            data,
        }
    }

    fn bank(run_downs: Vec<RecordedRunDown>) -> BankWhole {
        let spec = BankSpec { name: "Blue ten".into(), ..BankSpec::common()[0].clone() };
        BankWhole { bank: RecordedBank { id: 1, spec, forgotten: false }, run_downs }
    }

    fn six(last_wh: f64) -> Vec<RecordedRunDown> {
        [(0, 28.9, true), (30, 24.6, false), (61, 28.4, true), (92, 25.1, false), (123, 27.7, true)]
            .into_iter()
            .chain([(153, last_wh, true)])
            .zip(1..)
            .map(|((days, wh, whole), id)| gave(id, Some(days), wh, whole))
            .collect()
    }

    fn change(of: &BankWhole) -> (Option<[Wall; 2]>, usize, [f64; 3]) {
        match of.year(None).ageing {
            Ageing::Seen { between, run_downs, change_wh } => (between, run_downs, change_wh),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_bank_that_gives_less_from_month_to_month_ages() {
        let (between, run_downs, [low, middle, high]) = change(&bank(six(26.7)));
        let days = [0, 153].map(|days| Wall::from_unix_ms(MAY + days * 86_400_000));
        assert_eq!((between, run_downs), (Some(days), 4));
        // Least squares by hand through 28.9, 28.4, 27.7, 26.7 at 0, 61, 123, 153 days: -2.03 Wh.
        assert!((middle + 2.03).abs() < 0.08, "{middle}");
        assert!(low < middle && middle < high && high < 0.0, "{low} {high}");
        // Each is good to 2.9 % of 28 Wh (README, section 1): .82 Wh, over a spread of 60 days each
        // way; 1.28 deviations of the slope over 153 days are 1.36 Wh.
        assert!((high - middle - 1.36).abs() < 0.15, "{}", high - middle);
    }

    #[test]
    fn where_it_never_ran_empty_from_full_nothing_is_said() {
        let cut: Vec<_> = (1..=4).map(|k| gave(k, Some(k), 25.0, false)).collect();
        assert_eq!(bank(cut.clone()).year(None).ageing, Ageing::NeverEmpty);
        assert_eq!(bank(Vec::new()).year(None).ageing, Ageing::NeverEmpty);
        let spoiled: [fn(&mut RecordedRunDown); 4] = [
            |it| it.struck = true,
            |it| it.data.start_share = Some(0.7),
            |it| it.data.start_share = None,
            |it| it.data.detail = Detail { over_range_wh: Some(3.0), ..Detail::default() },
        ];
        for spoil in spoiled {
            let mut some = six(26.7);
            some.iter_mut().for_each(spoil);
            assert_eq!(bank(some).year(None).ageing, Ageing::NeverEmpty);
        }
        let mut once = cut;
        once.push(gave(5, Some(9), 28.0, true));
        assert_eq!(bank(once).year(None).ageing, Ageing::Once);
    }

    #[test]
    fn without_dates_they_go_by_their_order() {
        let mut some = six(26.7);
        some[2].began = None;
        let (between, run_downs, [_, middle, _]) = change(&bank(some));
        assert_eq!((between, run_downs), (None, 4));
        // 28.9, 28.4, 27.7, 26.7 in even steps: slope -.73, three steps (by hand).
        assert!((middle + 2.19).abs() < 0.08, "{middle}");
    }

    #[test]
    fn a_year_leaves_out_what_lies_before_and_keeps_what_was_learned_of_it() {
        let mut all = vec![gave(0, Some(-400), 31.0, true)];
        all.extend(six(26.7));
        let outing = |days: i64| Outing {
            began: Some(Wall::from_unix_ms(MAY + days * 86_400_000)),
            ..Outing::default()
        };
        let since = year_before(&[outing(153), outing(0), Outing::default()]);
        assert_eq!(since.map(Wall::unix_ms), Some(MAY + (153 - 365) * 86_400_000));
        let (alone, after) = (bank(six(26.7)).year(None), bank(all).year(since));
        assert_eq!(after.given.len(), 6);
        let width = |year: &BankYear| year.given[0].before_wh.map(|it| it[2] - it[0]).unwrap();
        assert!(width(&after) < 0.7 * width(&alone), "{} {}", width(&after), width(&alone));
        assert_eq!(year_before(&[Outing::default()]), None);
    }

    #[test]
    fn what_was_believed_stands_beside_what_it_gave() {
        let year = bank(six(26.7)).year(None);
        let all: Vec<bool> = year.given.iter().map(|it| it.is_all).collect();
        assert_eq!(all, [true, false, true, false, true, true]);
        // Every watt-hour took 1/3.1 hours.
        assert!((year.usual_w.unwrap() - 3.1).abs() < 1e-9);
        let width = |k: usize| year.given[k].before_wh.map(|it| it[2] - it[0]).unwrap();
        assert!(width(5) < 0.5 * width(0), "{} {}", width(0), width(5));
        for given in &year.given[1..] {
            let [low, _, high] = given.before_wh.unwrap();
            assert!(!given.is_all || (low..high).contains(&given.wh), "{given:?}");
        }
    }

    /// Half as heavy a draw again costs 1.6 % of a USB bank (β, README section 1), and the cold as much
    /// as γ says: that is no ageing.
    #[test]
    fn a_heavier_draw_is_no_ageing() {
        let mut some = vec![gave(1, Some(0), 28.0, true), gave(2, Some(60), 28.0 * 0.984, true)];
        some[1].data.lasted_s /= 1.5;
        let (_, _, [_, middle, _]) = change(&bank(some));
        assert!(middle.abs() < 0.02, "{middle}");
    }
}
