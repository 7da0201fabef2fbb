//! `outlast plan`: how long a bank will last for what is planned. A plan that stands alone is worked out here; one
//! that names a bank or an activity of the record goes where the record is.

mod file;
mod told;

use std::path::Path;

use reckon::{
    bank::BankSpec,
    estimator::{Learned, LoadPrior},
    plan::{self, Assumption, Description, Known, Plan},
    units::Celsius,
    words,
};
use serde_json::Value;
use web::PlanProblem;

use self::file::PlanFile;
use crate::{
    commands::{cli, client::Client, failed::Failed, files::file_of, replay, text::pretty},
    host::{banner::print, now_text::plain_spaces},
    settings::Complaint,
};

/// A longer plan is refused by the other side as well.
const MOST_BYTES: usize = 64 * 1024;

/// Works the plan out and prints it.
///
/// # Errors
/// What is wrong with the plan or a recording, as sentences.
pub(crate) fn run(args: &cli::Plan) -> Result<(), Failed> {
    let from_input = args.plan == Path::new("-");
    let name =
        if from_input { words::plan_answer::INPUT.into() } else { args.plan.to_string_lossy() };
    let bytes = file_of(&args.plan, MOST_BYTES)?
        .ok_or_else(|| words::plan_answer::too_large(&name))
        .map_err(Failed::wrong_use)?;
    let refused = |all: &[Complaint]| {
        let all: String = all.iter().map(|one| format!("\n  {one}")).collect();
        Failed::wrong_use(plain_spaces(&words::plan_answer::refused(&name, &all)))
    };
    let text = String::from_utf8_lossy(&bytes).into_owned();
    let file = PlanFile::read(text).map_err(|why| refused(&[why]))?;
    let worked = worked(args, &file.json)?;
    let told = worked.map_err(|problems| refused(&file.complaints(problems)))?;
    print(&if args.json { pretty(&told) } else { told::text(&told) });
    Ok(())
}

/// What the plan comes to, or what is wrong with it.
type Worked = Result<Value, Vec<PlanProblem>>;

fn worked(args: &cli::Plan, json: &Value) -> Result<Worked, Failed> {
    let described = web::described_plan(json).unwrap_or_default();
    if !args.learn.is_empty() {
        return taught(&args.learn, json, described);
    }
    if !described.needs_record() {
        return Ok(alone(described));
    }
    match Client::find(&args.reach) {
        Ok(record) => record.plan(json),
        // An activity has something that is usual of it, and the answer says so; a bank has not.
        Err(_) if !described.names_bank() => Ok(alone(described)),
        Err(none) => Err(none),
    }
}

/// With nothing but what the plan says.
fn alone(described: Description) -> Worked {
    let (plan, assumed) = complete(described)?;
    Ok(answered(&plan, &assumed))
}

/// With its first bank taught what was recorded elsewhere.
fn taught(files: &[String], json: &Value, described: Description) -> Result<Worked, Failed> {
    if described.names_bank() {
        return Err(Failed::wrong_use(words::plan_answer::LEARN_OR_KNOWN.to_owned()));
    }
    let (mut plan, assumed) = match complete(described) {
        Ok(complete) => complete,
        Err(problems) => return Ok(Err(problems)),
    };
    if let Some(first) = plan.banks.first() {
        // How warm it is on the outing ahead says nothing of those that were.
        let own_c = json.pointer("/bank/ambient_c").or_else(|| json.pointer("/bank/0/ambient_c"));
        let ambient = own_c.and_then(Value::as_f64).map(Celsius::of);
        let bank = BankSpec { ambient, ..first.spec.clone() };
        plan.banks[0].learned = learned(files, &bank, &plan.load)?;
    }
    Ok(Ok(answered(&plan, &assumed)))
}

/// What recorded outings teach of a bank, oldest first, as `replay` plays them.
fn learned(files: &[String], bank: &BankSpec, load: &LoadPrior) -> Result<Learned, Failed> {
    let told: Result<Vec<_>, _> = files.iter().map(|text| replay::told(text)).collect();
    let mut learned = Learned::default();
    for outing in told.map_err(Failed::wrong_use)? {
        let played = replay::play(&outing, bank, load, &learned, |_, _| Ok(()));
        let (_, run_down) = played.map_err(|trouble| match trouble {
            replay::Trouble::Input(say) => Failed::from(say),
            replay::Trouble::Print(why) => Failed::from(words::terminal::not_printed(&why)),
        })?;
        learned.credit(&run_down);
    }
    Ok(learned)
}

fn complete(described: Description) -> Result<(Plan, Vec<Assumption>), Vec<PlanProblem>> {
    let complete = described.complete(&Known::default());
    complete.map_err(|faults| faults.into_iter().map(PlanProblem::from).collect())
}

fn answered(plan: &Plan, assumed: &[Assumption]) -> Value {
    let json = web::plan_json(plan, &plan::answer(plan, &[]), assumed);
    serde_json::from_str(&json).unwrap_or_default()
}
