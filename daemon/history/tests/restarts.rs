//! Restarts of the daemon within one boot: the stretches of outings tile it, and what happened in it
//! belongs to exactly one outing.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod support;

use history::{Change, Reader, Started};
use reckon::{
    belief::last_end::{Rules, StopHow, ThisStart, judge_last_end},
    record::{CloseUp, End, Ending, Event, EventKind, ForecastMade, Second, SourceChange},
    snapshot::Basis,
    time::Mono,
};
use rusqlite::Connection;
use support::{Folder, draw_row, start};

fn begins(at_s: f64) -> Change {
    Change::OutingBegins { bank: None, name: None, start_share: Some(1.0), at_s }
}

fn mark(at_s: f64) -> Change {
    let text = format!("{at_s}");
    Change::Event(Event { at: Mono::at_s(at_s), kind: EventKind::Mark, text })
}

/// Starts in this boot as the daemon does: the outing that was open goes on.
fn go_on(folder: &Folder, at_s: f64) -> Started {
    let (started, _states) = start(&folder.0, "boot-a", at_s);
    let Some(before) = &started.before else {
        started.writer.change(vec![begins(at_s)]).unwrap();
        return started;
    };
    let this = ThisStart { boot_uuid: "boot-a".into(), at_s, wall_at_boot_ms: None };
    let told = judge_last_end(before, &this, &Rules::default());
    assert!(told.is_same_boot());
    let outing = before.outing.as_ref().unwrap().id;
    let goes_on = Change::OutingGoesOn { outing, at_s: told.from_s, off_before_s: Some(0.0) };
    started.writer.change(vec![goes_on]).unwrap();
    started
}

/// All that a kill leaves: the queue is gone before the mark of a clean end.
fn kill(started: Started) {
    started.writer.change(vec![]).unwrap();
    drop(started);
    std::thread::sleep(std::time::Duration::from_millis(20));
}

fn texts(reader: &Reader, outing: i64) -> Vec<String> {
    reader.events(outing).unwrap().into_iter().map(|event| event.text).collect()
}

#[test]
fn thirty_kills_in_one_boot_lose_no_mark_and_show_none_twice() {
    let folder = Folder::new("kills");
    let mut marks = Vec::new();
    let mut at_s = 100.0;
    for run in 0..30 {
        let started = go_on(&folder, at_s);
        // Every third run is so short that it leaves no row, as long as the card is slow.
        let lasts_s = if run % 3 == 0 { 6.0 } else { 27.0 };
        let mut row_s = (at_s / 10.0_f64).ceil() * 10.0;
        let end_s = at_s + lasts_s;
        while at_s < end_s {
            at_s += 1.0;
            if row_s + 10.0 <= at_s {
                started.writer.change(vec![Change::Row(draw_row(row_s, 3.0, 4.0))]).unwrap();
                row_s += 10.0;
            }
            marks.push(format!("{at_s}"));
            started.writer.change(vec![mark(at_s)]).unwrap();
        }
        assert_eq!(texts(&started.reader, 1), marks, "while run {run} is on");
        if run % 4 == 3 {
            started.writer.stop(at_s, StopHow::Stopped).unwrap();
        } else {
            kill(started);
        }
        // Nobody looks for a while.
        at_s += 3.0;
    }
    let reader = Reader::new(&folder.0);
    assert_eq!(texts(&reader, 1), marks);
    // In one boot the outing's own axis is boot time from its beginning on, whatever was restarted.
    for event in reader.events(1).unwrap() {
        let at_s: f64 = event.text.parse().unwrap();
        assert!((event.at.as_s() - (at_s - 100.0)).abs() < 1e-9, "{event:?}");
    }
    // A shared stretch would have been counted twice, a hole not at all.
    let lasted_s = reader.outing(1).unwrap().unwrap().lasted_s;
    assert!((at_s - 3.0 - 100.0 - lasted_s).abs() <= 17.0, "{lasted_s} of {}", at_s - 103.0);
    assert!(reader.off(1).unwrap().is_empty());
}

#[test]
fn what_happened_belongs_to_exactly_one_of_two_outings_in_a_boot() {
    let folder = Folder::new("two-outings");
    let started = go_on(&folder, 20.0);
    let at = |at_s: f64| {
        Change::Forecast(ForecastMade {
            at: Mono::at_s(at_s),
            remaining_s: [1.0, 2.0, 3.0],
            basis: Basis::Measured,
            delivered_wh: 0.0,
            bridged_wh: 0.0,
            usable_wh: None,
        })
    };
    let close_up = |from_s: f64| {
        Change::CloseUp(CloseUp {
            from_s,
            why: format!("{from_s}"),
            seconds: vec![Second::default(); 2],
        })
    };
    let all = |at_s: f64| vec![mark(at_s), at(at_s), close_up(at_s)];
    // The bank went at 60 and another came at 70.
    for at_s in [25.0, 60.0, 65.0] {
        started.writer.change(all(at_s)).unwrap();
    }
    let end = End { from_s: 60.0, to_s: 70.0, ending: Ending::Swapped };
    let ends = Change::OutingEnds { outing: None, end };
    started.writer.change(vec![ends, begins(70.0)]).unwrap();
    for at_s in [70.0, 75.0] {
        started.writer.change(all(at_s)).unwrap();
    }
    let pipe = |at_s: f64, gap: Option<&str>| {
        let gap = gap.map(str::to_owned);
        let (id, title) = ("ina".into(), "sensor".into());
        Change::Source(SourceChange { at: Mono::at_s(at_s), id, title, gap })
    };
    started.writer.change(vec![pipe(30.0, Some("silent")), pipe(66.0, None)]).unwrap();
    let reader = &started.reader;
    let said = |outing| {
        let ups: Vec<String> =
            reader.close_ups(outing).unwrap().into_iter().map(|one| one.why).collect();
        assert_eq!(ups, texts(reader, outing), "close-ups go with events");
        assert_eq!(reader.forecasts(outing).unwrap().len(), ups.len(), "so do forecasts");
        ups
    };
    assert_eq!(said(1), ["25", "60", "65"]);
    assert_eq!(said(2), ["70", "75"]);
    assert_eq!(reader.gaps(2).unwrap(), [], "the sensor was back before it began");
    // One that claims the boot from its first moment begins where the one before it ends.
    let end = End { from_s: 80.0, to_s: 80.0, ending: Ending::Swapped };
    let ends = Change::OutingEnds { outing: None, end };
    started.writer.change(vec![ends, begins(0.0), mark(81.0)]).unwrap();
    assert_eq!(said(1), ["25", "60", "65"]);
    assert_eq!(texts(reader, 2), ["70", "75"]);
    assert_eq!(texts(reader, 3), ["81"]);
}

#[test]
fn a_file_with_holes_and_overlaps_is_read_as_if_it_had_none() {
    let folder = Folder::new("old-file");
    let started = go_on(&folder, 100.0);
    let mut rows: Vec<Change> =
        (10..100).map(|k| Change::Row(draw_row(f64::from(k) * 10.0, 3.6, 4.0))).collect();
    rows.extend((100..1000).step_by(30).map(|at_s| mark(f64::from(at_s))));
    started.writer.change(rows).unwrap();
    kill(started);
    // As versions before this one left it: stretches that end with the last row on the card, some of
    // them empty, before holes; and a next outing that claims what was before it.
    let file = Connection::open(folder.file()).unwrap();
    file.execute_batch(
        "DELETE FROM span;
         INSERT INTO outing (id, began_boot, began_s) VALUES (2, 1, 0.0);
         UPDATE outing SET ending = 'swapped' WHERE id = 1;
         INSERT INTO span (outing, boot, from_s, to_s, off_before_s) VALUES
             (1, 1, 100.0, 300.0, NULL), (1, 1, 320.0, 320.0, 0.0), (1, 1, 350.0, 500.0, 0.0),
             (2, 1, 0.0, NULL, NULL);",
    )
    .unwrap();
    drop(file);
    let reader = Reader::new(&folder.0);
    let (first, second) = (texts(&reader, 1), texts(&reader, 2));
    assert_eq!(first.first().map(String::as_str), Some("100"));
    assert_eq!(first.last().map(String::as_str), Some("490"));
    assert_eq!(second.first().map(String::as_str), Some("520"));
    assert_eq!(first.len() + second.len(), 30, "each mark once: {first:?} {second:?}");
    let outing = |id| reader.outing(id).unwrap().unwrap();
    // 3.6 W are a thousandth of a watt-hour a second.
    assert_eq!(outing(2).lasted_s, 500.0);
    assert!((outing(2).energy_wh.unwrap() - 0.5).abs() < 1e-9, "{:?}", outing(2));
    assert_eq!(reader.rows(1).unwrap().len(), 40);
    assert_eq!(reader.rows(2).unwrap().len(), 50);
    assert_eq!(reader.rows(1).unwrap()[25].from_s, 250.0, "no hole on its axis");
}
