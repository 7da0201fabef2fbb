//! Reports from the record: of one outing, of what is usual on a bank, of what a bank gave.

use history::{Reader, Trouble};
use reckon::{
    engine::{EarlierDraw, UsualDraws, usual_draws},
    record::{Ending, Outing},
    report::{BankTally, OutingReport, Report},
};

/// One outing taken apart; `None`: there is none of that id.
///
/// # Errors
/// When the record cannot be read.
pub(crate) fn report(reader: &Reader, id: i64) -> Result<Option<OutingReport>, Trouble> {
    Ok(reader.outing_whole(id)?.map(OutingReport::from_whole))
}

/// What activities drew on closed outings, taken apart once.
#[derive(Default)]
pub(crate) struct Drawn {
    outings: Vec<(i64, Vec<EarlierDraw>)>,
}

/// How many of a bank's newest outings say what is usual on it.
const OUTINGS: usize = 3;
/// How many of the newest outings are searched for them.
const LOOK_BACK: usize = 12;
/// A shorter outing says little of what is usual, s.
const WORTH_S: f64 = 600.0;

impl Drawn {
    /// What is usual on each bank, by its name.
    ///
    /// # Errors
    /// When the record cannot be read.
    pub(crate) fn usual(&mut self, reader: &Reader) -> Result<Vec<(String, UsualDraws)>, Trouble> {
        let mut banks: Vec<(String, Vec<Vec<EarlierDraw>>)> = Vec::new();
        for outing in reader.outings(None, LOOK_BACK)?.items {
            let worth = outing.ending != Ending::Open && outing.lasted_s >= WORTH_S;
            let Some(bank) = outing.bank.clone().filter(|_| worth) else { continue };
            let place = banks.iter().position(|(name, _)| *name == bank).unwrap_or_else(|| {
                banks.push((bank, Vec::new()));
                banks.len() - 1
            });
            if banks[place].1.len() < OUTINGS {
                let drew = self.draws(reader, &outing)?;
                banks[place].1.push(drew);
            }
        }
        Ok(banks.into_iter().map(|(bank, drew)| (bank, usual_draws(&drew))).collect())
    }

    fn draws(&mut self, reader: &Reader, outing: &Outing) -> Result<Vec<EarlierDraw>, Trouble> {
        if let Some((_, drew)) = self.outings.iter().find(|(id, _)| *id == outing.id) {
            return Ok(drew.clone());
        }
        let Some(whole) = reader.outing_drawn(outing.id)? else { return Ok(Vec::new()) };
        let drew = Report::from_outing(&whole).measured_draws();
        self.outings.push((outing.id, drew.clone()));
        Ok(drew)
    }
}

/// How many of a bank's newest outings are read for its book: a day's worth of rows each.
const IN_BOOK: usize = 24;
/// How many outings are searched for them.
const LOOK_THROUGH: usize = 500;

/// What a bank gave by activity; `None`: there is no such bank.
///
/// # Errors
/// When the record cannot be read.
pub(crate) fn book(reader: &Reader, bank: i64) -> Result<Option<BankTally>, Trouble> {
    let Some(bank) = reader.banks()?.into_iter().find(|one| one.id == bank) else {
        return Ok(None);
    };
    let all = reader.outings(None, LOOK_THROUGH)?.items;
    let own = all.iter().filter(|outing| outing.bank.as_ref() == Some(&bank.spec.name));
    let own: Vec<&Outing> = own.collect();
    let mut tally = BankTally::new(bank.spec.name.clone(), own.len());
    for outing in own.into_iter().take(IN_BOOK) {
        if let Some(whole) = reader.outing_drawn(outing.id)? {
            tally.add(&Report::from_outing(&whole));
        }
    }
    Ok(Some(tally))
}

#[cfg(test)]
mod tests {
    use super::*;
    use history::{Change, Keep, Who};
    use reckon::{
        bank::BankSpec,
        record::{
            Channel, ClockFix, ClockFrom, End, Event, EventKind, ForecastMade, LoggedContact,
            Origin as By, PeriodFold, PeriodFoldPart, RecordCommand, Row, Stats,
        },
        time::Mono,
        units::Joules,
    };

    /// Two hours of contacts at 6 W and one of listening at 3 W, 'contacts' put right for the last
    /// half hour: what is usual on this bank, and nothing on another.
    #[test]
    fn what_activities_drew_is_usual_on_their_bank() {
        let folder = tempfile::tempdir().unwrap();
        let who = Who { boot_uuid: "a".into(), began_s: 0.0, version: "0".into() };
        let started = history::start(Keep::here(folder.path().to_owned()), who, |_| {}).unwrap();
        let bank = BankSpec { name: "Blue ten".into(), ..BankSpec::common()[0].clone() };
        let begins = Change::OutingBegins {
            bank: Some("Blue ten".into()),
            name: None,
            start_share: Some(1.0),
            at_s: 0.0,
        };
        let doing = |at_s: f64, name: &str| {
            Change::Event(Event {
                at: Mono::at_s(at_s),
                kind: EventKind::Activity,
                text: name.into(),
            })
        };
        let mut entries = vec![Change::Bank(bank), begins, doing(0.0, "Contacts")];
        for k in 0..1080_u32 {
            let from_s = f64::from(k) * 10.0;
            let mut stats = [None; Channel::ALL.len()];
            let watts = if from_s < 7200.0 { 6.0 } else { 3.0 };
            stats[Channel::Watts.ix()] = Some(Stats::one(watts));
            entries.push(Change::Row(Row { from_s, span_s: 10.0, stats }));
        }
        entries.push(doing(9000.0, "Receive"));
        let end = End { from_s: 10_800.0, to_s: 10_800.0, ending: Ending::SwitchedOff };
        entries.push(Change::OutingEnds { outing: None, end });
        started.writer.change(entries).unwrap();
        let usual = Drawn::default().usual(&started.reader).unwrap();
        let watts = |usual: &[(String, UsualDraws)], name: &str| {
            assert_eq!((usual.len(), usual[0].0.as_str()), (1, "Blue ten"));
            usual[0].1.iter().find(|(one, _)| one == name).unwrap().1.watts.si()
        };
        assert!((watts(&usual, "Receive") - 3.0).abs() < 1e-6, "{usual:?}");
        // Two hours at 6 W and half an hour at 3 W were called contacts; then that is put right.
        assert!((watts(&usual, "Contacts") - (6.0 * 4.0 + 3.0) / 5.0).abs() < 1e-6, "{usual:?}");
        let right = Change::Correction {
            outing: 1,
            from_s: 7200.0,
            to_s: 10_800.0,
            activity: Some("Receive".into()),
            origin: By::Operator,
        };
        started.writer.change(vec![right]).unwrap();
        let usual = Drawn::default().usual(&started.reader).unwrap();
        assert!((watts(&usual, "Contacts") - 6.0).abs() < 1e-6, "{usual:?}");
    }

    /// A made-up outing of 20 h at 3 W, with 9 W in the five minutes of a contact, on the card.
    fn twenty_hours(folder: &std::path::Path) -> history::Started {
        let who = Who { boot_uuid: "a".into(), began_s: 0.0, version: "0".into() };
        let started = history::start(Keep::here(folder.to_owned()), who, |_| {}).unwrap();
        let bank = BankSpec { name: "Blue ten".into(), ..BankSpec::common()[0].clone() };
        let begins = Change::OutingBegins {
            bank: Some("Blue ten".into()),
            name: None,
            start_share: Some(1.0),
            at_s: 0.0,
        };
        let clock = Change::Clock(ClockFix {
            at: Mono::at_s(10.0),
            wall_ms: MORNING_MS + 10_000,
            within_ms: 500,
            from: ClockFrom::Synchronised,
        });
        let contact = |minutes: i64, lasted: Option<i64>, band: &str, mode: &str| LoggedContact {
            began_ms: MORNING_MS + minutes * 60_000,
            ended_ms: lasted.map(|lasted| MORNING_MS + (minutes + lasted) * 60_000),
            band: Some(band.into()),
            mode: Some(mode.into()),
            with_call: Some("N0CALL".into()),
        };
        let log = vec![contact(60, Some(5), "20m", "FT8"), contact(120, None, "40m", "CW")];
        let part = PeriodFoldPart {
            energy_j: 3_000.0,
            watts: 6.0,
            begins_s: 0.5,
            lasts_s: 12.6,
            bridged: false,
        };
        let fold = |from_s: f64| {
            Change::Fold(PeriodFold {
                from_s,
                to_s: from_s + 3600.0,
                seconds: 3600.0,
                period_s: 30.0,
                slot_s: 15.0,
                mode: Some("FT8 or JS8".into()),
                chance: 1e-9,
                sent: 40,
                slots: 240,
                energy_j: 13_800.0,
                receive_j: 10_800.0,
                transmit: Some(part),
                decode: None,
                curve: vec![(0.25, 3.0), (0.75, 9.0)],
            })
        };
        let forecast = |at_s: f64, three: [f64; 3]| {
            Change::Forecast(ForecastMade {
                at: Mono::at_s(at_s),
                remaining_s: three,
                basis: reckon::snapshot::Basis::Measured,
                delivered_wh: 3.0,
                bridged_wh: 0.0,
                usable_wh: None,
            })
        };
        let mut entries = vec![Change::Bank(bank), begins, clock, Change::Contacts(log)];
        for k in 0..7200_u32 {
            let from_s = f64::from(k) * 10.0;
            let mut stats = [None; Channel::ALL.len()];
            let watts = if (3600.0..3900.0).contains(&from_s) { 9.0 } else { 3.0 };
            let slow = f64::from(k / 30 % 9) / 10.0;
            stats[Channel::Watts.ix()] = Some(Stats::one(watts));
            stats[Channel::Volts.ix()] = Some(Stats::one(5.1));
            stats[Channel::Amps.ix()] = Some(Stats::one(watts / 5.1));
            stats[Channel::Temp.ix()] = Some(Stats::one(44.0));
            stats[Channel::Busy.ix()] = Some(Stats::one(slow));
            entries.push(Change::Row(Row { from_s, span_s: 10.0, stats }));
        }
        // 54 000 s are left after 18 000 s, 18 000 s after 54 000 s.
        entries.push(forecast(18_000.0, [50_000.0, 55_000.0, 60_000.0]));
        entries.push(forecast(54_000.0, [19_000.0, 20_000.0, 21_000.0]));
        entries.extend([fold(3_600.0), fold(7_200.0)]);
        let end = End { from_s: 71_995.0, to_s: 72_005.0, ending: Ending::Died };
        entries.push(Change::OutingEnds { outing: None, end });
        // More than a few hours at once is more than waits in memory.
        for part in entries.chunks(500) {
            started.writer.change(part.to_vec()).unwrap();
        }
        started
    }

    /// 2024-03-09T08:00:00Z in milliseconds since 1970.
    const MORNING_MS: i64 = 1_709_971_200_000;

    /// With its name taken away the file can be opened by nobody any more: what was opened before is
    /// enough for all that a page reads.
    #[test]
    fn a_page_is_read_through_one_opening_of_the_store() {
        use reckon::record::{SeriesAsk, Stretch};
        use web::RecordReader as _;

        let folder = tempfile::tempdir().unwrap();
        let started = twenty_hours(folder.path());
        let reader = crate::record::store_reader::StoreReader::new(Some(folder.path()));
        let held = reader.at_one_moment(&std::sync::Arc::default()).unwrap().unwrap();
        let file = folder.path().join(history::FILE);
        std::fs::rename(&file, folder.path().join("away.db")).unwrap();
        reader.report(1).unwrap_err();
        let told = held.report(1).unwrap().unwrap();
        // A report lets its rows go.
        let mut outing = held.outing(1).unwrap().unwrap();
        assert!(!std::mem::take(&mut outing.rows).is_empty() && told.whole == outing);
        let of = Stretch::Outing { id: 1, from_s: 0.0, to_s: f64::INFINITY };
        let ask = SeriesAsk { of, channels: vec![Channel::Watts], points: 100 };
        assert!(!held.series(&ask).unwrap().unwrap().channel(Channel::Watts).is_empty());
        assert_eq!(held.outings(None, 5).unwrap().items, [told.whole.outing]);
        assert_eq!(held.banks().unwrap().len(), 1);
        assert!(held.book(1).unwrap().unwrap().outings > 0);
        assert!(held.csv(1).unwrap().is_some() && held.json(1).unwrap().is_some());
        assert!(held.close_ups(1).unwrap().is_some() && held.contacts(1).unwrap().is_some());
        drop(started);
    }

    #[test]
    fn what_is_on_the_card_comes_together_in_the_report() {
        let folder = tempfile::tempdir().unwrap();
        let started = twenty_hours(folder.path());
        let began = std::time::Instant::now();
        let told = report(&started.reader, 1).unwrap().unwrap();
        let took = began.elapsed();
        println!("a report of 20 h in {took:?}");
        // Ten times as long as is wanted of the release build: this is none, on a shared machine.
        assert!(took.as_millis() < 1000, "{took:?}");
        let report = &told.report;
        let wh = |joules: Joules| joules.wh();
        // 3 W over 20 h and 6 W more over five minutes.
        let whole = report.tally.whole();
        assert!(
            (wh(whole.energy()) - 60.5).abs() < 1e-6,
            "{:?} {:?}",
            whole.energy(),
            whole.lasted()
        );
        assert_eq!(report.tally.hours().len(), 20);
        let contacts = report.contacts.as_ref().unwrap();
        assert_eq!(
            (contacts.contacts, contacts.elsewhere, told.whole.contacts.undated_s),
            (2, 0, None)
        );
        assert_eq!(
            contacts.groups[0].band.zip(contacts.groups[0].mode.as_deref()),
            Some(("20m", "FT8"))
        );
        assert!((wh(contacts.groups[0].energy) - 9.0 * 300.0 / 3600.0).abs() < 1e-6);
        // A contact without an end counts as two minutes.
        assert!((contacts.in_contact.si() - 420.0).abs() < 1.5, "{contacts:?}");
        assert_eq!((report.forecasts.judged, report.forecasts.held), (2, 1));
        let came: Vec<f64> = report.forecasts.all.iter().map(|it| it.came.unwrap().si()).collect();
        assert_eq!(came, [54_000.0, 18_000.0], "the middle of the interval is the truth");
        let [folded] = &report.folds[..] else { panic!("{:?}", report.folds) };
        assert_eq!((folded.sent, folded.lasted.si(), folded.transmit.si()), (80, 7200.0, 6000.0));
        assert_eq!(folded.latest.mode.map(|mode| mode.name), Some("FT8 or JS8"));
        started.writer.stop(72_006.0, reckon::belief::last_end::StopHow::Stopped).unwrap();

        // One tap counts the minutes of contact; another such tap replaces it; one takes it back.
        let reader = Reader::new(folder.path());
        let counted = |name: &str| {
            let told = super::report(&reader, 1).unwrap().unwrap();
            let of = told.report.tally.activities().find(|(known, _)| *known == name);
            (told.whole.corrections.len(), of.map_or(0.0, |(_, page)| page.lasted().si()))
        };
        for activity in ["digital", "contacts"] {
            let activity = activity.to_owned();
            let ask = RecordCommand::DoingByContacts { outing: 1, activity };
            crate::record::changes::offline(folder.path(), &ask).unwrap();
        }
        assert_eq!((counted("digital"), counted("contacts")), ((2, 0.0), (2, 420.0)));
        let back = RecordCommand::DoingBack { outing: 1, id: None };
        crate::record::changes::offline(folder.path(), &back).unwrap();
        assert_eq!(counted("contacts"), (0, 0.0));
    }
}
