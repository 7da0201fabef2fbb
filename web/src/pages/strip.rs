//! The strip at the head of Now: one line of fixed height that says what is the matter, or that all is
//! well; what it opens to; and the block of a board that is being switched off.

use askama::Template;
use reckon::{
    alarm,
    power_off::PowerOff,
    snapshot::{About, Alarm, Basis, Snapshot},
    time::Mono,
    words::{self, NowPage},
};

use crate::{RecordStatus, pages::frame::part};

/// How a line stands out, least first. Border and weight tell them apart before colour does.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Grade {
    /// All is well, or somebody wants quiet.
    Calm,
    /// Worth knowing.
    Note,
    /// Only a person can answer it.
    Question,
    Alarm,
    /// The bank may be gone within minutes, or at any moment.
    Grave,
}

impl Grade {
    const fn class(self) -> &'static str {
        match self {
            Self::Calm => "calm",
            Self::Note => "note",
            Self::Question => "question",
            Self::Alarm => "alarm",
            Self::Grave => "grave",
        }
    }
}

/// What stands in the strip, or waits behind it, and what it opens to.
struct Line {
    grade: Grade,
    strip: String,
    item: Option<Item>,
}

/// A part of what the strip opens to.
struct Item {
    title: Option<String>,
    text: String,
    link: Option<(&'static str, &'static str)>,
    /// Place and beginning of an alarm that can be put to sleep; the beginning tells it from those that were
    /// there before.
    sleep: Option<(usize, f64)>,
}

impl Item {
    const fn bare(text: String) -> Self {
        Self { title: None, text, link: None, sleep: None }
    }
}

#[derive(Template)]
#[template(path = "strip.html")]
struct StripPart {
    w: &'static NowPage,
    grade: &'static str,
    text: String,
    others: usize,
    has_more: bool,
}

#[derive(Template)]
#[template(path = "more.html")]
struct MorePart {
    w: &'static NowPage,
    /// Questions that have no place of their own yet.
    asked: Vec<String>,
    items: Vec<Item>,
    lines: Vec<(&'static str, String)>,
}

/// The strip, and what it opens to.
pub(crate) struct Strip {
    pub(crate) strip: String,
    pub(crate) more: String,
    /// What the page's title begins with, if anything is the matter.
    pub(crate) headline: Option<String>,
    /// Whether the first open question is what the strip says.
    pub(crate) asks: bool,
}

/// `question` has a place of its own; those `behind`, with their answers, are in what the strip opens to.
pub(crate) fn strip(
    w: &'static NowPage,
    snapshot: &Snapshot,
    record_status: &RecordStatus,
    question: Option<String>,
    behind: Vec<(String, String)>,
) -> Strip {
    let well = words::well(snapshot);
    let bare = |grade, strip: String| Line { grade, strip, item: None };
    let off = words::power_off_strip(snapshot).map(|strip| bare(Grade::Grave, strip.to_owned()));
    let mut lines: Vec<Line> = off.into_iter().chain(alarms(w, snapshot)).collect();
    lines.extend(of_record(w, record_status));
    let in_place = question.is_some();
    let (texts, asked): (Vec<String>, Vec<String>) = behind.into_iter().unzip();
    lines.extend(question.into_iter().chain(texts).map(|text| bare(Grade::Question, text)));
    let trouble = well.parts.iter().filter_map(|part| part.strip);
    lines.extend(trouble.map(|strip| bare(Grade::Note, strip.to_owned())));
    // The sort is stable: of two alike, the more urgent stays first.
    lines.sort_by_key(|line| core::cmp::Reverse(line.grade));
    let others = lines.iter().filter(|line| line.grade >= Grade::Question).count();
    let first = lines.first();
    let grade = first.map_or(Grade::Calm, |line| line.grade);
    let text = first.map_or(well.line, |line| line.strip.clone());
    let headline = first.filter(|line| line.grade >= Grade::Alarm).map(|line| line.strip.clone());
    let has_more = grade != Grade::Question || others > 1 || !in_place;
    let strip =
        StripPart { w, grade: grade.class(), text, others: others.saturating_sub(1), has_more };
    let items = lines.into_iter().filter_map(|line| line.item).chain(asides(snapshot)).collect();
    let parts = well.parts.into_iter().map(|part| (part.name, part.state)).collect();
    let more = MorePart { w, asked, items, lines: parts };
    Strip { strip: part(&strip), more: part(&more), headline, asks: grade == Grade::Question }
}

/// What would help, where no alarm says so yet, and what the forecast stands on where nobody measures.
fn asides(snapshot: &Snapshot) -> impl Iterator<Item = Item> {
    let is_said = snapshot.alarms.iter().any(|it| matches!(it.about, About::FinishAtRisk { .. }));
    let help = words::help(snapshot).filter(|_| !is_said);
    let modelled = matches!(snapshot.draw.basis, Basis::Modelled | Basis::Expected);
    let basis = modelled.then(|| words::basis(snapshot));
    help.into_iter().chain(basis).map(Item::bare)
}

fn alarms(w: &'static NowPage, snapshot: &Snapshot) -> Vec<Line> {
    let line = |(ix, alarm): (usize, &Alarm)| {
        let said = words::alarm(alarm, snapshot);
        let until = alarm.asleep_until.filter(|until| *until > snapshot.at.mono);
        let strip = words::strip(alarm, snapshot);
        let quiet = |until: Mono| w.quiet_until(&words::moment(until, snapshot.at), &strip);
        let item = Item {
            title: Some(said.text),
            text: format!("{} {}", said.meaning, said.advice),
            link: None,
            sleep: until.is_none().then_some((ix, alarm.since.as_s())),
        };
        let grade = match until {
            Some(_) => Grade::Calm,
            None if alarm.about.grade() == alarm::Grade::Grave => Grade::Grave,
            None => Grade::Alarm,
        };
        Line { grade, strip: until.map(quiet).unwrap_or(strip), item: Some(item) }
    };
    snapshot.alarms.iter().enumerate().map(line).collect()
}

/// A test that runs, and files that were set aside.
fn of_record(w: &'static NowPage, record_status: &RecordStatus) -> Vec<Line> {
    let test = record_status.test.is_some().then(|| Line {
        grade: Grade::Note,
        strip: w.test_on.to_owned(),
        item: Some(Item {
            link: Some(("/banks", w.about_test)),
            ..Item::bare(w.test_runs.to_owned())
        }),
    });
    let aside = record_status.set_aside.iter().map(|file| Line {
        grade: Grade::Alarm,
        strip: w.file_aside.to_owned(),
        item: Some(Item::bare(format!("{} {} {}{}", file.why, w.moved[0], file.path, w.moved[1]))),
    });
    aside.chain(test).collect()
}

/// What can be asked of a board that is being switched off, or may have to be.
struct Asks {
    /// What was chosen stands in the place of its button, the way back beside it.
    kept: Option<String>,
    going: bool,
}

#[derive(Template)]
#[template(path = "off.html")]
struct OffPart {
    w: &'static NowPage,
    title: String,
    text: String,
    asks: Option<Asks>,
}

/// The block of a board that is being switched off; empty while there is nothing to say.
pub(crate) fn off(w: &'static NowPage, snapshot: &Snapshot) -> String {
    let Some((title, text)) = words::power_off::block(snapshot) else { return String::new() };
    let asks = match snapshot.power_off {
        PowerOff::Counting { .. } | PowerOff::Unsure { .. } | PowerOff::Failed { .. } => {
            Some(Asks { kept: None, going: false })
        }
        PowerOff::Stopped { at } => {
            Some(Asks { kept: Some(w.kept(&words::moment(at, snapshot.at))), going: false })
        }
        PowerOff::Saving { .. } => Some(Asks { kept: None, going: true }),
        _ => None,
    };
    part(&OffPart { w, title, text, asks })
}
