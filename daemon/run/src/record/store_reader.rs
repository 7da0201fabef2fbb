//! The past as pages see it: the port that `web` declares, filled in over the record's reader. The
//! border between the two: nothing of one is handed on as it is.

use std::{
    fs::{self, File},
    io::Read,
    path::{Path, PathBuf},
    sync::atomic::{AtomicU32, Ordering},
};

use history::{Reader, Trouble, export};
use reckon::{
    record::{self, RecordedRunDown, Stats, Stretch},
    time::Wall,
    words,
};
use web::{
    BankTold, BookTold, ChannelTold, ContactsTold, EventTold, ForecastTold, GapTold, OutingLine,
    OutingTold, OutingsPage, Past, PastGone, ReportTold, RundownTold, SeriesAsk, SeriesTold,
};

use crate::record::{report, run_downs};

/// The record's past; without a folder there is none, as in a demonstration.
pub(crate) struct StoreReader {
    record: Option<(Reader, PathBuf)>,
}

impl StoreReader {
    /// Reads the record in this folder.
    pub(crate) fn of(folder: Option<&Path>) -> Self {
        Self { record: folder.map(|folder| (Reader::new(folder), folder.to_path_buf())) }
    }

    fn reader(&self) -> Option<&Reader> {
        self.record.as_ref().map(|(reader, _)| reader)
    }
}

fn gone(trouble: &Trouble) -> PastGone {
    if let Some(cause) = &trouble.cause {
        tracing::warn!("{}: {cause}", trouble.what);
    }
    PastGone { say: trouble.to_string() }
}

fn line(kept: record::Outing) -> OutingLine {
    OutingLine {
        id: kept.id,
        name: kept.name,
        bank: kept.bank,
        start_share: kept.start_share,
        began: kept.began,
        ended: kept.ended,
        lasted_s: kept.lasted_s,
        ended_within_s: kept.ended_within_s,
        ending: kept.ending,
        energy_wh: kept.energy_wh,
        bridged_wh: kept.bridged_wh,
        mean_power_w: kept.mean_power_w,
        peak_power_w: kept.peak_power_w,
    }
}

fn rundown(kept: RecordedRunDown, began: Option<Wall>) -> RundownTold {
    let data = kept.data;
    RundownTold {
        id: kept.id,
        bank: kept.bank,
        outing: kept.outing,
        name: data.name,
        began,
        whole: data.whole,
        struck: kept.struck,
        start_share: data.start_share,
        lasted_s: data.lasted_s,
        within_s: data.within_s,
        before_s: data.before_s,
        delivered_wh: data.delivered_wh,
        bridged_wh: data.bridged_wh,
        mean_power_w: data.mean_power_w,
        measured: data.measured,
        ambient_c: data.ambient_c,
    }
}

impl Past for StoreReader {
    fn outings(&self, before: Option<i64>, most: usize) -> Result<OutingsPage, PastGone> {
        let Some(reader) = self.reader() else { return Ok(OutingsPage::default()) };
        let page = reader.outings(before, most).map_err(|why| gone(&why))?;
        Ok(OutingsPage { outings: page.items.into_iter().map(line).collect(), next: page.next })
    }

    fn outing(&self, id: i64) -> Result<Option<OutingTold>, PastGone> {
        let Some(reader) = self.reader() else { return Ok(None) };
        told(reader, id).map_err(|why| gone(&why))
    }

    fn report(&self, id: i64) -> Result<Option<ReportTold>, PastGone> {
        let Some(reader) = self.reader() else { return Ok(None) };
        report::report(reader, id).map_err(|why| gone(&why))
    }

    fn series(&self, ask: &SeriesAsk) -> Result<Option<SeriesTold>, PastGone> {
        let Some(reader) = self.reader() else { return Ok(None) };
        series(reader, ask).map_err(|why| gone(&why))
    }

    fn banks(&self) -> Result<Vec<BankTold>, PastGone> {
        let Some(reader) = self.reader() else { return Ok(Vec::new()) };
        banks(reader).map_err(|why| gone(&why))
    }

    fn book(&self, bank: i64) -> Result<Option<BookTold>, PastGone> {
        let Some(reader) = self.reader() else { return Ok(None) };
        report::book(reader, bank).map_err(|why| gone(&why))
    }

    fn rundowns(&self, bank: i64) -> Result<Vec<RundownTold>, PastGone> {
        let Some(reader) = self.reader() else { return Ok(Vec::new()) };
        rundowns(reader, bank).map_err(|why| gone(&why))
    }

    fn csv(&self, outing: i64) -> Result<Option<String>, PastGone> {
        self.reader()
            .map_or(Ok(None), |reader| export::csv(reader, outing))
            .map_err(|why| gone(&why))
    }

    fn json(&self, outing: i64) -> Result<Option<String>, PastGone> {
        self.reader()
            .map_or(Ok(None), |reader| export::json(reader, outing))
            .map_err(|why| gone(&why))
    }

    fn contacts(&self, outing: i64) -> Result<Option<ContactsTold>, PastGone> {
        let Some(reader) = self.reader() else { return Ok(None) };
        if reader.outing(outing).map_err(|why| gone(&why))?.is_none() {
            return Ok(None);
        }
        let found = reader.contacts(outing).map_err(|why| gone(&why))?;
        Ok(Some(ContactsTold { count: found.contacts.len(), undated_s: found.undated_s }))
    }

    fn close_ups(&self, outing: i64) -> Result<Option<String>, PastGone> {
        self.reader()
            .map_or(Ok(None), |reader| export::close_ups(reader, outing))
            .map_err(|why| gone(&why))
    }

    fn copy(&self) -> Result<Box<dyn Read + Send>, PastGone> {
        let Some((reader, folder)) = &self.record else {
            return Err(PastGone { say: words::refusal::NO_COPY.to_owned() });
        };
        let to = aside(folder);
        reader.copy_whole(&to).map_err(|why| gone(&why))?;
        // Without a name it is gone as soon as it has been read, whatever happens meanwhile.
        let opened = File::open(&to).and_then(|copy| fs::remove_file(&to).map(|()| copy));
        let copy = opened.map_err(|why| PastGone {
            say: words::refusal::copy_unreadable(&to.display(), &why),
        })?;
        Ok(Box::new(copy))
    }
}

/// A name for a copy that nobody has.
fn aside(folder: &Path) -> PathBuf {
    static COPIES: AtomicU32 = AtomicU32::new(0);
    let number = COPIES.fetch_add(1, Ordering::Relaxed);
    folder.join(format!(".copy-{}-{number}.db", std::process::id()))
}

/// One outing with all that happened in it.
pub(crate) fn told(reader: &Reader, id: i64) -> Result<Option<OutingTold>, Trouble> {
    let Some(outing) = reader.outing(id)? else { return Ok(None) };
    let events = reader.events(id)?.into_iter().map(|event| EventTold {
        at_s: event.at.as_s(),
        kind: event.kind.name().to_owned(),
        text: event.text,
    });
    let gaps = reader.gaps(id)?.into_iter().map(|gap| GapTold {
        from_s: gap.from_s,
        to_s: gap.to_s,
        source: gap.title,
        why: gap.why,
    });
    let forecasts = reader.forecasts(id)?.into_iter().map(|made| ForecastTold {
        at_s: made.at.as_s(),
        remaining_s: made.remaining_s,
        basis: made.basis,
    });
    let credited = credited(reader, &outing)?;
    Ok(Some(OutingTold {
        rundown: credited.map(|kept| rundown(kept, outing.began)),
        line: line(outing),
        events: events.collect(),
        gaps: gaps.collect(),
        forecasts: forecasts.collect(),
    }))
}

fn credited(reader: &Reader, outing: &record::Outing) -> Result<Option<RecordedRunDown>, Trouble> {
    let Some(name) = &outing.bank else { return Ok(None) };
    let Some(bank) = reader.banks()?.into_iter().find(|bank| bank.spec.name == *name) else {
        return Ok(None);
    };
    Ok(reader.rundowns(bank.id)?.into_iter().find(|one| one.outing == Some(outing.id)))
}

fn series(reader: &Reader, ask: &SeriesAsk) -> Result<Option<SeriesTold>, Trouble> {
    if reader.outing(ask.outing)?.is_none() {
        return Ok(None);
    }
    let of = Stretch::Outing { id: ask.outing, from_s: ask.from_s, to_s: ask.to_s };
    let channels = ask.channels.clone();
    let found = reader.series(&record::SeriesAsk { of, channels, points: ask.points })?;
    let column = |folds: &[Option<Stats>], pick: fn(&Stats) -> f64| -> Vec<Option<f64>> {
        folds.iter().map(|fold| fold.as_ref().map(pick)).collect()
    };
    let channels = ask.channels.iter().map(|asked| {
        let kept = found.channels.iter().find(|(one, _)| one == asked);
        let folds = kept.map_or(&[][..], |(_, folds)| folds);
        ChannelTold {
            channel: *asked,
            mean: column(folds, |fold| fold.mean),
            min: column(folds, |fold| fold.min),
            max: column(folds, |fold| fold.max),
        }
    });
    let channels = channels.collect();
    Ok(Some(SeriesTold { step_s: found.step_s, t_s: found.t_s, channels }))
}

fn banks(reader: &Reader) -> Result<Vec<BankTold>, Trouble> {
    let mut all = Vec::new();
    for bank in reader.banks()? {
        let learned = run_downs::learned(&bank.spec, &reader.rundowns(bank.id)?);
        all.push(BankTold {
            id: bank.id,
            usable_wh: run_downs::usable_wh(&bank.spec, &learned),
            spec: bank.spec,
            forgotten: bank.forgotten,
        });
    }
    Ok(all)
}

fn rundowns(reader: &Reader, bank: i64) -> Result<Vec<RundownTold>, Trouble> {
    let mut all = Vec::new();
    for kept in reader.rundowns(bank)? {
        let outing = kept.outing.map(|id| reader.outing(id)).transpose()?.flatten();
        all.push(rundown(kept, outing.and_then(|outing| outing.began)));
    }
    Ok(all)
}
