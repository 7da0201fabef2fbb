//! How a terminal shows what comes as JSON: spans, figures, moments, columns.

use reckon::{
    units::{Joules, Seconds},
    words,
};
use serde_json::Value;

use crate::host::now_text::plain_spaces;

pub(super) fn text<'a>(of: &'a Value, key: &str) -> &'a str {
    of[key].as_str().unwrap_or("")
}

/// A span in words; a dash where it is not known.
pub(super) fn span(seconds: &Value) -> String {
    let said = |s: f64| plain_spaces(&words::span(Seconds::of(s)));
    seconds.as_f64().map_or_else(|| "-".to_owned(), said)
}

pub(super) fn figure(value: &Value, digits: usize, unit: &str) -> String {
    value.as_f64().map_or_else(|| "-".to_owned(), |x| format!("{x:.digits$} {unit}"))
}

/// An energy of the record in words.
pub(super) fn energy(wh: &Value) -> String {
    let said = |wh: f64| plain_spaces(&words::energy(Joules::from_wh(wh)));
    wh.as_f64().map_or_else(|| "-".to_owned(), said)
}

/// The same, where it may be only a lower bound.
pub(super) fn energy_or_more(wh: &Value, is_at_least: &Value) -> String {
    let at_least = words::numbers::or_more(wh.is_number() && *is_at_least == true);
    format!("{at_least}{}", energy(wh))
}

/// A wall time of the record, short: `2026-05-16 07:30`, UTC.
pub(super) fn moment(value: &Value) -> String {
    let text = value.as_str().and_then(|text| text.get(..16));
    text.map_or_else(|| "time unknown".to_owned(), |text| text.replace('T', " "))
}

/// JSON with line breaks.
pub(super) fn pretty(value: &Value) -> String {
    format!("{value:#}\n")
}

/// Columns as wide as their widest entry, two spaces between.
pub(super) fn table(rows: &[Vec<String>]) -> String {
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
