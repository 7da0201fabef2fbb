//! A plan that is asked for: read, and worked out when it is its turn. It changes nothing, so that anybody
//! may ask; it costs the bank a little, so that one who is not paired waits like one who reads the record.
//! An outing that is started with one is a change like others; the plan is worked out anew for it.

use axum::{
    body::Bytes,
    extract::{FromRequest, Request, State},
    http::{StatusCode, header},
    response::IntoResponse,
};
use reckon::{
    bank::Start,
    engine::Command,
    estimator::Learned,
    plan::{self, Assumption, Description, Known, Plan, PlanFault},
    snapshot::Snapshot,
    words,
};
use serde_json::Value;

use crate::{
    asks::plan_query::PlanQuery,
    http::{
        door::{Door, Outcome, Reply},
        guard,
        problem::{Problem, unreadable},
        site::Site,
    },
    wire::plan::{PlanProblem, described_plan, plan_json},
};

/// The largest plan that is taken: two hundred stretches with every key fit.
pub(crate) const PLAN_BYTES: usize = 64 * 1024;

/// Answers a plan as JSON.
pub(crate) async fn plan(State(site): State<Site>, request: Request) -> Reply {
    let (extensions, headers) = (request.extensions().clone(), request.headers().clone());
    let body = Bytes::from_request(request, &site).await;
    let body = body.map_err(|why| Problem::from_status(why.status()))?;
    let _turn = guard::turn(&site, &extensions, &headers).await?;
    let described = described(&body)?;
    let known = Known::clone(&*known(&site, described.needs_record()).await?);
    let told = worked(described, known, |plan, known, assumed| {
        plan_json(plan, &plan::answer(plan, &known.others(plan)), assumed)
    });
    Ok(([(header::CONTENT_TYPE, "application/json")], told.await?).into_response())
}

/// Starts the outing with a plan.
pub(crate) async fn start(State(site): State<Site>, door: Door, body: Bytes) -> Outcome {
    let described = match door {
        Door::Api => described(&body)?,
        Door::Page | Door::Script => {
            let form = std::str::from_utf8(&body).unwrap_or_default();
            PlanQuery::read(form)?.description()
        }
    };
    let mut known = Known::clone(&*known(&site, described.needs_record()).await?);
    also_settings(&mut known, &site.snapshot());
    let command = worked(described, known, |plan, _, _| {
        // Full is what everybody takes a bank to be that nobody told of.
        let start = plan.banks.first().map(|bank| bank.start).filter(|it| *it != Start::Full);
        Command::StartPlan { plan: plan::answer(plan, &[]).kept(plan), start }
    });
    let kept = site.command(command.await?).await?;
    Ok(door.done("/", kept))
}

/// The plan that a program sends.
fn described(body: &[u8]) -> Result<Description, Problem> {
    let json: Value = serde_json::from_slice(body).map_err(|why| not_json(&why))?;
    described_plan(&json).ok_or_else(|| unreadable(words::plan::NO_OBJECT))
}

/// Works something out where nobody waits for the thread.
pub(crate) async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Problem> {
    tokio::task::spawn_blocking(work).await.map_err(|error| {
        tracing::error!(%error, "the working out of a plan fell");
        Problem::from_status(StatusCode::INTERNAL_SERVER_ERROR)
    })
}

/// What the record knows; without a record only a plan that names nothing of it can be worked out.
pub(crate) async fn known(site: &Site, needed: bool) -> Result<std::sync::Arc<Known>, Problem> {
    let read = site.read_recent(&site.readings.known, (), |past| past.known().map(Some)).await;
    match read {
        Err(problem) if needed => Err(problem),
        read => Ok(read.ok().flatten().unwrap_or_default()),
    }
}

/// The banks of the settings, which no outing was on yet, may be planned with, too.
pub(crate) fn also_settings(known: &mut Known, snapshot: &Snapshot) {
    let told = snapshot.bank.spec.as_deref().into_iter().chain(snapshot.bank_choices.iter());
    for spec in told {
        if !known.banks.iter().any(|(one, _)| one.name == spec.name) {
            known.banks.push((spec.clone(), Learned::default()));
        }
    }
}

/// What is made of a plan.
async fn worked<T: Send + 'static>(
    described: Description,
    known: Known,
    made: impl FnOnce(&Plan, &Known, &[Assumption]) -> T + Send + 'static,
) -> Result<T, Problem> {
    let told = aside(move || {
        let (plan, assumed) = described.complete(&known)?;
        Ok(made(&plan, &known, &assumed))
    });
    told.await?.map_err(refused)
}

fn not_json(why: &serde_json::Error) -> Problem {
    let mut problem = Problem::from_status(StatusCode::BAD_REQUEST);
    // serde's words name the place; they hold nothing of ours.
    problem.say = words::plan::not_json(why);
    problem
}

/// Everything that cannot be right.
pub(crate) fn refused(faults: Vec<PlanFault>) -> Problem {
    let problems: Vec<PlanProblem> = faults.into_iter().map(PlanProblem::from).collect();
    let say: Vec<String> = problems.iter().map(PlanProblem::said).collect();
    let title = words::plan::REFUSED_TITLE;
    Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "plan-refused", title, say.join(" "))
        .of_plan(problems)
}
