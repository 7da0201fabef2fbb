//! Which questions a belief leaves, and what has been answered.

use alloc::vec::Vec;

use super::{
    Belief,
    question::{Answer, Question, QuestionView, Standing},
    story::{SURE, Story},
};
use crate::{
    bank::{LAMPS, Start},
    units::Share,
};

impl Belief {
    /// What there is to ask, and what has been answered; `start` is how full the bank was told to
    /// be, `by_default` whether nobody told it.
    #[must_use]
    pub fn questions(&self, start: Start, by_default: bool) -> Vec<QuestionView> {
        let all = [swapped(self), since(self), level(self, start, by_default), ended(self)];
        all.into_iter().flatten().collect()
    }
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
