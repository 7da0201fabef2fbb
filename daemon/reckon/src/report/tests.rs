//! The report against figures of general-purpose libraries, and against made-up outings whose parts
//! are known.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "small whole numbers of a made-up outing"
)]

use alloc::string::ToString;

use super::*;
use crate::{
    adif::{Keep, read},
    fold::{Kind, Reads},
    forecast::Basis,
    record::Origin,
    time::Mono,
};

/// Made by `tests/reference/outing_report.py` with numpy 2.4.6 and scipy 1.17.1.
const REFERENCE: &str = include_str!("../../../../tests/reference/outing_report.txt");

fn reference(kind: &str) -> [Vec<f64>; 3] {
    let line = REFERENCE.lines().find_map(|line| line.strip_prefix(kind)?.strip_prefix(" | "));
    let mut columns = line
        .unwrap()
        .split(" | ")
        .map(|column| column.split(' ').map(|n| n.parse().unwrap()).collect::<Vec<f64>>());
    [columns.next().unwrap(), columns.next().unwrap(), columns.next().unwrap()]
}

fn near(got: f64, want: f64, within: f64, what: &str) {
    assert!((got - want).abs() <= within * want.abs(), "{what}: got {got}, want {want}");
}

const fn s(seconds: f64) -> Seconds {
    Seconds::of(seconds)
}

fn row(from_s: f64, span_s: f64, watts: f64) -> Row {
    with(
        Row { from_s, span_s, stats: [None; Channel::ALL.len()] },
        Channel::Watts,
        Stats::one(watts),
    )
}

fn with(mut row: Row, channel: Channel, stats: Stats) -> Row {
    row.stats[channel.ix()] = Some(stats);
    row
}

fn told(rows: &[Row]) -> ReportInputs<'_> {
    ReportInputs {
        rows,
        events: &[],
        corrections: &[],
        contacts: &[],
        folds: &[],
        loads: &[],
        forecasts: &[],
        off_s: &[],
        truth: Truth::Open { at: s(0.0) },
    }
}

fn event(at_s: f64, kind: EventKind, text: &str) -> Event {
    Event { at: Mono::at_s(at_s), kind, text: text.to_string() }
}

fn from(at_s: f64, doing: &str) -> Event {
    event(at_s, EventKind::Activity, doing)
}

fn it_was(from_s: f64, to_s: f64, doing: &str) -> Correction {
    let activity = Some(doing.to_string()).filter(|doing| !doing.is_empty());
    Correction { id: 1, from_s, to_s, activity, origin: Origin::Operator }
}

fn made(at_s: f64, remaining_s: [f64; 3]) -> ForecastMade {
    ForecastMade {
        at: Mono::at_s(at_s),
        remaining_s,
        basis: Basis::Measured,
        delivered_wh: 0.0,
        bridged_wh: 0.0,
        usable_wh: None,
    }
}

fn wh_of(report: &Report, name: &str) -> f64 {
    let found = report.tally.activities().find(|(known, _)| *known == name);
    found.map_or(0.0, |(_, page)| page.energy().wh())
}

#[test]
fn energy_spread_and_load_are_numpys_and_scipys() {
    let [busy, watts, want] = reference("rows");
    let rows: Vec<Row> = busy
        .iter()
        .zip(&watts)
        .enumerate()
        .map(|(ix, (busy, watts))| {
            with(row(60.0 * ix as f64, 60.0, *watts), Channel::Busy, Stats::one(*busy))
        })
        .collect();
    let [begins, _, parts] = reference("parts");
    let names = ["", "receive", "contacts", "", "receive"];
    let changes: Vec<Event> = begins.iter().zip(names).map(|(at, name)| from(*at, name)).collect();
    let report = Report::from_inputs(&ReportInputs { events: &changes, ..told(&rows) });
    let whole = report.tally.whole();
    near(whole.energy().si(), want[0], 1e-12, "energy");
    near(whole.mean().unwrap().si(), want[1], 1e-12, "mean");
    near(whole.p95().unwrap().si(), want[2], crate::energy_tally::RELATIVE_ERROR, "95 %");
    near(wh_of(&report, "receive") * 3600.0, parts[1] + parts[4], 1e-9, "receive");
    near(wh_of(&report, "contacts") * 3600.0, parts[2], 1e-9, "contacts");
    near(report.tally.untagged().energy().si(), parts[0] + parts[3], 1e-9, "untold");
    let [_, _, hours] = reference("hours");
    assert_eq!(report.tally.hours().len(), hours.len());
    for (page, want) in report.tally.hours().iter().zip(hours) {
        near(page.energy().si(), want, 1e-9, "an hour");
    }
    let [_, _, want] = reference("load");
    let load = report.load.unwrap();
    near(load.line.slope, want[0], 1e-9, "slope");
    near(load.line.intercept, want[1], 1e-9, "intercept");
    near(load.line.slope_se, want[2], 1e-9, "standard error of the slope");
    near(load.taken.unwrap().0.si(), want[3], 1e-9, "above idle");
}

#[test]
fn forecasts_are_judged_as_numpy_judges_them() {
    let [three, came, want] = reference("judged");
    let end_s = 36_000.0;
    let made: Vec<ForecastMade> = three
        .chunks(3)
        .zip(&came)
        .map(|(said, came)| made(end_s - came, [said[0], said[1], said[2]]))
        .collect();
    // Known to an interval of 20 s: its middle counts.
    let judged = Forecasts::judge(&made, Truth::Died { at: s(end_s - 10.0), within: s(20.0) }, &[]);
    assert_eq!(judged.judged, made.len());
    near(judged.held as f64 / judged.judged as f64, want[0], 1e-12, "held");
    // numpy takes the mean of the two middle ones of an even number; these are odd.
    assert_eq!(made.len() % 2, 1);
    near(judged.middle_off.unwrap().si(), want[1], 1e-9, "misses");
    for (it, came) in judged.all.iter().zip(&came) {
        near(it.came.unwrap().si(), *came, 1e-9, "what came");
        let off = it.off.unwrap().si();
        near(it.off_share.unwrap().part(), off.abs() / came, 1e-9, "its share");
        let wanted = match it.outcome {
            ForecastOutcome::Sooner => *came < it.made.remaining_s[0],
            ForecastOutcome::Later => *came > it.made.remaining_s[2],
            ForecastOutcome::Held => true,
            ForecastOutcome::Open => false,
        };
        assert!(wanted, "{it:?}");
    }
}

#[test]
fn an_outing_that_was_switched_off_says_at_least() {
    let made = |at_s: f64, low: f64, high: f64| made(at_s, [low, f64::midpoint(low, high), high]);
    // It ended after 10 000 s with something left. What was said to end sooner was wrong; of the
    // others nobody can tell.
    let all = [
        made(1000.0, 3000.0, 5000.0),
        made(2000.0, 3000.0, 9000.0),
        made(3000.0, 9000.0, 12_000.0),
        made(10_000.0, 100.0, 200.0),
    ];
    let judged = Forecasts::judge(&all, Truth::AtLeast { at: s(10_000.0) }, &[]);
    let outcomes: Vec<ForecastOutcome> = judged.all.iter().map(|it| it.outcome).collect();
    assert_eq!(outcomes, [ForecastOutcome::Later, ForecastOutcome::Open, ForecastOutcome::Open]);
    assert_eq!((judged.judged, judged.held, judged.middle_off), (1, 0, None));
    // Switched off for 4000 s in between, what was left then lasts that much longer.
    let night = [(5000.0, 9000.0)];
    let judged = Forecasts::judge(&all, Truth::Died { at: s(10_000.0), within: s(0.0) }, &night);
    let came: Vec<f64> = judged.all.iter().map(|it| it.came.unwrap().si()).collect();
    assert_eq!(came, [5000.0, 4000.0, 3000.0]);
    let open = Forecasts::judge(&all, Truth::Open { at: s(11_000.0) }, &[]);
    assert!(open.all.iter().all(|it| it.outcome == ForecastOutcome::Open && it.came.is_none()));
    assert_eq!((open.judged, open.all.len()), (0, 4));
}

#[test]
fn later_corrections_win_and_can_be_left_out_again() {
    // A watt for an hour and forty minutes.
    let rows: Vec<Row> = (0..600).map(|ix| row(f64::from(ix) * 10.0, 10.0, 1.0)).collect();
    let changes = [from(0.0, "receive"), from(3000.0, "contacts")];
    let all = [
        it_was(1000.0, 2000.0, "logging"),
        it_was(1500.0, 2500.0, "idle"),
        it_was(2900.0, 3105.0, ""),
        it_was(4000.0, 4000.0, "nothing lasts no time"),
    ];
    let seconds = |corrections: &[Correction]| {
        let told = ReportInputs { events: &changes, corrections, ..told(&rows) };
        let report = Report::from_inputs(&told);
        let of = |name| libm::round(wh_of(&report, name) * 3600.0);
        let untold = libm::round(report.tally.untagged().energy().si());
        [of("receive"), of("contacts"), of("logging"), of("idle"), untold]
    };
    assert_eq!(seconds(&[]), [3000.0, 3000.0, 0.0, 0.0, 0.0]);
    assert_eq!(seconds(&all[..1]), [2000.0, 3000.0, 1000.0, 0.0, 0.0]);
    assert_eq!(seconds(&all[..2]), [1500.0, 3000.0, 500.0, 1000.0, 0.0]);
    assert_eq!(seconds(&all), [1400.0, 2895.0, 500.0, 1000.0, 205.0]);
    assert_eq!(seconds(&all[1..2]), [2000.0, 3000.0, 0.0, 1000.0, 0.0]);
    let report = Report::from_inputs(&ReportInputs {
        events: &changes,
        corrections: &all[1..3],
        ..told(&rows)
    });
    let done: Vec<(f64, f64, &str)> = report
        .done
        .iter()
        .map(|it| (it.from.si(), it.to.si(), it.doing.as_deref().unwrap_or("")))
        .collect();
    let want = [
        (0.0, 1500.0, "receive"),
        (1500.0, 2500.0, "idle"),
        (2500.0, 2900.0, "receive"),
        (2900.0, 3105.0, ""),
        (3105.0, 6000.0, "contacts"),
    ];
    assert_eq!(done, want);
}

/// Numbers that look random and repeat: a linear congruential generator (Knuth, 'The Art of
/// Computer Programming' 2, section 3.3.4, MMIX).
struct Dice(u64);

impl Dice {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        let part = f64::from(u32::try_from(self.0 >> 32).unwrap()) / f64::from(u32::MAX);
        low + (high - low) * part
    }
}

#[test]
fn an_outing_of_known_parts_is_taken_apart() {
    // Source of the limit: the task's own wish, each part within 3 % of its energy.
    for (seed, radio_w) in (0..20).flat_map(|seed| [(seed, 0.0), (seed, 4.2)]) {
        let mut dice = Dice(seed * 31 + 5);
        let parts = [("receive", 0.2, 0.0), ("contacts", 0.5, 6.0), ("logging", 0.1, 0.0)];
        let (mut changes, mut true_j) = (Vec::new(), [0.0; 3]);
        let (mut seconds, mut busy) = (Vec::new(), Vec::new());
        for turn in 0..9 {
            let (name, load, send_w) = parts[turn % 3];
            changes.push(from(seconds.len() as f64, name));
            for second in 0..libm::round(dice.between(400.0, 1500.0)) as usize {
                let load = (load + dice.between(-0.1, 0.1)).max(0.0);
                let sends = send_w > 0.0 && second % 30 < 13;
                let watts = 2.1 + 3.0 * load + radio_w + if sends { send_w } else { 0.0 };
                let watts = watts + dice.between(-0.05, 0.05);
                true_j[turn % 3] += watts;
                seconds.push(watts);
                busy.push(load);
            }
        }
        // Rows begin where the daemon's seconds do, so a change falls inside of one.
        let mean = |all: &[f64]| all.iter().sum::<f64>() / all.len() as f64;
        let rows: Vec<Row> = seconds
            .chunks(10)
            .zip(busy.chunks(10))
            .enumerate()
            .map(|(ix, (watts, busy))| {
                let row = row(ix as f64 * 10.0, watts.len() as f64, mean(watts));
                with(row, Channel::Busy, Stats::one(mean(busy)))
            })
            .collect();
        let report = Report::from_inputs(&ReportInputs { events: &changes, ..told(&rows) });
        for ((name, _, _), want) in parts.iter().zip(true_j) {
            near(wh_of(&report, name) * 3600.0, want, 0.03, name);
        }
        near(report.tally.whole().energy().si(), true_j.iter().sum(), 1e-9, "all");
        assert_eq!(report.tally.untagged().lasted(), s(0.0));
    }
}

#[test]
fn a_peak_is_of_single_looks_and_falls_to_the_piece_that_most_likely_held_it() {
    let high = |row: Row, watts: f64| {
        let draw = row.get(Channel::Watts).unwrap();
        with(row, Channel::Watts, Stats { max: watts, ..draw })
    };
    let rows = [high(row(0.0, 10.0, 3.0), 14.0), high(row(10.0, 10.0, 3.0), 4.0)];
    let changes = [from(0.0, "contacts"), from(7.0, "receive")];
    let report = Report::from_inputs(&ReportInputs { events: &changes, ..told(&rows) });
    let peak = |name| {
        let page = report.tally.activities().find(|(known, _)| *known == name).unwrap().1;
        page.peak().si()
    };
    assert_eq!(report.tally.whole().peak().si(), 14.0);
    assert_eq!((peak("contacts"), peak("receive")), (14.0, 4.0));
}

#[test]
fn gaps_are_not_energy_and_ranges_are_weighed_by_time() {
    let mut rows = Vec::new();
    for ix in 0..100 {
        let mut row = row(f64::from(ix) * 10.0, if ix < 50 { 10.0 } else { 5.0 }, 3.0);
        row = with(row, Channel::Temp, Stats::one(if ix < 50 { 40.0 } else { 60.0 }));
        let low_v = if ix == 70 { 4.6 } else { 5.1 };
        row = with(row, Channel::Volts, Stats { mean: 5.1, min: low_v, max: 5.1 });
        if (20..30).contains(&ix) || ix >= 90 {
            row.stats[Channel::Watts.ix()] = None;
        }
        if ix >= 90 {
            row = with(row, Channel::Modelled, Stats::one(3.0));
        }
        rows.push(row);
    }
    let report = Report::from_inputs(&told(&rows));
    near(report.tally.whole().energy().si(), 3.0 * (400.0 + 250.0), 1e-12, "energy");
    assert_eq!((report.silent, report.modelled.lasted()), (s(100.0), s(50.0)));
    let temp = report.temp.unwrap();
    assert_eq!((temp.low.si(), temp.high.si()), (40.0, 60.0));
    near(temp.mean.si(), (40.0 * 500.0 + 60.0 * 250.0) / 750.0, 1e-12, "temperature");
    assert_eq!(report.volts.unwrap().low.si(), 4.6);
    let nothing = Report::from_inputs(&told(&[]));
    assert!(nothing.temp.is_none() && nothing.load.is_none() && nothing.contacts.is_none());
    assert_eq!(nothing.tally.whole().mean(), None);
}

#[test]
fn contacts_folds_and_what_is_left_come_together() {
    // 1970-01-01 00:00 UTC is the report's zero.
    let log = read(
        b"<QSO_DATE:8>19700101<TIME_ON:4>0010<TIME_OFF:4>0020<BAND:3>20m<MODE:3>FT8<EOR>\
          <QSO_DATE:8>19700101<TIME_ON:4>0030<TIME_OFF:4>0035<BAND:3>40m<MODE:2>CW<EOR>\
          <QSO_DATE:8>19700101<TIME_ON:4>0040<TIME_OFF:4>0042<BAND:3>40m<MODE:2>CW<EOR>",
        Keep::default(),
    );
    let rows: Vec<Row> = (0..360).map(|ix| row(f64::from(ix) * 10.0, 10.0, 6.0)).collect();
    // A transmission of 12.64 s every 30 s on a quiet board, for an hour.
    let beats = (0..3600).map(|at| crate::fold::Beat {
        at_s: f64::from(at),
        watts: 3.0 + if at % 30 < 13 { 8.0 } else { 0.02 * f64::from(at % 7) },
    });
    let found = crate::fold::fold(beats, Reads::SecondMeans).unwrap();
    let forecasts = [made(3000.0, [3000.0, 4200.0, 6000.0])];
    let report = Report::from_inputs(&ReportInputs {
        contacts: &log.contacts,
        folds: &[found.clone(), found.clone()],
        forecasts: &forecasts,
        truth: Truth::Open { at: s(3600.0) },
        ..told(&rows)
    });
    let contacts = report.contacts.unwrap();
    assert_eq!((contacts.contacts, contacts.elsewhere), (3, 0));
    near(contacts.in_contact.si(), 1020.0, 1e-9, "in contact");
    near(contacts.energy_each().unwrap().wh(), 2.0, 1e-9, "each");
    // 3600 s are left of the 4200, at 6 W: as much as three contacts took.
    near(report.left.unwrap().wh(), 6.0, 1e-9, "left");
    let [low, middle, high] = contacts.still_possible(report.left.unwrap()).unwrap();
    assert!(low < 3.0 && (2.5..4.0).contains(&middle) && high > 3.0, "{low} {middle} {high}");
    let [total] = &report.folds[..] else { panic!("one slot") };
    near(total.lasted.si(), 2.0 * found.seconds, 1e-12, "folded");
    near(total.energy.si(), 2.0 * found.energy.si(), 1e-12, "energy");
    near(
        total.transmit.si(),
        2.0 * found.part(Kind::Transmit).unwrap().energy.si(),
        1e-12,
        "transmit",
    );
}

#[test]
fn a_mark_that_switched_something_says_what_it_draws() {
    let rows: Vec<Row> = (0..120)
        .map(|ix| {
            let at_s = f64::from(ix) * 10.0;
            let lamp_w = if at_s >= 600.0 { 0.6 } else { 0.0 };
            row(at_s, 10.0, 3.0 + lamp_w + 0.02 * f64::from(ix % 3))
        })
        .collect();
    let mark = |at_s, text| event(at_s, EventKind::Mark, text);
    let marks =
        [mark(300.0, "rain"), mark(604.0, " lamp lit "), mark(620.0, ""), mark(1190.0, "end")];
    let report = Report::from_inputs(&ReportInputs { events: &marks, ..told(&rows) });
    let texts: Vec<&str> = report.switched.iter().map(|it| it.text.as_str()).collect();
    // Nothing undisturbed is left on either side of the lamp's, and hardly anything after 'end'.
    assert_eq!(texts, ["rain"], "{:?}", report.switched);
    let marks = [mark(300.0, "rain"), mark(604.0, " lamp lit ")];
    let report = Report::from_inputs(&ReportInputs { events: &marks, ..told(&rows) });
    let lamp = report.switched.iter().find(|it| it.text == "lamp lit").unwrap();
    near(lamp.more.0.si(), 0.6, 0.03, "the lamp");
    assert!(lamp.more.1.si() < 0.02);
    let rain = report.switched.iter().find(|it| it.text == "rain").unwrap();
    assert!(rain.more.0.si().abs() < 2.0 * rain.more.1.si().max(0.01), "{rain:?}");
    assert_eq!(rain.text, "rain".to_string());
    // A switch was judged at the time, from single seconds; it is not judged twice.
    let marks = [mark(604.0, "lamp on")];
    assert!(
        Report::from_inputs(&ReportInputs { events: &marks, ..told(&rows) }).switched.is_empty()
    );
}

/// Two hours of a board that is idle at 3 W and takes 3.4 W more at work. With a radio on the same
/// sensor: 4 W for 12.64 s of every other slot of 15 s (QEX Jul/Aug 2020), decoding after the others.
fn beside_a_transmitter(sends: bool, measured: bool) -> (Vec<Row>, f64) {
    let at = |second: u32| {
        let sent = sends && second / 300 % 2 == 1 && (second / 15).is_multiple_of(2);
        let decodes = second % 15 >= 13 && !sent;
        let busy = if decodes { 0.8 } else { 0.05 + 0.05 * f64::from(second / 20 % 5) };
        (busy, 3.0 + 3.4 * busy + if sent && second % 15 < 13 { 4.0 } else { 0.0 })
    };
    let (mut rows, mut busy_s) = (Vec::new(), 0.0);
    for ten in 0..720_u32 {
        let seconds: Vec<(f64, f64)> = (0..10).map(|second| at(10 * ten + second)).collect();
        let mean = |of: fn(&(f64, f64)) -> f64| seconds.iter().map(of).sum::<f64>() / 10.0;
        let watts = || seconds.iter().map(|it| it.1);
        let (low, high) = (watts().fold(99.0, f64::min), watts().fold(0.0, f64::max));
        let draw = Stats { mean: mean(|it| it.1), min: low, max: high };
        busy_s += 10.0 * mean(|it| it.0);
        let empty =
            Row { from_s: f64::from(ten) * 10.0, span_s: 10.0, stats: [None; Channel::ALL.len()] };
        let row = with(empty, Channel::Busy, Stats::one(mean(|it| it.0)));
        rows.push(with(row, if measured { Channel::Watts } else { Channel::Modelled }, draw));
    }
    (rows, 3.4 * busy_s)
}

fn transmissions() -> Fold {
    let part = |kind, watts| crate::fold::Part {
        kind,
        watts: Watts::of(watts),
        time: Share::WHOLE,
        share: Share::WHOLE,
        energy: Joules::of(3600.0 * watts),
        begins_s: 0.0,
        lasts_s: 12.64,
        bridged: false,
    };
    Fold {
        period_s: 30.0,
        slot_s: 15.0,
        mode: None,
        chance: 1e-9,
        curve: Vec::new(),
        parts: alloc::vec![part(Kind::Receive, 3.2), part(Kind::Transmit, 4.0)],
        seconds: 3600.0,
        energy: Joules::of(3600.0 * 7.2),
        sent: 60,
        slots: 240,
    }
}

fn line(intercept: f64, slope: f64, slope_se: f64, pairs: f64) -> RegressionLine {
    RegressionLine {
        intercept,
        slope,
        slope_se,
        intercept_se: 0.02,
        explained: Share::WHOLE,
        pairs,
    }
}

#[test]
fn what_load_takes_is_the_fit_that_stood_at_the_time() {
    let (rows, taken_j) = beside_a_transmitter(true, true);
    let of = |line| LoadLine { from_s: 0.0, to_s: 7200.0, line };
    // Of two runs the surer one; what cannot be, or was moved by a transmitter, is none, however sure.
    let moved = RegressionLine { explained: Share::nearest(0.1), ..line(4.6, 1.2, 0.01, 90.0) };
    let stood = [
        of(Some(moved)),
        of(Some(line(3.0, 3.42, 0.05, 40.0))),
        of(Some(line(3.1, 3.1, 0.3, 12.0))),
        of(Some(line(23.61, -18.13, 0.5, 90.0))),
        of(None),
    ];
    let report = Report::from_inputs(&ReportInputs { loads: &stood, ..told(&rows) });
    let load = report.load.unwrap();
    assert_eq!((load.line.slope, load.from_rows), (3.42, false));
    near(load.taken.unwrap().0.si(), taken_j, 0.1, "work took");
    // A fit that told nothing is not made up for.
    let report = Report::from_inputs(&ReportInputs { loads: &stood[4..], ..told(&rows) });
    assert_eq!(report.load, None);
}

#[test]
fn an_old_record_is_fitted_to_what_no_transmitter_moved() {
    let folds = [transmissions()];
    for (sends, folds) in [(true, &folds[..]), (false, &[])] {
        let (rows, taken_j) = beside_a_transmitter(sends, true);
        let load = Report::from_inputs(&ReportInputs { folds, ..told(&rows) }).load.unwrap();
        near(load.line.slope, 3.4, 0.1, "what all cores take");
        near(load.taken.unwrap().0.si(), taken_j, 0.1, "work took");
        assert!(load.from_rows);
    }
}

#[test]
fn what_is_modelled_or_cannot_be_is_no_fit() {
    // Without a sensor the draw is made of the load: to fit it says nothing.
    let (rows, _) = beside_a_transmitter(false, false);
    assert_eq!(Report::from_inputs(&told(&rows)).load, None);
    for (intercept, slope, slope_se) in [
        (23.61, -18.13, 1.0),
        (-0.5, 3.0, 0.1),
        (3.0, 0.1, 0.1),
        (3.0, 3400.0, 1.0),
        (3.0, 3.0, f64::NAN),
        (f64::NAN, 3.0, 0.1),
        (0.03, 3.0, 0.1),
    ] {
        let line = line(intercept, slope, slope_se, 60.0);
        assert!(!line.is_possible_draw(), "{line:?}");
        let said = crate::words::fold::load(&line);
        assert!(!said.contains("would draw"), "{said}");
        assert_eq!(crate::energy_tally::footprint(&line, 0.02, 4), None);
    }
    assert!(line(2.5, 3.2, 0.1, 60.0).is_possible_draw());
}

#[test]
fn what_does_not_come_apart_is_not_called_receiving() {
    let apart = transmissions();
    let bare = Fold { parts: apart.parts[..1].to_vec(), sent: 0, ..apart.clone() };
    let of = |folds: &[Fold]| Report::from_inputs(&ReportInputs { folds, ..told(&[]) }).folds;
    let folds = of(core::slice::from_ref(&bare));
    let [none] = &folds[..] else { panic!("{folds:?}") };
    assert!(!none.is_apart() && none.latest.parts_apart().is_empty());
    assert_eq!((none.latest.slots_sent(), none.untold), (None, none.energy));
    let said = crate::words::report::folded(none);
    assert!(!said.contains("receive"), "{said}");
    assert!(crate::words::fold::fold(&none.latest).contains("cannot be told apart"));
    // Of two hours one came apart: that one is shown, and the four add up.
    let folds = of(&[Fold { seconds: 4000.0, ..bare }, apart]);
    let [both] = &folds[..] else { panic!("{folds:?}") };
    assert_eq!((both.sent, both.latest.parts_apart().len()), (60, 2));
    let parts = both.receive + both.transmit + both.decode + both.untold;
    near(parts.si(), both.energy.si(), 1e-9, "the parts");
    assert!(crate::words::report::folded(both).contains("not told apart 7.2"));
}
