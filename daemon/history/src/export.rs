//! An outing for other programs: CSV per RFC 4180, JSON. Both come in pieces, so that neither the rows
//! nor the text of a long outing are in memory at once.
//!
//! The first columns are those that `replay` reads: `t_s,cpu_util,cpu_temp_c,bus_v,current_a`,
//! seconds since the outing began; an empty field is a gap. What else another board learns from it
//! stands before the events: in the first row of every stretch from when to when the board was on, in
//! the first of all what is known of the outing.

use std::{fmt::Write as _, iter::Peekable, vec::IntoIter};

use reckon::{
    record::{Channel, CloseUp, Ending, Event, Outing, Row, SwitchedOn},
    units::Celsius,
};

use crate::{reader::Reader, trouble::Trouble};

mod json;

pub use json::{json, rfc3339};

/// A text in pieces; it ends with the first trouble.
pub type Pieces = Box<dyn Iterator<Item = Result<String, Trouble>> + Send>;

/// The columns that `replay` reads, in its order.
pub const REPLAY_COLUMNS: [&str; 5] = ["t_s", "cpu_util", "cpu_temp_c", "bus_v", "current_a"];

const REPLAY_CHANNELS: [Channel; 4] = [Channel::Busy, Channel::Temp, Channel::Volts, Channel::Amps];

/// The outing's rows and events as CSV, all of one moment; `None` if there is no such outing.
///
/// # Errors
/// When the store cannot be read.
pub fn csv(reader: &Reader, outing: i64) -> Result<Option<Pieces>, Trouble> {
    let reader = reader.at_one_moment()?;
    let Some(told) = reader.outing(outing)? else { return Ok(None) };
    let banks = reader.banks()?;
    let bank = banks.iter().find(|bank| Some(&bank.spec.name) == told.bank.as_ref());
    let facts = facts(&told, bank.and_then(|bank| bank.spec.ambient).map(Celsius::si));
    let (on, events) = (reader.switched_on(outing)?, reader.events(outing)?);
    let rows = reader.rows_by_hour(outing, &Channel::ALL)?;
    Ok(Some(Box::new(Csv::new(rows, facts, on, events))))
}

/// What stands in the first row alone.
const FACTS: &str =
    "bank,outing,ending,died,lasted_s,ended_within_s,energy_wh,bridged_wh,start_share,ambient_c";

/// What is known of the outing, in that order.
fn facts(outing: &Outing, ambient_c: Option<f64>) -> String {
    let text = |text: &Option<String>| field(text.as_deref().unwrap_or_default());
    let died = match outing.ending {
        Ending::Died => Some(1.0),
        Ending::PowerLost { died } => Some(died),
        Ending::Open | Ending::SwitchedOff | Ending::Swapped => None,
    };
    let figure = |figure: Option<f64>| figure.map(number).unwrap_or_default();
    [
        text(&outing.bank),
        text(&outing.name),
        outing.ending.name().to_owned(),
        figure(died),
        number(outing.lasted_s),
        figure(outing.ended_within_s),
        figure(outing.energy_wh),
        figure(outing.bridged_wh),
        figure(outing.start_share),
        figure(ambient_c),
    ]
    .join(",")
}

/// Rows and events as CSV. Events stand in the row in whose time they fell, or in the last.
struct Csv<R> {
    rows: R,
    /// For the first row, then commas alone.
    facts: String,
    /// When the board was on, what is still to come.
    on: Peekable<IntoIter<SwitchedOn>>,
    events: Peekable<IntoIter<Event>>,
    /// Not known yet to be the last.
    waiting: Option<Row>,
    /// What the next piece begins with.
    out: String,
    ended: bool,
}

impl<R> Csv<R> {
    fn new(rows: R, facts: String, on: Vec<SwitchedOn>, events: Vec<Event>) -> Self {
        let (on, events) = (on.into_iter().peekable(), events.into_iter().peekable());
        Self { rows, facts, on, events, waiting: None, out: head(), ended: false }
    }

    fn line(&mut self, row: &Row, last: bool) {
        let mut words = Vec::new();
        while let Some(event) = self.events.next_if(|event| last || event.at.as_s() < row.to_s()) {
            let kind = event.kind.name();
            words.push(if event.text.is_empty() {
                kind.to_string()
            } else {
                format!("{kind}: {}", event.text)
            });
        }
        numbers(&mut self.out, row);
        let mut begins = None;
        while let Some(on) = self.on.next_if(|on| on.from_s < row.to_s()) {
            begins = Some([on.from_s, on.to_s]);
        }
        for place in 0..2 {
            self.out.push(',');
            self.out.push_str(&begins.map(|two| number(two[place])).unwrap_or_default());
        }
        let none = ",".repeat(FACTS.matches(',').count());
        let _ = write!(self.out, ",{},", std::mem::replace(&mut self.facts, none));
        self.out.push_str(&field(&words.join("; ")));
        self.out.push_str("\r\n");
    }
}

impl<R: Iterator<Item = Result<Vec<Row>, Trouble>>> Iterator for Csv<R> {
    type Item = Result<String, Trouble>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.ended {
            return None;
        }
        match self.rows.next() {
            Some(Ok(rows)) => {
                for row in rows {
                    if let Some(before) = self.waiting.replace(row) {
                        self.line(&before, false);
                    }
                }
            }
            Some(Err(trouble)) => {
                self.ended = true;
                return Some(Err(trouble));
            }
            None => {
                self.ended = true;
                if let Some(last) = self.waiting.take() {
                    self.line(&last, true);
                }
            }
        }
        Some(Ok(std::mem::take(&mut self.out)))
    }
}

fn head() -> String {
    let mut out = REPLAY_COLUMNS.join(",");
    out.push_str(",span_s");
    for channel in Channel::ALL {
        let name = channel.name();
        let _ = write!(out, ",{name}_mean,{name}_min,{name}_max");
    }
    let _ = write!(out, ",on_from_s,on_to_s,{FACTS},events\r\n");
    out
}

fn numbers(out: &mut String, row: &Row) {
    let _ = write!(out, "{}", number(row.from_s));
    for channel in REPLAY_CHANNELS {
        out.push(',');
        out.push_str(&row.get(channel).map(|fold| number(fold.mean)).unwrap_or_default());
    }
    let _ = write!(out, ",{}", number(row.span_s));
    for channel in Channel::ALL {
        let three = row.get(channel).map(|f| [f.mean, f.min, f.max]);
        for place in 0..3 {
            out.push(',');
            out.push_str(&three.map(|three| number(three[place])).unwrap_or_default());
        }
    }
}

/// The outing's close-ups as CSV, a line a second, the reason beside each; `None` if there is no
/// such outing. Without any there is the header alone.
///
/// # Errors
/// When the store cannot be read.
pub fn close_ups(reader: &Reader, outing: i64) -> Result<Option<Pieces>, Trouble> {
    let reader = reader.at_one_moment()?;
    if reader.outing(outing)?.is_none() {
        return Ok(None);
    }
    let head = std::iter::once(String::from("t_s,volts_v,power_w,why\r\n"));
    let all = reader.close_ups(outing)?.into_iter().map(|close_up| seconds_of(&close_up));
    Ok(Some(Box::new(head.chain(all).map(Ok))))
}

fn seconds_of(close_up: &CloseUp) -> String {
    let (mut out, why) = (String::new(), field(&close_up.why));
    let mut at_s = close_up.from_s;
    for second in &close_up.seconds {
        let [volts, watts] = [second.volts, second.watts].map(|it| it.map(number));
        let (volts, watts) = (volts.unwrap_or_default(), watts.unwrap_or_default());
        let _ = write!(out, "{},{volts},{watts},{why}\r\n", number(at_s));
        at_s += 1.0;
    }
    out
}

/// A number without needless digits.
#[must_use]
pub fn number(value: f64) -> String {
    let rounded = (value * 1e6).round() / 1e6;
    // Minus nought would be an odd thing to read.
    if rounded == 0.0 { "0".into() } else { format!("{rounded}") }
}

/// A text field per RFC 4180, section 2: quoted if it holds a comma, a quote or a line break, with
/// quotes doubled. Text that a spreadsheet would take for a formula is given an apostrophe before.
#[must_use]
pub fn field(text: &str) -> String {
    let risky = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let text = if risky { format!("'{text}") } else { text.to_string() };
    if text.contains([',', '"', '\r', '\n']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use reckon::record::{EventKind, Stats};

    #[test]
    fn fields_per_rfc_4180() {
        // RFC 4180, section 2, rules 5 to 7.
        for (text, want) in [
            ("aaa", "aaa"),
            ("b CRLF\r\nbb", "\"b CRLF\r\nbb\""),
            ("b\"bb", "\"b\"\"bb\""),
            ("a,b", "\"a,b\""),
            ("", ""),
            // A cell that begins with one of these is run as a formula by spreadsheets (CWE-1236;
            // OWASP, 'CSV Injection', which names the same six).
            ("=1+1", "'=1+1"),
            ("+1+1", "'+1+1"),
            ("-1+1", "'-1+1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("\tx", "'\tx"),
            ("\rx", "\"'\rx\""),
            ("a-b=c", "a-b=c"),
        ] {
            assert_eq!(field(text), want, "{text:?}");
        }
    }

    fn second_of(text: &str) -> &str {
        text.split("\r\n").nth(1).unwrap()
    }

    #[test]
    fn replay_columns_come_first_and_gaps_are_empty() {
        let mut stats = [None; Channel::ALL.len()];
        stats[Channel::Volts.ix()] = Some(Stats { mean: 5.012, min: 4.98, max: 5.03 });
        let rows = [Row { from_s: 0.0, span_s: 10.0, stats }];
        let events = [Event {
            at: reckon::time::Mono::at_s(3.0),
            kind: EventKind::Mark,
            text: "called CQ, \"nothing\"".into(),
        }];
        let rows = std::iter::once(Ok(rows.to_vec()));
        let on = [SwitchedOn { from_s: -0.5, to_s: 9.5, boots: true }];
        let outing = Outing {
            bank: Some("Blue ten".into()),
            ending: Ending::PowerLost { died: 0.9 },
            lasted_s: 10.0,
            start_share: Some(1.0),
            ..Outing::default()
        };
        let csv = Csv::new(rows, facts(&outing, Some(6.0)), on.to_vec(), events.to_vec());
        let text: String = csv.map(Result::unwrap).collect();
        assert!(
            second_of(&text).contains(",-0.5,9.5,Blue ten,,power_lost,0.9,10,,,,1,6,"),
            "{text}"
        );
        assert!(text.starts_with("t_s,cpu_util,cpu_temp_c,bus_v,current_a,"));
        let second = second_of(&text);
        assert!(second.starts_with("0,,,5.012,,10,5.012,4.98,5.03,"), "{second}");
        assert!(second.ends_with("\"mark: called CQ, \"\"nothing\"\"\""), "{second}");
        assert!(text.ends_with("\r\n"), "RFC 4180 section 2, rule 1: lines end in CRLF");
    }
}
