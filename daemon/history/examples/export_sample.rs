//! Prints a made-up outing as CSV (or, with `json`, as JSON): the food of `tests/export/run`, which
//! reads it with a general data library.

use std::path::Path;

use history::{
    Entry, Keep, Who, export,
    row::{Channel, Event, EventKind, Fold, Row},
    start,
};
use reckon::time::Mono;

type Fault = Box<dyn std::error::Error>;

/// Two hours; from 1800 s to 2400 s the sensor is silent, and the board measures no level.
fn row(from_s: f64) -> Row {
    let mut folds = [None; Channel::ALL.len()];
    let fold = |mean: f64| Some(Fold { mean, min: mean * 0.9, max: mean * 1.25 });
    if !(1800.0..2400.0).contains(&from_s) {
        folds[Channel::Volts.ix()] = fold(5.02);
        folds[Channel::Amps.ix()] = fold(0.5 + from_s / 36_000.0);
        folds[Channel::Watts.ix()] = fold(2.51 + from_s / 7200.0);
    }
    folds[Channel::Busy.ix()] = fold(0.25);
    folds[Channel::Temp.ix()] = fold(-3.5);
    Row { from_s, span_s: 10.0, folds }
}

fn sample(folder: &Path, as_json: bool) -> Result<(), Fault> {
    let keep = Keep { every_s: 600.0, ..Keep::here(folder.to_path_buf()) };
    let who = Who { boot_uuid: "sample".into(), began_s: 0.0, version: "sample".into() };
    let started = start(keep, who, |_| ())?;
    let writer = started.writer;
    writer.change(vec![Entry::OutingBegins {
        bank: None,
        name: Some("Old quarry, in the cold".into()),
        start_share: Some(1.0),
        at_s: 0.0,
    }])?;
    for k in 0..720_u32 {
        while !writer.give(Entry::Row(row(f64::from(k) * 10.0))) {
            std::thread::yield_now();
        }
    }
    let mark = |at_s: f64, text: &str| {
        Entry::Event(Event { at: Mono::at_s(at_s), kind: EventKind::Mark, text: text.into() })
    };
    writer.change(vec![
        mark(605.0, "\"CQ\", twice,\r\nno answer"),
        mark(1207.0, "cold: \u{2212}3 °C"),
    ])?;
    let text =
        if as_json { export::json(&started.reader, 1)? } else { export::csv(&started.reader, 1)? };
    print!("{}", text.ok_or("there is no outing")?);
    writer.stop(7200.0, history::outings::StopHow::SwitchingOff)?;
    Ok(())
}

fn main() -> Result<(), Fault> {
    let folder = std::env::temp_dir().join(format!("outlast-sample-{}", std::process::id()));
    let done = sample(&folder, std::env::args().nth(1).as_deref() == Some("json"));
    std::fs::remove_dir_all(&folder)?;
    done
}
