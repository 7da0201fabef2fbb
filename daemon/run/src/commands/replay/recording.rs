//! A recorded outing: CSV, read once from front to back without copying.

use reckon::words;

/// The columns that are looked at, in the order of [`Row`]'s fields. Others are passed over.
const COLUMNS: [&str; 5] = ["t_s", "cpu_util", "cpu_temp_c", "bus_v", "current_a"];
/// What each may hold; a number beyond is a mistake in the file, not a reading.
const RANGES: [(f64, f64, &str); 5] = [
    (0.0, 1e9, "seconds since power-on"),
    (-0.001, 1.5, "a share of 1"),
    (-100.0, 200.0, "degrees Celsius"),
    (-100.0, 100.0, "volts"),
    (-1000.0, 1000.0, "amperes"),
];

/// One line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Row {
    /// Seconds since power-on.
    pub(super) t_s: f64,
    /// Share of the processor that was busy.
    pub(super) busy: Option<f64>,
    /// Processor temperature, °C.
    pub(super) temp_c: Option<f64>,
    /// Voltage at the sensor, V.
    pub(super) volts: Option<f64>,
    /// Current out of the bank, A.
    pub(super) amps: Option<f64>,
}

/// A file's text and how far it has been read.
pub(super) struct Recording<'a> {
    rest: &'a [u8],
    /// Which of [`COLUMNS`] the file's n-th field is.
    fields: Vec<Option<usize>>,
    /// Fields that a line must have at least.
    least: usize,
    line: usize,
    t_s: f64,
}

impl<'a> Recording<'a> {
    /// Reads the header.
    ///
    /// # Errors
    /// What is wrong with it, as a sentence.
    pub(super) fn new(text: &'a [u8]) -> Result<Self, String> {
        let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
        let mut recording = Self { rest: text, fields: Vec::new(), least: 0, line: 0, t_s: 0.0 };
        let header = recording.next_line().unwrap_or(b"");
        let mut seen = [false; COLUMNS.len()];
        for (n, name) in header.split(|b| *b == b',').enumerate() {
            let name = String::from_utf8_lossy(name);
            let name = name.trim().trim_matches('"');
            let known = COLUMNS.iter().position(|c| *c == name);
            if let Some(k) = known {
                if seen[k] {
                    return Err(words::terminal::column_twice(&name));
                }
                seen[k] = true;
                recording.least = n + 1;
            }
            recording.fields.push(known);
        }
        if !seen[0] {
            return Err(words::terminal::NO_TIME_COLUMN.to_owned());
        }
        let sensor = seen[3] && seen[4];
        if !(seen[1] || sensor) {
            return Err(words::terminal::NO_DRAW_COLUMN.to_owned());
        }
        Ok(recording)
    }

    /// Whether the file has a sensor's columns.
    pub(super) fn has_sensor(&self) -> bool {
        self.fields.contains(&Some(3)) && self.fields.contains(&Some(4))
    }

    /// The next line with something in it; `None` at the end.
    ///
    /// # Errors
    /// What is wrong with the line, as a sentence with its number.
    pub(super) fn next_row(&mut self) -> Result<Option<Row>, String> {
        let line = loop {
            match self.next_line() {
                None => return Ok(None),
                Some(line) if line.iter().all(u8::is_ascii_whitespace) => {}
                Some(line) => break line,
            }
        };
        let mut got = [None; COLUMNS.len()];
        let mut fields = 0;
        for (text, column) in line.split(|b| *b == b',').zip(&self.fields) {
            fields += 1;
            if let Some(k) = *column {
                got[k] = self.field(k, text.trim_ascii())?;
            }
        }
        if fields < self.least {
            return Err(words::terminal::fields_missing(&self.line, &fields, &self.least));
        }
        let [Some(t_s), busy, temp_c, volts, amps] = got else {
            return Err(words::terminal::no_time(&self.line));
        };
        if t_s < self.t_s {
            return Err(words::terminal::time_goes_back(&self.line, &self.t_s, &t_s));
        }
        self.t_s = t_s;
        Ok(Some(Row { t_s, busy, temp_c, volts, amps }))
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
    fn field(&self, column: usize, text: &[u8]) -> Result<Option<f64>, String> {
        if text.is_empty() {
            return Ok(None);
        }
        let (low, high, what) = RANGES[column];
        let x = number(text).filter(|x| (low..=high).contains(x));
        if x.is_none() {
            let shown: String = String::from_utf8_lossy(text).chars().take(40).collect();
            return Err(words::terminal::bad_value(
                &self.line,
                &COLUMNS[column],
                &shown,
                &what,
                &low,
                &high,
            ));
        }
        Ok(x)
    }
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
        let row = |t_s, volts, amps| Some(Row { t_s, busy: None, temp_c: None, volts, amps });
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
