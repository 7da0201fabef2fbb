//! Writes made-up outings quickly: a record as of a whole season, for whatever measures reading it.
//!
//! `many_outings FOLDER OUTINGS HOURS [open]`: so many outings of so many hours each on bank 'Blue ten',
//! rows of ten seconds with every channel, an activity said every half hour, a forecast every ten minutes.
//! With `open` the last one goes on.

use std::{path::PathBuf, process::ExitCode};

use history::{Change, Keep, Started, Trouble, Who, start};
use reckon::{
    bank::BankSpec,
    belief::last_end::StopHow,
    record::{
        Channel, ClockFix, ClockFrom, End, Ending, Event, EventKind, ForecastMade, Row, Stats,
    },
    snapshot::Basis,
    time::Mono,
};

/// 2024-03-09T08:00:00Z in milliseconds since 1970: the first outing begins.
const MORNING_MS: i64 = 1_709_971_200_000;
/// Entries that are handed over at once.
const TOGETHER: usize = 400;

/// A row in which every channel moves, so that it takes the room that real ones do.
fn row_at(from_s: f64) -> Row {
    let turn = |period: f64| (from_s % period) / period;
    let about = |mean: f64, below: f64, above: f64| {
        Some(Stats { mean, min: mean - below, max: mean + above })
    };
    let mut stats = [None; Channel::ALL.len()];
    for channel in Channel::ALL {
        stats[channel.ix()] = match channel {
            Channel::Volts => about(5.0 + turn(7000.0) / 10.0, 0.021, 0.013),
            Channel::Amps => about(0.6 + turn(310.0) / 5.0, 0.112, 0.431),
            Channel::Watts => about(3.1 + turn(310.0), 0.534, 2.113),
            Channel::Modelled => about(3.0 + turn(290.0), 0.3, 0.4),
            Channel::Counted => about(from_s / 3600.0 * 3.2, 0.004, 0.004),
            Channel::Busy => about(0.125 + turn(170.0) / 3.0, 0.05, 0.21),
            Channel::Temp => about(44.0 + turn(900.0) * 3.0, 0.3, 0.5),
            Channel::Level => about(1.0 - turn(90_000.0), 0.001, 0.001),
            Channel::OverRange => None,
        };
    }
    Row { from_s, span_s: 10.0, stats }
}

/// All that is kept of an outing which begins at its boot's zero and lasts so many hours.
fn outing(hours: u32, wall_ms: i64, open: bool) -> Vec<Change> {
    let lasted_s = f64::from(hours) * 3600.0;
    let mut all = vec![
        Change::OutingBegins {
            bank: Some("Blue ten".into()),
            name: None,
            start_share: Some(1.0),
            at_s: 0.0,
        },
        Change::Clock(ClockFix {
            at: Mono::at_s(1.0),
            wall_ms: wall_ms + 1000,
            within_ms: 500,
            from: ClockFrom::Synchronised,
        }),
    ];
    for k in 0..hours * 360 {
        let from_s = f64::from(k) * 10.0;
        if k % 180 == 0 {
            let text = if k % 360 == 0 { "Receive" } else { "Contacts" };
            let at = Mono::at_s(from_s);
            all.push(Change::Event(Event { at, kind: EventKind::Activity, text: text.into() }));
        }
        if k % 60 == 59 {
            let left_s = lasted_s - from_s;
            all.push(Change::Forecast(ForecastMade {
                at: Mono::at_s(from_s),
                remaining_s: [left_s * 0.9, left_s, left_s * 1.1],
                basis: Basis::Measured,
                delivered_wh: from_s / 3600.0 * 3.2,
                bridged_wh: 0.0,
                usable_wh: None,
            }));
        }
        all.push(Change::Row(row_at(from_s)));
    }
    if !open {
        let end = End { from_s: lasted_s, to_s: lasted_s, ending: Ending::SwitchedOff };
        all.push(Change::OutingEnds { outing: None, end });
    }
    all
}

fn keep_outing(started: Started, changes: &[Change], at_s: f64) -> Result<(), Trouble> {
    if let Some(trouble) = started.trouble {
        return Err(trouble);
    }
    for some in changes.chunks(TOGETHER) {
        started.writer.change(some.to_vec())?;
    }
    started.writer.stop(at_s, StopHow::Stopped)
}

pub(crate) fn write(
    folder: &std::path::Path,
    outings: u32,
    hours: u32,
    open: bool,
) -> Result<(), String> {
    let bank = BankSpec { name: "Blue ten".into(), ..BankSpec::common()[0].clone() };
    for k in 0..outings {
        let who =
            Who { boot_uuid: format!("made-up-{k}"), began_s: 0.0, version: "made up".into() };
        let started = start(Keep::here(folder.to_owned()), who, |_| {});
        let started = started.map_err(|cause| cause.to_string())?;
        let wall_ms = MORNING_MS + i64::from(k) * i64::from(hours + 6) * 3_600_000;
        let mut changes = outing(hours, wall_ms, open && k + 1 == outings);
        if k == 0 {
            changes.insert(0, Change::Bank(bank.clone()));
        }
        let kept = keep_outing(started, &changes, f64::from(hours) * 3600.0);
        kept.map_err(|trouble| trouble.to_string())?;
    }
    Ok(())
}

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let number = |k: usize| words.get(k).and_then(|word| word.parse::<u32>().ok());
    let (Some(folder), Some(outings), Some(hours)) =
        (words.first().map(PathBuf::from), number(1), number(2))
    else {
        eprintln!("usage: many_outings FOLDER OUTINGS HOURS [open]");
        return ExitCode::from(2);
    };
    let open = words.get(3).is_some_and(|word| word == "open");
    match write(&folder, outings, hours, open) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}
