//! A plain list of time stamps, one a line at a regular interval, read as a run-down: what people
//! have from earlier tests, when a script wrote the time to the card until the bank died.
//!
//! Read are RFC 3339 (`2024-03-09T08:00:00Z`, also with a space and without a zone), and seconds
//! since 1970, at the beginning of a line; what follows on the line is left out. The run lasted from
//! the first mark to the last and up to one interval more. It began at most one interval before the
//! first mark, so the truth lies within one interval on either side.

use jiff::{Timestamp, civil::DateTime};

use reckon::{record::RunDown, words};

/// A list, read.
#[derive(Clone, Debug, PartialEq)]
pub struct Marks {
    /// How many marks.
    pub count: usize,
    /// The usual interval between neighbours (their median), s.
    pub interval_s: f64,
    /// From the first mark to the last, s.
    pub lasted_s: f64,
    /// Holes: neighbours further apart than one and a half intervals, as (seconds after the first
    /// mark, length in seconds). The board may have hung, or its clock been set.
    pub holes: Vec<(f64, f64)>,
    /// Lines that were no time stamp, by number, at most ten of them.
    pub left_out: Vec<usize>,
}

impl Marks {
    /// As a run-down: whole, from a full bank, with nothing known of its draw.
    #[must_use]
    pub fn rundown(&self, name: &str) -> RunDown {
        RunDown {
            name: Some(name.into()),
            whole: true,
            start_share: Some(1.0),
            lasted_s: self.lasted_s,
            within_s: self.interval_s,
            before_s: self.interval_s,
            ..RunDown::default()
        }
    }
}

/// Why a list could not be taken, as a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unusable(pub String);

/// Most lines that are read: a second's interval for a month.
const MOST_LINES: usize = 3_000_000;

/// Reads a list.
///
/// # Errors
/// When fewer than two lines are time stamps, most lines are not, or the time runs backwards (a
/// clock that was set back: the duration cannot be had from the stamps).
pub fn read(text: &str) -> Result<Marks, Unusable> {
    let mut at_s: Vec<f64> = Vec::new();
    let mut left_out = Vec::new();
    let mut bad = 0_usize;
    for (k, line) in text.lines().enumerate().take(MOST_LINES) {
        let line = line.trim_start_matches('\u{feff}').trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        match moment(line) {
            Some(moment) => {
                if at_s.last().is_some_and(|last| moment < *last) {
                    return Err(Unusable(words::record::time_goes_back(&(k + 1))));
                }
                at_s.push(moment);
            }
            None => {
                bad += 1;
                if left_out.len() < 10 {
                    left_out.push(k + 1);
                }
            }
        }
    }
    if at_s.len() < 2 || bad > at_s.len() {
        return Err(Unusable(words::record::not_times(&at_s.len(), &bad)));
    }
    Ok(sum_up(&at_s, left_out))
}

fn sum_up(at_s: &[f64], left_out: Vec<usize>) -> Marks {
    let mut steps: Vec<f64> = at_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
    steps.sort_by(f64::total_cmp);
    let interval_s = steps[steps.len() / 2];
    let first = at_s[0];
    let holes = at_s
        .windows(2)
        .filter(|pair| interval_s > 0.0 && pair[1] - pair[0] > 1.5 * interval_s)
        .map(|pair| (pair[0] - first, pair[1] - pair[0]))
        .collect();
    Marks { count: at_s.len(), interval_s, lasted_s: at_s[at_s.len() - 1] - first, holes, left_out }
}

/// The moment at the beginning of a line, seconds since 1970; stamps without a zone count as UTC,
/// which leaves durations right.
#[expect(clippy::cast_precision_loss, reason = "milliseconds since 1970 are exact in a double")]
fn moment(line: &str) -> Option<f64> {
    let words: Vec<&str> = line.split([' ', '\t', ',', ';']).filter(|w| !w.is_empty()).collect();
    let first = *words.first()?;
    let two = words.get(1).map(|second| format!("{first}T{second}"));
    for text in two.iter().map(String::as_str).chain([first]) {
        if !text.contains(':') {
            continue;
        }
        if let Ok(stamp) = text.parse::<Timestamp>() {
            return Some(stamp.as_millisecond() as f64 / 1000.0);
        }
        if let Ok(civil) = text.parse::<DateTime>()
            && let Ok(stamp) = jiff::tz::TimeZone::UTC.to_timestamp(civil)
        {
            return Some(stamp.as_millisecond() as f64 / 1000.0);
        }
    }
    // Seconds since 1970; smaller numbers are line numbers or voltages, not times after 2001.
    let number: f64 = first.parse().ok()?;
    (1e9..1e11).contains(&number).then_some(number)
}

#[cfg(test)]
mod tests;
