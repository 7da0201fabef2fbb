//! The questions that only the operator can answer, the answers, and what holds until then.

use super::numbers::{clock_time, energy, left, percent, span};
use crate::{
    bank::{BankSpec, LAMPS, MeasuredAt},
    belief::{Answer, Away, Question, QuestionView, Standing, Story},
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
#[must_use]
pub fn asked(view: &QuestionView, snapshot: &Snapshot) -> Asked {
    let answers = view
        .answers
        .iter()
        .map(|answer| {
            (
                *answer,
                answer_words(view.question, *answer, snapshot),
                leaves(view.question, *answer, snapshot),
            )
        })
        .collect();
    let (text, why) = match view.question {
        Question::SinceLast => since_last(snapshot),
        Question::Swapped => swapped(snapshot),
        Question::HowFull => how_full(snapshot),
        Question::HowEnded => (
            String::from("How did the last outing end?"),
            String::from(
                "The board lost power. If the bank ran empty, later forecasts learn from it.",
            ),
        ),
        Question::BankChanged => (String::from("Changed by mistake?"), bank_changed(snapshot)),
    };
    Asked { text, why, answers, holds: view.answer.map(|answer| holds(view, answer, snapshot)) }
}

/// The name of the bank that is spoken of.
fn bank(snapshot: &Snapshot) -> &str {
    snapshot.bank.spec.as_ref().map_or("The bank", |spec| spec.name.as_str())
}

fn since_last(snapshot: &Snapshot) -> (String, String) {
    let text = String::from("Same bank, not charged since?");
    let Some(since) = &snapshot.bank.since else { return (text, String::new()) };
    let off = match since.off {
        Some(off) => format!("The board was off for {}.", span(off)),
        None if since.restarted => String::from("The board was restarted."),
        None => String::from("It is not known how long the board was off."),
    };
    let given = energy(since.delivered);
    (text, format!("{off} Before that, {} had delivered {given}.", bank(snapshot)))
}

fn swapped(snapshot: &Snapshot) -> (String, String) {
    let why = snapshot.bank.away.map_or_else(String::new, |away| away_words(&away, snapshot));
    (String::from("Another bank?"), why)
}

fn away_words(away: &Away, snapshot: &Snapshot) -> String {
    let when = at(away.to, snapshot);
    if away.stepped {
        return format!("The voltage jumped {when} and has stayed there.");
    }
    let lasted = span(Seconds::of(away.lasted_s()));
    format!("The supply was gone for {lasted} while the board ran on. It came back {when}.")
}

fn how_full(snapshot: &Snapshot) -> (String, String) {
    let another = snapshot.bank.away.is_some_and(|away| away.to == snapshot.outing_began);
    let text = if another {
        String::from("How full was the other bank?")
    } else {
        format!("How full was {} at the start?", bank(snapshot))
    };
    (text, String::from("A rough answer will do: it makes the range narrower."))
}

fn bank_changed(snapshot: &Snapshot) -> String {
    let Some(changed) = &snapshot.bank.changed else { return String::new() };
    let since = since(changed.at, snapshot);
    let told = if recharged(snapshot) {
        format!("{} counts as charged {since}.", bank(snapshot))
    } else {
        format!("{} has been in use {since}.", bank(snapshot))
    };
    let until = match clock_time(changed.until, snapshot.at) {
        Some(time) => format!("until {time}"),
        None => {
            format!("for {} more", whole_minutes(changed.until.seconds_since(snapshot.at.mono)))
        }
    };
    format!("{told} You can undo this {until}.")
}

/// Whether the bank that was put to use is the one that had been in use.
fn recharged(snapshot: &Snapshot) -> bool {
    let before = snapshot.bank.changed.as_ref().and_then(|it| it.before.as_ref());
    before.zip(snapshot.bank.spec.as_ref()).is_some_and(|(before, now)| before.name == now.name)
}

/// `at 14:02`, or how long ago where the clock is not to be believed.
fn at(when: Mono, snapshot: &Snapshot) -> String {
    match clock_time(when, snapshot.at) {
        Some(time) => format!("at {time}"),
        None => format!("{} ago", whole_minutes(snapshot.at.mono.seconds_since(when))),
    }
}

/// `since 14:02`, or for how long.
fn since(when: Mono, snapshot: &Snapshot) -> String {
    match clock_time(when, snapshot.at) {
        Some(time) => format!("since {time}"),
        None => format!("for {}", whole_minutes(snapshot.at.mono.seconds_since(when))),
    }
}

/// A span in words that change once a minute at most: an answer must not move under a thumb.
fn whole_minutes(time: Seconds) -> String {
    if time.si() < 60.0 { String::from("less than a minute") } else { span(time) }
}

/// An answer, as a button has it.
fn answer_words(question: Question, answer: Answer, snapshot: &Snapshot) -> String {
    let bank = bank(snapshot);
    match answer {
        Answer::GoesOn => String::from("Yes, not charged"),
        Answer::Charged => String::from("No, charged full"),
        Answer::Another if question == Question::SinceLast => {
            String::from("Part-charged or another bank")
        }
        Answer::Another => String::from("Another bank"),
        Answer::Same => format!("Still {bank}"),
        Answer::Level(share) => level(share, snapshot.bank.spec.as_deref()).0,
        Answer::RanEmpty => String::from("The bank ran empty"),
        Answer::PlugPulled => String::from("The plug was pulled"),
        Answer::Undo if recharged(snapshot) => String::from("It was not charged: go back"),
        Answer::Undo => match snapshot.bank.changed.as_ref().and_then(|it| it.before.as_ref()) {
            Some(before) => format!("Back to {}", before.name),
            None => String::from("Undo"),
        },
    }
}

/// The levels that a thumb can say of a bank, fullest first: each as the lamps of a USB bank show it
/// (a pack has none), and the share of the charge that it stands for.
#[must_use]
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
        return (String::from("Full"), None);
    }
    let near = LAMPS.iter().zip(LIT).find(|(middle, _)| (share.part() - *middle).abs() < 1e-6);
    let Some((_, (lit, means))) = near else { return (format!("About {}", percent(share)), None) };
    if has_lamps(bank) {
        (format!("{lit} of 4 lamps"), Some(String::from(means)))
    } else {
        let mut letters = means.chars();
        let first = letters.next().into_iter().flat_map(char::to_uppercase);
        (first.chain(letters).collect(), None)
    }
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
            String::from("The bank was part-charged or changed before this outing.")
        }
        Answer::Another => match &snapshot.bank.away {
            Some(away) => format!("Another bank took over {}.", at(away.to, snapshot)),
            None => String::from("Another bank took over in this outing."),
        },
        Answer::Same => format!("{bank} has been connected all along."),
        Answer::Level(share) => began_at(share, snapshot),
        Answer::RanEmpty => String::from("The last outing ended because the bank ran empty."),
        Answer::PlugPulled => String::from("The last outing ended because the plug was pulled."),
        Answer::Undo => String::from("The bank was changed."),
    }
}

fn began_at(share: Share, snapshot: &Snapshot) -> String {
    let bank = bank(snapshot);
    match level(share, snapshot.bank.spec.as_deref()) {
        _ if share == Share::WHOLE => format!("{bank} began full."),
        (lamps, Some(_)) => format!("{bank} began at {lamps}."),
        (part, None) => format!("{bank} began at {} of its charge.", lower(&part)),
    }
}

/// What an answer that nobody gave was taken from.
fn inferred(question: Question, snapshot: &Snapshot) -> String {
    let off = snapshot.bank.since.as_ref().and_then(|since| since.off);
    match (question, off) {
        (Question::SinceLast, Some(off)) => {
            format!("The board was off for {}, and nobody has said otherwise.", span(off))
        }
        _ => String::from("Nobody has said otherwise."),
    }
}

fn lower(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().into_iter().flat_map(char::to_lowercase).chain(letters).collect()
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
