//! Exports in pieces are what they would be in one, and a reading that nobody wants ends.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod support;

use std::sync::{
    Arc,
    atomic::{AtomicBool, Ordering},
};

use history::{Change, Reader, export};
use reckon::record::{Channel, Row, Stats};
use serde_json::Value;
use support::{Folder, give_rows, row_at, start};

/// Five hours in two boots with a gap in the first, rows of it thinned to five minutes.
fn two_boots(folder: &Folder) -> Reader {
    let begins =
        Change::OutingBegins { bank: None, name: None, start_share: Some(1.0), at_s: 100.0 };
    for (boot, from_s, to_s) in [("a", 100.0, 9_000.0), ("b", 50.0, 9_050.0)] {
        let (started, _states) = start(&folder.0, boot, from_s);
        let first = if boot == "a" {
            begins.clone()
        } else {
            Change::OutingGoesOn { outing: 1, at_s: from_s, off_before_s: Some(600.0) }
        };
        started.writer.change(vec![first]).unwrap();
        give_rows(&started, from_s, 3_000.0, row_at);
        // Nothing but the temperature, so that most columns have holes.
        give_rows(&started, 4_000.0, to_s, |from_s| {
            let mut stats = [None; Channel::ALL.len()];
            stats[Channel::Temp.ix()] = Some(Stats::one(44.0 + from_s % 7.0));
            Row { from_s, span_s: 10.0, stats }
        });
        started.writer.change(Vec::new()).unwrap();
    }
    let on = rusqlite::Connection::open(folder.file()).unwrap();
    // As thinning leaves it.
    on.execute("DELETE FROM fine WHERE id < (1 << 32) + 36000", []).unwrap();
    Reader::new(&folder.0)
}

fn pieces(all: Option<export::Pieces>) -> Vec<String> {
    all.unwrap().map(Result::unwrap).collect()
}

#[test]
fn json_in_pieces_is_what_serde_writes_of_the_rows() {
    let folder = Folder::new("export-json");
    let reader = two_boots(&folder);
    let all = pieces(export::json(&reader, 1).unwrap());
    assert!(all.iter().all(|piece| piece.len() < 64 * 1024));
    let text = all.concat();
    let value: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(value.to_string(), text, "order of members and spelling of numbers");
    let rows = reader.rows(1).unwrap();
    assert!(rows.iter().any(|row| row.span_s == 300.0) && rows.len() > 1000, "{}", rows.len());
    let number = |value: f64| Value::from((value * 1e6).round() / 1e6);
    let list = |pick: &dyn Fn(&Row) -> Value| Value::from_iter(rows.iter().map(pick));
    assert_eq!(value["t_s"], list(&|row| number(row.from_s)));
    assert_eq!(value["span_s"], list(&|row| number(row.span_s)));
    for channel in Channel::ALL {
        for (place, name) in ["mean", "min", "max"].into_iter().enumerate() {
            let three = |it: Stats| [it.mean, it.min, it.max];
            let of = |it: Stats| number(three(it)[place]);
            let want = list(&|row| row.get(channel).map_or(Value::Null, of));
            assert_eq!(value["channels"][channel.name()][name], want, "{channel:?} {name}");
        }
    }
}

#[test]
fn csv_in_pieces_has_every_row_once_and_is_of_one_moment() {
    let folder = Folder::new("export-csv");
    let reader = two_boots(&folder);
    let rows = reader.rows(1).unwrap();
    let mut all = export::csv(&reader, 1).unwrap().unwrap();
    let mut text = all.next().unwrap().unwrap();
    // What is written from here on belongs to another moment.
    let (started, _states) = start(&folder.0, "b", 9_050.0);
    give_rows(&started, 9_050.0, 9_250.0, row_at);
    started.writer.change(Vec::new()).unwrap();
    let rest: Vec<String> = all.map(Result::unwrap).collect();
    let lengths: Vec<usize> = rest.iter().map(String::len).collect();
    assert!(lengths.len() > 3 && lengths.iter().all(|it| *it < 100 * 1024), "{lengths:?}");
    text.extend(rest);
    let starts: Vec<f64> =
        text.lines().skip(1).map(|line| line.split(',').next().unwrap().parse().unwrap()).collect();
    let want: Vec<f64> = rows.iter().map(|row| (row.from_s * 1e6).round() / 1e6).collect();
    assert_eq!(starts, want);
}

#[test]
fn a_reading_that_nobody_wants_ends_in_trouble_at_once() {
    let folder = Folder::new("unwanted");
    let whole = two_boots(&folder);
    let gone = Arc::new(AtomicBool::new(false));
    let reader = whole.until(Arc::clone(&gone)).at_one_moment().unwrap();
    assert!(reader.outing(1).unwrap().is_some());
    let mut hours = reader.rows_by_hour(1, &Channel::ALL).unwrap();
    assert!(hours.next().unwrap().is_ok());
    gone.store(true, Ordering::Relaxed);
    assert!(hours.next().unwrap().is_err());
    assert!(reader.outing_whole(1).is_err());
    assert!(whole.outing_whole(1).unwrap().is_some(), "others read on");
}
