//! An invented past for tests and for the example that shows pages: two banks, some outings, and a
//! series with a burst, a gap and an end.

use std::sync::{
    Arc, Mutex,
    atomic::{AtomicUsize, Ordering},
};

use reckon::{
    adif::{Contact, band_named},
    bank::BankSpec,
    energy_tally::OutingTally,
    engine::UsualDraw,
    fold::{Beat, Reads, fold},
    plan::Known,
    record::{
        self, BankWhole, Channel, Correction, Ending, Event, EventKind, LoggedContact, Origin,
        Outing, OutingContacts, OutingPlan, OutingWhole, Page, PlacedContact, PlannedStretch,
        RecordedBank, RecordedRunDown, Row, RunDown, Series, SeriesAsk, SourceGap, Stats, Stretch,
        TestLoad, year_before,
    },
    report::{self, BankTally, LearnedStep, OutingReport, PlanOutcome, Report, Truth},
    snapshot::Basis,
    time::{Mono, Stamp, Trust, Wall},
    units::{Seconds, Watts},
};
use web::{
    BankShown, Clock, ClockCompared, FileSetAside, NoRecord, Pieces, RecordReader, RecordStatus,
    RunningTest,
};

use crate::scenes;

/// 2024-03-09T04:05:10Z by GNU date.
const DAY_S: i64 = 1_709_957_110;
/// The outings of the list; ids go from 1 up.
pub(crate) const OUTINGS: i64 = 31;

/// What this past does when asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Mood {
    Well,
    Empty,
    Gone,
}

pub(crate) struct Invented {
    pub(crate) mood: Mood,
    /// Readings that go on now, and the most that ever did.
    pub(crate) now: AtomicUsize,
    pub(crate) most: AtomicUsize,
    pub(crate) slow: bool,
    /// Contacts that outing 29 has from the second look on.
    pub(crate) gains: Mutex<Vec<LoggedContact>>,
    looks: AtomicUsize,
}

impl Invented {
    /// A past in this mood; a slow one takes its time for each answer.
    pub(crate) fn new(mood: Mood, slow: bool) -> Arc<Self> {
        let (now, most) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let (gains, looks) = (Mutex::default(), AtomicUsize::new(0));
        Arc::new(Self { mood, now, most, slow, gains, looks })
    }

    fn told<T>(&self, what: T, empty: T) -> Result<T, NoRecord> {
        let on = self.now.fetch_add(1, Ordering::SeqCst) + 1;
        self.most.fetch_max(on, Ordering::SeqCst);
        if self.slow {
            std::thread::sleep(std::time::Duration::from_millis(20));
        }
        self.now.fetch_sub(1, Ordering::SeqCst);
        match self.mood {
            Mood::Well => Ok(what),
            Mood::Empty => Ok(empty),
            Mood::Gone => Err(NoRecord {
                say: "The record cannot be read: the card does not answer. Measuring goes on."
                    .to_owned(),
            }),
        }
    }
}

fn line(id: i64) -> Outing {
    let began_s = DAY_S - (OUTINGS - id) * 7 * 86_400;
    let lasted_s = 34_800.0 - 240.0 * ((OUTINGS - id) % 9) as f64;
    let (ending, within_s, name) = match (OUTINGS - id) % 6 {
        0 => (Ending::Open, None, Some("Ridge above the reservoir")),
        1 => (Ending::PowerLost { died: 0.93 }, Some(10.0), None),
        2 => (Ending::Died, Some(10.0), Some("Old quarry, in the cold")),
        3 => (Ending::SwitchedOff, Some(0.0), Some("Ridge above the reservoir")),
        4 => (Ending::Swapped, Some(3.0), None),
        _ => (Ending::PowerLost { died: 0.04 }, Some(60.0), Some("Field weekend <first day>")),
    };
    let ended = Wall::from_unix_ms(began_s * 1000).plus_s(lasted_s);
    let known = (OUTINGS - id) % 7 != 4;
    let when = Outing {
        id,
        began: known.then(|| Wall::from_unix_ms(began_s * 1000)),
        ended: (known && ending != Ending::Open).then_some(ended),
        lasted_s,
        ended_within_s: within_s,
        ..Outing::default()
    };
    Outing {
        name: name.map(str::to_owned),
        bank: Some(if id % 4 == 0 { "Long six" } else { "Blue ten" }.to_owned()),
        start_share: Some(1.0),
        ending,
        energy_wh: Some(31.42 - 0.3 * ((OUTINGS - id) % 5) as f64),
        bridged_wh: Some(0.4),
        mean_power_w: Some(3.25),
        peak_power_w: Some(7.9),
        ..when
    }
}

fn event(at_s: f64, kind: EventKind, text: &str) -> Event {
    Event { at: Mono::at_s(at_s), kind, text: text.to_owned() }
}

/// The plan that an outing was started with: what one says of the bank, or of its contacts, was wrong.
fn plan(id: i64) -> OutingPlan {
    let stretch = |name: &str, lasts_s, draw_w| PlannedStretch {
        name: name.to_owned(),
        lasts_s,
        draw_w,
        draw_log_sd: 0.1,
    };
    let of_bank = id % 4 == 3;
    OutingPlan {
        began_s: 300.0,
        bank: "Blue ten".to_owned(),
        finish_s: 28_800.0,
        reserve_s: 3600.0,
        lasts_s: [26_100.0, 30_600.0, 35_100.0],
        energy_wh: if of_bank { [34.0, 39.0, 44.0] } else { [27.0, 31.5, 36.0] },
        ambient_c: Some(-4.0),
        stretches: vec![
            stretch("Receive", 14_100.0, 3.2),
            stretch("", 1500.0, 1.4),
            stretch("Contacts", 14_400.0, if of_bank { 3.2 } else { 4.6 }),
        ],
    }
}

fn whole(id: i64) -> OutingWhole {
    let line = line(id);
    let truth = line.lasted_s;
    let forecasts = (1..58)
        .map(|ten| {
            let at_s = f64::from(ten) * 600.0;
            let left = (truth - at_s)
                * (1.0 + 0.12 * (f64::from(ten) / 5.0).sin() / f64::from(ten).sqrt());
            let wide = left * (0.06 + 0.25 / f64::from(ten).sqrt());
            record::ForecastMade {
                at: Mono::at_s(at_s),
                remaining_s: [left - wide, left, left + wide],
                basis: Basis::Measured,
                delivered_wh: 0.0,
                bridged_wh: 0.0,
                usable_wh: None,
            }
        })
        .filter(|it| it.at.as_s() < truth)
        .collect();
    OutingWhole {
        events: vec![
            event(4.0, EventKind::Activity, "receive"),
            event(5_402.0, EventKind::Undervoltage, "4.62 V"),
            event(9_010.0, EventKind::Mark, "rain, moved under the <tree>"),
            event(30_200.0, EventKind::AlarmRaised, "Less than an hour left."),
        ],
        gaps: vec![SourceGap {
            id: "ina226".to_owned(),
            from_s: 14_400.0,
            to_s: Some(15_900.0),
            title: "INA226 on I²C bus 1".to_owned(),
            why: "the chip did not answer".to_owned(),
        }],
        forecasts,
        on: Vec::new(),
        rows: Vec::new(),
        off_s: Vec::new(),
        contacts: contacts_of(id),
        corrections: Vec::new(),
        folds: Vec::new(),
        loads: Vec::new(),
        plan: (line.ending == Ending::Died).then(|| plan(id)),
        bank: (line.ending == Ending::Died).then(|| BankWhole {
            bank: bank(1, scenes::blue_ten(), false),
            run_downs: vec![rundown(3, Some(id))],
        }),
        outing: line,
    }
}

/// The open one does not know the time of day of its beginning.
fn contacts_of(outing: i64) -> OutingContacts {
    let (count, undated_s) = match outing {
        31 => (4, Some(1800.0)),
        29 => (31, None),
        _ => (0, None),
    };
    let one = PlacedContact { t_s: 0.0, contact: LoggedContact::default() };
    OutingContacts { contacts: vec![one; count], undated_s, within_s: 0.0 }
}

fn bank(id: i64, spec: BankSpec, forgotten: bool) -> RecordedBank {
    RecordedBank { id, spec, forgotten }
}

fn rundown(id: i64, outing: Option<i64>) -> RecordedRunDown {
    let data = RunDown {
        name: None,
        whole: true,
        start_share: Some(1.0),
        lasted_s: 34_320.0,
        within_s: 10.0,
        before_s: 0.0,
        delivered_wh: Some(30.8),
        bridged_wh: Some(0.2),
        mean_power_w: Some(3.2),
        measured: true,
        ambient_c: Some(4.0),
        ..RunDown::default()
    };
    let began = Some(Wall::from_unix_ms((DAY_S - 20 * 86_400) * 1000));
    RecordedRunDown { id, bank: 1, outing, began, outing_wh: None, struck: false, data }
}

fn rundowns() -> Vec<RecordedRunDown> {
    // 119 marks ten minutes apart: 19 h 40 from first to last, known to ten minutes each way (a bank
    // of this size under a small idle board: common practice, no source).
    let listed = RunDown {
        name: Some("Small idle board".to_owned()),
        whole: true,
        start_share: Some(1.0),
        lasted_s: 70_800.0,
        within_s: 600.0,
        before_s: 600.0,
        ..RunDown::default()
    };
    let listed = RecordedRunDown { began: None, data: listed, ..rundown(1, None) };
    let mut cut = RecordedRunDown { struck: true, ..rundown(2, Some(28)) };
    cut.data = RunDown {
        whole: false,
        start_share: Some(0.7),
        delivered_wh: Some(12.2),
        within_s: 0.0,
        ..cut.data
    };
    let earlier = [(4, 193, 28.9, true), (5, 158, 24.6, false), (6, 123, 28.4, true)];
    let later = [(7, 95, 25.1, false), (8, 60, 27.7, true)];
    let mut all = vec![listed];
    all.extend(earlier.into_iter().chain(later).map(|it| gave(1, it)));
    let last = gave(1, (3, 20, 26.7, true));
    all.extend([cut, RecordedRunDown { outing: Some(29), ..last }]);
    all
}

/// A run-down so many days ago: Wh at 3.1 W, and whether the bank cut out.
fn gave(bank: i64, (id, days, wh, whole): (i64, i64, f64, bool)) -> RecordedRunDown {
    let mut one = rundown(id, None);
    one.began = Some(Wall::from_unix_ms((DAY_S - days * 86_400) * 1000));
    one.data.whole = whole;
    one.data.delivered_wh = Some(wh);
    one.data.lasted_s = wh / 3.1 * 3600.0;
    one.data.mean_power_w = Some(3.1);
    RecordedRunDown { bank, ..one }
}

/// The invented draw.
fn watts(t: f64) -> Option<f64> {
    let more = if (20_000.0..23_000.0).contains(&t) { 1.4 } else { 0.0 };
    (!(14_400.0..15_900.0).contains(&t))
        .then(|| 3.1 + 0.5 * (t / 3_000.0).sin() + 0.25 * (t / 130.0).sin() + more)
}

fn rows(lasted_s: f64) -> Vec<Row> {
    let row = |ix: u32| {
        let t = f64::from(ix) * 10.0;
        let busy = 0.3 + 0.2 * (t / 3_000.0).sin() + 0.1 * (t / 130.0).sin();
        let low_v = if ix == 540 { 4.62 } else { 5.08 };
        let mut stats = [None; Channel::ALL.len()];
        stats[Channel::Watts.ix()] =
            watts(t).map(|w| Stats { mean: w, min: w - 0.4, max: w + 1.2 });
        stats[Channel::Busy.ix()] = Some(Stats::one(busy));
        stats[Channel::Temp.ix()] = Some(Stats::one(44.0 + 30.0 * (busy - 0.3)));
        stats[Channel::Volts.ix()] = Some(Stats { mean: 5.08, min: low_v, max: 5.09 });
        Row { from_s: t, span_s: 10.0, stats }
    };
    (0_u32..).map(row).take_while(|row| row.to_s() <= lasted_s).collect()
}

/// A contact that begins so long after the report's zero, and lasts so long.
fn contact(at_s: f64, lasted_s: f64, band: &str, mode: &str) -> Contact {
    let began = report::zero_at(Seconds::of(at_s));
    Contact {
        began,
        ended: Some(began.plus_s(lasted_s)),
        band: band_named(band),
        mode: Some(mode.to_owned()),
        with: Some("N0CALL".to_owned()),
    }
}

/// What was put right in an outing: one stretch by the operator, two from the log.
fn corrections() -> Vec<Correction> {
    let one = |id, from_s, to_s, activity: &str, origin| Correction {
        id,
        from_s,
        to_s,
        activity: Some(activity.to_owned()),
        origin,
    };
    vec![
        one(7, 9_000.0, 9_600.0, "<own> logging", Origin::Operator),
        one(8, 21_000.0, 21_300.0, "contacts", Origin::Contacts),
        one(9, 22_000.0, 22_120.0, "contacts", Origin::Contacts),
    ]
}

/// An outing's report, made as the daemon makes it: from rows.
fn report_of(id: i64) -> OutingReport {
    let mut whole = whole(id);
    let of = Seconds::of;
    let lasted = whole.outing.lasted_s;
    // Every other outing is without a contact log.
    let contacts = if id % 2 == 1 {
        vec![
            contact(21_000.0, 300.0, "20m", "FT8"),
            contact(22_000.0, 120.0, "20m", "FT8"),
            contact(26_000.0, 240.0, "40m", "CW"),
        ]
    } else {
        Vec::new()
    };
    // A transmission of 12.64 s every 30 s (QEX Jul/Aug 2020: 79 symbols of 0.160 s).
    let beat = |at: u32| Beat {
        at_s: f64::from(at),
        watts: 2.6 + if at % 30 < 13 { 6.0 } else { 0.02 * f64::from(at % 7) },
    };
    let folds: Vec<_> = fold((0..3600).map(beat), Reads::SecondMeans).into_iter().collect();
    let put_right = corrections();
    let event = |at_s, kind, text: &str| Event { at: Mono::at_s(at_s), kind, text: text.into() };
    let events = [
        event(4.0, EventKind::Activity, "receive"),
        event(9_010.0, EventKind::Mark, "rain, moved under the <tree>"),
        event(20_000.0, EventKind::Activity, "contacts"),
        event(23_000.0, EventKind::Activity, "receive"),
    ];
    let died = whole.outing.ending == Ending::Died;
    let truth = match whole.outing.ending {
        Ending::Open => Truth::Open { at: of(lasted) },
        Ending::Died => Truth::Died { at: of(lasted), within: of(10.0) },
        _ => Truth::AtLeast { at: of(lasted) },
    };
    let mut report = Report::from_inputs(&report::ReportInputs {
        rows: &rows(lasted),
        events: &events,
        corrections: &put_right,
        contacts: &contacts,
        folds: &folds,
        loads: &[],
        forecasts: &whole.forecasts,
        off_s: &[],
        truth,
    });
    // The board started for 22 s; what the gap took is bridged.
    report.energy.unread[0] = record::EnergyPart { lasted_s: 22.0, energy_wh: 0.02 };
    report.energy.unread[2] = record::EnergyPart { lasted_s: 1500.0, energy_wh: 1.36 };
    whole.outing.energy_wh = Some(report.all().wh());
    whole.outing.bridged_wh = Some(1.38);
    whole.corrections = put_right;
    whole.contacts.undated_s = None;
    whole.rows = rows(lasted);
    let planned = PlanOutcome::of_outing(&whole, truth, report.all());
    whole.rows = Vec::new();
    OutingReport {
        planned,
        report,
        learned: died
            .then_some(LearnedStep { before_wh: [24.1, 29.0, 33.8], after_wh: [28.4, 30.6, 32.9] }),
        whole,
    }
}

fn series(ask: &SeriesAsk) -> Option<Series> {
    let Stretch::Outing { id, from_s, to_s } = ask.of else { return None };
    if !(1..=OUTINGS).contains(&id) {
        return None;
    }
    let to_s = to_s.min(line(id).lasted_s);
    let step_s = ((to_s - from_s) / ask.points as f64 / 10.0).ceil().max(1.0) * 10.0;
    let t_s: Vec<f64> =
        (0_u32..).map(|ix| from_s + f64::from(ix) * step_s).take_while(|t| *t < to_s).collect();
    let of = |channel: Channel| {
        let value = |t: f64| match channel {
            Channel::Watts => watts(t),
            Channel::Temp => Some(44.0 + 6.0 * (t / 3_000.0).sin()),
            Channel::Volts => Some(5.08),
            Channel::Amps => Some(0.63),
            _ => None,
        };
        let (below, above) = match channel {
            Channel::Volts => (-0.02, 0.01),
            _ => (-0.4, 2.6),
        };
        let stats = |mean: f64| Stats { mean, min: mean + below, max: mean + above };
        (channel, t_s.iter().map(|t| value(*t).map(stats)).collect())
    };
    let channels = ask.channels.iter().map(|channel| of(*channel)).collect();
    Some(Series { step_s, t_s, channels })
}

/// A text in two pieces.
fn pieces(text: &str) -> Pieces {
    let (one, other) = text.as_bytes().split_at(text.len() / 2);
    Box::new([Ok(one.to_vec()), Ok(other.to_vec())].into_iter())
}

impl RecordReader for Invented {
    fn outings(&self, before: Option<i64>, most: usize) -> Result<Page<Outing>, NoRecord> {
        let newest = before.map_or(OUTINGS, |before| before.saturating_sub(1).min(OUTINGS));
        let outings: Vec<Outing> = (1..=newest.max(0)).rev().take(most).map(line).collect();
        let next = outings.last().map(|line| line.id).filter(|id| *id > 1);
        self.told(Page { items: outings, next }, Page::default())
    }

    fn outing(&self, id: i64) -> Result<Option<OutingWhole>, NoRecord> {
        self.told((1..=OUTINGS).contains(&id).then(|| whole(id)), None)
    }

    fn report(&self, id: i64) -> Result<Option<OutingReport>, NoRecord> {
        self.told((1..=OUTINGS).contains(&id).then(|| report_of(id)), None)
    }

    fn series(&self, ask: &SeriesAsk) -> Result<Option<Series>, NoRecord> {
        self.told(series(ask), None)
    }

    fn banks(&self) -> Result<Vec<BankShown>, NoRecord> {
        let outings: Vec<Outing> = (1..=OUTINGS).rev().map(line).collect();
        let bank = |id, spec: BankSpec, forgotten| {
            let run_downs = match id {
                1 => rundowns(),
                2 => [(9, 70, 58.0, false), (10, 40, 55.0, false)].map(|it| gave(2, it)).into(),
                _ => Vec::new(),
            };
            let own = outings.iter().filter(|it| it.bank.as_ref() == Some(&spec.name));
            let own = own.cloned().collect();
            let whole = BankWhole { bank: bank(id, spec, forgotten), run_downs };
            let (usable_wh, year) = (whole.usable_wh(), whole.year(year_before(&outings)));
            BankShown { whole, usable_wh, year, outings: own }
        };
        let mut old = scenes::blue_ten();
        old.name = "Old grey".to_owned();
        self.told(
            vec![
                bank(1, scenes::blue_ten(), false),
                bank(2, scenes::long_six(), false),
                bank(3, old, true),
            ],
            Vec::new(),
        )
    }

    fn book(&self, bank: i64) -> Result<Option<BankTally>, NoRecord> {
        let mut tally = OutingTally::new();
        for id in [25, 29] {
            tally.merge(&report_of(id).report.tally);
        }
        let bank = (bank == 1).then(|| BankTally {
            bank: "Blue ten".to_owned(),
            outings: 2,
            of: 23,
            coarsest_s: 10.0,
            tally,
            unread: record::EnergyPart { lasted_s: 44.0, energy_wh: 0.04 },
            over_range_wh: 0.0,
        });
        self.told(bank, None)
    }

    fn known(&self) -> Result<Known, NoRecord> {
        let six = BankWhole {
            bank: bank(2, scenes::long_six(), false),
            run_downs: [(9, 70, 58.0, false), (10, 40, 55.0, false)].map(|it| gave(2, it)).into(),
        };
        let ten = BankWhole { bank: bank(1, scenes::blue_ten(), false), run_downs: rundowns() };
        let banks = [ten, six].map(|it| {
            let learned = record::learned(&it.bank.spec, &it.run_downs);
            (it.bank.spec, learned)
        });
        let watts = |w| UsualDraw { watts: Watts::of(w), log_sd: 0.1 };
        let usual = vec![("receive".to_owned(), watts(3.4)), ("contacts".to_owned(), watts(4.1))];
        let known = Known {
            banks: banks.into(),
            usual: vec![("Blue ten".to_owned(), usual)],
            ..Known::default()
        };
        self.told(known, Known::default())
    }

    fn csv(&self, outing: i64) -> Result<Option<Pieces>, NoRecord> {
        let text = "t_s,cpu_util,cpu_temp_c,bus_v,current_a\r\n0,0.1,41.2,5.08,0.63\r\n";
        self.told((1..=OUTINGS).contains(&outing).then(|| pieces(text)), None)
    }

    fn json(&self, outing: i64) -> Result<Option<Pieces>, NoRecord> {
        let text = format!("{{\"id\":{outing}}}");
        self.told((1..=OUTINGS).contains(&outing).then(|| pieces(&text)), None)
    }

    fn contacts(&self, outing: i64) -> Result<Option<OutingContacts>, NoRecord> {
        let mut told = contacts_of(outing);
        if outing == 29 && self.looks.fetch_add(1, Ordering::SeqCst) > 0 {
            let gains = self.gains.lock().map(|gains| gains.clone()).unwrap_or_default();
            told.contacts
                .extend(gains.into_iter().map(|contact| PlacedContact { t_s: 0.0, contact }));
        }
        self.told((1..=OUTINGS).contains(&outing).then_some(told), None)
    }

    fn close_ups(&self, outing: i64) -> Result<Option<Pieces>, NoRecord> {
        let text = "t_s,volts_v,power_w,why\r\n60,5.08,3.2,mark: rain\r\n";
        self.told((1..=OUTINGS).contains(&outing).then(|| pieces(text)), None)
    }

    fn copy(&self) -> Result<Pieces, NoRecord> {
        let [head, rest] = [b"SQLite format 3\0".to_vec(), vec![7; 200_000]];
        self.told(Box::new([Ok(head), Ok(rest)].into_iter()), Box::new(std::iter::empty()))
    }
}

/// A clock that stands still at the scenes' moment, a little later than their snapshot.
pub(crate) struct Still;

impl Clock for Still {
    fn stamp(&self) -> Stamp {
        let scene = scenes::scene("fine").map(|scene| scene.at);
        let mono = scene.map_or(Mono::at_s(0.0), |at| at.mono);
        Stamp {
            mono: mono.plus(std::time::Duration::from_millis(400)),
            wall: scene.map_or(Wall::from_unix_ms(0), |at| at.wall.plus_s(0.4)),
            trust: Trust::Synchronised,
            utc_offset_s: 3600,
        }
    }
}

/// How the record is doing: well, or with everything that can be said of it.
pub(crate) fn record_status(troubled: bool) -> RecordStatus {
    let now = Still.stamp().mono;
    let mut record_status =
        RecordStatus { last: Some(now), used_bytes: 3_400_000, ..RecordStatus::default() };
    if troubled {
        record_status.stopped = Some("The card is full.".to_owned());
        record_status.waiting = 42;
        record_status.missed = 3;
        record_status.warning = Some(
            "The record uses nearly all of its 256 MiB; its oldest fine rows go next.".to_owned(),
        );
        record_status.set_aside = vec![FileSetAside {
            path: "outlast.sqlite3.damaged-2024-03-09T040510Z".to_owned(),
            why: "The record could not be read: the file is damaged.".to_owned(),
        }];
        let at = Mono::at_s(now.as_s() - 42.0);
        record_status.phone = Some(ClockCompared { at, board_ahead_ms: -1_420, within_ms: 31 });
        record_status.may_set_clock = true;
        record_status.test = Some(RunningTest {
            bank: "Blue ten".to_owned(),
            began: Mono::at_s(now.as_s() - 8_040.0),
            load: TestLoad::Receive,
        });
    }
    record_status
}
