//! A recording as an outing of the record: an export of another outlast as that one had it, the plain
//! columns in rows as the record would have made of them.
//!
//! A command sends a recording in the columns that are looked at, in rows long enough that they fit
//! ([`shortened`]); whoever keeps the record makes an outing of that ([`outing`]).

use std::fmt::Write as _;

use history::export;
use reckon::{
    record::{Channel, Ending, Outing, Row, Stats, SwitchedOn},
    units::Seconds,
    words,
};

use super::{
    BOOT_S, COLUMNS, Column, FACTS, HOLE_S, READING_S, Recording, START, TEXTS, WATTS, column,
};

/// Most rows that are kept at once: about 15 MB of them.
const MOST_ROWS: usize = 50_000;
/// Rows that a recording is sent in, s: as an export has them, or as long as they must be.
const LENGTHS_S: [f64; 3] = [0.0, 60.0, 300.0];
/// A row of the record, s: readings that come oftener are gathered in one.
const ROW_S: f64 = 10.0;
/// An end so long before the board's was lost on the way, s: the record misses at most a minute.
const MISSED_S: f64 = 600.0;

/// What the person who imports it says of a recording; it counts more than what the file says.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(crate) struct Said {
    /// Whether the bank ran empty.
    pub(crate) died: Option<bool>,
    /// How full it was at the start; inside: `None` is unknown.
    pub(crate) start_share: Option<Option<f64>>,
    /// Temperature around it, °C.
    pub(crate) ambient_c: Option<f64>,
}

/// A recording, ready to be learned from.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Recorded {
    /// What is known of the outing.
    pub(crate) outing: Outing,
    /// When the board was on in it.
    pub(crate) on: Vec<SwitchedOn>,
    /// What was seen.
    pub(crate) rows: Vec<Row>,
    /// Temperature around the bank, °C.
    pub(crate) ambient_c: Option<f64>,
}

/// Whether this is a recording: its first line names a column that is looked at. Else it may be a
/// list of time stamps.
pub(crate) fn is_recording(text: &[u8]) -> bool {
    let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
    let first = text.split(|byte| *byte == b'\n').next().unwrap_or_default();
    first.split(|byte| *byte == b',').any(|name| {
        let name = String::from_utf8_lossy(name);
        matches!(column(name.trim().trim_matches('"')), Some(Column::Number(_)))
    })
}

/// Reads a recording as an outing.
///
/// # Errors
/// What is wrong with it, as a sentence, with the line where there is one.
pub(crate) fn outing(text: &[u8]) -> Result<Recorded, String> {
    let mut reading = Reading::new(text, 0.0)?;
    let (mut on, mut rows) = (Vec::new(), Vec::new());
    while let Some((row, on_s)) = reading.next()? {
        if rows.len() == MOST_ROWS {
            return Err(words::record::too_many_rows(MOST_ROWS));
        }
        on.extend(on_s.map(|(from_s, to_s)| SwitchedOn { from_s, to_s, boots: true }));
        rows.push(row);
    }
    let (Some(first), Some(last)) = (rows.first(), rows.last()) else {
        return Err(words::record::NO_ROWS.to_owned());
    };
    if on.is_empty() {
        on.push(SwitchedOn { from_s: first.from_s, to_s: last.to_s(), boots: true });
    }
    if let Some(end) = on.last().filter(|on| on.to_s - last.to_s() > MISSED_S) {
        return Err(words::record::recording_cut_off(
            Seconds::of(last.to_s()),
            Seconds::of(end.to_s),
        ));
    }
    let outing = reading.outing(&on)?;
    let rows = within(rows, &on, outing.ended_within_s.unwrap_or(0.0));
    Ok(Recorded { outing, on, rows, ambient_c: reading.fact(6) })
}

/// The rows without what sticks out of the stretches; the last may have ended so much later.
fn within(rows: Vec<Row>, on: &[SwitchedOn], later_s: f64) -> Vec<Row> {
    let mut stretches = on.iter().peekable();
    let cut = |row: Row| {
        while stretches.peek().is_some_and(|on| on.to_s <= row.from_s) && stretches.len() > 1 {
            stretches.next();
        }
        let on = *stretches.peek()?;
        let end_s = on.to_s + if stretches.len() > 1 { 0.0 } else { later_s };
        // A difference of sums is not quite the ten seconds it was.
        if row.from_s >= on.from_s && row.to_s() <= end_s {
            return Some(row);
        }
        let (from_s, to_s) = (row.from_s.max(on.from_s), row.to_s().min(end_s));
        (to_s > from_s).then_some(Row { from_s, span_s: to_s - from_s, ..row })
    };
    rows.into_iter().filter_map(cut).collect()
}

/// A recording as it is sent.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Shortened {
    /// CSV.
    pub(crate) text: String,
    /// The bank that it is of, if it says that.
    pub(crate) bank: Option<String>,
    /// The outing's name, if it says that.
    pub(crate) name: Option<String>,
}

/// The recording in the columns that are looked at, in rows so long that it is no larger than so many
/// bytes.
///
/// # Errors
/// What is wrong with it, as a sentence, with the line where there is one.
pub(crate) fn shortened(text: &[u8], said: &Said, most_bytes: usize) -> Result<Shortened, String> {
    for least_s in LENGTHS_S {
        let mut reading = Reading::new(text, least_s)?;
        let mut out = head();
        let mut count = 0;
        while let Some((row, on_s)) = reading.next()? {
            put(&mut out, &row, on_s);
            reading.put_facts(&mut out, said, count == 0)?;
            count += 1;
            if out.len() > most_bytes || count > MOST_ROWS {
                break;
            }
        }
        if out.len() <= most_bytes && count <= MOST_ROWS {
            let [bank, name, _] = reading.recording.facts.texts;
            return Ok(Shortened { text: out, bank, name });
        }
    }
    Err(words::record::too_many_rows(MOST_ROWS))
}

fn head() -> String {
    let names: Vec<&str> = COLUMNS.iter().map(|(name, ..)| *name).chain(TEXTS).collect();
    names.join(",") + "\n"
}

/// A row's own columns.
fn put(out: &mut String, row: &Row, on_s: Option<(f64, f64)>) {
    let seen = [Channel::Busy, Channel::Temp, Channel::Volts, Channel::Amps];
    let mean = |channel| row.get(channel).map(|it| it.mean);
    let figures = std::iter::once(Some(row.from_s))
        .chain(seen.map(mean))
        .chain([Some(row.span_s), mean(Channel::Watts), mean(Channel::OverRange)])
        .chain([on_s.map(|it| it.0), on_s.map(|it| it.1)]);
    for figure in figures {
        let _ = write!(out, "{},", figure.map(export::number).unwrap_or_default());
    }
}

/// The rows of a recording, one after the other.
struct Reading<'a> {
    recording: Recording<'a>,
    /// Rows are at least so long, where nothing lies between them, s.
    least_s: f64,
    /// Gathered so far.
    held: Option<(Row, Option<(f64, f64)>)>,
    /// The time of the last reading.
    last_s: Option<f64>,
}

/// A row, and when the board was on from and to if it is the first of that.
type RowOn = (Row, Option<(f64, f64)>);

impl<'a> Reading<'a> {
    fn new(text: &'a [u8], least_s: f64) -> Result<Self, String> {
        let recording = Recording::new(text)?;
        let plain = !recording.fields.contains(&column("span_s"));
        let least_s = if plain { least_s.max(ROW_S) } else { least_s };
        Ok(Self { recording, least_s, held: None, last_s: None })
    }

    /// The next row, and when the board was on from and to if it is the first of that.
    fn next(&mut self) -> Result<Option<RowOn>, String> {
        while let Some(seen) = self.recording.next_row()? {
            let Some(row) = self.row(&seen) else { continue };
            let Some((held, on_s)) = self.held.take() else {
                self.held = Some((row, seen.on_s));
                continue;
            };
            let follows = seen.on_s.is_none() && (row.from_s - held.to_s()).abs() < 0.5;
            if follows && held.span_s < self.least_s - 1e-6 {
                self.held = Some((joined(&held, &row), on_s));
                continue;
            }
            self.held = Some((row, seen.on_s));
            return Ok(Some((held, on_s)));
        }
        Ok(self.held.take())
    }

    /// A line as a row of the record; `None` if it takes no time.
    fn row(&mut self, seen: &super::Row) -> Option<Row> {
        let (from_s, span_s) = match seen.span_s {
            Some(span_s) => (seen.t_s, span_s),
            None => {
                // As `replay` steps: a reading stands for the time since the one before it.
                let span_s = match self.last_s {
                    None => seen.t_s.min(BOOT_S),
                    Some(last_s) if seen.t_s - last_s > HOLE_S => READING_S,
                    Some(last_s) => seen.t_s - last_s,
                };
                (seen.t_s - span_s, span_s)
            }
        };
        self.last_s = Some(seen.t_s);
        let power = seen.volts.zip(seen.amps).map(|(volts, amps)| volts * amps);
        let power = power.filter(|_| !self.recording.has(WATTS));
        let mut stats = [None; Channel::ALL.len()];
        for (channel, value) in [
            (Channel::Busy, seen.busy),
            (Channel::Temp, seen.temp_c),
            (Channel::Volts, seen.volts),
            (Channel::Amps, seen.amps),
            (Channel::Watts, seen.watts.or(power)),
            (Channel::OverRange, seen.over_range_w),
        ] {
            stats[channel.ix()] = value.map(Stats::one);
        }
        (span_s > 0.0).then_some(Row { from_s, span_s, stats })
    }

    /// One of the outing's numbers, from [`FACTS`] on.
    fn fact(&self, number: usize) -> Option<f64> {
        self.recording.facts.numbers[number]
    }

    /// The outing's columns of a line: in the first what the file says and, before that, what was
    /// said of it.
    fn put_facts(&self, out: &mut String, said: &Said, first: bool) -> Result<(), String> {
        let facts = &self.recording.facts;
        let (mut numbers, mut texts) = (facts.numbers, facts.texts.clone());
        if let Some(died) = said.died {
            let ending = if died { Ending::Died } else { Ending::SwitchedOff };
            (numbers[0], texts[2]) = (None, Some(ending.name().to_owned()));
        }
        if let Some(start_share) = said.start_share {
            numbers[START - FACTS] = start_share;
        } else if !self.recording.has(START) {
            numbers[START - FACTS] = Some(1.0);
        }
        numbers[6] = said.ambient_c.or(numbers[6]);
        if first {
            ending(&texts[2], numbers[0])?;
        } else {
            (numbers, texts) = Default::default();
        }
        for number in numbers {
            let _ = write!(out, "{},", number.map(export::number).unwrap_or_default());
        }
        let texts = texts.map(|text| export::field(&text.unwrap_or_default()));
        let _ = writeln!(out, "{}", texts.join(","));
        Ok(())
    }

    /// What is known of the outing whose board was on so.
    fn outing(&self, on: &[SwitchedOn]) -> Result<Outing, String> {
        let facts = &self.recording.facts;
        let [died, lasted_s, ended_within_s, energy_wh, bridged_wh, start_share, _] = facts.numbers;
        let on_s = || on.iter().map(|on| (on.to_s - on.from_s).max(0.0)).sum();
        Ok(Outing {
            name: facts.texts[1].clone(),
            bank: facts.texts[0].clone(),
            // Without a word on it a recording begins full, as `replay` has it.
            start_share: if self.recording.has(START) { start_share } else { Some(1.0) },
            ended_within_s,
            ending: ending(&facts.texts[2], died)?,
            lasted_s: lasted_s.unwrap_or_else(on_s),
            energy_wh,
            bridged_wh,
            ..Outing::default()
        })
    }
}

/// How it ended; without a word on that it was stopped, as `replay` has it.
fn ending(word: &Option<String>, died: Option<f64>) -> Result<Ending, String> {
    let Some(word) = word else { return Ok(Ending::SwitchedOff) };
    let ending = Ending::from_columns(word, died);
    if ending.name() != word {
        return Err(words::record::ending_unknown(word));
    }
    if ending == Ending::Open {
        return Err(words::record::NOT_ENDED.to_owned());
    }
    Ok(ending)
}

/// Two rows that follow one another in one; a channel that only one of them has keeps its mean.
fn joined(one: &Row, next: &Row) -> Row {
    let mut stats = one.stats;
    for (mine, other) in stats.iter_mut().zip(next.stats) {
        *mine = match (*mine, other) {
            (Some(a), Some(b)) => Some(a.join(one.span_s, b, next.span_s)),
            (a, b) => a.or(b),
        };
    }
    Row { from_s: one.from_s, span_s: one.span_s + next.span_s, stats }
}
