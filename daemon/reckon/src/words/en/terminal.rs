//! What commands print: tables, and what the pages say with buttons instead.

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

/// An outing that is open in a record that nobody writes.
pub const WAS_OPEN: &str = "It was still open when outlast last ran.";

/// Counts as a run-down: its number, and whether the bank cut out.
#[must_use]
pub fn counted(rundown: i64, whole: bool) -> String {
    let what = if whole { "a whole run-down" } else { "a run-down cut short" };
    format!("Counted as {what} (number {rundown}).")
}

/// So many stretches of the contact log, corrected at once.
#[must_use]
pub fn by_contacts(stretches: usize) -> String {
    match stretches {
        1 => "From the contact log: one stretch".to_string(),
        many => format!("From the contact log: {many} stretches"),
    }
}

/// Columns as wide as their widest entry, two spaces between, under a head.
#[must_use]
pub fn table<'a, const N: usize>(
    first: &'a str,
    head: &[&'a str; N],
    rows: impl Iterator<Item = (&'a str, &'a [String; N])>,
) -> String {
    let head: [String; N] = head.map(ToString::to_string);
    let lines: Vec<(&str, [String; N])> = core::iter::once((first, head))
        .chain(rows.map(|(name, cells)| (name, cells.clone())))
        .collect();
    let long = |text: &str| text.chars().count();
    let names = lines.iter().map(|(name, _)| long(name)).max().unwrap_or(0);
    let widths: [usize; N] = core::array::from_fn(|ix| {
        lines.iter().map(|(_, cells)| long(&cells[ix])).max().unwrap_or(0)
    });
    let mut said = String::new();
    for (name, cells) in &lines {
        let mut line = format!("  {name:<names$}");
        for (cell, width) in cells.iter().zip(widths) {
            line.push_str(&format!("  {cell:>width$}"));
        }
        said.push_str(line.trim_end());
        said.push('\n');
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_stand_under_one_another() {
        let row = ["12.4".to_string(), "3 h".to_string()];
        let said = table("Doing", &["Wh", "time"], core::iter::once(("Receive", &row)));
        assert_eq!(said, "  Doing      Wh  time\n  Receive  12.4   3 h\n");
    }
}
