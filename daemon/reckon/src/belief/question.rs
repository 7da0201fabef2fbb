//! The few things that only the operator knows, as questions that a thumb can answer.

use alloc::vec::Vec;

use super::{Belief, SURE, Story};
use crate::{engine::Start, units::Share};

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Question {
    /// The same bank as before the board was off, and not charged since?
    SinceLast,
    /// The supply was away while the board ran on: another bank?
    Swapped,
    /// How full was it?
    HowFull,
    /// The power went away: ran empty, or plug pulled?
    HowEnded,
    /// Another bank was put to use a moment ago: take that back?
    BankChanged,
}

impl Question {
    /// Every question, in the order in which they are asked.
    pub const ALL: [Self; 5] =
        [Self::BankChanged, Self::Swapped, Self::SinceLast, Self::HowFull, Self::HowEnded];

    /// Its name outside.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::SinceLast => "since-last",
            Self::Swapped => "swapped",
            Self::HowFull => "how-full",
            Self::HowEnded => "how-ended",
            Self::BankChanged => "bank-changed",
        }
    }

    /// The question of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.name() == name)
    }

    /// Whether this answers it.
    #[must_use]
    pub const fn takes(self, answer: Answer) -> bool {
        matches!(
            (self, answer),
            (Self::SinceLast, Answer::GoesOn | Answer::Charged | Answer::Another)
                | (Self::Swapped, Answer::Same | Answer::Another)
                | (Self::HowFull, Answer::Level(_))
                | (Self::HowEnded, Answer::RanEmpty | Answer::PlugPulled)
                | (Self::BankChanged, Answer::Undo)
        )
    }
}

/// What is answered.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    /// The same bank, not charged.
    GoesOn,
    /// The same bank, charged.
    Charged,
    /// Another bank.
    Another,
    /// The same bank all along.
    Same,
    /// So full, to about a tenth.
    Level(Share),
    /// The bank was empty.
    RanEmpty,
    /// Its plug was pulled.
    PlugPulled,
    /// As it was before.
    Undo,
}

impl Answer {
    pub(super) const NAMED: [(Self, &'static str); 7] = [
        (Self::GoesOn, "goes-on"),
        (Self::Charged, "charged"),
        (Self::Another, "another"),
        (Self::Same, "same"),
        (Self::RanEmpty, "ran-empty"),
        (Self::PlugPulled, "plug-pulled"),
        (Self::Undo, "undo"),
    ];

    /// Its name outside; a level has none but its number, 0 to 1.
    #[must_use]
    pub fn name(self) -> Option<&'static str> {
        Self::NAMED.into_iter().find(|(one, _)| *one == self).map(|(_, name)| name)
    }

    /// The answer of this name, or the level that the number says (0.02 to 1).
    #[must_use]
    pub fn named(text: &str) -> Option<Self> {
        let by_name = Self::NAMED.into_iter().find(|(_, name)| *name == text);
        by_name.map(|(answer, _)| answer).or_else(|| {
            let level = text.parse().ok().filter(|level| (0.02..=1.0).contains(level))?;
            Share::new(level).map(Self::Level)
        })
    }

    /// The start that a level stands for.
    #[must_use]
    pub fn start(self) -> Option<Start> {
        match self {
            Self::Level(share) => Some(Start::of_level(share)),
            _ => None,
        }
    }
}

/// The middles of what the four lamps of a bank tell apart, fullest first (common practice, no
/// source: each lamp stands for a quarter, and the top one stays lit till a quarter is gone).
pub const LAMPS: [f64; 4] = [0.875, 0.625, 0.375, 0.125];

/// Where an answer comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Nobody has answered, and nothing else says.
    Open,
    /// It was inferred, or taken by default; a person may know better.
    Inferred,
    /// A person said so.
    Said,
}

/// A question as it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct QuestionView {
    /// Which.
    pub question: Question,
    /// What may be answered.
    pub answers: Vec<Answer>,
    /// The answer that holds.
    pub answer: Option<Answer>,
    /// Where that comes from.
    pub standing: Standing,
}

impl QuestionView {
    /// Whether somebody is asked.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.standing == Standing::Open
    }
}

/// The questions of a belief; `start` is how full the bank was told to be, `by_default` whether
/// nobody told it.
pub(super) fn list(belief: &Belief, start: Start, by_default: bool) -> Vec<QuestionView> {
    let all = [swapped(belief), since(belief), level(belief, start, by_default), ended(belief)];
    all.into_iter().flatten().collect()
}

fn view(
    question: Question,
    answers: &[Answer],
    answer: Option<(Answer, Standing)>,
) -> QuestionView {
    QuestionView {
        question,
        answers: answers.to_vec(),
        answer: answer.map(|(answer, _)| answer),
        standing: answer.map_or(Standing::Open, |(_, standing)| standing),
    }
}

fn since(belief: &Belief) -> Option<QuestionView> {
    let since = belief.since.as_ref()?;
    // A word on the level has made it pointless.
    if since.answer.is_none() && belief.said.is_some() {
        return None;
    }
    let answers = [Answer::GoesOn, Answer::Charged, Answer::Another];
    let (story, weight) = belief.root();
    let inferred = match story {
        _ if weight < SURE => None,
        Story::GoesOn => Some((Answer::GoesOn, Standing::Inferred)),
        Story::Charged => Some((Answer::Charged, Standing::Inferred)),
        _ => Some((Answer::Another, Standing::Inferred)),
    };
    let said = since.answer.map(|answer| (answer, Standing::Said));
    Some(view(Question::SinceLast, &answers, said.or(inferred)))
}

fn swapped(belief: &Belief) -> Option<QuestionView> {
    let answers = [Answer::Same, Answer::Another];
    let Some(swap) = belief.swap else {
        let said = belief.came.map(|_| (Answer::Another, Standing::Said));
        return said.map(|said| view(Question::Swapped, &answers, Some(said)));
    };
    let another = belief.weight_of(Story::Swapped);
    let answer = if swap.same {
        Some((Answer::Same, Standing::Said))
    } else if another >= SURE {
        Some((Answer::Another, Standing::Inferred))
    } else if another <= 1.0 - SURE {
        Some((Answer::Same, Standing::Inferred))
    } else {
        None
    };
    Some(view(Question::Swapped, &answers, answer))
}

fn level(belief: &Belief, start: Start, by_default: bool) -> Option<QuestionView> {
    let levels = core::iter::once(Share::WHOLE).chain(LAMPS.map(Share::nearest));
    let answers: Vec<Answer> = levels.map(Answer::Level).collect();
    let full = (Answer::Level(Share::WHOLE), Standing::Inferred);
    let answer = match (belief.said, belief.root()) {
        (Some(said), _) => said.middle().map(|level| (Answer::Level(level), Standing::Said)),
        (_, (Story::Told, _)) => match start {
            Start::Full if by_default => Some(full),
            Start::Unknown => None,
            Start::Full | Start::Part(_) | Start::Between(..) => return None,
        },
        (_, (Story::Charged, weight)) if weight >= SURE => Some(full),
        (_, (Story::AnyLevel, weight)) if weight >= SURE => None,
        _ => return None,
    };
    Some(view(Question::HowFull, &answers, answer))
}

fn ended(belief: &Belief) -> Option<QuestionView> {
    let last = belief.last_ended?;
    // An outing that goes on has not ended.
    let joined = belief.since.as_ref().is_some_and(|since| since.outing == Some(last.outing));
    if joined && belief.goes_on() {
        return None;
    }
    let answers = if last.died < 0.5 {
        [Answer::PlugPulled, Answer::RanEmpty]
    } else {
        [Answer::RanEmpty, Answer::PlugPulled]
    };
    let said = last
        .said
        .map(|empty| (if empty { Answer::RanEmpty } else { Answer::PlugPulled }, Standing::Said));
    Some(view(Question::HowEnded, &answers, said))
}
