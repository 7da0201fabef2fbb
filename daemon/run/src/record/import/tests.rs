//! An outing that is recorded, exported and imported teaches another board what it taught this one.

use std::path::Path;

use history::{Change, Keep, Reader, Who, export};
use reckon::record::{Channel, End, Ending, RecordCommand, Row, Stats};

use super::*;
use crate::{
    record::{changes::offline, run_downs::uncredited},
    recording::import::Said,
};

fn long_six() -> BankSpec {
    let packs = BankSpec::common();
    let pack = packs.iter().find(|bank| bank.label_volts.si() > 12.0).unwrap();
    BankSpec { name: "Long six".into(), ambient: Some(Celsius::of(6.0)), ..pack.clone() }
}

/// A row of a station that sends now and then; only the board's own figures without a sensor.
fn row(from_s: f64, sensor: bool) -> Row {
    let mut stats = [None; Channel::ALL.len()];
    let amps = if (from_s / 300.0).floor() % 3.0 == 0.0 { 1.1 } else { 0.3 };
    let volts = 13.2 - from_s / 100_000.0 - 0.08 * amps;
    let busy = 0.1 + 0.5 * ((from_s / 60.0).sin() + 1.0) / 2.0;
    for (channel, value) in [(Channel::Busy, busy), (Channel::Temp, 41.0)] {
        stats[channel.ix()] = Some(Stats::one(value));
    }
    // A minute in which no sensor answered.
    if sensor && !(5000.0..5060.0).contains(&from_s) {
        for (channel, value) in
            [(Channel::Volts, volts), (Channel::Amps, amps), (Channel::Watts, 1.01 * volts * amps)]
        {
            stats[channel.ix()] = Some(Stats::one(value));
        }
    }
    Row { from_s, span_s: 10.0, stats }
}

/// An outing of two boots with a night between them, from a bank that was connected at 103.4 s of
/// the first; it ended with the second.
fn outing(folder: &Path, sensor: bool, ending: Ending) -> Reader {
    let begins = Change::OutingBegins {
        bank: Some("Long six".into()),
        name: Some("Old quarry, \"in the cold\", twice".into()),
        start_share: Some(0.9),
        at_s: 103.4,
    };
    let goes_on = Change::OutingGoesOn { outing: 1, at_s: 0.0, off_before_s: Some(30_000.0) };
    let ends =
        Change::OutingEnds { outing: None, end: End { from_s: 7_203.0, to_s: 7_263.0, ending } };
    for (boot, to_s, first, last) in [
        ("a", 9_000.0, vec![Change::Bank(long_six()), begins], vec![]),
        ("b", 7_200.0, vec![goes_on], vec![ends]),
    ] {
        let who = Who { boot_uuid: boot.into(), began_s: 0.0, version: "0".into() };
        let started = history::start(Keep::here(folder.to_owned()), who, |_| {}).unwrap();
        started.writer.change(first).unwrap();
        let rows = (0..).map(|k| 100.0 + f64::from(k) * 10.0).take_while(|from_s| *from_s < to_s);
        started.writer.change(rows.map(|at| Change::Row(row(at, sensor))).collect()).unwrap();
        started.writer.change(last).unwrap();
    }
    Reader::new(folder)
}

fn csv(reader: &Reader) -> String {
    export::csv(reader, 1).unwrap().unwrap().map(Result::unwrap).collect()
}

fn sent(text: &str, said: &Said) -> Result<String, String> {
    import::shortened(text.as_bytes(), said, 1 << 20).map(|it| it.text)
}

fn near(a: &[f64], b: &[f64], what: &str) {
    assert_eq!(a.len(), b.len(), "{what}: {a:?} {b:?}");
    for (x, y) in a.iter().zip(b) {
        assert!((x - y).abs() <= 1e-5 * x.abs().max(1.0), "{what}: {x} is not {y}");
    }
}

/// Every figure of one is the other's, but for what is rounded in a CSV file (six places).
fn same(here: &RunDown, there: &RunDown, what: &str) {
    assert_eq!((here.whole, here.measured), (there.whole, there.measured), "{what}");
    let figures = |it: &RunDown| -> Vec<f64> {
        [it.start_share, it.delivered_wh, it.bridged_wh, it.mean_power_w, it.ambient_c]
            .into_iter()
            .chain([it.detail.source_ohms, it.detail.peak_a, it.detail.over_range_wh])
            .chain([Some(it.lasted_s), Some(it.within_s), Some(it.before_s)])
            .chain(it.detail.burst.map_or([None; 2], |two| two.map(Some)))
            .map(|figure| figure.unwrap_or(-1.0))
            .collect()
    };
    near(&figures(here), &figures(there), what);
    // Where two rows are alike but for that, a point of the curve may be the one beside it: ten
    // seconds at 15 W.
    let curves = [&here.detail.rest_curve, &there.detail.rest_curve];
    assert_eq!(curves[0].len(), curves[1].len(), "{what}");
    for (x, y) in curves[0].iter().zip(curves[1]) {
        let (wh, volts) = ((x[0] - y[0]).abs(), (x[1] - y[1]).abs());
        assert!(wh < 15.0 * 10.0 / 3600.0 && volts < 0.001, "{what}: {x:?} is not {y:?}");
    }
    // Nor is it certain on which side of a half hour a row falls that ends with it.
    let halves = [&here.detail.half_hours_w, &there.detail.half_hours_w];
    assert_eq!(halves[0].len(), halves[1].len(), "{what}");
    for (x, y) in halves[0].iter().zip(halves[1]) {
        assert!((x - y).abs() < 15.0 * 10.0 / 1800.0, "{what}: {x} is not {y}");
    }
    near(&here.detail.work, &there.detail.work, what);
}

#[test]
fn an_exported_outing_teaches_what_it_taught_where_it_was_recorded() {
    let load = LoadPrior { idle_w: Some(2.1), full_w: Some(5.0), ..LoadPrior::default() };
    for (sensor, ending, whole) in [
        (true, Ending::PowerLost { died: 0.9 }, true),
        (true, Ending::SwitchedOff, false),
        (false, Ending::Died, true),
    ] {
        let what = format!("{ending:?}, sensor: {sensor}");
        let folder = tempfile::tempdir().unwrap();
        let reader = outing(folder.path(), sensor, ending);
        let Change::RunDown { data: here, .. } = uncredited(&reader, &load).unwrap().remove(0)
        else {
            panic!("no run-down")
        };
        assert_eq!((here.whole, here.measured), (whole, sensor), "{what}");
        assert!(!here.detail.half_hours_w.is_empty() && here.energy_wh() > 3.0, "{here:?}");
        assert!(!sensor || !here.detail.rest_curve.is_empty(), "{here:?}");
        let csv = csv(&reader);
        // Another bank's own surroundings: the outing's count.
        let bank = BankSpec { ambient: None, ..long_six() };
        let short = sent(&csv, &Said::default()).unwrap();
        for text in [&csv, &short] {
            let there = run_down(&bank, "", text, &load).unwrap();
            same(&here, &there, &what);
            assert_eq!(there.name.as_deref(), Some("Old quarry, \"in the cold\", twice"));
        }
        assert!(short.len() * 2 < csv.len(), "{} of {}", short.len(), csv.len());
    }
}

#[test]
fn what_is_said_of_a_recording_counts_more_than_what_it_says() {
    let folder = tempfile::tempdir().unwrap();
    let csv = csv(&outing(folder.path(), true, Ending::Open));
    let load = LoadPrior::default();
    let open = sent(&csv, &Said::default()).unwrap_err();
    assert!(open.contains("had not ended"), "{open}");
    let said = Said { died: Some(true), start_share: Some(Some(0.4)), ambient_c: Some(-5.0) };
    let seen = run_down(&long_six(), "Heron", &sent(&csv, &said).unwrap(), &load).unwrap();
    assert_eq!((seen.whole, seen.start_share, seen.ambient_c), (true, Some(0.4), Some(-5.0)));
    assert_eq!(seen.name.as_deref(), Some("Heron"));
    let unknown = Said { died: Some(false), start_share: Some(None), ..Said::default() };
    let seen = run_down(&long_six(), "", &sent(&csv, &unknown).unwrap(), &load).unwrap();
    assert_eq!((seen.whole, seen.start_share, seen.ambient_c), (false, None, Some(6.0)));
}

/// Plain columns: 5 V and 0.4 A are 2 W, whatever the interval of the readings.
#[test]
fn plain_columns_teach_power_times_time() {
    let bank = BankSpec::common().remove(0);
    for step_s in [1_u32, 10, 25] {
        let mut text = String::from("t_s,cpu_util,bus_v,current_a\n");
        for t in (step_s..=36_000).step_by(step_s as usize) {
            text += &format!("{t},0.1,5.0,0.4\n");
        }
        let died = Said { died: Some(true), ..Said::default() };
        let seen = sent(&text, &died).unwrap();
        let seen = run_down(&bank, "Heron", &seen, &LoadPrior::default()).unwrap();
        assert!((seen.energy_wh() - 20.0).abs() < 0.01, "{step_s}: {seen:?}");
        assert!((seen.lasted_s - 36_000.0).abs() < 1.0, "{step_s}: {seen:?}");
        assert_eq!((seen.whole, seen.measured, seen.start_share), (true, true, Some(1.0)));
    }
    // No sensor's columns: modelled.
    let lines: String = (1..=3600).map(|k| format!("{},0.2\n", k * 10)).collect();
    let load = LoadPrior { idle_w: Some(2.0), full_w: Some(4.0), ..LoadPrior::default() };
    let text = format!("t_s,cpu_util\n{lines}");
    let seen = run_down(&bank, "", &sent(&text, &Said::default()).unwrap(), &load).unwrap();
    assert!(!seen.measured && !seen.whole && seen.energy_wh() > 15.0, "{seen:?}");
}

#[test]
fn a_long_recording_is_sent_in_longer_rows_with_the_same_energy() {
    let rows = 60_000_u32;
    let mut text = String::from("t_s,bus_v,current_a\n");
    for k in 1..=rows {
        text += &format!("{},5.0,{}\n", k * 10, if k % 2 == 0 { 0.3 } else { 0.5 });
    }
    let bank = BankSpec::common().remove(0);
    let seen = sent(&text, &Said::default()).unwrap();
    assert!(seen.len() <= 1 << 20, "{}", seen.len());
    let seen = run_down(&bank, "", &seen, &LoadPrior::default()).unwrap();
    assert!((seen.energy_wh() / (2.0 * f64::from(rows) / 360.0) - 1.0).abs() < 1e-4, "{seen:?}");
    let refused = run_down(&bank, "", &text, &LoadPrior::default()).unwrap_err();
    assert!(refused.contains("more than 50000 readings"), "{refused}");
}

#[test]
fn every_fault_of_a_recording_is_said_and_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let whole = csv(&outing(folder.path(), true, Ending::Died));
    let half = &whole[..whole[..whole.len() / 4].rfind("\r\n").unwrap()];
    let lines = |head: &str, line: &str| {
        let rest: String = (1..=90).map(|k| format!("{},0.1,5,0.4\n", k * 10)).collect();
        format!("{head}\n{rest}{line}")
    };
    let plain = "t_s,cpu_util,bus_v,current_a";
    let facts = "t_s,cpu_util,span_s,ending\n0,0.1,900,melted\n".to_owned();
    for (text, want) in [
        (lines(plain, "910,plenty,5,0.4\n"), "line 92: cpu_util is `plenty`"),
        (lines(plain, "910,0.1,500,0.4\n"), "line 92: bus_v is `500`"),
        (lines(plain, "10,0.1,5,0.4\n"), "line 92: t_s goes back from 900 to 10"),
        (lines(plain, "910,0.1\n"), "line 92: 2 fields"),
        (lines("cpu_util,bus_v,current_a,x", ""), "line 1: there is no column t_s"),
        (format!("{plain}\n"), "There is no reading"),
        (format!("{plain}\n10,0.1,5,0.4\n20,0.1,5,0.4\n"), "shorter than ten minutes"),
        (half.to_owned(), "Was the file cut off?"),
        (facts, "The ending in the first row is `melted`"),
        (whole.replace(",0.9,6,", ",1.4,6,"), "line 2: start_share is `1.4`"),
        (whole.replace(",0.9,6,", ",0.9,600,"), "line 2: ambient_c is `600`"),
    ] {
        let command = RecordCommand::Import { bank: 1, name: String::new(), text: text.clone() };
        let refused = offline(folder.path(), &command).unwrap_err();
        assert!(refused.contains(want), "{want}: {refused}");
        if want.starts_with("line") {
            assert!(sent(&text, &Said::default()).unwrap_err().contains(want), "{want}");
        }
    }
    assert!(Reader::new(folder.path()).rundowns(1).unwrap().is_empty());
}

#[test]
fn the_same_outing_is_taken_once() {
    let folder = tempfile::tempdir().unwrap();
    let reader = outing(folder.path(), true, Ending::Died);
    let text = csv(&reader);
    let put = |name: &str, text: &str| {
        let command = RecordCommand::Import { bank: 1, name: name.into(), text: text.into() };
        offline(folder.path(), &command)
    };
    put("", &text).unwrap();
    let again = put("", &text).unwrap_err();
    assert!(again.starts_with("This is run-down 1 of this bank already."), "{again}");
    // Struck out it stays the same one, and can be counted again.
    offline(folder.path(), &RecordCommand::Strike { rundown: 1, struck: true }).unwrap();
    assert!(put("", &text).unwrap_err().contains("strike 1 --undo"));
    // By another name it may be another; one that was recorded here is not, whatever its name.
    put("Ridge", &text).unwrap();
    let credited = uncredited(&reader, &LoadPrior::default()).unwrap();
    history::amend(folder.path(), &credited).unwrap();
    assert!(put("Third", &text).unwrap_err().contains("already"), "of the outing itself");
    let marks = "2025-02-08 10:00:00\n2025-02-08 10:10:00\n2025-02-08 10:20:00\n";
    put("List", marks).unwrap();
    assert!(put("List", marks).unwrap_err().contains("already"));
    let kept = reader.rundowns(1).unwrap();
    assert_eq!(kept.iter().filter(|one| one.outing.is_none()).count(), 3, "{kept:?}");
}
