//! The questions that only the operator can answer, the answers, and what holds until then.

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

use super::numbers::{clock_time, energy, left, moment, percent, span};
use crate::{
    belief::{Answer, Away, Question, QuestionView, Standing, Story},
    snapshot::{Possibility, Snapshot},
    time::Mono,
    units::{Seconds, Share},
};

/// A question in words.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// What is asked.
    pub text: String,
    /// Why, in a sentence or two.
    pub why: String,
    /// What may be answered, in words, and what that would leave (`6 h 40 left`).
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
            String::from("Ran empty, or was the plug pulled?"),
            String::from(
                "The power went away at the end of the last outing. If the bank ran empty, every later forecast learns from it.",
            ),
        ),
        Question::BankChanged => (String::from("Wrong bank?"), bank_changed(snapshot)),
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
        Some(off) => format!("The board was off for {}", span(off)),
        None if since.restarted => String::from("The board was restarted"),
        None => String::from("The board was off, nobody knows for how long"),
    };
    let given = energy(since.carried.delivered);
    (text, format!("{off}. Before that {} had given {given}.", bank(snapshot)))
}

fn swapped(snapshot: &Snapshot) -> (String, String) {
    let why = snapshot.bank.away.map_or_else(String::new, |away| away_words(&away, snapshot));
    (String::from("Another bank?"), why)
}

fn away_words(away: &Away, snapshot: &Snapshot) -> String {
    let when = at(away.to, snapshot);
    if away.stepped {
        return format!("The voltage jumped {when} and stayed there.");
    }
    let lasted = span(Seconds::of(away.lasted_s()));
    format!("The supply was away for {lasted} while the board ran on; it came back {when}.")
}

fn how_full(snapshot: &Snapshot) -> (String, String) {
    let another = snapshot.bank.away.is_some_and(|away| away.to == snapshot.outing_began);
    let text = if another { "How full was it then?" } else { "How full was it at the start?" };
    let why = "A guess, or the lamps of the bank, halves the doubt.";
    (text.to_string(), why.to_string())
}

fn bank_changed(snapshot: &Snapshot) -> String {
    let Some(changed) = &snapshot.bank.changed else { return String::new() };
    let left = span(changed.until.seconds_since(snapshot.at.mono));
    let since = at(changed.at, snapshot);
    format!("{} is in use since {since}. This can be taken back for {left} more.", bank(snapshot))
}

/// `at 14:02`, or how long ago where the clock is not to be believed.
fn at(when: Mono, snapshot: &Snapshot) -> String {
    match clock_time(when, snapshot.at) {
        Some(time) => format!("at {time}"),
        None => moment(when, snapshot.at),
    }
}

/// An answer, as a button has it.
fn answer_words(question: Question, answer: Answer, snapshot: &Snapshot) -> String {
    let bank = bank(snapshot);
    match answer {
        Answer::GoesOn => format!("Yes: {bank}, not charged"),
        Answer::Charged => format!("{bank}, charged full"),
        Answer::Another if question == Question::SinceLast => {
            String::from("Charged in part, or another bank")
        }
        Answer::Another => String::from("Another bank"),
        Answer::Same => format!("Still {bank}"),
        Answer::Level(share) => level_words(share),
        Answer::RanEmpty => String::from("It ran empty"),
        Answer::PlugPulled => String::from("The plug was pulled"),
        Answer::Undo => match snapshot.bank.changed.as_ref().and_then(|it| it.before.as_ref()) {
            Some(before) => format!("Back to {}", before.name),
            None => String::from("Take it back"),
        },
    }
}

/// A level as the lamps of a bank show it, else per cent.
fn level_words(share: Share) -> String {
    let lamps = [(0.875, 4), (0.625, 3), (0.375, 2), (0.125, 1)];
    if share == Share::WHOLE {
        return String::from("Full");
    }
    match lamps.iter().find(|(middle, _)| (share.part() - middle).abs() < 1e-6) {
        Some((_, lit)) => format!("{lit} of 4 lamps"),
        None => format!("About {}", percent(share)),
    }
}

/// What would be left by an answer, where that is among the possibilities.
fn leaves(question: Question, answer: Answer, snapshot: &Snapshot) -> Option<String> {
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
    let bank = bank(snapshot);
    let what = match answer {
        Answer::GoesOn => format!("{bank} was not charged since the last outing, which goes on"),
        Answer::Charged => format!("{bank} was charged before this outing"),
        Answer::Another if view.question == Question::SinceLast => {
            String::from("Before this outing the bank was charged in part, or changed")
        }
        Answer::Another => String::from("Another bank came in the middle"),
        Answer::Same => format!("{bank} has been connected all along"),
        Answer::Level(share) if share == Share::WHOLE => format!("{bank} began full"),
        Answer::Level(share) => format!("{bank} began at {}", lower(&level_words(share))),
        Answer::RanEmpty => String::from("At the end of the last outing the bank was empty"),
        Answer::PlugPulled => String::from("The last outing ended with a pulled plug"),
        Answer::Undo => String::from("The bank was changed"),
    };
    match view.standing {
        Standing::Said => format!("{what}: you said so."),
        Standing::Inferred => format!("{what}: {}.", inferred(view.question, snapshot)),
        Standing::Open => format!("{what}."),
    }
}

/// What an answer that nobody gave was taken from.
fn inferred(question: Question, snapshot: &Snapshot) -> String {
    let off = snapshot.bank.since.as_ref().and_then(|since| since.off);
    match (question, off) {
        (Question::SinceLast, Some(off)) => {
            format!("the board was off for {}, and nobody has said otherwise", span(off))
        }
        _ => String::from("nobody has said otherwise"),
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
        Story::AnyLevel => Some("if charged in part"),
        Story::Swapped => Some("if it is another bank"),
        Story::Told => Some("if it is the same bank"),
        Story::Said => None,
    }
}
