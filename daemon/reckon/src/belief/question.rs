//! The few things that only the operator knows, as questions that a thumb can answer.

use alloc::vec::Vec;

use crate::{
    bank::{LEVELS, Start},
    units::Share,
};

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
            let level = text.parse().ok().filter(|level| LEVELS.contains(level))?;
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
