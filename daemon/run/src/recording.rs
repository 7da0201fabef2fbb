//! A recorded outing: CSV, read once from front to back without copying.

use reckon::words;

pub(crate) mod import;

/// A step longer than this is a hole in the recording, s: what lies before its end was not seen.
pub(crate) const HOLE_S: f64 = 30.0;
/// What is left of a hole for the reading at its end, s.
pub(crate) const READING_S: f64 = 10.0;
/// A recording that begins later than this after power-on, s, leaves out a part of the outing that
/// nobody can fill in; its first reading stands for so much.
pub(crate) const BOOT_S: f64 = 600.0;

/// The numbers that are looked at, the first five in the order of [`Row`]'s fields, and what each may
/// hold: a number beyond is a mistake in the file, not a reading. The others are those of an export:
/// its longest row may begin so much before the outing. Other columns are passed over.
const COLUMNS: [(&str, f64, f64, &str); 17] = [
    ("t_s", -300.0, 1e9, "seconds since power-on"),
    ("cpu_util", -0.001, 1.5, "a share of 1"),
    ("cpu_temp_c", -100.0, 200.0, "degrees Celsius"),
    ("bus_v", -100.0, 100.0, "volts"),
    ("current_a", -1000.0, 1000.0, "amperes"),
    ("span_s", 0.0, 1e6, "seconds"),
    ("power_w_mean", -1e5, 1e5, "watts"),
    ("over_range_w_mean", -1e5, 1e5, "watts"),
    ("on_from_s", -300.0, 1e9, "seconds since power-on"),
    ("on_to_s", -300.0, 1e9, "seconds since power-on"),
    ("died", 0.0, 1.0, "a chance"),
    ("lasted_s", 0.0, 1e9, "seconds"),
    ("ended_within_s", 0.0, 1e9, "seconds"),
    ("energy_wh", 0.0, 1e6, "watt-hours"),
    ("bridged_wh", 0.0, 1e6, "watt-hours"),
    ("start_share", 0.0, 1.0, "a share of 1"),
    ("ambient_c", -40.0, 60.0, "degrees Celsius"),
];
const VOLTS: usize = 3;
const AMPS: usize = 4;
const WATTS: usize = 6;
/// From here on they are of the outing.
const FACTS: usize = 10;
const START: usize = 15;
/// The texts that are looked at.
const TEXTS: [&str; 3] = ["bank", "outing", "ending"];

/// One line.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(crate) struct Row {
    /// Seconds since power-on.
    pub(crate) t_s: f64,
    /// Share of the processor that was busy.
    pub(crate) busy: Option<f64>,
    /// Processor temperature, °C.
    pub(crate) temp_c: Option<f64>,
    /// Voltage at the sensor, V.
    pub(crate) volts: Option<f64>,
    /// Current out of the bank, A.
    pub(crate) amps: Option<f64>,
    /// How long an exported row is, s: it begins at its time. Else the time is a reading's.
    span_s: Option<f64>,
    /// Mean power of an exported row, W.
    watts: Option<f64>,
    /// Of that, counted at the end of the sensor's range, W.
    over_range_w: Option<f64>,
    /// From when to when the board was on, s, in the first row of such a stretch.
    on_s: Option<(f64, f64)>,
}

/// What the first line of an export tells of the outing.
#[derive(Clone, Debug, PartialEq, Default)]
struct Facts {
    /// Those of [`COLUMNS`] from [`FACTS`] on.
    numbers: [Option<f64>; COLUMNS.len() - FACTS],
    /// Those of [`TEXTS`].
    texts: [Option<String>; TEXTS.len()],
}

/// A column that is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Column {
    /// One of [`COLUMNS`].
    Number(usize),
    /// One of [`TEXTS`].
    Text(usize),
}

/// The column of this name, if it is looked at.
fn column(name: &str) -> Option<Column> {
    let number = COLUMNS.iter().position(|(column, ..)| *column == name).map(Column::Number);
    number.or_else(|| TEXTS.iter().position(|text| *text == name).map(Column::Text))
}

/// A file's text and how far it has been read.
pub(crate) struct Recording<'a> {
    rest: &'a [u8],
    /// What the file's n-th field is.
    fields: Vec<Option<Column>>,
    /// Fields that a line must have at least.
    least: usize,
    line: usize,
    t_s: Option<f64>,
    facts: Facts,
}

impl<'a> Recording<'a> {
    /// Reads the header.
    ///
    /// # Errors
    /// What is wrong with it, as a sentence.
    pub(crate) fn new(text: &'a [u8]) -> Result<Self, String> {
        let rest = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
        let (fields, facts) = (Vec::new(), Facts::default());
        let mut recording = Self { rest, fields, least: 0, line: 0, t_s: None, facts };
        let header = recording.next_line().unwrap_or(b"");
        for (n, name) in header.split(|b| *b == b',').enumerate() {
            let name = String::from_utf8_lossy(name);
            let name = name.trim().trim_matches('"');
            let known = column(name);
            if known.is_some() {
                if recording.fields.contains(&known) {
                    return Err(words::terminal::column_twice(&name));
                }
                recording.least = n + 1;
            }
            recording.fields.push(known);
        }
        if !recording.has(0) {
            return Err(words::terminal::NO_TIME_COLUMN.to_owned());
        }
        if !(recording.has(1) || recording.has_sensor()) {
            return Err(words::terminal::NO_DRAW_COLUMN.to_owned());
        }
        Ok(recording)
    }

    /// Whether the file has a sensor's columns.
    pub(crate) fn has_sensor(&self) -> bool {
        self.has(VOLTS) && self.has(AMPS)
    }

    fn has(&self, number: usize) -> bool {
        self.fields.contains(&Some(Column::Number(number)))
    }

    /// The next line with something in it; `None` at the end.
    ///
    /// # Errors
    /// What is wrong with the line, as a sentence with its number.
    pub(crate) fn next_row(&mut self) -> Result<Option<Row>, String> {
        let line = loop {
            match self.next_line() {
                None => return Ok(None),
                Some(line) if line.iter().all(u8::is_ascii_whitespace) => {}
                Some(line) => break line,
            }
        };
        let mut got = [None; COLUMNS.len()];
        let mut texts = [None; TEXTS.len()];
        let mut fields = 0;
        for (text, column) in fields_of(line).zip(&self.fields) {
            fields += 1;
            match *column {
                Some(Column::Number(k)) => got[k] = self.number(k, text.trim_ascii())?,
                Some(Column::Text(k)) => texts[k] = Some(text),
                None => {}
            }
        }
        if fields < self.least {
            return Err(words::terminal::fields_missing(&self.line, &fields, &self.least));
        }
        let Some(t_s) = got[0] else {
            return Err(words::terminal::no_time(&self.line));
        };
        match self.t_s.replace(t_s) {
            None => self.facts = Facts { texts: texts.map(|text| plain(text?)), ..facts(&got) },
            Some(last_s) if t_s < last_s => {
                return Err(words::terminal::time_goes_back(&self.line, &last_s, &t_s));
            }
            Some(_) => {}
        }
        let [_, busy, temp_c, volts, amps, span_s, watts, over_range_w, on_from_s, on_to_s, ..] =
            got;
        let on_s = on_from_s.zip(on_to_s);
        Ok(Some(Row { t_s, busy, temp_c, volts, amps, span_s, watts, over_range_w, on_s }))
    }

    fn next_line(&mut self) -> Option<&'a [u8]> {
        if self.rest.is_empty() {
            return None;
        }
        self.line += 1;
        let end = self.rest.iter().position(|b| *b == b'\n').unwrap_or(self.rest.len());
        let line = &self.rest[..end];
        self.rest = self.rest.get(end + 1..).unwrap_or(&[]);
        Some(line.strip_suffix(b"\r").unwrap_or(line))
    }

    /// A field's number; `None` for an empty one.
    fn number(&self, column: usize, text: &[u8]) -> Result<Option<f64>, String> {
        if text.is_empty() {
            return Ok(None);
        }
        let (name, low, high, what) = COLUMNS[column];
        let x = number(text).filter(|x| (low..=high).contains(x));
        if x.is_none() {
            let shown: String = String::from_utf8_lossy(text).chars().take(40).collect();
            return Err(words::terminal::bad_value(&self.line, &name, &shown, &what, &low, &high));
        }
        Ok(x)
    }
}

fn facts(got: &[Option<f64>; COLUMNS.len()]) -> Facts {
    let mut facts = Facts::default();
    facts.numbers.copy_from_slice(&got[FACTS..]);
    facts
}

/// The fields of a line; a comma between quotes divides nothing (RFC 4180, section 2, rule 6).
fn fields_of(line: &[u8]) -> impl Iterator<Item = &[u8]> {
    let mut quoted = false;
    line.split(move |byte| {
        quoted ^= *byte == b'"';
        *byte == b',' && !quoted
    })
}

/// A field's text without its quotes, and without the apostrophe that an export puts before a text
/// that a spreadsheet would run; `None` for an empty one.
fn plain(field: &[u8]) -> Option<String> {
    let text = String::from_utf8_lossy(field.trim_ascii());
    let inner = text.strip_prefix('"').and_then(|text| text.strip_suffix('"'));
    let text = inner.map_or_else(|| text.to_string(), |inner| inner.replace("\"\"", "\""));
    let risky = text.strip_prefix('\'').filter(|rest| rest.starts_with(['=', '+', '-', '@']));
    Some(risky.map_or_else(|| text.clone(), str::to_owned)).filter(|text| !text.is_empty())
}

/// A decimal number. The plain form, which nearly every field has, is read digit by digit (its
/// digits and the power of ten are exact, so the quotient is rounded once, as the standard parser
/// does); anything else goes to the standard parser.
fn number(text: &[u8]) -> Option<f64> {
    const TENS: [f64; 16] =
        [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];
    let (minus, digits) = match text {
        [b'-', rest @ ..] => (true, rest),
        _ => (false, text),
    };
    let (mut whole, mut places, mut point) = (0_u32, 0_usize, false);
    let plain = digits.len() <= 9
        && digits.iter().any(u8::is_ascii_digit)
        && digits.iter().all(|b| match b {
            b'0'..=b'9' => {
                whole = whole * 10 + u32::from(b - b'0');
                places += usize::from(point);
                true
            }
            b'.' if !point => {
                point = true;
                true
            }
            _ => false,
        });
    if !plain {
        return std::str::from_utf8(text).ok()?.parse().ok().filter(|x: &f64| x.is_finite());
    }
    let x = f64::from(whole) / TENS[places];
    Some(if minus { -x } else { x })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_come_out_as_the_standard_parser_has_them() {
        for text in [
            "0",
            "5.084",
            "-0.25",
            "33246.5",
            ".5",
            "7.",
            "123456789",
            "0.1",
            "1e3",
            "12345678901.25",
        ] {
            assert_eq!(number(text.as_bytes()), text.parse().ok(), "{text}");
        }
        for text in ["", "-", ".", "1.2.3", "abc", "nan", "inf", "1,5", "0x10"] {
            assert_eq!(number(text.as_bytes()), None, "{text}");
        }
    }

    #[test]
    fn columns_in_any_order_and_more_than_we_know() {
        let text = b"note,current_a,t_s,bus_v\nx,0.5,10,5.1\n\ny,,20,\n";
        let mut recording = Recording::new(text).unwrap();
        assert!(recording.has_sensor());
        let row = |t_s, volts, amps| Some(Row { t_s, volts, amps, ..Row::default() });
        assert_eq!(recording.next_row(), Ok(row(10.0, Some(5.1), Some(0.5))));
        assert_eq!(recording.next_row(), Ok(row(20.0, None, None)));
        assert_eq!(recording.next_row(), Ok(None));
    }

    #[test]
    fn every_mistake_is_said_with_its_line() {
        let all = |text: &[u8]| -> String {
            match Recording::new(text) {
                Err(say) => say,
                Ok(mut recording) => loop {
                    match recording.next_row() {
                        Err(say) => return say,
                        Ok(None) => return "nothing was wrong".to_owned(),
                        Ok(Some(_)) => {}
                    }
                },
            }
        };
        for (text, want) in [
            ("", "line 1: there is no column t_s"),
            ("t_s,cpu_temp_c\n", "line 1: neither cpu_util nor"),
            ("t_s,cpu_util,t_s\n", "line 1: the column t_s appears twice"),
            ("t_s,cpu_util\n10,0.1\n20,plenty\n", "line 3: cpu_util is `plenty`"),
            ("t_s,cpu_util\n10,0.1\n\n9,0.1\n", "line 4: t_s goes back from 10 to 9"),
            ("t_s,cpu_util\n,0.1\n", "line 2: t_s is empty"),
            ("t_s,cpu_util\n10\n", "line 2: 1 fields, but the header names at least 2"),
            ("t_s,cpu_util\n10,42\n", "line 2: cpu_util is `42`"),
            ("t_s,bus_v,current_a\n10,5,nan\n", "line 2: current_a is `nan`"),
            ("t_s,cpu_util\n\u{fffd}\u{1f50b},0\n", "line 2: t_s is"),
        ] {
            let said = all(text.as_bytes());
            assert!(said.starts_with(want), "{text:?}: {said}");
        }
    }
}
