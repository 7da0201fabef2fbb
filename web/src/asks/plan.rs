//! A plan that is asked for: read, and worked out when it is its turn. It changes nothing, so that anybody
//! may ask; it costs the bank a little, so that one who is not paired waits like one who reads the record.

use axum::{
    body::Bytes,
    extract::{FromRequest, Request, State},
    http::{StatusCode, header},
    response::IntoResponse,
};
use reckon::{
    plan::{self, Description, Known, PlanFault},
    words,
};
use serde_json::Value;

use crate::{
    http::{
        door::Reply,
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
    let json: Value = serde_json::from_slice(&body).map_err(|why| not_json(&why))?;
    let described = described_plan(&json).ok_or_else(|| unreadable(words::plan::NO_OBJECT))?;
    let known = known(&site, described.needs_record()).await?;
    let told = aside(move || worked(described, &known)).await?;
    let told = told.map_err(|faults| refused(faults))?;
    Ok(([(header::CONTENT_TYPE, "application/json")], told).into_response())
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

fn worked(described: Description, known: &Known) -> Result<String, Vec<PlanFault>> {
    let (plan, assumed) = described.complete(known)?;
    let answer = plan::answer(&plan, &known.others(&plan));
    Ok(plan_json(&plan, &answer, &assumed))
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
