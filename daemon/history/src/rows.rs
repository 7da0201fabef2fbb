//! From seconds to rows, and from rows to longer rows. Windows are whole multiples of their length
//! in boot time, so that folding twice gives the same rows as folding once.

use reckon::record::{Channel, Row, Sample, Stats};

/// Length of a fine row, s.
pub const FINE_S: f64 = 10.0;
/// Length of a five-minute row, s.
pub const FIVE_S: f64 = 300.0;
/// Length of an hour row, s.
pub const HOUR_S: f64 = 3600.0;

/// The window of this length that a moment falls into, as its index.
#[expect(clippy::cast_possible_truncation, reason = "a float cast saturates, which is meant")]
pub(crate) fn window(at_s: f64, span_s: f64) -> i64 {
    // A row's own start comes back from the store as a decimal fraction; the tiny shift keeps
    // 299.999999 in the window that 300 opens.
    ((at_s + 1e-6) / span_s).floor() as i64
}

/// Start of a window, s.
#[expect(clippy::cast_precision_loss, reason = "indices stay far below 2^53")]
pub(crate) fn window_start(index: i64, span_s: f64) -> f64 {
    index as f64 * span_s
}

#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    count: u32,
    total: f64,
    min: f64,
    max: f64,
}

impl Sum {
    fn add(&mut self, value: f64) {
        if self.count == 0 {
            (self.min, self.max) = (value, value);
        }
        self.count += 1;
        self.total += value;
        self.min = self.min.min(value);
        self.max = self.max.max(value);
    }

    fn fold(self) -> Option<Stats> {
        (self.count > 0).then(|| Stats {
            mean: self.total / f64::from(self.count),
            min: self.min,
            max: self.max,
        })
    }
}

/// Folds one-second samples into rows of ten seconds. A row comes out when the first sample of the
/// next window goes in; a window without any sample gives no row, which is how a gap looks.
#[derive(Debug, Default)]
pub struct Aggregator {
    open: Option<(i64, [Sum; Channel::ALL.len()])>,
}

impl Aggregator {
    /// Takes a sample; gives the row that it completes. Samples of a window that is already over
    /// (a clock that ran backwards) are left out.
    pub fn push(&mut self, sample: &Sample) -> Option<Row> {
        let here = window(sample.at.as_s(), FINE_S);
        let done = match &self.open {
            Some((open, _)) if here < *open => return None,
            Some((open, _)) if here > *open => self.finish(),
            Some(_) | None => None,
        };
        let (_, sums) = self.open.get_or_insert_with(|| (here, Default::default()));
        for (sum, value) in sums.iter_mut().zip(sample.values) {
            if let Some(value) = value.filter(|value| value.is_finite()) {
                sum.add(value);
            }
        }
        done
    }

    /// The row so far, as at a clean stop; the next sample opens a new one.
    pub fn finish(&mut self) -> Option<Row> {
        let (index, mut sums) = self.open.take()?;
        // Seconds within the range count as nought.
        let read = sums[Channel::Watts.ix()].count;
        let over_range = &mut sums[Channel::OverRange.ix()];
        if over_range.count > 0 && over_range.count < read {
            (over_range.count, over_range.min) = (read, 0.0);
        }
        let stats = sums.map(Sum::fold);
        stats.iter().any(Option::is_some).then(|| Row {
            from_s: window_start(index, FINE_S),
            span_s: FINE_S,
            stats,
        })
    }
}

/// Folds rows into longer ones of `span_s`, weighing each by its length. The rows must come in
/// order of time; only windows with rows come out.
#[must_use]
pub fn coarser(rows: &[Row], span_s: f64) -> Vec<Row> {
    let mut out: Vec<Row> = Vec::new();
    let mut weights = [0.0; Channel::ALL.len()];
    for row in rows.iter().copied().map(with_over_range) {
        let start = window_start(window(row.from_s, span_s), span_s);
        match out.last_mut() {
            Some(last) if (last.from_s - start).abs() < 1e-6 => {
                for (k, fold) in row.stats.iter().enumerate() {
                    let Some(fold) = fold else { continue };
                    last.stats[k] = Some(match last.stats[k] {
                        Some(before) => before.join(weights[k], *fold, row.span_s),
                        None => *fold,
                    });
                    weights[k] += row.span_s;
                }
            }
            Some(_) | None => {
                weights = row.stats.map(|fold| if fold.is_some() { row.span_s } else { 0.0 });
                out.push(Row { from_s: start, span_s, stats: row.stats });
            }
        }
    }
    for row in &mut out {
        let over_range = &mut row.stats[Channel::OverRange.ix()];
        *over_range = over_range.filter(|it| it.max > 0.0);
    }
    out
}

/// A row that lay within the range says so in numbers, so that it weighs in the mean.
fn with_over_range(mut row: Row) -> Row {
    let none = row.get(Channel::Watts).map(|_| Stats::one(0.0));
    let over_range = &mut row.stats[Channel::OverRange.ix()];
    *over_range = over_range.or(none);
    row
}

#[cfg(test)]
mod tests {
    use super::*;
    use reckon::time::Mono;

    fn sample(at_s: f64, watts: Option<f64>) -> Sample {
        let mut values = [None; Channel::ALL.len()];
        values[Channel::Watts.ix()] = watts;
        Sample { at: Mono::at_s(at_s), values }
    }

    #[test]
    fn ten_seconds_make_a_row_with_its_peak() {
        let mut folder = Aggregator::default();
        let mut rows = Vec::new();
        for k in 0..25 {
            let watts = if k == 7 { 12.0 } else { 2.0 };
            rows.extend(folder.push(&sample(f64::from(k), Some(watts))));
        }
        assert_eq!(rows.len(), 2);
        assert_eq!(
            rows[0].get(Channel::Watts),
            Some(Stats { mean: 3.0, min: 2.0, max: 12.0 }),
            "nine times 2 W and once 12 W"
        );
        assert_eq!(rows[1].from_s, 10.0);
        assert_eq!(folder.finish().map(|row| row.from_s), Some(20.0));
        assert_eq!(folder.finish(), None);
    }

    /// 3 W, and in 2 of 10 s at the end of the range, 4 W: 3.2 W, of which 0.8 W at least.
    #[test]
    fn what_lay_beyond_the_range_adds_up_and_rows_within_it_have_none() {
        let mut folder = Aggregator::default();
        let mut rows = Vec::new();
        for k in 0..610 {
            let over = k < 300 && (k % 10) < 2;
            let mut one = sample(f64::from(k), Some(if over { 4.0 } else { 3.0 }));
            one.values[Channel::OverRange.ix()] = over.then_some(4.0);
            rows.extend(folder.push(&one));
        }
        let over = |row: &Row| row.get(Channel::OverRange);
        assert_eq!(over(&rows[0]), Some(Stats { mean: 0.8, min: 0.0, max: 4.0 }));
        assert_eq!(over(&rows[40]), None);
        let five = coarser(&rows, FIVE_S);
        assert!((over(&five[0]).unwrap().mean - 0.8).abs() < 1e-12);
        assert_eq!(over(&five[1]), None);
        // Half of the ten minutes.
        let mean = over(&coarser(&rows[..60], HOUR_S)[0]).unwrap().mean;
        assert!((mean - 0.4).abs() < 1e-12, "{mean}");
    }

    #[test]
    fn a_gap_stays_a_gap_and_time_never_runs_back() {
        let mut folder = Aggregator::default();
        assert_eq!(folder.push(&sample(5.0, Some(1.0))), None);
        let row = folder.push(&sample(42.0, None)).unwrap();
        assert_eq!((row.from_s, row.span_s), (0.0, 10.0));
        assert_eq!(folder.push(&sample(9.0, Some(5.0))), None);
        assert_eq!(folder.finish(), None, "a window with no value at all gives no row");
    }

    #[test]
    fn coarser_keeps_peaks_and_means() {
        let rows: Vec<Row> = (0..60)
            .map(|k| {
                let mut stats = [None; Channel::ALL.len()];
                let watts = if k == 17 { 9.0 } else { 3.0 };
                stats[Channel::Watts.ix()] = (k != 30).then_some(Stats::one(watts));
                Row { from_s: f64::from(k) * 10.0, span_s: 10.0, stats }
            })
            .collect();
        let five = coarser(&rows, FIVE_S);
        assert_eq!(five.len(), 2);
        let first = five[0].get(Channel::Watts).unwrap();
        assert!((first.mean - 3.2).abs() < 1e-12 && first.max == 9.0 && first.min == 3.0);
        assert_eq!(five[1].get(Channel::Watts), Some(Stats::one(3.0)));
        assert_eq!(
            coarser(&rows, HOUR_S),
            coarser(&five, HOUR_S)
                .into_iter()
                .map(|mut row| {
                    // 30 rows against 29: the gap's row weighs nothing in one and all in the other.
                    row.stats[Channel::Watts.ix()] =
                        coarser(&rows, HOUR_S)[0].stats[Channel::Watts.ix()];
                    row
                })
                .collect::<Vec<_>>()
        );
    }
}
