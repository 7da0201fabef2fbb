//! What the record tells of boots, outings, banks and clocks.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod support;

use history::{Change, Keep};
use reckon::{
    bank::{BankSpec, Cells, MeasuredAt},
    belief::last_end::{Ended, Rules, StopHow, ThisStart, at_start, judge_last_end},
    record::{
        Channel, ClockFix, ClockFrom, End, Ending, Event, EventKind, ForecastMade, OutingPlan,
        PlannedStretch, RunDown, SeriesAsk, SourceChange, Stretch,
    },
    snapshot::Basis,
    time::{Mono, Wall},
    units::{AmpHours, Volts},
};
use support::{Folder, draw_row, give_rows, row_at, start, start_in, wait};

/// 2024-03-09T08:00:00Z in milliseconds since 1970.
const MORNING_MS: i64 = 1_709_971_200_000;
const TEN_YEARS_MS: i64 = 3653 * 86_400_000;

fn blue_ten() -> BankSpec {
    BankSpec {
        name: "Blue ten".into(),
        cells: Cells::LiIon,
        series: 1,
        label: AmpHours::of(10.0),
        label_volts: Volts::of(3.7),
        measured_at: MeasuredAt::Output,
        ambient: None,
        cutoff: None,
    }
}

fn begins(bank: Option<&str>, at_s: f64) -> Change {
    Change::OutingBegins { bank: bank.map(Into::into), name: None, start_share: Some(1.0), at_s }
}

fn clock(at_s: f64, wall_ms: i64, from: ClockFrom) -> Change {
    Change::Clock(ClockFix { at: Mono::at_s(at_s), wall_ms, within_ms: 100, from })
}

fn crash(started: history::Started) {
    // The queue is gone before the clean mark: all that a kill would leave.
    started.writer.change(vec![]).unwrap();
    drop(started);
    std::thread::sleep(std::time::Duration::from_millis(50));
}

#[test]
fn an_outing_over_three_boots() {
    let folder = Folder::new("boots");
    let (started, _states) = start(&folder.0, "boot-a", 10.0);
    assert_eq!(started.before, None);
    started.writer.change(vec![Change::Bank(blue_ten()), begins(Some("Blue ten"), 10.0)]).unwrap();
    started.writer.change(vec![Change::OutingNamed("Ridge above the reservoir".into())]).unwrap();
    give_rows(&started, 10.0, 3610.0, |at| draw_row(at, 3.0, 4.0));
    started.writer.stop(3610.0, StopHow::Restarting).unwrap();

    let (started, _states) = start(&folder.0, "boot-b", 20.0);
    let before = started.before.clone().unwrap();
    let this = ThisStart { boot_uuid: "boot-b".into(), at_s: 20.0, wall_at_boot_ms: None };
    let told = judge_last_end(&before, &this, &Rules::default());
    assert_eq!(told.ended, Ended::Restarted);
    assert!(at_start(&before, &told).goes_on);
    let open = before.outing.unwrap();
    assert_eq!(open.bank.as_deref(), Some("Blue ten"));
    assert!((open.lasted_s - 3600.0).abs() < 1e-6);
    assert!((open.energy_wh - 3.0).abs() < 1e-6, "an hour at 3 W: {}", open.energy_wh);
    let outing = open.id;
    started
        .writer
        .change(vec![Change::OutingGoesOn { outing, at_s: 20.0, off_before_s: Some(40.0) }])
        .unwrap();
    give_rows(&started, 20.0, 1820.0, |at| {
        draw_row(at, 6.0, if at == 1000.0 { 25.0 } else { 7.0 })
    });
    crash(started);

    // The daemon crashed and comes back in the same boot; then the power goes.
    let (started, _states) = start(&folder.0, "boot-b", 1830.0);
    let before = started.before.clone().unwrap();
    let this = ThisStart { boot_uuid: "boot-b".into(), at_s: 1830.0, wall_at_boot_ms: None };
    let told = judge_last_end(&before, &this, &Rules::default());
    assert_eq!((told.ended, told.from_s, told.to_s), (Ended::DaemonCrashed, 1820.0, 1830.0));
    started
        .writer
        .change(vec![Change::OutingGoesOn { outing, at_s: 1830.0, off_before_s: Some(0.0) }])
        .unwrap();
    started.writer.pace(Some(600.0));
    give_rows(&started, 1830.0, 2430.0, |at| draw_row(at, 6.0, 7.0));
    crash(started);

    let (started, _states) = start(&folder.0, "boot-c", 15.0);
    let before = started.before.clone().unwrap();
    let this = ThisStart { boot_uuid: "boot-c".into(), at_s: 15.0, wall_at_boot_ms: None };
    let told = judge_last_end(&before, &this, &Rules::default());
    let Ended::PowerLost { died } = told.ended else { panic!("{told:?}") };
    assert_eq!(
        (told.from_s, told.to_s),
        (2430.0, 2442.0),
        "ten seconds, and the commit's own time"
    );
    let end = End { from_s: told.from_s, to_s: told.to_s, ending: Ending::PowerLost { died } };
    started.writer.change(vec![Change::OutingEnds { outing: Some(outing), end }]).unwrap();

    let found = started.reader.outing(outing).unwrap().unwrap();
    assert_eq!(found.name.as_deref(), Some("Ridge above the reservoir"));
    assert_eq!(found.bank.as_deref(), Some("Blue ten"));
    assert_eq!(found.ended_within_s, Some(12.0));
    // The ten seconds between the crash and the start were on, too: bridged at what was drawn about then.
    assert!((found.lasted_s - (3600.0 + 1800.0 + 600.0 + 10.0)).abs() < 1e-6, "{found:?}");
    let energy = 3.0 + 6.0 * 2410.0 / 3600.0;
    assert!((found.energy_wh.unwrap() - energy).abs() < 1e-6, "{:?}", found.energy_wh);
    assert!((found.bridged_wh.unwrap() - 6.0 * 10.0 / 3600.0).abs() < 1e-6, "{found:?}");
    assert_eq!(found.peak_power_w, Some(25.0));
    assert_eq!(found.began.map(Wall::unix_ms), None, "no clock was believed: no date is made up");
    started.writer.change(vec![Change::Answered { outing, died: true }]).unwrap();
    assert_eq!(started.reader.outing(outing).unwrap().unwrap().ending, Ending::Died);
}

#[test]
fn wall_time_comes_late_counts_backwards_and_changes_no_duration() {
    for jump_ms in [0, TEN_YEARS_MS, -TEN_YEARS_MS] {
        let folder = Folder::new("clock");
        let (started, _states) = start(&folder.0, "boot-a", 0.0);
        started.writer.change(vec![begins(None, 0.0)]).unwrap();
        give_rows(&started, 0.0, 3600.0, row_at);
        // A phone tells the time after half an hour; the clock is synchronised, perhaps to another
        // decade, after 50 minutes.
        started.writer.give(clock(1800.0, MORNING_MS + 1_800_000, ClockFrom::Phone));
        started.writer.give(clock(
            3000.0,
            MORNING_MS + 3_000_000 + jump_ms,
            ClockFrom::Synchronised,
        ));
        // A phone that disagrees afterwards is not believed over the kernel.
        started.writer.give(clock(3300.0, 42, ClockFrom::Phone));
        let end = End { from_s: 3600.0, to_s: 3600.0, ending: Ending::SwitchedOff };
        started.writer.change(vec![Change::OutingEnds { outing: None, end }]).unwrap();
        let found = started.reader.outings(None, 1).unwrap().items.remove(0);
        assert_eq!(
            found.began.map(Wall::unix_ms),
            Some(MORNING_MS + jump_ms),
            "dated back to its beginning"
        );
        assert_eq!(found.ended.map(Wall::unix_ms), Some(MORNING_MS + jump_ms + 3_600_000));
        assert_eq!(found.lasted_s, 3600.0);
        let series = started
            .reader
            .series(&SeriesAsk {
                of: Stretch::Outing { id: found.id, from_s: 0.0, to_s: f64::INFINITY },
                channels: vec![Channel::Volts],
                points: 360,
            })
            .unwrap();
        assert_eq!(series.t_s.len(), 360);
        assert!(series.channels[0].1.iter().all(Option::is_some));
    }
}

#[test]
fn two_boots_with_the_same_wall_time_stay_two() {
    let folder = Folder::new("same-time");
    for boot in ["boot-a", "boot-b"] {
        let (started, _states) = start(&folder.0, boot, 0.0);
        started
            .writer
            .change(vec![begins(None, 0.0), clock(5.0, MORNING_MS, ClockFrom::Synchronised)])
            .unwrap();
        give_rows(&started, 0.0, 600.0, row_at);
        let end = End { from_s: 600.0, to_s: 600.0, ending: Ending::SwitchedOff };
        started.writer.change(vec![Change::OutingEnds { outing: None, end }]).unwrap();
        started.writer.stop(600.0, StopHow::SwitchingOff).unwrap();
    }
    let (started, _states) = start(&folder.0, "boot-c", 0.0);
    let page = started.reader.outings(None, 10).unwrap();
    assert_eq!(page.items.len(), 2);
    for outing in &page.items {
        assert_eq!(
            (outing.began.map(Wall::unix_ms), outing.lasted_s),
            (Some(MORNING_MS - 5000), 600.0)
        );
        assert_eq!(started.reader.rows(outing.id).unwrap().len(), 60);
    }
}

#[test]
fn lists_come_in_pages_newest_first() {
    let folder = Folder::new("pages");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    for k in 0..7 {
        let at_s = f64::from(k) * 100.0;
        let end = End { from_s: at_s + 50.0, to_s: at_s + 50.0, ending: Ending::Swapped };
        started
            .writer
            .change(vec![begins(None, at_s), Change::OutingEnds { outing: None, end }])
            .unwrap();
    }
    let mut seen = Vec::new();
    let mut before = None;
    loop {
        let page = started.reader.outings(before, 3).unwrap();
        assert!(page.items.len() <= 3);
        seen.extend(page.items.iter().map(|outing| outing.id));
        before = page.next;
        if before.is_none() {
            break;
        }
    }
    assert_eq!(seen, [7, 6, 5, 4, 3, 2, 1]);
}

#[test]
fn peaks_are_never_hidden_whatever_the_number_of_points() {
    let folder = Folder::new("peaks");
    let keep = Keep { every_s: 600.0, every_near_s: 600.0, ..Keep::here(folder.0.clone()) };
    let (started, _states) = start_in(keep, "boot-a", 0.0);
    started.writer.change(vec![begins(None, 0.0)]).unwrap();
    // Thirty hours at 3 W with one look of 40 W and one of 0.5 W.
    let peak_at = 61_230.0;
    give_rows(&started, 0.0, 108_000.0, |at| {
        let mut row = draw_row(at, 3.0, if at == peak_at { 40.0 } else { 3.5 });
        if at == 30_000.0 {
            row.stats[Channel::Watts.ix()].as_mut().unwrap().min = 0.5;
        }
        row
    });
    started.writer.change(vec![]).unwrap();
    for points in [2, 7, 50, 100, 360, 1000, 4000] {
        let ask = SeriesAsk {
            of: Stretch::Outing { id: 1, from_s: 0.0, to_s: f64::INFINITY },
            channels: vec![Channel::Watts],
            points,
        };
        let series = started.reader.series(&ask).unwrap();
        assert!(series.t_s.len() <= points, "{points}: {}", series.t_s.len());
        let folds: Vec<_> = series.channels[0].1.iter().map(|fold| fold.unwrap()).collect();
        let max = folds.iter().map(|fold| fold.max).fold(0.0, f64::max);
        let min = folds.iter().map(|fold| fold.min).fold(9.0, f64::min);
        assert_eq!((max, min), (40.0, 0.5), "{points} points");
        let place = folds.iter().position(|fold| fold.max == 40.0).unwrap();
        let at = series.t_s[place];
        assert!(at <= peak_at && peak_at < at + series.step_s, "{points}: the peak stands at {at}");
        let mean = folds.iter().map(|fold| fold.mean).sum::<f64>() / folds.len() as f64;
        assert!((mean - 3.0).abs() < 1e-6, "{points}: {mean}");
    }
    // A part of it, not on any grid.
    let ask = SeriesAsk {
        of: Stretch::Outing { id: 1, from_s: 61_000.0, to_s: 61_500.0 },
        channels: vec![Channel::Watts],
        points: 50,
    };
    let series = started.reader.series(&ask).unwrap();
    assert_eq!((series.step_s, series.t_s.len(), series.t_s[0]), (10.0, 50, 61_000.0));
    assert_eq!(series.channels[0].1[23].unwrap().max, 40.0);
}

#[test]
fn a_gap_stays_a_gap() {
    let folder = Folder::new("gap");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    started.writer.change(vec![begins(None, 0.0)]).unwrap();
    give_rows(&started, 0.0, 600.0, row_at);
    let silent = SourceChange {
        at: Mono::at_s(600.0),
        id: "hwmon:ina226@1-0040".into(),
        title: "INA226 power monitor".into(),
        gap: Some("no answer".into()),
    };
    started.writer.give(Change::Source(silent.clone()));
    give_rows(&started, 1200.0, 1800.0, row_at);
    started.writer.give(Change::Source(SourceChange {
        at: Mono::at_s(1200.0),
        gap: None,
        ..silent
    }));
    started.writer.give(Change::Event(Event {
        at: Mono::at_s(700.0),
        kind: EventKind::Mark,
        text: "moved the antenna".into(),
    }));
    started.writer.change(vec![]).unwrap();
    let ask = SeriesAsk {
        of: Stretch::Outing { id: 1, from_s: 0.0, to_s: f64::INFINITY },
        channels: vec![Channel::Volts],
        points: 180,
    };
    let series = started.reader.series(&ask).unwrap();
    let there: Vec<bool> = series.channels[0].1.iter().map(Option::is_some).collect();
    assert_eq!(there.iter().filter(|there| !**there).count(), 60);
    assert!(there[59] && !there[60] && !there[119] && there[120]);
    let gap = &started.reader.gaps(1).unwrap()[0];
    assert_eq!((gap.from_s, gap.to_s, gap.why.as_str()), (600.0, Some(1200.0), "no answer"));
    assert_eq!(started.reader.events(1).unwrap()[0].text, "moved the antenna");
}

#[test]
fn fine_rows_thin_to_five_minutes_and_outings_stay() {
    let folder = Folder::new("thin");
    let keep =
        Keep { every_s: 600.0, every_near_s: 600.0, fine_days: 1, ..Keep::here(folder.0.clone()) };
    let (started, _states) = start_in(keep, "boot-a", 0.0);
    started.writer.change(vec![begins(None, 0.0)]).unwrap();
    let days = 4.0 * 86_400.0;
    give_rows(&started, 0.0, days, |at| draw_row(at, 3.0, if at == 5000.0 { 30.0 } else { 4.0 }));
    started.writer.change(vec![]).unwrap();
    let rows = started.reader.rows(1).unwrap();
    let fine = rows.iter().filter(|row| row.span_s == 10.0).count() as f64 * 10.0;
    assert!((86_400.0..=90_000.0 + 600.0).contains(&fine), "{fine} s in ten-second rows");
    assert_eq!(rows[0].span_s, 300.0);
    let total: f64 = rows.iter().map(|row| row.span_s).sum();
    assert!((total - days).abs() < 1.0, "every second is still covered once: {total}");
    for pair in rows.windows(2) {
        assert!((pair[0].to_s() - pair[1].from_s).abs() < 1e-6, "{pair:?}");
    }
    let outing = started.reader.outing(1).unwrap().unwrap();
    assert_eq!(outing.peak_power_w, Some(30.0), "the peak outlives its fine row");
    assert!((outing.energy_wh.unwrap() - 3.0 * 96.0).abs() < 1e-3);
}

#[test]
fn the_size_limit_warns_before_it_thins() {
    let folder = Folder::new("limit");
    let keep =
        Keep { every_s: 600.0, every_near_s: 600.0, most_mib: 2, ..Keep::here(folder.0.clone()) };
    let (started, states) = start_in(keep, "boot-a", 0.0);
    started.writer.change(vec![begins(None, 0.0)]).unwrap();
    give_rows(&started, 0.0, 40.0 * 86_400.0, row_at);
    started.writer.change(vec![]).unwrap();
    let told: Vec<String> = states.try_iter().filter_map(|state| state.warning).collect();
    let first = told.first().expect("a warning");
    assert!(first.contains("At the limit the oldest"), "warned before: {first}");
    assert!(told.iter().any(|warning| warning.contains("has reached")), "{told:?}");
    let bytes = std::fs::metadata(folder.file()).unwrap().len();
    assert!(bytes < 3 << 20, "{bytes}");
    let outing = started.reader.outing(1).unwrap().unwrap();
    assert!((outing.lasted_s - 40.0 * 86_400.0).abs() < 1.0);
}

#[test]
fn a_rundown_credited_wrongly_can_be_struck_out() {
    let folder = Folder::new("rundown");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    let marks: String = (0..119).map(|k| format!("{}\n", 1_709_971_200 + k * 600)).collect();
    let imported =
        history::time_stamp_import::read(&marks).unwrap().rundown("marks of the first test");
    let seen = RunDown {
        whole: true,
        start_share: Some(1.0),
        lasted_s: 60_000.0,
        delivered_wh: Some(30.0),
        measured: true,
        ..RunDown::default()
    };
    started
        .writer
        .change(vec![
            Change::Bank(blue_ten()),
            Change::RunDown { bank: "Blue ten".into(), outing: None, data: imported.clone() },
            Change::RunDown { bank: "Blue ten".into(), outing: None, data: seen.clone() },
        ])
        .unwrap();
    let bank = started.reader.banks().unwrap().remove(0);
    assert_eq!(bank.spec, blue_ten());
    let kept = started.reader.rundowns(bank.id).unwrap();
    assert_eq!([&kept[0].data, &kept[1].data], [&imported, &seen]);
    assert_eq!(
        (kept[0].data.lasted_s, kept[0].data.within_s),
        (70_800.0, 600.0),
        "19 h 40 min, to ten minutes"
    );
    started.writer.change(vec![Change::Struck { rundown: kept[1].id, struck: true }]).unwrap();
    let struck: Vec<bool> =
        started.reader.rundowns(bank.id).unwrap().iter().map(|rundown| rundown.struck).collect();
    assert_eq!(struck, [false, true]);
    started
        .writer
        .change(vec![
            Change::BankRenamed { from: "Blue ten".into(), to: "Old blue".into() },
            Change::BankForgotten { name: "Old blue".into(), forgotten: true },
        ])
        .unwrap();
    let bank = started.reader.banks().unwrap().remove(0);
    assert_eq!((bank.spec.name.as_str(), bank.forgotten), ("Old blue", true));
    assert_eq!(started.reader.rundowns(bank.id).unwrap().len(), 2, "nothing is lost by forgetting");
}

#[test]
fn choices_survive_and_a_crash_in_the_same_ten_seconds_counts_nothing_twice() {
    let folder = Folder::new("choices");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    let choose = |key: &str, value: &str| Change::Choice { key: key.into(), value: value.into() };
    started.writer.change(vec![choose("finish", "54000"), choose("activity", "contacts")]).unwrap();
    give_rows(&started, 0.0, 100.0, row_at);
    crash(started);
    let (started, _states) = start(&folder.0, "boot-a", 95.0);
    give_rows(&started, 90.0, 200.0, row_at);
    started.writer.change(vec![choose("activity", "")]).unwrap();
    assert_eq!(started.reader.choices().unwrap(), [("finish".to_string(), "54000".to_string())]);
    let copy = folder.0.join("copy.db");
    started.reader.copy_whole(&copy).unwrap();
    assert!(started.reader.copy_whole(&copy).is_err(), "an existing file is never overwritten");
    let plain = rusqlite::Connection::open(&copy).unwrap();
    let rows: i64 =
        plain.query_row("SELECT count(*) FROM ten_seconds", [], |row| row.get(0)).unwrap();
    assert_eq!(rows, 20);
}

#[test]
fn alarms_reach_the_card_at_once_but_not_without_end() {
    let folder = Folder::new("urgent");
    let (started, states) = start(&folder.0, "boot-a", 0.0);
    give_rows(&started, 0.0, 20.0, row_at);
    wait(&states, "kept the first row", |state| state.last_s == Some(10.0));
    let alarm = |at_s: f64| {
        Change::Event(Event {
            at: Mono::at_s(at_s),
            kind: EventKind::AlarmRaised,
            text: "supply low".into(),
        })
    };
    started.writer.give(alarm(21.0));
    wait(&states, "kept the alarm and the row before it", |state| state.last_s == Some(20.0));
    // A supply that flutters for an hour: the card is spared.
    for k in 0..500 {
        while !started.writer.give(alarm(22.0 + f64::from(k) * 7.0)) {
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
    }
    started.writer.change(vec![]).unwrap();
    let commits = states.try_iter().count();
    assert!(commits < 80, "{commits} commits for 500 alarms in an hour");
}

#[test]
fn off_for_the_night_and_joined_in_the_morning() {
    let folder = Folder::new("night");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    started.writer.change(vec![Change::Bank(blue_ten()), begins(Some("Blue ten"), 0.0)]).unwrap();
    give_rows(&started, 0.0, 3600.0, |at| draw_row(at, 3.0, 4.0));
    let forecast = ForecastMade {
        at: Mono::at_s(1800.0),
        remaining_s: [30_000.0, 36_000.0, 42_000.0],
        basis: Basis::Measured,
        delivered_wh: 1.5,
        bridged_wh: 0.0,
        usable_wh: Some([28.0, 31.0, 34.0]),
    };
    started.writer.give(Change::Forecast(forecast));
    started.writer.stop(3600.0, StopHow::SwitchingOff).unwrap();

    let (started, _states) = start(&folder.0, "boot-b", 10.0);
    let before = started.before.clone().unwrap();
    let this = ThisStart { boot_uuid: "boot-b".into(), at_s: 10.0, wall_at_boot_ms: None };
    let told = judge_last_end(&before, &this, &Rules::default());
    assert_eq!(told.ended, Ended::SwitchedOff);
    assert!(!at_start(&before, &told).goes_on);
    let end = End { from_s: 3600.0, to_s: 3600.0, ending: Ending::SwitchedOff };
    let next = begins(Some("Blue ten"), 10.0);
    let first = vec![Change::OutingEnds { outing: Some(1), end: end.clone() }, next];
    started.writer.change(first).unwrap();
    assert_eq!(started.reader.outing(1).unwrap().unwrap().ending, Ending::SwitchedOff);
    give_rows(&started, 10.0, 1810.0, |at| draw_row(at, 3.0, 4.0));
    let evening = RunDown { name: Some("evening".into()), ..RunDown::default() };
    let credited = Change::RunDown { bank: "Blue ten".into(), outing: Some(1), data: evening };
    started.writer.change(vec![credited]).unwrap();
    assert_eq!(started.reader.rundowns(1).unwrap().len(), 1);
    // 'It is still the same bank': ten hours off in between.
    started
        .writer
        .change(vec![Change::OutingJoins { earlier: Some(1), off_before_s: Some(36_000.0) }])
        .unwrap();
    let page = started.reader.outings(None, 10).unwrap();
    assert_eq!(page.items.len(), 1);
    assert_eq!((page.items[0].ending, page.items[0].lasted_s), (Ending::Open, 5400.0));
    assert!((page.items[0].energy_wh.unwrap() - 4.5).abs() < 1e-6);
    let rows = started.reader.rows(1).unwrap();
    assert_eq!(rows.last().unwrap().to_s(), 3600.0 + 36_000.0 + 1800.0);
    assert!(started.reader.rundowns(1).unwrap().is_empty(), "the part teaches nothing any more");
    assert_eq!(started.reader.forecasts(1).unwrap(), [forecast]);

    // The word is taken back: two outings again, as they were.
    let parts = Change::OutingParts { start_share: None, end };
    started.writer.change(vec![parts]).unwrap();
    let page = started.reader.outings(None, 10).unwrap();
    let [open, first] = page.items.as_slice() else { panic!("{:#?}", page.items) };
    assert_eq!((first.id, first.ending, first.lasted_s), (1, Ending::SwitchedOff, 3600.0));
    assert_eq!((open.ending, open.lasted_s, open.start_share), (Ending::Open, 1800.0, None));
    assert_eq!(open.bank.as_deref(), Some("Blue ten"));
    assert!((first.energy_wh.unwrap() - 3.0).abs() < 1e-6);
    assert!((open.energy_wh.unwrap() - 1.5).abs() < 1e-6);
    // And given again.
    started.writer.change(vec![Change::OutingJoins { earlier: None, off_before_s: None }]).unwrap();
    let page = started.reader.outings(None, 10).unwrap();
    assert_eq!((page.items.len(), page.items[0].lasted_s), (1, 5400.0));
}

#[test]
fn a_plan_stays_with_its_outing() {
    let folder = Folder::new("plan");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    started.writer.change(vec![Change::Bank(blue_ten()), begins(Some("Blue ten"), 40.0)]).unwrap();
    give_rows(&started, 40.0, 3640.0, |at| draw_row(at, 3.0, 4.0));
    let plan = |began_s: f64, finish_s: f64| OutingPlan {
        began_s,
        bank: "Blue ten".into(),
        finish_s,
        reserve_s: 3600.0,
        lasts_s: [27_000.0, 31_000.0, 36_000.0],
        energy_wh: [22.0, 26.5, 31.0],
        ambient_c: Some(-4.0),
        stretches: vec![PlannedStretch {
            name: "Receive".into(),
            lasts_s: 28_800.0,
            draw_w: 3.25,
            draw_log_sd: 0.125,
        }],
    };
    let kept = |outing| started.reader.outing_whole(outing).unwrap().unwrap().plan;
    assert_eq!(kept(1), None);
    // The later of two plans holds; its beginning is read since the outing began.
    for finish_s in [14_400.0, 28_800.0] {
        started.writer.change(vec![Change::OutingPlan(plan(640.0, finish_s))]).unwrap();
    }
    assert_eq!(kept(1), Some(plan(600.0, 28_800.0)));

    // The next outing has one of its own; joined to the first, the first keeps its own.
    let end = End { from_s: 1840.0, to_s: 1840.0, ending: Ending::Swapped };
    let ends = Change::OutingEnds { outing: None, end };
    let joins = Change::OutingJoins { earlier: None, off_before_s: None };
    let next = Change::OutingPlan(plan(1840.0, 7200.0));
    started.writer.change(vec![ends, begins(Some("Blue ten"), 1840.0), next]).unwrap();
    assert_eq!((kept(2), kept(1).unwrap().finish_s), (Some(plan(0.0, 7200.0)), 28_800.0));
    started.writer.change(vec![joins]).unwrap();
    assert_eq!(kept(1), Some(plan(600.0, 28_800.0)));
}

#[test]
fn a_bank_that_was_taken_for_another_gives_its_rows_back() {
    let folder = Folder::new("another");
    let (started, _states) = start(&folder.0, "boot-a", 10.0);
    let long_six = BankSpec { name: "Long six".into(), ..blue_ten() };
    let banks = vec![Change::Bank(blue_ten()), Change::Bank(long_six)];
    started.writer.change(banks).unwrap();
    started.writer.change(vec![begins(Some("Blue ten"), 10.0)]).unwrap();
    give_rows(&started, 10.0, 3610.0, |at| draw_row(at, 3.0, 4.0));
    // The supply was away at half past; the word that it was another bank comes half an hour later.
    let end = End { from_s: 1800.0, to_s: 1840.0, ending: Ending::Swapped };
    let ends = Change::OutingEnds { outing: None, end };
    let next = Change::OutingBegins {
        bank: Some("Long six".into()),
        name: None,
        start_share: None,
        at_s: 1840.0,
    };
    started.writer.change(vec![ends, next]).unwrap();
    let page = started.reader.outings(None, 10).unwrap();
    let lasted: Vec<f64> = page.items.iter().map(|one| one.lasted_s.round()).collect();
    assert_eq!(lasted, [1770.0, 1790.0]);
    started.writer.change(vec![Change::OutingJoins { earlier: None, off_before_s: None }]).unwrap();
    let page = started.reader.outings(None, 10).unwrap();
    assert_eq!((page.items.len(), page.items[0].bank.as_deref()), (1, Some("Blue ten")));
    // Goes on with the bank it began with, at the next start too.
    started.writer.stop(3610.0, StopHow::Restarting).unwrap();
    let (started, _states) = start(&folder.0, "boot-b", 10.0);
    let open = started.before.unwrap().outing.unwrap();
    assert_eq!(open.bank.as_deref(), Some("Blue ten"));
}

#[test]
fn what_a_start_is_told_of_earlier_losses_and_unsettled_outings() {
    let folder = Folder::new("losses");
    let (started, _states) = start(&folder.0, "boot-a", 10.0);
    started.writer.change(vec![Change::Bank(blue_ten())]).unwrap();
    let mut at_s = 10.0;
    let unknown = |at_s| Change::OutingBegins {
        bank: Some("Blue ten".into()),
        name: None,
        start_share: None,
        at_s,
    };
    let endings = [
        (begins(Some("Blue ten"), 10.0), Some(Ending::PowerLost { died: 0.4 })),
        (unknown(3610.0), Some(Ending::SwitchedOff)),
        (unknown(7210.0), Some(Ending::PowerLost { died: 0.1 })),
        (unknown(10_810.0), None),
    ];
    for (begins, ending) in endings {
        started.writer.change(vec![begins]).unwrap();
        give_rows(&started, at_s, at_s + 3600.0, |at| draw_row(at, 3.0, 4.0));
        at_s += 3600.0;
        if let Some(ending) = ending {
            let end = End { from_s: at_s, to_s: at_s, ending };
            started.writer.change(vec![Change::OutingEnds { outing: None, end }]).unwrap();
        }
    }
    crash(started);
    let (started, _states) = start(&folder.0, "boot-b", 10.0);
    let before = started.before.clone().unwrap();
    assert_eq!(before.outing.as_ref().unwrap().id, 4);
    let chain: Vec<(i64, f64)> =
        before.earlier_parts.iter().map(|one| (one.outing.id, one.died)).collect();
    assert_eq!(chain, [(3, 0.1), (2, 0.0), (1, 0.4)], "down to the one that began full");
    // Four hours at 3 W since it was full.
    let carried = before.carried().unwrap();
    assert!((carried.delivered.wh() - 12.0).abs() < 1e-6, "{carried:?}");
    let losses: Vec<(i64, bool, bool)> =
        before.losses.iter().map(|one| (one.outing, one.known, one.from_full)).collect();
    assert_eq!(losses, [(3, false, false), (1, false, true)]);
    // Known better, and said.
    let better = vec![
        Change::EndingChance { outing: 1, died: 0.9 },
        Change::OutingStart { outing: 3, start_share: Some(1.0) },
    ];
    started.writer.change(better).unwrap();
    let first = started.reader.outing(1).unwrap().unwrap();
    assert_eq!(first.ending, Ending::PowerLost { died: 0.9 });
    assert_eq!(started.reader.outing(3).unwrap().unwrap().start_share, Some(1.0));
    started.writer.change(vec![Change::Answered { outing: 1, died: true }]).unwrap();
    started.writer.change(vec![Change::EndingChance { outing: 1, died: 0.9 }]).unwrap();
    let back = started.reader.outing(1).unwrap().unwrap();
    assert_eq!(back.ending, Ending::PowerLost { died: 0.9 }, "an answer taken back");
}

#[test]
fn the_last_hour_of_a_boot_whose_power_went_stays_when_its_fine_rows_go() {
    let folder = Folder::new("partial");
    let keep = || Keep { fine_days: 1, every_s: 600.0, ..Keep::here(folder.0.clone()) };
    let (started, _states) = start_in(keep(), "boot-a", 0.0);
    started.writer.change(vec![begins(None, 0.0)]).unwrap();
    // An hour and forty minutes; the power goes before the second hour is full.
    give_rows(&started, 0.0, 6000.0, |at| draw_row(at, 3.0, if at == 5990.0 { 20.0 } else { 3.0 }));
    crash(started);
    let (started, _states) = start_in(keep(), "boot-b", 0.0);
    let end = End { from_s: 6000.0, to_s: 6012.0, ending: Ending::SwitchedOff };
    let ended = Change::OutingEnds { outing: Some(1), end };
    started.writer.change(vec![ended, begins(None, 0.0)]).unwrap();
    give_rows(&started, 0.0, 30.0 * 3600.0, |at| draw_row(at, 2.0, 2.0));
    started.writer.change(vec![]).unwrap();
    let rows = started.reader.rows(1).unwrap();
    assert!(rows.iter().all(|row| row.span_s == 300.0), "its ten-second rows are gone by now");
    let covered: f64 = rows.iter().map(|row| row.span_s).sum();
    assert!((covered - 6000.0).abs() < 1.0, "{covered} s");
    let peak = rows.last().and_then(|row| row.get(Channel::Watts)).map(|draw| draw.max);
    assert_eq!(peak, Some(20.0), "up to the last row before the end");
}

/// SQLite keeps what a transaction has read as it was (`www.sqlite.org/isolation.html`): a writer who
/// adds between two readings does not show half.
#[test]
fn an_outing_is_read_of_one_moment() {
    let folder = Folder::new("moment");
    let (started, _states) = start(&folder.0, "boot-a", 10.0);
    started.writer.change(vec![Change::Bank(blue_ten()), begins(Some("Blue ten"), 10.0)]).unwrap();
    give_rows(&started, 10.0, 610.0, |at| draw_row(at, 3.0, 4.0));
    let mark = |at_s| {
        let kind = EventKind::Mark;
        Change::Event(Event { at: Mono::at_s(at_s), kind, text: "a mark".into() })
    };
    started.writer.change(vec![mark(300.0)]).unwrap();
    let moment = started.reader.at_one_moment().unwrap();
    let before = moment.outing_whole(1).unwrap().unwrap();
    give_rows(&started, 610.0, 1210.0, |at| draw_row(at, 6.0, 7.0));
    started.writer.change(vec![mark(900.0)]).unwrap();

    assert_eq!(moment.rows(1).unwrap(), before.rows, "the rows of the moment, none of those after");
    assert_eq!(moment.outing_whole(1).unwrap().unwrap(), before);
    let after = started.reader.outing_whole(1).unwrap().unwrap();
    assert_eq!((before.rows.len(), before.events.len()), (60, 1));
    assert_eq!((after.rows.len(), after.events.len()), (120, 2));
    assert_eq!(after.bank.unwrap().bank.spec, blue_ten());
}
