//! The contact log: read into rows for the record, and the file that is watched.

use std::{
    fs::{self, File},
    io::{self, Read, Seek, SeekFrom},
    os::unix::fs::MetadataExt,
    path::PathBuf,
};

use reckon::{
    adif::{self, Contact, Fault, Log},
    record::LoggedContact,
    words::{self, contact_log},
};

use crate::settings::ContactsWant;

/// No more of a watched log is read: about ten thousand contacts with every field. Of a longer ADI
/// file it is the end; log programs write there.
const MOST_BYTES: u64 = 4 * 1024 * 1024;
/// A log that has been read whole is looked through from here before its newest contact when it has
/// changed, ms: a day.
const AGAIN_MS: i64 = 86_400_000;

/// Contacts as the record has them, the newest of very many. The other station's call goes with them
/// only if it is asked for.
pub(crate) fn rows<'a>(
    contacts: impl IntoIterator<Item = &'a Contact>,
    keep_calls: bool,
) -> Vec<LoggedContact> {
    let row = |contact: &Contact| LoggedContact {
        began_ms: contact.began.unix_ms(),
        ended_ms: contact.ended.map(reckon::time::Wall::unix_ms),
        band: contact.band.map(|band| band.name.to_owned()),
        mode: contact.mode.clone(),
        with_call: contact.with.clone().filter(|_| keep_calls),
    };
    let mut all: Vec<&Contact> = contacts.into_iter().collect();
    if all.len() > adif::MOST_KEPT {
        all.sort_by_key(|contact| contact.began);
        all.drain(..all.len() - adif::MOST_KEPT);
    }
    all.into_iter().map(row).collect()
}

/// What the record worker does with contact logs.
#[derive(Debug, Default)]
pub(crate) struct ContactLog {
    /// Whether calls are kept.
    pub(crate) keep_calls: bool,
    watch: Option<PathBuf>,
    /// Length and last change of the file when it was read.
    seen: Option<Seen>,
    /// The newest contact read from it.
    newest_ms: Option<i64>,
    /// A last record without its end mark: it may still be on its way into the file, so it counts
    /// once the file has stayed as it is till the next look.
    unended: Option<Contact>,
    /// What was said of it last.
    said: String,
}

/// What came of a look at the watched log.
#[derive(Debug, Default, PartialEq)]
pub(crate) struct Looked {
    /// New contacts, or all of the last day.
    pub(crate) rows: Vec<LoggedContact>,
    /// What is to be said of it, if that is not what was said before; whether it is a trouble.
    pub(crate) news: Option<(String, bool)>,
}

impl ContactLog {
    /// As the settings want it.
    pub(crate) fn new(want: &ContactsWant) -> Self {
        Self { keep_calls: want.keep_calls, watch: want.watch.clone(), ..Self::default() }
    }

    /// Looks whether the file has changed, and reads it then. Costs one question to the file system
    /// where it has not.
    pub(crate) fn look(&mut self) -> Looked {
        let Some(path) = &self.watch else { return Looked::default() };
        let name = path.display().to_string();
        let read = match changed(path, self.seen) {
            Ok(None) => {
                let rows = rows(&self.unended.take(), self.keep_calls);
                return Looked { rows, news: None };
            }
            Ok(Some(seen)) => read(path, seen.0).map(|log| (seen, log)),
            Err(why) => Err(why),
        };
        self.unended = None;
        let (say, trouble, rows) = match read {
            Ok((seen, mut log)) => {
                self.seen = Some(seen);
                if log.complaints.iter().any(|it| it.fault == Fault::Unended) {
                    self.unended = log.contacts.pop();
                }
                let trouble = log.contacts.is_empty() && log.bad > 0;
                (contact_log::watched(&name, &log), trouble, self.fresh(&log))
            }
            Err(why) => {
                self.seen = None;
                (contact_log::unwatched(&name, &why.to_string()), true, Vec::new())
            }
        };
        let news = (say != self.said).then(|| (say.clone(), trouble));
        self.said = say;
        Looked { rows, news }
    }

    fn fresh(&mut self, log: &Log) -> Vec<LoggedContact> {
        let from_ms = self.newest_ms.map_or(i64::MIN, |newest| newest.saturating_sub(AGAIN_MS));
        let fresh = log.contacts.iter().filter(|contact| contact.began.unix_ms() >= from_ms);
        let newest = log.contacts.iter().map(|contact| contact.began.unix_ms()).max();
        let rows = rows(fresh, self.keep_calls);
        self.newest_ms = self.newest_ms.max(newest);
        rows
    }
}

/// Length; last change, seconds and nanoseconds of the file system's own clock: compared, never
/// reckoned with.
type Seen = (u64, i64, i64);

/// Length and last change, if they are not those seen before.
fn changed(path: &PathBuf, seen: Option<Seen>) -> io::Result<Option<Seen>> {
    let found = fs::metadata(path)?;
    // A pipe would be waited for without end.
    if !found.is_file() {
        return Err(io::Error::other(words::refusal::NO_FILE));
    }
    let now = (found.len(), found.mtime(), found.mtime_nsec());
    Ok((seen != Some(now)).then_some(now))
}

fn read(path: &PathBuf, len: u64) -> io::Result<Log> {
    let mut file = File::open(path)?;
    let before = len.saturating_sub(MOST_BYTES);
    file.seek(SeekFrom::Start(before))?;
    let mut bytes = Vec::with_capacity(usize::try_from(len - before).unwrap_or(0));
    file.take(MOST_BYTES).read_to_end(&mut bytes)?;
    let keep = adif::Keep { calls: true };
    if before == 0 {
        return Ok(adif::read(&bytes, keep));
    }
    // The record that was cut is left out.
    match record_end(&bytes) {
        Some(end) => Ok(adif::read(bytes.get(end..).unwrap_or_default(), keep)),
        None => Err(io::Error::other(words::refusal::LARGE_NOT_ADI)),
    }
}

/// Behind the first `<EOR>`, in capitals or not.
fn record_end(bytes: &[u8]) -> Option<usize> {
    bytes.windows(5).position(|five| five.eq_ignore_ascii_case(b"<EOR>")).map(|at| at + 5)
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::*;

    /// A record in the order of the standard's sample file (ADIF 3.1.6, 'ADI File Format').
    fn record(day: u32, minute: u32) -> String {
        format!(
            "<qso_date:8>202403{day:02}\n<time_on:4>{:02}{:02}\n<call:6>N0CALL\n<band:3>20M\n\
             <mode:4>RTTY\n<eor>\n",
            minute / 60,
            minute % 60
        )
    }

    fn watching(folder: &tempfile::TempDir) -> (PathBuf, ContactLog) {
        let path = folder.path().join("log.adi");
        let want = ContactsWant { watch: Some(path.clone()), keep_calls: false };
        (path, ContactLog::new(&want))
    }

    #[test]
    fn a_file_that_grows_is_read_when_it_has_changed() {
        let folder = tempfile::tempdir().unwrap();
        let (path, mut log) = watching(&folder);
        let (say, trouble) = log.look().news.unwrap();
        assert!(trouble && say.contains("cannot be read") && say.contains("[contacts]"), "{say}");
        assert_eq!(log.look(), Looked::default(), "said once");

        let mut file = File::create(&path).unwrap();
        write!(file, "header\n<eoh>\n{}{}", record(7, 300), record(9, 300)).unwrap();
        let looked = log.look();
        assert_eq!(looked.rows.len(), 2);
        assert!(looked.rows.iter().all(|row| row.with_call.is_none()), "no call was asked for");
        let (say, trouble) = looked.news.unwrap();
        assert!(!trouble && say.ends_with("2 contacts imported."), "{say}");
        assert_eq!(log.look(), Looked::default(), "unchanged");

        // Half a record: as a log program leaves it for a moment.
        write!(file, "<qso_date:8>20240310<time_on:4>05").unwrap();
        assert_eq!(log.look().rows.len(), 1, "the last day of what was read");
        write!(file, "00<band:2>2M<eor>").unwrap();
        let looked = log.look();
        let minutes: Vec<i64> = looked.rows.iter().map(|row| row.began_ms / 60_000).collect();
        assert_eq!(minutes.len(), 2, "and what is new: {looked:?}");
        assert_eq!(minutes[1] - minutes[0], 24 * 60);

        // A last record without its end mark waits a look: it may still grow.
        write!(file, "<qso_date:8>20240310<time_on:4>0501<call:6>N0CALL").unwrap();
        assert_eq!(log.look().rows.len(), 2, "not yet");
        assert_eq!(log.look().rows.len(), 1, "it has stayed as it is");
        assert_eq!(log.look(), Looked::default());

        fs::remove_file(&path).unwrap();
        assert!(log.look().news.unwrap().1);
        // A pipe in its place is not waited for.
        assert!(std::process::Command::new("mkfifo").arg(&path).status().unwrap().success());
        assert!(log.look().news.unwrap().0.contains("not a file"));
    }

    #[test]
    fn of_a_huge_log_the_end_is_read() {
        let folder = tempfile::tempdir().unwrap();
        let (path, mut log) = watching(&folder);
        let mut text = String::from("header\n<eoh>\n");
        let mut count = 0;
        while text.len() < 5 << 20 {
            text.push_str(&record(1 + count / 1440 % 30, count % 1440));
            count += 1;
        }
        text.push_str(&record(31, 1439));
        fs::write(&path, &text).unwrap();
        let looked = log.look();
        assert_eq!(looked.rows.len(), adif::MOST_KEPT, "of some forty thousand the newest");
        assert!(looked.rows.is_sorted_by_key(|row| row.began_ms));
        let (say, _) = looked.news.unwrap();
        assert!(!say.contains("skipped"), "{say}");
        // 2024-03-31T23:59Z: `date -u -d '2024-03-31 23:59' +%s`
        assert_eq!(looked.rows.iter().map(|row| row.began_ms).max(), Some(1_711_929_540_000));
        fs::write(&path, vec![b'x'; 5 << 20]).unwrap();
        assert!(log.look().news.unwrap().0.contains("larger than 4 MiB"));
    }

    #[test]
    fn calls_are_kept_where_they_are_asked_for() {
        let read = adif::read(record(9, 1).as_bytes(), adif::Keep { calls: true });
        let call = |keep| rows(&read.contacts, keep)[0].with_call.clone();
        assert_eq!((call(false), call(true).as_deref()), (None, Some("N0CALL")));
    }
}
