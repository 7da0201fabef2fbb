//! What is read back: stretches laid on an outing's axis, series step by step, and what a start is
//! told of the outings before.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod support;

use history::{Change, Keep, Started};
use reckon::{
    bank::BankSpec,
    belief::last_end::StopHow,
    record::{
        Channel, ClockFix, ClockFrom, End, Ending, Event, EventKind, ForecastMade, LoggedContact,
        Origin, Series, SeriesAsk, SourceChange, Stats, Stretch,
    },
    snapshot::Basis,
    time::Mono,
};
use support::{Folder, draw_row, give_rows, start, start_in};

/// 2024-03-09T08:00:00Z in milliseconds since 1970.
const MORNING_MS: i64 = 1_709_971_200_000;

fn blue_ten() -> BankSpec {
    BankSpec { name: "Blue ten".into(), ..BankSpec::common()[0].clone() }
}

fn begins(bank: Option<&str>, start_share: Option<f64>, at_s: f64) -> Change {
    Change::OutingBegins { bank: bank.map(Into::into), name: None, start_share, at_s }
}

fn ends(at_s: f64, ending: Ending) -> Change {
    Change::OutingEnds { outing: None, end: End { from_s: at_s, to_s: at_s, ending } }
}

fn clock(wall_at_boot_ms: i64) -> Change {
    let (at, from) = (Mono::at_s(0.0), ClockFrom::Synchronised);
    Change::Clock(ClockFix { at, wall_ms: wall_at_boot_ms, within_ms: 100, from })
}

fn mark(at_s: f64, text: &str) -> Change {
    let (at, kind) = (Mono::at_s(at_s), EventKind::Mark);
    Change::Event(Event { at, kind, text: text.into() })
}

/// The draw that was put where the outing's axis says so many seconds.
fn watts_at(axis_s: f64) -> f64 {
    1.0 + axis_s / 1000.0
}

/// An hour in one boot, off for a while, half an hour in the next: off for ten minutes that is 0 to 3600
/// and 4200 to 6000 on the outing's axis. Neither boot's own clock agrees with the axis.
fn two_boots(folder: &Folder, off_s: u32, b_dated: bool) -> Started {
    let (started, _states) = start(&folder.0, "boot-a", 100.0);
    started.writer.change(vec![begins(None, None, 100.0), clock(MORNING_MS)]).unwrap();
    give_rows(&started, 100.0, 3700.0, |at| {
        let watts = watts_at(at - 100.0);
        draw_row(at, watts, watts + 1.0)
    });
    started.writer.stop(3700.0, StopHow::SwitchingOff).unwrap();
    let (started, _states) = start(&folder.0, "boot-b", 50.0);
    let goes_on =
        Change::OutingGoesOn { outing: 1, at_s: 50.0, off_before_s: Some(f64::from(off_s)) };
    started.writer.change(vec![goes_on]).unwrap();
    if b_dated {
        // Its 50th second is the first after the time off.
        let shift_ms = 3_650_000 + 1000 * i64::from(off_s);
        started.writer.change(vec![clock(MORNING_MS + shift_ms)]).unwrap();
    }
    give_rows(&started, 50.0, 1850.0, |at| {
        let watts = watts_at(at - 50.0 + 3600.0 + f64::from(off_s));
        draw_row(at, watts, watts + 1.0)
    });
    started.writer.change(vec![]).unwrap();
    started
}

fn watts_of(series: &Series) -> Vec<(f64, Option<Stats>)> {
    let (channel, stats) = &series.channels[0];
    assert_eq!((*channel, stats.len()), (Channel::Watts, series.t_s.len()));
    series.t_s.iter().copied().zip(stats.iter().copied()).collect()
}

fn ask(started: &Started, of: Stretch, points: usize) -> Series {
    let ask = SeriesAsk { of, channels: vec![Channel::Watts], points };
    started.reader.series(&ask).unwrap()
}

#[test]
fn every_step_of_a_series_holds_what_was_drawn_then() {
    let folder = Folder::new("steps");
    let started = two_boots(&folder, 600, true);
    let part = Stretch::Outing { id: 1, from_s: 1800.0, to_s: 5400.0 };
    // An hour in 360 points are steps of ten seconds; in 36 of 120, the next that can be read off an
    // axis; in 61 of a minute.
    for (points, step_s) in [(360, 10.0), (36, 120.0), (61, 60.0), (60, 60.0)] {
        let series = ask(&started, part, points);
        let steps = watts_of(&series);
        assert_eq!((series.step_s, steps.len() as f64), (step_s, 3600.0 / step_s), "{points}");
        for (k, (t_s, stats)) in steps.into_iter().enumerate() {
            assert!((t_s - (1800.0 + k as f64 * step_s)).abs() < 1e-9);
            if (3600.0..4200.0).contains(&t_s) {
                assert_eq!(stats, None, "it was off at {t_s}");
                continue;
            }
            let (first, last) = (watts_at(t_s), watts_at(t_s + step_s - 10.0));
            let stats = stats.unwrap();
            assert!((stats.mean - f64::midpoint(first, last)).abs() < 1e-3, "{t_s}: {stats:?}");
            assert!((stats.min - first).abs() < 1e-3 && (stats.max - last - 1.0).abs() < 1e-3);
        }
    }
    // The same hour by wall time: the outing began 100 s after boot A.
    let from_ms = MORNING_MS + 1000 * (100 + 1800);
    let wall = Stretch::Wall { from_ms, to_ms: from_ms + 3_600_000 };
    let by_wall = watts_of(&ask(&started, wall, 360));
    let by_outing = watts_of(&ask(&started, part, 360));
    for ((wall_s, wall), (t_s, outing)) in by_wall.into_iter().zip(by_outing) {
        assert!((wall_s + 1800.0 - t_s).abs() < 1e-9);
        assert_eq!(wall, outing, "{t_s}");
    }
    // Before the first and after the last second there is nothing, and no stretch is none.
    let before = Stretch::Wall { from_ms: 0, to_ms: MORNING_MS };
    assert!(watts_of(&ask(&started, before, 50)).iter().all(|(_, stats)| stats.is_none()));
    let after = Stretch::Wall { from_ms: from_ms * 2, to_ms: from_ms * 2 + 3_600_000 };
    assert!(watts_of(&ask(&started, after, 50)).iter().all(|(_, stats)| stats.is_none()));
    for (from_s, to_s) in [(3000.0, 3000.0), (3000.0, 2000.0), (7000.0, 9000.0)] {
        let none = Stretch::Outing { id: 1, from_s, to_s };
        assert_eq!(ask(&started, none, 50), Series::default());
    }
    assert_eq!(
        ask(&started, Stretch::Outing { id: 9, from_s: 0.0, to_s: 9.0 }, 9),
        Series::default()
    );
    // Never fewer than two points, and a whole outing goes to its end.
    let whole = Stretch::Outing { id: 1, from_s: -50.0, to_s: f64::INFINITY };
    assert_eq!(ask(&started, whole, 0).step_s, 3600.0);
    assert_eq!(watts_of(&ask(&started, whole, 600)).len(), 600);
}

#[test]
fn an_outings_axis_counts_the_time_off_where_it_is_known() {
    let folder = Folder::new("axis");
    let started = two_boots(&folder, 600, true);
    assert_eq!(started.reader.off(1).unwrap(), [(3600.0, 4200.0)]);
    let rows = started.reader.rows(1).unwrap();
    assert_eq!(rows.len(), 360 + 180);
    for row in &rows {
        let watts = row.get(Channel::Watts).unwrap().mean;
        assert!((watts - watts_at(row.from_s)).abs() < 1e-3, "{row:?}");
    }
    // What happened after the last row is already part of it, for two minutes; of the boot before and
    // of what was before the outing nothing is.
    let late =
        [mark(40.0, "too early"), mark(60.0, "early"), mark(1969.0, "late"), mark(1971.0, "x")];
    started.writer.change(late.to_vec()).unwrap();
    let told: Vec<(f64, String)> = started
        .reader
        .events(1)
        .unwrap()
        .into_iter()
        .map(|one| (one.at.as_s(), one.text))
        .collect();
    assert_eq!(told, [(4210.0, "early".to_string()), (6119.0, "late".to_string())]);
    let made = |at_s| ForecastMade {
        at: Mono::at_s(at_s),
        remaining_s: [600.0, 1200.0, 2400.0],
        basis: Basis::Gauge,
        delivered_wh: 4.5,
        bridged_wh: 0.5,
        usable_wh: Some([20.0, 25.0, 30.0]),
    };
    let silent = |at_s, gap: Option<&str>| {
        let (id, title) = ("hwmon:ina226@1-0040".into(), "INA226 power monitor".into());
        Change::Source(SourceChange { at: Mono::at_s(at_s), id, title, gap: gap.map(Into::into) })
    };
    let beside =
        vec![Change::Forecast(made(70.0)), silent(80.0, Some("no answer")), silent(95.0, None)];
    started.writer.change(beside).unwrap();
    assert_eq!(started.reader.forecasts(1).unwrap(), [made(4220.0)]);
    let gaps = started.reader.gaps(1).unwrap();
    assert_eq!((gaps.len(), gaps[0].from_s, gaps[0].to_s), (1, 4230.0, Some(4245.0)));
    let outing = started.reader.outing(1).unwrap().unwrap();
    assert!((outing.lasted_s - 5400.0).abs() < 1e-6);
    assert_eq!(outing.began.map(reckon::time::Wall::unix_ms), Some(MORNING_MS + 100_000));
    // A third boot nobody knows how long after: it follows without a hole.
    started.writer.stop(1850.0, StopHow::SwitchingOff).unwrap();
    let (started, _states) = start(&folder.0, "boot-c", 30.0);
    let goes_on = Change::OutingGoesOn { outing: 1, at_s: 30.0, off_before_s: None };
    started.writer.change(vec![goes_on]).unwrap();
    give_rows(&started, 30.0, 90.0, |at| draw_row(at, 2.0, 2.0));
    started.writer.change(vec![]).unwrap();
    assert_eq!(started.reader.off(1).unwrap(), [(3600.0, 4200.0)]);
    let last = *started.reader.rows(1).unwrap().last().unwrap();
    assert_eq!((last.from_s, last.to_s()), (6050.0, 6060.0));
}

#[test]
fn energy_and_gaps_of_an_outing_are_its_rows_and_what_lies_between() {
    let folder = Folder::new("sums");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    // The outing begins in the middle of a row and ends in one; 300 s of it nobody read.
    started.writer.change(vec![begins(None, None, 5.0)]).unwrap();
    give_rows(&started, 0.0, 600.0, |at| draw_row(at, 3.6, 5.0));
    give_rows(&started, 900.0, 1200.0, |at| draw_row(at, 7.2, if at > 1100.0 { 9.0 } else { 8.0 }));
    started.writer.change(vec![ends(1195.0, Ending::Swapped)]).unwrap();
    let outing = started.reader.outing(1).unwrap().unwrap();
    // The first row is of the bank before as well and tells nothing: 590 s at 3.6 W and 295 s at 7.2 W
    // are .59 Wh each; what lies between is taken to have drawn their mean.
    let seen_wh = 0.59 + 0.59;
    let bridged_wh = seen_wh / 885.0 * 305.0;
    let near =
        |got: Option<f64>, want: f64| assert!((got.unwrap() - want).abs() < 1e-6, "{got:?} {want}");
    near(Some(outing.lasted_s), 1190.0);
    near(outing.bridged_wh, bridged_wh);
    near(outing.energy_wh, seen_wh + bridged_wh);
    near(outing.mean_power_w, (seen_wh + bridged_wh) * 3600.0 / 1190.0);
    assert_eq!(outing.peak_power_w, Some(9.0));
    // One without any row has no energy, and no mean.
    started.writer.change(vec![begins(None, None, 1200.0)]).unwrap();
    let empty = started.reader.outing(2).unwrap().unwrap();
    assert_eq!((empty.lasted_s, empty.energy_wh, empty.mean_power_w), (0.0, None, None));
}

/// Outings on 'Blue ten', an hour each at 3 W, in one boot.
fn hours(started: &Started, all: &[(Option<f64>, Option<Ending>)]) {
    for (k, (start_share, ending)) in all.iter().enumerate() {
        let at_s = 3600.0 * k as f64;
        started.writer.change(vec![begins(Some("Blue ten"), *start_share, at_s)]).unwrap();
        give_rows(started, at_s, at_s + 3600.0, |at| draw_row(at, 3.0, 4.0));
        let ended = ending.map(|ending| ends(at_s + 3600.0, ending));
        started.writer.change(ended.into_iter().collect()).unwrap();
    }
}

/// Ids of the outings that the open one may be the rest of, as the next boot is told.
fn parts(name: &str, all: &[(Option<f64>, Option<Ending>)], settled: bool) -> Vec<i64> {
    let folder = Folder::new(name);
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    started.writer.change(vec![Change::Bank(blue_ten())]).unwrap();
    hours(&started, all);
    started.writer.change(vec![Change::OutingSettled { settled }]).unwrap();
    drop(started);
    let (started, _states) = start(&folder.0, "boot-b", 10.0);
    let before = started.before.unwrap();
    before.earlier_parts.iter().map(|part| part.outing.id).collect()
}

#[test]
fn a_start_is_told_only_of_outings_that_the_open_one_may_be_the_rest_of() {
    let (off, lost) = (Some(Ending::SwitchedOff), Some(Ending::PowerLost { died: 0.2 }));
    assert_eq!(parts("chain", &[(Some(1.0), off), (None, lost), (None, None)], false), [2, 1]);
    // Somebody has said how full it was; or it is known how it began; or the one before ran empty.
    assert!(parts("said", &[(Some(1.0), off), (None, None)], true).is_empty());
    assert!(parts("known", &[(None, off), (Some(1.0), None)], false).is_empty());
    assert!(parts("died", &[(None, Some(Ending::Died)), (None, None)], false).is_empty());
    // A plug that slips all day: two dozen at most.
    let slips: Vec<_> = std::iter::repeat_n((None, lost), 26).chain([(None, None)]).collect();
    let chain = parts("slips", &slips, false);
    assert_eq!((chain.len(), chain[0], chain[23]), (24, 26, 3));
}

#[test]
fn outings_without_a_bank_are_nobodys_rest() {
    let folder = Folder::new("nobody");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    started.writer.change(vec![begins(None, None, 0.0)]).unwrap();
    give_rows(&started, 0.0, 600.0, |at| draw_row(at, 3.0, 4.0));
    let next = vec![ends(600.0, Ending::SwitchedOff), begins(None, None, 600.0)];
    started.writer.change(next).unwrap();
    drop(started);
    let (started, _states) = start(&folder.0, "boot-b", 10.0);
    assert!(started.before.unwrap().earlier_parts.is_empty());
}

#[test]
fn what_a_person_has_said_of_an_earlier_end_is_known() {
    let folder = Folder::new("known");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    started.writer.change(vec![Change::Bank(blue_ten())]).unwrap();
    let lost = |died| Some(Ending::PowerLost { died });
    let all =
        [(Some(1.0), lost(0.7)), (None, lost(0.3)), (Some(0.5), lost(0.6)), (None, lost(0.4))];
    hours(&started, &all);
    started.writer.change(vec![Change::Answered { outing: 1, died: true }]).unwrap();
    started.writer.change(vec![Change::Answered { outing: 2, died: false }]).unwrap();
    started.writer.change(vec![begins(Some("Blue ten"), None, 14_400.0)]).unwrap();
    drop(started);
    let (started, _states) = start(&folder.0, "boot-b", 10.0);
    let losses: Vec<(i64, f64, bool, bool)> = started
        .before
        .unwrap()
        .losses
        .iter()
        .map(|loss| (loss.outing, loss.died, loss.known, loss.from_full))
        .collect();
    // The third began half full: how much it gave tells nothing of a full one.
    assert_eq!(losses, [(4, 0.4, false, false), (2, 0.0, true, false), (1, 1.0, true, true)]);
}

#[test]
fn banks_come_with_their_run_downs() {
    let folder = Folder::new("banks");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    assert!(started.reader.banks_whole().unwrap().is_empty());
    let data = reckon::record::RunDown { lasted_s: 3600.0, ..Default::default() };
    let credit = Change::RunDown { bank: "Blue ten".into(), outing: None, data };
    started.writer.change(vec![Change::Bank(blue_ten()), credit]).unwrap();
    let banks = started.reader.banks_whole().unwrap();
    assert_eq!((banks.len(), &banks[0].bank.spec), (1, &blue_ten()));
    assert_eq!((banks[0].run_downs.len(), banks[0].run_downs[0].data.lasted_s), (1, 3600.0));
}

#[test]
fn a_boot_whose_fine_rows_are_gone_is_still_on_the_chart() {
    let folder = Folder::new("thinned");
    let keep = || Keep { fine_days: 1, every_s: 600.0, ..Keep::here(folder.0.clone()) };
    let (started, _states) = start_in(keep(), "boot-a", 0.0);
    started.writer.change(vec![begins(None, None, 0.0), clock(MORNING_MS)]).unwrap();
    give_rows(&started, 0.0, 7200.0, |at| draw_row(at, watts_at(at), 9.0));
    started.writer.stop(7200.0, StopHow::SwitchingOff).unwrap();
    let (started, _states) = start_in(keep(), "boot-b", 0.0);
    started.writer.change(vec![begins(None, None, 0.0)]).unwrap();
    give_rows(&started, 0.0, 30.0 * 3600.0, |at| draw_row(at, 2.0, 2.0));
    started.writer.change(vec![]).unwrap();
    let of = Stretch::Wall { from_ms: MORNING_MS, to_ms: MORNING_MS + 7_500_000 };
    let series = ask(&started, of, 25);
    assert_eq!(series.step_s, 300.0);
    for (t_s, stats) in watts_of(&series) {
        let Some(stats) = stats else {
            assert_eq!(t_s, 7200.0, "after its end");
            continue;
        };
        // Thirty rows of ten seconds: their mean is that of the first and the last.
        assert!((stats.mean - watts_at(t_s + 145.0)).abs() < 1e-3, "{t_s}: {stats:?}");
        assert_eq!(stats.max, 9.0);
    }
}

#[test]
fn banks_lie_in_the_file_under_the_names_its_comments_say() {
    use reckon::bank::{Cells, MeasuredAt};
    let folder = Folder::new("names");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    let cells =
        [(Cells::LiIon, "li-ion"), (Cells::LiFePo4, "lifepo4"), (Cells::LeadAcid, "lead-acid")];
    let places = [
        (MeasuredAt::Output, "output"),
        (MeasuredAt::Cells, "cells"),
        (MeasuredAt::Nowhere, "nowhere"),
    ];
    for (k, ((cells, _), (measured_at, _))) in cells.iter().zip(&places).enumerate() {
        let name = format!("Long six {k}");
        let spec = BankSpec { name, cells: *cells, measured_at: *measured_at, ..blue_ten() };
        started.writer.change(vec![Change::Bank(spec.clone())]).unwrap();
        assert_eq!(started.reader.banks().unwrap()[k].spec, spec);
    }
    let copy = folder.0.join("copy.db");
    started.reader.copy_whole(&copy).unwrap();
    let plain = rusqlite::Connection::open(copy).unwrap();
    let mut ask = plain.prepare("SELECT cells, measured_at FROM bank ORDER BY id").unwrap();
    let found: Vec<(String, String)> = ask
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    let want = cells.map(|(_, name)| name).into_iter().zip(places.map(|(_, name)| name));
    assert!(found.iter().map(|(a, b)| (a.as_str(), b.as_str())).eq(want), "{found:?}");
}

#[test]
fn a_contact_belongs_to_one_boot_and_what_has_no_date_is_told() {
    // The board was off for half a minute: contacts are looked for beyond both ends of that.
    let folder = Folder::new("contacts");
    let started = two_boots(&folder, 30, true);
    let at = |axis_s: i64| LoggedContact {
        began_ms: MORNING_MS + 1000 * (100 + axis_s),
        ..LoggedContact::default()
    };
    let log = [10, 3590, 3610, 3640, 5000].map(at).to_vec();
    started.writer.change(vec![Change::Contacts(log)]).unwrap();
    let found = started.reader.contacts(1).unwrap();
    let times: Vec<f64> = found.contacts.iter().map(|placed| placed.t_s).collect();
    assert_eq!(times, [10.0, 3590.0, 3610.0, 3640.0, 5000.0], "each once, where it was");
    assert_eq!((found.undated_s, found.within_s), (None, 0.1));
    // Half an hour in a boot whose clock nobody believed.
    let folder = Folder::new("undated");
    let started = two_boots(&folder, 600, false);
    let found = started.reader.contacts(1).unwrap();
    assert_eq!(found.undated_s, Some(1800.0));
}

#[test]
fn a_correction_ends_with_its_outing() {
    let folder = Folder::new("ended");
    let (started, _states) = start(&folder.0, "boot-a", 100.0);
    started.writer.change(vec![begins(None, None, 100.0)]).unwrap();
    give_rows(&started, 100.0, 700.0, |at| draw_row(at, 3.0, 4.0));
    started.writer.change(vec![ends(700.0, Ending::Swapped), begins(None, None, 700.0)]).unwrap();
    give_rows(&started, 700.0, 1300.0, |at| draw_row(at, 3.0, 4.0));
    let correct = |outing| Change::Correction {
        outing,
        from_s: 60.0,
        to_s: 900.0,
        activity: Some("Contacts".into()),
        origin: Origin::Operator,
    };
    started.writer.change(vec![correct(1), correct(2)]).unwrap();
    let spans = |outing| -> Vec<(f64, f64)> {
        let all = started.reader.corrections(outing).unwrap();
        all.into_iter().map(|one| (one.from_s, one.to_s)).collect()
    };
    assert_eq!(spans(1), [(60.0, 600.0)]);
    // One that goes on is longer than its last row: two minutes of that are shown.
    assert_eq!(spans(2), [(60.0, 720.0)]);
}

#[test]
fn a_page_that_is_just_full_is_the_last() {
    let folder = Folder::new("page");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    for at_s in [0.0, 10.0, 20.0] {
        started.writer.change(vec![begins(None, None, at_s), ends(at_s, Ending::Swapped)]).unwrap();
    }
    for (most, ids, next) in
        [(2, vec![3, 2], Some(2)), (3, vec![3, 2, 1], None), (4, vec![3, 2, 1], None)]
    {
        let page = started.reader.outings(None, most).unwrap();
        let found: Vec<i64> = page.items.iter().map(|outing| outing.id).collect();
        assert_eq!((found, page.next), (ids, next), "{most}");
    }
}

#[test]
fn a_boots_last_row_is_its_own_whatever_the_next_boot_begins_with() {
    let folder = Folder::new("next-boot");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    started.writer.change(vec![begins(None, None, 0.0)]).unwrap();
    give_rows(&started, 0.0, 600.0, |at| draw_row(at, 3.0, 4.0));
    started.writer.change(vec![]).unwrap();
    drop(started);
    // The next boot's first row begins with its first second.
    let (started, _states) = start(&folder.0, "boot-b", 0.0);
    assert_eq!(started.before.as_ref().unwrap().last_sign_s, 600.0);
    started.writer.change(vec![begins(None, None, 0.0)]).unwrap();
    give_rows(&started, 0.0, 60.0, |at| draw_row(at, 3.0, 4.0));
    started.writer.change(vec![]).unwrap();
    let lasted_s = |outing| started.reader.outing(outing).unwrap().unwrap().lasted_s;
    assert_eq!((lasted_s(1), lasted_s(2)), (600.0, 60.0));
}
