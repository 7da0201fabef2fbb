//! What the operator answers to a question of Now.

use axum::extract::State;
use reckon::{
    belief::{Answer, Question},
    engine::{Command, Refusal},
    record::RecordCommand,
    words,
};
use serde::Deserialize;

use crate::{
    http::site::{Kept, Site},
    http::{
        door::{Body, Door, Outcome},
        problem::{Problem, refused, unreadable},
    },
};

#[derive(Deserialize, Default)]
pub(crate) struct AnswerForm {
    question: Option<String>,
    /// Empty: taken back.
    answer: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct AnswerJson {
    question: String,
    /// Null: taken back; left out: unreadable.
    #[serde(deserialize_with = "Option::deserialize")]
    answer: Option<String>,
}

fn no_answer() -> Problem {
    unreadable(words::refusal::NO_ANSWER_TO_THIS)
}

pub(crate) async fn answer(
    State(site): State<Site>,
    door: Door,
    body: Body<AnswerForm, AnswerJson>,
) -> Outcome {
    let (question, answer) = match body {
        Body::Form(AnswerForm { question, answer }) => {
            let answer = answer.ok_or_else(no_answer)?;
            (question.unwrap_or_default(), Some(answer).filter(|text| !text.is_empty()))
        }
        Body::Json(AnswerJson { question, answer }) => (question, answer),
    };
    let kept = answered(&site, &question, answer.as_deref()).await?;
    Ok(door.done("/", kept))
}

async fn answered(site: &Site, question: &str, answer: Option<&str>) -> Result<Kept, Problem> {
    let no_such = || unreadable(words::refusal::NO_SUCH_QUESTION);
    let question = Question::named(question).ok_or_else(no_such)?;
    let answer = answer
        .map(|text| {
            let read = Answer::named(text).filter(|answer| question.takes(*answer));
            read.ok_or_else(no_answer)
        })
        .transpose()?;
    if question != Question::HowEnded {
        return site.command(Command::Answer { question, answer }).await;
    }
    let Some(last) = site.snapshot().bank.last_ended else {
        return Err(refused(&Refusal::NotAsked));
    };
    let died = answer.map(|answer| answer == Answer::RanEmpty);
    site.record_command(RecordCommand::Answer { outing: last.outing, died }).await
}
