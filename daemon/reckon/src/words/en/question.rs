//! The questions that only the operator can answer, the answers, and what holds until then.

use super::{
    calendar::capital,
    numbers::{clock_time, energy, left, percent, span},
};
use crate::{
    bank::{BankSpec, LAMPS, MeasuredAt},
    belief::{Answer, Question, QuestionView, Standing, Story},
    snapshot::{Possibility, Snapshot},
    time::Mono,
    units::{Seconds, Share},
};
use alloc::{format, string::String, vec::Vec};

/// A question in words.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// What is asked.
    pub text: String,
    /// Why, in a sentence or two.
    pub why: String,
    /// What may be answered, in words, and what that would leave (`6 h 40 left`) or means.
    pub answers: Vec<(Answer, String, Option<String>)>,
    /// What holds, where something does: a sentence.
    pub holds: Option<String>,
}

/// A question of this snapshot in words.
pub fn asked(view: &QuestionView, snapshot: &Snapshot) -> Asked {
    let of = view.question;
    let said = |&it: &Answer| (it, answer_words(of, it, snapshot), leaves(of, it, snapshot));
    let (text, why) = match of {
        Question::SinceLast => ("Same bank, not charged since?".into(), since_last(snapshot)),
        Question::Swapped => ("Another bank?".into(), swapped(snapshot)),
        Question::HowFull => {
            (how_full(snapshot), "A rough answer will do: it makes the range narrower.".into())
        }
        Question::HowEnded => (
            "How did the last outing end?".into(),
            "The board lost power. If the bank ran empty, later forecasts learn from it.".into(),
        ),
        Question::BankChanged => ("Changed by mistake?".into(), bank_changed(snapshot)),
    };
    let holds = view.answer.map(|answer| holds(view, answer, snapshot));
    Asked { text, why, answers: view.answers.iter().map(said).collect(), holds }
}

/// The name of the bank that is spoken of.
fn bank(snapshot: &Snapshot) -> &str {
    snapshot.bank.spec.as_ref().map_or("The bank", |spec| spec.name.as_str())
}

fn since_last(snapshot: &Snapshot) -> String {
    let Some(since) = &snapshot.bank.since else { return String::new() };
    let off = match since.off {
        Some(off) => format!("The board was off for {}.", span(off)),
        None if since.restarted => "The board was restarted.".into(),
        None => "It is not known how long the board was off.".into(),
    };
    let given = energy(since.delivered);
    format!("{off} Before that, {} had delivered {given}.", bank(snapshot))
}

fn swapped(snapshot: &Snapshot) -> String {
    let Some(away) = snapshot.bank.away else { return String::new() };
    let when = at(away.to, snapshot);
    if away.stepped {
        return format!("The voltage jumped {when} and has stayed there.");
    }
    let lasted = span(Seconds::of(away.lasted_s()));
    format!("The supply was gone for {lasted} while the board ran on. It came back {when}.")
}

fn how_full(snapshot: &Snapshot) -> String {
    if snapshot.bank.away.is_some_and(|away| away.to == snapshot.outing_began) {
        return "How full was the other bank?".into();
    }
    format!("How full was {} at the start?", bank(snapshot))
}

fn bank_changed(snapshot: &Snapshot) -> String {
    let Some(changed) = &snapshot.bank.changed else { return String::new() };
    let since = moment_or(changed.at, snapshot, "since", |lasts| format!("for {lasts}"));
    let told = if recharged(snapshot) { "counts as charged" } else { "has been in use" };
    let until = moment_or(changed.until, snapshot, "until", |lasts| format!("for {lasts} more"));
    format!("{} {told} {since}. You can undo this {until}.", bank(snapshot))
}

/// Whether the bank that was put to use is the one that had been in use.
fn recharged(snapshot: &Snapshot) -> bool {
    let before = snapshot.bank.changed.as_ref().and_then(|it| it.before.as_ref());
    before.zip(snapshot.bank.spec.as_ref()).is_some_and(|(before, now)| before.name == now.name)
}

/// `at 14:02`, or how long ago where the clock is not to be believed.
fn at(when: Mono, snapshot: &Snapshot) -> String {
    moment_or(when, snapshot, "at", |lasts| format!("{lasts} ago"))
}

/// A time of day behind this word; else how far away, in words that change once a minute at most: an
/// answer must not move under a thumb.
fn moment_or(
    when: Mono,
    snapshot: &Snapshot,
    word: &str,
    otherwise: impl FnOnce(String) -> String,
) -> String {
    if let Some(time) = clock_time(when, snapshot.at) {
        return format!("{word} {time}");
    }
    let away = Seconds::of((when.as_s() - snapshot.at.mono.as_s()).abs());
    otherwise(if away.si() < 60.0 { "less than a minute".into() } else { span(away) })
}

/// An answer, as a button has it.
fn answer_words(question: Question, answer: Answer, snapshot: &Snapshot) -> String {
    let bank = bank(snapshot);
    match answer {
        Answer::GoesOn => "Yes, not charged".into(),
        Answer::Charged => "No, charged full".into(),
        Answer::Another if question == Question::SinceLast => "Part-charged or another bank".into(),
        Answer::Another => "Another bank".into(),
        Answer::Same => format!("Still {bank}"),
        Answer::Level(share) => level(share, snapshot.bank.spec.as_deref()).0,
        Answer::RanEmpty => "The bank ran empty".into(),
        Answer::PlugPulled => "The plug was pulled".into(),
        Answer::Undo if recharged(snapshot) => "It was not charged: go back".into(),
        Answer::Undo => match snapshot.bank.changed.as_ref().and_then(|it| it.before.as_ref()) {
            Some(before) => format!("Back to {}", before.name),
            None => "Undo".into(),
        },
    }
}

/// The levels that a thumb can say of a bank, fullest first: each as the lamps of a USB bank show it
/// (a pack has none), and the share of the charge that it stands for.
pub fn levels(bank: Option<&BankSpec>) -> Vec<(Answer, String, Option<String>)> {
    let middles = LAMPS.map(Share::nearest);
    let said = |share: Share| {
        let (label, means) = level(share, bank);
        (Answer::Level(share), label, means)
    };
    core::iter::once(Share::WHOLE).chain(middles).map(said).collect()
}

/// How many of the four lamps are lit at each of [`LAMPS`], and what that means.
const LIT: [(u8, &str); 4] =
    [(4, "over 75\u{a0}%"), (3, "50 to 75\u{a0}%"), (2, "25 to 50\u{a0}%"), (1, "under 25\u{a0}%")];

/// A level as an answer says it, and what that means where it does not say so itself.
fn level(share: Share, bank: Option<&BankSpec>) -> (String, Option<String>) {
    if share == Share::WHOLE {
        return ("Full".into(), None);
    }
    let near = LAMPS.iter().zip(LIT).find(|(middle, _)| (share.part() - *middle).abs() < 1e-6);
    let Some((_, (lit, means))) = near else { return (format!("About {}", percent(share)), None) };
    if has_lamps(bank) {
        return (format!("{lit} of 4 lamps"), Some(means.into()));
    }
    (capital(means), None)
}

/// Whether a bank is of the sort that shows its charge by lamps: one cell in series behind a
/// converter.
fn has_lamps(bank: Option<&BankSpec>) -> bool {
    bank.is_none_or(|spec| spec.measured_at != MeasuredAt::Cells && spec.series <= 1)
}

/// What would be left by an answer, where that is among the possibilities.
fn leaves(question: Question, answer: Answer, snapshot: &Snapshot) -> Option<String> {
    if let Answer::Level(share) = answer {
        return level(share, snapshot.bank.spec.as_deref()).1;
    }
    let story = match (question, answer) {
        (Question::SinceLast, Answer::GoesOn) => Story::GoesOn,
        (Question::SinceLast, Answer::Charged) => Story::Charged,
        (Question::SinceLast, Answer::Another) => Story::AnyLevel,
        (Question::Swapped, Answer::Another) => Story::Swapped,
        (Question::Swapped, Answer::Same) => return same_bank(snapshot).map(left_of),
        _ => return None,
    };
    snapshot.possibilities.iter().find(|one| one.story == story).map(left_of)
}

/// The likeliest of the possibilities without another bank.
fn same_bank(snapshot: &Snapshot) -> Option<&Possibility> {
    let all = snapshot.possibilities.iter().filter(|one| one.story != Story::Swapped);
    all.max_by(|a, b| a.weight.part().total_cmp(&b.weight.part()))
}

fn left_of(one: &Possibility) -> String {
    let [low, middle, high] = one.remaining;
    format!("{} left", left(middle, high - low))
}

/// What holds, and by whose word.
fn holds(view: &QuestionView, answer: Answer, snapshot: &Snapshot) -> String {
    let what = held(view.question, answer, snapshot);
    match view.standing {
        Standing::Said => format!("{what} You said so."),
        Standing::Inferred => format!("{what} {}", inferred(view.question, snapshot)),
        Standing::Open => what,
    }
}

fn held(question: Question, answer: Answer, snapshot: &Snapshot) -> String {
    let bank = bank(snapshot);
    match answer {
        Answer::GoesOn => format!("{bank} was not charged, so the last outing goes on."),
        Answer::Charged => format!("{bank} was charged full before this outing."),
        Answer::Another if question == Question::SinceLast => {
            "The bank was part-charged or changed before this outing.".into()
        }
        Answer::Another => match &snapshot.bank.away {
            Some(away) => format!("Another bank took over {}.", at(away.to, snapshot)),
            None => "Another bank took over in this outing.".into(),
        },
        Answer::Same => format!("{bank} has been connected all along."),
        Answer::Level(share) => began_at(share, snapshot),
        Answer::RanEmpty => "The last outing ended because the bank ran empty.".into(),
        Answer::PlugPulled => "The last outing ended because the plug was pulled.".into(),
        Answer::Undo => "The bank was changed.".into(),
    }
}

fn began_at(share: Share, snapshot: &Snapshot) -> String {
    let at = match level(share, snapshot.bank.spec.as_deref()) {
        _ if share == Share::WHOLE => "full".into(),
        (lamps, Some(_)) => format!("at {lamps}"),
        (part, None) => format!("at {} of its charge", part.to_lowercase()),
    };
    format!("{} began {at}.", bank(snapshot))
}

/// What an answer that nobody gave was taken from.
fn inferred(question: Question, snapshot: &Snapshot) -> String {
    let off = snapshot.bank.since.as_ref().and_then(|since| since.off);
    match (question, off) {
        (Question::SinceLast, Some(off)) => {
            format!("The board was off for {}, and nobody has said otherwise.", span(off))
        }
        _ => "Nobody has said otherwise.".into(),
    }
}

/// What the shown number supposes, where more than one is possible: `if not charged`.
pub(super) fn supposing(story: Story) -> Option<&'static str> {
    match story {
        Story::GoesOn => Some("if not charged since"),
        Story::Charged => Some("if charged full"),
        Story::AnyLevel => Some("if only part-charged"),
        Story::Swapped => Some("if it is another bank"),
        Story::Told => Some("if it is the same bank"),
        Story::Said => None,
    }
}
