//! Fine rows in one line of text: what the column `fine.data` holds.
//!
//! Every commit costs the card whole blocks, so the rows of a commit are packed into one record.
//! It is JSON with whole numbers, which the store's own JSON functions can take apart (the view
//! `ten_seconds` does): for each channel one list, three numbers a row: the mean in the channel's
//! smallest step, how far the minimum lies below it and how far the maximum lies above it, or
//! `null,0,0` in a gap. A channel without any value is left out.

use reckon::record::{Channel, Row, Stats};

/// The short names of the channels inside a packed record.
pub(crate) const KEYS: [&str; Channel::ALL.len()] =
    ["v", "a", "w", "mw", "wh", "cpu", "t", "lvl", "over"];

/// Packed rows must follow one another without a hole and be equally long; this many go together.
pub(crate) fn run_length(rows: &[Row]) -> usize {
    let Some(first) = rows.first() else { return 0 };
    let mut count = 1;
    let mut next = first.to_s();
    for row in &rows[1..] {
        if (row.from_s - next).abs() > 0.01 || (row.span_s - first.span_s).abs() > 0.01 {
            break;
        }
        next = row.to_s();
        count += 1;
    }
    count.min(MOST)
}

/// The smallest step that is kept of it: a whole number of these is stored.
const fn smallest_step(channel: Channel) -> f64 {
    match channel {
        Channel::Temp => 0.1,
        Channel::Volts
        | Channel::Amps
        | Channel::Watts
        | Channel::Modelled
        | Channel::Counted
        | Channel::Busy
        | Channel::Level
        | Channel::OverRange => 0.001,
    }
}

/// Most rows in one record (the view counts up to this).
pub(crate) const MOST: usize = 64;

#[expect(clippy::cast_possible_truncation, reason = "a float cast saturates, which is meant")]
fn steps(value: f64, step: f64) -> i64 {
    (value / step).round() as i64
}

/// Rows as text.
pub(crate) fn pack(rows: &[Row]) -> String {
    let mut text = String::from("{");
    for channel in Channel::ALL {
        if rows.iter().all(|row| row.get(channel).is_none()) {
            continue;
        }
        if text.len() > 1 {
            text.push(',');
        }
        text.push('"');
        text.push_str(KEYS[channel.ix()]);
        text.push_str("\":[");
        for (k, row) in rows.iter().enumerate() {
            if k > 0 {
                text.push(',');
            }
            match row.get(channel) {
                None => text.push_str("null,0,0"),
                Some(fold) => {
                    let mean = steps(fold.mean, smallest_step(channel));
                    let below = mean.saturating_sub(steps(fold.min, smallest_step(channel))).max(0);
                    let above = steps(fold.max, smallest_step(channel)).saturating_sub(mean).max(0);
                    text.push_str(&format!("{mean},{below},{above}"));
                }
            }
        }
        text.push(']');
    }
    text.push('}');
    text
}

/// The asked channels of a record's rows; `None` if its text is not what [`pack`] writes.
///
/// Read by hand: a chart of a day takes a quarter of a million numbers apart, and a general reader
/// would first make a tree of all of them.
pub(crate) fn unpack(
    text: &str,
    from_s: f64,
    span_s: f64,
    count: usize,
    channels: &[Channel],
) -> Option<Vec<Row>> {
    let stats = [None; Channel::ALL.len()];
    let mut rows: Vec<Row> = Vec::with_capacity(count.min(MOST));
    let mut start = from_s;
    for _ in 0..count.min(MOST) {
        rows.push(Row { from_s: start, span_s, stats });
        start += span_s;
    }
    let mut rest = text.strip_prefix('{')?.strip_suffix('}')?;
    while !rest.is_empty() {
        let (key, after) = rest.strip_prefix('"')?.split_once("\":[")?;
        let (list, after) = after.split_once(']')?;
        rest = after.strip_prefix(',').unwrap_or(after);
        // A channel of a newer version is passed over.
        let Some(place) = KEYS.iter().position(|known| *known == key) else { continue };
        let channel = Channel::ALL[place];
        if channels.contains(&channel) {
            unpack_list(list, channel, &mut rows)?;
        }
    }
    Some(rows)
}

fn unpack_list(list: &str, channel: Channel, rows: &mut [Row]) -> Option<()> {
    let mut numbers = list.split(',');
    for row in rows {
        let (mean, below, above) = (numbers.next()?, numbers.next()?, numbers.next()?);
        if mean == "null" {
            continue;
        }
        let whole = |text: &str| text.parse::<i64>().ok();
        let (mean, below, above) = (whole(mean)?, whole(below)?, whole(above)?);
        #[expect(clippy::cast_precision_loss, reason = "what a sensor gives stays far below 2^53")]
        let value = |steps: i64| steps as f64 * smallest_step(channel);
        row.stats[channel.ix()] = Some(Stats {
            mean: value(mean),
            min: value(mean.saturating_sub(below)),
            max: value(mean.saturating_add(above)),
        });
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rows() -> impl Strategy<Value = Vec<Row>> {
        let fold = proptest::option::of((-50.0..50.0f64, 0.0..5.0f64, 0.0..5.0f64));
        proptest::collection::vec(proptest::array::uniform9(fold), 1..=MOST).prop_map(|all| {
            let mut from_s = 120.0;
            all.into_iter()
                .map(|stats| {
                    let stats = stats.map(|fold| {
                        fold.map(|(mean, below, above)| Stats {
                            mean,
                            min: mean - below,
                            max: mean + above,
                        })
                    });
                    from_s += 10.0;
                    Row { from_s: from_s - 10.0, span_s: 10.0, stats }
                })
                .collect()
        })
    }

    proptest! {
        #[test]
        fn what_goes_in_comes_out_to_the_step(rows in rows()) {
            let json: serde_json::Value = serde_json::from_str(&pack(&rows)).unwrap();
            prop_assert!(json.is_object(), "the store's own JSON functions read it too");
            let back = unpack(&pack(&rows), 120.0, 10.0, rows.len(), &Channel::ALL).unwrap();
            prop_assert_eq!(back.len(), rows.len());
            for (was, is) in rows.iter().zip(&back) {
                for channel in Channel::ALL {
                    match (was.get(channel), is.get(channel)) {
                        (None, None) => {}
                        (Some(a), Some(b)) => {
                            let near = smallest_step(channel) * 0.500_001;
                            prop_assert!((a.mean - b.mean).abs() <= near);
                            prop_assert!((a.min - b.min).abs() <= near);
                            prop_assert!((a.max - b.max).abs() <= near);
                        }
                        (a, b) => prop_assert!(false, "{:?} became {:?}", a, b),
                    }
                }
            }
        }

        #[test]
        fn damaged_text_is_refused_or_read_but_never_a_panic(text in ".{0,80}", count in 0usize..70) {
            let _ = unpack(&text, 0.0, 10.0, count, &Channel::ALL);
            let _ = unpack(&format!("{{\"v\":[{text}]}}"), 0.0, 10.0, count, &Channel::ALL);
        }
    }

    #[test]
    fn a_minute_of_a_usual_station_stays_small() {
        // The commit budget stands on this: one record of a minute fits a page of 1024 bytes.
        let mut stats = [None; Channel::ALL.len()];
        let usual = [5.012, 0.612, 3.067, f64::NAN, 12.345, 0.123, 52.3, 0.87];
        for (fold, value) in stats.iter_mut().zip(usual) {
            *fold = value.is_finite().then_some(Stats {
                mean: value,
                min: value * 0.8,
                max: value * 1.9,
            });
        }
        let rows: Vec<Row> = (0..6)
            .map(|k| Row { from_s: 60.0 + f64::from(k) * 10.0, span_s: 10.0, stats })
            .collect();
        let text = pack(&rows);
        assert!(text.len() < 700, "{} bytes: {text}", text.len());
    }

    #[test]
    fn a_hole_ends_a_record() {
        let row = |from_s| Row { from_s, span_s: 10.0, stats: [None; Channel::ALL.len()] };
        assert_eq!(run_length(&[row(0.0), row(10.0), row(30.0)]), 2);
        assert_eq!(run_length(&[]), 0);
        // So does a row of another length.
        let long = Row { span_s: 300.0, ..row(10.0) };
        assert_eq!(run_length(&[row(0.0), long, row(310.0)]), 1);
        let (first, next) = (Row { span_s: 9.0, ..row(0.0) }, Row { span_s: 9.0, ..row(9.0) });
        assert_eq!(run_length(&[first, next, row(18.0)]), 2);
    }
}
