//! The commands that read and change the record: `outing`, `bank` and `export`.

mod answer;
mod bank;
pub(crate) mod check;
pub(crate) mod check_alarms;
pub(crate) mod cli;
mod client;
mod export;
pub(crate) mod now;
mod outing;
pub(crate) mod replay;

pub(crate) use answer::run as answer;
pub(crate) use bank::run as bank;
pub(crate) use export::run as export;
pub(crate) use outing::run as outing;

use std::{
    fs::File,
    io::{self, Read},
    path::Path,
};

use reckon::{
    units::{Joules, Seconds},
    words,
};
use serde_json::Value;

use crate::{Failed, host::now_text::plain_spaces};

/// The bytes of a file (`-`: of standard input); `None` if there are more than so many.
fn file_of(file: &Path, most: usize) -> Result<Option<Vec<u8>>, Failed> {
    let limit = u64::try_from(most).unwrap_or(u64::MAX).saturating_add(1);
    let mut bytes = Vec::new();
    let done = if file == Path::new("-") {
        io::stdin().lock().take(limit).read_to_end(&mut bytes)
    } else {
        File::open(file).and_then(|file| file.take(limit).read_to_end(&mut bytes))
    };
    done.map_err(|why| format!("{} cannot be read: {why}.", file.display()))?;
    Ok((bytes.len() <= most).then_some(bytes))
}

fn text<'a>(of: &'a Value, key: &str) -> &'a str {
    of[key].as_str().unwrap_or("")
}

/// A span in words; a dash where it is not known.
fn span(seconds: &Value) -> String {
    let said = |s: f64| plain_spaces(&words::span(Seconds::of(s)));
    seconds.as_f64().map_or_else(|| "-".to_owned(), said)
}

fn figure(value: &Value, digits: usize, unit: &str) -> String {
    value.as_f64().map_or_else(|| "-".to_owned(), |x| format!("{x:.digits$} {unit}"))
}

/// An energy of the record in words.
fn energy(wh: &Value) -> String {
    let said = |wh: f64| plain_spaces(&words::energy(Joules::from_wh(wh)));
    wh.as_f64().map_or_else(|| "-".to_owned(), said)
}

/// A wall time of the record, short: `2026-05-16 07:30`, UTC.
fn moment(value: &Value) -> String {
    let text = value.as_str().and_then(|text| text.get(..16));
    text.map_or_else(|| "time unknown".to_owned(), |text| text.replace('T', " "))
}

/// JSON with line breaks.
fn pretty(value: &Value) -> String {
    format!("{value:#}\n")
}

/// Columns as wide as their widest entry, two spaces between.
fn table(rows: &[Vec<String>]) -> String {
    let count = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |k: usize| {
        rows.iter().filter_map(|row| row.get(k)).map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..count).map(width).collect();
    let mut out = String::new();
    for row in rows {
        let mut line = String::new();
        for (cell, width) in row.iter().zip(&widths) {
            line.push_str(&format!("{cell:<width$}  "));
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_stand_under_one_another() {
        let rows =
            vec![vec!["1".into(), "Blue ten".into(), "x".into()], vec!["10".into(), "b".into()]];
        assert_eq!(table(&rows), "1   Blue ten  x\n10  b\n");
        assert_eq!(moment(&Value::from("2026-05-16T07:30:00Z")), "2026-05-16 07:30");
        assert_eq!(figure(&Value::Null, 1, "Wh"), "-");
    }
}
