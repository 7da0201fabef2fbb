//! What is kept beside the rows: contacts, corrections, folds, close-ups; and a record of the first
//! version brought up to it.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod support;

use history::{Change, FILE, Reader, Started, amend};
use reckon::{
    belief::last_end::StopHow,
    energy_tally::RegressionLine,
    record::{
        ClockFix, ClockFrom, CloseUp, End, Ending, Event, EventKind, LoadLine, LoggedContact,
        Origin, PeriodFold, PeriodFoldPart, Second,
    },
    time::{Mono, Wall},
    units::Share,
};
use rusqlite::Connection;
use support::{Folder, draw_row, give_rows, row_at, start};

/// 2024-03-09T08:00:00Z in milliseconds since 1970.
const MORNING_MS: i64 = 1_709_971_200_000;
const MINUTE_MS: i64 = 60_000;

fn begins(at_s: f64) -> Change {
    Change::OutingBegins { bank: None, name: None, start_share: None, at_s }
}

/// An export's pieces in one.
fn text(pieces: Result<Option<history::export::Pieces>, history::Trouble>) -> String {
    pieces.unwrap().unwrap().map(Result::unwrap).collect()
}

fn ends(at_s: f64) -> Change {
    let ending = Ending::Swapped;
    let end = End { from_s: at_s, to_s: at_s, ending };
    Change::OutingEnds { outing: None, end }
}

fn clock(at_s: f64, wall_ms: i64) -> Change {
    let (within_ms, from) = (500, ClockFrom::Synchronised);
    Change::Clock(ClockFix { at: Mono::at_s(at_s), wall_ms, within_ms, from })
}

fn contact(minutes: i64, band: Option<&str>, mode: Option<&str>) -> LoggedContact {
    LoggedContact {
        began_ms: MORNING_MS + minutes * MINUTE_MS,
        band: band.map(Into::into),
        mode: mode.map(Into::into),
        ..LoggedContact::default()
    }
}

/// The minutes of an outing's contacts.
fn minutes(reader: &Reader, outing: i64) -> Vec<i64> {
    let found = reader.contacts(outing).unwrap().contacts;
    found.iter().map(|placed| (placed.contact.began_ms - MORNING_MS) / MINUTE_MS).collect()
}

/// An hour in one boot that began at [`MORNING_MS`].
fn an_hour(folder: &Folder) -> Started {
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    started.writer.change(vec![begins(0.0), clock(10.0, MORNING_MS + 10_000)]).unwrap();
    give_rows(&started, 0.0, 3600.0, row_at);
    started.writer.change(vec![]).unwrap();
    started
}

#[test]
fn the_same_log_again_adds_nothing_and_a_longer_one_only_what_is_new() {
    let folder = Folder::new("same-log");
    let started = an_hour(&folder);
    // Two stations in the same minute of a log in whole minutes; one without band and mode.
    let mut log = vec![
        contact(5, Some("20m"), Some("SSB")),
        contact(5, Some("20m"), Some("SSB")),
        contact(5, Some("40m"), Some("SSB")),
        contact(9, None, None),
        contact(9, None, None),
    ];
    for _ in 0..3 {
        started.writer.change(vec![Change::Contacts(log.clone())]).unwrap();
        assert_eq!(minutes(&started.reader, 1), [5, 5, 5, 9, 9]);
    }
    // The log goes on; an end that was missing is filled in, and the order is another.
    log.insert(0, contact(12, Some("20m"), None));
    log[1].ended_ms = Some(log[1].began_ms + MINUTE_MS);
    started.writer.change(vec![Change::Contacts(log.clone())]).unwrap();
    let all = started.reader.contacts(1).unwrap();
    assert_eq!((all.undated_s, all.within_s), (None, 0.5));
    let found: Vec<LoggedContact> = all.contacts.into_iter().map(|placed| placed.contact).collect();
    log.rotate_left(1);
    assert_eq!(found, log);
    // Calls are there once they were asked for, and the contacts are still the same.
    for row in &mut log {
        row.with_call = Some("N0CALL".into());
    }
    started.writer.change(vec![Change::Contacts(log.clone())]).unwrap();
    let all = started.reader.contacts(1).unwrap().contacts;
    assert_eq!(all.len(), 6);
    assert!(all.iter().all(|placed| placed.contact.with_call.as_deref() == Some("N0CALL")));
    assert_eq!((all[0].t_s, all[5].t_s), (300.0, 720.0));
    // The JSON has them with their times, and without the calls: whoever may look may have it.
    let json = text(history::export::json(&started.reader, 1));
    assert!(!json.contains("N0CALL"));
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let first = &json["contacts"]["list"][0];
    assert_eq!((&first["t_s"], &first["band"]), (&300.0.into(), &"20m".into()));
    assert_eq!(first["began_at"], "2024-03-09T08:05:00Z");
    assert!(json["contacts"]["undated_s"].is_null());
    // A log that was read wrongly is taken back.
    started.writer.change(vec![Change::ContactsForgotten { outing: 1 }]).unwrap();
    assert_eq!(minutes(&started.reader, 1), [0; 0]);
}

#[test]
fn a_contact_that_two_programs_wrote_counts_once() {
    let folder = Folder::new("two-programs");
    let started = an_hour(&folder);
    let at = |minute: i64, second: i64, mode: Option<&str>| LoggedContact {
        began_ms: MORNING_MS + minute * MINUTE_MS + second * 1000,
        ..contact(0, Some("20m"), mode)
    };
    // One program's log in whole minutes, the other's with seconds (ADIF 3.1.6, data type Time).
    let minutes_log = [at(5, 0, Some("FT8")), at(6, 0, None), at(6, 0, Some("CW"))];
    let seconds_log =
        [at(5, 12, Some("FT8")), at(5, 42, Some("FT8")), at(6, 30, Some("FT8")), at(7, 1, None)];
    let count = || started.reader.contacts(1).unwrap().contacts.len();
    for logs in [[&minutes_log[..], &seconds_log], [&seconds_log, &minutes_log]] {
        for log in logs {
            started.writer.change(vec![Change::Contacts(log.to_vec())]).unwrap();
        }
        // 05, 05 once more, 06 FT8, 06 CW, 07.
        assert_eq!(count(), 5);
    }
    let told = started.reader.contacts(1).unwrap().contacts;
    assert!(told.iter().any(|one| one.contact.mode.as_deref() == Some("FT8")
        && one.contact.began_ms == MORNING_MS + 6 * MINUTE_MS));
}

#[test]
fn a_contact_belongs_to_the_outing_of_its_minute() {
    let folder = Folder::new("placed");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    // Boot at 08:00; the first outing 08:10 to 08:30:20, the second from then on.
    started.writer.change(vec![clock(0.0, MORNING_MS), begins(600.0)]).unwrap();
    give_rows(&started, 600.0, 1820.0, row_at);
    started.writer.change(vec![ends(1820.0), begins(1820.0)]).unwrap();
    give_rows(&started, 1820.0, 3600.0, row_at);
    let log = [8, 9, 10, 29, 30, 31, 59, 61, 63].map(|minute| contact(minute, None, None));
    started.writer.change(vec![Change::Contacts(log.to_vec())]).unwrap();
    // 08:09 may be any moment till 08:09:59.9 and the clock half a second off: just outside is
    // let in. 08:30 began before the swap as far as anybody knows. What is newer than the last
    // row, by less than two batches, is still part of what goes on.
    assert_eq!(minutes(&started.reader, 1), [9, 10, 29, 30]);
    assert_eq!(minutes(&started.reader, 2), [31, 59, 61]);
    assert_eq!(started.reader.contacts(1).unwrap().contacts[0].t_s, -60.0);
    // The clock is put right by ten minutes: the contacts are laid anew.
    started.writer.change(vec![clock(3600.0, MORNING_MS + 3_600_000 - 600_000)]).unwrap();
    assert_eq!(minutes(&started.reader, 1), [8, 9, 10]);
    assert_eq!(minutes(&started.reader, 2), [29, 30, 31]);
}

#[test]
fn without_a_wall_time_nothing_is_placed_and_that_is_told_apart() {
    let folder = Folder::new("undated");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    started.writer.change(vec![begins(0.0)]).unwrap();
    give_rows(&started, 0.0, 1800.0, row_at);
    started.writer.change(vec![Change::Contacts(vec![contact(5, None, None)])]).unwrap();
    let found = started.reader.contacts(1).unwrap();
    assert_eq!((found.contacts.len(), found.undated_s), (0, Some(1800.0)));
    // The clock is learned late: what was kept finds its place.
    started.writer.change(vec![clock(1800.0, MORNING_MS + 1_800_000)]).unwrap();
    assert_eq!(minutes(&started.reader, 1), [5]);
    started.writer.stop(1800.0, StopHow::Restarting).unwrap();
    // The outing goes on in a boot that never learns the time.
    let (started, _states) = start(&folder.0, "boot-b", 0.0);
    let goes_on = Change::OutingGoesOn { outing: 1, at_s: 0.0, off_before_s: Some(60.0) };
    started.writer.change(vec![goes_on]).unwrap();
    give_rows(&started, 0.0, 600.0, row_at);
    started.writer.change(vec![]).unwrap();
    let found = started.reader.contacts(1).unwrap();
    assert_eq!((found.contacts.len(), found.undated_s), (1, Some(600.0)));
}

#[test]
fn a_log_of_many_years_is_not_copied() {
    let folder = Folder::new("years");
    let started = an_hour(&folder);
    let day = 24 * 60;
    let mut log: Vec<LoggedContact> =
        (1..20_000).map(|k| contact(-k * day / 2, Some("20m"), Some("CW"))).collect();
    log.push(contact(5, Some("20m"), Some("CW")));
    started.writer.change(vec![Change::Contacts(log)]).unwrap();
    let copy = folder.0.join("copy.db");
    started.reader.copy_whole(&copy).unwrap();
    let kept: i64 = Connection::open(copy)
        .unwrap()
        .query_row("SELECT count(*) FROM contact", [], |row| row.get(0))
        .unwrap();
    assert!((1..5).contains(&kept), "{kept} contacts kept of a log that began before the record");
    assert_eq!(minutes(&started.reader, 1), [5]);
}

fn doing(from_s: f64, to_s: f64, activity: Option<&str>) -> Change {
    let (activity, origin) = (activity.map(Into::into), Origin::Operator);
    Change::Correction { outing: 1, from_s, to_s, activity, origin }
}

#[test]
fn corrections_over_several_boots_come_back_as_they_were_entered() {
    let folder = Folder::new("doing");
    let (started, _states) = start(&folder.0, "boot-a", 100.0);
    started.writer.change(vec![begins(100.0)]).unwrap();
    give_rows(&started, 100.0, 1100.0, row_at);
    started.writer.stop(1100.0, StopHow::Restarting).unwrap();
    let (started, _states) = start(&folder.0, "boot-b", 20.0);
    let goes_on = Change::OutingGoesOn { outing: 1, at_s: 20.0, off_before_s: Some(500.0) };
    started.writer.change(vec![goes_on]).unwrap();
    give_rows(&started, 20.0, 1020.0, row_at);
    // On the outing's axis: first boot 0 to 1000, off till 1500, second boot till 2500.
    started
        .writer
        .change(vec![
            doing(200.0, 2000.0, Some("Contacts")),
            doing(1100.0, 1400.0, Some("nobody was there")),
            doing(900.0, 1600.0, None),
            doing(2400.0, 2590.0, Some("Logging")),
            doing(-50.0, 10.0, Some("Logging")),
            doing(f64::NAN, 10.0, None),
            doing(5.0, f64::INFINITY, None),
            doing(700.0, 600.0, None),
        ])
        .unwrap();
    let tell = || -> Vec<(f64, f64, Option<String>)> {
        let all = started.reader.corrections(1).unwrap();
        all.into_iter().map(|doing| (doing.from_s, doing.to_s, doing.activity)).collect()
    };
    let all = tell();
    let name = |name: &str| Some(name.to_string());
    assert_eq!(
        all,
        [
            (200.0, 2000.0, name("Contacts")),
            (900.0, 1600.0, None),
            (2400.0, 2590.0, name("Logging")),
            (0.0, 10.0, name("Logging")),
        ]
    );
    let json = text(history::export::json(&started.reader, 1));
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(
        (&json["doings"][1]["from_s"], &json["doings"][1]["activity"]),
        (&900.0.into(), &serde_json::Value::Null)
    );
    assert_eq!(json["doings"][0]["origin"], "operator");
    let first = started.reader.corrections(1).unwrap()[0].clone();
    assert_eq!(first.origin, Origin::Operator);
    started.writer.change(vec![Change::CorrectionForgotten { id: first.id }]).unwrap();
    assert_eq!(tell(), all[1..]);
    // In the file the times are those of the boots.
    let copy = folder.0.join("copy.db");
    started.reader.copy_whole(&copy).unwrap();
    let (boot, from_s, to_s): (i64, f64, f64) = Connection::open(copy)
        .unwrap()
        .query_row(
            "SELECT boot, from_s, to_s FROM doing WHERE activity IS NULL ORDER BY boot DESC LIMIT 1",
            [],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )
        .unwrap();
    assert_eq!((boot, from_s, to_s), (2, 20.0, 120.0));
}

fn a_fold(from_s: f64) -> PeriodFold {
    let part = PeriodFoldPart {
        energy_j: 3000.5,
        watts: 10.25,
        begins_s: 0.5,
        lasts_s: 12.64,
        bridged: false,
    };
    PeriodFold {
        from_s,
        to_s: from_s + 3600.0,
        seconds: 3598.0,
        period_s: 30.0,
        slot_s: 15.0,
        mode: Some("FT8 or JS8".into()),
        chance: 1e-9,
        sent: 42,
        slots: 240,
        energy_j: 15_000.0,
        receive_j: 11_500.25,
        transmit: Some(part),
        decode: Some(PeriodFoldPart { energy_j: 499.25, bridged: true, ..part }),
        curve: (0..60).map(|k| (f64::from(k) / 2.0, f64::from(3000 + k % 7) / 1000.0)).collect(),
    }
}

fn a_close_up(from_s: f64) -> CloseUp {
    let seconds = (0..120)
        .map(|k| Second {
            volts: (k != 60).then(|| f64::from(5000 - k % 9) / 1000.0),
            watts: (k > 3).then(|| f64::from(3000 + k) / 1000.0),
        })
        .collect();
    CloseUp { from_s, why: "undervoltage; mark: \"fan on\"".into(), seconds }
}

#[test]
fn folds_and_close_ups_come_back_as_they_were() {
    let folder = Folder::new("folds");
    let (started, _states) = start(&folder.0, "boot-a", 100.0);
    started.writer.change(vec![begins(100.0)]).unwrap();
    give_rows(&started, 100.0, 7300.0, row_at);
    let bare = PeriodFold { mode: None, transmit: None, decode: None, ..a_fold(3700.0) };
    // A number that is none would make the whole batch fail, and every later one with it.
    let broken = PeriodFold { chance: f64::NAN, ..a_fold(100.0) };
    let told = [a_fold(100.0), bare.clone(), broken].map(Change::Fold);
    let ring = [a_close_up(40.0), a_close_up(2000.0)].map(Change::CloseUp);
    started.writer.change(told.into_iter().chain(ring).collect()).unwrap();
    let shifted = |fold: &PeriodFold| PeriodFold {
        from_s: fold.from_s - 100.0,
        to_s: fold.to_s - 100.0,
        ..fold.clone()
    };
    assert_eq!(
        started.reader.folds(1).unwrap(),
        [shifted(&a_fold(100.0)), shifted(&bare)],
        "times since the outing began, nothing else changed"
    );
    // A fit goes on: what stood of the same stretch is replaced, and nothing told is kept as such.
    let line = |slope| RegressionLine {
        intercept: 2.61,
        slope,
        slope_se: 0.05,
        intercept_se: 0.02,
        explained: Share::nearest(0.8),
        pairs: 41.0,
    };
    let fit = |from_s, to_s, line| LoadLine { from_s, to_s, line };
    let broken = fit(4000.0, 7000.0, Some(line(f64::NAN)));
    let fits = [
        fit(110.0, 1000.0, None),
        fit(110.0, 3000.0, Some(line(3.4))),
        fit(3100.0, 3200.0, None),
        broken,
    ];
    started.writer.change(fits.map(Change::LoadLine).to_vec()).unwrap();
    let kept = started.reader.outing_whole(1).unwrap().unwrap().loads;
    let want =
        [fit(10.0, 2900.0, Some(line(3.4))), fit(3000.0, 3100.0, None), fit(3900.0, 6900.0, None)];
    assert_eq!(kept, want);
    let ups = started.reader.close_ups(1).unwrap();
    assert_eq!(
        ups,
        [-60.0, 1900.0].map(|from_s| CloseUp { from_s, ..a_close_up(0.0) }),
        "the first began before the outing and reaches into it"
    );
    // The minute after comes as a part without a reason; a hole makes it another.
    let mut after = CloseUp { from_s: 2120.004, why: String::new(), ..a_close_up(0.0) };
    after.seconds.truncate(60);
    let apart = CloseUp { from_s: 2181.0, why: "mark".into(), ..after.clone() };
    started.writer.change(vec![Change::CloseUp(after), Change::CloseUp(apart)]).unwrap();
    let ups = started.reader.close_ups(1).unwrap();
    let told: Vec<(usize, &str)> =
        ups.iter().map(|up| (up.seconds.len(), up.why.as_str())).collect();
    let why = "undervoltage; mark: \"fan on\"";
    assert_eq!(told, [(120, why), (180, why), (60, "mark")]);
    // As CSV (RFC 4180: quotes doubled in a quoted field, lines end in CRLF; an empty field is a gap).
    let csv = text(history::export::close_ups(&started.reader, 1));
    let lines: Vec<&str> = csv.split_terminator("\r\n").collect();
    assert_eq!((lines[0], lines.len()), ("t_s,volts_v,power_w,why", 1 + 120 + 180 + 60));
    assert_eq!(lines[1], "-60,5,,\"undervoltage; mark: \"\"fan on\"\"\"");
    assert!(lines[121 + 60].starts_with("1960,,3.06,"), "{}", lines[121 + 60]);
    assert!(csv.ends_with(",mark\r\n"));
    assert!(history::export::close_ups(&started.reader, 99).unwrap().is_none());
    let json = text(history::export::json(&started.reader, 1));
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["folds"][0]["transmit"]["power_w"], 10.25);
    assert!(json["folds"][1]["transmit"].is_null());
    // Any SQLite tool reads the seconds in a copy, and parts and whole of a fold agree.
    let copy = folder.0.join("copy.db");
    started.reader.copy_whole(&copy).unwrap();
    let plain = Connection::open(copy).unwrap();
    let (at_s, volts, watts): (f64, Option<f64>, Option<f64>) = plain
        .query_row(
            "SELECT at_s, volts_v, power_w FROM close_up_seconds WHERE close_up = 2
             ORDER BY at_s LIMIT 1 OFFSET 60",
            [],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )
        .unwrap();
    assert_eq!((at_s, volts, watts), (2060.0, None, Some(3.06)));
    let off: f64 = plain
        .query_row(
            "SELECT max(abs(energy_j - receive_j - transmit_j - decode_j)) FROM fold
             WHERE transmit_j IS NOT NULL",
            [],
            |row| row.get(0),
        )
        .unwrap();
    assert!(off < 1e-6, "{off}");
}

/// A file as the first version made it: its own statements, not those of today.
fn first_version(folder: &Folder) {
    let old = Connection::open(folder.0.join(FILE)).unwrap();
    old.execute_batch("PRAGMA page_size = 1024; PRAGMA journal_mode = WAL;").unwrap();
    old.execute_batch(include_str!("../src/schema.sql")).unwrap();
    old.execute_batch(
        "PRAGMA application_id = 0x4F4C5354; PRAGMA user_version = 1;
         INSERT INTO boot VALUES (1, 'boot-a', 1709971200000, 500, 'synchronised');
         INSERT INTO run VALUES (1, 1, 0, 60, 'switching_off', '0.1.0');
         INSERT INTO bank (name, cells, series, label_ah, label_v, measured_at)
             VALUES ('Blue ten', 'li-ion', 1, 10, 3.7, 'output');
         INSERT INTO outing (bank, name, began_boot, began_s, ended_boot, ended_s, ended_by_s,
             ending, lasted_s) VALUES (1, 'Ridge above the reservoir', 1, 0, 1, 60, 60,
             'switched_off', 60);
         INSERT INTO span (outing, boot, bank, from_s, to_s) VALUES (1, 1, 1, 0, 60);
         INSERT INTO fine VALUES (4294967296, 100, 6, 60,
             '{\"w\":[3000,0,0,3000,0,0,3000,0,0,3000,0,0,3000,0,0,3000,500,900]}');
         INSERT INTO event (boot, at_s, kind, text) VALUES (1, 30, 'mark', 'moved the antenna');",
    )
    .unwrap();
}

fn as_it_was(reader: &Reader) {
    let outing = reader.outing(1).unwrap().unwrap();
    assert_eq!(outing.name.as_deref(), Some("Ridge above the reservoir"));
    assert_eq!((outing.began.map(Wall::unix_ms), outing.lasted_s), (Some(MORNING_MS), 60.0));
    let rows = reader.rows(1).unwrap();
    assert_eq!((rows.len(), rows[5].draw_w().unwrap().max), (6, 3.9));
    let mark =
        Event { at: Mono::at_s(30.0), kind: EventKind::Mark, text: "moved the antenna".into() };
    assert_eq!(reader.events(1).unwrap(), [mark]);
}

#[test]
fn a_record_of_the_first_version_is_read_as_it_is_and_brought_up_to_date() {
    let folder = Folder::new("first");
    first_version(&folder);
    // Reading alone brings nothing up to date, and what came later is simply not there.
    let reader = Reader::new(&folder.0);
    as_it_was(&reader);
    let found = reader.contacts(1).unwrap();
    assert_eq!((found.contacts.len(), found.undated_s), (0, None));
    assert!(reader.corrections(1).unwrap().is_empty());
    assert!(reader.folds(1).unwrap().is_empty() && reader.close_ups(1).unwrap().is_empty());
    assert!(reader.outing_whole(1).unwrap().unwrap().loads.is_empty());
    let copy = folder.0.join("record-before-version-2-1.db");
    assert!(!copy.exists());

    let (started, _states) = start(&folder.0, "boot-b", 0.0);
    assert!(started.trouble.is_none() && started.set_aside.is_empty(), "{started:?}");
    as_it_was(&started.reader);
    let kept: String = Connection::open(&copy)
        .unwrap()
        .query_row("SELECT text FROM event", [], |row| row.get(0))
        .unwrap();
    assert_eq!(kept, "moved the antenna", "the copy kept aside holds what was there");
    started
        .writer
        .change(vec![
            Change::Contacts(vec![contact(0, Some("20m"), Some("CW"))]),
            doing(10.0, 40.0, Some("Contacts")),
            begins(0.0),
        ])
        .unwrap();
    assert_eq!(minutes(&started.reader, 1), [0], "earlier outings take them too");
    assert_eq!(started.reader.corrections(1).unwrap().len(), 1);
    give_rows(&started, 0.0, 600.0, |at| draw_row(at, 3.0, 4.0));
    started.writer.stop(600.0, StopHow::SwitchingOff).unwrap();
    assert_eq!(Reader::new(&folder.0).check().unwrap(), "ok");

    // And while no daemon runs.
    let log = vec![contact(0, Some("20m"), Some("CW")), contact(0, Some("40m"), Some("CW"))];
    amend(&folder.0, &[Change::Contacts(log), doing(0.0, 5.0, None)]).unwrap();
    let reader = Reader::new(&folder.0);
    assert_eq!(minutes(&reader, 1), [0, 0]);
    assert_eq!(reader.corrections(1).unwrap().len(), 2);
}
