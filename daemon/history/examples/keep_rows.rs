//! Writes made-up rows until somebody ends it: the victim of the tests that cut it short.
//!
//! `keep_rows FOLDER BOOT FROM_S ROWS [near]` says on its output what it has handed over (`gave T`)
//! and what has reached the card (`kept T`), T in seconds since boot. Time stands still while a
//! batch is due and not yet on the card, as it nearly does on a board.

use std::{io::Write, path::PathBuf, process::ExitCode, sync::mpsc};

use history::{Change, Keep, Who, start};
use reckon::{
    record::{Channel, CloseUp, Event, EventKind, LoggedContact, Row, Second, Stats},
    time::Mono,
};

/// What the row of this moment holds; whoever checks computes the same.
fn row_at(from_s: f64) -> Row {
    let mut stats = [None; Channel::ALL.len()];
    let volts = 5.0 + (from_s / 10.0) % 7.0 / 1000.0;
    stats[Channel::Volts.ix()] = Some(Stats { mean: volts, min: volts - 0.02, max: volts + 0.01 });
    stats[Channel::Watts.ix()] = Some(Stats { mean: 3.0, min: 2.5, max: 3.0 + from_s % 100.0 });
    stats[Channel::Busy.ix()] = Some(Stats::one(0.125));
    Row { from_s, span_s: 10.0, stats }
}

fn say(word: &str, at_s: f64) {
    let mut out = std::io::stdout().lock();
    // Nobody listening means that nobody checks: going on is right.
    let _ = writeln!(out, "{word} {at_s}");
    let _ = out.flush();
}

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let (Some(folder), Some(boot), Some(from_s), Some(rows)) = (
        words.first().map(PathBuf::from),
        words.get(1),
        words.get(2).and_then(|word| word.parse::<f64>().ok()),
        words.get(3).and_then(|word| word.parse::<u32>().ok()),
    ) else {
        eprintln!("usage: keep_rows FOLDER BOOT FROM_S ROWS [near]");
        return ExitCode::from(2);
    };
    let near = words.get(4).is_some_and(|word| word == "near");
    let who = Who { boot_uuid: boot.clone(), began_s: from_s, version: "test".into() };
    let (told, states) = mpsc::channel();
    let started = match start(Keep::here(folder), who, move |state| {
        let _ = told.send(state);
    }) {
        Ok(started) => started,
        Err(cause) => {
            eprintln!("{cause}");
            return ExitCode::FAILURE;
        }
    };
    if let Some(trouble) = started.trouble {
        eprintln!("{trouble}");
        return ExitCode::FAILURE;
    }
    let writer = started.writer;
    writer.pace(Some(if near { 1800.0 } else { 36_000.0 }));
    writer.give(Change::OutingBegins {
        bank: None,
        name: None,
        start_share: Some(1.0),
        at_s: from_s,
    });
    let batch = if near { 10.0 } else { 60.0 };
    let mut kept_s = from_s;
    for k in 0..rows {
        let row = row_at(from_s + f64::from(k) * 10.0);
        say("gave", row.to_s());
        writer.give(Change::Row(row));
        if k % 37 == 36 {
            let at = Mono::at_s(row.to_s());
            writer.give(Change::Event(Event { at, kind: EventKind::Mark, text: format!("{k}") }));
        }
        if k % 37 == 18 {
            // The same log over and over: two contacts in the same minute.
            let contact = LoggedContact { began_ms: 1_709_971_200_000, ..LoggedContact::default() };
            writer.give(Change::Contacts(vec![contact; 2]));
            let second = Second { volts: Some(5.0), watts: Some(3.0) };
            let why = "mark".into();
            let close_up = CloseUp { from_s: row.from_s, why, seconds: vec![second; 120] };
            writer.give(Change::CloseUp(close_up));
        }
        while row.to_s() - kept_s >= batch {
            let Ok(state) = states.recv() else { return ExitCode::FAILURE };
            if let Some(why) = state.stopped {
                eprintln!("{why}");
                return ExitCode::FAILURE;
            }
            if let Some(last_s) = state.last_s.filter(|last_s| *last_s > kept_s) {
                kept_s = last_s;
                say("kept", kept_s);
            }
        }
    }
    match writer.stop(from_s + f64::from(rows) * 10.0, reckon::belief::last_end::StopHow::Stopped) {
        Ok(()) => ExitCode::SUCCESS,
        Err(trouble) => {
            eprintln!("{trouble}");
            ExitCode::FAILURE
        }
    }
}
